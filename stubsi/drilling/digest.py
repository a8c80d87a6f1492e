"""Owns the digest of a plan: what it was computed from, part by part, so that a later change can be named."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, NamedTuple

from stubsi.value import Value, kept_names

if TYPE_CHECKING:
    from collections.abc import Iterable

    from stubsi.board.board import Board
    from stubsi.drilling.costs import Costs
    from stubsi.drilling.rules import FabricatorRules
    from stubsi.stubs.model_choice import ModelChoice


class Match(NamedTuple):
    """Whether a plan still holds: true only if nothing it was computed from has changed.

    ``changed`` names the parts that have.
    """

    changed: tuple[str, ...]

    def __bool__(self) -> bool:
        return not self.changed

    def __str__(self) -> str:
        return "the plan holds" if self else "changed since the plan: " + ", ".join(self.changed)


def digest(parts: dict[str, str]) -> str:
    """One digest of all parts, with 16 hexadecimal digits.

    Parameters
    ----------
    parts : dict[str, str]
        Digest of each part, by its name.

    Returns
    -------
    str
    """
    return _hash(f"{name}={value}" for name, value in sorted(parts.items()))[:16]


def parts_of(board: Board, rules: FabricatorRules, costs: Costs, model: ModelChoice) -> dict[str, str]:
    """Digest of everything a plan is computed from, by name: stackup, every rule, every net, costs, model.

    Parameters
    ----------
    board : Board
    rules : FabricatorRules
    costs : Costs
    model : ModelChoice
        Electrical model of the stubs.

    Returns
    -------
    dict[str, str]
    """
    writer = _Writer()
    parts = {
        "stackup": writer.text(board.stackup),
        "criterion": writer.text((board.criterion, board.signal_criteria)),
        "costs": writer.text(costs),
        "model": writer.text((model.name, model.dk_eff, model.delay_si)),
        **{f"rule {name.removesuffix('_si')}": writer.text(rules.__dict__[name]) for name in kept_names(type(rules))},
        **{f"net {net.name}": writer.text(net) for net in board.nets},
    }
    return {name: _hash((text,)) for name, text in parts.items()}


def compare(before: dict[str, str], now: dict[str, str]) -> Match:
    """Names of the parts that differ, are new or are gone, in their order.

    Parameters
    ----------
    before : dict[str, str]
        Digests of the parts when the plan was made.
    now : dict[str, str]
        Digests of the same parts now.

    Returns
    -------
    Match
    """
    names = dict.fromkeys((*before, *now))
    return Match(tuple(name for name in names if before.get(name) != now.get(name)))


def _hash(texts: Iterable[str]) -> str:
    sha = hashlib.sha256()
    for text in texts:
        sha.update(text.encode())
        sha.update(b"\0")
    return sha.hexdigest()


class _Writer:
    """Writes values out in full, equal ones once."""

    def __init__(self) -> None:
        self.written: dict[Value, str] = {}

    def text(self, value: object) -> str:
        """A value as text that differs wherever the value does."""
        if isinstance(value, Value):
            if value not in self.written:
                inside = ",".join(f"{name}={self.text(value.__dict__[name])}" for name in kept_names(type(value)))
                self.written[value] = f"{type(value).__name__}({inside})"
            return self.written[value]
        if isinstance(value, tuple):
            return "(" + ",".join(map(self.text, value)) + ")"
        return value.hex() if isinstance(value, float) else repr(value)
