"""Owns what the copper of a file says about its planes: roles of layers, and the clearance of a plane around a hole.

Both are read, never guessed. A layer with lines and without areas is a signal layer. A layer with areas is "mixed": a
plane around those holes that stand in a clearance of an area of another net. The clearance is the widest circle around
the hole that is free of such areas.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from stubsi.files.exchange_pieces import as_drawn, as_polygon

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from stubsi.board.layers import Role
    from stubsi.files.exchange_records import HoleRecord, LayerRecord, StepRecord

    Floats = NDArray[np.float64]
    Shapes = NDArray[np.object_]

FILLED = 0.1
"""Part of a layer that lines of one net may cover [-] before they count as filling it, so that its role is not known.
Common practice, no source.
"""
STEP = 1e-6
"""Clearances are read to this length [m]."""
PIECE = 32
"""Points of a piece of an outline."""


def drawn_role(step: StepRecord, layer: LayerRecord) -> Role | None:
    """Role of a copper layer by what is drawn on it.

    Parameters
    ----------
    step : StepRecord
        The board.
    layer : LayerRecord

    Returns
    -------
    {"signal", "plane", "mixed"} or None
        None: nothing is drawn there, or lines fill it.
    """
    if layer.polarity == "NEGATIVE":
        return "plane" if layer.name in step.clearances else None
    coppers = [copper for (name, _), copper in step.copper.items() if name == layer.name]
    if any(copper.areas for copper in coppers):
        return "mixed"
    lines = [np.asarray(copper.lines, dtype=float).reshape(-1, 5) for copper in coppers if copper.lines]
    if not lines:
        return None
    ends = np.concatenate(lines)[:, :4].reshape(-1, 2)
    whole = float(np.prod(np.ptp(ends, axis=0)))
    most = max(float((np.hypot(*(each[:, 2:4] - each[:, :2]).T) * each[:, 4]).sum()) for each in lines)
    return None if most > FILLED * whole and len(ends) > MANY_ENDS else "signal"


MANY_ENDS = 200
"""Ends of lines below which nothing is filled by them."""


class Around(NamedTuple):
    """Clearances of planes around one hole: layers whose areas are drawn, and the width [m] where one is around it."""

    known: frozenset[str]
    widths: Mapping[str, float]


class Clearances(NamedTuple):
    """Clearances of planes around holes.

    Parameters
    ----------
    known : frozenset of str
        Layers whose areas are drawn, so that a hole without a clearance there has no plane around it.
    widths : list of dict of str to float
        Width [m] by layer, of each hole.
    """

    known: frozenset[str]
    widths: list[dict[str, float]]

    def of(self, number: int) -> Around:
        """Those of one hole.

        Parameters
        ----------
        number : int

        Returns
        -------
        Around
        """
        return Around(self.known, self.widths[number])


def clearances_of(
    step: StepRecord, holes: Sequence[HoleRecord], layers: Sequence[set[str]], negative: set[str]
) -> Clearances:
    """Measure the clearances of planes around holes.

    Parameters
    ----------
    step : StepRecord
        The board.
    holes : sequence of HoleRecord
    layers : sequence of set of str
        Layers of each hole that are to be measured: planes that it passes.
    negative : set of str
        Layers that are drawn as clearances.

    Returns
    -------
    Clearances
    """
    widths: list[dict[str, float]] = [{} for _ in holes]
    drawn: dict[str, list[str]] = {}
    for (layer, net), copper in step.copper.items():
        if copper.areas:
            drawn.setdefault(layer, []).append(net)
    known = {*drawn, *(negative & set(step.clearances))}
    for layer in sorted(known):
        numbers = np.array([number for number, wanted in enumerate(layers) if layer in wanted], dtype=np.intp)
        if not len(numbers):
            continue
        place = np.array([(holes[i].x, holes[i].y) for i in numbers])
        nets = [holes[i].net for i in numbers]
        around = _around_in_voids(step, layer, place)
        if layer not in negative:
            around = _around_in_areas(step, layer, drawn[layer], place, nets, around)
        for number, radius in zip(numbers.tolist(), around.tolist(), strict=True):
            if radius > 0:
                widths[number][layer] = float(round(2 * radius / STEP) * STEP)
    return Clearances(frozenset(known), widths)


def _around_in_voids(step: StepRecord, layer: str, place: Floats) -> Floats:
    """Radius [m] of the widest circle around each place in what is drawn as clearance there; 0 where nothing is."""
    import shapely

    radius = np.zeros(len(place))
    voids = step.clearances.get(layer, [])
    if not voids:
        return radius
    shapes = np.empty(len(voids), dtype=object)
    shapes[:] = [as_drawn(as_polygon(area)).buffer(area.width / 2) for area in voids]
    points = shapely.points(place)
    number, shape = shapely.STRtree(shapes).query(points, predicate="within")
    apart = shapely.distance(points[number], shapely.boundary(shapes[shape]))
    np.maximum.at(radius, number, apart)
    return radius


def _around_in_areas(  # noqa: PLR0917 - what there is on one layer
    step: StepRecord, layer: str, nets: list[str], place: Floats, own: list[str], in_voids: Floats
) -> Floats:
    """Radius [m] of the widest circle around each place that is free of areas of other nets, if such an area lies all
    around; 0 elsewhere.
    """
    import shapely

    points, radius = shapely.points(place), np.zeros(len(place))
    tree = shapely.STRtree(points)
    pieces: list[Any] = []
    net_of: list[int] = []
    half: list[float] = []
    own_net = np.array([nets.index(net) if net in nets else -1 for net in own])
    surrounded, covered = np.zeros(len(place), dtype=bool), np.zeros(len(place), dtype=bool)
    for number, net in enumerate(nets):
        for area in step.copper[layer, net].areas:
            drawn = as_drawn(as_polygon(area))
            for part in shapely.get_parts(drawn).tolist():
                if part.geom_type != "Polygon":
                    continue
                shell = shapely.Polygon(part.exterior)
                shapely.prepare([shell, part])
                inside = tree.query(shell, predicate="contains")
                inside = inside[own_net[inside] != number]
                surrounded[inside] = True
                covered[inside[shapely.contains(part, points[inside])]] = True
                made = _pieces_of(part)
                pieces += made
                net_of += [number] * len(made)
                half += [area.width / 2] * len(made)
    rings, of = np.array(pieces, dtype=object), np.array(net_of)
    wanted = np.flatnonzero(surrounded & ~covered)
    if len(wanted):
        nearest, apart = shapely.STRtree(rings).query_nearest(points[wanted], return_distance=True, all_matches=False)
        radius[wanted[nearest[0]]] = apart - np.array(half)[nearest[1]]
        for number in wanted[of[nearest[1]] == own_net[wanted[nearest[0]]]].tolist():  # its own net is nearer
            other = of != own_net[number]
            radius[number] = (shapely.distance(points[number], rings[other]) - np.array(half)[other]).min()
    in_copper = np.flatnonzero(covered & (in_voids > 0))
    radius[in_copper] = in_voids[in_copper]
    return radius


def _pieces_of(polygon: Any) -> list[Any]:
    """The outlines of a polygon, in pieces of few points."""
    import shapely

    made: list[Any] = []
    for ring in (polygon.exterior, *polygon.interiors):
        points = shapely.get_coordinates(ring)
        made += [shapely.LineString(points[start : start + PIECE + 1]) for start in range(0, len(points) - 1, PIECE)]
    return made
