"""Owns the neighbours of every hole of a board, and whether a depth drill would touch the barrel of one of them."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.board.overlaps import ROUNDING, near_pairs
from stubsi.drilling.obstacles import Obstacle, Refusal, in_mm
from stubsi.value import InSI

if TYPE_CHECKING:
    from collections.abc import Mapping

    from stubsi.board.board import Board
    from stubsi.board.hole_kinds import Span
    from stubsi.board.net import Hole
    from stubsi.drilling.rules import FabricatorRules
    from stubsi.stubs.drawn import StubShape

UNKNOWN_UP_TO = InSI(0.3e-3)
"""Where the rule for the distance to another hole is unknown, neighbours up to this distance [m] are listed as not
judged. Common practice, no source: what fabricators state for the material between two drilled holes lies below it."""


class Neighbour(NamedTuple):
    """A hole near another one.

    Parameters
    ----------
    hole : Hole
        The neighbour.
    net : str
        Its net.
    apart_si : float
        Distance [m] between the centres.
    span : Span
        Copper layers that it reaches.
    """

    hole: Hole
    net: str
    apart_si: float
    span: Span

    def is_passed(self, side: str, stop: int) -> bool:
        """Whether a drill that enters on a side and stops before a layer goes along this hole.

        Parameters
        ----------
        side : {"top", "bottom"}
            Side drilled from.
        stop : int
            The must-not-cut layer, as its number from the top.

        Returns
        -------
        bool
        """
        return self.span.last > stop if side == "bottom" else self.span.first < stop


class Neighbours:
    """The neighbours of every hole of a board that count under some rules.

    Parameters
    ----------
    board : Board
        The board.
    rules : FabricatorRules
        Rules of the fabricator.
    """

    def __init__(self, board: Board, rules: FabricatorRules) -> None:
        self.rules = rules
        self._near = _near_holes(board, rules)

    def of(self, hole: str) -> tuple[Neighbour, ...]:
        """Neighbours of a hole, the nearest first.

        Parameters
        ----------
        hole : str
            Name of the hole.

        Returns
        -------
        tuple of Neighbour
            Empty where its position is not known.
        """
        return self._near.get(hole, ())

    def refusal(self, hole: Hole, shape: StubShape) -> Refusal | None:
        """Why a stub cannot be drilled because of the neighbours of its hole; None where none is in the way.

        Parameters
        ----------
        hole : Hole
            The hole.
        shape : StubShape
            Its stub.

        Returns
        -------
        Refusal or None

        Notes
        -----
        The drill touches a barrel if the distance of the centres is less than both radii together and the tolerance of
        the drill's edge, where that is known. A neighbour that is drilled as well counts with its barrel as drawn.
        """
        drill = self.rules.drill_si(hole.padstack.drill_si)
        reach = drill / 2 + (self.rules.edge_tolerance_si or 0.0)
        stop = shape.stackup.index(shape.layer)
        touched = [
            f"{each.hole.name} of net {each.net}, {in_mm(each.apart_si)} away"
            for each in self.of(hole.name)
            if each.is_passed(shape.side, stop)
            and each.apart_si < (reach + each.hole.padstack.drill_si / 2) * (1 - ROUNDING)
        ]
        if not touched:
            return None
        tolerance = " at worst tolerance of its edge" * (reach > drill / 2)
        text = f"the depth drill of {in_mm(drill)} would touch{tolerance} the barrel of {'; '.join(touched)}"
        return Refusal(Obstacle.NEIGHBOUR, text)


def neighbours_of(board: Board, rules: FabricatorRules) -> Neighbours:
    """Neighbours of every hole of a board. They are remembered on the board.

    Parameters
    ----------
    board : Board
        The board.
    rules : FabricatorRules
        Rules of the fabricator.

    Returns
    -------
    Neighbours
    """
    key = ("neighbours", rules.oversize_si, rules.edge_tolerance_si, rules.hole_clearance_si)
    return board.remembered(key, lambda: Neighbours(board, rules))


def farthest_judged(rules: FabricatorRules) -> float:
    """Distance [m] from the edge of a depth drill to another hole up to which it matters under some rules.

    Parameters
    ----------
    rules : FabricatorRules
        Rules of the fabricator.

    Returns
    -------
    float
        What the rule and the tolerances of two edges need together; at least ``UNKNOWN_UP_TO`` where one is unknown.
    """
    clearance, edge = rules.hole_clearance_si, rules.edge_tolerance_si
    needed = (clearance or 0.0) + 2 * (edge or 0.0)
    return max(needed, UNKNOWN_UP_TO) if clearance is None or edge is None else needed


def _near_holes(board: Board, rules: FabricatorRules) -> Mapping[str, tuple[Neighbour, ...]]:
    """Neighbours by the name of the hole: as far as two depth drills, their edges and the wanted distance reach."""
    columns = (board.signal_holes, board.reference_holes)
    holes = [hole for each in columns for hole in each.holes]
    place = np.concatenate([each.place for each in columns])
    kind = np.concatenate([each.kind for each in columns])
    net_of = {hole.name: net.name for net in board.nets for hole in net.holes}
    placed = np.flatnonzero(~np.isnan(place))
    if not len(placed):
        return {}
    around = farthest_judged(rules)
    reach = np.array([rules.drill_si(holes[number].padstack.drill_si) + around for number in placed.tolist()])
    near: dict[str, list[Neighbour]] = defaultdict(list)
    for ones, others in near_pairs(place[placed], reach):
        apart = np.abs(place[placed[ones]] - place[placed[others]])
        close = np.flatnonzero(apart <= (reach[ones] + reach[others]) / 2)
        for one, other, distance in zip(placed[ones[close]], placed[others[close]], apart[close], strict=True):
            for first, second in ((one, other), (other, one)):
                neighbour = holes[second]
                near[holes[first].name].append(
                    Neighbour(neighbour, net_of[neighbour.name], float(distance), board.kinds[kind[second]].span)
                )
    return {name: tuple(sorted(each, key=lambda n: (n.apart_si, n.hole.name))) for name, each in near.items()}
