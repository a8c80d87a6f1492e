"""Owns the list of copper of the board file that the depth drills of a plan come too near to."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.show.schedule import preamble
from stubsi.show.seal import sealed
from stubsi.show.tables import Column, as_csv

if TYPE_CHECKING:
    from stubsi.drilling.plan import Plan
    from stubsi.files.near_copper import CopperNearDrills, NearCopper


def copper_csv(plan: Plan, copper: CopperNearDrills) -> str:
    """Copper that is too near, or cannot be judged, as CSV behind comment lines.

    Parameters
    ----------
    plan : Plan
        The plan.
    copper : CopperNearDrills
        What was found near its drills.

    Returns
    -------
    str
        A row for each piece of copper, sealed with the digests of the plan and of the text.
    """
    return sealed(as_csv(COLUMNS, copper.near, comments=[*preamble(plan), copper.summary()]))


def _mm(length: float | None) -> str:
    return "" if length is None else f"{round(1e3 * length, 4) + 0.0:.4f}"


def _shift(each: NearCopper, axis: int) -> str:
    return "" if each.shift_si is None else _mm(each.shift_si[axis])


COLUMNS: tuple[Column[NearCopper], ...] = (
    Column("drilled hole", lambda each: each.hole),
    Column("net", lambda each: each.net),
    Column("drilled from", lambda each: each.side),
    Column("layer", lambda each: each.layer),
    Column("net of the copper", lambda each: each.copper_net),
    Column("copper", lambda each: str(each.kind)),
    Column("x", lambda each: _mm(each.at_si[0]), unit="mm"),
    Column("y", lambda each: _mm(each.at_si[1]), unit="mm"),
    Column("distance", lambda each: _mm(each.distance_si), unit="mm"),
    Column("needed", lambda each: _mm(each.needed_si) or "unknown", unit="mm"),
    Column("too near", lambda each: {True: "yes", False: "no", None: "not judged"}[each.too_near]),
    Column("move in x", lambda each: _shift(each, 0), unit="mm"),
    Column("move in y", lambda each: _shift(each, 1), unit="mm"),
    Column("clearance to change to", lambda each: _mm(each.clearance_si), unit="mm"),
)
"""Columns of the list, a row for each piece of copper."""
