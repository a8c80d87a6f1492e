"""Owns the check of a file's tables against what they may hold: unknown keys, missing keys, types, and the place.

Knows nothing of boards. Every error is a FileError that begins with the place: file, table, name.
"""

from __future__ import annotations

import difflib
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NamedTuple

from stubsi.errors import FileError, StubsiError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping


class Kind(NamedTuple):
    """What the value of a key must be: a test, and the wording of what is wanted ({key} is the key's name)."""

    holds: Callable[[Any], bool]
    wanted: str


def _is_text(value: Any) -> bool:
    return isinstance(value, str) and bool(value.strip())


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _is_texts(value: Any) -> bool:
    return isinstance(value, list) and all(map(_is_text, value))


def _is_place(value: Any) -> bool:
    return _is_texts(value) and len(value) == 2


def _is_table(value: Any) -> bool:
    return isinstance(value, dict)


def _is_tables(value: Any) -> bool:
    return isinstance(value, list) and all(map(_is_table, value))


TEXT = Kind(_is_text, "must be text in quotes, not blank")
NUMBER = Kind(_is_number, "must be a plain number, without quotes or unit")
LENGTH = Kind(_is_text, 'must be a length with its unit, in quotes: {key} = "0.25 mm" or "10 mil"')
FREQUENCY = Kind(_is_text, 'must be a frequency with its unit, in quotes: {key} = "10 GHz"')
IMPEDANCE = Kind(_is_text, 'must be an impedance with its unit, in quotes: {key} = "50 ohm"')
RATE = Kind(_is_text, 'must be a line rate in quotes: {key} = "25.78125 Gb/s", "112 Gb/s PAM4" or "PCIe 5.0"')
NAMES = Kind(_is_texts, 'must be a list of names: {key} = ["L1", "L3"]')
PLACE = Kind(_is_place, 'must be x and y with their units: {key} = ["12.5 mm", "30 mm"]')
PLACES = Kind(
    lambda value: isinstance(value, list) and bool(value) and all(map(_is_place, value)),
    'must be a list of x and y with their units: {key} = [["1 mm", "2 mm"], ["1 mm", "3 mm"]]',
)
CLEARANCE = Kind(
    lambda value: _is_text(value) or _is_table(value),
    'must be a length with its unit, {key} = "0.8 mm", or one slot for a pair, {key} = {{slot = "0.8 mm"}}',
)
TABLE = Kind(_is_table, "must be one table, [{key}]")
TABLES = Kind(_is_tables, "must be tables with two brackets, [[{key}]]")
INLINE_TABLES = Kind(_is_tables, 'must be a list of tables: {key} = [ {{name = "U1.A4", ...}}, ... ]')


@dataclass(frozen=True, kw_only=True)
class Schema:
    """The keys a table must hold and those it may hold besides, each with its kind."""

    must: Mapping[str, Kind] = field(default_factory=dict)
    may: Mapping[str, Kind] = field(default_factory=dict)

    def check(self, table: Mapping[str, Any], where: str) -> None:
        """Raise FileError for a key that is unknown (naming the nearest), missing, or of the wrong type."""
        known = {**self.must, **self.may}
        for key, value in table.items():
            if key not in known:
                raise FileError(f"{where}: unknown key '{key}'; {near(key, known)}.")
            if not known[key].holds(value):
                raise FileError(f"{where} {key} = {written(value)}: {known[key].wanted.format(key=key)}.")
        for key, kind in self.must.items():
            if key not in table:
                raise FileError(f"{where}: {key} is missing; it {kind.wanted.format(key=key)}.")


def near(word: str, known: Iterable[str]) -> str:
    """Hint for a word that is not known: the nearest known one, or all of them."""
    names = list(known)
    folded = {name.casefold(): name for name in names}
    close = difflib.get_close_matches(word.casefold(), folded, 1, 0.5)
    if close:
        return f"did you mean '{folded[close[0]]}'?"
    return f"known are {', '.join(names)}" if names else "none is given in the file"


def look_up(name: str, known: Mapping[str, Any], where: str, what: str) -> Any:
    """Value of ``known`` under ``name``; FileError at ``where`` with the nearest name if there is none."""
    if name not in known:
        raise FileError(f"{where} = '{name}': no such {what}; {near(name, known)}.")
    return known[name]


def written(value: Any) -> str:
    """A value as it may stand in the file, cut to a readable length."""
    text = {True: "true", False: "false"}[value] if isinstance(value, bool) else repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def named(tables: Iterable[Mapping[str, Any]], where: str) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """Each table with its place: its name where it has one, else its number from 1."""
    for number, table in enumerate(tables, 1):
        name = table.get("name")
        yield (f"{where} '{name}'" if _is_text(name) else f"{where} number {number}"), table


@contextmanager
def located(where: str) -> Iterator[None]:
    """Give an error of the library that is raised inside the place it belongs to."""
    try:
        yield
    except FileError:
        raise
    except StubsiError as error:
        raise FileError(f"{where}: {error}") from error
