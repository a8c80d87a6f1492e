"""Owns the study of a plan under tolerances: boards that are solved, surfaces fitted to them, and what they show."""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.stats import qmc

from stubsi.margin.verdict import bound
from stubsi.tolerance.corners import Basis
from stubsi.tolerance.draws import of_holes
from stubsi.tolerance.drilled_board import ROUNDING, SHORTEST
from stubsi.tolerance.tasks import batches, results_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from concurrent.futures import Executor

    from numpy.typing import NDArray

    from stubsi.board.criterion import Criterion
    from stubsi.tolerance.drilled_board import DrilledBoards, Floats

BLOCKS, PER_BLOCK = 16, 512
"""Independent scramblings of the sequence, and samples of each; how much they differ is the sampling error."""
CHECKS = 12
"""How many boards are solved to measure the error of the surfaces, beside those of the fit."""
BEYOND = 1.25
"""The error that is reckoned with is so many times the largest one seen at the checks."""
MOST_ENUMERATED = 3
"""Up to so many factors of the board every corner is solved: 16 boards."""


class Surfaces(NamedTuple):
    """Figures, each the exponential of a quadratic of its factors; a figure that never changes is a constant."""

    coefficients: Floats
    constant: Floats
    error: Floats

    def at(self, column: int, features: Floats) -> Floats:
        """Figure of one column at some points; features has the shape (points, factors)."""
        if not np.isnan(self.constant[column]):
            return np.full(len(features), self.constant[column])
        return np.asarray(np.exp(_terms(features) @ self.coefficients[column]))


class DrilledStudy:
    """The boards that are solved, and the surfaces that are fitted to them."""

    def __init__(
        self, boards: DrilledBoards, seed: int, executor: Executor | None, progress: Callable[[int, int], object]
    ) -> None:
        self.boards, self.seed, self.executor = boards, seed, executor
        count = boards.count
        terms = _terms(np.zeros((1, count + 1))).shape[1]
        self.solved = 0
        self.points = self._draw((seed, BLOCKS), 2 * terms + 1 + CHECKS)
        self.of = len(self.points) + 1 + 2 ** (count + 1) * (count <= MOST_ENUMERATED)
        self.progress = progress
        self.nominal, *every = self.solve([np.append(boards.nominal_t, self.aimed()), *self.points])
        self.stub_net = boards.table.net[boards.rows]
        first_hit = {int(boards.table.net[row]): row for row in reversed(boards.residual_of)}
        owner = [*boards.rows.tolist(), *(first_hit.get(net, -1) for net in range(len(self.nominal[1])))]
        place = {row: column for column, row in enumerate(boards.rows.tolist())}
        self.depth_of = {len(place) + net: place.get(row, 0) for net, row in enumerate(owner[len(place) :])}
        """Stub whose depth the figure of a whole net is computed with: the first that is drilled."""
        self.residual = [boards.residual_of.get(row) for row in owner]
        """What is left of the stub of each column: first of each stub, then of each net."""
        self.surfaces = self._fitted(np.array([np.concatenate(pair) for pair in every]))

    def solve(self, points: Sequence[Floats]) -> list[tuple[Floats, Floats]]:
        """Figures of some boards, as ``DrilledBoards.at`` gives them; each point: the factors, and the depth last."""
        split = batches(len(points)) if self.executor is not None else [range(n, n + 1) for n in range(len(points))]
        tasks = [(self.boards, points[numbers.start : numbers.stop]) for numbers in split]
        found: dict[int, list[tuple[Floats, Floats]]] = {}
        for number, figures in results_of(self.executor, _figures_at, tasks):
            found[number] = figures
            self.solved += len(figures)
            self.progress(self.solved, max(self.of, self.solved))
        return [each for number in range(len(tasks)) for each in found[number]]

    def aimed(self) -> float:
        """Coordinate of a drill that is as deep as it is aimed at."""
        shallower, deeper = self.boards.plan.rules.tolerance.depth_limits_si
        return (deeper - shallower) / (deeper + shallower) if deeper + shallower else 0.0

    def _draw(self, seed: tuple[int, ...], points: int) -> Floats:
        """Points of the factors of the board and of one depth that all holes share."""
        sequence = qmc.Sobol(self.boards.count + 1, scramble=True, rng=np.random.default_rng(seed))
        unit = np.clip(sequence.random(1 << (points - 1).bit_length())[:points], 2.0**-31, 1 - 2.0**-31)
        return np.column_stack([self.boards.quantiles(unit[:, :-1]), 2 * unit[:, -1] - 1])

    def _features(self, column: int, t: Floats, d: Floats) -> Floats:
        residual = self.residual[column]
        left = np.full(len(t), 1.0) if residual is None else np.maximum(residual.at(t, d), SHORTEST)
        scale = 1.0 if residual is None else max(residual.constant, SHORTEST)
        return np.column_stack([t, np.log(left / scale)])

    def _fitted(self, figures: Floats) -> Surfaces:
        fit = len(self.points) - CHECKS
        t, d = self.points[:, :-1], self.points[:, -1]
        count = figures.shape[1]
        with np.errstate(divide="ignore", invalid="ignore"):
            log = np.log(figures)
        constant = np.where((figures == figures[0]).all(axis=0), figures[0], np.nan)
        coefficients = np.full((count, _terms(np.zeros((1, t.shape[1] + 1))).shape[1]), np.nan)
        error = np.where(np.isnan(constant), np.nan, 0.0)
        for column in np.flatnonzero(np.isnan(constant) & np.isfinite(log).all(axis=0)).tolist():
            terms = _terms(self._features(column, t, d))
            coefficients[column] = np.linalg.lstsq(terms[:fit], log[:fit, column], rcond=None)[0]
            off = np.expm1(terms[fit:] @ coefficients[column] - log[fit:, column])
            error[column] = np.abs(off).max()
        return Surfaces(coefficients, constant, error)

    def ends(self, criteria: list[Criterion]) -> tuple[Floats, Floats, Basis]:
        """Worst and best judged figure of every net over the corners that are solved, and how these were chosen."""
        count = self.boards.count
        if count <= MOST_ENUMERATED:
            corners = set(product((-1.0, 1.0), repeat=count))
        else:
            slopes = np.nan_to_num(self.surfaces.coefficients[:, 1 : 1 + count])
            signs = np.where(slopes > 0, 1.0, -1.0)
            corners = {tuple(row) for row in np.concatenate([signs, -signs]).tolist()}
        found = [self.nominal[1]]
        found += [each for _, each in self.solve([np.array([*at, d]) for at in sorted(corners) for d in (-1.0, 1.0)])]
        judged = np.array(found)
        least = np.array([criterion.least for criterion in criteria], dtype=bool)
        low, high = judged.min(axis=0), judged.max(axis=0)
        basis = Basis.ALL_CORNERS if count <= MOST_ENUMERATED else Basis.SEARCH
        return np.where(least, low, high), np.where(least, high, low), basis

    def _own(self, block: int, samples: int) -> Callable[[Floats, int], Floats]:
        """Function that puts what the hole of a stub has for itself in the place of what the board was drawn with."""
        boards = self.boards
        holes, which = np.unique(boards.table.hole[boards.rows], return_inverse=True)
        laws = [(factor.tolerance.distribution, factor.tolerance.sigma) for factor in boards.own]
        # factor 0 would be the stream of the depths, which have this key, too
        drawn = [of_holes(law, (self.seed, block), n, holes, samples) for n, law in enumerate(laws, start=1)]

        def of_stub(t: Floats, stub: int) -> Floats:
            if not drawn:
                return t
            return np.column_stack([t[:, : boards.count_shared], *(each[which[stub]] for each in drawn)])

        return of_stub

    def counted(self, criteria: list[Criterion]) -> Counted:
        """Shares of the samples that meet each criterion, and in which a layer in use is cut."""
        nets = self.boards.board.signal_nets
        waived = np.array([bool(net.waiver) for net in nets])
        plan = self.boards.plan
        missed = {each.net for each in plan.refused} | {hit.net for hit in plan.missed}
        in_vain = np.array([net.name in missed for net in nets])
        by_notch, nyquist = self.boards.by_notch, self.boards.board.nyquist_si
        stubs = len(self.boards.rows)
        columns: list[list[int]] = [[] for _ in nets]
        for column, net in enumerate(self.stub_net.tolist()):
            columns[net].append(column)
        looked_at = [
            columns[number] if by_notch[number] and columns[number] else [stubs + number] for number in range(len(nets))
        ]
        error = np.array([np.max(self.surfaces.error[each]) for each in looked_at])
        unknown = np.isnan(error)
        shares, cuts = [], []
        for block in range(BLOCKS):
            t = self._draw((self.seed, block), PER_BLOCK)[:, :-1]
            depth = np.random.Generator(np.random.Philox(key=[self.seed, block]))
            d = depth.uniform(-1, 1, (stubs, len(t)))
            own = self._own(block, len(t))
            met = np.ones((3, len(nets), len(t)), dtype=bool)
            cut = np.zeros((len(nets), len(t)), dtype=bool)
            for column, net in enumerate(self.stub_net.tolist()):
                residual = self.residual[column]
                if residual is not None:  # which does not depend on what every hole has for itself
                    cut[net] |= residual.at(t, d[column]) < residual.cone - ROUNDING
            for net, criterion in enumerate(criteria):
                scale = 1 / nyquist[net] if looked_at[net][0] < stubs else 1.0
                for column in looked_at[net]:
                    stub = self.depth_of.get(column, column)
                    at, depths = (own(t, stub), d[stub]) if stubs else (t, np.zeros(len(t)))
                    figure = scale * self.surfaces.at(column, self._features(column, at, depths))
                    met[:, net] &= met_at(figure, BEYOND * float(np.nan_to_num(self.surfaces.error[column])), criterion)
            met &= ~cut
            together = [np.all(met[:, each], axis=1, keepdims=True) for each in (~waived, ~waived & ~in_vain)]
            shares.append(np.concatenate([met, *together], axis=1).mean(axis=2))
            cuts.append(cut.mean(axis=1))
        share, spread = np.mean(shares, axis=0), np.std(shares, axis=0, ddof=1)[0] / np.sqrt(BLOCKS)
        lost = np.append(unknown, [unknown[~waived].any(), unknown[~waived & ~in_vain].any()])
        share[:, lost] = np.array([np.nan, 0.0, 1.0])[:, None]
        spread[lost] = np.nan
        return Counted(share, spread, np.mean(cuts, axis=0), error)


def _figures_at(task: tuple[DrilledBoards, Sequence[Floats]]) -> list[tuple[Floats, Floats]]:
    boards, points = task
    return [boards.at(point[:-1], float(point[-1])) for point in points]


class Counted(NamedTuple):
    """Shares of the samples; behind the nets stands the board, and then the nets that drilling can mend."""

    share: Floats
    error: Floats
    cut: Floats
    surface_error: Floats


def met_at(figure: Floats, error: float, criterion: Criterion) -> NDArray[np.bool_]:
    """Whether samples meet a criterion: as computed, and with the surface off to the worse and to the better side.

    Parameters
    ----------
    figure : ndarray, shape (samples,)
    error : float
        As a fraction of the figure.
    criterion : Criterion

    Returns
    -------
    ndarray of bool, shape (3, samples)
    """
    worse, better = (1 - error, 1 + error) if criterion.least else (1 + error, 1 - error)
    ends = np.stack([figure, figure * max(worse, 0.0), figure * max(better, 0.0)])
    met: NDArray[np.bool_] = ends >= bound(criterion) if criterion.least else ends <= bound(criterion)
    return met


def _terms(features: Floats) -> Floats:
    """1, every factor, and every product of two factors, for each point."""
    first, second = np.triu_indices(features.shape[1])
    return np.column_stack([np.ones(len(features)), features, features[:, first] * features[:, second]])
