"""Owns the search for copper of a board file that the depth drills of a plan come near to."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from scipy.spatial import cKDTree

from stubsi.drilling.findings import ROUNDING
from stubsi.drilling.plan import Plan
from stubsi.errors import BoardError, FileError
from stubsi.files.drawn_copper import DrawnCopperReader
from stubsi.files.exchange_pieces import PAD_OFFSET, shapes_of
from stubsi.files.exchange_step import one_step
from stubsi.files.near_copper import CopperKind, CopperNearDrills, NearCopper
from stubsi.unit_errors import as_shown
from stubsi.units import show

if TYPE_CHECKING:
    import os
    from collections.abc import Iterator

    from stubsi.files.drawn_copper import Drawn
    from stubsi.files.exchange_drawing import Copper
    from stubsi.files.exchange_records import FileRecord, StepRecord

FARTHEST = 0.5e-3
"""Distance [m] up to which copper is listed where a rule is unknown. Common practice, no source."""
PIECE = 8192
"""Shapes that are looked at together."""


class _Drill(NamedTuple):
    """A hit in the file: what is drilled where, the nets of the file at this place, and the layers that it passes."""

    hole: str
    net: str
    side: str
    own: frozenset[str]
    place: tuple[float, float]
    drill: float
    primary: float
    passed: tuple[str, ...]


class _Found(NamedTuple):
    distance: float
    kind: CopperKind
    shape: Any
    width: float


def copper_near_drills(plan: Plan, path: str | os.PathLike[str]) -> CopperNearDrills:
    """Find the copper of a board file that the depth drills of a plan come too near to, on every layer they pass.

    Parameters
    ----------
    plan : Plan
        A plan of the board of the file.
    path : path
        The IPC-2581 file that the board was read from.

    Returns
    -------
    CopperNearDrills
        The nearest first, each with net, layer, place, distance, and the move that clears it.

    Raises
    ------
    BoardError
        It is no plan.
    FileError
        The file cannot be read, or is not that of the board: it has no plated hole where one is drilled, or lacks a
        layer.

    Notes
    -----
    Plane geometry. The needed distance is ``copper_clearance`` + ``edge_tolerance`` of the rules; the distance is
    that from the edge of the depth drill to the copper as drawn. A drill counts on every layer from the drilled face
    to its must-not-cut layer, also where its tip stays short of one of them. The pad of the drilled hole itself is
    drilled away and does not count. Lines end round. An arc stands as chords within 0.4 % of its radius.
    """
    if not isinstance(plan, Plan):
        raise BoardError(f"plan = {as_shown(plan)}: must be a plan that stubsi.plan made.")
    reader = DrawnCopperReader(path)
    record = reader.records()
    step = one_step(record, plan.board.name)
    number = next((i for i, each in enumerate(record.steps) if each is step), -1)
    drills = _drills(plan, record, step)
    clearance, edge = plan.rules.copper_clearance_si, plan.rules.edge_tolerance_si
    needed = None if clearance is None or edge is None else clearance + edge
    near: list[NearCopper] = []
    for where, copper in reader.drawn.items():
        passing = [drill for drill in drills if where.layer in drill.passed] if where.step == number else []
        if passing:
            near += _near(passing, where, copper, needed)
    near.sort(key=lambda each: (each.distance_si, each.hole, each.layer, each.copper_net, each.kind))
    passed = {layer for drill in drills for layer in drill.passed}
    return CopperNearDrills(
        tuple(near),
        tuple(sorted({hit.hole.name for hit in plan.hits if hit.hole.xy_si is None})),
        tuple(name for name in plan.board.stackup.names if name in passed and (number, name) in reader.not_read),
    )


def _drills(plan: Plan, record: FileRecord, step: StepRecord) -> list[_Drill]:
    """Every hit with a place, with the nets that the file has there."""
    stackup = plan.board.stackup
    for name in stackup.names:
        if name not in record.layers:
            raise FileError(f"{record.name}: has no layer {as_shown(name)}; is it the file of this board?")
    tree = cKDTree([(hole.x, hole.y) for hole in step.holes]) if step.holes else None
    drills = []
    for group in plan.groups:
        stop = stackup.index(group.layer)
        passed = stackup.names[:stop] if group.side == "top" else stackup.names[stop + 1 :]
        for hit in group.hits:
            place = hit.hole.xy_si
            if place is None:
                continue
            there = [] if tree is None else tree.query_ball_point(place, PAD_OFFSET)
            if not there:
                x, y = (show(length, "length") for length in place)
                raise FileError(
                    f"{record.name}: has no plated hole at ({x}, {y}), where {hit.hole.name} of net {hit.net} is "
                    f"drilled; is it the file of this board?"
                )
            own = frozenset(step.holes[i].net for i in there)
            primary = hit.hole.padstack.drill_si
            drills.append(_Drill(hit.hole.name, hit.net, hit.side, own, place, group.drill_si, primary, passed))
    return drills


def _near(drills: list[_Drill], where: Drawn, copper: Copper, needed: float | None) -> Iterator[NearCopper]:
    """Copper of one net on one layer: the nearest piece of each kind per drill."""
    limit = FARTHEST if needed is None else needed
    nearest: dict[tuple[int, CopperKind], _Found] = {}
    for number, found in _within(drills, where, copper, limit):
        key = number, found.kind
        if key not in nearest or found.distance < nearest[key].distance:
            nearest[key] = found
    for (number, kind), found in nearest.items():
        drill = drills[number]
        at, away = _place(found, drill.place)
        yield NearCopper(
            hole=drill.hole, net=drill.net, side=drill.side, layer=where.layer, copper_net=where.net, kind=kind,
            at_si=at, distance_si=found.distance, needed_si=needed, drill_si=drill.drill, away=away,
        )  # fmt: skip


def _within(drills: list[_Drill], where: Drawn, copper: Copper, limit: float) -> Iterator[tuple[int, _Found]]:
    """Number of a drill and a shape, for every two that are nearer to each other than the limit [m]."""
    import shapely

    shapes, widths = shapes_of(copper)
    lines = len(copper.lines) // 5
    radius = np.array([drill.drill / 2 for drill in drills])
    tree = shapely.STRtree(shapely.points([drill.place for drill in drills]))
    for start in range(0, len(shapes), PIECE):
        some, half = shapes[start : start + PIECE], widths[start : start + PIECE] / 2
        shape, hole = tree.query(some, predicate="dwithin", distance=half + radius.max() + limit)
        apart = shapely.distance(some[shape], tree.geometries[hole]) - half[shape]
        gap = apart - radius[hole]
        for each in np.flatnonzero(gap < limit - ROUNDING).tolist():
            number, row = int(hole[each]), int(shape[each])
            drill = drills[number]
            if where.pad and where.net in drill.own and apart[each] <= drill.primary / 2:
                continue  # the pad of the drilled hole itself
            kind = CopperKind.PAD if where.pad else CopperKind.LINE if start + row < lines else CopperKind.AREA
            yield number, _Found(float(gap[each]), kind, some[row], 2 * float(half[row]))


def _place(found: _Found, hole: tuple[float, float]) -> tuple[tuple[float, float], tuple[float, float]]:
    """Place [m] of the copper that is nearest to a hole, and the direction to it. Where a line goes through the middle
    of the hole, the direction is square to the line.
    """
    import shapely

    (x, y), _ = shapely.get_coordinates(shapely.shortest_line(found.shape, shapely.Point(hole))).tolist()
    distance = math.dist((x, y), hole)
    if distance <= ROUNDING:
        return hole, _square_to(found.shape)
    away = (x - hole[0]) / distance, (y - hole[1]) / distance
    edge = max(distance - found.width / 2, 0.0)
    return (hole[0] + edge * away[0], hole[1] + edge * away[1]), away


def _square_to(shape: Any) -> tuple[float, float]:
    import shapely

    (x, y), (to_x, to_y) = shapely.get_coordinates(shape)[:2].tolist()
    length = math.hypot(to_x - x, to_y - y)
    return ((y - to_y) / length, (to_x - x) / length) if length > 0 else (1.0, 0.0)
