"""Owns the tables of differences as text and HTML: of two boards, two rankings and two plans."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.show.notebook import framed
from stubsi.show.tables import Column, as_html, as_text
from stubsi.units import shown_number

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from stubsi.board.board_difference import FieldChange
    from stubsi.drilling.plan_difference import PlanChange
    from stubsi.margin.net_margin import NetMargin
    from stubsi.margin.ranking_difference import NetDifference

ABSENT = "-"
"""Cell of a figure that does not exist."""


def board_difference_text(changes: Sequence[FieldChange], head: Sequence[str]) -> str:
    """Fields that differ as plain text.

    Parameters
    ----------
    changes : sequence of FieldChange
    head : sequence of str
        Lines above the table.

    Returns
    -------
    str
    """
    return as_text(_BOARD_COLUMNS, changes, head=head) if changes else "\n".join(head)


def board_difference_html(changes: Sequence[FieldChange], head: Sequence[str]) -> str:
    """Fields that differ as HTML for a notebook.

    Parameters
    ----------
    changes : sequence of FieldChange
    head : sequence of str
        Lines above the table.

    Returns
    -------
    str
    """
    return framed(as_html(_BOARD_COLUMNS, changes, head=head))


def ranking_difference_text(nets: Sequence[NetDifference], head: Sequence[str]) -> str:
    """Nets that differ as plain text.

    Parameters
    ----------
    nets : sequence of NetDifference
    head : sequence of str
        Lines above the table.

    Returns
    -------
    str
    """
    return as_text(_RANKING_COLUMNS, nets, head=head) if nets else "\n".join(head)


def ranking_difference_html(nets: Sequence[NetDifference], head: Sequence[str]) -> str:
    """Nets that differ as HTML for a notebook.

    Parameters
    ----------
    nets : sequence of NetDifference
    head : sequence of str
        Lines above the table.

    Returns
    -------
    str
    """
    return framed(as_html(_RANKING_COLUMNS, nets, head=head))


def plan_difference_text(changes: Sequence[PlanChange], head: Sequence[str]) -> str:
    """Parts of a plan that differ as plain text, a line for each.

    Parameters
    ----------
    changes : sequence of PlanChange
    head : sequence of str
        Lines above the others.

    Returns
    -------
    str
    """
    return "\n".join([*head, *map(str, changes)])


def plan_difference_html(changes: Sequence[PlanChange], head: Sequence[str]) -> str:
    """Parts of a plan that differ as HTML for a notebook.

    Parameters
    ----------
    changes : sequence of PlanChange
    head : sequence of str
        Lines above the table.

    Returns
    -------
    str
    """
    return framed(as_html(_PLAN_COLUMNS, changes, head=head))


def _or_absent(text: str | None) -> str:
    return ABSENT if text is None else text


def _arrow(row: NetDifference, cell: Callable[[NetMargin], str]) -> str:
    ends = [ABSENT if end is None else cell(end) for end in (row.before, row.after)]
    return ends[0] if ends[0] == ends[1] else " -> ".join(ends)


def _figure(value: float | None) -> str:
    return ABSENT if value is None else f"{value:.2f}"


def _change(value: float | None) -> str:
    return ABSENT if value is None else f"{value:+.3g}"


def _frequency_change(net: NetDifference, figure: str) -> str:
    return _change(shown_number(net.change(figure), "frequency"))


def _frequency(si: float | None) -> str:
    return _figure(shown_number(si, "frequency"))


_BOARD_COLUMNS: tuple[Column[FieldChange], ...] = (
    Column("part", lambda change: change.part),
    Column("field", lambda change: change.field or ("new" if change.before is None else "gone")),
    Column("before", lambda change: _or_absent(change.before)),
    Column("after", lambda change: _or_absent(change.after)),
)

_RANKING_COLUMNS: tuple[Column[NetDifference], ...] = (
    Column("net", lambda net: net.net),
    Column("verdict", lambda net: _arrow(net, lambda row: str(row.verdict))),
    Column("margin", lambda net: _arrow(net, lambda row: _figure(row.margin)), unit="x Nyq", align="right"),
    Column("margin change", lambda net: _change(net.margin_change), unit="x Nyq", align="right"),
    Column("notch", lambda net: _arrow(net, lambda row: _frequency(row.first_notch_si)), unit="GHz", align="right"),
    Column("notch change", lambda net: _frequency_change(net, "first_notch_si"), unit="GHz", align="right"),
    Column("1 dB", lambda net: _arrow(net, lambda row: _frequency(row.one_db_si)), unit="GHz", align="right"),
    Column("1 dB change", lambda net: _frequency_change(net, "one_db_si"), unit="GHz", align="right"),
)

_PLAN_COLUMNS: tuple[Column[PlanChange], ...] = (
    Column("part", lambda change: change.part),
    Column("which", lambda change: change.name),
    Column("before", lambda change: _or_absent(change.before)),
    Column("after", lambda change: _or_absent(change.after)),
)
