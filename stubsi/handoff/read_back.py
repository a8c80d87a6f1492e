"""Owns the reading back of a hand-off: what its files, as they are now, say other than the plan."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from stubsi.board.names import how_many
from stubsi.checks import checked
from stubsi.drilling.plan import Plan
from stubsi.errors import FileError
from stubsi.files.near_copper import CopperNearDrills
from stubsi.files.opened_file import opened
from stubsi.handoff.copper_list import copper_csv
from stubsi.handoff.folder import folder_path
from stubsi.handoff.hand_off import COPPER, DRILL_FILE_NAME, SCHEDULE, SPECS, drill_file_name, texts_of
from stubsi.handoff.read_drill_file import drill_file_differences
from stubsi.handoff.read_list import list_differences
from stubsi.handoff.read_spec_file import spec_file_differences
from stubsi.show.seal import is_unchanged, plan_digest_of
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    import os
    from pathlib import Path

    import pandas as pd

LARGEST = 64_000_000
"""Largest file that is read [bytes]."""


class FileDifference(NamedTuple):
    """One thing that a file of a hand-off says other than the plan.

    Parameters
    ----------
    file : str
        Name of the file.
    line : int or None
        Where it stands; None: of the whole file, or where nothing stands.
    what : str
        What differs, with the hole or the group.
    planned, read : str
        What the plan says, and what the file says; blank where it says nothing.
    """

    file: str
    line: int | None
    what: str
    planned: str
    read: str

    def __str__(self) -> str:
        place = self.file if self.line is None else f"{self.file}, line {self.line}"
        return f"{place}: {self.what}: planned {self.planned or 'nothing'}, read {self.read or 'nothing'}"


@dataclass(frozen=True, kw_only=True, repr=False)
class HandOffDifference:
    """What the files of a hand-off say other than the plan. True where anything differs.

    Parameters
    ----------
    differences : tuple of FileDifference
        File by file.
    """

    differences: tuple[FileDifference, ...]

    def __bool__(self) -> bool:
        return bool(self.differences)

    def to_frame(self) -> pd.DataFrame:
        """Table as a pandas DataFrame: a difference in each row.

        Returns
        -------
        pandas.DataFrame
            File, line, what differs, and both values.
        """
        import pandas as pd

        return pd.DataFrame(self.differences, columns=list(FileDifference._fields))

    def __str__(self) -> str:
        return "\n".join(map(str, self.differences)) or "The files say what the plan says."

    def __repr__(self) -> str:
        return f"<HandOffDifference: {how_many(len(self.differences), 'difference')}>"


def read_hand_off(
    folder: str | os.PathLike[str], plan: Plan, *, copper: CopperNearDrills | None = None
) -> HandOffDifference:
    """Read the files of a hand-off back, and say what differs from the plan.

    Parameters
    ----------
    folder : path
        Folder that ``write_hand_off`` has written, as it is or as somebody edited it.
    plan : Plan
        The plan to compare it with.
    copper : CopperNearDrills, optional
        What ``copper_near_drills`` has found for this plan, to compare the list of it with. If it is not given, only
        that list's digest and whether its text was edited are looked at.

    Returns
    -------
    HandOffDifference
        False where the files say what the plan says. Of comments, the digest of the plan and the attributes of a drill
        file count (side, layers, depth, residual stub).

    Raises
    ------
    FileError
        A file cannot be read: too large, not UTF-8, or not of its format. The error text names file and line.
    UnknownValueError
        The position of a drilled hole is unknown, so the plan has no drill files.
    StubsiError
        An argument of another type.

    Notes
    -----
    Lengths are compared to the digits that the files have: positions to 0.1 um in drill files, all else to 1 um. A
    drill file may be in millimetres or inches; with fewer digits it is compared to half a step of its last digit, like
    1.27 um for 0.0001 in. A hole without a name is the nearest one of the plan within that.
    """
    place, texts = folder_path(folder), texts_of(checked(plan, "plan", Plan))
    if copper is not None:
        texts[COPPER] = copper_csv(plan, checked(copper, "copper", CopperNearDrills))
    present = _names_in(place)
    groups = {drill_file_name(group): group for group in plan.groups}
    found: list[FileDifference] = []
    for name, text in texts.items():
        if name not in present:
            found.append(FileDifference(name, None, "file", "there", ""))
            continue
        read = _text(place / name)
        if _plain(read) == _plain(text):
            continue
        found += _digest_difference(name, text, read)
        if name in groups:
            differing = drill_file_differences(name, read, plan, groups[name])
        elif name == SPECS:
            differing = spec_file_differences(place / name, text)
        else:
            differing = list_differences(name, text, read)
        found += [FileDifference(name, *each) for each in differing]
    if copper is None and COPPER in present:
        found += _digest_difference(COPPER, texts[SCHEDULE], _text(place / COPPER))
    extra = sorted(name for name in present if DRILL_FILE_NAME.fullmatch(name) and name not in texts)
    found += [FileDifference(name, None, "file", "", "there") for name in extra]
    return HandOffDifference(differences=tuple(found))


def _names_in(folder: Path) -> set[str]:
    try:
        return {each.name for each in folder.iterdir()}
    except FileNotFoundError:
        raise FileError(f"{folder}: no such folder.") from None
    except OSError as error:
        raise FileError(f"{as_shown(str(folder))}: cannot be read: {error.strerror}.") from None


def _text(path: Path) -> str:
    """Text of a file of a hand-off; FileError where it is too large or no UTF-8."""
    with opened(path) as file:
        data = file.read(LARGEST + 1)
    if len(data) > LARGEST:
        raise FileError(f"{path.name}: is larger than {LARGEST // 1_000_000} MB.")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise FileError(f"{path.name}: line {line}: is no text in UTF-8.") from None


def _plain(text: str) -> list[str]:
    """Lines of a text without blanks at their ends, which programs change."""
    return [line.rstrip() for line in text.rstrip().splitlines()]


def _digest_difference(name: str, planned: str, read: str) -> list[FileDifference]:
    """Whether a file was made from another plan, or was edited after it was made from this one."""
    of_plan, of_file = plan_digest_of(planned) or "", plan_digest_of(read) or ""
    if of_plan != of_file:
        return [FileDifference(name, None, "digest of the plan", of_plan, of_file)]
    return [] if is_unchanged(read) else [FileDifference(name, None, "text", "as written", "edited")]
