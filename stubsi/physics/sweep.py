"""Owns long sweeps over frequency: smooth functions of frequency remembered as polynomials on intervals."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from stubsi.physics.chebyshev import NODES, coefficients, died_out, node_places, polynomial_values

if TYPE_CHECKING:
    from collections.abc import Callable

    from stubsi.physics.arrays import ComplexArray, FloatArray, IndexArray
    from stubsi.physics.chain import Chain

    Interval = tuple[float, float]

LOW_TO = 32.0
"""Below this octave (2**32 Hz, 4.3 GHz) every function is so smooth that the first intervals are long."""
LOW_WIDTH, HIGH_WIDTH = 16.0, 2.0
"""Widths of the first intervals [octaves]: bounds at 1 Hz, 66 kHz, 4.3, 17, 69, 275 GHz."""
ALWAYS = 1.0
"""Width [octaves] from which an interval gets its polynomial however few frequencies are asked for."""
CONVERGED = 1e-9
"""Size of those coefficients, relative to the function on its interval, that counts as died out."""
SHORT = 96
"""Fewer frequencies than these are evaluated as they are."""


class Sweep:
    """A function of frequency that is evaluated at few places and answered at many.

    Parameters
    ----------
    function : callable
        Smooth functions of frequency: takes (n,) [Hz], gives complex (n_function, n).

    Notes
    -----
    Chebyshev polynomials in the logarithm of frequency, in which skin effect and dispersion are smooth. An interval on
    which the last coefficients have not died out is halved, until a sharp resonance is resolved or, where that would
    take more evaluations than frequencies are asked for, those are evaluated as they are. The error is about
    ``CONVERGED`` of the largest value on the interval. Polynomials are remembered for further calls.
    """

    def __init__(self, function: Callable[[FloatArray], ComplexArray]) -> None:
        self._function = function
        self._polynomials: dict[Interval, ComplexArray | None] = {}

    def __call__(self, frequency: FloatArray) -> ComplexArray:
        """Answer at many frequencies.

        Parameters
        ----------
        frequency : ndarray, shape (n,)
            [Hz] > 0, in any order.

        Returns
        -------
        complex ndarray, shape (n_function, n)
        """
        if len(frequency) < SHORT:
            return self._function(frequency)
        order = np.argsort(frequency, kind="stable")
        rising = frequency[order]
        place = np.log2(rising)
        covered, alone = self._cover(place)
        pieces = [self._function(rising[alone])] if alone.size else []
        pieces += _evaluated([(terms, interval, place[part]) for terms, interval, part in covered])
        where = np.concatenate([alone, *(np.arange(part.start, part.stop) for _, _, part in covered)])
        values = np.empty((len(pieces[0]), len(order)), dtype=complex)
        values[:, order[where]] = np.concatenate(pieces, axis=1)
        return values

    def _cover(self, place: FloatArray) -> tuple[list[tuple[ComplexArray, Interval, slice]], IndexArray]:
        """Polynomials with their intervals and the rising places they answer at, and the places left alone."""
        covered, alone = [], [np.zeros(0, dtype=np.intp)]
        pending = _first_intervals(place)
        while pending:
            self._learn([each for each, part in pending if each[1] >= ALWAYS or part.stop - part.start >= NODES])
            unsettled = []
            for interval, part in pending:
                if interval not in self._polynomials:
                    alone.append(np.arange(part.start, part.stop))
                elif (terms := self._polynomials[interval]) is None:
                    unsettled += _halves(interval, part, place)
                else:
                    covered.append((terms, interval, part))
            pending = unsettled
        return covered, np.concatenate(alone)

    def _learn(self, intervals: list[Interval]) -> None:
        """Find the polynomials of intervals, None where they have not died out."""
        new = [interval for interval in intervals if interval not in self._polynomials]
        if not new:
            return
        low, width = np.array(new).T[:, :, None]
        nodes = low + width * (1 + node_places()) / 2
        values = self._function(np.exp2(nodes.ravel())).reshape(-1, *nodes.shape)
        terms = coefficients(values)
        good = np.logical_and.reduce(died_out(values, terms, CONVERGED), axis=0)
        for number, interval in enumerate(new):
            self._polynomials[interval] = terms[:, number] if good[number] else None


class InputSweep:
    """Voltage and current at the start of one stub, for long lists of frequencies.

    Parameters
    ----------
    chain : Chain
        The one stub.
    """

    def __init__(self, chain: Chain) -> None:
        self._chain = chain
        self._sweep = Sweep(self._voltage_and_slope)

    def __call__(self, frequency: FloatArray) -> tuple[ComplexArray, ComplexArray]:
        """Voltage and current, to a common factor, each (n,).

        Parameters
        ----------
        frequency : ndarray, shape (n,)
            [Hz] > 0.
        """
        voltage, slope = self._sweep(frequency)
        return voltage, slope * frequency

    def _voltage_and_slope(self, frequency: FloatArray) -> ComplexArray:
        """Voltage and current over frequency, for 1 V at the open end."""
        (voltage,), (current,) = self._chain.voltage_current_for_one_volt(frequency[None])
        return np.array([voltage, current / frequency])


class AbcdSweep:
    """Chain matrix of one length of barrel, for long lists of frequencies.

    Parameters
    ----------
    chain : Chain
        The one length of barrel between an entry and an exit.
    """

    def __init__(self, chain: Chain) -> None:
        self._chain = chain
        self._sweep = Sweep(self._entries)

    def __call__(self, frequency: FloatArray) -> ComplexArray:
        """Chain matrices (n, 2, 2), SI units.

        Parameters
        ----------
        frequency : ndarray, shape (n,)
            [Hz] > 0.
        """
        a, b, c, d = self._sweep(frequency)
        return np.stack([a, b * frequency, c * frequency, d], axis=-1).reshape(-1, 2, 2)

    def _entries(self, frequency: FloatArray) -> ComplexArray:
        """A, B over frequency, C over frequency, D."""
        (a, b), (c, d) = np.moveaxis(self._chain.abcd(frequency)[0], 0, -1)
        return np.array([a, b / frequency, c / frequency, d])


def _first_intervals(place: FloatArray) -> list[tuple[Interval, slice]]:
    """Longest intervals that hold any of the rising places, with those they hold."""
    width = np.where(place < LOW_TO, LOW_WIDTH, HIGH_WIDTH)
    lows, first = np.unique(np.floor(place / width) * width, return_index=True)
    bounds = pairwise([*first.tolist(), len(place)])
    intervals = zip(lows.tolist(), width[first].tolist(), strict=True)
    return [(interval, slice(*bound)) for interval, bound in zip(intervals, bounds, strict=True)]


def _halves(interval: Interval, part: slice, place: FloatArray) -> list[tuple[Interval, slice]]:
    """Both halves of an interval, as far as they hold any of the places."""
    low, half = interval[0], interval[1] / 2
    middle = part.start + int(np.searchsorted(place[part], low + half))
    halves = ((low, half), slice(part.start, middle)), ((low + half, half), slice(middle, part.stop))
    return [(each, held) for each, held in halves if held.stop > held.start]


def _evaluated(parts: list[tuple[ComplexArray, Interval, FloatArray]]) -> list[ComplexArray]:
    """Polynomials at their places: (coefficients, interval, places) to (n_function, n_place)."""
    inside = [2 * (place - low) / width - 1 for _, (low, width), place in parts]
    if not inside:
        return []
    powers = polynomial_values(np.concatenate(inside))
    pieces = np.split(powers, np.cumsum([len(each) for each in inside])[:-1], axis=1)
    return [terms @ piece for (terms, _, _), piece in zip(parts, pieces, strict=True)]
