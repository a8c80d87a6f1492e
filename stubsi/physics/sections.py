"""Owns how a barrel is cut into chain sections: half cells from plane mid to cavity mid, and what lies below the last plane."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import accumulate, pairwise
from math import log
from typing import TYPE_CHECKING

from stubsi.errors import ValidityError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stubsi.physics.geometry import Barrel, Level, Material

OUTER_SHARE = 0.4
"""Share of the outer inductance mu0 h ln(b/a)/(2 pi) that acts in front of the end capacitance [fit; derived]."""
OUTER_FROM = 0.2
"""Share of the stub length from which the laminate below the last plane counts as long [derived]."""


@dataclass(frozen=True, kw_only=True)
class Part:
    """A height [m] of conductor of one outer radius [m] (barrel or pad)."""

    radius: float
    height: float


@dataclass(frozen=True, kw_only=True)
class Section:
    """One half cell between the heights ``top`` and ``bottom`` [m below the electrical start].

    ``in_cavity``: conductor facing the cavity; ``in_plane``: conductor inside the plane's clearance.
    ``clearance_radius`` [m]: of its own plane. ``filling``: (material, height) of the whole cavity, in series along z.
    """

    top: float
    bottom: float
    clearance_radius: float
    in_cavity: tuple[Part, ...]
    in_plane: tuple[Part, ...]
    filling: tuple[tuple[Material, float], ...]


@dataclass(frozen=True, kw_only=True)
class Layout:
    """Sections from the electrical start down, then the end.

    ``start_of_end`` [m]: mid-thickness of the last plane, where the end's capacitance hangs. ``outer``: inductance in
    front of it over mu0/(2 pi) [m].
    """

    sections: tuple[Section, ...]
    start_of_end: float
    length: float
    outer: float


@dataclass(frozen=True, kw_only=True)
class Span:
    """A level and the heights [m] it lies between. ``mid``: where a plane is cut into two half cells."""

    level: Level
    top: float
    bottom: float
    mid: float

    @property
    def is_plane(self) -> bool:
        """Whether the level is a plane."""
        return self.level.kind == "plane"

    def conductor(self, barrel_radius: float) -> float:
        """Outer radius of barrel or pad at this level [m]."""
        return self.level.pad_radius or barrel_radius


def spans(barrel: Barrel) -> tuple[Span, ...]:
    """Levels of a barrel with their heights [m], counted downwards from the electrical start."""
    edges = list(accumulate((level.thickness for level in barrel.levels), initial=0.0))
    return tuple(
        Span(level=level, top=top, bottom=bottom, mid=_mid(top, bottom, edges[-1] if barrel.end is None else None))
        for level, (top, bottom) in zip(barrel.levels, pairwise(edges), strict=True)
    )


def _mid(top: float, bottom: float, last: float | None) -> float:
    """A level cut at either end of the barrel's length was cut at its own mid-thickness."""
    if top == 0.0:
        return top
    return bottom if bottom == last else (top + bottom) / 2


def layout(barrel: Barrel) -> Layout:
    """Cut a barrel into sections.

    Raises
    ------
    ValidityError
        Clearance not larger than the barrel, pad not inside its clearance, bore narrower than the barrel, no plane.
    """
    check(barrel)
    laid = spans(barrel)
    planes = [s for s in laid if s.is_plane]
    length = laid[-1].bottom if laid else 0.0
    ends = [None, *planes, None] if barrel.end is None else [None, *planes]
    sections = [half for above, below in pairwise(ends) for half in _halves(laid, above, below, barrel)]
    return Layout(
        sections=tuple(sections),
        start_of_end=_start_of_end(barrel, planes, length),
        length=length,
        outer=_outer(barrel, planes, length),
    )


def _start_of_end(barrel: Barrel, planes: list[Span], length: float) -> float:
    if barrel.end is None:
        return length
    return planes[-1].mid if planes else 0.0


def _outer(barrel: Barrel, planes: list[Span], length: float) -> float:
    """Inductance in front of the end over mu0/(2 pi) [m]."""
    height = length - (planes[-1].bottom if planes else 0.0)
    if barrel.end is None or height <= OUTER_FROM * length:
        return 0.0
    return OUTER_SHARE * height * log(_end_clearance(barrel, planes) / barrel.barrel_radius)


def _end_clearance(barrel: Barrel, planes: list[Span]) -> float:
    """Clearance radius [m] of the plane next to the end: the last one passed, else the first one drilled through."""
    if planes:
        return planes[-1].level.clearance_radius
    return next(level.clearance_radius for level in barrel.end.bored if level.kind == "plane")


def _halves(laid: Sequence[Span], above: Span | None, below: Span | None, barrel: Barrel) -> list[Section]:
    """Half cells of the cavity between two planes; None: the barrel's length starts or stops inside the cavity."""
    top = above.bottom if above else laid[0].top
    bottom = below.top if below else laid[-1].bottom
    if bottom <= top:
        return []
    middle = (top + bottom) / 2
    inside = [s for s in laid if top <= s.top and s.bottom <= bottom]
    filling = tuple((s.level.material, s.bottom - s.top) for s in inside)
    return [
        _half(inside, above, below, (above.mid if above else top, middle), barrel, filling),
        _half(inside, below, above, (middle, below.mid if below else bottom), barrel, filling),
    ]


def _half(inside, own: Span | None, other: Span | None, reach: tuple[float, float], barrel: Barrel, filling) -> Section:
    top, bottom = reach
    plane = own or other
    a = barrel.barrel_radius
    in_plane = ()
    if own:
        height = max(own.bottom - own.mid if own.mid == top else own.mid - own.top, 0.0)
        in_plane = (Part(radius=own.conductor(a), height=height),)
    overlaps = ((s, min(s.bottom, bottom) - max(s.top, top)) for s in inside)
    return Section(
        top=top,
        bottom=bottom,
        clearance_radius=plane.level.clearance_radius,
        in_cavity=tuple(Part(radius=s.conductor(a), height=h) for s, h in overlaps if h > 0),
        in_plane=in_plane,
        filling=filling,
    )


def check(barrel: Barrel) -> None:
    """Refuse a geometry the sections are not defined for."""
    a = barrel.barrel_radius
    bored = barrel.end.bored if barrel.end else ()
    clearances = [level.clearance_radius for level in (*barrel.levels, *bored) if level.kind == "plane"]
    if not clearances:
        raise ValidityError("no plane along the barrel or below it: its capacitance has nothing to refer to")
    for b in clearances:
        if b is None or b <= a:
            raise ValidityError(f"clearance_radius {b} m does not exceed barrel_radius {a} m: the plane touches it")
    for level in barrel.levels:
        limit = level.clearance_radius if level.kind == "plane" else max(clearances)
        if level.pad_radius is not None and not a <= level.pad_radius < limit:
            raise ValidityError(
                f"pad_radius {level.pad_radius} m must lie between barrel_radius {a} m and clearance_radius {limit} m"
            )
    if barrel.end and barrel.end.bore_radius is not None and barrel.end.bore_radius < a:
        raise ValidityError(f"bore_radius {barrel.end.bore_radius} m is less than barrel_radius {a} m")
