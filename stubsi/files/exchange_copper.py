"""Owns what copper a plated hole meets on every layer: its pads, and the lines and areas that connect it.

A pad alone is not a connection. A hole is connected on a layer where a line or an area of its own net touches the hole
or its pad there, or where a pin sits in it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from scipy.spatial import cKDTree

from stubsi.errors import FileError
from stubsi.files.exchange_records import THROUGH

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.files.exchange_drawing import Copper
    from stubsi.files.exchange_records import FileRecord, HoleRecord, StepRecord

    Floats = NDArray[np.float64]

PAD_OFFSET = 10e-6
"""Greatest distance [m] between the centres of a hole and of its pad. Common practice, no source."""
TOUCH = 1e-9
"""Distance [m] at which two pieces of copper touch: what is left of a coordinate after rounding."""
MOST_IN_ONE_PLACE = 64
"""Most holes in one place: stacked holes of different layers."""
FEW_PAIRS = 20_000
"""Up to so many pairs of a hole and a shape, every distance is computed; beyond it a tree finds those that are near."""
REACH_CLASS = np.log(1.5)
"""Logarithm of the ratio of the reaches of holes that are looked at together."""


class Met(NamedTuple):
    """What the holes meet. ``pads`` holds the diameter [m] of each pad by hole and layer, None where it is not known.

    ``in_use`` holds the layers that connect each hole. ``padstacks`` holds the names of the padstacks of its pads.
    """

    pads: list[dict[str, float | None]]
    in_use: list[set[str]]
    padstacks: list[set[str]]


def copper_met(record: FileRecord, step: StepRecord, holes: list[HoleRecord], spans: list[tuple[str, ...]]) -> Met:
    """Find the pads of holes and the layers that connect them.

    Parameters
    ----------
    record : FileRecord
        What the file says.
    step : StepRecord
        The board.
    holes : list of HoleRecord
    spans : list of tuple of str
        Copper layers of each hole, from the top.

    Returns
    -------
    Met
        In the order of ``holes``.
    """
    met = Met([{} for _ in holes], [set() for _ in holes], [set() for _ in holes])
    if not holes:
        return met
    place = np.array([(hole.x, hole.y) for hole in holes])
    tree = cKDTree(place)
    holes_of: dict[str, list[int]] = {}
    for number, hole in enumerate(holes):
        holes_of.setdefault(hole.net, []).append(number)
    on_layer: dict[str, list[tuple[str, Copper]]] = {}
    for (layer, net), copper in step.copper.items():
        if net in holes_of:
            on_layer.setdefault(layer, []).append((net, copper))
    if int(tree.query_ball_point(place, PAD_OFFSET, return_length=True).max()) > MOST_IN_ONE_PLACE:
        raise FileError(
            f"{record.name}: more than {MOST_IN_ONE_PLACE} holes lie within {PAD_OFFSET * 1e6:g} um of each other."
        )
    for layer, coppers in on_layer.items():
        for net, copper in coppers:
            _meet_pads(record, step, met, tree, holes, net=net, layer=layer, copper=copper)
    _meet_pins(record, step, met, tree)
    for layer, coppers in on_layer.items():
        for net, copper in coppers:
            there = np.array([number for number in holes_of[net] if layer in spans[number]], dtype=np.intp)
            if len(there):
                reach = np.array([max(holes[i].diameter, met.pads[i].get(layer) or 0.0) / 2 for i in there])
                for number in there[_touched(copper, place[there], reach)].tolist():
                    met.in_use[number].add(layer)
    for number, span in enumerate(spans):
        met.in_use[number].intersection_update(span)
    return met


def _meet_pads(
    record: FileRecord,
    step: StepRecord,
    met: Met,
    tree: cKDTree,
    holes: list[HoleRecord],
    *,
    net: str,
    layer: str,
    copper: Copper,
) -> None:
    pads = np.frombuffer(copper.pads, dtype=float).reshape(-1, 5) if copper.pads else np.empty((0, 5))
    for (_, _, size, padstack, component), near in zip(
        pads.tolist(), tree.query_ball_point(pads[:, :2], PAD_OFFSET) if len(pads) else [], strict=True
    ):
        for number in near:
            if holes[number].net != net:
                continue
            known = met.pads[number].get(layer, 0.0)
            met.pads[number][layer] = None if size < 0 or known is None else max(size, known)
            if padstack >= 0:
                met.padstacks[number].add(record.pad_padstacks[int(padstack)])
            pin = step.components.get(record.pin_components[int(component)]) if component >= 0 else None
            if pin is not None and pin.mount in THROUGH:
                met.in_use[number].add(pin.layer)


def _meet_pins(record: FileRecord, step: StepRecord, met: Met, tree: cKDTree) -> None:
    """Pins of through-hole components, placed as their package and component say: each connects the hole it sits in."""
    for component in step.components.values():
        pins = record.packages.get(component.package, [])
        if component.mount in THROUGH and pins:
            met_by_pin: Any = tree.query_ball_point(component.turn.moved(pins, component.place), PAD_OFFSET)
            for near in met_by_pin:
                for number in near:
                    met.in_use[number].add(component.layer)


def _touched(copper: Copper, place: Floats, reach: Floats) -> NDArray[np.bool_]:
    """Whether a line or an area of a net touches each of its holes, which reach as far as ``reach`` [m]."""
    import shapely

    touched = np.zeros(len(place), dtype=bool)
    shapes, widths = shapes_of(copper)
    if len(shapes) * len(place) <= FEW_PAIRS:
        gap = shapely.distance(shapes[:, None], shapely.points(place)) - widths[:, None] / 2 - reach
        return (gap <= TOUCH).any(axis=0) if len(shapes) else touched
    # holes of nearly the same reach at a time, so that what is near is nearly what touches
    classes = np.floor(np.log(np.maximum(reach, TOUCH)) / REACH_CLASS).astype(np.intp)
    for each in np.unique(classes).tolist():
        left = np.flatnonzero(classes == each)
        start, count = 0, 64
        while start < len(shapes) and len(left):
            tree = shapely.STRtree(shapely.points(place[left]))
            while start < len(shapes):
                some, wide = shapes[start : start + count], widths[start : start + count] / 2
                shape, hole = tree.query(some, predicate="dwithin", distance=wide + reach[left].max() + TOUCH)
                gap = shapely.distance(some[shape], tree.geometries[hole]) - wide[shape] - reach[left[hole]]
                touched[left[hole[gap <= TOUCH]]] = True
                start, count = start + count, min(2 * count, 8192)
                if touched[left].mean() > 0.1:
                    break
            left = left[~touched[left]]
    return touched


def shapes_of(copper: Copper) -> tuple[NDArray[np.object_], Floats]:
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
    areas[:] = [shapely.Polygon(area.outline, area.cutouts) for area in copper.areas]
    widths = np.concatenate([rows[:, 4], [area.width for area in copper.areas]])
    return np.concatenate([lines, areas]), widths
