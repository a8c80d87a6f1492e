"""Owns the trade between drill groups and margin: for each number of groups its cost and the margin that it leaves."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.board.names import how_many
from stubsi.drilling.largest_margin import MarginSearch

if TYPE_CHECKING:
    import pandas as pd

    from stubsi.drilling.costs import Costs
    from stubsi.drilling.drill_task import DrillTask
    from stubsi.drilling.largest_margin import Reached


class TradeRow(NamedTuple):
    """The plan with the largest margin for one number of drill groups.

    Parameters
    ----------
    groups : int
        Number of drill groups.
    cost : float
        Cost in the currency of the costs, without the holes of nets that miss their criterion whatever is drilled.
    margin_over_limit : float
        Smallest worst-case margin over limit of all drilled stubs [-].
    net : str
        The net that has it.
    loser : str
        The net that loses the most margin against the row with more groups; empty where there is no such row.
    lost : float
        How much of its margin that net loses, as a fraction.
    gap : float
        How far the margin may lie below the largest possible one, as a fraction; 0 if it is proven to be the largest.
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
        """Whether no plan with so many groups has a larger margin."""
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


def group_trade_of(task: DrillTask, costs: Costs, time_limit: float) -> GroupTrade:
    """The trade between drill groups and margin for a task of drilling.

    Parameters
    ----------
    task : DrillTask
        What must be drilled.
    costs : Costs
        What the user pays.
    time_limit : float
        For each run of the solver [s].

    Returns
    -------
    GroupTrade
        From the fewest groups to as many as give every stub its best margin.
    """
    search = MarginSearch(task, costs, time_limit)
    every: list[Reached] = []
    most_groups = search.count(0.0)[0]
    while most_groups:
        reached = search.reached(most_groups)
        every.append(reached)
        if reached.level >= search.steps[-1]:
            break
        most_groups += 1
    return GroupTrade(_rows(_improving(every), task, costs))


def _improving(every: list[Reached]) -> list[Reached]:
    """Those that have a larger margin than with fewer groups."""
    return [one for n, one in enumerate(every) if n == 0 or one.level > every[n - 1].level]


def _rows(every: list[Reached], task: DrillTask, costs: Costs) -> list[TradeRow]:
    rows: list[TradeRow] = []
    for number, reached in enumerate(every):
        net = min(reached.margins, key=lambda name: reached.margins[name])
        loser, lost = ("", 0.0) if number + 1 == len(every) else _loss(reached, every[number + 1])
        groups = len(reached.grouping.cover.groups)
        cost = _cost(reached, task, costs)
        rows.append(TradeRow(groups, cost, reached.margins[net], net, loser, lost, reached.gap))
    return rows


def _loss(fewer: Reached, more: Reached) -> tuple[str, float]:
    """The net that loses the largest part of its margin with fewer groups, and that part."""
    lost = {net: 1 - margin / more.margins[net] for net, margin in fewer.margins.items()}
    net = max(lost, key=lambda name: lost[name])
    return (net, lost[net]) if lost[net] > 0 else ("", 0.0)


def _cost(reached: Reached, task: DrillTask, costs: Costs) -> float:
    used = [task.candidates[number] for number in reached.grouping.cover.groups]
    counts = (
        len({each.side for each in used}), len({each.place[:2] for each in used}), len(used),
        len(reached.grouping.group_of),
    )  # fmt: skip
    return float(np.dot((costs.side, costs.set_up, costs.group, costs.hole), counts))
