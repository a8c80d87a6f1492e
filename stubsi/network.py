"""Owns the way to scikit-rf: two-ports as Network objects. The only module that knows scikit-rf."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import skrf

from stubsi.errors import UnitError
from stubsi.physics.uniform_line import shunt_s
from stubsi.units import in_range, one_si, to_si

if TYPE_CHECKING:
    from collections.abc import Callable


Network = skrf.Network


def shunt_network(input_si: Callable[[Any], tuple[Any, Any]], frequency: Any, z0: Any) -> Network:
    """Two-port of what ``input_si`` (frequency [Hz] -> voltage, current) describes, hung in shunt between two ports.

    ``frequency``: a scikit-rf Frequency, or a quantity array or list of texts; ``z0``: real port impedance.
    """
    hz, z = grid(frequency), one_si(z0, "impedance", "z0")
    s11, s21 = shunt_s(*input_si(hz), z)
    return _network(hz, np.array([[s11, s21], [s21, s11]]), z)


def abcd_network(abcd: Callable[[Any], Any], frequency: Any, z0: Any) -> Network:
    """Two-port of ``abcd`` (frequency [Hz] -> (2, 2, n_frequency) chain matrix) between ports of ``z0``."""
    hz, z = grid(frequency), one_si(z0, "impedance", "z0")
    (a, b), (c, d) = abcd(hz)
    total = a + b / z + c * z + d
    s = np.array([[a + b / z - c * z - d, 2 * (a * d - b * c)], [2 * np.ones_like(a), -a + b / z - c * z + d]]) / total
    return _network(hz, s, z)


def grid(frequency: Any) -> Any:
    """Frequencies [Hz] as a one-dimensional array, from a scikit-rf Frequency, quantities or texts."""
    if isinstance(frequency, skrf.Frequency):
        hz = in_range(np.array(frequency.f, dtype=float), "frequency", "frequency", "not negative", shown=frequency)
    else:
        hz = np.atleast_1d(to_si(frequency, "frequency", "frequency", rule="not negative"))
    if hz.ndim != 1 or not hz.size or np.any(np.diff(hz) <= 0):
        raise UnitError("frequency: must be one rising list of frequencies.")
    return hz


def _network(hz: Any, s: Any, z0: float) -> Network:
    frequency = skrf.Frequency.from_f(hz, unit="Hz")
    frequency.unit = "GHz"
    return skrf.Network(frequency=frequency, s=np.moveaxis(s, -1, 0), z0=z0)
