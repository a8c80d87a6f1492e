"""Owns the tables of corners and yields as HTML: what each net does over its tolerances."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stubsi.margin.verdict import against_limit
from stubsi.provenance import BY_TOLERANCES
from stubsi.show.notebook import framed
from stubsi.show.tables import Column, as_csv, as_html
from stubsi.show.text_lines import CAUTION

if TYPE_CHECKING:
    from stubsi.tolerance.corners import Corners, NetCorners
    from stubsi.tolerance.production_yield import NetYield, ProductionYield


def _percent(share: float) -> str:
    """Share in percent; as many nines as it has."""
    return "" if math.isnan(share) else f"{100 * share:.4g}"


def _worst(net: NetYield) -> str:
    return against_limit(net.criterion, net.quantiles[0] if net.criterion.least else net.quantiles[-1])


def _number(value: float) -> str:
    return "" if math.isnan(value) else f"{value:.4g}"


_CORNER_COLUMNS: tuple[Column[NetCorners], ...] = (
    Column("net", lambda net: net.net),
    Column("standing", lambda net: str(net.standing)),
    Column("judged at worst", lambda net: against_limit(net.criterion, net.judged[0]), align="right"),
    Column("margin, worst", lambda net: f"{net.margin[0]:.3g}", unit="x Nyquist", align="right"),
    Column("margin, nominal", lambda net: f"{net.margin[1]:.3g}", unit="x Nyquist", align="right"),
    Column("margin, best", lambda net: f"{net.margin[2]:.3g}", unit="x Nyquist", align="right"),
    Column("first notch, worst", lambda net: _number(net.first_notch_si[0] / 1e9), unit="GHz", align="right"),
    Column("1 dB frequency, worst", lambda net: _number(net.one_db_si[0] / 1e9), unit="GHz", align="right"),
    Column("loss at Nyquist, worst", lambda net: _number(net.loss[0]), unit="dB", align="right"),
    Column("criterion", lambda net: str(net.criterion)),
    Column("found by", lambda net: str(net.basis)),
)

_YIELD_COLUMNS: tuple[Column[NetYield], ...] = (
    Column("net", lambda net: net.net),
    Column("boards that meet its criterion", lambda net: _percent(net.probability), unit="%", align="right"),
    Column("at least", lambda net: _percent(net.least), unit="%", align="right"),
    Column("at most", lambda net: _percent(net.most), unit="%", align="right"),
    Column("sampling error", lambda net: _percent(net.sampling_error), unit="%", align="right"),
    Column("error of the surface", lambda net: _percent(net.surface_error), unit="%", align="right"),
    Column("judged, worst 1 % of boards", _worst, align="right"),
    Column("criterion", lambda net: str(net.criterion)),
    Column("unknown", lambda net: str(net.unknown or "")),
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
    return framed(as_html(_CORNER_COLUMNS, rows, head=[repr(corners)[1:-1]], foot=_foot(corners)))


def corners_csv(corners: Corners) -> str:
    """Corners as CSV, in the order of the board, behind comment lines.

    Parameters
    ----------
    corners : Corners

    Returns
    -------
    str
    """
    return as_csv(_CORNER_COLUMNS, corners.nets, comments=[repr(corners)[1:-1], *_foot(corners)])


def _foot(found: Corners | ProductionYield) -> list[str]:
    return [*str(found.tolerances).splitlines(), BY_TOLERANCES, CAUTION]


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
    return framed(as_html(_YIELD_COLUMNS, rows, head=_yield_head(found), foot=_foot(found)))


def yield_csv(found: ProductionYield) -> str:
    """Yield as CSV, in the order of the board, behind comment lines.

    Parameters
    ----------
    found : ProductionYield

    Returns
    -------
    str
    """
    return as_csv(_YIELD_COLUMNS, found.nets, comments=[*_yield_head(found), *_foot(found)])


def _yield_head(found: ProductionYield) -> list[str]:
    screened = f", {_percent(found.screened)} % screened out" if found.screened else ""
    drawn = f"{found.samples} samples{screened}, seed {found.seed}; {found.solved} boards solved"
    return [repr(found)[1:-1], drawn]
