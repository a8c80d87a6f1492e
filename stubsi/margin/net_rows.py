"""Owns the way from the arrays of a ranking to its rows. All wanted rows are made at once, column by column."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from itertools import groupby
from operator import itemgetter
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.board.criterion import Measure, outside_scope
from stubsi.margin.net_margin import NetMargin
from stubsi.margin.reason import BuiltFigure, DrillSide, KeptStub, LegDifference, MeasuredFigure, Reason, leg_difference
from stubsi.margin.verdict import Verdict

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from stubsi.board.criterion import Criterion
    from stubsi.board.net import Net
    from stubsi.board.signal import Signal
    from stubsi.margin.ranking import Ranking
    from stubsi.stubs.cases import StubTable

NO_RULE = "no rule covers this feed: measure it or solve its field"
"""What is missing where a range includes the limit although every input is given."""


def net_rows(ranking: Ranking, numbers: NDArray[np.intp]) -> list[NetMargin]:
    """Rows of some nets of a ranking.

    Parameters
    ----------
    ranking : Ranking
    numbers : ndarray of int
        Numbers of the nets among the signal nets.

    Returns
    -------
    list of NetMargin
    """
    figures, nets = ranking.figures, [ranking.board.signal_nets[number] for number in numbers.tolist()]
    verdicts: list[Verdict] = ranking.verdicts[numbers].tolist()
    criteria = [str(criterion) for criterion in ranking.criteria]
    ranged = np.isfinite(figures.notch.low[numbers])
    columns: dict[str, Sequence[object]] = {
        "net": [net.name for net in nets],
        "signal": _signal_texts([ranking.board.signals[number] for number in numbers.tolist()]),
        "nyquist_si": figures.nyquist[numbers].tolist(),
        **_columns_of_governing_stubs(ranking, numbers),
        "first_notch_si": _none_where_unknown(figures.notch.low[numbers]),
        "first_notch_to_si": _none_where_unknown(figures.notch.high[numbers], ranged),
        "margin": _none_where_unknown(figures.notch.low[numbers] / figures.nyquist[numbers]),
        "one_db_si": _none_where_unknown(figures.one_db.low[numbers]),
        "one_db_to_si": _none_where_unknown(figures.one_db.high[numbers], ranged),
        "loss": _none_where_unknown(figures.nyquist_loss[numbers]),
        "return_loss": _none_where_unknown(figures.nyquist_return_loss[numbers]),
        "verdict": [Verdict.WAIVED if net.waiver else verdict for net, verdict in zip(nets, verdicts, strict=True)],
        "why": _reasons(ranking, numbers, nets, verdicts),
        "criterion": [criteria[number] for number in ranking.criterion_number[numbers].tolist()],
    }
    return list(map(NetMargin._make, zip(*(columns[name] for name in NetMargin._fields), strict=True)))


def _none_where_unknown(values: NDArray[np.float64], ranged: NDArray[np.bool_] | bool = False) -> list[float | None]:
    """Values as a list, with None for what is no figure (no stub, unknown): an empty cell.

    ``ranged``: where infinity is the upper end of a range.
    """
    known = values.astype(object)
    known[~(np.isfinite(values) | (np.isinf(values) & ranged))] = None
    return list(known)


def _signal_texts(signals: Sequence[Signal]) -> list[str]:
    """Signals in words. Equal signals may have been given as different texts, so the text itself is the key."""
    texts: dict[tuple[str, str], str] = {}
    for signal in signals:
        key = signal.rate, signal.modulation
        if key not in texts:
            texts[key] = str(signal)
    return [texts[signal.rate, signal.modulation] for signal in signals]


def _columns_of_governing_stubs(ranking: Ranking, numbers: NDArray[np.intp]) -> dict[str, list[object]]:
    """Where the governing stub of each net is, how long it is and how it was modelled; empty without stub."""
    table, stubs = ranking.table, ranking.figures.governing[numbers]
    names = ("hole", "leg", "side", "stub_length_si", "model", "model_error", "provenance")
    empty = {"stub_length_si": None, "provenance": None}
    columns: dict[str, list[object]] = {name: [empty.get(name, "")] * len(stubs) for name in names}
    rows = np.flatnonzero(stubs >= 0)
    cases, holes = table.case[stubs[rows]].tolist(), table.hole[stubs[rows]].tolist()
    for row, case, hole in zip(rows.tolist(), cases, holes, strict=True):
        columns["hole"][row], columns["leg"][row] = table.holes[hole].name, table.holes[hole].leg
        columns["side"][row], columns["stub_length_si"][row] = table.cases[case].shape.side, table.cases[case].length_si
        provenance = ranking.models.provenance[case]
        if ranking.built is not None:
            provenance = replace(provenance, built=ranking.built.of_net(int(numbers[row])))
        columns["model"][row], columns["model_error"][row] = provenance.tier, provenance.model_error
        columns["provenance"][row] = provenance
    return columns


class _Stubs(NamedTuple):
    """Stubs of the nets of some rows: which row each belongs to, its number in the stub table, its case."""

    row: NDArray[np.intp]
    number: NDArray[np.intp]
    case: NDArray[np.intp]

    def only(self, which: NDArray[np.bool_]) -> _Stubs:
        """Some of them."""
        return _Stubs(self.row[which], self.number[which], self.case[which])


def _stubs_of(table: StubTable, numbers: NDArray[np.intp]) -> _Stubs:
    """Stubs of some nets, without those of which nothing is left."""
    start, stop = (np.searchsorted(table.net, numbers, side) for side in ("left", "right"))
    count = stop - start
    row = np.repeat(np.arange(len(numbers)), count)
    number = np.arange(len(row)) + np.repeat(start - (np.cumsum(count) - count), count)
    stubs = _Stubs(row, number, table.case[number])
    return stubs.only(stubs.case >= 0)


def _reasons(
    ranking: Ranking, numbers: NDArray[np.intp], nets: Sequence[Net], verdicts: Sequence[Verdict]
) -> list[Reason]:
    """Reason of the verdict of every net."""
    stubs = _stubs_of(ranking.table, numbers)
    has_stub = np.bincount(stubs.row, minlength=len(numbers)) > 0
    verdict = np.array(verdicts, dtype=object)
    drills = _drills(ranking, stubs.only((verdict == Verdict.DRILL)[stubs.row]))
    kept = _kept(ranking, stubs.only((verdict == Verdict.CANNOT_HELP)[stubs.row]))
    missing = _missing(ranking, numbers, verdict == Verdict.UNDECIDED)
    missing |= _not_solved(ranking, numbers, verdict == Verdict.MARGINAL)
    nearly = _nearly(ranking, numbers, verdict == Verdict.MARGINAL)
    legs = _leg_differences(ranking, stubs.only(np.array([net.is_pair for net in nets], dtype=bool)[stubs.row]))
    criteria = [ranking.criteria[number] for number in ranking.criterion_number[numbers].tolist()]
    _, *ends = (end[numbers].tolist() for end in ranking.measured)
    ratios = (ranking.figures.notch.low[numbers] / ranking.figures.nyquist[numbers]).tolist()
    figures = map(MeasuredFigure, criteria, *ends, ratios)
    return [
        Reason(
            verdict, figure if stub else None, drills.get(row, ()), kept.get(row, ()), missing.get(row), legs.get(row),
            net.waiver, nearly.get(row), outside_scope(figure.criterion, ranking.board.signals[number]),
            _two_stubs(ranking, number), _built(ranking, number, figure.criterion),
        )
        for row, (verdict, figure, stub, net, number) in enumerate(
            zip(verdicts, figures, has_stub.tolist(), nets, numbers.tolist(), strict=True)
        )
    ]  # fmt: skip


def _two_stubs(ranking: Ranking, number: int) -> str:
    """Name of the hole whose two stubs decide together; blank for a net that is not judged by a loss."""
    figures = ranking.figures
    together = {
        Measure.LOSS: figures.two_stubs,
        Measure.ONE_DB_RATIO: figures.two_stubs_one_db,
        Measure.RETURN_LOSS: figures.two_stubs_return,
    }.get(ranking.criteria[ranking.criterion_number[number]].measure)
    hole = -1 if together is None else int(together[number])
    return ranking.table.holes[hole].name if hole >= 0 else ""


def _built(ranking: Ranking, number: int, criterion: Criterion) -> BuiltFigure | None:
    """The judged figure of a net over tolerances; None where none were given."""
    if ranking.built is None:
        return None
    worst, best = float(ranking.built.worst[number]), float(ranking.built.best[number])
    return BuiltFigure(criterion, worst, best, ranking.as_drawn.verdicts[number])


def _drills(ranking: Ranking, stubs: _Stubs) -> dict[int, tuple[DrillSide, ...]]:
    """By row: where the stubs that fall short would be drilled from, and the layer each drill must not cut."""
    table, short = ranking.table, stubs.only(_falls_short(ranking, stubs))
    shapes = {case: table.cases[case].shape for case in set(short.case.tolist())}
    ends = {case: (shape.side, shape.layer) for case, shape in shapes.items()}
    names = (table.holes[hole].name for hole in table.hole[short.number].tolist())
    stubs_in_order = zip(short.row.tolist(), short.case.tolist(), names, strict=True)
    drills = {}
    for row, of_row in groupby(stubs_in_order, key=itemgetter(0)):
        holes: dict[tuple[str, str], list[str]] = {}
        for _, case, name in of_row:
            holes.setdefault(ends[case], []).append(name)
        drills[row] = tuple([DrillSide(*end, tuple(named)) for end, named in holes.items()])
    return drills


def _falls_short(ranking: Ranking, stubs: _Stubs) -> NDArray[np.bool_]:
    """Whether each stub misses its net's criterion by itself; all stubs together miss a criterion on loss."""
    table, net = ranking.table, ranking.table.net[stubs.number]
    falls_short = np.zeros(len(net), dtype=bool)
    criterion_number, nyquist = ranking.criterion_number[net], ranking.figures.nyquist[net]
    for number, criterion in enumerate(ranking.criteria):
        of_criterion = criterion_number == number
        if criterion.on_loss:
            falls_short |= of_criterion
        elif criterion.measure is Measure.NOTCH_RATIO:
            falls_short |= of_criterion & (ranking.notch[stubs.case] < criterion.limit * nyquist)
        else:
            longest = np.array([criterion.longest_si(each) for each in nyquist.tolist()])
            falls_short |= of_criterion & (table.length_si[stubs.number] > longest)
    return falls_short


def _kept(ranking: Ranking, stubs: _Stubs) -> dict[int, tuple[KeptStub, ...]]:
    """By row: why the stubs of a net cannot all be drilled away, each reason with its first hole."""
    table, staying = ranking.table, stubs.only(ranking.table.least[stubs.number] >= 0)
    kept: dict[int, dict[str, KeptStub]] = defaultdict(dict)
    holes = table.hole[staying.number].tolist()
    for row, case, hole in zip(staying.row.tolist(), staying.case.tolist(), holes, strict=True):
        kept_by = table.cases[case].shape.kept_by
        kept[row].setdefault(kept_by, KeptStub(table.holes[hole].name, kept_by))
    return {row: tuple(by_reason.values()) for row, by_reason in kept.items()}


def _missing(ranking: Ranking, numbers: NDArray[np.intp], undecided: NDArray[np.bool_]) -> dict[int, str]:
    """By row: the input that leaves the verdict open."""
    models, rows = ranking.models, np.flatnonzero(undecided)
    cases = ranking.unknown_case[numbers[rows]].tolist()
    inputs = [None if case < 0 else models.unknown[case] or models.unknown_loss[case] for case in cases]
    governing = ranking.table.case[ranking.figures.governing[numbers[rows]]].tolist()
    ranges = ["; ".join(models.provenance[case].open_inputs) or NO_RULE for case in governing]
    return {row: known or is_open for row, known, is_open in zip(rows.tolist(), inputs, ranges, strict=True)}


def _not_solved(ranking: Ranking, numbers: NDArray[np.intp], marginal: NDArray[np.bool_]) -> dict[int, str]:
    """By row: why a marginal net stands on a uniform line, where that is not what the user wants."""
    rows = np.flatnonzero(marginal)
    governing = ranking.table.case[ranking.figures.governing[numbers[rows]]].tolist()
    why = [ranking.models.provenance[case].not_solved for case in governing]
    return {row: f"not solved, because {text}" for row, text in zip(rows.tolist(), why, strict=True) if text}


def _nearly(ranking: Ranking, numbers: NDArray[np.intp], marginal: NDArray[np.bool_]) -> dict[int, float]:
    """By row: dip that is nearly a notch, over Nyquist, where it makes the verdict of a net."""
    figures, models = ranking.figures, ranking.models
    found: dict[int, float] = {}
    if ranking.built is not None:
        return found
    for row in np.flatnonzero(marginal).tolist():
        number = numbers[row]
        criterion = ranking.criteria[ranking.criterion_number[number]]
        case = ranking.table.case[figures.governing[number]]
        by_model = models.first_notch[0, case] * models.notch_bounds[0, case] / figures.nyquist[number]
        if criterion.measure is Measure.NOTCH_RATIO and by_model >= criterion.limit:
            found[row] = float(figures.notch.worst[number] / figures.nyquist[number])
    return found


def _leg_differences(ranking: Ranking, stubs: _Stubs) -> dict[int, LegDifference | None]:
    """By row: longest stub of each leg of a pair, where the legs do not have the same stubs."""
    legs, lengths = ranking.table.leg[stubs.number].tolist(), ranking.table.length_si[stubs.number].tolist()
    differences = {}
    for row, of_row in groupby(zip(stubs.row.tolist(), legs, lengths, strict=True), key=itemgetter(0)):
        of_legs: tuple[list[float], list[float]] = ([], [])
        for _, leg, length in of_row:
            of_legs[leg].append(length)
        differences[row] = leg_difference(*of_legs)
    return differences
