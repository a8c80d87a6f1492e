"""Owns two figures of a loss curve: the 1 dB frequency of stubs, and their greatest loss up to a frequency."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stubsi.physics.bracketed_root import bracketed_root
from stubsi.physics.power_curve import Bracket, least_of, swept

if TYPE_CHECKING:
    from stubsi.physics.arrays import BoolArray, FloatArray, FloatLike, IndexArray
    from stubsi.physics.power_curve import PowerCurve

LEFT_AT_1_DB = 10**-0.1
"""Share of the power left behind a loss of 1 dB [-]."""
TANGENT_AT_1_DB = 2 * np.sqrt(10**0.1 - 1)
"""Susceptance times line impedance of a lossless shunt stub at 1 dB [-]: 1.0177."""
FROM, TO = 0.25, 2.0
"""The first search runs between these multiples of the estimate [-]. One sixteenth of 1 dB is left at its start."""
STRIDE = 1.1
"""Greatest ratio of neighbouring frequencies of the first samples [-]."""
CLOSE = 1.1
"""A dip is placed exactly where its lowest sample is within this factor of the power that decides [-]."""
LOWEST = 1e-3
"""Where the first sample has more than 1 dB already, the search goes on down to this multiple of its frequency [-]."""
NEAR_JUMP = 1 - np.geomspace(0.03, 1e-4, 12)
"""Multiples of the frequency where the reactance jumps [-], at which the power is looked at as well."""


def one_db_estimate(notch: FloatLike, z_stub: FloatLike, z0: FloatLike) -> FloatArray:
    r"""1 dB frequency of an ideal lossless stub.

    .. math:: \tan\theta = 2\sqrt{10^{0.1} - 1}\; Z_s/Z_0 = 1.0177\,Z_s/Z_0, \qquad f = \frac{2\theta}{\pi} f_0

    Parameters
    ----------
    notch : array_like
        :math:`f_0` [Hz].
    z_stub, z0 : array_like
        Impedance of the stub and of the line it hangs on [ohm].

    Returns
    -------
    ndarray
        [Hz].

    Notes
    -----
    The loss is :math:`20 \log_{10} |1 + Z_0/(2 Z_{in})|` with :math:`Z_{in} = -j Z_s / \tan\theta`.
    """
    return np.asarray(notch * 2 / np.pi * np.arctan(TANGENT_AT_1_DB * np.divide(z_stub, z0)))


def one_db_frequency(
    power: PowerCurve, estimate: FloatArray, highest: FloatArray, jump: FloatArray | None = None
) -> FloatArray:
    """Lowest frequency at which the loss of each stub in its line reaches 1 dB.

    Parameters
    ----------
    power : callable
        Power left behind the stubs.
    estimate : ndarray, shape (n_stub,)
        Where about that is [Hz]; NaN for a stub without length. Only the speed depends on how good it is.
    highest : ndarray, shape (n_stub,)
        Up to where it is searched for [Hz].
    jump : ndarray, shape (n_stub,), optional
        Frequency of a narrow resonance [Hz], NaN where there is none.

    Returns
    -------
    ndarray, shape (n_stub,)
        [Hz], to 1e-10; infinite where the loss stays below 1 dB up to ``highest``; NaN where ``estimate`` is.

    Notes
    -----
    The loss of a lossless stub rises without end up to its first notch (Foster's theorem). Radiation and the
    resonances of the cavities put ripples on it. So the curve is sampled until it is smooth from sample to sample,
    and a dip that may reach 1 dB is placed exactly.
    """
    found = np.full(len(estimate), np.inf)
    found[np.isnan(estimate) | np.isnan(highest)] = np.nan
    start = np.minimum(FROM * estimate, 0.5 * highest)
    for low, high in ((start, np.minimum(TO * estimate, highest)), (np.minimum(TO * estimate, highest), highest)):
        rows = np.flatnonzero(np.isinf(found) & (low < high))
        if rows.size:
            near = None if jump is None else jump[rows]
            found[rows] = _reached(_only(power, rows), low[rows], high[rows], near)
    return found


def one_db_below_notch(power: PowerCurve, notch: FloatArray) -> FloatArray:
    """Frequency at which the loss of each stub reaches 1 dB, where its loss only rises up to its first notch.

    Parameters
    ----------
    power : callable
        Power left behind the stubs.
    notch : ndarray, shape (n_stub,)
        First notch [Hz]; NaN for a stub without length.

    Returns
    -------
    ndarray, shape (n_stub,)
        [Hz], to 1e-10; infinite where not even the notch has a loss of 1 dB; NaN where ``notch`` is.
    """
    found = np.where(np.isnan(notch), np.nan, np.inf)
    rows = np.flatnonzero(np.isfinite(notch))
    if rows.size:
        rows = rows[power(rows, notch[rows, None])[:, 0] <= LEFT_AT_1_DB]
        found[rows] = _one_db_between(power, rows, LOWEST * notch[rows], notch[rows])
    return found


def least_power(power: PowerCurve, low: FloatArray, high: FloatArray, jump: FloatArray | None = None) -> FloatArray:
    """Least share of the power left behind each stub at any frequency up to one: where its loss is greatest.

    Parameters
    ----------
    power : callable
        Power left behind the stubs.
    low : ndarray, shape (n_stub,)
        Frequency below which the loss of each stub rises [Hz]; NaN for a stub without length.
    high : ndarray, shape (n_stub,)
        [Hz].
    jump : ndarray, shape (n_stub,), optional
        As for ``one_db_frequency``.

    Returns
    -------
    ndarray, shape (n_stub,)
        [-].
    """
    least = power(np.arange(len(high)), high[:, None])[:, 0]
    rows = np.flatnonzero(low < high)
    if rows.size:
        part = _only(power, rows)
        f = _samples(low[rows], high[rows], None if jump is None else jump[rows])
        f, share = swept(part, np.concatenate([f, STRIDE * f[:, -1:]], axis=1))  # for a dip just below the upper end
        inside = f <= high[rows, None]
        lowest = share.min(axis=1, initial=np.inf, where=inside)
        f, share = _placed(part, f, share, _dips(f, share) & (share <= CLOSE * lowest[:, None]))
        inside = f <= high[rows, None]
        least[rows] = np.minimum(least[rows], share.min(axis=1, initial=np.inf, where=inside))
    return least


def _only(power: PowerCurve, rows: IndexArray) -> PowerCurve:
    """The curves of some of the stubs."""
    return lambda part, frequency: power(rows[part], frequency)


def _samples(low: FloatArray, high: FloatArray, jump: FloatArray | None) -> FloatArray:
    """First frequencies [Hz] between two, rising, shape (n_stub, n), and some just below a jump."""
    count = max(6, 2 + int(np.ceil(np.log((high / low).max()) / np.log(STRIDE))))
    f = np.geomspace(low, high, count, axis=1)
    if jump is None or not np.any((jump > low) & (jump < high)):
        return f
    near = jump[:, None] * NEAR_JUMP
    inside = (near > low[:, None]) & (near < high[:, None])
    return np.sort(np.concatenate([f, np.where(inside, near, high[:, None])], axis=1), axis=1)


def _reached(power: PowerCurve, low: FloatArray, high: FloatArray, jump: FloatArray | None) -> FloatArray:
    """Lowest frequency between two at which 1 dB is reached; infinite where it is not."""
    f, share = swept(power, _samples(low, high, jump))
    before = np.logical_and.accumulate(share > LEFT_AT_1_DB, axis=1)
    f, share = _placed(power, f, share, _dips(f, share) & before & (share <= CLOSE * LEFT_AT_1_DB))
    is_reached = share <= LEFT_AT_1_DB
    place, rows = is_reached.argmax(axis=1), np.flatnonzero(is_reached.any(axis=1))
    found = np.full(len(low), np.inf)
    if rows.size:
        at = place[rows]
        low = np.where(at > 0, f[rows, np.maximum(at - 1, 0)], LOWEST * f[rows, 0])
        found[rows] = _one_db_between(power, rows, low, f[rows, at])
    return found


def _one_db_between(power: PowerCurve, rows: IndexArray, low: FloatArray, high: FloatArray) -> FloatArray:
    """Frequency between two at which some stubs reach 1 dB; the upper one where the lower has more already."""

    def to_1_db(frequency: FloatArray, part: IndexArray) -> FloatArray:
        return power(rows[part], frequency) - LEFT_AT_1_DB

    ends = to_1_db(np.stack([low, high], axis=1), np.arange(len(rows)))
    is_between = (ends[:, 0] > 0) & (ends[:, 1] <= 0)
    return np.where(is_between, bracketed_root(to_1_db, low, high), high)


def _dips(f: FloatArray, share: FloatArray) -> BoolArray:
    """Samples that are lower than both neighbours."""
    step, apart = np.diff(share, axis=1), np.diff(f, axis=1) > 0
    dips = (step[:, :-1] < 0) & (step[:, 1:] >= 0) & apart[:, :-1] & apart[:, 1:]
    return np.pad(dips, ((0, 0), (1, 1)))


def _placed(power: PowerCurve, f: FloatArray, share: FloatArray, dips: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Frequencies and power left at them, with some of the dips placed exactly among them."""
    rows = np.flatnonzero(dips.any(axis=1))
    if not rows.size:
        return f, share
    most = int(dips[rows].sum(axis=1).max())
    place = np.argsort(~dips[rows], axis=1, kind="stable")[:, :most]
    place = np.where(dips[rows[:, None], place], place, place[:, :1])
    around = rows[:, None], place + np.arange(3)[:, None, None] - 1
    at, least = least_of(Bracket(f[around], share[around]), lambda frequency: power(rows, frequency))
    more = np.repeat(f[:, -1:], most, axis=1), np.repeat(share[:, -1:], most, axis=1)
    more[0][rows], more[1][rows] = at, least
    f, share = np.concatenate([f, more[0]], axis=1), np.concatenate([share, more[1]], axis=1)
    order = np.argsort(f, axis=1, kind="stable")
    return np.take_along_axis(f, order, axis=1), np.take_along_axis(share, order, axis=1)
