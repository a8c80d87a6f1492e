"""Owns the kinds of single change that are tried for a net, their units, and the changed boards, the smallest first."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, NamedTuple

from stubsi.checks import checked, pairs
from stubsi.errors import BoardError
from stubsi.margin.trial_changes import (
    exit_layers,
    more_return_vias,
    nearer_return_vias,
    with_wider_antipads,
    without_pads,
)
from stubsi.unit_errors import as_shown
from stubsi.units import one_number, show

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from stubsi.board.board import Board

STEP, MOST_STEPS = 10e-6, 100
"""Antipads are widened in steps of this [m], and by so many steps at most."""
MOST_VIAS = 4
"""Most return vias that are added around each hole."""


class ChangeKind(StrEnum):
    """What is changed. Each is also the text that is shown, and they stand in the order in which they are offered."""

    LAYER = "exit layer"
    ANTIPAD = "antipad"
    PADS = "non-functional pads"
    RETURN_VIAS = "return vias"
    NEARER_VIAS = "nearer return vias"


UNITS = {
    ChangeKind.LAYER: "copper layer",
    ChangeKind.ANTIPAD: "mm",
    ChangeKind.PADS: "padstack",
    ChangeKind.RETURN_VIAS: "return via per hole",
    ChangeKind.NEARER_VIAS: "mm",
}
"""In what the amount of a change is counted."""
NOTHING_TO_CHANGE = {
    ChangeKind.LAYER: "the net may use no other layer",
    ChangeKind.PADS: "none are kept",
    ChangeKind.RETURN_VIAS: "there is no room for one around every hole",
    ChangeKind.NEARER_VIAS: "no hole has a return via of its own that can move nearer",
}
"""Why a kind has nothing to try."""


class Trial(NamedTuple):
    """A changed board: kind, amount in the unit of the kind, and text of the change."""

    kind: ChangeKind
    amount: float
    text: str
    board: Board


def check_signal_net(board: Board, net: str) -> None:
    """Refuse a name that is not that of a signal net.

    Parameters
    ----------
    board : Board
    net : str

    Raises
    ------
    BoardError
        There is no such net, or it is a reference net.
    """
    if checked(net, "net") not in {each.name for each in board.signal_nets}:
        board.net(net)
        raise BoardError(f"net = {as_shown(net)}: is a reference net and carries no signal.")


def wanted_kinds(weights: Mapping[str, float] | None) -> dict[ChangeKind, float]:
    """Weight of every kind that is tried, in the order of the kinds.

    Parameters
    ----------
    weights : mapping of kind to float or None
        As the user gives them; None: every kind has the same weight.

    Returns
    -------
    dict of ChangeKind to float

    Raises
    ------
    BoardError, UnitError
        An unknown kind, or a weight that is no number or is negative.
    """
    if weights is None:
        return dict.fromkeys(ChangeKind, 1.0)
    found = {}
    for key, weight in pairs(weights, "weights"):
        if key not in list(ChangeKind):
            raise BoardError(f"weights: {as_shown(key)} is none of {', '.join(map(repr, map(str, ChangeKind)))}.")
        found[ChangeKind(key)] = one_number(weight, f"weight of {as_shown(key)}", rule="not negative")
    return {kind: found[kind] for kind in ChangeKind if kind in found}


def trials(kind: ChangeKind, board: Board, net: str) -> Iterator[Trial]:
    """Changes of one kind for a net, from the smallest up; nothing where there is nothing to change.

    Parameters
    ----------
    kind : ChangeKind
    board : Board
    net : str

    Yields
    ------
    Trial

    Raises
    ------
    BoardError
        The kind cannot be tried; the text says why.
    """
    match kind:
        case ChangeKind.LAYER:
            changes = exit_layers(board, net)
        case ChangeKind.ANTIPAD:
            changes = _wider_antipads(board, net)
        case ChangeKind.PADS:
            changes = without_pads(board, net)
        case ChangeKind.RETURN_VIAS:
            changes = more_return_vias(board, net, MOST_VIAS)
        case ChangeKind.NEARER_VIAS:
            changes = nearer_return_vias(board, net)
    for amount, text, changed in changes:
        yield Trial(kind, amount, text, changed)


def widest_antipads(board: Board, net: str) -> Trial:
    """The board with the widest antipads for a net that it permits.

    Parameters
    ----------
    board : Board
    net : str

    Returns
    -------
    Trial

    Raises
    ------
    BoardError
        An antipad is unknown, or none can be wider.
    """
    steps = _most_steps(board, net)
    text, changed = with_wider_antipads(board, net, steps * STEP)
    return Trial(ChangeKind.ANTIPAD, 1e3 * steps * STEP, text, changed)


def _wider_antipads(board: Board, net: str) -> Iterator[tuple[float, str, Board]]:
    for steps in range(1, _most_steps(board, net) + 1):
        yield 1e3 * steps * STEP, *with_wider_antipads(board, net, steps * STEP)


def _most_steps(board: Board, net: str) -> int:
    """By how many steps the antipads can be widened before the board refuses it."""
    fits, refused = 0, MOST_STEPS + 1
    while refused - fits > 1:
        middle = (fits + refused) // 2
        try:
            with_wider_antipads(board, net, middle * STEP)
            fits = middle
        except BoardError:
            if middle == 1:
                raise
            refused = middle
    return fits


def rise_per_unit(first_notch: tuple[float | None, float | None], amount: float) -> float | None:
    """How far a first notch rises for each unit of change.

    Parameters
    ----------
    first_notch : tuple of float or None
        Before and after [Hz].
    amount : float
        In the unit of its kind.

    Returns
    -------
    float or None
        [GHz]; None where a notch is unknown.
    """
    before, after = first_notch
    return None if before is None or after is None else 1e-9 * (after - before) / amount


def rise_in_words(first_notch: tuple[float | None, float | None], amount: float, kind: ChangeKind) -> str:
    """A first notch before and after a change, and its rise for each unit of change, in words.

    Parameters
    ----------
    first_notch : tuple of float or None
        Before and after [Hz].
    amount : float
        In the unit of its kind.
    kind : ChangeKind

    Returns
    -------
    str
    """
    notch, rise = (
        " to ".join("none" if each is None else show(each, "frequency") for each in first_notch),
        rise_per_unit(first_notch, amount),
    )
    return f"first notch {notch}" + ("" if rise is None else f", {round(rise, 3):+.3g} GHz per {UNITS[kind]}")
