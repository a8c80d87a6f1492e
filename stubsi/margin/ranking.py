"""Owns the ranking: every net's figures against its criterion, worst first, with verdict and reason."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from stubsi.board.criterion import as_criterion
from stubsi.margin.figures import Figures, Spread, net_figures
from stubsi.margin.reason import reason_of
from stubsi.margin.verdict import Verdict, measured, standing, unknown_of
from stubsi.stubs.cases import stub_table
from stubsi.stubs.model_choice import ModelChoice

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    import pandas as pd

    from stubsi.board.board import Board
    from stubsi.board.criterion import Criterion
    from stubsi.stubs.cases import StubTable
    from stubsi.stubs.models import Models


def rank(board: Board, *, model: str = "solved", dk_eff: float | None = None, delay: Any = None) -> Ranking:
    """Rank the nets of a board by how close their stubs' notches sit to their Nyquist frequency.

    Parameters
    ----------
    board : Board
    model : {"solved", "uniform"}
        "solved": every stub from its geometry, wherever that is known; a uniform line with the laminate's Dk
        elsewhere, labelled so. "uniform": that for all.
    dk_eff : float, optional
        Effective permittivity [-] of every stub, for a uniform line.
    delay : delay per length, optional
        In its place.

    Returns
    -------
    Ranking
        Nets with a notch at or below Nyquist first, the nearest of them first; then the others, lowest first.

    Raises
    ------
    StubsiError, UnitError
        An unknown ``model``; values that are not a Dk or a delay per length, or both of them.
    """
    choice = ModelChoice.of(model, dk_eff, delay)
    return board.remembered(choice, lambda: _rank(board, choice))


def _rank(board: Board, choice: ModelChoice) -> Ranking:
    table = stub_table(board, with_surroundings=not choice.uniform)
    models = choice.models(table.cases)
    figures = net_figures(board, table, models, table.case)
    return Ranking(board=board, table=table, models=models, figures=figures)


@dataclass(frozen=True, kw_only=True)
class NetMargin:
    """One net of a ranking. Frequencies [GHz], lengths [mm], losses [dB]; None where there is no stub or no figure.

    ``first_notch`` and ``first_notch_to`` are the ends of its range, equal where all is known; ``margin`` is the
    first over Nyquist.
    """

    net: str
    signal: str
    nyquist: float
    hole: str
    side: str
    leg: str
    stub_length: float | None
    first_notch: float | None
    first_notch_to: float | None
    margin: float | None
    loss: float | None
    return_loss: float | None
    model: str
    model_error: str
    verdict: str
    reason: str
    criterion: str


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
"""Column names of the table, with units, by field of NetMargin."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Ranking:
    """The nets of a board, worst first. Iterate it, ask it for a net by name, print it, or turn it into a table."""

    board: Board
    table: StubTable
    models: Models
    figures: Figures

    @cached_property
    def verdicts(self) -> Any:
        """Verdict of every signal net, in board order, waivers left aside."""
        return _verdicts(self)

    @cached_property
    def order(self) -> Any:
        """Numbers of the signal nets, worst first."""
        f = self.figures
        unknown = f.unknown >= 0
        ratio = np.where(f.stubs > 0, f.notch.low / f.nyquist, np.inf)
        inside = unknown | (ratio <= 1 + 1e-9)
        nearness = np.where(unknown, 0.0, f.nearness)
        return np.lexsort((np.where(inside, nearness, ratio), ~inside))

    @cached_property
    def criteria(self) -> tuple[Criterion, ...]:
        """The criteria in force, the board's first."""
        used = dict.fromkeys(self.board.criterion_of(net) for net in self.board.signal_nets)
        return tuple(sorted(used, key=lambda criterion: criterion != self.board.criterion))

    @cached_property
    def notch(self) -> Any:
        """Lowest first notch [Hz] of every case of the stub table."""
        return self.models.notch()[0]

    @cached_property
    def measured_by(self) -> dict[Criterion, Spread]:
        """The figure each criterion in force looks at, of every net."""
        return {criterion: measured(criterion, self.figures) for criterion in self.criteria}

    @cached_property
    def stubs_of(self) -> list[list[int]]:
        """Rows of the stub table of each signal net."""
        rows: list[list[int]] = [[] for _ in self.board.signal_nets]
        for stub, net in enumerate(self.table.net.tolist()):
            rows[net].append(stub)
        return rows

    @property
    def falls_short(self) -> tuple[NetMargin, ...]:
        """The nets not proven to meet their criterion and not waived."""
        return tuple(net for net in self if net.verdict not in (Verdict.PASS, Verdict.WAIVED))

    def under(self, criterion: Criterion | str) -> Ranking:
        """The same figures judged by another criterion of the board, or one of ``RULES_OF_THUMB`` by name.

        Criteria of nets and signals stay. Nothing is solved again.
        """
        return replace(self, board=replace(self.board, criterion=as_criterion(criterion)))

    def __len__(self) -> int:
        return len(self.order)

    def __iter__(self) -> Iterator[NetMargin]:
        return iter(self._rows)

    def __getitem__(self, name: str) -> NetMargin:
        for row in self._rows:
            if row.net == name:
                return row
        raise KeyError(name)

    @cached_property
    def _rows(self) -> tuple[NetMargin, ...]:
        return tuple(_row(self, number) for number in self.order)

    def to_frame(self) -> pd.DataFrame:
        """Table as a pandas DataFrame, worst net first; plain numbers, units in the column names."""
        import pandas as pd

        rows = [[getattr(row, name) for name in COLUMNS] for row in self]
        return pd.DataFrame(rows, columns=list(COLUMNS.values()))

    def to_csv(self) -> str:
        """Table as CSV text, after comment lines (#) with the criteria and the caution."""
        from stubsi.show.margin_table import csv_table

        return csv_table(self)

    def to_markdown(self) -> str:
        """Table as Markdown text, after the criteria."""
        from stubsi.show.margin_table import markdown_table

        return markdown_table(self)

    def to_text(self, width: int = 110) -> str:
        """Table as plain text of at most ``width`` columns (80 to 140 read well), after the criteria."""
        from stubsi.show.margin_table import text_table

        return text_table(self, width)

    def __str__(self) -> str:
        return self.to_text()

    def __repr__(self) -> str:
        return f"<Ranking of {len(self)} nets{counted(self)}>"

    def _repr_html_(self) -> str:
        from stubsi.show.margin_table import html_table

        return html_table(self)


def counted(margins: Iterable[NetMargin]) -> str:
    """How many have which verdict, in words: ': 12 pass, 3 drill'; empty without any."""
    counts = Counter(margin.verdict for margin in margins)
    return (": " if counts else "") + ", ".join(f"{count} {verdict}" for verdict, count in counts.most_common())


def _verdicts(ranking: Ranking) -> Any:
    board, table, figures = ranking.board, ranking.table, ranking.figures
    chosen = [board.criterion_of(net) for net in board.signal_nets]
    verdicts = _standings(chosen, figures)
    failing = verdicts == Verdict.DRILL
    if failing.any() and (table.least >= 0).any():
        left = net_figures(board, table, ranking.models, table.least)
        verdicts[failing & (_standings(chosen, left) == Verdict.DRILL)] = Verdict.CANNOT_HELP
    return verdicts


def _standings(chosen: list[Criterion], figures: Figures) -> Any:
    verdicts = np.full(len(chosen), Verdict.PASS, dtype=object)
    key = np.array([id(criterion) for criterion in chosen])
    for criterion in {id(c): c for c in chosen}.values():
        mine = key == id(criterion)
        unknown = unknown_of(criterion, figures) >= 0
        verdicts[mine] = standing(criterion, measured(criterion, figures), unknown)[mine]
    return verdicts


def _row(ranking: Ranking, number: int) -> NetMargin:
    board, table, figures = ranking.board, ranking.table, ranking.figures
    net = board.signal_nets[number]
    verdict, reason = ranking.verdicts[number], reason_of(ranking, number)
    if net.waiver:
        verdict, reason = Verdict.WAIVED, f"{net.waiver} (otherwise {verdict}: {reason})"
    stub = figures.governing[number]
    shown: dict[str, Any] = dict.fromkeys(("hole", "side", "leg", "model", "model_error"), "")
    if stub >= 0:
        case, provenance = table.cases[table.case[stub]], ranking.models.provenance[table.case[stub]]
        hole = table.holes[table.hole[stub]]
        shown = {"hole": hole.name, "side": case.shape.side, "leg": hole.leg, "model": provenance.tier,
                 "model_error": provenance.model_error}  # fmt: skip
    return NetMargin(
        net=net.name, signal=str(net.signal), nyquist=net.signal.nyquist_si / 1e9, **shown,
        stub_length=_number(table.length_si[stub] * 1e3) if stub >= 0 else None,
        first_notch=_number(figures.notch.low[number] / 1e9),
        first_notch_to=_number(figures.notch.high[number] / 1e9),
        margin=_number(figures.notch.low[number] / figures.nyquist[number]),
        loss=_number(figures.loss.low[number]),
        return_loss=_number(figures.return_loss.low[number]),
        verdict=verdict, reason=reason, criterion=str(board.criterion_of(net)),
    )  # fmt: skip


def _number(value: float) -> float | None:
    """None for what is no figure (no stub, unknown): an empty cell."""
    return float(value) if np.isfinite(value) else None
