"""Owns the solving of some stubs of a board as built: their table and models, without what nobody looks at."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.stubs.cases import NO_CASE, stub_table

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from stubsi.board.board import Board
    from stubsi.stubs.cases import StubTable
    from stubsi.stubs.model_choice import ModelChoice
    from stubsi.stubs.models import Models

    Wanted = Callable[[StubTable], NDArray[np.bool_]]
    """Function that says which rows of a table of stubs are looked at."""


class SolvedStubs(NamedTuple):
    """Some stubs of a board. Of the others the table knows no case."""

    table: StubTable
    models: Models


def solved_stubs(board: Board, model: ModelChoice, wanted: Wanted) -> SolvedStubs:
    """Solve some stubs of a board.

    Parameters
    ----------
    board : Board
    model : ModelChoice
    wanted : callable

    Returns
    -------
    SolvedStubs
        Each distinct case once; what a drill would leave of a stub is not looked at.
    """
    table = stub_table(board, with_surroundings=not model.uniform)
    rows = np.flatnonzero(wanted(table) & (table.case != NO_CASE))
    used, number = np.unique(table.case[rows], return_inverse=True)
    case = np.full(len(table.case), NO_CASE, dtype=table.case.dtype)
    case[rows] = number
    cases = tuple([table.cases[place] for place in used.tolist()])
    return SolvedStubs(replace(table, cases=cases, case=case, least=case), model.models(cases))
