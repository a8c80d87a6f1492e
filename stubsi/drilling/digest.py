"""Owns the digest of a plan: what it was computed from, part by part, so that a later change can be named."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Any, NamedTuple

from stubsi.value import Value, kept_names

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
        **{f"rule {name.removesuffix('_si')}": writer.text(rules.__dict__[name]) for name in kept_names(type(rules))},
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


class _Writer:
    """Writes values out in full, each object once."""

    def __init__(self) -> None:
        self.written: dict[int, str] = {}

    def text(self, value: Any) -> str:
        if isinstance(value, Value):
            if id(value) not in self.written:
                inside = ",".join(f"{name}={self.text(value.__dict__[name])}" for name in kept_names(type(value)))
                self.written[id(value)] = f"{type(value).__name__}({inside})"
            return self.written[id(value)]
        if isinstance(value, tuple):
            return "(" + ",".join(map(self.text, value)) + ")"
        return value.hex() if isinstance(value, float) else repr(value)
