"""Owns the digest of a plan: a hash of each part it was computed from, which shows the parts that changed later."""

from __future__ import annotations

import hashlib
from dataclasses import fields
from typing import TYPE_CHECKING, NamedTuple

from stubsi.board.names import how_many
from stubsi.board.net import Hole
from stubsi.board.padstack import Padstack
from stubsi.drilling.goal import LEAST_COST
from stubsi.drilling.rules import FabricatorRules
from stubsi.units import show
from stubsi.value import Value

if TYPE_CHECKING:
    from collections.abc import Iterable

    from stubsi.board.board import Board
    from stubsi.drilling.budget_end import BudgetAt
    from stubsi.drilling.costs import Costs
    from stubsi.drilling.goal import Goal
    from stubsi.drilling.miss import MissedNets
    from stubsi.stubs.model_choice import ModelChoice


ADDED_LATER: dict[type[Value], dict[str, object]] = {
    Hole: {"feed": "", "traces": ""},
    FabricatorRules: {"hole_clearance": None, "fill_dk": 1.0},
}
"""Fields that plans did not have when the first schedules were exported, each with its value where it is not given.
They are written only where they are given."""


class Match(NamedTuple):
    """Whether a plan still holds. It is true only if nothing has changed from which the plan was computed.

    Parameters
    ----------
    changed : tuple of str
        Names of the parts that have changed.
    """

    changed: tuple[str, ...]

    def __bool__(self) -> bool:
        return not self.changed

    def __str__(self) -> str:
        return "the plan holds" if self else "changed since the plan: " + ", ".join(self.changed)

    def __repr__(self) -> str:
        return f"<Match: {how_many(len(self.changed), 'part')} changed>"

    def _repr_html_(self) -> str:
        from stubsi.show.parts_html import match_html

        return match_html(self)


def digest(parts: dict[str, str]) -> str:
    """One digest of all parts, with 16 hexadecimal digits.

    Parameters
    ----------
    parts : dict[str, str]
        Digest of each part, by its name.

    Returns
    -------
    str
        Text of 16 digits.
    """
    return _hash(f"{name}={value}" for name, value in sorted(parts.items()))[:16]


def parts_of(
    board: Board,
    rules: FabricatorRules,
    costs: Costs,
    model: ModelChoice,
    missed_nets: MissedNets,
    *,
    goal: Goal,
    budget_at: BudgetAt,
) -> dict[str, str]:
    """Digest of everything from which a plan is computed, by name: stackup, every rule, every net, costs, model ...

    Parameters
    ----------
    board : Board
        The board.
    rules : FabricatorRules
        Rules of the fabricator.
    costs : Costs
        What the user pays.
    model : ModelChoice
        Electrical model of the stubs.
    missed_nets : str
        What is done to nets that miss their criterion. "stub by stub" is not written: plans were made so before.
    goal : Goal
        What the plan was made for. The least cost is not written: all plans were made for it before.
    budget_at : str
        At which depth stubs keep their budget. The worst tolerance is not written: all plans were made for it before.

    Returns
    -------
    dict[str, str]
        Digest of each part, by its name.
    """
    writer = _Writer()
    parts = {
        "stackup": writer.text(board.stackup),
        "criterion": writer.text((board.criterion, board.signal_criteria)),
        "costs": writer.text(costs),
        "model": writer.text((model.name, model.dk_eff, model.delay_si)),
        **({} if missed_nets == "stub by stub" else {"missed nets": writer.text(missed_nets)}),
        **({} if goal == LEAST_COST else {"goal": writer.text(str(goal))}),
        **({} if budget_at == "worst" else {"budget at": writer.text(budget_at)}),
        **{f"rule {name}": writer.text(value) for name, value in written_fields(rules).items()},
        **{f"net {net.name}": writer.text(net) for net in board.nets},
    }
    return {name: _hash((text,)) for name, text in parts.items()}


def compare(before: dict[str, str], now: dict[str, str]) -> Match:
    """Names of the parts that differ, are new or are missing, in their order.

    Parameters
    ----------
    before : dict[str, str]
        Digests of the parts when the plan was made.
    now : dict[str, str]
        Digests of the same parts now.

    Returns
    -------
    Match
        What has changed.
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
    """Writes values as text with all their fields. Each different value is written once and then remembered."""

    def __init__(self) -> None:
        self.written: dict[tuple[object, ...], str] = {}

    def text(self, value: object) -> str:
        """A value as text. Different values have different texts."""
        if isinstance(value, Value):
            field_values = written_fields(value)
            key = (type(value), *field_values.values())
            if key not in self.written:
                inside = ",".join(f"{name}={self.text(item)}" for name, item in field_values.items())
                self.written[key] = f"{type(value).__name__}({inside})"
            return self.written[key]
        if isinstance(value, tuple):
            return "(" + ",".join(map(self.text, value)) + ")"
        return value.hex() if isinstance(value, float) else repr(str(value) if isinstance(value, str) else value)


def written_fields(value: Value) -> dict[str, object]:
    """Fields of a value by name, as they are written; a dimensioned field as its float in SI units.

    These names and forms must never change, so that a schedule that was exported earlier can still be compared. This is
    also why pads that differ from layer to layer are written as text.

    Parameters
    ----------
    value : Value
        Any value object.

    Returns
    -------
    dict[str, object]
        What is written, by the name of the field.
    """
    kept, names = value.__dict__, [item.name for item in fields(value)]
    si_names = {f"{name}_si" for name in names}
    written = {name: kept[name if name in kept else f"{name}_si"] for name in names if name not in si_names}
    for name, not_given in ADDED_LATER.get(type(value), {}).items():
        if written[name] == not_given:
            del written[name]
    if isinstance(value, Padstack):
        written["pads"] = tuple(
            (layer, None if pad is None else show(pad, "length", 14)) for layer, pad in value.pads_si
        )
    return written
