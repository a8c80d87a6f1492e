"""Owns the way from a stub as drawn to the barrel that is solved: its electrical start, its levels, its end."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TYPE_CHECKING, NamedTuple

from stubsi.board.hole_kinds import Span
from stubsi.board.size_limits import DRILL, check_size
from stubsi.errors import BoardError, StubsiError, UnknownValueError
from stubsi.number_rules import DK_RULE
from stubsi.physics.barrel import AIR, Barrel, End, Level
from stubsi.physics.feed import THROUGH
from stubsi.plausibility import DRILL as USUAL_DRILL
from stubsi.plausibility import usual_si
from stubsi.stubs.barrel_layers import BLIND_CLEARANCE, BarrelLayers
from stubsi.stubs.nearest_vias import GRID
from stubsi.stubs.stub_feed import FEED_OPEN, TRACES_OPEN, FeedKind, FeedNote, feeds
from stubsi.stubs.uniform_stub import COPPER
from stubsi.units import one_number, show

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stubsi.board.padstack import Padstack
    from stubsi.board.stackup import Stackup
    from stubsi.physics.feed import Feed
    from stubsi.stubs.drawn import StubShape
    from stubsi.stubs.stub_feed import StubFeed
    from stubsi.stubs.surroundings import Around
    from stubsi.units import Dimensioned

OVERSIZE = 1e-4
"""Depth drill over primary drill [m, radius] where no rules are given: +0.2 mm in diameter, a fabricators' usual figure
(seen in published drilling notes of two fabricators)."""

SHORTEST = 1e-6
"""A stub shorter than this [m] is solved with this length. Its notch is then far above every limit."""

NOTHING = 1e-9
"""A length of no more than this [m] counts as zero."""


class BarrelNote(StrEnum):
    """What had to be assumed for a barrel that no rule covers exactly. Each is also the text that is shown."""

    PLANE_BEFORE = "no plane along the stub: counted from the plane before it"
    BORE_ASSUMED = f"bore {2 * OVERSIZE * 1e3:g} mm wider than the drill"
    BLIND_END = "blind end: laminate below it, and the next plane solid"
    NO_PADS = "no pads: the padstack states none"
    PIN_IN_AIR = "pin beyond the board as a rod of the barrel's diameter in air"


@dataclass(frozen=True, kw_only=True)
class Bore:
    """Depth-drilled bore that ends a stub.

    Parameters
    ----------
    radius : float
        [m].
    dk : float
        Relative permittivity of what fills it [-].
    """

    radius: float
    dk: float = 1.0


def bore_of(drill: Dimensioned, padstack: Padstack, fill_dk: float = 1.0) -> Bore:
    """Bore of a depth drill.

    Parameters
    ----------
    drill : length
        Its diameter.
    padstack : Padstack
        Of the hole that is drilled.
    fill_dk : float
        Relative permittivity of what fills it [-].

    Returns
    -------
    Bore

    Raises
    ------
    StubsiError
        It is no wider than the primary drill, or wider than any drill of a board; values out of range.
    """
    diameter = usual_si(drill, USUAL_DRILL, "depth_drill")
    check_size(diameter, DRILL, "depth_drill")
    if diameter <= padstack.drill_si:
        raise StubsiError(
            f"depth_drill = {show(diameter, 'length')}: must be wider than the primary drill of padstack "
            f"{padstack.name}, {show(padstack.drill_si, 'length')}."
        )
    return Bore(radius=diameter / 2, dk=one_number(fill_dk, "fill_dk", rule=DK_RULE))


def check_bore(bore: Bore, padstack: Padstack, around: Around, what: str) -> None:
    """Refuse a depth drill that cuts another barrel: a return via, or the other barrel of a pair.

    Parameters
    ----------
    bore : Bore
    padstack : Padstack
        Of the hole that is drilled.
    around : Around
        What stands around it.
    what : str
        Name of the argument, for the error text.

    Raises
    ------
    BoardError
        It reaches another barrel.
    """
    middle = 0.0 if around.pitch is None else around.pitch / 2
    barrels = [(math.hypot(x - middle, y), around.radius, "a return via") for x, y in around.returns or ()]
    if around.pitch is not None:
        barrels.append((around.pitch, padstack.drill_si / 2, "the other barrel of the pair"))
    for apart, radius, name in barrels:
        if bore.radius > apart - radius + GRID:
            raise BoardError(
                f"{what} = {show(2 * bore.radius, 'length')}: must be at most {show(2 * (apart - radius), 'length')}, "
                f"or it cuts {name}, {show(apart, 'length')} from the hole."
            )


@dataclass(frozen=True, kw_only=True)
class Solvable:
    """A barrel ready to be solved, and what had to be assumed for it.

    Parameters
    ----------
    barrels : tuple of Barrel
        One; or several that differ only in their feed, where it is a range.
    assumptions : tuple of str
    nearest_rule : bool
        Whether no rule covers it exactly, so that the nearest rule is used.
    open_inputs : tuple of str
        Inputs that are unknown and make its feed a range, each with how to give it.
    """

    barrels: tuple[Barrel, ...]
    assumptions: tuple[str, ...]
    nearest_rule: bool
    open_inputs: tuple[str, ...]


class _Placed(NamedTuple):
    """A level and where it begins [m], measured from the near face of the layer in use."""

    top: float
    level: Level


def barrel_of(shape: StubShape, length: float, *, bore: Bore | None = None, pitch: float | None = None) -> Solvable:
    """Barrel of the first part of a stub, from the layer in use to the end of its plating.

    Parameters
    ----------
    shape : StubShape
    length : float
        Length of that part as drawn, from the near face of the layer in use [m].
    bore : Bore, optional
        The depth-drilled bore that ends the plating, if the plating ends before the end of the hole.
    pitch : float, optional
        Of the pair [m], for clearances shared by both barrels.

    Returns
    -------
    Solvable

    Raises
    ------
    UnknownValueError
        A Dk, an antipad or the pitch of a shared antipad is not known; no plane at all.

    Notes
    -----
    The barrel begins at the near face of the layer in use. Its piece before the first plane has the series impedance of
    its feed (``stubsi.physics.feed``). Where no plane lies on the side of the stub, the barrel begins in the middle of
    the plane before it, which makes the notch lower.
    """
    layers = BarrelLayers.of(shape.stackup, shape.padstack, shape.span, shape.side, pitch)
    start, notes = _electrical_start(layers)
    length = max(length, SHORTEST)
    plated, cut_off, depth = _levels(layers, start, length)
    end, end_notes, pin = _end(layers, cut_off, depth, length, bore)
    levels = _cut_at_start((*plated, *pin), start)
    fed, feed_notes = _fed(layers, shape.feed, levels, notes)
    barrel = Barrel(barrel_radius=shape.padstack.drill_si / 2, levels=levels, end=end, conductivity=COPPER)
    return Solvable(
        barrels=tuple(replace(barrel, feed=feed) for feed in fed),
        assumptions=(*layers.assumptions(), str(shape.feed), *feed_notes, *notes, *end_notes, *_without_pads(shape)),
        nearest_rule=bool(notes or end_notes or set(feed_notes) - {FeedNote.NEIGHBOUR})
        or shape.feed.kind is FeedKind.UNKNOWN,
        open_inputs=_open_inputs(shape.feed, feed_notes),
    )


def _without_pads(shape: StubShape) -> tuple[BarrelNote, ...]:
    """That a hole is taken to have no pad on any layer, because none is given: its notch is then the highest."""
    pads = (shape.padstack.pad_si, *(pad for _, pad in shape.padstack.pads_si))
    return () if any(pads) else (BarrelNote.NO_PADS,)


def _open_inputs(feed: StubFeed, notes: Sequence[FeedNote]) -> tuple[str, ...]:
    """What would narrow the range of a feed."""
    is_unknown = feed.kind is FeedKind.UNKNOWN
    return (*((FEED_OPEN,) if is_unknown else ()), *((TRACES_OPEN,) if FeedNote.NEIGHBOUR in notes else ()))


def _fed(
    layers: BarrelLayers, feed: StubFeed, levels: Sequence[Level], notes: Sequence[BarrelNote]
) -> tuple[tuple[Feed, ...], tuple[FeedNote, ...]]:
    """Feeds of a barrel of these levels; one that begins in the middle of a plane has none to choose."""
    if BarrelNote.PLANE_BEFORE in notes:
        return (THROUGH,), ()
    fed = feeds(layers, feed)
    ends_first = not any(level.is_plane for level in levels)
    return fed.feeds, (*fed.notes, FeedNote.ENDS_FIRST) if ends_first else fed.notes


def through_of(stackup: Stackup, padstack: Padstack, span: Span, pitch: float | None = None) -> Barrel | None:
    """Barrel between the outermost layers in use.

    It runs from the lower face of the upper one to the upper face of the lower one.

    Parameters
    ----------
    stackup : Stackup
    padstack : Padstack
    span : Span
        Copper layers that the hole reaches and that it uses.
    pitch : float, optional
        Of the pair [m], for clearances shared by both barrels.

    Returns
    -------
    Barrel or None
        None where no plane lies between the two layers.

    Raises
    ------
    UnknownValueError
        As ``barrel_of``.
    """
    upper, lower = span.upper_in_use, span.lower_in_use
    down = BarrelLayers.of(stackup, padstack, Span(span.first, upper, upper, span.last), "bottom", pitch)
    top, bottom = stackup.face_si(stackup.names[upper], "lower"), stackup.face_si(stackup.names[lower], "upper")
    levels = []
    for layer, depth in zip(stackup.layers, stackup.edges_si, strict=False):
        inside = min(depth + layer.thickness_si, bottom) - max(depth, top)
        if inside > NOTHING:
            levels.append(replace(down.level(layer), thickness=inside))
    if not any(level.kind == "plane" for level in levels):
        return None
    return Barrel(barrel_radius=padstack.drill_si / 2, levels=tuple(levels), end=None, conductivity=COPPER)


def _electrical_start(layers: BarrelLayers) -> tuple[float, tuple[BarrelNote, ...]]:
    """Where the barrel begins [m], from the near face of the layer in use: 0, or the plane before it (negative)."""
    if any(layers.antipad(layer) is not None for layer in layers.beyond):
        return 0.0, ()
    depth = 0.0
    for layer in layers.back:
        depth -= layer.thickness_si
        if layers.antipad(layer) is not None:
            return depth + layer.thickness_si / 2, (BarrelNote.PLANE_BEFORE,)
    raise UnknownValueError("no plane with an antipad along the hole: there is no cavity to solve.")


def _levels(layers: BarrelLayers, start: float, length: float) -> tuple[list[_Placed], list[Level], float]:
    """Levels from before the electrical start to the end of the plating, levels beyond it, and the depth of the last.

    ``start`` and ``length`` [m] count from the near face of the layer in use.
    """
    plated: list[_Placed] = []
    depth = 0.0
    for layer in layers.back:
        if depth <= start:
            break
        depth -= layer.thickness_si
        plated.insert(0, _Placed(depth, layers.level(layer)))
    cut_off: list[Level] = []
    depth = 0.0
    for layer in layers.beyond if layers.blind or layers.ends_in_plane else layers.beyond[:-1]:
        level = layers.level(layer)
        inside = min(level.thickness, length - depth)
        if inside > NOTHING:
            plated.append(_Placed(depth, replace(level, thickness=inside)))
        if level.thickness - inside > NOTHING:
            cut_off.append(replace(level, thickness=level.thickness - max(inside, 0.0)))
        depth += level.thickness
    return plated, cut_off, depth


def _end(
    layers: BarrelLayers, cut_off: Sequence[Level], depth: float, length: float, bore: Bore | None
) -> tuple[End, tuple[BarrelNote, ...], tuple[_Placed, ...]]:
    """End of the plating, what had to be assumed for it, and the levels of a pin that goes on beyond the board.

    ``cut_off``: levels beyond the end of the plating. ``depth`` [m]: of the last layer's near face.
    """
    if cut_off:
        end_bore = bore or Bore(radius=layers.padstack.drill_si / 2 + OVERSIZE)
        end = End(bore_radius=end_bore.radius, bore_dk=end_bore.dk, bored=tuple(cut_off))
        return end, () if bore else (BarrelNote.BORE_ASSUMED,), ()
    if layers.blind:
        below = layers.below_blind_end()
        radius = layers.padstack.drill_si / 2 * BLIND_CLEARANCE
        end = End(bore_radius=radius, bore_dk=below[0].material.dk_z if below else 1.0, bored=below)
        return end, (BarrelNote.BLIND_END,), ()
    return _outer_end(layers, depth, length)


def _outer_end(
    layers: BarrelLayers, depth: float, length: float
) -> tuple[End, tuple[BarrelNote, ...], tuple[_Placed, ...]]:
    """End at the outer face of the board, or at the tip of a pin beyond it."""
    thickness, pad_radius = 0.0, None
    if not layers.ends_in_plane:
        thickness, pad_radius = layers.end_copper.thickness_si, layers.pad_radius(layers.end_copper)
    tip = length - depth - thickness
    if tip <= NOTHING:
        return End(pad_radius=pad_radius, pad_thickness=thickness if pad_radius else 0.0), (), ()
    face = Level(kind="signal", thickness=thickness, material=AIR, pad_radius=pad_radius)
    rod = Level(kind="dielectric", thickness=tip, material=AIR)
    return End(), (BarrelNote.PIN_IN_AIR,), (_Placed(depth, face), _Placed(depth + thickness, rod))


def _cut_at_start(levels: Sequence[_Placed], start: float) -> tuple[Level, ...]:
    """The levels beyond the electrical start [m], the first cut there."""
    kept = []
    for top, level in levels:
        left = min(level.thickness, top + level.thickness - start)
        if left > NOTHING:
            kept.append(replace(level, thickness=left))
    return tuple(kept)
