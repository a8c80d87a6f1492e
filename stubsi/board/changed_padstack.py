"""Owns the copies of a board with another drill or clearance of some holes.

A padstack is shared by many holes. Where only some of them change, the changed padstack gets a name of its own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from stubsi.board.names import board_in_words, by_name, free_name
from stubsi.board.padstack import Antipad
from stubsi.errors import BoardError
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    from collections.abc import Callable

    from stubsi.board.board import Board
    from stubsi.board.net import Hole, Net
    from stubsi.board.padstack import Padstack
    from stubsi.units import Dimensioned


class HolesOf(NamedTuple):
    """Which holes a change of a padstack is for, by exactly one of three names."""

    padstack: str | None
    hole: str | None
    net: str | None

    def of_board(self, board: Board) -> tuple[str, frozenset[str]]:
        """What the holes are called in the name of a changed padstack, and the names of the holes."""
        given = [(what, name) for what, name in self._asdict().items() if name is not None]
        if len(given) != 1:
            raise BoardError(
                f"{' and '.join(what for what, _ in given) or 'nothing'} given: give exactly one of padstack, hole and "
                "net, to say which holes change."
            )
        ((what, name),) = given
        where = f"on {board_in_words(board)}"
        holes = [(net, hole) for net in board.nets for hole in net.holes]
        if what == "padstack":
            by_name({hole.padstack.name: hole.padstack for _, hole in holes}, name, what, where)
            return name, frozenset(hole.name for _, hole in holes if hole.padstack.name == name)
        if what == "hole":
            by_name({hole.name: hole for _, hole in holes}, name, what, where)
            return name, frozenset([name])
        return name, frozenset(hole.name for hole in board.net(name).holes)


def board_with_padstack(board: Board, holes: HolesOf, change: Callable[[Padstack], Padstack]) -> Board:
    """Change the padstack of some holes. Where other holes keep the padstack, the changed one gets a name of its own.

    Parameters
    ----------
    board : Board
    holes : HolesOf
    change : callable
        Makes the changed padstack.

    Returns
    -------
    Board

    Raises
    ------
    BoardError
        There are no such holes, or the changed board contradicts itself.
    """
    called, chosen = holes.of_board(board)
    every = [hole for net in board.nets for hole in net.holes]
    kept = {hole.padstack for hole in every if hole.name not in chosen}
    taken = {hole.padstack.name for hole in every}
    changed: dict[Padstack, Padstack] = {}
    for padstack in dict.fromkeys(hole.padstack for hole in every if hole.name in chosen):
        new = change(padstack)
        if padstack in kept and new != padstack:
            new = new.replaced(name=free_name(f"{padstack.name} of {called}", taken))
        changed[padstack] = new
        taken.add(new.name)

    def with_changed(hole: Hole) -> Hole:
        return hole.replaced(padstack=changed[hole.padstack]) if hole.name in chosen else hole

    return board.replaced(nets=tuple(with_holes(net, with_changed) for net in board.nets))


def with_holes(net: Net, change: Callable[[Hole], Hole]) -> Net:
    """Net with its holes changed.

    Parameters
    ----------
    net : Net
    change : callable
        Makes the changed hole, or returns the hole itself.

    Returns
    -------
    Net
        The net itself where no hole is changed.
    """
    holes = tuple(change(hole) for hole in net.holes)
    return net if all(new is old for new, old in zip(holes, net.holes, strict=True)) else net.replaced(holes=holes)


def with_other_antipad(board: Board, padstack: Padstack, antipad: Dimensioned | Antipad, layer: str | None) -> Padstack:
    """Padstack with another clearance, on one layer or wherever it has one.

    Parameters
    ----------
    board : Board
    padstack : Padstack
    antipad : length or Antipad
    layer : str, optional
        The layer. Unless it is given, the clearance is that of every plane and of every layer that states its own.

    Returns
    -------
    Padstack

    Raises
    ------
    UnitError, BoardError
        It is no clearance; the layer carries no plane; a length is given where the padstack has a slot.
    """
    if antipad is None:
        raise BoardError("antipad = None: give a length, or an Antipad.")
    on_layers = dict(padstack.antipads)
    drawn = [padstack.antipad, *on_layers.values()]
    if layer is not None:
        place = board.stackup.index(layer)
        if board.stackup.copper[place].role == "signal":
            raise BoardError(f"layer {layer}: is a signal layer, where no antipad counts; name a plane or mixed layer.")
        drawn = [on_layers.get(layer, padstack.antipad)]
    if not isinstance(antipad, Antipad) and any(each is not None and each.shared for each in drawn):
        raise BoardError(
            f"padstack {padstack.name} antipad = {as_shown(antipad)}: the pair shares a slot there; give "
            "Antipad(width=..., shared=True) for another slot, or shared=False for a round clearance."
        )
    if layer is not None:
        return padstack.replaced(antipads={**on_layers, layer: antipad})
    return padstack.replaced(antipad=antipad, antipads=dict.fromkeys(on_layers, antipad))
