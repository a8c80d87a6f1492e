"""Owns yields with one tolerance narrowed, on the same samples."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stubsi.tolerance.tally import LEAST_BLOCKS, LEAST_PER_BLOCK, Narrowed

if TYPE_CHECKING:
    from collections.abc import Callable

    from stubsi.tolerance.draws import Floats
    from stubsi.tolerance.study import Study

HALVINGS = 10
"""The limits at which a verdict turns are found to this number of halvings."""


class ScaledYields:
    """Yields of the nets and of the board with one tolerance narrowed. Each part is counted once.

    Parameters
    ----------
    study : Study
    seed : int
    """

    def __init__(self, study: Study, seed: int) -> None:
        self.study = study
        self.sampled = study.sampled(seed, LEAST_PER_BLOCK)
        self.nominal = np.array([factor.tolerance.nominal_t for factor in study.factors])
        self._found: dict[tuple[int, float], Floats] = {}

    def at(self, factor: int, part: float) -> Floats:
        """Yields with the limits of one factor narrowed to a part of what they are.

        Parameters
        ----------
        factor : int
        part : float
            From 0 (exact) to 1 (as it is).

        Returns
        -------
        ndarray, shape (nets + 1,)
            The board is last; NaN where unknown.
        """
        key = (factor if part < 1 else 0, part)
        if key not in self._found:
            self._found[key] = self._counted(factor, part)
        return self._found[key]

    def _counted(self, factor: int, part: float) -> Floats:
        """Yield of every net, and of the board, with one tolerance narrowed to a part."""
        sampled = self.sampled
        parts_left = np.ones(len(self.nominal))
        parts_left[factor] = part
        change = Narrowed(self.nominal, parts_left)
        met = np.zeros(sampled.parts.nets + 1)
        kept = 0
        for block in range(LEAST_BLOCKS):
            t = sampled.points(block, change)
            together = np.ones(len(t), dtype=bool)
            for piece, parts, values in sampled.values(t, [block] * len(sampled.own), change):
                meets = parts.met(values)
                met[piece] += meets.sum(axis=1)
                together &= meets[sampled.counts[piece] & sampled.known[piece]].all(axis=0)
            met[-1] += together.sum()
            kept += len(t)
        yields = met / max(kept, 1)
        yields[:-1][~sampled.known] = np.nan
        if not sampled.known[sampled.counts].all() and yields[-1] > 0:
            yields[-1] = np.nan
        return yields

    def turning_part(self, factor: int, net: int, wanted: float) -> float:
        """Largest part of the limits of one factor at which a net has the yield that is wanted.

        It must have it with the factor exact and lack it with the factor as it is.
        """
        return turning_part(lambda part: float(self.at(factor, part)[net]), wanted)


def turning_part(yield_at: Callable[[float], float], wanted: float) -> float:
    """Largest part of some limits at which a yield is as large as is wanted.

    Parameters
    ----------
    yield_at : callable
        Yield at a part of the limits; enough at 0, too little at 1.
    wanted : float

    Returns
    -------
    float
    """
    enough, too_wide = 0.0, 1.0
    for _ in range(HALVINGS):
        middle = (enough + too_wide) / 2
        if yield_at(middle) >= wanted:
            enough = middle
        else:
            too_wide = middle
    return enough
