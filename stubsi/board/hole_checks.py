"""Owns the checks of a board's holes: no plane in use, none farther apart than a board is large, none into another."""

from __future__ import annotations

from operator import attrgetter
from typing import TYPE_CHECKING

import numpy as np

from stubsi.board.hole_kinds import refuse_plane
from stubsi.board.overlaps import refuse_overlaps
from stubsi.board.size_limits import BOARD, check_size
from stubsi.errors import BoardError
from stubsi.units import show

if TYPE_CHECKING:
    from stubsi.board.board import Board
    from stubsi.board.padstack import Padstack


def refuse_planes_in_use(board: Board) -> None:
    """Refuse a signal hole that uses a plane, or whose pad in use touches the plane of a mixed layer.

    Parameters
    ----------
    board : Board

    Raises
    ------
    BoardError
        There is one.
    """
    used = board.signal_holes
    kinds, first = np.unique(used.kind, return_index=True)
    for kind, hole in zip(kinds.tolist(), first.tolist(), strict=True):
        for layer in board.kinds[kind].connects:
            refuse_plane(board.stackup, layer, f"hole {used.holes[hole].name} connects")
            _refuse_touching_pad(board, board.kinds[kind].padstack, layer, used.holes[hole].name)


def _refuse_touching_pad(board: Board, padstack: Padstack, layer: str, hole: str) -> None:
    role = board.stackup.copper[board.stackup.index(layer)].role
    antipad, pad = padstack.antipad_at(layer, role), padstack.pad_at(layer, in_use=True, outer=False)
    if role != "signal" and antipad is not None and pad is not None and pad >= antipad.width_si:
        raise BoardError(
            f"hole {hole} connects '{layer}': its pad there is {show(pad, 'length')} wide, which must be smaller than "
            f"the antipad of padstack {padstack.name} there, {show(antipad.width_si, 'length')}, or it touches the "
            f"plane; give a smaller pad or a wider antipad."
        )


def refuse_far_apart(board: Board) -> None:
    """Refuse holes that are farther apart than any board is large.

    Parameters
    ----------
    board : Board

    Raises
    ------
    BoardError
        Two holes are.
    """
    holes = [hole for net in board.nets for hole in net.holes if hole.xy_si is not None]
    for axis in ("x_si", "y_si"):
        if holes:
            least, most = (end(holes, key=attrgetter(axis)) for end in (min, max))
            apart = getattr(most, axis) - getattr(least, axis)
            check_size(apart, BOARD, f"distance in {axis[0]} between holes {least.name} and {most.name}")


def refuse_drill_overlaps(board: Board) -> None:
    """Refuse two holes whose drills run into each other.

    Holes may touch where one ends and the other begins, as stacked blind holes do.

    Parameters
    ----------
    board : Board

    Raises
    ------
    BoardError
        Two drills do.
    """
    columns = (board.signal_holes, board.reference_holes)
    holes = [hole for each in columns for hole in each.holes]
    place = np.concatenate([each.place for each in columns])
    drill, top, bottom = (
        np.concatenate([board.per_kind(value, each) for each in columns])
        for value in (
            lambda kind: kind.padstack.drill_si,
            lambda kind: kind.span.first,
            lambda kind: kind.span.last,
        )
    )
    placed = np.flatnonzero(~np.isnan(place))
    names = [holes[number].name for number in placed.tolist()]
    refuse_overlaps(names, place[placed], drill[placed], top[placed], bottom[placed])
