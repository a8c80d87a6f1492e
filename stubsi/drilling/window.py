"""Owns the window of a stub: between which ends of its plating the drill may aim, or the reason why there are none.

All depths [m] grow from the datum of the drilled side into the board.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from stubsi.drilling.frame import Frame, barrel, frame
from stubsi.drilling.rules import ANY_LAYER, Rules, cone_height
from stubsi.units import show

if TYPE_CHECKING:
    from stubsi.board.stackup import Stackup
    from stubsi.margin.shape import StubShape

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
    [m]. ``longest_si``: longest permitted stub [m]. ``lower``, ``upper``: every bound on the end aimed at.
    ``reasons``: why no end will do; empty where one will.
    """

    rules: Rules
    shape: StubShape
    face_si: float
    sensed_si: float
    barrel_si: float
    rest_si: float
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
        least, most = self.rules.tolerance.left(self.face_si, end, self.sensed_si)
        return Left(*(0.0 if abs(x) < ROUNDING else float(x) for x in (least, self.face_si - end, most)))


def window(shape: StubShape, longest: float, rules: Rules) -> Window:
    """Window of one stub under the fabricator's rules, whatever value the unknown ones have.

    Parameters
    ----------
    shape : StubShape
        The stub as drawn.
    longest : float
        Longest permitted stub [m]: its net meets the criterion with every stub up to this length.
    rules : Rules
    """
    seen = _frame(shape.stackup, rules, shape.side)
    outer, own, inner = barrel(shape, seen)
    face = float(seen.near[own])
    lower, upper = [_budget_bound(seen, face, longest, rules)], []
    for case in _cases(rules):
        lower += _lower_bounds(shape, seen, case)
        upper += _upper_bounds(shape, seen, case)
    known = _refusals(shape, seen, longest, rules) or _conflicts(shape, seen, lower, upper, rules)
    return Window(
        rules=rules, shape=shape, face_si=face, sensed_si=seen.sensed, barrel_si=face - float(seen.near[outer]),
        rest_si=float(seen.far[inner]) - face, longest_si=longest, lower=tuple(lower), upper=tuple(upper),
        reasons=known,
    )  # fmt: skip


@lru_cache(maxsize=64)
def _cases(rules: Rules) -> tuple[Rules, ...]:
    return rules.cases()


@lru_cache(maxsize=64)
def _frame(stackup: Stackup, rules: Rules, side: str) -> Frame:
    return frame(stackup, rules, side)


def clearance_before(shape: StubShape, rules: Rules) -> float:
    """Plating [m] that must be left before a face for nothing of it to be touched.

    The point leads the end of the plating by the height of its cone at the barrel's radius, and the inside of the
    barrel is met first: a guaranteed residual stub must cover the cone between the two radii (finished diameter
    unknown: down to the point). ``tip_distance``, where stated, is kept by the point itself.
    """
    outer, finished = shape.padstack.drill_si / 2, (shape.padstack.finished_si or 0.0) / 2
    cone = float(cone_height(outer, rules.tip_angle))
    inside = cone - float(cone_height(finished, rules.tip_angle))
    return inside if rules.tip_distance_si is None else max(inside, cone + rules.tip_distance_si)


def lead_si(primary_drill: float, rules: Rules) -> float:
    """How far [m] the place that depth means (tip or shoulder) lies beyond the end of the plating; may be negative."""
    tip = float(cone_height(primary_drill / 2, rules.tip_angle))
    if rules.depth_to == "tip":
        return tip
    return tip - float(cone_height(rules.drill_si(primary_drill) / 2, rules.tip_angle))


def _budget_bound(seen: Frame, face: float, longest: float, rules: Rules) -> Bound:
    end = float(rules.tolerance.shallowest(face, longest, seen.sensed))
    return Bound(end, BUDGET, f"longest permitted stub {_mm(longest)}")


def _lower_bounds(shape: StubShape, seen: Frame, rules: Rules) -> list[Bound]:
    """Ends too shallow to be drilled."""
    lead = lead_si(shape.padstack.drill_si, rules)
    least = max(rules.least_depth_si - lead, float(seen.near[0]) + 10 * ROUNDING)
    bounds = [Bound(least, THIN, f"least depth {_mm(rules.least_depth_si)}")]
    sensed = rules.tolerance.sensed_layer(shape.side)
    if sensed:
        tip = float(cone_height(shape.padstack.drill_si / 2, rules.tip_angle))
        bounds.append(Bound(seen.sensed - tip, SENSED, f"{sensed} must be reached to be sensed"))
    return bounds


def _upper_bounds(shape: StubShape, seen: Frame, rules: Rules) -> list[Bound]:
    """Ends so deep that something would be touched, at worst tolerance; the stub's own layer first.

    A guaranteed residual stub puts no end beyond the one of the stub's own layer, even where that would not touch it:
    the layer named must-not-cut would lie behind the layer in use.
    """
    _, own, inner = barrel(shape, seen)
    cut = clearance_before(shape, rules)

    def before(face: float, left: float, kind: str, text: str) -> Bound:
        return Bound(float(rules.tolerance.deepest(face, left, seen.sensed)), kind, text)

    def named(layer: str, kind: str, text: str) -> Bound:
        face = float(seen.near[seen.place(layer)])
        free, aimed = before(face, cut, kind, text), rules.tolerance.aimed(face)
        return free if aimed is None else free._replace(end=min(free.end, aimed))

    face = float(seen.near[own])
    bounds = [named(shape.layer, CUTS, f"{shape.layer} must not be cut")]
    limit = rules.deepest(shape.side)
    if limit not in (None, ANY_LAYER) and seen.place(limit) < own:
        bounds.append(named(limit, DEEPEST, f"no layer beyond {limit} can be reached from the {shape.side}"))
    zone = seen.beyond(shape.press_fit, shape.press_fit.contact_to_si) if shape.press_fit else None
    if zone is not None:
        text = f"the barrel must stay plated beyond a depth of {_mm(zone)}"
        bounds.append(before(zone, cut, CONTACT, text))
    rest = rules.tolerance.shrunk(float(seen.far[inner]) - face)
    text = f"{_mm(rules.least_plated_si)} of plated barrel must remain"
    return [*bounds, before(face, rules.least_plated_si - rest, PLATED, text)]


def _refusals(shape: StubShape, seen: Frame, longest: float, rules: Rules) -> tuple[Reason, ...]:
    """What no choice of depth can help."""
    outer, found = barrel(shape, seen)[0], []
    if rules.deepest(shape.side) is None:
        found.append(Reason(OTHER_SIDE, f"the stub lies on the {shape.side}, which the fabricator does not drill"))
    if outer:
        found.append(Reason(BURIED, f"the barrel ends at {seen.names[outer]}, inside the board"))
    fit = shape.press_fit
    pin = seen.beyond(fit, fit.pin_length_si) if fit else None
    stays = 0.0 if pin is None else float(seen.near[barrel(shape, seen)[1]]) - pin
    if stays > longest + ROUNDING:
        text = f"the pin stays, {_mm(stays)} beyond {shape.layer}; longest permitted {_mm(longest)}"
        found.append(Reason(PIN, text))
    least = rules.tolerance.left(0.0, rules.tolerance.aimed(0.0) or 0.0, 0.0)[0]
    cut = max(clearance_before(shape, case) for case in _cases(rules))
    if rules.tolerance.aimed(0.0) is not None and least < cut - ROUNDING:
        needed = f", and the cone of the tip needs {_mm(cut)}" if least >= 0 else ""
        found.append(Reason(CUTS, f"may cut the layer in use: least plating left {_mm(least)}{needed}"))
    return tuple(found)


def _conflicts(
    shape: StubShape, seen: Frame, lower: list[Bound], upper: list[Bound], rules: Rules
) -> tuple[Reason, ...]:
    """The bounds that leave no end between them; none where one is left.

    What the stub's own layer forbids comes first; else every other bound on the depth that stands in the way.
    """
    low, own = max(lower), min(bound for bound in upper if bound.kind == CUTS)
    kinds = {bound.kind: bound for bound in sorted(upper, reverse=True)}
    deepest = {kind: _deepest_aimed(shape, seen, bound.end, rules) for kind, bound in kinds.items()}
    short = {kind for kind, end in deepest.items() if end is None or low.end > end + ROUNDING}

    def shortfall(bound: Bound) -> str:
        end, said = deepest[bound.kind], [low.text, bound.text]
        if end is not None and low.kind == BUDGET:
            face = float(seen.near[barrel(shape, seen)[1]])
            said.insert(0, f"shortest stub at worst tolerance {_mm(rules.tolerance.left(face, end, seen.sensed)[1])}")
        elif end is not None:
            said.insert(0, f"short by {_mm(low.end - end)}")
        return "; ".join(said) + _unknown(rules)

    if CUTS in short:
        return (Reason(low.kind, shortfall(own)),)
    return tuple(Reason(kind, shortfall(kinds[kind])) for kind in kinds if kind in short)


def _deepest_aimed(shape: StubShape, seen: Frame, limit: float, rules: Rules) -> float | None:
    """Deepest end [m] within a limit that can be aimed at: guaranteed residuals end only where a layer puts them."""
    aimed = rules.tolerance.aimed(seen.near[1 : barrel(shape, seen)[1] + 1])
    if aimed is None:
        return limit
    return max(aimed[aimed <= limit + ROUNDING].tolist(), default=None)


def _unknown(rules: Rules) -> str:
    return " (unknown rules at their worst)" if rules.unknown else ""


def _mm(length: float) -> str:
    return show(round(float(length), 9), "length")
