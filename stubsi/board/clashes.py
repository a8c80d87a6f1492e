"""Owns what cannot be where holes are neighbours: copper of two nets that overlaps, a return via in a clearance."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.board.hole_columns import LEG_N, partners
from stubsi.board.overlaps import ROUNDING, near_pairs
from stubsi.errors import BoardError
from stubsi.units import show

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.board.board import Board
    from stubsi.board.hole_kinds import HoleKind
    from stubsi.board.net import Hole
    from stubsi.board.stackup import Stackup

    Floats = NDArray[np.float64]
    Numbers = NDArray[np.intp]

REFERENCE = -1
"""Stands for the net of every reference hole, because their nets may be parts of one net."""


class _Placed(NamedTuple):
    """The holes of a board whose position is known, as arrays. The signal holes come first.

    ``conductor``: number of the net or of the leg of a pair, ``REFERENCE`` for reference holes. ``partner``: place of
    the other barrel of the pair, NaN where there is none.
    """

    holes: list[Hole]
    place: NDArray[np.complex128]
    kind: Numbers
    conductor: Numbers
    partner: NDArray[np.complex128]


class _KindTables(NamedTuple):
    """What every kind of hole has on every copper layer, one row per kind.

    ``copper``: diameter [m] of its pad or barrel, 0 where it does not reach. ``clearance``: half of the width [m] of
    its antipad where the layer is a plane around it, 0 elsewhere. ``slot``: whether that antipad is shared by a pair.
    ``meets``: where the hole joins a plane, if it is a reference hole.
    """

    copper: Floats
    clearance: Floats
    slot: NDArray[np.bool_]
    meets: NDArray[np.bool_]


def meets_planes(stackup: Stackup, kind: HoleKind) -> NDArray[np.bool_]:
    """Copper layers on which a reference hole joins a plane.

    Parameters
    ----------
    stackup : Stackup
    kind : HoleKind
        Of the hole.

    Returns
    -------
    ndarray of bool
        One entry per copper layer. A plane is joined where the padstack states no antipad; a plane or mixed layer is
        joined as well where the hole names it in ``connects``.
    """
    padstack, span = kind.padstack, kind.span
    return np.array(
        [
            span.first <= place <= span.last
            and layer.role != "signal"
            and (
                layer.name in kind.connects
                or (layer.role == "plane" and padstack.antipad_at(layer.name, layer.role) is None)
            )
            for place, layer in enumerate(stackup.copper)
        ],
        dtype=bool,
    )


def refuse_clashes(board: Board) -> None:
    """Refuse copper of different nets that overlaps, and return vias that stand in a clearance.

    Parameters
    ----------
    board : Board

    Raises
    ------
    BoardError
        Pads or barrels of two nets, or of two legs of a pair, overlap on a layer that both reach. Or the centre of a
        reference hole lies inside the antipad of a signal hole on every plane that both pass, so that it is no return
        via of that hole.
    """
    placed = _placed(board)
    if not len(placed.place):
        return
    tables = _kind_tables(board)
    reach = np.maximum(tables.copper.max(axis=1), tables.clearance.max(axis=1))[placed.kind]
    slots = np.asarray(tables.slot.any(axis=1))[placed.kind] & ~np.isnan(placed.partner)
    reach[slots] += np.abs(placed.partner - placed.place)[slots] / 2
    for one, other in near_pairs(placed.place, reach):
        first, second = np.minimum(one, other), np.maximum(one, other)
        different = placed.conductor[first] != placed.conductor[second]
        _refuse_overlapping_copper(board, placed, tables, first[different], second[different])
        _refuse_vias_in_clearances(board, placed, tables, first[different], second[different])


def _placed(board: Board) -> _Placed:
    """The holes of a board whose position is known, those of reference nets as one conductor."""
    signal, reference = board.signal_holes, board.reference_holes
    place = np.concatenate([signal.place, reference.place])
    known = np.flatnonzero(~np.isnan(place))
    of_signal = 2 * signal.net + (signal.leg == LEG_N)
    conductor = np.concatenate([of_signal, np.full(len(reference.place), REFERENCE)])
    partner = np.concatenate([partners(signal), np.full(len(reference.place), complex(np.nan, np.nan))])
    holes = [*signal.holes, *reference.holes]
    return _Placed(
        [holes[number] for number in known.tolist()], place[known],
        np.concatenate([signal.kind, reference.kind])[known], conductor[known], partner[known],
    )  # fmt: skip


def _kind_tables(board: Board) -> _KindTables:
    """What every kind of hole has on every layer that it passes: copper, clearance, slot, whether it meets planes."""
    shape = len(board.kinds), len(board.stackup.copper)
    tables = _KindTables(np.zeros(shape), np.zeros(shape), np.zeros(shape, dtype=bool), np.zeros(shape, dtype=bool))
    for number, kind in enumerate(board.kinds):
        padstack = kind.padstack
        tables.meets[number] = meets_planes(board.stackup, kind)
        for place in range(kind.span.first, kind.span.last + 1):
            layer, in_use = board.stackup.copper[place], board.stackup.copper[place].name in kind.connects
            pad = padstack.pad_at(layer.name, in_use=in_use, outer=place in (0, shape[1] - 1))
            tables.copper[number, place] = max(pad or 0.0, padstack.drill_si)
            antipad = None if layer.role == "signal" or in_use else padstack.antipad_at(layer.name, layer.role)
            if antipad is not None:
                tables.clearance[number, place] = antipad.width_si / 2
                tables.slot[number, place] = antipad.shared
    return tables


def _refuse_overlapping_copper(
    board: Board, placed: _Placed, tables: _KindTables, one: Numbers, other: Numbers
) -> None:
    """``one`` and ``other``: holes of two nets, pair by pair. The first pair whose copper overlaps is refused."""
    copper, more = tables.copper[placed.kind[one]], tables.copper[placed.kind[other]]
    needed = np.where((copper > 0) & (more > 0), copper + more, 0.0) / 2
    apart = np.abs(placed.place[one] - placed.place[other])
    overlapping = np.flatnonzero((needed * (1 - ROUNDING)).max(axis=1, initial=0.0) > apart)
    if not len(overlapping):
        return
    pair = overlapping[0]
    layer = int(needed[pair].argmax())
    raise BoardError(
        f"holes {placed.holes[one[pair]].name} and {placed.holes[other[pair]].name} are "
        f"{show(apart[pair], 'length')} apart: must be at least {show(needed[pair, layer], 'length')}, or their copper "
        f"overlaps on {board.stackup.names[layer]} and shorts two nets; move one, or give a smaller pad."
    )


def _refuse_vias_in_clearances(board: Board, placed: _Placed, tables: _KindTables, hole: Numbers, via: Numbers) -> None:
    """``hole`` and ``via``: the signal hole and the reference hole of every pair that is one of each, and others."""
    mixed = (placed.conductor[hole] != REFERENCE) & (placed.conductor[via] == REFERENCE)
    hole, via = hole[mixed], via[mixed]
    clearance, slot = tables.clearance[placed.kind[hole]], tables.slot[placed.kind[hole]]
    shared_planes = (clearance > 0) & tables.meets[placed.kind[via]]
    from_hole = np.abs(placed.place[via] - placed.place[hole])[:, None]
    from_slot = _from_slot(placed.place[via], placed.place[hole], placed.partner[hole])[:, None]
    apart = np.where(slot, from_slot, from_hole)
    outside = shared_planes & (apart >= clearance * (1 - ROUNDING))
    inside = np.flatnonzero(shared_planes.any(axis=1) & ~outside.any(axis=1))
    if not len(inside):
        return
    pair = inside[0]
    layer = int(np.flatnonzero(shared_planes[pair])[0])
    raise BoardError(
        f"reference hole {placed.holes[via[pair]].name} is {show(float(from_hole[pair, 0]), 'length')} from hole "
        f"{placed.holes[hole[pair]].name}: lies inside its antipad, {show(2 * clearance[pair, layer], 'length')} wide "
        f"on {board.stackup.names[layer]}, on every plane that both pass, so it is no return via; move it, or give a "
        f"narrower antipad."
    )


def _from_slot(
    via: NDArray[np.complex128], place: NDArray[np.complex128], partner: NDArray[np.complex128]
) -> NDArray[np.float64]:
    """Distance [m] of places from the middle line of a slot, which joins the two barrels of a pair."""
    along = np.where(np.isnan(partner), place, partner) - place
    length = np.maximum(np.abs(along), 1e-12)
    share = np.clip(np.real((via - place) * np.conj(along)) / length**2, 0.0, 1.0)
    return np.asarray(np.abs(via - place - share * along))
