"""Owns the sizes that nothing on a board can have. A value beyond them is an error, whichever way it comes in.

Sizes that are possible but unusual are not refused; ``plausibility`` warns about them.
"""

from __future__ import annotations

from typing import NamedTuple

from stubsi.errors import BoardError
from stubsi.units import show


class SizeLimit(NamedTuple):
    """Largest size [m] of something, and why nothing larger exists, in words."""

    largest: float
    why: str


DRILL = SizeLimit(25e-3, "no hole of a board that is drilled and plated is wider")
"""Diameter of a primary drill, of a depth drill, of a return via. Drill bits for boards end at about 6.5 mm, plated
mounting holes are milled up to about 10 mm; common practice, no source."""

MASK = SizeLimit(0.5e-3, "no solder mask is thicker")
"""Thickness of the solder mask: 10 to 50 um is usual; common practice, no source."""

BOARD = SizeLimit(3.0, "no board is larger")
"""Between two holes of one board. Panels end at about 0.6 m, backplanes at about 1.5 m; common practice, no source."""

PITCH = SizeLimit(50e-3, "two barrels so far apart are no pair")
"""Between the barrels of a pair: usually 0.4 to 2 mm; common practice, no source."""


def check_size(size: float, limit: SizeLimit, what: str) -> None:
    """Refuse a size that is beyond its limit.

    Parameters
    ----------
    size : float
        [m].
    limit : SizeLimit
        One of the limits of this module.
    what : str
        Name of the argument, for the error text.

    Raises
    ------
    BoardError
        The size is beyond the limit.
    """
    if size > limit.largest:
        raise BoardError(
            f"{what} = {show(size, 'length')}: must be at most {show(limit.largest, 'length')}, because {limit.why}; "
            f"check its unit."
        )
