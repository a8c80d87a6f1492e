"""Owns the worst case: the corners of all tolerances where the figures of every net are worst and best."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np

from stubsi.board.board import Board
from stubsi.board.names import how_many
from stubsi.checks import checked
from stubsi.margin.built import BuiltRange
from stubsi.margin.verdict import bound
from stubsi.provenance import against_hardware
from stubsi.stubs.model_choice import ModelChoice
from stubsi.tolerance.built_figures import JUDGED, LOSS, MODEL_OFF, NOTCH, ONE_DB, BuiltFigures
from stubsi.tolerance.corner_search import CornerSearch
from stubsi.tolerance.net_results import NetResults
from stubsi.tolerance.tasks import check_executor, check_progress
from stubsi.tolerance.tolerances import Tolerances

if TYPE_CHECKING:
    from collections.abc import Callable
    from concurrent.futures import Executor

    import pandas as pd

    from stubsi.board.criterion import Criterion
    from stubsi.margin.ranking import Ranking
    from stubsi.stubs.model_choice import ModelName
    from stubsi.units import Dimensioned


class Basis(StrEnum):
    """How a worst case was found.

    ``PROVED``: the figure is monotone in every factor, so it lies at a corner that is known. ``ALL_CORNERS``: every
    corner was solved, and the middle of every edge that leaves the worst one. ``SEARCH``: from the corner that single
    changes point to, one factor after the other was changed until no change made it worse; not those whose effect is
    larger than twice what all effects together leave unexplained there. ``OPEN``: a search that had
    not settled. ``UNKNOWN``: the figure is not known.
    """

    PROVED = "proved"
    ALL_CORNERS = "all corners"
    SEARCH = "search"
    OPEN = "search not settled"
    UNKNOWN = "unknown"


class Standing(StrEnum):
    """How a net stands against its criterion over all tolerances, by the computed figures."""

    ALWAYS = "meets at worst"
    SOMETIMES = "depends on the tolerances"
    NEVER = "misses at best"
    UNKNOWN = "unknown"


@dataclass(frozen=True, kw_only=True)
class NetCorners:
    """One net over all its tolerances. Each figure has three values: worst, nominal, best; NaN where it is unknown.

    Parameters
    ----------
    net : str
        Its name.
    first_notch_si, one_db_si : three of float
        Lowest first notch and lowest 1 dB frequency [Hz]; infinite without stub.
    margin : three of float
        First notch over Nyquist [-].
    loss : three of float
        Loss at Nyquist [dB].
    judged : three of float
        The figure that its criterion limits, in the unit of the limit.
    criterion : Criterion
        What it must meet.
    standing : Standing
        Whether it meets its criterion at the worst and at the best corner. How far off the model may be is not in it.
    worst_at : mapping of factor name to coordinate
        Where the judged figure is worst: -1 at the lower limit, +1 at the upper limit.
    basis : Basis
        How the worst of the judged figure was found.
    """

    net: str
    first_notch_si: tuple[float, float, float]
    one_db_si: tuple[float, float, float]
    margin: tuple[float, float, float]
    loss: tuple[float, float, float]
    judged: tuple[float, float, float]
    criterion: Criterion
    standing: Standing
    worst_at: dict[str, float]
    basis: Basis

    @property
    def notch_change(self) -> tuple[float, float]:
        """Change of the first notch from nominal to worst and to best, as fractions: (-0.09, 0.11)."""
        worst, nominal, best = self.first_notch_si
        return worst / nominal - 1, best / nominal - 1

    @property
    def against_hardware(self) -> str:
        """How far the first notch of a board as built may be from the computed one, in words."""
        return against_hardware(self.notch_change)

    def __repr__(self) -> str:
        worst, nominal, best = self.margin
        return f"<NetCorners {self.net[:60]}: {worst:.3g} / {nominal:.3g} / {best:.3g} x Nyquist, {self.standing}>"


@dataclass(frozen=True, kw_only=True, repr=False)
class Corners(NetResults[NetCorners]):
    """The worst case of every net. Iterate it, ask it for a net by name, print it, or take ``to_frame()``.

    Parameters
    ----------
    board : Board
        The board as drawn.
    tolerances : Tolerances
        What varies.
    model : ModelChoice
        Electrical model of the stubs.
    nets : tuple of NetCorners
        In the order of the board.
    ranking : Ranking
        The ranking whose verdicts hold over all tolerances, as ``rank`` gives it for them.
    solved : int
        How many boards were solved.
    """

    board: Board
    tolerances: Tolerances
    model: ModelChoice
    nets: tuple[NetCorners, ...] = field(compare=False)
    ranking: Ranking = field(compare=False)
    solved: int = field(compare=False)

    def to_frame(self) -> pd.DataFrame:
        """Table as a pandas DataFrame.

        Returns
        -------
        pandas.DataFrame
            A net in each row, in the order of the board; plain numbers, units in the column names.
        """
        import pandas as pd

        columns: dict[str, list[object]] = {"net": [net.net for net in self.nets]}
        for number, end in enumerate(("worst", "nominal", "best")):
            columns[f"first notch, {end} [GHz]"] = [net.first_notch_si[number] / 1e9 for net in self.nets]
            columns[f"first notch / Nyquist, {end}"] = [net.margin[number] for net in self.nets]
            columns[f"1 dB frequency, {end} [GHz]"] = [net.one_db_si[number] / 1e9 for net in self.nets]
            columns[f"loss at Nyquist, {end} [dB]"] = [net.loss[number] for net in self.nets]
        columns["standing"] = [str(net.standing) for net in self.nets]
        columns["found by"] = [str(net.basis) for net in self.nets]
        return pd.DataFrame(columns)

    def to_csv(self) -> str:
        """Table as CSV.

        Returns
        -------
        str
            Comment lines (#) with what it rests on, then the table, in the order of the board.
        """
        from stubsi.show.tolerance_table import corners_csv

        return corners_csv(self)

    def __str__(self) -> str:
        frame = self.to_frame()
        shown = [name for name in frame.columns if "GHz" not in name and "dB" not in name]
        short = {name: name.replace("first notch / Nyquist, ", "x Nyquist, ") for name in shown}
        table = frame[shown].rename(columns=short).to_string(index=False, float_format=lambda value: f"{value:.3g}")
        changes = [change for net in self.nets for change in net.notch_change if np.isfinite(change)]
        said = against_hardware((min(changes, default=0.0), max(changes, default=0.0)))
        return f"{table}\n{self.tolerances}\nAgainst hardware: {said}."

    def _repr_html_(self) -> str:
        from stubsi.show.tolerance_table import corners_html

        return corners_html(self)

    def __repr__(self) -> str:
        counts = {each: sum(net.standing is each for net in self.nets) for each in Standing}
        return (
            f"<Corners of {how_many(len(self), 'net')}: {', '.join(f'{n} {each}' for each, n in counts.items() if n)}>"
        )


def corners(
    board: Board,
    tolerances: Tolerances,
    *,
    model: ModelName = "solved",
    dk_eff: float | None = None,
    delay: Dimensioned | None = None,
    executor: Executor | None = None,
    progress: Callable[[int, int], object] | None = None,
) -> Corners:
    r"""Worst and best case of every net over all tolerances: first notch, 1 dB frequency, loss, margin.

    Parameters
    ----------
    board : Board
        The board as drawn.
    tolerances : Tolerances
        What varies, and by how much.
    model, dk_eff, delay
        As in ``rank``.
    executor : concurrent.futures.Executor, optional
        Takes the boards, in at most 32 tasks at a time. It is not shut down. The result is the same.
    progress : callable, optional
        Is told twice how many boards are solved: a search does not know its end before.

    Returns
    -------
    Corners
        Every net, in the order of the board.

    Raises
    ------
    StubsiError
        An argument is of the wrong type, a tolerance does not fit the board, or a board at a corner cannot be built.

    Notes
    -----
    The limits are those of the tolerances, also of a normal distribution, whose tails go beyond them.

    With ``dk_eff`` or ``delay`` the notch is that of a uniform line, :math:`f = c / (4 L \sqrt{\varepsilon})`. It falls
    with every thickness that the stub crosses and depends on nothing else, so the worst corner is proved. No such proof
    is used elsewhere. The laminate's mean Dk falls where a layer of low Dk becomes thicker, and the first notch of a
    solved stub may be a resonance with its return vias. With up to three factors every corner is solved (with up to six
    where every stub is a uniform line), and the middle of each edge at the worst and best corner. With more, a search
    finds the worst one, and the best one is that to which the effects point. At each point only those nets are solved
    that it matters for. A figure that is worst somewhere inside, off these points, is not found.

    All holes deviate alike. The worst notch and 1 dB frequency of a net with several holes is right all the same,
    because the worst hole decides. A loss that is summed over holes which are worst in opposite directions would be
    higher. Where the thickness of the board is bounded, a corner beyond the bound is drawn back towards the nominal
    thicknesses until it keeps the bound, all thicknesses by the same part; corners are then labelled as searched.

    Examples
    --------
    >>> from stubsi import Tolerance, read_ipc2581
    >>> found = read_ipc2581("shared/sluice_gate.xml", signals={"FLOW_*": "32 GT/s"}, z0="85 ohm", plating="20 um")
    >>> thick = Tolerances(board_thickness=Tolerance.plus_minus("10 %", source="a fabricator's capability page"))
    >>> corners(found.board, thick, model="uniform")["FLOW_P/FLOW_N"]
    <NetCorners FLOW_P/FLOW_N: 1.94 / 2.12 / 2.33 x Nyquist, misses at best>
    """
    checked(board, "board", Board)
    checked(tolerances, "tolerances", Tolerances)
    check_executor(executor)
    check_progress(progress)
    return corners_of(board, tolerances, ModelChoice.of(model, dk_eff, delay), executor, progress)


def corners_of(
    board: Board,
    tolerances: Tolerances,
    choice: ModelChoice,
    executor: Executor | None = None,
    progress: Callable[[int, int], object] | None = None,
) -> Corners:
    """Corners of a board by a model that is chosen; they are kept with the board.

    Parameters
    ----------
    board : Board
    tolerances : Tolerances
    choice : ModelChoice
    executor, progress
        As in ``corners``.

    Returns
    -------
    Corners
    """
    told = progress or (lambda done, of: None)

    def found() -> Corners:
        return _corners(BuiltFigures(board, tolerances, choice, executor, lambda done: told(done, done)))

    return board.remembered(("corners", tolerances, choice), found)


def _corners(figures: BuiltFigures) -> Corners:
    board = figures.board
    search = CornerSearch(figures)
    search.run()
    nets = tuple(_net_corners(search, number) for number in range(len(board.signal_nets)))
    return Corners(
        board=board, tolerances=figures.tolerances, model=figures.model, nets=nets, ranking=_ranking(search),
        solved=figures.solved + 1,
    )  # fmt: skip


def _ranking(search: CornerSearch) -> Ranking:
    """The ranking of the board as drawn, with what its nets do over all tolerances."""
    figures, sign = search.figures, search.sign
    with np.errstate(invalid="ignore", divide="ignore"):
        low, high = (end[NOTCH] / figures.nominal[NOTCH, 0] - 1 for end in (search.worst, search.best))
    built = BuiltRange(
        tolerances=figures.tolerances, worst=search.worst[MODEL_OFF] * sign[MODEL_OFF],
        best=search.best[MODEL_OFF] * sign[MODEL_OFF], notch_low=low, notch_high=high,
    )  # fmt: skip
    return replace(figures.nominal_ranking, built=built)


def _net_corners(search: CornerSearch, number: int) -> NetCorners:
    """The row of a net: worst, nominal and best value of each figure, and where its judged figure is worst."""
    figures = search.figures
    name, nyquist = figures.board.signal_nets[number].name, float(figures.board.nyquist_si[number])
    criterion = figures.nominal_ranking.criterion_of_net[number]

    def three(figure: int) -> tuple[float, float, float]:
        sign = search.sign[figure, number]
        ends = (search.worst, figures.nominal[:, 0] * search.sign, search.best)
        worst, nominal, best = (float(end[figure, number] * sign) for end in ends)
        return worst, nominal, best

    notch, judged = three(NOTCH), three(JUDGED)
    worst, nominal, best = (each / nyquist for each in notch)
    names = [factor.name for factor in figures.factors]
    return NetCorners(
        net=name,
        first_notch_si=notch,
        one_db_si=three(ONE_DB),
        margin=(worst, nominal, best),
        loss=three(LOSS),
        judged=judged,
        criterion=criterion,
        standing=_standing(criterion, judged),
        worst_at=dict(zip(names, search.worst_at[JUDGED, number].tolist(), strict=True)),
        basis=_basis(search, number, judged),
    )


def _standing(criterion: Criterion, judged: tuple[float, float, float]) -> Standing:
    if np.isnan(judged).any():
        return Standing.UNKNOWN
    limit = bound(criterion)
    worst, best = (end >= limit if criterion.least else end <= limit for end in (judged[0], judged[2]))
    return Standing.ALWAYS if worst else Standing.SOMETIMES if best else Standing.NEVER


def _basis(search: CornerSearch, number: int, judged: tuple[float, float, float]) -> Basis:
    """How sure it is that the worst corner of a net was found."""
    if np.isnan(judged).any():
        return Basis.UNKNOWN
    figures = search.figures
    if figures.notch_depends_on_length_alone and figures.notch_is_judged[number] and not search.drawn_back:
        return Basis.PROVED
    if search.enumerated and not search.drawn_back:
        return Basis.ALL_CORNERS
    return Basis.SEARCH if search.settled else Basis.OPEN
