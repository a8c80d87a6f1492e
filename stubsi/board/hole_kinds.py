"""Owns the kinds of holes of a board: what holes have in common, the copper layers they reach, and checks of both."""

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

    _KindKey: TypeAlias = tuple[Padstack, tuple[str, ...], PressFit | None]


class Span(NamedTuple):
    """Copper layers of a hole by place from the top: where the barrel starts and ends, and the outermost in use."""

    first: int
    upper_in_use: int
    lower_in_use: int
    last: int


class HoleKind(NamedTuple):
    """What all holes of one kind have in common; ``connects``, ``press_fit`` as in ``Hole``."""

    padstack: Padstack
    connects: tuple[str, ...]
    press_fit: PressFit | None
    span: Span


class KindList(NamedTuple):
    """The kinds of holes of some nets: number and first hole of every kind, and the kind number of every hole."""

    numbers: dict[_KindKey, int]
    first: dict[_KindKey, Hole]
    of_hole: NDArray[np.intp]


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
            key = hole.padstack, hole.connects, hole.press_fit
            number = numbers.setdefault(key, len(numbers))
            if number == len(first):
                first[key] = hole
            of_hole.append(number)
    _refuse_padstacks_of_one_name(first.values())
    return KindList(numbers, first, np.array(of_hole, dtype=np.intp))


def _refuse_padstacks_of_one_name(holes: Iterable[Hole]) -> None:
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
        By place from the top.

    Raises
    ------
    BoardError
        A layer that is not in the stackup or outside the span of the hole, a pad wider than its antipad on a plane, a
        press-fit pin that the hole or the board has no room for.
    """
    padstack = hole.padstack
    first, last = padstack.span or (stackup.names[0], stackup.names[-1])
    i, j = (place_in_stackup(stackup, layer, f"padstack {padstack.name} span") for layer in (first, last))
    if i >= j:
        raise BoardError(f"padstack {padstack.name} span = {first}, {last}: must go from an upper to a lower layer.")
    used = [place_in_stackup(stackup, layer, f"hole {hole.name} connects") for layer in hole.connects]
    outside = [layer for layer, place in zip(hole.connects, used, strict=True) if not i <= place <= j]
    if outside:
        raise BoardError(
            f"hole {hole.name} connects '{outside[0]}': lies outside the hole's span {first} to {last} "
            f"(padstack {padstack.name})."
        )
    if hole.press_fit:
        used.append(_check_press_fit(stackup, hole, hole.press_fit, i, j))
    _check_pads(stackup, padstack, range(i, j + 1))
    return Span(i, min(used, default=i), max(used, default=j), j)


def _check_press_fit(stackup: Stackup, hole: Hole, fit: PressFit, first: int, last: int) -> int:
    """Place of the outer layer the pin enters at."""
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
    """Place of a copper layer, counted from the top.

    Parameters
    ----------
    stackup : Stackup
    layer : str
    where : str
        What names the layer, for the error.

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
