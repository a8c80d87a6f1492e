"""Owns the open-ended uniform line: its input, its loss in shunt and its notch, from closed forms.

A stub of length L hangs in shunt on a path of line impedance Z0. Its end may carry a capacitance C_e (an end pad).
All functions take SI floats or arrays and broadcast.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.constants import c, epsilon_0, mu_0

from stubsi.physics.dielectric import debye_logarithm, debye_logarithm_slope, debye_terms, permittivity
from stubsi.physics.skin_effect import barrel_resistance

if TYPE_CHECKING:
    from stubsi.physics.arrays import ComplexArray, ComplexLike, FloatArray, FloatLike

ETA_0_OVER_2PI = np.sqrt(mu_0 / epsilon_0) / (2 * np.pi)
"""Wave impedance of free space over 2 pi [ohm]: 59.958."""
NEWTON_DONE = 1e-9
"""Relative Newton step after which the search for a notch ends: the error left is about its square."""
MOST_STEPS = 30
"""Most Newton steps of that search; about four are needed."""
MOST_NEPERS = 300.0
"""Greatest attenuation of a line [Np] that is computed with. A larger one has the same effect: nothing comes back from
the far end."""


def quarter_wave(stub_length: FloatLike, dk_eff: FloatLike, order: FloatLike = 1) -> FloatArray:
    r"""Notch of a lossless open stub, :math:`f_n = n c / (4 L \sqrt{D_k})`.

    Parameters
    ----------
    stub_length : array_like
        L [m].
    dk_eff : array_like
        Effective relative permittivity of the stub [-].
    order : array_like
        n = 1, 3, 5 ...

    Returns
    -------
    ndarray
        [Hz]; NaN where the length is zero.
    """
    length = np.asarray(stub_length, dtype=float)
    with np.errstate(divide="ignore", over="ignore"):
        notch = np.multiply(order, c) / (4 * length * np.sqrt(dk_eff))
    return np.where(length > 0, notch, np.nan)


def quarter_wave_length(notch: FloatLike, dk_eff: FloatLike) -> FloatArray:
    r"""Length of the stub whose first notch is here, :math:`L = c / (4 f \sqrt{D_k})`.

    Parameters
    ----------
    notch : array_like
        f [Hz].
    dk_eff : array_like
        Effective relative permittivity of the stub [-].

    Returns
    -------
    ndarray
        [m].
    """
    return np.asarray(c / (4 * np.asarray(notch) * np.sqrt(dk_eff)))


def coax_impedance(barrel_diameter: FloatLike, antipad: FloatLike, dk: FloatLike) -> FloatArray:
    r"""Impedance of barrel and antipad as a coaxial line, :math:`(\eta_0/2\pi) \ln(D/d) / \sqrt{D_k}`.

    Parameters
    ----------
    barrel_diameter, antipad : array_like
        Diameters d and D, in one unit.
    dk : array_like
        Relative permittivity between them [-].

    Returns
    -------
    ndarray
        [ohm].
    """
    return np.asarray(ETA_0_OVER_2PI * np.log(np.divide(antipad, barrel_diameter)) / np.sqrt(dk))


def disk_end_capacitance(pad_diameter: FloatLike, dk: FloatLike) -> FloatArray:
    r"""Capacitance of a flat end, :math:`4 \varepsilon_0 D_k a`: half of an isolated disk of radius a.

    Parameters
    ----------
    pad_diameter : array_like
        Diameter 2 a of the end [m].
    dk : array_like
        Relative permittivity around it [-].

    Returns
    -------
    ndarray
        [F].

    Notes
    -----
    Too high where the end faces air. Source: textbook result for the isolated disk, from memory.
    """
    return np.asarray(2 * epsilon_0 * np.multiply(dk, pad_diameter))


@dataclass(frozen=True, kw_only=True)
class UniformLine:
    """Open-ended stubs as uniform lines. Every field is a number or an array; all broadcast, and against frequency.

    Parameters
    ----------
    stub_length : array_like
        [m]. A stub of length zero is no stub: its end capacitance does not count.
    dk : array_like
        Relative permittivity [-] along the line.
    z_stub : array_like
        Impedance [ohm] at ``dk``. NaN: unknown; then only the notch of a stub without end load can be computed.
    df : array_like
        Loss tangent [-].
    at : array_like
        Frequency [Hz] where ``dk`` and ``df`` hold (wideband Debye model). NaN: both are constant over frequency.
    end_capacitance : array_like
        At the open end [F].
    barrel_diameter : array_like
        Outer diameter of the plating [m], for the skin effect.
    conductivity : array_like
        Of the plating [S/m]. Infinite: no skin effect.
    """

    stub_length: FloatLike
    dk: FloatLike
    z_stub: FloatLike
    df: FloatLike = 0.0
    at: FloatLike = np.nan
    end_capacitance: FloatLike = 0.0
    barrel_diameter: FloatLike = np.inf
    conductivity: FloatLike = np.inf

    def permittivity(self, frequency: FloatLike) -> ComplexArray:
        """Complex relative permittivity of the line [-].

        Parameters
        ----------
        frequency : array_like
            [Hz].
        """
        return permittivity(frequency, self.dk, self.df, self.at)

    def per_length(self, frequency: FloatLike) -> tuple[ComplexArray, ComplexArray]:
        r"""Series impedance [ohm/m] and shunt admittance [S/m].

        :math:`Z' = R' + j\omega L'` with :math:`L' = Z_s \sqrt{D_k}/c`;
        :math:`Y' = j\omega C' \varepsilon(f)/D_k` with :math:`C' = \sqrt{D_k}/(Z_s c)`.

        Parameters
        ----------
        frequency : array_like
            [Hz].
        """
        jw = 2j * np.pi * np.asarray(frequency, dtype=float)
        slowness = np.sqrt(self.dk) / c
        series = barrel_resistance(frequency, self.barrel_diameter, self.conductivity) + jw * slowness * self.z_stub
        return series, jw * slowness / self.z_stub * self.permittivity(frequency) / self.dk

    def input(self, frequency: FloatLike) -> tuple[ComplexArray, ComplexArray]:
        r"""Voltage and current at the input for 1 V at the open end; their ratio I/V is the input admittance.

        :math:`V = \cosh g + Y_e Z'L \sinh(g)/g`, :math:`I = Y'L \sinh(g)/g + Y_e \cosh g`,
        :math:`g = L\sqrt{Z'Y'}`. Both are even in g (no branch to choose) and finite at the notch and at DC.

        Parameters
        ----------
        frequency : array_like
            [Hz].
        """
        series, shunt = self.per_length(frequency)
        length = np.asarray(self.stub_length, dtype=float)
        cosh, sinhc = self._hyperbolic(series, shunt)
        end = 2j * np.pi * np.asarray(frequency) * np.where(length > 0, self.end_capacitance, 0.0)
        return cosh + end * series * length * sinhc, shunt * length * sinhc + end * cosh

    def abcd(self, frequency: FloatLike) -> ComplexArray:
        """Chain matrix [[A, B], [C, D]] of the length as a piece of line between two ports, shape (..., 2, 2).

        Parameters
        ----------
        frequency : array_like
            [Hz].
        """
        series, shunt = self.per_length(frequency)
        cosh, sinhc = self._hyperbolic(series, shunt)
        b, c_ = series * self.stub_length * sinhc, shunt * self.stub_length * sinhc
        return np.stack([cosh, b, c_, cosh], axis=-1).reshape(*cosh.shape, 2, 2)

    def _hyperbolic(self, series: ComplexArray, shunt: ComplexArray) -> tuple[ComplexArray, ComplexArray]:
        """cosh(g) and sinh(g)/g, even in g."""
        g = np.asarray(self.stub_length, dtype=float) * np.sqrt(np.multiply(series, shunt))
        if np.any(np.abs(g.real) > MOST_NEPERS):  # ratios keep all their digits, and nothing overflows
            g = np.clip(g.real, -MOST_NEPERS, MOST_NEPERS) + 1j * g.imag
        return np.cosh(g), np.where(g == 0, 1.0, np.sinh(g) / np.where(g == 0, 1.0, g))

    def notch(self, order: FloatLike = 1) -> FloatArray:
        r"""Frequency of the notch of an odd order.

        Root of :math:`\beta L + \arctan(\omega C_e Z_s) = n \pi/2`. Without end load and dispersion that is the closed
        form of ``quarter_wave``; with them, Newton steps from an estimate that is exact for no load and for a very
        large one.

        Parameters
        ----------
        order : array_like
            1, 3, 5 ...: first, second, third notch; broadcasts with the fields.

        Returns
        -------
        ndarray
            [Hz], in the broadcast shape of the fields and ``order``; NaN where the stub length is zero.

        Notes
        -----
        Loss moves the notch by less than its square and is left out. The left side rises with frequency and is
        concave but for the dispersion, so that the steps approach the root from below.
        """
        fields = (self.stub_length, self.dk, self.z_stub, self.df, self.at, self.end_capacitance, order)
        notch = np.array(np.broadcast_to(quarter_wave(self.stub_length, self.dk, order), np.broadcast(*fields).shape))
        loaded = np.greater(self.end_capacitance, 0)
        dispersive = np.isfinite(self.at) & np.not_equal(self.df, 0)
        searched = (loaded | dispersive) & np.isfinite(notch)
        if np.any(searched):
            length, dk, z_stub, df, at, end, n = (field[searched] for field in np.broadcast_arrays(*fields))
            end = np.where(end > 0, end * z_stub, 0.0)
            constant, strength = debye_terms(1.0, df, at)
            laminate = np.real(constant), strength
            notch[searched] = _notch_by_newton(length * np.sqrt(dk) / c, end, laminate, n)
        return notch


def _notch_by_newton(
    delay: FloatArray, end_delay: FloatArray, laminate: tuple[FloatArray, FloatArray], order: FloatArray
) -> FloatArray:
    """Notch [Hz] from the delays [s] L sqrt(dk)/c and C_e Z_s at dk, and the order.

    ``laminate``: terms of the permittivity over dk, as ``debye_terms`` gives them (real part of the first).
    """
    constant, strength = laminate
    angle = 2 * np.pi * delay
    frequency = _first_angle(end_delay / delay, order) / angle
    for _ in range(MOST_STEPS):
        relative = constant + strength * debye_logarithm(frequency).real
        slowing, slowing_slope = np.sqrt(relative), strength * debye_logarithm_slope(frequency) / (2 * relative)
        line, load = angle * slowing * frequency, 2 * np.pi * end_delay / slowing * frequency
        miss = line + np.arctan(load) - order * np.pi / 2
        slope = line * (1 + slowing_slope) + load * (1 - slowing_slope) / (1 + load**2)
        step = frequency * miss / slope
        frequency -= step
        if not np.any(np.abs(step) > NEWTON_DONE * frequency):
            break
    return frequency


def _first_angle(load: FloatArray, order: FloatArray) -> FloatArray:
    """Estimate of the root x of x + arctan(load x) = n pi/2; exact for no load and for an infinite one."""
    whole = (order - 1) * np.pi / 2
    near = np.maximum(whole, 1 / np.sqrt(load + 4 / np.pi**2))
    return whole + np.arctan2(1.0, load * near)


def shunt_s(voltage: ComplexLike, current: ComplexLike, z0: FloatLike) -> tuple[ComplexArray, ComplexArray]:
    r"""S11 and S21 of an admittance Y = I/V in shunt on a line.

    :math:`S_{21} = 2V/(2V + Z_0 I)`, :math:`S_{11} = -Z_0 I/(2V + Z_0 I)`; finite where Y is not.

    Parameters
    ----------
    voltage, current : array_like
        V and I at the input of the stub, both times one unknown factor.
    z0 : array_like
        Impedance of the line [ohm].

    Returns
    -------
    s11, s21
        [-].
    """
    twice, loaded = 2 * np.asarray(voltage, dtype=complex), np.multiply(z0, np.asarray(current, dtype=complex))
    total = twice + loaded
    return -loaded / total, twice / total


def decibels(s: ComplexLike) -> FloatArray:
    """Loss of a wave ratio in dB, -20 log10 abs(s): positive for a loss, infinite where the ratio is zero.

    Parameters
    ----------
    s : array_like
        Wave ratio [-], real or complex.
    """
    with np.errstate(divide="ignore"):
        return np.asarray(0.0 - 20 * np.log10(np.abs(s)))
