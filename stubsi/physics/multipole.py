"""Owns the scattering of a barrel's cylindrical wave by round conductors between two planes, mirror images included."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import jve

from stubsi.physics.hankel import hankel

if TYPE_CHECKING:
    from numpy.typing import NDArray

    ComplexArray = NDArray[np.complexfloating]
    FloatArray = NDArray[np.floating]

ORDER = 1
"""Highest multipole kept: line charge (0) and dipole (1) of a round conductor."""


def bessel(order: int, x: ComplexArray) -> ComplexArray:
    r"""Standing wave, :math:`J_n(x)\,e^{-jx}`: finite for any loss (Im x <= 0)."""
    return jve(order, x) * np.exp(np.abs(x.imag) + x.imag - 1j * x.real)


@dataclass(frozen=True, kw_only=True)
class Conductors:
    """Round conductors normal to the planes, the driven barrel first.

    ``place`` [m] holds x + jy, ``radius`` [m]; both of shape (..., n). With ``odd`` each one has a mirror image of
    opposite sign at -x.
    """

    place: ComplexArray
    radius: FloatArray
    odd: bool = False

    @property
    def reach(self) -> FloatArray:
        """Distance from the barrel's centre to the nearest other conductor or zero-potential plane [m], shape (...)."""
        gap = np.abs(self.place - self.place[..., :1]) - self.radius
        midplane = self.place[..., 0].real if self.odd else np.inf
        return np.minimum(gap[..., 1:].min(axis=-1, initial=np.inf), midplane)


def reflection(k: ComplexArray, conductors: Conductors, order: int = ORDER) -> ComplexArray:
    r"""Return the standing wave that comes back to a barrel radiating :math:`H_0^{(2)}(kr)`.

    Every conductor is perfect (:math:`E_z = 0`) and carries multipoles up to ``order``; the barrel's own order 0 is
    left to the caller. About the barrel the part of the field that does not depend on the angle is
    :math:`H_0^{(2)}(kr) + \rho\,e^{-2jk\,\mathrm{reach}} J_0(kr)`.

    Parameters
    ----------
    k : complex ndarray, shape (...)
        Wavenumber [1/m]; not zero.
    conductors : Conductors
        Arrays of shape (..., n) that broadcast with ``k[..., None]``.
    order : int
        Highest multipole kept.

    Returns
    -------
    complex ndarray, shape (...)
        rho [-], with the round trip over ``conductors.reach`` taken out so that it stays finite.

    Notes
    -----
    Derived: Graf's addition theorem (Abramowitz and Stegun 9.1.79, from memory) carries each multipole to each other
    conductor. With dipoles within 1 % of all orders while no gap is below a third of a conductor's radius, 0.25 % for
    return posts two radii away from each other and the barrel.
    """
    kr = k[..., None] * conductors.radius
    degree = np.abs(np.arange(-order, order + 1))
    flat = (*kr.shape[:-1], -1)
    taken = np.stack([bessel(p, kr) for p in range(order + 1)], axis=-1)[..., degree].reshape(flat)
    given = 1 / np.stack(hankel(order, kr), axis=-1)[..., degree].reshape(flat)
    taken[..., order] = given[..., order] = 0

    system = _waves(k, conductors, order)
    driven, to_barrel = taken * system[..., :, order], given * system[..., order, :]
    back = system[..., order, order].copy()
    # Unknown: the field of each multipole on its own conductor's surface. E_z = 0 there, the driven wave included.
    # In place: most of the time would go into memory.
    system *= taken[..., :, None]
    system *= given[..., None, :]
    system += np.eye(system.shape[-1])
    sources = np.linalg.solve(system, driven[..., None])[..., 0]
    back -= (to_barrel * sources).sum(axis=-1)
    return back * np.exp(2j * k * (conductors.reach - conductors.radius[..., 0]))


def _waves(k: ComplexArray, conductors: Conductors, order: int) -> ComplexArray:
    """Waves of one order arriving at each conductor (rows) per multipole of each conductor (columns)."""
    arrive, leave = conductors.place[..., :, None], conductors.place[..., None, :]
    waves = _translate(k, arrive - leave, conductors.radius, order)
    if conductors.odd:
        waves -= _translate(k, arrive + leave.conj(), conductors.radius, order)[..., ::-1]
    size = conductors.place.shape[-1] * (2 * order + 1)
    return waves.reshape(*waves.shape[:-4], size, size)


def _translate(k: ComplexArray, delta: ComplexArray, radius: FloatArray, order: int) -> ComplexArray:
    """Graf: order n of row i from multipole m of column j at ``delta`` (..., i, j); (..., i, n, j, m), 0 on oneself."""
    rows, columns = np.triu_indices(delta.shape[-1])
    distance = np.abs(delta[..., rows, columns])
    apart = distance > 0
    distance = np.where(apart, distance, radius[..., rows])
    x = k[..., None] * distance
    gap = distance - radius[..., rows] - radius[..., columns]
    phase = np.where(apart, np.exp(-1j * k[..., None] * gap), 0)
    waves = np.stack(hankel(2 * order, x), axis=-2) * phase[..., None, :]

    pair = np.zeros(delta.shape[-2:], dtype=int)
    pair[rows, columns] = pair[columns, rows] = np.arange(len(rows))
    step = np.arange(-order, order + 1) - np.arange(-order, order + 1)[:, None]
    place = np.abs(step)[:, None, :] * len(rows) + pair[:, None, :, None]
    unit = np.where(delta == 0, 1, delta / np.where(delta == 0, 1, np.abs(delta)))
    turn = np.stack([unit**p if p >= 0 else (-unit.conj()) ** -p for p in range(-2 * order, 2 * order + 1)], axis=-1)
    turn = np.ascontiguousarray(np.swapaxes(turn[..., step + 2 * order], -3, -2))
    waves = np.take(waves.reshape(*x.shape[:-1], -1), place, axis=-1)
    waves *= turn
    return waves
