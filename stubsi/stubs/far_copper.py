"""Owns what may stand farther off around a hole with few return vias near: planes end somewhere, the model's do not."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from stubsi.stubs.cases import Case
    from stubsi.stubs.surroundings import Around

NEAR = 3e-3
"""Return vias up to this far from a hole [m] are near it."""
ENOUGH = 3
"""With so many of them the current of a stub returns near its hole, and what stands farther off changes little."""
MORE = 4
"""How many return vias stand at ``NEAR`` in place of what is farther off."""
USUAL_DRILL = 0.25e-3
"""Their diameter [m] where no return via says one; common practice, no source."""
UNKNOWN_FAR = "return vias unknown: what its notch would be with 4 of them 3 mm away counts as well"
FEW_NEAR = "fewer than 3 return vias within 3 mm; what its notch would be with 4 more there counts as well"


def with_copper_far_off(case: Case) -> list[Case]:
    """The case as if four return vias stood 3 mm away, for a single hole with fewer than three nearer ones.

    With few return vias the wave of a stub runs out between the planes, and what throws it back may lower the notch by
    half: the edges of the planes, vias and capacitors between them, none of which the model has.

    Parameters
    ----------
    case : Case

    Returns
    -------
    list of Case
        One; none where the return vias are unknown, where enough are near, and for a leg of a pair, whose field dies
        out.
    """
    around = case.around
    if around.returns is None or around.odd:
        return []
    near = [via for via in around.returns if math.hypot(*via) <= NEAR * (1 + 1e-9)]
    if len(near) >= ENOUGH:
        return []
    return [case._replace(around=_surrounded(around, near))]


def with_unknown_far_off(case: Case) -> list[Case]:
    """The case as if four return vias stood 3 mm away, for a single hole whose return vias are unknown.

    Unknown return vias are scanned at distances near the hole, and there may be none. These four lie between the two.

    Parameters
    ----------
    case : Case

    Returns
    -------
    list of Case
        One; none where they are known, and for a leg of a pair.
    """
    around = case.around
    return [] if around.returns is not None or around.odd else [case._replace(around=_surrounded(around, []))]


def _surrounded(around: Around, near: list[tuple[float, float]]) -> Around:
    """Return vias that are near, the first of them on the x axis, and those that stand for the rest."""
    radius = around.radius or USUAL_DRILL / 2
    angles = [2 * math.pi * (number + 0.5) / MORE for number in range(MORE)]
    more = [(NEAR * math.cos(angle), NEAR * math.sin(angle)) for angle in angles]
    apart = [each for each in more if all(math.dist(each, via) > 4 * radius for via in near)]
    return around._replace(returns=(*near, *apart), radius=radius)
