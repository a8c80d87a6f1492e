"""Owns the tolerances that an IPC-2581 file states: of its board, layers, Dk and holes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.files.exchange_stackup import chosen_stackup
from stubsi.tolerance.tolerance import Limit, LimitUnit, Tolerance
from stubsi.tolerance.tolerances import Tolerances

if TYPE_CHECKING:
    from collections.abc import Iterable

    from stubsi.files.exchange_records import FileRecord, HoleRecord, Spread, StepRecord


def tolerances_of(record: FileRecord, step: StepRecord, holes: Iterable[HoleRecord]) -> Tolerances | None:
    """Tolerances of a board as its file states them.

    Parameters
    ----------
    record : FileRecord
        The file, whose stackup has been made.
    step : StepRecord
        The board.
    holes : iterable of HoleRecord
        The holes of its signal nets.

    Returns
    -------
    Tolerances or None
        None: the file states none. A tolerance of zero counts as none, because the schema asks for an entry. Where
        layers of one material, or holes, have different tolerances, the widest counts, and the summary says so.
    """
    if not record.stackups:
        return None
    board = chosen_stackup(record, step).spread
    thickness = _by_material(record, record.dielectric_spreads, "thicknesses of one material", "length")
    dk = _by_material(record, record.dk_spreads, "Dk of one material", "number")
    whole = _widest(record, [board] if board else [], "boards")
    copper = _widest(record, record.copper_spreads, "thicknesses of copper layers")
    drill = _widest(record, [hole.spread for hole in holes if hole.spread], "holes")
    if not (whole or copper or drill or thickness or dk):
        return None
    return Tolerances(
        board_thickness=whole, copper_thickness=copper, drill=drill,
        dielectric_thickness=thickness or None, dk=dk or None,
    )  # fmt: skip


def _by_material(
    record: FileRecord, given: dict[str, list[Spread]], what: str, unit: LimitUnit
) -> dict[str, Tolerance]:
    widest = {material: _widest(record, found, what, unit) for material, found in given.items()}
    return {material: tolerance for material, tolerance in widest.items() if tolerance is not None}


def _widest(record: FileRecord, found: list[Spread], what: str, unit: LimitUnit = "length") -> Tolerance | None:
    """One tolerance for several, as wide as all of them; None where there is none."""
    if not found:
        return None
    if len({each.percent for each in found}) > 1:
        record.assume(f"tolerances of {what} are in percent and as {unit}s, and are left out")
        return None
    if len(set(found)) > 1:
        record.assume(f"tolerances of {what} differ, and the widest counts for all")
    stated: LimitUnit = "percent" if found[0].percent else unit
    return Tolerance(
        plus=Limit(max(each.plus for each in found), stated),
        minus=Limit(max(each.minus for each in found), stated),
        source=f"IPC-2581 file {record.name}",
    )
