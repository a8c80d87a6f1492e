"""Owns the table of consequences as text and HTML: every net before and after drilling, and why one still fails."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.show.notebook import framed
from stubsi.show.tables import Column, as_html, as_text
from stubsi.show.text_lines import wrapped
from stubsi.units import shown_number

if TYPE_CHECKING:
    from collections.abc import Callable

    from stubsi.drilling.consequences import Consequences, NetChange

WHY_WIDTH = 116
"""Width of the lines that say why a net still fails [characters]."""

TEXT_WIDTH = 140
"""Width of the table as text [characters]; longer names of nets lose their middle."""

BEFORE, NOMINAL, WORST = range(3)
"""Places in the figures of a net: before drilling, after nominal and after worst-case drilling."""


def consequences_text(consequences: Consequences) -> str:
    """Table of consequences as plain text; what keeps a net that still fails stands below it.

    Parameters
    ----------
    consequences : Consequences

    Returns
    -------
    str
    """
    columns: list[Column[NetChange]] = [
        Column("net", lambda net: net.net, elastic=True),
        Column("margin before", _margin(BEFORE), unit="x Nyq", align="right"),
        Column("margin nominal", _margin(NOMINAL), unit="x Nyq", align="right"),
        Column("margin worst", _margin(WORST), unit="x Nyq", align="right"),
        Column("1 dB before", _one_db(BEFORE), unit="GHz", align="right"),
        Column("1 dB worst", _one_db(WORST), unit="GHz", align="right"),
        Column("loss before", _loss(BEFORE), unit="dB", align="right"),
        Column("loss worst", _loss(WORST), unit="dB", align="right"),
        Column("verdict before -> worst", lambda net: f"{net.verdict[BEFORE]} -> {net.verdict[WORST]}"),
    ]
    head = [*consequences.summary().splitlines(), ""]
    return as_text(columns, consequences.nets, TEXT_WIDTH, head=head, below=_why)


def consequences_html(consequences: Consequences) -> str:
    """Table of consequences as HTML for a notebook.

    Parameters
    ----------
    consequences : Consequences

    Returns
    -------
    str
    """
    columns: list[Column[NetChange]] = [
        Column("net", lambda net: net.net),
        Column("verdict before", lambda net: net.verdict[BEFORE]),
        Column("verdict worst", lambda net: net.verdict[WORST]),
        Column("first notch / Nyquist, before", _margin(BEFORE), align="right"),
        Column("first notch / Nyquist, nominal", _margin(NOMINAL), align="right", folded=True),
        Column("first notch / Nyquist, worst", _margin(WORST), align="right"),
        Column("hits", lambda net: str(net.hits), align="right"),
        Column("why", lambda net: net.why),
        Column("1 dB frequency, before", _one_db(BEFORE), unit="GHz", align="right", folded=True),
        Column("1 dB frequency, worst", _one_db(WORST), unit="GHz", align="right", folded=True),
        Column("loss at Nyquist, before", _loss(BEFORE), unit="dB", align="right", folded=True),
        Column("loss at Nyquist, worst", _loss(WORST), unit="dB", align="right", folded=True),
    ]
    return framed(as_html(columns, consequences.nets, head=consequences.summary().splitlines()))


def _margin(moment: int) -> Callable[[NetChange], str]:
    return lambda net: _figure(net.margin[moment])


def _one_db(moment: int) -> Callable[[NetChange], str]:
    return lambda net: _figure(shown_number(net.one_db_si[moment], "frequency"))


def _loss(moment: int) -> Callable[[NetChange], str]:
    return lambda net: _figure(net.loss[moment])


def _figure(value: float | None) -> str:
    return "-" if value is None else f"{value:.2f}"


def _why(net: NetChange) -> list[str]:
    return wrapped([net.why], WHY_WIDTH, indent=4, at_hyphens=False) if net.why else []
