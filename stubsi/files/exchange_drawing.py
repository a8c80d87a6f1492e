"""Owns the drawing of copper in an exchange file: lines, areas and pads as points in metres, moved to their places."""

from __future__ import annotations

import math
from array import array
from dataclasses import dataclass, field
from itertools import pairwise
from typing import NamedTuple

Point = tuple[float, float]

ARC_STEP = math.radians(10)
"""Angle of the chords that stand for an arc. They lie within 0.4 % of its radius."""


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

    outline: list[Point]
    cutouts: list[list[Point]]
    width: float = 0.0


@dataclass(slots=True)
class Drawing:
    """What one element of the file draws, before it is moved to its place.

    ``lines`` are lists of points with a width [m]. ``sizes`` are the diameters [m] of its pads, None where it
    is unknown; ``rounds`` are those of the round pads and ``outlines`` the corners of the others. ``pin`` names the
    component whose pin is soldered to the pad.
    """

    lines: list[tuple[list[Point], float]] = field(default_factory=list)
    areas: list[Area] = field(default_factory=list)
    sizes: list[float | None] = field(default_factory=list)
    rounds: list[float] = field(default_factory=list)
    outlines: list[list[Point]] = field(default_factory=list)
    places: list[Point] = field(default_factory=list)
    turn: Turn = field(default_factory=lambda: STRAIGHT)
    padstack: str = ""
    pin: str | None = None

    def add(self, other: Drawing) -> None:
        """Add what another drawing holds. It stays where it is.

        Parameters
        ----------
        other : Drawing
        """
        self.lines += other.lines
        self.areas += other.areas
        self.sizes += other.sizes
        self.rounds += other.rounds
        self.outlines += other.outlines


@dataclass(slots=True)
class Copper:
    """Copper of one net on one layer, all in metres.

    ``lines``: x and y of both ends, and the width, of every straight piece. ``pads``: x, y, diameter (-1: not round),
    number of the padstack and number of the component (-1: none) of every pad.
    """

    lines: array[float] = field(default_factory=lambda: array("d"))
    areas: list[Area] = field(default_factory=list)
    pads: array[float] = field(default_factory=lambda: array("d"))

    def draw(self, drawing: Drawing, padstack: int, component: int) -> None:
        """Add what a drawing holds, at each of its places.

        Parameters
        ----------
        drawing : Drawing
        padstack, component : int
            Their numbers; -1 where there is none.
        """
        for place in drawing.places or [(0.0, 0.0)]:
            for points, width in drawing.lines:
                there = drawing.turn.moved(points, place)
                for (x, y), (to_x, to_y) in pairwise(there):
                    self.lines.extend((x, y, to_x, to_y, width * drawing.turn.scale))
            for area in drawing.areas:
                cutouts = [drawing.turn.moved(cutout, place) for cutout in area.cutouts]
                self.areas.append(
                    Area(drawing.turn.moved(area.outline, place), cutouts, area.width * drawing.turn.scale)
                )
            for size in drawing.sizes:
                ((x, y),) = drawing.turn.moved([(0.0, 0.0)], place)
                self.pads.extend((x, y, -1.0 if size is None else size * drawing.turn.scale, padstack, component))


def arc_points(start: Point, end: Point, centre: Point, *, clockwise: bool) -> list[Point]:
    """Points along an arc after its start, its end included. An arc that ends where it starts is a full circle.

    Parameters
    ----------
    start, end, centre : (float, float)
        [m].
    clockwise : bool

    Returns
    -------
    list of (float, float)
    """
    radius = math.dist(start, centre)
    first = math.atan2(start[1] - centre[1], start[0] - centre[0])
    last = math.atan2(end[1] - centre[1], end[0] - centre[0])
    sweep = (first - last if clockwise else last - first) % (2 * math.pi)
    if start == end:
        sweep = 2 * math.pi
    steps = max(1, math.ceil(sweep / ARC_STEP))
    turn = (-sweep if clockwise else sweep) / steps
    between = [first + turn * step for step in range(1, steps)]
    return [(centre[0] + radius * math.cos(a), centre[1] + radius * math.sin(a)) for a in between] + [end]
