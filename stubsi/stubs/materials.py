"""Owns what one layer of a stackup is to a barrel: its material, the resin in its copper, a slot as round clearance."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stubsi.board.layers import CopperLayer
from stubsi.errors import UnknownValueError
from stubsi.physics.barrel import Material
from stubsi.physics.pair import equivalent_clearance, fringe_shift

if TYPE_CHECKING:
    from stubsi.board.layers import DielectricLayer
    from stubsi.board.stackup import Stackup


def slot_clearance(stackup: Stackup, layer: CopperLayer, pitch: float, half_width: float) -> float:
    """Round clearance [m] that acts as a slot shared by a pair, in a plane between its neighbour planes."""
    gaps = _gaps(stackup, layer)
    shift = np.mean([fringe_shift(gap, layer.thickness_si) for gap in gaps])
    return float(equivalent_clearance(pitch, half_width, shift))


def _gaps(stackup: Stackup, layer: CopperLayer) -> list[float]:
    """Laminate heights [m] from a plane to the next plane (or the surface) above and below."""
    place = next(i for i, other in enumerate(stackup.layers) if other is layer)
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


def material_of(layer: DielectricLayer) -> Material:
    """What a dielectric layer is made of; UnknownValueError without a Dk."""
    if layer.dk is None:
        raise UnknownValueError(f"Dk of a dielectric ({layer.material or 'no material'}) is unknown: give it.")
    return Material(dk_in_plane=layer.radial_dk, dk_z=layer.dk, df=layer.df or 0.0, frequency=layer.at_si)


def filling_of(stackup: Stackup, layer: CopperLayer) -> Material:
    """Resin filling a copper level: the mean of the dielectrics above and below it."""
    place = next(i for i, other in enumerate(stackup.layers) if other is layer)
    beside = [stackup.layers[i] for i in (place - 1, place + 1) if 0 <= i < len(stackup.layers)]
    found = [material_of(other) for other in beside]
    if len(found) == 1 or found[0] == found[1]:
        return found[0]
    return Material(
        dk_in_plane=(found[0].dk_in_plane + found[1].dk_in_plane) / 2,
        dk_z=(found[0].dk_z + found[1].dk_z) / 2,
        df=(found[0].df + found[1].df) / 2,
        frequency=found[0].frequency if found[0].frequency == found[1].frequency else None,
    )
