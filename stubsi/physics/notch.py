"""Owns the first notch of a stub in S21, sharp or blurred."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.physics.power_curve import Bracket, chain_inputs, least_of, power_curve, swept
from stubsi.physics.reactance import HIGHEST_RATIO, Followed, followed

if TYPE_CHECKING:
    from stubsi.physics.arrays import BoolArray, FloatArray, IndexArray
    from stubsi.physics.chain import Chain
    from stubsi.physics.power_curve import PowerCurve


DEEP = 0.5
"""A minimum of S21 counts as a notch where at most this share of the power is left [-]: 3 dB and more."""
RISE = 10**0.1
"""Beyond a notch the power rises by at least this factor [-], 1 dB. If it falls lower first, it was only a ripple."""
LEAST = 0.25
"""The search for a notch begins at this multiple of the quasi-static estimate [-]."""
LEAST_OF_HIGHEST = 1 / 16
"""It begins no higher than at this share of the highest frequency at which the model holds [-]. A feed may take away
nearly all inductance of a stub. The estimate is then far too high, and a resonance with the return vias lies below."""
BEYOND = 1.3
"""It ends at this multiple of the frequency where the reactance vanishes, or at which the model holds [-]."""
FIRST_LOOK_POINTS, NEAR_JUMP_POINTS = 80, 16
"""Numbers of frequencies of the first look at S21: over all of the range, and just below the resonance of a cavity."""
SECOND_LOOK = np.linspace(0.92, 1.08, 40)
"""Multiples of the notch found [-] at which S21 is looked at again. Two dips of nearly equal depth may lie so close
that the first look sees one; the deeper of them is the notch."""
APART = 1e-6
"""Least relative distance of two samples between which a turning point is placed [-]."""
NEARLY_DEEP, NEARLY_RISE = 10**-0.2, 10**0.002
"""A minimum of S21 with at most this share of the power left (2 dB), beyond which the power rises by at least this
factor (0.02 dB), is nearly a notch [-]. A little more length may make it one."""
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
    jump : ndarray, shape (n_stub,)
        Where the phase of the reactance jumps, at a narrow resonance of a cavity [Hz]; NaN where it does not.
    is_notch : ndarray of bool, shape (n_stub,)
        Whether there is one. Otherwise ``frequency`` is that of the deepest minimum, which is less than 3 dB deep.
    nearly : ndarray, shape (n_stub,)
        Lowest frequency of a minimum that is a notch, or nearly one [Hz]; else infinite.
    searched : ndarray, shape (n_stub,)
        Up to where a notch was searched for [Hz].
    """

    frequency: FloatArray
    zero: FloatArray
    jump: FloatArray
    is_notch: BoolArray
    nearly: FloatArray
    searched: FloatArray


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
    frequency, nearly, searched, is_notch = zero.copy(), zero.copy(), zero.copy(), sharp.copy()
    if blurred.size:
        lowest = minimum_of_s21(chain.only(blurred), z0, Followed(*(part[blurred] for part in reactance)))
        frequency[blurred], nearly[blurred], searched[blurred] = lowest.frequency, lowest.nearly, lowest.searched
        is_notch[blurred] = lowest.magnitude**2 <= DEEP
    return FirstNotch(frequency, zero, jump, is_notch, nearly, searched)


class LowestMinimum(NamedTuple):
    """First minimum of S21 of stubs that counts as a notch; the deepest one where none does.

    Parameters
    ----------
    frequency, magnitude : ndarray, shape (n_stub,)
        [Hz] and |S21| [-]; NaN for a stub without length.
    nearly, searched : ndarray, shape (n_stub,)
        As in ``FirstNotch``.
    """

    frequency: FloatArray
    magnitude: FloatArray
    nearly: FloatArray
    searched: FloatArray


def minimum_of_s21(chain: Chain, z0: float, reactance: Followed) -> LowestMinimum:
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
    LowestMinimum
        A radiating stub has its minimum below the frequency where Im Z_in = 0, if there is one.
    """
    highest, rows = chain.highest_frequency(), np.arange(len(chain))
    taken_away = np.isnan(reactance.estimate) & (chain.barrels.static_inductance.sum(axis=1) < 0)
    start = np.where(taken_away, highest, reactance.estimate)
    exists = np.isfinite(start)
    power = power_curve(chain_inputs(chain), z0)
    looks = _looks(np.where(exists, start, 1e9), highest, reactance)
    samples = swept(power, looks)
    f, share = _placed(*samples, power)
    around = f[rows, _first_deep(share)][:, None] * SECOND_LOOK
    f, share = _placed(*_joined(*samples, around, power(rows, around)), power)
    best = _first_deep(share)
    lowest, size = (np.where(exists, values[rows, best], np.nan) for values in (f, np.sqrt(share)))
    nearly, searched = (np.where(exists, values, np.inf) for values in (_nearly(f, share, best), looks[:, -1]))
    return LowestMinimum(lowest, size, nearly, searched)


def _nearly(f: FloatArray, share: FloatArray, best: IndexArray) -> FloatArray:
    """Lowest frequency [Hz] of a minimum that is a notch or nearly one; infinite where there is none.

    Where the loss comes within 1 dB of that of the minimum found, another minimum may be found after a small change.
    """
    rows = np.arange(len(f))
    found = np.minimum(_first_deep(share, NEARLY_DEEP, NEARLY_RISE), best)
    minimum = np.where(share[rows, found] <= NEARLY_DEEP, f[rows, found], np.inf)
    level = np.minimum(RISE * share[rows, best], NEARLY_DEEP)
    return np.fmin(minimum, _first_below(f, share, level))


def _first_below(f: FloatArray, share: FloatArray, level: FloatArray) -> FloatArray:
    """Lowest frequency [Hz] at which the power left is down to a level, on a straight line between samples.

    Infinite where it never is. The level is one for each row.
    """
    rows, below = np.arange(len(f)), share <= level[:, None]
    place = below.argmax(axis=1)
    before = np.maximum(place - 1, 0)
    fall = share[rows, before] - share[rows, place]
    part = np.where(fall > 0, (share[rows, before] - level) / np.where(fall > 0, fall, 1.0), 1.0)
    crossing = f[rows, before] + np.clip(part, 0.0, 1.0) * (f[rows, place] - f[rows, before])
    return np.where(below.any(axis=1), crossing, np.inf)


def _looks(start: FloatArray, highest: FloatArray, reactance: Followed) -> FloatArray:
    """Frequencies at which S21 is first looked at, rising, shape (n_stub, n)."""
    zero, jump = reactance.zero, reactance.jump
    top = np.minimum(np.where(np.isfinite(zero), BEYOND * zero, HIGHEST_RATIO * start), BEYOND * highest)
    bottom = np.minimum(np.minimum(LEAST * start, 0.5 * top), LEAST_OF_HIGHEST * highest)
    over = np.geomspace(bottom, top, FIRST_LOOK_POINTS, axis=1)
    if np.isnan(jump).all():
        return over
    near = np.where(np.isfinite(jump), np.minimum(jump, top), top)[:, None] * (
        1 - np.geomspace(1e-4, 0.03, NEAR_JUMP_POINTS)
    )
    return np.sort(np.concatenate([over, near], axis=1), axis=1)


def _placed(f: FloatArray, share: FloatArray, power: PowerCurve) -> tuple[FloatArray, FloatArray]:
    """Frequencies and power left at them, with the exact places of the turning points that may decide among them."""
    step, turns = np.diff(share, axis=1), np.diff(f, axis=1) > APART * f[:, 1:]
    low = np.minimum.accumulate(share, axis=1)
    risen = np.logical_or.accumulate((low <= DEEP / CLOSE) & (share >= CLOSE * RISE * low), axis=1)
    open_ = turns[:, 1:] & turns[:, :-1] & ~risen[:, 1:-1] & (low[:, 1:-1] <= CLOSE * NEARLY_DEEP)
    dip = open_ & (step[:, :-1] < 0) & (step[:, 1:] >= 0) & (share[:, 1:-1] <= CLOSE * NEARLY_DEEP)
    top = open_ & (step[:, :-1] > 0) & (step[:, 1:] <= 0)
    rows = np.flatnonzero((dip | top).any(axis=1))
    if not rows.size:
        return f, share
    most = int((dip | top)[rows].sum(axis=1).max())
    place = np.argsort(~(dip | top)[rows], axis=1, kind="stable")[:, :most]
    sign = np.where(top[rows[:, None], place], -1.0, 1.0)
    around = rows[:, None], place + np.arange(3)[:, None, None]

    def value(at: FloatArray) -> FloatArray:
        """Power, with its sign, at frequencies (n_stub, k * n)."""
        return np.tile(sign, at.shape[1] // most) * power(rows, at)

    at, least = least_of(Bracket(f[around], sign * share[around]), value)
    added = np.full((len(f), most), 0.0), np.zeros((len(f), most))
    added[0][:], added[1][:] = f[:, -1:], share[:, -1:]
    added[0][rows], added[1][rows] = at, sign * least
    return _joined(f, share, *added)


def _joined(
    f: FloatArray, share: FloatArray, more: FloatArray, share_there: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Frequencies, rising, and power left at them, with some more among them."""
    f, share = np.concatenate([f, more], axis=1), np.concatenate([share, share_there], axis=1)
    order = np.argsort(f, axis=1, kind="stable")
    return np.take_along_axis(f, order, axis=1), np.take_along_axis(share, order, axis=1)


def _first_deep(share: FloatArray, deep: float = DEEP, rise: float = RISE) -> IndexArray:
    """Place along the last axis of the first minimum that is a notch, or of the least value where no minimum is one."""
    low = np.fmin.accumulate(share, axis=1)[:, :-1]
    risen = np.logical_or.accumulate((low <= deep) & (share[:, 1:] >= rise * low), axis=1)
    counted = np.where(np.isnan(share), np.inf, share)
    counted[:, 1:][risen] = np.inf
    return np.asarray(np.clip(counted.argmin(axis=1), 1, share.shape[1] - 2), dtype=np.intp)
