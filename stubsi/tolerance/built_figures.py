"""Owns the figures of the nets of boards as built, in arrays: what a study of tolerances compares and counts."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from stubsi.board.criterion import Measure
from stubsi.margin.figures import net_figures
from stubsi.margin.ranking import Ranking, rank
from stubsi.margin.spread import Spread
from stubsi.tolerance.built_board import built_board, thickness_si
from stubsi.tolerance.solved_stubs import solved_stubs
from stubsi.tolerance.tasks import batches, results_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from concurrent.futures import Executor

    from numpy.typing import NDArray

    from stubsi.board.board import Board
    from stubsi.margin.figures import Figures
    from stubsi.stubs.cases import StubTable
    from stubsi.stubs.model_choice import ModelChoice
    from stubsi.stubs.models import Models
    from stubsi.tolerance.tolerances import Factor, Tolerances

    Floats: TypeAlias = NDArray[np.float64]

FIGURES = ("first notch", "1 dB frequency", "loss", "judged", "judged, the model off")
"""What is looked at of every net: lowest first notch [Hz], lowest 1 dB frequency [Hz], loss at Nyquist [dB], and the
figure that its criterion limits, as computed and with the model as far off as it declares."""
NOTCH, ONE_DB, LOSS, JUDGED, MODEL_OFF = range(len(FIGURES))


class BuiltFigures:
    """Figures of the nets of a board as built. Of every board that is asked for, every net is solved once.

    Parameters
    ----------
    board : Board
    tolerances : Tolerances
    model : ModelChoice
    executor : Executor, optional
        Takes the boards that can be solved at once.
    progress : callable, optional
        Is told how many boards are solved.
    """

    def __init__(
        self,
        board: Board,
        tolerances: Tolerances,
        model: ModelChoice,
        executor: Executor | None = None,
        progress: Callable[[int], object] = lambda done: None,
    ) -> None:
        self.executor, self.progress = executor, progress
        self.board, self.tolerances, self.model = board, tolerances, model
        self.factors: tuple[Factor, ...] = tolerances.factors(board)
        self.nominal_ranking = rank(board, **model.arguments())
        drawn = self.nominal_ranking
        self.nominal = _rows(board, tolerances, model, drawn.table, drawn.models)
        self.nominal_t = np.array([factor.tolerance.nominal_t for factor in self.factors])
        self._solved: dict[tuple[float, ...], tuple[NDArray[np.bool_], Floats]] = {}
        self.net_boards = 0
        """How many nets were solved, over all boards."""

    def at(self, t: Sequence[float] | Floats, nets: NDArray[np.bool_]) -> Floats:
        """Figures at one point of the factors.

        Parameters
        ----------
        t : sequence of float
            Coordinate of every factor. All holes deviate alike.
        nets : ndarray of bool
            Which nets are looked at.

        Returns
        -------
        ndarray, shape (figures, 2, nets)
            In the order of ``FIGURES``; worse and better end of what is computed, equal where all is known. NaN for the
            nets that are not looked at.
        """
        self.solve([(np.asarray(t, dtype=np.float64), nets)])
        return np.where(nets, self._solved[_key(t)][1], np.nan)

    def solve(self, wanted: Sequence[tuple[Floats, NDArray[np.bool_]]]) -> None:
        """Solve what is not known yet of some points, all at once, so that workers can share it.

        Parameters
        ----------
        wanted : sequence of (coordinates, nets)
        """
        missing: dict[tuple[float, ...], NDArray[np.bool_]] = {}
        for t, nets in wanted:
            key = _key(t)
            known, _ = self._solved.setdefault(key, (np.zeros_like(nets), np.full_like(self.nominal, np.nan)))
            more = (nets & ~known) | missing.get(key, np.zeros_like(nets))
            if more.any():
                missing[key] = more
        points = list(missing.items())
        split = batches(len(points)) if self.executor is not None else [range(n, n + 1) for n in range(len(points))]
        tasks = [(self.board, self.tolerances, self.model, points[each.start : each.stop]) for each in split]
        for number, figures in results_of(self.executor, _figures_at, tasks):
            for (key, nets), found in zip(tasks[number][3], figures, strict=True):
                known, before = self._solved[key]
                self._solved[key] = known | nets, np.where(nets, found, before)
                self.net_boards += int(nets.sum())
            self.progress(self.solved)

    @property
    def solved(self) -> int:
        """How many boards were solved so far, some of them in part, beside the nominal one."""
        return len(self._solved)

    def within_thickness(self, t: Sequence[float] | Floats) -> bool:
        """Whether the board as built keeps the bound on its thickness, to 1e-9.

        Parameters
        ----------
        t : sequence of float

        Returns
        -------
        bool
            True where there is no such bound.
        """
        bound = self.tolerances.board_thickness
        if not self.tolerances.bounded or bound is None:
            return True
        low, high = bound.limits(self.board.stackup.edges_si[-1])
        built = thickness_si(self.board.stackup, self.tolerances, _by_factor(self.factors, np.asarray(t).tolist()))
        return low * (1 - 1e-9) <= built <= high * (1 + 1e-9)

    @property
    def notch_depends_on_length_alone(self) -> bool:
        """Whether the notch follows from the length of the stub and a Dk_eff or delay that is given."""
        return self.model.dk_eff is not None or self.model.delay_si is not None

    @property
    def higher_is_better(self) -> NDArray[np.bool_]:
        """Whether a higher value of a figure of a net is better; shape (figures, nets)."""
        better = np.ones(self.nominal.shape[::2], dtype=bool)
        better[LOSS] = False
        better[[JUDGED, MODEL_OFF]] = [criterion.least for criterion in self.nominal_ranking.criterion_of_net]
        return better

    @property
    def notch_is_judged(self) -> NDArray[np.bool_]:
        """Whether the criterion of a net looks at its notch."""
        criteria = self.nominal_ranking.criterion_of_net
        return np.array([criterion.measure is Measure.NOTCH_RATIO for criterion in criteria], dtype=bool)


def _key(t: Sequence[float] | Floats) -> tuple[float, ...]:
    return tuple(np.asarray(t, dtype=np.float64).tolist())


def _by_factor(factors: Sequence[Factor], t: Sequence[float]) -> dict[tuple[str, str], float]:
    return {(factor.quantity, factor.material): each for factor, each in zip(factors, t, strict=True)}


def _figures_at(
    task: tuple[Board, Tolerances, ModelChoice, list[tuple[tuple[float, ...], NDArray[np.bool_]]]],
) -> list[Floats]:
    board, tolerances, model, points = task
    factors = tolerances.factors(board)
    built = [(built_board(board, tolerances, _by_factor(factors, t)), nets) for t, nets in points]
    return [_figures(each, tolerances, model, nets) for each, nets in built]


def _figures(board: Board, tolerances: Tolerances, model: ModelChoice, nets: NDArray[np.bool_]) -> Floats:
    """Figures of some nets of a board; those of the others mean nothing."""
    return _rows(board, tolerances, model, *solved_stubs(board, model, lambda table: nets[table.net]))


def judged_as_built(
    board: Board, tolerances: Tolerances, model: ModelChoice, table: StubTable, models: Models
) -> tuple[Figures, Spread]:
    """Figures of the nets of one board as built, and the one that each criterion looks at.

    Parameters
    ----------
    board : Board
        As built.
    tolerances : Tolerances
        If they are of the laminate, only the error that the model declares is on top of the figures.
    model : ModelChoice
    table : StubTable
    models : Models
        Of the stubs of the table.

    Returns
    -------
    figures : Figures
    judged : Spread
        NaN for a net that something unknown keeps from being judged.
    """
    figures = net_figures(board, table, models.by_model_error if tolerances.of_laminate else models, table.case)
    ranking = Ranking(board=board, model=model, table=table, models=models, figures=figures)
    known = ranking.unknown_case < 0
    return figures, Spread(*(np.where(known, end, np.nan) for end in ranking.measured))


def _rows(board: Board, tolerances: Tolerances, model: ModelChoice, table: StubTable, models: Models) -> Floats:
    """Figures of the nets of a board, in the order of ``FIGURES``, each with its worse and its better end."""
    f, measured = judged_as_built(board, tolerances, model, table, models)
    has_stub = f.stubs > 0
    return np.array(
        [
            [np.where(has_stub, f.notch.low, np.inf), np.where(has_stub, f.notch.high, np.inf)],
            [np.where(has_stub, f.one_db.low, np.inf), np.where(has_stub, f.one_db.high, np.inf)],
            [f.nyquist_loss, f.nyquist_loss],
            [measured.low, measured.high],
            [measured.worst, measured.best],
        ]
    )
