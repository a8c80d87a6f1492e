"""Owns the window of a stub: between which ends of its plating the drill may aim.

All depths [m] grow from the datum of the drilled side into the board.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from stubsi.drilling.obstacles import (
    BUDGET,
    CONTACT,
    CUTS,
    DEEPEST,
    PLATED,
    ROUNDING,
    SENSED,
    THIN,
    Bound,
    Reason,
    in_mm,
    reasons_of,
)
from stubsi.drilling.rules import ANY_LAYER, FabricatorRules, cone_height
from stubsi.drilling.side_view import Frame, barrel, frame

if TYPE_CHECKING:
    from stubsi.board.stackup import Stackup
    from stubsi.stubs.drawn import StubShape


class Left(NamedTuple):
    """Plating left beyond a layer in use [m]: least, nominal and most over every corner of the tolerances."""

    least_si: float
    nominal_si: float
    most_si: float


@dataclass(frozen=True, kw_only=True)
class Window:
    """Between which ends a depth drill may aim in one stub.

    ``shape``: the stub as drawn. ``face_si`` [m]: near face of its layer in use, which must not be cut; ``sensed_si``
    [m] that of the layer the drill senses. ``barrel_si`` and ``rest_si``: barrel as drawn before and beyond that face
    [m]. ``leads_si``: of the tip or shoulder over that end [m], several where the tip is unknown. ``longest_si``:
    longest permitted stub [m]. ``lower``, ``upper``: every bound on the end aimed at.
    ``reasons``: why no end will do; empty where one will.
    """

    rules: FabricatorRules
    shape: StubShape
    face_si: float
    sensed_si: float
    barrel_si: float
    rest_si: float
    leads_si: tuple[float, ...]
    longest_si: float
    lower: tuple[Bound, ...]
    upper: tuple[Bound, ...]
    reasons: tuple[Reason, ...] = ()

    @property
    def side(self) -> str:
        """Side it is drilled from."""
        return self.shape.side

    @property
    def layer(self) -> str:
        """The layer in use that must not be cut."""
        return self.shape.layer

    @property
    def drill_si(self) -> float:
        """Diameter of the depth drill [m]."""
        return self.rules.drill_si(self.shape.padstack.drill_si)

    @property
    def shallowest_si(self) -> float:
        """Shallowest end that may be aimed at [m]: the stub is short enough at worst tolerance."""
        return max(bound.end for bound in self.lower)

    @property
    def deepest_si(self) -> float:
        """Deepest end that may be aimed at [m]: nothing in use is touched at worst tolerance."""
        return min(bound.end for bound in self.upper)

    @property
    def reason(self) -> str:
        """Why no end will do; empty where one will."""
        return "; ".join(map(str, self.reasons))

    def holds(self, end: float) -> bool:
        """Whether this end may be aimed at."""
        return not self.reasons and self.shallowest_si - ROUNDING <= end <= self.deepest_si + ROUNDING

    def left(self, end: float) -> Left:
        """Plating left beyond the stub's own layer in use when ``end`` [m] is aimed at."""
        return left_before(self.face_si, end, self)


def left_before(face: float, end: float, window: Window) -> Left:
    """Plating left before any ``face`` [m] when ``end`` [m] is aimed at in a window."""
    limits = [window.rules.tolerance.left(face, end, window.sensed_si, lead) for lead in window.leads_si]
    least, most = min(limit[0] for limit in limits), max(limit[1] for limit in limits)
    return Left(*(0.0 if abs(x) < ROUNDING else float(x) for x in (least, face - end, most)))


def window(shape: StubShape, longest: float, rules: FabricatorRules) -> Window:
    """Window of one stub under the fabricator's rules, whatever value the unknown ones have.

    Parameters
    ----------
    shape : StubShape
        The stub as drawn.
    longest : float
        Longest permitted stub [m]: its net meets the criterion with every stub up to this length.
    rules : FabricatorRules
    """
    seen = _frame(shape.stackup, rules, shape.side)
    outer, own, inner = barrel(shape, seen)
    face = float(seen.near[own])
    cases = _cases(rules)
    bounds = Window(
        rules=rules, shape=shape, face_si=face, sensed_si=seen.sensed, barrel_si=face - float(seen.near[outer]),
        rest_si=float(seen.far[inner]) - face,
        leads_si=tuple(sorted({lead_si(shape.padstack.drill_si, case) for case in cases})), longest_si=longest,
        lower=tuple(bound for case in cases for bound in _lower_bounds(shape, seen, longest, case)),
        upper=tuple(bound for case in cases for bound in _upper_bounds(shape, seen, case)),
    )  # fmt: skip
    cut = max(clearance_before(shape, case) for case in cases)
    return replace(bounds, reasons=reasons_of(bounds, seen, cut))


@lru_cache(maxsize=64)
def _cases(rules: FabricatorRules) -> tuple[FabricatorRules, ...]:
    return rules.cases()


@lru_cache(maxsize=64)
def _frame(stackup: Stackup, rules: FabricatorRules, side: str) -> Frame:
    return frame(stackup, rules, side)


def inner_cone(shape: StubShape, rules: FabricatorRules) -> float:
    """How far [m] the drill reaches beyond the end of the plating inside it (finished diameter unknown: its point)."""
    outer, finished = shape.padstack.drill_si / 2, (shape.padstack.finished_si or 0.0) / 2
    return float(cone_height(outer, rules.tip_angle) - cone_height(finished, rules.tip_angle))


def clearance_before(shape: StubShape, rules: FabricatorRules) -> float:
    """Plating [m] that must be left before a layer for nothing of it to be touched.

    The point leads the end of the plating by the height of its cone at the barrel's radius, and the inside of the
    barrel is met first: a guaranteed residual stub must cover the cone between the two radii. ``tip_distance``, where
    stated, is kept by the point itself.
    """
    inside = inner_cone(shape, rules)
    if rules.tip_distance_si is None:
        return inside
    return max(inside, float(cone_height(shape.padstack.drill_si / 2, rules.tip_angle)) + rules.tip_distance_si)


def lead_si(primary_drill: float, rules: FabricatorRules) -> float:
    """How far [m] the place that depth means (tip or shoulder) lies beyond the end of the plating; may be negative."""
    tip = float(cone_height(primary_drill / 2, rules.tip_angle))
    if rules.depth_to == "tip":
        return tip
    return tip - float(cone_height(rules.drill_si(primary_drill) / 2, rules.tip_angle))


def _lower_bounds(shape: StubShape, seen: Frame, longest: float, rules: FabricatorRules) -> list[Bound]:
    """Ends too shallow to be drilled."""
    lead, face = lead_si(shape.padstack.drill_si, rules), float(seen.near[barrel(shape, seen)[1]])
    budget = float(rules.tolerance.shallowest(face, longest, seen.sensed, lead))
    least = max(rules.least_depth_si - lead, float(seen.near[0]) + 10 * ROUNDING)
    bounds = [
        Bound(budget, BUDGET, f"longest permitted stub {in_mm(longest)}"),
        Bound(least, THIN, f"least depth {in_mm(rules.least_depth_si)}"),
    ]
    sensed = rules.tolerance.sensed_layer(shape.side)
    if sensed:
        tip = float(cone_height(shape.padstack.drill_si / 2, rules.tip_angle))
        bounds.append(Bound(seen.sensed - tip, SENSED, f"{sensed} must be reached to be sensed"))
    return bounds


def _upper_bounds(shape: StubShape, seen: Frame, rules: FabricatorRules) -> list[Bound]:
    """Ends so deep that something would be touched, at worst tolerance; the stub's own layer first.

    A guaranteed residual stub puts no end beyond the one of the stub's own layer, even where that would not touch it:
    the layer named must-not-cut would lie behind the layer in use.
    """
    _, own, inner = barrel(shape, seen)
    cut, lead, fit = clearance_before(shape, rules), lead_si(shape.padstack.drill_si, rules), shape.press_fit

    def before(face: float, left: float, kind: str, text: str) -> Bound:
        return Bound(float(rules.tolerance.deepest(face, left, seen.sensed, lead)), kind, text)

    def named(layer: str, kind: str, text: str) -> Bound:
        face = float(seen.near[seen.place(layer)])
        free, aimed = before(face, cut, kind, text), rules.tolerance.aimed(face)
        return free if aimed is None else free._replace(end=min(free.end, aimed))

    face, far = float(seen.near[own]), float(seen.far[-1])
    bounds = [named(shape.layer, CUTS, f"{shape.layer} must not be cut")]
    limit = rules.deepest(shape.side)
    if limit not in (None, ANY_LAYER) and seen.place(limit) < own:
        bounds.append(named(limit, DEEPEST, f"no layer beyond {limit} can be reached from the {shape.side}"))
    if seen.beyond(fit, fit.contact_to_si if fit else None) is not None:
        kept = f"the press-fit contact zone reaches {in_mm(fit.contact_to_si)} into the board from the other face"
        bounds.append(before(far, fit.contact_to_si + inner_cone(shape, rules), CONTACT, kept))
    rest = rules.tolerance.shrunk(float(seen.far[inner]) - face)
    text = f"{in_mm(rules.least_plated_si)} of plated barrel must remain"
    return [*bounds, before(face, rules.least_plated_si - rest, PLATED, text)]
