"""Owns what every frozen value object shares: comparison, hash and print by its fields, in plain units."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

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
