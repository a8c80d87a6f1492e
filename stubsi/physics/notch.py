"""Owns the first notch of a stub in S21, sharp or blurred."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.physics.reactance import HIGHEST_RATIO, Followed, followed
from stubsi.physics.uniform_line import shunt_s

if TYPE_CHECKING:
    from collections.abc import Callable

    from stubsi.physics.arrays import BoolArray, FloatArray, IndexArray
    from stubsi.physics.chain import Chain


DEEP = 0.5
"""A minimum of S21 counts as a notch where at most this share of the power is left [-]: 3 dB and more."""
RISE = 10**0.1
"""Beyond a notch the power rises by at least this factor [-], 1 dB. If it falls lower first, it was only a ripple."""
LEAST = 0.25
"""The search for a notch begins at this multiple of the quasi-static estimate [-]."""
BEYOND = 1.3
"""It ends at this multiple of the frequency where the reactance vanishes [-]."""
FIRST_LOOK_POINTS, NEAR_JUMP_POINTS = 80, 16
"""Numbers of frequencies of the first look at S21: over all of the range, and just below the resonance of a cavity."""
SMOOTH, FLOOR = 0.01, 0.002
"""The sweep is fine enough where each sample is what its neighbours say: within this share of the power left, and this
power [-]. Elsewhere its steps are halved."""
HALVINGS = 9
"""Most times a step is halved."""
ZOOMS = 4
"""Times the steps beside a minimum or maximum are halved before a parabola gives its place."""
CLOSE = 1.05
"""Samples within this factor of a limit [-] may be on its other side once the turning points are placed exactly."""
RADIATING = 1.5
"""Input resistance [ohm] at the frequency of zero reactance above which a stub counts as radiating."""


class FirstNotch(NamedTuple):
    """First notch of stubs, and where their reactance first vanishes.

    Where the two lie far apart, radiation or a resonance of the cavities blurs the notch.

    Parameters
    ----------
    frequency : ndarray, shape (n_stub,)
        First notch [Hz]; NaN for a stub without length.
    zero : ndarray, shape (n_stub,)
        Where the reactance vanishes [Hz]; NaN also where it does not.
    """

    frequency: FloatArray
    zero: FloatArray


def first_notch(chain: Chain, z0: float = 50.0) -> FirstNotch:
    """First notch of stubs in shunt on a line: zero of their reactance, or the minimum of S21 where that is blurred.

    The cavities between the return conductors have a resonance of their own. A stub too short to reach its zero below
    it has a minimum of S21 there. That is its first notch if it is 3 dB deep and S21 rises by 1 dB beyond it.

    Parameters
    ----------
    chain : Chain
        The stubs.
    z0 : float
        Impedance of the line [ohm].

    Returns
    -------
    FirstNotch
    """
    reactance = followed(chain)
    zero, jump, estimate = reactance
    voltage, current = chain.voltage_current(np.nan_to_num(zero, nan=1e9)[:, None])
    with np.errstate(divide="ignore", invalid="ignore"):
        resistance = np.real(voltage / current)[:, 0]
    sharp = (resistance < RADIATING) & np.isnan(jump) & (zero <= estimate)
    blurred = np.flatnonzero(~sharp)
    frequency = zero.copy()
    if blurred.size:
        of_blurred = Followed(*(part[blurred] for part in reactance))
        frequency[blurred] = minimum_of_s21(chain.only(blurred), z0, of_blurred)[0]
    return FirstNotch(frequency, zero)


def minimum_of_s21(chain: Chain, z0: float, reactance: Followed) -> tuple[FloatArray, FloatArray]:
    """First minimum of S21 of stubs in shunt on a line that counts as a notch; the deepest one where none does.

    A minimum counts when it is 3 dB deep and S21 rises by 1 dB beyond it. Every minimum and maximum that may decide is
    placed exactly before it is judged, so that the result does not depend on where the samples lie.

    Parameters
    ----------
    chain : Chain
        The stubs.
    z0 : float
        Impedance of the line [ohm].
    reactance : Followed
        The result of following their reactance.

    Returns
    -------
    frequency, magnitude
        [Hz] and |S21| [-], each (n_stub,); NaN for a stub without length. A radiating stub has its minimum below the
        frequency where Im Z_in = 0, if there is one.
    """
    exists, rows = np.isfinite(reactance.estimate), np.arange(len(chain))
    f, share = _placed(*_swept(chain, z0, _looks(np.where(exists, reactance.estimate, 1e9), reactance)), chain, z0)
    best = _first_deep(share)
    lowest, size = f[rows, best], np.sqrt(share[rows, best])
    return np.where(exists, lowest, np.nan), np.where(exists, size, np.nan)


def _power(chain: Chain, z0: float, f: FloatArray) -> FloatArray:
    """Share of the power left in the path [-] behind each stub at its frequencies (n_stub, n) [Hz]."""
    return np.abs(shunt_s(*chain.voltage_current(f), z0)[1]) ** 2


def _looks(start: FloatArray, reactance: Followed) -> FloatArray:
    """Frequencies at which S21 is first looked at, rising, shape (n_stub, n)."""
    zero, jump = reactance.zero, reactance.jump
    top = np.where(np.isfinite(zero), BEYOND * zero, HIGHEST_RATIO * start)
    over = np.geomspace(np.minimum(LEAST * start, 0.5 * top), top, FIRST_LOOK_POINTS, axis=1)
    if np.isnan(jump).all():
        return over
    near = np.where(np.isfinite(jump), np.minimum(jump, top), top)[:, None] * (
        1 - np.geomspace(1e-4, 0.03, NEAR_JUMP_POINTS)
    )
    return np.sort(np.concatenate([over, near], axis=1), axis=1)


def _swept(chain: Chain, z0: float, f: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Frequencies and power left at them, with steps halved until the power is smooth from sample to sample.

    Rows with fewer samples than others end in copies of their last one.
    """
    share = _power(chain, z0, f)
    rows, recent = np.arange(len(f)), np.ones(f.shape, dtype=bool)
    for _ in range(HALVINGS):
        rough = _rough(f[rows], share[rows]) & (recent[rows, 1:] | recent[rows, :-1])
        rows, rough = rows[rough.any(axis=1)], rough[rough.any(axis=1)]
        if not rows.size:
            break
        most = int(rough.sum(axis=1).max())
        step = np.argsort(~rough, axis=1, kind="stable")[:, :most]
        is_rough = np.take_along_axis(rough, step, axis=1)
        each = rows[:, None]
        middle = np.where(is_rough, np.sqrt(f[each, step] * f[each, step + 1]), f[rows, -1:])
        power = np.where(is_rough, _power(chain.only(rows), z0, middle), share[rows, -1:])
        f, share, recent = (
            np.concatenate([values, np.repeat(values[:, -1:], most, axis=1)], axis=1) for values in (f, share, recent)
        )
        recent[rows], f[rows, -most:], share[rows, -most:], recent[rows, -most:] = False, middle, power, is_rough
        order = np.argsort(f, axis=1, kind="stable")
        f, share, recent = (np.take_along_axis(values, order, axis=1) for values in (f, share, recent))
    return f, share


def _rough(f: FloatArray, share: FloatArray) -> BoolArray:
    """Steps, (n_stub, n - 1), beside samples that differ from the cubic through the two samples on either side."""
    place = np.log(f)
    x, at = [place[:, i : place.shape[1] - 4 + i] - place[:, 2:-2] for i in (0, 1, 3, 4)], share[:, 2:-2]
    y = [share[:, i : share.shape[1] - 4 + i] for i in (0, 1, 3, 4)]
    expected = np.zeros_like(at)
    with np.errstate(divide="ignore", invalid="ignore"):
        for i in range(4):
            weight = np.ones_like(at)
            for j in range(4):
                if j != i:
                    weight = weight * (x[j] / (x[j] - x[i]))
            expected += weight * y[i]
        off = np.abs(at - expected) > SMOOTH * at + FLOOR
    off = np.pad(off & np.isfinite(expected), ((0, 0), (2, 2)))
    return off[:, 1:] | off[:, :-1]


class _Bracket(NamedTuple):
    """Three rising frequencies [Hz] around each turning point, and the power there, with the sign that makes it least.

    Each of shape (3, n_stub, n).
    """

    f: FloatArray
    value: FloatArray


def _placed(f: FloatArray, share: FloatArray, chain: Chain, z0: float) -> tuple[FloatArray, FloatArray]:
    """Frequencies and power left at them, with the exact places of the turning points that may decide among them."""
    step, turns = np.diff(share, axis=1), np.diff(f, axis=1) > 0
    low = np.minimum.accumulate(share, axis=1)
    risen = np.logical_or.accumulate((low <= DEEP / CLOSE) & (share >= CLOSE * RISE * low), axis=1)
    open_ = turns[:, 1:] & turns[:, :-1] & ~risen[:, 1:-1] & (low[:, 1:-1] <= CLOSE * DEEP)
    dip = open_ & (step[:, :-1] < 0) & (step[:, 1:] >= 0) & (share[:, 1:-1] <= CLOSE * DEEP)
    top = open_ & (step[:, :-1] > 0) & (step[:, 1:] <= 0)
    rows = np.flatnonzero((dip | top).any(axis=1))
    if not rows.size:
        return f, share
    most = int((dip | top)[rows].sum(axis=1).max())
    place = np.argsort(~(dip | top)[rows], axis=1, kind="stable")[:, :most]
    sign = np.where(top[rows[:, None], place], -1.0, 1.0)
    around = rows[:, None], place + np.arange(3)[:, None, None]
    part = chain.only(rows)

    def value(at: FloatArray) -> FloatArray:
        """Power, with its sign, at frequencies (n_stub, k * n)."""
        return np.tile(sign, at.shape[1] // most) * _power(part, z0, at)

    at, least = _least_of(_Bracket(f[around], sign * share[around]), value)
    added = np.full((len(f), most), 0.0), np.zeros((len(f), most))
    added[0][:], added[1][:] = f[:, -1:], share[:, -1:]
    added[0][rows], added[1][rows] = at, sign * least
    f, share = np.concatenate([f, added[0]], axis=1), np.concatenate([share, added[1]], axis=1)
    order = np.argsort(f, axis=1, kind="stable")
    return np.take_along_axis(f, order, axis=1), np.take_along_axis(share, order, axis=1)


def _least_of(bracket: _Bracket, value: Callable[[FloatArray], FloatArray]) -> tuple[FloatArray, FloatArray]:
    """Place [Hz] and value of the least of a function within each bracket."""
    f, values = bracket
    for _ in range(ZOOMS):
        between = np.sqrt(f[:-1] * f[1:])
        more = np.split(value(np.concatenate(list(between), axis=1)), 2, axis=1)
        five = np.array([f[0], between[0], f[1], between[1], f[2]])
        at_five = np.array([values[0], more[0], values[1], more[1], values[2]])
        best = at_five[1:4].argmin(axis=0) + np.arange(3)[:, None, None]
        f, values = np.take_along_axis(five, best, axis=0), np.take_along_axis(at_five, best, axis=0)
    before, at, after = values
    left, right = f[1] - f[0], f[2] - f[1]
    rise, fall = (after - at) / right, (at - before) / left
    bend = np.maximum((rise - fall) / (left + right), np.finfo(float).tiny)
    slope = (rise * left + fall * right) / (left + right)
    lowest = np.clip(f[1] - slope / (2 * bend), f[0], f[2])
    least = value(lowest)
    better = least < at
    return np.where(better, lowest, f[1]), np.where(better, least, at)


def _first_deep(share: FloatArray) -> IndexArray:
    """Place along the last axis of the first minimum that is a notch, or of the least value where no minimum is one."""
    place, low = np.zeros(len(share), dtype=np.intp), np.full(len(share), np.inf)
    risen = np.zeros(len(share), dtype=bool)
    for column, value in enumerate(share.T):
        risen |= (low <= DEEP) & (value >= RISE * low)
        lower = ~risen & (value < low)
        place[lower], low[lower] = column, value[lower]
    return np.clip(place, 1, share.shape[1] - 2)
