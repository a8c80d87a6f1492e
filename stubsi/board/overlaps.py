"""Owns the search for two holes whose drills run into each other, and the refusal of such holes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stubsi.errors import BoardError
from stubsi.units import show

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

ROUNDING = 1e-9
"""Fraction of the least distance by which two holes may be too close. So much is rounding of positions, no overlap."""


def first_overlap(
    place: NDArray[np.complex128], drill: NDArray[np.float64], top: NDArray[np.intp], bottom: NDArray[np.intp]
) -> tuple[int, int] | None:
    """Find two holes that share a layer and are closer to each other than their drills permit.

    Holes may touch where one ends and the other begins, as stacked blind holes do.

    Parameters
    ----------
    place : ndarray of complex
        Position x + jy [m] of every hole.
    drill : ndarray
        Diameter of the primary drill [m].
    top, bottom : ndarray of int
        First and last copper layer of the hole, counted from the top of the board.

    Returns
    -------
    tuple of int, or None
        Numbers of the two holes, the first such pair in their order.
    """
    if not len(place):
        return None
    at_one_place = _at_one_place(place, top, bottom)
    if at_one_place is not None:
        return at_one_place
    overlaps = []
    for one, other in near_pairs(place, drill):
        apart, needed = np.abs(place[one] - place[other]), (drill[one] + drill[other]) / 2
        sharing_layers = np.maximum(top[one], top[other]) < np.minimum(bottom[one], bottom[other])
        for pair in np.flatnonzero(sharing_layers & (apart < needed * (1 - ROUNDING))).tolist():
            overlaps.append(tuple(sorted((int(one[pair]), int(other[pair])))))
    return min(overlaps, default=None)  # type: ignore[return-value]


def refuse_overlaps(
    names: Sequence[str],
    place: NDArray[np.complex128],
    drill: NDArray[np.float64],
    top: NDArray[np.intp],
    bottom: NDArray[np.intp],
) -> None:
    """Refuse two holes whose drills run into each other.

    Parameters
    ----------
    names : sequence of str
        Name of every hole, for the error text.
    place, drill, top, bottom
        As in ``first_overlap``.

    Raises
    ------
    BoardError
        Two holes share a layer and are closer to each other than their drills permit.
    """
    overlap = first_overlap(place, drill, top, bottom)
    if overlap is not None:
        one, other = overlap
        raise BoardError(
            f"holes {names[one]} and {names[other]} are {show(abs(place[one] - place[other]), 'length')} apart: must "
            f"be at least {show((drill[one] + drill[other]) / 2, 'length')}, or their drills run into each other."
        )


def _at_one_place(
    place: NDArray[np.complex128], top: NDArray[np.intp], bottom: NDArray[np.intp]
) -> tuple[int, int] | None:
    """Two holes at exactly one place that share a layer.

    If all holes of a board are at one place, there are too many pairs to look at each of them. This check only sorts.
    """
    order = np.lexsort((top, place.imag, place.real))
    above, below = order[:-1], order[1:]
    overlapping = np.flatnonzero((place[above] == place[below]) & (top[below] < bottom[above]))
    if not len(overlapping):
        return None
    one, other = sorted((int(above[overlapping[0]]), int(below[overlapping[0]])))
    return one, other


def near_pairs(
    place: NDArray[np.complex128], drill: NDArray[np.float64]
) -> Iterator[tuple[NDArray[np.intp], NDArray[np.intp]]]:
    """Pairs of holes that are near enough to overlap, and some more.

    The drills are sorted into size classes: a class holds the drills from 2^n to 2^(n + 1) times the smallest drill.
    For every class, the search goes as far as the widest drill of that class. So a few wide holes do not widen the
    search around all narrow holes.

    Parameters
    ----------
    place : ndarray of complex
        Position x + jy [m] of every hole.
    drill : ndarray
        Diameter of the primary drill [m].

    Yields
    ------
    tuple of ndarray of int
        Numbers of the first and of the second hole of every pair; each pair once.
    """
    from scipy.spatial import cKDTree

    size = np.floor(np.log2(drill / drill.min())).astype(np.intp)
    points = np.column_stack([place.real, place.imag])
    for size_class in np.unique(size).tolist():
        same_class, narrower = np.flatnonzero(size == size_class), np.flatnonzero(size < size_class)
        reach, tree = drill[same_class].max(), cKDTree(points[same_class])
        one, other = tree.query_pairs(reach, output_type="ndarray").T
        yield same_class[one], same_class[other]
        if len(narrower):
            near = tree.sparse_distance_matrix(cKDTree(points[narrower]), reach, output_type="ndarray")
            yield same_class[near["i"]], narrower[near["j"]]
