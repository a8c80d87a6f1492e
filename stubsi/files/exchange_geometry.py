"""Owns the geometry of what an exchange file draws: arcs, circles and bars as corners, the surface of an outline."""

from __future__ import annotations

import math
from array import array
from itertools import pairwise
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Sequence

Point = tuple[float, float]
Points: TypeAlias = "Sequence[Point] | array[float]"
"""Points of an outline: in pairs, or one number after the other, which takes an eighth of the memory."""

ARC_STEP = math.radians(10)
"""Angle of the chords that stand for an arc. They lie within 0.4 % of its radius."""
_ROUND = [ARC_STEP * step for step in range(36)]


def circle(diameter: float) -> list[Point]:
    """Corners that stand for a circle about the origin.

    Parameters
    ----------
    diameter : float
        [m].

    Returns
    -------
    list of (float, float)
        [m].
    """
    return [(diameter / 2 * math.cos(a), diameter / 2 * math.sin(a)) for a in _ROUND]


def pairs_of(points: Points) -> list[Point]:
    """Points in pairs.

    Parameters
    ----------
    points : sequence of (float, float), or array of float

    Returns
    -------
    list of (float, float)
    """
    return list(zip(points[::2], points[1::2], strict=True)) if isinstance(points, array) else list(points)


def surface(outline: Sequence[Point]) -> float:
    """Area inside an outline.

    Parameters
    ----------
    outline : sequence of (float, float)
        [m].

    Returns
    -------
    float
        [m2].
    """
    around = pairwise([*outline, *outline[:1]])
    return abs(sum(x * to_y - to_x * y for (x, y), (to_x, to_y) in around)) / 2


def bar(start: Point, end: Point, reach: float) -> tuple[Point, ...]:
    """Corners of a rectangle around a line.

    Parameters
    ----------
    start, end : (float, float)
        [m].
    reach : float
        How far it reaches beyond the line on every side [m].

    Returns
    -------
    tuple of (float, float)
    """
    length = math.dist(start, end)
    along = ((end[0] - start[0]) / length, (end[1] - start[1]) / length) if length else (1.0, 0.0)
    x, y = along[0] * reach, along[1] * reach
    return (
        (start[0] - x - y, start[1] - y + x), (start[0] - x + y, start[1] - y - x),
        (end[0] + x + y, end[1] + y - x), (end[0] + x - y, end[1] + y + x),
    )  # fmt: skip


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
