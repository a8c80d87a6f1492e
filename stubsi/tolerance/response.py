"""Owns the response surfaces: figures of a board as built as functions of the factors, and their errors."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from stubsi.tolerance.draws import Floats, Numbers

CHECKS = 12
"""How many boards are solved beyond twice the terms of a surface."""
SPARE = 5
"""A surface is fitted to at least so many boards more than it has terms."""
LEAST_PART = 0.01
"""No value is taken to be less than this part of the one in the middle between its limits."""
BEYOND = 1.25
"""The error that is reckoned with is so many times the largest one seen."""


class Surfaces(NamedTuple):
    r"""The logarithm of every figure as a quadratic of the factors, those of the board first, then those of each hole.

    Notches follow lengths and Dk by powers, so the quadratic is one of the logarithm of each value,
    :math:`u = \ln(1 + w t) / w` with w half the distance of its limits as a part of the value between them.

    Parameters
    ----------
    width : ndarray
        w of every factor; 0 where it is a distance from zero, and u is t.
    of_board : int
        How many factors all the board shares.
    coefficients : ndarray, shape (terms, columns)
        In the order of ``pairs_of``; NaN where the figure is not known.
    error : ndarray
        Largest error of the logarithm seen on the boards that were solved, each left out of its own fit; NaN where the
        figure is not known, 0 where it is the same on every board.
    fitted : ndarray of int
        On how many boards each figure was neither infinite nor zero.
    """

    width: Floats
    of_board: int
    coefficients: Floats
    error: Floats
    fitted: Numbers

    def at(self, column: Numbers, t: Floats, of_hole: Sequence[Floats] = ()) -> Floats:
        """Logarithms of some figures at some points.

        Parameters
        ----------
        column : ndarray of int, shape (parts,)
        t : ndarray, shape (points, factors of the board)
        of_hole : sequence of ndarray, shape (parts, points)
            Coordinates of each factor that every hole has for itself.

        Returns
        -------
        ndarray, shape (parts, points)
        """
        first, second = pairs_of(len(self.width))
        count, coefficients = self.of_board, self.coefficients[:, column]
        t = stretched(t, self.width[:count])
        of_hole = [stretched(each, self.width[count + number]) for number, each in enumerate(of_hole)]
        shared = second < count
        values: Floats = coefficients[shared].T @ _products(t, first[shared], second[shared]).T
        for number, own in enumerate(of_hole):
            place = count + number
            linear = (second == place) & (first < count)
            slope = coefficients[linear].T @ _products(t, first[linear], np.full(int(linear.sum()), -1)).T
            for other in range(number + 1):
                both = (second == place) & (first == count + other)
                slope += coefficients[both].T * of_hole[other]
            values += own * slope
        return values


def pairs_of(factors: int) -> tuple[Numbers, Numbers]:
    """The two factors of each term of a quadratic; -1 stands for the number 1, and the first is never the later one."""
    first, second = np.triu_indices(factors + 1)
    return first - 1, second - 1


def stretched(t: Floats, width: Floats) -> Floats:
    """The u of coordinates t, finite in the tails of a wide normal distribution, too.

    Parameters
    ----------
    t : ndarray, shape (..., factors)
    width : ndarray, shape (factors,) or a number
        As in ``Surfaces``.

    Returns
    -------
    ndarray
    """
    narrow = np.abs(width) < 1e-9
    if np.all(narrow):
        return t
    w = np.where(narrow, 1.0, width)
    return np.where(narrow, t, np.log(np.maximum(1 + w * t, LEAST_PART)) / w)


def _products(t: Floats, first: Numbers, second: Numbers) -> Floats:
    with_one = np.column_stack([t, np.ones(len(t))])  # the last column is found at -1
    return np.asarray(with_one[:, first] * with_one[:, second])


def boards_to_solve(factors: int) -> int:
    """How many boards are solved for the surfaces of so many factors."""
    return 2 * len(pairs_of(factors)[0]) + 1 + CHECKS


def fitted(t: Floats, figures: Floats, of_board: int, width: Floats) -> tuple[Surfaces, Floats]:
    """Fit surfaces to the figures of boards that were solved, and measure their errors.

    Parameters
    ----------
    t : ndarray, shape (boards, factors)
        The factors of the board first.
    figures : ndarray, shape (boards, columns)
    of_board : int
        How many of the factors all the board shares.
    width : ndarray
        As in ``Surfaces``.

    Returns
    -------
    surfaces : Surfaces
    left_out : ndarray, shape (boards, columns)
        What the surface says about each board when it is fitted to all others; the figure itself where it is not known.

    Notes
    -----
    The residual of a board that is left out is :math:`r_i / (1 - h_{ii})`, with r the residual of the fit to all and h
    the diagonal of the hat matrix. Source: D. Allen, Technometrics 16, 1974 (from memory).
    """
    terms = _products(stretched(t, width), *pairs_of(t.shape[1]))
    with np.errstate(divide="ignore", invalid="ignore"):
        log = np.log(figures)
    same = (figures == figures[:1]).all(axis=0)
    finite = np.isfinite(log)
    coefficients = np.full((terms.shape[1], log.shape[1]), np.nan)
    error, left_out = np.full(log.shape[1], np.nan), log.copy()
    coefficients[:, same], error[same] = 0.0, 0.0
    coefficients[0, same] = log[0, same]
    for rows, columns in _alike(finite, ~same & finite.any(axis=0) & ~np.isnan(log).any(axis=0)):
        used = _used_terms(terms, t.shape[1], int(rows.sum()))
        if used is None:
            continue
        q, r = np.linalg.qr(terms[rows][:, used])
        values = log[np.ix_(rows, columns)]
        solution = np.linalg.solve(r, q.T @ values)
        coefficients[:, columns] = 0.0
        coefficients[np.ix_(used, columns)] = solution
        alone = (values - terms[rows][:, used] @ solution) / (1 - (q**2).sum(axis=1))[:, None]
        error[columns] = np.abs(alone).max(axis=0)
        left_out[np.ix_(rows, columns)] = values - alone
    return Surfaces(width, of_board, coefficients, error, finite.sum(axis=0)), left_out


def _alike(finite: NDArray[np.bool_], wanted: NDArray[np.bool_]) -> list[tuple[NDArray[np.bool_], Numbers]]:
    """Columns that are finite on the same boards, with these boards."""
    numbers = np.flatnonzero(wanted)
    if not numbers.size:
        return []
    patterns, which = np.unique(finite[:, numbers], axis=1, return_inverse=True)
    return [(patterns[:, number], numbers[which.ravel() == number]) for number in range(patterns.shape[1])]


def _used_terms(terms: Floats, factors: int, boards: int) -> NDArray[np.bool_] | None:
    """Terms that so many boards can carry: all, or the linear ones; None if not even those."""
    if boards >= terms.shape[1] + SPARE:
        return np.ones(terms.shape[1], dtype=bool)
    return pairs_of(factors)[0] < 0 if boards >= factors + 1 + SPARE else None
