"""Owns the figures of every net: first notch, loss and return loss at Nyquist, each as a range with its uncertainty.

A figure has four values, from worst to best: ``worst`` (lowest of the range, and the model as far off as it may be),
``low`` and ``high`` (the range as computed, equal where all is known), ``best``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.physics.uniform_line import decibels, shunt_s

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.board.board import Board
    from stubsi.stubs.cases import StubTable
    from stubsi.stubs.models import Models

Array = np.ndarray


class Spread(NamedTuple):
    """A figure per net: outer bounds with the model's uncertainty, and the computed range between."""

    worst: Array
    low: Array
    high: Array
    best: Array


@dataclass(frozen=True, kw_only=True)
class Measurable:
    """What a criterion can look at, one entry per net or per stub: frequencies [Hz], lengths [m], losses [dB].

    ``longest``: of its stubs, 0 without. ``notch``: the lowest of its stubs; NaN where unknown, and without stub.
    """

    nyquist: Array
    longest: Array
    notch: Spread
    loss: Spread
    return_loss: Spread

    def at(self, row: int) -> Measurable:
        """Those of one entry."""
        one = slice(row, row + 1)
        spreads = (Spread(*(end[one] for end in figure)) for figure in (self.notch, self.loss, self.return_loss))
        return Measurable(
            **dict(zip(("notch", "loss", "return_loss"), spreads, strict=True)),
            nyquist=self.nyquist[one], longest=self.longest[one],
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Figures(Measurable):
    """Figures of the signal nets, one entry per net.

    ``governing``: row of the stub table with the lowest first notch, -1 without stub. ``loss``: sum of each stub's
    shunt loss, interaction ignored, of the worse leg. ``unknown`` and ``unknown_loss``: case number of a stub whose
    figures are missing, -1 if none.
    """

    stubs: Array
    governing: Array
    nearness: Array
    unknown: Array
    unknown_loss: Array


class _Uses(NamedTuple):
    """Distinct (case, Nyquist, line impedance), and which of them each stub is."""

    case: NDArray[np.intp]
    nyquist: Array
    z0: Array
    of_stub: NDArray[np.intp]


def net_figures(board: Board, table: StubTable, models: Models, case: NDArray[np.intp]) -> Figures:
    """Figures of every signal net of a board whose stubs are these cases (-1: no stub)."""
    nets = board.signal_nets
    nyquist = np.array([net.signal.nyquist_si for net in nets])
    z_line = np.array([net.z_stub_line_si for net in nets])
    rows = np.flatnonzero(case >= 0)
    net = table.net[rows]
    uses = _uses(case[rows], nyquist[net], z_line[net])
    first = models.notch()
    notch = _notch(models, first, uses)
    loss, back = _losses(models, uses)
    count = len(nets)
    governing = _governing(net, np.nan_to_num(notch.low[uses.of_stub], nan=np.inf), count)
    held = Spread(*(_least(net, values[uses.of_stub], count) for values in notch))
    legs = _leg_sums(net, table.leg[rows], Spread(*(values[uses.of_stub] for values in loss)), count)
    lengths = np.array([models_case.length_si for models_case in table.cases] or [0.0])[case[rows]]
    longest = np.zeros(count)
    np.maximum.at(longest, net, lengths)
    has = governing >= 0
    at = uses.of_stub[governing[has]] if has.any() else np.zeros(0, np.intp)
    return Figures(
        nyquist=nyquist,
        stubs=np.bincount(net, minlength=count),
        longest=longest,
        governing=np.where(has, rows[governing] if len(rows) else -1, -1),
        notch=held,
        loss=legs,
        return_loss=Spread(*(_spread_out(has, values[at]) for values in back)),
        nearness=_nearness(models, first[0], uses, net, count),
        unknown=_first_unknown(models.unknown, case[rows], net, count),
        unknown_loss=_first_unknown(models.unknown_loss, case[rows], net, count),
    )


def stub_figures(models: Models, case: NDArray[np.intp], length: Array, nyquist: Array, z0: Array) -> Measurable:
    """Figures of stubs each by itself: its case, its length [m], Nyquist [Hz] and the impedance of its line [ohm]."""
    uses = _Uses(case, nyquist, z0, np.arange(len(case)))
    loss, back = _losses(models, uses)
    notch = _notch(models, models.notch(), uses)
    return Measurable(nyquist=nyquist, longest=length, notch=notch, loss=loss, return_loss=back)


def _uses(case: NDArray[np.intp], nyquist: Array, z0: Array) -> _Uses:
    distinct, of_stub = np.unique(np.column_stack([case, nyquist, z0]), axis=0, return_inverse=True)
    return _Uses(distinct[:, 0].astype(np.intp), distinct[:, 1], distinct[:, 2], of_stub.reshape(-1))


def _bounds(models: Models, case: NDArray[np.intp]) -> tuple[Array, Array]:
    """Multiples of the computed notch between which the true one is expected, per case."""
    bounds = np.array([(p.low, p.high) for p in models.provenance]).reshape(-1, 2)
    return bounds[case, 0], bounds[case, 1]


def _notch(models: Models, first: Array, uses: _Uses) -> Spread:
    low, high = first[:, uses.case]
    below, above = _bounds(models, uses.case)
    return Spread(low * below, low, high, high * above)


def _losses(models: Models, uses: _Uses) -> tuple[Spread, Spread]:
    """Insertion and return loss at Nyquist per use. A notch off by a factor is a frequency off by its inverse.

    Past a notch the loss falls with frequency, so the bounds are the extremes of the three, whichever they are.
    """
    known = np.array([text == "" for text in models.unknown_loss], dtype=bool)[uses.case] & np.isfinite(uses.z0)
    case, nyquist, z0 = uses.case[known], uses.nyquist[known], np.tile(uses.z0[known], 3)

    def figures(voltage: Array, current: Array, use: NDArray[np.intp]) -> Array:
        return decibels(shunt_s(voltage, current, z0[use]))

    below, above = _bounds(models, case)
    frequency = np.concatenate([nyquist / below, nyquist, nyquist / above])
    all_uses = np.full((2, 2, 3, len(uses.case)), np.nan)
    all_uses[..., known] = models.spread(np.tile(case, 3), frequency, figures).reshape(2, 2, 3, -1)
    (back_low, loss_low), (back_high, loss_high) = all_uses
    return (
        Spread(loss_high.max(axis=0), loss_high[1], loss_low[1], loss_low.min(axis=0)),
        Spread(back_low.min(axis=0), back_low[1], back_high[1], back_high.max(axis=0)),
    )


def _least(net: NDArray[np.intp], values: Array, count: int) -> Array:
    least = np.full(count, np.nan)
    np.fmin.at(least, net, values)
    return least


def _governing(net: NDArray[np.intp], notch: Array, count: int) -> NDArray[np.intp]:
    """Stub with the lowest notch of each net, an unknown one last; -1 without stub."""
    order = np.lexsort((notch, net))
    found, first = np.unique(net[order], return_index=True)
    governing = np.full(count, -1, dtype=np.intp)
    governing[found] = order[first]
    return governing


def _leg_sums(net: NDArray[np.intp], leg: NDArray[np.intp], loss: Spread, count: int) -> Spread:
    """Loss of each leg, its stubs summed; the worse leg counts."""
    sums = []
    for values in loss:
        per_leg = np.zeros(2 * count)
        np.add.at(per_leg, 2 * net + leg, values)
        sums.append(per_leg.reshape(count, 2).max(axis=1))
    return Spread(*sums)


def _spread_out(has: NDArray[np.bool_], values: Array) -> Array:
    full = np.full(len(has), np.inf)
    full[has] = values
    return full


def _first_unknown(unknown: tuple[str, ...], case: NDArray[np.intp], net: NDArray[np.intp], count: int) -> Array:
    missing = np.array([text != "" for text in unknown], dtype=bool)
    found = np.full(count, -1, dtype=np.intp)
    if missing.any():
        bad = missing[case]
        found[net[bad]] = case[bad]
    return found


def _nearness(models: Models, first: Array, uses: _Uses, net: NDArray[np.intp], count: int) -> Array:
    """Least |log(notch / Nyquist)| over the odd orders of every stub of a net; infinite without stub."""
    nearest = np.full(len(uses.case), np.inf)
    below = np.ones(len(uses.case), dtype=bool)
    order = 1
    while below.any():
        wanted = np.zeros(len(models.provenance), dtype=bool)
        wanted[uses.case[below]] = True
        notch = (first if order == 1 else models.notch(order, wanted)[0])[uses.case]
        nearest = np.fmin(nearest, np.abs(np.log(notch / uses.nyquist)))
        below &= notch < uses.nyquist
        order += 2
    least = np.full(count, np.inf)
    np.fmin.at(least, net, nearest[uses.of_stub])
    return least
