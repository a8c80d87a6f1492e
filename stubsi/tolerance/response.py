"""Owns the response surface: the judged figure of every net as a function of the factors, and its error."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.stats import qmc

from stubsi.errors import BoardError
from stubsi.tolerance.built_figures import JUDGED

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from stubsi.tolerance.built_figures import BuiltFigures, Floats

CHECKS = 12
"""How many boards, beside those of the fit, are solved to measure the error of the surface."""
BEYOND = 1.25
"""The error that is reckoned with is so many times the largest one seen at the checks."""


class Response(NamedTuple):
    """Logarithm of the judged figure of every net as a quadratic of the factors.

    Parameters
    ----------
    coefficients : ndarray, shape (terms, nets)
    constant : ndarray
        Figure of the nets where it is the same on every board that was solved, infinite among them; NaN elsewhere.
    error : ndarray
        Largest error of the figure seen at the checks, as a fraction; NaN where the figure is not known.
    solved : int
        How many boards were solved.
    """

    coefficients: Floats
    constant: Floats
    error: Floats
    solved: int

    def figure(self, t: Floats) -> Floats:
        """Judged figure of every net at some points; shape (points, nets)."""
        return np.where(np.isnan(self.constant), np.exp(_terms(t) @ self.coefficients), self.constant)


def response_of(
    figures: BuiltFigures, points: Callable[[int], Floats], progress: Callable[[int, int], object]
) -> Response:
    """Solve some boards, fit the surface, and measure its error at others.

    Parameters
    ----------
    figures : BuiltFigures
    points : callable
        Makes so many points of the factors, distributed as the tolerances say.
    progress : callable
        Is told how many boards are solved, of how many.

    Returns
    -------
    Response

    Raises
    ------
    BoardError
        A board cannot be built.
    """
    count = len(figures.factors)
    fit = 2 * len(_terms(np.zeros((1, count)))[0]) + 1
    t = points(fit + CHECKS)
    solved = np.empty((len(t), figures.nominal.shape[2]))
    for number, point in enumerate(t):
        solved[number] = figures.at(point)[JUDGED, 0]
        progress(number + 1, len(t))
    with np.errstate(divide="ignore", invalid="ignore"):
        log = np.log(solved)
    known = np.isfinite(log).all(axis=0)
    coefficients = np.full((_terms(t).shape[1], log.shape[1]), np.nan)
    coefficients[:, known] = np.linalg.lstsq(_terms(t[:fit]), log[:fit][:, known], rcond=None)[0]
    with np.errstate(invalid="ignore"):
        seen = np.abs(np.expm1(_terms(t[fit:]) @ coefficients - log[fit:]))
    constant = np.where((solved == solved[0]).all(axis=0), solved[0], np.nan)
    error = np.where(np.isnan(constant), seen.max(axis=0), 0.0)
    return Response(coefficients, constant, error, len(t))


def _terms(t: Floats) -> Floats:
    """1, every factor, and every product of two factors, for each point."""
    first, second = np.triu_indices(t.shape[1])
    return np.column_stack([np.ones(len(t)), t, t[:, first] * t[:, second]])


def quasi_random(figures: BuiltFigures, seed: tuple[int, ...], points: int) -> Floats:
    """Points of the factors from a scrambled Sobol sequence, distributed as the tolerances say.

    Parameters
    ----------
    figures : BuiltFigures
    seed : tuple of int
    points : int

    Returns
    -------
    ndarray, shape (points, factors)
        The coordinate t of every factor.
    """
    sequence = qmc.Sobol(len(figures.factors), scramble=True, rng=np.random.default_rng(seed))
    unit = np.clip(sequence.random(1 << (points - 1).bit_length())[:points], 2.0**-31, 1 - 2.0**-31)
    return np.column_stack(
        [factor.tolerance.quantile(unit[:, number]) for number, factor in enumerate(figures.factors)]
    )


def refuse_per_hole(figures: BuiltFigures) -> None:
    """Refuse a factor that differs from hole to hole: holes that are all alike would make the yield look better.

    Parameters
    ----------
    figures : BuiltFigures

    Raises
    ------
    BoardError
        There is such a factor.
    """
    for factor in figures.factors:
        if factor.per_hole:
            raise BoardError(
                f"tolerance of {factor.name}: differs from hole to hole, which the yield does not cover. Leave it out "
                "here, and see its worst case in corners()."
            )


def within(figures: BuiltFigures, t: Floats) -> NDArray[np.bool_]:
    """Which points keep the bound on the thickness of the board."""
    if not figures.tolerances.bounded:
        return np.ones(len(t), dtype=bool)
    return np.array([figures.within_thickness(point) for point in t], dtype=bool)
