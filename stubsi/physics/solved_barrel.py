"""Owns the solved barrel: the electrostatics of a barrel, done once for each distinct geometry."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

from stubsi.physics.capacitance import electrostatics_of
from stubsi.physics.feed import THROUGH
from stubsi.physics.packing import barrel_arrays
from stubsi.physics.sections import layout

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from stubsi.physics.barrel import Barrel, Material
    from stubsi.physics.packing import BarrelArrays
    from stubsi.physics.sections import Layout


KEPT = 16_384
"""How many solved barrels are remembered: about 13 kB each, 200 MB in all."""


@dataclass(frozen=True, kw_only=True, eq=False)
class SolvedBarrel:
    """A barrel with its sections and their capacitances: everything about it that does not depend on the return path.

    Parameters
    ----------
    barrel : Barrel
        The barrel that was solved.
    layout : Layout
        Its sections.
    materials : tuple of Material
        What its field passes through.
    capacitance : ndarray, shape (n_section + 1, n_material)
        [F] of each section from the start down and of the end (last row), by material, at the materials' own dk.
    end_inductance : float
        In front of the end's capacitance [H].
    """

    barrel: Barrel
    layout: Layout
    materials: tuple[Material, ...]
    capacitance: NDArray[np.float64]
    end_inductance: float

    @cached_property
    def arrays(self) -> BarrelArrays:
        """The barrel as the arrays a chain is put together from."""
        return barrel_arrays(self)


@lru_cache(maxsize=KEPT)
def solve(barrel: Barrel) -> SolvedBarrel:
    """Solve the electrostatics of a barrel; equal barrels are solved once and remembered.

    Parameters
    ----------
    barrel : Barrel
        Levels from the electrical start to the end of the plating.

    Returns
    -------
    SolvedBarrel
        The same object for equal barrels.

    Raises
    ------
    ValidityError
        Clearance not larger than the barrel, pad not inside its clearance, bore narrower than the barrel, no plane.
    """
    cut = layout(barrel)
    if barrel.feed != THROUGH:
        return replace(solve(replace(barrel, feed=THROUGH)), barrel=barrel, layout=cut)
    field = electrostatics_of(barrel, cut)
    return SolvedBarrel(
        barrel=barrel,
        layout=cut,
        materials=field.materials,
        capacitance=field.capacitance,
        end_inductance=field.end_inductance,
    )
