"""Owns the difference of two boards, two rankings or two plans: one function for all three."""

from __future__ import annotations

from typing import TYPE_CHECKING, overload

from stubsi.board.board import Board
from stubsi.board.board_difference import board_difference
from stubsi.drilling.plan import Plan
from stubsi.drilling.plan_difference import plan_difference
from stubsi.errors import StubsiError
from stubsi.margin.ranking import Ranking
from stubsi.margin.ranking_difference import ranking_difference
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    from stubsi.board.board_difference import BoardDifference
    from stubsi.drilling.plan_difference import PlanDifference
    from stubsi.margin.ranking_difference import RankingDifference


@overload
def difference(before: Board, after: Board) -> BoardDifference: ...
@overload
def difference(before: Ranking, after: Ranking) -> RankingDifference: ...
@overload
def difference(before: Plan, after: Plan) -> PlanDifference: ...
def difference(
    before: Board | Ranking | Plan, after: Board | Ranking | Plan
) -> BoardDifference | RankingDifference | PlanDifference:
    """What differs between two boards, two rankings or two plans.

    Parameters
    ----------
    before, after : Board, Ranking or Plan
        Two of one kind.

    Returns
    -------
    BoardDifference, RankingDifference or PlanDifference
        Print it, iterate it, or turn it into a table with ``to_frame``. It is true where something differs.

    Raises
    ------
    StubsiError
        They are not two of one kind.

    Examples
    --------
    >>> from stubsi import read_board
    >>> board = read_board("shared/demo_board.toml")
    >>> print(difference(board, board.with_layer(net="BP_TX1", from_layer="L14", to_layer="L16")).summary())
    Boards: 4 differences in 4 parts.
    """
    if isinstance(before, Board) and isinstance(after, Board):
        return board_difference(before, after)
    if isinstance(before, Ranking) and isinstance(after, Ranking):
        return ranking_difference(before, after)
    if isinstance(before, Plan) and isinstance(after, Plan):
        return plan_difference(before, after)
    raise StubsiError(
        f"before = {as_shown(before)}, after = {as_shown(after)}: give two boards, two rankings or two plans."
    )
