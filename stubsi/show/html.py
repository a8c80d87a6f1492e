"""Owns the HTML of results that are no table of nets: board, hole, check, budget, reroutes, effects, questions."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import fields
from typing import TYPE_CHECKING

import numpy as np

from stubsi.board.layers import CopperLayer
from stubsi.show.notebook import framed
from stubsi.show.tables import Column, as_html, pairs_html
from stubsi.show.text_lines import CAUTION
from stubsi.units import show
from stubsi.value import SIField

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stubsi.board.board import Board
    from stubsi.board.layers import DielectricLayer
    from stubsi.board.stackup import Stackup
    from stubsi.drilling.effects import Effect, Effects
    from stubsi.drilling.near_holes import NearHole
    from stubsi.drilling.questions import Question, Questions
    from stubsi.drilling.reroute import Reroutes
    from stubsi.margin.budget import Budget, Check
    from stubsi.provenance import Provenance
    from stubsi.stubs.hole_model import HoleModel
    from stubsi.stubs.hole_stub import HoleStub
    from stubsi.unit_names import Kind
    from stubsi.value import Value

    Layer = CopperLayer | DielectricLayer

MOST_ITEMS = 8
"""Most items of a list that a cell shows."""

_LAYER_COLUMNS: tuple[Column[Layer], ...] = (
    Column("layer", lambda layer: layer.name if isinstance(layer, CopperLayer) else layer.material),
    Column("role", lambda layer: layer.role if isinstance(layer, CopperLayer) else "dielectric"),
    Column("thickness", lambda layer: show(layer.thickness_si, "length"), align="right"),
    Column("Dk", lambda layer: "" if isinstance(layer, CopperLayer) else _number(layer.dk), align="right"),
    Column("loss tangent", lambda layer: "" if isinstance(layer, CopperLayer) else _number(layer.df), align="right"),
)

_SIGNAL_COLUMNS: tuple[Column[tuple[str, int]], ...] = (
    Column("signal", lambda row: row[0]),
    Column("nets", lambda row: str(row[1]), align="right"),
)


def _notch(stub: HoleStub) -> str:
    """First notch; a range where an input is unknown."""
    low, high = stub.models.first_notch[:, 0].tolist()
    if math.isinf(high):
        return f"none below {show(low, 'frequency')}"
    return " to ".join(dict.fromkeys(show(end, "frequency") for end in (low, high)))


LINE = "50 ohm"
"""Impedance of the line for the 1 dB frequency of the stubs of a hole; a hole model knows none."""


def _one_db(stub: HoleStub) -> str:
    """1 dB frequency, or both ends of its range."""
    ends = np.ravel(stub.one_db_frequency(z0=LINE).m_as("Hz")).tolist()
    shown = [show(end, "frequency") if math.isfinite(end) else "none" for end in ends if not math.isnan(end)]
    return " to ".join(shown) or "unknown"


_STUB_COLUMNS: tuple[Column[HoleStub], ...] = (
    Column("side", lambda stub: stub.side),
    Column("stub", lambda stub: str(stub.distance)),
    Column("first notch", _notch),
    Column(f"1 dB in {LINE}", _one_db),
    Column("model", lambda stub: str(stub.provenance)),
)

_MOVE_COLUMNS: tuple[Column[tuple[str, str, str]], ...] = (
    Column("group", lambda row: row[0], align="right"),
    Column("held open by, or refused", lambda row: row[1]),
    Column("move and what it does", lambda row: row[2]),
)


_EFFECT_COLUMNS: tuple[Column[Effect], ...] = (
    Column("padstack", lambda effect: effect.padstack.name),
    Column("drilled from", lambda effect: effect.side),
    Column("layers", lambda effect: ", ".join(effect.layers)),
    Column("effect", lambda effect: effect.kind),
    Column("drawn", lambda effect: _length(effect.drawn), unit="mm", align="right"),
    Column("needed", lambda effect: _length(effect.needed), unit="mm", align="right"),
    Column("too small", lambda effect: {True: "yes", False: "", None: "cannot be judged"}[effect.short]),
)

_NEAR_COLUMNS: tuple[Column[NearHole], ...] = (
    Column("hole", lambda near: near.hole),
    Column("net", lambda near: near.net),
    Column("drilled from", lambda near: near.side),
    Column("neighbour", lambda near: near.neighbour),
    Column("its net", lambda near: near.neighbour_net),
    Column("its wall", lambda near: "bore" if near.drilled else "barrel"),
    Column("distance", lambda near: _length(near.distance_si), unit="mm", align="right"),
    Column("needed", lambda near: _length(near.needed_si), unit="mm", align="right"),
    Column("too near", lambda near: "yes" if near.too_near else "cannot be judged"),
)

_QUESTION_COLUMNS: tuple[Column[Question], ...] = (
    Column("unknown input", lambda question: question.unknown),
    Column("verdicts that can change", lambda question: question.verdicts, align="right"),
)


def board_html(board: Board) -> str:
    """Board in short: its counts, the stackup from the top, and the number of nets of each signal.

    Parameters
    ----------
    board : Board

    Returns
    -------
    str
    """
    holes = sum(len(net.holes) for net in board.nets)
    reference = len(board.nets) - len(board.signal_nets)
    head = [
        f"Board {board.name}: {len(board.signal_nets)} signal nets, {reference} reference nets, {holes} holes",
        f"Criterion: {board.criterion}",
    ]
    signals = Counter(str(net.signal) for net in board.signal_nets).most_common()
    tables = as_html(_LAYER_COLUMNS, board.stackup.layers, head=head) + as_html(_SIGNAL_COLUMNS, signals)
    return framed(tables)


def hole_html(hole: HoleModel) -> str:
    """Model of a hole: its stubs, each with its length, its first notch, its 1 dB frequency and where they come from.

    Parameters
    ----------
    hole : HoleModel

    Returns
    -------
    str
    """
    return framed(as_html(_STUB_COLUMNS, hole.stubs, head=[f"Hole {hole.name}"], foot=[CAUTION]))


def check_html(check: Check) -> str:
    """Check of one stub, figure by figure.

    Parameters
    ----------
    check : Check

    Returns
    -------
    str
    """
    figures = (
        ("first notch", None if check.first_notch_si is None else show(check.first_notch_si, "frequency")),
        ("1 dB frequency", None if check.one_db_si is None else show(check.one_db_si, "frequency")),
        ("loss at Nyquist", _decibels(check.loss)),
        ("greatest loss up to Nyquist", _decibels(check.greatest_loss)),
        ("return loss at Nyquist", _decibels(check.return_loss)),
        ("least return loss up to Nyquist", _decibels(check.least_return_loss)),
    )
    return _pairs_html(
        ("verdict", str(check.verdict)),
        ("reason", check.reason),
        ("stub", show(check.stub_length_si, "length")),
        ("signal", str(check.signal)),
        *((name, text) for name, text in figures if text is not None),
        ("criterion", str(check.criterion)),
        ("model", check.model),
    )


def budget_html(budget: Budget) -> str:
    """Budget of one stub, figure by figure.

    Parameters
    ----------
    budget : Budget

    Returns
    -------
    str
    """
    longest = "any stub that fits, up to" if budget.unlimited else "longest stub"
    end = f", {budget.ends_at}" if budget.ends_at else ""
    return _pairs_html(
        (longest, show(budget.stub_length_si, "length") + end),
        ("proven", show(budget.proven_length_si, "length")),
        ("first notch", _frequency(budget.first_notch_si)),
        ("1 dB frequency", _frequency(budget.one_db_si)),
        ("signal", str(budget.signal)),
        ("criterion", str(budget.criterion)),
        ("model", budget.model),
    )


def _frequency(value: float | None) -> str:
    return "unknown" if value is None else show(value, "frequency")


def reroutes_html(reroutes: Reroutes) -> str:
    """Which nets keep each drill group necessary or have a refused stub, where they could move, and the best moves.

    Parameters
    ----------
    reroutes : Reroutes

    Returns
    -------
    str
    """
    rows = []
    for held in reroutes.held_groups:
        number, nets = str(held.group.number), ", ".join(held.nets)
        rows += [(number, nets, str(option)) for option in held.options]
        rows += [(number, nets, f"{net}: {why}") for net, why in held.without_move.items()]
    for refused in reroutes.refused_nets:
        rows += [("", refused.net, outcome) for outcome in refused.outcomes() or [str(refused.why_none)]]
    best = [
        f"{name}: {proposal or 'none saves a group'}"
        for name, proposal in (("best single move", reroutes.single), ("best pair of moves", reroutes.pair))
    ]
    return framed(as_html(_MOVE_COLUMNS, rows, head=best))


def near_holes_html(near: Sequence[NearHole], head: Sequence[str]) -> str:
    """Holes that a depth drill comes too near to, or perhaps does.

    Parameters
    ----------
    near : sequence of NearHole
    head : sequence of str
        Lines above the table.

    Returns
    -------
    str
    """
    return framed(as_html(_NEAR_COLUMNS, near, head=head))


def effects_html(effects: Effects) -> str:
    """What the depth drills do to the padstacks.

    Parameters
    ----------
    effects : Effects

    Returns
    -------
    str
    """
    return framed(as_html(_EFFECT_COLUMNS, effects))


def questions_html(questions: Questions) -> str:
    """What to ask the fabricator. The question on which most verdicts depend comes first.

    Parameters
    ----------
    questions : Questions

    Returns
    -------
    str
    """
    return framed(as_html(_QUESTION_COLUMNS, questions))


def stub_html(stub: HoleStub) -> str:
    """One stub of a hole: its length, its first notch and where that comes from.

    Parameters
    ----------
    stub : HoleStub

    Returns
    -------
    str
    """
    return pairs_html(((column.title, column.cell(stub)) for column in _STUB_COLUMNS), foot=[CAUTION])


def stackup_html(stackup: Stackup) -> str:
    """Layers of a stackup, from the top.

    Parameters
    ----------
    stackup : Stackup

    Returns
    -------
    str
    """
    source = [f"Source: {stackup.source}"] if stackup.source else []
    return as_html(_LAYER_COLUMNS, stackup.layers, head=[f"Stackup, {show(stackup.edges_si[-1], 'length')}", *source])


def fields_html(value: Value | Provenance) -> str:
    """Names and values of the fields of any value.

    Parameters
    ----------
    value : Value or Provenance

    Returns
    -------
    str
    """
    names = [item.name for item in fields(value) if item.init]
    pairs = [(name.replace("_", " "), _field_text(value, name)) for name in names]
    return pairs_html(pairs, head=[type(value).__name__])


def _field_text(value: object, name: str) -> str:
    declared = vars(type(value)).get(name)
    if isinstance(declared, SIField):
        return _in_units(getattr(value, declared.si_name), declared.kind)
    return _text(getattr(value, name))


def _in_units(kept: object, kind: Kind) -> str:
    """What a field with a dimension keeps, each number with its unit; empty where it is unknown."""
    if kept is None:
        return ""
    if isinstance(kept, tuple):
        return ", ".join(" ".join(_in_units(part, kind) or "none" for part in row) for row in kept)
    return show(kept, kind, 14) if isinstance(kept, float) else str(kept)


def _text(part: object) -> str:
    """A part of a value as text; empty where there is none."""
    if not isinstance(part, (tuple, list)):
        return "" if part is None else str(part)
    more = [f"and {len(part) - MOST_ITEMS} more"] if len(part) > MOST_ITEMS else []
    return ", ".join([*map(_text, part[:MOST_ITEMS]), *more])


def _pairs_html(*pairs: tuple[str, str]) -> str:
    """Names and values in two columns, and the caution."""
    return framed(pairs_html(pairs, foot=[CAUTION]))


def _length(metres: float | None) -> str:
    """Length [mm]; empty where it is unknown or there is none."""
    return "" if metres is None else f"{1e3 * metres:.4g}"


def _decibels(value: float | None) -> str | None:
    return None if value is None else f"{value:.4g} dB"


def _number(value: float | None) -> str:
    return "unknown" if value is None else f"{value:.4g}"
