"""Owns the cut of a barrel into chain sections, each from the middle of a plane to that of a cavity, and the end."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise, takewhile
from typing import TYPE_CHECKING

from stubsi.errors import ValidityError
from stubsi.physics.barrel import level_spans, snap
from stubsi.physics.feed import THROUGH

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stubsi.physics.barrel import Barrel, LevelSpan, Material
    from stubsi.physics.feed import Feed

    Filling = tuple[tuple[Material, float], ...]


@dataclass(frozen=True, kw_only=True)
class Part:
    """A piece of conductor of one outer radius: barrel or pad.

    Parameters
    ----------
    radius, height : float
        [m].
    """

    radius: float
    height: float


@dataclass(frozen=True, kw_only=True)
class Section:
    """One half of a cavity between two planes, with the half of the plane next to it.

    Parameters
    ----------
    top, bottom : float
        Where it lies [m below the electrical start].
    clearance_radius : float
        Of its own plane [m].
    in_cavity, in_plane : tuple of Part
        Conductor that faces the cavity, and conductor inside the plane's clearance.
    filling : tuple of (Material, float)
        What fills the whole cavity, with the height [m] of each: in series for the field along the barrel.
    in_tip : bool
        Whether it lies in the cavity in which a drilled barrel ends.
    added : float
        Inductance that the feed adds, over mu0/(2 pi) [m].
    rim : float
        Height of its plane that stands around the barrel [m]: the current runs over it from one face to the other.
    """

    top: float
    bottom: float
    clearance_radius: float
    in_cavity: tuple[Part, ...]
    in_plane: tuple[Part, ...]
    filling: Filling
    in_tip: bool = False
    added: float = 0.0
    rim: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Layout:
    """Sections from the electrical start down, then the end.

    Parameters
    ----------
    sections : tuple of Section
        From the electrical start down.
    start_of_end : float
        Where the end's capacitance begins [m below the electrical start]: the mid-thickness of the last plane, or the
        end of a drilled or continued barrel.
    is_drilled : bool
        Whether the plating ends at a bore.
    """

    sections: tuple[Section, ...]
    start_of_end: float
    is_drilled: bool


def layout(barrel: Barrel) -> Layout:
    """Cut a barrel into sections.

    Parameters
    ----------
    barrel : Barrel
        The barrel.

    Returns
    -------
    Layout

    Raises
    ------
    ValidityError
        Clearance not larger than the barrel, pad not inside its clearance, bore narrower than the barrel, no plane.
    """
    check(barrel)
    spans = level_spans(barrel.levels, goes_on=barrel.end is None)
    planes = [span for span in spans if span.is_plane]
    length = spans[-1].bottom if spans else 0.0
    bounds = [None, *planes, None] if barrel.end is None else [None, *planes]
    sections = [half for above, below in pairwise(bounds) for half in _halves(spans, above, below, barrel)]
    if barrel.feed != THROUGH and planes and planes[0].top > 0:
        sections = [*(_fed(half, barrel.feed, planes[0].top) for half in sections[:2]), *sections[2:]]
    tip = _tip(spans, planes, barrel) if barrel.is_drilled else []
    for section in (*sections, *tip):
        for part in section.in_cavity:
            _check_pad(part.radius, barrel.barrel_radius, section.clearance_radius)
    last = planes[-1].mid if planes else 0.0
    return Layout(
        sections=(*sections, *tip),
        start_of_end=length if tip or barrel.end is None else last,
        is_drilled=barrel.is_drilled,
    )


def _fed(half: Section, feed: Feed, height: float) -> Section:
    """One half of the piece between a strip and the first plane, ``height`` [m], with the impedance of its feed."""
    own = sum(part.height for part in half.in_cavity)
    driving = half.in_cavity if feed.share else ()
    return replace(
        half,
        in_cavity=tuple(replace(part, height=feed.share * part.height) for part in driving),
        added=feed.inductance * own / height,
    )


def _tip(spans: Sequence[LevelSpan], planes: list[LevelSpan], barrel: Barrel) -> list[Section]:
    """Sections from the last plane's mid to a drilled end inside the cavity below.

    The barrel fills the share q of a cavity of height h. It drives the wave that does not vary along z by q times its
    mean current. This adds the series impedance q^2 h Z', which is put half-way down the barrel, where the current is
    its mean. The field between barrel and clearance adds (1 - q) j w mu0 ln(b/a)/(2 pi) per height over both halves.
    Derived. A barrel that ends before its first plane has its feed by the same share q, so that the figures do not jump
    where the plane is reached; that has no reference.
    """
    top, start = (planes[-1].bottom, planes[-1].mid) if planes else (0.0, 0.0)
    upper = [span for span in spans if span.top >= top and not span.is_plane]
    if not upper:
        return []
    a, bottom = barrel.barrel_radius, upper[-1].bottom
    lower = list(takewhile(lambda level: not level.is_plane, barrel.bored))
    closed = len(lower) < len(barrel.bored)
    height = bottom - top + sum(level.thickness for level in lower)
    share, added = (bottom - top) / height if closed else 0.0, 0.0
    feed_share = 1.0
    if not planes:
        feed_share, added = barrel.feed.share, barrel.feed.inductance * (bottom - top) / height
    in_last_plane = (Part(radius=planes[-1].conductor(a), height=top - start),) if planes else ()
    middle = snap((top + bottom) / 2)
    first, second = _parts(upper, top, middle, a, 1 - share), _parts(upper, middle, bottom, a, 1 - share)
    driving = Section(
        top=middle,
        bottom=middle,
        clearance_radius=_end_clearance(barrel, planes),
        in_cavity=_parts(upper, top, bottom, a, feed_share * share) if feed_share else (),
        in_plane=(),
        added=added,
        filling=(*_filling(upper), *((level.material, level.thickness) for level in lower)),
        in_tip=True,
    )
    return [
        replace(driving, top=start, in_cavity=(), in_plane=(*in_last_plane, *first), added=0.0, rim=top - start),
        driving,
        replace(driving, bottom=bottom, in_cavity=(), in_plane=second, added=0.0),
    ]


def _parts(
    spans: Sequence[LevelSpan], top: float, bottom: float, barrel_radius: float, share: float = 1.0
) -> tuple[Part, ...]:
    """Conductor between two heights; of every height the given share."""
    overlaps = ((span, min(span.bottom, bottom) - max(span.top, top)) for span in spans)
    return tuple(Part(radius=span.conductor(barrel_radius), height=share * h) for span, h in overlaps if h > 0)


def _filling(spans: Sequence[LevelSpan]) -> Filling:
    """Materials of some levels with their heights [m]."""
    return tuple((span.level.material, span.bottom - span.top) for span in spans)


def _end_clearance(barrel: Barrel, planes: list[LevelSpan]) -> float:
    """Clearance radius [m] of the plane next to the end: the last one above it, or the first one drilled through."""
    if planes:
        return planes[-1].level.clearance
    return next(level.clearance for level in barrel.bored if level.is_plane and level.clearance)


def _halves(
    spans: Sequence[LevelSpan], above: LevelSpan | None, below: LevelSpan | None, barrel: Barrel
) -> list[Section]:
    """Both halves of the cavity between two planes; None: the barrel starts or stops inside the cavity."""
    top = above.bottom if above else spans[0].top
    bottom = below.top if below else spans[-1].bottom
    if bottom <= top:
        return []
    middle = snap((top + bottom) / 2)
    inside = [span for span in spans if top <= span.top and span.bottom <= bottom]
    return [
        _half(inside, above, below, (above.mid if above else top, middle), barrel),
        _half(inside, below, above, (middle, below.mid if below else bottom), barrel),
    ]


def _half(
    inside: Sequence[LevelSpan],
    near: LevelSpan | None,
    far: LevelSpan | None,
    reach: tuple[float, float],
    barrel: Barrel,
) -> Section:
    """Section over ``reach`` (top, bottom) [m] of a cavity, referred to its ``near`` plane.

    If there is none, the barrel starts or stops inside the cavity, and the ``far`` plane is taken.
    """
    top, bottom = reach
    plane, a = near or far, barrel.barrel_radius
    if plane is None:
        raise ValidityError("no plane between entry and exit: the barrel's capacitance has nothing to refer to")
    in_plane = _parts([near], top, bottom, a) if near else ()
    return Section(
        top=top,
        bottom=bottom,
        clearance_radius=plane.level.clearance,
        in_cavity=_parts(inside, top, bottom, a),
        in_plane=in_plane,
        filling=_filling(inside),
        rim=sum(part.height for part in in_plane),
    )


def check(barrel: Barrel) -> None:
    """Refuse a geometry the sections are not defined for.

    Parameters
    ----------
    barrel : Barrel
        The barrel.

    Raises
    ------
    ValidityError
        As ``layout``.
    """
    a = barrel.barrel_radius
    pierced = [level for level in barrel.bored if level.clearance_radius != 0]
    clearances = [level.clearance_radius for level in (*barrel.levels, *pierced) if level.is_plane]
    if not clearances:
        raise ValidityError("no plane along the barrel or below it: its capacitance has nothing to refer to")
    for b in clearances:
        if b is None or b <= a:
            raise ValidityError(f"clearance_radius {b} m does not exceed barrel_radius {a} m: the plane touches it")
    for level in barrel.levels:
        _check_pad(level.pad_radius, a, level.clearance)
    if barrel.end and barrel.end.bore_radius is not None and barrel.end.bore_radius < a:
        raise ValidityError(f"bore_radius {barrel.end.bore_radius} m is less than barrel_radius {a} m")


def _check_pad(pad_radius: float | None, barrel_radius: float, clearance_radius: float) -> None:
    if pad_radius is not None and not barrel_radius <= pad_radius < clearance_radius:
        raise ValidityError(
            f"pad_radius {pad_radius:.6g} m must lie between barrel_radius {barrel_radius:.6g} m "
            f"and clearance_radius {clearance_radius:.6g} m"
        )
