"""Owns the choice of drill groups: the cheapest groups for a task, which stubs each serves, and the proof."""

from __future__ import annotations

from collections import Counter, defaultdict
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.board.padstack import SIDES
from stubsi.drilling.drill_group import Certificate, Group, Hit, SummedLosses
from stubsi.drilling.goal import LEAST_COST
from stubsi.drilling.joint_choice import UNDRILLED, requirements
from stubsi.drilling.rules import ANY_LAYER
from stubsi.drilling.set_cover import Cover, cover, fewest
from stubsi.drilling.side_view import side_view
from stubsi.drilling.window import left_before
from stubsi.read_only import ReadOnlyMapping

if TYPE_CHECKING:
    from collections.abc import Iterable

    from stubsi.drilling.best_effort import Chosen
    from stubsi.drilling.costs import Costs
    from stubsi.drilling.drill_task import Drillable, DrillTask
    from stubsi.drilling.goal import Goal
    from stubsi.drilling.joint_choice import Coordinates, JointChoice
    from stubsi.drilling.miss import Miss
    from stubsi.drilling.stub_margins import NarrowedTask


class Grouping(NamedTuple):
    """Number of the candidate group of every stub that is drilled, and the cover with its proof.

    ``misses`` holds, for some of these stubs, by how much they miss their budget although they are drilled.
    """

    group_of: dict[Drillable, int]
    cover: Cover
    misses: ReadOnlyMapping[Drillable, Miss] = ReadOnlyMapping({})

    def with_best_effort(self, chosen: Iterable[Chosen]) -> Grouping:
        """The same groups, which also drill stubs of nets that miss their criterion anyway.

        Parameters
        ----------
        chosen : iterable of Chosen
            These stubs.

        Returns
        -------
        Grouping
            With the same proof.
        """
        listed = tuple(chosen)
        groups = {each.stub: each.group for each in listed}
        misses = {each.stub: each.miss for each in listed if each.miss}
        return self._replace(group_of={**self.group_of, **groups}, misses=ReadOnlyMapping(misses))


def group_stubs(task: DrillTask | NarrowedTask, costs: Costs, time_limit: float, goal: Goal = LEAST_COST) -> Grouping:
    """Find the cheapest groups, or the fewest, that serve every stub of a task.

    Each stub is served by the deepest of the open groups that its window holds.

    Parameters
    ----------
    task : DrillTask or NarrowedTask
        What must be drilled.
    costs : Costs
        What the user pays.
    time_limit : float
        For the solver [s].
    goal : Goal
        Whether the cost or the number of groups counts first.

    Returns
    -------
    Grouping
        The group of each stub, and the proof.

    Raises
    ------
    StubsiError
        The solver found no solution within the time limit.
    """
    choices, coordinates = _choices(task), _coordinates(task)
    covering = cover([task.servers(stub) for stub in task.single], choices, coordinates, costs, time_limit, goal=goal)
    opened = frozenset(covering.groups)
    deepest = {servers: max(servers & opened) for servers in {task.servers(stub) for stub in task.single}}
    group_of = {stub: deepest[task.servers(stub)] for stub in task.single}
    chosen = {choice._replace(nets=1): numbers for choice, numbers in zip(choices, covering.choices, strict=True)}
    for couple, choice in zip(task.coupled, task.choices, strict=True):
        for stub, number in zip(couple.stubs, chosen[choice], strict=True):
            if number != UNDRILLED:
                group_of[stub] = number
    return Grouping(group_of, covering)


def _choices(task: DrillTask | NarrowedTask) -> list[JointChoice]:
    """The different joint choices, each with the number of nets that have it."""
    return [choice._replace(nets=count) for choice, count in sorted(Counter(task.choices).items())]


def _coordinates(task: DrillTask | NarrowedTask) -> list[Coordinates]:
    """Coordinates of the candidate groups."""
    candidates = task.candidates
    set_ups = {set_up: n for n, set_up in enumerate(sorted({(group.side, group.drill_si) for group in candidates}))}
    return [
        (SIDES.index(group.side), set_ups[group.side, group.drill_si], number)
        for number, group in enumerate(candidates)
    ]


def fewest_groups(task: DrillTask | NarrowedTask, time_limit: float) -> tuple[int, int]:
    """Number of the fewest groups found that serve every stub of a task, and the number that is proven to be needed.

    Parameters
    ----------
    task : DrillTask or NarrowedTask
        What must be drilled.
    time_limit : float
        For the solver [s].

    Returns
    -------
    tuple of int
        Both numbers; they are equal unless the solver stops at its time limit.
    """
    wanted = [task.servers(stub) for stub in task.single]
    return fewest(wanted, _choices(task), _coordinates(task), time_limit)


def groups_of(task: DrillTask, grouping: Grouping) -> tuple[Group, ...]:
    """Drill groups of a plan, in order of side, drill and depth.

    Parameters
    ----------
    task : DrillTask
        What must be drilled.
    grouping : Grouping
        Which group serves which stub.

    Returns
    -------
    tuple[Group, ...]
        The drill groups.
    """
    members: dict[int, list[Drillable]] = defaultdict(list)
    for stub, number in grouping.group_of.items():
        members[number].append(stub)
    coupled = {stub for couple in task.coupled for stub in couple.stubs}
    losses = _losses(task, grouping)
    groups: list[Group] = []
    for number, stubs in sorted(members.items()):
        end = task.candidates[number].end_si
        left = {window: window.left(end) for window in {stub.window for stub in stubs}}
        hits = [
            Hit(
                net=stub.net, hole=stub.hole, side=stub.window.side, window=stub.window, left=left[stub.window],
                coupled=stub in coupled, losses=losses.get(stub), miss=grouping.misses.get(stub),
            )
            for stub in sorted(stubs, key=lambda stub: (stub.net, stub.hole.name))
        ]  # fmt: skip
        groups.append(_group(len(groups) + 1, task, number, tuple(hits)))
    return tuple(groups)


def _losses(task: DrillTask, grouping: Grouping) -> dict[Drillable, SummedLosses]:
    """For every stub whose net has a limit for the sum of its losses: the sums of that net."""
    losses: dict[Drillable, SummedLosses] = {}
    for couple, choice in zip(task.coupled, task.choices, strict=True):
        if np.isfinite(couple.limit):
            drawn = planned = 0.0
            for stub, options in zip(couple.stubs, map(dict, choice.options), strict=True):
                drawn += options.get(UNDRILLED, np.inf)
                planned += options[grouping.group_of.get(stub, UNDRILLED)]
            doubled = any(stub.limits.two_in_hole[stub.row] for stub in couple.stubs)
            losses.update(dict.fromkeys(couple.stubs, SummedLosses(drawn, planned, couple.limit, doubled)))
    return losses


def _group(number: int, task: DrillTask, candidate_number: int, hits: tuple[Hit, ...]) -> Group:
    """The drill group of a candidate. If no layer sets its depth, the first layer it must not cut is named."""
    candidate, rules = task.candidates[candidate_number], task.rules
    view = side_view(task.stackup, rules, candidate.side)
    deepest = rules.deepest(candidate.side)
    not_to_cut = [hit.window.layer for hit in hits] + [layer for layer in [deepest] if layer and layer != ANY_LAYER]
    layer = candidate.layer or min(not_to_cut, key=view.position)
    face = view.near_face(layer)
    return Group(
        number=number, rules=rules, side=candidate.side, drill_si=candidate.drill_si,
        primary_si=hits[0].window.shape.padstack.drill_si, layer=layer, end_si=candidate.end_si, face_si=face,
        left=left_before(face, candidate.end_si, hits[0].window), hits=hits,
    )  # fmt: skip


def certificate_of(task: DrillTask | NarrowedTask, grouping: Grouping) -> tuple[Certificate, ...]:
    """The proof: sets of stubs of which no two share a group, each with the ends that could serve it.

    Parameters
    ----------
    task : DrillTask or NarrowedTask
        What must be drilled.
    grouping : Grouping
        Which group serves which stub.

    Returns
    -------
    tuple[Certificate, ...]
        The entries of the proof.
    """
    stubs_of: dict[frozenset[int], tuple[Drillable, ...]] = {}
    for couple, choice in zip(task.coupled, task.choices, strict=True):
        for requirement in requirements(choice):
            stubs_of.setdefault(requirement.groups, tuple(couple.stubs[number] for number in requirement.stubs))
    for stub in task.single:
        stubs_of.setdefault(task.servers(stub), (stub,))
    return tuple(
        Certificate(
            tuple((stub.net, stub.hole.name, stub.window.side) for stub in stubs_of[groups]),
            frozenset(task.candidates[group].place for group in groups),
        )
        for groups in sorted(grouping.cover.disjoint, key=sorted)
    )
