"""Owns how far the solved notch of a stub, by regime, and the loss of a hole may be from a full-wave solution."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.constants import c

from stubsi.stubs.stub_feed import FeedKind

if TYPE_CHECKING:
    from numpy.typing import NDArray

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
SEEN_DRILLED = 2.5
"""Largest error seen for drilled ends [%]: 17 rows, all of them bores in air, same source."""
OF_FILLED = 5.0
"""Least declared error of a drilled end whose bore is filled [%]; a judgement, no full-wave row has one."""
SEEN_TOO_NEAR = 1.3
"""Largest error seen where the return vias are nearer to the clearance than the planes are apart [%]. Same source."""
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
    bore of a drilled end is filled and not air. ``too_near``: a return via is nearer to the clearance than the planes
    are apart. ``feed``: None where the barrel begins in the middle of a plane. ``pair``: a leg of a pair.
    ``nearest_rule``: no rule covers it exactly.
    """

    cavities: int
    k_b: float
    return_vias: bool
    drilled: bool = False
    filled: bool = False
    too_near: bool = False
    feed: FeedKind | None = None
    pair: bool = False
    nearest_rule: bool = False

    def __str__(self) -> str:
        count = f"{self.cavities} {'cavity' if self.cavities == 1 else 'cavities'} below the start"
        return f"{count}, {'return vias' if self.return_vias else 'open planes'}"


def regime(
    solved: SolvedBarrel,
    *,
    return_vias: bool,
    too_near: bool = False,
    feed: FeedKind | None = None,
    pair: bool = False,
    nearest_rule: bool = False,
) -> Regime:
    """Regime of a solved stub.

    Parameters
    ----------
    solved : SolvedBarrel
    return_vias, too_near, feed, pair, nearest_rule
        As in ``Regime``.

    Returns
    -------
    Regime
    """
    barrel = solved.barrel
    widest = max(level.clearance_radius or 0.0 for level in (*barrel.levels, *barrel.bored) if level.is_plane)
    return Regime(
        cavities=max(sum(level.is_plane for level in barrel.levels) - 1, 0),
        k_b=2 * math.pi / c * math.sqrt(solved.arrays.largest_dk) * widest,
        return_vias=return_vias, drilled=barrel.is_drilled,
        filled=barrel.is_filled,
        too_near=too_near, feed=feed, pair=pair, nearest_rule=nearest_rule,
    )  # fmt: skip


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
        Relative [-]: 1.3 times the larger of the largest error seen in the regime and the law that held for all rows,
        and what the feed adds.
    """
    law = LAW_START + (LAW_RING if of.return_vias else LAW_OPEN) * (of.k_b * notch) ** 2
    seen = (SEEN_RING if of.return_vias else SEEN_OPEN).get(max(of.cavities, 1), SEEN_MORE)
    seen = max(seen, law, SEEN_DRILLED if of.drilled else 0.0, SEEN_TOO_NEAR if of.too_near else 0.0)
    declared = MORE_THAN_SEEN * seen + (0.0 if of.feed is None else OF_FEED[of.feed])
    uncovered = of.nearest_rule or of.cavities == 0
    declared = max(declared, OF_FILLED if of.filled else 0.0)
    return max(declared, OF_PAIR if of.pair else 0.0, OF_NEAREST if uncovered else 0.0) / 100


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
    where the square term of the law is a third, or at the notch.
    """
    slope = MORE_THAN_SEEN / 100 * (LAW_RING if of.return_vias else LAW_OPEN) * of.k_b**2
    best = min(notch, 1 / math.sqrt(3 * slope))
    return max(f * (1 - notch_error(of, f)) for f in (notch, best))


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
