"""Owns what copper a plated hole meets on every layer: its pads, and the lines and areas that connect it.

A pad alone is not a connection. A hole is connected on a layer where a line or an area of its own net touches the hole
or its pad there, where a pin sits in it, or where it stands on another hole of its net.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from scipy.spatial import cKDTree

from stubsi.errors import FileError
from stubsi.files.exchange_drawing import PAD_ROW
from stubsi.files.exchange_pieces import PAD_OFFSET, TOUCH, pieces_of, rows_of, targets_of
from stubsi.files.exchange_records import THROUGH
from stubsi.files.exchange_touch import Clearances, touches

if TYPE_CHECKING:
    from collections.abc import Mapping

    from stubsi.files.exchange_drawing import Copper
    from stubsi.files.exchange_records import FileRecord, HoleRecord, StepRecord

MOST_IN_ONE_PLACE = 64
"""Most holes in one place: stacked holes of different layers."""


class Met(NamedTuple):
    """What the holes meet. ``pads`` holds the diameter [m] of each pad by hole and layer, None where it is not known.

    ``in_use`` holds the layers that connect each hole. ``padstacks`` holds the names of the padstacks of its pads, and
    ``pins`` those of the components that have a pin in it.
    """

    pads: list[dict[str, float | None]]
    in_use: list[set[str]]
    padstacks: list[set[str]]
    pins: list[set[str]]


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
    met = Met([{} for _ in holes], [set() for _ in holes], [set() for _ in holes], [set() for _ in holes])
    if not holes:
        return met
    place = np.array([(hole.x, hole.y) for hole in holes])
    tree = cKDTree(place)
    holes_of: dict[str, list[int]] = {}
    for number, hole in enumerate(holes):
        holes_of.setdefault(hole.net, []).append(number)
    if int(tree.query_ball_point(place, PAD_OFFSET, return_length=True).max()) > MOST_IN_ONE_PLACE:
        raise FileError(
            f"{record.name}: more than {MOST_IN_ONE_PLACE} holes lie within {PAD_OFFSET * 1e6:g} um of each other."
        )
    coppers = [(layer, net, copper) for (layer, net), copper in step.copper.items() if net in holes_of]
    odd_pads = [
        _meet_pads(record, step, met, tree, holes, net=net, layer=layer, copper=copper)
        for layer, net, copper in coppers
    ]
    _meet_pins(record, step, met, tree)
    clearances, radius = Clearances(step.clearances), np.array([hole.diameter / 2 for hole in holes])
    for (layer, net, copper), odd in zip(coppers, odd_pads, strict=True):
        there = [number for number in holes_of[net] if layer in spans[number]]
        if there:
            targets = targets_of(record, odd, place[there], radius[there], [met.pads[i].get(layer) for i in there])
            pieces = pieces_of(record, copper, place[there])
            touched = touches(pieces.shapes, pieces.widths, targets.shapes, targets.reach)
            touched = clearances.left(layer, touched, targets, pieces)
            for number in np.unique(targets.hole[touched]).tolist():
                met.in_use[there[number]].add(layer)
    _meet_holes(record, met, holes, holes_of, spans)
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
) -> list[list[float]]:
    """Note the pads of holes. Returns those that are not round, or not about the centre of a hole of their net."""
    pads = np.concatenate([rows_of(copper.pads), rows_of(copper.flashes)])
    odd, count = [], len(copper.pads) // PAD_ROW
    near_all = tree.query_ball_point(pads[:, :2], PAD_OFFSET) if len(pads) else []
    for row, (pad, near) in enumerate(zip(pads.tolist(), near_all, strict=True)):
        _, _, size, padstack, component, shape = pad
        own = [number for number in near if holes[number].net == net]
        if row < count and (shape >= 0 or not own):
            odd.append(pad)
        for number in own:
            known = met.pads[number].get(layer, 0.0)
            met.pads[number][layer] = None if size < 0 or known is None else max(size, known)
            if padstack >= 0:
                met.padstacks[number].add(record.pad_padstacks[int(padstack)])
            name = record.pin_components[int(component)] if component >= 0 else ""
            pin = step.components.get(name)
            if pin is not None and (pin.mount in THROUGH or layer == pin.layer):
                met.in_use[number].add(pin.layer)
                met.pins[number].update({name} if pin.mount in THROUGH else ())
    return odd


def _meet_holes(
    record: FileRecord,
    met: Met,
    holes: list[HoleRecord],
    holes_of: Mapping[str, list[int]],
    spans: list[tuple[str, ...]],
) -> None:
    """Blind and buried holes of one net that stand on each other: both are connected on the one layer they share.

    Holes that go side by side through several layers are not: nothing says on which of these the net goes over.
    """
    if len(set(spans)) == 1:
        return
    for numbers in holes_of.values():
        if len({spans[number] for number in numbers}) == 1:
            continue
        place = np.array([(holes[i].x, holes[i].y) for i in numbers])
        reach = [max([holes[i].diameter, *(size or 0.0 for size in met.pads[i].values())]) / 2 for i in numbers]
        for one, other in cKDTree(place).query_pairs(2 * max(reach) + TOUCH):
            first, second = numbers[one], numbers[other]
            shared = [
                layer
                for layer in set(spans[first]) & set(spans[second])
                if math.dist(place[one], place[other])
                <= sum(max(holes[i].diameter, met.pads[i].get(layer) or 0.0) / 2 for i in (first, second)) + TOUCH
            ]
            if len(set(spans[first]) & set(spans[second])) == 1 and shared:
                met.in_use[first].add(shared[0])
                met.in_use[second].add(shared[0])
            elif shared and spans[first] != spans[second]:
                record.assume("holes of one net touch each other on several layers, which do not count as used")


def _meet_pins(record: FileRecord, step: StepRecord, met: Met, tree: cKDTree) -> None:
    """Pins of through-hole components, placed as their package and component say: each connects the hole it sits in."""
    for name, component in step.components.items():
        pins = record.packages.get(component.package, [])
        if component.mount in THROUGH and pins:
            met_by_pin: Any = tree.query_ball_point(component.turn.moved(pins, component.place), PAD_OFFSET)
            for near in met_by_pin:
                for number in near:
                    met.in_use[number].add(component.layer)
                    met.pins[number].add(name)
