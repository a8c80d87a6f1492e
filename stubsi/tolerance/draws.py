"""Owns the draws: coordinates of tolerances, of the board or of each hole, the same however the work is split."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np
from scipy.stats import qmc

from stubsi.tolerance.tolerance import quantile

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats: TypeAlias = NDArray[np.float64]
    Numbers: TypeAlias = NDArray[np.intp]

    Law: TypeAlias = tuple[str, float | None]
    """Distribution and sigma level of a tolerance."""

LEAST_SHARE = 2.0**-31
"""No draw lies in a tail of less than this probability, so that none is infinite."""


def board_wide(laws: Sequence[Law], seed: tuple[int, ...], points: int) -> Floats:
    """Coordinates of the factors that all the board shares, from a scrambled Sobol sequence.

    Parameters
    ----------
    laws : sequence of (distribution, sigma)
        Of each factor.
    seed : tuple of int
        Another seed is another scrambling.
    points : int

    Returns
    -------
    ndarray, shape (points, factors)
        The coordinate t of every factor.
    """
    if not laws:
        return np.empty((points, 0))
    sequence = qmc.Sobol(len(laws), scramble=True, rng=np.random.default_rng(seed))
    unit = _inside(sequence.random(1 << (points - 1).bit_length())[:points])
    return np.column_stack([quantile(*law, unit[:, number]) for number, law in enumerate(laws)])


def of_holes(law: Law, key: tuple[int, int], factor: int, holes: Numbers, points: int) -> Floats:
    """Coordinates of a factor that every hole has for itself, from counter-based random numbers.

    Parameters
    ----------
    law : (distribution, sigma)
        Of the factor.
    key : (int, int)
        Seed and block.
    factor : int
        Number of the factor.
    holes : ndarray of int
        Numbers of the holes.
    points : int

    Returns
    -------
    ndarray, shape (holes, points)
        The coordinate t. A row depends on seed, block, factor and the number of its hole, and on nothing else.

    Notes
    -----
    Philox 4x64 of numpy, with seed and block as its key and factor and hole as the upper half of its counter. Source:
    J. Salmon et al., Parallel random numbers: as easy as 1, 2, 3, SC11, 2011 (from memory).
    """
    drawn = np.empty((len(holes), points))
    bits = np.random.Philox(key=np.array(key, dtype=np.uint64))
    generator, state = np.random.Generator(bits), bits.state
    for row, hole in enumerate(holes.tolist()):
        state["state"]["counter"][:] = 0, 0, hole, factor
        bits.state = state  # as a new one with this counter, in a quarter of the time
        generator.random(out=drawn[row])
    return quantile(*law, _inside(drawn))


def _inside(unit: Floats) -> Floats:
    return np.clip(unit, LEAST_SHARE, 1 - LEAST_SHARE, out=unit)
