"""Owns the reading of the drill file of a drill group, and its comparison with the plan."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple, NoReturn

from stubsi.errors import FileError
from stubsi.handoff.drill_file import ATTRIBUTE, HOLE, drill_file_of, in_mm, unescaped
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    from stubsi.drilling.drill_group import Group
    from stubsi.drilling.plan import Plan

    Difference = tuple[int | None, str, str, str]

NUMBER = r"[+-]?[0-9]{1,6}(?:\.[0-9]{0,9})?"
TOOL, PLACE = re.compile(rf"T0*([0-9]+)C({NUMBER})"), re.compile(rf"X({NUMBER})Y({NUMBER})")
UNITS = {"METRIC": 1e-3, "INCH": 0.0254}
"""Metres per unit. Source: IPC-NC-349, from memory."""
PASSED_OVER = frozenset({"", "M48", "%", "G05", "G90", "M30", "M71", "M72"})
"""Lines that say nothing of holes."""
SAME_PLACE, SAME_SIZE = 1e-7, 1e-6
"""Positions and diameters that differ by no more [m] are the same."""


class ReadPlace(NamedTuple):
    """A hole of a drill file: line, position [m], diameter of its tool [m], and name; blank where it has none."""

    line: int
    x_si: float
    y_si: float
    drill_si: float
    hole: str


def drill_file_differences(name: str, text: str, plan: Plan, group: Group) -> list[Difference]:
    """What a drill file says other than its group of the plan.

    Parameters
    ----------
    name : str
        Name of the file, for error texts.
    text : str
        Its text.
    plan : Plan
        The plan.
    group : Group
        The drill group that the file is of.

    Returns
    -------
    list of (line, what, planned, read)

    Raises
    ------
    FileError
        A line is none of such a file, a tool is used that has no diameter, or no unit is given.
    """
    planned, read = drill_file_of(plan, group), drill_places(name, text)
    by_name = {place.hole: place for place in read if place.hole}
    by_place = {_rounded(place.x_si, place.y_si): place for place in read}
    found: list[Difference] = []
    seen: set[int] = set()
    for hole in planned.places:
        place = by_name.get(hole.hole) or by_place.get(_rounded(hole.x_si, hole.y_si))
        if place is None:
            found.append((None, f"hole {hole.hole}", _at(hole.x_si, hole.y_si), ""))
            continue
        seen.add(place.line)
        if max(abs(place.x_si - hole.x_si), abs(place.y_si - hole.y_si)) > SAME_PLACE:
            found.append(
                (place.line, f"position of {hole.hole}", _at(hole.x_si, hole.y_si), _at(place.x_si, place.y_si))
            )
        if abs(place.drill_si - planned.drill_si) > SAME_SIZE:
            found.append((place.line, f"depth drill of {hole.hole}", _mm(planned.drill_si), _mm(place.drill_si)))
    found += [
        (place.line, f"hole {place.hole or 'without name'}", "", _at(place.x_si, place.y_si))
        for place in read
        if place.line not in seen
    ]
    return found


def drill_places(name: str, text: str) -> list[ReadPlace]:
    """Holes of a drill file.

    Parameters
    ----------
    name : str
        Name of the file, for error texts.
    text : str

    Returns
    -------
    list of ReadPlace

    Raises
    ------
    FileError
        As in ``drill_file_differences``.
    """
    reader = _Reader(name)
    for number, line in enumerate(text.splitlines(), 1):
        reader.line(number, line.strip())
    return reader.places


class _Reader:
    """Reads a drill file line by line."""

    def __init__(self, name: str) -> None:
        self.name, self.number = name, 0
        self.places: list[ReadPlace] = []
        self._metres: float | None = None
        self._tools: dict[int, float] = {}
        self._tool: int | None = None
        self._hole = ""

    def line(self, number: int, text: str) -> None:
        self.number = number
        if text.startswith(ATTRIBUTE):
            key, _, value = text.removeprefix(ATTRIBUTE).partition(",")
            if key == HOLE:
                self._hole = self._unescaped(value)
        elif text.startswith(";") or text in PASSED_OVER:
            return
        elif (unit := text.split(",", maxsplit=1)[0]) in UNITS:
            self._metres = UNITS[unit]
        elif tool := TOOL.fullmatch(text):
            self._tools[int(tool[1])] = float(tool[2]) * self._unit()
        elif place := PLACE.fullmatch(text):
            self._place(float(place[1]), float(place[2]))
        elif re.fullmatch(r"T[0-9]{1,6}", text):
            self._tool = int(text[1:])
        else:
            self._refuse(f"{as_shown(text)}: is no line of such a drill file")

    def _place(self, x: float, y: float) -> None:
        drill = self._tools.get(self._tool) if self._tool is not None else None
        if drill is None:
            self._refuse("a hole stands before a tool with a diameter is chosen")
        self.places.append(ReadPlace(self.number, x * self._unit(), y * self._unit(), drill, self._hole))
        self._hole = ""

    def _unit(self) -> float:
        if self._metres is None:
            self._refuse("no line METRIC or INCH stands before the first number")
        return self._metres

    def _unescaped(self, value: str) -> str:
        try:
            return unescaped(value)
        except ValueError:
            self._refuse(f"{as_shown(value)}: holds an escape that stands for no character")

    def _refuse(self, why: str) -> NoReturn:
        raise FileError(f"{self.name}: line {self.number}: {why}.")


def _rounded(x: float, y: float) -> tuple[int, int]:
    return round(x / SAME_PLACE), round(y / SAME_PLACE)


def _at(x: float, y: float) -> str:
    return f"({in_mm(x, 4)}, {in_mm(y, 4)}) mm"


def _mm(length: float) -> str:
    return f"{in_mm(length, 4)} mm"
