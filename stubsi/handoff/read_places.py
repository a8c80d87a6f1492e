"""Owns the comparison of drilled places: holes missing, extra, moved, renamed, or of another diameter or net."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.spatial import cKDTree

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


class Resolution(NamedTuple):
    """How fine the numbers of a file are: positions and diameters that differ by no more [m] are the same."""

    place_si: float = SAME_PLACE
    size_si: float = SAME_SIZE


FINE = Resolution()


def place_differences(
    planned: Sequence[ReadPlace], read: Sequence[ReadPlace], resolution: Resolution = FINE
) -> list[Difference]:
    """What drilled places of a file differ from those of the plan.

    A planned place is found by the name of its hole. Where no place has that name, the nearest place within the
    resolution of the file counts, among those whose name is none of the plan and that no other hole has taken.

    Parameters
    ----------
    planned, read : sequence of ReadPlace
        Places of one drill.
    resolution : Resolution
        Of the file that was read.

    Returns
    -------
    list of (line, what, planned, read)
    """
    names = {place.hole for place in planned}
    by_name = {place.hole: place for place in read if place.hole in names and place.hole}
    by_place = _Nearest([place for place in read if place.hole not in names or not place.hole], resolution.place_si)
    found: list[Difference] = []
    seen: set[int] = set()
    for own in planned:
        place = by_name.get(own.hole) or by_place.taken_by(own)
        if place is None:
            found.append((None, f"hole {own.hole}", _at(own), ""))
            continue
        seen.add(id(place))
        found += _of_one(own, place, resolution)
    found += [
        (place.line, f"hole {place.hole or 'without name'}", "", _at(place)) for place in read if id(place) not in seen
    ]
    return found


class _Nearest:
    """Places without a known name, each of which belongs to one hole at most."""

    def __init__(self, places: Sequence[ReadPlace], within: float) -> None:
        self._places, self._within = places, within
        self._free = np.ones(len(places), dtype=bool)
        self._tree = cKDTree([(place.x_si, place.y_si) for place in places]) if places else None

    def taken_by(self, own: ReadPlace) -> ReadPlace | None:
        """The nearest free place, which is free no longer; None where there is none."""
        if self._tree is None:
            return None
        x, y = own.x_si, own.y_si
        near = self._tree.query_ball_point((x, y), self._within, p=np.inf)
        free = [number for number in near if self._free[number]]
        if not free:
            return None
        nearest = min(free, key=lambda number: math.dist((x, y), self._places[number][1:3]))
        self._free[nearest] = False
        return self._places[nearest]


def _of_one(own: ReadPlace, place: ReadPlace, resolution: Resolution) -> list[Difference]:
    """What differs between a drilled place as planned and as read: position, diameter, name, net."""
    found: list[Difference] = []
    if max(abs(place.x_si - own.x_si), abs(place.y_si - own.y_si)) > resolution.place_si:
        found.append((place.line, f"position of {own.hole}", _at(own), _at(place)))
    if abs(place.drill_si - own.drill_si) > resolution.size_si:
        found.append((place.line, f"depth drill of {own.hole}", _mm(own.drill_si), _mm(place.drill_si)))
    for what, planned, read in (("name", own.hole, place.hole), ("net", own.net, place.net)):
        if read and read != planned:  # a program may leave names out: that is no other hole
            found.append((place.line, f"{what} of {own.hole}", planned, read))
    return found


def _at(place: ReadPlace) -> str:
    return f"({in_mm(place.x_si, 4)}, {in_mm(place.y_si, 4)}) mm"


def _mm(length: float) -> str:
    return f"{in_mm(length, 4)} mm"
