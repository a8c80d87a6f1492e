"""Owns the geometry of a barrel to be solved: its levels, where they lie, and its end."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import accumulate, pairwise
from math import inf
from typing import TYPE_CHECKING, Literal

from stubsi.physics.feed import THROUGH, Feed

if TYPE_CHECKING:
    from collections.abc import Sequence


@dataclass(frozen=True, kw_only=True)
class Material:
    """Laminate of one layer, or the resin that fills a copper level.

    Parameters
    ----------
    dk_in_plane, dk_z : float
        Relative permittivity [-] for the radial field and for the field along the barrel.
    df : float
        Loss tangent [-].
    frequency : float, optional
        Where these hold [Hz]; over frequency they then follow the wideband Debye model. None: constant.
    """

    dk_in_plane: float
    dk_z: float
    df: float = 0.0
    frequency: float | None = None


AIR = Material(dk_in_plane=1.0, dk_z=1.0)


@dataclass(frozen=True, kw_only=True)
class Level:
    """One layer a barrel crosses.

    Parameters
    ----------
    kind : {"plane", "signal", "dielectric"}
        A plane is copper with a clearance around the barrel; a signal level is filled with resin but for a pad.
    thickness : float
        [m].
    material : Material
        Of a dielectric itself; of a copper level the resin that fills it.
    clearance_radius : float, optional
        Radius [m] of the clearance of a plane; 0: a solid plane below a blind end, which the hole never pierced.
    pad_radius : float, optional
        Radius [m] of the pad on the barrel, as thick as the level. None: no pad.
    """

    kind: Literal["plane", "signal", "dielectric"]
    thickness: float
    material: Material
    clearance_radius: float | None = None
    pad_radius: float | None = None

    @property
    def is_plane(self) -> bool:
        """Whether the level is a plane."""
        return self.kind == "plane"

    @property
    def clearance(self) -> float:
        """Radius [m] of the room a barrel has here: of a plane its clearance, elsewhere infinite."""
        return (self.clearance_radius or 0.0) if self.is_plane else inf


@dataclass(frozen=True, kw_only=True)
class End:
    """How the plating of a stub ends, below its last level.

    Parameters
    ----------
    pad_radius : float, optional
        Radius [m] of a pad on the outer face, in air below the last level. None: the barrel ends bare.
    pad_thickness : float
        Of that pad [m].
    bore_radius : float, optional
        A drilled end: radius [m] of the bore that goes on where the plating stops. None: not drilled.
    bore_dk : float
        Relative permittivity [-] of what fills the bore; 1 for air.
    bored : tuple of Level
        The levels the bore has removed the barrel from, in order away from the stub.
    """

    pad_radius: float | None = None
    pad_thickness: float = 0.0
    bore_radius: float | None = None
    bore_dk: float = 1.0
    bored: tuple[Level, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Barrel:
    """A length of plated barrel, from its electrical start to the end of its plating.

    Parameters
    ----------
    barrel_radius : float
        Outer radius of the plating [m].
    levels : tuple of Level
        The layers along it. The first is cut at the electrical start: where the start is the mid-thickness of a plane,
        that plane is given with half its thickness.
    end : End, optional
        How the plating ends. None: the barrel goes on, and the levels are those between an entry and an exit; a last
        plane is then cut at its mid-thickness, too.
    conductivity : float, optional
        Of the plating and the planes [S/m]. None: perfect conductors.
    feed : Feed
        Series impedance of the piece before the first plane, where the barrel starts at a strip between two planes.
    """

    barrel_radius: float
    levels: tuple[Level, ...]
    end: End | None = End()
    conductivity: float | None = None
    feed: Feed = THROUGH

    @property
    def bored(self) -> tuple[Level, ...]:
        """Levels a bore has removed the barrel from, none where it is not drilled."""
        return self.end.bored if self.end is not None else ()

    @property
    def is_drilled(self) -> bool:
        """Whether the plating ends at a bore."""
        return self.end is not None and self.end.bore_radius is not None

    @property
    def is_filled(self) -> bool:
        """Whether that bore is filled, and not of air."""
        return self.end is not None and self.end.bore_radius is not None and self.end.bore_dk != 1


@dataclass(frozen=True, kw_only=True)
class LevelSpan:
    """A level and where it lies.

    Parameters
    ----------
    level : Level
    top, bottom : float
        Where it lies [m below the electrical start].
    mid : float
        Where a plane is cut into the halves of two sections [m below the electrical start].
    """

    level: Level
    top: float
    bottom: float
    mid: float

    @property
    def is_plane(self) -> bool:
        """Whether the level is a plane."""
        return self.level.is_plane

    def conductor(self, barrel_radius: float) -> float:
        """Outer radius [m] of the conductor at this level: its pad, or the barrel.

        Parameters
        ----------
        barrel_radius : float
            [m].
        """
        return self.level.pad_radius or barrel_radius


def level_spans(levels: Sequence[Level], *, goes_on: bool = False) -> tuple[LevelSpan, ...]:
    """Where the levels of a barrel lie.

    Parameters
    ----------
    levels : sequence of Level
        From the electrical start down.
    goes_on : bool
        The barrel goes on below them: a last plane is already cut at its mid-thickness.

    Returns
    -------
    tuple of LevelSpan
    """
    edges = [snap(z) for z in accumulate((level.thickness for level in levels), initial=0.0)]
    last = edges[-1] if goes_on else None
    return tuple(
        LevelSpan(level=level, top=top, bottom=bottom, mid=_mid(top, bottom, last))
        for level, (top, bottom) in zip(levels, pairwise(edges), strict=True)
    )


def snap(length: float) -> float:
    """Round a length to the picometre, so that lengths drawn as equal are equal numbers.

    Parameters
    ----------
    length : float
        [m].
    """
    return round(length, 12)


def _mid(top: float, bottom: float, last: float | None) -> float:
    """Where a plane is cut in two [m]: a plane at either end of the barrel was cut at its mid-thickness before."""
    if top == 0.0:
        return top
    return bottom if bottom == last else snap((top + bottom) / 2)
