"""Owns one uniform line of any length in plain Python numbers: first notch, the length of a notch, shunt losses.

The formulas are those of ``uniform_line``, without arrays of one element, so that a check of one stub takes
microseconds. A test checks that both agree to 1e-12.
"""

from __future__ import annotations

import cmath
import math
import sys
from dataclasses import dataclass, fields
from functools import cached_property

from scipy.constants import c, mu_0
from scipy.optimize import brentq

from stubsi.physics.dielectric import F_HIGH, F_LOW, debye_terms
from stubsi.physics.loss_curve import LOWEST

QUARTER_TURN = math.pi / 2
"""Electrical angle [rad] of an open stub at its first notch."""
DONE, MOST_STEPS = 1e-15, 100
"""The Newton steps end with one smaller than the first value, relative to the frequency. The second is their greatest
number."""
DEAD = 300.0
"""Attenuation [Np] of a line above which its far end has no effect at its input."""


@dataclass(frozen=True, kw_only=True)
class SingleLine:
    """A uniform open-ended line of any length.

    Parameters
    ----------
    dk : float
        Relative permittivity [-].
    z_stub : float
        Impedance [ohm] at ``dk``; NaN where unknown.
    df : float
        Loss tangent [-].
    at : float
        Frequency [Hz] where ``dk`` and ``df`` hold; NaN: both are constant over frequency.
    end_capacitance : float
        At the end [F].
    barrel_diameter, conductivity : float
        For the skin effect [m], [S/m]; both infinite: none.

    Raises
    ------
    ValidityError
        As ``dielectric.permittivity``, when a figure is computed.
    """

    dk: float
    z_stub: float = math.nan
    df: float = 0.0
    at: float = math.nan
    end_capacitance: float = 0.0
    barrel_diameter: float = math.inf
    conductivity: float = math.inf

    def fields(self) -> dict[str, float]:
        """The parameters by name, as ``uniform_line`` takes them beside a length."""
        return {item.name: getattr(self, item.name) for item in fields(self)}

    @cached_property
    def _debye(self) -> tuple[float, float]:
        """Constant and strength of the wideband Debye model, as ``dielectric.debye_terms``."""
        constant, strength = debye_terms(self.dk, self.df, self.at)
        return float(constant.real), float(strength)

    @property
    def _constant(self) -> bool:
        """Whether the permittivity is the same at all frequencies."""
        return math.isnan(self.at)

    @property
    def _delay(self) -> float:
        """Delay per length [s/m] at ``dk``."""
        return math.sqrt(self.dk) / c

    def permittivity(self, frequency: float) -> complex:
        """Complex relative permittivity.

        Parameters
        ----------
        frequency : float
            [Hz].
        """
        if self._constant:
            return self.dk * (1 - 1j * self.df)
        constant, strength = self._debye
        return constant + strength * cmath.log((F_HIGH + 1j * frequency) / (F_LOW + 1j * frequency))

    def first_notch(self, length: float) -> float:
        r"""First notch [Hz] of the line at a length.

        Parameters
        ----------
        length : float
            [m], above zero.

        Notes
        -----
        Root of :math:`\beta L + \arctan(\omega C_e Z_s) = \pi/2`, in closed form without end load and dispersion.
        With them, by Newton steps that start below the root, at :math:`(\pi/2)/(\beta L + \omega C_e Z_s)`.
        """
        if not self.end_capacitance and self._constant:
            return c / (4 * length * math.sqrt(self.dk))
        delay, load = 2 * math.pi * length * self._delay, 2 * math.pi * self._end_delay
        frequency = QUARTER_TURN / (delay + load) / math.sqrt(max(self.permittivity(F_LOW).real / self.dk, 1.0))
        for _ in range(MOST_STEPS):
            slowing = math.sqrt(self.permittivity(frequency).real / self.dk)
            angle, loaded = delay * slowing, load / slowing
            miss = angle * frequency + math.atan(loaded * frequency) - QUARTER_TURN
            step = miss / (angle + loaded / (1 + (loaded * frequency) ** 2))
            frequency -= step
            if abs(step) <= DONE * frequency:
                break
        return frequency

    def length_of_notch(self, frequency: float) -> float:
        r"""Length [m] at which the first notch of the line is at a frequency.

        Parameters
        ----------
        frequency : float
            [Hz].

        Notes
        -----
        :math:`L = (\pi/2 - \arctan(\omega C_e Z_s)) / \beta`: a closed form, even with end load and dispersion.
        """
        slowing = math.sqrt(self.permittivity(frequency).real / self.dk)
        omega = 2 * math.pi * frequency
        return math.atan2(1.0, omega * self._end_delay / slowing) / (omega * self._delay * slowing)

    def one_db(self, length: float, z0: float) -> float:
        """1 dB frequency [Hz] of the line as a stub in shunt on a path.

        Parameters
        ----------
        length : float
            [m], above zero.
        z0 : float
            Impedance of the path [ohm].

        Returns
        -------
        float
            Infinite where not even the first notch has a loss of 1 dB.
        """
        notch = self.first_notch(length)
        if self.losses(length, notch, z0)[1] < 1:
            return math.inf

        def too_little(frequency: float) -> float:
            return min(self.losses(length, frequency, z0)[1], 2.0) - 1

        lowest = LOWEST * notch
        if too_little(lowest) >= 0:
            return notch
        return float(brentq(too_little, lowest, notch, xtol=0.1, rtol=4 * sys.float_info.epsilon))

    @property
    def _end_delay(self) -> float:
        """End capacitance times impedance [s]; 0 without an end load."""
        return self.end_capacitance * self.z_stub if self.end_capacitance else 0.0

    def losses(self, length: float, frequency: float, z0: float) -> tuple[float, float]:
        """Return loss and insertion loss [dB] of the line as a stub in shunt on a path.

        Parameters
        ----------
        length : float
            [m], above zero.
        frequency : float
            [Hz].
        z0 : float
            Impedance of the path [ohm].

        Returns
        -------
        return_loss, loss : float
            Positive; infinite where nothing comes back or passes.
        """
        jw = 2j * math.pi * frequency
        resistance = math.sqrt(math.pi * frequency * mu_0 / self.conductivity) / (math.pi * self.barrel_diameter)
        series = (resistance + jw * self._delay * self.z_stub) * length
        shunt = jw * self._delay / self.z_stub * self.permittivity(frequency) / self.dk * length
        g = cmath.sqrt(series * shunt)
        cosh, sinhc = (cmath.cosh(g), cmath.sinh(g) / g) if g.real < DEAD else (1.0, 1 / g)
        end = jw * self.end_capacitance
        voltage, loaded = cosh + end * series * sinhc, z0 * (shunt * sinhc + end * cosh)
        total = 2 * voltage + loaded
        return _decibels(loaded / total), _decibels(2 * voltage / total)


def _decibels(ratio: complex) -> float:
    size = abs(ratio)
    return 0.0 - 20 * math.log10(size) if size else math.inf
