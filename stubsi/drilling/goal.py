"""Owns the goal of a plan: what it makes least or largest, and how many drill groups it may have."""

from __future__ import annotations

from typing import Literal, NamedTuple, TypeAlias

from stubsi.checks import one_of

GoalName: TypeAlias = Literal["least cost", "fewest groups"]
"""What a plan makes least.

"least cost": the cost; of the plans with the least cost the one with the fewest groups. "fewest groups": the number of
groups; of the plans with the fewest groups the one with the least cost.
"""
GOALS: tuple[GoalName, ...] = ("least cost", "fewest groups")


class Goal(NamedTuple):
    """What a plan was made for.

    Parameters
    ----------
    name : {"least cost", "fewest groups"}
        What it makes least.
    """

    name: GoalName

    @property
    def groups_first(self) -> bool:
        """Whether the number of groups counts before the cost."""
        return self.name != "least cost"

    def __str__(self) -> str:
        return self.name


LEAST_COST = Goal("least cost")
"""The goal of a plan unless another one is given."""


def checked_goal(goal: GoalName) -> Goal:
    """The goal that a user asks for.

    Parameters
    ----------
    goal : str
        Its name.

    Returns
    -------
    Goal
        The goal.

    Raises
    ------
    BoardError
        There is no such goal.
    """
    one_of(goal, "goal", GOALS)
    return Goal(goal)
