"""Owns what the criteria allow each stub: its longest permitted length, and its loss at any length.

The only module of drilling that asks the electrical models. A longest permitted length is the smallest at which the
criterion is no longer met: every shorter stub meets it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from stubsi.margin.solved import solved_models
from stubsi.margin.uniform import uniform_models
from stubsi.physics.line import decibels, shunt_s
from stubsi.units import quantity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from stubsi.board.board import Board
    from stubsi.board.criterion import Criterion
    from stubsi.board.net import Net
    from stubsi.margin.models import Models
    from stubsi.margin.table import Case, StubTable

RESOLUTION = 2e-6
"""A longest permitted length is found to this much [m], on the safe side."""


class Model(NamedTuple):
    """Electrical model of the stubs, as ``rank`` takes it."""

    name: str = "solved"
    dk_eff: float | None = None
    delay: float | None = None

    def arguments(self) -> dict[str, Any]:
        """The model as keyword arguments of ``rank``."""
        delay = None if self.delay is None else quantity(self.delay, "delay per length")
        return {"model": self.name, "dk_eff": self.dk_eff, "delay": delay}

    @property
    def uniform(self) -> bool:
        """Whether stubs are uniform lines."""
        return self.name == "uniform" or self.dk_eff is not None or self.delay is not None

    def of(self, cases: Sequence[Case]) -> Models:
        """Models of these cases."""
        if self.uniform:
            return uniform_models(cases, dk_eff=self.dk_eff, delay=self.delay)
        return solved_models(cases)


class Use(NamedTuple):
    """A stub as its net uses it: the case, Nyquist [Hz], impedance of its line [ohm]."""

    case: Case
    nyquist: float
    z0: float


class Figure(NamedTuple):
    """Computed figures at the unfavourable end of their range: notch [Hz], loss and return loss at Nyquist [dB]."""

    notch: NDArray[np.float64]
    loss: NDArray[np.float64]
    return_loss: NDArray[np.float64]


def figures(uses: Sequence[Use], lengths: NDArray[np.float64], model: Model) -> Figure:
    """Figures of stubs cut to ``lengths`` [m]; NaN where an input is unknown.

    Once the notch has come down to Nyquist the loss counts as infinite and the return loss as none, however long the
    stub: shorter ones pass through that point.
    """
    cases: dict[tuple, int] = {}
    cut = [use.case._replace(length_si=float(length)) for use, length in zip(uses, lengths, strict=True)]
    number = np.array([cases.setdefault(_key(case), len(cases)) for case in cut], dtype=np.intp)
    first = {at: case for case, at in reversed(list(zip(cut, number.tolist(), strict=True)))}
    models = model.of([first[at] for at in range(len(cases))])
    nyquist, z0 = (np.array([getattr(use, name) for use in uses], dtype=float) for name in ("nyquist", "z0"))
    notch = models.notch()[0][number]
    spread = models.spread(number, nyquist, lambda v, i, which: decibels(shunt_s(v, i, z0[which])))
    past = notch <= nyquist
    return Figure(notch, np.where(past, np.inf, spread[1, 1]), np.where(past, 0.0, spread[0, 0]))


def _key(case: Case) -> tuple:
    return id(case.shape), case.length_si, *map(id, case[2:])


@dataclass(frozen=True)
class Limits:
    """What the criteria of a board allow its stubs, under one electrical model."""

    board: Board
    table: StubTable
    model: Model

    @cached_property
    def _nets(self) -> tuple[Net, ...]:
        return self.board.signal_nets

    def net(self, stub: int) -> Net:
        """Net of a row of the stub table."""
        return self._nets[self.table.net[stub]]

    def use(self, stub: int) -> Use:
        """How the net of a row of the stub table uses its stub."""
        net = self.net(stub)
        return Use(self.table.cases[self.table.case[stub]], net.signal.nyquist_si, net.z_stub_line_si)

    def criterion(self, stub: int) -> Criterion:
        """Criterion of the net of a row of the stub table."""
        return self.board.criterion_of(self.net(stub))

    def longest(self, stubs: Sequence[int]) -> NDArray[np.float64]:
        """Longest permitted stub [m] for rows of the table, each on its own; infinite where it passes as it is.

        NaN where an input is unknown.
        """
        keys = [(*_key(use.case), use.nyquist, use.z0, criterion) for use, criterion in self._uses(stubs)]
        distinct = dict(zip(reversed(keys), reversed(stubs), strict=True))
        found = dict(zip(distinct, _longest(self._uses(list(distinct.values())), self.model), strict=True))
        return np.array([found[key] for key in keys])

    def losses(self, stubs: Sequence[int], lengths: Sequence[float]) -> NDArray[np.float64]:
        """Loss at Nyquist [dB] of rows of the table cut to ``lengths`` [m]; 0 at length 0, NaN where unknown."""
        asked = {}
        for stub, length in zip(stubs, lengths, strict=True):
            use = self.use(stub)
            asked.setdefault((*_key(use.case), use.nyquist, use.z0, round(length, 10)), (use, length))
        real = {key: pair for key, pair in asked.items() if pair[1] > 0}
        loss = dict.fromkeys(asked, 0.0)
        if real:
            uses, cut = zip(*real.values(), strict=True)
            loss.update(zip(real, figures(uses, np.array(cut), self.model).loss.tolist(), strict=True))
        return np.array([
            loss[*_key(use.case), use.nyquist, use.z0, round(length, 10)]
            for use, length in ((self.use(stub), length) for stub, length in zip(stubs, lengths, strict=True))
        ])  # fmt: skip

    def _uses(self, stubs: Sequence[int]) -> list[tuple[Use, Criterion]]:
        return [(self.use(stub), self.criterion(stub)) for stub in stubs]


def _longest(wanted: list[tuple[Use, Criterion]], model: Model) -> NDArray[np.float64]:
    found = np.array([_by_length(use, criterion) for use, criterion in wanted], dtype=float).reshape(-1)
    solve = np.flatnonzero(np.isnan(found))
    if len(solve):
        uses, criteria = zip(*(wanted[i] for i in solve), strict=True)
        found[solve] = _by_root(uses, criteria, model)
    return found


def _by_length(use: Use, criterion: Criterion) -> float:
    """Longest length [m] where the criterion is one of length; NaN where it is not."""
    if criterion.measure == "stub length":
        return criterion.limit
    if criterion.measure == "stub length x symbol rate":
        return criterion.limit / (2 * use.nyquist)
    return np.nan


def _by_root(uses: Sequence[Use], criteria: Sequence[Criterion], model: Model) -> NDArray[np.float64]:
    """Bracket the smallest length that no longer meets its criterion, all stubs at once.

    False position with the Illinois halving; a step that lands near one end of the bracket goes a little beyond, so
    that both ends close in on the root.
    """
    low, high = np.zeros(len(uses)), np.array([use.case.length_si for use in uses])
    above = _excess(uses, criteria, high, model)
    below = np.full(len(uses), -1.0)
    found = np.where(np.isnan(above), np.nan, np.where(above > 0, 0.0, np.inf))
    weight_low, weight_high = below.copy(), above.copy()
    turn, left = 0, np.flatnonzero(above > 0)
    while len(left):
        middle = _next(low[left], high[left], weight_low[left], weight_high[left], turn)
        excess = _excess([uses[i] for i in left], [criteria[i] for i in left], middle, model)
        meets = excess <= 0
        up, down = left[meets], left[~meets]
        low[up], weight_low[up] = middle[meets], excess[meets]
        high[down], weight_high[down] = middle[~meets], np.nan_to_num(excess[~meets], nan=np.inf)
        weight_high[up] /= 2
        weight_low[down] /= 2
        left = left[high[left] - low[left] > RESOLUTION]
        turn += 1
    return np.where(found == 0, low, found)


def _next(
    low: NDArray[np.float64],
    high: NDArray[np.float64],
    weight_low: NDArray[np.float64],
    weight_high: NDArray[np.float64],
    turn: int,
) -> NDArray[np.float64]:
    """Length to try next in each bracket."""
    span = high - low
    with np.errstate(invalid="ignore"):
        share = weight_low / (weight_low - weight_high)
    share = np.where(np.isfinite(share) & (turn % 4 != 3), share, 0.5)
    edge = np.minimum(0.9 * RESOLUTION / span, 0.5)
    share = np.where(share < 0.5, np.maximum(share, edge), share)
    return low + np.clip(share, edge, 1 - edge) * span


def _excess(
    uses: Sequence[Use], criteria: Sequence[Criterion], lengths: NDArray[np.float64], model: Model
) -> NDArray[np.float64]:
    """By how much stubs of these lengths overshoot their criterion: above 0 it is not met, NaN where unknown.

    Grows about in proportion to the length, so that a secant finds its root: notches as 1/notch, losses as their root.
    """
    found = figures(uses, lengths, model)
    limit = np.array([criterion.limit for criterion in criteria])
    nyquist = np.array([use.nyquist for use in uses])
    with np.errstate(divide="ignore"):
        by_measure = {
            "notch ratio": limit * nyquist / found.notch - 1,
            "loss": np.sqrt(found.loss / limit) - 1,
            "return loss": limit / found.return_loss - 1,
        }
    excess = np.full(len(limit), np.nan)
    for measure, values in by_measure.items():
        mine = np.array([criterion.measure == measure for criterion in criteria])
        excess[mine] = values[mine]
    return np.where(np.abs(excess) < 1e-9, 0.0, excess)
