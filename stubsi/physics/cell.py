"""Owns the closed forms of a bare barrel's cells: fringe shift of a clearance's edge and capacitance."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.constants import epsilon_0
from scipy.special import xlogy

from stubsi.errors import ValidityError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    from stubsi.physics.barrel import Material
    from stubsi.physics.sections import Layout, Section


def fringe_shift(height: ArrayLike, thickness: ArrayLike) -> NDArray[np.float64]:
    r"""How much wider than drawn a clearance is for the field, in the walls of a stack of planes.

    .. math:: d = \frac{h}{2\pi}\{x \ln x + (2+x)\ln(2+x) - 2(1+x)\ln(1+x)\}, \qquad x = t/h

    Parameters
    ----------
    height, thickness : array_like
        Height h between two planes and thickness t of a plane [m]; t = 0 gives h ln 2/pi.

    Returns
    -------
    ndarray
        Shift d [m].

    Notes
    -----
    Derived by conformal mapping (Schwarz-Christoffel) of a grating of thick half planes.
    """
    h = np.asarray(height, dtype=float)
    x = np.asarray(thickness) / h
    return h / (2 * np.pi) * (xlogy(x, x) + xlogy(2 + x, 2 + x) - 2 * xlogy(1 + x, 1 + x))


def common_clearance(one: ArrayLike, other: ArrayLike, height: ArrayLike) -> NDArray[np.float64]:
    r"""Clearance radius that, in both planes, stands for two unequal ones.

    .. math:: b^* = b_{min} + \frac{D}{2}\frac{h}{h+D}

    D [m] is the difference of the two radii, h the height [m] between the planes. Fitted to electrostatic solves:
    capacitance 0.07 % off at the median and 2.8 % at most.
    """
    difference = np.abs(np.subtract(one, other))
    return np.minimum(one, other) + difference / 2 * height / (height + difference)


def cell_capacitance(
    barrel_radius: ArrayLike,
    clearance_radius: ArrayLike,
    height: ArrayLike,
    thickness: ArrayLike,
    *,
    dk_in_plane: ArrayLike = 1.0,
    dk_z: ArrayLike = 1.0,
) -> NDArray[np.float64]:
    r"""Capacitance of a bare barrel from plane mid to plane mid.

    .. math:: C = \frac{2\pi\varepsilon_0\varepsilon_r (h + t)}{\ln((b + d\sqrt{\varepsilon_r/\varepsilon_z})/a)}

    Parameters
    ----------
    barrel_radius, clearance_radius : array_like
        a and b [m], a < b.
    height, thickness : array_like
        Height h between the planes and thickness t of each [m].
    dk_in_plane, dk_z : array_like
        Relative permittivity for the radial and the axial field [-].

    Returns
    -------
    ndarray
        [F].

    Notes
    -----
    Derived; within 0.2 % of electrostatic solves for equal planes without pads. Tends to the coaxial line as h/b -> 0.
    """
    edge = clearance_radius + fringe_shift(height, thickness) * np.sqrt(np.divide(dk_in_plane, dk_z))
    return 2 * np.pi * epsilon_0 * dk_in_plane * np.add(height, thickness) / np.log(edge / barrel_radius)


def half_cells(cut: Layout, materials: Sequence[Material], barrel_radius: float) -> NDArray[np.float64]:
    """Capacitance of the sections of a bare barrel that starts at a plane, by material, from the closed form.

    Laminate and the resin in the clearances act in parallel on the radial field.

    Returns
    -------
    ndarray, shape (n_section, n_material)
        [F], each cavity's shared equally by height among its two halves.

    Raises
    ------
    ValidityError
        A pad along the way, a start inside a cavity, a drilled end.
    """
    rows = np.zeros((len(cut.sections), len(materials)))
    for n in range(0, len(cut.sections) - 1, 2):
        rows[n : n + 2] = _two_halves(cut.sections[n], cut.sections[n + 1], materials, barrel_radius)
    return rows


def _two_halves(
    upper: Section, lower: Section, materials: Sequence[Material], barrel_radius: float
) -> NDArray[np.float64]:
    parts = (*upper.in_plane, *upper.in_cavity, *lower.in_cavity, *lower.in_plane)
    if any(part.radius != barrel_radius for part in parts) or not (upper.in_plane and lower.in_plane):
        raise ValidityError("closed cells are for bare barrels between two planes: solve this one")
    height = sum(h for _, h in upper.filling)
    thickness = sum(part.height for part in (*upper.in_plane, *lower.in_plane))
    filling = (*upper.filling, *upper.resin, *lower.resin)
    heights = np.array([sum(h for m, h in filling if m == material) for material in materials])
    dk = np.array([m.dk_in_plane for m in materials])
    dk_r = heights @ dk / (height + thickness)
    dk_z = (height + thickness) / (heights @ (1 / np.array([m.dk_z for m in materials])))
    b = common_clearance(upper.clearance_radius, lower.clearance_radius, height)
    total = cell_capacitance(barrel_radius, b, height, thickness, dk_in_plane=dk_r, dk_z=dk_z)
    by_material = total * heights * dk / (heights @ dk)
    reach = np.array([s.bottom - s.top for s in (upper, lower)]) / (height + thickness)
    return reach[:, None] * by_material
