r"""Owns the drill file of a drill group: what it says, and its text in XNC, the exchange subset of IPC-NC-349.

A drill file knows tools and places only. All else stands in comments: first what the schedule says, for people, then
attributes for programs, as Gerber writes them in comments. Of the attributes, ``.FileFunction``, ``.AperFunction``
and ``.N`` (the net) are those of the Gerber layer format; no function for depth drilling is standard, so the function
is that of unplated blind holes through the layers that are removed. The names without a dot are our own.

Nothing that a user wrote can become a command. A comment is one line, and a control character in it is an escape. In
an attribute, a comma, ``%``, ``*``, ``\`` and whatever is not ASCII are written as ``\uXXXX`` (``\UXXXXXXXX`` for code
points above FFFF), as in Gerber, and read back equal.

Sources: Gerber Layer Format Specification 2022.02, section 5 (attributes, seen through readers of it); XNC, from
memory.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

from stubsi.checks import one_line
from stubsi.errors import UnknownValueError
from stubsi.show.schedule import preamble, remarks
from stubsi.show.seal import sealed

if TYPE_CHECKING:
    from stubsi.drilling.drill_group import Group
    from stubsi.drilling.plan import Plan

ATTRIBUTE = "; #@! "
"""Begins a line that holds an attribute."""
NET, HOLE = "TO.N", "TOHole"
"""Attributes of one place: its net and its hole."""
FILE_FUNCTION, TOOL_FUNCTION = "TF.FileFunction", ("TA.AperFunction", "BackDrill")
MOST_NAMED = 5
"""Most holes that an error text names."""

_KEPT = re.compile(r"[ -~]")
_SPECIAL = frozenset(",%*\\")
_ESCAPE = re.compile(r"\\u([0-9A-Fa-f]{4})|\\U([0-9A-Fa-f]{8})")


class Place(NamedTuple):
    """One place that a drill file drills.

    Parameters
    ----------
    x_si, y_si : float
        Position [m], as seen from the top side of the board.
    net, hole : str
        Names; blank where the file does not say them.
    """

    x_si: float
    y_si: float
    net: str
    hole: str


class DrillFile(NamedTuple):
    """What the drill file of one group says.

    Parameters
    ----------
    attributes : tuple of (str, tuple of str)
        Attributes of the file, each with its values.
    drill_si : float
        Diameter of the depth drill [m].
    places : tuple of Place
        What it drills, in its order.
    """

    attributes: tuple[tuple[str, tuple[str, ...]], ...]
    drill_si: float
    places: tuple[Place, ...]


def drill_file_of(plan: Plan, group: Group) -> DrillFile:
    """What the drill file of a group of a plan has to say.

    Parameters
    ----------
    plan : Plan
        The plan.
    group : Group
        One of its drill groups.

    Returns
    -------
    DrillFile

    Raises
    ------
    UnknownValueError
        The position of a hole is unknown.
    """
    unknown = [hit.hole.name for hit in group.hits if hit.hole.xy_si is None]
    if unknown:
        more = f" and {len(unknown) - MOST_NAMED} more" if len(unknown) > MOST_NAMED else ""
        raise UnknownValueError(
            f"drill group {group.number}: the position of {', '.join(unknown[:MOST_NAMED])}{more} is unknown, so no "
            "drill file can be written; give x and y of every hole."
        )
    places = tuple(Place(*hit.hole.xy_si, hit.net, hit.hole.name) for hit in group.hits if hit.hole.xy_si)
    return DrillFile(_attributes(plan, group), group.drill_si, places)


def _attributes(plan: Plan, group: Group) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Attributes of the file. Lengths are in [mm] to the micron, the least before the greatest."""
    names = plan.board.stackup.names
    kept, last = names.index(group.layer) + 1, len(names)
    first_cut, last_cut = (1, kept - 1) if group.side == "top" else (kept + 1, last)
    shallower, deeper = plan.rules.tolerance.depth_limits_si
    return (
        (FILE_FUNCTION, ("NonPlated", str(first_cut), str(last_cut), "Blind", "Drill")),
        ("TFDrillGroup", (str(group.number),)),
        ("TFDrilledSide", (group.side,)),
        ("TFStartLayer", (names[first_cut - 1 if group.side == "top" else last_cut - 1],)),
        ("TFMustNotCutLayer", (group.layer,)),
        ("TFDepthDatum", (plan.rules.datum,)),
        ("TFDepthTo", (plan.rules.depth_to,)),
        ("TFDepth", tuple(in_mm(depth) for depth in group.depth_si)),
        ("TFDepthTolerance", (in_mm(-shallower), in_mm(deeper))),
        ("TFResidualStub", (in_mm(group.left.least_si), in_mm(group.left.most_si))),
        ("TFPrimaryDrill", (in_mm(group.primary_si),)),
    )


def in_mm(length: float, digits: int = 3) -> str:
    """Length in millimetres.

    Parameters
    ----------
    length : float
        [m].
    digits : int
        Behind the point; 3 is to the micron.

    Returns
    -------
    str
    """
    return f"{round(length * 1e3, digits) + 0.0:.{digits}f}"


def as_xnc(plan: Plan, group: Group) -> str:
    """Drill file of a group.

    Parameters
    ----------
    plan : Plan
        The plan.
    group : Group
        One of its drill groups.

    Returns
    -------
    str
        ASCII text.

    Raises
    ------
    UnknownValueError
        The position of a hole is unknown.
    """
    said = drill_file_of(plan, group)
    title = (
        f"Depth-drill group {group.number} of {len(plan.groups)}, from the {group.side}, must not cut "
        f"{group.layer}. Places are as seen from the top side of the board. An attribute in mm."
    )
    lines = [
        "M48",
        *(_comment(line) for line in (title, *preamble(plan), *remarks(plan))),
        *(_attribute(name, *values) for name, values in said.attributes),
        "METRIC",
        _attribute(*TOOL_FUNCTION),
        f"T01C{in_mm(said.drill_si, 4)}",
        "%",
        "G05",
        "T01",
    ]
    for place in said.places:
        lines += [_attribute(NET, place.net), _attribute(HOLE, place.hole)]
        lines.append(f"X{in_mm(place.x_si, 4)}Y{in_mm(place.y_si, 4)}")
    return sealed("\n".join([*lines, "M30", ""]))


def _comment(line: str) -> str:
    """Comment of one line in ASCII that no program takes for an attribute."""
    text = one_line(line).encode("ascii", "backslashreplace").decode("ascii")
    return f"; {text.replace('#@!', '# @!')}"


def _attribute(name: str, *values: str) -> str:
    return ATTRIBUTE + ",".join([name, *map(escaped, values)])


def escaped(text: str) -> str:
    r"""Value of an attribute, with ``\uXXXX`` for whatever has a meaning in an attribute or is not ASCII.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
    """
    return "".join(
        character if _KEPT.fullmatch(character) and character not in _SPECIAL else _code(ord(character))
        for character in text
    )


def _code(point: int) -> str:
    return f"\\u{point:04X}" if point <= 0xFFFF else f"\\U{point:08X}"


def unescaped(text: str) -> str:
    r"""Value of an attribute as it was before ``escaped``.

    Parameters
    ----------
    text : str

    Returns
    -------
    str

    Raises
    ------
    ValueError
        An escape stands for no character.
    """
    try:
        return _ESCAPE.sub(lambda match: chr(int(match[1] or match[2], 16)), text)
    except OverflowError:
        raise ValueError(f"{text!r} holds an escape that stands for no character.") from None
