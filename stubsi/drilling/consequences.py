"""Owns what a plan does to the margins: every net before, after nominal and after worst-case drilling."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from stubsi.drilling.drill_group import told
from stubsi.drilling.effects import widened
from stubsi.drilling.limits import cut
from stubsi.margin.figures import net_figures
from stubsi.margin.ranking import Ranking
from stubsi.margin.verdict import Verdict
from stubsi.stubs.as_barrel import Bore
from stubsi.stubs.cases import stub_table

if TYPE_CHECKING:
    from collections.abc import Callable

    import pandas as pd
    from numpy.typing import NDArray

    from stubsi.board.board import Board
    from stubsi.drilling.plan import Plan
    from stubsi.drilling.window import Left
    from stubsi.stubs.cases import Case, StubTable
    from stubsi.stubs.models import Models

FAILS = "fails"
"""Standing of a net that falls short of its criterion."""
STANDINGS = (FAILS, Verdict.UNDECIDED, Verdict.MARGINAL, Verdict.PASS, Verdict.WAIVED)


@dataclass(frozen=True, kw_only=True)
class NetChange:
    """One net: margin (first notch over Nyquist [-]) and loss at Nyquist [dB] before, after nominal and worst drilling.

    None where there is no stub or no figure. ``standing``, likewise: pass, marginal, undecided, fails or waived.
    ``why``: for a net that still fails, what keeps it.
    """

    net: str
    margin: tuple[float | None, float | None, float | None]
    loss: tuple[float | None, float | None, float | None]
    standing: tuple[str, str, str]
    hits: int
    why: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Consequences:
    """Rankings of the board ``before`` drilling, after ``nominal`` and after ``worst``-case drilling.

    After drilling the stubs are solved again, cut where the plan cuts them, with the clearances the drill needs.
    """

    plan: Plan
    before: Ranking
    nominal: Ranking
    worst: Ranking

    @cached_property
    def nets(self) -> tuple[NetChange, ...]:
        """Every signal net, the lowest margin after worst-case drilling first."""
        rankings = (self.before, self.nominal, self.worst)
        rows = [{row.net: row for row in ranking} for ranking in rankings]
        why: dict[str, list[str]] = {}
        for net, what in told(self.plan.refused):
            why.setdefault(net, []).append(what)
        hits: dict[str, int] = {}
        for hit in self.plan.hits:
            hits[hit.net] = hits.get(hit.net, 0) + 1
        return tuple(
            NetChange(
                net=net,
                margin=tuple(table[net].margin for table in rows),
                loss=tuple(table[net].loss for table in rows),
                standing=tuple(_standing(table[net].verdict) for table in rows),
                hits=hits.get(net, 0),
                why="; ".join(why.get(net, ())) if _standing(rows[2][net].verdict) == FAILS else "",
            )
            for net in (row.net for row in self.worst)
        )

    @property
    def still_failing(self) -> tuple[NetChange, ...]:
        """Nets that fall short of their criterion even after drilling."""
        return tuple(net for net in self.nets if net.standing[2] == FAILS)

    def to_frame(self) -> pd.DataFrame:
        """Table as a pandas DataFrame; plain numbers, units in the column names."""
        import pandas as pd

        when = ("before", "nominal", "worst")
        columns = {"net": [net.net for net in self.nets], "hits": [net.hits for net in self.nets]}
        for i, moment in enumerate(when):
            columns[f"first notch / Nyquist, {moment}"] = [net.margin[i] for net in self.nets]
            columns[f"loss at Nyquist, {moment} [dB]"] = [net.loss[i] for net in self.nets]
            columns[f"standing, {moment}"] = [net.standing[i] for net in self.nets]
        return pd.DataFrame({**columns, "why": [net.why for net in self.nets]})

    def summary(self) -> str:
        """How many nets stand how, before and after worst-case drilling, in two lines."""
        counts = [Counter(net.standing[i] for net in self.nets) for i in (0, 2)]
        told = [", ".join(f"{word} {count[word]}" for word in STANDINGS if count[word]) for count in counts]
        return f"Nets before drilling: {told[0]}.\nNets after worst-case drilling: {told[1]}."

    def __str__(self) -> str:
        from stubsi.show.consequences_table import consequences_text

        return consequences_text(self)

    def _repr_html_(self) -> str:
        from stubsi.show.consequences_table import consequences_html

        return consequences_html(self)


def consequences(plan: Plan) -> Consequences:
    """Rank the board of a plan before drilling, after nominal drilling and after worst-case drilling.

    Parameters
    ----------
    plan : Plan
    """
    before, board = plan.limits.ranking, widened(plan)
    table = before.table if board is plan.board else stub_table(board, with_surroundings=not plan.model.uniform)
    cases = list(table.cases)
    cuts = [_cut(plan, table, cases, length) for length in (lambda left: left.nominal_si, lambda left: left.most_si)]
    left = np.unique(np.concatenate([*cuts, table.least, [-1]]))[1:]
    number = np.full(len(cases) + 1, -1)
    number[left] = np.arange(len(left))
    drilled = replace(table, cases=tuple(cases[case] for case in left), least=number[table.least])
    models = plan.model.of(drilled.cases)
    nominal, worst = (_ranked(board, replace(drilled, case=number[chosen]), models) for chosen in cuts)
    return Consequences(plan=plan, before=before, nominal=nominal, worst=worst)


def _cut(plan: Plan, table: StubTable, cases: list[Case], length: Callable[[Left], float]) -> NDArray[np.intp]:
    """Case of each stub with every drilled one cut to a length, -1 if nothing is left; new ones go to ``cases``."""
    numbers: dict[tuple[int, int, float], int] = {}
    chosen = table.case.copy()
    lefts = {(hit.hole.name, hit.side): max(0.0, length(hit.left)) for hit in plan.hits}
    for row in np.flatnonzero(chosen >= 0).tolist():
        case = table.cases[chosen[row]]
        left = lefts.get((table.holes[table.hole[row]].name, case.shape.side))
        if left is None:
            continue
        left = max(left, case.shape.least_length_si)
        key = (id(case.shape), id(case.around), left)
        if left > 0 and key not in numbers:
            numbers[key] = len(cases)
            bore = Bore(radius=plan.rules.drill_si(case.shape.padstack.drill_si) / 2)
            cases.append(cut(case, left, bore))
        chosen[row] = numbers.get(key, -1)
    return chosen


def _ranked(board: Board, table: StubTable, models: Models) -> Ranking:
    return Ranking(board=board, table=table, models=models, figures=net_figures(board, table, models, table.case))


def _standing(verdict: str) -> str:
    return verdict if verdict in (Verdict.PASS, Verdict.MARGINAL, Verdict.UNDECIDED, Verdict.WAIVED) else FAILS
