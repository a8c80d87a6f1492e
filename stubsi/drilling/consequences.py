"""Owns the consequences of a plan: the figures of every net before, after nominal and after worst-case drilling."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from stubsi.board.names import by_name, how_many
from stubsi.drilling.drill_group import misses_by_net, refusals_by_net
from stubsi.drilling.drilled_hole import drilled_case, plating_left
from stubsi.drilling.effects import widened
from stubsi.drilling.stub_margins import MOST
from stubsi.margin.figures import net_figures
from stubsi.margin.ranking import Ranking
from stubsi.margin.verdict import Verdict
from stubsi.stubs.cases import stub_table
from stubsi.units import shown_number

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from stubsi.board.board import Board
    from stubsi.drilling.decisions import Decisions
    from stubsi.drilling.drilled_hole import State
    from stubsi.drilling.plan import Plan
    from stubsi.margin.net_margin import NetMargin
    from stubsi.stubs.cases import Case, StubTable
    from stubsi.stubs.models import Models

VERDICTS = (Verdict.FALLS_SHORT, Verdict.UNDECIDED, Verdict.MARGINAL, Verdict.PASS, Verdict.WAIVED)
"""Verdicts that a net can have before or after drilling, worst first."""

MOMENTS = ("before", "nominal", "worst")
"""The three states that are compared: before drilling, after nominal drilling, after worst-case drilling."""


@dataclass(frozen=True, kw_only=True)
class NetChange:
    """One net before drilling, after nominal and after worst-case drilling.

    Parameters
    ----------
    net : str
        Name of the net.
    margin : three of float or None
        First notch over Nyquist [-]; None where there is no stub or no figure.
    margin_over_limit : three of float or None
        Judged figure over the limit of its criterion, or limit over figure where less is better [-]; 100 stands for all
        that is larger and for no stub. None where there is no figure.
    one_db_si : three of float or None
        1 dB frequency [Hz]; None as above.
    loss : three of float or None
        Loss at Nyquist [dB]; None as above.
    verdict : three of Verdict
        Pass, marginal, undecided, falls short, or waived.
    hits : int
        Holes of the net that are drilled, from each side.
    why : str
        For a net that falls short even after drilling: its refused stubs and why they are refused, and by how much the
        drilled ones miss their budget. For one that is marginal or undecided then: the reason of that verdict.
    """

    net: str
    margin: tuple[float | None, float | None, float | None]
    margin_over_limit: tuple[float | None, float | None, float | None]
    one_db_si: tuple[float | None, float | None, float | None]
    loss: tuple[float | None, float | None, float | None]
    verdict: tuple[Verdict, Verdict, Verdict]
    hits: int
    why: str

    def __repr__(self) -> str:
        return f"<NetChange {self.net}: {self.verdict[0]} before, {self.verdict[2]} after worst-case drilling>"

    def _repr_html_(self) -> str:
        from stubsi.show.parts_html import net_change_html

        return net_change_html(self)


@dataclass(frozen=True, kw_only=True, repr=False)
class Consequences:
    """Rankings of the board before drilling, after nominal drilling and after worst-case drilling.

    Iterate it, or ask it for a net by name. Two are equal if their plans are, because everything follows from the plan.

    After drilling the stubs are solved again, cut where the plan cuts them, with the clearances that the drill needs.

    Parameters
    ----------
    plan : Plan
        The plan.
    before, nominal, worst : Ranking
        The board in these three states.
    """

    plan: Plan
    before: Ranking = field(compare=False)
    nominal: Ranking = field(compare=False)
    worst: Ranking = field(compare=False)

    def __len__(self) -> int:
        return len(self.nets)

    def __iter__(self) -> Iterator[NetChange]:
        return iter(self.nets)

    def __getitem__(self, name: str) -> NetChange:
        return by_name(self._change_of, name, "net", "in these consequences")

    def __contains__(self, net: object) -> bool:
        if isinstance(net, NetChange):
            return net in self.nets
        return isinstance(net, str) and net in self._change_of

    @cached_property
    def _change_of(self) -> dict[str, NetChange]:
        return {change.net: change for change in self.nets}

    @cached_property
    def nets(self) -> tuple[NetChange, ...]:
        """Every signal net, the lowest margin after worst-case drilling first."""
        tables = [{row.net: row for row in ranking} for ranking in (self.before, self.nominal, self.worst)]
        over_limit = [_over_limit(ranking) for ranking in (self.before, self.nominal, self.worst)]
        refusals: dict[str, list[str]] = defaultdict(list)
        for net, text in [*refusals_by_net(self.plan.refused), *misses_by_net(self.plan.hits)]:
            refusals[net].append(text)
        if self.plan.budget_at == "nominal":
            for net in {hit.net for hit in self.plan.hits} - set(refusals):
                refusals[net].append("its drilled stubs keep their budget at nominal depth only, as chosen")
        hits = Counter(hit.net for hit in self.plan.hits)
        return tuple(
            _change(row.net, [table[row.net] for table in tables], over, hits[row.net], refusals[row.net])
            for row in self.worst
            for over in (tuple(margins[row.net] for margins in over_limit),)
        )

    @property
    def still_failing(self) -> tuple[NetChange, ...]:
        """Nets that fall short of their criterion even after drilling."""
        return tuple(net for net in self.nets if net.verdict[2] == Verdict.FALLS_SHORT)

    def to_frame(self) -> pd.DataFrame:
        """Table as a pandas DataFrame: a net in each row, plain numbers, units in the column names.

        Returns
        -------
        pandas.DataFrame
            Plain numbers, with units in the column names.
        """
        import pandas as pd

        columns: dict[str, list[object]] = {
            "net": [net.net for net in self.nets],
            "hits": [net.hits for net in self.nets],
        }
        for i, moment in enumerate(MOMENTS):
            columns[f"first notch / Nyquist, {moment}"] = [net.margin[i] for net in self.nets]
            columns[f"margin over limit, {moment}"] = [net.margin_over_limit[i] for net in self.nets]
            columns[f"1 dB frequency, {moment} [GHz]"] = [
                shown_number(net.one_db_si[i], "frequency") for net in self.nets
            ]
            columns[f"loss at Nyquist, {moment} [dB]"] = [net.loss[i] for net in self.nets]
            columns[f"verdict, {moment}"] = [str(net.verdict[i]) for net in self.nets]
        return pd.DataFrame({**columns, "why": [net.why for net in self.nets]})

    def summary(self) -> str:
        """Number of nets with each verdict, before and after worst-case drilling, in two lines.

        Returns
        -------
        str
            Two lines.
        """
        before, worst = (self._counts(moment) for moment in (0, 2))
        return f"Nets before drilling: {before}.\nNets after worst-case drilling: {worst}."

    def _counts(self, moment: int) -> str:
        counts = Counter(net.verdict[moment] for net in self.nets)
        return ", ".join(f"{verdict} {counts[verdict]}" for verdict in VERDICTS if counts[verdict])

    def __str__(self) -> str:
        from stubsi.show.consequences_table import consequences_text

        return consequences_text(self)

    def _repr_html_(self) -> str:
        from stubsi.show.consequences_table import consequences_html

        return consequences_html(self)

    def __repr__(self) -> str:
        return f"<Consequences for {how_many(len(self.before), 'net')}; after worst-case drilling: {self._counts(2)}>"


def _over_limit(ranking: Ranking) -> dict[str, float | None]:
    """Margin over limit of every net of a ranking; None where its figure is not known."""
    margins = zip(ranking.board.signal_nets, ranking.over_limit.tolist(), strict=True)
    return {net.name: None if math.isnan(margin) else min(MOST, margin) for net, margin in margins}


def _change(
    net: str, rows: list[NetMargin], over_limit: tuple[float | None, ...], hits: int, refusals: list[str]
) -> NetChange:
    before, nominal, worst = rows
    verdict = (_verdict(before.verdict), _verdict(nominal.verdict), _verdict(worst.verdict))
    return NetChange(
        net=net,
        margin=(before.margin, nominal.margin, worst.margin),
        margin_over_limit=(over_limit[0], over_limit[1], over_limit[2]),
        one_db_si=(before.one_db_si, nominal.one_db_si, worst.one_db_si),
        loss=(before.loss, nominal.loss, worst.loss),
        verdict=verdict,
        hits=hits,
        why=_why(worst, verdict[2], refusals),
    )


def _why(worst: NetMargin, verdict: Verdict, refusals: list[str]) -> str:
    """Why a net does not pass after drilling; empty where it does, or is waived."""
    if verdict == Verdict.FALLS_SHORT:
        return "; ".join(refusals)
    return worst.reason if verdict in (Verdict.MARGINAL, Verdict.UNDECIDED) else ""


def consequences_of(plan: Plan) -> Consequences:
    """Rank the board of a plan before drilling, after nominal drilling and after worst-case drilling.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    Consequences
        Every net before and after drilling.
    """
    before, board = plan.limits.ranking, widened(plan)
    table = before.table if board is plan.board else None
    nominal, worst = _after(plan, board, ("nominal", "worst"), table)
    return Consequences(plan=plan, before=before, nominal=nominal, worst=worst)


def net_margins(plan: Decisions) -> dict[str, float]:
    """Margin over limit of each net that is drilled and can meet its criterion, as in the consequences of a plan.

    Parameters
    ----------
    plan : Decisions
        The plan.

    Returns
    -------
    dict of str to float
        In order of their names. At worst tolerance, or at nominal depth where the budget holds there only.
    """
    missed = {refused.net for refused in plan.refused} | {hit.net for hit in plan.missed}
    names = {hit.net for hit in plan.hits} - missed
    if not names:
        return {}
    board = widened(plan)
    alone = board.replaced(nets=tuple(net for net in board.nets if net.name in names or net.reference))
    (ranking,) = _after(plan, alone, (plan.budget_at,), None)
    return {net: margin for net, margin in sorted(_over_limit(ranking).items()) if margin is not None}


def _after(plan: Decisions, board: Board, states: Sequence[State], table: StubTable | None) -> list[Ranking]:
    """Nets of a board after the drilling of a plan, in some states. ``table``: that of the board, if it is there."""
    table = stub_table(board, with_surroundings=not plan.model.uniform) if table is None else table
    cases = list(table.cases)
    cuts = [_cut(plan, table, cases, state) for state in states]
    used = np.unique(np.concatenate([*cuts, table.least, [-1]]))[1:]  # without -1, which stands for no stub
    number = np.full(len(cases) + 1, -1)  # its last entry stays -1, so number[-1] is -1
    number[used] = np.arange(len(used))
    drilled = replace(table, cases=tuple(cases[case] for case in used.tolist()), least=number[table.least])
    models = plan.model.models(drilled.cases)
    return [_ranked(plan, board, replace(drilled, case=number[chosen]), models) for chosen in cuts]


def _cut(plan: Decisions, table: StubTable, cases: list[Case], state: State) -> NDArray[np.intp]:
    """Number of the case of each stub after drilling, -1 if nothing is left. New cases are added to ``cases``."""
    numbers: dict[tuple[int, float], int] = {}
    chosen = table.case.copy()
    left_of = {(hit.hole.name, hit.side): plating_left(hit.left, state) for hit in plan.hits}
    for row in np.flatnonzero(chosen >= 0).tolist():
        as_drawn = int(chosen[row])
        case = table.cases[as_drawn]
        left = left_of.get((table.holes[table.hole[row]].name, case.shape.side))
        if left is None:
            continue
        if (as_drawn, left) not in numbers:
            drilled = drilled_case(plan, case, left)
            numbers[as_drawn, left] = -1 if drilled is None else len(cases)
            cases += [] if drilled is None else [drilled]
        chosen[row] = numbers[as_drawn, left]
    return chosen


def _ranked(plan: Decisions, board: Board, table: StubTable, models: Models) -> Ranking:
    figures = net_figures(board, table, models, table.case)
    return Ranking(board=board, model=plan.model, table=table, models=models, figures=figures)


def _verdict(verdict: Verdict | str) -> Verdict:
    """One of ``VERDICTS`` for a verdict. Every other verdict means that the net falls short."""
    return Verdict(verdict) if verdict in VERDICTS else Verdict.FALLS_SHORT
