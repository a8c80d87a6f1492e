"""Owns what to ask: each unknown input with the number of verdicts it can flip, the most telling first."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.drilling.clearance import effects
from stubsi.drilling.rules import UNKNOWN_RANGE
from stubsi.drilling.window import window
from stubsi.margin.rank import rank
from stubsi.margin.verdict import UNDECIDED
from stubsi.units import quantity

if TYPE_CHECKING:
    from stubsi.drilling.plan import Plan
    from stubsi.margin.shape import StubShape


class Question(NamedTuple):
    """An unknown input, how many verdicts hang on it, and on what."""

    unknown: str
    flips: int
    about: str

    def __str__(self) -> str:
        return f"{self.unknown}: can flip {self.flips} {self.about}"


def questions(plan: Plan) -> tuple[Question, ...]:
    """What to ask, by how much hangs on it: unknown rules, unknown diameters, unknown inputs of the models.

    A rule can flip a stub's verdict if, for some value of the other unknown rules, one end of its ``UNKNOWN_RANGE``
    lets the stub be drilled and the other does not.

    Parameters
    ----------
    plan : Plan
    """
    found = [*_rules(plan), *_finished(plan), *_clearances(plan)]
    missing = Counter(plan.undecided.values())
    missing.update(_open_verdicts(plan))
    found += [Question(reason, count, "nets") for reason, count in missing.items()]
    return tuple(sorted(found, key=lambda question: (-question.flips, question.unknown)))


def _rules(plan: Plan) -> list[Question]:
    names = plan.rules.unknown
    counts = np.zeros(len(names), dtype=int)
    cases = plan.rules.cases()
    for shape, longest, count in _stubs(plan):
        corners = np.array([not window(shape, longest, case).reasons for case in cases]).reshape((2,) * len(names))
        for axis in range(len(names)):
            counts[axis] += count * bool(np.any(corners.take(0, axis) != corners.take(1, axis)))
    return [
        Question(
            f"{name.replace('_', ' ')} (taken as {UNKNOWN_RANGE[name][0]} to {UNKNOWN_RANGE[name][1]})", n, "stubs"
        )
        for name, n in zip(names, counts.tolist(), strict=True)
    ]


def _finished(plan: Plan) -> list[Question]:
    """Finished diameters that are not known: they decide how far the cone of the tip reaches into the plating."""
    counts: dict[str, int] = {}
    for shape, longest, count in _stubs(plan):
        padstack = shape.padstack
        if padstack.finished_si is None:
            bare = replace(padstack, finished=quantity(padstack.drill_si * (1 - 1e-9), "length"))
            both = [window(replace(shape, padstack=p), longest, plan.rules).reasons for p in (padstack, bare)]
            counts[padstack.name] = counts.get(padstack.name, 0) + count * (bool(both[0]) != bool(both[1]))
    return [Question(f"finished diameter of padstack {name}", count, "stubs") for name, count in counts.items()]


def _open_verdicts(plan: Plan) -> list[str]:
    """What leaves the verdict of each net open that the plan takes at its unfavourable end."""
    return [
        "return vias: give the reference holes"
        for row in rank(plan.board, **plan.model.arguments())
        if row.verdict == UNDECIDED and row.net not in plan.undecided
    ]


def _clearances(plan: Plan) -> list[Question]:
    unjudged = sum(len(effect.layers) for effect in effects(plan) if effect.short is None)
    names = [n for n in ("copper_clearance", "edge_tolerance") if getattr(plan.rules, f"{n}_si") is None]
    return [Question(name.replace("_", " "), unjudged, "clearances") for name in names if unjudged]


def _stubs(plan: Plan) -> list[tuple[StubShape, float, int]]:
    """Every distinct stub drilled or refused, its longest permitted length [m], and how many there are."""
    windows = [*(hit.window for hit in plan.hits), *(refused.window for refused in plan.refused)]
    counts = Counter(map(id, windows))
    distinct = {id(own): own for own in windows}
    return [(own.shape, own.longest_si, counts[key]) for key, own in distinct.items()]
