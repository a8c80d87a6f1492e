"""Owns the tables of a plan for pandas: its drill groups and its holes, as plain numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from stubsi.drilling.drill_group import Group, Hit

GROUP_COLUMNS = (
    "group", "side", "must-not-cut layer", "least depth [mm]", "greatest depth [mm]", "residual stub, least [mm]",
    "residual stub, most [mm]", "primary drill [mm]", "depth drill [mm]", "holes", "nets",
)  # fmt: skip
"""Columns of the table of drill groups."""

HOLE_COLUMNS = (
    "hole", "net", "side", "group", "must-not-cut layer", "last layer in use", "longest permitted stub [mm]",
    "stub, least [mm]", "stub, nominal [mm]", "stub, most [mm]", "budget missed by [um]",
    "first notch too low by [GHz]",
)  # fmt: skip
"""Columns of the table of holes."""


def groups_frame(groups: Sequence[Group]) -> pd.DataFrame:
    """Drill groups as a pandas DataFrame: a group in each row, lengths in [mm].

    Parameters
    ----------
    groups : Sequence[Group]
        Drill groups of a plan.

    Returns
    -------
    pd.DataFrame
        The table.
    """
    import pandas as pd

    return pd.DataFrame([_group_row(group) for group in groups], columns=list(GROUP_COLUMNS))


def holes_frame(groups: Sequence[Group]) -> pd.DataFrame:
    """Holes of drill groups as a pandas DataFrame: a hole and side in each row, lengths in [mm].

    Parameters
    ----------
    groups : Sequence[Group]
        Drill groups of a plan.

    Returns
    -------
    pd.DataFrame
        The table.
    """
    import pandas as pd

    rows = [_hole_row(group, hit) for group in groups for hit in group.hits]
    return pd.DataFrame(rows, columns=list(HOLE_COLUMNS))


def _group_row(group: Group) -> tuple[object, ...]:
    lengths = (*group.depth_si, group.left.least_si, group.left.most_si, group.primary_si, group.drill_si)
    in_mm = (1e3 * length for length in lengths)
    return (group.number, group.side, group.layer, *in_mm, len(group.hits), ", ".join(group.nets))


def _hole_row(group: Group, hit: Hit) -> tuple[object, ...]:
    in_mm = (1e3 * length for length in (hit.window.longest_si, *hit.left))
    over, short = (None, None) if hit.miss is None else (hit.miss.over_si, hit.miss.short_si)
    missed = (None if over is None else 1e6 * over, None if short is None else 1e-9 * short)
    return (hit.hole.name, hit.net, hit.side, group.number, group.layer, hit.window.layer, *in_mm, *missed)
