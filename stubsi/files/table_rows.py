"""Owns the rows of a table of stubs: what their cells say, which of them lack something, and the errors found."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Generic, NamedTuple, TypeVar, cast

import numpy as np

from stubsi.board.criterion import as_criterion
from stubsi.board.signal import as_signal
from stubsi.checks import one_line
from stubsi.errors import StubsiError
from stubsi.files.table_columns import as_frame, columns_of
from stubsi.margin.single_stub import SolvedSingleStub
from stubsi.margin.stub_arguments import single_stub
from stubsi.unit_errors import as_shown
from stubsi.units import show

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from stubsi.board.criterion import Criterion
    from stubsi.board.signal import Signal
    from stubsi.margin.single_stub import SingleStub
    from stubsi.margin.stub_arguments import StubArguments

Made = TypeVar("Made")

SAME = 1e-9
"""Relative difference up to which a stub is as long as its hole."""
MOST_ERRORS = 10
"""How many errors of a table are told at once."""


def needed(given: dict[str, Any], name: str) -> Any:
    """An argument that every row must have; StubsiError where neither a column nor a keyword gives it."""
    if name not in given:
        raise StubsiError(f"{name} is missing: give a column or a keyword of that name.")
    return given[name]


class Each(NamedTuple, Generic[Made]):
    """The different things that rows hold, and the number of that of each row; -1: none."""

    values: list[Made]
    number: NDArray[np.intp]

    def array(self) -> NDArray[np.float64]:
        """Numbers of the rows; NaN where there is none."""
        return np.array([*self.values, np.nan], dtype=float)[self.number]


class Rows:
    """Rows of a table: what their cells say, which of them lack something, and the errors found so far."""

    def __init__(self, table: object, separator: str | None, keywords: dict[str, Any], added: dict[str, type]) -> None:
        self.frame, self.names = as_frame(table, separator)
        clash = [title for title in added if title in self.frame.columns]
        if clash:
            raise StubsiError(f"column {as_shown(clash[0])}: is one of those that are added; rename it.")
        self.added, self.keywords, self.columns = added, keywords, columns_of(self.frame.columns)
        self.missing, self.errors = np.full(len(self.frame), "", dtype=object), list[str]()

    def need(self, name: str, fix: str) -> None:
        """Refuse a table without a column. ``fix`` says how the title is written, and what does in its place."""
        if name not in self.columns:
            titles = ", ".join(map(repr, self.frame.columns)) or "none"
            raise StubsiError(
                f"table: has no column {name.replace('_', ' ')!r}; its columns are {titles}. Rename the column "
                f"that holds it; {fix}."
            )

    def leave(self, *names: str) -> None:
        """Treat columns as the user's own."""
        for name in names:
            self.columns.pop(name, None)

    def signals(self) -> Each[Signal]:
        """Signal of each row."""
        return self.each(("signal",), lambda given: as_signal(needed(given, "signal")), ("signal",))

    def criteria(self) -> Each[Criterion]:
        """Criterion of each row."""
        return self.each(("criterion",), lambda given: as_criterion(needed(given, "criterion")))

    def stubs(self) -> Each[SingleStub]:
        """Stub of each row, its length apart."""
        others = ("signal", "criterion", "stub_length")
        names = tuple(name for name in (*self.keywords, *self.columns) if name not in others)

        def made(given: dict[str, Any]) -> SingleStub:
            z0 = given.pop("z0", None)
            return single_stub(cast("StubArguments", given), z0)

        needs = ("layer",) if self.keywords.get("stackup") is not None else ("dk_eff", "delay")
        return self.each(tuple(dict.fromkeys(names)), made, needs)

    def each(
        self,
        names: tuple[str, ...],
        make: Callable[[dict[str, Any]], Made],
        needs: tuple[str, ...] = (),
        *,
        every: bool = False,
    ) -> Each[Made]:
        """What every row has of a kind, made from some arguments. Equal cells are read once.

        ``needs``: one of these arguments must be there, or every one. A row lacks it if it has an empty cell in such a
        column.
        """
        columns = {name: self.columns[name] for name in names if name in self.columns}
        coded = [_distinct_cells(self.frame[column.title]) for column in columns.values()]
        codes = np.array([code for code, _ in coded], dtype=np.intp).reshape(len(coded), len(self.frame))
        kinds, first, number = np.unique(codes, axis=1, return_index=True, return_inverse=True)
        number, values = number.reshape(-1), list[Made]()
        place = np.full(kinds.shape[1], -1, dtype=np.intp)
        for kind, row in enumerate(first.tolist()):
            cells = [cells[code] for (_, cells), code in zip(coded, kinds[:, kind].tolist(), strict=True)]
            said = {name: column.value(cell) for (name, column), cell in zip(columns.items(), cells, strict=True)}
            said = {name: value for name, value in said.items() if value is not None}
            held = {name: value for name, value in self.keywords.items() if name in names and value is not None}
            given = held | said
            empty = [columns[name].title for name in needs if name in columns and name not in given]
            if empty and (every or not any(name in given for name in needs)):
                self._note_missing(number == kind, " or ".join(empty))
                continue
            try:
                values.append(make(given))
                place[kind] = len(values) - 1
            except StubsiError as error:
                one = f", column {next(iter(columns.values())).title!r}" if len(columns) == 1 else ""
                self.errors.append(one_line(f"{self.names[row]}{one}: {error}" if columns else str(error)))
        return Each(values, place[number])

    def _note_missing(self, rows: NDArray[np.bool_], what: str) -> None:
        self.missing[rows] = [f"{text}; {what} is empty" if text else f"{what} is empty" for text in self.missing[rows]]

    def refuse_longer(self, described: Each[SingleStub], lengths: NDArray[np.float64]) -> None:
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
        for place, (title, kind) in enumerate(self.added.items()):
            column = np.full(len(self.frame), otherwise.get(title), dtype=object)
            if title == "reason":
                column[:] = self.missing
            if len(values):
                column[ready] = values[place]
            self.frame[title] = column.astype(float) if kind is float else column
        return self.frame


def _distinct_cells(cells: pd.Series[Any]) -> tuple[NDArray[np.intp], list[object]]:
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
