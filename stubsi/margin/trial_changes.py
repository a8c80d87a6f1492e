"""Owns the changed boards that are tried for a net: other layers, antipads, fewer pads, return vias.

Each comes with its amount and its text. A change that the board refuses is left out.
"""

from __future__ import annotations

import cmath
import math
from typing import TYPE_CHECKING

from stubsi.board.changed_padstack import HolesOf, board_with_padstack
from stubsi.errors import BoardError
from stubsi.units import quantity, show
from stubsi.value import InSI

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from stubsi.board.board import Board
    from stubsi.board.net import Hole, Net
    from stubsi.board.padstack import Antipad, Padstack

TURNS = 16
"""Directions around a hole in which a place for a return via is looked for."""
FIRST_TURN = (0.0, math.pi, math.pi / 2, 3 * math.pi / 2)
"""Direction [rad] in which the search begins, for the first added via of a hole and those after it."""
MOVE = 50e-6
"""Return vias are moved in steps of this [m]."""
GAP = 1e-6
"""Between the edge of the antipad and the barrel of an added return via [m]."""


def exit_layers(board: Board, net: str) -> Iterator[tuple[float, str, Board]]:
    """The board with a net moved to each other layer, from the nearest one on.

    Parameters
    ----------
    board : Board
    net : str

    Yields
    ------
    amount, text, board
        How many copper layers the move goes, the move in words, and the changed board.
    """
    used = dict.fromkeys(layer for hole in board.net(net).holes for layer in hole.connects)
    index = board.stackup.index
    moves = [
        (abs(index(to.name) - index(layer)), layer, to.name)
        for layer in used
        for to in board.stackup.copper
        if to.role != "plane" and to.name not in used
    ]
    for apart, layer, to_layer in sorted(moves, key=lambda move: move[0]):
        try:
            changed = board.with_layer(net=net, from_layer=layer, to_layer=to_layer)
        except BoardError:
            continue
        yield apart, f"{to_layer} in place of {layer}", changed


def without_pads(board: Board, net: str) -> Iterator[tuple[float, str, Board]]:
    """The board without non-functional pads on the holes of a net; nothing where none are kept.

    Parameters
    ----------
    board : Board
    net : str

    Yields
    ------
    amount, text, board
        How many padstacks change, the change in words, and the changed board.
    """
    kept = {hole.padstack for hole in board.net(net).holes if hole.padstack.non_functional_pads == "kept"}
    if kept:
        changed = board_with_padstack(
            board, HolesOf(None, None, net), lambda old: old.replaced(non_functional_pads="removed")
        )
        yield len(kept), "non-functional pads removed", changed


def with_wider_antipads(board: Board, net: str, by: float) -> tuple[str, Board]:
    """The board with all antipads of the holes of a net wider by a length.

    Parameters
    ----------
    board : Board
    net : str
    by : float
        [m].

    Returns
    -------
    text, board
        The change in words, and the changed board.

    Raises
    ------
    BoardError
        An antipad is unknown, or the board refuses it.
    """
    without = next((hole.padstack.name for hole in board.net(net).holes if not _all_antipads(hole.padstack)), None)
    if without is not None:
        raise BoardError(f"padstack {without} states no antipad.")
    changed = board_with_padstack(board, HolesOf(None, None, net), lambda old: _widened(old, by))
    return f"antipads wider by {show(by, 'length')}", changed


def more_return_vias(board: Board, net: str, most: int) -> Iterator[tuple[float, str, Board]]:
    """The board with one more return via around every hole of a net, with two more, and so on while there is room.

    Parameters
    ----------
    board : Board
    net : str
    most : int
        Most vias around each hole.

    Yields
    ------
    amount, text, board
        How many vias are added around each hole, the change in words, and the changed board.

    Raises
    ------
    BoardError
        There is no reference net with a hole, or a hole of the net has no position.
    """
    reference = next((each for each in board.nets if each.reference and each.holes), None)
    if reference is None:
        raise BoardError("the board has no reference net with a hole, so its return vias are unknown.")
    changed = board
    for number in range(1, most + 1):
        for hole in board.net(net).holes:
            placed = _with_via(changed, board, hole, reference, number)
            if placed is None:
                return
            changed = placed
        yield number, f"{number} more of {reference.name} around each hole", changed


def nearer_return_vias(board: Board, net: str) -> Iterator[tuple[float, str, Board]]:
    """The board with the nearest return via of each hole of a net moved towards it, a step further each time.

    Parameters
    ----------
    board : Board
    net : str

    Yields
    ------
    amount, text, board
        The longest way that a via has moved [mm], the change in words, and the changed board. A via stops where it
        meets the antipad of its hole.

    Raises
    ------
    BoardError
        There is no reference net with a hole, or a hole has no position.
    """
    vias = [via for each in board.nets if each.reference for via in each.holes]
    if not vias:
        raise BoardError("the board has no reference net with a hole, so its return vias are unknown.")
    ways = _moves_towards_holes(board.net(net).holes, vias)
    longest = max((way for _, _, way in ways.values()), default=0.0)
    for step in range(1, math.floor(longest / MOVE + 1e-9) + 1):
        by = step * MOVE
        places = {name: place + towards * min(by, way) for name, (place, towards, way) in ways.items()}
        try:
            changed = _with_places(board, places)
        except BoardError:
            return
        yield 1e3 * by, f"{len(ways)} return vias nearer by up to {show(by, 'length')}", changed


def _moves_towards_holes(holes: Iterable[Hole], vias: Sequence[Hole]) -> dict[str, tuple[complex, complex, float]]:
    """The nearest via of each hole that can move towards it: its place, the direction, and how far it can go [m].

    A via that is the nearest one of two holes belongs to the one that it is nearest to.
    """
    place_of = {hole.name: _place(hole) for hole in (*holes, *vias)}
    ways: dict[str, tuple[complex, complex, float]] = {}
    apart_of = sorted(
        (abs(place_of[hole.name] - place_of[via.name]), hole.name, via.name, hole, via) for hole in holes
        for via in [min(vias, key=lambda each: abs(place_of[each.name] - place_of[hole.name]))]
    )  # fmt: skip
    for apart, _, _, hole, via in apart_of:
        way = apart - _least_apart(hole, via.padstack)
        if via.name not in ways and way >= MOVE:
            ways[via.name] = (place_of[via.name], (place_of[hole.name] - place_of[via.name]) / apart, way)
    return ways


def _place(hole: Hole) -> complex:
    if hole.xy_si is None:
        raise BoardError(f"hole {hole.name} has no position.")
    return complex(*hole.xy_si)


def _with_places(board: Board, places: Mapping[str, complex]) -> Board:
    """The board with some holes of reference nets at other places [m]."""

    def moved(hole: Hole) -> Hole:
        if hole.name not in places:
            return hole
        return hole.replaced(x=InSI(places[hole.name].real), y=InSI(places[hole.name].imag))

    return board.replaced(
        nets=tuple(
            net.replaced(holes=tuple(moved(hole) for hole in net.holes)) if net.reference else net for net in board.nets
        )
    )


def _least_apart(hole: Hole, via: Padstack) -> float:
    """Least distance [m] of a return via from a hole: it meets the antipad of the hole."""
    widest = max((antipad.width_si for antipad in _all_antipads(hole.padstack)), default=hole.padstack.drill_si)
    return widest / 2 + max(via.drill_si, via.pad_si or 0.0) / 2 + GAP


def _with_via(changed: Board, board: Board, hole: Hole, reference: Net, number: int) -> Board | None:
    """A board with one more return via at a hole, in the direction that is the freest; None where there is no room."""
    start, via = _place(hole), reference.holes[0].padstack
    apart = _least_apart(hole, via)
    for turn in range(TURNS):
        place = start + cmath.rect(apart, FIRST_TURN[number - 1] + 2 * math.pi * turn / TURNS)
        try:
            return changed.with_return_via(
                net=reference.name,
                padstack=via.name,
                x=quantity(place.real, "length"),
                y=quantity(place.imag, "length"),
            )
        except BoardError:
            continue
    return None


def _all_antipads(padstack: Padstack) -> list[Antipad]:
    """All antipads that a padstack states."""
    return [each for each in (padstack.antipad, *(antipad for _, antipad in padstack.antipads)) if each is not None]


def _widened(padstack: Padstack, by: float) -> Padstack:
    def wider(antipad: Antipad | None) -> Antipad | None:
        return None if antipad is None else antipad.replaced(width=InSI(antipad.width_si + by))

    return padstack.replaced(
        antipad=wider(padstack.antipad), antipads={layer: wider(antipad) for layer, antipad in padstack.antipads}
    )
