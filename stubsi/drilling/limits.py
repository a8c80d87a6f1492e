"""Owns what the criteria allow each stub: its longest permitted length, and its loss at any length.

The only module of drilling that asks the electrical models.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from stubsi.drilling.obstacles import ROUNDING
from stubsi.margin.figures import Measurable, stub_figures
from stubsi.margin.longest_stub import Permit, longest_permitted
from stubsi.margin.stub_verdict import StubFigures, rows_of
from stubsi.margin.verdict import counted_loss, measured, meets
from stubsi.stubs.as_barrel import Bore
from stubsi.stubs.solved_model import solved_models
from stubsi.stubs.uniform_model import uniform_models
from stubsi.units import quantity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from stubsi.board.board import Board
    from stubsi.board.criterion import Criterion
    from stubsi.board.net import Net
    from stubsi.drilling.rules import FabricatorRules
    from stubsi.margin.ranking import Ranking
    from stubsi.stubs.cases import Case, StubTable
    from stubsi.stubs.models import Models


class Model(NamedTuple):
    """Electrical model of the stubs, as ``rank`` takes it."""

    name: str = "solved"
    dk_eff: float | None = None
    delay: float | None = None

    def arguments(self) -> dict[str, Any]:
        """The model as keyword arguments of ``rank``."""
        delay = None if self.delay is None else quantity(self.delay, "delay per length")
        return {"model": self.name, "dk_eff": self.dk_eff, "delay": delay}

    def __str__(self) -> str:
        if not self.uniform:
            return "solved from the geometry, uniform lines where that is not known"
        dk, delay = self.dk_eff, self.delay
        given = "laminate Dk" if dk is None and delay is None else f"Dk_eff {dk:g}" if dk else "delay given"
        return f"uniform lines, {given}"

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

    def permit(self, criterion: Criterion, model: Model) -> Permit:
        """All that the longest permitted stub depends on."""
        z0 = None if np.isnan(self.z0) else self.z0
        return Permit(self.case.shape, self.case.around, self.bore, criterion, self.nyquist, z0, model)

    @property
    def key(self) -> tuple:
        """Equal for uses with the same figures."""
        return id(self.case.shape), id(self.case.around), self.nyquist, self.z0


def cut(case: Case, length: float, bore: Bore) -> Case:
    """The case with its plating cut to a length [m] by a depth drill; as it is where it is no longer than that."""
    return case if length >= case.length_si else case._replace(length_si=float(length), bore=bore)


def figures(uses: Sequence[Use], lengths: NDArray[np.float64], model: Model) -> Measurable:
    """Figures of stubs cut to ``lengths`` [m], solved anew."""
    models = model.of([cut(use.case, length, use.bore) for use, length in zip(uses, lengths, strict=True)])
    return _figures(models, np.arange(len(uses)), uses, lengths)


def _figures(models: Models, case: NDArray[np.intp], uses: Sequence[Use], lengths: NDArray[np.float64]) -> Measurable:
    nyquist, z0 = (np.array([getattr(use, name) for use in uses], dtype=float) for name in ("nyquist", "z0"))
    return stub_figures(models, case, lengths, nyquist, z0)


@dataclass(frozen=True)
class Limits:
    """What the criteria of a ranked board allow its stubs, under the electrical model it was ranked with."""

    ranking: Ranking
    model: Model
    rules: FabricatorRules

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
        return models.unknown[case] or models.unknown_loss[case] or ""

    def not_solved(self, stub: int) -> str:
        """Unknown input for want of which a row of the table is no solved stub; empty where it is one."""
        return self.ranking.models.provenance[self.table.case[stub]].not_solved or ""

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
        new = [stub for stub in stubs if stub not in self._known_longest]
        keys = [(*self.use(stub).key, self.criterion(stub)) for stub in new]
        distinct = dict(zip(reversed(keys), reversed(new), strict=True))
        found = dict(zip(distinct, self._longest(list(distinct.values())).tolist(), strict=True))
        self._known_longest.update({stub: found[key] for stub, key in zip(new, keys, strict=True)})
        return np.array([self._known_longest[stub] for stub in stubs])

    def losses(self, stubs: Sequence[int], lengths: Sequence[float]) -> NDArray[np.float64]:
        """Loss at Nyquist [dB] of rows of the table cut to ``lengths`` [m]; 0 at length 0, NaN where unknown.

        Infinite once the first notch has come down to Nyquist.
        """
        cuts = [(stub, round(length, 10)) for stub, length in zip(stubs, lengths, strict=True)]
        new = {(*self.use(cut[0]).key, cut[1]): cut for cut in cuts if cut[1] > 0 and cut not in self._known_losses}
        if new:
            rows, wanted = zip(*new.values(), strict=True)
            found = dict(zip(new, counted_loss(self._figures(rows, np.array(wanted))).low.tolist(), strict=True))
            keys = {cut: (*self.use(cut[0]).key, cut[1]) for cut in cuts}
            self._known_losses.update({cut: found[key] for cut, key in keys.items() if key in found})
        return np.array([self._known_losses.get(cut, 0.0) for cut in cuts])

    @cached_property
    def _known_longest(self) -> dict[int, float]:
        return {}

    @cached_property
    def _known_losses(self) -> dict[tuple[int, float], float]:
        return {}

    def _longest(self, stubs: list[int]) -> NDArray[np.float64]:
        """Longest permitted stub [m] of distinct rows."""
        uses, criteria = [self.use(stub) for stub in stubs], [self.criterion(stub) for stub in stubs]
        drawn = self._figures(stubs, np.array([use.case.length_si for use in uses]))
        missed = [i for i, own in enumerate(criteria) if not meets(own, measured(own, drawn.at(i)).low)[0]]
        permits = [uses[i].permit(criteria[i], self.model) for i in missed]

        def figures_at(numbers: Sequence[int], lengths: NDArray[np.float64]) -> list[StubFigures]:
            return rows_of(self._figures([stubs[missed[number]] for number in numbers], lengths))

        longest = np.full(len(stubs), np.inf)
        longest[missed] = longest_permitted(permits, figures_at)
        return longest

    def _figures(self, stubs: Sequence[int], lengths: NDArray[np.float64]) -> Measurable:
        """Figures of rows of the table cut to ``lengths`` [m]; those of the ranking where all are as drawn."""
        uses = [self.use(stub) for stub in stubs]
        if np.all(lengths >= [use.case.length_si - ROUNDING for use in uses]):
            return _figures(self.ranking.models, self.table.case[list(stubs)], uses, lengths)
        return figures(uses, lengths, self.model)
