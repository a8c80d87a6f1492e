"""Owns the conversion to scikit-rf: two-ports as Network objects. The only module that knows scikit-rf."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np
import skrf

from stubsi.errors import UnitError
from stubsi.number_rules import in_range
from stubsi.physics.uniform_line import shunt_s
from stubsi.units import one_si, to_si

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from stubsi.units import Dimensioned, DimensionedArray

    FloatArray: TypeAlias = NDArray[np.float64]
    ComplexArray: TypeAlias = NDArray[np.complex128]

    Frequencies: TypeAlias = DimensionedArray | skrf.Frequency
    """One rising list of frequencies: texts or quantities, or a scikit-rf Frequency."""

Network: TypeAlias = skrf.Network


def shunt_network(
    input_si: Callable[[FloatArray], tuple[ComplexArray, ComplexArray]], frequency: Frequencies, z0: Dimensioned
) -> Network:
    """Two-port of a stub in shunt between two ports.

    Parameters
    ----------
    input_si : callable
        Frequency [Hz] -> voltage and current into the stub, both times one unknown factor.
    frequency : frequency, or a scikit-rf Frequency
        One or several, rising.
    z0 : impedance
        Real port impedance.

    Returns
    -------
    skrf.Network
        As many points as frequencies.

    Raises
    ------
    UnitError
        Frequencies that do not rise, or are negative; an impedance that is not one positive value.
    """
    hz, z = grid(frequency), one_si(z0, "impedance", "z0")
    s11, s21 = shunt_s(*input_si(hz), z)
    return _network(hz, np.array([[s11, s21], [s21, s11]]), z)


def abcd_network(abcd: Callable[[FloatArray], ComplexArray], frequency: Frequencies, z0: Dimensioned) -> Network:
    """Two-port of a chain matrix.

    Parameters
    ----------
    abcd : callable
        Frequency [Hz] -> chain matrix, shape (2, 2, n_frequency).
    frequency : frequency, or a scikit-rf Frequency
        One or several, rising.
    z0 : impedance
        Real port impedance.

    Returns
    -------
    skrf.Network
        As many points as frequencies.

    Raises
    ------
    UnitError
        As ``shunt_network``.
    """
    hz, z = grid(frequency), one_si(z0, "impedance", "z0")
    (a, b), (c, d) = abcd(hz)
    total = a + b / z + c * z + d
    s = np.array([[a + b / z - c * z - d, 2 * (a * d - b * c)], [2 * np.ones_like(a), -a + b / z - c * z + d]]) / total
    return _network(hz, s, z)


def grid(frequency: Frequencies) -> FloatArray:
    """Frequencies as a one-dimensional array.

    Parameters
    ----------
    frequency : frequency, or a scikit-rf Frequency
        One or several, rising.

    Returns
    -------
    ndarray, shape (n,)
        [Hz].

    Raises
    ------
    UnitError
        They do not rise, or are negative or not finite, or none is given.
    """
    if isinstance(frequency, skrf.Frequency):
        given = np.array(frequency.f, dtype=np.float64)
        hz = np.asarray(in_range(given, "frequency", "frequency", "not negative", shown=frequency))
    else:
        hz = np.atleast_1d(to_si(frequency, "frequency", "frequency", rule="not negative"))
    if hz.ndim != 1 or not hz.size or np.any(np.diff(hz) <= 0):
        raise UnitError("frequency: must be one rising list of frequencies.")
    return hz


def _network(hz: FloatArray, s: ComplexArray, z0: float) -> Network:
    frequency = skrf.Frequency.from_f(hz, unit="Hz")
    frequency.unit = "GHz"
    return skrf.Network(frequency=frequency, s=np.moveaxis(s, -1, 0), z0=z0)
