"""Owns the cross-section picture of a drilling plan: stackup, one hole of every drill group, bore and stub left."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.checks import checked
from stubsi.drilling.plan import Plan
from stubsi.drilling.rules import cone_height
from stubsi.drilling.side_view import side_view
from stubsi.show.axes import axes_for, draw_title
from stubsi.show.palette import AIR, BLACK, COPPER, DARK_BLUE, DIELECTRIC, OCHRE

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from matplotlib.axes import Axes

    from stubsi.drilling.drill_group import Group

MUST_NOT_CUT = DARK_BLUE
"""Colour of the must-not-cut layer of each drill group."""
FEW = 5
"""Up to so many drill groups, a new figure gives each of them ample room."""
PITCH = 3.0
"""Distance of the holes drawn side by side, as a multiple of the widest diameter drawn [-]."""
LARGEST, READABLE, SMALLEST = 7.0, 4.0, 2.5
"""Sizes of the letters [points]. Where level labels would be less than readable, they stand upright."""
WIDTH = 0.58
"""Width of a letter over its size [-]; that of the font that matplotlib brings, on average."""
LINE_PITCH = 1.35
"""Distance of two lines of text over the size of their letters [-]."""


def plot_section(plan: Plan, ax: Axes | None = None) -> Axes:
    """Plot the board in section with one hole of every drill group, drilled to its nominal depth.

    Depth [mm] runs down from the top copper face; widths are to one scale, depths to another. Planes end at the
    clearance as drawn; a plane whose clearance is unknown is dotted. The must-not-cut layer is blue and thicker, and
    drawn up to the barrel; the other layers that the net uses in this hole are drawn up to it in copper. The hatched
    band is where the plating may end over all tolerances, between the least and the greatest residual stub. The tip is
    a solid cone, or flat if its angle is unknown.

    The label of a group names its number, its must-not-cut layer, its residual stub, its holes and its two drills. Of
    many groups, and in narrow axes, it stands upright, and holes and drills are left out. The names of the layers are
    moved apart where the layers lie close; where there is no room for all, only the outer and the must-not-cut layers
    are named.

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
    count = max(1, len(groups))
    ax = axes_for(ax, width=_width(count), height=5.2)
    thickness = 1e3 * plan.board.stackup.edges_si[-1]
    pitch = PITCH * max((1e3 * group.drill_si for group in groups), default=0.5)
    frame = _frame(ax, plan, count, thickness)
    ax.fill_between([0, pitch * count], 0, thickness, color=DIELECTRIC, linewidth=0)
    _draw_copper(ax, plan, pitch)
    for number, group in enumerate(groups):
        _draw_hole(ax, plan, group, pitch * (number + 0.5))
        _draw_label(ax, group, frame.labels[number], pitch * (number + 0.5), frame)
    ax.set_xlim(0, pitch * count)
    ax.set_ylim(frame.bottom, frame.top)
    _draw_layer_names(ax, plan, pitch * count, frame)
    ax.set_yticks([tick for tick in ax.get_yticks() if 0 <= tick <= thickness])
    ax.set_xticks([])
    ax.spines[:].set_visible(False)
    ax.set_ylabel("depth [mm]")
    draw_title(ax, f"Drilling plan {plan.digest} in section")
    return ax


def _width(count: int) -> float:
    """Width of a new figure [in]: level labels for some groups, upright ones for many."""
    return max(5.0, 2.3 * count) if count <= FEW else max(min(1.6 * count, 12.5), 0.42 * count + 1.2)


class _Frame(NamedTuple):
    """Room of the picture: ends of the axis of depth [mm], mm per point of height, labels and how they stand."""

    top: float
    bottom: float
    thickness: float
    per_point: float
    labels: list[list[str]]
    letters: float
    upright: bool


def _frame(ax: Axes, plan: Plan, count: int, thickness: float) -> _Frame:
    """Letters as large as the width allows, and room above or below the board for labels of that size."""
    inside = ax.get_window_extent()
    wide, high = (0.9 * 72.0 / ax.figure.dpi * size for size in (inside.width, inside.height))
    column = wide / count
    labels = [_label(group) for group in plan.groups]
    upright = column < READABLE * _longest(labels)
    if not upright:
        letters = min(column / _longest(labels), LARGEST)
        room = (len(labels[0]) + 1 if labels else 1) * LINE_PITCH * letters
    else:
        labels = [[_short_label(group)] for group in plan.groups]
        letters = min(max(column / (LINE_PITCH + 0.3), SMALLEST), LARGEST, 0.4 * high / _longest(labels))
        room = (_longest(labels) + 1.0) * letters
    sides = {group.side for group in plan.groups}
    above, below = (room if side in sides else letters for side in ("top", "bottom"))
    per_point = thickness / max(high - above - below, 0.25 * high)
    return _Frame(-above * per_point, thickness + below * per_point, thickness, per_point, labels, letters, upright)


def _longest(labels: list[list[str]]) -> float:
    """Length of the longest line of all labels over the size of its letters."""
    return WIDTH * max((len(line) for label in labels for line in label), default=1)


def _parts(group: Group) -> tuple[str, str, str]:
    """What the labels of a group are made of: its holes, its drills, its residual stub."""
    least, most = (1e3 * limit for limit in (group.left.least_si, group.left.most_si))
    holes = f"{len(group.hits)} {'hole' if len(group.hits) == 1 else 'holes'}"
    return holes, f"{1e3 * group.primary_si:g}/{1e3 * group.drill_si:g} mm", f"{least:.3f}-{most:.3f} mm left"


def _label(group: Group) -> list[str]:
    """Lines of the label of a group where there is room."""
    holes, drills, left = _parts(group)
    return [f"group {group.number}: {holes}", f"drills {drills}", f"must not cut {group.layer}", left]


def _short_label(group: Group) -> str:
    """What matters most of it on one line, for labels that stand upright."""
    return f"{group.number}: {group.layer}, {_parts(group)[2]}"


def _draw_label(ax: Axes, group: Group, lines: list[str], x: float, frame: _Frame) -> None:
    """Label of a group, outside of the board on the side where it is drilled."""
    gap = 0.5 * frame.letters * frame.per_point
    y = -gap if group.side == "top" else frame.thickness + gap
    align = "bottom" if group.side == "top" else "top"
    ax.text(
        x, y, "\n".join(lines), ha="center", va=align, fontsize=frame.letters, linespacing=1.1,
        rotation=90 if frame.upright else 0, parse_math=False,
    )  # fmt: skip


def _draw_layer_names(ax: Axes, plan: Plan, right: float, frame: _Frame) -> None:
    """Names of the layers beside the board, moved apart, each with a thin line to its layer."""
    stackup = plan.board.stackup
    size = min(LARGEST, 7.0)
    step = 1.1 * LINE_PITCH * size * frame.per_point
    named = list(stackup.names)
    most = int((frame.thickness + 2 * step) / step)
    if len(named) > most:
        kept = {named[0], named[-1], *(group.layer for group in plan.groups)}
        named = [name for name in named if name in kept]
        step = min(step, (frame.thickness + 2 * step) / len(named))
    faces = [1e3 * (stackup.face_si(name, "upper") + stackup.face_si(name, "lower")) / 2 for name in named]
    beside = ax.get_yaxis_transform()
    for name, face, at in zip(named, faces, apart(faces, step), strict=True):
        ax.plot([1.0, 1.025], [face, at], color=COPPER, linewidth=0.4, transform=beside, clip_on=False)
        ax.text(1.03, at, name, va="center", fontsize=size, parse_math=False, transform=beside)


def apart(places: Sequence[float], step: float) -> list[float]:
    """Rising places moved as little as possible (least squares), so that neighbours are at least a step apart.

    Parameters
    ----------
    places : sequence of float
        Rising.
    step : float
        Least distance of neighbours.

    Returns
    -------
    list of float

    Notes
    -----
    With the steps taken off, the places must not fall: this is isotonic regression (Barlow et al., 1972; from memory).
    """
    from scipy.optimize import isotonic_regression

    steps = step * np.arange(len(places))
    moved = isotonic_regression(np.asarray(places) - steps).x + steps
    return [float(place) for place in moved]


class _Line(NamedTuple):
    """A piece of copper, drawn level."""

    y: float
    start: float
    end: float
    colour: str
    style: str
    width: float


def _draw_copper(ax: Axes, plan: Plan, pitch: float) -> None:
    """Draw the copper around every hole."""
    lines = [line for n, group in enumerate(plan.groups) for line in _copper(plan, group, pitch * n, pitch)]
    if lines:
        ys, starts, ends, colours, styles, widths = zip(*lines, strict=True)
        ax.hlines(ys, starts, ends, colors=colours, linestyles=styles, linewidths=widths, capstyle="butt")


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


def _draw_hole(ax: Axes, plan: Plan, group: Group, x: float) -> None:
    """The barrel that is left, the bore of the depth drill, and the band of the ends of the plating."""
    thickness, hit = 1e3 * plan.board.stackup.edges_si[-1], group.hits[0]
    height = 1e3 * float(side_view(plan.board.stackup, plan.rules, group.side).near[0])
    angle = plan.rules.tip_angle or 180.0
    barrel, drill = 5e2 * group.primary_si, 5e2 * group.drill_si
    end, far = 1e3 * group.end_si - height, 1e3 * (hit.window.face_si + hit.window.rest_si) - height
    point = end + float(cone_height(barrel, angle))
    shoulder = point - float(cone_height(drill, angle))
    face = 1e3 * group.face_si - height

    def depth(from_face: float) -> float:
        return from_face if group.side == "top" else thickness - from_face

    ax.fill_betweenx([depth(end), depth(far)], x - barrel, x + barrel, color=AIR, linewidth=0)
    ax.vlines([x - barrel, x + barrel], depth(end), depth(far), colors=COPPER, linewidth=2)
    outline = [(-drill, 0.0), (-drill, shoulder), (0.0, point), (drill, shoulder), (drill, 0.0)]
    ax.fill(*zip(*((x + w, depth(d)) for w, d in outline), strict=True), facecolor=AIR, edgecolor=BLACK, linewidth=0.5)
    ends = [depth(face - 1e3 * left) for left in (group.left.least_si, group.left.most_si)]
    ax.fill_betweenx(
        ends, x - 1.25 * drill, x + 1.25 * drill, facecolor="none", edgecolor=OCHRE, hatch="/////", linewidth=0.8,
        zorder=3,
    )  # fmt: skip
