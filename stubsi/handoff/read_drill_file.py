"""Owns the reading of the drill file of a drill group, and its comparison with the plan."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NoReturn

from stubsi.errors import FileError
from stubsi.handoff.drill_file import ATTRIBUTE, HOLE, NET, drill_file_of, unescaped
from stubsi.handoff.read_places import FINE, ReadPlace, Resolution, place_differences
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    from stubsi.drilling.drill_group import Group
    from stubsi.drilling.plan import Plan
    from stubsi.handoff.drill_file import DrillFile
    from stubsi.handoff.read_places import Difference

NUMBER = r"[+-]?[0-9]{1,6}(?:\.[0-9]{0,9})?"
TOOL, PLACE = re.compile(rf"T0*([0-9]+)C({NUMBER})"), re.compile(rf"X({NUMBER})Y({NUMBER})")
UNITS = {"METRIC": 1e-3, "INCH": 0.0254}
"""Metres per unit. Source: IPC-NC-349, from memory."""
LEAST_DIGITS = {1e-3: 3, 0.0254: 4}
"""Digits behind the point that a number has at least, by metres per unit: programs leave out zeros at the end. Formats
of three digits in millimetres and of four in inches are common practice, no source.
"""
PASSED_OVER = frozenset({"", "M48", "%", "G05", "G90", "M30", "M71", "M72"})
"""Lines that say nothing of holes."""


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
    planned, reader = drill_file_of(plan, group), _read(name, text)
    own = [ReadPlace(None, place.x_si, place.y_si, planned.drill_si, place.hole, place.net) for place in planned.places]
    return [*_attribute_differences(planned, reader), *place_differences(own, reader.places, reader.resolution)]


def _attribute_differences(planned: DrillFile, reader: _Reader) -> list[Difference]:
    """Attributes of the file with other values, missing or extra: side, layers, depth, residual stub."""
    own = {key: ",".join(values) for key, values in planned.attributes}
    found: list[Difference] = []
    for key in dict.fromkeys([*own, *reader.attributes]):
        line, value = reader.attributes.get(key, (None, ""))
        if own.get(key, "") != value:
            found.append((line, f"attribute {key}", own.get(key, ""), value))
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
    return _read(name, text).places


def _read(name: str, text: str) -> _Reader:
    reader = _Reader(name)
    for number, line in enumerate(text.splitlines(), 1):
        reader.line(number, line.strip())
    return reader


class _Reader:
    """Reads a drill file line by line."""

    def __init__(self, name: str) -> None:
        self.name, self.number = name, 0
        self.places: list[ReadPlace] = []
        self.attributes: dict[str, tuple[int, str]] = {}
        self._metres: float | None = None
        self._tools: dict[int, float] = {}
        self._tool: int | None = None
        self._hole = self._net = ""
        self._digits = {"place": 0, "size": 0}

    @property
    def resolution(self) -> Resolution:
        """Half a step of the last digit of the file, but not less than what always counts as the same."""
        if self._metres is None:
            return FINE
        half = {
            what: 0.5001 * self._metres / 10 ** max(digits, LEAST_DIGITS[self._metres])
            for what, digits in self._digits.items()
        }
        return Resolution(max(FINE.place_si, half["place"]), max(FINE.size_si, half["size"]))

    def line(self, number: int, text: str) -> None:
        self.number = number
        if text.startswith(ATTRIBUTE):
            self._attribute(*text.removeprefix(ATTRIBUTE).partition(",")[::2])
        elif text.startswith(";") or text in PASSED_OVER:
            return
        elif (unit := text.split(",", maxsplit=1)[0]) in UNITS:
            if self._metres not in {None, UNITS[unit]}:
                self._refuse("the unit changes within the file")
            self._metres = UNITS[unit]
        elif tool := TOOL.fullmatch(text):
            diameter = self._number("size", tool[2]) * self._unit()
            if self._tools.setdefault(int(tool[1]), diameter) != diameter:
                self._refuse(f"tool {int(tool[1])} has another diameter already")
        elif place := PLACE.fullmatch(text):
            self._place(self._number("place", place[1]), self._number("place", place[2]))
        elif re.fullmatch(r"T[0-9]{1,6}", text):
            self._tool = int(text[1:])
        else:
            self._refuse(f"{as_shown(text)}: is no line of such a drill file")

    def _attribute(self, key: str, value: str) -> None:
        text = ",".join(map(self._unescaped, value.split(",")))
        if key == HOLE:
            self._hole = text
        elif key == NET:
            self._net = text
        elif key.startswith("TF"):
            if key in self.attributes:
                self._refuse(f"attribute {as_shown(key)} stands in line {self.attributes[key][0]} already")
            self.attributes[key] = self.number, text

    def _place(self, x: float, y: float) -> None:
        drill = self._tools.get(self._tool) if self._tool is not None else None
        if drill is None:
            self._refuse("a hole stands before a tool with a diameter is chosen")
        self.places.append(ReadPlace(self.number, x * self._unit(), y * self._unit(), drill, self._hole, self._net))
        self._hole = self._net = ""

    def _number(self, what: str, text: str) -> float:
        self._digits[what] = max(self._digits[what], len(text.partition(".")[2]))
        return float(text)

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
