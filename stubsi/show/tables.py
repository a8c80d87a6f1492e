"""Owns the margin table as text, CSV, Markdown and HTML: the same rows and the same words in each."""

from __future__ import annotations

import html
import math
import textwrap
from collections import Counter
from typing import TYPE_CHECKING, Any, NamedTuple

from stubsi.provenance import HARDWARE_ERROR

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from stubsi.margin.ranking import NetMargin, Ranking

CAUTION = (
    "Estimates: confirm with the fabricator, by measurement or field solution, under local codes and licensed practice."
)
HARDWARE_NOTE = (
    f"Against hardware: within {100 * HARDWARE_ERROR:g} % at best until calibrated on a coupon; "
    "a net that close to its limit is marginal."
)
LOSS_NOTE = "Loss: shunt losses of the net's stubs at Nyquist, summed, interaction between them ignored."


class _Column(NamedTuple):
    """A column of the text table; the lowest ``rank`` goes last when the width is short."""

    title: str
    unit: str
    cell: Callable[[NetMargin], str]
    rank: int
    left: bool = False


def _figure(digits: int, *names: str) -> Callable[[NetMargin], str]:
    """Cell of a number; a range where the second name gives another value; empty where there is none."""

    def cell(row: NetMargin) -> str:
        ends = [getattr(row, name) for name in names]
        shown = dict.fromkeys(f"{end:.{digits}f}" for end in ends if end is not None)
        return "-".join(shown)

    return cell


_COLUMNS = (
    _Column("net", "", lambda r: r.net, 9, left=True),
    _Column("signal", "", lambda r: r.signal, 5, left=True),
    _Column("Nyquist", "GHz", _figure(2, "nyquist"), 6),
    _Column("hole", "", lambda r: r.hole, 4, left=True),
    _Column("side", "", lambda r: r.side, 3, left=True),
    _Column("stub", "mm", _figure(3, "stub_length"), 7),
    _Column("notch", "GHz", _figure(2, "first_notch", "first_notch_to"), 9),
    _Column("margin", "x Nyq", _figure(2, "margin"), 9),
    _Column("loss", "dB", _figure(2, "loss"), 2),
    _Column("return", "dB", _figure(1, "return_loss"), 1),
    _Column("verdict", "", lambda r: r.verdict, 9, left=True),
    _Column("model", "", lambda r: r.model, 0, left=True),
)


def preamble(ranking: Ranking) -> list[str]:
    """Lines that stand above every table: criteria with their source, models, tally, caution."""
    models = dict.fromkeys(f"{row.model} ({row.model_error})" for row in ranking if row.model)
    tally = Counter(row.verdict for row in ranking)
    return [
        *(f"Criterion: {criterion}" for criterion in ranking.criteria),
        *(f"Model: {model}" for model in models),
        HARDWARE_NOTE,
        f"{len(ranking)} {'net' if len(ranking) == 1 else 'nets'}: "
        + ", ".join(f"{count} {verdict}" for verdict, count in tally.most_common()),
        LOSS_NOTE,
        CAUTION,
    ]


def text_table(ranking: Ranking, width: int) -> str:
    """Plain-text table of at most ``width`` columns; the reason stands below each net that does not simply pass.

    What does not fit goes: first the columns of least rank, then the middle of long net names.
    """
    rows = list(ranking)
    columns = _fitting(rows, width)
    widths = [_width(column, rows) for column in columns]
    widths[0] -= max(0, sum(widths) + 2 * (len(widths) - 1) - width)
    lines = [wrapped for line in preamble(ranking) for wrapped in textwrap.wrap(line, width, subsequent_indent="  ")]
    lines += ["", _line(columns, widths, [c.title for c in columns]), _line(columns, widths, [c.unit for c in columns])]
    for row in rows:
        lines.append(_line(columns, widths, [column.cell(row) for column in columns]))
        if row.verdict != "pass":
            lines += textwrap.wrap(row.reason, width, initial_indent="    ", subsequent_indent="    ")
    return "\n".join(line.rstrip() for line in lines)


def _fitting(rows: Sequence[NetMargin], width: int) -> list[_Column]:
    columns = list(_COLUMNS)
    while sum(_width(column, rows) + 2 for column in columns) - 2 > width and min(c.rank for c in columns) < 9:
        columns.remove(min(columns, key=lambda column: column.rank))
    return columns


def _width(column: _Column, rows: Sequence[NetMargin]) -> int:
    return max(len(text) for text in (column.title, column.unit, *(column.cell(row) for row in rows)))


def _line(columns: Sequence[_Column], widths: Sequence[int], cells: Sequence[str]) -> str:
    padded = (
        _cut(cell, width).ljust(width) if column.left else cell.rjust(width)
        for column, width, cell in zip(columns, widths, cells, strict=True)
    )
    return "  ".join(padded)


def _cut(text: str, width: int) -> str:
    """Text of at most ``width`` characters: what is too long keeps both ends, where names differ."""
    if len(text) <= width:
        return text
    return text[: width // 2] + "…" + text[len(text) - (width - 1) // 2 :]


def csv_table(ranking: Ranking) -> str:
    """CSV with every column, behind comment lines."""
    comment = "".join(f"# {line}\n" for line in preamble(ranking))
    return comment + ranking.to_frame().to_csv(index=False, lineterminator="\n")


def markdown_table(ranking: Ranking) -> str:
    """Markdown table with every column."""
    frame = ranking.to_frame()
    head = "\n".join(f"* {line}" for line in preamble(ranking))
    rows = [list(frame.columns), ["---"] * len(frame.columns), *frame.itertuples(index=False)]
    return head + "\n\n" + "\n".join("| " + " | ".join(_cell(value) for value in row) + " |" for row in rows) + "\n"


def _cell(value: Any) -> str:
    if isinstance(value, str):
        return value.replace("|", "\\|")
    return "" if value is None or math.isnan(value) else f"{value:.4g}"


def html_table(ranking: Ranking) -> str:
    """HTML for a notebook: preamble, then every column."""
    head = "".join(f"<div>{html.escape(line)}</div>" for line in preamble(ranking))
    return head + ranking.to_frame().to_html(index=False, na_rep="", float_format=lambda value: f"{value:.4g}")
