"""Owns the integer program for the cheapest groups: its variables and rows, and how the solver's answer is read."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from stubsi.drilling.joint_choice import UNDRILLED, possible
from stubsi.drilling.zero_one_program import ZeroOneProgram, gap_of, group_columns, solved, sparse_matrix
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
        groups=group_columns(x, len(coordinates)),
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
    answer = solved(program.group_count(), program, time_limit)
    if answer.x is None:
        return len(coordinates) + 1, 0
    found = round(float(np.sum(np.round(answer.x[: len(coordinates)]))))
    return found, max(0, math.ceil(found * (1 - min(gap_of(answer), 1.0)) - 1e-6))


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
    one_set_per_group = LinearConstraint(sparse_matrix(entries, np.ones(len(entries)), shape), ub=1)
    answer = milp(
        -np.ones(len(distinct)), constraints=one_set_per_group, bounds=Bounds(0, 1), integrality=[1] * len(distinct),
        options={"time_limit": time_limit},
    )  # fmt: skip
    if answer.x is None:
        return ()
    return tuple(groups for groups, chosen in zip(distinct, answer.x, strict=True) if chosen > 0.5)


class _Program(ZeroOneProgram):
    """The program with a column for each option of each stub of each joint choice as well."""

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


def _bound(choice: JointChoice) -> float:
    """Bound of a sum as a fraction of its limit: lowered by the solver's rounding where a solution remains, else 1."""
    lowered = 1 - SOLVER_ROUNDING
    return lowered if possible(choice._replace(limit=choice.limit * lowered)) else 1.0


def _minimised(goals: Sequence[FloatArray], program: _Program, time_limit: float) -> tuple[FloatArray, float]:
    """Minimise the goals one after the other, and keep each at its least value. The gap is that of the first goal."""
    best, gap = None, 0.0
    for number, goal in enumerate(goals):
        answer = solved(goal, program, time_limit)
        if answer.x is None:
            break
        best = np.round(answer.x)
        if number == 0:
            gap = gap_of(answer)
        program.limit(goal, float(goal @ best))
    if best is None:
        raise StubsiError(f"No plan was found within {time_limit:g} s: give a longer time_limit.")
    return best, gap
