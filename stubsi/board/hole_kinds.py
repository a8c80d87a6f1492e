"""Owns the kinds of holes of a board, and their checks. Holes of one kind share padstack, layers in use and pin."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple, TypeAlias

import numpy as np

from stubsi.errors import BoardError
from stubsi.units import show

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    from stubsi.board.net import Hole, Net
    from stubsi.board.padstack import Padstack, PressFit
    from stubsi.board.stackup import Stackup

    _KindKey: TypeAlias = tuple[Padstack, tuple[str, ...], PressFit | None, str, str]


class Span(NamedTuple):
    """Copper layers of a hole, each as its number from the top: first and last of the barrel, outermost two in use."""

    first: int
    upper_in_use: int
    lower_in_use: int
    last: int


class HoleKind(NamedTuple):
    """What all holes of one kind have in common. All but ``span`` are as in ``Hole``."""

    padstack: Padstack
    connects: tuple[str, ...]
    press_fit: PressFit | None
    feed: str
    traces: str
    span: Span


class KindList(NamedTuple):
    """The kinds of holes of some nets.

    ``numbers`` and ``first`` hold the number and the first hole of every kind. ``of_hole`` holds the number of the kind
    of every hole, in the order of the nets.
    """

    numbers: dict[_KindKey, int]
    first: dict[_KindKey, Hole]
    of_hole: NDArray[np.intp]


def kind_key(hole: Hole) -> _KindKey:
    """What makes two holes of one kind.

    Parameters
    ----------
    hole : Hole

    Returns
    -------
    tuple
    """
    return hole.padstack, hole.connects, hole.press_fit, hole.feed, hole.traces


def kind_list(nets: Iterable[Net]) -> KindList:
    """Sort the holes of some nets by kind.

    Parameters
    ----------
    nets : iterable of Net

    Returns
    -------
    KindList

    Raises
    ------
    BoardError
        Two different padstacks have one name.
    """
    numbers: dict[_KindKey, int] = {}
    first: dict[_KindKey, Hole] = {}
    of_hole: list[int] = []
    for net in nets:
        for hole in net.holes:
            key = kind_key(hole)
            number = numbers.setdefault(key, len(numbers))
            if number == len(first):
                first[key] = hole
            of_hole.append(number)
    _refuse_padstacks_of_one_name(first.values())
    return KindList(numbers, first, np.array(of_hole, dtype=np.intp))


def _refuse_padstacks_of_one_name(holes: Iterable[Hole]) -> None:
    """Refuse two different padstacks of one name."""
    first: dict[str, Hole] = {}
    for hole in holes:
        other = first.setdefault(hole.padstack.name, hole)
        if other.padstack != hole.padstack:
            raise BoardError(
                f"padstack '{hole.padstack.name}' of hole {hole.name} differs from the padstack of the same name of "
                f"hole {other.name}; give each padstack a name of its own."
            )


def checked_span(stackup: Stackup, hole: Hole) -> Span:
    """Copper layers of a hole, checked against the stackup.

    Parameters
    ----------
    stackup : Stackup
    hole : Hole

    Returns
    -------
    Span
        The layers, each as its number from the top.

    Raises
    ------
    BoardError
        A layer is not in the stackup or lies outside the span of the hole, a pad is wider than its antipad on a plane,
        the hole does not reach the face where a press-fit pin enters, or the pin's contact zone lies beyond the board.
    """
    padstack = hole.padstack
    first, last = padstack.span or (stackup.names[0], stackup.names[-1])
    top, bottom = (place_in_stackup(stackup, layer, f"padstack {padstack.name} span") for layer in (first, last))
    if top >= bottom:
        raise BoardError(f"padstack {padstack.name} span = {first}, {last}: must go from an upper to a lower layer.")
    in_use = [place_in_stackup(stackup, layer, f"hole {hole.name} connects") for layer in hole.connects]
    outside = [layer for layer, place in zip(hole.connects, in_use, strict=True) if not top <= place <= bottom]
    if outside:
        raise BoardError(
            f"hole {hole.name} connects '{outside[0]}': lies outside the hole's span {first} to {last} "
            f"(padstack {padstack.name})."
        )
    if hole.press_fit:
        in_use.append(_check_press_fit(stackup, hole, hole.press_fit, top, bottom))
    _check_pads(stackup, padstack, range(top, bottom + 1))
    return Span(top, min(in_use, default=top), max(in_use, default=bottom), bottom)


def refuse_plane(stackup: Stackup, layer: str, what: str) -> None:
    """Refuse a plane as a layer that a net uses.

    Parameters
    ----------
    stackup : Stackup
    layer : str
        Name of a layer of the stackup.
    what : str
        What names the layer, for the error text.

    Raises
    ------
    BoardError
        The role of the layer is "plane".
    """
    if stackup.copper[stackup.index(layer)].role == "plane":
        raise BoardError(
            f"{what} '{layer}': is a plane, which no signal net uses; give another layer, or give {layer} the role "
            f"'mixed' if it carries traces as well."
        )


def _check_press_fit(stackup: Stackup, hole: Hole, fit: PressFit, first: int, last: int) -> int:
    """Check that a press-fit pin fits into a hole. Number of the outer layer where the pin enters."""
    entry = first if fit.side == "top" else last
    if entry not in (0, len(stackup.names) - 1):
        raise BoardError(f"hole {hole.name} press fit side = '{fit.side}': the hole does not reach that face.")
    thickness = stackup.edges_si[-1]
    if fit.contact_to_si > thickness:
        raise BoardError(
            f"hole {hole.name} press fit contact_to = {show(fit.contact_to_si, 'length')}: lies beyond the board, "
            f"which is {show(thickness, 'length')} thick."
        )
    return entry


def _check_pads(stackup: Stackup, padstack: Padstack, places: range) -> None:
    """Refuse a pad or antipad on a layer outside the span, and a pad that reaches beyond its antipad."""
    for layer, _ in (*padstack.pads, *padstack.antipads):
        if place_in_stackup(stackup, layer, f"padstack {padstack.name}") not in places:
            raise BoardError(f"padstack {padstack.name}: layer '{layer}' lies outside its span.")
    for place in places:
        copper = stackup.copper[place]
        antipad = padstack.antipad_at(copper.name, copper.role)
        pad = padstack.pad_at(copper.name, in_use=False, outer=place in (0, len(stackup.names) - 1))
        if copper.role != "signal" and antipad and pad and pad >= antipad.width_si:
            raise BoardError(
                f"padstack {padstack.name} pad on {copper.name} = {show(pad, 'length')}: must be smaller than the "
                f"antipad there, {show(antipad.width_si, 'length')}."
            )


def place_in_stackup(stackup: Stackup, layer: str, where: str) -> int:
    """Number of a copper layer, counted from the top.

    Parameters
    ----------
    stackup : Stackup
    layer : str
    where : str
        What names the layer, for the error text.

    Returns
    -------
    int

    Raises
    ------
    BoardError
        There is no such layer.
    """
    try:
        return stackup.index(layer)
    except BoardError as error:
        raise BoardError(f"{where}: {error}") from None
