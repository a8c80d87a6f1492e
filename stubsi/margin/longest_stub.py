"""Owns the longest stub that meets a criterion: the smallest length at which it is no longer met, of many at once.

Longest stubs are remembered by all that they depend on, so that a plan of a board with one changed net searches for
that net only.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING, Literal, NamedTuple, TypeAlias

import numpy as np

from stubsi.margin.stub_verdict import measured_ends, overshoot
from stubsi.memory import Memory

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Sequence

    from numpy.typing import NDArray

    from stubsi.board.criterion import Criterion
    from stubsi.margin.stub_verdict import StubFigures
    from stubsi.stubs.as_barrel import Bore
    from stubsi.stubs.drawn import StubShape
    from stubsi.stubs.model_choice import ModelChoice
    from stubsi.stubs.surroundings import Around

    FloatArray: TypeAlias = NDArray[np.float64]
    Search: TypeAlias = Generator[float, float, float]
    FiguresAt: TypeAlias = Callable[[Sequence[int], FloatArray], Sequence[StubFigures]]
    """Figures of stubs of these numbers at these lengths [m]."""

EndName: TypeAlias = Literal["worst", "low", "high", "best"]
"""An end of a figure's spread."""

RESOLUTION = 5e-6
"""The longest of a stub with layers is found to this much [m], on the safe side."""
CLEAR = 0.05
"""Between two lengths that meet the criterion by this much, none is tried: a notch falls as a stub grows, but for a few
percent at planes and pads; up to it, the loss rises."""
REMEMBERED = 100_000
"""How many longest stubs are remembered."""


class Wanted(NamedTuple):
    """A stub whose longest length is wanted.

    ``stub``: number its figures are asked for by. ``lengths`` [m]: rising; between two neighbours the figures are
    smooth, no stub is longer than the last. ``end``: of a figure's spread, the one that must meet the criterion.
    """

    stub: int
    criterion: Criterion
    nyquist: float
    lengths: FloatArray
    resolution: float = RESOLUTION
    end: EndName = "low"


class Permit(NamedTuple):
    """All that the longest permitted stub depends on.

    ``bore``: what ends a shorter stub; None: not known, an oversize is assumed. ``nyquist`` [Hz]. ``z0`` [ohm]; None
    where unknown, and where the criterion asks for no loss. ``end``: of a figure's spread, the one that must meet the
    criterion.
    """

    shape: StubShape
    around: Around
    bore: Bore | None
    criterion: Criterion
    nyquist: float
    z0: float | None
    model: ModelChoice
    end: EndName = "low"


_remembered: Memory[Permit, float] = Memory(REMEMBERED)


def longest_permitted(permits: Sequence[Permit], figures: FiguresAt) -> FloatArray:
    """Longest permitted stubs, searched for once each.

    Parameters
    ----------
    permits : sequence of Permit
    figures : callable
        Figures of stubs, given by their numbers in ``permits``, at these lengths [m].

    Returns
    -------
    ndarray, shape (n_permits,)
        [m]; infinite where the stub may stay as drawn, NaN where an unknown input keeps it from being judged.
    """
    numbers = {permit: number for number, permit in enumerate(permits)}

    def search(new: Sequence[Permit]) -> list[float]:
        wanted = [
            Wanted(numbers[permit], permit.criterion, permit.nyquist, ends_of(permit.shape), end=permit.end)
            for permit in new
        ]
        return [float(length) for length in longest(wanted, figures)]

    return np.array(_remembered.all(permits, search), dtype=np.float64)


def longest(wanted: Sequence[Wanted], figures: FiguresAt) -> FloatArray:
    """Longest stubs up to which each shorter one meets the criterion, too.

    Parameters
    ----------
    wanted : sequence of Wanted
    figures : callable
        Figures of stubs of these numbers at these lengths [m]; asked for all of the stubs at once, each length once.

    Returns
    -------
    ndarray, shape (n_wanted,)
        [m]; infinite where no length fails, NaN where the longest cannot be judged. A shorter one that cannot be
        judged counts as failing.
    """
    lengths = np.array([stub.criterion.longest_si(stub.nyquist) for stub in wanted], dtype=np.float64)
    lengths[lengths >= [stub.lengths[-1] * (1 - 1e-9) for stub in wanted]] = np.inf
    searches = {i: _search(wanted[i]) for i in np.flatnonzero(np.isnan(lengths)).tolist()}
    asked = {i: next(search) for i, search in searches.items()}
    known: dict[tuple[int, float], StubFigures] = {}
    while asked:
        new = [key for key in dict.fromkeys((wanted[i].stub, x) for i, x in asked.items()) if key not in known]
        if new:
            answers = figures([stub for stub, _ in new], np.array([length for _, length in new]))
            known.update(zip(new, answers, strict=True))
        for i, length in list(asked.items()):
            try:
                asked[i] = searches[i].send(_overshoot(wanted[i], known[wanted[i].stub, length]))
            except StopIteration as done:
                lengths[i] = done.value
                del asked[i]
    return lengths


def _overshoot(wanted: Wanted, figures: StubFigures) -> float:
    """By how much a stub misses its criterion: above 0 it is not met, NaN where unknown."""
    value: float = getattr(measured_ends(wanted.criterion, figures), wanted.end)
    return overshoot(wanted.criterion, value)


def _search(wanted: Wanted) -> Search:
    """Longest length [m], infinite if none fails; yields the lengths to try, is sent by how much each overshoots."""
    lengths = np.concatenate([[0.0], wanted.lengths])
    last = len(lengths) - 1
    tried = {0: -1.0, last: (yield lengths[last])}
    if np.isnan(tried[last]):
        return np.nan
    while gap := _open(tried):
        place = _between(lengths, tried, *gap)
        missed_by = yield lengths[place]
        tried[place] = np.inf if np.isnan(missed_by) else missed_by
    failed = min((place for place in tried if tried[place] > 0), default=None)
    if failed is None:
        return np.inf
    met = failed - 1
    return (yield from _narrowed(lengths[met], lengths[failed], tried[met], tried[failed], wanted.resolution))


def _open(tried: dict[int, float]) -> tuple[int, int] | None:
    """Last two neighbours among the places tried, up to the first that fails, between which others must be tried."""
    places = sorted(tried)
    failed = next((n for n, place in enumerate(places) if tried[place] > 0), len(places))
    pairs = pairwise(places[: failed + 1])
    return max(((a, b) for a, b in pairs if b > a + 1 and max(tried[a], tried[b]) > -CLEAR), default=None)


def _between(lengths: FloatArray, tried: dict[int, float], low: int, high: int) -> int:
    """Place to try between two: the nearest to where the secant meets the limit; every fourth time the middle one.

    Where the upper one meets it, the next shorter: once that is clear, none is left to be tried.
    """
    if tried[high] <= 0:
        return high - 1
    if np.isinf(tried[high]) or len(tried) % 4 == 1:
        return (low + high) // 2
    at = np.interp(0.0, [tried[low], tried[high]], [lengths[low], lengths[high]])
    return int(np.clip(np.abs(lengths - at).argmin(), low + 1, high - 1))


def _narrowed(low: float, high: float, below: float, above: float, resolution: float) -> Search:
    """Length [m] that meets the criterion, at most ``resolution`` [m] short of one that does not.

    ``low`` meets it and ``high`` does not; ``below`` and ``above`` say by how much they overshoot. Secant through the
    last two tried, every fourth time bisection. Lengths are binary fractions of the interval, so similar stubs try the
    same lengths and share solves.
    """
    pieces = 1 << max(0, math.ceil(math.log2((high - low) / resolution)))
    met, missed, turn = 0, pieces, 0
    earlier, latest = (met, below), (missed, above)
    while missed - met > 1:
        place = _secant(earlier, latest, met, missed) if turn % 4 != 3 else (met + missed) // 2
        earlier, latest = latest, (place, (yield low + place * (high - low) / pieces))
        met, missed = (place, missed) if latest[1] <= 0 else (met, place)
        turn += 1
    return low + met * (high - low) / pieces


def _secant(earlier: tuple[int, float], latest: tuple[int, float], met: int, missed: int) -> int:
    """Place where the line through two (place, overshoot) meets zero; the middle where that is out of the bracket."""
    rise = latest[1] - earlier[1]
    root = latest[0] - latest[1] * (latest[0] - earlier[0]) / rise if rise else np.nan
    if met - 1 < root < missed + 1:
        return min(max(round(root), met + 1), missed - 1)
    return (met + missed) // 2


def ends_of(shape: StubShape) -> FloatArray:
    """Lengths at which a stub passes a face of a layer, and its full length.

    Parameters
    ----------
    shape : StubShape

    Returns
    -------
    ndarray
        [m], rising.
    """
    stackup, full = shape.stackup, shape.stub_length_si
    beyond = np.array(stackup.edges_si) - shape.start_si
    beyond = np.sort(beyond if shape.side == "bottom" else -beyond)
    return np.append(beyond[(beyond > 1e-9) & (beyond < full - 1e-9)], full)
