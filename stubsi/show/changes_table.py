"""Owns the HTML of single changes of a net: what lets it pass undrilled, or be drilled less deep, and what does not."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.show.notebook import folded_lines, framed
from stubsi.show.tables import Column, as_html

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stubsi.drilling.shallower_change import ShallowerChange, ShallowerChanges
    from stubsi.margin.undrilled_change import UndrilledChange, UndrilledChanges


def _ghz(notch: float | None) -> str:
    return "" if notch is None else f"{1e-9 * notch:.4g}"


_COLUMNS: tuple[Column[tuple[str, UndrilledChange | ShallowerChange]], ...] = (
    Column("change", lambda row: row[1].text),
    Column("what it does", lambda row: row[0]),
    Column("first notch, before", lambda row: _ghz(row[1].first_notch_si[0]), unit="GHz", align="right"),
    Column("first notch, after", lambda row: _ghz(row[1].first_notch_si[1]), unit="GHz", align="right"),
)


def undrilled_html(changes: UndrilledChanges) -> str:
    """What lets a net pass without depth drilling, the first choice first.

    Parameters
    ----------
    changes : UndrilledChanges

    Returns
    -------
    str
    """
    rows = [
        (f"{'passes' if each.passes else 'does not pass'}: {each.verdict}", each)
        for each in (*changes.changes, *changes.not_enough)
    ]
    return _html(str(changes).splitlines()[0], rows, changes.not_tried)


def shallower_html(changes: ShallowerChanges) -> str:
    """What lets a net be drilled less deep, the first choice first.

    Parameters
    ----------
    changes : ShallowerChanges

    Returns
    -------
    str
    """
    rows = [(str(each.how), each) for each in (*changes.changes, *changes.not_enough)]
    return _html(str(changes).splitlines()[0], rows, changes.not_tried)


def _html(first: str, rows: Sequence[tuple[str, UndrilledChange | ShallowerChange]], not_tried: Sequence[str]) -> str:
    return framed(as_html(_COLUMNS, rows, head=[first]) + folded_lines("Not tried", not_tried))
