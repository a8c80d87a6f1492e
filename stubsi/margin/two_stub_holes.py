"""Owns the figures of the holes of which two stubs are left: those of the whole hole, beside those of its stubs."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.margin.spread import Spread
from stubsi.stubs.model_error import layer_change_error
from stubsi.stubs.unknown_df import ONE_DB_LOWER, with_dielectric_loss
from stubsi.stubs.whole_hole import HoleUses, hole_losses

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from stubsi.stubs.cases import Case
    from stubsi.stubs.models import Models

    Floats = NDArray[np.float64]
    Numbers = NDArray[np.intp]


class StubRows(NamedTuple):
    """Stubs that are left, in the order of their holes, each array of shape (n,).

    ``hole``: number of its hole; ``case``; ``nyquist`` [Hz]; ``z0`` of its line [ohm]; ``known``: whether its loss is
    known; ``loss``: its greatest loss from 0 to Nyquist [dB]; ``nyquist_loss``: at Nyquist [dB].
    """

    hole: Numbers
    case: Numbers
    nyquist: Floats
    z0: Floats
    known: NDArray[np.bool_]
    loss: Spread
    nyquist_loss: Floats


class WholeHoles(NamedTuple):
    """Holes with two stubs, each array of shape (n,).

    ``stub``: number of the upper stub; ``more_loss`` and ``more_nyquist_loss`` [dB]: what the hole loses more than its
    stubs summed; ``one_db`` [Hz], ``return_loss`` and ``nyquist_return_loss`` [dB]: of the hole.
    """

    stub: Numbers
    one_db: Spread
    more_loss: Spread
    return_loss: Spread
    more_nyquist_loss: Floats
    nyquist_return_loss: Floats


def two_stub_holes(models: Models, cases: Sequence[Case], stubs: StubRows) -> WholeHoles:
    """Figures of the holes of which two stubs are left.

    Parameters
    ----------
    models : Models
        Of the cases.
    cases : sequence of Case
    stubs : StubRows

    Returns
    -------
    WholeHoles
    """
    upper = np.flatnonzero((stubs.hole[:-1] == stubs.hole[1:]) & stubs.known[:-1] & stubs.known[1:])
    kinds = np.stack([stubs.case[upper], stubs.case[upper + 1], stubs.nyquist[upper], stubs.z0[upper]])
    _, first, of_hole = np.unique(kinds, axis=1, return_index=True, return_inverse=True)
    of_hole, one, other = of_hole.reshape(-1), upper[first], upper[first] + 1
    uses = HoleUses(stubs.case[one], stubs.case[other], stubs.nyquist[one], stubs.z0[one])
    found = hole_losses(models, cases, uses)
    stubs_of_hole = np.array([uses.above, uses.below])
    below, above = models.least_below[stubs_of_hole], models.notch_bounds[1, stubs_of_hole]
    least = found.one_db[0] * below.min(axis=0) / (1 + layer_change_error(found.one_db[0]))
    lossy = models.unknown_df[uses.above] | models.unknown_df[uses.below]
    least = np.where(lossy, ONE_DB_LOWER, 1.0) * least
    found.loss[1, 0] = np.where(lossy, with_dielectric_loss(found.loss[1, 0]), found.loss[1, 0])
    one_db = Spread(least, found.one_db[0], found.one_db[1], found.one_db[1] * above.max(axis=0))
    more_loss = Spread(
        *(
            np.fmax(whole - own[one] - own[other], 0.0)
            for whole, own in zip(_ends(found.loss[1], found.loss[0]), stubs.loss, strict=True)
        )
    )
    more_at_nyquist = np.fmax(found.nyquist_loss[1] - stubs.nyquist_loss[one] - stubs.nyquist_loss[other], 0.0)
    return_loss = _ends(found.return_loss[0], found.return_loss[1])
    one_db, more_loss, return_loss = (
        Spread(*(end[of_hole] for end in spread)) for spread in (one_db, more_loss, return_loss)
    )
    return WholeHoles(
        upper, one_db, more_loss, return_loss, more_at_nyquist[of_hole], found.nyquist_return_loss[0][of_hole]
    )


def _ends(worse: Floats, better: Floats) -> Spread:
    """From figures up to a frequency above, equal to and below Nyquist, at the worse and the better end of a range."""
    return Spread(worse[0], worse[1], better[1], better[2])
