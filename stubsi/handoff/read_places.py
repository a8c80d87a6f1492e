"""Owns the comparison of drilled places: holes missing, extra, moved, renamed, or of another diameter or net."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from stubsi.handoff.drill_file import in_mm

if TYPE_CHECKING:
    from collections.abc import Sequence

    Difference = tuple[int | None, str, str, str]

SAME_PLACE, SAME_SIZE = 1e-7, 1e-6
"""Positions and diameters that differ by no more [m] are the same."""


class ReadPlace(NamedTuple):
    """One drilled place of a file.

    Parameters
    ----------
    line : int or None
        Where it stands; None for a place of the plan.
    x_si, y_si, drill_si : float
        Position and diameter of the drill [m].
    hole, net : str
        Names; blank where the file does not say them.
    """

    line: int | None
    x_si: float
    y_si: float
    drill_si: float
    hole: str
    net: str


def place_differences(planned: Sequence[ReadPlace], read: Sequence[ReadPlace]) -> list[Difference]:
    """What drilled places of a file differ from those of the plan.

    A planned place is found by the name of its hole. Where no place has that name, it is found by its position, among
    the places whose name is none of the plan.

    Parameters
    ----------
    planned, read : sequence of ReadPlace
        Places of one drill.

    Returns
    -------
    list of (line, what, planned, read)
    """
    names = {place.hole for place in planned}
    by_name = {place.hole: place for place in read if place.hole in names and place.hole}
    by_place = {_rounded(place): place for place in read if place.hole not in names or not place.hole}
    found: list[Difference] = []
    seen: set[int] = set()
    for own in planned:
        place = by_name.get(own.hole) or by_place.get(_rounded(own))
        if place is None:
            found.append((None, f"hole {own.hole}", _at(own), ""))
            continue
        seen.add(id(place))
        found += _of_one(own, place)
    found += [
        (place.line, f"hole {place.hole or 'without name'}", "", _at(place)) for place in read if id(place) not in seen
    ]
    return found


def _of_one(own: ReadPlace, place: ReadPlace) -> list[Difference]:
    found: list[Difference] = []
    if max(abs(place.x_si - own.x_si), abs(place.y_si - own.y_si)) > SAME_PLACE:
        found.append((place.line, f"position of {own.hole}", _at(own), _at(place)))
    if abs(place.drill_si - own.drill_si) > SAME_SIZE:
        found.append((place.line, f"depth drill of {own.hole}", _mm(own.drill_si), _mm(place.drill_si)))
    for what, planned, read in (("name", own.hole, place.hole), ("net", own.net, place.net)):
        if read and read != planned:  # a program may leave names out: that is no other hole
            found.append((place.line, f"{what} of {own.hole}", planned, read))
    return found


def _rounded(place: ReadPlace) -> tuple[int, int]:
    return round(place.x_si / SAME_PLACE), round(place.y_si / SAME_PLACE)


def _at(place: ReadPlace) -> str:
    return f"({in_mm(place.x_si, 4)}, {in_mm(place.y_si, 4)}) mm"


def _mm(length: float) -> str:
    return f"{in_mm(length, 4)} mm"
