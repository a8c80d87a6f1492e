"""Owns the step of an exchange file that holds the board, and its holes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.errors import FileError
from stubsi.files.exchange_records import StepRecord

if TYPE_CHECKING:
    from stubsi.files.exchange_records import FileRecord, HoleRecord


def one_step(record: FileRecord) -> StepRecord:
    """The step that holds the board: the only one with holes of a net, or else the only one there is.

    Parameters
    ----------
    record : FileRecord

    Returns
    -------
    StepRecord

    Raises
    ------
    FileError
        Several steps hold plated holes.
    """
    with_holes = [step for step in record.steps if step.holes] or [step for step in record.steps if step.copper]
    if len(with_holes) > 1:
        names = ", ".join(step.name or "without a name" for step in with_holes[:4])
        raise FileError(
            f"{record.name}: line {with_holes[1].line}: several steps hold plated holes ({names}); export one board, "
            f"not a panel."
        )
    if with_holes:
        return with_holes[0]
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
    for hole in step.holes:
        key = (hole.net, hole.layer, hole.span, round(hole.x, 9), round(hole.y, 9))
        if key in seen:
            record.ignore("holes that the file lists again")
            continue
        seen.add(key)
        by_net.setdefault(hole.net, []).append(hole)
    return by_net
