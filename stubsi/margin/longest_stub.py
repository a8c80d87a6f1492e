"""Owns the search for the length up to which every stub meets a criterion, for many kinds of stub at once.

The results are remembered by all that they depend on. If one net of a board is changed, a new plan of that board
searches for the stubs of that net only.
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
"""One of the four values of a figure, by its name in ``Ends``."""

RESOLUTION = 5e-6
"""Resolution of the longest stub [m]: the result may be this much too short, and is never too long."""
CLEAR = 0.05
"""Relative distance from the limit at which a length meets the criterion clearly. Between two such neighbours no length
is tried, as none can fail. The reason: as a stub grows, its notch falls (it may rise by a few percent at planes and
pads), and its loss rises up to the notch."""
REMEMBERED = 100_000
"""How many longest stubs are remembered."""


class Wanted(NamedTuple):
    """A stub whose longest length is wanted.

    ``stub``: the number by which its figures are requested. ``lengths`` [m]: rising; between two neighbours the figures
    are smooth, and no stub is longer than the last. ``end``: which value of a figure must meet the criterion.
    """

    stub: int
    criterion: Criterion
    nyquist: float
    lengths: FloatArray
    resolution: float = RESOLUTION
    end: EndName = "low"


class Permit(NamedTuple):
    """All that the longest permitted stub depends on.

    ``bore``: the depth-drilled bore that ends a shorter stub; None: it is not known, and an oversize is assumed.
    ``nyquist`` [Hz]. ``z0`` [ohm]; None where it is unknown, and where the criterion is not on loss. ``end``: which
    value of a figure must meet the criterion.
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
            Wanted(numbers[permit], permit.criterion, permit.nyquist, permit.shape.face_lengths_si, end=permit.end)
            for permit in new
        ]
        return [float(length) for length in longest(wanted, figures)]

    return np.array(_remembered.all(permits, search), dtype=np.float64)


def longest(wanted: Sequence[Wanted], figures: FiguresAt) -> FloatArray:
    """Longest stubs that meet a criterion. Every shorter stub meets it, too.

    Parameters
    ----------
    wanted : sequence of Wanted
    figures : callable
        Figures of stubs of these numbers at these lengths [m]. It is called with all of the stubs at once, and with
        each length of a stub once.

    Returns
    -------
    ndarray, shape (n_wanted,)
        [m]; infinite where no length fails, NaN where the greatest length cannot be judged. A smaller length that
        cannot be judged counts as failing.
    """
    lengths = np.array([stub.criterion.longest_si(stub.nyquist) for stub in wanted], dtype=np.float64)
    lengths[lengths >= [stub.lengths[-1] * (1 - 1e-9) for stub in wanted]] = np.inf
    searches = {i: _search(wanted[i]) for i in np.flatnonzero(np.isnan(lengths)).tolist()}
    next_length = {i: next(search) for i, search in searches.items()}
    figures_known: dict[tuple[int, float], StubFigures] = {}
    while next_length:
        keys = dict.fromkeys((wanted[i].stub, length) for i, length in next_length.items())
        new = [key for key in keys if key not in figures_known]
        if new:
            answers = figures([stub for stub, _ in new], np.array([length for _, length in new]))
            figures_known.update(zip(new, answers, strict=True))
        for i, length in list(next_length.items()):
            try:
                next_length[i] = searches[i].send(_overshoot(wanted[i], figures_known[wanted[i].stub, length]))
            except StopIteration as done:
                lengths[i] = done.value
                del next_length[i]
    return lengths


def _overshoot(wanted: Wanted, figures: StubFigures) -> float:
    """By how much a stub misses its criterion: above 0 it is not met, NaN where unknown."""
    value: float = getattr(measured_ends(wanted.criterion, figures), wanted.end)
    return overshoot(wanted.criterion, value)


def _search(wanted: Wanted) -> Search:
    """Search for the longest stub [m], infinite if no length fails.

    The generator yields a length to try, and is sent by how much the stub of that length misses the criterion.
    """
    lengths = np.concatenate([[0.0], wanted.lengths])
    last = len(lengths) - 1
    tried = {0: -1.0, last: (yield lengths[last])}
    if np.isnan(tried[last]):
        return np.nan
    while gap := _untried_gap(tried):
        place = _next_place(lengths, tried, *gap)
        missed_by = yield lengths[place]
        tried[place] = np.inf if np.isnan(missed_by) else missed_by
    failed = min((place for place in tried if tried[place] > 0), default=None)
    if failed is None:
        return np.inf
    met = failed - 1
    return (
        yield from _narrowed_to_resolution(lengths[met], lengths[failed], tried[met], tried[failed], wanted.resolution)
    )


def _untried_gap(tried: dict[int, float]) -> tuple[int, int] | None:
    """Two neighbouring places between which others must still be tried, the last such two before the first failure."""
    places = sorted(tried)
    failed = next((n for n, place in enumerate(places) if tried[place] > 0), len(places))
    pairs = pairwise(places[: failed + 1])
    return max(((a, b) for a, b in pairs if b > a + 1 and max(tried[a], tried[b]) > -CLEAR), default=None)


def _next_place(lengths: FloatArray, tried: dict[int, float], low: int, high: int) -> int:
    """Place to try between two: the nearest to where the secant meets the limit; every fourth time the middle one.

    If the upper place meets the criterion, it is the place just below it. If that meets the criterion clearly, no place
    between needs to be tried.
    """
    if tried[high] <= 0:
        return high - 1
    if np.isinf(tried[high]) or len(tried) % 4 == 1:
        return (low + high) // 2
    at = np.interp(0.0, [tried[low], tried[high]], [lengths[low], lengths[high]])
    return int(np.clip(np.abs(lengths - at).argmin(), low + 1, high - 1))


def _narrowed_to_resolution(low: float, high: float, below: float, above: float, resolution: float) -> Search:
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
