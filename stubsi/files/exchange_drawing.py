"""Owns the drawing of copper in an exchange file: lines, areas and pads as points in metres, moved to their places."""

from __future__ import annotations

import math
from array import array
from dataclasses import dataclass, field
from itertools import chain, pairwise
from typing import TYPE_CHECKING, NamedTuple

from stubsi.files.exchange_geometry import Point, Points, bar, circle, pairs_of, surface

if TYPE_CHECKING:
    from collections.abc import Sequence


class Turn(NamedTuple):
    """How a drawing or a component is placed: scaled, mirrored in x, turned [rad] and shifted [m], in this order.

    The order is from memory.
    """

    rotation: float = 0.0
    mirror: bool = False
    scale: float = 1.0
    offset: Point = (0.0, 0.0)

    def moved(self, points: list[Point], place: Point) -> list[Point]:
        """Points as they are placed.

        Parameters
        ----------
        points : list of (float, float)
            [m].
        place : (float, float)
            Where the origin comes to lie [m].

        Returns
        -------
        list of (float, float)
        """
        dx, dy = place[0] + self.offset[0], place[1] + self.offset[1]
        if not (self.rotation or self.mirror or self.scale != 1.0):
            return [(x + dx, y + dy) for x, y in points] if dx or dy else points
        cos, sin = math.cos(self.rotation) * self.scale, math.sin(self.rotation) * self.scale
        sign = -1.0 if self.mirror else 1.0
        return [(sign * x * cos - y * sin + dx, sign * x * sin + y * cos + dy) for x, y in points]


STRAIGHT = Turn()


@dataclass(slots=True)
class Area:
    """A filled area: its outline, its cut-outs, and the width [m] of the line along its outline."""

    outline: Points
    cutouts: Sequence[Points]
    width: float = 0.0


class Flash(NamedTuple):
    """A shape that is drawn at a place in one piece, like a pad.

    Parameters
    ----------
    size : float or None
        Diameter [m] of the circle of the same area; None: not known.
    outline : tuple of (float, float)
        Corners [m] about the place; none for a circle of that size.
    ring : float or None
        Width [m] of the line, where only the outline is drawn.
    """

    size: float | None
    outline: tuple[Point, ...] = ()
    ring: float | None = None

    def turned(self, turn: Turn) -> Flash:
        """The shape as it is turned, mirrored and scaled.

        Parameters
        ----------
        turn : Turn

        Returns
        -------
        Flash
        """
        if not self.outline and turn.offset != (0.0, 0.0) and self.size is not None:
            return Flash(self.size * turn.scale, tuple(turn.moved(circle(self.size), (0.0, 0.0))), self.ring)
        size = None if self.size is None else self.size * turn.scale
        return Flash(size, tuple(turn.moved(list(self.outline), (0.0, 0.0))), self.ring)


@dataclass(slots=True)
class Drawing:
    """What one element of the file draws, before it is moved to its place.

    ``lines`` are lists of points with a width [m], ``voids`` areas without copper that are drawn over what is there,
    and ``joined`` the discs of thermal pads, which are connected to what is around them. ``pin`` names the component
    whose pin is soldered to the pad. ``named_lines`` (number of a line, name of its width) and ``named_shapes`` are
    what an entry of a dictionary refers to, each with its line in the file.
    """

    lines: list[tuple[list[Point], float]] = field(default_factory=list)
    areas: list[Area] = field(default_factory=list)
    voids: list[Area] = field(default_factory=list)
    joined: list[Area] = field(default_factory=list)
    flashes: list[Flash] = field(default_factory=list)
    places: list[Point] = field(default_factory=list)
    turn: Turn = field(default_factory=lambda: STRAIGHT)
    padstack: str = ""
    pin: str | None = None
    named_lines: list[tuple[int, str, int]] = field(default_factory=list)
    named_shapes: list[tuple[str, int]] = field(default_factory=list)

    def add(self, other: Drawing) -> None:
        """Add what another drawing holds. It stays where it is.

        Parameters
        ----------
        other : Drawing
        """
        self.lines += other.lines
        self.areas += other.areas
        self.voids += other.voids
        self.joined += other.joined
        self.flashes += other.flashes

    @property
    def points(self) -> int:
        """About how many points it draws at each of its places."""
        outlines = sum(
            len(area.outline) + sum(map(len, area.cutouts)) for area in (*self.areas, *self.voids, *self.joined)
        )
        return outlines + sum(len(points) for points, _ in self.lines) + len(self.flashes)

    def outlines(self) -> list[Area]:
        """All that it draws, as areas.

        Returns
        -------
        list of Area
        """
        ends = [(*pair, width) for points, width in self.lines for pair in pairwise(points)]
        return [
            *self.areas,
            *(Area(bar(start, end, width / 2), []) for start, end, width in ends),
            *(Area(each.outline or circle(each.size or 0.0), []) for each in self.flashes),
        ]

    def open_rings(self) -> None:
        """Make lines of the shapes of which only the outline is drawn. A pad is a pad also where it is drawn so."""
        for flash in self.flashes:
            if flash.ring is not None:
                corners = list(flash.outline) or circle(flash.size or 0.0)
                self.lines.append(([*corners, corners[0]], flash.ring))
        self.flashes = [flash for flash in self.flashes if flash.ring is None]

    def become_pad(self) -> None:
        """Make one pad of all that is drawn: a pad may be given as an area or by lines, and stays a pad."""
        for area in self.areas:
            outline = tuple(pairs_of(area.outline))
            self.flashes.append(Flash(2 * math.sqrt(surface(outline) / math.pi), outline))
        for points, width in self.lines:
            self.flashes += [Flash(None, bar(*ends, width / 2)) for ends in pairwise(points)]
        self.areas, self.lines, self.voids = [], [], []


@dataclass(slots=True)
class Copper:
    """Copper of one net on one layer, all in metres.

    ``lines``: x and y of both ends, and the width, of every straight piece. ``pads``: x, y, diameter (-1: not known),
    number of the padstack, of the component and of the shape (-1: none, or round) of every pad. ``flashes``: as
    ``pads``, of shapes that are drawn at a place without being called a pad. ``drawn`` says how many lines, areas and
    flashes there were when the layer had so many clearances.
    """

    lines: array[float] = field(default_factory=lambda: array("d"))
    areas: list[Area] = field(default_factory=list)
    pads: array[float] = field(default_factory=lambda: array("d"))
    flashes: array[float] = field(default_factory=lambda: array("d"))
    drawn: list[tuple[int, int, int, int]] = field(default_factory=list)

    def note_clearances(self, count: int) -> None:
        """Note that what is drawn from now on lies over so many clearances.

        Parameters
        ----------
        count : int
        """
        if count and (not self.drawn or self.drawn[-1][0] != count):
            self.drawn.append((count, len(self.lines) // 5, len(self.areas), len(self.flashes) // PAD_ROW))

    def draw(self, drawing: Drawing) -> None:
        """Add the lines and areas of a drawing, at each of its places.

        Parameters
        ----------
        drawing : Drawing
        """
        turn = drawing.turn
        for place in drawing.places or [(0.0, 0.0)]:
            for points, width in drawing.lines:
                for (x, y), (to_x, to_y) in pairwise(turn.moved(points, place)):
                    self.lines.extend((x, y, to_x, to_y, width * turn.scale))
            self.areas += [placed(area, turn, place) for area in (*drawing.areas, *drawing.joined)]


PAD_ROW = 6
"""Numbers of a pad in ``Copper``."""


def placed(area: Area, turn: Turn, place: Point) -> Area:
    """An area at its place, its points one number after the other.

    Parameters
    ----------
    area : Area
    turn : Turn
    place : (float, float)
        [m].

    Returns
    -------
    Area
    """
    outline, *cutouts = (
        array("d", chain.from_iterable(turn.moved(pairs_of(points), place))) for points in (area.outline, *area.cutouts)
    )
    return Area(outline, cutouts, area.width * turn.scale)
