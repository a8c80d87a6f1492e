"""Owns the copies of a board with another Dk, layer, criterion or waiver, or with one more return via.

Each function takes a board and returns another one, which is checked like any board. A change that would have no
meaning on this board is refused, so that no figure looks as if it came from the change.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.board.changed_padstack import with_holes
from stubsi.board.criterion import as_criterion
from stubsi.board.layers import DielectricLayer
from stubsi.board.names import board_in_words, by_name, free_name
from stubsi.board.net import Hole, Net
from stubsi.board.signal import as_signal
from stubsi.checks import checked, names
from stubsi.errors import BoardError, UnitError, UnknownNameError
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from stubsi.board.board import Board
    from stubsi.board.criterion import Criterion
    from stubsi.board.signal import Signal
    from stubsi.units import Dimensioned, Quantity


def board_with_dk(
    board: Board,
    dk: float,
    dk_in_plane: float | None,
    material: str | None,
    between: Iterable[str] | None,
) -> Board:
    """Change the Dk of dielectrics.

    Parameters
    ----------
    board : Board
    dk, dk_in_plane : float
        As in ``DielectricLayer``.
    material : str, optional
        Only dielectrics of this material.
    between : pair of layer names, optional
        Only dielectrics between these two copper layers.

    Returns
    -------
    Board

    Raises
    ------
    UnitError, BoardError
        No Dk; no such material or layer, or nothing of it there; a dielectric that also has a Dk in the plane of the
        glass, which must then be given as well.
    """
    if dk is None:
        raise BoardError("dk = None: give a number; a Dk that is unknown is left out of the board itself.")
    layers = board.stackup.layers
    if material is not None:
        materials = {each.material: each for each in layers if isinstance(each, DielectricLayer) and each.material}
        by_name(materials, material, "material", f"in the stackup of {board_in_words(board)}")
    first, last = _ends_between(board, between)
    chosen = [
        number
        for number, layer in enumerate(layers)
        if first < number < last and isinstance(layer, DielectricLayer) and material in (None, layer.material)
    ]
    if not chosen:
        raise BoardError(f"no dielectric of material {as_shown(material)} between {as_shown(between)}.")
    changed = tuple(
        _with_dk(layer, dk, dk_in_plane) if number in chosen and isinstance(layer, DielectricLayer) else layer
        for number, layer in enumerate(layers)
    )
    return board.replaced(stackup=board.stackup.replaced(layers=changed))


def _ends_between(board: Board, between: Iterable[str] | None) -> tuple[int, int]:
    """Places, among all layers of the stackup, of the two copper layers; the outer ones unless they are given."""
    if between is None:
        return -1, len(board.stackup.layers)
    given = names(between, "between")
    if len(given) != 2 or given[0] == given[1]:
        raise BoardError(f"between = {as_shown(given)}: must be two different copper layers, like ('L3', 'L4').")
    copper = [board.stackup.copper[board.stackup.index(name)] for name in given]
    first, last = sorted(board.stackup.layers.index(layer) for layer in copper)
    return first, last


def _with_dk(layer: DielectricLayer, dk: float, dk_in_plane: float | None) -> DielectricLayer:
    if dk_in_plane is not None:
        return layer.replaced(dk=dk, dk_in_plane=dk_in_plane)
    if layer.dk_in_plane is not None:
        raise BoardError(
            f"dk = {as_shown(dk)}: dielectric {as_shown(layer.material)} also has dk_in_plane = {layer.dk_in_plane:g}, "
            "which the field of a barrel sees; give dk_in_plane as well."
        )
    return layer.replaced(dk=dk)


def net_on_layer(net: Net, from_layer: str, to_layer: str) -> Net:
    """Net with one layer in use replaced by another in all its holes.

    Parameters
    ----------
    net : Net
    from_layer, to_layer : str
        Names of the layers.

    Returns
    -------
    Net
        The net itself where it does not use ``from_layer``.
    """

    def moved(hole: Hole) -> Hole:
        connects = tuple(dict.fromkeys(to_layer if layer == from_layer else layer for layer in hole.connects))
        return hole.replaced(connects=connects) if connects != hole.connects else hole

    return with_holes(net, moved)


def board_with_layer(board: Board, net: str, from_layer: str, to_layer: str) -> Board:
    """Move a net from one layer to another in all its holes.

    Parameters
    ----------
    board : Board
    net : str
    from_layer, to_layer : str

    Returns
    -------
    Board

    Raises
    ------
    BoardError
        There is no such net or layer; the net does not use the first layer, or is not allowed on the second; a hole
        does not reach it, or it is a plane.
    """
    one = board.net(net)
    board.stackup.index(from_layer)
    board.stackup.index(to_layer)
    in_use = dict.fromkeys(layer for hole in one.holes for layer in hole.connects)
    if from_layer not in in_use:
        raise BoardError(f"net {net} does not use layer {from_layer}; it uses {', '.join(in_use) or 'none'}.")
    if one.layers and to_layer not in one.layers:
        raise BoardError(
            f"net {net} to layer {to_layer}: its routing layers are {', '.join(one.layers)}; add the layer to them "
            "first, if it may go there."
        )
    return _with_net(board, net_on_layer(one, from_layer, to_layer))


def _with_net(board: Board, changed: Net) -> Board:
    return board.replaced(nets=tuple(changed if net.name == changed.name else net for net in board.nets))


def criterion_given(criterion: Criterion | str) -> Criterion:
    """A criterion, or the rule of thumb of that name.

    Parameters
    ----------
    criterion : Criterion or name in ``RULES_OF_THUMB``

    Returns
    -------
    Criterion

    Raises
    ------
    BoardError
        It is neither.
    """
    try:
        return as_criterion(criterion)
    except UnitError as error:
        raise BoardError(f"board {error}") from None


def board_with_criterion(
    board: Board, criterion: Criterion, net: str | None, signal: Signal | str | Quantity | None
) -> Board:
    """Change the criterion of one net or of one signal.

    Parameters
    ----------
    board : Board
    criterion : Criterion
    net : str, optional
    signal : Signal, str or quantity, optional

    Returns
    -------
    Board

    Raises
    ------
    UnitError, BoardError
        Both a net and a signal; no such net; a signal that no net carries.
    """
    if net is not None and signal is not None:
        raise BoardError("net and signal given: a criterion belongs to one of them, or to the board.")
    if net is not None:
        return _with_net(board, board.net(net).replaced(criterion=criterion))
    assert signal is not None, "the criterion of the board is changed without a new board"
    carried = as_signal(signal)
    if carried not in board.signals:
        known = ", ".join(dict.fromkeys(map(str, board.signals))) or "none"
        raise UnknownNameError(f"signal {carried}: no net of {board_in_words(board)} carries it; carried are {known}.")
    return board.replaced(signal_criteria={**dict(board.signal_criteria), carried: criterion})


def board_with_waiver(board: Board, net: str, waiver: str) -> Board:
    """Give a net a waiver, or take it away with a blank text.

    Parameters
    ----------
    board : Board
    net, waiver : str

    Returns
    -------
    Board

    Raises
    ------
    BoardError
        There is no such net, it is a reference net, or the waiver is not a text.
    """
    return _with_net(board, board.net(net).replaced(waiver=waiver))


def board_with_return_via(
    board: Board, net: str, padstack: str, place: tuple[Dimensioned, Dimensioned], name: str | None
) -> Board:
    """Add a return via to a reference net.

    Parameters
    ----------
    board : Board
    net : str
        A reference net of the board.
    padstack : str
        A padstack of the board.
    place : pair of lengths
        Position x and y.
    name : str, optional
        Name of the hole.

    Returns
    -------
    Board

    Raises
    ------
    UnitError, BoardError
        No such reference net or padstack; no position; the hole runs into another one, or stands in an antipad.
    """
    where = f"on {board_in_words(board)}"
    references: Mapping[str, Net] = {each.name: each for each in board.nets if each.reference}
    if not references:
        raise BoardError(
            f"net {as_shown(net)}: {board_in_words(board)} has no reference net, so its return vias are unknown; one "
            "alone would say that there are no others. Give the board a reference net with all of them."
        )
    one = by_name(references, net, "reference net", where)
    holes = [hole for each in board.nets for hole in each.holes]
    stack = by_name({hole.padstack.name: hole.padstack for hole in holes}, padstack, "padstack", where)
    if any(each is None for each in place):
        raise BoardError("x and y: give both; a return via counts by its distance.")
    if name is None:
        name = free_name(f"{one.name} added", (hole.name for hole in holes))
    via = Hole(name=checked(name, "return via name"), padstack=stack, x=place[0], y=place[1])
    return _with_net(board, one.replaced(holes=(*one.holes, via)))
