"""Owns why a net has its verdict, in words: what falls short, where to drill, what is missing, what stays."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stubsi.margin.verdict import Verdict, unknown_of, wording

if TYPE_CHECKING:
    from stubsi.margin.ranking import Ranking


def reason_of(ranking: Ranking, number: int) -> str:
    """Why a net has its verdict, in one line."""
    figures, net = ranking.figures, ranking.board.signal_nets[number]
    if figures.stubs[number] == 0:
        return "no stub"
    criterion, verdict = ranking.board.criterion_of(net), ranking.verdicts[number]
    unknown = unknown_of(criterion, figures)[number]
    value, ratio = ranking.measured_by[criterion], figures.notch.low[number] / figures.nyquist[number]
    said = wording(criterion, value.low[number], value.high[number], ratio)
    parts = [said] if said else []
    if verdict == Verdict.UNDECIDED:
        parts.append(_missing(ranking, number, unknown))
    elif verdict == Verdict.MARGINAL:
        parts.append("within the model's uncertainty of the limit")
    elif verdict == Verdict.DRILL:
        parts.append("; ".join(_drills(ranking, number)))
    elif verdict == Verdict.CANNOT_HELP:
        parts.append("; ".join(_kept(ranking, number)))
    difference = _leg_difference(ranking, number)
    return "; ".join(parts + ([difference] if difference else []))


def _missing(ranking: Ranking, number: int, unknown: int) -> str:
    if unknown >= 0:
        return ranking.models.unknown[unknown] or ranking.models.unknown_loss[unknown]
    return "return vias unknown: give the reference holes"


def _drills(ranking: Ranking, number: int) -> list[str]:
    """Where the stubs that fall short would be drilled from, and the layer each drill must not cut."""
    table = ranking.table
    found = {}
    for stub in filter(lambda stub: _falls_short(ranking, number, stub), ranking.stubs_of[number]):
        shape = table.cases[table.case[stub]].shape
        found.setdefault((shape.side, shape.layer), []).append(table.holes[table.hole[stub]].name)
    return [f"from the {side}, must not cut {layer}: {_few(holes)}" for (side, layer), holes in found.items()]


def _falls_short(ranking: Ranking, number: int, stub: int) -> bool:
    """Whether one stub misses its net's criterion by itself; a criterion on loss is missed by all of them together."""
    criterion = ranking.board.criterion_of(ranking.board.signal_nets[number])
    nyquist, length = ranking.figures.nyquist[number], ranking.table.length_si[stub]
    if criterion.measure == "notch ratio":
        return bool(ranking.notch[ranking.table.case[stub]] < criterion.limit * nyquist)
    return criterion.on_loss or length > criterion.longest_si(nyquist)


def _few(names: list[str]) -> str:
    return ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")


def _kept(ranking: Ranking, number: int) -> list[str]:
    """Why the stubs of a net cannot all be drilled away."""
    table = ranking.table
    kept = {}
    for stub in ranking.stubs_of[number]:
        shape = table.cases[table.case[stub]].shape
        if table.least[stub] >= 0:
            kept.setdefault(shape.kept_by, table.holes[table.hole[stub]].name)
    return [f"{hole}: {why}" for why, hole in kept.items()]


def _leg_difference(ranking: Ranking, number: int) -> str:
    """Longest stubs of both legs of a pair where their stubs differ; empty text where they do not."""
    net, table = ranking.board.signal_nets[number], ranking.table
    if not net.is_pair:
        return ""
    stubs = ranking.stubs_of[number]
    lengths = {leg: sorted(table.length_si[s] for s in stubs if table.leg[s] == leg) for leg in (0, 1)}
    p, n = (np.array(lengths[leg]) for leg in (0, 1))
    if len(p) == len(n) and np.allclose(p, n, rtol=0, atol=1e-6):
        return ""
    longest = [f"{max(lengths[leg], default=0.0) * 1e3:.4g} mm" for leg in (0, 1)]
    return f"legs differ (mode conversion): P {longest[0]}, N {longest[1]}"
