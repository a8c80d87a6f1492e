"""Owns the findings about copper of a board file that the depth drills of a plan come near to, and what clears it."""

from __future__ import annotations

import html
import math
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from scipy.spatial import cKDTree

from stubsi.board.names import how_many, shortened
from stubsi.drilling.plan import Plan
from stubsi.errors import BoardError, FileError
from stubsi.files.drawn_copper import DrawnCopperReader
from stubsi.files.exchange_board import one_step
from stubsi.files.exchange_copper import PAD_OFFSET, shapes_of
from stubsi.unit_errors import as_shown
from stubsi.units import show

if TYPE_CHECKING:
    import os
    from collections.abc import Iterable, Iterator

    import pandas as pd

    from stubsi.files.drawn_copper import Drawn
    from stubsi.files.exchange_drawing import Copper
    from stubsi.files.exchange_records import FileRecord, StepRecord

ROUNDING = 1e-9
"""Distances [m] that differ by no more than this count as equal."""
FARTHEST = 0.5e-3
"""Distance [m] up to which copper is listed where a rule is unknown. Common practice, no source."""
PIECE = 8192
"""Shapes that are looked at together."""


class CopperKind(StrEnum):
    """What the copper is. Each is also the text that tables show."""

    LINE = "line"
    AREA = "area"
    PAD = "pad"


class NearCopper(NamedTuple):
    """Copper that a depth drill comes nearer to than the rules permit, or perhaps does.

    Parameters
    ----------
    hole, net : str
        The drilled hole and its net.
    side : str
        Side it is drilled from.
    layer : str
        Layer of the copper, which the drill passes.
    copper_net : str
        Net of the copper; blank where it has none.
    kind : CopperKind
        What the copper is.
    at_si : (float, float)
        Place [m] of the copper that is nearest to the drill.
    distance_si : float
        Distance [m] as drawn from the edge of the depth drill to the copper; negative: the drill cuts it.
    needed_si : float or None
        Distance [m] that is needed: the clearance of copper and the tolerance of the edge; None where one of them is
        unknown.
    drill_si : float
        Diameter of the depth drill [m].
    away : (float, float)
        Direction from the hole to the copper, of length 1.
    """

    hole: str
    net: str
    side: str
    layer: str
    copper_net: str
    kind: CopperKind
    at_si: tuple[float, float]
    distance_si: float
    needed_si: float | None
    drill_si: float
    away: tuple[float, float]

    @property
    def too_near(self) -> bool | None:
        """Whether it is nearer than needed; None where that is not known."""
        if self.distance_si < -ROUNDING:
            return True
        return None if self.needed_si is None else self.distance_si < self.needed_si - ROUNDING

    @property
    def shift_si(self) -> tuple[float, float] | None:
        """How far a line or pad must move in x and y [m]; None for an area, or where a rule is unknown."""
        if self.kind == CopperKind.AREA or self.needed_si is None:
            return None
        shift = self.needed_si - self.distance_si
        return shift * self.away[0], shift * self.away[1]

    @property
    def clearance_si(self) -> float | None:
        """Diameter [m] of the clearance that an area must leave around the hole; None for a line or pad, or where a
        rule is unknown.
        """
        if self.kind != CopperKind.AREA or self.needed_si is None:
            return None
        return self.drill_si + 2 * self.needed_si

    def __str__(self) -> str:
        net = f"of net {self.copper_net}" if self.copper_net else "without a net"
        x, y = (show(place, "length") for place in self.at_si)
        where = f"{self.hole} of net {self.net}, drilled from the {self.side}, on {self.layer}"
        distance = f"{show(self.distance_si, 'length')} from {self.kind} {net} at ({x}, {y})"
        verdict = "too near" if self.too_near else "cannot be judged"
        if self.clearance_si is not None:
            verdict += f"; clear the area around the hole to a diameter of {show(self.clearance_si, 'length')}"
        elif self.shift_si is not None:
            dx, dy = (show(step, "length") for step in self.shift_si)
            verdict += f"; move the {self.kind} by {dx} in x and {dy} in y"
        return f"{where}: {distance}, needed {show(self.needed_si, 'length')}: {verdict}"

    def __repr__(self) -> str:
        names = f"{shortened(self.hole, 40)} beside {self.kind} on {shortened(self.layer, 40)}"
        return f"<NearCopper {names}: {show(self.distance_si, 'length')}>"


@dataclass(frozen=True, repr=False)
class CopperNearDrills:
    """Every piece of copper that a depth drill of a plan comes too near to, or perhaps does. Iterate it, or print it.

    Parameters
    ----------
    near : tuple of NearCopper
        The nearest first; of each net and kind of copper, the nearest piece per hole and layer.
    unplaced : tuple of str
        Names of the drilled holes whose position is not known: they are not checked.
    not_checked : tuple of str
        Layers that drills pass and whose copper cannot be read completely: it is drawn as clearance, or has pads of
        unusual shape. What is found there is listed; what is not found there is not proven absent.
    """

    near: tuple[NearCopper, ...]
    unplaced: tuple[str, ...]
    not_checked: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.near)

    def __iter__(self) -> Iterator[NearCopper]:
        return iter(self.near)

    @property
    def too_near(self) -> tuple[NearCopper, ...]:
        """Copper that is nearer than needed."""
        return tuple(each for each in self.near if each.too_near)

    @property
    def not_judged(self) -> tuple[NearCopper, ...]:
        """Copper that cannot be judged, because a rule is unknown."""
        return tuple(each for each in self.near if each.too_near is None)

    def to_frame(self) -> pd.DataFrame:
        """Table as a pandas DataFrame: a hole and a piece of copper in each row, lengths in [mm].

        Returns
        -------
        pandas.DataFrame
            Plain numbers, with units in the column names.
        """
        import pandas as pd

        rows = [
            (each.hole, each.net, each.side, each.layer, each.copper_net, str(each.kind), *_mm(*each.at_si),
             *_mm(each.distance_si, each.needed_si), each.too_near, *_mm(*(each.shift_si or (None, None))),
             *_mm(each.clearance_si))
            for each in self.near
        ]  # fmt: skip
        columns = [
            "hole", "net", "side", "layer", "net of the copper", "copper", "x [mm]", "y [mm]", "distance [mm]",
            "needed [mm]", "too near", "move in x [mm]", "move in y [mm]", "clearance to change to [mm]",
        ]  # fmt: skip
        return pd.DataFrame(rows, columns=columns)

    def summary(self) -> str:
        """How much copper is too near, not judged or not checked, in one line.

        Returns
        -------
        str
            One line.
        """
        parts = [f"{how_many(len(self.too_near), 'piece')} of copper too near"]
        if self.not_judged:
            parts.append(f"{len(self.not_judged)} not judged, because a rule is unknown")
        if self.unplaced:
            parts.append(f"{how_many(len(self.unplaced), 'drilled hole')} not checked, because the position is unknown")
        if self.not_checked:
            parts.append(f"copper that cannot be read on {', '.join(self.not_checked)}: not checked there")
        return "; ".join(parts) + "."

    def __str__(self) -> str:
        return "\n".join([self.summary(), *map(str, self.near)])

    def _repr_html_(self) -> str:
        return f"<div>{html.escape(self.summary())}{self.to_frame().to_html()}</div>"

    def __repr__(self) -> str:
        return f"<CopperNearDrills: {shortened(self.summary().removesuffix('.'), 150)}>"


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
    step = one_step(record)
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


def _mm(*lengths: float | None) -> Iterable[float | None]:
    return [None if length is None else 1e3 * length for length in lengths]
