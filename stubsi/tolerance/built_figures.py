"""Owns the figures of the nets of boards as built, in arrays: what a study of tolerances compares and counts."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from stubsi.board.criterion import Measure
from stubsi.margin.figures import net_figures
from stubsi.margin.ranking import rank
from stubsi.tolerance.built_board import built_board, thickness_si

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from stubsi.board.board import Board
    from stubsi.margin.ranking import Ranking
    from stubsi.stubs.model_choice import ModelChoice
    from stubsi.tolerance.tolerances import Factor, Tolerances

    Floats: TypeAlias = NDArray[np.float64]

FIGURES = ("first notch", "1 dB frequency", "loss", "judged", "judged, the model off")
"""What is looked at of every net: lowest first notch [Hz], lowest 1 dB frequency [Hz], loss at Nyquist [dB], and the
figure that its criterion limits, as computed and with the model as far off as it declares."""
NOTCH, ONE_DB, LOSS, JUDGED, MODEL_OFF = range(len(FIGURES))


class BuiltFigures:
    """Figures of the nets of a board as built. Every board that was asked for is solved once.

    Parameters
    ----------
    board : Board
    tolerances : Tolerances
    model : ModelChoice
    """

    def __init__(self, board: Board, tolerances: Tolerances, model: ModelChoice) -> None:
        self.board, self.tolerances, self.model = board, tolerances, model
        self.factors: tuple[Factor, ...] = tolerances.factors(board)
        self.nominal_ranking = self._ranked(board)
        self.nominal = _figures(self.nominal_ranking)
        self.nominal_t = np.array([factor.tolerance.nominal_t for factor in self.factors])
        self._solved: dict[tuple[float, ...], Floats] = {}

    def _ranked(self, board: Board) -> Ranking:
        return rank(board, **self.model.arguments())

    def at(self, t: Sequence[float] | Floats) -> Floats:
        """Figures at one point of the factors.

        Parameters
        ----------
        t : sequence of float
            Coordinate of every factor. All holes deviate alike.

        Returns
        -------
        ndarray, shape (figures, 2, nets)
            In the order of ``FIGURES``; worse and better end of what is computed, equal where all is known.
        """
        key = tuple(np.asarray(t, dtype=np.float64).tolist())
        if key not in self._solved:
            built = built_board(self.board, self.tolerances, self._by_factor(key))
            self._solved[key] = _figures(self._ranked(built))
        return self._solved[key]

    @property
    def solved(self) -> int:
        """How many boards were solved so far, beside the nominal one."""
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


def _figures(ranking: Ranking) -> Floats:
    ranking = replace(
        ranking, figures=net_figures(ranking.board, ranking.table, ranking.models.by_model_error, ranking.table.case)
    )
    f, measured = ranking.figures, ranking.measured
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
