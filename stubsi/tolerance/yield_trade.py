"""Owns the trade between drill groups and yield: for each number of groups the plan, its margin and its yield."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from stubsi.board.names import how_many
from stubsi.checks import checked
from stubsi.drilling.plan import Plan
from stubsi.drilling.planning import plan as planned
from stubsi.errors import BoardError
from stubsi.tolerance.drilled_yield import drilled_yield
from stubsi.tolerance.tolerances import Tolerances
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    from collections.abc import Callable
    from concurrent.futures import Executor

    import pandas as pd

    from stubsi.drilling.goal import GoalName
    from stubsi.tolerance.drilled_yield import DrilledYield


class YieldRow(NamedTuple):
    """One plan and its yield.

    Parameters
    ----------
    plan : Plan
        The plan, with the goal it was made for.
    margin_over_limit : float
        Smallest worst-case margin over limit of its drilled nets [-], as ``Plan.margins_over_limit`` gives it.
    drilled : DrilledYield
        Its yield. The trade looks at its ``mendable``: nets that miss their criterion whatever is drilled have no part.
    gap : float or None
        Of a plan made for the largest yield: how much larger that of another plan with so many groups might be; 0 where
        none has a larger one. None: it was made for something else.
    """

    plan: Plan
    margin_over_limit: float
    drilled: DrilledYield
    gap: float | None = None

    @property
    def proof(self) -> str:
        """What is proven about the yield, in words; empty where the plan was made for something else."""
        if self.gap is None:
            return ""
        return "no larger one" if self.gap == 0 else f"at most {self.gap:.2g} larger"

    def __repr__(self) -> str:
        return f"<YieldRow: {how_many(len(self.plan.groups), 'drill group')}, yield {self.drilled.mendable[0]:.4g}>"

    def _repr_html_(self) -> str:
        from stubsi.show.drilled_tables import yield_row_html

        return yield_row_html(self)


class YieldTrade(tuple[YieldRow, ...]):
    """Plans and their yields: first the one with the fewest groups, then for each number of groups the widest margin.

    Parameters
    ----------
    iterable : iterable of YieldRow
        The rows.
    """

    __slots__ = ()

    def best(self, most_groups: int) -> YieldRow:
        """The plan with the largest yield among those of at most so many drill groups.

        Parameters
        ----------
        most_groups : int
            The greatest number of drill groups.

        Returns
        -------
        YieldRow
            Of equal yields the one with the larger worst-case margin, then the one with fewer groups. A yield that is
            not known counts as the least it can be.

        Raises
        ------
        BoardError
            It is no whole number, or no plan has so few groups.
        """
        if isinstance(most_groups, bool) or not isinstance(most_groups, int):
            raise BoardError(f"most_groups = {as_shown(most_groups)}: must be a whole number.")
        rows = [row for row in self if len(row.plan.groups) <= most_groups]
        if not rows:
            least = min(len(row.plan.groups) for row in self)
            raise BoardError(
                f"most_groups = {as_shown(most_groups)}: no plan of this trade has fewer than {least} groups."
            )
        return max(rows, key=_how_good)

    def to_frame(self) -> pd.DataFrame:
        """Table as a pandas DataFrame: a plan in each row.

        Returns
        -------
        pandas.DataFrame
            Plain numbers.
        """
        import pandas as pd

        return pd.DataFrame(
            {
                "goal": [str(row.plan.goal) for row in self],
                "groups": [len(row.plan.groups) for row in self],
                "cost": [row.plan.cost for row in self],
                "smallest margin over limit": [row.margin_over_limit for row in self],
                "yield": [row.drilled.mendable[0] for row in self],
                "yield, least": [row.drilled.mendable[1] for row in self],
                "yield, most": [row.drilled.mendable[2] for row in self],
                "nets that may be cut": [len(row.drilled.may_cut) for row in self],
            }
        )

    def to_csv(self) -> str:
        """Table as CSV.

        Returns
        -------
        str
            With apostrophes as in ``Ranking.to_csv``.
        """
        from stubsi.show.drilled_tables import yield_trade_csv

        return yield_trade_csv(self)

    def __str__(self) -> str:
        from stubsi.show.drilled_tables import yield_trade_text

        return yield_trade_text(self)

    def _repr_html_(self) -> str:
        from stubsi.show.drilled_tables import yield_trade_html

        return yield_trade_html(self)

    def __repr__(self) -> str:
        return f"<YieldTrade: {how_many(len(self), 'plan')}>"


def _how_good(row: YieldRow) -> tuple[float, float, int]:
    """Yield, worst-case margin, and how few groups."""
    probability, least, _ = row.drilled.mendable
    return (least if math.isnan(probability) else probability), row.margin_over_limit, -len(row.plan.groups)


def yield_trade(
    plan: Plan,
    tolerances: Tolerances,
    *,
    seed: int = 0,
    executor: Executor | None = None,
    progress: Callable[[int, int], object] | None = None,
) -> YieldTrade:
    """What each number of drill groups is worth in yield, for the board, rules and costs of a plan.

    Parameters
    ----------
    plan : Plan
        Make it with ``narrowed_rules``, so that its windows hold for all boards within the tolerances.
    tolerances : Tolerances
        What varies beside the depth of the drill.
    seed, executor, progress
        As in ``drilled_yield``; progress is told of each plan by itself.

    Returns
    -------
    YieldTrade
        The plan with the fewest groups first; then one for each number of groups of ``Plan.group_trade``.

    Raises
    ------
    StubsiError
        As in ``drilled_yield``.

    Notes
    -----
    Each further plan is the one of goal "largest margin" with so many groups: its smallest worst-case margin is the
    largest possible. A plan whose worst case is wider rarely has a lower yield, and where it has, the table shows it,
    and ``best`` takes the other one. ``largest_yield`` searches by the yield itself.
    """
    checked(plan, "plan", Plan)
    checked(tolerances, "tolerances", Tolerances)

    def row(goal: GoalName, most_groups: int | None) -> YieldRow:
        model = plan.model.arguments()
        made = planned(
            plan.board, plan.rules, costs=plan.costs, goal=goal, most_groups=most_groups, missed_nets=plan.missed_nets,
            **model,
        )  # fmt: skip
        margin = min(made.margins_over_limit().values(), default=float("inf"))
        return YieldRow(made, margin, drilled_yield(made, tolerances, seed=seed, executor=executor, progress=progress))

    rows = [row("fewest groups", None)]
    rows += [row("largest margin", each.groups) for each in plan.group_trade()]
    return YieldTrade(rows)
