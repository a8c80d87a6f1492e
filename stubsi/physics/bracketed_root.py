"""Owns the search for roots within brackets, of many functions at once that each cost as much at many places as at one.

An evaluation of a chain of sections costs little more at twenty frequencies than at one. So each step looks at some
places that are evenly spread over every bracket, for a jump, and at some around the root of the secant, for a smooth
function.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from stubsi.physics.arrays import FloatArray, IndexArray

TOLERANCE = 1e-10
"""Relative width of a bracket at which the search ends."""
STEPS = 100
"""Most steps of a search; halving alone needs 50."""
FEWEST_SPREAD, MOST_SPREAD, TOGETHER = 1, 15, 100
"""Least and greatest number of places evenly spread over a bracket, and about how many there are in all brackets."""
AROUND_SECANT = (3e-2, 1e-3, 1e-5)
"""Distances from the root of the secant at which a function is looked at as well, as parts of the bracket [-]. Of many
functions only the first is: there an evaluation costs in proportion to its places."""
STEEPEST = np.pi
"""A value beyond the root is counted as no lower than this: the function may jump there."""


def bracketed_root(
    function: Callable[[FloatArray, IndexArray], FloatArray], low: FloatArray, high: FloatArray
) -> FloatArray:
    """Root of each function within its bracket: from above 0 to 0 or below.

    Parameters
    ----------
    function : callable
        ``function(places, rows)`` gives the values at places (n, n_place) of the functions ``rows`` (n,), which rise.
        No function is asked for again that was left out before.
    low, high : ndarray, shape (n_row,)
        The brackets, both above 0.

    Returns
    -------
    ndarray, shape (n_row,)
        Root to 1e-10 relative, or where the function jumps; the middle of a bracket that holds none.
    """
    low, high = low.copy(), high.copy()
    rows = np.arange(len(low))
    at_low, at_high = function(np.stack([low, high], axis=1), rows).T.copy()
    rows = np.flatnonzero((at_low > 0) & (at_high <= 0))
    for _ in range(STEPS):
        rows = rows[high[rows] - low[rows] > TOLERANCE * high[rows]]
        if not rows.size:
            break
        ends = low[rows], high[rows], at_low[rows], at_high[rows]
        places = np.concatenate([ends[0][:, None], _looked_at(*ends), ends[1][:, None]], axis=1)
        values = np.concatenate([ends[2][:, None], function(places[:, 1:-1], rows), ends[3][:, None]], axis=1)
        each, after = np.arange(len(rows)), (values[:, 1:] <= 0).argmax(axis=1) + 1
        low[rows], high[rows] = places[each, after - 1], places[each, after]
        at_low[rows], at_high[rows] = values[each, after - 1], values[each, after]
    found = (at_low > 0) & (at_high <= 0)
    part = np.where(found, _secant(np.where(found, at_low, 1.0), np.where(found, at_high, 0.0)), 0.5)
    return np.asarray(low + part * (high - low))


def _secant(at_low: FloatArray, at_high: FloatArray) -> FloatArray:
    """Where the line through both ends of a bracket meets zero, as part of the bracket [-]."""
    return np.asarray(at_low / (at_low - np.maximum(at_high, -STEEPEST)))


def _looked_at(low: FloatArray, high: FloatArray, at_low: FloatArray, at_high: FloatArray) -> FloatArray:
    """Places within brackets, rising, at which the sign of a function narrows them; fewer of each if there are many."""
    spread = 1 + min(MOST_SPREAD, FEWEST_SPREAD + TOGETHER // len(low))
    steps = AROUND_SECANT if len(low) <= TOGETHER else AROUND_SECANT[:1]
    around = _secant(at_low, at_high)[:, None] + np.concatenate([[0.0], *([-step, step] for step in steps)])
    parts = np.concatenate([np.broadcast_to(np.arange(1, spread) / spread, (len(low), spread - 1)), around], axis=1)
    return low[:, None] + np.sort(np.clip(parts, 0.0, 1.0), axis=1) * (high - low)[:, None]
