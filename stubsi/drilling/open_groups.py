"""Owns some drill groups that are open, and which stubs they can serve."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.drilling.drill_task import CandidateGroup, DrillTask, set_up_of
from stubsi.drilling.group_count import TIME_LIMIT
from stubsi.drilling.grouping import group_stubs
from stubsi.drilling.joint_choice import possible

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterable, Sequence

    from stubsi.drilling.drill_group import Group
    from stubsi.drilling.drill_task import CoupledStubs, Drillable
    from stubsi.drilling.plan import Plan
    from stubsi.drilling.window import Window


class OpenGroups:
    """Groups that are open, and which stubs they can serve.

    Parameters
    ----------
    plan : Plan
        The plan whose board, rules and costs count.
    offered : iterable of CandidateGroup
        The groups.
    """

    def __init__(self, plan: Plan, offered: Iterable[CandidateGroup]) -> None:
        self.plan, self.offered = plan, tuple(offered)
        self._number = {(group.side, group.drill_si, group.end_si): group.number for group in plan.groups}
        self._joined: dict[Hashable, tuple[int, ...]] = {}

    @classmethod
    def of_plan(cls, plan: Plan, groups: Iterable[Group]) -> OpenGroups:
        """Some groups of a plan.

        Parameters
        ----------
        plan : Plan
            The plan.
        groups : iterable of Group
            Some of its groups.

        Returns
        -------
        OpenGroups
        """
        return cls(plan, (CandidateGroup(group.side, group.drill_si, group.end_si, "") for group in groups))

    def unserved(self, single: Sequence[Drillable], coupled: Sequence[CoupledStubs]) -> set[str]:
        """Names of the nets that have a stub which these groups cannot serve.

        Parameters
        ----------
        single : sequence of Drillable
            Stubs that are drilled each by itself.
        coupled : sequence of CoupledStubs
            Stubs that are chosen together.

        Returns
        -------
        set of str
        """
        served = {window for window in {stub.window for stub in single} if self._serve(window)}
        choices = zip(coupled, self._task((), coupled).choices if coupled else (), strict=True)
        return {stub.net for stub in single if stub.window not in served} | {
            couple.net for couple, choice in choices if not possible(choice)
        }

    def _serve(self, window: Window) -> bool:
        """Whether one of the groups can serve a stub of this window."""
        set_up = set_up_of(window)
        return any((each.side, each.drill_si) == set_up and window.holds(each.end_si) for each in self.offered)

    def joined(self, single: Sequence[Drillable], coupled: Sequence[CoupledStubs]) -> tuple[int, ...]:
        """Numbers, in the plan, of those of these groups that serve some stubs.

        Parameters
        ----------
        single, coupled
            The stubs, as in ``unserved``.

        Returns
        -------
        tuple of int
        """
        key = (tuple(stub.window for stub in single), tuple(coupled))
        if key not in self._joined:
            task = self._task(single, coupled)
            served_by = group_stubs(task, self.plan.costs, TIME_LIMIT, self.plan.goal).group_of.values()
            self._joined[key] = tuple(sorted({self._number[task.candidates[number].place] for number in served_by}))
        return self._joined[key]

    def _task(self, single: Sequence[Drillable], coupled: Sequence[CoupledStubs]) -> DrillTask:
        """The task of drilling these stubs with these groups only."""
        return DrillTask(self.plan.board.stackup, self.plan.rules, tuple(single), tuple(coupled), self.offered)
