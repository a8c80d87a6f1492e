"""Owns the figures of stubs by themselves, once for each distinct use of a model.

A figure has four values, from worst to best: ``worst`` (lowest of the range, and the model as far off as it may be),
``low`` and ``high`` (the range as computed, equal where all is known), ``best``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple, TypeAlias

import numpy as np

from stubsi.margin.spread import Spread
from stubsi.physics.uniform_line import decibels, shunt_s
from stubsi.stubs.unknown_df import ONE_DB_LOWER, with_dielectric_loss

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from stubsi.stubs.models import Electrical, Models

    Floats: TypeAlias = NDArray[np.float64]
    Numbers: TypeAlias = NDArray[np.intp]

TABLE_PER_ENTRY = 4
"""Greatest ratio of possible keys to entries for which a table of all possible keys is used. For more keys a sort is
faster."""


class Uses(NamedTuple):
    """Distinct (case, Nyquist, line impedance), and which of them each stub is."""

    case: Numbers
    nyquist: Floats
    z0: Floats
    of_stub: Numbers


def uses_of(case: Numbers, net: Numbers, nyquist: Floats, z_line: Floats) -> Uses:
    """Distinct uses of the stubs of nets.

    Parameters
    ----------
    case, net : ndarray of int
        Case and net of every stub.
    nyquist, z_line : ndarray
        Of every net [Hz, ohm].

    Returns
    -------
    Uses
    """
    rates, rate = np.unique(nyquist, return_inverse=True)
    impedances, impedance = np.unique(z_line, return_inverse=True)
    rate_and_impedance = rate * len(impedances) + impedance
    per_case = len(rates) * len(impedances)
    keys, of_stub = _distinct(case * per_case + rate_and_impedance[net])
    pair = keys % max(per_case, 1)
    return Uses(
        keys // max(per_case, 1), rates[pair // max(len(impedances), 1)], impedances[pair % max(len(impedances), 1)],
        of_stub,
    )  # fmt: skip


def _distinct(keys: Numbers) -> tuple[Numbers, Numbers]:
    """Distinct keys in rising order, and which of them each is."""
    if not len(keys) or keys.max() > TABLE_PER_ENTRY * len(keys):
        distinct, number = np.unique(keys, return_inverse=True)
        return distinct, number
    used = np.zeros(int(keys.max()) + 1, dtype=bool)
    used[keys] = True
    return np.flatnonzero(used), (np.cumsum(used) - 1)[keys]


def notch(models: Models, uses: Uses) -> Spread:
    """First notch of every use.

    Parameters
    ----------
    models : Models
    uses : Uses

    Returns
    -------
    Spread
        [Hz]; NaN where unknown.
    """
    return _no_better_than_shorter(_notch, models, uses)


def one_db(models: Models, uses: Uses) -> Spread:
    """1 dB frequency of every use.

    Parameters
    ----------
    models : Models
    uses : Uses

    Returns
    -------
    Spread
        [Hz]; NaN where unknown.
    """
    return _no_better_than_shorter(_one_db, models, uses)


def loss(models: Models, uses: Uses) -> tuple[Spread, Spread]:
    """Greatest loss and least return loss of every use from 0 to Nyquist.

    Parameters
    ----------
    models : Models
    uses : Uses

    Returns
    -------
    loss, return_loss
        [dB]; NaN where unknown.
    """
    own_loss, own_return_loss = _in_band(models, uses)
    shorter = _shorter_stubs(models, uses)
    if shorter is None:
        return own_loss, own_return_loss
    other_loss, other_return_loss = _in_band(shorter.models, shorter.uses)
    return (
        _worse_of_both(own_loss, other_loss, shorter, np.fmax),
        _worse_of_both(own_return_loss, other_return_loss, shorter, np.fmin),
    )


def at_nyquist(models: Models, uses: Uses) -> tuple[Floats, Floats]:
    """Highest loss and lowest return loss of every use at Nyquist itself, over what is not known.

    Parameters
    ----------
    models : Models
    uses : Uses

    Returns
    -------
    loss, return_loss
        [dB]; NaN where unknown.
    """
    known = loss_known(models, uses)
    nyquist, z0 = uses.nyquist[known], uses.z0[known]

    def losses(model: Electrical, index: Numbers, use: Numbers, _: Floats) -> tuple[Floats, Floats]:
        reflected, passed = shunt_s(*model.input(index, nyquist[use]), z0[use])
        return decibels(reflected), decibels(passed)

    loss, return_loss = np.full((2, len(uses.case)), np.nan)
    (return_loss[known], _), (_, loss[known]) = models.spread(uses.case[known], losses)
    return loss, return_loss


def loss_known(models: Models, uses: Uses) -> NDArray[np.bool_]:
    """Whether the loss of every use is known.

    Parameters
    ----------
    models : Models
    uses : Uses

    Returns
    -------
    ndarray of bool
    """
    known: NDArray[np.bool_] = ~is_missing(models.unknown_loss)[uses.case] & np.isfinite(uses.z0)
    return known


def is_missing(unknown: tuple[str | None, ...]) -> NDArray[np.bool_]:
    """Whether something is missing for each case.

    Parameters
    ----------
    unknown : tuple of str or None
        What is missing.

    Returns
    -------
    ndarray of bool
    """
    return np.array([missing is not None for missing in unknown], dtype=bool)


class _ShorterStubs(NamedTuple):
    """Uses of shorter stubs that count as well: pairs of a use, ``row``, and one of their own uses, ``other``."""

    models: Models
    uses: Uses
    row: Numbers
    other: Numbers


def _shorter_stubs(models: Models, uses: Uses) -> _ShorterStubs | None:
    """What counts as well for some uses; None where nothing does."""
    if models.shorter is None:
        return None
    row, shorter = models.shorter.counting(uses.case)
    keys = np.array([shorter, uses.nyquist[row], uses.z0[row]])
    (case, nyquist, z0), of = np.unique(keys, axis=1, return_inverse=True)
    return _ShorterStubs(models.shorter.models, Uses(case.astype(np.intp), nyquist, z0, of), row, of)


def _no_better_than_shorter(figure: Callable[[Models, Uses], Spread], models: Models, uses: Uses) -> Spread:
    own, shorter = figure(models, uses), _shorter_stubs(models, uses)
    return own if shorter is None else _worse_of_both(own, figure(shorter.models, shorter.uses), shorter, np.fmin)


def _worse_of_both(own: Spread, other: Spread, shorter: _ShorterStubs, worse: np.ufunc) -> Spread:
    """A figure whose outer ends are no better than those of what counts as well."""
    worst, best = own.worst.copy(), own.best.copy()
    worse.at(worst, shorter.row, other.worst[shorter.other])
    worse.at(best, shorter.row, other.best[shorter.other])
    return Spread(worst, own.low, own.high, best)


def _notch(models: Models, uses: Uses) -> Spread:
    low, high = models.first_notch[:, uses.case]
    return Spread(models.least_notch[uses.case], low, high, high * models.notch_bounds[1, uses.case])


def _one_db(models: Models, uses: Uses) -> Spread:
    """1 dB frequency of every use. It is as far off as the notch may be: both scale with the delay of the stub."""
    known = loss_known(models, uses)
    case, z0 = uses.case[known], uses.z0[known]

    least = np.full(len(case), np.nan)

    def one_db(model: Electrical, index: Numbers, use: Numbers, below: Floats) -> tuple[Floats, Floats]:
        found = model.one_db(index, z0[use])
        np.fmin.at(least, use, below * found[0])
        return found

    above = models.notch_bounds[1, case]
    (low, _), (_, high) = models.spread(case, one_db)
    ends = np.full((len(Spread._fields), len(uses.case)), np.nan)
    lossy = np.where(models.unknown_df[case], ONE_DB_LOWER, 1.0)
    ends[:, known] = least * lossy, low, high, high * above
    return Spread(*ends)


def _in_band(models: Models, uses: Uses) -> tuple[Spread, Spread]:
    """Greatest loss and least return loss of every use from 0 to Nyquist.

    If the true notch is a factor above the computed one, so is the frequency of every loss. So the bounds of the figure
    are those computed up to a frequency higher, and up to one lower, than Nyquist by that factor. The worst loss allows
    for an unknown loss tangent.
    """
    known = loss_known(models, uses)
    case, nyquist, z0 = uses.case[known], uses.nyquist[known], np.tile(uses.z0[known], 3)
    above = models.notch_bounds[1, case]
    frequency = np.concatenate([nyquist, nyquist, nyquist / above])
    is_worst = np.arange(len(frequency)) < len(nyquist)

    def in_band(model: Electrical, index: Numbers, use: Numbers, below: Floats) -> tuple[Floats, Floats]:
        return model.in_band(index, frequency[use] / np.where(is_worst[use], below, 1.0), z0[use])

    all_uses = np.full((2, 2, 3, len(uses.case)), np.nan)
    all_uses[..., known] = models.spread(np.tile(case, 3), in_band).reshape(2, 2, 3, -1)
    (return_low, loss_low), (return_high, loss_high) = all_uses
    most_loss = np.where(models.unknown_df[uses.case], with_dielectric_loss(loss_high[0]), loss_high[0])
    return (
        Spread(most_loss, loss_high[1], loss_low[1], loss_low[2]),
        Spread(return_low[0], return_low[1], return_high[1], return_high[2]),
    )
