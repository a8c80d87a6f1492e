"""Owns the copper of a net on a layer as geometries: its lines and areas, and what they must touch to reach a hole."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from scipy.spatial import cKDTree

from stubsi.files.exchange_drawing import PAD_ROW

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from stubsi.files.exchange_drawing import Area, Copper
    from stubsi.files.exchange_records import FileRecord

    Floats = NDArray[np.float64]
    Shapes = NDArray[np.object_]

PAD_OFFSET = 10e-6
"""Greatest distance [m] between the centres of a hole and of its pad. Common practice, no source."""
TOUCH = 1e-9
"""Distance [m] at which two pieces of copper touch: what is left of a coordinate after rounding."""


class Targets(NamedTuple):
    """What a line must touch to reach a hole: the hole itself, with a round pad around it, or a pad of another shape.

    Parameters
    ----------
    hole : ndarray of int
        Number of the hole of each target.
    shapes : ndarray of geometry
    reach : ndarray of float
        How far each reaches beyond its shape [m].
    """

    hole: NDArray[np.intp]
    shapes: Shapes
    reach: Floats


class Pieces(NamedTuple):
    """Lines and areas of a net on a layer.

    Parameters
    ----------
    shapes : ndarray of geometry
    widths : ndarray of float
        Width of each [m].
    order : ndarray of int
        How many clearances the layer had when each was drawn.
    """

    shapes: Shapes
    widths: Floats
    order: NDArray[np.intp]


def rows_of(numbers: Sequence[float]) -> Floats:
    """Pads or flashes of ``Copper``, one in each row.

    Parameters
    ----------
    numbers : array of float

    Returns
    -------
    ndarray
    """
    return np.asarray(numbers, dtype=float).reshape(-1, PAD_ROW)


def targets_of(
    record: FileRecord, odd_pads: Sequence[Sequence[float]], place: Floats, radius: Floats, pads: Sequence[float | None]
) -> Targets:
    """What a line must touch to reach the holes of a net on a layer.

    Parameters
    ----------
    record : FileRecord
        Holds the shapes of pads.
    odd_pads : sequence of rows as in ``Copper.pads``
        Pads of the net on the layer that are not round, or not about the centre of a hole.
    place, radius : ndarray of float
        Of the holes of the net that pass the layer [m].
    pads : sequence of float or None
        Diameter of the pad of each hole there [m].

    Returns
    -------
    Targets
        A hole with its round pad, and each pad of another shape, or beside its centre, that the hole goes through.
    """
    import shapely

    reach = np.maximum(radius, [(size or 0.0) / 2 for size in pads])
    number, points = np.arange(len(place)), shapely.points(place)
    if not odd_pads:
        return Targets(number, points, reach)
    tree = cKDTree(place)
    more: list[tuple[int, Any]] = []
    for x, y, size, _, _, shape in odd_pads:
        outline = np.add(record.pad_shapes[int(shape)], (x, y)) if shape >= 0 else None
        pad = shapely.Point(x, y).buffer(size / 2) if outline is None else shapely.Polygon(outline)
        around = max(size / 2, 0.0) if outline is None else float(np.hypot(*(outline - (x, y)).T).max())
        for hole in tree.query_ball_point((x, y), around + radius.max() + TOUCH):
            if shapely.distance(pad, points[hole]) <= radius[hole] + TOUCH:
                more.append((hole, pad))
                if outline is not None and np.hypot(x - place[hole][0], y - place[hole][1]) <= PAD_OFFSET:
                    reach[hole] = radius[hole]  # the circle of the same area does not say how far the pad reaches
    if not more:
        return Targets(number, points, reach)
    shapes = np.concatenate([points, np.array([pad for _, pad in more], dtype=object)])
    return Targets(
        np.concatenate([number, [hole for hole, _ in more]]), shapes, np.concatenate([reach, np.zeros(len(more))])
    )


def pieces_of(record: FileRecord, copper: Copper, place: Floats) -> Pieces:
    """Lines and areas of a net on a layer, and shapes that are drawn there in one piece away from any of its holes.

    Parameters
    ----------
    record : FileRecord
        Holds the shapes of pads.
    copper : Copper
        Of the net on the layer.
    place : ndarray of float
        Of the holes of the net that pass the layer [m]. A shape about the centre of one of them is its pad.

    Returns
    -------
    Pieces
    """
    import shapely

    shapes, widths = shapes_of(copper)
    order = _order(copper, len(copper.lines) // 5, len(copper.areas), len(copper.flashes) // PAD_ROW)
    rows = rows_of(copper.flashes)
    if not len(rows):
        return Pieces(shapes, widths, order)
    apart = cKDTree(place).query(rows[:, :2])[0] > PAD_OFFSET
    made = np.empty(len(rows), dtype=object)
    round_ = rows[:, 5] < 0
    made[round_] = shapely.points(rows[round_, :2])
    for row in np.flatnonzero(~round_).tolist():
        made[row] = shapely.Polygon(np.add(record.pad_shapes[int(rows[row, 5])], rows[row, :2]))
    across = np.where(round_, np.maximum(rows[:, 2], 0.0), 0.0)
    kept = np.concatenate([np.ones(len(shapes), dtype=bool), apart])
    return Pieces(np.concatenate([shapes, made])[kept], np.concatenate([widths, across])[kept], order[kept])


def _order(copper: Copper, lines: int, areas: int, flashes: int) -> NDArray[np.intp]:
    order = np.zeros(lines + areas + flashes, dtype=np.intp)
    for count, line, area, flash in copper.drawn:
        order[line:lines] = count
        order[lines + area : lines + areas] = count
        order[lines + areas + flash :] = count
    return order


def shapes_of(copper: Copper) -> tuple[Shapes, Floats]:
    """Lines and then areas as geometries, and the width [m] of each.

    An area whose outline crosses itself is taken as drawn: what lies inside an odd number of turns is copper.

    Parameters
    ----------
    copper : Copper

    Returns
    -------
    (array of geometries, array of float)
    """
    import shapely

    rows = np.frombuffer(copper.lines, dtype=float).reshape(-1, 5) if copper.lines else np.empty((0, 5))
    lines = shapely.linestrings(rows[:, :4].reshape(-1, 2, 2)) if len(rows) else np.empty(0, dtype=object)
    areas = np.empty(len(copper.areas), dtype=object)
    areas[:] = [as_polygon(area) for area in copper.areas]
    widths = np.concatenate([rows[:, 4], [area.width for area in copper.areas]])
    return np.concatenate([lines, areas]), widths


def as_polygon(area: Area) -> Any:
    """An area as a geometry, without the width of its outline.

    Parameters
    ----------
    area : Area

    Returns
    -------
    shapely.Polygon
    """
    import shapely

    outline, *cutouts = (np.asarray(points, dtype=float).reshape(-1, 2) for points in (area.outline, *area.cutouts))
    return shapely.Polygon(outline, cutouts)


def as_drawn(shape: Any) -> Any:
    """A shape whose outline or cut-outs cross themselves or each other, as valid polygons.

    Inside one line is what lies inside an odd number of its turns. What any cut-out covers is no copper.

    Parameters
    ----------
    shape : shapely geometry

    Returns
    -------
    shapely geometry
    """
    import shapely

    if shape.geom_type != "Polygon" or shapely.is_valid(shape):
        return shape
    outline, *cutouts = (_inside(ring) for ring in (shape.exterior, *shape.interiors))
    return shapely.difference(outline, shapely.union_all(cutouts)) if cutouts else outline


def _inside(ring: Any) -> Any:
    import shapely

    parts = shapely.get_parts(shapely.make_valid(shapely.Polygon(ring)))
    flat = [part for each in parts.tolist() for part in shapely.get_parts(each).tolist()]
    return shapely.MultiPolygon([part for part in flat if part.geom_type == "Polygon"])
