"""Owns the geometry a solved hole is made of: frozen, hashable records of SI floats (equal ones are solved once)."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Material:
    """Relative permittivity of one layer (or of the resin filling a copper level), all floats.

    ``dk_in_plane`` acts on the radial field, ``dk_z`` on the field along the barrel; ``df`` is the loss tangent.
    ``frequency`` [Hz] is where they hold: then they follow the wideband Debye model. ``None``: constant over frequency.
    """

    dk_in_plane: float
    dk_z: float
    df: float = 0.0
    frequency: float | None = None


@dataclass(frozen=True, kw_only=True)
class Level:
    """One layer a barrel crosses, from the top down. Lengths in metres, radii not diameters.

    ``kind``: ``"plane"`` (copper with a clearance of ``clearance_radius`` around the barrel), ``"signal"`` (a copper
    level that is laminate but for an optional pad) or ``"dielectric"``. ``pad_radius``: pad on the barrel at this
    level, as thick as the level; ``None`` means no pad.
    """

    kind: str
    thickness: float
    material: Material
    clearance_radius: float | None = None
    pad_radius: float | None = None


@dataclass(frozen=True, kw_only=True)
class End:
    """How the plating of a stub ends, below the last level. Lengths in metres.

    ``pad_radius``/``pad_thickness``: pad on the outer face (in air below the last level); ``None``: bare barrel.
    ``bore_radius``: drilled end; a bore of that radius, filled with ``bore_dk`` (1: air), from the end of the plating
    on through ``bored`` (the levels the bore removes the barrel from, in order away from the stub). A plane there of
    clearance radius 0 is one the hole never pierced, below a blind end.
    """

    pad_radius: float | None = None
    pad_thickness: float = 0.0
    bore_radius: float | None = None
    bore_dk: float = 1.0
    bored: tuple[Level, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Barrel:
    """A length of plated barrel: levels from its electrical start to the end of its plating.

    The first level is cut at the electrical start: a plane there is given with half its thickness when the reference
    plane is its mid-thickness. ``conductivity`` [S/m]; ``None``: perfect conductor. ``end=None``: the barrel goes on,
    the levels are those between an entry and an exit (a last plane is cut at its mid-thickness, too).
    """

    barrel_radius: float
    levels: tuple[Level, ...]
    end: End | None = End()
    conductivity: float | None = None


AIR = Material(dk_in_plane=1.0, dk_z=1.0)
