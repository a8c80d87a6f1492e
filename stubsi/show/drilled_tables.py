"""Owns the tables of what tolerances do after drilling, as text and HTML."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.provenance import BY_TOLERANCES
from stubsi.show.tables import Column, as_csv, as_html, as_text, pairs_html

if TYPE_CHECKING:
    from stubsi.tolerance.drilled_yield import DrilledYield, NetDrilledYield
    from stubsi.tolerance.residual_stub import ResidualStub
    from stubsi.tolerance.yield_trade import YieldRow, YieldTrade

Residual = tuple[str, float, float]
"""What a row of a residual stub is, its length [m] and its first notch [Hz]."""

_RESIDUAL: tuple[Column[Residual], ...] = (
    Column("residual stub", lambda row: row[0]),
    Column("length", lambda row: f"{1e3 * row[1]:.4g}", unit="mm", align="right"),
    Column("first notch", lambda row: "-" if row[1] <= 0 else f"{row[2] / 1e9:.1f}", unit="GHz", align="right"),
)


def residual_text(stub: ResidualStub) -> str:
    """Residual stub as plain text.

    Parameters
    ----------
    stub : ResidualStub

    Returns
    -------
    str
    """
    return as_text(_RESIDUAL, _residual_rows(stub), foot=[stub.in_words()])


def residual_html(stub: ResidualStub) -> str:
    """Residual stub as HTML for a notebook.

    Parameters
    ----------
    stub : ResidualStub

    Returns
    -------
    str
    """
    return as_html(_RESIDUAL, _residual_rows(stub), foot=[stub.in_words()])


def _residual_rows(stub: ResidualStub) -> list[Residual]:
    return list(zip(("longest", "aimed at", "shortest"), stub.length_si[::-1], stub.notch_si, strict=True))


def drilled_text(drilled: DrilledYield) -> str:
    """Yield after drilling as plain text.

    Parameters
    ----------
    drilled : DrilledYield

    Returns
    -------
    str
    """
    return as_text(_DRILLED, drilled.nets, head=_head(drilled), foot=_foot(drilled))


def drilled_html(drilled: DrilledYield) -> str:
    """Yield after drilling as HTML for a notebook.

    Parameters
    ----------
    drilled : DrilledYield

    Returns
    -------
    str
    """
    return as_html(_DRILLED, drilled.nets, head=_head(drilled), foot=_foot(drilled))


def drilled_csv(drilled: DrilledYield) -> str:
    """Yield after drilling as CSV.

    Parameters
    ----------
    drilled : DrilledYield

    Returns
    -------
    str
    """
    return as_csv(_DRILLED, drilled.nets, comments=[*_head(drilled), *_foot(drilled)])


def _range(net: NetDrilledYield) -> str:
    if net.residual_si is None:
        return "none"
    return f"{1e3 * net.residual_si[0]:.3f} to {1e3 * net.residual_si[2]:.3f}"


def _cut(net: NetDrilledYield) -> str:
    return f"may be cut ({net.cut_probability:.2g})" if net.may_cut else "not cut"


_DRILLED: tuple[Column[NetDrilledYield], ...] = (
    Column("net", lambda net: net.net),
    Column("hits", lambda net: str(net.hits), align="right"),
    Column("residual stub", _range, unit="mm", align="right"),
    Column("worst", lambda net: f"{net.judged[0]:.3g}", align="right"),
    Column("nominal", lambda net: f"{net.judged[1]:.3g}", align="right"),
    Column("best", lambda net: f"{net.judged[2]:.3g}", align="right"),
    Column("standing", lambda net: str(net.standing)),
    Column("verdict", lambda net: str(net.verdict)),
    Column("yield", lambda net: f"{net.probability:.4f}", align="right"),
    Column("at least", lambda net: f"{net.least:.4f}", align="right"),
    Column("at most", lambda net: f"{net.most:.4f}", align="right"),
    Column("layer in use", _cut),
)


def _head(drilled: DrilledYield) -> list[str]:
    cut = f" A drill may cut a layer in use of {', '.join(drilled.may_cut)}." if drilled.may_cut else ""
    share = f"{drilled.probability:.4f} ({drilled.least:.4f} to {drilled.most:.4f})"
    low, least, most = drilled.mendable
    return [
        f"Yield of the board after drilling: {share}, sampling error {drilled.sampling_error:.1g}.{cut}",
        f"Without the nets that miss their criterion whatever is drilled: {low:.4f} ({least:.4f} to {most:.4f}).",
    ]


def _foot(drilled: DrilledYield) -> list[str]:
    depth = f"depth of each hole: {drilled.plan.rules.tolerance.in_words()}, uniform"
    solved = f"worst and best: {drilled.basis}, {drilled.solved} boards solved"
    return [depth, *str(drilled.tolerances).splitlines(), solved, BY_TOLERANCES]


_TRADE: tuple[Column[YieldRow], ...] = (
    Column("goal", lambda row: row.plan.goal.name),
    Column("groups", lambda row: str(len(row.plan.groups)), align="right"),
    Column("cost", lambda row: f"{row.plan.cost:g}", align="right"),
    Column("margin over limit", lambda row: f"{row.margin_over_limit:.3f}", align="right"),
    Column("yield", lambda row: f"{row.drilled.mendable[0]:.4f}", align="right"),
    Column("at least", lambda row: f"{row.drilled.mendable[1]:.4f}", align="right"),
    Column("at most", lambda row: f"{row.drilled.mendable[2]:.4f}", align="right"),
    Column("nets that may be cut", lambda row: str(len(row.drilled.may_cut)), align="right"),
    Column("proven", lambda row: row.proof),
)


def yield_trade_text(trade: YieldTrade) -> str:
    """Trade between groups and yield as plain text.

    Parameters
    ----------
    trade : YieldTrade

    Returns
    -------
    str
    """
    return as_text(_TRADE, trade)


def yield_trade_csv(trade: YieldTrade) -> str:
    """Trade between groups and yield as CSV.

    Parameters
    ----------
    trade : YieldTrade

    Returns
    -------
    str
    """
    return as_csv(_TRADE, trade)


def yield_trade_html(trade: YieldTrade) -> str:
    """Trade between groups and yield as HTML for a notebook.

    Parameters
    ----------
    trade : YieldTrade

    Returns
    -------
    str
    """
    return as_html(_TRADE, trade, head=["Yield and smallest worst-case margin over limit of each plan"])


def yield_row_html(row: YieldRow) -> str:
    """One row of the trade between groups and yield as HTML for a notebook.

    Parameters
    ----------
    row : YieldRow

    Returns
    -------
    str
    """
    return pairs_html(((column.title, column.cell(row)) for column in _TRADE), head=["Drill groups and yield"])
