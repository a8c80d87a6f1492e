"""Owns the cross-section picture of a drilling plan: stackup, one hole of every drill group, bore and stub left."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.drilling.rules import cone_height

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stubsi.drilling.group import Group
    from stubsi.drilling.plan import Plan

COPPER, DIELECTRIC, BORE = "#b87333", "#dfe8d8", "white"


def draw_section(plan: Plan, ax: Axes | None = None) -> Axes:
    """Draw the board in section with one hole of every drill group, at the depth aimed at.

    Depth runs down from the top copper face [mm]; widths [mm] are to scale with each other, not with the depths. The
    tip is drawn as a solid cone; one whose angle is unknown as flat.

    Parameters
    ----------
    plan : Plan
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure unless given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    if ax is None:
        from matplotlib.figure import Figure

        ax = Figure(figsize=(1.6 + 1.4 * max(1, len(plan.groups)), 4.0), layout="constrained").add_subplot()
    widest = 1e3 * max((group.drill_si for group in plan.groups), default=0.5)
    _draw_layers(ax, plan, 2.5 * widest * max(1, len(plan.groups)))
    for number, group in enumerate(plan.groups):
        _draw_group(ax, plan, group, 2.5 * widest * (number + 0.5))
    thickness = 1e3 * plan.board.stackup.edges_si[-1]
    ax.set_ylim(1.3 * thickness, -0.3 * thickness)
    ax.set_xticks([])
    ax.spines[:].set_visible(False)
    ax.set_ylabel("depth [mm]")
    ax.set_title(f"drilling plan {plan.digest}", fontsize="small")
    return ax


def _draw_layers(ax: Axes, plan: Plan, width: float) -> None:
    stackup = plan.board.stackup
    for layer, top, bottom in zip(stackup.layers, stackup.edges_si, stackup.edges_si[1:], strict=False):
        copper = layer in stackup.copper
        ax.fill_between([0, width], 1e3 * top, 1e3 * bottom, color=COPPER if copper else DIELECTRIC, linewidth=0)
        if copper:
            ax.text(width, 5e2 * (top + bottom), f" {layer.name}", va="center", fontsize="x-small")


def _draw_group(ax: Axes, plan: Plan, group: Group, x: float) -> None:
    thickness = 1e3 * plan.board.stackup.edges_si[-1]
    height = _datum_height(plan, group.side)
    end = 1e3 * (group.end_si - height)
    angle = plan.rules.tip_angle or 180.0
    barrel, drill = 5e2 * group.primary_si, 5e2 * group.drill_si
    point = end + 1e3 * float(cone_height(group.primary_si / 2, angle))
    shoulder = point - 1e3 * float(cone_height(group.drill_si / 2, angle))

    def depth(from_face: float) -> float:
        return from_face if group.side == "top" else thickness - from_face

    ax.fill_betweenx([depth(end), depth(thickness)], x - barrel, x + barrel, color=BORE, linewidth=0)
    for edge in (-barrel, barrel):
        ax.plot([x + edge] * 2, [depth(end), depth(thickness)], color=COPPER, linewidth=2)
    outline = [(-drill, 0.0), (-drill, shoulder), (0.0, point), (drill, shoulder), (drill, 0.0)]
    ax.fill(
        *zip(*((x + w, depth(d)) for w, d in outline), strict=True), facecolor=BORE, edgecolor="black", linewidth=0.5
    )
    label = f"group {group.number}\n{len(group.hits)} holes\nkeep {group.layer}"
    at = depth(-0.04 * thickness)
    ax.text(x, at, label, ha="center", va="bottom" if group.side == "top" else "top", fontsize="x-small")


def _datum_height(plan: Plan, side: str) -> float:
    """Height [m] of the datum of the drilled side above its outer copper face."""
    from stubsi.drilling.frame import frame

    return float(frame(plan.board.stackup, plan.rules, side).near[0])
