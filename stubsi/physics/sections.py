"""Owns how a barrel is cut into chain sections: half cells from plane mid to cavity mid, and what lies below."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import accumulate, pairwise, takewhile
from math import inf, log
from typing import TYPE_CHECKING

from stubsi.errors import ValidityError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stubsi.physics.barrel import Barrel, Level, Material

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
    outer: float


@dataclass(frozen=True, kw_only=True)
class LevelSpan:
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


def level_spans(barrel: Barrel) -> tuple[LevelSpan, ...]:
    """Levels of a barrel with their heights [m], counted downwards from the electrical start."""
    edges = [snap(z) for z in accumulate((level.thickness for level in barrel.levels), initial=0.0)]
    return tuple(
        LevelSpan(level=level, top=top, bottom=bottom, mid=_mid(top, bottom, edges[-1] if barrel.end is None else None))
        for level, (top, bottom) in zip(barrel.levels, pairwise(edges), strict=True)
    )


def snap(length: float) -> float:
    """Length to the picometre, so that what is drawn equal is equal."""
    return round(length, 12)


def _mid(top: float, bottom: float, last: float | None) -> float:
    """A level cut at either end of the barrel's length was cut at its own mid-thickness."""
    if top == 0.0:
        return top
    return bottom if bottom == last else snap((top + bottom) / 2)


def layout(barrel: Barrel) -> Layout:
    """Cut a barrel into sections.

    Raises
    ------
    ValidityError
        Clearance not larger than the barrel, pad not inside its clearance, bore narrower than the barrel, no plane.
    """
    check(barrel)
    laid = level_spans(barrel)
    planes = [s for s in laid if s.is_plane]
    length = laid[-1].bottom if laid else 0.0
    ends = [None, *planes, None] if barrel.end is None else [None, *planes]
    sections = [half for above, below in pairwise(ends) for half in _halves(laid, above, below, barrel)]
    drilled = barrel.end is not None and barrel.end.bore_radius is not None
    tip = _tip(laid, planes, barrel) if drilled else []
    for section in (*sections, *tip):
        for part in section.in_cavity:
            _check_pad(part.radius, barrel.barrel_radius, section.clearance_radius)
    last = planes[-1].mid if planes else 0.0
    return Layout(
        sections=(*sections, *tip),
        start_of_end=length if tip or barrel.end is None else last,
        outer=0.0 if drilled or barrel.end is None else _outer(barrel, planes, length),
    )


def _tip(laid: Sequence[LevelSpan], planes: list[LevelSpan], barrel: Barrel) -> list[Section]:
    """Sections from the last plane's mid to a drilled end inside the cavity below.

    A barrel over the share q of a cavity's height h drives the wave that does not vary along z by q times its mean
    current: q^2 h Z_1, lumped half-way down, where the current is its mean. The local field between barrel and
    clearance, (1 - q) j w mu0 ln(b/a)/(2 pi) per height, is spread over both halves. Derived.
    """
    top, start = (planes[-1].bottom, planes[-1].mid) if planes else (0.0, 0.0)
    upper = [s for s in laid if s.top >= top and not s.is_plane]
    if not upper:
        return []
    a, bottom = barrel.barrel_radius, upper[-1].bottom
    lower = list(takewhile(lambda level: level.kind != "plane", barrel.end.bored))
    closed = len(lower) < len(barrel.end.bored)
    height = bottom - top + sum(level.thickness for level in lower)
    share = (bottom - top) / height if closed else 0.0
    own = (Part(radius=planes[-1].conductor(a), height=top - start),) if planes else ()
    common = {
        "clearance_radius": _end_clearance(barrel, planes),
        "filling": (*_filling(upper), *((level.material, level.thickness) for level in lower)),
    }
    middle = snap((top + bottom) / 2)
    halves = [_parts(upper, top, middle, a, 1 - share), _parts(upper, middle, bottom, a, 1 - share)]
    return [
        Section(top=start, bottom=middle, in_cavity=(), in_plane=(*own, *halves[0]), **common),
        Section(top=middle, bottom=middle, in_cavity=_parts(upper, top, bottom, a, share), in_plane=(), **common),
        Section(top=middle, bottom=bottom, in_cavity=(), in_plane=halves[1], **common),
    ]


def _parts(
    laid: Sequence[LevelSpan], top: float, bottom: float, barrel_radius: float, share: float = 1.0
) -> tuple[Part, ...]:
    """Conductor between two heights; of every height the given share."""
    overlaps = ((s, min(s.bottom, bottom) - max(s.top, top)) for s in laid)
    return tuple(Part(radius=s.conductor(barrel_radius), height=share * h) for s, h in overlaps if h > 0)


def _filling(laid: Sequence[LevelSpan]) -> tuple[tuple[Material, float], ...]:
    return tuple((s.level.material, s.bottom - s.top) for s in laid)


def _outer(barrel: Barrel, planes: list[LevelSpan], length: float) -> float:
    """Inductance in front of the end over mu0/(2 pi) [m]."""
    height = length - (planes[-1].bottom if planes else 0.0)
    if height <= OUTER_FROM * length:
        return 0.0
    return OUTER_SHARE * height * log(_end_clearance(barrel, planes) / barrel.barrel_radius)


def _end_clearance(barrel: Barrel, planes: list[LevelSpan]) -> float:
    """Clearance radius [m] of the plane next to the end: the last one passed, else the first one drilled through."""
    if planes:
        return planes[-1].level.clearance_radius
    return next(level.clearance_radius for level in barrel.end.bored if level.clearance_radius)


def _halves(
    laid: Sequence[LevelSpan], above: LevelSpan | None, below: LevelSpan | None, barrel: Barrel
) -> list[Section]:
    """Half cells of the cavity between two planes; None: the barrel's length starts or stops inside the cavity."""
    top = above.bottom if above else laid[0].top
    bottom = below.top if below else laid[-1].bottom
    if bottom <= top:
        return []
    middle = snap((top + bottom) / 2)
    inside = [s for s in laid if top <= s.top and s.bottom <= bottom]
    return [
        _half(inside, above, below, (above.mid if above else top, middle), barrel),
        _half(inside, below, above, (middle, below.mid if below else bottom), barrel),
    ]


def _half(
    inside: Sequence[LevelSpan],
    own: LevelSpan | None,
    other: LevelSpan | None,
    reach: tuple[float, float],
    barrel: Barrel,
) -> Section:
    top, bottom = reach
    plane, a = own or other, barrel.barrel_radius
    if plane is None:
        raise ValidityError("no plane between entry and exit: the barrel's capacitance has nothing to refer to")
    in_plane = _parts([own], top, bottom, a) if own else ()
    return Section(
        top=top,
        bottom=bottom,
        clearance_radius=plane.level.clearance_radius,
        in_cavity=_parts(inside, top, bottom, a),
        in_plane=in_plane,
        filling=_filling(inside),
    )


def check(barrel: Barrel) -> None:
    """Refuse a geometry the sections are not defined for."""
    a = barrel.barrel_radius
    bored = barrel.end.bored if barrel.end else ()
    pierced = [level for level in bored if level.clearance_radius != 0]
    clearances = [level.clearance_radius for level in (*barrel.levels, *pierced) if level.kind == "plane"]
    if not clearances:
        raise ValidityError("no plane along the barrel or below it: its capacitance has nothing to refer to")
    for b in clearances:
        if b is None or b <= a:
            raise ValidityError(f"clearance_radius {b} m does not exceed barrel_radius {a} m: the plane touches it")
    for level in barrel.levels:
        limit = level.clearance_radius if level.kind == "plane" else inf
        _check_pad(level.pad_radius, a, limit)
    if barrel.end and barrel.end.bore_radius is not None and barrel.end.bore_radius < a:
        raise ValidityError(f"bore_radius {barrel.end.bore_radius} m is less than barrel_radius {a} m")


def _check_pad(pad_radius: float | None, barrel_radius: float, clearance_radius: float) -> None:
    if pad_radius is not None and not barrel_radius <= pad_radius < clearance_radius:
        raise ValidityError(
            f"pad_radius {pad_radius:.6g} m must lie between barrel_radius {barrel_radius:.6g} m "
            f"and clearance_radius {clearance_radius:.6g} m"
        )
