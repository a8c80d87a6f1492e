"""Owns the table of every stub of a board, as arrays: distinct stubs are found once and pointed to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.margin.shape import StubShape, stub_shapes

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.board.board import Board
    from stubsi.board.net import Hole


class Case(NamedTuple):
    """A distinct stub: its shape, how much of it counts, and where its hole finds its return path.

    ``length_si`` [m]: all of the stub, or what is left of it. ``returns``: positions of return vias relative to the
    hole ((x, y), ...) and their radius; None where unknown. ``partner``: the other barrel of a pair, relative; None
    for a single hole, or a pair whose positions are unknown.
    """

    shape: StubShape
    length_si: float
    returns: tuple | None
    partner: tuple[float, float] | None
    odd: bool


@dataclass(frozen=True, kw_only=True)
class StubTable:
    """Every stub of a board. Arrays of one entry per stub; ``case`` points into ``cases``.

    ``least`` points to the case left if all that can be drilled away is; -1: nothing is left. ``leg`` is 0 for a
    single hole or leg P, 1 for leg N.
    """

    cases: tuple[Case, ...]
    holes: tuple[Hole, ...]
    net: NDArray[np.intp]
    hole: NDArray[np.intp]
    leg: NDArray[np.intp]
    case: NDArray[np.intp]
    least: NDArray[np.intp]

    @property
    def length_si(self) -> NDArray[np.float64]:
        """Length of each stub as drawn [m]."""
        return np.array([case.length_si for case in self.cases])[self.case] if self.cases else np.zeros(0)


def stub_table(board: Board) -> StubTable:
    """Collect every stub of the board's signal nets."""
    shapes: dict[tuple, tuple[StubShape, ...]] = {}
    numbers: dict[tuple, int] = {}
    cases: list[Case] = []
    holes: list[Hole] = []
    rows: list[tuple[int, int, int, int, int]] = []
    surroundings = _surroundings(board)
    for number, (net_number, hole) in enumerate(_holes(board)):
        holes.append(hole)
        span = board.span(hole)
        shape_key = (id(hole.padstack), span, id(hole.press_fit))
        if shape_key not in shapes:
            shapes[shape_key] = stub_shapes(board.stackup, hole.padstack, span, hole.press_fit)
        for shape in shapes[shape_key]:
            found = []
            for length in (shape.stub_length_si, shape.least_length_si):
                key = (id(shape), length, surroundings[number])
                if length > 0 and key not in numbers:
                    numbers[key] = len(cases)
                    cases.append(Case(shape, length, *surroundings[number]))
                found.append(numbers.get(key, -1))
            rows.append((net_number, number, int(hole.leg == "N"), *found))
    columns = np.array(rows, dtype=np.intp).reshape(-1, 5).T
    return StubTable(
        cases=tuple(cases), holes=tuple(holes),
        **dict(zip(("net", "hole", "leg", "case", "least"), columns, strict=True)),
    )  # fmt: skip


def _holes(board: Board) -> list[tuple[int, Hole]]:
    return [(number, hole) for number, net in enumerate(board.signal_nets) for hole in net.holes]


NEAREST = 8
"""Return vias that count for a hole: the nearest eight."""

_GRID = 1e-7
"""Positions [m] closer than this are one: equal patterns of return vias are solved once."""


def _surroundings(board: Board) -> list[tuple]:
    """(returns, partner, odd) of every hole."""
    partners = _partners(board)
    holes = [hole for _, hole in _holes(board)]
    placed = np.array([hole.xy_si or (np.nan, np.nan) for hole in holes]).reshape(-1, 2)
    vias = board.return_vias
    if vias is None or any(via.xy_si is None for via in vias):
        return [(None, partner, hole.leg != "") for hole, partner in zip(holes, partners, strict=True)]
    found = _nearest(board, placed)
    return [(returns, partner, hole.leg != "") for returns, partner, hole in zip(found, partners, holes, strict=True)]


def _nearest(board: Board, placed: NDArray[np.float64]) -> list[tuple | None]:
    """Nearest return vias of each place, relative to it, sorted, with the radius of the nearest one."""
    from scipy.spatial import cKDTree

    vias = board.return_vias
    at = np.array([via.xy_si for via in vias])
    radius = np.array([via.padstack.drill_si / 2 for via in vias])
    known = np.isfinite(placed[:, 0])
    count = min(NEAREST, len(vias))
    _, index = cKDTree(at).query(np.where(known[:, None], placed, 0.0), k=np.arange(1, count + 1))
    relative = np.round((at[index] - placed[:, None, :]) / _GRID) * _GRID
    keys: dict[bytes, tuple] = {}
    found: list[tuple | None] = []
    for i in range(len(placed)):
        if not known[i]:
            found.append(None)
            continue
        key = relative[i].tobytes() + radius[index[i]].tobytes()
        if key not in keys:
            keys[key] = (tuple(map(tuple, relative[i].tolist())), float(radius[index[i, 0]]))
        found.append(keys[key])
    return found


def _partners(board: Board) -> list[tuple[float, float] | None]:
    """For every hole, where the other barrel of its pair is, relative to it; None where there is none or unknown.

    The partner is the nearest hole of the other leg.
    """
    partners: list[tuple[float, float] | None] = []
    for net in board.signal_nets:
        for hole in net.holes:
            others = [o.xy_si for o in net.holes if o.leg != hole.leg and o.xy_si is not None] if hole.leg else []
            if not others or hole.xy_si is None:
                partners.append(None)
                continue
            apart = np.array(others) - hole.xy_si
            nearest = apart[np.argmin(np.hypot(*apart.T))]
            partners.append(tuple((np.round(nearest / _GRID) * _GRID).tolist()))
    return partners
