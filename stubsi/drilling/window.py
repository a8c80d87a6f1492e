"""Owns the window of a stub: the range of ends that the drill may aim at.

An end is the depth at which the plating of the barrel ends after drilling. All depths [m] are counted from the datum of
the drilled side into the board.
"""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

from stubsi.drilling.obstacles import MET, ROUNDING, Bound, Obstacle, Refusal, in_mm, refusals_of
from stubsi.drilling.rules import ANY_LAYER, FabricatorRules
from stubsi.drilling.side_view import barrel_positions, side_view
from stubsi.value import Value, value_object

if TYPE_CHECKING:
    from stubsi.drilling.budget_end import BudgetAt
    from stubsi.drilling.side_view import SideView
    from stubsi.stubs.drawn import StubShape


class PlatingLeft(NamedTuple):
    """Length of plating that is left before a layer in use.

    Parameters
    ----------
    least_si, nominal_si, most_si : float
        Least, nominal and greatest length over all tolerances and unknown rules [m].
    """

    least_si: float
    nominal_si: float
    most_si: float

    def at(self, budget_at: BudgetAt) -> float:
        """The length [m] that must keep the budget.

        Parameters
        ----------
        budget_at : {"worst", "nominal"}
            At which depth.

        Returns
        -------
        float
            The greatest length, or the nominal one.
        """
        return self.most_si if budget_at == "worst" else self.nominal_si


@value_object
class Window(Value):
    """The range of ends that a depth drill may aim at in one stub. Equal stubs have equal windows.

    Parameters
    ----------
    rules : FabricatorRules
        Rules of the fabricator.
    shape : StubShape
        The stub as drawn.
    face_si : float
        Near face [m] of the layer in use, which must not be cut.
    sensed_si : float
        Near face [m] of the layer that the drill senses, 0 if it senses none.
    barrel_si, rest_si : float
        Length of the barrel as drawn [m] before that face of the layer in use, and beyond it.
    leads_si : tuple of float
        How far the tip or shoulder lies beyond the end of the plating [m]; several values where the tip is unknown.
    longest_si : float
        Longest permitted stub [m]; infinite where a limit for the sum of several stubs decides.
    lower, upper : tuple of Bound
        Every limit on the end that is aimed at.
    reasons : tuple of Refusal
        Why the stub cannot be drilled; empty where it can.
    budget_at : {"worst", "nominal"}
        At which depth the stub must keep its budget.
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
    reasons: tuple[Refusal, ...] = ()
    budget_at: BudgetAt = "worst"

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

    @cached_property
    def shallowest_si(self) -> float:
        """Shallowest end that may be aimed at [m]: the stub is short enough at the depth that ``budget_at`` names."""
        return max(bound.end for bound in self.lower)

    @cached_property
    def deepest_si(self) -> float:
        """Deepest end that may be aimed at [m]: nothing in use is touched at worst tolerance."""
        return min(bound.end for bound in self.upper)

    @property
    def reason(self) -> str:
        """Why the stub cannot be drilled, in words; empty where it can."""
        return "; ".join(map(str, self.reasons))

    def holds(self, end: float) -> bool:
        """Whether this end [m] may be aimed at.

        Parameters
        ----------
        end : float
            End of the plating that is aimed at [m].

        Returns
        -------
        bool
            True if the end lies in the window.
        """
        return not self.reasons and self.shallowest_si - MET <= end <= self.deepest_si + MET

    def left(self, end: float) -> PlatingLeft:
        """Plating that is left before the stub's own layer in use when an end is aimed at.

        Parameters
        ----------
        end : float
            End of the plating that is aimed at [m].

        Returns
        -------
        PlatingLeft
            Lengths [m]. One that differs from the longest permitted stub by no more than ``MET`` is that length itself.
            So a stub in whose window an end lies never exceeds its limit, wherever it is judged later. None is longer
            than the stub as drawn: a drill that may not reach the plating leaves all of it.
        """
        drawn = self.shape.stub_length_si
        left = [min(each, drawn) for each in left_before(self.face_si, end, self)]
        return PlatingLeft(*(self.longest_si if abs(each - self.longest_si) <= MET else each for each in left))

    def __repr__(self) -> str:
        ends = "no end" if self.reasons else f"ends {in_mm(self.shallowest_si)} to {in_mm(self.deepest_si)}"
        return f"<Window of a stub beyond {self.layer}, drilled from the {self.side}: {ends}>"


def kept_length(window: Window, end: float) -> float:
    """Length of a stub that must keep its budget when an end is aimed at.

    Parameters
    ----------
    window : Window
        Window of the stub.
    end : float
        End of the plating that is aimed at [m].

    Returns
    -------
    float
        Length [m]. Where more of the stub must stay than the drill leaves, it is that.
    """
    return max(window.shape.least_length_si, window.left(end).at(window.budget_at))


def left_before(face: float, end: float, window: Window) -> PlatingLeft:
    """Plating that is left before a face of any layer when an end is aimed at.

    Parameters
    ----------
    face : float
        Depth of the face [m].
    end : float
        End of the plating that is aimed at [m].
    window : Window
        Window of the stub.

    Returns
    -------
    PlatingLeft
        Lengths [m].
    """
    limits = [window.rules.tolerance.left(face, end, window.sensed_si, lead) for lead in window.leads_si]
    least, most = min(limit[0] for limit in limits), max(limit[1] for limit in limits)
    return PlatingLeft(*(0.0 if abs(length) <= MET else float(length) for length in (least, face - end, most)))


def window(shape: StubShape, longest: float, rules: FabricatorRules, budget_at: BudgetAt = "worst") -> Window:
    """Window of one stub under the fabricator's rules, for every value that an unknown rule may have.

    Parameters
    ----------
    shape : StubShape
        The stub as drawn.
    longest : float
        Longest permitted stub [m]: its net meets the criterion with every stub up to this length.
    rules : FabricatorRules
        Rules of the fabricator.
    budget_at : {"worst", "nominal"}
        At which depth the stub must keep its budget.

    Returns
    -------
    Window
        The window.
    """
    view = side_view(shape.stackup, rules, shape.side)
    outer, in_use, inner = barrel_positions(shape, view)
    face = float(view.near[in_use])
    cases = rules.cases()
    bounds = Window(
        rules=rules, shape=shape, face_si=face, sensed_si=view.sensed, barrel_si=face - float(view.near[outer]),
        rest_si=float(view.far[inner]) - face,
        leads_si=tuple(sorted({lead_si(shape.padstack.drill_si, case) for case in cases})), longest_si=longest,
        lower=tuple(bound for case in cases for bound in _lower_bounds(shape, view, longest, case, budget_at)),
        upper=tuple(bound for case in cases for bound in _upper_bounds(shape, view, case)),
        budget_at=budget_at,
    )  # fmt: skip
    cut = max(clearance_before(shape, case) for case in cases)
    return bounds.replaced(reasons=refusals_of(bounds, view, cut))


def inner_cone(shape: StubShape, rules: FabricatorRules) -> float:
    """How far [m] the drill reaches beyond the end of the plating on the inside of the barrel.

    Where the finished diameter is unknown, this is the distance to the point of the drill.

    Parameters
    ----------
    shape : StubShape
        The stub as drawn.
    rules : FabricatorRules
        Rules of the fabricator.

    Returns
    -------
    float
        Length [m].
    """
    outer, finished = shape.padstack.drill_si / 2, (shape.padstack.finished_si or 0.0) / 2
    return rules.tip_height(outer) - rules.tip_height(finished)


def clearance_before(shape: StubShape, rules: FabricatorRules) -> float:
    """Plating [m] that must be left before a layer so that nothing of the layer is touched.

    The tip is a cone, so it cuts the inside of the barrel deeper than the outside. The plating that is left must be at
    least as long as the cone is high between these two radii. Where ``tip_distance`` is known, the point of the drill
    must also stay that far away from the layer.

    Parameters
    ----------
    shape : StubShape
        The stub as drawn.
    rules : FabricatorRules
        Rules of the fabricator.

    Returns
    -------
    float
        Length [m].
    """
    inside = inner_cone(shape, rules)
    if rules.tip_distance_si is None:
        return inside
    return max(inside, _tip(shape, rules) + rules.tip_distance_si)


def _tip(shape: StubShape, rules: FabricatorRules) -> float:
    """How far [m] the point of the drill lies beyond the end of the plating."""
    return rules.tip_height(shape.padstack.drill_si / 2)


def lead_si(primary_drill: float, rules: FabricatorRules) -> float:
    """How far [m] the point that depth is measured to (tip or shoulder) lies beyond the end of the plating.

    It is negative where that point does not reach the end of the plating.

    Parameters
    ----------
    primary_drill : float
        Diameter of the primary drill [m].
    rules : FabricatorRules
        Rules of the fabricator.

    Returns
    -------
    float
        Length [m].
    """
    tip = rules.tip_height(primary_drill / 2)
    if rules.depth_to == "tip":
        return tip
    return tip - rules.tip_height(rules.drill_si(primary_drill) / 2)


def _lower_bounds(
    shape: StubShape, view: SideView, longest: float, rules: FabricatorRules, budget_at: BudgetAt
) -> list[Bound]:
    """Lower limits on the end: a shallower end would break them."""
    lead, face = lead_si(shape.padstack.drill_si, rules), float(view.near[barrel_positions(shape, view).in_use])
    at_worst = rules.tolerance.shallowest(face, longest, view.sensed, lead)
    budget = at_worst if budget_at == "worst" else face - longest
    least_depth = rules.least_depth_si or 0.0
    least = max(least_depth - lead, float(view.near[0]) + 10 * ROUNDING)
    bounds = [
        Bound(budget, Obstacle.BUDGET, f"longest permitted stub {in_mm(longest)}"),
        Bound(least, Obstacle.THIN, f"least depth {in_mm(least_depth)}"),
    ]
    sensed = rules.tolerance.sensed_layer(shape.side)
    if sensed:
        bounds.append(
            Bound(view.sensed - _tip(shape, rules), Obstacle.SENSED, f"{sensed} must be reached to be sensed")
        )
    return bounds


def _upper_bounds(shape: StubShape, view: SideView, rules: FabricatorRules) -> list[Bound]:
    """Upper limits on the end: a deeper end could touch something at worst tolerance. The first is the layer in use.

    With a guaranteed residual stub, the end of the stub's own layer in use is the deepest, even where a deeper end
    would not touch that layer. Otherwise the must-not-cut layer would lie behind the layer in use.
    """
    positions = barrel_positions(shape, view)
    lead, face = lead_si(shape.padstack.drill_si, rules), float(view.near[positions.in_use])

    def limit_before(face: float, plating: float, kind: Obstacle, text: str) -> Bound:
        return Bound(rules.tolerance.deepest(face, plating, view.sensed, lead), kind, text)

    def limit_before_layer(layer: str, kind: Obstacle, text: str) -> Bound:
        bound = limit_before(view.near_face(layer), clearance_before(shape, rules), kind, text)
        aimed = rules.tolerance.aimed(view.near_face(layer))
        return bound if aimed is None else bound._replace(end=min(bound.end, aimed))

    bounds = [limit_before_layer(shape.layer, Obstacle.CUTS, f"{shape.layer} must not be cut")]
    limit = rules.deepest(shape.side)
    if limit is not None and limit != ANY_LAYER and view.position(limit) < positions.in_use:
        text = f"no layer beyond {limit} can be reached from the {shape.side}"
        bounds.append(limit_before_layer(limit, Obstacle.DEEPEST, text))
    fit = shape.press_fit
    if fit and view.from_far_face(fit, fit.contact_to_si) is not None:
        text = f"the press-fit contact zone reaches {in_mm(fit.contact_to_si)} into the board from the other face"
        plating = fit.contact_to_si + inner_cone(shape, rules)
        bounds.append(limit_before(float(view.far[-1]), plating, Obstacle.CONTACT, text))
    rest = rules.tolerance.shrunk(float(view.far[positions.inner]) - face)
    least_plated = rules.least_plated_si or 0.0
    text = f"{in_mm(least_plated)} of plated barrel must remain"
    return [*bounds, limit_before(face, least_plated - rest, Obstacle.PLATED, text)]
