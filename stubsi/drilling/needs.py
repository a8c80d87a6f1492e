"""Owns the needs of a board: stubs to drill, single or coupled, stubs refused, and nets left undrilled or undecided."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.board.criterion import Measure
from stubsi.drilling.both_sides import independent
from stubsi.drilling.drill_group import Refused
from stubsi.drilling.drill_task import CoupledStubs, Drillable, DrillTask
from stubsi.drilling.joint_choice import possible
from stubsi.drilling.neighbours import neighbours_of
from stubsi.drilling.obstacles import Obstacle, Refusal, beside_other_side
from stubsi.drilling.undrilled import Undecided, Undrilled, WhyUndrilled
from stubsi.drilling.window import window
from stubsi.margin.verdict import Verdict
from stubsi.read_only import ReadOnlyMapping

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stubsi.board.net import Net
    from stubsi.drilling.joint_choice import JointChoice
    from stubsi.drilling.limits import Limits
    from stubsi.drilling.neighbours import Neighbours
    from stubsi.drilling.rules import FabricatorRules
    from stubsi.drilling.window import Window
    from stubsi.stubs.drawn import StubShape


@dataclass(frozen=True, kw_only=True)
class Needs:
    """What the nets of a board need: the task of drilling, and the stubs that are refused.

    ``undrilled`` holds the nets that stay undrilled, ``undecided`` those that cannot be judged. Both hold the reason by
    the name of the net. ``blocked`` holds the refused stubs themselves, in the order of ``refused``.
    """

    task: DrillTask
    refused: tuple[Refused, ...]
    blocked: tuple[Drillable, ...]
    undrilled: ReadOnlyMapping[str, Undrilled]
    undecided: ReadOnlyMapping[str, Undecided]

    @cached_property
    def missed_nets(self) -> frozenset[str]:
        """Names of the nets with a refused stub: they miss their criterion whatever is drilled."""
        return frozenset(refused.net for refused in self.refused)

    @cached_property
    def drillable_in_vain(self) -> tuple[Drillable, ...]:
        """Stubs of these nets that could be drilled within their budget."""
        single = (stub for stub in self.task.single if stub.net in self.missed_nets)
        coupled = (stub for couple in self.task.coupled if couple.net in self.missed_nets for stub in couple.stubs)
        return (*single, *coupled)

    @property
    def of_missed_nets(self) -> tuple[Drillable, ...]:
        """Every stub of these nets that is too long, or may be."""
        return (*self.blocked, *self.drillable_in_vain)

    def task_of_other_nets(self) -> DrillTask:
        """The task of drilling without these nets."""
        if not self.missed_nets:
            return self.task
        single = tuple(stub for stub in self.task.single if stub.net not in self.missed_nets)
        coupled = tuple(couple for couple in self.task.coupled if couple.net not in self.missed_nets)
        return DrillTask(self.task.stackup, self.task.rules, single, coupled)


def needs_of(limits: Limits, rules: FabricatorRules, neighbours: Neighbours | None = None) -> Needs:
    """Sort the nets of a board by what they need.

    Parameters
    ----------
    limits : Limits
        What the criteria allow the stubs of the board.
    rules : FabricatorRules
        Rules of the fabricator.
    neighbours : Neighbours, optional
        Neighbours of the holes; those on the board of ``limits`` unless given. A board of some nets only has too few.

    Returns
    -------
    Needs
        The stubs and nets, sorted.
    """
    sorter = _Sorter(limits, rules, neighbours_of(limits.board, rules) if neighbours is None else neighbours)
    sorter.sort()
    task = sorter.reachable_task()
    both = sorted(
        zip(sorter.refused, sorter.blocked, strict=True),
        key=lambda each: (each[0].net, each[0].hole.name, each[0].side),
    )
    return Needs(
        task=task, refused=tuple(each for each, _ in both), blocked=tuple(stub for _, stub in both),
        undrilled=ReadOnlyMapping(sorter.undrilled), undecided=ReadOnlyMapping(sorter.undecided),
    )  # fmt: skip


class _NetStubs(NamedTuple):
    """A signal net and the rows of its stubs in the stub table."""

    net: Net
    rows: list[int]


class _Sorter:
    """Sorts the nets of a board, in order of their names."""

    def __init__(self, limits: Limits, rules: FabricatorRules, neighbours: Neighbours) -> None:
        self.board, self.rules, self.limits, self.neighbours = limits.board, rules, limits, neighbours
        self.lengths = limits.table.length_si.tolist()
        self.refused: list[Refused] = []
        self.blocked: list[Drillable] = []
        self.undrilled: dict[str, Undrilled] = {}
        self.undecided: dict[str, Undecided] = {}
        self.single: list[Drillable] = []
        self.coupled: list[CoupledStubs] = []
        self._windows: dict[tuple[StubShape, float], Window] = {}

    def sort(self) -> None:
        """Sort every net."""
        rows_of: dict[int, list[int]] = defaultdict(list)
        for row, number in enumerate(self.limits.table.net.tolist()):
            rows_of[number].append(row)
        stub_by_stub: list[_NetStubs] = []
        summed: list[_NetStubs] = []
        for number, net in sorted(enumerate(self.board.signal_nets), key=lambda pair: pair[1].name):
            rows = rows_of[number]
            if net.waiver:
                self.undrilled[net.name] = Undrilled(why=WhyUndrilled.WAIVED, waiver=net.waiver)
            elif not rows:
                self.undrilled[net.name] = Undrilled(why=WhyUndrilled.NO_STUB)
            else:
                stubs = _NetStubs(net, rows)
                (summed if self._has_sum(stubs) else stub_by_stub).append(stubs)
        self._sort_stub_by_stub(stub_by_stub)
        self._sort_summed(summed)

    def _legs(self, rows: list[int]) -> list[list[int]]:
        """The rows of each leg of a pair. The first leg is leg P, or all rows of a net that is not a pair."""
        leg = self.limits.table.leg  # 1 for leg N, otherwise 0
        legs = [[row for row in rows if leg[row] == number] for number in (0, 1)]
        return [rows for rows in legs if rows]

    def _has_sum(self, stubs: _NetStubs) -> bool:
        """Whether the criterion of a net limits the sum of losses of more than one stub."""
        if len(stubs.rows) < 2 or self.board.criterion_of(stubs.net).measure is not Measure.LOSS:
            return False
        return any(len(leg) > 1 for leg in self._legs(stubs.rows))

    def _sort_stub_by_stub(self, nets: Sequence[_NetStubs]) -> None:
        """Sort the nets whose stubs are judged one by one."""
        rows = [row for stubs in nets for row in stubs.rows]
        longest = dict(zip(rows, self.limits.longest(rows).tolist() if rows else (), strict=True))
        for stubs in nets:
            unknown = [row for row in stubs.rows if np.isnan(longest[row])]
            too_long = [row for row in stubs.rows if self.lengths[row] > longest[row]]
            if unknown:
                self.undecided[stubs.net.name] = Undecided(self.limits.missing(unknown[0]))
            elif self._whole_holes_meet(stubs) or not too_long:
                self.undrilled[stubs.net.name] = self._meets(stubs)
            else:
                drillable = [self._drillable(stubs.net, row, longest[row]) for row in too_long]
                self._add([stub for stub in drillable if not self._refuse(stub, stub.window.reasons)])

    def _drillable(self, net: Net, row: int, longest: float) -> Drillable:
        """A row of the stub table with its window. Equal stubs share one window, unless a neighbour is in the way."""
        table = self.limits.table
        shape, hole = table.cases[table.case[row]].shape, table.holes[table.hole[row]]
        if (shape, longest) not in self._windows:
            self._windows[shape, longest] = window(shape, longest, self.rules, self.limits.budget_at)
        its_window, refusal = self._windows[shape, longest], self.neighbours.refusal(hole, shape)
        if refusal:
            its_window = its_window.replaced(reasons=(*its_window.reasons, refusal))
        return Drillable(net=net.name, hole=hole, window=its_window, row=row, limits=self.limits)

    def _add(self, stubs: Sequence[Drillable]) -> None:
        """Add stubs that must be drilled. The two stubs of a hole are coupled where they limit each other."""
        number = 0
        while number < len(stubs):
            pair = tuple(stubs[number : number + 2])
            if len(pair) == 2 and pair[0].hole == pair[1].hole and not independent(pair[0].window, pair[1].window):
                self.coupled.append(CoupledStubs(pair, np.inf))
                number += 2
            else:
                self.single.append(stubs[number])
                number += 1

    def _refuse(self, stub: Drillable, reasons: tuple[Refusal, ...]) -> bool:
        """Refuse a stub if there are reasons. Returns whether it was refused."""
        if reasons:
            self.refused.append(Refused(stub.net, stub.hole, stub.window.side, stub.window, reasons))
            self.blocked.append(stub)
        return bool(reasons)

    def _sort_summed(self, nets: Sequence[_NetStubs]) -> None:
        """Sort the nets that have a limit for the sum of their losses, leg by leg."""
        rows = [row for stubs in nets for row in stubs.rows]
        losses = self.limits.losses(rows, [self.lengths[row] for row in rows]).tolist() if rows else ()
        loss = dict(zip(rows, losses, strict=True))
        for stubs in nets:
            limit = self.board.criterion_of(stubs.net).limit
            legs = self._legs(stubs.rows)
            sums = [sum(loss[row] for row in leg) for leg in legs]
            unknown = [row for row in stubs.rows if np.isnan(loss[row])]
            if unknown:
                self.undecided[stubs.net.name] = Undecided(self.limits.missing(unknown[0]))
            elif self._whole_holes_meet(stubs) or max(sums) <= limit:
                self.undrilled[stubs.net.name] = self._meets(stubs)
            else:
                # A leg that is within the limit with its holes' stubs counted double needs no drilling.
                for leg in (leg for leg, total in zip(legs, sums, strict=True) if total > limit):
                    drillable = tuple(self._drillable(stubs.net, row, np.inf) for row in leg)
                    self.coupled.append(CoupledStubs(drillable, limit))

    def _whole_holes_meet(self, stubs: _NetStubs) -> bool:
        """Whether a net that has holes with two stubs meets its criterion with all stubs as drawn."""
        return bool(self.limits.two_in_hole[stubs.rows].any()) and self.limits.meets_as_drawn(stubs.rows[0])

    def _meets(self, stubs: _NetStubs) -> Undrilled:
        """Reason for a net that meets its criterion: whether this is proven, and if not, which input is missing."""
        criterion = self.board.criterion_of(stubs.net)
        if self.limits.ranking.verdicts[self.limits.table.net[stubs.rows[0]]] == Verdict.PASS:
            return Undrilled(why=WhyUndrilled.MEETS, criterion=criterion)
        missing = next(filter(None, map(self.limits.not_solved, stubs.rows)), "")
        return Undrilled(why=WhyUndrilled.MEETS_UNPROVEN, criterion=criterion, missing=missing)

    def reachable_task(self) -> DrillTask:
        """The task of drilling. Coupled stubs for which no choice of groups is possible are refused first."""
        while True:
            task = DrillTask(self.board.stackup, self.rules, tuple(self.single), tuple(self.coupled))
            is_possible = {choice: possible(choice) for choice in set(task.choices)}
            out_of_reach = [
                (couple, choice)
                for couple, choice in zip(task.coupled, task.choices, strict=True)
                if not is_possible[choice]
            ]
            if not out_of_reach:
                return task
            self.coupled = [
                couple for couple, choice in zip(task.coupled, task.choices, strict=True) if is_possible[choice]
            ]
            for couple, choice in out_of_reach:
                self._refuse_coupled(couple, choice)

    def _refuse_coupled(self, couple: CoupledStubs, choice: JointChoice) -> None:
        """Refuse coupled stubs. Two stubs of one hole, without a limit for a sum: only the shorter one is refused."""
        if np.isfinite(couple.limit):
            for stub in couple.stubs:
                self._refuse(stub, stub.window.reasons or (_out_of_reach(choice),))
            return
        shorter, longer = sorted(couple.stubs, key=lambda stub: stub.window.shape.stub_length_si)
        self.single.append(longer)
        self._refuse(shorter, (beside_other_side(longer.window.side),))


def _out_of_reach(choice: JointChoice) -> Refusal:
    """Why no choice of groups brings the sum of a net's losses within its limit."""
    allowed = f"{choice.limit:.3g} dB"
    if possible(choice._replace(excluded=())):
        text = f"stubs so short that they lose {allowed} leave too little plated barrel in a hole"
        return Refusal(Obstacle.PLATED, text)
    least = sum(min((loss for _, loss in stub), default=np.inf) for stub in choice.options)
    loss = "a notch stays at or below Nyquist" if np.isinf(least) else f"least sum of its stubs' losses {least:.3g} dB"
    return Refusal(Obstacle.BUDGET, f"{loss}; {allowed} permitted")
