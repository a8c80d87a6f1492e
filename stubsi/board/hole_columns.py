"""Owns the holes of a board as arrays: net, kind, leg and position of every hole."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stubsi.board.net import LEGS
from stubsi.read_only import read_only

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from stubsi.board.net import Hole, Net

_LEG_NUMBERS = {leg: number for number, leg in enumerate(LEGS)}
SINGLE, LEG_P, LEG_N = (_LEG_NUMBERS[leg] for leg in ("", "P", "N"))
"""Numbers that stand for the leg of a hole: of no pair, leg P or leg N of a pair."""


@dataclass(frozen=True, kw_only=True, eq=False)
class HoleColumns:
    """Some holes of a board, in the order of their nets. Every array has one entry per hole and is read-only.

    Parameters
    ----------
    holes : tuple of Hole
        The holes themselves.
    net : ndarray of int
        Number of the net in the list of nets that the arrays were made from.
    kind : ndarray of int
        Number of the kind of hole in the board's list of kinds.
    leg : ndarray of int
        ``SINGLE``, ``LEG_P`` or ``LEG_N``.
    place : ndarray of complex
        Position x + jy [m]; NaN where it is not known.
    """

    holes: tuple[Hole, ...]
    net: NDArray[np.intp]
    kind: NDArray[np.intp]
    leg: NDArray[np.intp]
    place: NDArray[np.complex128]


def hole_columns(nets: Sequence[Net], kind: NDArray[np.intp]) -> HoleColumns:
    """Put the holes of some nets into arrays.

    Parameters
    ----------
    nets : sequence of Net
    kind : ndarray of int
        Number of the kind of every hole of these nets, in their order.

    Returns
    -------
    HoleColumns
    """
    holes = tuple(hole for net in nets for hole in net.holes)
    holes_per_net = np.array([len(net.holes) for net in nets], dtype=np.intp)
    places = [complex(np.nan, np.nan) if hole.x_si is None else complex(hole.x_si, hole.y_si) for hole in holes]  # type: ignore[arg-type]
    return HoleColumns(
        holes=holes,
        net=read_only(np.repeat(np.arange(len(nets)), holes_per_net)),
        kind=read_only(kind),
        leg=read_only(np.array([_LEG_NUMBERS[hole.leg] for hole in holes], dtype=np.intp)),
        place=read_only(np.array(places, dtype=np.complex128)),
    )


def partners(holes: HoleColumns) -> NDArray[np.complex128]:
    """Place of the other barrel of the pair of each hole: the nearest hole of the other leg of the same net.

    Parameters
    ----------
    holes : HoleColumns

    Returns
    -------
    ndarray of complex
        x + jy [m]; NaN where there is none or it is unknown.
    """
    partner = np.full(len(holes.place), complex(np.nan, np.nan))
    legs = np.flatnonzero(holes.leg != SINGLE)
    _, start, count = np.unique(holes.net[legs], return_index=True, return_counts=True)
    for size in np.unique(count).tolist():
        of_net = legs[start[count == size][:, None] + np.arange(size)]
        place, leg = holes.place[of_net], holes.leg[of_net]
        for hole in range(size):
            apart = np.abs(place - place[:, [hole]])
            apart[(leg == leg[:, [hole]]) | np.isnan(apart)] = np.inf
            nearest = np.argmin(apart, axis=1)[:, None]
            known = np.isfinite(np.take_along_axis(apart, nearest, axis=1)[:, 0])
            partner[of_net[known, hole]] = np.take_along_axis(place, nearest, axis=1)[known, 0]
    return partner
