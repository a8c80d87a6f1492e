"""Owns the cross-section picture of a drilling plan: stackup, one hole of every drill group, bore and stub left."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.checks import checked
from stubsi.drilling.plan import Plan
from stubsi.drilling.rules import cone_height
from stubsi.drilling.side_view import side_view
from stubsi.show.axes import axes_for, draw_labels
from stubsi.show.palette import AIR, BLACK, COPPER, DARK_BLUE, DIELECTRIC, OCHRE
from stubsi.show.section_layout import LARGEST, LINE_PITCH, Frame, apart, figure_size, frame_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from matplotlib.axes import Axes

    from stubsi.drilling.drill_group import Group

MUST_NOT_CUT = DARK_BLUE
"""Colour of the must-not-cut layer of each drill group."""
PITCH = 3.0
"""Distance of the holes drawn side by side, as a multiple of the widest diameter drawn [-]."""


def plot_section(plan: Plan, ax: Axes | None = None) -> Axes:
    """Plot the board in section with one hole of every drill group, drilled to its nominal depth.

    Depth [mm] runs down from the top copper face; widths are to one scale, depths to another. Planes end at the
    clearance as drawn; a plane whose clearance is unknown is dotted. The must-not-cut layer is blue and thicker, and
    drawn up to the barrel; the other layers that the net uses in this hole are drawn up to it in copper. The hatched
    band is where the plating may end over all tolerances, between the least and the greatest residual stub. The tip is
    a solid cone, or flat if its angle is unknown.

    The label of a group names its number, its must-not-cut layer, its residual stub, its holes and its two drills. Many
    groups stand in rows, one below the other. In axes that are too small for that, the labels stand upright, and holes
    and drills are left out of them. The names of the layers are moved apart where the layers lie close; where there is
    no room for all, only the outer and the must-not-cut layers are named.

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
    groups = checked(plan, "plan", Plan).groups
    width, height = figure_size(max(1, len(groups)))
    ax = axes_for(ax, width=width, height=height)
    pitch = PITCH * max((1e3 * group.drill_si for group in groups), default=0.5)
    frame = frame_of(ax, plan)
    rows = [
        _Row(groups[n * frame.columns : (n + 1) * frame.columns], n * frame.columns, n * frame.step, pitch)
        for n in range(frame.rows)
    ]
    for row in rows:
        _draw_row(ax, plan, frame, row)
    for row in rows:
        _draw_layer_names(ax, plan, row, frame)
    ax.set_xlim(0, pitch * frame.columns)
    ax.set_ylim(frame.bottom + (frame.rows - 1) * frame.step, frame.top)
    _draw_depths(ax, frame)
    ax.set_xticks([])
    ax.spines[:].set_visible(False)
    draw_labels(ax, f"Drilling plan {plan.digest} in section", y="depth [mm]")
    return ax


class _Row(NamedTuple):
    """A row of groups: its groups, the number of the first, how far down it stands [mm], and the width of each [mm]."""

    groups: Sequence[Group]
    first: int
    down: float
    pitch: float


def _draw_row(ax: Axes, plan: Plan, frame: Frame, row: _Row) -> None:
    """One row: the board, its layers, and its groups with their labels."""
    width = row.pitch * max(len(row.groups), 1)
    ax.fill_between([0, width], row.down, row.down + frame.thickness, color=DIELECTRIC, linewidth=0)
    _draw_copper(ax, plan, row, frame)
    for number, group in enumerate(row.groups):
        x = row.pitch * (number + 0.5)
        _draw_hole(ax, plan, group, (x, row.down), frame)
        _draw_label(ax, group, frame.labels[row.first + number], (x, row.down), frame)


def _draw_depths(ax: Axes, frame: Frame) -> None:
    """Depths on the axis, from the top face of the board of every row."""
    from matplotlib.ticker import MaxNLocator

    most = max(2, min(6, int(frame.thickness / frame.per_point / 16.0)))
    ticks = [
        float(tick)
        for tick in MaxNLocator(most, steps=[1, 2, 5, 10]).tick_values(0, frame.thickness)
        if 0 <= tick <= frame.thickness
    ]
    places = [row * frame.step + tick for row in range(frame.rows) for tick in ticks]
    ax.set_yticks(places, [f"{tick:g}" for tick in ticks] * frame.rows, fontsize="small")


def _draw_label(ax: Axes, group: Group, lines: list[str], place: tuple[float, float], frame: Frame) -> None:
    """Label of a group, outside of the board on the side where it is drilled."""
    x, down = place
    gap = 0.5 * frame.letters * frame.per_point
    y = down - gap if group.side == "top" else down + frame.thickness + gap
    align = "bottom" if group.side == "top" else "top"
    ax.text(
        x, y, "\n".join(lines), ha="center", va=align, fontsize=frame.letters, linespacing=1.1,
        rotation=90 if frame.upright else 0, parse_math=False,
    )  # fmt: skip


def _draw_layer_names(ax: Axes, plan: Plan, row: _Row, frame: Frame) -> None:
    """Names of the layers beside the board, moved apart, each with a thin line to its layer."""
    stackup, right, down = plan.board.stackup, max(len(row.groups), 1) / frame.columns, row.down
    step = 1.1 * LINE_PITCH * LARGEST * frame.per_point
    named = list(stackup.names)
    most = int((frame.thickness + 2 * step) / step)
    if len(named) > most:
        kept = {named[0], named[-1], *(group.layer for group in row.groups)}
        named = [name for name in named if name in kept]
    size = min(LARGEST, LARGEST * (frame.thickness + 2 * step) / len(named) / step)
    step *= size / LARGEST
    faces = [1e3 * (stackup.face_si(name, "upper") + stackup.face_si(name, "lower")) / 2 for name in named]
    beside = ax.get_yaxis_transform()
    for name, face, at in zip(named, faces, apart(faces, step), strict=True):
        ax.plot(
            [right, right + 0.025], [down + face, down + at], color=COPPER, linewidth=0.4, transform=beside,
            clip_on=False,
        )  # fmt: skip
        ax.text(right + 0.03, down + at, name, va="center", fontsize=size, parse_math=False, transform=beside)


class _Line(NamedTuple):
    """A piece of copper, drawn level."""

    y: float
    start: float
    end: float
    colour: str
    style: str
    width: float


def _draw_copper(ax: Axes, plan: Plan, row: _Row, frame: Frame) -> None:
    """Draw the copper around every hole of a row."""
    pitch = row.pitch
    lines = [line for n, group in enumerate(row.groups) for line in _copper(plan, group, pitch * n, pitch)]
    if lines:
        ys, starts, ends, colours, styles, widths = zip(*lines, strict=True)
        ax.hlines(
            row.down + np.array(ys), starts, ends, colors=colours, linestyles=styles,
            linewidths=frame.scale * np.array(widths), capstyle="butt",
        )  # fmt: skip


def _copper(plan: Plan, group: Group, left: float, pitch: float) -> Iterator[_Line]:
    """Planes up to their clearance, and the layers that the net uses in this hole up to the barrel."""
    stackup, hole = plan.board.stackup, group.hits[0].hole
    for layer in stackup.copper:
        antipad = hole.padstack.antipad_at(layer.name, layer.role)
        if layer.name == group.layer:
            width, style, colour, thickness = group.primary_si, "-", MUST_NOT_CUT, 2.5
        elif layer.name in hole.connects:
            width, style, colour, thickness = group.primary_si, "-", COPPER, 1.5
        elif antipad is not None:
            width, style, colour, thickness = antipad.width_si, "-", COPPER, 1.5
        elif layer.role == "plane":
            width, style, colour, thickness = group.drill_si, ":", COPPER, 1.5
        else:
            continue
        at = 1e3 * (stackup.face_si(layer.name, "upper") + stackup.face_si(layer.name, "lower")) / 2
        gap = (pitch - 1e3 * width) / 2
        if gap > 0:
            for start in (left, left + pitch - gap):
                yield _Line(at, start, start + gap, colour, style, thickness)


def _draw_hole(ax: Axes, plan: Plan, group: Group, place: tuple[float, float], frame: Frame) -> None:
    """The barrel that is left, the bore of the depth drill, and the band of the ends of the plating."""
    (x, down), thickness, hit = place, frame.thickness, group.hits[0]
    height = 1e3 * float(side_view(plan.board.stackup, plan.rules, group.side).near[0])
    angle = plan.rules.tip_angle or 180.0
    barrel, drill = 5e2 * group.primary_si, 5e2 * group.drill_si
    end, far = 1e3 * group.end_si - height, 1e3 * (hit.window.face_si + hit.window.rest_si) - height
    point = end + float(cone_height(barrel, angle))
    shoulder = point - float(cone_height(drill, angle))
    face = 1e3 * group.face_si - height

    def depth(from_face: float) -> float:
        return down + (from_face if group.side == "top" else thickness - from_face)

    ax.fill_betweenx([depth(end), depth(far)], x - barrel, x + barrel, color=AIR, linewidth=0)
    ax.vlines([x - barrel, x + barrel], depth(end), depth(far), colors=COPPER, linewidth=2 * frame.scale)
    outline = [(-drill, 0.0), (-drill, shoulder), (0.0, point), (drill, shoulder), (drill, 0.0)]
    ax.fill(*zip(*((x + w, depth(d)) for w, d in outline), strict=True), facecolor=AIR, edgecolor=BLACK, linewidth=0.5)
    ends = [depth(face - 1e3 * left) for left in (group.left.least_si, group.left.most_si)]
    ax.fill_betweenx(
        ends, x - 1.25 * drill, x + 1.25 * drill, facecolor="none", edgecolor=OCHRE, hatch="/////", linewidth=0.8,
        zorder=3,
    )  # fmt: skip
