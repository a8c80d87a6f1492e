"""Owns the figures of the nets of boards as built, in arrays: what a study of tolerances compares and counts."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from stubsi.board.criterion import Measure
from stubsi.margin.figures import net_figures
from stubsi.margin.ranking import Ranking, rank
from stubsi.tolerance.built_board import built_board, thickness_si
from stubsi.tolerance.solved_stubs import solved_stubs

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from stubsi.board.board import Board
    from stubsi.stubs.model_choice import ModelChoice
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
    """

    def __init__(self, board: Board, tolerances: Tolerances, model: ModelChoice) -> None:
        self.board, self.tolerances, self.model = board, tolerances, model
        self.factors: tuple[Factor, ...] = tolerances.factors(board)
        self.nominal_ranking = rank(board, **model.arguments())
        self.nominal = _figures(board, model, np.ones(len(board.signal_nets), dtype=bool))
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
        key = tuple(np.asarray(t, dtype=np.float64).tolist())
        known, figures = self._solved.get(key, (np.zeros_like(nets), np.full_like(self.nominal, np.nan)))
        missing = nets & ~known
        if missing.any():
            built = built_board(self.board, self.tolerances, self._by_factor(key))
            figures = np.where(missing, _figures(built, self.model, missing), figures)
            self._solved[key] = known | missing, figures
            self.net_boards += int(missing.sum())
        return np.where(nets, figures, np.nan)

    @property
    def solved(self) -> int:
        """How many boards were solved so far, some of them in part, beside the nominal one."""
        return len(self._solved)

    def _by_factor(self, t: Sequence[float]) -> dict[tuple[str, str], float]:
        return {(factor.quantity, factor.material): each for factor, each in zip(self.factors, t, strict=True)}

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
        built = thickness_si(self.board.stackup, self.tolerances, self._by_factor(np.asarray(t).tolist()))
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


def _figures(board: Board, model: ModelChoice, nets: NDArray[np.bool_]) -> Floats:
    """Figures of some nets of a board; those of the others mean nothing."""
    table, models = solved_stubs(board, model, lambda table: nets[table.net])
    f = net_figures(board, table, models.by_model_error, table.case)
    measured = Ranking(board=board, model=model, table=table, models=models, figures=f).measured
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
