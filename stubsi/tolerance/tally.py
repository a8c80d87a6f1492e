"""Owns the count over samples: how many boards meet each criterion, in blocks whose sums do not depend on their order.

Everything that is summed is a whole number. So the sum of the blocks is the same, bit for bit, in whatever order and in
how many processes they are counted.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.tolerance.draws import board_wide, of_holes
from stubsi.tolerance.response import BEYOND

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from stubsi.tolerance.draws import Floats, Law, Numbers
    from stubsi.tolerance.parts import Parts
    from stubsi.tolerance.response import Surfaces

    Counts = NDArray[np.int64]

LEAST_BLOCKS = 16
"""Independent scramblings of the sequence at least; how much they differ is the sampling error."""
LEAST_PER_BLOCK, MOST_PER_BLOCK = 512, 16_384
"""Samples of each of them."""
BINS = 1024
"""Bins of the histogram of each figure, from which its quantiles are read."""
CELLS = 1 << 20
"""About so many values of parts are worked on at once, which bounds the memory."""


class Plan(NamedTuple):
    """How many samples are drawn: in blocks of a fixed size that follow from their number alone."""

    blocks: int
    per_block: int

    @classmethod
    def of(cls, samples: int) -> Plan:
        """At least so many samples, in whole blocks."""
        share = max(1, -(-samples // LEAST_BLOCKS))
        per_block = min(MOST_PER_BLOCK, max(LEAST_PER_BLOCK, 1 << (share - 1).bit_length()))
        return cls(max(LEAST_BLOCKS, -(-samples // per_block)), per_block)

    @property
    def samples(self) -> int:
        """How many samples that makes."""
        return self.blocks * self.per_block


class Thickness(NamedTuple):
    """Thickness of a board as built, which is linear in the factors, and the bound on it [m]."""

    nominal: float
    slopes: Floats
    low: float
    high: float

    def keeps(self, t: Floats) -> NDArray[np.bool_]:
        """Whether boards keep the bound, to 1e-9; t has the shape (points, factors)."""
        built = self.nominal + t @ self.slopes
        return (built >= self.low * (1 - 1e-9)) & (built <= self.high * (1 + 1e-9))


class Narrowed(NamedTuple):
    """Tolerances that are narrower than those of a study: coordinates move towards those of the nominal values.

    Parameters
    ----------
    nominal : ndarray
        Coordinate of the nominal value of each factor.
    part : ndarray
        Part of its limits that is left.
    """

    nominal: Floats
    part: Floats

    def of(self, t: Floats, factor: slice | int) -> Floats:
        """Coordinates of some factors."""
        return np.asarray(self.nominal[factor] + self.part[factor] * (t - self.nominal[factor]))


class Sampled(NamedTuple):
    """All that is needed to draw and count samples; it can be sent to another process.

    Parameters
    ----------
    surfaces : Surfaces
    parts : Parts
    shared, own : tuple of (distribution, sigma)
        Of the factors that all the board shares, and of those that every hole has for itself.
    thickness : Thickness or None
        None: no board is screened out.
    known, counts : ndarray of bool
        Which nets are known, and which count for the board because they are not waived.
    seed : int
    per_block : int
    """

    surfaces: Surfaces
    parts: Parts
    shared: tuple[Law, ...]
    own: tuple[Law, ...]
    thickness: Thickness | None
    known: NDArray[np.bool_]
    counts: NDArray[np.bool_]
    seed: int
    per_block: int

    def points(self, block: int, change: Narrowed | None = None) -> Floats:
        """Coordinates of the factors of the board at the samples of a block, without those that are screened out."""
        t = board_wide(self.shared, (self.seed, block), self.per_block)
        if change is not None:
            t = change.of(t, slice(0, len(self.shared)))
        return t if self.thickness is None else t[self.thickness.keeps(t)]

    def pieces(self) -> list[tuple[int, int]]:
        """First and last net, excluded, of pieces of the board that fit into memory."""
        most = max(1, CELLS // self.per_block)
        begin = np.append(self.parts.start, len(self.parts.column))
        pieces, first = [], 0
        while first < self.parts.nets:
            last = int(np.searchsorted(begin, begin[first] + most, side="right")) - 1
            last = min(max(last, first + 1), self.parts.nets)
            pieces.append((first, last))
            first = last
        return pieces

    def values(
        self, t: Floats, blocks: Sequence[int], change: Narrowed | None = None
    ) -> Iterator[tuple[slice, Parts, Floats]]:
        """Sign times logarithm of the figure of every part, a piece of the board at a time.

        Parameters
        ----------
        t : ndarray, shape (samples, factors of the board)
        blocks : sequence of int
            Number of the block, for each factor that every hole has for itself.
        change : Narrowed, optional

        Yields
        ------
        nets : slice
        parts : Parts
            Of these nets.
        values : ndarray, shape (parts, samples)
        """
        for first, last in self.pieces():
            parts = self.parts.of_nets(first, last)
            holes, which = np.unique(parts.hole, return_inverse=True)
            each_once = np.array_equal(holes, parts.hole)
            own = []
            for number, (law, block) in enumerate(zip(self.own, blocks, strict=True)):
                drawn = of_holes(law, (self.seed, block), number, holes, len(t))
                if change is not None:
                    drawn = change.of(drawn, len(self.shared) + number)
                own.append(drawn if each_once else drawn[which])
            values = self.surfaces.at(parts.column, t, own)
            if (parts.sign < 0).any():
                values *= parts.sign[:, None]
            yield slice(first, last), parts, values

    def slack(self, parts: Parts) -> Floats:
        """How far off the surface of each part may be."""
        return np.nan_to_num(BEYOND * self.surfaces.error[parts.column])


class Tally(NamedTuple):
    """What was counted over some blocks; ``plus`` adds two of them. The last net of a row is the whole board.

    Parameters
    ----------
    blocks, kept, kept_squares : int
        Blocks, samples that are not screened out, and the squares of these over the blocks.
    met, met_squares, met_kept : ndarray of int, shape (3, nets + 1)
        Samples that meet the criterion: as computed, with the surfaces off to the worse, and to the better side; their
        squares over the blocks, and their products with the samples kept.
    histogram : ndarray of int, shape (nets, bins + 2)
        The first and the last bin hold what lies beyond the others.
    """

    blocks: int
    kept: int
    kept_squares: int
    met: Counts
    met_squares: Counts
    met_kept: Counts
    histogram: Counts

    def plus(self, other: Tally) -> Tally:
        """Sum of two counts."""
        return Tally(
            self.blocks + other.blocks, self.kept + other.kept, self.kept_squares + other.kept_squares,
            self.met + other.met, self.met_squares + other.met_squares, self.met_kept + other.met_kept,
            self.histogram + other.histogram,
        )  # fmt: skip

    def shares(self) -> tuple[Floats, Floats]:
        """Share of the samples kept that meet each criterion, and its standard error; shape (3, nets + 1).

        The error is that of a ratio of sums over independent blocks.
        """
        share = self.met / self.kept
        squares = self.met_squares - 2 * share * self.met_kept + share**2 * self.kept_squares
        error = np.sqrt(np.maximum(squares, 0) * self.blocks / max(self.blocks - 1, 1)) / self.kept
        return share, error


class Ranges(NamedTuple):
    """Lower end and width of the histogram of every net."""

    low: Floats
    width: Floats

    def quantiles(self, histogram: Counts, shares: tuple[float, ...]) -> Floats:
        """Values below which given shares lie, linear inside a bin; shape (shares, nets)."""
        below = np.concatenate([np.zeros((len(histogram), 1)), np.cumsum(histogram, axis=1)], axis=1)
        found = np.empty((len(shares), len(histogram)))
        for net, counts in enumerate(below):
            edges = self.low[net] + self.width[net] * np.arange(-1, BINS + 2) / BINS
            edges[0], edges[-1] = -np.inf, np.inf
            for row, share in enumerate(shares):
                rank = share * counts[-1]
                bin_ = min(int(np.searchsorted(counts, rank, side="right")) - 1, BINS + 1)
                part = (rank - counts[bin_]) / max(counts[bin_ + 1] - counts[bin_], 1)
                low, high = edges[bin_], edges[bin_ + 1]
                found[row, net] = low + part * (high - low) if np.isfinite(high - low) else (low if bin_ == 0 else high)
        return found


def ranges_of(sampled: Sampled) -> Ranges:
    """Ranges of the histograms, from the first block with room on both sides."""
    low, high = np.zeros(sampled.parts.nets), np.zeros(sampled.parts.nets)
    for nets, parts, values in sampled.values(sampled.points(0), [0] * len(sampled.own)):
        figure = parts.figure(values)
        finite = np.isfinite(figure)
        low[nets] = np.where(finite, figure, np.inf).min(axis=1, initial=np.inf)
        high[nets] = np.where(finite, figure, -np.inf).max(axis=1, initial=-np.inf)
    some = low <= high
    low, high = np.where(some, low, 0.0), np.where(some, high, 0.0)
    room = (high - low) / 2 + 1e-9
    return Ranges(low - room, high - low + 2 * room)


def counted(task: tuple[Sampled, Ranges, range]) -> Tally:
    """Count the samples of some blocks.

    Parameters
    ----------
    task : (Sampled, Ranges, range)
        The range is that of the numbers of the blocks.

    Returns
    -------
    Tally
    """
    sampled, ranges, blocks = task
    nets = sampled.parts.nets
    met_sum, squares, products = np.zeros((3, 3, nets + 1), dtype=np.int64)
    histogram = np.zeros((nets, BINS + 2), dtype=np.int64)
    kept_sum = kept_squares = 0
    for block in blocks:
        t = sampled.points(block)
        kept = len(t)
        met = np.zeros((3, nets + 1), dtype=np.int64)
        together = np.ones((3, kept), dtype=bool)
        for piece, parts, values in sampled.values(t, [block] * len(sampled.own)):
            slack = sampled.slack(parts)
            for end, error in enumerate((None, slack, -slack)):
                meets = parts.met(values, error)
                met[end, piece] = meets.sum(axis=1)
                meets[~sampled.known[piece]] = end != 1
                together[end] &= meets[sampled.counts[piece]].all(axis=0)
            _add(histogram[piece], parts.figure(values), ranges.low[piece], ranges.width[piece])
        met[:, nets] = together.sum(axis=1)
        met_sum += met
        squares += met**2
        products += met * kept
        kept_sum, kept_squares = kept_sum + kept, kept_squares + kept**2
    return Tally(len(blocks), kept_sum, kept_squares, met_sum, squares, products, histogram)


def _add(histogram: Counts, figure: Floats, low: Floats, width: Floats) -> None:
    """Sort the figures of nets into their histograms."""
    with np.errstate(invalid="ignore"):
        place = (figure - low[:, None]) * (BINS / width)[:, None]
    place = np.clip(np.nan_to_num(place, nan=-1.0, posinf=BINS, neginf=-1.0), -1, BINS)
    row_of = (BINS + 2) * np.arange(len(figure))[:, None]
    number: Numbers = np.floor(place).astype(np.intp) + 1 + row_of
    histogram += np.bincount(number.ravel(), minlength=histogram.size).reshape(histogram.shape)
