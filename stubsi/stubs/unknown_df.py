"""Owns what a loss tangent that nobody stated may add to the losses of a stub, which is solved as lossless."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stubsi.board.layers import DielectricLayer

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.board.stackup import Stackup

MOST_DF = 0.03
"""Largest loss tangent that an unknown one may have [-]: FR-4 has 0.02 to 0.03; common practice, no source."""
RISE = 1.5
"""How much faster than in proportion to frequency the susceptance of a stub rises, at most, where its loss matters [-].
An open line has 2x / sin 2x at x of its electrical length: 1.57 at half the notch. Seen in 99 stubs of boards drawn at
random: 1.15 at 0.6 of the notch."""
ONE_DB_LOWER = 0.915
"""1 dB frequency with that loss tangent over that without [-], at least: b of ``with_dielectric_loss`` where both reach
1 dB, in proportion to frequency. Seen in the same stubs: 0.946 to 0.970; 0.92 in a hole with two stubs."""


def has_unknown_df(stackup: Stackup) -> bool:
    """Whether the loss tangent of a dielectric of a stackup is unknown.

    Parameters
    ----------
    stackup : Stackup

    Returns
    -------
    bool
    """
    return any(isinstance(layer, DielectricLayer) and layer.df is None for layer in stackup.layers)


def with_dielectric_loss(loss: NDArray[np.float64]) -> NDArray[np.float64]:
    r"""Loss of a stub in shunt with the largest loss tangent that an unknown one may have.

    .. math:: L' = 10 \log_{10}\left((1 + g)^2 + b^2\right), \qquad g = 1.5 \tan\delta\, b, \qquad
              b = \sqrt{10^{L/10} - 1}

    Parameters
    ----------
    loss : ndarray
        L [dB], of the lossless stub.

    Returns
    -------
    ndarray
        L' [dB].

    Notes
    -----
    A lossless stub of susceptance B has b = Z0 B / 2. The loss tangent adds the conductance g to it, in the same unit:
    tan(delta) times the slope of B over the logarithm of the frequency.
    """
    b = np.sqrt(np.maximum(10 ** (np.asarray(loss) / 10) - 1, 0.0))
    return np.asarray(10 * np.log10((1 + RISE * MOST_DF * b) ** 2 + b**2))
