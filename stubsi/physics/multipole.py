"""Owns the scattering of a barrel's cylindrical wave by round conductors between two planes, mirror images included."""

from __future__ import annotations

from bisect import bisect
from dataclasses import dataclass
from functools import cache, cached_property
from math import factorial, prod
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.special import jve

from stubsi.physics.hankel import hankel

if TYPE_CHECKING:
    from stubsi.physics.arrays import ComplexArray, FloatArray, IndexArray


SERIES_TERMS = 11
"""Most terms of the power series of J_n: the first left out is 1e-15 of the first."""
SERIES_LIMITS = [2 * (1e-15 * factorial(m) ** 2) ** (0.5 / m) for m in range(1, SERIES_TERMS + 1)]
"""Largest arguments for which 1, 2 and so on terms do."""
SMALL = 2.0
"""Arguments up to which the power series of J_n is used."""
ORDER = 1
"""Highest multipole kept: line charge (0) and dipole (1) of a round conductor."""
BLOCK = 100_000
"""Complex numbers in the largest array of one block of systems, so that it stays in the cache."""
LARGEST_EXPONENT = 700.0
"""Of a number that a float holds. A wave that dies out by more on its way there and back is not reflected."""


def bessel(highest: int, x: ComplexArray) -> list[ComplexArray]:
    r"""Standing waves without phase and decay, :math:`J_n(x)\,e^{-jx}`, of every order: finite for any loss.

    Parameters
    ----------
    highest : int
        n from 0 to this.
    x : complex ndarray
        Argument [-], with Im x <= 0 for a real frequency.

    Returns
    -------
    list of complex ndarray
        [-], each in the shape of ``x``.

    Notes
    -----
    While all arguments are small the power series (Abramowitz and Stegun 9.1.10, from memory), else scipy's function.
    """
    largest = float(np.abs(x).max(initial=0.0))
    if largest < SMALL:
        return _bessel_series(highest, x, bisect(SERIES_LIMITS, largest) + 1)
    phase = np.exp(np.abs(x.imag) + x.imag - 1j * x.real)
    return [np.asarray(jve(order, x) * phase) for order in range(highest + 1)]


def _bessel_series(highest: int, x: ComplexArray, terms: int) -> list[ComplexArray]:
    """J_n(x) = (x/2)^n sum (-x^2/4)^m / (m! (n + m)!), the first terms of it, times e^-jx."""
    waves: list[ComplexArray] = []
    half, factor = x / 2, np.exp(-1j * x)
    square = -half * half
    for order in range(highest + 1):
        *rest, last = _series_factors(order)[:terms]
        total = np.full_like(x, last)
        for term in reversed(rest):
            total *= square
            total += term
        waves.append(np.multiply(total, factor, out=total))
        factor = factor * half
    return waves


@cache
def _series_factors(order: int) -> list[float]:
    """1 / (m! (n + m)!) for every term m of the series of an order n."""
    return [1 / (factorial(m) * factorial(order + m)) for m in range(SERIES_TERMS + 1)]


class _Placement(NamedTuple):
    """Where the waves between two conductors stand in the system of a pattern.

    ``wave`` (n, order, n, order): which of the (order, pair of conductors) waves. ``turn``, of that shape after the
    leading axes and a 1: what it is multiplied by; 0 where a conductor would meet itself.
    """

    wave: IndexArray
    turn: ComplexArray


class _Translations(NamedTuple):
    """How the multipoles of every conductor reach every other one, whatever the frequency.

    ``distance`` and ``gap`` [m], (..., 1, n_pair): between two centres, and between their surfaces. ``placements``:
    of the waves between the conductors, and of those from mirror images.
    """

    distance: FloatArray
    gap: FloatArray
    placements: tuple[_Placement, ...]

    def only(self, rows: IndexArray) -> _Translations:
        """Those of some of the patterns of an array (n_pattern, n)."""
        placements = tuple(_Placement(placement.wave, placement.turn[rows]) for placement in self.placements)
        return _Translations(self.distance[rows], self.gap[rows], placements)


@dataclass(frozen=True, kw_only=True, eq=False)
class Conductors:
    """Round conductors normal to the planes, the driven barrel first.

    Parameters
    ----------
    place : complex ndarray, shape (..., n)
        Centres x + jy [m]; the leading axes count patterns.
    radius : ndarray, shape (..., n)
        Radii [m].
    odd : bool
        Each conductor has a mirror image of opposite sign at -x: a pair of barrels in its odd mode.
    order : int
        Highest multipole kept on every conductor.
    """

    place: ComplexArray
    radius: FloatArray
    odd: bool = False
    order: int = ORDER

    @property
    def size(self) -> int:
        """Number of unknowns of a pattern: every multipole of every conductor."""
        return int(self.place.shape[-1]) * (2 * self.order + 1)

    @cached_property
    def reach(self) -> FloatArray:
        """Distance from the barrel's centre to the nearest other conductor or zero-potential plane [m], shape (...)."""
        gap = np.abs(self.place - self.place[..., :1]) - self.radius
        midplane = self.place[..., 0].real if self.odd else np.full(self.place.shape[:-1], np.inf)
        return np.asarray(np.minimum(gap[..., 1:].min(axis=-1, initial=np.inf), midplane))

    @cached_property
    def extent(self) -> FloatArray:
        """Distance from the barrel's centre to the farthest other conductor or mirror image [m], shape (...)."""
        barrel = self.place[..., :1]
        extent = np.abs(self.place - barrel).max(axis=-1)
        return np.asarray(np.maximum(extent, np.abs(self.place.conj() + barrel).max(axis=-1)) if self.odd else extent)

    @cached_property
    def keys(self) -> list[bytes]:
        """Values of each pattern of an array (n_pattern, n), by which it can be known again."""
        kind = bytes([self.odd, self.order])
        rows = zip(self.place + 0, self.radius, strict=True)  # + 0: no zero is negative
        return [kind + place.tobytes() + radius.tobytes() for place, radius in rows]

    def only(self, rows: IndexArray) -> Conductors:
        """Give some of the patterns of an array (n_pattern, n).

        Parameters
        ----------
        rows : ndarray of int
            Their numbers, in any order and as often as wanted.
        """
        some = Conductors(place=self.place[rows], radius=self.radius[rows], odd=self.odd, order=self.order)
        vars(some)["translations"] = self.translations.only(rows)
        return some

    @cached_property
    def translations(self) -> _Translations:
        """How multipoles reach from conductor to conductor, and from mirror images."""
        place, radius, count = self.place, self.radius, self.place.shape[-1]
        kinds = [(place[..., :, None] - place[..., None, :], np.triu_indices(count, 1))]
        if self.odd:
            kinds.append((place[..., :, None] + place[..., None, :].conj(), np.triu_indices(count)))
        distance = [np.abs(delta[..., i, j]) for delta, (i, j) in kinds]
        gap = [apart - radius[..., i] - radius[..., j] for apart, (_, (i, j)) in zip(distance, kinds, strict=True)]
        pairs = sum(len(i) for _, (i, _) in kinds)
        delta, ends = kinds[0]
        placements = [_placement(delta, self.order, ends, range(pairs))]
        if self.odd:
            delta, ends = kinds[1]
            image = _placement(delta, self.order, ends, range(pairs - len(ends[0]), pairs))
            placements.append(_Placement(image.wave[..., ::-1], -image.turn[..., ::-1]))
        wave_axis = (..., None, slice(None))
        return _Translations(
            distance=np.concatenate(distance, axis=-1)[wave_axis],
            gap=np.concatenate(gap, axis=-1)[wave_axis],
            placements=tuple(placements),
        )


def reflection(k: ComplexArray, conductors: Conductors) -> ComplexArray:
    r"""Return the standing wave that comes back to a barrel radiating :math:`H_0^{(2)}(kr)`.

    Every conductor is perfect (:math:`E_z = 0`) and carries multipoles; the barrel's own order 0 is left to the
    caller. About the barrel the part of the field that does not depend on the angle is
    :math:`H_0^{(2)}(kr) + \rho\,e^{-2jk\,\mathrm{reach}} J_0(kr)`.

    Parameters
    ----------
    k : complex ndarray, shape (..., n_wave)
        Wavenumbers [1/m] of each pattern; not zero.
    conductors : Conductors
        Patterns of conductors, arrays of shape (..., n).

    Returns
    -------
    complex ndarray, shape (..., n_wave)
        rho [-], with the round trip over ``conductors.reach`` taken out so that it stays finite.

    Notes
    -----
    Derived: Graf's addition theorem (Abramowitz and Stegun 9.1.79, from memory) carries each multipole to each other
    conductor. With dipoles within 1 % of all orders while no gap is below a third of a conductor's radius, 0.25 % for
    return posts two radii away from each other and the barrel.
    """
    systems = max(1, prod(k.shape[:-1]) * conductors.size**2)
    step = max(1, BLOCK // systems)
    parts = [_reflection(k[..., first : first + step], conductors) for first in range(0, k.shape[-1], step)]
    return np.concatenate(parts, axis=-1)


def _reflection(k: ComplexArray, conductors: Conductors) -> ComplexArray:
    """One block of ``reflection``."""
    order = conductors.order
    taken, given = _surface_waves(k, conductors)
    system = _waves(k, conductors)
    driven, to_barrel = taken * system[..., :, order], given * system[..., order, :]
    back = system[..., order, order].copy()
    # Unknown: the field of each multipole on its own conductor's surface. E_z = 0 there, the driven wave included.
    # In place, because most of the time goes into memory.
    system *= taken[..., :, None]
    system *= given[..., None, :]
    diagonal = np.arange(conductors.size)
    system[..., diagonal, diagonal] += 1
    sources = np.linalg.solve(system, driven[..., None])[..., 0]
    back -= (to_barrel * sources).sum(axis=-1)
    exponent = 2j * k * (conductors.reach - conductors.radius[..., 0])[..., None]
    exponent.real = np.minimum(exponent.real, LARGEST_EXPONENT)
    return np.asarray(back * np.exp(exponent))


def _surface_waves(k: ComplexArray, conductors: Conductors) -> tuple[ComplexArray, ComplexArray]:
    """J_n(kr) and 1/H_n(kr) on the surface of every conductor, without phase, (..., n_wave, size); 0 for the driven."""
    radius, order = conductors.radius, conductors.order
    count = radius.shape[-1]
    if count > 2 and np.all(radius[..., 2:] == radius[..., 1:2]):  # every post of a pattern is as wide as the first
        radius = radius[..., :2]
    column = np.minimum(np.arange(count), radius.shape[-1] - 1)[:, None]
    degree = np.abs(np.arange(-order, order + 1))
    kr = k[..., None] * radius[..., None, :]
    flat = (*k.shape, conductors.size)
    taken = np.stack(bessel(order, kr), axis=-1)[..., column, degree].reshape(flat)
    on_surface = np.stack(hankel(max(order, 1), kr), axis=-1)[..., column, degree].reshape(flat)
    given: ComplexArray = np.reciprocal(on_surface)
    taken[..., order] = given[..., order] = 0
    return taken, given


def _waves(k: ComplexArray, conductors: Conductors) -> ComplexArray:
    """Waves of one order arriving at each conductor (rows) per multipole of each conductor (columns)."""
    links = conductors.translations
    phase = np.exp(-1j * k[..., None] * links.gap)
    outgoing = hankel(max(2 * conductors.order, 1), k[..., None] * links.distance)
    waves = np.concatenate([wave * phase for wave in outgoing], axis=-1)
    system: ComplexArray | None = None
    for placement in links.placements:
        arriving = np.take(waves, placement.wave, axis=-1)
        arriving *= placement.turn
        system = arriving if system is None else np.add(system, arriving, out=system)
    return np.asarray(system).reshape(*k.shape, conductors.size, conductors.size)


def _placement(delta: ComplexArray, order: int, ends: tuple[IndexArray, IndexArray], waves: range) -> _Placement:
    """Graf: order n of conductor i from multipole m of conductor j at ``delta`` (..., i, j) [m].

    ``ends``: both conductors of each pair, for the pairs from ``waves.start`` on; there are ``waves.stop`` in all.
    """
    number = np.full(delta.shape[-2:], waves.start, dtype=np.intp)
    number[ends] = number[ends[::-1]] = waves.start + np.arange(len(ends[0]))
    step = np.arange(-order, order + 1) - np.arange(-order, order + 1)[:, None]
    wave = np.abs(step)[:, None, :] * waves.stop + number[:, None, :, None]
    unit = np.where(delta == 0, 0, delta / np.where(delta == 0, 1, np.abs(delta)))
    powers = [unit**p if p > 0 else (-unit.conj()) ** -p for p in range(-2 * order, 2 * order + 1)]
    powers[2 * order] = np.where(delta == 0, 0, 1) + 0j
    turn = np.stack(powers, axis=-1)
    turn = np.ascontiguousarray(np.swapaxes(turn[..., step + 2 * order], -3, -2))
    return _Placement(wave, np.expand_dims(turn, axis=-5))
