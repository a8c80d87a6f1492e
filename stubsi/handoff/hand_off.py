"""Owns the hand-off: which files a plan is handed off in, their names, and the writing of them."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from stubsi.checks import checked
from stubsi.drilling.plan import Plan
from stubsi.errors import StubsiError
from stubsi.files.near_copper import CopperNearDrills
from stubsi.handoff.acceptance import acceptance_csv
from stubsi.handoff.backdrill_file import as_ipc2581
from stubsi.handoff.copper_list import copper_csv
from stubsi.handoff.drill_file import as_xnc
from stubsi.handoff.folder import folder_path, write_files

if TYPE_CHECKING:
    import os
    from pathlib import Path

    from stubsi.drilling.drill_group import Group

SCHEDULE, HOLES, SPECS = "drill_schedule.csv", "drilled_holes.csv", "depth_drilling.xml"
"""Names of the lists of groups and of holes, and of the specifications in IPC-2581."""
ACCEPTANCE, COPPER = "acceptance_plan.csv", "copper_near_drills.csv"
"""Names of the list of coupons, and of the list of copper near the drills."""

DRILL_FILE_NAME = re.compile(r"group_[0-9]+_(?:top|bottom)\.xnc")
"""Names of the drill files."""


def drill_file_name(group: Group) -> str:
    """Name of the drill file of a group, like "group_01_bottom.xnc".

    Parameters
    ----------
    group : Group
        A drill group.

    Returns
    -------
    str
    """
    return f"group_{group.number:02d}_{group.side}.xnc"


def texts_of(plan: Plan) -> dict[str, str]:
    """Texts of all files of a hand-off, by file name.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    dict of str to str

    Raises
    ------
    UnknownValueError
        The position of a drilled hole is unknown.
    """
    return {
        SCHEDULE: plan.to_csv(),
        HOLES: plan.holes_csv(),
        SPECS: as_ipc2581(plan),
        **{drill_file_name(group): as_xnc(plan, group) for group in plan.groups},
        ACCEPTANCE: acceptance_csv(plan),
    }


def write_hand_off(
    plan: Plan, folder: str | os.PathLike[str], *, copper: CopperNearDrills | None = None, replace: bool = False
) -> tuple[Path, ...]:
    """Write the files that a fabricator drills from and is measured by.

    They are the lists of groups and of holes, the specifications, a drill file of each group, and the acceptance plan.

    Every file carries the digests of its plan and of its own text; ``still_valid`` checks them.

    Parameters
    ----------
    plan : Plan
        The plan.
    folder : path
        Where to write. It is made where there is none; the folder above it must exist.
    copper : CopperNearDrills, optional
        What ``copper_near_drills`` has found for this plan in the file of its board. It is listed in a file as well.
    replace : bool
        Whether to replace an earlier hand-off in this folder. Its drill files of groups that the plan does not have are
        then removed, so that nobody drills them. Other files in the folder stay as they are.

    Returns
    -------
    tuple of Path
        The files written.

    Raises
    ------
    UnknownValueError
        The position of a drilled hole is unknown.
    FileError
        The folder cannot be written to, or holds a file of a hand-off and ``replace`` is False.
    StubsiError
        An argument is of another type, or ``copper`` is that of another plan.

    Notes
    -----
    A file is written beside its place first and then takes it in one step, so no file is ever half written.

    The specifications (start layer, must-not-cut layer, largest stub, depth with tolerance) are an IPC-2581 file of
    revision C. The drill files are XNC, a subset of IPC-NC-349: millimetres, one tool, places as seen from the top
    side. What a drill file cannot say (side, depth, must-not-cut layer) stands in its comments. Estimates: to be
    confirmed by the fabricator.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from stubsi import plan, read_board, read_rules
    >>> board, rules = read_board("shared/demo_board.toml"), read_rules("shared/demo_rules.toml")
    >>> with TemporaryDirectory() as folder:
    ...     [path.name for path in write_hand_off(plan(board, rules, model="uniform"), folder)][:4]
    ['drill_schedule.csv', 'drilled_holes.csv', 'depth_drilling.xml', 'group_01_bottom.xnc']
    """
    checked(plan, "plan", Plan)
    checked(replace, "replace", bool)
    place, texts = folder_path(folder), texts_of(plan)
    if copper is not None:
        drilled = {hit.hole.name for hit in plan.hits}
        other = [each.hole for each in checked(copper, "copper", CopperNearDrills) if each.hole not in drilled]
        if other:
            raise StubsiError(f"copper: {other[0]} is not drilled in this plan; call copper_near_drills with the plan.")
        texts[COPPER] = copper_csv(plan, copper)
    write_files(place, texts, [name for name in _written_earlier(place) if name not in texts], replace=replace)
    return tuple(place / name for name in texts)


def _written_earlier(folder: Path) -> list[str]:
    """Names of the drill files and of the list of copper that an earlier hand-off has left in a folder."""
    try:
        return sorted(
            path.name for path in folder.iterdir() if path.name == COPPER or DRILL_FILE_NAME.fullmatch(path.name)
        )
    except OSError:  # there is no such folder yet, or writing will say what is wrong with it
        return []
