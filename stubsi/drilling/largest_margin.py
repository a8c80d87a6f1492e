"""Owns the search for the groups with which the smallest margin of all stubs is as large as possible, and the proof."""

from __future__ import annotations

import math
from bisect import bisect_left
from typing import TYPE_CHECKING, NamedTuple

from stubsi.drilling.goal import Goal
from stubsi.drilling.grouping import fewest_groups, group_stubs
from stubsi.errors import StubsiError

if TYPE_CHECKING:
    from stubsi.drilling.costs import Costs
    from stubsi.drilling.drill_task import DrillTask
    from stubsi.drilling.grouping import Grouping
    from stubsi.drilling.stub_margins import NarrowedTask

RESOLUTION = 1e-3
"""Relative step up to which the largest margin of a sum of losses is sought; other margins are found exactly."""


class Reached(NamedTuple):
    """The groups with the largest margin.

    Parameters
    ----------
    task : NarrowedTask
        The task that they were found for.
    grouping : Grouping
        The groups.
    level : float
        Every stub has at least this margin over limit [-], or the best that it can have.
    margins : dict of str to float
        Smallest margin over limit of each net.
    gap : float
        How far the smallest margin may lie below the largest possible one, as a fraction of it; 0 if none is larger.
    """

    task: NarrowedTask
    grouping: Grouping
    level: float
    margins: dict[str, float]
    gap: float


class MarginSearch:
    """Finds the largest margin for any number of groups. What one search has proven serves the next.

    A stub may be served by those of its groups only that leave it the margin that is asked for, or the best that it can
    have. The higher that level, the more groups are needed. The levels are finite in number, but for sums of losses.
    So the highest level that a number of groups can reach is found by bisection, with the fewest groups at each level.

    Parameters
    ----------
    task : DrillTask
        What must be drilled.
    costs : Costs
        What the user pays.
    time_limit : float
        For each run of the solver [s].
    """

    def __init__(self, task: DrillTask, costs: Costs, time_limit: float) -> None:
        self.margins, self.costs, self.time_limit = task.margins, costs, time_limit
        self.steps = sorted({0.0, *self.margins.levels, self.margins.highest})
        self._counts: dict[float, tuple[int, int]] = {}
        self._reached: dict[int, Reached] = {}

    def count(self, level: float) -> tuple[int, int]:
        """Number of groups of the best plan that is found for a level, and the number that is proven to be needed.

        Parameters
        ----------
        level : float
            Margin over limit [-].

        Returns
        -------
        tuple of int
            Both numbers; they are equal where the solver finishes.
        """
        if level not in self._counts:
            self._counts[level] = fewest_groups(self.margins.narrowed(level), self.time_limit)
        return self._counts[level]

    def reached(self, most_groups: int) -> Reached:
        """The groups with the largest margin.

        Parameters
        ----------
        most_groups : int
            The greatest number of groups.

        Returns
        -------
        Reached
            The groups, their margins and the proof.

        Raises
        ------
        StubsiError
            So few groups cannot serve all stubs, or the solver found no such groups within its time limit.
        """
        if most_groups not in self._reached:
            self._reached[most_groups] = self._reach(most_groups)
        return self._reached[most_groups]

    def _reach(self, most_groups: int) -> Reached:
        """The highest level of margin that so many groups reach, with these groups and the gap to the largest."""
        found, needed = self.count(0.0)
        if needed > most_groups:
            raise StubsiError(f"most_groups = {most_groups}: the stubs that must be drilled need at least {needed}.")
        if found > most_groups:
            raise StubsiError(f"No plan with {most_groups} groups was found within the time_limit: give a longer one.")
        level = self._highest_level(most_groups)
        task = self.margins.narrowed(level)
        grouping = group_stubs(task, self.costs, self.time_limit, Goal("fewest groups"))
        margins = self.margins.of_nets(grouping.group_of)
        gap = self._gap_to_largest(most_groups, min(margins.values())) if margins else 0.0
        return Reached(task, grouping, level, margins, gap)

    def _is_reached_with(self, level: float, most_groups: int) -> bool:
        return self.count(level)[0] <= most_groups

    def _highest_level(self, most_groups: int) -> float:
        """The highest level that is reached."""
        if self._is_reached_with(self.steps[-1], most_groups):
            return self.steps[-1]
        first_missed = bisect_left(
            self.steps, True, lo=1, key=lambda level: not self._is_reached_with(level, most_groups)
        )
        reached, missed = self.steps[first_missed - 1], self.steps[first_missed]
        if self.margins.has_sums:
            reached = max(reached, 1.0)
            while missed > reached * (1 + RESOLUTION):
                middle = math.sqrt(reached * missed)
                if self._is_reached_with(middle, most_groups):
                    reached = middle
                else:
                    missed = middle
        return reached

    def _gap_to_largest(self, most_groups: int, smallest: float) -> float:
        """Gap of the smallest margin that was reached."""
        out_of_reach = [level for level, (_, needed) in self._counts.items() if needed > most_groups]
        largest = min(out_of_reach, default=math.inf)
        if not self.margins.has_sums:  # the levels are all there is, so the largest margin is the last one below
            largest = max((level for level in self.steps if level < largest), default=math.inf)
        gap = 1 - smallest / min(largest, self.margins.ceiling)
        return 0.0 if gap <= 1e-9 else gap
