"""Owns the search for notches, where the reactance of a chain vanishes, by the phase of its reflection."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.constants import c as light_speed

from stubsi.physics.bracketed_root import bracketed_root

if TYPE_CHECKING:
    from collections.abc import Callable

    from stubsi.physics.arrays import ComplexArray, FloatArray, IndexArray
    from stubsi.physics.chain import Chain


LOW = 1e6
"""Frequency [Hz] at which every line is static."""
STEPS = 100
"""Most strides on the way to a bracket."""
STRIDE = 1.08
"""Ratio of successive frequencies on the way to a bracket: less than the width of a cavity's stop band."""
MOST_AT_FIRST, TOGETHER_AT_FIRST = 8, 24
"""Greatest number of strides in the first evaluation: of each stub, and about how many of all."""
TOGETHER = 1000
"""Greatest number of strides in one evaluation, summed over all stubs."""
FAR = 1e3
"""Stands for infinity in a phase [rad]."""
HIGHEST_RATIO = 4.0
"""Greatest ratio of a notch to its quasi-static estimate [-]. Only heavy radiation moves it further, and it is then no
longer called a notch."""
SCAN_POINTS = 120
"""Frequencies of the scan for a damped zero."""
RESIDUE = 1e-4
"""Greatest phase [rad] at a zero. If more is left at a root, the phase jumps there, and it is no zero."""


def quasi_static(chain: Chain) -> tuple[FloatArray, FloatArray]:
    r"""Notch and impedance of each stub taken as a uniform static line: where a search starts, not a result.

    .. math:: f_0 = \frac{1}{4 \sqrt{L' C'}\,(T + C_{end}/C')}, \qquad Z_0 = \sqrt{L'/C'}

    Parameters
    ----------
    chain : Chain
        The stubs.

    Returns
    -------
    frequency, impedance
        [Hz] and [ohm], each (n_stub,); NaN and 0 for a stub without length, or whose feed takes all inductance away.
    """
    ceiling = 0.5 * lowest_resonance(chain)
    first, _ = _uniform(chain, np.full(len(chain), LOW))
    return _uniform(chain, np.minimum(np.nan_to_num(0.2 * first, nan=LOW), ceiling))


def _uniform(chain: Chain, frequency: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Notch and impedance of ``quasi_static`` from the line constants at a frequency [Hz] far below the notch."""
    z, y = chain.section_constants(frequency[:, None])
    omega = 2 * np.pi * frequency
    inductance = np.maximum(z.imag.sum(axis=0)[:, 0] / omega + chain.barrels.end_inductance, 0.0)
    end, capacitance = y[0].imag[:, 0] / omega, y[1:].imag.sum(axis=0)[:, 0] / omega
    total = capacitance + end
    delay = np.sqrt(inductance * (total + end))
    return 1 / (4 * np.where(delay > 0, delay, np.nan)), np.sqrt(inductance / total)


def turning(chain: Chain, frequency: FloatArray, impedance: FloatArray) -> FloatArray:
    """Phase of the reflection (V - Z I)/(V + Z I) at the start, followed from the open end up and never wrapped.

    Every section turns it backwards, by a whole turn for each half wave it is long (Foster's theorem). So the phase
    -n pi, n odd, is the notch of order n, however close poles and zeros lie. At the first resonance of a cavity its
    series reactance passes through infinity and zeros of every order have gone by: the phase is -inf from there on.

    Parameters
    ----------
    chain : Chain
        The stubs.
    frequency : ndarray, shape (n_stub, n_freq)
        [Hz].
    impedance : ndarray, shape (n_stub,)
        Z [ohm], of the order of the stub's own.

    Returns
    -------
    ndarray, shape (n_stub, n_freq)
        [rad].
    """
    z, y = chain.section_constants(frequency)
    half_waves = np.floor(np.abs(np.sqrt(z * y[1:]).imag) / np.pi)
    voltage, current = chain.states(frequency, z, y)
    drop = impedance[:, None] * current
    reflection = (voltage - drop) * np.conj(voltage + drop)
    turn = np.angle(reflection[1:] * np.conj(reflection[:-1]))
    # Loss may turn a section forwards by this little; what turns it further has turned it backwards past half a turn.
    forwards = np.pi * (_loss(z) + _loss(y[1:]))
    turn = np.where(turn > forwards + 1e-9, turn - 2 * np.pi, turn)
    at_end = np.angle(reflection[0])
    total = np.where(at_end > 1e-9, at_end - 2 * np.pi, at_end) + (turn - 2 * np.pi * half_waves).sum(axis=0)
    return np.where((z.imag < 0).any(axis=0), -np.inf, total)


def _loss(immittance: ComplexArray) -> FloatArray:
    """Loss tangent [-] of impedances or admittances."""
    return np.abs(immittance.real) / np.maximum(np.abs(immittance.imag), np.finfo(float).tiny ** 0.5)


def notch(chain: Chain, order: int = 1) -> FloatArray:
    """Frequency at which the stubs short the path: upward zero of Im Z_in of the given order.

    Parameters
    ----------
    chain : Chain
        The stubs.
    order : int
        1, 3, 5 ...: first, second, third zero.

    Returns
    -------
    ndarray, shape (n_stub,)
        [Hz]; NaN where loss or radiation leave no such zero, and for a stub without length.
    """
    return followed(chain, order).zero


class Followed(NamedTuple):
    """The result of following the reactance of stubs from low frequencies upwards.

    Parameters
    ----------
    zero : ndarray, shape (n_stub,)
        Frequency where it vanishes for the wanted order [Hz]; NaN: nowhere.
    jump : ndarray, shape (n_stub,)
        Frequency where its phase jumps before it vanishes [Hz], at the resonance of a cavity; NaN: nowhere. Just below
        lies a zero, unless loss or radiation removes it.
    estimate : ndarray, shape (n_stub,)
        Quasi-static estimate of the first zero [Hz]; NaN for a stub without length.
    """

    zero: FloatArray
    jump: FloatArray
    estimate: FloatArray


def followed(chain: Chain, order: int = 1) -> Followed:
    """Follow the reactance of stubs from low frequencies up to its zero of an order.

    Parameters
    ----------
    chain : Chain
        The stubs.
    order : int
        1, 3, 5 ...: first, second, third zero.

    Returns
    -------
    Followed
    """
    start, impedance = quasi_static(chain)
    exists = np.isfinite(start)
    first = np.minimum(np.where(exists, 0.95 * start, 1e9), 0.9 * lowest_resonance(chain))
    impedance = np.where(exists, impedance, 50.0)

    def above(part: Chain, rows: IndexArray, f: FloatArray) -> FloatArray:
        phase = np.maximum(turning(part, f, impedance[rows]) + order * np.pi, -FAR)
        return np.where(exists[rows, None], phase, 1 - f / first[rows, None])

    remaining = _Remaining(chain, above)
    root = _root(remaining, _bracket(remaining, first))
    near = exists & (root < HIGHEST_RATIO * order * start)
    smooth = np.abs(above(chain, np.arange(len(root)), root[:, None])[:, 0]) < RESIDUE
    jump = np.where(near & ~smooth, root, np.nan)
    zero = np.where(near & smooth, root, np.nan)
    damped = np.flatnonzero(exists & np.isnan(zero))
    if damped.size:
        zero[damped] = _damped(chain.only(damped), start[damped], order)
    return Followed(zero, jump, start)


def _damped(chain: Chain, start: FloatArray, order: int) -> FloatArray:
    """Zeros of stubs whose cavity resonances are all flattened by loss. None is narrow, so a scan can bracket them."""
    f = start[:, None] * np.linspace(0.2, HIGHEST_RATIO * order, SCAN_POINTS)
    x = _reactance(chain, f)
    rises = (x[:, :-1] < 0) & (x[:, 1:] >= 0) & (np.diff(x) < np.abs(x[:, :1]))
    count, wanted = np.cumsum(rises, axis=1), (order + 1) // 2
    has_zero = count[:, -1] >= wanted
    place = np.where(has_zero, np.argmax(count == wanted, axis=1), 0)
    every = np.arange(len(start))

    def falling(part: Chain, rows: IndexArray, f: FloatArray) -> FloatArray:
        return np.where(has_zero[rows, None], -_reactance(part, f), start[rows, None] - f)

    low = np.where(has_zero, f[every, place], 0.5 * start)
    high = np.where(has_zero, f[every, place + 1], 2 * start)
    return np.where(has_zero, _root(_Remaining(chain, falling), (low, high)), np.nan)


def _reactance(chain: Chain, frequency: FloatArray) -> FloatArray:
    """Reactance of the stubs at their input [ohm]."""
    voltage, current = chain.voltage_current(frequency)
    return (voltage / current).imag


def lowest_resonance(chain: Chain) -> FloatArray:
    """Frequency below which no cavity between the planes resonates.

    There k times the distance of the nearest return conductor is 2.405, the first zero of J_0.

    Parameters
    ----------
    chain : Chain
        The stubs.

    Returns
    -------
    ndarray, shape (n_stub,)
        [Hz]; infinite for fewer than three posts.
    """
    paths = chain.paths
    nearest = np.min(
        np.abs(paths.posts), axis=1, initial=np.inf, where=np.arange(paths.posts.shape[1]) < paths.count[:, None]
    )
    reach = np.where(paths.count > 2, nearest, paths.ring)
    dk = chain.barrels.largest_dk
    with np.errstate(divide="ignore"):  # a post on the axis of the barrel: its cavity has no width
        resonance = 2.405 * light_speed / (2 * np.pi * reach * np.sqrt(dk))
    return np.nan_to_num(resonance, nan=np.inf)


class _Remaining:
    """A function of chain, rows and frequency, evaluated only for the stubs whose search has not ended yet."""

    def __init__(self, chain: Chain, function: Callable[[Chain, IndexArray, FloatArray], FloatArray]) -> None:
        self.chain, self.function = chain, function
        self.rows = np.arange(len(chain))

    def at(self, frequency: FloatArray, rows: IndexArray) -> FloatArray:
        """Value at frequencies (n, n_freq) [Hz] of the stubs ``rows`` of the whole chain, never more than before."""
        if 2 * len(rows) <= len(self.rows):
            self.chain = self.chain.only(np.searchsorted(self.rows, rows))
            self.rows = rows
        place = np.searchsorted(self.rows, rows)
        f = np.repeat(frequency[:1], len(self.rows), axis=0)
        f[place] = frequency
        return self.function(self.chain, self.rows, f)[place]


def _bracket(function: _Remaining, first: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Two frequencies between which a function, positive at frequency 0, turns negative: from ``first`` up in strides.

    The first evaluation takes one stride of many stubs, some of few, and each further one twice as many. Only few stubs
    are left by then, and an evaluation costs more than a stride.
    """
    low, high = np.zeros_like(first), first.copy()
    rows, whole = np.arange(len(first)), function.chain
    strides, left = max(1, min(MOST_AT_FIRST, TOGETHER_AT_FIRST // max(1, len(first)))), STEPS
    while rows.size and left:
        tried = high[rows, None] * STRIDE ** np.arange(strides + 1)
        above = np.logical_and.accumulate(function.at(tried[:, :-1], rows) > 0, axis=1).sum(axis=1)
        each = np.arange(len(rows))
        low[rows] = np.where(above > 0, tried[each, above - 1], low[rows])
        high[rows] = tried[each, above]
        rows = rows[above == strides]
        left -= strides
        strides = min(2 * strides, left, max(1, TOGETHER // max(1, rows.size)))
    function.chain, function.rows = whole, np.arange(len(first))
    return low, high


def _root(function: _Remaining, bracket: tuple[FloatArray, FloatArray]) -> FloatArray:
    """Root of each row within its bracket; the middle of a bracket that holds none."""
    low, high = np.maximum(bracket[0], 1e-3 * bracket[1]), bracket[1]
    return bracketed_root(function.at, low, high)
