r"""Owns the table writer: rows of any kind, described by columns, as text, CSV, Markdown or HTML.

A column says how to make the text of a cell from a row. Every text ends up on one line: line breaks and other control
characters are shown as escapes (``\n``), so that no name or source can break a table.

A CSV is opened in spreadsheets, too. A text that a spreadsheet would take for a formula has an apostrophe in front
(``'=A1``), and so has a text that begins with an apostrophe: a reader takes one apostrophe off to have the text as it
was written. A number stays a number. A cell with ``#`` stands in quotes, so that readers that skip comments keep it.
A spreadsheet also breaks the comment lines at their commas; an apostrophe stands there for the same reason.

In Markdown, a backslash stands in front of every character of a cell that has a meaning in Markdown.
"""

from __future__ import annotations

import html
import io
import re
from dataclasses import dataclass, field
from operator import itemgetter
from typing import TYPE_CHECKING, Any, Generic, Literal, NamedTuple, TypeVar

from stubsi.checks import one_line
from stubsi.show.text_lines import MOST_WIDTH

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

Row = TypeVar("Row")

NARROWEST = 4
"""Least number of characters that a cell keeps when it is cut."""

MOST_HTML_ROWS = 200
"""Rows that a table in a notebook shows at most."""

GAP = "  "
"""Between two columns of a text."""

FORMULA = tuple("=+-@\uff1d\uff0b\uff0d\uff20")
"""What a cell begins with that spreadsheets take for a formula, ASCII and full width. Source: common practice, no
source."""

_NUMBER = re.compile(r"[+-]?([0-9]+(\.[0-9]*)?(e[+-]?[0-9]+)?|inf|nan)")
"""A number as the tables write it."""

_MARKUP = re.compile(r"[\\`*\[\]<&|~]|(?<![A-Za-z0-9])_|_(?![A-Za-z0-9])")
"""What has a meaning inside a line of Markdown. Source: CommonMark 0.31.2, section 2.4, and GFM 0.29, section 4.10."""

_QUOTED = re.compile('[",#]|^ | $')
"""What stands in a cell of a CSV that has to be in quotes."""


@dataclass(frozen=True)
class Column(Generic[Row]):
    """One column of a table.

    Parameters
    ----------
    title : str
    cell : callable
        Text of the cell of a row.
    unit : str
        In a text table it stands in its own line below the title, elsewhere in brackets behind the title.
    align : {"left", "right"}
        Of text and HTML.
    priority : int, optional
        When a text is too wide, the column of the lowest priority is left out first. None: it always stays.
    elastic : bool
        Whether long cells lose their middle once no column can be left out any more.
    folded : bool
        Whether HTML hides the column until a reader unfolds it.
    """

    title: str
    cell: Callable[[Row], str]
    unit: str = field(default="", kw_only=True)
    align: Literal["left", "right"] = field(default="left", kw_only=True)
    priority: int | None = field(default=None, kw_only=True)
    elastic: bool = field(default=False, kw_only=True)
    folded: bool = field(default=False, kw_only=True)

    @property
    def heading(self) -> str:
        """Title with the unit in brackets."""
        return f"{self.title} [{self.unit}]" if self.unit else self.title


def as_text(
    columns: Sequence[Column[Row]],
    rows: Sequence[Row],
    width: int = MOST_WIDTH,
    *,
    head: Sequence[str] = (),
    foot: Sequence[str] = (),
    below: Callable[[Row], Sequence[str]] | None = None,
) -> str:
    """Table as plain text.

    Parameters
    ----------
    columns : sequence of Column
    rows : sequence
    width : int
        Characters in a line. If the table is too wide, the columns of the lowest priority are left out first. Then the
        long cells of the elastic column lose their middle. If that is not enough, the lines are longer than this.
    head, foot : sequence of str
        Lines above and below the table, as they are to be printed.
    below : callable, optional
        Lines that stand below a row.

    Returns
    -------
    str
    """
    filled = _fitting([_filled(column, rows) for column in columns], width)
    excess = max(0, _width(filled) - width)
    padded = [_padded(part, excess if part.column.elastic else 0) for part in filled]
    lines = [GAP.join(cells).rstrip() for cells in zip(*padded, strict=True)]
    titles = lines[:2] if any(column.unit for column in columns) else lines[:1]
    text = [*head, *titles]
    for row, line in zip(rows, lines[2:], strict=True):
        text.append(line)
        text += below(row) if below else ()
    return "\n".join([*text, *foot])


class _Filled(NamedTuple):
    """A column with its texts (title, unit, then a cell per row) and the length of the longest of them."""

    column: Column[Any]
    texts: list[str]
    width: int


def _filled(column: Column[Row], rows: Sequence[Row]) -> _Filled:
    texts = [column.title, column.unit, *(one_line(column.cell(row)) for row in rows)]
    return _Filled(column, texts, max(map(len, texts)))


def _width(filled: Sequence[_Filled]) -> int:
    return sum(part.width for part in filled) + len(GAP) * (len(filled) - 1)


def _fitting(filled: list[_Filled], width: int) -> list[_Filled]:
    """The columns that fit, after those of the lowest priority are left out one by one."""
    droppable = sorted((part for part in filled if part.column.priority is not None), key=_priority)
    for part in droppable:
        if _width(filled) <= width:
            break
        filled = [other for other in filled if other is not part]
    return filled


def _priority(part: _Filled) -> int:
    return part.column.priority or 0


def _padded(part: _Filled, excess: int) -> list[str]:
    """Texts of a column, all of one length: that of the longest, less ``excess``."""
    width = max(part.width - excess, NARROWEST) if excess else part.width
    texts = (cut(text, width) for text in part.texts)
    return [text.rjust(width) if part.column.align == "right" else text.ljust(width) for text in texts]


def cut(text: str, width: int) -> str:
    """Text of at most so many characters. A longer one keeps both ends, because names differ there.

    Parameters
    ----------
    text : str
    width : int
        Most characters.

    Returns
    -------
    str
    """
    if len(text) <= width:
        return text
    return text[: width // 2] + "…" + text[len(text) - (width - 1) // 2 :]


def as_csv(columns: Sequence[Column[Row]], rows: Iterable[Row], *, comments: Iterable[str] = ()) -> str:
    """Table as CSV.

    Parameters
    ----------
    columns : sequence of Column
    rows : iterable
    comments : iterable of str
        Lines above the table, each behind ``#``.

    Returns
    -------
    str
    """
    text = io.StringIO()
    text.writelines(_comment(one_line(line)) for line in comments)
    text.write(_csv_line(column.heading for column in columns))
    text.writelines(_csv_line(_no_formula(one_line(column.cell(row))) for column in columns) for row in rows)
    return text.getvalue()


def _no_formula(text: str) -> str:
    """Text with an apostrophe in front if a spreadsheet would take it for a formula, or if it begins with one."""
    return f"'{text}" if text.startswith("'") or _is_formula(text) else text


def _is_formula(text: str) -> bool:
    text = text.lstrip()
    return text.startswith(FORMULA) and not _NUMBER.fullmatch(text.rstrip())


def _comment(line: str) -> str:
    """Comment line. No part between commas is a formula or opens a quotation that would hide the lines below it."""
    first, *parts = line.split(",")
    safe = (f"'{part}" if _is_formula(part) or part.lstrip().startswith('"') else part for part in parts)
    return f"# {','.join([first, *safe])}\n"


def _csv_line(cells: Iterable[str]) -> str:
    """Cells with commas between them. Unlike the ``csv`` module, this puts a cell with # in quotes."""
    quoted = ('"' + cell.replace('"', '""') + '"' if _QUOTED.search(cell) else cell for cell in cells)
    return ",".join(quoted) + "\n"


def as_markdown(
    columns: Sequence[Column[Row]], rows: Iterable[Row], *, head: Iterable[str] = (), foot: Iterable[str] = ()
) -> str:
    """Table as Markdown.

    Parameters
    ----------
    columns : sequence of Column
    rows : iterable
    head, foot : iterable of str
        Points of a list above and below the table.

    Returns
    -------
    str
    """
    cells = [[column.heading for column in columns], ["---"] * len(columns)]
    cells += [[_plain_markdown(column.cell(row)) for column in columns] for row in rows]
    table = "".join(f"| {' | '.join(line)} |\n" for line in cells)
    above, below = ("".join(f"* {_plain_markdown(line)}\n" for line in lines) for lines in (head, foot))
    return "\n".join(part for part in (above, table, below) if part)


def _plain_markdown(text: str) -> str:
    """Text that Markdown shows as it is."""
    return _MARKUP.sub(r"\\\g<0>", one_line(text))


def as_html(
    columns: Sequence[Column[Row]],
    rows: Sequence[Row],
    *,
    head: Iterable[str] = (),
    foot: Iterable[str] = (),
    most: int = MOST_HTML_ROWS,
) -> str:
    """Table as HTML, for a notebook. Where columns are folded, a line above the table unfolds them.

    Parameters
    ----------
    columns : sequence of Column
        Either all of them have a title, or none has.
    rows : sequence
    head, foot : iterable of str
        Lines above and below the table.
    most : int
        Rows that are shown at most; a line says how many more there are.

    Returns
    -------
    str
    """
    titles = "".join(f"<th{_class(column)}>{_escaped(column.heading)}</th>" for column in columns if column.title)
    body = "".join(f"<tr>{''.join(_html_cell(column, row) for column in columns)}</tr>" for row in rows[:most])
    top = f"<thead><tr>{titles}</tr></thead>" if titles else ""
    table = f"<table>{top}<tbody>{body}</tbody></table>"
    more = [f"and {len(rows) - most} more rows"] if len(rows) > most else []
    every = f'<details class="more"><summary>All {len(columns)} columns</summary></details>'
    unfolds = every if any(column.folded for column in columns) else ""
    return html_lines(head) + unfolds + table + html_lines([*more, *foot])


LONG = 40
"""A text longer than this gets a wide cell [characters], so that it is not broken into a tower of words."""


def _class(column: Column[Any], text: str = "") -> str:
    """What the style sheet knows a cell by: whether it is folded, and whether its text is long."""
    names = [name for name, holds in (("more", column.folded), ("long", len(text) > LONG)) if holds]
    return f' class="{" ".join(names)}"' if names else ""


def pairs_html(pairs: Iterable[tuple[str, str]], *, head: Iterable[str] = (), foot: Iterable[str] = ()) -> str:
    """Names and values as an HTML table of two columns without titles.

    Parameters
    ----------
    pairs : iterable of (str, str)
    head, foot : iterable of str
        Lines above and below the table.

    Returns
    -------
    str
    """
    columns = tuple(Column("", itemgetter(number)) for number in (0, 1))
    return as_html(columns, list(pairs), head=head, foot=foot)


def html_lines(lines: Iterable[str]) -> str:
    """Lines of text as HTML.

    Parameters
    ----------
    lines : iterable of str

    Returns
    -------
    str
    """
    return "".join(f"<div>{_escaped(line)}</div>" for line in lines)


def _html_cell(column: Column[Row], row: Row) -> str:
    text = one_line(column.cell(row))
    return f'<td{_class(column, text)} style="text-align:{column.align}">{html.escape(text)}</td>'


def _escaped(text: str) -> str:
    return html.escape(one_line(text))
