"""Owns what dominates after drilling: shares of the spread with the depth of the drill, and what to ask for then."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.stats import qmc

from stubsi.checks import checked
from stubsi.drilling.plan import Plan
from stubsi.margin.verdict import bound
from stubsi.tolerance.asks import asks_of
from stubsi.tolerance.dominance import Dominance, NetDominance, checked_wanted
from stubsi.tolerance.draws import of_holes
from stubsi.tolerance.drilled_board import RULES_THICKNESS, DrilledBoards
from stubsi.tolerance.drilled_study import BLOCKS, Drawn, DrilledStudy, met_at
from stubsi.tolerance.effects import FIRST_BLOCK, POINTS, REPEATS, over_repeats, shares_of_samples
from stubsi.tolerance.production_yield import check_number
from stubsi.tolerance.scaled import turning_part
from stubsi.tolerance.tasks import check_executor, check_progress
from stubsi.tolerance.tolerance import Limit, Tolerance
from stubsi.tolerance.tolerances import Factor, Tolerances

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from concurrent.futures import Executor

    from numpy.typing import NDArray

    from stubsi.tolerance.draws import Floats

MOST_DIMENSIONS = 1000
"""Of up to so many factors and stubs the samples come from one scrambled Sobol sequence, which is much surer. The
depths of more stubs come from counter-based random numbers."""
DEPTH = "depth of the drill"


def drilled_dominance(
    plan: Plan,
    tolerances: Tolerances,
    *,
    wanted: float = 0.99,
    seed: int = 0,
    executor: Executor | None = None,
    progress: Callable[[int, int], object] | None = None,
) -> Dominance:
    """What dominates the spread after drilling, the depth of the drill included, and what to ask the fabricator for.

    Parameters
    ----------
    plan : Plan
        The plan; its rules give the depth tolerance.
    tolerances : Tolerances
        What varies beside it. ``Tolerances()``: nothing.
    wanted : float
        Yield that is wanted of each net and of the board, above 0 and at most 1.
    seed, executor, progress
        As in ``drilled_yield``.

    Returns
    -------
    Dominance
        As ``dominance`` gives it before drilling. The yield of the board is that of the nets that drilling can mend.

    Raises
    ------
    StubsiError
        As in ``drilled_yield``; neither the tolerances nor the rules leave anything to vary.

    Notes
    -----
    Shares and yields are those of ``dominance``, on the surfaces of ``drilled_yield``, whose errors count here too. The
    depth of the drill is one group of factors, one for each hole, uniform over the limits of the rules. Narrower, it
    stays where it is aimed at. A sample on which a layer in use is cut meets nothing; the shares do not look at that.
    """
    checked(plan, "plan", Plan)
    checked(tolerances, "tolerances", Tolerances)
    check_number(seed, "seed", 0, 2**63 - 1)
    check_executor(executor)
    check_progress(progress)
    least = checked_wanted(wanted)
    study = DrilledStudy(DrilledBoards(plan, tolerances), seed, executor, progress or (lambda done, of: None))
    varied = _varied(study)
    names = [net.name for net in study.boards.board.signal_nets]
    first, total, error = over_repeats([_shares(study, varied, repeat) for repeat in range(REPEATS)])

    def of_net(number: int, name: str) -> NetDominance:
        titles = [each.factor.name for each in varied]
        return NetDominance(
            net=name, first=dict(zip(titles, first[:, number].tolist(), strict=True)),
            total=dict(zip(titles, total[:, number].tolist(), strict=True)), error=float(error[number]),
        )  # fmt: skip

    asks = asks_of(_NarrowedYields(study, varied), [each.factor for each in varied], names, least)
    return Dominance(
        board=plan.board, tolerances=tolerances, model=plan.model, seed=seed, wanted=least, plan=plan,
        nets=tuple(of_net(number, name) for number, name in enumerate(names)), of_board=of_net(len(names), ""),
        asks=asks, bound_left_out=False,
    )  # fmt: skip


class _Varied(NamedTuple):
    """One factor of the samples: its tolerance, and which values of a sample it stands for.

    ``place``: its number among the factors of the board, or of the holes; -1 for the depth. ``nominal``: coordinate of
    the nominal value.
    """

    factor: Factor
    place: int
    per_hole: bool
    nominal: float

    def narrowed(self, drawn: Drawn, part: float) -> Drawn:
        """Samples with this factor nearer to its nominal value."""
        return self.replaced(drawn, self.nominal + part * (self.of(drawn) - self.nominal))

    def replaced(self, drawn: Drawn, coordinates: Floats) -> Drawn:
        """Samples with other coordinates of this factor."""
        if self.place < 0:
            return drawn._replace(d=coordinates)
        if self.per_hole:
            own = list(drawn.own)
            own[self.place] = coordinates
            return drawn._replace(own=own)
        t = drawn.t.copy()
        t[:, self.place] = coordinates
        return drawn._replace(t=t)

    def of(self, drawn: Drawn) -> Floats:
        """Coordinates of this factor."""
        if self.place < 0:
            return drawn.d
        return drawn.own[self.place] if self.per_hole else np.asarray(drawn.t[:, self.place])


def _varied(study: DrilledStudy) -> list[_Varied]:
    boards, depth = study.boards, study.boards.plan.rules.tolerance
    nominal, shared = boards.nominal_t.tolist(), boards.count_shared
    found = [_Varied(factor, n, False, nominal[n]) for n, factor in enumerate(boards.shared)]
    if boards.from_rules:
        plus, minus = depth.thickness_plus, depth.thickness_minus  # type: ignore[union-attr]
        limits = Tolerance(plus=Limit(plus, "percent"), minus=Limit(minus, "percent"), source=depth.source)
        found.append(_Varied(Factor(RULES_THICKNESS, "", limits, False), len(found), False, nominal[len(found)]))
    found += [_Varied(factor, n, True, nominal[shared + n]) for n, factor in enumerate(boards.own)]
    shallower, deeper = depth.depth_limits_si
    if boards.residual_of and shallower + deeper > 0:
        limits = Tolerance(plus=Limit(deeper, "length"), minus=Limit(shallower, "length"), source=depth.source)
        found.append(_Varied(Factor(DEPTH, "", limits, True), -1, True, study.aimed()))
    return found


class _NarrowedYields:
    """Yields with one factor narrowed, on the same samples; the board, of which drilling can mend the nets, is last."""

    def __init__(self, study: DrilledStudy, varied: Sequence[_Varied]) -> None:
        self.study, self.varied = study, varied
        board = study.boards.board
        self.criteria = [board.criterion_of(net) for net in board.signal_nets]
        self.columns: list[list[int]] = [[] for _ in self.criteria]
        for net, column in study.judged_columns():
            self.columns[net].append(column)
        self.stubs = [np.flatnonzero(study.stub_net == net).tolist() for net in range(len(self.criteria))]
        self.drawn = [study.drawn(block) for block in range(BLOCKS)]
        self._found: dict[tuple[int, float], Floats] = {}

    def at(self, factor: int, part: float) -> Floats:
        key = (factor if part < 1 else 0, part)
        if key not in self._found:
            met = self._met(factor, part, range(len(self.criteria)))
            yields = np.append(met.mean(axis=1), met[self.study.counting].all(axis=0).mean())
            unknown = [bool(np.isnan(self.study.surfaces.error[each]).any()) for each in self.columns]
            yields[:-1][unknown] = np.nan
            if np.array(unknown)[self.study.counting].any():
                yields[-1] = np.nan
            self._found[key] = yields
        return self._found[key]

    def turning_part(self, factor: int, net: int, wanted: float) -> float:
        board = net == len(self.criteria)
        nets = np.flatnonzero(self.study.counting).tolist() if board else [net]
        return turning_part(lambda part: float(self._met(factor, part, nets).all(axis=0).mean()), wanted)

    def _met(self, factor: int, part: float, nets: Sequence[int]) -> NDArray[np.bool_]:
        """Whether some nets meet their criterion on each sample."""
        study = self.study
        met = []
        for plain in self.drawn:
            drawn = self.varied[factor].narrowed(plain, part) if part < 1 else plain
            of_block = np.ones((len(nets), len(drawn.t)), dtype=bool)
            for row, net in enumerate(nets):
                for column in self.columns[net]:
                    figure = study.figure(column, drawn, study.residual[column])
                    of_block[row] &= met_at(figure, 0.0, self.criteria[net])[0]
                for column in self.stubs[net]:
                    of_block[row] &= ~study.cut(column, drawn)
            met.append(of_block)
        return np.concatenate(met, axis=1)


def _shares(study: DrilledStudy, varied: Sequence[_Varied], repeat: int) -> Floats:
    """First-order and total effects by one scrambling; shape (2, factors, nets + 1)."""
    a, b = _two_draws(study, repeat)
    mixed = [_figures(study, each.replaced(a, each.of(b))) for each in varied]
    return shares_of_samples(_figures(study, a), _figures(study, b), np.array(mixed))


def _two_draws(study: DrilledStudy, repeat: int) -> tuple[Drawn, Drawn]:
    """Two independent sets of samples."""
    boards, count = study.boards, study.boards.count
    stubs = np.arange(len(boards.rows))
    depths = len(stubs) if count + len(stubs) <= MOST_DIMENSIONS else 0
    both = np.empty((POINTS, 0))
    if count + depths:
        rng = np.random.default_rng((study.seed, FIRST_BLOCK, repeat))
        both = np.clip(qmc.Sobol(2 * (count + depths), scramble=True, rng=rng).random(POINTS), 2.0**-31, 1 - 2.0**-31)
    holes, which = np.unique(boards.table.hole[boards.rows], return_inverse=True)
    laws = [(factor.tolerance.distribution, factor.tolerance.sigma) for factor in boards.own]

    def drawn(number: int) -> Drawn:
        key = (study.seed, FIRST_BLOCK + 2 * repeat + number)
        unit = both[:, number * (count + depths) :][:, : count + depths]
        t, d = boards.quantiles(unit[:, :count]), 2 * unit[:, count:].T - 1
        if not depths:
            d = of_holes(("uniform", None), key, 0, stubs, POINTS)
        own = [of_holes(law, key, n, holes, POINTS)[which] for n, law in enumerate(laws, start=1)]
        return Drawn(t, d, own, boards.count_shared)

    return drawn(0), drawn(1)


def _figures(study: DrilledStudy, drawn: Drawn) -> Floats:
    """Logarithm of the judged figure of every net, worst of its columns, and of the smallest margin over limit."""
    board = study.boards.board
    criteria = [board.criterion_of(net) for net in board.signal_nets]
    values = np.full((len(criteria) + 1, len(drawn.t)), np.inf)
    with np.errstate(divide="ignore", invalid="ignore"):
        for net, column in study.judged_columns():
            sign = 1.0 if criteria[net].least else -1.0
            figure = sign * np.log(study.figure(column, drawn, study.residual[column]))
            values[net] = np.minimum(values[net], figure)
        for net in np.flatnonzero(study.counting).tolist():
            sign = 1.0 if criteria[net].least else -1.0
            margin = values[net] - sign * np.log(bound(criteria[net]))
            if not np.isinf(margin).all():
                values[-1] = np.minimum(values[-1], margin)
    return np.where(np.isfinite(values), values, np.nan)
