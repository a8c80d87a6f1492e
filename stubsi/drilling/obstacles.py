"""Owns the reasons why a stub cannot be drilled: the kinds of obstacle, and texts with their figures."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.drilling.budget_end import IN_WORDS
from stubsi.drilling.guaranteed_residual import GuaranteedResidual
from stubsi.drilling.side_view import barrel_positions
from stubsi.units import show

if TYPE_CHECKING:
    from collections.abc import Mapping

    from stubsi.drilling.rules import FabricatorRules
    from stubsi.drilling.side_view import SideView
    from stubsi.drilling.window import Window

ROUNDING = 1e-10
"""Depths [m] closer than this count as equal. So rounding does not break a limit that is met exactly."""
MET = 1.6 * ROUNDING
"""A limit of a window is met up to this [m]: ``ROUNDING``, half the 0.1 nm to which ends are rounded, and the last
digits of sums. So an end that nothing refuses always lies in its window."""


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
    NEIGHBOUR = "neighbouring hole"


class Refusal(NamedTuple):
    """Why a stub cannot be drilled.

    Parameters
    ----------
    kind : Obstacle
        What stands in the way.
    text : str
        The details in words, with figures.
    """

    kind: Obstacle
    text: str

    def __str__(self) -> str:
        return f"{self.kind}: {self.text}"


def beside_other_side(side: str) -> Refusal:
    """Why a stub cannot be drilled where the other stub of its hole is.

    Parameters
    ----------
    side : str
        The other side.

    Returns
    -------
    Refusal
    """
    return Refusal(Obstacle.PLATED, f"with the {side} drilled as well, too little plated barrel would remain")


class Bound(NamedTuple):
    """A limit on the end that is aimed at [m], the obstacle that sets it, and that obstacle in words."""

    end: float
    kind: Obstacle
    text: str


def refusals_of(window: Window, view: SideView, cut: float) -> tuple[Refusal, ...]:
    """Why a stub cannot be drilled, each kind of obstacle once. Empty if it can be drilled.

    Parameters
    ----------
    window : Window
        Window of the stub.
    view : SideView
        The board seen from the side of the stub.
    cut : float
        Plating that must be left before the layer in use so that nothing of that layer is touched [m].

    Returns
    -------
    tuple[Refusal, ...]
        The reasons.
    """
    no_access = _no_access(window, view)
    if no_access:
        return no_access
    at_any_depth = _refusals_at_any_depth(window, view, cut)
    kinds = {refusal.kind for refusal in at_any_depth}
    return at_any_depth + tuple(each for each in _conflicts(window, view, kinds) if each.kind not in kinds)


def _no_access(window: Window, view: SideView) -> tuple[Refusal, ...]:
    """Why no drill can reach the stub."""
    shape, refusals = window.shape, []
    outer = barrel_positions(shape, view).outer
    if window.rules.deepest(shape.side) is None:
        text = f"the stub lies on the {shape.side}, which the fabricator does not drill"
        refusals.append(Refusal(Obstacle.OTHER_SIDE, text))
    if outer:
        refusals.append(Refusal(Obstacle.BURIED, f"the barrel ends at {view.names[outer]}, inside the board"))
    return tuple(refusals)


def _refusals_at_any_depth(window: Window, view: SideView, cut: float) -> tuple[Refusal, ...]:
    """Why the stub cannot be drilled to any depth."""
    return tuple(each for each in (_pin_stays(window, view), _guarantee_cuts(window.rules, cut)) if each)


def _pin_stays(window: Window, view: SideView) -> Refusal | None:
    """Refusal if the press-fit pin, which stays in the hole, is longer than the permitted stub."""
    fit = window.shape.press_fit
    pin = view.from_far_face(fit, fit.pin_length_si if fit else None)
    pin_beyond_layer = 0.0 if pin is None else window.face_si - pin
    if pin_beyond_layer <= window.longest_si + ROUNDING:
        return None
    text = (
        f"the pin stays in the hole and reaches {in_mm(pin_beyond_layer)} beyond {window.layer}; "
        f"longest permitted {in_mm(window.longest_si)}"
    )
    return Refusal(Obstacle.PIN, text)


def _guarantee_cuts(rules: FabricatorRules, cut: float) -> Refusal | None:
    """Refusal if the guaranteed residual stub is too short to keep the drill away from the layer in use."""
    if not isinstance(rules.tolerance, GuaranteedResidual) or rules.tolerance.least_si >= cut - ROUNDING:
        return None
    least = rules.tolerance.least_si
    distance = "" if rules.tip_distance_si is None else f" and its distance of {in_mm(rules.tip_distance_si)}"
    needed = f", and the cone of the tip{distance} needs {in_mm(cut)}" if least >= 0 else ""
    return Refusal(Obstacle.CUTS, f"may cut the layer in use: least plating left {in_mm(least)}{needed}")


def _conflicts(window: Window, view: SideView, reported: set[Obstacle]) -> tuple[Refusal, ...]:
    """Pairs of a lower and an upper limit that leave no end between them: one refusal for each kind of obstacle.

    If the upper limit is set by the stub's layer in use, the obstacle is the one that sets the lower limit. Otherwise
    the obstacle is the one that sets the upper limit, and it counts only if it is stricter than the layer in use.
    """
    lower = {bound.kind: bound for bound in sorted(window.lower)}
    upper = {bound.kind: bound for bound in sorted(window.upper, reverse=True) if bound.kind not in reported}
    ends = {kind: _deepest_aimed(window, view, bound.end) for kind, bound in upper.items()}
    end_of_layer_in_use = ends.get(Obstacle.CUTS, np.inf)
    others = (Obstacle.DEEPEST, Obstacle.CONTACT, Obstacle.PLATED)
    kinds = [kind for kind in others if kind in upper and _is_before(ends[kind], end_of_layer_in_use)]
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
    """By how much a lower limit is missed at the deepest end that all upper limits permit; empty if there is none."""
    known_ends = [end for end in ends.values() if end is not None]
    if len(known_ends) < len(ends):
        return ""
    deepest = min(known_ends)
    if bound.kind == Obstacle.BUDGET:
        shortest = window.left(deepest).at(window.budget_at)
        return f"shortest stub {IN_WORDS[window.budget_at]} {in_mm(shortest)}; "
    return f"the drill would end {in_mm(bound.end - deepest)} deeper than it may; "


def _deepest_aimed(window: Window, view: SideView, limit: float) -> float | None:
    """Deepest end [m] within a limit that can be aimed at; None if there is none.

    With a guaranteed residual stub, only the ends that belong to a layer can be aimed at.
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
