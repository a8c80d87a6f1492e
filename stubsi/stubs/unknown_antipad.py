"""Owns the bounds over which an antipad that nobody stated is scanned, and the stubs that it gives."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from stubsi.board.padstack import Antipad
from stubsi.value import InSI

if TYPE_CHECKING:
    from stubsi.stubs.drawn import StubShape

OVER_DRILL = (0.2e-3, 0.5e-3, 1.2e-3)
"""Antipad diameter over drill diameter that is tried [m]: lowest, usual and highest. Common practice, no source."""
OVER_PAD = 0.1e-3
"""Least antipad diameter over the diameter of a pad [m]. Common practice, no source."""
ANTIPAD_OPEN = "antipad of padstack {} is unknown: give antipad"
"""What is open where an antipad is scanned."""
ANTIPAD_UNKNOWN = "antipad unknown: 0.2 to 1.2 mm wider than the drill"
"""What is shown where an antipad is scanned."""


def with_antipads(shape: StubShape) -> tuple[StubShape, ...]:
    """The stubs that a stub may be, over the bounds of an antipad that is unknown.

    Parameters
    ----------
    shape : StubShape

    Returns
    -------
    tuple of StubShape
        Empty where the padstack states an antipad.
    """
    padstack = shape.padstack
    if padstack.antipad is not None:
        return ()
    pads = [padstack.pad_si, *(pad for _, pad in padstack.pads_si)]
    least = max((pad + OVER_PAD for pad in pads if pad is not None), default=0.0)
    widths = dict.fromkeys(max(padstack.drill_si + over, least) for over in OVER_DRILL)
    return tuple(replace(shape, padstack=replace(padstack, antipad=Antipad(width=InSI(width)))) for width in widths)
