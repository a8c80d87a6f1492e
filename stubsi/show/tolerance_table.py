"""Owns the tables of corners and yields as HTML: what each net does over its tolerances."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.margin.verdict import against_limit
from stubsi.show.notebook import framed
from stubsi.show.tables import Column, as_html
from stubsi.show.text_lines import CAUTION

if TYPE_CHECKING:
    from stubsi.tolerance.corners import Corners, NetCorners
    from stubsi.tolerance.production_yield import NetYield, ProductionYield

FABRICATION_ONLY = "Fabrication only: how far off the model may be comes on top."


def _percent(share: float) -> str:
    """Share in percent; as many nines as it has."""
    return f"{100 * share:.4g}"


def _worst(net: NetYield) -> str:
    return against_limit(net.criterion, net.quantiles[0] if net.criterion.least else net.quantiles[-1])


_CORNER_COLUMNS: tuple[Column[NetCorners], ...] = (
    Column("net", lambda net: net.net),
    Column("standing", lambda net: str(net.standing)),
    Column("judged at worst", lambda net: against_limit(net.criterion, net.judged[0]), align="right"),
    Column("margin, worst", lambda net: f"{net.margin[0]:.3g}", unit="x Nyquist", align="right"),
    Column("margin, nominal", lambda net: f"{net.margin[1]:.3g}", unit="x Nyquist", align="right"),
    Column("margin, best", lambda net: f"{net.margin[2]:.3g}", unit="x Nyquist", align="right"),
    Column("found by", lambda net: str(net.basis)),
)

_YIELD_COLUMNS: tuple[Column[NetYield], ...] = (
    Column("net", lambda net: net.net),
    Column("boards that meet its criterion", lambda net: _percent(net.probability), unit="%", align="right"),
    Column("at least", lambda net: _percent(net.least), unit="%", align="right"),
    Column("at most", lambda net: _percent(net.most), unit="%", align="right"),
    Column("judged, worst 1 % of boards", _worst, align="right"),
    Column("criterion", lambda net: str(net.criterion)),
)


def corners_html(corners: Corners) -> str:
    """Corners as HTML, the lowest margin first.

    Parameters
    ----------
    corners : Corners

    Returns
    -------
    str
    """
    rows = sorted(corners.nets, key=lambda net: net.margin[0])
    return framed(as_html(_CORNER_COLUMNS, rows, head=[repr(corners)[1:-1]], foot=[FABRICATION_ONLY, CAUTION]))


def yield_html(found: ProductionYield) -> str:
    """Yield as HTML, the net that fails most often first.

    Parameters
    ----------
    found : ProductionYield

    Returns
    -------
    str
    """
    rows = sorted(found.nets, key=lambda net: net.probability)
    return framed(as_html(_YIELD_COLUMNS, rows, head=[repr(found)[1:-1]], foot=[FABRICATION_ONLY, CAUTION]))
