"""Owns the trade between drill groups and margin: for each number of groups its cost and the margin that it leaves."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from stubsi.board.names import how_many
from stubsi.drilling.consequences import net_margins
from stubsi.drilling.deciding import Deciding
from stubsi.drilling.goal import Goal

if TYPE_CHECKING:
    import pandas as pd

    from stubsi.drilling.decisions import Decisions
    from stubsi.drilling.largest_margin import MarginSearch


class TradeRow(NamedTuple):
    """The plan with the largest margin for one number of drill groups.

    Parameters
    ----------
    groups : int
        Number of drill groups.
    cost : float
        Cost of that plan in the currency of the costs.
    margin_over_limit : float
        Smallest worst-case margin over limit of its drilled nets [-], as in ``Plan.margins_over_limit``; NaN where none
        of them can meet its criterion.
    net : str
        The net that has it.
    loser : str
        The net that loses the most margin against the row with more groups; empty where there is no such row.
    lost : float
        How much of its margin that net loses, as a fraction.
    gap : float
        How far the smallest margin of the drilled stubs, each by itself with the clearances as drawn, may lie below the
        largest possible one, as a fraction; 0 if it is proven to be the largest.
    """

    groups: int
    cost: float
    margin_over_limit: float
    net: str
    loser: str
    lost: float
    gap: float

    @property
    def proven(self) -> bool:
        """Whether no plan with so many groups has a larger margin, stub by stub with the clearances as drawn."""
        return self.gap == 0

    def __str__(self) -> str:
        lost = f"; {self.loser} has {self.lost:.0%} less than with more groups" * bool(self.loser)
        proof = "largest possible" if self.proven else f"relative gap {self.gap:.2g}"
        margin = f"margin over limit {self.margin_over_limit:.3f} at least ({self.net}), {proof}"
        return f"{how_many(self.groups, 'drill group')}: {margin}{lost}"

    def __repr__(self) -> str:
        return f"<TradeRow: {how_many(self.groups, 'drill group')}, margin over limit {self.margin_over_limit:.3f}>"

    def _repr_html_(self) -> str:
        from stubsi.show.trade_table import row_html

        return row_html(self)


class GroupTrade(tuple[TradeRow, ...]):
    """What each number of drill groups costs, and which margin it leaves: the fewest groups first.

    The last row has the best margin that every stub can have; more groups bring nothing.

    Parameters
    ----------
    iterable : iterable of TradeRow
        The rows.
    """

    __slots__ = ()

    def to_frame(self) -> pd.DataFrame:
        """Table as a pandas DataFrame: a number of groups in each row.

        Returns
        -------
        pandas.DataFrame
            Plain numbers, with units in the column names.
        """
        import pandas as pd

        columns = (
            "groups", "cost", "smallest margin over limit", "net", "net that loses most", "margin lost [%]", "gap [%]",
        )  # fmt: skip
        rows = [(*row[:5], 100 * row.lost, 100 * row.gap) for row in self]
        return pd.DataFrame(rows, columns=list(columns))

    def __str__(self) -> str:
        from stubsi.show.trade_table import trade_text

        return trade_text(self)

    def _repr_html_(self) -> str:
        from stubsi.show.trade_table import trade_html

        return trade_html(self)

    def __repr__(self) -> str:
        return f"<GroupTrade: {how_many(len(self), 'row')}>"


def group_trade_of(plan: Decisions, time_limit: float) -> GroupTrade:
    """The trade between drill groups and margin, for the board, rules and costs of a plan.

    Parameters
    ----------
    plan : Decisions
        The plan.
    time_limit : float
        For each run of the solver [s].

    Returns
    -------
    GroupTrade
        From the fewest groups to as many as give every stub its best margin.
    """
    deciding = Deciding(plan.limits.as_drawn, plan.costs, plan.missed_nets, time_limit)
    made = [deciding.final(Goal("largest margin", number)) for number in _numbers_of_groups(deciding.search)]
    return GroupTrade(_rows(made))


def _numbers_of_groups(search: MarginSearch) -> list[int]:
    """The numbers of groups with which a larger margin is reached than with fewer, the least first."""
    numbers: list[int] = []
    level, most_groups = -math.inf, search.count(0.0)[0]
    while most_groups and level < search.steps[-1]:
        reached = search.reached(most_groups).level
        if reached > level:
            numbers.append(most_groups)
        level, most_groups = reached, most_groups + 1
    return numbers


def _rows(made: list[Decisions]) -> list[TradeRow]:
    every = [net_margins(decisions) for decisions in made]
    rows: list[TradeRow] = []
    for number, (decisions, margins) in enumerate(zip(made, every, strict=True)):
        net = min(margins, key=lambda name: margins[name], default="")
        loser, lost = _loss(margins, every[number + 1]) if number + 1 < len(every) else ("", 0.0)
        gap = decisions.margin_gap or 0.0
        rows.append(TradeRow(len(decisions.groups), decisions.cost, margins.get(net, math.nan), net, loser, lost, gap))
    return rows


def _loss(fewer: dict[str, float], more: dict[str, float]) -> tuple[str, float]:
    """The net that loses the largest part of its margin with fewer groups, and that part."""
    lost = {net: 1 - margin / more[net] for net, margin in fewer.items() if net in more}
    net = max(lost, key=lambda name: lost[name], default="")
    return (net, lost[net]) if net and lost[net] > 0 else ("", 0.0)
