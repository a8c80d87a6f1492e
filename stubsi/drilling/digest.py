"""Owns the digest of a plan: what it was computed from, part by part, so that a later change can be named."""

from __future__ import annotations

import hashlib
from dataclasses import fields, is_dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterable

    from stubsi.board.board import Board
    from stubsi.drilling.limits import Model
    from stubsi.drilling.rules import Costs, FabricatorRules


class Match(NamedTuple):
    """Whether a plan still holds: true only if nothing it was computed from has changed."""

    changed: tuple[str, ...]

    def __bool__(self) -> bool:
        return not self.changed

    def __str__(self) -> str:
        return "the plan holds" if self else "changed since the plan: " + ", ".join(self.changed)


def digest(parts: dict[str, str]) -> str:
    """One digest of all parts, of 16 hexadecimal digits."""
    return _hash(f"{name}={value}" for name, value in sorted(parts.items()))[:16]


def parts_of(board: Board, rules: FabricatorRules, costs: Costs, model: Model) -> dict[str, str]:
    """Digest of everything a plan is computed from, by name: stackup, every rule, every net, costs, model."""
    writer = _Writer()
    parts = {
        "stackup": writer.text(board.stackup),
        "criterion": writer.text((board.criterion, board.signal_criteria)),
        "costs": writer.text(costs),
        "model": writer.text(tuple(model)),
        **{f"rule {f.name}": writer.text(_value(rules, f.name)) for f in fields(rules)},
        **{f"net {net.name}": writer.text(net) for net in board.nets},
    }
    return {name: _hash((text,)) for name, text in parts.items()}


def compare(before: dict[str, str], now: dict[str, str]) -> Match:
    """Names of the parts that differ, were added or are gone, in order."""
    names = dict.fromkeys((*before, *now))
    return Match(tuple(name for name in names if before.get(name) != now.get(name)))


def _hash(texts: Iterable[str]) -> str:
    found = hashlib.sha256()
    for text in texts:
        found.update(text.encode())
        found.update(b"\0")
    return found.hexdigest()


def _value(value: Any, name: str) -> Any:
    own = value.__dict__
    return own[name] if name in own else own[f"{name}_si"]


class _Writer:
    """Writes values out in full, each object once."""

    def __init__(self) -> None:
        self.written: dict[int, str] = {}

    def text(self, value: Any) -> str:
        if is_dataclass(value):
            if id(value) not in self.written:
                inside = ",".join(f"{f.name}={self.text(_value(value, f.name))}" for f in fields(value))
                self.written[id(value)] = f"{type(value).__name__}({inside})"
            return self.written[id(value)]
        if isinstance(value, tuple):
            return "(" + ",".join(map(self.text, value)) + ")"
        return value.hex() if isinstance(value, float) else repr(value)
