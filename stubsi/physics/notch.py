"""Owns the first notch of a stub in S21, sharp or blurred."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.physics.reactance import HIGHEST_RATIO, Followed, followed
from stubsi.physics.uniform_line import shunt_s

if TYPE_CHECKING:
    from stubsi.physics.arrays import FloatArray, IndexArray
    from stubsi.physics.chain import Chain


DEEP = 0.5
"""A minimum of S21 counts as a notch where at most this share of the power is left [-]: 3 dB and more."""
RISE = 10**0.1
"""Beyond a notch the power rises by at least this factor [-], 1 dB. If it falls lower first, it was only a ripple."""
LEAST = 0.25
"""The search for a notch begins at this multiple of the quasi-static estimate [-]."""
BEYOND = 1.3
"""It ends at this multiple of the frequency where the reactance vanishes [-]."""
FIRST_LOOK_POINTS, NEAR_JUMP_POINTS = 80, 16
"""Numbers of frequencies of the first look at S21: over all of the range, and just below the resonance of a cavity."""
POINTS, ZOOMS = 9, 3
"""Number of frequencies of each further look, and number of further looks. Each is a quarter as wide as the last."""
RADIATING = 1.5
"""Input resistance [ohm] at the frequency of zero reactance above which a stub counts as radiating."""


class FirstNotch(NamedTuple):
    """First notch of stubs, and where their reactance first vanishes.

    Where the two lie far apart, radiation or a resonance of the cavities blurs the notch.

    Parameters
    ----------
    frequency : ndarray, shape (n_stub,)
        First notch [Hz]; NaN for a stub without length.
    zero : ndarray, shape (n_stub,)
        Where the reactance vanishes [Hz]; NaN also where it does not.
    """

    frequency: FloatArray
    zero: FloatArray


def first_notch(chain: Chain, z0: float = 50.0) -> FirstNotch:
    """First notch of stubs in shunt on a line: zero of their reactance, or the minimum of S21 where that is blurred.

    The cavities between the return conductors have a resonance of their own. A stub too short to reach its zero below
    it has a minimum of S21 there. That is its first notch if it is 3 dB deep and S21 rises by 1 dB beyond it.

    Parameters
    ----------
    chain : Chain
        The stubs.
    z0 : float
        Impedance of the line [ohm].

    Returns
    -------
    FirstNotch
    """
    reactance = followed(chain)
    zero, jump, estimate = reactance
    voltage, current = chain.voltage_current(np.nan_to_num(zero, nan=1e9)[:, None])
    with np.errstate(divide="ignore", invalid="ignore"):
        resistance = np.real(voltage / current)[:, 0]
    sharp = (resistance < RADIATING) & np.isnan(jump) & (zero <= estimate)
    blurred = np.flatnonzero(~sharp)
    frequency = zero.copy()
    if blurred.size:
        of_blurred = Followed(*(part[blurred] for part in reactance))
        frequency[blurred] = minimum_of_s21(chain.only(blurred), z0, of_blurred)[0]
    return FirstNotch(frequency, zero)


def minimum_of_s21(chain: Chain, z0: float, reactance: Followed) -> tuple[FloatArray, FloatArray]:
    """First minimum of S21 of stubs in shunt on a line that counts as a notch; the deepest one where none does.

    A minimum counts when it is 3 dB deep and S21 rises by 1 dB beyond it.

    Parameters
    ----------
    chain : Chain
        The stubs.
    z0 : float
        Impedance of the line [ohm].
    reactance : Followed
        The result of following their reactance.

    Returns
    -------
    frequency, magnitude
        [Hz] and |S21| [-], each (n_stub,); NaN for a stub without length. A radiating stub has its minimum below the
        frequency where Im Z_in = 0, if there is one.
    """
    exists, rows = np.isfinite(reactance.estimate), np.arange(len(chain))

    def power(f: FloatArray) -> FloatArray:
        """Share of the power left in the path [-]."""
        return np.abs(shunt_s(*chain.voltage_current(f), z0)[1]) ** 2

    f = _looks(np.where(exists, reactance.estimate, 1e9), reactance.zero, reactance.jump)
    share = power(f)
    best = _first_deep(share)
    for _ in range(ZOOMS):
        f = np.linspace(f[rows, best - 1], f[rows, best + 1], POINTS, axis=1)
        share = power(f)
        best = np.clip(share.argmin(axis=1), 1, POINTS - 2)
    before, at, after = (share[rows, best + side] for side in (-1, 0, 1))
    curvature = np.maximum(before - 2 * at + after, np.finfo(float).tiny)
    step = f[rows, best + 1] - f[rows, best]
    lowest = f[rows, best] + np.clip((before - after) / (2 * curvature), -1, 1) * step
    size = np.sqrt(power(lowest[:, None])[:, 0])
    return np.where(exists, lowest, np.nan), np.where(exists, size, np.nan)


def _looks(start: FloatArray, zero: FloatArray, jump: FloatArray) -> FloatArray:
    """Frequencies at which S21 is first looked at, rising, shape (n_stub, n)."""
    top = np.where(np.isfinite(zero), BEYOND * zero, HIGHEST_RATIO * start)
    over = np.geomspace(np.minimum(LEAST * start, 0.5 * top), top, FIRST_LOOK_POINTS, axis=1)
    if np.isnan(jump).all():
        return over
    near = np.where(np.isfinite(jump), np.minimum(jump, top), top)[:, None] * (
        1 - np.geomspace(1e-4, 0.03, NEAR_JUMP_POINTS)
    )
    return np.sort(np.concatenate([over, near], axis=1), axis=1)


def _first_deep(share: FloatArray) -> IndexArray:
    """Place along the last axis of the first minimum that is a notch, or of the least value where no minimum is one."""
    place, low = np.zeros(len(share), dtype=np.intp), np.full(len(share), np.inf)
    risen = np.zeros(len(share), dtype=bool)
    for column, value in enumerate(share.T):
        risen |= (low <= DEEP) & (value >= RISE * low)
        lower = ~risen & (value < low)
        place[lower], low[lower] = column, value[lower]
    return np.clip(place, 1, share.shape[1] - 2)
