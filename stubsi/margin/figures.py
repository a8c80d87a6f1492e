"""Owns the figures of every net: first notch, 1 dB frequency and losses, each as a range with its uncertainty.

A figure has four values, from worst to best: ``worst`` (lowest of the range, and the model as far off as it may be),
``low`` and ``high`` (the range as computed, equal where all is known), ``best``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias, TypeVar

import numpy as np

from stubsi.board.criterion import Measure
from stubsi.margin import use_figures
from stubsi.margin.spread import Spread
from stubsi.margin.two_stub_holes import StubRows, two_stub_holes
from stubsi.margin.use_figures import Uses, at_nyquist, is_missing, loss_known, uses_of
from stubsi.read_only import read_only

if TYPE_CHECKING:
    from collections.abc import Collection

    from numpy.typing import NDArray

    from stubsi.board.board import Board
    from stubsi.stubs.cases import StubTable
    from stubsi.stubs.models import Models

    Floats: TypeAlias = NDArray[np.float64]
    Numbers: TypeAlias = NDArray[np.intp]

Scalar = TypeVar("Scalar", bound=np.generic)

EQUAL = 1e-9
"""Notches whose relative distance is less are equal: it is the rounding of lengths and of the search for roots."""
NO_STUB = -1
"""Stands for the number of a stub where a net has none."""


@dataclass(frozen=True, kw_only=True)
class Measurable:
    """What a criterion can look at, one entry per net or per stub.

    Parameters
    ----------
    nyquist : ndarray
        Nyquist frequency [Hz].
    longest : ndarray
        Length of the longest stub [m]; 0 without stub.
    notch : Spread
        Lowest first notch [Hz]; NaN where it is unknown and without stub.
    one_db : Spread
        Lowest 1 dB frequency [Hz]; NaN likewise.
    loss, return_loss : Spread
        Greatest loss and least return loss from 0 to Nyquist [dB].
    nyquist_loss, nyquist_return_loss : ndarray
        Loss and return loss at Nyquist itself [dB], at the worse end of what is known.
    """

    nyquist: Floats
    longest: Floats
    notch: Spread
    one_db: Spread
    loss: Spread
    return_loss: Spread
    nyquist_loss: Floats
    nyquist_return_loss: Floats

    def at(self, row: int) -> Measurable:
        """Figures of one entry.

        Parameters
        ----------
        row : int

        Returns
        -------
        Measurable
            With arrays of one entry.
        """
        one = slice(row, row + 1)
        notch, one_db, loss, return_loss = (
            Spread(*(end[one] for end in figure)) for figure in (self.notch, self.one_db, self.loss, self.return_loss)
        )
        return Measurable(
            nyquist=self.nyquist[one], longest=self.longest[one], notch=notch, one_db=one_db, loss=loss,
            return_loss=return_loss, nyquist_loss=self.nyquist_loss[one],
            nyquist_return_loss=self.nyquist_return_loss[one],
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Figures(Measurable):
    """Figures of the signal nets, one entry per net, in arrays that are read-only.

    Parameters
    ----------
    nyquist, longest, notch, one_db, loss, return_loss, nyquist_loss, nyquist_return_loss
        As in ``Measurable``. The loss is that of the worse leg: that of its holes summed, interaction between them left
        out. A hole with two stubs has the loss of both together if that is larger than their sum.
    stubs : ndarray of int
        How many stubs a net has.
    governing : ndarray of int
        Row of the stub table with the lowest first notch; ``NO_STUB`` without stub.
    nearness : ndarray
        Least abs(log(notch / Nyquist)) over all stubs and odd orders; infinite without stub.
    two_stubs, two_stubs_one_db, two_stubs_return : ndarray of int
        Number, in the stub table's list, of the hole whose two stubs together lose most above their sum, have a 1 dB
        frequency below that of every stub, and a return loss below that of the governing stub; -1 if there is none.
    unknown, unknown_loss : ndarray of int
        Case number of a stub whose notch or loss is not known; -1 if there is none.
    """

    stubs: Numbers
    governing: Numbers
    nearness: Floats
    two_stubs: Numbers
    two_stubs_one_db: Numbers
    two_stubs_return: Numbers
    unknown: Numbers
    unknown_loss: Numbers

    def __post_init__(self) -> None:
        for figure in (self.nyquist, self.longest, self.nyquist_loss, self.nyquist_return_loss):
            read_only(figure)
        for figure in (*self.notch, *self.one_db, *self.loss, *self.return_loss):
            read_only(figure)
        for array in (self.stubs, self.governing, self.nearness, self.unknown, self.unknown_loss):
            read_only(array)
        for array in (self.two_stubs, self.two_stubs_one_db, self.two_stubs_return):
            read_only(array)


def net_figures(board: Board, table: StubTable, models: Models, case: Numbers) -> Figures:
    """Figures of every signal net of a board.

    Parameters
    ----------
    board : Board
    table : StubTable
        Its stubs.
    models : Models
        Models of the cases of the table.
    case : ndarray of int
        Case that each stub of the table is now; ``NO_CASE`` where nothing is left of it.

    Returns
    -------
    Figures
    """
    nyquist, z_line = board.nyquist_si, board.z_stub_line_si
    count = len(nyquist)
    rows = np.flatnonzero(case >= 0)
    net, case = table.net[rows], case[rows]
    uses = uses_of(case, net, nyquist, z_line)
    notch, one_db = use_figures.notch(models, uses), use_figures.one_db(models, uses)
    loss, return_loss = use_figures.loss(models, uses)
    nyquist_loss, nyquist_return_loss = at_nyquist(models, uses)
    stubs = StubRows(
        table.hole[rows], case, nyquist[net], z_line[net], loss_known(models, uses)[uses.of_stub],
        Spread(*(values[uses.of_stub] for values in loss)), nyquist_loss[uses.of_stub],
    )  # fmt: skip
    whole = two_stub_holes(models, table.cases, stubs)
    leg = np.concatenate([table.leg[rows], table.leg[rows[whole.stub]]])
    leg_net = np.concatenate([net, net[whole.stub]])
    governing = _governing(net, notch.low[uses.of_stub], count)
    has_stub = governing >= 0
    governing_use = uses.of_stub[governing[has_stub]]
    longest = np.zeros(count)
    np.maximum.at(longest, net, table.lengths_of(case))
    hole, of_net = table.hole[rows[whole.stub]], net[whole.stub]
    own_one_db = _lowest_of_each_net(net, one_db.low[uses.of_stub], count)[of_net]
    own_return = _put_in_place(has_stub, return_loss.low[governing_use], np.inf)[of_net]
    return Figures(
        nyquist=nyquist,
        stubs=np.bincount(net, minlength=count),
        longest=longest,
        governing=_put_in_place(has_stub, rows[governing[has_stub]], NO_STUB),
        notch=Spread(*(_lowest_of_each_net(net, values[uses.of_stub], count) for values in notch)),
        one_db=Spread(
            *(
                _lowest_of_each_net(leg_net, np.concatenate([values[uses.of_stub], both]), count)
                for values, both in zip(one_db, whole.one_db, strict=True)
            )
        ),
        loss=Spread(
            *(
                _leg_sums(leg_net, leg, np.concatenate([values[uses.of_stub], more]), count)
                for values, more in zip(loss, whole.more_loss, strict=True)
            )
        ),
        return_loss=Spread(
            *(
                _lowest_with_others(_put_in_place(has_stub, values[governing_use], np.inf), net[whole.stub], both)
                for values, both in zip(return_loss, whole.return_loss, strict=True)
            )
        ),
        nyquist_loss=_leg_sums(
            leg_net, leg, np.concatenate([nyquist_loss[uses.of_stub], whole.more_nyquist_loss]), count
        ),
        nyquist_return_loss=_lowest_with_others(
            _put_in_place(has_stub, nyquist_return_loss[governing_use], np.inf),
            net[whole.stub],
            whole.nyquist_return_loss,
        ),
        two_stubs=_losing_most(of_net, hole, whole.more_loss.low, count),
        two_stubs_one_db=_losing_most(of_net, hole, own_one_db - whole.one_db.low, count),
        two_stubs_return=_losing_most(of_net, hole, own_return - whole.return_loss.low, count),
        nearness=_nearness_to_nyquist(models, uses, net, count),
        unknown=_first_unknown(models.unknown, case, net, count),
        unknown_loss=_first_unknown(models.unknown_loss, case, net, count),
    )


def stub_figures(
    models: Models, case: Numbers, length: Floats, nyquist: Floats, z0: Floats, *, wanted: Collection[Measure]
) -> Measurable:
    """Figures of stubs, each by itself.

    Parameters
    ----------
    models : Models
    case : ndarray of int
        Case of each stub.
    length : ndarray
        Its length [m].
    nyquist : ndarray
        Nyquist frequency [Hz] of its signal.
    z0 : ndarray
        Impedance of its line [ohm]; NaN where unknown.
    wanted : collection of Measure
        What will be looked at. The figures of the loss curve are NaN unless they are among it.

    Returns
    -------
    Measurable
        One entry per stub.
    """
    uses = Uses(case, nyquist, z0, np.arange(len(case)))
    unknown = np.full(len(case), np.nan)
    one_db = loss = return_loss = Spread(unknown, unknown, unknown, unknown)
    nyquist_loss = nyquist_return_loss = unknown
    if Measure.ONE_DB_RATIO in wanted:
        one_db = use_figures.one_db(models, uses)
    if Measure.LOSS in wanted or Measure.RETURN_LOSS in wanted:
        loss, return_loss = use_figures.loss(models, uses)
        nyquist_loss, nyquist_return_loss = at_nyquist(models, uses)
    return Measurable(
        nyquist=nyquist, longest=length, notch=use_figures.notch(models, uses), one_db=one_db, loss=loss,
        return_loss=return_loss, nyquist_loss=nyquist_loss, nyquist_return_loss=nyquist_return_loss,
    )  # fmt: skip


def _lowest_with_others(values: Floats, net: Numbers, others: Floats) -> Floats:
    """Value of each net, or a lower one of its others."""
    lowered = values.copy()
    np.fmin.at(lowered, net, others)
    return lowered


def _losing_most(net: Numbers, hole: Numbers, more: Floats, count: int) -> Numbers:
    """Hole of each net that loses most above the sum of its stubs; -1 if none does."""
    losing = np.full(count, -1, dtype=np.intp)
    order = np.argsort(more, kind="stable")
    order = order[more[order] > 0]
    losing[net[order]] = hole[order]
    return losing


def _lowest_of_each_net(net: Numbers, values: Floats, count: int) -> Floats:
    """Lowest value of each net, NaN where it has none."""
    least = np.full(count, np.nan)
    np.fmin.at(least, net, values)
    return least


def _governing(net: Numbers, notch: Floats, count: int) -> Numbers:
    """First stub with the lowest notch of each net, to ``EQUAL``; ``NO_STUB`` without stub. An unknown one is last."""
    notch = np.where(np.isnan(notch), np.inf, notch)
    lowest = np.full(count, np.inf)
    np.minimum.at(lowest, net, notch)
    candidates = np.flatnonzero(notch <= lowest[net] * (1 + EQUAL))[::-1]
    governing = np.full(count, NO_STUB, dtype=np.intp)
    governing[net[candidates]] = candidates
    return governing


def _leg_sums(net: Numbers, leg: Numbers, loss: Floats, count: int) -> Floats:
    """Loss of each leg, its stubs summed; the worse leg counts."""
    of_legs = np.bincount(2 * net + leg, weights=loss, minlength=2 * count).reshape(count, 2)
    return np.asarray(of_legs.max(axis=1), dtype=np.float64)


def _put_in_place(which: NDArray[np.bool_], values: NDArray[Scalar], other: float) -> NDArray[Scalar]:
    """Array with ``values`` where ``which`` is true, and with ``other`` elsewhere."""
    filled = np.full(len(which), other, dtype=values.dtype)
    filled[which] = values
    return filled


def _first_unknown(unknown: tuple[str | None, ...], case: Numbers, net: Numbers, count: int) -> Numbers:
    """Case of a stub of each net about which something is unknown; -1 if there is none."""
    missing = is_missing(unknown)
    unknown_case = np.full(count, -1, dtype=np.intp)
    if missing.any():
        stubs = missing[case]
        unknown_case[net[stubs]] = case[stubs]
    return unknown_case


def _nearness_to_nyquist(models: Models, uses: Uses, net: Numbers, count: int) -> Floats:
    """Least abs(log(notch / Nyquist)) over the odd orders of every stub of a net; infinite without stub."""
    least = np.full(count, np.inf)
    np.fmin.at(least, net, models.nearness(uses.case, uses.nyquist)[uses.of_stub])
    return least
