"""Owns the layers of a stackup that a barrel passes through: material, resin, pad and clearance of each."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

import numpy as np

from stubsi.board.layers import CopperLayer, DielectricLayer, assumed_of
from stubsi.errors import UnknownValueError
from stubsi.physics.barrel import Level, Material
from stubsi.physics.pair import equivalent_clearance, fringe_shift

if TYPE_CHECKING:
    from collections.abc import Iterable
    from typing import TypeAlias

    from stubsi.board.hole_kinds import Span
    from stubsi.board.padstack import Antipad, Padstack
    from stubsi.board.stackup import Stackup

    Layer: TypeAlias = CopperLayer | DielectricLayer

BLIND_CLEARANCE = 1.001
"""Radius of the laminate below a blind end over the radius of the barrel [-]: just above 1, so that the laminate begins
at the end face of the barrel."""
REMEMBERED = 1000
"""For how many stubs the layers along their barrel are remembered."""


@dataclass(frozen=True, kw_only=True)
class BarrelLayers:
    """The layers of a stackup from the layer in use towards the end of a stub, as its barrel crosses them.

    Parameters
    ----------
    stackup : Stackup
    padstack : Padstack
    pitch : float or None
        Of the pair the hole belongs to [m].
    layers : tuple of CopperLayer and DielectricLayer
        All layers of the stackup, in the direction of the stub.
    first, used, last : int
        Places in ``layers`` of the layer the hole begins at, of the layer in use and of the layer the barrel ends at.
    end_copper : CopperLayer
        The layer the barrel ends at.
    """

    stackup: Stackup
    padstack: Padstack
    pitch: float | None
    layers: tuple[Layer, ...]
    first: int
    used: int
    last: int
    end_copper: CopperLayer

    @classmethod
    def of(cls, stackup: Stackup, padstack: Padstack, span: Span, side: str, pitch: float | None) -> BarrelLayers:
        """The layers towards one side of a hole.

        Parameters
        ----------
        stackup : Stackup
        padstack : Padstack
        span : Span
            Copper layers that the hole reaches and that it uses.
        side : {"top", "bottom"}
        pitch : float or None
            Of the pair the hole belongs to [m].

        Returns
        -------
        BarrelLayers
        """
        return _barrel_layers(stackup, padstack, span, side, pitch)

    @property
    def beyond(self) -> tuple[Layer, ...]:
        """The layers from the one behind the layer in use to the one the barrel ends at."""
        return self.layers[self.used + 1 : self.last + 1]

    @property
    def back(self) -> tuple[Layer, ...]:
        """The layer in use and those before it, the nearest first."""
        return self.layers[self.used :: -1]

    @property
    def blind(self) -> bool:
        """Whether the hole ends inside the board."""
        return self.last != len(self.layers) - 1

    @property
    def ends_in_plane(self) -> bool:
        """Whether the hole ends in copper of the outer face that is a plane around it."""
        return not self.blind and self.antipad(self.end_copper) is not None

    def assumptions(self) -> tuple[str, ...]:
        """What is assumed for values that the laminates do not give, in words."""
        return assumed_of([layer for layer in self.layers if isinstance(layer, DielectricLayer)])

    def antipad(self, layer: Layer) -> Antipad | None:
        """Antipad where a layer is a plane around this hole.

        Parameters
        ----------
        layer : CopperLayer or DielectricLayer

        Returns
        -------
        Antipad or None
            None where the layer is no plane.

        Raises
        ------
        UnknownValueError
            It is a plane whose antipad is not known.
        """
        if not isinstance(layer, CopperLayer) or layer.role == "signal":
            return None
        antipad = self.padstack.antipad_at(layer.name, layer.role)
        if antipad is None and layer.role == "plane":
            raise UnknownValueError(
                f"antipad of padstack {self.padstack.name} on {layer.name} is unknown: give antipad."
            )
        return antipad

    def clearance_radius(self, layer: Layer) -> float | None:
        """Clearance radius where a layer is a plane around this hole.

        Parameters
        ----------
        layer : CopperLayer or DielectricLayer

        Returns
        -------
        float or None
            [m]; of a shared slot that of the round antipad with the same effect. None where the layer is no plane.

        Raises
        ------
        UnknownValueError
            It is a plane whose antipad, or the pitch of a shared antipad, is not known.
        """
        antipad = self.antipad(layer)
        return self._clearance(antipad, layer) if antipad is not None and isinstance(layer, CopperLayer) else None

    @property
    def pad_in_use_radius(self) -> float | None:
        """Radius [m] of the pad on the layer in use; None without a pad."""
        layer = self.layers[self.used]
        return self.pad_radius(layer) if isinstance(layer, CopperLayer) else None

    @property
    def passes_plane_before(self) -> bool:
        """Whether the hole also goes through the nearest plane on the other side of the layer in use."""
        before = self.layers[self.first : self.used]
        return any(self.antipad(layer) is not None for layer in before)

    def apart_beyond_one_plane(self, places: Iterable[int]) -> float | None:
        """Vertical distance from the layer in use to the nearest of some layers just beyond the next plane.

        Only layers on the other side of the layer in use count, with exactly one plane between.

        Parameters
        ----------
        places : iterable of int
            Numbers of copper layers in the stackup.

        Returns
        -------
        float or None
            From face to face [m]; None where there is no such layer.
        """
        wanted = [self.stackup.copper[place] for place in places]
        strip, *before = self.back
        apart, planes = strip.thickness_si, 0
        for layer in before:
            if planes == 1 and layer in wanted:
                return apart
            planes += self.antipad(layer) is not None
            apart += layer.thickness_si
        return None

    def pad_radius(self, layer: CopperLayer) -> float | None:
        """Radius of the pad on a layer.

        Parameters
        ----------
        layer : CopperLayer

        Returns
        -------
        float or None
            [m]; None without a pad.
        """
        place = self.stackup.index(layer.name)
        outer = place in (0, len(self.stackup.names) - 1)
        pad = self.padstack.pad_at(layer.name, in_use=layer == self.layers[self.used], outer=outer)
        return None if pad is None else pad / 2

    def level(self, layer: Layer) -> Level:
        """The level that a layer forms along the barrel.

        Parameters
        ----------
        layer : CopperLayer or DielectricLayer

        Returns
        -------
        Level

        Raises
        ------
        UnknownValueError
            A Dk, an antipad, or the pitch of a shared antipad is not known.
        """
        if layer not in self._levels:
            self._levels[layer] = self._level(layer)
        return self._levels[layer]

    @cached_property
    def _levels(self) -> dict[Layer, Level]:
        """Levels made so far: every length of a stub is made of the same ones."""
        return {}

    def _level(self, layer: Layer) -> Level:
        """A layer as a level of the barrel: a plane where it has a clearance, else a signal layer or a dielectric."""
        if not isinstance(layer, CopperLayer):
            return Level(kind="dielectric", thickness=layer.thickness_si, material=material_of(layer))
        clearance = self.clearance_radius(layer)
        return Level(
            kind="signal" if clearance is None else "plane",
            thickness=layer.thickness_si,
            material=filling_of(self.stackup, layer),
            clearance_radius=clearance,
            pad_radius=self.pad_radius(layer),
        )

    def below_blind_end(self) -> tuple[Level, ...]:
        """What lies below a blind end, to the next plane, which no hole pierces there."""
        levels: list[Level] = []
        for layer in self.layers[self.last + 1 :]:
            if not isinstance(layer, CopperLayer):
                levels.append(self.level(layer))
                continue
            is_plane = layer.role != "signal"
            levels.append(
                Level(
                    kind="plane" if is_plane else "signal",
                    thickness=layer.thickness_si,
                    material=filling_of(self.stackup, layer),
                    clearance_radius=0.0 if is_plane else None,
                )
            )
            if is_plane:
                break
        return tuple(levels)

    def _clearance(self, antipad: Antipad, layer: CopperLayer) -> float:
        """Radius [m] of a round antipad; of a shared slot, the radius of the round antipad that has the same effect."""
        half = antipad.width_si / 2
        if not antipad.shared:
            return half
        if self.pitch is None:
            raise UnknownValueError(
                f"pitch of the pair at padstack {self.padstack.name} is unknown: give x and y of both holes."
            )
        return slot_clearance(self.stackup, layer, self.pitch, half)


@lru_cache(maxsize=REMEMBERED)
def _barrel_layers(stackup: Stackup, padstack: Padstack, span: Span, side: str, pitch: float | None) -> BarrelLayers:
    """The layers along a barrel, counted from the side that the stub does not go to."""
    down = side == "bottom"
    layers = stackup.layers if down else stackup.layers[::-1]
    used, last = (span.lower_in_use, span.last) if down else (span.upper_in_use, span.first)
    end_copper, first_copper = stackup.copper[last], stackup.copper[span.first if down else span.last]
    return BarrelLayers(
        stackup=stackup,
        padstack=padstack,
        pitch=pitch,
        layers=layers,
        first=layers.index(first_copper),
        used=layers.index(stackup.copper[used]),
        last=layers.index(end_copper),
        end_copper=end_copper,
    )


def slot_clearance(stackup: Stackup, layer: CopperLayer, pitch: float, half_width: float) -> float:
    """Radius of the round clearance that has the same effect as a slot shared by a pair, in one plane of a stackup.

    Parameters
    ----------
    stackup : Stackup
    layer : CopperLayer
        The plane.
    pitch, half_width : float
        Of the pair, and of the slot [m].

    Returns
    -------
    float
        Radius [m].
    """
    gaps = _gaps(stackup, layer)
    shift = float(np.mean([fringe_shift(gap, layer.thickness_si) for gap in gaps]))
    return float(equivalent_clearance(pitch, half_width, shift))


def _gaps(stackup: Stackup, layer: CopperLayer) -> list[float]:
    """Laminate heights [m] from a plane to the next plane (or the surface) above and below."""
    place = _place(stackup, layer)
    gaps = []
    for way in (stackup.layers[place + 1 :], stackup.layers[:place][::-1]):
        height = 0.0
        for other in way:
            if isinstance(other, CopperLayer) and other.role == "plane":
                break
            height += other.thickness_si
        if height > 0:
            gaps.append(height)
    return gaps


def _place(stackup: Stackup, layer: CopperLayer) -> int:
    """Place of a copper layer among all layers."""
    return stackup.layers.index(layer)


def material_of(layer: DielectricLayer) -> Material:
    """What a dielectric layer is made of.

    Parameters
    ----------
    layer : DielectricLayer

    Returns
    -------
    Material

    Raises
    ------
    UnknownValueError
        Its Dk is not known.
    """
    if layer.dk is None or layer.radial_dk is None:
        raise UnknownValueError(f"Dk of a dielectric ({layer.material or 'no material'}) is unknown: give it.")
    return Material(dk_in_plane=layer.radial_dk, dk_z=layer.dk, df=layer.df or 0.0, frequency=layer.at_si)


def filling_of(stackup: Stackup, layer: CopperLayer) -> Material:
    """Resin that fills a copper layer where no copper is: the mean of the dielectrics above and below it.

    Parameters
    ----------
    stackup : Stackup
    layer : CopperLayer

    Returns
    -------
    Material

    Raises
    ------
    UnknownValueError
        The Dk of one of them is not known.
    """
    place = _place(stackup, layer)
    beside = [stackup.layers[i] for i in (place - 1, place + 1) if 0 <= i < len(stackup.layers)]
    materials = [material_of(other) for other in beside if isinstance(other, DielectricLayer)]
    if len(materials) == 1 or materials[0] == materials[1]:
        return materials[0]
    above, below = materials
    return Material(
        dk_in_plane=(above.dk_in_plane + below.dk_in_plane) / 2,
        dk_z=(above.dk_z + below.dk_z) / 2,
        df=(above.df + below.df) / 2,
        frequency=above.frequency if above.frequency == below.frequency else None,
    )
