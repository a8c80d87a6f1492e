"""Owns why a stub's window holds no end: the kinds of obstacle and the words, with their figures."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.drilling.side_view import barrel
from stubsi.units import show

if TYPE_CHECKING:
    from stubsi.drilling.rules import FabricatorRules
    from stubsi.drilling.side_view import Frame
    from stubsi.drilling.window import Window

ROUNDING = 1e-10
"""Depths [m] closer than this are one: a limit met exactly is met."""

OTHER_SIDE, BURIED, CUTS, SENSED, DEEPEST, CONTACT, PIN, THIN, PLATED, BUDGET = (
    "other side only",
    "buried",
    "cuts the layer",
    "sensed layer",
    "deepest layer",
    "press-fit zone",
    "press-fit pin",
    "too thin a dielectric",
    "plated length",
    "budget not reachable",
)
"""Kinds of reason why a stub has no window."""


class Reason(NamedTuple):
    """Why a stub cannot be drilled: the kind of obstacle, and the words with their figures."""

    kind: str
    text: str

    def __str__(self) -> str:
        return f"{self.kind}: {self.text}"


class Bound(NamedTuple):
    """A limit on the end aimed at [m], its kind and its words."""

    end: float
    kind: str
    text: str


def reasons_of(found: Window, seen: Frame, cut: float) -> tuple[Reason, ...]:
    """Why a window holds no end, every obstacle once; none where it holds one.

    ``cut`` [m]: plating that must be left before a layer for nothing of it to be touched.
    """
    beyond_help = _no_access(found, seen)
    if beyond_help:
        return beyond_help
    refusals = _refusals(found, seen, cut)
    kinds = {reason.kind for reason in refusals}
    return refusals + tuple(reason for reason in _conflicts(found, seen, kinds) if reason.kind not in kinds)


def _no_access(found: Window, seen: Frame) -> tuple[Reason, ...]:
    """Stubs no drill comes to."""
    shape, reasons = found.shape, []
    outer = barrel(shape, seen)[0]
    if found.rules.deepest(shape.side) is None:
        reasons.append(Reason(OTHER_SIDE, f"the stub lies on the {shape.side}, which the fabricator does not drill"))
    if outer:
        reasons.append(Reason(BURIED, f"the barrel ends at {seen.names[outer]}, inside the board"))
    return tuple(reasons)


def _refusals(found: Window, seen: Frame, cut: float) -> tuple[Reason, ...]:
    """What no choice of depth can help."""
    shape, rules, reasons, fit = found.shape, found.rules, [], found.shape.press_fit
    pin = seen.beyond(fit, fit.pin_length_si if fit else None)
    stays = 0.0 if pin is None else found.face_si - pin
    if stays > found.longest_si + ROUNDING:
        text = f"the pin stays, {in_mm(stays)} beyond {shape.layer}; longest permitted {in_mm(found.longest_si)}"
        reasons.append(Reason(PIN, text))
    if rules.tolerance.aimed(0.0) is not None:
        least = rules.tolerance.least_si
        if least < cut - ROUNDING:
            kept = "" if rules.tip_distance_si is None else f" and its distance of {in_mm(rules.tip_distance_si)}"
            needed = f", and the cone of the tip{kept} needs {in_mm(cut)}" if least >= 0 else ""
            reasons.append(Reason(CUTS, f"may cut the layer in use: least plating left {in_mm(least)}{needed}"))
    return tuple(reasons)


def _conflicts(found: Window, seen: Frame, known: set[str]) -> tuple[Reason, ...]:
    """Every pair of bounds that leaves no end between them, told once for each kind of obstacle.

    What the stub's own layer forbids is told by the bound it stands against; of other obstacles in the depth those
    count that are stricter.
    """
    lower = {bound.kind: bound for bound in sorted(found.lower)}
    upper = {bound.kind: bound for bound in sorted(found.upper, reverse=True) if bound.kind not in known}
    ends = {kind: _deepest_aimed(found, seen, bound.end) for kind, bound in upper.items()}
    own = ends.get(CUTS, np.inf)
    stricter = [kind for kind in (DEEPEST, CONTACT, PLATED) if kind in upper and _before(ends[kind], own)]
    reasons: dict[str, str] = {}
    for kind in [CUTS] * (CUTS in upper) + stricter:
        for bound in (lower[low] for low in (BUDGET, THIN, SENSED) if low in lower):
            if ends[kind] is None or bound.end > ends[kind] + ROUNDING:
                told = _shortfall(found, bound, ends)
                reasons.setdefault(bound.kind if kind == CUTS else kind, f"{told}{bound.text}; {upper[kind].text}")
    return tuple(Reason(kind, text + _unknown(found.rules)) for kind, text in reasons.items())


def _before(end: float | None, other: float | None) -> bool:
    """Whether an end lies before another; None, where there is none, before any."""
    return other is not None and (end is None or end < other - ROUNDING)


def _shortfall(found: Window, bound: Bound, ends: dict[str, float | None]) -> str:
    """By how much a bound is missed, with the depth as deep as every obstacle lets it be."""
    if None in ends.values():
        return ""
    deepest = min(ends.values())
    if bound.kind == BUDGET:
        return f"shortest stub at worst tolerance {in_mm(found.left(deepest).most_si)}; "
    return f"short by {in_mm(bound.end - deepest)}; "


def _deepest_aimed(found: Window, seen: Frame, limit: float) -> float | None:
    """Deepest end [m] within a limit that can be aimed at: guaranteed residuals end only where a layer puts them."""
    aimed = found.rules.tolerance.aimed(seen.near[1 : barrel(found.shape, seen)[1] + 1])
    if aimed is None:
        return limit
    return max(aimed[aimed <= limit + ROUNDING].tolist(), default=None)


def _unknown(rules: FabricatorRules) -> str:
    return " (unknown rules at their worst)" if rules.unknown else ""


def in_mm(length: float) -> str:
    """A length [m] as text, rounded to the nanometre."""
    return show(round(float(length), 9), "length")
