"""Owns the search for the corners of all tolerances where the figures of every net are worst and best."""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.tolerance.built_figures import BuiltFigures

MOST_ENUMERATED = 6
"""Up to so many factors every corner is solved: 64 boards."""
MOST_ROUNDS = 4
"""How often a search goes through all factors; one that has not settled by then is said to be open."""


class CornerSearch:
    """Worst and best value so far of every figure of every net, and where they were found.

    Parameters
    ----------
    figures : BuiltFigures
    """

    def __init__(self, figures: BuiltFigures) -> None:
        self.figures = figures
        self.count = len(figures.factors)
        self.sign = np.where(figures.higher_is_better, 1.0, -1.0)  # figures times sign: higher is better
        nominal = figures.nominal * self.sign[:, None, :]
        shape = nominal.shape[::2]
        self.worst, self.best = nominal.min(axis=1), nominal.max(axis=1)
        self.worst_at = np.broadcast_to(figures.nominal_t, (*shape, self.count)).copy()
        self.best_at = self.worst_at.copy()
        self.enumerated = self.count <= MOST_ENUMERATED
        self.settled = True
        self.drawn_back = False

    def run(self) -> None:
        """Solve the corners that are needed."""
        if not self.count:
            return
        if self.enumerated:
            for corner in product((-1.0, 1.0), repeat=self.count):
                self._try(corner)
            self._change_one_by_one((0.0,))
            return
        self._try_single_changes()
        for _ in range(MOST_ROUNDS):
            if not self._change_one_by_one((-1.0, 0.0, 1.0)):
                return
        self.settled = False

    def _try(self, t: tuple[float, ...]) -> bool:
        """Solve one point; whether it made anything worse or better than it was."""
        values = self.figures.at(self._kept_thickness(np.array(t))) * self.sign[:, None, :]
        at = np.array(t)
        worse, better = values.min(axis=1), values.max(axis=1)
        step = 1e-9 * np.abs(self.worst)
        lower = worse < self.worst - np.where(np.isfinite(step), step, 0)
        higher = better > self.best + np.where(np.isfinite(step), step, 0)
        self.worst[lower], self.best[higher] = worse[lower], better[higher]
        self.worst_at[lower], self.best_at[higher] = at, at
        return bool(lower.any() or higher.any())

    def _kept_thickness(self, t: NDArray[np.float64]) -> NDArray[np.float64]:
        """The point itself, or drawn back in thickness until the board keeps the bound on its thickness."""
        if self.figures.within_thickness(t):
            return t
        self.drawn_back = True
        thick = np.array([factor.quantity.endswith("thickness") for factor in self.figures.factors])
        inside, outside = 0.0, 1.0
        nominal = self.figures.nominal_t
        for _ in range(40):
            middle = (inside + outside) / 2
            point = np.where(thick, nominal + middle * (t - nominal), t)
            inside, outside = (middle, outside) if self.figures.within_thickness(point) else (inside, middle)
        return np.where(thick, nominal + inside * (t - nominal), t)

    def _try_single_changes(self) -> None:
        """Change each factor alone; then try the corner that these changes point to for each figure of each net."""
        nominal = self.figures.nominal_t
        ends = []
        for number in range(self.count):
            low, high = nominal.copy(), nominal.copy()
            low[number], high[number] = -1.0, 1.0
            self._try(tuple(low))
            self._try(tuple(high))
            ends.append([self.figures.at(self._kept_thickness(end))[:, 0] * self.sign for end in (low, high)])
        rises = np.array([high - low for low, high in ends])
        towards = np.where(np.nan_to_num(rises) > 0, 1.0, -1.0).reshape(self.count, -1)
        for pattern in np.unique(towards, axis=1).T:
            self._try(tuple(pattern))
            self._try(tuple(-pattern))

    def _change_one_by_one(self, places: tuple[float, ...]) -> bool:
        """Move one factor at a time from every worst and best point; whether anything changed by it."""
        points = np.concatenate([self.worst_at.reshape(-1, self.count), self.best_at.reshape(-1, self.count)])
        changed = False
        for point in np.unique(points, axis=0):
            for number, place in product(range(self.count), places):
                moved = point.copy()
                moved[number] = place
                changed |= self._try(tuple(moved))
        return changed
