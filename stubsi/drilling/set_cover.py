"""Owns the search for the fewest groups that serve every stub, with the proof. It knows nothing of boards.

Groups are numbers. A stub that must be drilled needs one group out of its ``Servers``. A ``JointChoice`` couples
several stubs, each of which is left undrilled or served by one group. Their sum must not exceed a limit, and
some pairs of groups exclude each other.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from stubsi.drilling.goal import LEAST_COST
from stubsi.drilling.group_cuts import GroupSearch
from stubsi.drilling.integer_program import Solution, cheapest, group_bounds, packed
from stubsi.drilling.joint_choice import requirements

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stubsi.drilling.costs import Costs
    from stubsi.drilling.goal import Goal
    from stubsi.drilling.joint_choice import Coordinates, JointChoice, Servers


@dataclass(frozen=True, kw_only=True)
class Cover:
    """Groups that are opened, the group of every stub of every joint choice, and what is proven.

    ``gap`` is how far the cost may lie above the least, as a fraction of it; 0 where it is proven the least. Where
    the number of groups counts first, it is that of the number of groups. ``disjoint`` holds sets of servers, and no
    two of these sets share a group. With k such sets, at least k groups are needed.
    """

    groups: tuple[int, ...]
    choices: tuple[tuple[int, ...], ...]
    gap: float
    disjoint: tuple[Servers, ...]


def cover(
    wanted: Sequence[Servers],
    choices: Sequence[JointChoice],
    coordinates: Sequence[Coordinates],
    costs: Costs,
    time_limit: float,
    *,
    goal: Goal = LEAST_COST,
) -> Cover:
    """Cheapest groups that serve all stubs, then the fewest, or the other way; then fewest hits, then deepest ends.

    Parameters
    ----------
    wanted : sequence of Servers
        The servers of every stub that must be drilled. The servers of one stub follow each other in depth, without a
        gap, in one set-up.
    choices : sequence of JointChoice
        Stubs whose groups are chosen together.
    coordinates : sequence of (side, set-up, depth)
        Coordinates of every group.
    costs : Costs
        What the user pays.
    time_limit : float
        For the solver [s].
    goal : Goal
        Whether the cost or the number of groups counts first.

    Returns
    -------
    Cover
        The groups, and the proof.

    Raises
    ------
    StubsiError
        The solver found no solution within the time limit.
    """
    distinct = sorted(set(wanted), key=sorted)
    if not choices:
        groups, disjoint = stab(distinct, coordinates)
        return Cover(groups=groups, choices=(), gap=0.0, disjoint=disjoint)
    solution = _solution(distinct, choices, coordinates, costs, time_limit, goal=goal)
    needed = [*distinct, *(requirement.groups for choice in choices for requirement in requirements(choice))]
    return Cover(
        groups=solution.groups, choices=solution.choices, gap=solution.gap, disjoint=packed(needed, time_limit)
    )


def _solution(
    wanted: Sequence[Servers],
    choices: Sequence[JointChoice],
    coordinates: Sequence[Coordinates],
    costs: Costs,
    time_limit: float,
    *,
    goal: Goal,
) -> Solution:
    """The best groups: sought among the groups alone, and among all options at once where that does not decide."""
    search = GroupSearch(wanted, choices, coordinates, time_limit)
    if costs.hole:  # the number of hits is a part of the cost
        search.fewest()
    elif opened := search.best(costs, groups_first=goal.groups_first):
        return Solution(opened.groups, opened.choices, 0.0)
    return cheapest(sorted(search.needed_sets, key=sorted), choices, coordinates, costs, time_limit, goal=goal)


def fewest(
    wanted: Sequence[Servers], choices: Sequence[JointChoice], coordinates: Sequence[Coordinates], time_limit: float
) -> tuple[int, int]:
    """Number of the fewest groups found that serve all stubs, and the number that is proven to be needed.

    Parameters
    ----------
    wanted, choices, coordinates, time_limit
        As in ``cover``.

    Returns
    -------
    tuple of int
        Both numbers; they are equal unless the solver stops at its time limit.
    """
    distinct = sorted(set(wanted), key=sorted)
    if choices:
        search = GroupSearch(distinct, choices, coordinates, time_limit)
        least = search.fewest()
        if least is None:
            return group_bounds(sorted(search.needed_sets, key=sorted), choices, coordinates, time_limit)
        return least, least
    count = len(stab(distinct, coordinates)[0])
    return count, count


def stab(wanted: Sequence[Servers], coordinates: Sequence[Coordinates]) -> tuple[tuple[int, ...], tuple[Servers, ...]]:
    """Fewest groups that serve every stub, and the proof: as many sets of servers, no two of which share a group.

    The servers of a stub follow each other in depth without a gap. Take the stub whose deepest server is the
    shallowest of all. Open that server: it serves this stub and every other stub that it can serve. Repeat this with
    the stubs that are left. The sets of servers for which a group was opened share no group with each other. So their
    number is also the least number of groups.

    Parameters
    ----------
    wanted : Sequence[Servers]
        The servers of every stub.
    coordinates : Sequence[Coordinates]
        Coordinates of every group.

    Returns
    -------
    tuple[tuple[int, ...], tuple[Servers, ...]]
        The groups, and the sets that share no group.
    """
    groups: list[int] = []
    disjoint: list[Servers] = []
    opened: set[int] = set()
    for servers in sorted(wanted, key=lambda groups: max(coordinates[group] for group in groups)):
        if opened.isdisjoint(servers):
            deepest = max(servers, key=lambda group: coordinates[group])
            groups.append(deepest)
            opened.add(deepest)
            disjoint.append(servers)
    return tuple(groups), tuple(disjoint)
