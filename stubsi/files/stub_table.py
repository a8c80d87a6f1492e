"""Owns the check of a table of stubs, one in each row: the user's table with figures and verdicts beside it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Generic, NamedTuple, TypeVar, cast

import numpy as np

from stubsi.board.criterion import DEFAULT, as_criterion
from stubsi.board.signal import as_signal
from stubsi.errors import StubsiError
from stubsi.files.table_columns import as_frame, columns_of
from stubsi.margin.single_stub import SolvedSingleStub
from stubsi.margin.stub_arguments import single_stub
from stubsi.margin.stub_columns import ManyStubs, stub_columns
from stubsi.margin.verdict import Verdict
from stubsi.unit_errors import as_shown
from stubsi.units import one_si, show, shown_number

if TYPE_CHECKING:
    import os
    from collections.abc import Callable, Mapping, Sequence
    from typing import Unpack

    import pandas as pd
    from numpy.typing import NDArray

    from stubsi.board.criterion import Criterion
    from stubsi.board.signal import Signal
    from stubsi.margin.single_stub import SingleStub
    from stubsi.margin.stub_arguments import StubArguments
    from stubsi.margin.stub_columns import StubColumns
    from stubsi.units import Dimensioned

    Table = pd.DataFrame | Sequence[Mapping[str, object]] | str | os.PathLike[str]

Made = TypeVar("Made")

SAME = 1e-9
"""Relative difference up to which a stub is as long as its hole."""
MOST_ERRORS = 10
"""How many errors of a table are told at once."""
OF_CHECK = (
    "first notch [GHz]", "first notch, up to [GHz]", "first notch / Nyquist", "1 dB frequency [GHz]",
    "loss at Nyquist [dB]", "greatest loss up to Nyquist [dB]", "model", "model error", "judged by", "verdict",
    "reason",
)  # fmt: skip
OF_BUDGET = ("longest stub [mm]", "proven longest stub [mm]", "model", "model error", "judged by", "reason")
"""Titles of the columns that are added."""
FIGURES = frozenset((*OF_CHECK[:6], *OF_BUDGET[:2]))
"""Those of them that hold numbers; NaN where a figure is unknown or there is no stub."""


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
        in the title, as in "stub length [mil]", or in each cell. All other columns are the user's own.
    separator : str, optional
        Between the cells of a CSV file: comma, semicolon or tab; that of its line of titles unless given.
    signal, criterion, z0, **stub
        As ``check_stub`` takes them. They hold for every row whose cell is empty, or where there is no such column.

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
    rows = _Rows(table, separator, {"signal": signal, "criterion": criterion, "z0": z0, **stub}, OF_CHECK)
    rows.need("stub_length")
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
    judged_by = [str(criterion) for criterion in criteria.values]
    values = _check_values(found, [judged_by[number] for number in stubs.judged_by.tolist()])
    return rows.with_columns(values, ready, {"verdict": str(Verdict.UNDECIDED)})


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
    table, separator, signal, criterion, z0, **stub
        As ``check_stubs`` takes them; a column "stub length" is one of the user's own.

    Returns
    -------
    DataFrame
        The table, every row and column as it was, with the longest stub as computed and as proven, and its model,
        beside it. Where every stub that fits meets the criterion, the longest that fits is given, and the reason says
        so. A row that lacks a value has no length, and its reason names the column.

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
    rows = _Rows(table, separator, {"signal": signal, "criterion": criterion, "z0": z0, **stub}, OF_BUDGET)
    rows.leave("stub_length")
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
        return None, None, "", "", str(criterion), str(error)
    provenance = stub.provenance(longest.computed)
    reason = "every stub that fits" if longest.unlimited else f"limit of {signal}"
    return (
        shown_number(longest.computed, "length"), shown_number(longest.proven, "length"), provenance.tier,
        provenance.model_error, str(criterion), reason,
    )  # fmt: skip


def _needed(given: dict[str, Any], name: str) -> Any:
    if name not in given:
        raise StubsiError(f"{name} is missing: give a column or a keyword of that name.")
    return given[name]


def _length(value: object) -> float:
    return one_si(value, "long length", "stub_length", rule="not negative")  # type: ignore[arg-type]


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


class _Each(NamedTuple, Generic[Made]):
    """The different things that rows hold, and the number of that of each row; -1: none."""

    values: list[Made]
    number: NDArray[np.intp]

    def array(self) -> NDArray[np.float64]:
        """Numbers of the rows; NaN where there is none."""
        return np.array([*self.values, np.nan], dtype=float)[self.number]


class _Rows:
    """Rows of a table: what their cells say, which of them lack something, and the errors found so far."""

    def __init__(self, table: object, separator: str | None, keywords: dict[str, Any], added: Sequence[str]) -> None:
        self.frame, self.names = as_frame(table, separator)
        clash = [title for title in added if title in self.frame.columns]
        if clash:
            raise StubsiError(f"column {as_shown(clash[0])}: is one of those that are added; rename it.")
        self.added, self.keywords, self.columns = added, keywords, columns_of(self.frame.columns)
        self.missing, self.errors = np.full(len(self.frame), "", dtype=object), list[str]()

    def need(self, name: str) -> None:
        """Refuse a table without a column."""
        if name not in self.columns:
            titles = ", ".join(map(repr, self.frame.columns)) or "none"
            raise StubsiError(f"table: has no column {name.replace('_', ' ')!r}; its columns are {titles}.")

    def leave(self, name: str) -> None:
        """Treat a column as one of the user's own."""
        self.columns.pop(name, None)

    def signals(self) -> _Each[Signal]:
        """Signal of each row."""
        return self.each(("signal",), lambda given: as_signal(_needed(given, "signal")), ("signal",))

    def criteria(self) -> _Each[Criterion]:
        """Criterion of each row."""
        return self.each(("criterion",), lambda given: as_criterion(_needed(given, "criterion")))

    def stubs(self) -> _Each[SingleStub]:
        """Stub of each row, its length apart."""
        others = ("signal", "criterion", "stub_length")
        names = tuple(name for name in (*self.keywords, *self.columns) if name not in others)

        def made(given: dict[str, Any]) -> SingleStub:
            z0 = given.pop("z0", None)
            return single_stub(cast("StubArguments", given), z0)

        needs = ("layer",) if self.keywords.get("stackup") is not None else ("dk_eff", "delay")
        return self.each(tuple(dict.fromkeys(names)), made, needs)

    def each(
        self, names: tuple[str, ...], make: Callable[[dict[str, Any]], Made], needs: tuple[str, ...] = ()
    ) -> _Each[Made]:
        """What every row has of a kind, made from some arguments. Equal cells are read once.

        ``needs``: one of these arguments must be there. A row lacks it if it has an empty cell in such a column.
        """
        columns = {name: self.columns[name] for name in names if name in self.columns}
        coded = [_distinct(self.frame[column.title]) for column in columns.values()]
        codes = np.array([code for code, _ in coded], dtype=np.intp).reshape(len(coded), len(self.frame))
        kinds, first, number = np.unique(codes, axis=1, return_index=True, return_inverse=True)
        number, values = number.reshape(-1), list[Made]()
        place = np.full(kinds.shape[1], -1, dtype=np.intp)
        for kind, row in enumerate(first.tolist()):
            cells = [cells[code] for (_, cells), code in zip(coded, kinds[:, kind].tolist(), strict=True)]
            said = {name: column.value(cell) for (name, column), cell in zip(columns.items(), cells, strict=True)}
            given = {name: said.get(name) or self.keywords.get(name, said.get(name)) for name in names}
            given = {name: value for name, value in given.items() if value is not None}
            empty = [columns[name].title for name in needs if name in columns]
            if needs and empty and not any(name in given for name in needs):
                self._lacks(number == kind, " or ".join(empty))
                continue
            try:
                values.append(make(given))
                place[kind] = len(values) - 1
            except StubsiError as error:
                one = f", column {next(iter(columns.values())).title!r}" if len(columns) == 1 else ""
                self.errors.append(f"{self.names[row]}{one}: {error}" if columns else str(error))
        return _Each(values, place[number])

    def _lacks(self, rows: NDArray[np.bool_], what: str) -> None:
        self.missing[rows] = [f"{text}; {what} is empty" if text else f"{what} is empty" for text in self.missing[rows]]

    def refuse_longer(self, described: _Each[SingleStub], lengths: NDArray[np.float64]) -> None:
        """Refuse stubs that are longer than their holes."""
        solved = [stub if isinstance(stub, SolvedSingleStub) else None for stub in described.values]
        full = [np.inf if stub is None else stub.shape.stub_length_si for stub in solved]
        longer = lengths > np.array([*full, np.inf])[described.number] * (1 + SAME)
        for row in np.flatnonzero(longer).tolist():
            most = show(full[described.number[row]], "length")
            self.errors.append(
                f"{self.names[row]}: stub_length = {show(lengths[row], 'length')}: longer than the hole goes on beyond "
                f"the layer in use, {most}."
            )

    def ready(self) -> NDArray[np.bool_]:
        """Which rows lack nothing; StubsiError where cells could not be read."""
        if self.errors:
            more = f"\nand {len(self.errors) - MOST_ERRORS} more" if len(self.errors) > MOST_ERRORS else ""
            raise StubsiError("\n".join(self.errors[:MOST_ERRORS]) + more)
        return np.array([not text for text in self.missing], dtype=bool)

    def with_columns(
        self, values: Sequence[NDArray[np.object_]], ready: NDArray[np.bool_], otherwise: dict[str, str]
    ) -> pd.DataFrame:
        """The table with the added columns; rows that lack something have a reason only."""
        for place, title in enumerate(self.added):
            column = np.full(len(self.frame), otherwise.get(title), dtype=object)
            if title == "reason":
                column[:] = self.missing
            if len(values):
                column[ready] = values[place]
            self.frame[title] = column.astype(float) if title in FIGURES else column
        return self.frame


def _distinct(cells: pd.Series[Any]) -> tuple[NDArray[np.intp], list[object]]:
    """Number of each cell among the different ones, and these. Cells of different types are different."""
    if cells.dtype != object:
        code, distinct = cells.factorize(use_na_sentinel=False)
        return np.asarray(code, dtype=np.intp), list(distinct)
    numbers: dict[tuple[type, object], int] = {}
    code = np.empty(len(cells), dtype=np.intp)
    listed: list[object] = []
    for row, cell in enumerate(cells.tolist()):
        try:
            key = (type(cell), cell)
            number = numbers.setdefault(key, len(listed))
        except TypeError:  # a cell that cannot be compared: it will be refused
            number = len(listed)
        if number == len(listed):
            listed.append(cell)
        code[row] = number
    return code, listed
