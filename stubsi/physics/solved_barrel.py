"""Owns the solved barrel and the whole hole: electrostatics once per geometry, through part with its two stubs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from stubsi.physics.capacitance import section_capacitances
from stubsi.physics.cell import half_cells
from stubsi.physics.sections import layout

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from stubsi.physics.barrel import Barrel, Material
    from stubsi.physics.chain import Chain
    from stubsi.physics.sections import Layout


@dataclass(frozen=True, kw_only=True, eq=False)
class SolvedBarrel:
    """Static part of a barrel, whatever its return path.

    ``capacitance`` (n_section + 1, n_material) [F]: of each section from the start down and of the end (last row), by
    material, at the materials' own dk.
    """

    barrel: Barrel
    layout: Layout
    materials: tuple[Material, ...]
    capacitance: NDArray[np.float64]


@lru_cache(maxsize=4096)
def solve(barrel: Barrel, *, closed_cells: bool = False) -> SolvedBarrel:
    """Static part of a barrel; equal barrels are solved once.

    Parameters
    ----------
    barrel : Barrel
        Levels from the electrical start to the end of the plating.
    closed_cells : bool
        Take the cells of a bare barrel from the closed form and solve its end alone. By default the electrostatics of
        the whole barrel is one solve.

    Raises
    ------
    ValidityError
        Clearance not larger than the barrel, pad not inside its clearance, bore narrower than the barrel, no plane;
        with ``closed_cells`` pads, a start inside a cavity or a drilled end.
    """
    cut = layout(barrel)
    if closed_cells:
        end = _end_only(barrel)
        materials, rest = section_capacitances(end, layout(end))
        materials = tuple(dict.fromkeys((*materials, *(level.material for level in barrel.levels))))
        rest = np.pad(rest, [(0, 0), (0, len(materials) - rest.shape[1])])
        capacitance = np.vstack([half_cells(cut, materials, barrel.barrel_radius), rest])
    else:
        materials, capacitance = section_capacitances(barrel, cut)
    return SolvedBarrel(barrel=barrel, layout=cut, materials=materials, capacitance=capacitance)


def _end_only(barrel: Barrel) -> Barrel:
    """Barrel that starts at the mid-thickness of its last plane."""
    last = max(i for i, level in enumerate(barrel.levels) if level.kind == "plane")
    plane = replace(barrel.levels[last], thickness=barrel.levels[last].thickness / 2)
    return replace(barrel, levels=(plane, *barrel.levels[last + 1 :]))


def two_port(
    through: Chain, frequency: ArrayLike, *, above: Chain | None = None, below: Chain | None = None
) -> NDArray[np.complex128]:
    """Chain matrix of whole holes: the barrel between entry and exit, what is left of it hung in shunt at either end.

    Parameters
    ----------
    through : Chain
        Lengths of barrel between entry and exit (``Barrel`` with ``end=None``, levels from the entry on).
    frequency : array_like
        [Hz] > 0; shape (n_freq,), or (n_hole, n_freq).
    above, below : Chain, optional
        Stubs at the entry and at the exit, one per hole; levels ordered from their electrical start to their end.

    Returns
    -------
    complex ndarray, shape (n_hole, n_freq, 2, 2)
        [[A, B], [C, D]] in SI units, entry to exit.
    """
    matrix = through.abcd(frequency)
    if above is not None:
        matrix = _shunt(above.input_admittance(frequency)) @ matrix
    return matrix if below is None else matrix @ _shunt(below.input_admittance(frequency))


def _shunt(admittance: NDArray[np.complex128]) -> NDArray[np.complex128]:
    one, none = np.ones_like(admittance), np.zeros_like(admittance)
    return np.stack([one, none, admittance, one], axis=-1).reshape(*admittance.shape, 2, 2)
