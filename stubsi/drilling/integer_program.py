"""Owns the integer program for the cheapest groups: its variables and rows, and how the solver's answer is read."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, OptimizeResult, milp
from scipy.sparse import coo_array, csc_array

from stubsi.drilling.joint_choice import UNDRILLED, possible
from stubsi.errors import StubsiError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from stubsi.drilling.costs import Costs
    from stubsi.drilling.goal import Goal
    from stubsi.drilling.joint_choice import Coordinates, JointChoice, Servers

    FloatArray: TypeAlias = NDArray[np.float64]

SOLVER_ROUNDING = 1e-6
"""Relative rounding of the solver. A limit is lowered by it where a solution remains, so that no sum exceeds it."""


class Solution(NamedTuple):
    """Groups that are opened, the group of every stub of every joint choice, and the gap as a fraction."""

    groups: tuple[int, ...]
    choices: tuple[tuple[int, ...], ...]
    gap: float


def cheapest(
    wanted: Sequence[Servers],
    choices: Sequence[JointChoice],
    coordinates: Sequence[Coordinates],
    costs: Costs,
    time_limit: float,
    *,
    goal: Goal,
) -> Solution:
    """Cheapest groups that serve all stubs, then the fewest, or the other way; then fewest hits, then deepest ends.

    Parameters
    ----------
    wanted, choices, coordinates, costs, time_limit, goal
        As in ``set_cover.cover``.

    Returns
    -------
    Solution
        The groups, and the gap of what counts first.

    Raises
    ------
    StubsiError
        The solver found no solution within the time limit.
    """
    program = _Program(coordinates)
    for servers in wanted:
        program.add([(group, 1.0) for group in servers], 1, np.inf)
    starts = [program.add_choice(choice) for choice in choices]
    hits, depth = program.per_option(choices, starts)
    cost, groups = program.costs(costs, hits), program.group_count()
    first, second = (groups, cost) if goal.groups_first else (cost, groups)
    x, gap = _minimised([first, second, hits, depth], program, time_limit)
    return Solution(
        groups=tuple(np.flatnonzero(x[: len(coordinates)] > 0.5).tolist()),
        choices=tuple(_chosen(x, choice, columns) for choice, columns in zip(choices, starts, strict=True)),
        gap=gap,
    )


def group_bounds(
    wanted: Sequence[Servers], choices: Sequence[JointChoice], coordinates: Sequence[Coordinates], time_limit: float
) -> tuple[int, int]:
    """Number of the fewest groups found that serve all stubs, and the number that is proven to be needed.

    Parameters
    ----------
    wanted, choices, coordinates, time_limit
        As in ``set_cover.cover``.

    Returns
    -------
    tuple of int
        Both numbers. Where the solver finds nothing, the first is more than there are groups.
    """
    program = _Program(coordinates)
    for servers in wanted:
        program.add([(group, 1.0) for group in servers], 1, np.inf)
    for choice in choices:
        program.add_choice(choice)
    answer = _solved(program.group_count(), program, time_limit)
    if answer.x is None:
        return len(coordinates) + 1, 0
    found = round(float(np.sum(np.round(answer.x[: len(coordinates)]))))
    return found, max(0, math.ceil(found * (1 - min(_gap(answer), 1.0)) - 1e-6))


def _chosen(x: FloatArray, choice: JointChoice, starts: Sequence[int]) -> tuple[int, ...]:
    """Group of every stub of a joint choice."""
    stubs = zip(choice.options, starts, strict=True)
    return tuple(options[int(np.argmax(x[start : start + len(options)]))][0] for options, start in stubs)


def packed(sets: Sequence[Servers], time_limit: float) -> tuple[Servers, ...]:
    """Choose as many of the sets as possible so that no two of them share a group.

    The result is empty if the solver finds nothing within the time limit.

    Parameters
    ----------
    sets : Sequence[Servers]
        Sets of groups.
    time_limit : float
        For the solver [s].

    Returns
    -------
    tuple[Servers, ...]
        The chosen sets.
    """
    distinct = sorted(set(sets), key=sorted)
    if not distinct:
        return ()
    entries = [(group, column) for column, groups in enumerate(distinct) for group in groups]
    shape = (1 + max(group for group, _ in entries), len(distinct))
    one_set_per_group = LinearConstraint(_matrix(entries, np.ones(len(entries)), shape), ub=1)
    answer = milp(
        -np.ones(len(distinct)), constraints=one_set_per_group, bounds=Bounds(0, 1), integrality=[1] * len(distinct),
        options={"time_limit": time_limit},
    )  # fmt: skip
    if answer.x is None:
        return ()
    return tuple(groups for groups, chosen in zip(distinct, answer.x, strict=True) if chosen > 0.5)


class _Program:
    """Rows and columns of the program. Each column is a variable that is 0 or 1: a group, set-up, side or option."""

    def __init__(self, coordinates: Sequence[Coordinates]) -> None:
        """Make the columns of groups, set-ups and sides. A group needs its set-up, and a set-up needs its side."""
        self.entries: list[tuple[int, int]] = []
        self.values: list[float] = []
        self.lower: list[float] = []
        self.upper: list[float] = []
        set_ups = sorted({place[:2] for place in coordinates})
        sides = sorted({side for side, _ in set_ups})
        self.groups, self.set_ups, self.sides = len(coordinates), len(set_ups), len(sides)
        self.width = self.groups + self.set_ups + self.sides
        for group, place in enumerate(coordinates):
            self.add([(self.groups + set_ups.index(place[:2]), 1.0), (group, -1.0)], 0, np.inf)
        for i, (side, _) in enumerate(set_ups):
            self.add([(self.groups + self.set_ups + sides.index(side), 1.0), (self.groups + i, -1.0)], 0, np.inf)

    def add(self, terms: Sequence[tuple[int, float]], lower: float, upper: float) -> None:
        """Add a row: the sum of these columns times their factors lies between two limits."""
        row = len(self.lower)
        self.entries += [(row, column) for column, _ in terms]
        self.values += [value for _, value in terms]
        self.lower.append(lower)
        self.upper.append(upper)

    def add_choice(self, choice: JointChoice) -> list[int]:
        """Add the columns and rows of a joint choice. Returns the number of the first option column of each stub."""
        starts = [self._add_options(options) for options in choice.options]
        if np.isfinite(choice.limit):
            terms = [
                (start + i, add / choice.limit)
                for start, options in zip(starts, choice.options, strict=True)
                for i, (_, add) in enumerate(options)
            ]
            self.add(terms, -np.inf, _bound(choice))
        for pair in choice.excluded:
            columns = [starts[stub] + [g for g, _ in choice.options[stub]].index(group) for stub, group in pair]
            self.add([(column, 1.0) for column in columns], 0, 1)
        return starts

    def _add_options(self, options: Sequence[tuple[int, float]]) -> int:
        """Add the options of one stub. Exactly one is chosen, and it needs its group. Returns their first column."""
        start = self.width
        self.width += len(options)
        self.add([(start + i, 1.0) for i in range(len(options))], 1, 1)
        for i, (group, _) in enumerate(options):
            if group != UNDRILLED:
                self.add([(group, 1.0), (start + i, -1.0)], 0, np.inf)
        return start

    def per_option(
        self, choices: Sequence[JointChoice], starts: Sequence[Sequence[int]]
    ) -> tuple[FloatArray, FloatArray]:
        """For each column, its number of hits and how shallow its group is. The least sum has the deepest ends."""
        hits, shallow = np.zeros(self.width), np.zeros(self.width)
        shallow[: self.groups] = -np.arange(self.groups)
        for choice, columns in zip(choices, starts, strict=True):
            for options, start in zip(choice.options, columns, strict=True):
                for column, (group, _) in enumerate(options, start):
                    hits[column] = choice.nets * (group != UNDRILLED)
                    shallow[column] = -group * (group != UNDRILLED)
        return hits, shallow

    def group_count(self) -> FloatArray:
        """1 for each column that is a group, 0 for the others."""
        return np.repeat([1.0, 0.0], [self.groups, self.width - self.groups])

    def costs(self, costs: Costs, hits: FloatArray) -> FloatArray:
        """Cost of each column."""
        counts = (self.groups, self.set_ups, self.sides)
        fixed = np.repeat([costs.group, costs.set_up, costs.side, 0.0], [*counts, self.width - sum(counts)])
        return np.asarray(fixed + costs.hole * hits)

    def constraint(self) -> LinearConstraint:
        """All rows."""
        matrix = _matrix(self.entries, np.array(self.values), (len(self.lower), self.width))
        return LinearConstraint(matrix, lb=np.array(self.lower), ub=np.array(self.upper))


def _matrix(entries: Sequence[tuple[int, int]], values: FloatArray, shape: tuple[int, int]) -> csc_array:
    row, column = np.array(entries, dtype=np.int64).reshape(-1, 2).T
    return coo_array((values, (row, column)), shape=shape).tocsc()


def _bound(choice: JointChoice) -> float:
    """Bound of a sum as a fraction of its limit: lowered by the solver's rounding where a solution remains, else 1."""
    lowered = 1 - SOLVER_ROUNDING
    return lowered if possible(choice._replace(limit=choice.limit * lowered)) else 1.0


def _gap(answer: OptimizeResult) -> float:
    """Relative gap of an answer: 0 where it is proven to be the least, infinite where nothing is known."""
    if answer.mip_gap is None:
        return 0.0 if answer.status == 0 else np.inf
    return float(answer.mip_gap)


def _solved(goal: FloatArray, program: _Program, time_limit: float) -> OptimizeResult:
    """The solver's answer for one goal."""
    return milp(
        goal, constraints=program.constraint(), bounds=Bounds(0, 1), integrality=[1] * program.width,
        options={"time_limit": time_limit, "mip_rel_gap": 0.0},
    )  # fmt: skip


def _minimised(goals: Sequence[FloatArray], program: _Program, time_limit: float) -> tuple[FloatArray, float]:
    """Minimise the goals one after the other, and keep each at its least value. The gap is that of the first goal."""
    best, gap = None, 0.0
    for number, goal in enumerate(goals):
        answer = _solved(goal, program, time_limit)
        if answer.x is None:
            break
        best = np.round(answer.x)
        if number == 0:
            gap = _gap(answer)
        program.add([(i, value) for i, value in enumerate(goal.tolist()) if value], -np.inf, float(goal @ best) + 1e-6)
    if best is None:
        raise StubsiError(f"No plan was found within {time_limit:g} s: give a longer time_limit.")
    return best, gap
