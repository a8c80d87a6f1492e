"""Owns the open-ended uniform line: its input, shunt loss and notch, from closed forms.

A stub of length L hung in shunt on a path of line impedance Z0. Its end carries an optional capacitance C_e (end pad).
All functions take SI floats or arrays and broadcast.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.constants import c, epsilon_0, mu_0

from stubsi.physics.dielectric import permittivity, permittivity_slope

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

ETA_0_OVER_2PI = np.sqrt(mu_0 / epsilon_0) / (2 * np.pi)
"""Wave impedance of free space over 2 pi [ohm]: 59.958."""
NEWTON_DONE = 1e-9
"""Relative Newton step after which the search for a notch ends: the error left is about its square."""
MOST_STEPS = 30
"""Most Newton steps of that search; about four are needed."""


def quarter_wave(stub_length: ArrayLike, dk_eff: ArrayLike, order: ArrayLike = 1) -> NDArray[np.float64]:
    r"""Notch of a lossless open stub [Hz]: :math:`f_n = n c / (4 L \sqrt{D_k})`, n = 1, 3, 5 ...; NaN where L = 0."""
    length = np.asarray(stub_length, dtype=float)
    with np.errstate(divide="ignore", over="ignore"):
        notch = np.multiply(order, c) / (4 * length * np.sqrt(dk_eff))
    return np.where(length > 0, notch, np.nan)


def quarter_wave_length(notch: ArrayLike, dk_eff: ArrayLike) -> NDArray[np.float64]:
    r"""Stub length [m] whose first notch is at ``notch`` [Hz]: :math:`L = c / (4 f \sqrt{D_k})`."""
    return c / (4 * np.asarray(notch) * np.sqrt(dk_eff))


def coax_impedance(barrel_diameter: ArrayLike, antipad: ArrayLike, dk: ArrayLike) -> NDArray[np.float64]:
    r"""Impedance of barrel and antipad as a coaxial line [ohm]: :math:`(\eta_0/2\pi) \ln(D/d) / \sqrt{D_k}`."""
    return ETA_0_OVER_2PI * np.log(np.divide(antipad, barrel_diameter)) / np.sqrt(dk)


def disk_end_capacitance(pad_diameter: ArrayLike, dk: ArrayLike) -> NDArray[np.float64]:
    r"""Capacitance of a flat end [F]: :math:`4 \varepsilon_0 D_k a`, half of an isolated disk of radius a.

    High where the end faces air. Source: textbook result for the isolated disk, from memory.
    """
    return 2 * epsilon_0 * np.multiply(dk, pad_diameter)


def surface_resistance(frequency: ArrayLike, conductivity: ArrayLike) -> NDArray[np.float64]:
    r"""Skin-effect surface resistance [ohm]: :math:`R_s = \sqrt{\pi f \mu_0 / \sigma}`."""
    return np.sqrt(np.pi * np.asarray(frequency) * mu_0 / conductivity)


def barrel_resistance(frequency: ArrayLike, barrel_diameter: ArrayLike, conductivity: ArrayLike) -> NDArray[np.float64]:
    r"""Series resistance of a barrel [ohm/m]: :math:`R' = R_s / (\pi d)`, plating thicker than the skin depth."""
    return surface_resistance(frequency, conductivity) / (np.pi * np.asarray(barrel_diameter))


@dataclass(frozen=True, kw_only=True)
class UniformLine:
    """Uniform open-ended stubs; every field a float or an array, all broadcastable against frequency.

    ``stub_length`` [m], ``dk`` [-], ``df`` [-] at the frequency ``at`` [Hz] (NaN: constant), ``z_stub`` [ohm] at
    ``dk`` (NaN: unknown, which leaves the notch of a stub without end load), ``end_capacitance`` [F] at the end,
    ``barrel_diameter`` [m] and ``conductivity`` [S/m] for the skin effect (conductivity infinite: none). A stub of
    length zero is no stub: its end capacitance does not count.
    """

    stub_length: ArrayLike
    dk: ArrayLike
    z_stub: ArrayLike
    df: ArrayLike = 0.0
    at: ArrayLike = np.nan
    end_capacitance: ArrayLike = 0.0
    barrel_diameter: ArrayLike = np.inf
    conductivity: ArrayLike = np.inf

    def permittivity(self, frequency: ArrayLike) -> NDArray[np.complex128]:
        """Complex relative permittivity of the line at ``frequency`` [Hz]."""
        return permittivity(frequency, self.dk, self.df, self.at)

    def per_length(self, frequency: ArrayLike) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
        r"""Series impedance [ohm/m] and shunt admittance [S/m].

        :math:`Z' = R' + j\omega L'` with :math:`L' = Z_s \sqrt{D_k}/c`;
        :math:`Y' = j\omega C' \varepsilon(f)/D_k` with :math:`C' = \sqrt{D_k}/(Z_s c)`.
        """
        jw = 2j * np.pi * np.asarray(frequency, dtype=float)
        slowness = np.sqrt(self.dk) / c
        series = barrel_resistance(frequency, self.barrel_diameter, self.conductivity) + jw * slowness * self.z_stub
        return series, jw * slowness / self.z_stub * self.permittivity(frequency) / self.dk

    def input(self, frequency: ArrayLike) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
        r"""Voltage and current at the input for 1 V at the open end; their ratio I/V is the input admittance.

        :math:`V = \cosh g + Y_e Z'L \sinh(g)/g`, :math:`I = Y'L \sinh(g)/g + Y_e \cosh g`,
        :math:`g = L\sqrt{Z'Y'}`. Both are even in g (no branch to choose) and finite at the notch and at DC.
        """
        series, shunt = self.per_length(frequency)
        length = np.asarray(self.stub_length, dtype=float)
        cosh, sinhc = self._hyperbolic(series, shunt)
        end = 2j * np.pi * np.asarray(frequency) * np.where(length > 0, self.end_capacitance, 0.0)
        return cosh + end * series * length * sinhc, shunt * length * sinhc + end * cosh

    def abcd(self, frequency: ArrayLike) -> NDArray[np.complex128]:
        """Chain matrix [[A, B], [C, D]] of the length as a piece of line between two ports, shape (..., 2, 2)."""
        series, shunt = self.per_length(frequency)
        cosh, sinhc = self._hyperbolic(series, shunt)
        b, c_ = series * self.stub_length * sinhc, shunt * self.stub_length * sinhc
        return np.stack([cosh, b, c_, cosh], axis=-1).reshape(*cosh.shape, 2, 2)

    def _hyperbolic(self, series: ArrayLike, shunt: ArrayLike) -> tuple[NDArray, NDArray]:
        """cosh(g) and sinh(g)/g, even in g."""
        g = np.asarray(self.stub_length, dtype=float) * np.sqrt(np.multiply(series, shunt))
        return np.cosh(g), np.where(g == 0, 1.0, np.sinh(g) / np.where(g == 0, 1.0, g))

    def notch(self, order: ArrayLike = 1) -> NDArray[np.float64]:
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
            notch[searched] = _notch_by_newton(length * np.sqrt(dk) / c, end, (dk, df, at), n)
        return notch


def _notch_by_newton(
    delay: NDArray[np.float64],
    end_delay: NDArray[np.float64],
    laminate: tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]],
    order: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Notch [Hz] from the delays [s] L sqrt(dk)/c and C_e Z_s at dk, the laminate's (dk, df, at), and the order."""
    angle = 2 * np.pi * delay
    frequency = _first_angle(end_delay / delay, order) / angle
    for _ in range(MOST_STEPS):
        eps, eps_slope = np.real(permittivity(frequency, *laminate)), permittivity_slope(frequency, *laminate)
        slowing, slowing_slope = np.sqrt(eps / laminate[0]), eps_slope / (2 * eps)
        line, load = angle * slowing * frequency, 2 * np.pi * end_delay / slowing * frequency
        miss = line + np.arctan(load) - order * np.pi / 2
        slope = line * (1 + slowing_slope) + load * (1 - slowing_slope) / (1 + load**2)
        step = frequency * miss / slope
        frequency = frequency - step
        if not np.any(np.abs(step) > NEWTON_DONE * frequency):
            break
    return frequency


def _first_angle(load: NDArray[np.float64], order: NDArray[np.float64]) -> NDArray[np.float64]:
    """Estimate of the root x of x + arctan(load x) = n pi/2; exact for no load and for an infinite one."""
    whole = (order - 1) * np.pi / 2
    near = np.maximum(whole, 1 / np.sqrt(load + 4 / np.pi**2))
    return whole + np.arctan2(1.0, load * near)


def shunt_s(
    voltage: ArrayLike, current: ArrayLike, z0: ArrayLike
) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    r"""S11 and S21 of an admittance Y = I/V in shunt on a line of ``z0`` [ohm].

    :math:`S_{21} = 2V/(2V + Z_0 I)`, :math:`S_{11} = -Z_0 I/(2V + Z_0 I)`; finite where Y is not.
    """
    voltage, loaded = np.asarray(voltage), np.multiply(z0, current)
    total = 2 * voltage + loaded
    return -loaded / total, 2 * voltage / total


def decibels(s: ArrayLike) -> NDArray[np.float64]:
    """Loss in dB of a wave ratio: -20 log10 abs(s), positive for a loss; infinite where the ratio is zero."""
    with np.errstate(divide="ignore"):
        return 0.0 - 20 * np.log10(np.abs(s))
