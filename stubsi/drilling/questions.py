"""Owns what to ask: each unknown input with the number of verdicts it can flip, the most telling first."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.drilling.effects import effects
from stubsi.drilling.needs import Sorting
from stubsi.drilling.rules import UNKNOWN_RANGE
from stubsi.drilling.window import window
from stubsi.margin.verdict import Verdict
from stubsi.units import quantity

if TYPE_CHECKING:
    from stubsi.drilling.plan import Plan
    from stubsi.drilling.rules import FabricatorRules
    from stubsi.stubs.drawn import StubShape


class Question(NamedTuple):
    """An unknown input, how many verdicts hang on it, and on what."""

    unknown: str
    flips: int
    about: str

    def __str__(self) -> str:
        return f"{self.unknown.rstrip('.')}: can flip {self.flips} {self.about}"


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
    if not names:
        return []
    refused = [_refused(plan, case) for case in plan.rules.cases()]
    counts = np.zeros(len(names), dtype=int)
    for stub in set().union(*refused):
        corners = np.array([stub in corner for corner in refused]).reshape((2,) * len(names))
        for axis in range(len(names)):
            counts[axis] += bool(np.any(corners.take(0, axis) != corners.take(1, axis)))
    return [
        Question(
            f"{name.replace('_', ' ')} (taken as {UNKNOWN_RANGE[name][0]} to {UNKNOWN_RANGE[name][1]})", n, "stubs"
        )
        for name, n in zip(names, counts.tolist(), strict=True)
    ]


def _refused(plan: Plan, rules: FabricatorRules) -> set[tuple[str, str, str]]:
    """Stubs (net, hole, side) that would be refused under these rules."""
    sorted_out = Sorting(plan.limits, rules)
    sorted_out.task()
    return {(refused.net, refused.hole.name, refused.side) for refused in sorted_out.refused}


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
    """Unknown inputs that leave open the verdict of a net which the plan takes at its computed figures, once a net."""
    limits, verdicts = plan.limits, plan.limits.ranking.verdicts
    found: dict[int, dict[str, None]] = defaultdict(dict)
    for row, net in enumerate(limits.table.net.tolist()):
        open_ = verdicts[net] in (Verdict.MARGINAL, Verdict.UNDECIDED) and limits.net(row).name not in plan.undecided
        if not open_ or limits.net(row).waiver:
            continue
        missing = limits.not_solved(row)
        if missing:
            found[net][missing] = None
        elif verdicts[net] == Verdict.UNDECIDED:
            found[net]["return vias: give the reference holes"] = None
    return [text for missing in found.values() for text in missing]


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
