"""Owns the parts of a verdict: which figures of a board as built decide about every net, and their limits."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, Any, NamedTuple, TypeAlias

import numpy as np

from stubsi.board.criterion import Measure
from stubsi.errors import BoardError
from stubsi.margin.figures import net_figures
from stubsi.margin.verdict import bound, measured
from stubsi.stubs.cases import NO_CASE
from stubsi.tolerance.built_board import built_board
from stubsi.tolerance.solved_stubs import solved_stubs

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.board.board import Board
    from stubsi.board.criterion import Criterion
    from stubsi.margin.ranking import Ranking
    from stubsi.stubs.cases import StubTable
    from stubsi.stubs.model_choice import ModelChoice
    from stubsi.tolerance.tolerances import Factor, Tolerances

    Floats: TypeAlias = NDArray[np.float64]
    Numbers: TypeAlias = NDArray[np.intp]


class WhyUnknown(StrEnum):
    """Why it is not known how probable it is that a net meets its criterion. Each is also the text that is shown.

    ``INPUT``: something that its stubs depend on is not known. ``MIXED``: its figure is infinite or zero on so many of
    the boards that were solved that no surface fits the others.
    """

    INPUT = "an input is not known"
    MIXED = "no figure on too many of the boards that were solved"


class UnknownYield(NamedTuple):
    """Why the share of the boards on which a net meets its criterion is not known.

    Parameters
    ----------
    why : WhyUnknown
        The reason.
    detail : str
        What is missing, in words.
    """

    why: WhyUnknown
    detail: str

    def __str__(self) -> str:
        return f"{self.why}: {self.detail}" if self.detail else str(self.why)


class Parts(NamedTuple):
    """What decides about the nets. Figures count as logarithms, with the sign turned where less is better.

    Parameters
    ----------
    column : ndarray of int
        Figure that each part looks at, a column of ``BuiltColumns``.
    start : ndarray of int
        First part of every net; its parts follow one another. A net meets its criterion if all its parts meet theirs.
    hole : ndarray of int
        Hole whose own deviations each part has.
    sign : ndarray
        1 where a higher figure is better, -1 elsewhere.
    limit : ndarray
        Least value of sign times logarithm.
    gate : ndarray of bool
        Whether the part only says that the first notch lies above Nyquist; otherwise it is the judged figure.
    scale : ndarray
        For each net: the judged figure over the figure of the parts.
    """

    column: Numbers
    start: Numbers
    hole: Numbers
    sign: Floats
    limit: Floats
    gate: NDArray[np.bool_]
    scale: Floats

    @property
    def nets(self) -> int:
        """How many nets there are."""
        return len(self.start)

    def of_nets(self, first: int, last: int) -> Parts:
        """The parts of some nets that follow one another."""
        begin = int(self.start[first])
        end = int(self.start[last]) if last < self.nets else len(self.column)
        cut = slice(begin, end)
        return Parts(
            self.column[cut], self.start[first:last] - begin, self.hole[cut], self.sign[cut], self.limit[cut],
            self.gate[cut], self.scale[first:last],
        )  # fmt: skip

    def met(self, values: Floats, error: Floats | None = None) -> NDArray[np.bool_]:
        """Whether each net meets its criterion.

        Parameters
        ----------
        values : ndarray, shape (parts, samples)
            Sign times logarithm of the figure of each part; NaN where unknown, which meets nothing.
        error : ndarray, optional
            By how much each part must be better than its limit.

        Returns
        -------
        ndarray of bool, shape (nets, samples)
        """
        limit = self.limit if error is None else self.limit + error
        met: NDArray[np.bool_] = self.over_parts(np.logical_and, values >= limit[:, None])
        return met

    def figure(self, values: Floats) -> Floats:
        """Worst value of the parts of each net; minus infinity where a notch has come down to Nyquist.

        Parameters
        ----------
        values : ndarray, shape (parts, samples)

        Returns
        -------
        ndarray, shape (nets, samples)
        """
        if self.gate.any():
            closed = np.where(values >= self.limit[:, None], np.inf, -np.inf)
            values = np.where(self.gate[:, None], closed, values)
        worst: Floats = self.over_parts(np.minimum, values)
        return worst

    def over_parts(self, join: np.ufunc, values: NDArray[Any]) -> NDArray[Any]:
        """Values of the parts of each net joined by a function like ``numpy.minimum``.

        Parameters
        ----------
        join : ufunc
        values : ndarray, shape (parts, samples)

        Returns
        -------
        ndarray, shape (nets, samples)

        Notes
        -----
        The same as ``join.reduceat(values, start)``, and many times faster, because whole rows are joined.
        """
        if len(self.start) == len(self.column):
            return values
        joined = values[self.start]
        parts = np.diff(np.append(self.start, len(self.column)))
        for number in range(1, int(parts.max(initial=1))):
            more = np.flatnonzero(parts > number)
            joined[more] = join(joined[more], values[self.start[more] + number])
        return joined


class BuiltColumns(NamedTuple):
    """Figures of a board as built that decide about its nets, one column each: first notches, then judged figures.

    Parameters
    ----------
    board, tolerances, model
        What is built, and how its stubs are modelled.
    factors : tuple of Factor
    stubs : ndarray of int
        Rows of the stub table whose first notch [Hz] is looked at.
    nets : ndarray of int
        Nets whose judged figure is looked at as a whole.
    """

    board: Board
    tolerances: Tolerances
    model: ModelChoice
    factors: tuple[Factor, ...]
    stubs: Numbers
    nets: Numbers

    def at(self, t: Floats) -> Floats:
        """Figures at one point of the factors; all holes deviate alike.

        Parameters
        ----------
        t : ndarray
            Coordinate of every factor.

        Returns
        -------
        ndarray
            One figure for each column, the worse end of what is computed.

        Raises
        ------
        BoardError
            Such a board cannot be built, or has other stubs than the one that was drawn.
        """
        at = {(factor.quantity, factor.material): each for factor, each in zip(self.factors, t.tolist(), strict=True)}
        built = built_board(self.board, self.tolerances, at)
        table, models = solved_stubs(built, self.model, self._wanted)
        notch = models.first_notch[0][table.case[self.stubs]]
        figures = net_figures(built, table, models, np.where(np.isin(table.net, self.nets), table.case, NO_CASE))
        criteria = [built.criterion_of(net) for net in built.signal_nets]
        values = {criterion: measured(criterion, figures).low for criterion in set(criteria)}
        return np.array([*notch, *(values[criteria[net]][net] for net in self.nets.tolist())], dtype=np.float64)

    def only(self, columns: Numbers) -> BuiltColumns:
        """Some of the columns, which stand in rising order."""
        stubs, nets = np.split(columns, [np.searchsorted(columns, len(self.stubs))])
        return self._replace(stubs=self.stubs[stubs], nets=self.nets[nets - len(self.stubs)])

    def _wanted(self, table: StubTable) -> NDArray[np.bool_]:
        """The stubs that are looked at, by themselves or as part of a net."""
        if len(table.case) <= self.stubs.max(initial=-1):
            raise BoardError("tolerances: a stub vanishes within them; make them narrower.")
        wanted = np.isin(table.net, self.nets)
        wanted[self.stubs] = True
        return wanted


def columns_and_parts(
    ranking: Ranking, tolerances: Tolerances, factors: tuple[Factor, ...]
) -> tuple[BuiltColumns, Parts, dict[int, UnknownYield]]:
    """Which figures decide about the nets of a board.

    Parameters
    ----------
    ranking : Ranking
        Of the board as drawn.
    tolerances : Tolerances
    factors : tuple of Factor

    Returns
    -------
    columns : BuiltColumns
    parts : Parts
    unknown : dict of net number to UnknownYield
        Nets with an input that is not known.

    Notes
    -----
    A net that is judged by its first notch has a part for each of its stubs, so that each hole can deviate for itself.
    Another net is judged as a whole, with a gate for the notch of each stub if it is judged by a loss.
    """
    board, table = ranking.board, ranking.table
    criteria, nyquist = ranking.criterion_of_net, board.nyquist_si
    existing = np.flatnonzero(table.case != NO_CASE)
    cases, first, number = np.unique(table.case[existing], return_index=True, return_inverse=True)
    begin = np.searchsorted(table.net[existing], np.arange(len(criteria) + 1))
    of_net = [range(*ends) for ends in zip(begin[:-1].tolist(), begin[1:].tolist(), strict=True)]
    holes, stub_column = table.hole[existing].tolist(), number.tolist()
    whole: list[int] = []
    rows: list[tuple[int, int, float, float, bool]] = []
    start, scale = [], []
    for net, criterion in enumerate(criteria):
        start.append(len(rows))
        limit = float(np.log(bound(criterion)))
        by_notch = criterion.measure is Measure.NOTCH_RATIO and len(of_net[net]) > 0
        scale.append(1 / float(nyquist[net]) if by_notch else 1.0)
        at_nyquist = float(np.log(nyquist[net]))
        if by_notch:
            rows += [(stub_column[row], holes[row], 1.0, limit + at_nyquist, False) for row in of_net[net]]
            continue
        sign = 1.0 if criterion.least else -1.0
        hole = holes[of_net[net][0]] if of_net[net] else 0
        rows.append((len(cases) + len(whole), hole, sign, sign * limit, False))
        whole.append(net)
        if criterion.measure in (Measure.LOSS, Measure.RETURN_LOSS):
            above = float(np.nextafter(at_nyquist, np.inf))
            rows += [(stub_column[row], holes[row], 1.0, above, True) for row in of_net[net]]
    columns = BuiltColumns(board, tolerances, ranking.model, factors, existing[first], np.array(whole, dtype=np.intp))
    column, of_hole, signs, limits, gate = zip(*rows, strict=True) if rows else ((),) * 5
    parts = Parts(
        np.array(column, dtype=np.intp), np.array(start, dtype=np.intp), np.array(of_hole, dtype=np.intp),
        np.array(signs, dtype=np.float64), np.array(limits, dtype=np.float64), np.array(gate, dtype=bool),
        np.array(scale, dtype=np.float64),
    )  # fmt: skip
    return columns, parts, _inputs_unknown(ranking, criteria)


def _inputs_unknown(ranking: Ranking, criteria: tuple[Criterion, ...]) -> dict[int, UnknownYield]:
    models, found = ranking.models, {}
    for net in np.flatnonzero(ranking.unknown_case >= 0).tolist():
        case = int(ranking.unknown_case[net])
        missing = models.unknown[case] or (models.unknown_loss[case] if criteria[net].on_loss else None)
        found[net] = UnknownYield(WhyUnknown.INPUT, missing or "")
    return found
