"""Owns the check of the tables of a file: unknown keys, missing keys and types of values.

This module knows nothing of boards. Every error is a FileError that begins with the place: file, table, name.
"""

from __future__ import annotations

import difflib
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple, TypeVar

from stubsi.errors import FileError, StubsiError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping

    from stubsi.files.toml_text import Table

Part = TypeVar("Part")


class KeyType(NamedTuple):
    """What the value of a key must be: a test, and the text of what is wanted ({key} stands for the key's name)."""

    holds: Callable[[object], bool]
    wanted: str


def _is_text(value: object) -> bool:
    return isinstance(value, str) and bool(value.strip())


def _is_text_or_blank(value: object) -> bool:
    return isinstance(value, str) and (bool(value.strip()) or not value)


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _is_texts(value: object) -> bool:
    return isinstance(value, list) and all(map(_is_text, value))


def _is_position(value: object) -> bool:
    return isinstance(value, list) and len(value) == 2 and _is_texts(value)


def _is_positions(value: object) -> bool:
    return isinstance(value, list) and bool(value) and all(map(_is_position, value))


def _is_table(value: object) -> bool:
    return isinstance(value, dict)


def _is_tables(value: object) -> bool:
    return isinstance(value, list) and all(map(_is_table, value))


TEXT = KeyType(_is_text, "must be text in quotes, not blank")
TEXT_OR_BLANK = KeyType(_is_text_or_blank, 'must be text in quotes, or {key} = "" where it is not stated')
TRUE = KeyType(lambda value: value is True, "must be true, without quotes, or be left out")
NUMBER = KeyType(_is_number, "must be a plain number, without quotes or unit")
LENGTH = KeyType(_is_text, 'must be a length with its unit, in quotes: {key} = "0.25 mm" or "10 mil"')
FREQUENCY = KeyType(_is_text, 'must be a frequency with its unit, in quotes: {key} = "10 GHz"')
IMPEDANCE = KeyType(_is_text, 'must be an impedance with its unit, in quotes: {key} = "50 ohm"')
RATE = KeyType(_is_text, 'must be a line rate in quotes: {key} = "25.78125 Gb/s", "112 Gb/s PAM4" or "PCIe 5.0"')
NAMES = KeyType(_is_texts, 'must be a list of names: {key} = ["L1", "L3"]')
POSITION = KeyType(_is_position, 'must be x and y with their units: {key} = ["12.5 mm", "30 mm"]')
POSITIONS = KeyType(
    _is_positions,
    'must be a list of x and y with their units: {key} = [["1 mm", "2 mm"], ["1 mm", "3 mm"]]',
)
CLEARANCE = KeyType(
    lambda value: _is_text(value) or _is_table(value),
    'must be a length with its unit, {key} = "0.8 mm", or one slot for a pair, {key} = {{slot = "0.8 mm"}}',
)
TABLE = KeyType(_is_table, "must be one table, [{key}]")
TABLES = KeyType(_is_tables, "must be tables with two brackets, [[{key}]]")
INLINE_TABLES = KeyType(_is_tables, 'must be a list of tables: {key} = [ {{name = "U1.A4", ...}}, ... ]')


@dataclass(frozen=True, kw_only=True)
class Schema:
    """The keys that a table must hold and the keys that it may hold, each with the type of its value.

    Parameters
    ----------
    must : mapping of key to KeyType
        Keys that must be given.
    may : mapping of key to KeyType
        Keys that may be left out.
    """

    must: Mapping[str, KeyType] = field(default_factory=dict)
    may: Mapping[str, KeyType] = field(default_factory=dict)

    def check(self, table: Table, place: str) -> None:
        """Refuse a table with a key that is unknown, missing, or of the wrong type.

        Parameters
        ----------
        table : dict
            The parsed table.
        place : str
            Where it stands in the file, for the error text.

        Raises
        ------
        FileError
            The error text names the place, the key and what is wanted. For an unknown key it names the nearest known
            one.
        """
        for key, value in table.items():
            wanted = self.must.get(key) or self.may.get(key)
            if wanted is None:
                raise FileError(f"{place}: unknown key {as_written(key)}; {hint(key, (*self.must, *self.may))}.")
            if not wanted.holds(value):
                raise FileError(f"{place} {key} = {as_written(value)}: {wanted.wanted.format(key=key)}.")
        for key, wanted in self.must.items():
            if key not in table:
                raise FileError(f"{place}: {key} is missing; it {wanted.wanted.format(key=key)}.")


def hint(word: str, known: Iterable[str]) -> str:
    """Hint for a word that is not known, as the end of an error text.

    Parameters
    ----------
    word : str
        The word.
    known : iterable of str
        The known words.

    Returns
    -------
    str
        The nearest known word, or all of them.
    """
    folded = {name.casefold(): name for name in known}
    close = difflib.get_close_matches(word.casefold(), folded, 1, 0.5)
    if close:
        return f"did you mean '{folded[close[0]]}'"
    return f"known are {', '.join(folded.values())}" if folded else "none is given in the file"


def look_up(name: str, known: Mapping[str, Part], place: str, what: str) -> Part:
    """Look up a part of the file that is named in another part.

    Parameters
    ----------
    name : str
        Name of the part.
    known : mapping of name to part
        Parts that the file defines.
    place, what : str
        Where the name stands and what it names, for the error text.

    Returns
    -------
    Value of ``known`` under ``name``.

    Raises
    ------
    FileError
        There is no such part. The error text gives the nearest name.
    """
    if name not in known:
        raise FileError(f"{place} = {as_written(name)}: no such {what}; {hint(name, known)}.")
    return known[name]


def as_written(value: object) -> str:
    """Show a value as it would be written in the file.

    Parameters
    ----------
    value : object
        Value of a key.

    Returns
    -------
    str
        Text of at most 60 characters.
    """
    try:
        text = {True: "true", False: "false"}[value] if isinstance(value, bool) else repr(value)
    except (ValueError, RecursionError):  # a number with too many digits, or a list that is nested too deeply
        return f"<{type(value).__name__}>"
    return text if len(text) <= 60 else text[:57] + "..."


def with_places(tables: Iterable[Table], place: str) -> Iterator[tuple[str, Table]]:
    """Give each table together with its place. The place ends in the table's name, or in its number if it has no name.

    Parameters
    ----------
    tables : iterable of dict
        Tables of one key.
    place : str
        Place of that key.

    Yields
    ------
    tuple
        Place and table.
    """
    for number, table in enumerate(tables, 1):
        name = table.get("name")
        yield (f"{place} {as_written(name)}" if _is_text(name) else f"{place} number {number}"), table


@contextmanager
def errors_at(place: str) -> Iterator[None]:
    """Put the place in the file before the text of any error that is raised inside this context.

    Parameters
    ----------
    place : str
        File, table and name.
    """
    try:
        yield
    except FileError:
        raise
    except StubsiError as error:
        raise FileError(f"{place}: {error}") from error
