"""Owns the series impedance that a cavity between two planes puts into a barrel, given where its current returns."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.constants import c as light_speed
from scipy.constants import mu_0
from scipy.optimize import brentq
from scipy.special import j0, y0

from stubsi.physics.hankel import hankel
from stubsi.physics.multipole import BLOCK, Conductors, bessel
from stubsi.physics.reflection_memory import ReflectionMemory
from stubsi.physics.skin_effect import surface_resistance

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import ArrayLike

    from stubsi.physics.arrays import ComplexArray, FloatArray, FloatLike, FrequencyArray, IndexArray
    from stubsi.physics.return_path import ReturnPaths


SMALLEST_WAVENUMBER = 1e-9
"""Wavenumber [1/m] that stands for zero: the field is static, and its formulas still finite."""
WITHIN = 0.95
"""Smallest k (b - a)/pi [-] at the first zero of J_0(kb) Y_0(ka) - Y_0(kb) J_0(ka), for b up to 8 a."""
LEAST_ROOT, MOST_ROOT = 2.4, 3.15
"""Bounds of g (b - a) [-] at the first root of J_0(ga) Y_0(gb) - Y_0(ga) J_0(gb): from a thin wire to a thin gap."""
REMEMBERED = 10_000
"""How many roots are remembered."""
_reflections = ReflectionMemory()
"""Reflections at every pattern of return conductors met so far."""


class OuterField(NamedTuple):
    r"""The field outside the clearance, :math:`e(r) \propto p\,H_0^{(2)}(kr) + q\,e^{-2jk\,\mathrm{reach}}J_0(kr)`.

    Parameters
    ----------
    outgoing, standing : complex ndarray
        p and q [-], in the shape of the wavenumbers k.
    reach : ndarray
        Distance to the nearest return conductor [m], in the same shape.
    wave : complex ndarray
        k [1/m], between planes of copper that of ``between_planes``.
    copper : complex ndarray
        As of ``between_planes`` [-]; 1 for perfect planes.
    """

    outgoing: ComplexArray
    standing: ComplexArray
    reach: FloatArray
    wave: ComplexArray
    copper: ComplexArray

    def at(self, place: IndexArray) -> OuterField:
        """Some of the fields.

        Parameters
        ----------
        place : ndarray of int
            Their numbers along the first axis.

        Returns
        -------
        OuterField
        """
        return OuterField(
            self.outgoing[place], self.standing[place], self.reach[place], self.wave[place], self.copper[place]
        )


def wavenumber(frequency: ArrayLike, eps: ArrayLike) -> ComplexArray:
    r"""Wavenumber of a plane wave in the laminate, :math:`k = 2\pi f\sqrt{\varepsilon_r}/c`.

    Parameters
    ----------
    frequency : array_like
        Frequency [Hz]; complex for a decaying oscillation (Im f > 0).
    eps : array_like
        Relative permittivity eps' - j eps'' [-].

    Returns
    -------
    complex ndarray
        k [1/m] with Im k <= 0 for a real frequency; a very small value stands in for zero.
    """
    k = 2 * np.pi * np.asarray(frequency) * np.sqrt(np.asarray(eps, dtype=complex)) / light_speed
    return np.where(np.abs(k) < SMALLEST_WAVENUMBER, SMALLEST_WAVENUMBER, k)


def between_planes(
    k: ComplexArray, frequency: FrequencyArray, height: FloatLike, conductivity: FloatLike
) -> tuple[ComplexArray, ComplexArray]:
    r"""Wave between two planes of copper: its wavenumber, and what the copper makes of the height of the cavity.

    .. math:: \kappa = 1 + \frac{2 Z_s}{j\omega\mu_0 h} = 1 + (1 - j)\frac{\delta}{h}, \qquad k_p = k\sqrt{\kappa}

    The magnetic field of the wave enters both planes: in :math:`h\,dE_z/dr = j\omega\mu_0 \kappa h\,H_\varphi` the
    cavity has the height :math:`h + (1 - j)\delta`, while its capacitance keeps h.

    Parameters
    ----------
    k : complex ndarray
        Wavenumber in the laminate [1/m].
    frequency : ndarray
        [Hz], above 0.
    height : array_like
        h between the planes [m].
    conductivity : array_like
        Of the planes [S/m]; infinite: perfect ones, kappa = 1.

    Returns
    -------
    wave, copper
        k_p [1/m] and kappa [-], in the shape of ``k``.

    Notes
    -----
    Derived from the surface impedance Z_s = (1 + j) R_s of both planes. Far below resonance this adds the resistance
    :math:`(R_s/\pi)\ln(R/b)` of the planes from clearance to return path; a wave that runs out decays by
    :math:`R_s/(\eta h)` [Np/m], the attenuation of a parallel-plate line (Pozar, Microwave Engineering; from memory).
    Valid while the planes are thicker than the skin depth delta: 2.1 um in copper at 1 GHz.
    """
    surface = (1 + 1j) * surface_resistance(frequency, conductivity)
    copper = 1 + 2 * surface / (2j * np.pi * frequency * mu_0 * height)
    return k * np.sqrt(copper), np.broadcast_to(copper, k.shape)


def highest_frequency(gap: ArrayLike, dk: ArrayLike) -> FloatArray:
    r"""Frequency up to which the series impedance of a cavity holds, :math:`f = 0.95\,c/(2 g \sqrt{\varepsilon_r})`.

    Parameters
    ----------
    gap : array_like
        From barrel or pad to the edge of the clearance, g = b - a [m].
    dk : array_like
        Relative permittivity [-], as in ``series_impedance``.

    Returns
    -------
    ndarray
        [Hz].

    Notes
    -----
    Derived: Re Z' has the sign of c(b). At its first zero, k g = 0.95 pi to pi, the gap is half a wave; beyond it a
    TEM field in the clearance would feed power into the barrel, so Z' is that of no passive cavity.
    """
    return WITHIN * light_speed / (2 * np.asarray(gap) * np.sqrt(dk))


@dataclass(frozen=True, kw_only=True, eq=False)
class ReturnConductors:
    """Barrels with the conductors their current returns through, made ready to scatter waves of any frequency.

    Parameters
    ----------
    ring : ndarray, shape (n,)
        Radius of the return ring [m]; NaN for none.
    reach : ndarray, shape (n,)
        Distance from the barrel's centre to the nearest return conductor [m].
    posts : tuple of (ndarray of int, Conductors)
        Barrels that scatter off posts or off a second barrel, by number, and what they scatter off.
    """

    ring: FloatArray
    reach: FloatArray
    posts: tuple[tuple[IndexArray, Conductors], ...]


def return_conductors(barrel_radius: ArrayLike, paths: ReturnPaths) -> ReturnConductors:
    """Put barrels among their return conductors.

    Parameters
    ----------
    barrel_radius : array_like
        Radius of each barrel [m], shape (n,) or one for all: the barrel scatters the waves that come back at an angle.
    paths : ReturnPaths
        Return path of each barrel.

    Returns
    -------
    ReturnConductors
    """
    radius = np.broadcast_to(np.asarray(barrel_radius, dtype=float), paths.ring.shape)
    posts = tuple(_alike(radius, paths))
    reach = np.where(np.isfinite(paths.ring), paths.ring, radius)
    for rows, conductors in posts:
        reach[rows] = conductors.reach
    return ReturnConductors(ring=paths.ring, reach=reach, posts=posts)


def outer_field(k: ComplexArray, conductors: ReturnConductors, copper: ComplexArray | None = None) -> OuterField:
    """Field between clearance and return path, shared by every cell of equal wavenumber and barrel.

    Parameters
    ----------
    k : complex ndarray, shape (n, ...)
        Wavenumbers [1/m] of each barrel; a first axis of 1 is repeated over the barrels.
    conductors : ReturnConductors
        The n barrels and what stands around them.
    copper : complex ndarray, optional
        As of ``between_planes`` [-], in the shape of ``k``, which is then the wavenumber from there. None: perfect
        planes.

    Returns
    -------
    OuterField
        Arrays of the shape of ``k``.
    """
    shape = (len(conductors.ring), *k.shape[1:])
    waves = np.broadcast_to(k, shape).reshape(shape[0], math.prod(shape[1:]))
    outgoing, standing = np.ones_like(waves), _reflections(waves, conductors.posts)
    closed = np.isfinite(conductors.ring)
    edge = waves[closed] * conductors.ring[closed, None]
    outgoing[closed], standing[closed] = bessel(0, edge)[0], -hankel(1, edge)[0]
    reach = np.broadcast_to(conductors.reach[:, None], waves.shape)
    height = np.ones_like(waves) if copper is None else np.broadcast_to(copper, shape)
    return OuterField(*(part.reshape(shape) for part in (outgoing, standing, reach, waves, height)))


def _alike(radius: FloatArray, paths: ReturnPaths) -> Iterator[tuple[IndexArray, Conductors]]:
    """Barrels (rows) whose systems have one size: as many posts, all single or all pairs; in blocks that fit memory."""
    odd = np.isfinite(paths.pitch)
    for pair, count in sorted({*zip(odd.tolist(), paths.count.tolist(), strict=True)} - {(False, 0)}):
        alike = np.flatnonzero((odd == pair) & (paths.count == count))
        blocks = 1 + alike.size * (3 * (count + 1)) ** 2 // BLOCK
        for rows in np.array_split(alike, min(blocks, alike.size)):
            yield rows, _conductors(radius[rows], paths, rows, count, odd=pair)


def _conductors(radius: FloatArray, paths: ReturnPaths, rows: IndexArray, count: int, *, odd: bool) -> Conductors:
    barrel = paths.pitch[rows, None] / 2 if odd else np.zeros((rows.size, 1))
    post_radius = np.broadcast_to(paths.post_radius[rows, None], (rows.size, count))
    return Conductors(
        place=np.concatenate([barrel + 0j, paths.posts[rows, :count]], axis=-1),
        radius=np.concatenate([radius[:, None], post_radius], axis=-1),
        odd=odd,
    )


@lru_cache(maxsize=REMEMBERED)
def axial_decay(barrel_radius: float, clearance_radius: float) -> float:
    """Smallest rate at which an axial field between barrel and clearance decays along the barrel.

    The first root g of :math:`J_0(ga)Y_0(gb) = Y_0(ga)J_0(gb)`, a little below pi/(b - a).

    Parameters
    ----------
    barrel_radius, clearance_radius : float
        a and b [m].

    Returns
    -------
    float
        g [1/m].
    """
    gap, ratio = clearance_radius - barrel_radius, barrel_radius / (clearance_radius - barrel_radius)

    def cross_product(x: float) -> float:
        return float(j0(x * ratio) * y0(x * (1 + ratio)) - y0(x * ratio) * j0(x * (1 + ratio)))

    return float(brentq(cross_product, LEAST_ROOT, MOST_ROOT, xtol=1e-13)) / gap


def axial_share(decay: ArrayLike, top: ArrayLike, bottom: ArrayLike, length: ArrayLike) -> FloatArray:
    r"""How much of its full axial field the clearance of a half cell has, as mean over the half cell.

    .. math:: \eta = 1 - \tfrac12\left\langle e^{-gz} + e^{-g(H - z)}\right\rangle_{z_1}^{z_2}

    The axial field needs the length 1/g to build up, from a coaxial line above the start and from the end below.

    Parameters
    ----------
    decay : array_like
        g of ``axial_decay`` [1/m].
    top, bottom : array_like
        Where the half cell begins and ends, z1 and z2 [m from the start of the stub].
    length : array_like
        From the start of the stub to the middle of its last plane, H [m].

    Returns
    -------
    ndarray
        [-], from 0 to 1.
    """
    g, high = np.asarray(decay, dtype=float), np.asarray(bottom) - top
    ends = np.exp(-g * np.asarray(top)) + np.exp(-g * (np.asarray(length) - bottom))
    return np.asarray(1 + np.expm1(-g * high) / (2 * g * high) * ends)


class CavityColumns(NamedTuple):
    """A conductor in a cavity, as its series inductance depends on the frequency; arrays of one shape.

    With c(r), e(r) of ``series_inductance``, at r = b:

    ``coaxial``: ln(b/a). ``wave``: e. ``radial``: -b e'/kappa. ``displacement``: e [b c'/c - 1/ln(b/a)]. ``tip``: the
    series inductance over mu0/(2 pi) if a TEM field in the clearance drives the cavity.
    """

    coaxial: FloatArray
    wave: ComplexArray
    radial: ComplexArray
    displacement: ComplexArray
    tip: ComplexArray

    def at(self, place: IndexArray) -> CavityColumns:
        """Some of them.

        Parameters
        ----------
        place : ndarray of int
            Their numbers along the first axis.

        Returns
        -------
        CavityColumns
        """
        return CavityColumns(
            self.coaxial[place], self.wave[place], self.radial[place], self.displacement[place], self.tip[place]
        )


def cavity_columns(
    k: ComplexArray, barrel_radius: ArrayLike, clearance_radius: ArrayLike, outer: OuterField
) -> CavityColumns:
    r"""Fields of conductors in their cavities.

    .. math:: c(r) = J_0(kr)Y_0(ka) - Y_0(kr)J_0(ka)

    is the field between conductor and clearance, where there is no plane; e(r) is the outer field of the return path,
    between planes of copper (kappa of ``between_planes``). ``tip`` is

    .. math:: \frac{\ln(b/a)}{1 + \frac{2}{\pi b}\frac{e}{c'e - ce'/\kappa}}

    Parameters
    ----------
    k : complex ndarray
        Wavenumber [1/m] of the cavity's laminate, from the series mean of the z-axis permittivities over its height.
    barrel_radius, clearance_radius : array_like
        Plated radius a of the barrel (or radius of its pad) and radius b of the clearance [m].
    outer : OuterField
        Field outside the clearance at the same frequencies.

    Returns
    -------
    CavityColumns
    """
    a, b = np.asarray(barrel_radius, dtype=float), np.asarray(clearance_radius, dtype=float)
    # Of the clearance as seen from inside and, between planes of copper, from outside; in one call for both.
    edges = [k * b, outer.wave * b] if np.any(outer.copper != 1) else [k * b]
    places = np.stack(np.broadcast_arrays(*edges, k * a))
    (j0, j1), (j0a,) = bessel(1, places[:-1]), bessel(0, places[-1])
    h0, h1 = hankel(1, places)
    h0a, (j0b, j1b, h0b, h1b) = h0[-1], (wave[0] for wave in (j0, j1, h0, h1))
    inward = np.exp(-1j * k * (b - a))
    c = 1j * (j0b * h0a - h0b * j0a * inward**2)
    c_slope = -1j * k * (j1b * h0a - h1b * j0a * inward**2)
    j0b, j1b, h0b, h1b = (wave[len(edges) - 1] for wave in (j0, j1, h0, h1))
    way = np.where(outer.standing == 0, 0.0, outer.reach - b)  # nothing comes back from where nothing stands
    back = np.exp(-2j * outer.wave * way) * outer.standing
    e = outer.outgoing * h0b + back * j0b
    e_slope = -outer.wave / outer.copper * (outer.outgoing * h1b + back * j1b)
    inner, log = c_slope * e - c * e_slope, np.log(b / a)
    return CavityColumns(
        coaxial=log,
        wave=e,
        radial=-b * e_slope,
        displacement=e * (b * c_slope / c - 1 / log),
        tip=log * inner / (inner + 2 / (np.pi * b) * inward * e),
    )


def series_inductance(columns: CavityColumns, share: ArrayLike) -> ComplexArray:
    r"""Series inductance per cavity height of one barrel over mu0/(2 pi).

    .. math:: Z' = Z_i + \frac{1}{Y_r + \eta Y_c}, \qquad Z_i = \frac{j\omega\mu_0}{2\pi}\ln\frac ba

    .. math:: Y_r = -\frac{2\pi}{j\omega\mu_0\kappa}\frac{b\,e'}{e}, \qquad
        Y_c = \frac{2\pi}{j\omega\mu_0}\left[\frac{b\,c'}{c} - \frac1{\ln(b/a)}\right]

    at r = b: the current of the barrel, the radial wave beyond the clearance, and the displacement current that the
    axial field drives through the clearance. kappa, of ``between_planes``, is 1 between perfect planes. Z' is this
    times j w mu0/(2 pi).

    Parameters
    ----------
    columns : CavityColumns
        Conductors in their cavities.
    share : array_like
        eta [-], the share of the full axial field in the clearance; NaN for a drilled tip, which takes ``tip``.

    Returns
    -------
    complex ndarray
        Z'/(j w mu0/(2 pi)) [-], in the shape of the columns.

    Notes
    -----
    Derived from Maxwell's equations for a field without variation along the cavity, E_z = 0 on barrel and posts, with
    the current projected on the TEM field of the clearance. Posts enter as the part of their field that is even around
    the barrel. Valid while the cavity is lower than half a wavelength and than the gap from clearance to return path,
    and up to ``highest_frequency``.
    """
    eta = np.asarray(share, dtype=float)
    free = columns.coaxial + columns.wave / (columns.radial + np.nan_to_num(eta) * columns.displacement)
    return np.asarray(np.where(np.isnan(eta), columns.tip, free))
