"""Owns the proposal: moves of nets to other layers with what they save, and why a net has none."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, NamedTuple

from stubsi.board.board import Board
from stubsi.board.names import how_many
from stubsi.checks import checked
from stubsi.drilling.net_moves import moved

if TYPE_CHECKING:
    from stubsi.drilling.net_moves import Move


class WhyNoMove(StrEnum):
    """Why no move of a net is offered. Each is also the text that is shown.

    ``NO_LAYER_FREES_IT``: the net holds a drill group open. ``NO_LAYER_HELPS``: a stub of it is refused.
    """

    NO_OTHER_LAYER = "no other layer it may use"
    NO_LAYER_FREES_IT = "no layer it may use frees the group"
    NO_LAYER_HELPS = "no layer it may use lets it be drilled"


class Proposal(NamedTuple):
    """Moves proposed together. The library itself never applies them.

    Parameters
    ----------
    moves : tuple of Move
        The moves, each of a different net.
    saved : int
        Number of groups they save; negative if they need more groups.
    """

    moves: tuple[Move, ...]
    saved: int

    def applied(self, board: Board) -> Board:
        """A copy of a board with these moves made.

        Parameters
        ----------
        board : Board
            The board.

        Returns
        -------
        Board
            The changed board.

        Raises
        ------
        BoardError
            The argument is not a board, or a hole does not reach the new layer.
        """
        return moved(checked(board, "board", Board), self.moves)

    @property
    def outcome(self) -> str:
        """What the moves save or cost, in words."""
        return how_many(abs(self.saved), "fewer drill group" if self.saved >= 0 else "more drill group")

    def __str__(self) -> str:
        return f"{' and '.join(map(str, self.moves))}: {self.outcome}"

    def __repr__(self) -> str:
        return f"<Proposal of {how_many(len(self.moves), 'move')}: {self.outcome}>"

    def _repr_html_(self) -> str:
        from stubsi.show.parts_html import proposal_html

        return proposal_html(self)
