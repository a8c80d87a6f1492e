"""Owns the solved length of barrel between the outermost layers in use of a hole."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from stubsi.errors import ValidityError
from stubsi.physics.solved_barrel import solve
from stubsi.physics.sweep import AbcdSweep
from stubsi.stubs.hole_return_paths import return_paths
from stubsi.stubs.solved_stack import Variant, chain_of
from stubsi.units import show

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.physics.barrel import Barrel
    from stubsi.physics.chain import Chain
    from stubsi.stubs.surroundings import Around


@dataclass(frozen=True, eq=False)
class SolvedThrough:
    """A solved length of barrel between entry and exit.

    Parameters
    ----------
    chain : Chain
        Of one barrel.
    """

    chain: Chain

    def __call__(self, frequency: NDArray[np.float64]) -> NDArray[np.complex128]:
        """Chain matrix over frequency [Hz], shape (n, 2, 2)."""
        check_frequency(frequency, float(self.chain.highest_frequency()[0]))
        return self._sweep(frequency)

    @cached_property
    def _sweep(self) -> AbcdSweep:
        return AbcdSweep(self.chain)

    def __getstate__(self) -> dict[str, Chain]:
        """The chain only: the sweep is made again when it is needed."""
        return {"chain": self.chain}


def solved_through(barrel: Barrel, around: Around) -> SolvedThrough:
    """Solve a length of barrel between entry and exit.

    Parameters
    ----------
    barrel : Barrel
        With ``end=None``.
    around : Around
        What stands around its hole; its return vias are known.

    Returns
    -------
    SolvedThrough
    """
    solved = solve(barrel)
    (path,), _ = return_paths(around, solved)
    return SolvedThrough(chain_of([Variant(solved, path, around.pitch)]))


def check_frequency(frequency: NDArray[np.float64], highest: float) -> None:
    """Refuse frequencies above the highest at which the solved model is valid.

    Parameters
    ----------
    frequency : ndarray
        [Hz].
    highest : float
        [Hz].

    Raises
    ------
    ValidityError
    """
    if np.max(frequency, initial=0.0) > highest:
        raise ValidityError(
            f"frequency = {show(np.max(frequency), 'frequency')}: above {show(highest, 'frequency')} the gap between "
            f"barrel and antipad is half a wave long, and the solved hole no longer holds."
        )
