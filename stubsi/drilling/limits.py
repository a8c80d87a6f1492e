"""Owns what the criteria allow each stub: its longest permitted length, and its loss at any length.

The only module of drilling that asks the electrical models. A longest permitted length is the smallest at which the
criterion is no longer met: every shorter stub meets it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from stubsi.drilling.window import ROUNDING
from stubsi.margin.figures import case_figures
from stubsi.margin.geometry import Bore
from stubsi.margin.solved import solved_models
from stubsi.margin.uniform import uniform_models
from stubsi.units import quantity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from stubsi.board.board import Board
    from stubsi.board.criterion import Criterion
    from stubsi.board.net import Net
    from stubsi.drilling.rules import Rules
    from stubsi.margin.models import Models
    from stubsi.margin.rank import Ranking
    from stubsi.margin.table import Case, StubTable

RESOLUTION = 5e-6
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
    """A stub as its net uses it: the case, Nyquist [Hz], impedance of its line [ohm], bore that would cut it."""

    case: Case
    nyquist: float
    z0: float
    bore: Bore

    @property
    def key(self) -> tuple:
        """Equal for uses with the same figures."""
        return id(self.case.shape), id(self.case.around), self.nyquist, self.z0

    @property
    def faces(self) -> list[float]:
        """Where the stub passes a face of a copper layer [m] from its start, and last its full length."""
        shape = self.case.shape
        beyond = np.array(shape.stackup.edges_si) - shape.start_si
        beyond = np.sort(beyond if shape.side == "bottom" else -beyond)
        inside = beyond[(beyond > ROUNDING) & (beyond < self.case.length_si - ROUNDING)]
        return [*inside.tolist(), self.case.length_si]


def cut(case: Case, length: float, bore: Bore) -> Case:
    """The case with its plating cut to a length [m] by a depth drill; as it is where it is no longer than that."""
    return case if length >= case.length_si else case._replace(length_si=float(length), bore=bore)


class Figure(NamedTuple):
    """Computed figures at the unfavourable end of their range: notch [Hz], loss and return loss at Nyquist [dB]."""

    notch: NDArray[np.float64]
    loss: NDArray[np.float64]
    return_loss: NDArray[np.float64]


def figures(uses: Sequence[Use], lengths: NDArray[np.float64], model: Model) -> Figure:
    """Figures of stubs cut to ``lengths`` [m]; NaN where an input is unknown.

    Once the notch has come down to Nyquist the loss of a cut stub counts as infinite and its return loss as none:
    shorter ones, which the same drilling may leave, pass through that point. A stub as drawn counts as it is.
    """
    models = model.of([cut(use.case, length, use.bore) for use, length in zip(uses, lengths, strict=True)])
    nyquist, z0 = (np.array([getattr(use, name) for use in uses], dtype=float) for name in ("nyquist", "z0"))
    notch, loss, return_loss = (spread.low for spread in case_figures(models, nyquist, z0))
    past = (notch <= nyquist) & (lengths < np.array([use.case.length_si for use in uses]) - ROUNDING)
    return Figure(notch, np.where(past, np.inf, loss), np.where(past, 0.0, return_loss))


@dataclass(frozen=True)
class Limits:
    """What the criteria of a ranked board allow its stubs, under the electrical model it was ranked with."""

    ranking: Ranking
    model: Model
    rules: Rules

    @property
    def board(self) -> Board:
        """The board."""
        return self.ranking.board

    @property
    def table(self) -> StubTable:
        """Its stubs."""
        return self.ranking.table

    def missing(self, stub: int) -> str:
        """Unknown input that keeps a row of the stub table from being judged; empty where there is none."""
        case, models = self.table.case[stub], self.ranking.models
        return models.unknown[case] or models.unknown_loss[case]

    @cached_property
    def _nets(self) -> tuple[Net, ...]:
        return self.board.signal_nets

    def net(self, stub: int) -> Net:
        """Net of a row of the stub table."""
        return self._nets[self.table.net[stub]]

    def use(self, stub: int) -> Use:
        """How the net of a row of the stub table uses its stub."""
        net, case = self.net(stub), self.table.cases[self.table.case[stub]]
        bore = Bore(radius=self.rules.drill_si(case.shape.padstack.drill_si) / 2)
        return Use(case, net.signal.nyquist_si, net.z_stub_line_si, bore)

    def criterion(self, stub: int) -> Criterion:
        """Criterion of the net of a row of the stub table."""
        return self.board.criterion_of(self.net(stub))

    def longest(self, stubs: Sequence[int]) -> NDArray[np.float64]:
        """Longest permitted stub [m] for rows of the table, each on its own; infinite where it passes as it is.

        NaN where an input is unknown.
        """
        keys = [(*use.key, criterion) for use, criterion in self._uses(stubs)]
        distinct = dict(zip(reversed(keys), reversed(stubs), strict=True))
        found = dict(zip(distinct, _longest(self._uses(list(distinct.values())), self.model), strict=True))
        return np.array([found[key] for key in keys])

    def losses(self, stubs: Sequence[int], lengths: Sequence[float]) -> NDArray[np.float64]:
        """Loss at Nyquist [dB] of rows of the table cut to ``lengths`` [m]; 0 at length 0, NaN where unknown."""
        uses = [self.use(stub) for stub in stubs]
        keys = [(*use.key, round(length, 10)) for use, length in zip(uses, lengths, strict=True)]
        asked = {key: use for key, use in zip(keys, uses, strict=True) if key[-1] > 0}
        found = figures(list(asked.values()), np.array([key[-1] for key in asked]), self.model).loss if asked else ()
        loss = dict(zip(asked, found, strict=True))
        return np.array([loss.get(key, 0.0) for key in keys])

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
    """Smallest length that no longer meets its criterion, of all stubs at once.

    Bracketed between two faces, from the shortest on: pads and planes make the figures stepwise. Then false position
    with the Illinois halving; a step near one end of the bracket goes a little beyond, so that both ends close in.
    """
    found = _excess(uses, criteria, np.array([use.case.length_si for use in uses]), model)
    left = np.flatnonzero(found > 0)
    low, high, below, above = _brackets([uses[i] for i in left], [criteria[i] for i in left], model)
    turn, open_ = 0, np.flatnonzero(high - low > RESOLUTION)
    while len(open_):
        middle = _next(low[open_], high[open_], below[open_], above[open_], turn)
        asked = left[open_]
        excess = _excess([uses[i] for i in asked], [criteria[i] for i in asked], middle, model)
        meets = excess <= 0
        up, down = open_[meets], open_[~meets]
        low[up], below[up], above[up] = middle[meets], excess[meets], above[up] / 2
        high[down], above[down], below[down] = (
            middle[~meets],
            np.nan_to_num(excess[~meets], nan=np.inf),
            below[down] / 2,
        )
        open_ = open_[high[open_] - low[open_] > RESOLUTION]
        turn += 1
    longest = np.where(np.isnan(found), np.nan, np.inf)
    longest[left] = low
    return longest


def _brackets(uses: Sequence[Use], criteria: Sequence[Criterion], model: Model) -> tuple[NDArray[np.float64], ...]:
    """Last face [m] up to which each stub meets its criterion, the first that does not, and the excess at both."""
    low, below = np.zeros(len(uses)), np.full(len(uses), -1.0)
    high, above = np.zeros(len(uses)), np.full(len(uses), np.nan)
    faces = [use.faces for use in uses]
    turn, left = 0, np.arange(len(uses))
    while len(left):
        at = np.array([faces[i][turn] for i in left])
        excess = _excess([uses[i] for i in left], [criteria[i] for i in left], at, model)
        meets = excess <= 0
        low[left[meets]], below[left[meets]] = at[meets], excess[meets]
        high[left[~meets]], above[left[~meets]] = at[~meets], np.nan_to_num(excess[~meets], nan=np.inf)
        left, turn = left[meets], turn + 1
    return low, high, below, above


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
