"""Owns the comparison of two lists of a hand-off: the schedule, the holes or the coupons, as written and as read."""

from __future__ import annotations

import csv
import io
import re
from typing import TYPE_CHECKING

from stubsi.errors import FileError
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    from collections.abc import Iterator

    Row = tuple[int, dict[str, str]]
    """Line in the file, and the cells by column."""

KEYS: dict[str, tuple[str, ...]] = {
    "hole": ("hole", "side"),
    "drilled hole": ("drilled hole", "drilled from", "layer", "net of the copper", "copper"),
    "group": ("group",),
}
"""Columns that say which row it is, by the first of them: in a list of holes, where a hole may be drilled from both
sides, in that of copper near the drills, and in others.
"""
NUMBER = re.compile(r"-?[0-9]{1,9}(?:\.[0-9]{0,9})?")
SAME = 0.51e-3
"""Two numbers that differ by less are the same: lists have millimetres to the micron."""
LONGEST_CELL = 1_000_000
"""Most characters of a cell."""


def list_differences(name: str, planned: str, read: str) -> list[tuple[int | None, str, str, str]]:
    """What a list says other than the planned one.

    Parameters
    ----------
    name : str
        Name of the file, for error texts.
    planned, read : str
        The list as the plan has it, and as the file has it.

    Returns
    -------
    list of (line, what, planned, read)

    Raises
    ------
    FileError
        The list read has no header, or names a column twice; a row is longer or shorter than the header, or stands
        there twice.
    """
    own, other = _rows(name, planned), _rows(name, read)
    columns = [dict.fromkeys(column for _, row in rows.values() for column in row) for rows in (own, other)]
    found: list[tuple[int | None, str, str, str]] = []
    if other:
        found += [(None, f"column {column}", "there", "") for column in columns[0] if column not in columns[1]]
        found += [(None, f"column {column}", "", "there") for column in columns[1] if column not in columns[0]]
    for key, (_, row) in own.items():
        if key not in other:
            found.append((None, _called(key), "there", ""))
            continue
        line, read_row = other[key]
        found += [
            (line, f"{_called(key)}, {column}", cell, read_row[column])
            for column, cell in row.items()
            if column in read_row and not _same(column, cell, read_row[column])
        ]
    found += [(line, _called(key), "", "there") for key, (line, _) in other.items() if key not in own]
    return found


def _rows(name: str, text: str) -> dict[tuple[tuple[str, str], ...], Row]:
    """Rows of a list by what identifies them."""
    rows: dict[tuple[tuple[str, str], ...], Row] = {}
    for line, cells in _cells(name, text):
        columns = next((columns for first, columns in KEYS.items() if first in cells), ())
        key = tuple((column, cells[column]) for column in columns if column in cells)
        if not key:
            raise FileError(f"{name}: line {line}: has neither a column 'hole' nor a column 'group'.")
        if key in rows:
            raise FileError(f"{name}: line {line}: {_called(key)} stands in line {rows[key][0]} already.")
        rows[key] = line, cells
    return rows


def _cells(name: str, text: str) -> Iterator[Row]:
    """Rows below the header of a CSV list, each with its line and its cells by column."""
    lines = text.splitlines()
    start = next((number for number, line in enumerate(lines) if line and not line.startswith("#")), len(lines))
    header: list[str] | None = None
    for line, row in _parsed(name, lines[start:], start):
        if header is None:
            header = row
            _refuse_columns_twice(f"{name}: line {line}", header)
        elif len(row) != len(header):
            raise FileError(f"{name}: line {line}: has {len(row)} cells, and the header has {len(header)}.")
        else:
            yield line, dict(zip(header, row, strict=True))
    if header is None:
        raise FileError(f"{name}: holds no table.")


def _parsed(name: str, lines: list[str], start: int) -> list[tuple[int, list[str]]]:
    """Every row with its line. The longest cell is a setting of the whole process, so it is put back afterwards."""
    reader = csv.reader(io.StringIO("\n".join(lines)), strict=True)
    before = csv.field_size_limit(LONGEST_CELL)
    try:
        return [(start + reader.line_num, row) for row in reader]
    except csv.Error as error:
        raise FileError(f"{name}: line {start + reader.line_num}: is no CSV: {error}.") from None
    finally:
        csv.field_size_limit(before)


def _refuse_columns_twice(place: str, header: list[str]) -> None:
    seen: set[str] = set()
    for column in header:
        if column in seen:
            raise FileError(f"{place}: the column {as_shown(column)} stands there twice.")
        seen.add(column)


def _called(key: tuple[tuple[str, str], ...]) -> str:
    return " ".join(text for pair in key for text in pair)


def _same(column: str, one: str, other: str) -> bool:
    """Whether two cells say the same. Only a column with a unit holds lengths or frequencies; names are texts."""
    if one == other:
        return True
    numbers = column.endswith("]") and NUMBER.fullmatch(one) and NUMBER.fullmatch(other)
    return bool(numbers) and abs(float(one) - float(other)) < SAME
