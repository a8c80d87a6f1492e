"""Owns the four values of a figure, from worst to best, for many nets or stubs at once."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


class Spread(NamedTuple):
    """A figure per net: outer bounds with the model's uncertainty, and the computed range between."""

    worst: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    best: NDArray[np.float64]
