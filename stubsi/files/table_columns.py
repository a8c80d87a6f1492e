"""Owns the way in for tables of stubs: a DataFrame, mappings or a CSV file, and what its columns say about each row."""

from __future__ import annotations

import csv
import difflib
import io
import math
import re
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.checks import is_list
from stubsi.errors import FileError, StubsiError
from stubsi.files.opened_file import opened
from stubsi.margin.stub_arguments import ARGUMENTS
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import pandas as pd

OBJECTS = frozenset(("stackup", "padstack", "return_vias"))
"""Arguments of a stub that no cell can hold: they are given once, as keywords."""
KNOWN = tuple(sorted((ARGUMENTS | {"stub_length", "signal", "z0", "criterion", "entry", "exit"}) - OBJECTS))
"""Names of the columns that are read, each as the argument of ``check_stub`` of that name."""
PLAIN = ("entry", "exit", "signal", "criterion", "layer", "side", "feed", "dk_eff", "df")
"""Columns without a unit in their title. A signal says itself what it counts."""
SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab"}
LARGEST_FILE = 200_000_000
"""Largest file that is read [bytes]."""
ALIKE = 0.85
"""How alike a title may be to a known one [-] before it counts as misspelt."""
_TITLE = re.compile(r"\s*(.*?)\s*(?:(?:\[([^\[\]]*)\]|\(([^()]*)\))\s*)?", re.DOTALL)
"""Words, then perhaps a unit in square or round brackets."""


class Column(NamedTuple):
    """A column that is read: its title, and the unit that the title states; blank: each cell states its own."""

    title: str
    unit: str

    def value(self, cell: object) -> object:
        """What a cell says, as an argument of ``check_stub``; None where it is empty.

        Parameters
        ----------
        cell : object

        Returns
        -------
        object
        """
        if is_empty(cell):
            return None
        if not self.unit:
            return cell.strip() if isinstance(cell, str) else cell
        return f"{cell.strip() if isinstance(cell, str) else repr(_plain(cell))} {self.unit}"


def _plain(cell: object) -> object:
    """A number of numpy as one of Python."""
    return cell.item() if isinstance(cell, np.generic) else cell


def is_empty(cell: object) -> bool:
    """Whether a cell is empty: None, NaN, pandas' NA, blank text.

    Parameters
    ----------
    cell : object

    Returns
    -------
    bool
    """
    if cell is None or (isinstance(cell, str) and not cell.strip()):
        return True
    return (isinstance(cell, float) and math.isnan(cell)) or type(cell).__name__ in ("NAType", "NaTType")


def as_frame(table: object, separator: str | None) -> tuple[pd.DataFrame, list[str]]:
    """The table as a DataFrame: a copy that may be changed, with every row and column of the user; and names of rows.

    Parameters
    ----------
    table : DataFrame, list of mappings, or path of a CSV file
    separator : str or None
        Between the cells of a CSV file: comma, semicolon or tab; None: the one that its first line holds.

    Returns
    -------
    frame : DataFrame
    names : list of str
        What errors call each row: "row 2", or "nets.csv, line 3".

    Raises
    ------
    StubsiError, FileError
        It is no table, or the file cannot be read as one.
    """
    import pandas as pd

    if separator is not None and (not isinstance(separator, str) or separator not in SEPARATORS):
        raise StubsiError(f"separator = {as_shown(separator)}: must be ',' or ';' or a tab.")
    if isinstance(table, str | Path):
        return _from_csv(Path(table), separator)
    if separator is not None:
        raise StubsiError(f"separator = {as_shown(separator)}: belongs to a CSV file, and table is none.")
    rows = list(table) if is_list(table) and not isinstance(table, pd.DataFrame) else None
    if isinstance(table, pd.DataFrame):
        frame = table.copy()
    elif rows is not None and all(isinstance(row, Mapping) for row in rows):
        frame = pd.DataFrame([dict(row) for row in rows], dtype=object)  # whole numbers stay whole beside empty cells
    else:
        raise StubsiError(
            f"table = {as_shown(table)}: must be a DataFrame, a list of mappings, or the path of a CSV file."
        )
    wrong = [title for title in frame.columns if not isinstance(title, str)]
    if wrong:
        raise StubsiError(f"table: the title {as_shown(wrong[0])} is no text.")
    _refuse_twice(list(frame.columns), "table")
    return frame, [f"row {number}" for number in range(1, len(frame) + 1)]


def _from_csv(path: Path, separator: str | None) -> tuple[pd.DataFrame, list[str]]:
    """The rows of a CSV file as texts, each named by its line; an error where a row has too many or few cells."""
    import pandas as pd

    with opened(path) as file:
        content = file.read(LARGEST_FILE + 1)
    if len(content) > LARGEST_FILE:
        raise FileError(f"{path.name}: has more than {LARGEST_FILE} bytes.")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise FileError(f"{path.name}, line {line}: is not UTF-8; save the table as CSV in UTF-8.") from None
    rows = _rows(text, separator or _separator_of(text, path.name), path.name)
    titles = [title.strip() for title in rows[0][1]] if rows else []
    if not titles:
        raise FileError(f"{path.name}: is empty; its first line must hold the titles of the columns.")
    _refuse_twice(titles, path.name)
    uneven = [(line, len(cells)) for line, cells in rows[1:] if len(cells) != len(titles)]
    if uneven:
        line, count = uneven[0]
        raise FileError(
            f"{path.name}, line {line}: has {count} cells, and the titles are {len(titles)}; a comma decimal in a file "
            "separated by commas does that."
        )
    names = [f"{path.name}, line {line}" for line, _ in rows[1:]]
    return pd.DataFrame([cells for _, cells in rows[1:]], columns=titles, dtype=object), names


def _rows(text: str, separator: str, name: str) -> list[tuple[int, list[str]]]:
    """Lines with their numbers; blank lines and comment lines (#) are left out."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    rows = []
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells) and not cells[0].startswith("#"):
                rows.append((reader.line_num, cells))
    except csv.Error as error:
        raise FileError(f"{name}, line {reader.line_num}: {error}.") from None
    return rows


def _separator_of(text: str, name: str) -> str:
    """The one separator in the line of titles."""
    lines = (line for line in text.splitlines() if line.strip() and not line.startswith("#"))
    titles = re.sub(r'"[^"]*"', "", next(lines, ""))
    found = [separator for separator in SEPARATORS if separator in titles]
    if len(found) > 1:
        names = " and ".join(SEPARATORS[separator] for separator in found)
        raise FileError(f"{name}: its titles hold {names}; give separator.")
    return found[0] if found else ","


def _refuse_twice(titles: Sequence[str], name: str) -> None:
    twice = [title for title in titles if titles.count(title) > 1]
    if twice:
        raise StubsiError(f"{name}: has two columns {as_shown(twice[0])}.")


def columns_of(titles: Iterable[str]) -> dict[str, Column]:
    """The columns that are read, by the argument they stand for. All others are the user's own.

    Parameters
    ----------
    titles : iterable of str
        Such as "stub length [mil]", "Stub length (mm)", "z0", "Dk_eff".

    Returns
    -------
    dict
        Column by argument.

    Raises
    ------
    StubsiError
        Two columns stand for one argument; a unit where none belongs; a title that looks misspelt.
    """
    found: dict[str, Column] = {}
    for title in titles:
        match = _TITLE.fullmatch(title)
        words, *units = match.groups() if match else (title,)
        unit = next((each for each in units if each is not None), None)
        name = "_".join(re.split(r"[\s_-]+", words.lower()))
        if name not in KNOWN:
            near = difflib.get_close_matches(name, KNOWN, 1, ALIKE)
            if near:
                raise StubsiError(
                    f"column {as_shown(title)}: did you mean {near[0]}? Rename it, the one or the other way."
                )
            continue
        if name in found:
            raise StubsiError(f"columns {as_shown(found[name].title)} and {as_shown(title)}: both are {name}.")
        if unit is not None and name in PLAIN:
            raise StubsiError(f"column {as_shown(title)}: {name} has no unit in its title; write it in each cell.")
        found[name] = Column(title, (unit or "").strip())
    return found
