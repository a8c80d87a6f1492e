"""Owns the best effort for nets that miss their criterion anyway: the drill groups of the other nets, where they help.

Such a net opens no group. A stub of it is drilled by the deepest open group that all rules but the budget permit, if
that makes no figure of the stub worse. The two legs of a pair are drilled together or not at all.
"""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.board.hole_columns import partners
from stubsi.drilling.both_sides import plated_enough
from stubsi.drilling.drill_task import Drillable, set_up_of
from stubsi.drilling.miss import Miss
from stubsi.drilling.obstacles import ROUNDING, Obstacle
from stubsi.drilling.stub_use import figures
from stubsi.drilling.window import window
from stubsi.margin.verdict import measured

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from stubsi.board.board import Board
    from stubsi.drilling.drill_task import DrillTask
    from stubsi.drilling.limits import Limits
    from stubsi.drilling.needs import Needs
    from stubsi.drilling.rules import FabricatorRules
    from stubsi.drilling.stub_use import StubUse
    from stubsi.drilling.window import PlatingLeft, Window
    from stubsi.stubs.drawn import StubShape

EQUAL = 1e-9
"""Relative difference of two figures up to which neither is the worse one."""


class Chosen(NamedTuple):
    """A stub that an open group drills as far as the rules allow.

    ``stub``: with the window that holds without its budget. ``group``: number of the candidate group. ``miss``: None
    where the stub itself keeps its budget, and another one of its net does not.
    """

    stub: Drillable
    group: int
    miss: Miss | None


def best_effort(needs: Needs, task: DrillTask, opened: Iterable[int], limits: Limits) -> tuple[Chosen, ...]:
    """Stubs of the nets that miss their criterion anyway, drilled by groups that are open for other nets.

    Parameters
    ----------
    needs : Needs
        What the nets of the board need.
    task : DrillTask
        The task of the other nets.
    opened : iterable of int
        Numbers of its candidate groups that are opened.
    limits : Limits
        What the criteria allow the stubs of the board.

    Returns
    -------
    tuple of Chosen
        In order of net, hole and side.
    """
    search = _Search(task, sorted(opened), limits)
    tried = [each for stub in needs.of_missed_nets if (each := search.deepest(stub)) is not None]
    helped = search.helped(tried)
    kept: dict[str, list[Chosen]] = defaultdict(list)
    for unit in _drilled_together(limits.board, needs.of_missed_nets):
        chosen = [helped[key] for key in unit if key in helped]
        facing = [(one, other) for one in chosen for other in kept[one.stub.hole.name]]
        if len(chosen) == len(unit) and all(_leave_enough_plated(one, other, task) for one, other in facing):
            for one in chosen:
                kept[one.stub.hole.name].append(one)
    every = (each for of_hole in kept.values() for each in of_hole)
    return tuple(sorted(every, key=lambda each: (each.stub.net, each.stub.hole.name, each.stub.window.side)))


_HoleAndSide = tuple[str, str]
"""Hole and side of a stub."""


def _hole_and_side(stub: Drillable) -> _HoleAndSide:
    return stub.hole.name, stub.window.side


def _drilled_together(board: Board, stubs: Sequence[Drillable]) -> list[tuple[_HoleAndSide, ...]]:
    """The stubs that are drilled together or not at all: those of two partner holes of a pair on one side.

    The legs of a pair whose partners are not known are one unit on each side. The longest stubs come first.
    """
    partner = _partner_of(board)
    is_pair = {net.name: net.is_pair for net in board.signal_nets}
    units: dict[object, list[Drillable]] = defaultdict(list)
    for stub in stubs:
        other = partner.get(stub.hole.name)
        alone = not is_pair[stub.net]
        place = stub.hole.name if alone else frozenset((stub.hole.name, other)) if other else ""
        units[stub.net, stub.window.side, place].append(stub)
    longest = sorted(units.values(), key=lambda unit: -max(stub.window.shape.stub_length_si for stub in unit))
    return [tuple(_hole_and_side(stub) for stub in unit) for unit in longest]


def _partner_of(board: Board) -> dict[str, str]:
    """Name of the partner hole of each leg of a pair, where each is the nearest one of the other."""
    columns = board.signal_holes
    at = {place: hole.name for hole, place in zip(columns.holes, columns.place.tolist(), strict=True)}
    nearest = {
        hole.name: at[place]
        for hole, place in zip(columns.holes, partners(columns).tolist(), strict=True)
        if not np.isnan(place.real)
    }
    return {name: other for name, other in nearest.items() if nearest.get(other) == name}


def _leave_enough_plated(one: Chosen, other: Chosen, task: DrillTask) -> bool:
    """Whether enough of the barrel stays plated if both stubs of a hole are drilled."""
    windows = (one.stub.window, other.stub.window)
    left = [w.left(task.candidates[each.group].end_si).least_si for w, each in zip(windows, (one, other), strict=True)]
    return plated_enough(*windows, *left)


class _Search:
    """Finds the deepest open group of each stub, and whether it helps."""

    def __init__(self, task: DrillTask, opened: Sequence[int], limits: Limits) -> None:
        self.task, self.opened, self.limits = task, opened, limits
        self._without_budget: dict[StubShape, Window] = {}

    def deepest(self, stub: Drillable) -> tuple[Drillable, int] | None:
        """A stub with its window without the budget, and the deepest open group in it; None where there is none."""
        its_window = self._window_without_budget(stub.window, self.task.rules)
        groups = [
            number
            for number in self.opened
            if self.task.candidates[number].place[:2] == set_up_of(its_window)
            and its_window.holds(self.task.candidates[number].end_si)
        ]
        if not groups:
            return None
        free = Drillable(net=stub.net, hole=stub.hole, window=its_window, row=stub.row, limits=stub.limits)
        return free, max(groups, key=lambda number: self.task.candidates[number].end_si)

    def _window_without_budget(self, drawn: Window, rules: FabricatorRules) -> Window:
        """Window of a stub under all rules but its budget. The longest permitted length is kept, for the reader."""
        if drawn.shape not in self._without_budget:
            self._without_budget[drawn.shape] = window(drawn.shape, np.inf, rules, self.limits.budget_at)
        free = self._without_budget[drawn.shape]
        in_the_way = tuple(refusal for refusal in drawn.reasons if refusal.kind is Obstacle.NEIGHBOUR)
        return free.replaced(longest_si=drawn.longest_si, reasons=(*free.reasons, *in_the_way))

    def helped(self, tried: Sequence[tuple[Drillable, int]]) -> dict[_HoleAndSide, Chosen]:
        """Those of some stubs that are not worse at any tolerance, by hole and side, each with its miss."""
        left = [stub.window.left(self.task.candidates[group].end_si) for stub, group in tried]
        notch_at = self._figures(tried, left)
        return {
            _hole_and_side(stub): Chosen(stub, group, self._missed_by(stub, its_left, notch_at))
            for (stub, group), its_left in zip(tried, left, strict=True)
            if self._makes_nothing_worse(stub, its_left, notch_at)
        }

    def _makes_nothing_worse(
        self, stub: Drillable, left: PlatingLeft, figure_at: Mapping[tuple[StubUse, float], _JudgedFigure]
    ) -> bool:
        """Whether the stub gets shorter at worst, and neither its notch nor what its criterion judges gets worse."""
        drawn = stub.window.shape.stub_length_si
        lengths = list(_lengths_left(stub, left))
        if not lengths or lengths[-1] >= drawn - ROUNDING:
            return lengths == []
        before = figure_at[stub.use, drawn]
        return all(figure_at[stub.use, length].is_no_worse(before) for length in lengths)

    def _missed_by(
        self, stub: Drillable, left: PlatingLeft, figure_at: Mapping[tuple[StubUse, float], _JudgedFigure]
    ) -> Miss | None:
        """By how much a drilled stub misses its criterion; None where it does not."""
        longest, budget_at = stub.window.longest_si, self.limits.budget_at
        length = max(left.at(budget_at), stub.window.shape.least_length_si)
        if np.isinf(longest):
            return Miss(None, None, None, budget_at)
        if length <= max(longest + ROUNDING, 0.0):
            return None
        needed = figure_at[stub.use, longest].notch if longest > 0 else None
        return Miss(length - longest, figure_at[stub.use, length].notch, needed, budget_at)

    def _figures(
        self, tried: Sequence[tuple[Drillable, int]], left: Sequence[PlatingLeft]
    ) -> dict[tuple[StubUse, float], _JudgedFigure]:
        """Figures of the stubs as drawn, cut to what the drill leaves, and at the longest permitted length."""
        wanted: dict[tuple[StubUse, float], Drillable] = {}
        for (stub, _), its_left in zip(tried, left, strict=True):
            for length in (*_lengths_left(stub, its_left), stub.window.shape.stub_length_si, stub.window.longest_si):
                if 0 < length < np.inf:
                    wanted[stub.use, length] = stub
        if not wanted:
            return {}
        criteria = [self.limits.board.criterion_of(self.limits.net(stub.row)) for stub in wanted.values()]
        uses, lengths = [use for use, _ in wanted], np.array([length for _, length in wanted])
        found = figures(uses, lengths, self.limits.model, wanted={criterion.measure for criterion in criteria})
        return {
            key: _JudgedFigure(
                float(found.notch.low[row]), float(measured(criterion, found.at(row)).low[0]), criterion.least
            )
            for row, (key, criterion) in enumerate(zip(wanted, criteria, strict=True))
        }


def _lengths_left(stub: Drillable, left: PlatingLeft) -> Iterator[float]:
    """Least, nominal and greatest length [m] that the drill leaves of a stub; those of nothing are left out."""
    for length in left:
        kept = max(length, stub.window.shape.least_length_si)
        if kept > 0:
            yield kept


class _JudgedFigure(NamedTuple):
    """First notch [Hz] of a stub, the figure that its criterion judges, and whether more of that is better."""

    notch: float
    judged: float
    more_is_better: bool

    def is_no_worse(self, before: _JudgedFigure) -> bool:
        """Whether neither the notch nor the figure that is judged is worse than before. Unknown is worse."""
        judged, than = (self.judged, before.judged) if self.more_is_better else (-self.judged, -before.judged)
        return self.notch >= before.notch * (1 - EQUAL) and judged >= than - EQUAL * abs(than)
