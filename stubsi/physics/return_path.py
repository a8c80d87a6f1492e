"""Owns the return paths: their checks, their arrays for many stubs, and the patterns to scan if they are unknown."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from stubsi.errors import ValidityError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike

    from stubsi.physics.arrays import ComplexArray, FloatArray, IndexArray


SCANNED_COUNTS = (1, 2, 3, 4, 6, 8)
"""Numbers of equal posts to try where the return path is unknown.

Their notches, with that of the open planes, enclose the notch of any pattern.
"""
SCANNED_DISTANCES = 4
"""How many distances each of these numbers is tried at, from the nearest to the farthest."""


@dataclass(frozen=True, kw_only=True)
class Ring:
    """Return path: a solid conducting ring around the barrel.

    Parameters
    ----------
    radius : float
        [m].
    """

    radius: float


@dataclass(frozen=True, kw_only=True)
class Posts:
    """Return path: round posts, for instance return vias.

    Parameters
    ----------
    positions : tuple of (float, float)
        Centres (x, y) [m] relative to the barrel; of a pair relative to the point midway between its barrels, which
        lie on the x axis. None at all: the open plane pair.
    radius : float
        Of every post [m].
    """

    positions: tuple[tuple[float, float], ...] = ()
    radius: float = 0.0


OPEN = Posts()
"""The open plane pair: no return conductor within reach."""

ReturnPath = Ring | Posts


@dataclass(frozen=True, kw_only=True)
class ReturnPaths:
    """The return paths of many stubs as arrays, first axis the stub.

    Parameters
    ----------
    ring : ndarray, shape (n_stub,)
        Radius of the ring [m]; NaN for none.
    posts : complex ndarray, shape (n_stub, n_post)
        Centres x + jy [m]; of a pair only those on the barrel's side.
    count : ndarray of int, shape (n_stub,)
        How many of the ``posts`` there are; the rest are zero.
    post_radius : ndarray, shape (n_stub,)
        Of every post [m].
    pitch : ndarray, shape (n_stub,)
        Pitch [m] of a pair in its odd mode; NaN for a single barrel.
    """

    ring: FloatArray
    posts: ComplexArray
    count: IndexArray
    post_radius: FloatArray
    pitch: FloatArray

    @classmethod
    def of(cls, paths: Sequence[ReturnPath], pitch: Sequence[float] | None = None) -> ReturnPaths:
        """Put return paths into arrays.

        Parameters
        ----------
        paths : sequence of Ring or Posts
            One for each stub.
        pitch : sequence of float, optional
            Pitch [m] of each stub that is one of a pair in its odd mode; NaN for a single barrel, None: all single.
        """
        pitches = np.full(len(paths), np.nan) if pitch is None else np.asarray(pitch, dtype=float)
        patterns = [centres(path, odd=bool(np.isfinite(s))) for path, s in zip(paths, pitches, strict=True)]
        count = np.array([len(pattern) for pattern in patterns], dtype=int)
        posts = np.zeros((len(paths), count.max(initial=0)), dtype=complex)
        for row, pattern in zip(posts, patterns, strict=True):
            row[: len(pattern)] = pattern
        return cls(
            ring=np.array([path.radius if isinstance(path, Ring) else np.nan for path in paths], dtype=float),
            posts=posts,
            count=count,
            post_radius=np.array([path.radius for path in paths], dtype=float),
            pitch=pitches,
        )

    def only(self, rows: IndexArray) -> ReturnPaths:
        """Return paths of some of the stubs.

        Parameters
        ----------
        rows : ndarray of int
            Their numbers, in any order and as often as wanted.
        """
        return ReturnPaths(
            ring=self.ring[rows],
            posts=self.posts[rows],
            count=self.count[rows],
            post_radius=self.post_radius[rows],
            pitch=self.pitch[rows],
        )


def centres(path: ReturnPath, *, odd: bool = False) -> ComplexArray:
    """Centres of the posts, x + jy [m].

    Parameters
    ----------
    path : Ring or Posts
        A ring has none.
    odd : bool
        Only those on one side of the midplane of a pair, x > 0; a post on the midplane carries no charge.
    """
    positions = path.positions if isinstance(path, Posts) else ()
    return np.array([complex(x, y) for x, y in positions if not odd or x > path.radius], dtype=complex)


def check_single(
    barrel_radius: ArrayLike, clearance_radius: ArrayLike, return_path: ReturnPath, height: ArrayLike = 0.0
) -> None:
    """Refuse a return path the model of a single barrel does not cover.

    Parameters
    ----------
    barrel_radius, clearance_radius : array_like
        Radius of the barrel or its pads and of the clearance in the planes [m].
    return_path : Ring or Posts
        Where the current returns.
    height : array_like
        Distance between the planes [m]: with less room than this from clearance to return path the fringe field of
        the clearance meets the return path.

    Raises
    ------
    ValidityError
        Barrel not inside its clearance; return path in the clearance or nearer to it than ``height``; posts of no
        radius or touching each other.
    """
    a, b, h = np.broadcast_arrays(barrel_radius, clearance_radius, height)
    if not np.all((a > 0) & (b > a)):
        _refuse(f"barrel_radius {a.max():.6g} m must be above 0 and below clearance_radius {b.min():.6g} m")
    if isinstance(return_path, Posts):
        _check_posts(return_path)
        reach = float(np.min(np.abs(centres(return_path)) - return_path.radius, initial=np.inf))
    else:
        reach = return_path.radius
    if reach < np.max(b + h):
        _refuse(
            f"return path {reach:.6g} m from the barrel's axis must be outside clearance_radius {b.max():.6g} m "
            f"plus the distance between the planes {h.max():.6g} m"
        )


def check_pair(barrel_radius: float, pitch: float, return_path: ReturnPath, clearance_radius: ArrayLike = 0.0) -> None:
    """Refuse a pair of barrels that the model of the odd mode does not cover.

    Parameters
    ----------
    barrel_radius, pitch : float
        Radius of the barrels and distance between their centres [m].
    return_path : Ring or Posts
        Where the current returns.
    clearance_radius : array_like
        Radius of the clearance around each barrel [m]; 0: only the barrels themselves count.

    Raises
    ------
    ValidityError
        Barrels that touch; a ring; posts of no radius, in a clearance, touching a barrel, each other or the midplane,
        or without their mirror image.
    """
    if not 0 < 2 * barrel_radius < pitch:
        _refuse(f"pitch {pitch:.6g} m must exceed twice barrel_radius {barrel_radius:.6g} m")
    if isinstance(return_path, Ring):
        raise ValidityError("a pair returns through posts (or none): a Ring is centred on one barrel")
    _check_posts(return_path)
    posts, radius = centres(return_path), return_path.radius
    inner = max(barrel_radius, float(np.max(clearance_radius)))
    if np.any(np.abs(np.abs(posts.real) - pitch / 2 + 1j * posts.imag) < radius + inner):
        _refuse(
            f"posts of radius {radius:.6g} m touch a barrel or its clearance at x = {pitch / 2:.6g} m, "
            f"radius {inner:.6g} m"
        )
    if np.any((np.abs(posts.real) > 1e-3 * radius) & (np.abs(posts.real) < radius)):
        _refuse(f"posts of radius {radius:.6g} m cross the midplane x = 0 off their centre")
    if any(np.min(np.abs(posts + post.conjugate())) > 0.1 * radius for post in posts):
        _refuse("posts of a pair must be mirrored at x = 0: otherwise odd and even mode mix")


def _check_posts(path: Posts) -> None:
    if path.positions and path.radius <= 0:
        _refuse(f"posts need a radius above 0, not {path.radius:.6g} m")
    for one, other in combinations(centres(path), 2):
        if abs(one - other) < 2 * path.radius:
            _refuse(f"posts of radius {path.radius:.6g} m at {one:.6g} and {other:.6g} m touch each other")


def _refuse(message: str) -> None:
    raise ValidityError(message)


def equal_posts(count: int, distance: float, post_radius: float) -> Posts:
    """Equal posts evenly around a barrel, the first on the x axis.

    Parameters
    ----------
    count : int
        How many.
    distance, post_radius : float
        Distance of their centres from the barrel's, and their radius [m].
    """
    turn = 2 * np.pi * np.arange(count) / count
    positions = tuple((float(distance * np.cos(t)), float(distance * np.sin(t))) for t in turn)
    return Posts(positions=positions, radius=post_radius)


def unknown_return_paths(nearest: float, farthest: float, post_radius: float) -> list[Posts]:
    """Patterns to solve in place of unknown return posts: the true notch lies between their lowest and highest notch.

    Parameters
    ----------
    nearest, farthest : float
        Least and greatest distance of the posts' centres from the barrel [m].
    post_radius : float
        Radius of the posts [m].

    Returns
    -------
    list of Posts
        1, 2, 3, 4, 6 and 8 equal posts at each distance where they fit, and the open plane pair.

    Notes
    -----
    Derived: of 600 random patterns none had its notch below this interval, and none more than 5 % above.
    """
    return [OPEN] + [
        equal_posts(count, float(distance), post_radius)
        for distance in np.linspace(nearest, farthest, SCANNED_DISTANCES)
        for count in SCANNED_COUNTS
        if count == 1 or distance * np.sin(np.pi / count) > post_radius
    ]
