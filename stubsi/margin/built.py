"""Owns what a margin knows of boards as built: how far tolerances move the figures, and what must be able to say it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol, TypeAlias, runtime_checkable

import numpy as np

from stubsi.errors import BoardError
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.board.board import Board
    from stubsi.margin.ranking import Ranking
    from stubsi.stubs.model_choice import ModelChoice

    Floats: TypeAlias = NDArray[np.float64]


@runtime_checkable
class Varied(Protocol):
    """What varies from board to board, as a margin sees it: ``Tolerances`` of the package ``tolerance``."""

    def ranked(self, board: Board, model: ModelChoice) -> Ranking:
        """The ranking of a board whose verdicts hold over all that varies."""

    @property
    def of_laminate(self) -> bool:
        """Whether Dk and thickness vary, so that the flat allowance against hardware is no longer needed."""

    def notch_range(self, dk_eff: float | None) -> tuple[float, float]:
        """Lowest and highest first notch of a uniform line over the one as drawn, as factors."""


def checked_varied(tolerances: object) -> Varied:
    """Check that something is a set of tolerances.

    Parameters
    ----------
    tolerances : object

    Returns
    -------
    Varied

    Raises
    ------
    BoardError
        It is none.
    """
    if isinstance(tolerances, type) or not isinstance(tolerances, Varied):
        raise BoardError(
            f"tolerances = {as_shown(tolerances)}: must be Tolerances; read_tolerances reads them from a file."
        )
    return tolerances


@dataclass(frozen=True, kw_only=True, repr=False)
class BuiltRange:
    """What the signal nets of a board do over all tolerances. Two of them are equal if their tolerances are.

    Parameters
    ----------
    tolerances : Varied
        What varies.
    worst, best : ndarray
        Worst and best value of the figure that the criterion of each net looks at, with the error that the model
        declares on top.
    notch_low, notch_high : ndarray
        Lowest and highest first notch of each net over that of the board as drawn, less 1: -0.09 and 0.11. As computed,
        without the error of the model.
    """

    tolerances: Varied
    worst: Floats = field(compare=False)
    best: Floats = field(compare=False)
    notch_low: Floats = field(compare=False)
    notch_high: Floats = field(compare=False)

    @property
    def notch_change(self) -> tuple[float, float]:
        """Lowest and highest change of a first notch over all nets; zero where there is none."""
        known = np.isfinite(self.notch_low) & np.isfinite(self.notch_high)
        return (
            float(self.notch_low[known].min(initial=0.0)),
            float(self.notch_high[known].max(initial=0.0)),
        )

    def of_net(self, number: int) -> tuple[float, float] | None:
        """Lowest and highest change of the first notch of a net; None where it is not known."""
        low, high = float(self.notch_low[number]), float(self.notch_high[number])
        return (low, high) if np.isfinite(low) and np.isfinite(high) else None

    def __repr__(self) -> str:
        low, high = self.notch_change
        return f"<BuiltRange of {len(self.worst)} nets: first notch {100 * low:+.1f} to {100 * high:+.1f} %>"
