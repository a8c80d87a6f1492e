"""Owns the goal of a plan: what it makes least or largest, and how many drill groups it may have."""

from __future__ import annotations

from typing import Literal, NamedTuple, TypeAlias

from stubsi.checks import one_of
from stubsi.errors import BoardError
from stubsi.unit_errors import as_shown

GoalName: TypeAlias = Literal["least cost", "fewest groups", "largest margin"]
"""What a plan makes least or largest.

"least cost": the cost; of the plans with the least cost the one with the fewest groups. "fewest groups": the number of
groups; of the plans with the fewest groups the one with the least cost. "largest margin": the smallest worst-case
margin over limit of all drilled stubs, with at most a given number of groups.
"""
LargestYield: TypeAlias = Literal["largest yield"]
"""The goal of a plan that ``largest_yield`` makes: the yield over tolerances, with at most a given number of groups."""
GOALS: tuple[GoalName, ...] = ("least cost", "fewest groups", "largest margin")


class Goal(NamedTuple):
    """What a plan was made for.

    Parameters
    ----------
    name : {"least cost", "fewest groups", "largest margin", "largest yield"}
        What it makes least or largest.
    most_groups : int or None
        The greatest number of drill groups, for the largest margin and the largest yield; None for the other goals.
    """

    name: GoalName | LargestYield
    most_groups: int | None = None

    @property
    def groups_first(self) -> bool:
        """Whether the number of groups counts before the cost."""
        return self.name != "least cost"

    def __str__(self) -> str:
        most = "" if self.most_groups is None else f" with at most {self.most_groups} drill groups"
        return f"{self.name}{most}"

    def __repr__(self) -> str:
        return f"<Goal: {self}>"


LEAST_COST = Goal("least cost")
"""The goal of a plan unless another one is given."""


def checked_goal(goal: GoalName, most_groups: int | None) -> Goal:
    """The goal that a user asks for.

    Parameters
    ----------
    goal : str
        Its name.
    most_groups : int or None
        The greatest number of drill groups.

    Returns
    -------
    Goal
        The goal.

    Raises
    ------
    BoardError
        There is no such goal; the number of groups is missing, is no positive whole number or is given for another one.
    """
    one_of(goal, "goal", GOALS)
    if goal != "largest margin":
        if most_groups is not None:
            raise BoardError(
                f"most_groups = {as_shown(most_groups)}: is only for goal = 'largest margin'; goal = {goal!r} finds "
                "the number of groups by itself."
            )
        return Goal(goal)
    if most_groups is None:
        raise BoardError("most_groups: must be given for goal = 'largest margin', as in most_groups=6.")
    if isinstance(most_groups, bool) or not isinstance(most_groups, int) or most_groups < 1:
        raise BoardError(f"most_groups = {as_shown(most_groups)}: must be a whole number of at least 1.")
    return Goal(goal, most_groups)
