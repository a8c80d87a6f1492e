"""Owns the costs of a plan: what the user pays for each side, set-up, group and hole."""

from __future__ import annotations

from stubsi.drilling.depth_tolerance import check_source
from stubsi.units import one_number
from stubsi.value import Value, value_object


@value_object
class Costs(Value):
    """What the user pays for a plan, all in one currency. The user gives all figures; no reliable ones are published.

    Parameters
    ----------
    side : float
        For each side drilled from (the panel is turned and registered).
    set_up : float
        For each drill diameter that is loaded on a side.
    group : float
        For each drill group.
    hole : float
        For each hole drilled.
    source : str
        Who states these costs.

    Raises
    ------
    UnitError, BoardError
        A cost is not a number or is negative, or the source is blank.

    Examples
    --------
    >>> costs = Costs(side=100, set_up=20, group=5, hole=0.01, source="quotation 4711")
    """

    side: float
    set_up: float
    group: float
    hole: float
    source: str

    def __post_init__(self) -> None:
        for name in ("side", "set_up", "group", "hole"):
            self.__dict__[name] = one_number(getattr(self, name), f"cost per {name}", rule="not negative")
        check_source(self.source, "costs")


FEWEST_GROUPS = Costs(side=0, set_up=0, group=1, hole=0, source="no costs given: fewest groups, then fewest hits")
"""The costs that are used where the user gives none."""
