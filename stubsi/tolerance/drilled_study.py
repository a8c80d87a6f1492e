"""Owns the study of a plan under tolerances: boards that are solved, surfaces fitted to them, and what they show."""

from __future__ import annotations

from functools import cached_property
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
    from collections.abc import Callable, Iterator, Sequence
    from concurrent.futures import Executor

    from numpy.typing import NDArray

    from stubsi.board.criterion import Criterion
    from stubsi.tolerance.drilled_board import DrilledBoards, Floats, Residual

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

    def _features(self, column: int, t: Floats, d: Floats, residual: Residual | None) -> Floats:
        """Factors of a surface: those of the board and of the hole, and the logarithm of what is left of the stub."""
        of_fit = self.residual[column]
        if residual is None or of_fit is None:
            return np.column_stack([t, np.zeros(len(t))])
        return np.column_stack([t, np.log(np.maximum(residual.at(t, d), SHORTEST) / max(of_fit.constant, SHORTEST))])

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
            terms = _terms(self._features(column, t, d, self.residual[column]))
            coefficients[column] = np.linalg.lstsq(terms[:fit], log[:fit, column], rcond=None)[0]
            off = np.expm1(terms[fit:] @ coefficients[column] - log[fit:, column])
            error[column] = np.abs(off).max()
        return Surfaces(coefficients, constant, error)

    def ends(self, criteria: list[Criterion]) -> Corners:
        """Worst and best judged figure of every net over the corners that are solved, and how these were chosen."""
        count = self.boards.count
        if count <= MOST_ENUMERATED:
            corners = set(product((-1.0, 1.0), repeat=count))
        else:
            slopes = np.nan_to_num(self.surfaces.coefficients[:, 1 : 1 + count])
            signs = np.where(slopes > 0, 1.0, -1.0)
            corners = {tuple(row) for row in np.concatenate([signs, -signs]).tolist()}
        points = [np.array([*at, d]) for at in sorted(corners) for d in (-1.0, 1.0)]
        judged = np.array([self.nominal[1], *(each for _, each in self.solve(points))])
        as_drawn = np.append(self.boards.nominal_t, self.aimed())
        off = np.array([self.boards.with_model_error(each[:-1], float(each[-1])) for each in (as_drawn, *points)])
        least = np.array([criterion.least for criterion in criteria], dtype=bool)
        low, high = judged.min(axis=0), judged.max(axis=0)
        basis = Basis.ALL_CORNERS if count <= MOST_ENUMERATED else Basis.SEARCH
        return Corners(
            np.where(least, low, high), np.where(least, high, low),
            np.where(least, off[:, 0].min(axis=0), off[:, 0].max(axis=0)), off[0, 1], basis,
        )  # fmt: skip

    @cached_property
    def counting(self) -> NDArray[np.bool_]:
        """Nets that drilling can mend: neither waived nor given up by the plan."""
        nets, plan = self.boards.board.signal_nets, self.boards.plan
        missed = {each.net for each in plan.refused} | {hit.net for hit in plan.missed}
        return np.array([not net.waiver and net.name not in missed for net in nets], dtype=bool)

    def judged_columns(self) -> Iterator[tuple[int, int]]:
        """Number of each net with each of the columns that decide about it: its stubs, or the net as a whole."""
        by_notch, stubs = self.boards.by_notch, len(self.boards.rows)
        columns: list[list[int]] = [[] for _ in by_notch]
        for column, net in enumerate(self.stub_net.tolist()):
            columns[net].append(column)
        for net, of_net in enumerate(columns):
            for column in of_net if by_notch[net] and of_net else [stubs + net]:
                yield net, column

    def drawn(self, block: int) -> Drawn:
        """The samples of a block."""
        boards, stubs = self.boards, len(self.boards.rows)
        t = self._draw((self.seed, block), PER_BLOCK)[:, :-1]
        d = np.random.Generator(np.random.Philox(key=[self.seed, block])).uniform(-1, 1, (stubs, len(t)))
        holes, which = np.unique(boards.table.hole[boards.rows], return_inverse=True)
        laws = [(factor.tolerance.distribution, factor.tolerance.sigma) for factor in boards.own]
        # factor 0 would be the stream of the depths, which have this key, too
        own = [of_holes(law, (self.seed, block), n, holes, len(t))[which] for n, law in enumerate(laws, start=1)]
        return Drawn(t, d, own, boards.count_shared)

    def figure(self, column: int, drawn: Drawn, residual: Residual | None) -> Floats:
        """The figure of a column at some samples, in the unit of its limit.

        Parameters
        ----------
        column : int
        drawn : Drawn
        residual : Residual or None
            What the drill leaves of its stub.

        Returns
        -------
        ndarray, shape (samples,)
        """
        boards, stubs = self.boards, len(self.boards.rows)
        scale = 1 / float(boards.board.nyquist_si[self.stub_net[column]]) if column < stubs else 1.0
        stub = self.depth_of.get(column, column)
        t, d = (drawn.of_stub(stub), drawn.d[stub]) if stubs else (drawn.t, np.zeros(len(drawn.t)))
        return scale * self.surfaces.at(column, self._features(column, t, d, residual))

    def cut(self, column: int, drawn: Drawn) -> NDArray[np.bool_]:
        """Samples on which the drill of a stub cuts the layer in use; what its hole has for itself is no part of it."""
        residual = self.residual[column]
        if residual is None:
            return np.zeros(len(drawn.t), dtype=bool)
        return np.asarray(residual.at(drawn.t, drawn.d[column]) < residual.cone - ROUNDING)

    def counted(self, criteria: list[Criterion]) -> Counted:
        """Shares of the samples that meet each criterion, and in which a layer in use is cut."""
        waived = np.array([bool(net.waiver) for net in self.boards.board.signal_nets])
        looked_at = list(self.judged_columns())
        error = np.zeros(len(waived))
        for net, column in looked_at:
            error[net] = np.maximum(error[net], self.surfaces.error[column])
        unknown = np.isnan(error)
        shares, cuts = [], []
        for block in range(BLOCKS):
            drawn = self.drawn(block)
            met = np.ones((3, len(waived), len(drawn.t)), dtype=bool)
            cut = np.zeros((len(waived), len(drawn.t)), dtype=bool)
            for column, net in enumerate(self.stub_net.tolist()):
                cut[net] |= self.cut(column, drawn)
            for net, column in looked_at:
                off = BEYOND * float(np.nan_to_num(self.surfaces.error[column]))
                met[:, net] &= met_at(self.figure(column, drawn, self.residual[column]), off, criteria[net])
            met &= ~cut
            together = [np.all(met[:, each], axis=1, keepdims=True) for each in (~waived, self.counting)]
            shares.append(np.concatenate([met, *together], axis=1).mean(axis=2))
            cuts.append(cut.mean(axis=1))
        share, spread = np.mean(shares, axis=0), np.std(shares, axis=0, ddof=1)[0] / np.sqrt(BLOCKS)
        lost = np.append(unknown, [unknown[~waived].any(), unknown[self.counting].any()])
        share[:, lost] = np.array([np.nan, 0.0, 1.0])[:, None]
        spread[lost] = np.nan
        return Counted(share, spread, np.mean(cuts, axis=0), error)


class Drawn(NamedTuple):
    """Samples: factors of the board, depth of the drill of each stub, and what every hole has for itself.

    Parameters
    ----------
    t : ndarray, shape (samples, factors)
    d : ndarray, shape (stubs, samples)
    own : list of ndarray, shape (stubs, samples)
        The last factors, for each stub.
    shared : int
        How many factors come before them.
    """

    t: Floats
    d: Floats
    own: list[Floats]
    shared: int

    def of_stub(self, stub: int) -> Floats:
        """Factors that the hole of a stub has."""
        return np.column_stack([self.t[:, : self.shared], *(each[stub] for each in self.own)]) if self.own else self.t


def _figures_at(task: tuple[DrilledBoards, Sequence[Floats]]) -> list[tuple[Floats, Floats]]:
    boards, points = task
    return [boards.at(point[:-1], float(point[-1])) for point in points]


class Corners(NamedTuple):
    """Judged figure of every net where it is worst and best: as computed, and with the error of the model.

    The best with the error of the model is that as drawn, with the drill as deep as it is aimed at.
    """

    worst: Floats
    best: Floats
    worst_off: Floats
    best_off: Floats
    basis: Basis


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
