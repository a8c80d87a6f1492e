"""Owns the axisymmetric electrostatic solve: potential and field energy on a graded (z, r) grid of dielectrics.

Finite volumes: the radial conductance between two grid radii carries ln(r2/r1), so a coaxial section is exact at any
mesh. The error comes from the edges of planes, pads and the barrel's end, where the lines are closer together.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.constants import epsilon_0
from scipy.linalg import solveh_banded

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stubsi.physics.arrays import FloatArray, IndexArray


@dataclass(frozen=True, kw_only=True, eq=False)
class Grid:
    """The half plane (z, r) around the axis, cut into cells.

    Parameters
    ----------
    z, r : ndarray, shape (n_z,) and (n_r,)
        Lines [m]; r[0] >= 0.
    eps_r, eps_z : ndarray, shape (n_z - 1, n_r - 1)
        Relative permittivity [-] of each cell for the radial and the axial field.
    voltage : ndarray, shape (n_z, n_r)
        Potential of the nodes on conductors [V]; NaN where a node is free.

    Notes
    -----
    At an outer border without a voltage the field has no component across it.
    """

    z: FloatArray
    r: FloatArray
    eps_r: FloatArray
    eps_z: FloatArray
    voltage: FloatArray


def graded_lines(stops: Sequence[float], steps: Sequence[float], growth: float, refine: int = 1) -> FloatArray:
    """Grid lines through every stop, close together where the wanted step is small.

    Parameters
    ----------
    stops : sequence of float
        Ascending coordinates [m] that must be lines.
    steps : sequence of float
        Step wanted at each stop [m]; ``inf`` where no refinement is needed, but not at all of them.
    growth : float
        Increase of the step per distance from a stop [-], > 0; with 0.2 each step is about 1.2 times the last.
    refine : int
        Number of parts that every step is divided into. The lines for ``refine=1`` are among the lines for any other.

    Returns
    -------
    ndarray, shape (n,)
        Ascending lines [m].
    """
    where = np.asarray(stops, dtype=float)
    step = (np.asarray(steps, dtype=float) + growth * np.abs(where[:, None] - where)).min(axis=1)
    length, first, last = np.diff(where), step[:-1], step[1:]
    # Counted in steps, the way from one stop to the next first rises with the growth and then falls to the next stop.
    meet = np.clip((last - first + growth * length) / (2 * growth), 0.0, length)
    rising = np.log1p(growth * meet / first) / growth
    total = rising + np.log1p(growth * (length - meet) / last) / growth
    lines = refine * np.maximum(1, np.rint(total)).astype(int)
    start, length, first, last, rising, total = (
        np.repeat(each, lines) for each in (where[:-1], length, first, last, rising, total)
    )
    number = np.arange(len(start)) - np.repeat(np.cumsum(lines) - lines, lines)
    count = number * (total / np.repeat(lines, lines))
    up = first / growth * np.expm1(growth * np.minimum(count, rising))
    down = last / growth * np.expm1(growth * np.minimum(total - count, total - rising))
    return np.append(start + np.where(count <= rising, up, length - down), where[-1])


class Field(NamedTuple):
    """What a solve gives, each of shape (n_z - 1, n_r - 1), an entry for every cell.

    ``energy``: of the field in the cell as capacitance, 2 W / (1 V)^2 [F]; for conductors at 0 and 1 V the cells of the
    whole grid add up to the capacitance. ``flux``: flux of D [C] that crosses the plane through the middle of the cell
    outside of the middle of the cell, positive towards falling z.
    """

    energy: FloatArray
    flux: FloatArray


def solve_field(grid: Grid) -> Field:
    """Field between the conductors of a grid.

    Solves div(eps grad phi) = 0 with the grid's fixed voltages (one banded Cholesky solve). The energy is
    2 W = 2 pi eps0 sum g (phi_1 - phi_2)^2 over the four edges of each cell. The flux is the sum of 2 pi eps0 g
    (phi_1 - phi_2) over the axial edges that lie farther out.

    Parameters
    ----------
    grid : Grid
        The cells and the voltages.

    Returns
    -------
    Field
    """
    radial, axial = _cell_conductances(grid)
    potential = _potential(grid, radial, axial)
    return Field(
        2 * np.pi * epsilon_0 * _energies(potential, radial, axial), 2 * np.pi * epsilon_0 * _fluxes(potential, axial)
    )


def _energies(potential: FloatArray, radial: FloatArray, axial: tuple[FloatArray, FloatArray]) -> FloatArray:
    """Energy of the field in each cell over 2 pi eps0."""
    across, along = np.diff(potential, axis=1) ** 2, np.diff(potential, axis=0) ** 2
    inner, outer = axial
    return radial * (across[1:] + across[:-1]) + inner * along[:, :-1] + outer * along[:, 1:]


def _fluxes(potential: FloatArray, axial: tuple[FloatArray, FloatArray]) -> FloatArray:
    """Flux of each cell over 2 pi eps0: that of all axial edges farther out."""
    inner, outer = axial
    falling = np.diff(potential, axis=0)
    through = outer * falling[:, 1:]
    through[:, :-1] += inner[:, 1:] * falling[:, 1:-1]
    return np.asarray(np.cumsum(through[:, ::-1], axis=1)[:, ::-1])


def _cell_conductances(
    grid: Grid,
) -> tuple[FloatArray, tuple[FloatArray, FloatArray]]:
    """Per cell and per 2 pi eps0: of each radial edge, and of the inner and the outer axial edge [m]."""
    height, r = np.diff(grid.z)[:, None], grid.r
    middle = (r[1:] + r[:-1]) / 2
    log = np.log(r[1:] / np.where(r[:-1] > 0, r[:-1], r[1:] / np.exp(2)))  # 2 for the cell at the axis
    radial = grid.eps_r * height / (2 * log)
    inner = grid.eps_z * (middle**2 - r[:-1] ** 2) / (2 * height)
    outer = grid.eps_z * (r[1:] ** 2 - middle**2) / (2 * height)
    return radial, (inner, outer)


def _potential(grid: Grid, radial: FloatArray, axial: tuple[FloatArray, FloatArray]) -> FloatArray:
    """Potential of every node [V], free ones solved for."""
    across, along = np.zeros((len(grid.z), len(grid.r) - 1)), np.zeros((len(grid.z) - 1, len(grid.r)))
    across[1:] += radial
    across[:-1] += radial
    along[:, :-1] += axial[0]
    along[:, 1:] += axial[1]
    free = np.isnan(grid.voltage)
    number = np.where(free, np.cumsum(free).reshape(free.shape) - 1, -1)
    potential = np.where(free, 0.0, grid.voltage)
    ends = [
        np.concatenate([values[:, side].ravel(), values[below].ravel()])
        for side, below in ((slice(None, -1), slice(None, -1)), (slice(1, None), slice(1, None)))
        for values in (number, potential)
    ]
    band, source = _equations(np.concatenate([across.ravel(), along.ravel()]), *ends)
    potential[free] = solveh_banded(band, source, lower=True, overwrite_ab=True, overwrite_b=True, check_finite=False)
    return potential


def _equations(
    g: FloatArray,
    first: IndexArray,
    first_voltage: FloatArray,
    second: IndexArray,
    second_voltage: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Banded matrix (lower form) and right-hand side from the edges: conductance, both nodes (-1: fixed), voltages."""
    n = max(first.max(), second.max()) + 1
    start, stop = first >= 0, second >= 0
    both = start & stop
    distance = (second - first)[both]
    band = np.zeros((distance.max(initial=0) + 1, n))
    band[0] = np.bincount(first[start], g[start], n) + np.bincount(second[stop], g[stop], n)
    band[distance, first[both]] = -g[both]
    source = np.zeros(n)
    source += np.bincount(first[start], (g * second_voltage)[start], n)
    source += np.bincount(second[stop], (g * first_voltage)[stop], n)
    return band, source
