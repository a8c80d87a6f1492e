"""Owns the board as built: a board whose values deviate within their tolerances."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stubsi.board.changed_padstack import with_holes
from stubsi.board.layers import CopperLayer, DielectricLayer
from stubsi.errors import BoardError
from stubsi.units import show
from stubsi.value import InSI

if TYPE_CHECKING:
    from collections.abc import Mapping

    from stubsi.board.board import Board
    from stubsi.board.padstack import Antipad, Padstack
    from stubsi.board.stackup import Stackup
    from stubsi.tolerance.tolerances import Factor, Tolerances

    Coordinates = Mapping[tuple[str, str], float]
    """Coordinate t of every factor, by its quantity and material."""


def built_board(board: Board, tolerances: Tolerances, at: Coordinates) -> Board:
    """A board whose values deviate from their nominals.

    Parameters
    ----------
    board : Board
    tolerances : Tolerances
    at : mapping of (quantity, material) to float
        Coordinate t of the factors that deviate. All holes deviate alike.

    Returns
    -------
    Board

    Raises
    ------
    BoardError
        Such a board cannot be built: a clearance is smaller than its pad, for example.
    """
    stackup = _built_stackup(board.stackup, tolerances, at)
    changed: dict[Padstack, Padstack] = {}
    if any(quantity in ("drill", "antipad", "registration") for quantity, _ in at):
        padstacks = dict.fromkeys(hole.padstack for net in board.nets for hole in net.holes)
        changed = {padstack: _built_padstack(padstack, tolerances, at) for padstack in padstacks}
    nets = tuple(
        with_holes(net, lambda hole: hole.replaced(padstack=changed[hole.padstack])) if changed else net
        for net in board.nets
    )
    return board.replaced(stackup=stackup, nets=nets)


def thickness_si(stackup: Stackup, tolerances: Tolerances, at: Coordinates) -> float:
    """Thickness of a board as built [m].

    Parameters
    ----------
    stackup : Stackup
    tolerances : Tolerances
    at : mapping of (quantity, material) to float

    Returns
    -------
    float
    """
    return sum(_built_thickness(layer, stackup, tolerances, at) for layer in stackup.layers)


def half_width(board: Board, factor: Factor) -> float:
    """Half the distance of the limits of a factor as a part of the value between them.

    Parameters
    ----------
    board : Board
        As drawn.
    factor : Factor

    Returns
    -------
    float
        0 for a distance from zero, as a registration is one.
    """
    plus, minus = factor.tolerance.plus, factor.tolerance.minus
    layers = [
        layer
        for layer in board.stackup.layers
        if isinstance(layer, CopperLayer) == (factor.quantity == "copper_thickness")
        and factor.material in ("", getattr(layer, "material", ""))
    ]
    every = [hole.padstack for net in board.nets for hole in net.holes]
    padstacks = [padstack for padstack in every if padstack.name == factor.material] or every
    thickness = layers[0].thickness_si if layers else 0.0
    antipads = [padstack.antipad.width_si for padstack in padstacks if padstack.antipad is not None]
    nominals = {
        "dielectric_thickness": thickness, "copper_thickness": thickness,
        "board_thickness": board.stackup.edges_si[-1], "dk": (getattr(layers[0], "dk", None) or 0.0) if layers else 0.0,
        "drill": padstacks[0].drill_si if padstacks else 0.0, "antipad": antipads[0] if antipads else 0.0,
    }  # fmt: skip
    nominal = nominals.get(factor.quantity, 0.0)
    low, high = factor.tolerance.limits(nominal)
    if plus.unit == "percent":
        low, high = 1 - minus.size, 1 + plus.size
    return (high - low) / (high + low) if low > 0 and nominal > 0 else 0.0


def _built_stackup(stackup: Stackup, tolerances: Tolerances, at: Coordinates) -> Stackup:
    """The stackup as built: every layer with its own thickness and Dk."""
    layers = []
    for layer in stackup.layers:
        thickness = _built_thickness(layer, stackup, tolerances, at)
        if thickness <= 0:
            raise BoardError(f"stackup: a layer of {show(layer.thickness_si, 'length')} comes out without thickness.")
        changes: dict[str, object] = {"thickness": InSI(thickness)} if thickness != layer.thickness_si else {}
        if isinstance(layer, DielectricLayer):
            changes |= _built_dk(layer, tolerances, at)
        layers.append(layer.replaced(**changes) if changes else layer)
    return stackup.replaced(layers=tuple(layers))


def _built_thickness(
    layer: CopperLayer | DielectricLayer, stackup: Stackup, tolerances: Tolerances, at: Coordinates
) -> float:
    """Thickness [m] of a layer as built: by its own tolerance, or by its share of that of the board."""
    if isinstance(layer, CopperLayer):
        t, of_copper = at.get(("copper_thickness", "")), tolerances.copper_thickness
        return layer.thickness_si if t is None or of_copper is None else of_copper.value(layer.thickness_si, t)
    t, of_layer = at.get(("dielectric_thickness", layer.material)), tolerances.of_layer("dielectric_thickness", layer)
    if t is not None and of_layer is not None:
        return of_layer.value(layer.thickness_si, t)
    t, of_board = at.get(("board_thickness", "")), tolerances.board_thickness
    if t is None or of_board is None:
        return layer.thickness_si
    total = stackup.edges_si[-1]
    laminate = sum(each.thickness_si for each in stackup.layers if isinstance(each, DielectricLayer))
    return layer.thickness_si * (1 + (of_board.value(total, t) - total) / laminate)


def _built_dk(layer: DielectricLayer, tolerances: Tolerances, at: Coordinates) -> dict[str, object]:
    """Fields of a dielectric whose Dk deviates; empty where it does not."""
    t, tolerance = at.get(("dk", layer.material)), tolerances.of_layer("dk", layer)
    if t is None or tolerance is None or layer.dk is None:
        return {}
    dk = tolerance.value(layer.dk, t)
    changes: dict[str, object] = {"dk": dk}
    if layer.dk_in_plane is not None:
        changes["dk_in_plane"] = layer.dk_in_plane * dk / layer.dk
    return changes


def _built_padstack(padstack: Padstack, tolerances: Tolerances, at: Coordinates) -> Padstack:
    """The padstack as built: its drill, and its antipads as if a barrel off their centre stood in narrower ones."""
    changes: dict[str, object] = {}
    drill = padstack.drill_si

    def value(quantity: str, nominal: float) -> float | None:
        """Built value of a quantity; None where it does not deviate."""
        owner, tolerance = tolerances.of_padstack(quantity, padstack.name)
        t = at.get((quantity, owner))
        return None if t is None or tolerance is None else tolerance.value(nominal, t)

    if (built_drill := value("drill", padstack.drill_si)) is not None:
        drill = built_drill
        changes["drill"] = InSI(drill)
        if padstack.finished_si is not None:
            changes["finished"] = InSI(padstack.finished_si + drill - padstack.drill_si)

    def built(antipad: Antipad) -> Antipad:
        width = antipad.width_si
        if (wide := value("antipad", width)) is not None:
            width = wide
        if (offset := value("registration", 0.0)) is not None:
            width = centred_width(drill, width, abs(offset))
        return antipad.replaced(width=InSI(width))

    if padstack.antipad is not None:
        changes["antipad"] = built(padstack.antipad)
    if padstack.antipads:
        changes["antipads"] = {layer: built(antipad) for layer, antipad in padstack.antipads}
    return padstack.replaced(**changes)


def centred_width(drill: float, width: float, offset: float) -> float:
    """Width of the centred clearance whose capacitance to the barrel is that of an eccentric one.

    Parameters
    ----------
    drill, width : float
        Diameters of barrel and clearance [m].
    offset : float
        Distance of their centres [m].

    Returns
    -------
    float
        [m]; the formula is in ``Tolerances``.

    Raises
    ------
    BoardError
        The barrel touches the plane.
    """
    if drill / 2 + offset >= width / 2:
        raise BoardError(
            f"registration: a barrel of {show(drill, 'length')} that is {show(offset, 'length')} off the centre of its "
            f"clearance of {show(width, 'length')} touches the plane."
        )
    if offset == 0:
        return width
    ratio = (width**2 + drill**2 - 4 * offset**2) / (2 * width * drill)
    return drill * math.exp(math.acosh(ratio))
