"""Owns the shares of the variance: first-order and total effect of every tolerance on every net and on the board."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.stats import sobol_indices

from stubsi.tolerance.draws import board_wide

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from stubsi.tolerance.draws import Floats
    from stubsi.tolerance.parts import Parts
    from stubsi.tolerance.study import Study
    from stubsi.tolerance.tally import Sampled

REPEATS = 4
"""Independent scramblings; how much they differ is the error of the shares."""
POINTS = 1024
"""Samples of each of them."""
FIRST_BLOCK = 1 << 33
"""Number of the first block of what every hole has for itself, apart from those of the yield."""


def variance_shares(study: Study, seed: int) -> tuple[Floats, Floats, Floats]:
    """First-order and total effects.

    Parameters
    ----------
    study : Study
    seed : int

    Returns
    -------
    first, total : ndarray, shape (factors, nets + 1)
        The board, by its smallest margin over limit, is last. NaN where a figure is not known or infinite.
    error : ndarray, shape (nets + 1,)
        Largest standard error of the shares of each net.
    """
    sampled = study.sampled(seed, POINTS)
    return over_repeats([_shares(sampled, seed, repeat) for repeat in range(REPEATS)])


def over_repeats(shares: Sequence[Floats]) -> tuple[Floats, Floats, Floats]:
    """Means of shares over independent scramblings, and their errors.

    Parameters
    ----------
    shares : sequence of ndarray, shape (2, factors, figures)

    Returns
    -------
    first, total : ndarray, shape (factors, figures)
    error : ndarray, shape (figures,)
    """
    repeats = np.array(shares)
    first, total = repeats.mean(axis=0)
    return first, total, (repeats.std(axis=0, ddof=1) / np.sqrt(len(repeats))).max(axis=(0, 1))


def _shares(sampled: Sampled, seed: int, repeat: int) -> Floats:
    """First-order and total effects by one scrambling; shape (2, factors, nets + 1)."""
    shared, factors = len(sampled.shared), len(sampled.shared) + len(sampled.own)
    both = board_wide((*sampled.shared, *sampled.shared), (seed, FIRST_BLOCK, repeat), POINTS)
    a, b = both[:, :shared], both[:, shared:]
    blocks = FIRST_BLOCK + 2 * repeat, FIRST_BLOCK + 2 * repeat + 1
    own = [blocks[0]] * len(sampled.own)
    f_a, f_b = _figures(sampled, a, own), _figures(sampled, b, [blocks[1]] * len(sampled.own))
    mixed = []
    for number in range(factors):
        t, holes = a.copy(), list(own)
        if number < shared:
            t[:, number] = b[:, number]
        else:
            holes[number - shared] = blocks[1]
        mixed.append(_figures(sampled, t, holes))
    return shares_of_samples(f_a, f_b, np.array(mixed))


def shares_of_samples(f_a: Floats, f_b: Floats, mixed: Floats) -> Floats:
    """First-order and total effects from logarithms of figures.

    Parameters
    ----------
    f_a, f_b : ndarray, shape (figures, samples)
        Of two independent sets of samples.
    mixed : ndarray, shape (factors, figures, samples)
        Of the first set with one factor of the second.

    Returns
    -------
    ndarray, shape (2, factors, figures)
        NaN where a figure is not finite on every sample, 0 where it does not vary.
    """
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        f_a, f_b, f_ab = (np.exp(each - f_a[:, :1]) for each in (f_a, f_b, mixed))
        found = sobol_indices(func={"f_A": f_a, "f_B": f_b, "f_AB": f_ab}, n=f_a.shape[1])
    by_figure = (len(f_a), len(mixed))  # scipy leaves out an axis of length 1
    shares = np.array([found.first_order.reshape(by_figure).T, found.total_order.reshape(by_figure).T])
    finite = np.isfinite(f_a).all(axis=1) & np.isfinite(f_b).all(axis=1) & np.isfinite(f_ab).all(axis=(0, 2))
    shares[:, :, ~finite] = np.nan  # scipy gives 0 there
    still = finite & (np.ptp(np.concatenate([f_a, f_b], axis=1), axis=1) <= 1e-12)
    shares[:, :, still] = 0.0
    return shares


def _figures(sampled: Sampled, t: Floats, blocks: list[int]) -> Floats:
    """Logarithms of the judged figure of every net, and of the smallest margin over limit of the board.

    Nets whose figure is infinite on every board are left out of that margin, which would be infinite, too.
    """
    nets = sampled.parts.nets
    figures = np.empty((nets + 1, len(t)))
    least = np.full(len(t), np.inf)
    for piece, parts, values in sampled.values(t, blocks):
        figures[piece] = parts.figure(values)
        margin = parts.over_parts(np.minimum, values - parts.limit[:, None])
        counted = sampled.counts[piece] & sampled.known[piece] & ~_hopeless(sampled, parts)
        least = np.minimum(least, margin[counted].min(axis=0, initial=np.inf))
    figures[nets] = least
    figures[:nets][~sampled.known] = np.nan
    return np.where(np.isfinite(figures), figures, np.nan)


def _hopeless(sampled: Sampled, parts: Parts) -> NDArray[np.bool_]:
    """Whether the figure of each net is infinite on every board."""
    infinite = np.isinf(sampled.surfaces.coefficients[0, parts.column])
    return np.asarray(parts.over_parts(np.logical_or, infinite[:, None])[:, 0], dtype=bool)
