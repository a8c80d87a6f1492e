"""Owns the return paths that a hole is solved with: that of its return vias, or several to scan if they are unknown."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np

from stubsi.physics.return_path import Posts, centres, unknown_return_paths

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stubsi.physics.solved_barrel import SolvedBarrel
    from stubsi.stubs.surroundings import Around

RETURN_VIAS = "return vias unknown: give the reference holes"
"""What is open where return vias are scanned."""
JUST_OUTSIDE = 1 + 1e-9
"""What a return via inside the clearance is moved to, over the distance at which it would touch it [-]: so rounding
leaves none of them inside."""
RING = 3
"""So many return vias and more make a ring around a hole, with a resonance of its own."""
SCAN_REACH = 2e-3
"""Unknown return vias are scanned from just outside the clearance to this much [m] further."""


class ReturnNote(StrEnum):
    """What had to be assumed about the return vias of a hole. Each is also the text that is shown."""

    UNKNOWN = "return vias unknown: 1-8 vias within 2 mm of the clearance, or none"
    OPEN_PLANES = "no return via as deep as the hole within 10 mm: open planes"
    MIRRORED = "return vias mirrored on the other leg"
    AT_THE_ANTIPAD = "return vias inside the antipad taken at its edge"
    TOO_NEAR = "a return via is nearer to the antipad than the planes are apart"


def return_paths(around: Around, solved: SolvedBarrel) -> tuple[list[Posts], tuple[ReturnNote, ...]]:
    """Return paths that a hole is solved with: that of its return vias, or several to scan if they are unknown.

    Parameters
    ----------
    around : Around
        What stands around the hole.
    solved : SolvedBarrel

    Returns
    -------
    paths : list of Posts
    notes : tuple of ReturnNote
        What had to be assumed about them.
    """
    if around.returns is None:
        return _scanned(around, solved), (ReturnNote.UNKNOWN,)
    if not around.returns:
        return [Posts()], (ReturnNote.OPEN_PLANES,)
    if around.odd:
        mirrored = tuple((-x, y) for x, y in around.returns)
        return [_without_overlap(around.returns + mirrored, around.radius)], (ReturnNote.MIRRORED,)
    places = np.array(around.returns) @ (1, 1j)
    nearest = (_widest(solved) + around.radius) * JUST_OUTSIDE
    stretch = np.maximum(1.0, nearest / np.maximum(np.abs(places), 1e-9))
    outside = tuple((via.real, via.imag) for via in (places * stretch).tolist())
    notes = (ReturnNote.AT_THE_ANTIPAD,) if (stretch > 1).any() else ()
    return [_without_overlap(outside, around.radius)], notes


def _without_overlap(positions: tuple[tuple[float, float], ...], radius: float) -> Posts:
    """Return vias of one radius, that of the nearest; a smaller one where they would touch each other."""
    places = np.array(positions) @ (1, 1j)
    gaps = np.abs(places[:, None] - places)[np.triu_indices(len(places), 1)]
    return Posts(positions=positions, radius=min(radius, 0.499 * float(gaps.min(initial=np.inf))))


def _widest(solved: SolvedBarrel) -> float:
    """Widest clearance radius along the barrel and beyond its end [m]."""
    levels = (*solved.barrel.levels, *(solved.barrel.end.bored if solved.barrel.end else ()))
    return max(level.clearance_radius for level in levels if level.clearance_radius is not None)


def _scanned(around: Around, solved: SolvedBarrel) -> list[Posts]:
    """Return paths to scan where the return vias are unknown; of a pair, patterns in line with it and beside it."""
    radius = solved.barrel.barrel_radius
    nearest = _widest(solved) + 1.1 * radius
    if not around.odd or around.pitch is None:
        return unknown_return_paths(nearest, nearest + SCAN_REACH, radius)
    half = around.pitch / 2
    distances = np.linspace(nearest, nearest + SCAN_REACH, 4).tolist()
    inline = [((half + d, 0.0), (-half - d, 0.0)) for d in distances]
    beside = [((half, d), (half, -d), (-half, d), (-half, -d)) for d in distances]
    return [Posts(), *(Posts(positions=p, radius=radius) for p in (*inline, *beside))]


def _relative_to_barrel(path: Posts, pitch: float | None) -> Posts:
    """Return vias with positions relative to the barrel; of a pair, only those on the side of this barrel."""
    if pitch is None:
        return path
    return Posts(positions=tuple((x - pitch / 2, y) for x, y in path.positions if x > 0), radius=path.radius)


def ring_of(paths: Sequence[Posts], pitch: float | None) -> float:
    """Distance of the nearest return via where three or more stand around a single hole, so that cavities resonate.

    Parameters
    ----------
    paths : sequence of Posts
        Its return paths. Several paths are scanned ones, some without a ring.
    pitch : float or None
        Of the pair [m].

    Returns
    -------
    float
        [m]; 0 without such a ring.
    """
    if pitch is not None or len(paths) != 1 or len(paths[0].positions) < RING:
        return 0.0
    return float(np.abs(centres(paths[0])).min())


def room(solved: SolvedBarrel, paths: Sequence[Posts], pitch: float | None) -> float:
    """Room between a clearance and the nearest return via, over the distance between the planes.

    Parameters
    ----------
    solved : SolvedBarrel
    paths : sequence of Posts
        Its return paths. Several paths are scanned ones; these are not checked.
    pitch : float or None
        Of the pair [m].

    Returns
    -------
    float
        [-]; below 1 it is outside what was validated. Infinite without return via or cavity.
    """
    path = _relative_to_barrel(paths[0], pitch)
    if len(paths) > 1 or not path.positions:
        return np.inf
    reach = float(np.abs(centres(path)).min()) - path.radius
    rooms = [
        (reach - section.clearance_radius) / sum(thickness for _, thickness in section.filling)
        for section in solved.layout.sections
    ]
    return min(rooms, default=np.inf)
