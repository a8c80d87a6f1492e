"""Owns how far the solved notch of a stub, by regime, and the loss of a hole may be from a full-wave solution."""

from __future__ import annotations

import math
from itertools import takewhile
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.constants import c

from stubsi.stubs.stub_feed import FeedKind

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from stubsi.physics.barrel import Level
    from stubsi.physics.solved_barrel import SolvedBarrel

MORE_THAN_SEEN = 1.3
"""Declared error over the largest that was seen in a regime [-]: seen is not at most."""
SEEN_RING = {1: 0.9, 2: 2.2, 3: 1.3, 4: 0.4, 5: 0.4}
SEEN_OPEN = {1: 3.5, 2: 1.8, 3: 1.0, 4: 1.1, 5: 1.1}
"""Largest error of the first notch seen, by the number of cavities below the start [%], with a ring of return vias and
between open planes. Source: project full-wave references, 168 rows; most of them were not used in any derivation."""
SEEN_MORE = 0.6
"""The same for six and more cavities [%]."""
LAW_START, LAW_RING, LAW_OPEN = 0.5, 1.8, 6.4
"""Seen errors lie below 0.5 + 1.8 (kb)^2 % with a ring and 0.5 + 6.4 (kb)^2 % between open planes, k the wavenumber in
the laminate at the notch and b the radius of the widest clearance. Same source."""
SEEN_DRILLED = 3.4
"""Largest error seen for drilled ends [%]: 17 rows of the same source, all of them bores in air, and 40 random ones
solved with ``tests/axisymmetric_field.py``, which also has the four figures that follow."""
SEEN_FILLED = 4.4
"""Largest error seen for a drilled end whose bore is filled [%], of 10 random ones."""
SEEN_TOUCHING, SEEN_TOO_NEAR = 5.3, 1.3
"""Seen errors lie below a straight line between these [%] where a return via is nearer to a clearance than the planes
are apart: from a via that touches the clearance to one that is just as far from it."""
SEEN_THICK = 4.3
"""Largest error seen for a single cavity between planes that are thicker than ``THICK`` of its height [%]."""
THICK = 0.5
LAW_END = 3.0
"""Seen errors rise with the laminate below the last plane by 3 (kh)^4 %, twice that for a stub without a whole cavity;
h is its height, and k the wavenumber in it. The end is solved as a static field, which a high end no longer is."""
UNEVEN, HARDER = 1.3, 2.0
"""The law is multiplied by the second value [-] where one clearance is wider than another by more than the first, and
by its square near and above the resonance of the cavities between a ring of return vias."""
NEAR_RESONANCE, LAW_RESONANCE = 1.9, 0.7
"""k times the distance of a ring of return vias [-] from where the law is higher by the second value [%]; the cavities
resonate at 2.405."""
OF_FEED = {FeedKind.THROUGH: 0.5, FeedKind.TEE: 1.5, FeedKind.UNKNOWN: 1.5}
"""What the feed adds [%]: against 3-D finite elements, 3 through and 14 tee notches, same source. An unknown feed is a
range beside that."""
OF_PAIR = 5.0
"""Least declared error of a leg of a pair [%]: no full-wave row has few cavities or a feed."""
OF_NEAREST = 5.0
"""Least declared error where no rule covers a stub exactly [%]; a judgement, without reference."""
SEEN_LAYER_CHANGE, SEEN_AT = 26.0, 40e9
"""How much lower in frequency three-dimensional fields have the insertion loss of a layer change through a barrel [%],
and from where on [Hz]: 7 % at 20 GHz, 20 % at 30 GHz, 26 % at 40 GHz, 21 % at 50 GHz. Source: project full-wave
reference, one layer change, one mesh. The pads in use and the exits into the traces make the difference."""
STEPS = (1.0, 1.5, 2.0, 3.0, 5.0, 10.0, 20.0, 50.0)
"""Errors are shown in these steps [%], rounded up; beyond the last one nothing is claimed."""


class Regime(NamedTuple):
    """What the error of a solved stub depends on, beside its notch.

    ``cavities``: between planes below its start. ``k_b``: wavenumber in the laminate times the radius of the widest
    clearance, per hertz. ``return_vias``: whether they stand around it; otherwise the planes are open. ``filled``: the
    bore of a drilled end is filled and not air. ``room``: from a clearance to the nearest return via, over the distance
    of the planes. ``feed``: None where the barrel begins in the middle of a plane. ``pair``: a leg of a pair.
    ``nearest_rule``: no rule covers it exactly. ``k_end``: wavenumber times the height of the laminate below the last
    plane, per hertz. ``k_ring``: wavenumber times the distance of a ring of return vias, per hertz; 0 without a ring.
    ``uneven``: one clearance is much wider than another. ``thick``: its planes are thick against its cavities.
    """

    cavities: int
    k_b: float
    return_vias: bool
    drilled: bool = False
    filled: bool = False
    room: float = math.inf
    feed: FeedKind | None = None
    pair: bool = False
    nearest_rule: bool = False
    k_end: float = 0.0
    k_ring: float = 0.0
    uneven: bool = False
    thick: bool = False

    def __str__(self) -> str:
        count = f"{self.cavities} {'cavity' if self.cavities == 1 else 'cavities'} below the start"
        return f"{count}, {'return vias' if self.return_vias else 'open planes'}"


def regime(
    solved: SolvedBarrel,
    *,
    return_vias: bool,
    room: float = math.inf,
    ring: float = 0.0,
    feed: FeedKind | None = None,
    pair: bool = False,
    nearest_rule: bool = False,
) -> Regime:
    """Regime of a solved stub.

    Parameters
    ----------
    solved : SolvedBarrel
    return_vias, room : optional
        As in ``Regime``.
    ring : float
        Distance of a ring of return vias [m]; 0 without a ring.
    feed, pair, nearest_rule : optional
        As in ``Regime``.

    Returns
    -------
    Regime
    """
    barrel = solved.barrel
    planes = [level for level in (*barrel.levels, *barrel.bored) if level.is_plane]
    clearances = [level.clearance_radius for level in planes if level.clearance_radius]
    wavenumber = 2 * math.pi / c * math.sqrt(solved.arrays.largest_dk)
    heights = [sum(height for _, height in section.filling) for section in solved.layout.sections]
    return Regime(
        cavities=max(sum(level.is_plane for level in barrel.levels) - 1, 0),
        k_b=wavenumber * max(clearances, default=0.0),
        return_vias=return_vias, drilled=barrel.is_drilled,
        filled=barrel.is_filled,
        room=room, feed=feed, pair=pair, nearest_rule=nearest_rule,
        k_end=0.0 if barrel.is_drilled else 2 * math.pi / c * _end_height(barrel.levels),
        k_ring=wavenumber * ring,
        uneven=bool(clearances) and max(clearances) > UNEVEN * min(clearances),
        thick=bool(heights) and max(level.thickness for level in planes) > THICK * min(heights),
    )  # fmt: skip


def _end_height(levels: Sequence[Level]) -> float:
    """Height below the last plane, each level times its refractive index [m]."""
    below = takewhile(lambda level: not level.is_plane, reversed(levels))
    return sum(level.thickness * math.sqrt(level.material.dk_z) for level in below)


def notch_error(of: Regime, notch: float) -> float:
    """Largest error that is declared for the first notch of a stub, against full wave.

    Parameters
    ----------
    of : Regime
    notch : float
        First notch [Hz].

    Returns
    -------
    float
        Relative [-]: 1.3 times the larger of the largest error seen in the regime and the law that held for all
        rows, and what the feed adds.
    """
    law = _law(of, near_resonance=of.k_ring * notch > NEAR_RESONANCE)
    declared = law.start + law.square * notch**2 + law.fourth * notch**4
    return max(declared, MORE_THAN_SEEN * _seen(of) + _of_feed(of), *_judged(of)) / 100


class _Law(NamedTuple):
    """Declared error [%] as ``start`` + ``square`` f^2 + ``fourth`` f^4, f the notch [Hz]."""

    start: float
    square: float
    fourth: float


def _law(of: Regime, *, near_resonance: bool) -> _Law:
    factor = MORE_THAN_SEEN * (HARDER ** (1 + near_resonance) if of.uneven else 1.0)
    start = LAW_START + (LAW_RESONANCE if near_resonance else 0.0)
    of_end = MORE_THAN_SEEN * (HARDER if of.cavities == 0 else 1.0) * LAW_END
    of_clearance = LAW_RING if of.return_vias else LAW_OPEN
    return _Law(factor * start + _of_feed(of), factor * of_clearance * of.k_b**2, of_end * of.k_end**4)


def _of_feed(of: Regime) -> float:
    """What the feed adds [%]."""
    return 0.0 if of.feed is None else OF_FEED[of.feed]


def _judged(of: Regime) -> tuple[float, float]:
    """Least declared errors that are judgements [%]."""
    return OF_PAIR if of.pair else 0.0, OF_NEAREST if of.nearest_rule or of.cavities == 0 else 0.0


def _seen(of: Regime) -> float:
    """Largest error seen in a regime [%]."""
    seen = [(SEEN_RING if of.return_vias else SEEN_OPEN).get(max(of.cavities, 1), SEEN_MORE)]
    if of.drilled:
        seen.append(SEEN_FILLED if of.filled else SEEN_DRILLED)
    if of.room < 1:
        seen.append(SEEN_TOUCHING + max(of.room, 0.0) * (SEEN_TOO_NEAR - SEEN_TOUCHING))
    if of.thick and of.cavities <= 1:
        seen.append(SEEN_THICK)
    return max(seen)


def least_notch(of: Regime, notch: float) -> float:
    """Frequency below which the true first notch is not expected.

    Parameters
    ----------
    of : Regime
    notch : float
        As computed [Hz].

    Returns
    -------
    float
        [Hz].

    Notes
    -----
    The error grows with frequency, so far up nothing may be known about a notch that is found there. But none was found
    at any lower frequency f either, where the error is smaller: f (1 - error(f)) holds for each of them. It is largest
    where its slope is zero, where the law reaches the least error that is declared or becomes a harder one, or at the
    notch.
    """
    floor = 100 * notch_error(of, 0.0)
    turns = [notch, *([NEAR_RESONANCE / of.k_ring * (1 - 1e-12)] if of.k_ring else [])]
    for law in {_law(of, near_resonance=False), _law(of, near_resonance=bool(of.k_ring))}:
        turns.append(_reached(100 - law.start, 3 * law.square, 5 * law.fourth))
        turns.append(_reached(floor - law.start, law.square, law.fourth))
    return max(f * (1 - notch_error(of, f)) for f in turns if f <= notch)


def _reached(value: float, square: float, fourth: float) -> float:
    """Frequency f at which ``square`` f^2 + ``fourth`` f^4 reaches a value; 0 for none above it."""
    value = max(value, 0.0)
    return math.sqrt(2 * value / (square + math.sqrt(square**2 + 4 * fourth * value))) if value else 0.0


def layer_change_error(frequency: NDArray[np.float64]) -> NDArray[np.float64]:
    """How much lower in frequency the true loss of a whole hole may lie than computed, beside what its stubs add.

    Parameters
    ----------
    frequency : ndarray
        [Hz].

    Returns
    -------
    ndarray
        Relative [-]: rises in proportion to the frequency up to 1.3 times the largest that was seen.
    """
    return MORE_THAN_SEEN * SEEN_LAYER_CHANGE / 100 * np.minimum(frequency / SEEN_AT, 1.0)


def in_words(error: float) -> str:
    """A declared error as text.

    Parameters
    ----------
    error : float
        Relative [-].

    Returns
    -------
    str
        Rounded up to one of ``STEPS``.
    """
    step = next((step for step in STEPS if 100 * error <= step), None)
    return "error against full wave not known" if step is None else f"within {step:g} % of full wave"
