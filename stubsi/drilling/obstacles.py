"""Owns why a stub has no end that a drill may aim at: the kinds of obstacle, and the words with their figures."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.drilling.guaranteed_residual import GuaranteedResidual
from stubsi.drilling.side_view import barrel_positions
from stubsi.units import show

if TYPE_CHECKING:
    from collections.abc import Mapping

    from stubsi.drilling.rules import FabricatorRules
    from stubsi.drilling.side_view import SideView
    from stubsi.drilling.window import Window

ROUNDING = 1e-10
"""Depths [m] closer than this count as equal, so that a limit met exactly is met."""


class Obstacle(StrEnum):
    """What can keep a stub from being drilled. Each is also the text that tables show."""

    OTHER_SIDE = "other side only"
    BURIED = "buried"
    CUTS = "cuts the layer"
    SENSED = "sensed layer"
    DEEPEST = "deepest layer"
    CONTACT = "press-fit zone"
    PIN = "press-fit pin"
    THIN = "too thin a dielectric"
    PLATED = "plated length"
    BUDGET = "budget not reachable"


class Refusal(NamedTuple):
    """Why a stub cannot be drilled.

    Parameters
    ----------
    kind : Obstacle
        What stands in the way.
    text : str
        Its figures in words.
    """

    kind: Obstacle
    text: str

    def __str__(self) -> str:
        return f"{self.kind}: {self.text}"


class Bound(NamedTuple):
    """A limit on the end aimed at [m], the obstacle behind it, and that obstacle in words."""

    end: float
    kind: Obstacle
    text: str


def refusals_of(window: Window, view: SideView, cut: float) -> tuple[Refusal, ...]:
    """Why a window holds no end, each obstacle once; empty where the window holds an end.

    ``cut`` [m] is the plating that must be left before a layer so that nothing of the layer is touched.

    Parameters
    ----------
    window : Window
        Window of the stub.
    view : SideView
        The board seen from the side of the stub.
    cut : float
        Plating that must be left before that face [m].

    Returns
    -------
    tuple[Refusal, ...]
        The reasons.
    """
    no_access = _no_access(window, view)
    if no_access:
        return no_access
    whatever_depth = _whatever_depth(window, view, cut)
    kinds = {refusal.kind for refusal in whatever_depth}
    return whatever_depth + tuple(each for each in _conflicts(window, view, kinds) if each.kind not in kinds)


def _no_access(window: Window, view: SideView) -> tuple[Refusal, ...]:
    """Why no drill comes to the stub."""
    shape, refusals = window.shape, []
    outer = barrel_positions(shape, view).outer
    if window.rules.deepest(shape.side) is None:
        text = f"the stub lies on the {shape.side}, which the fabricator does not drill"
        refusals.append(Refusal(Obstacle.OTHER_SIDE, text))
    if outer:
        refusals.append(Refusal(Obstacle.BURIED, f"the barrel ends at {view.names[outer]}, inside the board"))
    return tuple(refusals)


def _whatever_depth(window: Window, view: SideView, cut: float) -> tuple[Refusal, ...]:
    """Why the stub cannot be drilled whatever the depth."""
    return tuple(each for each in (_pin_stays(window, view), _guarantee_cuts(window.rules, cut)) if each)


def _pin_stays(window: Window, view: SideView) -> Refusal | None:
    """A press-fit pin that stays is longer than the permitted stub."""
    fit = window.shape.press_fit
    pin = view.from_far_face(fit, fit.pin_length_si if fit else None)
    stays = 0.0 if pin is None else window.face_si - pin
    if stays <= window.longest_si + ROUNDING:
        return None
    text = f"the pin stays, {in_mm(stays)} beyond {window.layer}; longest permitted {in_mm(window.longest_si)}"
    return Refusal(Obstacle.PIN, text)


def _guarantee_cuts(rules: FabricatorRules, cut: float) -> Refusal | None:
    """The guaranteed residual stub is too short to keep the drill out of the layer in use."""
    if not isinstance(rules.tolerance, GuaranteedResidual) or rules.tolerance.least_si >= cut - ROUNDING:
        return None
    least = rules.tolerance.least_si
    distance = "" if rules.tip_distance_si is None else f" and its distance of {in_mm(rules.tip_distance_si)}"
    needed = f", and the cone of the tip{distance} needs {in_mm(cut)}" if least >= 0 else ""
    return Refusal(Obstacle.CUTS, f"may cut the layer in use: least plating left {in_mm(least)}{needed}")


def _conflicts(window: Window, view: SideView, known: set[Obstacle]) -> tuple[Refusal, ...]:
    """Every pair of a lower and an upper bound without an end between them, once for each kind of obstacle.

    Where the stub's own layer is the upper bound, the lower bound names the obstacle. Other upper bounds count only if
    they are stricter than the stub's own layer.
    """
    lower = {bound.kind: bound for bound in sorted(window.lower)}
    upper = {bound.kind: bound for bound in sorted(window.upper, reverse=True) if bound.kind not in known}
    ends = {kind: _deepest_aimed(window, view, bound.end) for kind, bound in upper.items()}
    own_end = ends.get(Obstacle.CUTS, np.inf)
    others = (Obstacle.DEEPEST, Obstacle.CONTACT, Obstacle.PLATED)
    kinds = [kind for kind in others if kind in upper and _is_before(ends[kind], own_end)]
    texts: dict[Obstacle, str] = {}
    for kind in [Obstacle.CUTS] * (Obstacle.CUTS in upper) + kinds:
        end = ends[kind]
        for bound in (lower[k] for k in (Obstacle.BUDGET, Obstacle.THIN, Obstacle.SENSED) if k in lower):
            if end is None or bound.end > end + ROUNDING:
                text = f"{_shortfall(window, bound, ends)}{bound.text}; {upper[kind].text}"
                texts.setdefault(bound.kind if kind == Obstacle.CUTS else kind, text)
    return tuple(Refusal(kind, text + _unknown(window.rules)) for kind, text in texts.items())


def _is_before(end: float | None, other: float | None) -> bool:
    """Whether an end lies before another one. None stands for no end at all, and lies before every end."""
    return other is not None and (end is None or end < other - ROUNDING)


def _shortfall(window: Window, bound: Bound, ends: Mapping[Obstacle, float | None]) -> str:
    """By how much a bound is missed when the depth is as deep as every obstacle permits; empty if there is no end."""
    known_ends = [end for end in ends.values() if end is not None]
    if len(known_ends) < len(ends):
        return ""
    deepest = min(known_ends)
    if bound.kind == Obstacle.BUDGET:
        return f"shortest stub at worst tolerance {in_mm(window.left(deepest).most_si)}; "
    return f"short by {in_mm(bound.end - deepest)}; "


def _deepest_aimed(window: Window, view: SideView, limit: float) -> float | None:
    """Deepest end [m] within a limit that can be aimed at; None if there is none.

    Under a guaranteed residual stub only the ends that belong to a layer can be aimed at.
    """
    aimed = window.rules.tolerance.aimed(view.near[1 : barrel_positions(window.shape, view).in_use + 1])
    if aimed is None:
        return limit
    ends: list[float] = aimed[aimed <= limit + ROUNDING].tolist()
    return max(ends, default=None)


def _unknown(rules: FabricatorRules) -> str:
    return " (unknown rules at their worst)" if rules.unknown else ""


def in_mm(length: float) -> str:
    """A length [m] as text, rounded to the nanometre.

    Parameters
    ----------
    length : float
        Length [m].

    Returns
    -------
    str
        Text with its unit.
    """
    return show(round(float(length), 9), "length")
