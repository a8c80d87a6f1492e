"""Owns one net of a ranking as a row of a table: its figures, its verdict and the reason of it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.board.board import shortened
from stubsi.margin.figures import NO_STUB
from stubsi.margin.reason import DrillSide, KeptStub, MeasuredFigure, Reason, leg_difference
from stubsi.margin.verdict import Verdict

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from stubsi.board.net import Net
    from stubsi.board.signal import Signal
    from stubsi.margin.ranking import Ranking

RETURN_VIAS = "return vias unknown: give the reference holes"
"""The input that is missing where no other input is, and the range of a figure still straddles its limit."""


@dataclass(frozen=True, kw_only=True, repr=False)
class NetMargin:
    """One net of a ranking.

    The fields with ``_si`` hold SI units. The properties of the same names without it hold the same figures in the
    units of the table. A figure is None where there is no stub, and where it is unknown.

    Parameters
    ----------
    net, signal : str
        Names.
    nyquist_si : float
        Nyquist frequency [Hz]; ``nyquist`` in GHz.
    hole, side, leg : str
        Where the stub with the lowest first notch is; empty without stub.
    stub_length_si : float or None
        Its length [m]; ``stub_length`` in mm.
    first_notch_si, first_notch_to_si : float or None
        Ends of the range of the first notch [Hz], equal where all is known; ``first_notch``, ``first_notch_to`` in GHz.
    margin : float or None
        First notch over Nyquist [-].
    loss : float or None
        Loss at Nyquist [dB]: the shunt losses of the stubs of the worse leg, summed without interaction.
    return_loss : float or None
        Return loss at Nyquist [dB] of the stub with the lowest first notch.
    model, model_error : str
        How that stub was modelled, and how far off that may be.
    verdict : Verdict
    why : Reason
        Reason of the verdict as data; ``reason`` as text.
    criterion : str
        What the net must meet.
    """

    net: str
    signal: str
    nyquist_si: float
    hole: str
    side: str
    leg: str
    stub_length_si: float | None
    first_notch_si: float | None
    first_notch_to_si: float | None
    margin: float | None
    loss: float | None
    return_loss: float | None
    model: str
    model_error: str
    verdict: Verdict
    why: Reason
    criterion: str

    @property
    def nyquist(self) -> float:
        """Nyquist frequency [GHz]."""
        return self.nyquist_si / 1e9

    @property
    def stub_length(self) -> float | None:
        """Length of the stub with the lowest first notch [mm]."""
        return None if self.stub_length_si is None else self.stub_length_si * 1e3

    @property
    def first_notch(self) -> float | None:
        """Lower end of the range of the first notch [GHz]."""
        return None if self.first_notch_si is None else self.first_notch_si / 1e9

    @property
    def first_notch_to(self) -> float | None:
        """Upper end of the range of the first notch [GHz]."""
        return None if self.first_notch_to_si is None else self.first_notch_to_si / 1e9

    @property
    def reason(self) -> str:
        """Reason of the verdict, in one line."""
        return str(self.why)

    def __repr__(self) -> str:
        notch = "" if self.first_notch is None else f", first notch {self.first_notch:.4g} GHz"
        ratio = "" if self.margin is None else f", {self.margin:.3g} x Nyquist"
        return f"<NetMargin {shortened(self.net)}: {self.verdict}{notch}{ratio}>"


COLUMNS = {
    "net": "net",
    "signal": "signal",
    "nyquist": "Nyquist [GHz]",
    "hole": "governing hole",
    "side": "side",
    "leg": "leg",
    "stub_length": "stub length [mm]",
    "first_notch": "first notch [GHz]",
    "first_notch_to": "first notch, up to [GHz]",
    "margin": "first notch / Nyquist",
    "loss": "loss at Nyquist, stubs summed without interaction [dB]",
    "return_loss": "return loss at Nyquist [dB]",
    "model": "model",
    "model_error": "model error",
    "verdict": "verdict",
    "reason": "reason",
    "criterion": "criterion",
}
"""Column names of the table, with units, by field or property of NetMargin."""


class _Governing(NamedTuple):
    """Texts and length [m] of the stub of a net with the lowest first notch."""

    hole: str
    side: str
    leg: str
    model: str
    model_error: str
    stub_length_si: float | None


_NO_STUB = _Governing("", "", "", "", "", None)


class RowMaker:
    """Makes the rows of a ranking, one net at a time. What all rows take from is put into lists once.

    Parameters
    ----------
    ranking : Ranking
    """

    def __init__(self, ranking: Ranking) -> None:
        self.ranking, self.table = ranking, ranking.table
        figures, nets = ranking.figures, ranking.board.signal_nets
        self.nets: Sequence[Net] = nets
        self.verdicts: list[Verdict] = ranking.verdicts.tolist()
        self.governing: list[int] = figures.governing.tolist()
        self.nyquist: list[float] = figures.nyquist.tolist()
        self.notch, self.notch_to = _known(figures.notch.low), _known(figures.notch.high)
        ratio = figures.notch.low / figures.nyquist
        self.ratio: list[float] = ratio.tolist()
        self.margin = _known(ratio)
        self.loss, self.return_loss = _known(figures.loss.low), _known(figures.return_loss.low)
        self.criterion: list[int] = ranking.criterion_number.tolist()
        self.criterion_text = [str(criterion) for criterion in ranking.criteria]
        self.case: list[int] = self.table.case.tolist()
        self.hole: list[int] = self.table.hole.tolist()
        self.start: list[int] = np.searchsorted(self.table.net, np.arange(len(nets) + 1)).tolist()
        self._signal_text: dict[tuple[str, str], str] = {}

    def row(self, number: int) -> NetMargin:
        """Row of a signal net.

        Parameters
        ----------
        number : int
            Its number among the signal nets.

        Returns
        -------
        NetMargin
        """
        net, stub, criterion = self.nets[number], self.governing[number], self.criterion[number]
        governing = _NO_STUB if stub == NO_STUB else self._governing(stub)
        verdict = self.verdicts[number]
        return NetMargin(
            net=net.name,
            signal=self._text_of(net.signal),
            nyquist_si=self.nyquist[number],
            hole=governing.hole,
            side=governing.side,
            leg=governing.leg,
            stub_length_si=governing.stub_length_si,
            first_notch_si=self.notch[number],
            first_notch_to_si=self.notch_to[number],
            margin=self.margin[number],
            loss=self.loss[number],
            return_loss=self.return_loss[number],
            model=governing.model,
            model_error=governing.model_error,
            verdict=Verdict.WAIVED if net.waiver else verdict,
            why=self._reason(number, net, verdict),
            criterion=self.criterion_text[criterion],
        )

    def _text_of(self, signal: Signal) -> str:
        """Signal in words. Signals are equal whatever text they were given as, so the text itself is the key."""
        key = signal.rate, signal.modulation
        if key not in self._signal_text:
            self._signal_text[key] = str(signal)
        return self._signal_text[key]

    def _governing(self, stub: int) -> _Governing:
        number = self.case[stub]
        case, provenance = self.table.cases[number], self.ranking.models.provenance[number]
        hole = self.table.holes[self.hole[stub]]
        return _Governing(
            hole.name, case.shape.side, hole.leg, provenance.tier, provenance.model_error, case.length_si
        )  # fmt: skip

    def _reason(self, number: int, net: Net, verdict: Verdict) -> Reason:
        stubs = [stub for stub in range(self.start[number], self.start[number + 1]) if self.case[stub] >= 0]
        if not stubs:
            return Reason(verdict, None, waiver=net.waiver)
        return Reason(
            verdict,
            MeasuredFigure(
                self.ranking.criteria[self.criterion[number]],
                self._measured_low[number],
                self._measured_high[number],
                self.ratio[number],
            ),
            drills=self._drills(stubs) if verdict == Verdict.DRILL else (),
            kept=self._kept(stubs) if verdict == Verdict.CANNOT_HELP else (),
            missing=self._missing(number) if verdict == Verdict.UNDECIDED else None,
            legs=leg_difference(*self._lengths_of_legs(number)) if net.is_pair else None,
            waiver=net.waiver,
        )

    def _missing(self, number: int) -> str:
        case, models = self.ranking.unknown_case[number], self.ranking.models
        return (models.unknown[case] or models.unknown_loss[case] if case >= 0 else None) or RETURN_VIAS

    def _drills(self, stubs: Sequence[int]) -> tuple[DrillSide, ...]:
        """Where the stubs that fall short would be drilled from, and the layer each drill must not cut."""
        holes: dict[tuple[str, str], list[str]] = {}
        for stub in stubs:
            if self._falls_short[stub]:
                end = self._side_and_layer[self.case[stub]]
                holes.setdefault(end, []).append(self.table.holes[self.hole[stub]].name)
        return tuple(DrillSide(side, layer, tuple(names)) for (side, layer), names in holes.items())

    def _kept(self, stubs: Sequence[int]) -> tuple[KeptStub, ...]:
        """Why the stubs of a net cannot all be drilled away, each reason with its first hole."""
        kept: dict[str, str] = {}
        for stub in stubs:
            if self.table.least[stub] >= 0:
                kept_by = self.table.cases[self.case[stub]].shape.kept_by
                kept.setdefault(kept_by, self.table.holes[self.hole[stub]].name)
        return tuple(KeptStub(hole, kept_by) for kept_by, hole in kept.items())

    def _lengths_of_legs(self, number: int) -> tuple[list[float], list[float]]:
        """Lengths [m] of the stubs of leg P and of leg N."""
        lengths: tuple[list[float], list[float]] = ([], [])
        for stub in range(self.start[number], self.start[number + 1]):
            if self.case[stub] >= 0:
                lengths[self._leg[stub]].append(self._length[stub])
        return lengths

    @cached_property
    def _leg(self) -> list[int]:
        legs: list[int] = self.table.leg.tolist()
        return legs

    @cached_property
    def _length(self) -> list[float]:
        lengths: list[float] = self.table.length_si.tolist()
        return lengths

    @cached_property
    def _side_and_layer(self) -> list[tuple[str, str]]:
        return [(case.shape.side, case.shape.layer) for case in self.table.cases]

    @cached_property
    def _measured_low(self) -> list[float]:
        low: list[float] = self.ranking.measured.low.tolist()
        return low

    @cached_property
    def _measured_high(self) -> list[float]:
        high: list[float] = self.ranking.measured.high.tolist()
        return high

    @cached_property
    def _falls_short(self) -> list[bool]:
        """Whether each stub misses its net's criterion by itself; all stubs together miss a criterion on loss."""
        ranking, table = self.ranking, self.table
        falls_short = np.zeros(len(table.net), dtype=bool)
        criterion_of_stub = ranking.criterion_number[table.net]
        nyquist = ranking.figures.nyquist[table.net]
        for number, criterion in enumerate(ranking.criteria):
            if criterion.on_loss:
                short = np.ones(len(table.net), dtype=bool)
            elif criterion.measure == "notch ratio":
                short = ranking.notch[table.case] < criterion.limit * nyquist
            else:
                short = table.length_si > criterion.longest_si(nyquist)
            falls_short |= (criterion_of_stub == number) & short
        flags: list[bool] = falls_short.tolist()
        return flags


def _known(values: NDArray[np.float64]) -> list[float | None]:
    """Values as a list, with None for what is no figure (no stub, unknown): an empty cell."""
    known: list[float | None] = np.where(np.isfinite(values), values, None).tolist()
    return known
