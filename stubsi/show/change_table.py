"""Owns the table of the single changes that were tried for a net, as HTML."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.show.notebook import framed
from stubsi.show.tables import Column, as_html
from stubsi.units import show

if TYPE_CHECKING:
    from stubsi.margin.single_change import Change, SingleChange, SingleChanges


def _notch(change: SingleChange, moment: int) -> str:
    notch = change.first_notch_si[moment]
    return "-" if notch is None else show(notch, "frequency")


def _rise(change: SingleChange) -> str:
    return "-" if change.ghz_per_unit is None else f"{change.ghz_per_unit:+.3g} GHz per {change.unit}"


_COLUMNS: tuple[Column[SingleChange], ...] = (
    Column("change", lambda each: each.text),
    Column("outcome", lambda each: ", ".join(text for text in map(str, each.outcome) if text)),
    Column("first notch before", lambda each: _notch(each, 0), align="right"),
    Column("first notch", lambda each: _notch(each, 1), align="right"),
    Column("rise per unit", _rise, align="right"),
)


def changes_html(changes: SingleChanges[Change], head: str) -> str:
    """Single changes for a net as HTML for a notebook.

    Parameters
    ----------
    changes : SingleChanges
    head : str
        The net as it is.

    Returns
    -------
    str
    """
    lines = [head, *(f"Not tried: {each}" for each in changes.not_tried)]
    rows: tuple[SingleChange, ...] = (*changes.changes, *changes.not_enough)
    return framed(as_html(_COLUMNS, rows, head=lines))
