"""Owns the outgoing cylindrical wave: Hankel functions of nearly real argument, several times faster than exact."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import hankel2e

if TYPE_CHECKING:
    from stubsi.physics.arrays import ComplexArray, FloatArray


LOWEST_ARGUMENT, HIGHEST_ARGUMENT = 1e-7, 200.0
"""Real parts between which the table holds."""
STEP_RATIO = 0.02
"""Ratio of neighbouring places of the table, less 1."""
STEEPEST = 0.05
"""|Im x / Re x| up to which it holds: a loss tangent of 0.1."""
TERMS = 7
"""Terms of the power series about each place. The first term that is left out is below 1e-9 of the value."""


def hankel(highest: int, x: ComplexArray) -> list[ComplexArray]:
    r"""Outgoing waves without phase and decay, :math:`H_n^{(2)}(x)\,e^{jx}`, of every order from 0 to ``highest``.

    Parameters
    ----------
    highest : int
        1 or more.
    x : complex ndarray
        Argument [-], not zero.

    Returns
    -------
    list of complex ndarray
        To 1e-9 relative.

    Notes
    -----
    The scaled function varies as slowly as a power of x. So its power series about the nearest place of a table, whose
    places form a geometric series, converges like that of 1/x. The coefficients follow from H_0' = -H_1 and
    H_1' = H_0 - H_1/x, higher orders from H_{n+1} = 2 n H_n/x - H_{n-1} (Abramowitz and Stegun 9.1.27-28, from
    memory). Outside the table scipy's exact function is taken.
    """
    waves = _first_two(x)
    for n in range(1, highest):
        waves.append(2 * n / x * waves[n] - waves[n - 1])
    return waves


def _first_two(x: ComplexArray) -> list[ComplexArray]:
    near = (x.real > LOWEST_ARGUMENT) & (x.real < HIGHEST_ARGUMENT) & (np.abs(x.imag) < STEEPEST * x.real)
    if near.all():
        return _by_series(x)
    waves = [np.empty(x.shape, dtype=complex) for _ in range(2)]
    for order, (wave, value) in enumerate(zip(waves, _by_series(x[near]), strict=True)):
        wave[near], wave[~near] = value, hankel2e(order, x[~near])
    return waves


def _by_series(x: ComplexArray) -> list[ComplexArray]:
    places, terms = _table()
    nearest = np.rint(np.log(x.real / LOWEST_ARGUMENT) / STEP_RATIO).astype(np.intp)
    off = x - places[nearest]
    waves = []
    for coefficients in terms:
        value = coefficients[-1].take(nearest)
        for term in coefficients[-2::-1]:
            value *= off
            value += term.take(nearest)
        waves.append(value)
    return waves


@cache
def _table() -> tuple[FloatArray, ComplexArray]:
    """Places, and the coefficients of the power series about them, shape (order, term, place)."""
    places = LOWEST_ARGUMENT * np.exp(
        STEP_RATIO * np.arange(np.ceil(np.log(HIGHEST_ARGUMENT / LOWEST_ARGUMENT) / STEP_RATIO) + 1)
    )
    a, b = [hankel2e(0, places)], [hankel2e(1, places)]
    before_a = before_b = np.zeros_like(a[0])
    for n in range(TERMS - 1):
        a.append((1j * a[n] - b[n]) / (n + 1))
        b.append(((places * a[n] + before_a - (n + 1) * b[n]) / places + 1j * (b[n] + before_b / places)) / (n + 1))
        before_a, before_b = a[n], b[n]
    return places, np.array([a, b])
