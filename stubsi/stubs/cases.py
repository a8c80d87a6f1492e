"""Owns the table of every stub of a board, as arrays: equal stubs are listed once, as cases, and pointed to."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.board.hole_columns import LEG_N
from stubsi.read_only import read_only
from stubsi.stubs.drawn import StubShape, stub_shapes
from stubsi.stubs.stub_feed import feed_of
from stubsi.stubs.surroundings import Around, nothing_known, surroundings

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.board.board import Board
    from stubsi.board.net import Hole
    from stubsi.stubs.as_barrel import Bore

NO_CASE = -1
"""Stands for the number of a case where there is no stub."""


class Case(NamedTuple):
    """A distinct stub: its shape, its length, and the return path of its hole.

    ``length_si`` [m]: all of the stub, or what is left of it. ``around``: what stands around its hole. ``bore``: the
    depth-drilled bore that ends a stub which is cut short; None: it is not known, and an oversize is assumed.
    """

    shape: StubShape
    length_si: float
    around: Around
    bore: Bore | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class StubTable:
    """Every stub of a board. The arrays have one entry per stub, in the order of the nets, and are read-only.

    Two tables are equal if their stubs are, one by one: the same cases, in the same nets and legs of nets.

    Parameters
    ----------
    cases : tuple of Case
        The distinct stubs.
    holes : tuple of Hole
        The holes of the signal nets.
    net : ndarray of int
        Number of the net of each stub among the signal nets; it never falls from one stub to the next.
    hole : ndarray of int
        Number of its hole in ``holes``.
    leg : ndarray of int
        0 for a single hole or leg P, 1 for leg N.
    case : ndarray of int
        Number of its case in ``cases``; ``NO_CASE`` where nothing is left of it.
    least : ndarray of int
        Number of the case that remains after all that a depth drill can remove is removed; ``NO_CASE`` if nothing
        remains.
    """

    cases: tuple[Case, ...]
    holes: tuple[Hole, ...]
    net: NDArray[np.intp]
    hole: NDArray[np.intp]
    leg: NDArray[np.intp]
    case: NDArray[np.intp]
    least: NDArray[np.intp]

    def __post_init__(self) -> None:
        for array in (self.net, self.hole, self.leg, self.case, self.least):
            read_only(array)

    def __eq__(self, other: object) -> bool:
        if self is other or not isinstance(other, StubTable):
            return self is other
        arrays = ((self.net, other.net), (self.leg, other.leg), (self.case, other.case), (self.least, other.least))
        return all(np.array_equal(*both) for both in arrays) and self.cases == other.cases

    def __hash__(self) -> int:
        return hash((self.cases, self.case.tobytes()))

    @cached_property
    def length_si(self) -> NDArray[np.float64]:
        """Length of each stub [m]; 0 where nothing is left of it."""
        return read_only(self.lengths_of(self.case))

    def lengths_of(self, case: NDArray[np.intp]) -> NDArray[np.float64]:
        """Length of each of some cases.

        Parameters
        ----------
        case : ndarray of int

        Returns
        -------
        ndarray
            [m]; 0 for ``NO_CASE``.
        """
        return np.array([each.length_si for each in self.cases] + [0.0])[case]


def stub_table(board: Board, *, with_surroundings: bool) -> StubTable:
    """Collect every stub of the signal nets of a board.

    Parameters
    ----------
    board : Board
    with_surroundings : bool
        Whether the cases hold what stands around each hole. A model that does not use it needs fewer cases: then stubs
        that differ only in their surroundings are one case.

    Returns
    -------
    StubTable
    """
    holes = board.signal_holes
    around = surroundings(board) if with_surroundings else nothing_known(len(holes.holes))
    first_hole, group = _groups(holes.kind * len(around.distinct) + around.of_hole)
    shapes = _shapes_of_kinds(board)
    case_list = _CaseList()
    stubs_of_group = [
        case_list.stubs(shapes[kind], around.distinct[surrounding])
        for kind, surrounding in zip(holes.kind[first_hole].tolist(), around.of_hole[first_hole].tolist(), strict=True)
    ]
    stubs = np.array([stub for of_group in stubs_of_group for stub in of_group], dtype=np.intp).reshape(-1, 2)
    count = np.array([len(of_group) for of_group in stubs_of_group], dtype=np.intp)
    hole = np.repeat(np.arange(len(group)), count[group])
    first_of_group, first_of_hole = _starts(count), _starts(count[group])
    stub = first_of_group[group[hole]] + np.arange(len(hole)) - first_of_hole[hole]
    return StubTable(
        cases=tuple(case_list.cases), holes=holes.holes, net=holes.net[hole], hole=hole,
        leg=(holes.leg[hole] == LEG_N).astype(np.intp), case=stubs[stub, 0], least=stubs[stub, 1],
    )  # fmt: skip


def _groups(key: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """First entry of every group of equal keys, in the order they appear, and the group of each entry."""
    _, first, group = np.unique(key, return_index=True, return_inverse=True)
    order = np.argsort(first)
    number = np.empty_like(order)
    number[order] = np.arange(len(order))
    return first[order], number[group]


def _starts(count: NDArray[np.intp]) -> NDArray[np.intp]:
    """Number of the first of each of some groups that follow each other, from how many each group has."""
    return np.cumsum(count) - count


def _shapes_of_kinds(board: Board) -> list[tuple[StubShape, ...]]:
    """Stubs that a hole of each kind leaves; kinds whose stubs have one feed share them."""
    distinct: dict[tuple[object, ...], tuple[StubShape, ...]] = {}
    shapes = []
    for kind in board.kinds:
        feed = feed_of(board.stackup, kind, kind.span)
        key = (kind.padstack, kind.span, kind.press_fit, feed)
        if key not in distinct:
            distinct[key] = stub_shapes(board.stackup, kind.padstack, kind.span, kind.press_fit, feed)
        shapes.append(distinct[key])
    return shapes


class _CaseList:
    """The distinct cases, in the order of their first appearance."""

    def __init__(self) -> None:
        self.cases: list[Case] = []
        self._numbers: dict[Case, int] = {}

    def stubs(self, shapes: tuple[StubShape, ...], around: Around) -> list[tuple[int, int]]:
        """Number of the case of every stub of a hole: as drawn, and of the part that no depth drill can remove."""
        return [
            (self._number(shape, shape.stub_length_si, around), self._number(shape, shape.least_length_si, around))
            for shape in shapes
        ]

    def _number(self, shape: StubShape, length: float, around: Around) -> int:
        if length <= 0:
            return NO_CASE
        case = Case(shape, length, around)
        number = self._numbers.setdefault(case, len(self.cases))
        if number == len(self.cases):
            self.cases.append(case)
        return number
