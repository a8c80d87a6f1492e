"""Owns the plan that opens given drill groups, whatever they were chosen for."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from stubsi.drilling.best_effort import best_effort
from stubsi.drilling.grouping import Grouping, groups_of
from stubsi.drilling.needs import needs_of
from stubsi.drilling.set_cover import Cover

if TYPE_CHECKING:
    from collections.abc import Mapping

    from stubsi.drilling.drill_task import Drillable
    from stubsi.drilling.goal import Goal
    from stubsi.drilling.plan import Plan


def opened_plan(plan: Plan, group_of: Mapping[Drillable, int], goal: Goal) -> Plan:
    """A plan for the same task with other groups. Coupled stubs keep those that they have.

    Parameters
    ----------
    plan : Plan
        The plan.
    group_of : mapping of Drillable to int
        Number of the candidate group of every single stub of its task.
    goal : Goal
        What the groups were chosen for.

    Returns
    -------
    Plan
        Nets that miss their criterion whatever is drilled get the best effort by its groups, where the plan makes one.
    """
    task = plan.task
    groups = {**coupled_groups(plan), **group_of}
    opened = tuple(sorted(set(groups.values())))
    grouping = Grouping(groups, Cover(groups=opened, choices=(), gap=0.0, disjoint=()))
    if plan.missed_nets == "best effort":
        needs = needs_of(plan.limits, plan.rules)
        grouping = grouping.with_best_effort(best_effort(needs, task, opened, plan.limits))
    return replace(plan, goal=goal, groups=groups_of(task, grouping), margin_gap=None)


def coupled_groups(plan: Plan) -> dict[Drillable, int]:
    """Number of the candidate group of every coupled stub that a plan drills.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    dict of Drillable to int
        Their groups.
    """
    number = {candidate.place: n for n, candidate in enumerate(plan.task.candidates)}
    found = {}
    for couple in plan.task.coupled:
        for stub in couple.stubs:
            group = plan.group_of(stub.hole.name, stub.window.side)
            if group is not None:
                found[stub] = number[group.side, group.drill_si, group.end_si]
    return found
