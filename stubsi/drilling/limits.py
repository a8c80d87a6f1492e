"""Owns the longest permitted length of each stub of a board, and its loss at any length.

In this package, only this module and ``stub_use`` use the electrical models.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.board.criterion import Measure
from stubsi.drilling.obstacles import ROUNDING
from stubsi.drilling.stub_use import StubUse, figures, figures_of
from stubsi.margin.longest_stub import longest_permitted
from stubsi.margin.ranking import rank
from stubsi.margin.stub_verdict import StubFigures, rows_of
from stubsi.margin.verdict import counted_loss, measured, meets
from stubsi.memory import Memory

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from numpy.typing import NDArray

    from stubsi.board.board import Board
    from stubsi.board.criterion import Criterion
    from stubsi.board.net import Net
    from stubsi.drilling.budget_end import BudgetAt
    from stubsi.drilling.rules import FabricatorRules
    from stubsi.margin.figures import Measurable
    from stubsi.margin.ranking import Ranking
    from stubsi.stubs.as_barrel import Bore
    from stubsi.stubs.cases import StubTable
    from stubsi.stubs.model_choice import ModelChoice


TOGETHER = 2.0
"""Two stubs at one place act as one capacitance. Their loss is at most this multiple of the sum of their losses [-],
and their 1 dB frequency at least that of the larger one over it."""
REMEMBERED = 200_000
"""Most losses that are remembered."""

_remembered: Memory[tuple[ModelChoice, StubUse], float] = Memory(REMEMBERED)
"""Losses [dB] of stubs that were computed before, for any board."""


class _NetKind(NamedTuple):
    """What the limits of a stub depend on besides the stub. Equal stubs in nets of one kind have equal limits."""

    nyquist: float
    z0: float
    criterion: Criterion


@dataclass(frozen=True, repr=False)
class Limits:
    """What the criteria of a ranked board allow its stubs.

    Parameters
    ----------
    ranking : Ranking
        The board, ranked.
    model : ModelChoice
        Electrical model that it was ranked with.
    rules : FabricatorRules
        They give the bore that cuts a stub.
    widened : Limits or None
        The limits of the same board with the clearances that the drills of a plan need; None before there is one.
    judged_wider : frozenset of str
        Names of the nets that are judged by these.
    budget_at : {"worst", "nominal"}
        At which depth of the drill a stub must keep its budget.
    """

    ranking: Ranking
    model: ModelChoice
    rules: FabricatorRules
    widened: Limits | None = None
    judged_wider: frozenset[str] = frozenset()
    budget_at: BudgetAt = "worst"

    def __repr__(self) -> str:
        return f"<Limits of {len(self.table.net)} stubs>"

    @property
    def as_drawn(self) -> Limits:
        """The same limits with the clearances as drawn for every net."""
        return self if self.widened is None else replace(self, widened=None, judged_wider=frozenset())

    def on(self, board: Board) -> Limits:
        """Limits of the same kind for another board.

        Parameters
        ----------
        board : Board
            The other board.

        Returns
        -------
        Limits
        """
        ranking = rank(board, **self.model.arguments())
        return Limits(ranking, self.model, self.rules, budget_at=self.budget_at)

    @property
    def board(self) -> Board:
        """The board."""
        return self.ranking.board

    @property
    def table(self) -> StubTable:
        """The stub table of the board."""
        return self.ranking.table

    def missing(self, stub: int) -> str:
        """Unknown input without which a row of the stub table cannot be judged; empty where there is none.

        Parameters
        ----------
        stub : int
            Row of the stub table.

        Returns
        -------
        str
            Name of the input, or "".
        """
        case, models = int(self.table.case[stub]), self.ranking.models
        return models.unknown[case] or models.unknown_loss[case] or ""

    def not_solved(self, stub: int) -> str:
        """Why a row of the stub table is modelled as a uniform line and not solved; empty where it is solved.

        Parameters
        ----------
        stub : int
            Row of the stub table.

        Returns
        -------
        str
            The reason, or "".
        """
        return self.ranking.models.provenance[self.table.case[stub]].not_solved or ""

    def open_inputs(self, stub: int) -> tuple[str, ...]:
        """Unknown inputs that make the figures of a row of the stub table a range.

        Parameters
        ----------
        stub : int
            Row of the stub table.

        Returns
        -------
        tuple of str
            Each with how to give it.
        """
        case, models = int(self.table.case[stub]), self.ranking.models
        return models.provenance[case].open_inputs

    def net(self, stub: int) -> Net:
        """Net of a row of the stub table.

        Parameters
        ----------
        stub : int
            Row of the stub table.

        Returns
        -------
        Net
            The net.
        """
        return self.board.signal_nets[int(self.table.net[stub])]

    @cached_property
    def _kind_of_net(self) -> list[_NetKind]:
        return [
            _NetKind(net.signal.nyquist_si, net.z_stub_line_si, self.board.criterion_of(net))
            for net in self.board.signal_nets
            if net.signal is not None  # all signal nets have one
        ]

    @cached_property
    def two_in_hole(self) -> NDArray[np.bool_]:
        """Whether the hole of each row of the table has two stubs."""
        return np.asarray(np.bincount(self.table.hole)[self.table.hole] == 2)

    def meets_as_drawn(self, stub: int) -> bool:
        """Whether the net of a row of the table meets its criterion as drawn, as far as the model can tell.

        Parameters
        ----------
        stub : int
            Row of the stub table.

        Returns
        -------
        bool
            A hole with two stubs counts as a whole.
        """
        if self.widened is not None and self.net(stub).name in self.judged_wider:
            return self.widened.meets_as_drawn(stub)
        net = int(self.table.net[stub])
        criterion = self._kind_of_net[net].criterion
        return bool(meets(criterion, measured(criterion, self.ranking.figures.at(net)).low)[0])

    def criterion(self, stub: int) -> Criterion:
        """Criterion that a row of the table must meet by itself, so that its hole meets that of the net.

        Parameters
        ----------
        stub : int
            Row of the stub table.

        Returns
        -------
        Criterion
            That of the net, or a stricter one where the hole has two stubs.
        """
        criterion: Criterion = self._kind_of_net[self.table.net[stub]].criterion
        if self.two_in_hole[stub] and criterion.measure is Measure.ONE_DB_RATIO:
            return criterion.replaced(limit=TOGETHER * criterion.limit)
        if self.two_in_hole[stub] and criterion.measure is Measure.RETURN_LOSS:
            return criterion.replaced(limit=criterion.limit + 20 * math.log10(TOGETHER))
        return criterion

    @cached_property
    def _class_of_stub(self) -> NDArray[np.intp]:
        """Number of the class of each row of the table.

        Rows of one class have the same case and the same kind of net. So they have the same limits.
        """
        numbers: dict[_NetKind, int] = {}
        kinds = np.array([numbers.setdefault(kind, len(numbers)) for kind in self._kind_of_net], dtype=np.intp)
        return np.asarray(2 * (self.table.case * max(len(numbers), 1) + kinds[self.table.net]) + self.two_in_hole)

    @cached_property
    def _bore_of_case(self) -> list[Bore]:
        return [self.rules.bore(case.shape.padstack.drill_si) for case in self.table.cases]

    def use(self, stub: int) -> StubUse:
        """How the net of a row of the stub table uses its stub.

        Parameters
        ----------
        stub : int
            Row of the stub table.

        Returns
        -------
        StubUse
            The use of the stub.
        """
        case, kind = self.table.case[stub], self._kind_of_net[self.table.net[stub]]
        return StubUse(self.table.cases[case], kind.nyquist, kind.z0, self._bore_of_case[case])

    def longest(self, stubs: Sequence[int]) -> NDArray[np.float64]:
        """Longest permitted stub of some rows of the table. Each stub is judged alone.

        Where its hole has two stubs, half of what the criterion allows on loss is left to each of them.

        Parameters
        ----------
        stubs : sequence of int
            Rows of the stub table.

        Returns
        -------
        ndarray
            Lengths [m]. Infinite where a stub passes as it is, NaN where an input is unknown.
        """
        rows = np.asarray(stubs, dtype=np.intp)
        permitted = self._longest_here(rows)
        if self.widened is not None and (wider := self._is_judged_wider(rows)).any():
            permitted[wider] = self.widened.longest(rows[wider].tolist())
        return permitted

    def _is_judged_wider(self, rows: Sequence[int] | NDArray[np.intp]) -> NDArray[np.bool_]:
        """Whether the net of each row is judged with the widened clearances."""
        return np.array([self.net(row).name in self.judged_wider for row in rows], dtype=bool)

    def _longest_here(self, rows: NDArray[np.intp]) -> NDArray[np.float64]:
        """Longest permitted stub of some rows with the clearances of this board."""
        classes, first, number = np.unique(self._class_of_stub[rows], return_index=True, return_inverse=True)
        first_row = dict(zip(classes.tolist(), rows[first].tolist(), strict=True))
        new = [stub_class for stub_class in first_row if stub_class not in self._known_longest]
        permitted = self._longest([first_row[stub_class] for stub_class in new]).tolist() if new else []
        self._known_longest.update(zip(new, permitted, strict=True))
        return np.array([self._known_longest[stub_class] for stub_class in first_row])[number.reshape(-1)]

    @cached_property
    def _known_longest(self) -> dict[int, float]:
        """Longest permitted stub [m] of each class of stubs for which it was computed."""
        return {}

    def losses(self, stubs: Sequence[int], lengths: Sequence[float]) -> NDArray[np.float64]:
        """Greatest loss from 0 to Nyquist of some rows of the table, each cut to a length.

        Parameters
        ----------
        stubs : sequence of int
            Rows of the stub table.
        lengths : sequence of float
            Lengths [m], one for each row.

        Returns
        -------
        ndarray
            Losses [dB]: 0 at length 0, NaN where an input is unknown, infinite where the first notch lies at or below
            Nyquist. Twice the stub's own where its hole has two stubs.
        """
        here = self._losses_here(stubs, lengths)
        if self.widened is not None and (wider := self._is_judged_wider(stubs)).any():
            rows, cut = np.asarray(stubs)[wider].tolist(), np.asarray(lengths)[wider].tolist()
            here[wider] = self.widened.losses(rows, cut)
        return here

    def _losses_here(self, stubs: Sequence[int], lengths: Sequence[float]) -> NDArray[np.float64]:
        """Losses with the clearances of this board."""
        classes = self._class_of_stub[list(stubs)].tolist()
        cuts = [(stub_class, round(length, 10)) for stub_class, length in zip(classes, lengths, strict=True)]
        # Rows with equal cuts have equal losses, so only the first of them is kept. Reversed, it is written last.
        row_of = dict(zip(reversed(cuts), reversed(stubs), strict=True))
        use_of = {cut: (self.model, self.use(row).cut(cut[-1])) for cut, row in row_of.items() if cut[-1] > 0}
        cut_of = {use: cut for cut, use in use_of.items()}

        def compute(uses: Sequence[tuple[ModelChoice, StubUse]]) -> list[float]:
            new_cuts = [cut_of[use] for use in uses]
            figures_of_cuts = self._figures(
                [row_of[cut] for cut in new_cuts], np.array([length for _, length in new_cuts]), {Measure.LOSS}
            )
            return [float(loss) for loss in counted_loss(figures_of_cuts).low]

        loss_of = dict(zip(use_of, _remembered.all(list(use_of.values()), compute), strict=True))
        own = np.array([loss_of.get(cut, 0.0) for cut in cuts])
        return own * np.where(self.two_in_hole[list(stubs)], TOGETHER, 1.0)

    def _longest(self, stubs: list[int]) -> NDArray[np.float64]:
        """Longest permitted stub [m] of some different rows."""
        uses = [self.use(stub) for stub in stubs]
        criteria = [self.criterion(stub) for stub in stubs]
        measures = {criterion.measure for criterion in criteria}
        drawn = self._figures(stubs, np.array([use.case.length_si for use in uses]), measures)
        missed = [i for i, each in enumerate(criteria) if not meets(each, measured(each, drawn.at(i)).low)[0]]
        permits = [uses[i].permit(criteria[i], self.model) for i in missed]

        def figures_at(numbers: Sequence[int], lengths: NDArray[np.float64]) -> list[StubFigures]:
            return rows_of(self._figures([stubs[missed[number]] for number in numbers], lengths, measures))

        permitted = np.full(len(stubs), np.inf)
        permitted[missed] = longest_permitted(permits, figures_at)
        return permitted

    def _figures(self, stubs: Sequence[int], lengths: NDArray[np.float64], measures: Collection[Measure]) -> Measurable:
        """Figures of rows of the table cut to ``lengths`` [m]; those of the ranking where all are as drawn."""
        uses = [self.use(stub) for stub in stubs]
        if np.all(lengths >= [use.case.length_si - ROUNDING for use in uses]):
            return figures_of(self.ranking.models, self.table.case[list(stubs)], uses, lengths, wanted=measures)
        return figures(uses, lengths, self.model, wanted=measures)
