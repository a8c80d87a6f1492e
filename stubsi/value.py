"""Owns what every frozen value object shares: comparison, hash and print by its fields, in plain units."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields
from typing import Any

from stubsi.errors import BoardError
from stubsi.units import Dimension, show


class Value:
    """Base of the frozen keyword-only dataclasses; two are equal if their fields are, whatever unit they came in."""

    def _key(self) -> tuple[Any, ...]:
        own = self.__dict__
        return tuple(own[f.name] if f.name in own else own[f.name + "_si"] for f in fields(self))  # type: ignore[arg-type]

    def __eq__(self, other: object) -> bool:
        return type(self) is type(other) and self._key() == other._key()  # type: ignore[attr-defined]

    def __hash__(self) -> int:
        return hash((type(self), self._key()))

    def __repr__(self) -> str:
        shown = []
        for f in fields(self):  # type: ignore[arg-type]
            dimension = type(self).__dict__.get(f.name)
            if isinstance(dimension, Dimension):
                si = self.__dict__[f.name + "_si"]
                shown.append(f"{f.name}=" + (f"'{show(si, dimension.kind, 14)}'" if si is not None else "None"))
            elif f.repr:
                shown.append(f"{f.name}={getattr(self, f.name)!r}")
        return f"{type(self).__name__}({', '.join(shown)})"


def sequence(value: Any, what: str, of: type = str) -> tuple[Any, ...]:
    """Take a list as a tuple; BoardError unless it is a list and every item an ``of`` (and, if text, not blank)."""
    if isinstance(value, (str, Mapping)) or not isinstance(value, Iterable):
        raise BoardError(f"{what} = {value!r}: must be a list of {'names' if of is str else of.__name__ + 's'}.")
    items = tuple(value)
    for item in items:
        checked(item, what, of)
    return items


def pairs(value: Any, what: str) -> tuple[tuple[Any, Any], ...]:
    """Take a mapping, or a list of pairs, as pairs; BoardError if it is neither."""
    items = tuple(value.items()) if isinstance(value, Mapping) else sequence(value, what, tuple)
    if any(len(item) != 2 for item in items):
        raise BoardError(f"{what} = {value!r}: must be a mapping.")
    return items


def checked(value: Any, what: str, of: type = str) -> Any:
    """Return ``value``; BoardError unless it is an ``of`` (and, if text, not blank)."""
    if not isinstance(value, of) or value == "" or (of is str and not value.strip()):
        wanted = {str: "a text that is not blank", bool: "True or False"}.get(of, f"a {of.__name__}")
        raise BoardError(f"{what} = {value!r}: must be {wanted}.")
    return value
