"""Plans drilled in the mind: the solid of every drill at every corner of the tolerances, against the copper in use.

Nothing of the library but the plan and the schedule's numbers: depths from the drawing, all lengths in mm.
"""

from __future__ import annotations

import itertools
import math
from collections import defaultdict
from typing import NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stubsi import Board, PressFit
from stubsi.drilling.guaranteed_residual import GuaranteedResidual
from stubsi.drilling.planning import plan
from tests import drilling_boards as made

ROUND = 1e-6
COPPER = 0.05


class Corner(NamedTuple):
    """One outcome: relative change of thickness, error of the depth (or residual stub), angle and distance of the tip.

    ``height``: of the cone of the tip over its radius.
    """

    stretch: float
    error: float
    angle: float
    distance: float

    def height(self, radius):
        return 0.0 if self.angle == 180 else radius / math.tan(math.radians(self.angle / 2))


def corners(its_rules):
    """Every corner of the tolerances, and of what is unknown of the tip.

    Under a guaranteed residual stub alone the point may be inside the hole beyond the face: no copper is there.
    """
    told = its_rules.tolerance
    if isinstance(told, GuaranteedResidual):
        stretches, errors = (0.0,), (1e3 * told.least_si, 1e3 * told.most_si)
    else:
        stretches, errors = (-told.thickness_minus, told.thickness_plus), (-1e3 * told.minus_si, 1e3 * told.plus_si)
    angles = (90, 120, 180) if its_rules.tip_angle is None else (its_rules.tip_angle,)
    known, guaranteed = its_rules.tip_distance_si, isinstance(told, GuaranteedResidual)
    distance = 1e3 * known if known is not None else -math.inf if guaranteed else 6 * 0.0254
    return [Corner(*corner, distance) for corner in itertools.product(stretches, errors, angles)]


class Drawing(NamedTuple):
    """The board from one side as the corner has it: near face of every layer, and the far side of the panel."""

    near: dict[str, float]
    end: float
    stretch: float
    sensed: float

    def at(self, drawn):
        """Where a depth as drawn comes to lie."""
        return drawn + self.stretch * (drawn - self.sensed)


def drawing(board, its_rules, side, stretch):
    """Depths below the datum: the outer copper face, or the laminate below it."""
    names = [layer.name for layer in board.stackup.layers if hasattr(layer, "name")]
    gaps = [round(1e3 * layer.thickness_si, 6) for layer in board.stackup.layers if not hasattr(layer, "name")]
    if side == "bottom":
        names, gaps = names[::-1], gaps[::-1]
    offset = COPPER if its_rules.datum == "laminate" else 0.0
    near = {name: sum(gaps[:i]) + i * COPPER - offset for i, name in enumerate(names)}
    layer = dict(getattr(its_rules.tolerance, "sensed", ())).get(side)
    return Drawing(near, near[names[-1]] + COPPER, stretch, near[layer] if layer else 0.0)


def point_of_drill(group, its_rules, seen, corner):
    """Depth of the drill's point, from what the schedule says: the depth with its datum, or layer and residual."""
    primary, drill = 1e3 * group.primary_si, 1e3 * group.drill_si
    if isinstance(its_rules.tolerance, GuaranteedResidual):
        return seen.near[group.layer] - corner.error + corner.height(primary / 2)
    told = 1e3 * group.depth_si[0]
    if its_rules.tip_angle is None:
        told = 1e3 * group.end_si + corner.height(primary / 2)
        told -= corner.height(drill / 2) if its_rules.depth_to == "shoulder" else 0.0
    if its_rules.tolerance.reference == "measured thickness":
        told *= 1 + corner.stretch
    return told + corner.error + (corner.height(drill / 2) if its_rules.depth_to == "shoulder" else 0.0)


def radius_at(depth, point, drill, corner):
    """Radius of the drill's solid at a depth; 0 ahead of its point."""
    if depth >= point - ROUND:
        return 0.0
    return (
        drill / 2 if corner.angle == 180 else min(drill / 2, (point - depth) * math.tan(math.radians(corner.angle / 2)))
    )


def used_layers(board, hole):
    """Layers in use by a hole: its connections, and the face its pin enters at."""
    names = board.stackup.names
    pressed = [] if hole.press_fit is None else [names[0 if hole.press_fit.side == "top" else -1]]
    return [name for name in names if name in (*hole.connects, *pressed)]


def kept_clear(board, hole, side, seen):
    """Depths at which something in use begins, as the corner has them, seen from the drilled side."""
    used = used_layers(board, hole)
    own = used[-1] if side == "bottom" else used[0]
    yield seen.at(seen.near[own])
    fit = hole.press_fit
    if fit is not None and fit.side != side:
        yield seen.at(seen.end) - 1e3 * fit.contact_to_si


def check_hit(board, its_rules, group, hit, corner):
    """Length of the stub left; nothing in use is met by the drill, nor nearer to its point than the rule says."""
    seen = drawing(board, its_rules, hit.side, corner.stretch)
    point = point_of_drill(group, its_rules, seen, corner)
    finished = 1e3 * hit.hole.padstack.finished_si
    clear = list(kept_clear(board, hit.hole, hit.side, seen))
    for depth in clear:
        assert radius_at(depth, point, 1e3 * group.drill_si, corner) <= finished / 2 + 1e-5
    assert point + corner.distance <= clear[0] + ROUND
    end = point - corner.height(1e3 * group.primary_si / 2)
    assert clear[0] - end >= -ROUND
    return clear[0] - end, end


def plating_left(board, its_rules, hole, ends, stretch):
    """Plated barrel between what is drilled away from either side."""
    names = board.stackup.names
    first, last = hole.padstack.span or (names[0], names[-1])
    top, bottom = (drawing(board, its_rules, side, stretch) for side in ("top", "bottom"))
    upper = ends.get("top", top.at(top.near[first]))
    lower = ends.get("bottom", bottom.at(bottom.near[last]))
    offset = COPPER if its_rules.datum == "laminate" else 0.0
    whole = top.end - offset
    return whole + stretch * (whole - top.sensed - bottom.sensed) - upper - lower


def check_plan(board, its_rules):
    found = plan(board, its_rules, model="uniform", dk_eff=4)
    spoiled = {each.net for each in (*found.refused, *found.missed)}
    hits = {(hit.hole.name, hit.side): (group, hit) for group in found.groups for hit in group.hits}
    for corner in corners(its_rules):
        left = {key: check_hit(board, its_rules, *both, corner) for key, both in hits.items()}
        for net in board.nets:
            for hole in net.holes:
                ends = {side: left[hole.name, side][1] for side in ("top", "bottom") if (hole.name, side) in left}
                if ends:
                    barrel = plating_left(board, its_rules, hole, ends, corner.stretch)
                    assert barrel >= 1e3 * its_rules.least_plated_si - ROUND
            if net.name not in spoiled:
                check_budget(board, its_rules, net, {key: value[0] for key, value in left.items()})
    return found


def check_budget(board, its_rules, net, left):
    """Stubs of a net that is called served, as they come out in one corner, are within its criterion."""
    lengths = defaultdict(list)
    for hole, side in itertools.product(net.holes, ("top", "bottom")):
        seen, used = drawing(board, its_rules, side, 0.0), used_layers(board, hole)
        span = hole.padstack.span or (board.stackup.names[0], board.stackup.names[-1])
        own, outer = (used[0], span[0]) if side == "top" else (used[-1], span[1])
        length = left.get((hole.name, side), seen.near[own] - seen.near[outer])
        lengths[hole.name, hole.padstack.drill_si].append(1e-3 * length)
    if net.criterion.measure == "loss":
        losses = (made.loss_by_hand(*in_hole, drill=drill) for (_, drill), in_hole in lengths.items())
        assert sum(losses) <= net.criterion.limit + 1e-6
    else:
        assert max(map(max, lengths.values())) <= net.criterion.limit + 1e-3 * ROUND


SENSED = st.builds(
    made.depth_tolerance,
    plus=made.tenths(0, 0.1),
    minus=made.tenths(0, 0.1),
    thicker=st.sampled_from([0.0, 0.1, 0.3]),
    thinner=st.sampled_from([0.0, 0.1, 0.3]),
    reference=st.just("sensed layer"),
    sensed=st.sampled_from([{"bottom": "L3", "top": "L2"}, {"bottom": "L4", "top": "L1"}]),
)


def drilled_rules(tolerance, **more):
    """Rules under which many a stub can be drilled, whatever the tip."""
    return st.builds(
        made.rules,
        tolerance=tolerance,
        tip_angle=st.sampled_from([90, 130, 150, 180, None]),
        tip_distance=st.none() | made.tenths(0, 0.06).map(made.mm),
        least_plated=st.just("0 mm") | made.tenths(0.1, 0.8).map(made.mm),
        datum=st.sampled_from(["copper", "laminate"]),
        depth_to=st.sampled_from(["tip", "shoulder"]),
        **more,
    )


RULES_OF_THUMB = {
    "guaranteed residual": drilled_rules(made.SOUND_RESIDUALS, sides=made.SIDES),
    "face or measured": drilled_rules(made.FACE_TOLERANCES, sides=made.SIDES),
    "sensed layer": drilled_rules(SENSED),
}


@st.composite
def pressed_boards(draw):
    """Holes with a pin in them from one face, whose contact zone is nearer to the drill than any layer in use."""
    gaps, nets = draw(st.lists(made.tenths(0.1, 0.5), min_size=3, max_size=5)), []
    for number in range(draw(st.integers(1, 3))):
        side, reach = draw(st.sampled_from(["top", "bottom"])), made.mm(draw(made.tenths(0.2, 0.44)))
        face = "L1" if side == "top" else f"L{len(gaps) + 1}"
        fit = PressFit(side=side, contact_from="0.1 mm", contact_to=reach)
        nets.append(made.net(f"n{number}", (face,), draw(made.tenths(0.5, 1.2)), press_fit=fit))
    return Board(stackup=made.stackup(gaps), nets=tuple(nets))


BOARDS = made.boards() | made.coupled_boards() | pressed_boards()


@pytest.mark.parametrize("its_rules", RULES_OF_THUMB.values(), ids=list(RULES_OF_THUMB))
@settings(max_examples=15)
@given(data=st.data(), board=BOARDS)
def test_no_corner_cuts_what_is_in_use_or_leaves_too_much(its_rules, data, board):
    check_plan(board, data.draw(its_rules))


@pytest.mark.slow
@pytest.mark.parametrize("its_rules", RULES_OF_THUMB.values(), ids=list(RULES_OF_THUMB))
@settings(max_examples=3000)
@given(data=st.data(), board=BOARDS)
def test_no_corner_cuts_what_is_in_use_or_leaves_too_much_thousands(its_rules, data, board):
    check_plan(board, data.draw(its_rules))
