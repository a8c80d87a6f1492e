"""Owns the shares of a yield: from counted samples, and what the boards that were solved say about them."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.stats import beta

from stubsi.tolerance.near_limit import WIDE

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.tolerance.draws import Floats
    from stubsi.tolerance.near_limit import NearLimit
    from stubsi.tolerance.study import Study
    from stubsi.tolerance.tally import Tally

CONFIDENCE = 0.95
"""Of the interval from the boards that were solved."""
FEWEST_IN_BAND = 16
"""Of fewer samples near a limit nothing is said."""


class Shares(NamedTuple):
    """Shares of the boards that meet each criterion; the whole board is last.

    Parameters
    ----------
    share : ndarray, shape (3, nets + 1)
        As computed, at least and at most.
    error : ndarray, shape (nets + 1,)
        Standard error of the first.
    """

    share: Floats
    error: Floats

    @property
    def wide(self) -> NDArray[np.intp]:
        """Nets of which the share is known to more than ``WIDE`` only."""
        return np.flatnonzero(self.share[2, :-1] - self.share[1, :-1] > WIDE)


def shares_of(study: Study, total: Tally) -> Shares:
    """Shares by the surfaces of a study, narrowed by the boards that were solved for it.

    Parameters
    ----------
    study : Study
    total : Tally

    Returns
    -------
    Shares
    """
    share, error = total.shares()
    return Shares(*_corrected(study, share, error[0]))


def narrowed(shares: Shares, near: NearLimit, total: Tally) -> Shares:
    """Shares, narrowed by the samples near the limits that were solved.

    Parameters
    ----------
    shares : Shares
        Without these samples.
    near : NearLimit
    total : Tally
        Counted with the borders that they show.

    Returns
    -------
    Shares
        Where they are narrower. Of the samples that the borders leave open, as many meet their criterion as of those of
        them that were solved, with 95 % confidence (Clopper and Pearson). The board meets all criteria on no more
        boards than any of its nets, and misses them on no more than all its nets together.
    """
    share, error = (each.copy() for each in shares)
    found, own_error = total.shares()
    for net in (*near.seen, -1):
        middle, low, high = found[:, net]
        spread = float(own_error[0, net])
        met, of = (0, 0) if net < 0 else near.in_band(net)
        if of >= FEWEST_IN_BAND:
            open_ = high - low
            part, (least, most) = met / of, _between(np.array(met), of, 1)
            middle, low, high = low + open_ * part, low + open_ * float(least), low + open_ * float(most)
            spread = float(np.hypot(spread, open_ * np.sqrt(part * (1 - part) / of)))
        if high - low < share[2, net] - share[1, net]:
            share[:, net], error[net] = (middle, low, high), spread
    counts, known = near.sampled.counts, near.sampled.known
    misses = (1 - np.where(known, share[1, :-1], 0.0))[counts].sum()
    share[1, -1] = max(share[1, -1], 1 - misses)
    share[2, -1] = min(share[2, -1], np.where(known, share[2, :-1], 1.0)[counts].min(initial=1.0))
    share[0, -1] = np.clip(share[0, -1], share[1, -1], share[2, -1])
    return Shares(share, error)


def _corrected(study: Study, share: Floats, error: Floats) -> tuple[Floats, Floats]:
    """Shares, narrowed and corrected by what the boards that were solved show, and their errors.

    Where holes deviate for themselves, the boards that were solved say something about each part of a net, not about
    the net: the share is then no more than that of any part, and misses no more than all parts together.
    """
    boards = study.met.shape[1]
    if not boards:
        return share, error
    counts = np.array([not net.waiver for net in study.ranking.board.signal_nets], dtype=bool)
    known = np.array([number not in study.unknown for number in range(len(counts))], dtype=bool)
    alike = study.shared == len(study.factors)
    met, predicted = (
        np.concatenate([each, each[counts & known].all(axis=0)[None]]) for each in (study.met, study.predicted)
    )
    low, high = _between(met.sum(axis=1), boards, 1) if alike else _between_parts(study, counts & known)
    if not known[counts].all():
        low[-1] = 0.0
    low, high = np.maximum(low, share[1]), np.minimum(high, share[2])
    narrower = (high - low < share[2] - share[1]) & (low <= high)
    off = met.astype(float) - predicted if alike else np.zeros((len(met), 1))
    moved = np.clip(share[0] + off.mean(axis=1), np.minimum(low, high), np.maximum(low, high))
    own_error = np.hypot(error, off.std(axis=1) / np.sqrt(boards))
    return np.where(narrower, [moved, low, high], share), np.where(narrower, own_error, error)


def _between_parts(study: Study, counted: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Interval of the share of every net, and of the board, from those of the parts, whatever their dependence."""
    parts, boards = study.parts, study.met.shape[1]
    of_net = np.diff(np.append(parts.start, len(parts.column)))
    low, high = _between(study.met_parts.sum(axis=1), boards, np.repeat(of_net, of_net))
    missed = np.add.reduceat(1 - low, parts.start)
    most = np.minimum.reduceat(high, parts.start)
    low, high = np.append(1 - missed, 1 - missed[counted].sum()), np.append(most, most[counted].min(initial=1.0))
    return np.maximum(low, 0.0), high


def _between(met: NDArray[np.int64], boards: int, several: int | NDArray[np.intp]) -> tuple[Floats, Floats]:
    """Interval of a share of which so many of so many boards were met (Clopper and Pearson), one of several."""
    tail = (1 - CONFIDENCE) / 2 / several
    low = np.where(met > 0, beta.ppf(tail, np.maximum(met, 1), boards - met + 1), 0.0)
    high = np.where(met < boards, beta.ppf(1 - tail, met + 1, np.maximum(boards - met, 1)), 1.0)
    return low, high
