"""Owns the search for the groups alone, without the options of the stubs: sets of groups of which one must be opened.

A board has a few dozen groups that could be opened, but thousands of options. Once the groups are known, every joint
choice is decided by itself. So the groups are sought first, under the sets that are known; where they cannot serve a
joint choice, that gives new sets, until they serve all.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple, TypeAlias

import numpy as np

from stubsi.drilling.joint_choice import UNDRILLED, requirements
from stubsi.drilling.joint_search import JointSearch
from stubsi.drilling.zero_one_program import ZeroOneProgram, gap_of, group_columns, solved

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from stubsi.drilling.costs import Costs
    from stubsi.drilling.joint_choice import Coordinates, JointChoice, Servers

    FloatArray: TypeAlias = NDArray[np.float64]

MOST_SETS = 30
"""How many equally good sets of groups are compared at most."""


class Opened(NamedTuple):
    """Groups that are opened, and the group of every stub of every joint choice."""

    groups: tuple[int, ...]
    choices: tuple[tuple[int, ...], ...]


class GroupSearch:
    """Finds the best groups for some stubs and joint choices.

    Parameters
    ----------
    wanted, choices, coordinates, time_limit
        As in ``set_cover.cover``.
    """

    def __init__(
        self,
        wanted: Sequence[Servers],
        choices: Sequence[JointChoice],
        coordinates: Sequence[Coordinates],
        time_limit: float,
    ) -> None:
        self.coordinates, self.time_limit, self.choices = coordinates, time_limit, choices
        self.searches = [JointSearch(choice) for choice in choices]
        self.needed_sets = {*wanted, *(each.groups for choice in choices for each in requirements(choice))}

    def fewest(self) -> int | None:
        """Number of the fewest groups that serve all.

        Returns
        -------
        int or None
            None where the solver stops at its time limit.
        """
        if not self.coordinates:
            return 0
        program = self._program()
        groups, _ = self._best_for(program.group_count(), program)
        return None if groups is None else len(groups)

    def best(self, costs: Costs, *, groups_first: bool) -> Opened | None:
        """The cheapest groups, then the fewest, or the other way; then those with the fewest hits and deepest ends.

        Parameters
        ----------
        costs : Costs
            What is paid, holes excepted: with a price for each hole the groups alone do not decide.
        groups_first : bool
            Whether the number of groups counts before the cost.

        Returns
        -------
        Opened or None
            None where the solver stops at its time limit, or where too many sets of groups are equally good.
        """
        program = self._program()
        cost, count = program.costs(costs, np.zeros(program.width)), program.group_count()
        if not self.coordinates:
            return self._with_choices(())
        found: tuple[int, ...] | None = None
        for goal in (count, cost) if groups_first else (cost, count):
            found, least = self._best_for(goal, program)
            if found is None:
                return None
            program.limit(goal, least)
        equal: list[tuple[int, ...]] = []
        while found is not None:
            equal.append(found)
            if len(equal) > MOST_SETS:
                return None
            program.add([(group, 1.0) for group in found], -np.inf, len(found) - 1)
            found, least = self._best_for(count, program)
            if found is None and least < np.inf:
                return None
        return min((self._with_choices(groups) for groups in equal), key=self._hits_and_depth)

    def _program(self) -> ZeroOneProgram:
        program = ZeroOneProgram(self.coordinates)
        for servers in sorted(self.needed_sets, key=sorted):
            program.add([(group, 1.0) for group in sorted(servers)], 1, np.inf)
        return program

    def _best_for(self, goal: FloatArray, program: ZeroOneProgram) -> tuple[tuple[int, ...] | None, float]:
        """Groups that serve all and make a goal least, and that value.

        None with infinity where it is proven that there are no such groups; None with a number where the solver stopped
        at its time limit.
        """
        while True:
            answer = solved(goal, program, self.time_limit)
            if answer.x is None:
                return None, np.inf if answer.status == INFEASIBLE else 0.0
            if gap_of(answer) > 0:
                return None, 0.0
            groups = group_columns(answer.x, len(self.coordinates))
            if not self._add_missing_sets(program, groups):
                return groups, float(goal @ np.round(answer.x))

    def _add_missing_sets(self, program: ZeroOneProgram, groups: tuple[int, ...]) -> bool:
        """Add the sets of which one group is missing. Returns whether there are any."""
        opened = frozenset(groups)
        new = {search.missing(opened) for search in self.searches if not search.is_served(opened)} - self.needed_sets
        for servers in sorted(new, key=sorted):
            program.add([(group, 1.0) for group in sorted(servers)], 1, np.inf)
        self.needed_sets |= new
        return bool(new)

    def _with_choices(self, groups: tuple[int, ...]) -> Opened:
        return Opened(groups, tuple(search.best(groups) for search in self.searches))

    def _hits_and_depth(self, opened: Opened) -> tuple[int, int]:
        """Hits of all nets, then how shallow the groups are; the least is the best."""
        hits = shallow = 0
        for choice, chosen in zip(self.choices, opened.choices, strict=True):
            drilled = [group for group in chosen if group != UNDRILLED]
            hits, shallow = hits + choice.nets * len(drilled), shallow - sum(drilled)
        return hits, shallow - sum(opened.groups)


INFEASIBLE = 2
"""Status of the solver where nothing satisfies all rows."""
