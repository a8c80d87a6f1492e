"""Owns the table of the trade between drill groups and margin, as text and HTML."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.show.notebook import framed
from stubsi.show.tables import Column, as_html, as_text, pairs_html

if TYPE_CHECKING:
    from stubsi.drilling.group_trade import GroupTrade, TradeRow

_COLUMNS: tuple[Column[TradeRow], ...] = (
    Column("groups", lambda row: str(row.groups), align="right"),
    Column("cost", lambda row: f"{row.cost:g}", align="right"),
    Column("margin over limit", lambda row: f"{row.margin_over_limit:.3f}" if row.net else "-", align="right"),
    Column("net", lambda row: row.net or "-"),
    Column("against more groups", lambda row: f"{row.loser} loses {row.lost:.0%}" if row.loser else "-"),
    Column("proof", lambda row: "largest possible" if row.proven else f"gap {row.gap:.2%}"),
)


MEANING = (
    "Margin: of the whole net at worst tolerance, with the clearances that the drills need, as in the consequences.",
    "Only nets that are drilled and can meet their criterion count; what others come to is in the consequences.",
    "Proof: of the drilled stubs, each by itself, with the clearances as drawn.",
)
"""What the figures of a row are, and of which nets."""


NO_GROUP = "No drill group: none is needed, or none helps; the plan says which."


def trade_text(trade: GroupTrade) -> str:
    """Trade between groups and margin as plain text.

    Parameters
    ----------
    trade : GroupTrade

    Returns
    -------
    str
    """
    return as_text(_COLUMNS, trade, foot=MEANING) if trade else NO_GROUP


def trade_html(trade: GroupTrade) -> str:
    """Trade between groups and margin as HTML for a notebook.

    Parameters
    ----------
    trade : GroupTrade

    Returns
    -------
    str
    """
    head = ["Smallest worst-case margin over limit for each number of drill groups", *MEANING]
    return framed(as_html(_COLUMNS, trade, head=head))


def row_html(row: TradeRow) -> str:
    """One row of the trade as HTML for a notebook.

    Parameters
    ----------
    row : TradeRow

    Returns
    -------
    str
    """
    return pairs_html(((column.title, column.cell(row)) for column in _COLUMNS), head=["Drill groups and margin"])
