"""Owns the trial board: a hole that is on no board, put on one, so that a board's own rules check its geometry."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING

from stubsi.board.board import Board
from stubsi.board.net import Hole, Net
from stubsi.board.padstack import Padstack
from stubsi.board.size_limits import PITCH, check_size
from stubsi.errors import BoardError
from stubsi.stubs.nearest_vias import REACH
from stubsi.units import show
from stubsi.value import InSI

if TYPE_CHECKING:
    from stubsi.board.net import Leg, ReturnVias
    from stubsi.board.stackup import Stackup

    Place = tuple[float, float]

ANY_SIGNAL, ANY_IMPEDANCE = "1 Gb/s", InSI(50.0)
"""What the trial net carries: it plays no part in the checks."""
REMEMBERED = 256
"""How many geometries are remembered as checked."""


def trial_holes(
    padstack: Padstack, name: str, connects: tuple[str, ...], pitch: float | None, at: Place = (0.0, 0.0)
) -> list[Hole]:
    """The hole of a trial net, or both of a pair.

    Parameters
    ----------
    padstack : Padstack
    name : str
        Name of the hole; the holes of a pair get the name of their leg behind it.
    connects : tuple of str
        The layers in use.
    pitch : float or None
        Of the pair [m]; None for a single hole.
    at : (float, float)
        Place of the hole, or of the middle of the pair [m].

    Returns
    -------
    list of Hole
    """
    legs: list[tuple[Leg, str, float]] = [("", name, 0.0)]
    if pitch is not None:
        legs = [("P", f"{name} leg P".strip(), pitch / 2), ("N", f"{name} leg N".strip(), -pitch / 2)]
    return [
        Hole(name=leg_name, padstack=padstack, connects=connects, leg=leg, x=InSI(at[0] + x), y=InSI(at[1]))
        for leg, leg_name, x in legs
    ]


def trial_vias(return_vias: ReturnVias | None, name: str, places: list[Place], reach: float | None = None) -> list[Net]:
    """The return vias around every trial hole, as a reference net; empty where there is none or they are unknown.

    Parameters
    ----------
    return_vias : ReturnVias or None
    name : str
        Name of their padstack.
    places : list of (float, float)
        Places of the trial holes [m].
    reach : float, optional
        Return vias farther from their trial hole than this [m] are left out.

    Returns
    -------
    list of Net
    """
    if return_vias is None:
        return []
    vias = [
        (number, x, y)
        for number, (x, y) in enumerate(return_vias.positions_si, 1)
        if reach is None or x * x + y * y <= reach * reach
    ]
    padstack = Padstack(name=name, drill=InSI(return_vias.drill_si))
    holes = [
        Hole(
            name=f"return via {number}" + (f" of place {place}" if len(places) > 1 else ""), padstack=padstack,
            x=InSI(at[0] + x), y=InSI(at[1] + y),
        )
        for place, at in enumerate(places, 1)
        for number, x, y in vias
    ]  # fmt: skip
    return [Net(name="return vias", holes=holes, reference=True)] if holes else []


def trial_places(count: int, pitch: float) -> list[Place]:
    """Places of trial holes: a square grid, so wide that no hole has a return via of another within reach.

    Parameters
    ----------
    count : int
        Number of holes or pairs.
    pitch : float
        Of the pairs [m]; 0 for single holes.

    Returns
    -------
    list of (float, float)
        [m].
    """
    apart, columns = 3 * REACH + pitch, math.ceil(math.sqrt(count))
    return [(apart * (number % columns), apart * (number // columns)) for number in range(count)]


@lru_cache(maxsize=REMEMBERED)
def trial_board(
    stackup: Stackup, padstack: Padstack, layer: str, pitch: float | None, return_vias: ReturnVias | None
) -> Board:
    """A board with one hole or pair on it. So whatever a board refuses is refused for a single stub, too.

    Parameters
    ----------
    stackup : Stackup
    padstack : Padstack
    layer : str
        A layer in use.
    pitch : float or None
        Of the pair [m]; None for a single hole.
    return_vias : ReturnVias or None
        None where they are unknown.

    Returns
    -------
    Board

    Raises
    ------
    BoardError
        A board with this hole, this pair or these return vias is impossible. The error text names the argument.
    """
    board = _board(stackup, trial_holes(padstack, "of the stub", (layer,), None), [])
    if pitch is None and any(antipad.shared for antipad in padstack.every_antipad):
        raise BoardError(
            f"pitch: missing; the antipad of padstack {padstack.name} is a slot that the two holes of a pair share, so "
            f"give their pitch, or a round antipad."
        )
    if pitch is not None:
        check_size(pitch, PITCH, "pitch")
    pair = trial_holes(padstack, "" if pitch is not None else "of the stub", (layer,), pitch)
    if pitch is not None:
        board = _as_argument(f"pitch = {show(pitch, 'length')}", stackup, pair, [])
    vias = trial_vias(return_vias, f"return vias of {padstack.name}", [(0.0, 0.0)])
    return _as_argument("return_vias", stackup, pair, vias) if vias else board


def _as_argument(argument: str, stackup: Stackup, holes: list[Hole], vias: list[Net]) -> Board:
    """The board, its error behind the name of the argument that is wrong."""
    try:
        return _board(stackup, holes, vias)
    except BoardError as error:
        raise BoardError(f"{argument}: {error}") from None


def _board(stackup: Stackup, holes: list[Hole], vias: list[Net]) -> Board:
    net = Net(name="trial net", signal=ANY_SIGNAL, z0=ANY_IMPEDANCE, holes=holes)
    return Board(stackup=stackup, nets=[net, *vias])
