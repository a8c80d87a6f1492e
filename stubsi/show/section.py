"""Owns the cross-section picture of a drilling plan: stackup, one hole of every drill group, bore and stub left.

Needs the extra ``plot`` (matplotlib).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.checks import checked
from stubsi.drilling.plan import Plan
from stubsi.drilling.rules import cone_height
from stubsi.drilling.side_view import side_view
from stubsi.show.axes import axes_for
from stubsi.show.palette import AIR, COPPER, DARK_BLUE, DIELECTRIC

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stubsi.drilling.drill_group import Group

MUST_NOT_CUT = DARK_BLUE
"""Colour of the must-not-cut layer of each drill group."""
LABEL_ROOM = 0.3
"""Height of the room for labels above or below the board, over the thickness of the board [-]."""
PITCH = 3.0
"""Distance of the holes drawn side by side, as a multiple of the widest diameter drawn [-]."""


def plot_section(plan: Plan, ax: Axes | None = None) -> Axes:
    """Plot the board in section with one hole of every drill group, drilled to its nominal depth.

    Depth [mm] runs down from the top copper face; widths are to one scale, depths to another. Planes
    end at the clearance as drawn; a plane whose clearance is unknown is dotted. The must-not-cut layer is blue and
    thicker, and drawn up to the barrel. Other signal layers are left out. The tip is a solid cone, or flat if its angle
    is unknown.

    Parameters
    ----------
    plan : Plan
        Whose drill groups are drawn.
    ax : matplotlib.axes.Axes, optional
        Where to draw; of a new figure unless given.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    StubsiError
        matplotlib is missing; no plan; no axes.
    """
    count = max(1, len(checked(plan, "plan", Plan).groups))
    ax = axes_for(ax, width=1.6 + 1.4 * count, height=4.0)
    thickness = 1e3 * plan.board.stackup.edges_si[-1]
    pitch = PITCH * max((1e3 * group.drill_si for group in plan.groups), default=0.5)
    ax.fill_between([0, pitch * count], 0, thickness, color=DIELECTRIC, linewidth=0)
    for layer in plan.board.stackup.copper:
        at = 1e3 * plan.board.stackup.face_si(layer.name, "lower")
        ax.text(pitch * count, at, f" {layer.name}", va="center", fontsize="x-small", parse_math=False)
    for number, group in enumerate(plan.groups):
        _draw_copper(ax, plan, group, pitch * number, pitch)
        _draw_hole(ax, plan, group, pitch * (number + 0.5))
    sides = {group.side for group in plan.groups}
    above, below = (LABEL_ROOM if side in sides else 0.05 for side in ("top", "bottom"))
    ax.set_ylim((1 + below) * thickness, -above * thickness)
    ax.set_yticks([tick for tick in ax.get_yticks() if 0 <= tick <= thickness])
    ax.set_xticks([])
    ax.spines[:].set_visible(False)
    ax.set_ylabel("depth [mm]")
    ax.set_title(f"drilling plan {plan.digest}", fontsize="small")
    return ax


def _draw_copper(ax: Axes, plan: Plan, group: Group, left: float, pitch: float) -> None:
    """Planes up to their clearance, and the must-not-cut layer up to the barrel."""
    stackup, padstack = plan.board.stackup, group.hits[0].hole.padstack
    for layer in stackup.copper:
        antipad = padstack.antipad_at(layer.name, layer.role)
        if layer.name == group.layer:
            width, style, colour, thickness = group.primary_si, "-", MUST_NOT_CUT, 2.5
        elif antipad is not None:
            width, style, colour, thickness = antipad.width_si, "-", COPPER, 1.5
        elif layer.role == "plane":
            width, style, colour, thickness = group.drill_si, ":", COPPER, 1.5
        else:
            continue
        faces = [1e3 * stackup.face_si(layer.name, face) for face in ("upper", "lower")]
        gap = (pitch - 1e3 * width) / 2
        for start in (left, left + pitch - gap):
            ax.plot(
                [start, start + gap],
                [sum(faces) / 2] * 2,
                style,
                color=colour,
                linewidth=thickness,
                solid_capstyle="butt",
            )


def _draw_hole(ax: Axes, plan: Plan, group: Group, x: float) -> None:
    """The barrel that is left, the bore of the depth drill, and a label."""
    thickness, hit = 1e3 * plan.board.stackup.edges_si[-1], group.hits[0]
    height = 1e3 * float(side_view(plan.board.stackup, plan.rules, group.side).near[0])
    angle = plan.rules.tip_angle or 180.0
    barrel, drill = 5e2 * group.primary_si, 5e2 * group.drill_si
    end, far = 1e3 * group.end_si - height, 1e3 * (hit.window.face_si + hit.window.rest_si) - height
    point = end + float(cone_height(barrel, angle))
    shoulder = point - float(cone_height(drill, angle))

    def depth(from_face: float) -> float:
        return from_face if group.side == "top" else thickness - from_face

    ax.fill_betweenx([depth(end), depth(far)], x - barrel, x + barrel, color=AIR, linewidth=0)
    for edge in (-barrel, barrel):
        ax.plot([x + edge] * 2, [depth(end), depth(far)], color=COPPER, linewidth=2)
    outline = [(-drill, 0.0), (-drill, shoulder), (0.0, point), (drill, shoulder), (drill, 0.0)]
    ax.fill(
        *zip(*((x + w, depth(d)) for w, d in outline), strict=True), facecolor=AIR, edgecolor="black", linewidth=0.5
    )
    least, most = (1e3 * limit for limit in (group.left.least_si, group.left.most_si))
    label = (
        f"group {group.number}, holes: {len(group.hits)}\nmust not cut {group.layer}\n{least:.3f}-{most:.3f} mm left"
    )
    at = depth(-0.04 * thickness)
    align = "bottom" if group.side == "top" else "top"
    ax.text(x, at, label, ha="center", va=align, fontsize="x-small", parse_math=False)
