"""Owns the way from a stub as drawn to the barrel that is solved: levels, pads, clearances, start and end."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from stubsi.board.board import Span
from stubsi.board.layers import CopperLayer, assumed_of
from stubsi.errors import StubsiError, UnknownValueError
from stubsi.physics.barrel import AIR, Barrel, End, Level
from stubsi.stubs.materials import filling_of, material_of, slot_clearance
from stubsi.stubs.uniform_stub import COPPER
from stubsi.units import DK_RULE, one_number, one_si, show

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stubsi.board.padstack import Antipad, Padstack
    from stubsi.board.stackup import Stackup
    from stubsi.stubs.drawn import StubShape

OVERSIZE = 1e-4
"""Depth drill over primary drill [m, radius] where no rules are given: +0.2 mm in diameter, a fabricators' usual figure
(seen in published drilling notes of two fabricators)."""

COVERED = 0.25e-3
"""Height [m] of an outer trace over its plane up to which the barrel between is taken as no part of the stub: that of
the project trace-fed reference is 0.15 mm, its trace 0.3 mm wide."""

SHORTEST = 1e-6
"""Length [m] behind its electrical start that a shorter stub is solved with: its notch is beyond every bound."""


@dataclass(frozen=True, kw_only=True)
class Bore:
    """Depth-drilled bore that ends a stub: its radius [m] and the relative permittivity of what fills it."""

    radius: float
    dk: float = 1.0


def bore_of(drill: Any, padstack: Padstack, fill_dk: Any = 1.0) -> Bore:
    """Bore of a depth drill of this diameter (length), filled with ``fill_dk`` [-]; StubsiError if it is too narrow."""
    diameter = one_si(drill, "length", "depth_drill")
    if diameter <= padstack.drill_si:
        raise StubsiError(
            f"depth_drill = {show(diameter, 'length')}: must be wider than the primary drill of padstack "
            f"{padstack.name}, {show(padstack.drill_si, 'length')}."
        )
    return Bore(radius=diameter / 2, dk=one_number(fill_dk, "fill_dk", rule=DK_RULE))


@dataclass(frozen=True, kw_only=True)
class Solvable:
    """A barrel ready to be solved, and what had to be assumed for it.

    ``nearest_rule``: no rule covers it exactly. ``start_share``: share of the drawn stub before its electrical start,
    at most half of it.
    """

    barrel: Barrel
    assumptions: tuple[str, ...]
    nearest_rule: bool
    start_share: float


def barrel_of(shape: StubShape, length: float, *, bore: Bore | None = None, pitch: float | None = None) -> Solvable:
    """Barrel of the first ``length`` [m] of a stub, from its electrical start to the end of its plating.

    Parameters
    ----------
    shape : StubShape
    length : float
        As drawn, from the near face of the layer in use.
    bore : Bore, optional
        What ends the plating, where it is cut short of the end of the hole.
    pitch : float, optional
        Of the pair [m], for clearances shared by both barrels.

    Raises
    ------
    UnknownValueError
        A Dk, an antipad or the pitch of a shared antipad is not known; no plane at all.

    Notes
    -----
    Electrical start (project trace-fed reference): from an outer layer the mid-thickness of the first plane; from an
    inner layer half of the distance to the next plane. What no reference covers: where that leaves less than half of a
    stub, half counts, but no more of one from an outer layer than lies beyond ``COVERED``. So the notch falls steadily
    as a stub grows.
    """
    reader = _Reader(shape.stackup, shape.padstack, shape.span, shape.side, pitch)
    start, notes = reader.start()
    most = max(length / 2, COVERED if reader.at == 0 else 0.0)
    if start > most:
        start, notes = most, ("next plane far off or beyond the stub: half of it counts",)
    share = max(start, 0.0) / length
    if start >= length:
        notes = ("shorter than its electrical start: only its end counts",)
    length = max(length, start + SHORTEST)
    levels, end, more = reader.until(start, length, bore)
    kept = _cut_start(levels, start)
    assumptions = (*reader.assumptions(), *notes, *more)
    barrel = Barrel(barrel_radius=shape.padstack.drill_si / 2, levels=kept, end=end, conductivity=COPPER)
    return Solvable(
        barrel=barrel, assumptions=assumptions, nearest_rule=bool(notes or more), start_share=min(share, 0.5)
    )


def through_of(stackup: Stackup, padstack: Padstack, span: Span, pitch: float | None = None) -> Barrel | None:
    """Barrel between the outermost layers in use; None where no plane lies between them.

    It runs from where a stub below the upper one would start electrically to where one above the lower would. Raises
    UnknownValueError as ``barrel_of``.
    """
    down = _Reader(stackup, padstack, Span(span.first, *[span.upper_in_use] * 2, span.last), "bottom", pitch)
    up = _Reader(stackup, padstack, Span(span.first, *[span.lower_in_use] * 2, span.last), "top", pitch)
    top = stackup.face_si(stackup.names[span.upper_in_use], "lower") + down.start()[0]
    bottom = stackup.face_si(stackup.names[span.lower_in_use], "upper") - up.start()[0]
    levels = []
    for layer, depth in zip(stackup.layers, stackup.edges_si, strict=False):
        inside = min(depth + layer.thickness_si, bottom) - max(depth, top)
        if inside > 1e-9:
            levels.append(replace(down.level(layer), thickness=inside))
    if not any(level.kind == "plane" for level in levels):
        return None
    return Barrel(barrel_radius=padstack.drill_si / 2, levels=tuple(levels), end=None, conductivity=COPPER)


class _Reader:
    """Reads the layers of a stub, from its layer in use towards its end."""

    def __init__(self, stackup: Stackup, padstack: Padstack, span: Span, side: str, pitch: float | None) -> None:
        self.stackup, self.padstack, self.pitch = stackup, padstack, pitch
        down = side == "bottom"
        self.layers = stackup.layers if down else stackup.layers[::-1]
        used, last = (span.lower_in_use, span.last) if down else (span.upper_in_use, span.first)
        self.at, self.last = (self.layers.index(stackup.copper[place]) for place in (used, last))

    def assumptions(self) -> tuple[str, ...]:
        return assumed_of([layer for layer in self.layers if not isinstance(layer, CopperLayer)])

    def start(self) -> tuple[float, tuple[str, ...]]:
        """Electrical start, metres beyond the near face of the layer in use (negative: before it)."""
        depth = 0.0
        for layer in self.layers[self.at + 1 : self.last + 1]:
            if self.plane(layer) is not None:
                return (depth + layer.thickness_si / 2 if self.at == 0 else depth / 2), ()
            depth += layer.thickness_si
        depth = 0.0
        for layer in reversed(self.layers[: self.at + 1]):
            depth -= layer.thickness_si
            if self.plane(layer) is not None:
                return depth + layer.thickness_si / 2, ("no plane along the stub: counted from the plane before it",)
        raise UnknownValueError("no plane with an antipad along the hole: there is no cavity to solve.")

    def until(
        self, start: float, length: float, bore: Bore | None
    ) -> tuple[list[tuple[float, Level]], End, tuple[str, ...]]:
        """(top, level) with top measured from the near face of the layer in use, from start to end of the plating."""
        laid, beyond, depth = [], [], 0.0
        for layer in reversed(self.layers[: self.at + 1]):
            if depth <= start:
                break
            depth -= layer.thickness_si
            laid.insert(0, (depth, self.level(layer)))
        depth = 0.0
        stop = self.last + 1 if self.inner_end or self.outer_plane else self.last
        for layer in self.layers[self.at + 1 : stop]:
            level = self.level(layer)
            inside = min(level.thickness, length - depth)
            if inside > 1e-9:
                laid.append((depth, replace(level, thickness=inside)))
            if level.thickness - inside > 1e-9:
                beyond.append(replace(level, thickness=level.thickness - max(inside, 0.0)))
            depth += level.thickness
        return (laid, *self.end(laid, beyond, depth, length, bore))

    def end(
        self, laid: list, beyond: list, depth: float, length: float, bore: Bore | None
    ) -> tuple[End, tuple[str, ...]]:
        """End of the plating, adding to ``laid`` what goes on as a pin."""
        if beyond:
            note = () if bore else (f"bore {2 * OVERSIZE * 1e3:g} mm wider than the drill",)
            bore = bore or Bore(radius=self.padstack.drill_si / 2 + OVERSIZE)
            return End(bore_radius=bore.radius, bore_dk=bore.dk, bored=tuple(beyond)), note
        if self.inner_end:
            below = self.below()
            radius = self.padstack.drill_si / 2 * 1.001
            end = End(bore_radius=radius, bore_dk=below[0].material.dk_z if below else 1.0, bored=below)
            return end, ("blind end: laminate below it, and the next plane solid",)
        thickness, pad = 0.0, None
        if not self.outer_plane:
            thickness = self.layers[self.last].thickness_si
            pad = self.padstack.pad_at(self.layers[self.last].name, in_use=False, outer=True)
        tip = length - depth - thickness
        if tip > 1e-9:
            outer = Level(kind="signal", thickness=thickness, material=AIR, pad_radius=pad and pad / 2)
            laid += [(depth, outer), (depth + thickness, Level(kind="dielectric", thickness=tip, material=AIR))]
            return End(), ("pin beyond the board as a rod of the barrel's diameter in air",)
        return End(pad_radius=pad and pad / 2, pad_thickness=thickness if pad else 0.0), ()

    @property
    def inner_end(self) -> bool:
        return self.last != len(self.layers) - 1

    @property
    def outer_plane(self) -> bool:
        """Whether the hole ends in copper of the outer face that is a plane around it."""
        return not self.inner_end and self.plane(self.layers[self.last]) is not None

    def below(self) -> tuple[Level, ...]:
        """What lies below a blind end, to the next plane, which no hole pierces there."""
        found = []
        for layer in self.layers[self.last + 1 :]:
            if isinstance(layer, CopperLayer):
                solid, fill = layer.role != "signal", filling_of(self.stackup, layer)
                found.append(Level(kind="plane" if solid else "signal", thickness=layer.thickness_si, material=fill,
                                   clearance_radius=0.0 if solid else None))  # fmt: skip
                if solid:
                    break
            else:
                found.append(self.level(layer))
        return tuple(found)

    def plane(self, layer: Any) -> Antipad | None:
        """Antipad where a layer is a plane around this hole, None where it is none."""
        if not isinstance(layer, CopperLayer) or layer.role == "signal":
            return None
        antipad = self.padstack.antipad_at(layer.name, layer.role)
        if antipad is None and layer.role == "plane":
            raise UnknownValueError(
                f"antipad of padstack {self.padstack.name} on {layer.name} is unknown: give antipad."
            )
        return antipad

    def level(self, layer: Any) -> Level:
        if not isinstance(layer, CopperLayer):
            return Level(kind="dielectric", thickness=layer.thickness_si, material=material_of(layer))
        place = self.stackup.index(layer.name)
        outer = place in (0, len(self.stackup.names) - 1)
        pad = self.padstack.pad_at(layer.name, in_use=layer is self.layers[self.at], outer=outer)
        fill = filling_of(self.stackup, layer)
        antipad = self.plane(layer)
        clearance = None if antipad is None else self.clearance(antipad, layer)
        return Level(
            kind="signal" if antipad is None else "plane", thickness=layer.thickness_si, material=fill,
            clearance_radius=clearance, pad_radius=pad and pad / 2,
        )  # fmt: skip

    def clearance(self, antipad: Antipad, layer: CopperLayer) -> float:
        """Radius of a round antipad, or that which acts as a shared slot does."""
        half = antipad.width_si / 2
        if not antipad.shared:
            return half
        if self.pitch is None:
            raise UnknownValueError(
                f"pitch of the pair at padstack {self.padstack.name} is unknown: give x and y of both holes."
            )
        return slot_clearance(self.stackup, layer, self.pitch, half)


def _cut_start(levels: Sequence[tuple[float, Level]], start: float) -> tuple[Level, ...]:
    """The levels beyond the electrical start, the first cut there."""
    kept = []
    for top, level in levels:
        left = min(level.thickness, top + level.thickness - start)
        if left > 1e-9:
            kept.append(replace(level, thickness=left))
    return tuple(kept)
