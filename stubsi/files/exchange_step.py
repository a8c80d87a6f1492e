"""Owns the step of an exchange file that holds the board, and its holes."""

from __future__ import annotations

from itertools import chain
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import cKDTree

from stubsi.errors import FileError
from stubsi.files.exchange_pieces import PAD_OFFSET, rows_of
from stubsi.files.exchange_records import StepRecord

if TYPE_CHECKING:
    from collections.abc import Iterable

    from stubsi.files.exchange_records import FileRecord, HoleRecord


def one_step(record: FileRecord, name: str | None = None) -> StepRecord:
    """The step that holds the board: the only one with holes of a net, or else the only one there is.

    Parameters
    ----------
    record : FileRecord
    name : str, optional
        Which of several is wanted.

    Returns
    -------
    StepRecord

    Raises
    ------
    FileError
        Several steps hold plated holes, and none or several of them have the name.
    """
    with_holes = [step for step in record.steps if step.holes] or [step for step in record.steps if step.copper]
    named = [step for step in with_holes if step.name == name]
    if len(with_holes) > 1 and len(named) != 1:
        names = ", ".join(step.name or "without a name" for step in with_holes[:4])
        raise FileError(
            f"{record.name}: line {with_holes[1].line}: several steps hold plated holes ({names}); give step, the name "
            f"of the one that is wanted."
        )
    if with_holes:
        return named[0] if len(with_holes) > 1 else with_holes[0]
    return record.steps[0] if record.steps else StepRecord("", "", 0)


def holes_of_nets(record: FileRecord, step: StepRecord) -> dict[str, list[HoleRecord]]:
    """Plated holes of every net. A hole that the file lists again is counted and left out.

    Parameters
    ----------
    record : FileRecord
    step : StepRecord

    Returns
    -------
    dict of str to list of HoleRecord
    """
    seen: set[tuple[object, ...]] = set()
    by_net: dict[str, list[HoleRecord]] = {}
    depth_drills = _depth_drills(record, step)
    for number, hole in enumerate(step.holes):
        if number in depth_drills:
            record.ignore("depth drills in holes; read_backdrill_specs lists what the file asks of them")
            continue
        spans = [hole.span] if hole.span is not None else record.layers[hole.layer].spans if hole.layer else []
        through = tuple(sorted(spans[0])) if len(spans) == 1 else hole.layer
        key = (hole.net, through, hole.diameter, round(hole.x, 9), round(hole.y, 9))
        if key in seen:
            record.ignore("holes that the file lists again")
            continue
        seen.add(key)
        by_net.setdefault(hole.net, []).append(hole)
    return by_net


def name_holes(record: FileRecord, step: StepRecord) -> None:
    """Give plated holes whose sets name no net that of their pads, where all pads about a hole are of one net.

    Parameters
    ----------
    record : FileRecord
    step : StepRecord
        Its holes without a net move to the others, or are counted and left out.
    """
    holes = step.holes_without_net
    tree = cKDTree([(hole.x, hole.y) for hole in holes])
    nets: list[set[str]] = [set() for _ in holes]
    for (_, net), copper in step.copper.items():
        pads = np.concatenate([rows_of(copper.pads), rows_of(copper.flashes)])
        if net and len(pads):
            for number in set(chain.from_iterable(tree.query_ball_point(pads[:, :2], PAD_OFFSET))):
                nets[number].add(net)
    for hole, found in zip(holes, nets, strict=True):
        if len(found) == 1:
            step.holes.append(hole._replace(net=next(iter(found))))
            record.assume("plated holes without a net are of the net of their pads")
        else:
            record.ignore("plated holes without a net")
    step.holes_without_net = []


def _depth_drills(record: FileRecord, step: StepRecord) -> set[int]:
    """Numbers of the holes that are no plated holes but depth drills in one. Some files call them plated as well.

    So is a hole whose drill layer asks for depth drilling. A hole that asks for it by itself is one if a narrower hole
    of its net stands in the same place; otherwise it is a plated hole that is to be drilled.
    """

    def asks(names: Iterable[str]) -> bool:
        return any(name in record.specs and record.specs[name].depth_drill for name in names)

    layers = {name for name, layer in record.layers.items() if asks(layer.specs)}
    by_themselves = [number for number, hole in enumerate(step.holes) if hole.specs and asks(hole.specs)]
    narrowest: dict[tuple[float, float, str], float] = {}
    for hole in step.holes if by_themselves else ():
        place = hole.x, hole.y, hole.net
        narrowest[place] = min(hole.diameter, narrowest.get(place, hole.diameter))
    wider = {
        number
        for number in by_themselves
        if narrowest[step.holes[number].x, step.holes[number].y, step.holes[number].net] < step.holes[number].diameter
    }
    return wider | {number for number, hole in enumerate(step.holes) if hole.layer in layers}
