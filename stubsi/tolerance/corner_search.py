"""Owns the search for the corners of all tolerances where the figures of every net are worst and best."""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from stubsi.tolerance.built_board import half_width
from stubsi.tolerance.response import stretched

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.tolerance.built_figures import BuiltFigures

    Floats = NDArray[np.float64]
    Nets = NDArray[np.bool_]

MOST_ENUMERATED = {True: 6, False: 3}
"""Up to so many factors every corner is solved: 64 boards of uniform lines (True), or 8 of solved stubs (False)."""
MOST_ROUNDS = 4
"""How often a search goes through all factors; one that has not settled by then is said to be open."""
ROUGH = 0.05
"""A figure of which the effects leave more than this part unexplained is looked at between the limits as well."""
UNEXPLAINED = 2.0
"""A factor is changed again from a corner if its effect is less than so many times what the effects do not explain."""


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
        self.shape = nominal.shape[::2]
        self.every: Nets = np.ones(self.shape[1], dtype=bool)
        self.worst, self.best = nominal.min(axis=1), nominal.max(axis=1)
        self.worst_at = np.broadcast_to(figures.nominal_t, (*self.shape, self.count)).copy()
        self.best_at = self.worst_at.copy()
        self.enumerated = self.count <= MOST_ENUMERATED[figures.model.uniform]
        self.unsure = np.ones((self.count, *self.shape), dtype=bool)
        """Whether a figure of a net may get worse by another place of a factor than the one that its effect says."""
        self.rough = np.ones(self.shape, dtype=bool)
        """Whether it may be worst between the limits of a factor."""
        self.settled = True
        self.drawn_back = False

    def run(self) -> None:
        """Solve the corners that are needed."""
        if not self.count:
            return
        if self.enumerated:
            self._try_all([(np.array(corner), self.every) for corner in product((-1.0, 1.0), repeat=self.count)])
            self._change_one_by_one((0.0,), self.worst_at, self.best_at)
            return
        self._try_single_changes()
        for _ in range(MOST_ROUNDS):
            if not self._change_one_by_one((-1.0, 0.0, 1.0), self.worst_at):
                return
        self.settled = False

    def _try_all(self, wanted: list[tuple[Floats, Nets]]) -> bool:
        """Solve some nets at some points; whether it made anything worse or better than it was."""
        self.figures.solve([(self._kept_thickness(t), nets) for t, nets in wanted])
        changed = [self._try(t, nets) for t, nets in wanted]
        return any(changed)

    def _try(self, t: Floats, nets: Nets) -> bool:
        """Solve some nets at one point; whether it made anything worse or better than it was."""
        values = self._values(t, nets)
        with np.errstate(invalid="ignore"):
            worse, better = np.fmin(*values.swapaxes(0, 1)), np.fmax(*values.swapaxes(0, 1))
            step = 1e-9 * np.abs(self.worst)
            lower = worse < self.worst - np.where(np.isfinite(step), step, 0)
            higher = better > self.best + np.where(np.isfinite(step), step, 0)
        self.worst[lower], self.best[higher] = worse[lower], better[higher]
        self.worst_at[lower], self.best_at[higher] = t, t
        return bool(lower.any() or higher.any())

    def _values(self, t: Floats, nets: Nets) -> Floats:
        """Figures times sign at a point; NaN for other nets."""
        return self.figures.at(self._kept_thickness(t), nets) * self.sign[:, None, :]

    def _kept_thickness(self, t: Floats) -> Floats:
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
        """Change each factor alone; then try the corners that these changes point to for each figure of each net.

        What the effects together do not explain at these corners says which factors must be tried again. Figures follow
        lengths and Dk by powers, so effects are those on logarithms, as in ``Surfaces``.
        """
        figures, nominal_t = self.figures, self.figures.nominal_t
        width = np.array([half_width(figures.board, factor) for factor in figures.factors])
        nominal, nominal_u = self._logarithms(figures.nominal * self.sign[:, None, :]), stretched(nominal_t, width)
        slopes = np.zeros((self.count, *self.shape))
        changed = np.tile(nominal_t, (self.count, 1))
        np.fill_diagonal(changed, np.where(nominal_t > 0, -1.0, 1.0))
        self._try_all([(t, self.every) for t in changed])
        for number, t in enumerate(changed):
            with np.errstate(invalid="ignore"):
                change = self._logarithms(self._values(t, self.every)) - nominal
            slopes[number] = change / (stretched(t, width) - nominal_u)[number]
        rough = np.isinf(slopes).any(axis=0)
        slopes[~np.isfinite(slopes)] = 0.0
        unexplained = np.where(rough, np.inf, 0.0)
        towards = np.where(slopes > 0, 1.0, -1.0)
        for ends in (towards, -towards):
            patterns = _patterns(ends.transpose(1, 2, 0))
            self._try_all([(pattern, np.asarray(of.any(axis=0))) for pattern, of in patterns])
            for pattern, of in patterns:
                nets = np.asarray(of.any(axis=0))
                with np.errstate(invalid="ignore"):
                    found = self._logarithms(self._values(pattern, nets)) - nominal
                    off = np.abs(found - np.tensordot(stretched(pattern, width) - nominal_u, slopes, 1))
                unexplained = np.where(of, np.fmax(unexplained, off), unexplained)
        effect = np.abs(slopes)
        self.unsure = (effect <= UNEXPLAINED * unexplained) & ((effect > 0) | np.isinf(unexplained))
        self.rough = unexplained > ROUGH

    @staticmethod
    def _logarithms(values: Floats) -> Floats:
        """Logarithm of the worse end of every figure, with the sign of the figure: higher is better."""
        with np.errstate(invalid="ignore", divide="ignore"):
            worse = values.min(axis=1)
            return np.asarray(np.sign(worse) * np.log(np.abs(worse)))

    def _change_one_by_one(self, places: tuple[float, ...], *points: Floats) -> bool:
        """Move one factor at a time from the worst points, or from the best ones; whether anything changed by it."""
        wanted: list[tuple[Floats, Nets]] = []
        for point, of in [each for at in points for each in _patterns(at)]:
            for number, place in product(range(self.count), places):
                open_ = self.unsure[number] & (self.rough if place == 0 else True)
                nets = np.asarray((of & open_).any(axis=0))
                if nets.any() and place != point[number]:
                    moved = point.copy()
                    moved[number] = place
                    wanted.append((moved, nets))
        return self._try_all(wanted)


def _patterns(points: Floats) -> list[tuple[Floats, NDArray[np.bool_]]]:
    """Distinct points of an array (figures, nets, factors), each with which figures of which nets have it."""
    distinct, which = np.unique(points.reshape(-1, points.shape[-1]), axis=0, return_inverse=True)
    which = which.reshape(points.shape[:-1])
    return [(point, which == number) for number, point in enumerate(distinct)]
