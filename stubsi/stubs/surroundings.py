"""Owns what stands around a hole: its nearest return vias, and the other barrel of its pair."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.board.hole_columns import SINGLE, partners
from stubsi.read_only import read_only
from stubsi.stubs.nearest_vias import GRID, REACH, NearestVias, via_columns

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from stubsi.board.board import Board
    from stubsi.board.net import ReturnVias

BLOCK = 50_000
"""How many holes are handled at a time, so that a large board does not need too much memory."""


class Around(NamedTuple):
    """What stands around a hole. Patterns that differ only by a rotation or a mirroring are equal.

    ``returns``: centres ((x, y), ...) [m] of the return vias, None where they are unknown. For a single hole they are
    relative to the hole, and the nearest one lies on the x axis. For a leg of a pair they are relative to the middle
    between the two barrels, which lie on the x axis, and only those on the side of this leg (x > 0) are listed.
    ``radius``: of the vias [m]. ``pitch``: of the pair [m], None for a single hole and where it is unknown.
    ``odd``: whether the hole is a leg of a pair, driven in the odd mode.
    """

    returns: tuple[tuple[float, float], ...] | None
    radius: float
    pitch: float | None
    odd: bool


NOTHING_KNOWN = Around(None, 0.0, None, odd=False)


@dataclass(frozen=True, kw_only=True, eq=False)
class Surroundings:
    """What stands around every hole of the signal nets of a board; equal surroundings are listed once.

    Parameters
    ----------
    distinct : tuple of Around
        The different surroundings.
    of_hole : ndarray of int
        Which of them every hole has.
    """

    distinct: tuple[Around, ...]
    of_hole: NDArray[np.intp]

    def __len__(self) -> int:
        return len(self.of_hole)

    def __getitem__(self, hole: int) -> Around:
        return self.distinct[int(self.of_hole[hole])]

    def __iter__(self) -> Iterator[Around]:
        return (self.distinct[number] for number in self.of_hole.tolist())


def around_of(returns: ReturnVias | None, pitch: float | None) -> Around:
    """What stands around a hole that is on no board. As on a board, return vias out of reach do not count.

    Parameters
    ----------
    returns : ReturnVias or None
        Its return vias; None where they are unknown.
    pitch : float or None
        Pitch of its pair [m]; None for a single hole.

    Returns
    -------
    Around
    """
    if returns is None:
        return Around(None, 0.0, pitch, pitch is not None)
    radius, odd = returns.drill_si / 2, pitch is not None
    if not returns.positions_si:
        return Around((), radius, pitch, odd)
    vias = np.array([[complex(*place) for place in returns.positions_si]])
    if not odd:
        nearest = vias[0, np.argmin(np.abs(vias[0]))]
        vias = vias / (nearest / abs(nearest) if nearest else 1.0)
    barrel = 0.0 if pitch is None else pitch / 2
    listed = [
        via for via in _normalised(vias)[0].tolist() if abs(via - barrel) <= REACH and (not odd or via.real > radius)
    ]
    return Around(tuple((via.real, via.imag) for via in listed), radius, pitch, odd)


def surroundings(board: Board) -> Surroundings:
    """What stands around every hole of the signal nets of a board.

    The result is remembered on the board: asking again costs nothing.

    Parameters
    ----------
    board : Board

    Returns
    -------
    Surroundings
        In the order of ``board.signal_holes``.
    """
    return board.remembered("surroundings", lambda: _surroundings(board))


def nothing_known(holes: int) -> Surroundings:
    """Surroundings of holes about which nothing is known, for a model that does not use them.

    Parameters
    ----------
    holes : int
        Number of holes.

    Returns
    -------
    Surroundings
    """
    return Surroundings(distinct=(NOTHING_KNOWN,), of_hole=read_only(np.zeros(holes, dtype=np.intp)))


def _surroundings(board: Board) -> Surroundings:
    """The surroundings of all holes, block by block; equal ones are listed once."""
    holes, columns = board.signal_holes, via_columns(board)
    first = board.per_kind(lambda kind: kind.span.first, holes)
    last = board.per_kind(lambda kind: kind.span.last, holes)
    partner, pair = partners(holes), holes.leg != SINGLE
    nearest = None if columns is None else NearestVias(columns)
    numbers: dict[bytes, int] = {}
    distinct: list[Around] = []
    of_hole: list[int] = []
    for start in range(0, len(holes.place), BLOCK):
        block = slice(start, start + BLOCK)
        place = holes.place[block]
        if nearest is None:
            vias, radius = np.full((len(place), 0), np.nan + 0j), np.zeros(len(place))
        else:
            vias, radius = nearest.of(place, first[block], last[block])
        patterns = _patterns(place, partner[block], vias, radius)
        known = ~np.isnan(place) & (nearest is not None)
        table = np.column_stack([patterns.view(np.float64), radius, _pitch(place, partner[block]), pair[block], known])
        for row, key in enumerate(_rows_as_bytes(table)):
            number = numbers.setdefault(key, len(distinct))
            if number == len(distinct):
                distinct.append(_around(table[row]))
            of_hole.append(number)
    return Surroundings(distinct=tuple(distinct), of_hole=read_only(np.array(of_hole, dtype=np.intp)))


def _rows_as_bytes(table: NDArray[np.float64]) -> Iterator[bytes]:
    """Every row as bytes, equal for equal rows."""
    raw, width = table.tobytes(), table.shape[1] * table.itemsize
    return (raw[start : start + width] for start in range(0, len(raw), width))


def _around(row: NDArray[np.float64]) -> Around:
    """One row of the table of patterns: x and y of every via, then radius, pitch, pair or not, known or not."""
    *vias, radius, pitch, pair, known = row.tolist()
    listed = [(x, y) for x, y in zip(vias[::2], vias[1::2], strict=True) if not math.isnan(x)]
    return Around(tuple(listed) if known else None, radius, pitch if pitch >= 0 else None, bool(pair))


def _pitch(place: NDArray[np.complex128], partner: NDArray[np.complex128]) -> NDArray[np.float64]:
    """Pitch of every pair [m], on the grid; -1 where there is none or it is unknown."""
    return np.nan_to_num(np.round(np.abs(partner - place) / GRID) * GRID, nan=-1.0)


def _patterns(
    place: NDArray[np.complex128],
    partner: NDArray[np.complex128],
    vias: NDArray[np.complex128],
    radius: NDArray[np.float64],
) -> NDArray[np.complex128]:
    """Return vias [m] as ``Around`` lists them, shape (n, n_via). Vias that do not count are NaN, and last in a row."""
    if not vias.shape[1]:
        return vias
    pitch = _pitch(place, partner)
    single = pitch < 0
    with np.errstate(invalid="ignore"):
        axis = np.where(single, vias[:, 0] - place, place - partner)
        turned = (vias - place[:, None]) / np.where(axis == 0, 1.0, axis / np.abs(axis))[:, None]
        from_middle = np.where(single, 0.0, pitch / 2)[:, None]
        turned = _normalised(turned + from_middle)
        own_side = single[:, None] | (turned.real > radius[:, None])
        counts = np.logical_and(own_side, np.abs(turned - from_middle) <= REACH)
    listed = np.where(counts, turned, complex(np.nan, np.nan))
    counting_first = np.argsort(~counts, axis=1, kind="stable")
    return np.take_along_axis(listed, counting_first, axis=1)


def _normalised(vias: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Patterns rounded to the grid, sorted, and mirrored so that the first via off the x axis lies above the axis."""
    vias = np.round(vias / GRID) * GRID
    off_axis = np.abs(vias.imag) > GRID / 2
    first_off = np.take_along_axis(vias.imag, off_axis.argmax(axis=1)[:, None], axis=1)
    vias = np.where(off_axis.any(axis=1, keepdims=True) & (first_off < 0), vias.conj(), vias)
    order = np.lexsort((vias.imag, vias.real), axis=1)
    return np.take_along_axis(vias, order, axis=1) + 0.0
