"""Owns the table of nets in the report: it can be sorted and filtered, also without a mouse."""

from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING, NamedTuple

from stubsi.margin.verdict import against_limit
from stubsi.report.page import escaped, scrolled

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from stubsi.drilling.consequences import Consequences
    from stubsi.margin.net_margin import NetMargin
    from stubsi.margin.ranking import Ranking


class _Cell(NamedTuple):
    """A cell as it is shown; of a number, also what it is sorted by."""

    text: str
    number: float | None = None


TITLES = ("net", "verdict", "judged", "margin [x Nyquist]", "reason", "first notch [GHz]", "1 dB [GHz]", "stub [mm]",
          "signal", "hole")  # fmt: skip
NUMBERS = frozenset(
    {"margin [x Nyquist]", "margin after [x Nyquist]", "first notch [GHz]", "1 dB [GHz]", "stub [mm]", "hits"}
)

LONG = 110
"""A text longer than this is folded [characters]."""


def ranking_table(ranking: Ranking) -> str:
    """Nets of a ranking, the worst first.

    Parameters
    ----------
    ranking : Ranking

    Returns
    -------
    str
    """
    return _table(TITLES, [(str(row.verdict), _cells(row)) for row in ranking])


def change_table(consequences: Consequences) -> str:
    """Nets before and after worst-case drilling, the worst after it first.

    Parameters
    ----------
    consequences : Consequences

    Returns
    -------
    str
    """
    titles = ("net", "verdict after", "margin after [x Nyquist]", "margin [x Nyquist]", "verdict as drawn", "hits",
              "judged", *TITLES[4:])  # fmt: skip
    before = {row.net: row for row in consequences.plan.limits.ranking}
    rows = []
    for net in consequences.nets:
        row = before[net.net]
        name, verdict, judged, margin, reason, *figures = _cells(row)
        after = [_Cell(str(net.verdict[2])), _number(net.margin[2]), margin, verdict, _number(net.hits, digits=6)]
        why = _Cell("; ".join(text for text in (net.why, reason.text) if text))
        rows.append((str(net.verdict[2]), [name, *after, judged, why, *figures]))
    return _table(titles, rows)


def _cells(row: NetMargin) -> list[_Cell]:
    """Cells of a net, in the order of ``TITLES``."""
    figure = row.why.figure
    judged = "" if figure is None else against_limit(figure.criterion, figure.low)
    return [
        _Cell(row.net), _Cell(str(row.verdict)), _Cell(judged), _number(row.margin), _Cell(row.reason),
        _number(row.first_notch_si, 1e-9, row.first_notch_to_si), _number(row.one_db_si, 1e-9, row.one_db_to_si),
        _number(row.stub_length_si, 1e3), _Cell(row.signal), _Cell(f"{row.hole} {row.side}".strip()),
    ]  # fmt: skip


def _number(low: float | None, factor: float = 1.0, high: float | None = None, digits: int = 3) -> _Cell:
    """Figure in its unit to three digits; a range where it has two ends, sorted by its lower one."""
    if low is None or math.isnan(low):
        return _Cell("", None)
    if high is None or high == low:
        return _Cell(_digits(low * factor, digits), low * factor)
    if math.isinf(high):
        return _Cell(f">{_digits(low * factor, digits)}", low * factor)
    return _Cell(f"{_digits(low * factor, digits)}\N{EN DASH}{_digits(high * factor, digits)}", low * factor)


def _digits(value: float, digits: int) -> str:
    """Number with so many digits, written out without an exponent."""
    return f"{value:.{digits}g}" if abs(value) < 10**digits else f"{float(f'{value:.{digits}g}'):.0f}"


def _table(titles: Sequence[str], rows: Sequence[tuple[str, Sequence[_Cell]]]) -> str:
    verdicts = dict.fromkeys(verdict for verdict, _ in rows)
    options = "".join(f'<option value="{escaped(each)}">{escaped(each)}</option>' for each in verdicts)
    heads = "".join(_head(title) for title in titles)
    body = "\n".join(f'<tr data-verdict="{escaped(verdict)}">{_row(titles, cells)}</tr>' for verdict, cells in rows)
    table = (
        '<table id="nets"><caption class="soft">Press a heading to sort by it, once more to turn the order round.'
        f"</caption><thead><tr>{heads}</tr></thead><tbody>\n{body}\n</tbody></table>"
    )
    return (
        '<div class="tools"><label>Words in any column <input id="nets-words" type="search" autocomplete="off"></label>'
        f'<label>Verdict <select id="nets-verdict"><option value="">every verdict</option>{options}</select></label>'
        f'<span id="nets-said" class="soft" role="status">{len(rows)} nets</span></div>\n'
        + scrolled("Nets and their margins", table)
    )


def _head(title: str) -> str:
    kind = ' data-kind="number"' if title in NUMBERS else ""
    return f'<th scope="col"{kind}><button type="button">{escaped(title)}</button></th>'


def _row(titles: Sequence[str], cells: Iterable[_Cell]) -> str:
    return "".join(_cell(title, cell) for title, cell in zip(titles, cells, strict=True))


def _cell(title: str, cell: _Cell) -> str:
    if title == "reason":
        return f'<td class="reason">{_unfolding(cell.text)}</td>'
    if title not in NUMBERS:
        mark = ' class="judged"' if title == "judged" else ""
        return f"<td{mark}>{_breakable(cell.text)}</td>"
    key = "" if cell.number is None else repr(float(cell.number))
    return f'<td class="number" data-key="{key}">{escaped(cell.text)}</td>'


PART = 32
"""A name may be broken after so many characters, so that no name pushes the table aside."""


def _breakable(text: str) -> str:
    """Escaped text that may be broken where a word of it is long."""
    words = (word if len(word) > PART else "" for word in text.split(" "))
    if not any(words):
        return escaped(text)
    return "<wbr>".join(escaped(text[n : n + PART]) for n in range(0, len(text), PART))


def _unfolding(text: str) -> str:
    """Text of a cell; a long one shows how it begins, and unfolds."""
    if len(text) <= LONG:
        return escaped(text)
    begin = textwrap.shorten(text, LONG, placeholder=" …")
    return f"<details><summary>{escaped(begin)}</summary>{escaped(text)}</details>"
