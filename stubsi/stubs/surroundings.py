"""Owns what stands around a hole: its nearest return vias and the other barrel of its pair, alike ones made equal."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.board.board import Board, Span
    from stubsi.board.net import Net, ReturnVias

NEAREST, TIED = 8, 16
"""Return vias that count for a hole: the nearest eight within reach that are as deep as the hole, and those as near as
the eighth, up to sixteen in all: holes among alike vias see alike ones, whichever are listed first."""

REACH = 10e-3
"""Return vias farther than this [m] do not count: more than half a wave away at any notch that matters, where planes
spread and absorb what would come back. Without a nearer one the planes are open."""

GRID = 1e-7
"""Positions [m] are kept to this: patterns that differ by less are one, and solved once."""


class Around(NamedTuple):
    """What stands around a hole. Two patterns that only differ by a rotation or mirroring are written alike.

    ``returns``: centres ((x, y), ...) [m] of return vias, None where unknown. Of a single hole relative to it, the
    nearest on the x axis; of a pair seen from midway between the barrels, which lie on the x axis, those on this
    leg's side (x > 0). ``radius`` [m] of the vias. ``pitch`` [m] of a pair, None where unknown.
    """

    returns: tuple[tuple[float, float], ...] | None
    radius: float
    pitch: float | None
    odd: bool


NOTHING_KNOWN = Around(None, 0.0, None, odd=False)


def around_of(returns: ReturnVias | None, pitch: float | None) -> Around:
    """What stands around a hole without a board: return vias as given, and the pitch [m] of its pair if it has one."""
    if returns is None:
        return NOTHING_KNOWN._replace(pitch=pitch, odd=pitch is not None)
    at = np.array([complex(*place) for place in returns.positions_si]).reshape(1, -1)
    if pitch is None and at.size:
        nearest = at[0, np.argmin(np.abs(at[0]))]
        at = at / (nearest / abs(nearest) if nearest else 1.0)
    radius = returns.drill_si / 2
    kept = [via for via in _alike(at)[0].tolist() if pitch is None or via.real > radius] if at.size else []
    return Around(tuple((via.real, via.imag) for via in kept), radius, pitch, pitch is not None)


def surroundings(board: Board) -> list[Around]:
    """What stands around every hole of the signal nets, in their order; equal ones are the same object."""
    nets = [(net, hole) for net in board.signal_nets for hole in net.holes]
    at = np.array([complex(*hole.xy_si) if hole.xy_si else np.nan for _, hole in nets])
    odd = [hole.leg != "" for _, hole in nets]
    partner = np.array([p for net in board.signal_nets for p in _partners(net)])
    vias, radius = _nearest(board, [board.span(hole) for _, hole in nets], at)
    pitch = np.round(np.abs(partner - at) / GRID) * GRID
    single = np.isnan(pitch)
    with np.errstate(invalid="ignore"):
        along = np.where(single, vias[:, 0] - at, at - partner) if vias.shape[1] else at
        seen = (vias - at[:, None]) / np.where(along == 0, 1.0, along / np.abs(along))[:, None]
    hole = np.where(single, 0.0, pitch / 2)[:, None]
    seen = _alike(seen + hole)
    known = (board.return_vias is not None) & ~np.isnan(seen).any(axis=1)
    with np.errstate(invalid="ignore"):
        kept = (single[:, None] | (seen.real > radius[:, None])) & (np.abs(seen - hole) <= REACH)
    distinct: dict[Around, Around] = {}
    found = []
    for i in range(len(nets)):
        returns = tuple((via.real, via.imag) for via in seen[i, kept[i]].tolist()) if known[i] else None
        around = Around(returns, float(radius[i]), None if single[i] else float(pitch[i]), odd[i])
        found.append(distinct.setdefault(around, around))
    return found


def _partners(net: Net) -> list[complex]:
    """Place x + jy of the other barrel of the pair of each hole of a net: the nearest of the other leg; NaN if none."""
    placed = [(hole.leg, complex(*hole.xy_si)) for hole in net.holes if hole.xy_si]
    partners = []
    for hole in net.holes:
        others = [place for leg, place in placed if leg != hole.leg]
        if hole.xy_si is None or not others:
            partners.append(complex(np.nan))
        else:
            partners.append(min(others, key=lambda place, own=complex(*hole.xy_si): abs(place - own)))
    return partners


class _Via(NamedTuple):
    """A return via: place x + jy and radius [m], first and last copper layer it meets, by place from the top."""

    at: complex
    radius: float
    first: int
    last: int


def _vias(board: Board) -> list[_Via]:
    """The return vias of a board; blind ones stacked on each other are one."""
    drawn = [(hole, board.span(hole)) for hole in board.return_vias or ()]
    found: dict[tuple[int, int], _Via] = {}
    joined = []
    for hole, span in sorted(drawn, key=lambda each: each[1].first):
        key = (round(hole.xy_si[0] / GRID), round(hole.xy_si[1] / GRID))
        via = _Via(complex(*hole.xy_si), hole.padstack.drill_si / 2, span.first, span.last)
        above = found.get(key)
        if above and via.first <= above.last:
            via = _Via(above.at, min(above.radius, via.radius), above.first, max(above.last, via.last))
        elif above:
            joined.append(above)
        found[key] = via
    return joined + list(found.values())


def _nearest(
    board: Board, spans: list[Span], at: NDArray[np.complex128]
) -> tuple[NDArray[np.complex128], NDArray[np.float64]]:
    """Nearest return vias of each hole, shape (n, up to 16), NaN where unknown; and the radius of the nearest.

    Only vias that go on along all of the hole count: every plane it passes is joined by them. Those missing to the
    full number stand out of reach.
    """
    from scipy.spatial import cKDTree

    if not board.return_vias or any(via.xy_si is None for via in board.return_vias):
        return np.full((len(at), 1), np.nan + 0j), np.zeros(len(at))
    vias = _vias(board)
    found = np.repeat(at[:, None] + 100 * REACH, min(TIED, len(vias)), axis=1)
    radius = np.zeros(len(at))
    reaches = np.array([(span.first, span.last) for span in spans]).reshape(-1, 2)
    for first, last in {*map(tuple, reaches.tolist())}:
        rows = np.flatnonzero((reaches == (first, last)).all(axis=1) & ~np.isnan(at))
        along = [via for via in vias if via.first <= first and last <= via.last]
        if not along or not rows.size:
            continue
        places, count = np.array([via.at for via in along]), min(TIED, len(along))
        tree = cKDTree(np.column_stack([places.real, places.imag]))
        apart, index = tree.query(np.column_stack([at[rows].real, at[rows].imag]), k=np.arange(1, count + 1))
        counts = apart <= apart[:, [min(NEAREST, count) - 1]] + GRID / 2
        found[rows, :count] = np.where(counts, places[index], found[rows, :count])
        radius[rows] = np.array([via.radius for via in along])[index[:, 0]]
    return found, radius


def _alike(seen: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Patterns on the grid, mirrored so that the first via off the x axis lies above it, in a fixed order."""
    seen = np.round(seen / GRID) * GRID
    off = np.abs(seen.imag) > GRID / 2
    first = np.take_along_axis(seen.imag, off.argmax(axis=1)[:, None], axis=1)
    seen = np.where(off.any(axis=1)[:, None] & (first < 0), seen.conj(), seen)
    order = np.lexsort((seen.imag, seen.real), axis=1)
    return np.take_along_axis(seen, order, axis=1) + 0.0
