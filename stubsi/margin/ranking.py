"""Owns the ranking: every net's figures against its criterion, worst first, with verdict and reason."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from stubsi.board.board import Board
from stubsi.board.criterion import DEFAULT, as_criterion
from stubsi.board.names import by_name
from stubsi.errors import BoardError
from stubsi.margin.built import checked_varied
from stubsi.margin.figures import Figures, net_figures
from stubsi.margin.net_margin import COLUMNS, NetMargin, table_value
from stubsi.margin.net_rows import net_rows
from stubsi.margin.spread import Spread
from stubsi.margin.verdict import Verdict, measured, over_limit, standing, unknown_of
from stubsi.read_only import read_only
from stubsi.stubs.cases import stub_table
from stubsi.stubs.model_choice import ModelChoice
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    import pandas as pd
    from numpy.typing import NDArray

    from stubsi.board.criterion import Criterion
    from stubsi.margin.built import BuiltRange, Varied
    from stubsi.stubs.cases import StubTable
    from stubsi.stubs.model_choice import ModelName
    from stubsi.stubs.models import Models
    from stubsi.units import Dimensioned

Scalar = TypeVar("Scalar", bound=np.generic)


def rank(
    board: Board,
    *,
    model: ModelName = "solved",
    dk_eff: float | None = None,
    delay: Dimensioned | None = None,
    tolerances: Varied | None = None,
) -> Ranking:
    """Rank the nets of a board by how close their stubs' notches sit to their Nyquist frequency.

    Parameters
    ----------
    board : Board
        The board whose signal nets are ranked.
    model : {"solved", "uniform"}
        "solved": every stub is solved from its geometry. Where that is not known, the stub is a uniform line with the
        laminate's Dk, and is labelled so. "uniform": every stub is such a uniform line.
    dk_eff : float, optional
        Effective permittivity [-] of every stub, for a uniform line.
    delay : delay per length, optional
        Delay per length of every stub, in place of ``dk_eff``.
    tolerances : Tolerances, optional
        What varies from board to board. Then a net passes only if it does at the worst of it, with the error that the
        model declares on top, and so in place of the flat 8 % that stands for what is not known. A uniform line
        declares no error of its own; there the 8 % stay on top, and so they do unless Dk and thickness vary. A net that
        falls short as drawn does so whatever the tolerances. Costs as much as ``corners``, which finds the worst.

    Returns
    -------
    Ranking
        First the nets that do not pass, then those that do. In both, first the nets with a notch at or below Nyquist,
        the notch nearest to Nyquist first; then the others, the lowest notch over Nyquist first.

    Raises
    ------
    StubsiError, UnitError
        ``board`` is no Board; an unknown ``model``; values that are not a Dk or a delay per length, or both; tolerances
        that are none, or that do not fit the board.

    Notes
    -----
    The margin of a net is :math:`f_1 / f_N`, with :math:`f_1` the lowest first notch of its stubs and :math:`f_N` its
    Nyquist frequency, half its symbol rate. ``help(stubsi.margin)`` explains columns and verdicts, and
    ``help(stubsi.stubs)`` the model and its errors.

    Examples
    --------
    >>> from stubsi import read_board
    >>> ranking = rank(read_board("shared/demo_board.toml"), model="uniform")  # a first look; nothing is solved
    >>> ranking["OPT_TX3"]
    <NetMargin OPT_TX3: drill, first notch 26.58 GHz, 0.949 x Nyquist>
    """
    if not isinstance(board, Board):
        raise BoardError(f"board = {as_shown(board)}: must be a Board; read_board reads one from a file.")
    choice = ModelChoice.of(model, dk_eff, delay)
    if tolerances is not None:
        varied = checked_varied(tolerances)
        return board.remembered((choice, varied), lambda: varied.ranked(board, choice))
    return board.remembered(choice, lambda: _rank(board, choice))


def _rank(board: Board, choice: ModelChoice) -> Ranking:
    table = stub_table(board, with_surroundings=not choice.uniform)
    models = choice.models(table.cases)
    figures = net_figures(board, table, models, table.case)
    return Ranking(board=board, model=choice, table=table, models=models, figures=figures)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Ranking:
    """The nets of a board, worst first. Iterate it, ask it for a net by name, print it, or turn it into a table.

    Two rankings are equal if they have equal boards (which hold the criteria), the same choice of the model and equal
    stubs. The figures follow from these and are not compared.

    Parameters
    ----------
    board : Board
        The board whose signal nets are ranked.
    model : ModelChoice
        The electrical model that its stubs get.
    table : StubTable
        Its stubs.
    models : Models
        Electrical models of the cases of the table.
    figures : Figures
        Figures of the signal nets.
    built : BuiltRange, optional
        What they do over tolerances; None: none were given.
    """

    board: Board
    model: ModelChoice
    table: StubTable
    models: Models
    figures: Figures
    built: BuiltRange | None = None

    def __eq__(self, other: object) -> bool:
        if self is other or not isinstance(other, Ranking):
            return self is other
        return (self.model, self.built, self.board, self.table) == (other.model, other.built, other.board, other.table)

    def __hash__(self) -> int:
        return hash((self.model, self.built, self.board))

    @cached_property
    def verdicts(self) -> NDArray[np.object_]:
        """Verdict of every signal net without its waiver, in the order of the board."""
        verdicts = self._standings(self.figures, self.measured)
        failing = verdicts == Verdict.DRILL
        if failing.any() and (self.table.least >= 0).any():
            drilled = net_figures(self.board, self.table, self.models, self.table.least)
            verdicts[failing & (self._standings(drilled) == Verdict.DRILL)] = Verdict.CANNOT_HELP
        return read_only(verdicts)

    @cached_property
    def order(self) -> NDArray[np.intp]:
        """Numbers of the signal nets, worst first; nets equal to six digits in the order of the board.

        Nets that do not pass come before those that do, whatever they are judged by.
        """
        f = self.figures
        unknown = f.unknown >= 0
        ratio = np.where(f.stubs > 0, f.notch.low / f.nyquist, np.inf)
        inside = unknown | (ratio <= 1 + 1e-9)
        nearness = np.where(unknown, 0.0, f.nearness)
        return read_only(
            np.lexsort((_rounded(np.where(inside, nearness, ratio)), ~inside, self.verdicts == Verdict.PASS))
        )

    @cached_property
    def criteria(self) -> tuple[Criterion, ...]:
        """The criteria in force, the board's first."""
        used = dict.fromkeys(self.criterion_of_net)
        return tuple(sorted(used, key=lambda criterion: criterion != self.board.criterion))

    @cached_property
    def criterion_number(self) -> NDArray[np.intp]:
        """Number, among the criteria in force, of the criterion of every signal net."""
        numbers = {criterion: number for number, criterion in enumerate(self.criteria)}
        return read_only(np.array([numbers[criterion] for criterion in self.criterion_of_net], dtype=np.intp))

    @property
    def idle_criteria(self) -> tuple[Criterion, ...]:
        """Criteria of the board that no net is judged by. The one that a board has unless it is given is left out."""
        given = (self.board.criterion, *(criterion for _, criterion in self.board.signal_criteria))
        return tuple(each for each in dict.fromkeys(given) if each != DEFAULT and each not in self.criteria)

    @property
    def _criteria_or_default(self) -> tuple[Criterion, ...]:
        """The criteria in force; the board's where there is no signal net."""
        return self.criteria or (self.board.criterion,)

    @cached_property
    def criterion_of_net(self) -> tuple[Criterion, ...]:
        """The criterion of every signal net, in the order of the board."""
        return tuple([self.board.criterion_of(net) for net in self.board.signal_nets])

    @property
    def notch(self) -> NDArray[np.float64]:
        """Lowest first notch [Hz] of every case of the stub table."""
        lowest: NDArray[np.float64] = self.models.first_notch[0]
        return lowest

    @cached_property
    def measured(self) -> Spread:
        """The figure that the criterion of every signal net looks at."""
        as_drawn = self._measured(self.figures)
        if self.built is None:
            return as_drawn
        return as_drawn._replace(worst=read_only(self.built.worst))

    def _measured(self, figures: Figures) -> Spread:
        spreads = {criterion: measured(criterion, figures) for criterion in self._criteria_or_default}

        def values(end: int) -> NDArray[np.float64]:
            return read_only(self._by_criterion(lambda criterion: spreads[criterion][end]))

        return Spread(*(values(end) for end in range(len(Spread._fields))))

    @cached_property
    def as_drawn(self) -> Ranking:
        """The same ranking without the tolerances that were given."""
        return self if self.built is None else replace(self, built=None)

    @cached_property
    def over_limit(self) -> NDArray[np.float64]:
        """Margin over limit [-] of every signal net, at the unfavourable end of a range; infinite without a stub."""
        figures = zip(self.criterion_of_net, self.measured.low.tolist(), strict=True)
        return read_only(np.array([over_limit(criterion, figure) for criterion, figure in figures], dtype=float))

    @cached_property
    def unknown_case(self) -> NDArray[np.intp]:
        """Case whose unknown keeps every signal net from being judged by its criterion; -1 where there is none."""
        return read_only(self._by_criterion(lambda criterion: unknown_of(criterion, self.figures)))

    def _standings(self, figures: Figures, value: Spread | None = None) -> NDArray[np.object_]:
        """Verdict of every signal net by some figures, as if all of its stubs could be drilled.

        ``value``: the figure that the criterion of each looks at, where it is not that of the figures.
        """
        judged = self._measured(figures) if value is None else value

        def standing_by(criterion: Criterion) -> NDArray[np.object_]:
            return standing(criterion, judged, unknown_of(criterion, figures) >= 0)

        return self._by_criterion(standing_by)

    def _by_criterion(self, values: Callable[[Criterion], NDArray[Scalar]]) -> NDArray[Scalar]:
        """Value of every signal net by its own criterion. ``values`` gives the values of all nets by one criterion."""
        first, *others = self._criteria_or_default
        chosen = values(first).copy()
        for number, criterion in enumerate(others, start=1):
            judged = self.criterion_number == number
            chosen[judged] = values(criterion)[judged]
        return chosen

    @property
    def falls_short(self) -> tuple[NetMargin, ...]:
        """The nets not proven to meet their criterion and not waived."""
        return tuple(net for net in self if net.verdict not in (Verdict.PASS, Verdict.WAIVED))

    def under(self, criterion: Criterion | str) -> Ranking:
        """Judge the same figures by another criterion of the board. Nothing is solved again.

        Criteria of nets and signals stay.

        Parameters
        ----------
        criterion : Criterion or name in ``RULES_OF_THUMB``
            The limit for every net that has no criterion of its own and none from its signal.

        Returns
        -------
        Ranking
            The same nets with other verdicts.

        Raises
        ------
        UnitError
            It is neither a criterion nor such a name.
        BoardError
            The ranking is one over tolerances: what they do was found for the criteria of this one.
        """
        if self.built is not None:
            raise BoardError(
                "criterion: the ranges over tolerances were found for the criteria of this ranking; call "
                "rank(board.with_criterion(...), tolerances=...)."
            )
        return replace(self, board=self.board.with_criterion(as_criterion(criterion)))

    def __len__(self) -> int:
        return len(self.order)

    def __iter__(self) -> Iterator[NetMargin]:
        return iter(self._rows)

    def __contains__(self, item: object) -> bool:
        """Whether the ranking has a net of this name, or this row."""
        if isinstance(item, NetMargin):
            return item.net in self._net_numbers and self[item.net] == item
        return isinstance(item, str) and item in self._net_numbers

    def __getitem__(self, name: str) -> NetMargin:
        number = by_name(self._net_numbers, name, "net", "in this ranking")
        return net_rows(self, np.array([number]))[0]

    @cached_property
    def _net_numbers(self) -> dict[str, int]:
        return {net.name: number for number, net in enumerate(self.board.signal_nets)}

    @cached_property
    def _rows(self) -> tuple[NetMargin, ...]:
        return tuple(net_rows(self, self.order))

    def to_frame(self) -> pd.DataFrame:
        """Table as a pandas DataFrame.

        Returns
        -------
        pandas.DataFrame
            Worst net first; plain numbers, units in the column names.
        """
        import pandas as pd

        columns = {title: [table_value(row, name) for row in self] for name, title in COLUMNS.items()}
        columns[COLUMNS["verdict"]] = [str(row.verdict) for row in self]
        return pd.DataFrame(columns)

    def to_csv(self) -> str:
        """Table as CSV.

        Returns
        -------
        str
            Comment lines (#) with the criteria and the caution, then the table. An apostrophe stands before a text that
            a spreadsheet would take for a formula, like the net ``'+3V3``, and before one that has an apostrophe there.
        """
        from stubsi.show.margin_table import csv_table

        return csv_table(self)

    def to_markdown(self) -> str:
        """Table as Markdown.

        Returns
        -------
        str
            The criteria and the caution, then the table.
        """
        from stubsi.show.margin_table import markdown_table

        return markdown_table(self)

    def to_text(self, width: int = 110) -> str:
        """Table as plain text.

        Parameters
        ----------
        width : int
            Greatest number of characters in a line; 80 to 140 read well.

        Returns
        -------
        str
            The criteria and the caution, then the table.
        """
        from stubsi.show.margin_table import text_table

        return text_table(self, width)

    def __str__(self) -> str:
        return self.to_text()

    def __repr__(self) -> str:
        nets, verdicts = self.board.signal_nets, self.verdicts.tolist()
        shown = (Verdict.WAIVED if nets[number].waiver else verdicts[number] for number in self.order.tolist())
        return f"<Ranking of {len(self)} nets{counted(shown)}>"

    def __getstate__(self) -> dict[str, object]:
        """The fields only: what follows from them is computed again when it is needed."""
        return {item.name: getattr(self, item.name) for item in fields(self)}

    def _repr_html_(self) -> str:
        from stubsi.show.margin_table import html_table

        return html_table(self)


def counted(verdicts: Iterable[Verdict]) -> str:
    """Number of each verdict, in words: ': 12 pass, 3 drill'; empty if there is no verdict.

    Parameters
    ----------
    verdicts : iterable of Verdict
    """
    counts = Counter(verdicts)
    return (": " if counts else "") + ", ".join(f"{count} {verdict}" for verdict, count in counts.most_common())


def _rounded(figures: NDArray[np.float64]) -> NDArray[np.float64]:
    """Figures to about six digits, so that the last bits, which differ from machine to machine, decide no order."""
    fraction, exponent = np.frexp(figures)
    return np.ldexp(np.round(fraction * 2**20) / 2**20, exponent)
