"""Owns the difference of two boards: which fields of which parts differ, and which parts are new or gone."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, NamedTuple

from stubsi.board.layers import DielectricLayer
from stubsi.board.names import how_many, shortened
from stubsi.board.net import Hole
from stubsi.board.padstack import Antipad, Padstack
from stubsi.board.signal import Signal
from stubsi.checks import one_line
from stubsi.value import SIField, Value

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    import pandas as pd

    from stubsi.board.board import Board

NONE = "none"
"""Text of a field without a value."""


class FieldChange(NamedTuple):
    """One field of one part of a board that differs between two boards.

    Parameters
    ----------
    part : str
        What it belongs to, like "net CLK", "hole U1.4", "padstack via", "layer L3" or "dielectric 1 below L3".
    field : str
        Name of the field; blank where the whole part is new or gone.
    before, after : str or None
        Its values as text with units; None where the part does not exist on that board.
    """

    part: str
    field: str
    before: str | None
    after: str | None

    def __str__(self) -> str:
        if self.before is None or self.after is None:
            return f"{self.part}: {'new' if self.before is None else 'gone'}"
        return one_line(f"{self.part} {self.field}: {self.before} -> {self.after}")

    def __repr__(self) -> str:
        return f"<FieldChange {shortened(self.part)}: {self.field or str(self).rsplit(': ', 1)[-1]}>"

    def _repr_html_(self) -> str:
        from stubsi.show.difference_table import board_difference_html

        return board_difference_html([self], [])


@dataclass(frozen=True, kw_only=True, repr=False)
class BoardDifference:
    """What differs between two boards. It is true where something does; iterate it for the changes.

    Parameters
    ----------
    before, after : Board
        The two boards.
    changes : tuple of FieldChange
        Every field that differs, and every part that is new or gone.
    """

    before: Board
    after: Board
    changes: tuple[FieldChange, ...]

    def __len__(self) -> int:
        return len(self.changes)

    def __iter__(self) -> Iterator[FieldChange]:
        return iter(self.changes)

    def to_frame(self) -> pd.DataFrame:
        """Table as a pandas DataFrame: a field in each row.

        Returns
        -------
        pandas.DataFrame
            Texts with units; None where the part does not exist on that board.
        """
        import pandas as pd

        return pd.DataFrame([tuple(change) for change in self.changes], columns=["part", "field", "before", "after"])

    def summary(self) -> str:
        """How much differs, in one line.

        Returns
        -------
        str
            One line.
        """
        parts = len({change.part for change in self.changes})
        fields_and_parts = f"{how_many(len(self.changes), 'difference')} in {how_many(parts, 'part')}"
        return f"Boards: {fields_and_parts}." if self.changes else "Boards: no difference."

    def __str__(self) -> str:
        from stubsi.show.difference_table import board_difference_text

        return board_difference_text(self.changes, [self.summary()])

    def _repr_html_(self) -> str:
        from stubsi.show.difference_table import board_difference_html

        return board_difference_html(self.changes, [self.summary()])

    def __repr__(self) -> str:
        return f"<BoardDifference: {how_many(len(self.changes), 'change')}>"


class _Field(NamedTuple):
    """Value of a field as it is compared, and as it is shown."""

    kept: object
    text: str


class _Part(NamedTuple):
    """A part of a board, and the names of its fields that are parts of their own."""

    value: Value
    without: tuple[str, ...] = ()

    def fields(self) -> dict[str, _Field]:
        """Its fields by name. A net has its holes by their names, and a hole its padstack."""
        return _fields(self.value, *self.without)


def board_difference(before: Board, after: Board) -> BoardDifference:
    """What differs between two boards.

    Parameters
    ----------
    before, after : Board
        The two boards.

    Returns
    -------
    BoardDifference
        Empty only if the boards are equal.
    """
    old, new = _parts(before), _parts(after)
    changes = [change for part in dict.fromkeys((*old, *new)) for change in _changes(part, old, new)]
    if _reordered([net.name for net in before.nets], [net.name for net in after.nets]):
        changes.append(FieldChange("board", "order of nets", "as it was", "changed"))
    if _reordered(before.stackup.names, after.stackup.names):
        changes.append(FieldChange("stackup", "order of copper layers", "as it was", "changed"))
    return BoardDifference(before=before, after=after, changes=tuple(changes))


def _changes(part: str, old: Mapping[str, _Part], new: Mapping[str, _Part]) -> Iterator[FieldChange]:
    if part not in old or part not in new:
        yield FieldChange(part, "", *("present" if part in each else None for each in (old, new)))
        return
    if old[part].value == new[part].value:
        return
    before, after = old[part].fields(), new[part].fields()
    for name, first in before.items():
        if first.kept != after[name].kept:
            yield FieldChange(part, name, first.text, after[name].text)


def _reordered(before: Sequence[str], after: Sequence[str]) -> bool:
    """Whether the names that are in both lists stand in another order."""
    first, second = set(before), set(after)
    return [name for name in before if name in second] != [name for name in after if name in first]


def _parts(board: Board) -> dict[str, _Part]:
    """Every part of a board, by its name."""
    parts = {"board": _Part(board, ("stackup", "nets")), "stackup": _Part(board.stackup, ("layers",))}
    above, count = "", 0
    for layer in board.stackup.layers:
        if isinstance(layer, DielectricLayer):
            count += 1
            parts[f"dielectric {count} below {above}"] = _Part(layer)
        else:
            above, count = layer.name, 0
            parts[f"layer {layer.name}"] = _Part(layer)
    for padstack in dict.fromkeys(hole.padstack for net in board.nets for hole in net.holes):
        parts[f"padstack {padstack.name}"] = _Part(padstack)
    for net in board.nets:
        parts[f"net {net.name}"] = _Part(net)
        parts |= {f"hole {hole.name}": _Part(hole) for hole in net.holes}
    return parts


def _fields(value: Value, *without: str) -> dict[str, _Field]:
    """The fields of a value that users give, by name."""
    shown = {}
    for item in fields(value):
        declared = type(value).__dict__.get(item.name)
        if item.name in without or not item.init:
            continue
        if isinstance(declared, SIField):
            kept = value.__dict__[declared.si_name]
            shown[item.name] = _Field(kept, _without_quotes(declared.text(kept)))
        else:
            kept = _by_name(getattr(value, item.name))
            shown[item.name] = _Field(kept, _text(kept))
    return shown


def _by_name(kept: object) -> object:
    """Names in the place of padstacks and holes: these are parts of their own."""
    if isinstance(kept, Padstack):
        return kept.name
    if isinstance(kept, tuple) and kept and all(isinstance(item, Hole) for item in kept):
        return tuple(item.name for item in kept)
    return kept


def _without_quotes(code: str) -> str:
    return NONE if code in ("None", "{}", "[]") else code.replace("'", "").strip("{}")


def _text(value: object) -> str:
    """A value as text, with everything that can differ."""
    if value is None or value in ((), ""):
        return NONE
    if isinstance(value, Antipad):
        width = _fields(value)["width"].text
        return f"slot {width}" if value.shared else width
    if isinstance(value, Signal):
        return str(value)
    if isinstance(value, Value):
        return ", ".join(f"{name} {each.text}" for name, each in _fields(value).items())
    if isinstance(value, tuple):
        pairs = all(isinstance(item, tuple) for item in value)
        return ", ".join(": ".join(map(_text, item)) if pairs else _text(item) for item in value)
    return str(value)
