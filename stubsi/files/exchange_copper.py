"""Owns what copper a plated hole meets on every layer: its pads, and the lines and areas that connect it.

A pad alone is not a connection. A hole is connected on a layer where a line or an area of its own net touches the hole
or its pad there, or where a pin sits in it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.spatial import cKDTree

from stubsi.files.exchange_records import THROUGH

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.files.exchange_drawing import Area, Copper
    from stubsi.files.exchange_records import FileRecord, HoleRecord, StepRecord

    Floats = NDArray[np.float64]
    Numbers = NDArray[np.intp]

PAD_OFFSET = 10e-6
"""Greatest distance [m] between the centres of a hole and of its pad. Common practice, no source."""
TOUCH = 1e-9
"""Distance [m] at which two pieces of copper touch: what is left of a coordinate after rounding."""


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
    reaching = [set(span) for span in spans]
    for layer, coppers in on_layer.items():
        for net, copper in coppers:
            _meet_pads(record, step, met, tree, holes, net=net, layer=layer, copper=copper)
    for layer, coppers in on_layer.items():
        there = np.array([number for number, span in enumerate(reaching) if layer in span], dtype=np.intp)
        if len(there):
            reach = np.array([max(holes[i].diameter, met.pads[i].get(layer) or 0.0) / 2 for i in there])
            for number in _touched(holes, there, place[there], reach, coppers):
                met.in_use[number].add(layer)
    for number, span in enumerate(reaching):
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


def _touched(
    holes: list[HoleRecord], there: Numbers, place: Floats, reach: Floats, coppers: list[tuple[str, Copper]]
) -> set[int]:
    """Numbers of the holes that a line or an area of their own net touches."""
    import shapely

    touched: set[int] = set()
    tree = shapely.STRtree(shapely.points(place))
    names = [net for net, _ in coppers]
    for shapes, widths, owners in (_lines(coppers), _areas([copper.areas for _, copper in coppers])):
        if not len(shapes):
            continue
        near = widths / 2 + reach.max() + TOUCH
        shape, hole = tree.query(shapes, predicate="dwithin", distance=near)
        gap = shapely.distance(shapes[shape], tree.geometries[hole]) - widths[shape] / 2 - reach[hole]
        touched.update(
            int(there[each])
            for each, owner, distance in zip(hole.tolist(), owners[shape].tolist(), gap.tolist(), strict=True)
            if distance <= TOUCH and holes[there[each]].net == names[owner]
        )
    return touched


def _lines(coppers: list[tuple[str, Copper]]) -> tuple[NDArray[np.object_], Floats, Numbers]:
    import shapely

    rows = [np.frombuffer(copper.lines, dtype=float).reshape(-1, 5) for _, copper in coppers if copper.lines]
    owners = [i for i, (_, copper) in enumerate(coppers) if copper.lines]
    if not rows:
        return np.empty(0, dtype=object), np.empty(0), np.empty(0, dtype=np.intp)
    every = np.concatenate(rows)
    owner = np.repeat(np.array(owners, dtype=np.intp), [len(each) for each in rows])
    return shapely.linestrings(every[:, :4].reshape(-1, 2, 2)), every[:, 4].copy(), owner


def _areas(areas: list[list[Area]]) -> tuple[NDArray[np.object_], Floats, Numbers]:
    import shapely

    shapes = [shapely.Polygon(area.outline, area.cutouts) for of_net in areas for area in of_net]
    made = np.array(shapes, dtype=object)
    if len(made):
        made = np.where(shapely.is_valid(made), made, shapely.make_valid(made))
    widths = np.array([area.width for of_net in areas for area in of_net], dtype=float)
    owner = np.repeat(np.arange(len(areas), dtype=np.intp), [len(of_net) for of_net in areas])
    return made, widths, owner
