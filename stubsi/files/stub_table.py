"""Owns the check of a table of stubs, one in each row: the user's table with figures and verdicts beside it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from stubsi.board.criterion import DEFAULT, SCOPES, outside_scope
from stubsi.board.net import STUB_FEEDS, ReturnVias
from stubsi.board.padstack import Padstack
from stubsi.board.stackup import Stackup
from stubsi.checks import checked, one_of
from stubsi.errors import StubsiError
from stubsi.files.table_rows import Rows, needed
from stubsi.margin.stub_arguments import ARGUMENTS
from stubsi.margin.stub_columns import ManyStubs, stub_columns
from stubsi.margin.trial_nets import TrialHole, TrialNet, ranked_trials
from stubsi.margin.verdict import Verdict
from stubsi.plausibility import LINE_IMPEDANCE, STUB_LENGTH, usual_si
from stubsi.units import one_si, shown_number

if TYPE_CHECKING:
    import os
    from collections.abc import Mapping, Sequence
    from typing import Unpack

    import pandas as pd
    from numpy.typing import NDArray

    from stubsi.board.criterion import Criterion
    from stubsi.board.signal import Signal
    from stubsi.margin.net_margin import NetMargin
    from stubsi.margin.reason import Reason
    from stubsi.margin.single_stub import SingleStub
    from stubsi.margin.stub_arguments import StubArguments
    from stubsi.margin.stub_columns import StubColumns
    from stubsi.units import Dimensioned

    Table = pd.DataFrame | Sequence[Mapping[str, object]] | str | os.PathLike[str]

OF_HOLE = ("stackup", "padstack", "return_vias", "pitch", "feed")
"""Arguments of a stub that belong to a table of layers."""
OF_CHECK: dict[str, type] = {
    "first notch [GHz]": float, "first notch, up to [GHz]": float, "first notch / Nyquist": float,
    "1 dB frequency [GHz]": float, "loss at Nyquist [dB]": float, "greatest loss up to Nyquist [dB]": float,
    "model": str, "model error": str, "judged by": str, "verdict": str, "reason": str,
}  # fmt: skip
OF_BUDGET: dict[str, type] = {
    "longest stub [mm]": float, "proven longest stub [mm]": float, "first notch there [GHz]": float,
    "1 dB frequency there [GHz]": float, "model": str, "model error": str, "judged by": str,
    "reason": str,
}  # fmt: skip
"""Columns that are added, each with the type of its values; NaN where a figure is unknown or there is no stub."""


def check_stubs(
    table: Table,
    *,
    separator: str | None = None,
    signal: Signal | Dimensioned | None = None,
    criterion: Criterion | str = DEFAULT,
    z0: Dimensioned | None = None,
    **stub: Unpack[StubArguments],
) -> pd.DataFrame:
    """Check a stub in every row of a table.

    Parameters
    ----------
    table : DataFrame, list of mappings, or path of a CSV file
        One stub in each row. A column whose title is an argument of ``check_stub`` is read: "stub length" and "signal",
        and where given "z0", "criterion", "dk_eff", "layer", "feed" and the others of ``StubArguments``. A unit stands
        in the title, as in "stub length [mil]", or in each cell. All other columns are the user's own. In place of the
        length there may be "entry" and "exit": layers between which a net goes through the hole that ``stackup`` and
        ``padstack`` describe. Then all of its stubs count, and the verdict is that of a ranking.
    separator : str, optional
        Between the cells of a CSV file: comma, semicolon or tab; that of its line of titles unless given.
    signal : Signal, str or quantity, optional
        For rows that state none: whose cell is empty, or where there is no such column.
    criterion : Criterion or name in ``RULES_OF_THUMB``
        For rows that state none; first notch at least 5 x Nyquist unless given.
    z0 : impedance, optional
        Of the line, for rows that state none.
    **stub : StubArguments
        Keywords that describe the stub, as ``check_stub`` takes them, for rows that do not state them.

    Returns
    -------
    DataFrame
        The table, every row and column as it was, with first notch, margin, 1 dB frequency, losses, model, verdict and
        reason beside it. A row that lacks a value is undecided, and its reason names the column.

    Raises
    ------
    StubsiError, UnitError, FileError
        It is no such table. Cells that cannot be read are listed, the first ten, each with its row and column.

    See Also
    --------
    check_stub : one stub.
    stub_budgets : how long each stub may be.

    Examples
    --------
    >>> nets = [{"net": "CLK", "signal": "10 Gb/s", "stub length [mil]": 60}]
    >>> check_stubs(nets, dk_eff=4)[["net", "verdict"]].values.tolist()
    [['CLK', 'marginal']]
    """
    rows = Rows(table, separator, {"signal": signal, "criterion": criterion, "z0": z0, **stub}, OF_CHECK)
    if "stub_length" not in rows.columns and {"entry", "exit"} <= rows.columns.keys():
        return _between_layers(rows)
    rows.need(
        "stub_length",
        "the unit may stand in the title, as in 'stub length [mil]'. Or give the layers in columns 'entry' and 'exit'",
    )
    rows.leave("entry", "exit")
    lengths = rows.each(("stub_length",), lambda given: _length(given["stub_length"]), ("stub_length",)).array()
    signals, criteria, described = rows.signals(), rows.criteria(), rows.stubs()
    rows.refuse_longer(described, lengths)
    ready = rows.ready()
    stubs = ManyStubs(
        described=described.values, which=described.number[ready], length=lengths[ready],
        nyquist=np.array([each.nyquist_si for each in signals.values])[signals.number[ready]],
        criteria=criteria.values, judged_by=criteria.number[ready],
    )  # fmt: skip
    found = stub_columns(stubs)
    _add_scope(found.reason, stubs, [signals.values[number] for number in signals.number[ready].tolist()])
    judged_by = [str(criterion) for criterion in criteria.values]
    values = _check_values(found, [judged_by[number] for number in stubs.judged_by.tolist()])
    return rows.with_columns(values, ready, {"verdict": str(Verdict.UNDECIDED)})


def _add_scope(reason: list[str], stubs: ManyStubs, signals: Sequence[Signal]) -> None:
    """Say in the reason of each row where the source of its criterion does not cover its signal."""
    for number, criterion in enumerate(stubs.criteria):
        if criterion in SCOPES:
            for row in np.flatnonzero((stubs.judged_by == number) & (stubs.length > 0)).tolist():
                reason[row] = "; ".join(filter(None, (reason[row], outside_scope(criterion, signals[row]))))


def stub_budgets(
    table: Table,
    *,
    separator: str | None = None,
    signal: Signal | Dimensioned | None = None,
    criterion: Criterion | str = DEFAULT,
    z0: Dimensioned | None = None,
    **stub: Unpack[StubArguments],
) -> pd.DataFrame:
    """Longest stub that meets the criterion, for every row of a table.

    Parameters
    ----------
    table : DataFrame, list of mappings, or path of a CSV file
        One stub in each row, as ``check_stubs`` takes it; a column "stub length" is one of the user's own.
    separator : str, optional
        Between the cells of a CSV file.
    signal : Signal, str or quantity, optional
        For rows that state none.
    criterion : Criterion or name in ``RULES_OF_THUMB``
        For rows that state none.
    z0 : impedance, optional
        Of the line, for rows that state none.
    **stub : StubArguments
        Keywords that describe the stub, as ``stub_budget`` takes them, for rows that do not state them.

    Returns
    -------
    DataFrame
        The table, every row and column as it was, with the longest stub as computed and as proven, the first notch and
        the 1 dB frequency of the former, and its model beside it. Where every stub that fits meets the criterion, the
        longest that fits is given, and the reason says so. A row that lacks a value has no length, and its reason names
        the column.

    Raises
    ------
    StubsiError, UnitError, FileError
        As ``check_stubs``.

    See Also
    --------
    stub_budget : for one stub.

    Examples
    --------
    >>> lanes = [{"lane": "slow", "signal": "DDR4-3200"}, {"lane": "fast", "signal": "25.78125 Gb/s"}]
    >>> stub_budgets(lanes, dk_eff=4)["longest stub [mm]"].round(3).tolist()
    [4.684, 0.581]
    """
    rows = Rows(table, separator, {"signal": signal, "criterion": criterion, "z0": z0, **stub}, OF_BUDGET)
    rows.leave("stub_length", "entry", "exit")
    signals, criteria, described = rows.signals(), rows.criteria(), rows.stubs()
    ready = rows.ready()
    kinds = np.stack([each.number[ready] for each in (described, signals, criteria)], axis=1)
    distinct, kind = np.unique(kinds, axis=0, return_inverse=True)
    budgets = [
        _budget(described.values[which], signals.values[signal], criteria.values[criterion])
        for which, signal, criterion in distinct.tolist()
    ]
    columns = zip(*(budgets[number] for number in kind.reshape(-1).tolist()), strict=True)
    return rows.with_columns([_objects(column) for column in columns], ready, {})


def _budget(stub: SingleStub, signal: Signal, criterion: Criterion) -> tuple[object, ...]:
    """Values of the columns that a budget adds."""
    try:
        longest = stub.longest(signal, criterion)
    except StubsiError as error:  # an input that the criterion needs is missing
        return None, None, None, None, "", "", str(criterion), str(error)
    provenance, (first_notch, one_db) = stub.provenance(longest.computed), stub.frequencies(longest.computed)
    reason = "every stub that fits" if longest.unlimited else f"limit of {signal}"
    if provenance.open_inputs and not longest.unlimited:
        reason = f"{reason}, at the worst of what is unknown; {'; '.join(provenance.open_inputs)}"
    return (
        shown_number(longest.computed, "length"), shown_number(longest.proven, "length"),
        shown_number(first_notch, "frequency"), shown_number(one_db, "frequency"), provenance.tier,
        provenance.model_error, str(criterion), reason,
    )  # fmt: skip


def _between_layers(rows: Rows) -> pd.DataFrame:
    """The check of a table that names layers in place of lengths. Equal rows are solved once."""
    hole = _hole_of(rows.keywords)
    signals, criteria = rows.signals(), rows.criteria()
    lines = rows.each(("z0",), lambda given: usual_si(needed(given, "z0"), LINE_IMPEDANCE, "z0"), ("z0",))

    def layers(given: dict[str, Any]) -> tuple[str, str]:
        entry, exit_layer = (checked(needed(given, name), name) for name in ("entry", "exit"))
        hole.refuse_impossible(entry, exit_layer)
        return entry, exit_layer

    between = rows.each(("entry", "exit"), layers, ("entry", "exit"), every=True)
    feeds = rows.each(("feed",), lambda given: _feed(given.get("feed", "")))
    ready = rows.ready()
    kinds = np.stack([each.number[ready] for each in (between, signals, lines, criteria, feeds)], axis=1)
    distinct, kind = np.unique(kinds, axis=0, return_inverse=True)
    trials = [
        TrialNet(
            between.values[a][0],
            between.values[a][1],
            signals.values[b],
            lines.values[c],
            criteria.values[d],
            feeds.values[e],
        )
        for a, b, c, d, e in distinct.tolist()
    ]
    ranking = ranked_trials(hole, trials)
    greatest = ranking.figures.loss.low.tolist()
    found = [_ranked_values(ranking[str(number)], greatest[number]) for number in range(len(trials))]
    columns = zip(*(found[number] for number in kind.reshape(-1).tolist()), strict=True)
    return rows.with_columns([_objects(column) for column in columns], ready, {"verdict": str(Verdict.UNDECIDED)})


def _feed(value: Any) -> str:
    one_of(value, "feed", STUB_FEEDS)
    return str(value)


def _hole_of(keywords: dict[str, Any]) -> TrialHole:
    """The hole that keywords describe; StubsiError where one is missing or does not belong to it."""
    others = [name for name in keywords if name in ARGUMENTS and name not in OF_HOLE and keywords[name] is not None]
    if others:
        raise StubsiError(f"{', '.join(others)}: does not belong to a table of layers; give stackup and padstack.")
    for name, kind in (("stackup", Stackup), ("padstack", Padstack)):
        checked(keywords.get(name), name, kind)
    return_vias, pitch = keywords.get("return_vias"), keywords.get("pitch")
    if return_vias is not None:
        checked(return_vias, "return_vias", ReturnVias)
    pitch_si = None if pitch is None else one_si(pitch, "length", "pitch")
    return TrialHole(keywords["stackup"], keywords["padstack"], return_vias, pitch_si)


def _ranked_values(row: NetMargin, greatest: float) -> tuple[object, ...]:
    """Values of the columns that a check adds, from a row of a ranking."""
    return (
        shown_number(row.first_notch_si, "frequency"), shown_number(row.first_notch_to_si, "frequency"), row.margin,
        shown_number(row.one_db_si, "frequency"), row.loss, greatest, row.model, row.model_error, row.criterion,
        str(row.verdict), str(_without_hole_names(row.why)),
    )  # fmt: skip


def _without_hole_names(why: Reason) -> Reason:
    """The reason of a row of a table, which has one hole: its name is that of a trial and says nothing to the user."""
    return why._replace(
        drills=tuple([side._replace(holes=()) for side in why.drills]),
        kept=tuple([stub._replace(hole="the hole") for stub in why.kept]),
        two_stubs="the hole" if why.two_stubs else "",
    )


def _length(value: object) -> float:
    return usual_si(value, STUB_LENGTH, "stub_length", rule="not negative")  # type: ignore[arg-type]


def _check_values(found: StubColumns, judged_by: list[str]) -> list[NDArray[np.object_]]:
    """Values of the columns that a check adds; None where a figure is unknown or there is no stub."""
    figures = found.figures
    columns = (
        _known(figures.notch.low / 1e9), _known(figures.notch.high / 1e9), _known(figures.notch.low / figures.nyquist),
        _known(figures.one_db.low / 1e9), _known(figures.nyquist_loss), _known(figures.loss.low),
        [each.tier for each in found.provenance], [each.model_error for each in found.provenance], judged_by,
        [str(verdict) for verdict in found.verdict.tolist()], found.reason,
    )  # fmt: skip
    return [_objects(column) for column in columns]


def _known(values: NDArray[np.float64]) -> list[float | None]:
    return [None if math.isnan(value) else value for value in values.tolist()]


def _objects(values: Sequence[object]) -> NDArray[np.object_]:
    column = np.empty(len(values), dtype=object)
    column[:] = values
    return column
