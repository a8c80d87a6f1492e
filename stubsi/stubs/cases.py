"""Owns the table of every stub of a board, as arrays: distinct stubs are found once and pointed to."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.stubs.drawn import StubShape, stub_shapes
from stubsi.stubs.surroundings import NOTHING_KNOWN, Around, surroundings

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.board.board import Board
    from stubsi.board.net import Hole
    from stubsi.stubs.as_barrel import Bore


class Case(NamedTuple):
    """A distinct stub: its shape, how much of it counts, and where its hole finds its return path.

    ``length_si`` [m]: all of the stub, or what is left of it. ``around``: what stands around its hole. ``bore``: what
    ends a stub that is cut short; None: not known, an oversize is assumed.
    """

    shape: StubShape
    length_si: float
    around: Around
    bore: Bore | None = None


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

    @cached_property
    def length_si(self) -> NDArray[np.float64]:
        """Length of each stub as drawn [m]."""
        return np.array([case.length_si for case in self.cases])[self.case] if self.cases else np.zeros(0)


def stub_table(board: Board, *, with_surroundings: bool) -> StubTable:
    """Collect every stub of the board's signal nets, with what stands around each hole or without."""
    shapes: dict[tuple, tuple[StubShape, ...]] = {}
    numbers: dict[tuple, int] = {}
    cases: list[Case] = []
    rows: list[tuple[int, int, int, int, int]] = []
    holed = [(number, hole) for number, net in enumerate(board.signal_nets) for hole in net.holes]
    around = surroundings(board) if with_surroundings else [NOTHING_KNOWN] * len(holed)
    for number, (net_number, hole) in enumerate(holed):
        span = board.span(hole)
        shape_key = (id(hole.padstack), span, id(hole.press_fit))
        if shape_key not in shapes:
            shapes[shape_key] = stub_shapes(board.stackup, hole.padstack, span, hole.press_fit)
        for shape in shapes[shape_key]:
            found = []
            for length in (shape.stub_length_si, shape.least_length_si):
                key = (id(shape), length, id(around[number]))
                if length > 0 and key not in numbers:
                    numbers[key] = len(cases)
                    cases.append(Case(shape, length, around[number]))
                found.append(numbers.get(key, -1))
            rows.append((net_number, number, int(hole.leg == "N"), *found))
    columns = np.array(rows, dtype=np.intp).reshape(-1, 5).T
    return StubTable(
        cases=tuple(cases), holes=tuple(hole for _, hole in holed),
        **dict(zip(("net", "hole", "leg", "case", "least"), columns, strict=True)),
    )  # fmt: skip
