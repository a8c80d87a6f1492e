"""Owns the single changes of a board, each the smallest of its kind, with which a net needs no deep drill any more."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.board.names import how_many
from stubsi.drilling.drill_task import CandidateGroup, DrillTask, set_up_of
from stubsi.drilling.effects import widened
from stubsi.drilling.needs import needs_of
from stubsi.drilling.neighbours import neighbours_of
from stubsi.drilling.obstacles import MET
from stubsi.drilling.open_groups import OpenGroups
from stubsi.drilling.side_view import side_view
from stubsi.errors import StubsiError
from stubsi.margin.change_kinds import (
    NOTHING_TO_CHANGE,
    ChangeKind,
    Trial,
    check_signal_net,
    trials,
    wanted_kinds,
    widest_antipads,
)
from stubsi.margin.single_change import SingleChange, SingleChanges

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from stubsi.board.board import Board
    from stubsi.drilling.drill_task import CoupledStubs, Drillable
    from stubsi.drilling.plan import Plan


class DrilledHow(StrEnum):
    """How a net is drilled after a change. Each is also the text that is shown.

    ``NOT_SHALLOWER``: as deep as before, or not at all although it must be. ``OWN_GROUP``: less deep, past fewer copper
    layers, with a group that the plan does not have. ``OPEN_GROUP``: less deep, with groups that the plan has anyway.
    ``UNDRILLED``: it needs no drilling.
    """

    NOT_SHALLOWER = "no shallower group serves it"
    OWN_GROUP = "a shallower group of its own serves it"
    OPEN_GROUP = "a shallower group of the plan serves it"
    UNDRILLED = "it needs no drilling"


_BETTER = list(DrilledHow)
"""From the least welcome to the most welcome."""


@dataclass(frozen=True, kw_only=True, repr=False)
class ShallowerChange(SingleChange):
    """One change of a board, and how a net is drilled after it.

    Parameters
    ----------
    kind, text, amount, first_notch_si, board
        As in ``SingleChange``.
    how : DrilledHow
        How the net is drilled with it.
    groups : tuple of int
        Numbers of the groups of the plan that serve the net then; empty unless ``how`` is ``OPEN_GROUP``.
    """

    how: DrilledHow
    groups: tuple[int, ...]

    @property
    def outcome(self) -> tuple[object, ...]:
        """How the net is drilled with it, and the numbers of the groups of the plan."""
        return str(self.how), ", ".join(map(str, self.groups))

    @property
    def _outcome(self) -> str:
        numbers = f" (group {', '.join(map(str, self.groups))})" * bool(self.groups)
        return f"{self.text}: {self.how}{numbers}"

    def __str__(self) -> str:
        return f"{self._outcome}; undrilled, {self.rise}"

    def __repr__(self) -> str:
        return f"<ShallowerChange {self._outcome}>"


@dataclass(frozen=True, kw_only=True, repr=False)
class ShallowerChanges(SingleChanges[ShallowerChange]):
    """What lets one net of a plan be drilled less deep, and what does not. Make it with ``Plan.shallower_changes``.

    Parameters
    ----------
    net : str
        Name of the net.
    changes : tuple of ShallowerChange
        For each kind the smallest change with which a shallower group of its own serves the net, and the smallest one
        with which it needs no such group; the first choice first.
    not_enough : tuple of ShallowerChange
        The largest change of each other kind: no shallower group serves the net with it.
    not_tried : tuple of str
        Kinds that could not be tried, each with the reason.
    drilled_by : tuple of int
        Numbers of the groups of the plan that drill it.
    meets : bool
        Whether the net meets its criterion in the plan.
    """

    drilled_by: tuple[int, ...]
    meets: bool

    OUTCOME = ("outcome", "groups")

    def _head(self) -> str:
        if self.meets and not self.drilled_by:
            return f"{self.net}: not drilled; nothing needs to change."
        now = f"drilled by group {', '.join(map(str, self.drilled_by))}" if self.drilled_by else "not drilled"
        return f"{self.net}: {now}" + ", and misses its criterion" * (not self.meets)

    def __str__(self) -> str:
        lines = [self._head()]
        lines += [f"  {each}" for each in (*self.changes, *self.not_enough)]
        lines += [f"  not tried: {each}" for each in self.not_tried]
        return "\n".join(lines)

    def _repr_html_(self) -> str:
        from stubsi.show.changes_table import shallower_html

        return shallower_html(self)

    def __repr__(self) -> str:
        return f"<ShallowerChanges of {self.net}: {how_many(len(self.changes), 'change')} for a shallower drill>"


def shallower_changes_of(plan: Plan, net: str, weights: Mapping[str, float] | None) -> ShallowerChanges:
    """Find the smallest single change of each kind after which a net of a plan is drilled less deep.

    Parameters
    ----------
    plan : Plan
        The plan.
    net : str
        Name of a signal net.
    weights : mapping of kind to float or None
        What a unit of each kind costs, as in ``undrilled_changes``.

    Returns
    -------
    ShallowerChanges
        No changes where the net is not drilled and meets its criterion.
    """
    check_signal_net(plan.board, net)
    wanted = wanted_kinds(weights)
    groups = tuple(group for group in plan.groups if net in group.nets)
    misses = net in {each.net for each in plan.refused} | {hit.net for hit in plan.missed} | set(plan.undecided)
    found: list[ShallowerChange] = []
    not_enough: list[ShallowerChange] = []
    not_tried: list[str] = []
    if groups or misses:
        search = _Search(plan, net, misses)
        for kind in wanted:
            try:
                reached, largest = search.smallest(kind)
            except StubsiError as error:
                not_tried.append(f"{kind}: {error}")
                continue
            found += reached
            not_enough += [largest] if largest and not reached else []
            not_tried += [] if largest else [f"{kind}: {NOTHING_TO_CHANGE[kind]}"]
    found.sort(key=lambda each: wanted[each.kind] * each.amount if weights is not None else 0.0)
    return ShallowerChanges(
        net=net, drilled_by=tuple(group.number for group in groups), meets=not misses, changes=tuple(found),
        not_enough=tuple(not_enough), not_tried=tuple(not_tried),
    )  # fmt: skip


class _Stubs(NamedTuple):
    """The stubs of a net that must be drilled, and its first notch undrilled [Hz]. ``lost``: one cannot be drilled."""

    single: tuple[Drillable, ...]
    coupled: tuple[CoupledStubs, ...]
    lost: bool
    first_notch_si: float | None


class _Search:
    """Finds the smallest change of each kind for one net.

    ``layers``: how many copper layers a drill must pass for it now, at least. ``open_groups``: those groups of the plan
    that are less deep than what it needs of the plan now.
    """

    def __init__(self, plan: Plan, net: str, misses: bool) -> None:
        self.plan, self.net = plan, net
        self.board = widened(plan) if net in plan.limits.judged_wider else plan.board
        now = self._stubs(self.board)
        self.before = now.first_notch_si
        self.layers = math.inf if misses else self._layers(now)
        deepest = math.inf if misses else self._deepest_needed(now)
        self.open_groups = OpenGroups.of_plan(plan, (each for each in plan.groups if each.end_si < deepest - MET))

    def _deepest_needed(self, stubs: _Stubs) -> float:
        """Least end [m] such that the groups of the plan up to that end serve the stubs."""
        for end in sorted({group.end_si for group in self.plan.groups}):
            groups = OpenGroups.of_plan(self.plan, (each for each in self.plan.groups if each.end_si <= end))
            if not groups.unserved(stubs.single, stubs.coupled):
                return end
        return math.inf

    def smallest(self, kind: ChangeKind) -> tuple[list[ShallowerChange], ShallowerChange | None]:
        """The smallest change with each better outcome, and the last one that was tried; None where there is none."""
        if kind is ChangeKind.ANTIPAD:  # where the widest ones are not enough, no narrower ones are tried
            widest = self._change(widest_antipads(self.board, self.net))
            if widest.how is DrilledHow.NOT_SHALLOWER:
                return [], widest
        reached: list[ShallowerChange] = []
        change = None
        for trial in trials(kind, self.board, self.net):
            change = self._change(trial)
            best = reached[-1].how if reached else DrilledHow.NOT_SHALLOWER
            if _BETTER.index(change.how) > _BETTER.index(best):
                reached.append(change)
            if change.how in (DrilledHow.OPEN_GROUP, DrilledHow.UNDRILLED):
                break
        return reached, change

    def _change(self, trial: Trial) -> ShallowerChange:
        stubs = self._stubs(trial.board)
        how, groups = self._how(stubs)
        return ShallowerChange(
            kind=trial.kind, text=trial.text, amount=trial.amount, how=how, groups=groups,
            first_notch_si=(self.before, stubs.first_notch_si), board=trial.board,
        )  # fmt: skip

    def _stubs(self, board: Board) -> _Stubs:
        """What must be drilled of the net on a board."""
        plan = self.plan
        alone = board.replaced(nets=tuple(each for each in board.nets if each.name == self.net or each.reference))
        limits = plan.limits.on(alone)
        needs = needs_of(limits, plan.rules, neighbours_of(board, plan.rules))
        lost = bool(needs.refused or needs.undecided)
        return _Stubs(needs.task.single, needs.task.coupled, lost, limits.ranking[self.net].first_notch_si)

    def _how(self, stubs: _Stubs) -> tuple[DrilledHow, tuple[int, ...]]:
        """How these stubs can be drilled, and the groups of the plan that serve them."""
        single, coupled = stubs.single, stubs.coupled
        if stubs.lost:
            return DrilledHow.NOT_SHALLOWER, ()
        if not single and not coupled:
            return DrilledHow.UNDRILLED, ()
        if not self.open_groups.unserved(single, coupled):
            return DrilledHow.OPEN_GROUP, self.open_groups.joined(single, coupled)
        return (DrilledHow.OWN_GROUP if self._layers(stubs) < self.layers else DrilledHow.NOT_SHALLOWER), ()

    def _layers(self, stubs: _Stubs) -> float:
        """Least number of copper layers such that drills which pass no more of them serve the stubs."""
        ends = tuple(self._ends(stubs))
        for passed in sorted({number for number, _ in ends}):
            offered = (end for number, end in ends if number <= passed)
            if not OpenGroups(self.plan, offered).unserved(stubs.single, stubs.coupled):
                return passed
        return math.inf

    def _ends(self, stubs: _Stubs) -> Iterator[tuple[int, CandidateGroup]]:
        """Groups that could be opened for these stubs, each with the number of copper layers that its drill passes."""
        stackup, rules = self.plan.board.stackup, self.plan.rules
        ends = list(DrillTask(stackup, rules, stubs.single, stubs.coupled).candidates)
        if rules.tolerance.aimed(0.0) is None:  # any end may be aimed at
            windows = {stub.window for stub in stubs.single}
            ends += [CandidateGroup(*set_up_of(window), window.shallowest_si, "") for window in windows]
        for end in ends:
            yield int(np.sum(side_view(stackup, rules, end.side).near < end.end_si - MET)), end
