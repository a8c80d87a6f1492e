"""Owns the return vias of a board as arrays, and the search for those nearest to a hole."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.board.clashes import meets_planes

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from scipy.spatial import cKDTree

    from stubsi.board.board import Board

NEAREST, TIED = 8, 16
"""How many return vias count for a hole. The nearest eight count. Those that are as near as the eighth count as well,
up to sixteen in all: so holes among equal vias get equal patterns, in whatever order the vias are listed."""

REACH = 10e-3
"""Return vias farther away than this [m] do not count. It is more than half a wavelength at any notch that matters,
and the planes spread and absorb what would come back. Without a nearer via the planes are taken as open."""

GRID = 1e-7
"""Positions [m] are rounded to this. Patterns that differ by less are equal, and are solved once."""

OUT_OF_REACH = 100 * REACH
"""Distance [m] of the place that stands for "no further via"."""


class ViaColumns(NamedTuple):
    """Return vias as arrays, one entry per via: places x + jy [m], radii [m], first and last copper layer."""

    place: NDArray[np.complex128]
    radius: NDArray[np.float64]
    first: NDArray[np.intp]
    last: NDArray[np.intp]

    def only(self, which: NDArray[np.intp]) -> ViaColumns:
        """Some of the vias.

        Parameters
        ----------
        which : ndarray of int
            Their numbers.
        """
        return ViaColumns(self.place[which], self.radius[which], self.first[which], self.last[which])


def via_columns(board: Board) -> ViaColumns | None:
    """Return vias of a board; blind vias stacked on each other are one via.

    Parameters
    ----------
    board : Board

    Returns
    -------
    ViaColumns or None
        None where the return vias are unknown: there is no reference net, a reference hole without position, or no
        reference hole that meets a plane. A hole that meets none is no return via, and is left out.
    """
    holes = board.reference_holes
    if not len(holes.place) or np.isnan(holes.place).any():
        return None
    joins = np.array([meets_planes(board.stackup, kind).any() for kind in board.kinds], dtype=bool)[holes.kind]
    if not joins.any():
        return None
    vias = ViaColumns(
        holes.place,
        board.per_kind(lambda kind: kind.padstack.drill_si / 2, holes),
        board.per_kind(lambda kind: kind.span.first, holes),
        board.per_kind(lambda kind: kind.span.last, holes),
    )
    from_the_top = np.argsort(vias.first, kind="stable")
    return _with_stacks_joined(vias.only(from_the_top[joins[from_the_top]]))


def _with_stacks_joined(vias: ViaColumns) -> ViaColumns:
    """Vias, listed from the top, with those that stand on each other at one place joined to one."""
    cells = np.round(vias.place.real / GRID) + 1j * np.round(vias.place.imag / GRID)
    _, cell, vias_in_cell = np.unique(cells, return_inverse=True, return_counts=True)
    stacked = vias_in_cell[cell] > 1
    if not stacked.any():
        return vias
    lowest: dict[int, _Stack] = {}
    finished: list[_Stack] = []
    for number in np.flatnonzero(stacked).tolist():
        at, via = int(cell[number]), _Stack.of(vias, number)
        above = lowest.get(at)
        if above is not None and via.first <= above.last:
            via = _Stack(above.number, min(above.radius, via.radius), above.first, max(above.last, via.last))
        elif above is not None:
            finished.append(above)
        lowest[at] = via
    alone = np.flatnonzero(~stacked)
    joined = [*finished, *lowest.values()]
    uppermost, radius, first, last = (np.array(column) for column in zip(*joined, strict=True))
    order = np.argsort(np.concatenate([uppermost, alone]), kind="stable")
    return ViaColumns(
        np.concatenate([vias.place[uppermost], vias.place[alone]]),
        np.concatenate([radius, vias.radius[alone]]),
        np.concatenate([first, vias.first[alone]]),
        np.concatenate([last, vias.last[alone]]),
    ).only(order)


class _Stack(NamedTuple):
    """Blind vias that stand on each other: number of the uppermost, least radius [m], first and last copper layer."""

    number: int
    radius: float
    first: int
    last: int

    @classmethod
    def of(cls, vias: ViaColumns, number: int) -> _Stack:
        return cls(number, float(vias.radius[number]), int(vias.first[number]), int(vias.last[number]))


class NearestVias:
    """Search for the return vias nearest to a hole, among those that reach along its whole length.

    Parameters
    ----------
    vias : ViaColumns
    """

    def __init__(self, vias: ViaColumns) -> None:
        self.vias = vias
        self.trees: dict[bytes, cKDTree] = {}

    def of(
        self, place: NDArray[np.complex128], first: NDArray[np.intp], last: NDArray[np.intp]
    ) -> tuple[NDArray[np.complex128], NDArray[np.float64]]:
        """Nearest return vias of some holes.

        Only vias that reach from the first to the last layer of a hole count: they join every plane that it passes.

        Parameters
        ----------
        place : ndarray of complex, shape (n,)
            Positions of the holes [m], NaN where unknown.
        first, last : ndarray of int, shape (n,)
            First and last copper layer of the holes.

        Returns
        -------
        places : ndarray of complex, shape (n, up to 16)
            [m]. If there are fewer vias, the other places are far out of reach. NaN if the hole's place is unknown.
        radius : ndarray, shape (n,)
            Radius of the nearest via [m]; 0 where there is none.
        """
        most = min(TIED, len(self.vias.place))
        places = np.repeat(place[:, None] + OUT_OF_REACH, most, axis=1)
        radius = np.zeros(len(place))
        for top, bottom in np.unique(np.column_stack([first, last]), axis=0).tolist():
            holes = np.flatnonzero((first == top) & (last == bottom) & ~np.isnan(place))
            along = np.flatnonzero((self.vias.first <= top) & (bottom <= self.vias.last))
            if not len(along) or not len(holes):
                continue
            count = min(TIED, len(along))
            points = np.column_stack([place[holes].real, place[holes].imag])
            apart, index = (np.asarray(each) for each in self._tree(along).query(points, k=np.arange(1, count + 1)))
            as_near = apart <= apart[:, [min(NEAREST, count) - 1]] + GRID / 2
            places[holes, :count] = np.where(as_near, self.vias.place[along[index]], places[holes, :count])
            radius[holes] = self.vias.radius[along[index[:, 0]]]
        return places, radius

    def _tree(self, along: NDArray[np.intp]) -> cKDTree:
        """Search tree of some of the vias, made once for each set of them."""
        from scipy.spatial import cKDTree

        key = along.tobytes()
        if key not in self.trees:
            place = self.vias.place[along]
            self.trees[key] = cKDTree(np.column_stack([place.real, place.imag]))
        return self.trees[key]
