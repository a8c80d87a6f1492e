"""Owns the way to the decisions of a plan: from what the criteria allow to the drill groups with their proof."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

from stubsi.drilling.best_effort import best_effort
from stubsi.drilling.decisions import Decisions
from stubsi.drilling.drill_group import Refused
from stubsi.drilling.grouping import certificate_of, group_stubs, groups_of
from stubsi.drilling.kept_nets import limits_with_clearances
from stubsi.drilling.largest_margin import MarginSearch
from stubsi.drilling.needs import needs_of
from stubsi.drilling.obstacles import beside_other_side

if TYPE_CHECKING:
    from stubsi.drilling.costs import Costs
    from stubsi.drilling.goal import Goal
    from stubsi.drilling.grouping import Grouping
    from stubsi.drilling.limits import Limits
    from stubsi.drilling.miss import MissedNets
    from stubsi.drilling.needs import Needs


class Deciding:
    """Decides what is drilled under some limits, for any goal. What must be drilled is found once.

    Parameters
    ----------
    limits : Limits
        What the criteria allow the stubs of the board, with the clearances as drawn.
    costs : Costs
        What the user pays.
    missed_nets : {"best effort", "leave", "stub by stub"}
        What is done to nets that miss their criterion whatever is drilled.
    seconds : float
        Time limit of each run of the solver [s].
    """

    def __init__(self, limits: Limits, costs: Costs, missed_nets: MissedNets, seconds: float) -> None:
        self.limits, self.costs, self.missed_nets, self.seconds = limits, costs, missed_nets, seconds
        self.needs = needs_of(limits, limits.rules)
        self.task = self.needs.task if missed_nets == "stub by stub" else self.needs.task_of_other_nets()

    @cached_property
    def search(self) -> MarginSearch:
        """The search for the largest margin of any number of groups."""
        return MarginSearch(self.task, self.costs, self.seconds)

    def final(self, goal: Goal) -> Decisions:
        """What is drilled for a goal. Nets that fall short with the clearances of these drills are decided again.

        Parameters
        ----------
        goal : Goal
            What is made least or largest.

        Returns
        -------
        Decisions
            The groups, with their proof.

        Raises
        ------
        StubsiError
            So few groups cannot serve all stubs, or the solver finds no groups within its time limit.
        """
        made = self._decisions(goal)
        again = limits_with_clearances(made)
        return made if again is None else Deciding(again, self.costs, self.missed_nets, self.seconds)._decisions(goal)

    def _decisions(self, goal: Goal) -> Decisions:
        """What is drilled under these limits."""
        needs, task = self.needs, self.task
        reached = None if goal.most_groups is None else self.search.reached(goal.most_groups)
        grouping = group_stubs(task, self.costs, self.seconds, goal) if reached is None else reached.grouping
        certificate = certificate_of(task if reached is None else reached.task, grouping)
        if self.missed_nets == "best effort":
            grouping = grouping.with_best_effort(best_effort(needs, task, grouping.cover.groups, self.limits))
        stub_by_stub = self.missed_nets == "stub by stub"
        refused, left_out = (needs.refused, ()) if stub_by_stub else _not_drilled(needs, grouping)
        return Decisions(
            board=self.limits.board, rules=self.limits.rules, costs=self.costs, model=self.limits.model,
            missed_nets=self.missed_nets, goal=goal, groups=groups_of(task, grouping), refused=refused,
            left_out=left_out, undrilled=needs.undrilled, undecided=needs.undecided, certificate=certificate,
            cost_gap=grouping.cover.gap, margin_gap=None if reached is None else reached.gap, task=task,
            limits=self.limits,
        )  # fmt: skip


def _not_drilled(needs: Needs, grouping: Grouping) -> tuple[tuple[Refused, ...], tuple[tuple[str, str, str], ...]]:
    """Stubs that are refused, and those that are left out because of them, as (net, hole, side).

    Where the refused stub of a hole is drilled after all, because a group happens to be open for it, the other stub of
    that hole is the one that cannot be drilled beside it.
    """
    drilled = {(stub.hole.name, stub.window.side) for stub in grouping.group_of}
    refused = [each for each in needs.refused if (each.hole.name, each.side) not in drilled]
    told = {each.net for each in refused} | {stub.net for stub in grouping.misses}
    left_out: list[tuple[str, str, str]] = []
    for stub in needs.drillable_in_vain:
        hole, side = stub.hole.name, stub.window.side
        other_side = "top" if side == "bottom" else "bottom"
        if (hole, side) in drilled:
            continue
        if stub.net not in told and (hole, other_side) in drilled:
            refused.append(Refused(stub.net, stub.hole, side, stub.window, (beside_other_side(other_side),)))
        else:
            left_out.append((stub.net, hole, side))
    return tuple(sorted(refused, key=lambda each: (each.net, each.hole.name, each.side))), tuple(sorted(left_out))
