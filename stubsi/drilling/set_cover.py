"""Owns the counting: the fewest groups that serve every demand, with the proof; knows nothing of boards.

Groups are numbers. A ``Demand`` is served by any one of its groups. A ``Joint`` couples several stubs, each of which is
left alone or served by one group, through a sum that must not exceed a limit, or through pairs that exclude each other.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from stubsi.errors import StubsiError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from stubsi.drilling.rules import Costs

Demand = frozenset[int]

ALONE = -1
"""Stands for no group: the stub is left as it is."""


SOLVER_ROUNDING = 1e-6
"""Relative rounding of the solver, taken off a limit that leaves the room, so that a sum does not exceed it."""


class Joint(NamedTuple):
    """Stubs of one net that are chosen for together.

    ``options``: per stub, (group or ALONE, what it adds to the sum). ``limit``: of the sum, positive. ``excluded``:
    pairs of (stub, group) that cannot both be chosen. ``count``: how many nets are like this.
    """

    options: tuple[tuple[tuple[int, float], ...], ...]
    limit: float = np.inf
    excluded: tuple[tuple[tuple[int, int], tuple[int, int]], ...] = ()
    count: int = 1


class Need(NamedTuple):
    """Groups one of which a joint needs, whatever else is chosen, and the stubs (by place) that need it."""

    groups: Demand
    stubs: tuple[int, ...]


@dataclass(frozen=True, kw_only=True)
class Cover:
    """Groups opened, the group of every stub of every joint, and what is proven.

    ``gap``: relative, 0 where the cost is proven least. ``disjoint``: demands no two of which share a group: with k
    of them, fewer than k groups cannot do.
    """

    groups: tuple[int, ...]
    joints: tuple[tuple[int, ...], ...]
    gap: float
    disjoint: tuple[Demand, ...]


def cover(
    demands: Sequence[Demand],
    joints: Sequence[Joint],
    places: Sequence[tuple[int, int, int]],
    costs: Costs,
    time_limit: float,
) -> Cover:
    """Cheapest groups that serve all demands and joints; of those the fewest groups, the fewest hits, the deepest ends.

    Parameters
    ----------
    demands : sequence of Demand
        The groups of each are neighbours in depth on one place.
    joints : sequence of Joint
    places : sequence of (side, set-up, depth)
        Of every group.
    costs : Costs
    time_limit : float
        For the solver [s].

    Raises
    ------
    StubsiError
        Nothing found within the time limit.
    """
    distinct = sorted(set(demands), key=sorted)
    if not joints:
        groups, disjoint = stab(distinct, places)
        return Cover(groups=groups, joints=(), gap=0.0, disjoint=disjoint)
    groups, chosen, gap = _solve(distinct, joints, places, costs, time_limit)
    needs = [*distinct, *(need.groups for joint in joints for need in needed(joint))]
    return Cover(groups=groups, joints=chosen, gap=gap, disjoint=packed(needs, time_limit))


def stab(
    demands: Sequence[Demand], places: Sequence[tuple[int, int, int]]
) -> tuple[tuple[int, ...], tuple[Demand, ...]]:
    """Fewest groups that serve every demand, and as many demands no two of which share a group.

    The groups of a demand lie side by side: the demand whose deepest group is shallowest is served by that group, with
    all others that hold it; and so on with the rest. Each demand that opened a group shares none with the next.
    """
    groups: list[int] = []
    opened: list[Demand] = []
    held: set[int] = set()
    for demand in sorted(demands, key=lambda groups: max(places[group] for group in groups)):
        if held.isdisjoint(demand):
            deepest = max(demand, key=lambda group: places[group])
            groups.append(deepest)
            held.add(deepest)
            opened.append(demand)
    return tuple(groups), tuple(opened)


def needed(joint: Joint) -> list[Need]:
    """Sets of groups of each of which a joint needs one: of a stub that cannot stay as it is, else of any stub."""
    least = [min(add for _, add in stub) for stub in joint.options]
    found = []
    for i, stub in enumerate(joint.options):
        rest = sum(least) - least[i]
        fits = frozenset(group for group, add in stub if _within(rest + add, joint.limit))
        if ALONE not in fits:
            found.append(Need(fits, (i,)))
    as_they_are = sum(dict(stub).get(ALONE, np.inf) for stub in joint.options)
    if not found and not _within(as_they_are, joint.limit):
        groups = frozenset(group for stub in joint.options for group, _ in stub if group != ALONE)
        found.append(Need(groups, tuple(range(len(joint.options)))))
    return found


def possible(joint: Joint) -> bool:
    """Whether any choice keeps a joint within its limit and apart from the excluded pairs."""
    least = [min((add for _, add in stub), default=np.inf) for stub in joint.options]
    excluded = {frozenset(pair) for pair in joint.excluded}

    def goes_on(chosen: tuple[tuple[int, int], ...], total: float) -> bool:
        stub = len(chosen)
        if not _within(total + sum(least[stub:]), joint.limit):
            return False
        if stub == len(least):
            return True
        return any(
            goes_on((*chosen, (stub, group)), total + add)
            for group, add in sorted(joint.options[stub], key=lambda option: option[1])
            if not any(frozenset((earlier, (stub, group))) in excluded for earlier in chosen)
        )

    return goes_on((), 0.0)


def packed(needs: Sequence[Demand], time_limit: float) -> tuple[Demand, ...]:
    """As many of the sets as possible no two of which share a group."""
    distinct = sorted(set(needs), key=sorted)
    if not distinct:
        return ()
    rows = [(group, column) for column, need in enumerate(distinct) for group in need]
    shape = (1 + max(group for group, _ in rows), len(distinct))
    once = LinearConstraint(_matrix(rows, np.ones(len(rows)), shape), ub=1)
    found = milp(
        -np.ones(len(distinct)), constraints=once, bounds=Bounds(0, 1), integrality=1,
        options={"time_limit": time_limit},
    )  # fmt: skip
    return (
        tuple(need for need, taken in zip(distinct, found.x, strict=True) if taken > 0.5) if found.x is not None else ()
    )


def _within(total: float, limit: float) -> bool:
    return total <= limit * (1 + 1e-9)


class _Rows:
    """Rows of a sparse linear program, gathered one by one."""

    def __init__(self) -> None:
        self.entries: list[tuple[int, int]] = []
        self.values: list[float] = []
        self.lower: list[float] = []
        self.upper: list[float] = []

    def add(self, terms: Sequence[tuple[int, float]], lower: float, upper: float) -> None:
        row = len(self.lower)
        self.entries += [(row, column) for column, _ in terms]
        self.values += [value for _, value in terms]
        self.lower.append(lower)
        self.upper.append(upper)

    def constraint(self, width: int) -> LinearConstraint:
        matrix = _matrix(self.entries, np.array(self.values), (len(self.lower), width))
        return LinearConstraint(matrix, lb=np.array(self.lower), ub=np.array(self.upper))


def _matrix(entries: Sequence[tuple[int, int]], values: NDArray[np.float64], shape: tuple[int, int]) -> coo_array:
    row, column = np.array(entries, dtype=np.int64).reshape(-1, 2).T
    return coo_array((values, (row, column)), shape=shape).tocsc()


def _solve(
    demands: Sequence[Demand],
    joints: Sequence[Joint],
    places: Sequence[tuple[int, int, int]],
    costs: Costs,
    time_limit: float,
) -> tuple[tuple[int, ...], tuple[tuple[int, ...], ...], float]:
    """Mixed-integer program: one variable per group, set-up, side, and option of every stub of every joint."""
    rows = _Rows()
    set_ups = sorted({place[:2] for place in places})
    sides = sorted({side for side, _ in set_ups})
    first_side = len(places) + len(set_ups)
    for group, place in enumerate(places):
        rows.add([(len(places) + set_ups.index(place[:2]), 1.0), (group, -1.0)], 0, np.inf)
    for i, (side, _) in enumerate(set_ups):
        rows.add([(first_side + sides.index(side), 1.0), (len(places) + i, -1.0)], 0, np.inf)
    for demand in demands:
        rows.add([(group, 1.0) for group in demand], 1, np.inf)
    columns, width = _joint_rows(rows, joints, first_side + len(sides))
    hits, shallow = np.zeros(width), np.zeros(width)
    shallow[: len(places)] = -np.arange(len(places))
    for joint, stubs in zip(joints, columns, strict=True):
        for options, at in zip(joint.options, stubs, strict=True):
            hits[at : at + len(options)] = [joint.count * (group != ALONE) for group, _ in options]
            shallow[at : at + len(options)] = [-group * (group != ALONE) for group, _ in options]
    groups = np.r_[np.ones(len(places)), np.zeros(width - len(places))]
    fixed = np.r_[
        costs.group * groups[: len(places)], np.full(len(set_ups), costs.set_up), np.full(len(sides), costs.side),
        np.zeros(width - first_side - len(sides)),
    ]  # fmt: skip
    x, gap = _in_turn([fixed + costs.hole * hits, groups, hits, shallow], rows, width, time_limit)
    opened = tuple(np.flatnonzero(x[: len(places)] > 0.5).tolist())
    chosen = tuple(
        tuple(
            options[int(np.argmax(x[at : at + len(options)]))][0]
            for options, at in zip(joint.options, stubs, strict=True)
        )
        for joint, stubs in zip(joints, columns, strict=True)
    )
    return opened, chosen, gap


def _joint_rows(rows: _Rows, joints: Sequence[Joint], first: int) -> tuple[list[list[int]], int]:
    """Add the rows of the joints; first column of the options of each stub, and the number of columns."""
    columns = []
    for joint in joints:
        starts = []
        for options in joint.options:
            starts.append(first)
            rows.add([(first + i, 1.0) for i in range(len(options))], 1, 1)
            for i, (group, _) in enumerate(options):
                if group != ALONE:
                    rows.add([(group, 1.0), (first + i, -1.0)], 0, np.inf)
            first += len(options)
        columns.append(starts)
        terms = [
            (at + i, add) for at, stub in zip(starts, joint.options, strict=True) for i, (_, add) in enumerate(stub)
        ]
        if np.isfinite(joint.limit):
            rows.add([(i, add / joint.limit) for i, add in terms], -np.inf, _bound(joint))
        for pair in joint.excluded:
            both = [starts[stub] + [group for group, _ in joint.options[stub]].index(g) for stub, g in pair]
            rows.add([(column, 1.0) for column in both], 0, 1)
    return columns, first


def _bound(joint: Joint) -> float:
    """Bound of a sum over its limit: short of it by the rounding of the solver, unless no choice is that short."""
    short = 1 - SOLVER_ROUNDING
    return short if possible(joint._replace(limit=joint.limit * short)) else 1.0


def _in_turn(
    goals: Sequence[NDArray[np.float64]], rows: _Rows, width: int, time_limit: float
) -> tuple[NDArray[np.float64], float]:
    """Minimise the goals one after the other, each held at its least for the next; the gap is that of the first."""
    best, gap = None, 0.0
    for number, goal in enumerate(goals):
        found = milp(
            goal, constraints=rows.constraint(width), bounds=Bounds(0, 1), integrality=1,
            options={"time_limit": time_limit, "mip_rel_gap": 0.0},
        )  # fmt: skip
        if found.x is None:
            break
        best = np.round(found.x)
        if number == 0:
            gap = float(found.mip_gap or 0.0)
        rows.add([(i, value) for i, value in enumerate(goal) if value], -np.inf, float(goal @ best) + 1e-6)
    if best is None:
        raise StubsiError(f"no plan found within {time_limit:g} s: give a longer time_limit.")
    return best, gap
