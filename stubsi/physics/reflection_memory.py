"""Owns the memory of reflections: what return posts send back to a barrel, as polynomials of the wavenumber."""

from __future__ import annotations

from functools import cache
from threading import Lock
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from stubsi.physics.chebyshev import NODES, coefficients, died_out, node_places, polynomial_values
from stubsi.physics.multipole import reflection

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from stubsi.physics.arrays import BoolArray, ComplexArray, FloatArray, IndexArray
    from stubsi.physics.multipole import Conductors

    Posts = tuple[IndexArray, Conductors]

FINEST = 1 / 32
"""Width of the shortest intervals [octaves of wavenumber]; sharper resonances are evaluated as they are."""
LOWEST, BINS = -6.0, 768
"""Lowest wavenumber remembered, log2 of 1/m, and number of the shortest intervals from there up: to 2**18 / m."""
LONGEST = 7
"""The longest interval is 2**LONGEST of the shortest, 4 octaves; a whole number of them makes up all."""
TURN = 2.0
"""Largest turn of phase [rad] over the extent of a pattern within the first interval tried."""
CONVERGED = 2e-11
"""Size of the last coefficients, relative to the largest reflection on the interval, that counts as died out."""
PAYS = 6
"""Wavenumbers asked for on an interval from which it gets its polynomial; a plan asks again, so fewer than nodes."""
STRIP, STRIPS = 0.005, 3
"""Width [rad] and number of the strips of -arg k that are remembered apart: loss tangents up to 0.03."""
MOST_PATTERNS, MOST_INTERVALS = 4096, 100_000
"""Patterns (each strip by itself) and polynomials remembered before all are forgotten: some 70 MB."""


class _Places(NamedTuple):
    """Where wavenumbers stand among the intervals, each (n_row, n_wave).

    ``octave``: log2 of the wavenumber, complex, from the ray of its nodes. ``number``: of the shortest interval,
    counted through all patterns; 0 where not ``known``.
    """

    octave: ComplexArray
    number: IndexArray
    known: BoolArray


class ReflectionMemory:
    """Reflections by return conductors, evaluated at few wavenumbers of each pattern and answered at many.

    Parameters
    ----------
    most_patterns, most_intervals : int
        When so many patterns of conductors or polynomials are kept, all are forgotten.

    Notes
    -----
    The reflection of one pattern is an analytic function of the wavenumber alone. It becomes Chebyshev polynomials in
    the logarithm of the wavenumber, with nodes on a ray arg k = const in the middle of a strip of loss tangents. An
    interval gets its polynomial once ``PAYS`` wavenumbers have been asked for on it, so that a pattern asked for a few
    times costs what it did. It is halved while the last coefficients have not died out. The reflection is evaluated
    as it is where the shortest interval is too long, the loss too high or the wave growing (a complex frequency). The
    error is below 1e-9 of the largest reflection nearby.
    """

    def __init__(self, most_patterns: int = MOST_PATTERNS, most_intervals: int = MOST_INTERVALS) -> None:
        self._most_patterns, self._most_intervals = most_patterns, most_intervals
        self._lock = Lock()
        self._forget()

    def _forget(self) -> None:
        """Begin with no pattern."""
        self._patterns: dict[tuple[bytes, int], int] = {}
        self._strip = _Rows(np.zeros(0, dtype=np.intp))
        # Of every shortest interval: the polynomial that answers (-1: none), the length of the interval to be tried
        # next (2**level of the shortest; -1: none), and how often that was asked for, at its first.
        self._polynomial = _Rows(np.zeros((0, BINS), dtype=np.int32))
        self._level = _Rows(np.zeros((0, BINS), dtype=np.int8))
        self._asked = _Rows(np.zeros((0, BINS), dtype=np.int32))
        # Of every polynomial: its coefficients, and middle + j half the width of its interval [octaves].
        self._terms = _Rows(np.zeros((0, NODES + 1), dtype=complex))

    def __call__(self, k: ComplexArray, posts: Sequence[Posts]) -> ComplexArray:
        """Reflections as of ``multipole.reflection``.

        Parameters
        ----------
        k : complex ndarray, shape (n, n_wave)
            Wavenumbers [1/m] of each barrel; not zero.
        posts : sequence of (ndarray of int, Conductors)
            Barrels that scatter, by number, and what they scatter off.

        Returns
        -------
        complex ndarray, shape (n, n_wave)
            rho [-]; 0 for the other barrels.
        """
        answer = np.zeros_like(k)
        if not posts or not k.size:
            return answer
        rows = np.concatenate([rows for rows, _ in posts])
        waves = k[rows]
        with self._lock:
            values, exact = self._remembered(waves, posts)
        if exact.any():
            for part, conductors in _parts(posts):
                _fill(values[part], exact[part], waves[part], conductors)
        answer[rows] = values
        return answer

    def _remembered(self, waves: ComplexArray, posts: Sequence[Posts]) -> tuple[ComplexArray, BoolArray]:
        """Reflections where a polynomial answers, and where none does."""
        try:
            places = self._places(waves, posts)
            self._learn(places, posts)
        except BaseException:  # interrupted half-way
            self._forget()
            raise
        return self._evaluated(places)

    def _places(self, waves: ComplexArray, posts: Sequence[Posts]) -> _Places:
        """Where the wavenumbers stand among the intervals of their patterns."""
        slope = -np.angle(waves)
        strip = np.floor(slope / STRIP).astype(np.intp)
        octave = np.log2(np.abs(waves)) + 1j / np.log(2) * (_slope_of_nodes(strip) - slope)
        place = np.floor((octave.real - LOWEST) / FINEST).astype(np.intp)
        known = (strip >= 0) & (strip < STRIPS) & (place >= 0) & (place < BINS)
        row = np.nonzero(known)[0]
        number = np.zeros(waves.shape, dtype=np.intp)
        number[known] = self._pattern_numbers(row, strip[known], posts) * BINS + place[known]
        return _Places(octave, number, known)

    def _pattern_numbers(self, row: IndexArray, strip: IndexArray, posts: Sequence[Posts]) -> IndexArray:
        """Find the numbers of the patterns of barrels ``row``, new ones where they have none."""
        asked = row * STRIPS + strip
        is_asked = np.zeros(int(asked.max(initial=-1)) + 1, dtype=bool)
        is_asked[asked] = True
        pairs, place = np.flatnonzero(is_asked), np.cumsum(is_asked) - 1
        if len(self._patterns) + len(pairs) > self._most_patterns or len(self._terms) > self._most_intervals:
            self._forget()
        keys = [key for _, conductors in posts for key in conductors.keys]
        known = len(self._patterns)
        numbers = [
            self._patterns.setdefault((keys[each // STRIPS], each % STRIPS), len(self._patterns))
            for each in pairs.tolist()
        ]
        first_asked = dict(zip(reversed(numbers), reversed(pairs.tolist()), strict=True))
        new = [first_asked[number] for number in range(known, len(self._patterns))]
        if new:
            extent = np.concatenate([conductors.extent for _, conductors in posts])
            added, strips = np.divmod(np.array(new), STRIPS)
            self._strip.add(strips)
            sizes = np.ceil(4 * np.log2(extent[added])).astype(int).tolist()
            self._level.add(np.stack([_first_levels(size) for size in sizes]))
            self._asked.add(np.zeros((len(new), BINS)))
            self._polynomial.add(np.full((len(new), BINS), -1))
        return np.asarray(np.array(numbers, dtype=np.intp)[place[asked]], dtype=np.intp)

    def _learn(self, places: _Places, posts: Sequence[Posts]) -> None:
        """Find the polynomials that pay."""
        row, wave = np.nonzero(places.known)
        number = places.number[row, wave]
        while number.size:
            level = self._level.flat[number]
            unsettled = (self._polynomial.flat[number] < 0) & (level >= 0)
            row, number, level = row[unsettled], number[unsettled], level[unsettled]
            first = number >> level << level
            np.add.at(self._asked.flat, first, 1)
            pays = self._asked.flat[first] >= PAYS
            row, number = row[pays], number[pays]
            if number.size:
                ripe, where = np.unique(first[pays], return_index=True)
                self._settle(ripe, row[where], posts)

    def _settle(self, first: IndexArray, row: IndexArray, posts: Sequence[Posts]) -> None:
        """Give intervals their polynomials, or halve them; ``row``: a barrel of each."""
        size = np.left_shift(1, self._level.flat[first], dtype=np.intp)
        half = FINEST * size / 2
        middle = LOWEST + FINEST * (first % BINS) + half
        octave = middle[:, None] + half[:, None] * node_places()
        slope = _slope_of_nodes(self._strip.rows[first // BINS])
        values = _at_nodes(np.exp2(octave) * np.exp(-1j * slope)[:, None], row, posts)
        terms = coefficients(values)
        number = len(self._terms)
        good = died_out(values, terms, CONVERGED, STRIP / 2 / np.log(2) / half)
        self._terms.add(np.column_stack([terms, middle + 1j * half])[good])
        for start, width, settled in zip(first.tolist(), size.tolist(), good.tolist(), strict=True):
            part = slice(start, start + width)
            if settled:
                self._polynomial.flat[part] = number
                number += 1
            else:
                self._level.flat[part] -= 1
                self._asked.flat[part] = 0

    def _evaluated(self, places: _Places) -> tuple[ComplexArray, BoolArray]:
        """Reflections where a polynomial answers, and where none does."""
        polynomial = np.full(places.known.shape, -1)
        polynomial[places.known] = self._polynomial.flat[places.number[places.known]]
        answered = polynomial >= 0
        terms = self._terms.rows[polynomial[answered]]
        interval = terms[:, NODES]
        powers = polynomial_values((places.octave[answered] - interval.real) / interval.imag)
        values = np.empty(answered.shape, dtype=complex)
        values[answered] = np.einsum("ij,ji->i", terms[:, :NODES], powers)
        return values, ~answered


class _Rows:
    """Rows of numbers, more of which can be added; ``flat``: all of them, one row after the other."""

    def __init__(self, none: NDArray[Any]) -> None:
        self._room, self._count = none, 0

    def __len__(self) -> int:
        return self._count

    @property
    def rows(self) -> NDArray[Any]:
        return self._room[: self._count]

    @property
    def flat(self) -> NDArray[Any]:
        return self.rows.reshape(-1)

    def add(self, rows: NDArray[Any]) -> None:
        total = self._count + len(rows)
        if total > len(self._room):
            room = np.empty((2 * total, *rows.shape[1:]), dtype=self._room.dtype)
            room[: self._count] = self.rows
            self._room = room
        self._room[self._count : total] = rows
        self._count = total


def _parts(posts: Sequence[Posts]) -> Iterator[tuple[slice, Conductors]]:
    """Conductors with the slice of all their barrels, one after the other."""
    start = 0
    for rows, conductors in posts:
        yield slice(start, start + len(rows)), conductors
        start += len(rows)


def _slope_of_nodes(strip: IndexArray) -> FloatArray:
    """-arg k of the ray in the middle of a strip [rad]."""
    return np.asarray(STRIP * (strip + 0.5), dtype=float)


@cache
def _first_levels(size: int) -> IndexArray:
    """Level of the first interval to be tried at each of the shortest, (BINS,), for an extent of 2**(size/4) m.

    The longest over which the phase along the extent turns by no more than ``TURN``.
    """
    levels = np.zeros(BINS, dtype=np.intp)
    for level in range(1, LONGEST + 1):
        high = np.exp2(LOWEST + FINEST * (np.arange(BINS) // 2**level + 1) * 2**level)
        levels[high * (1 - np.exp2(-FINEST * 2**level)) * np.exp2(size / 4) <= TURN] = level
    return levels


def _at_nodes(k: ComplexArray, row: IndexArray, posts: Sequence[Posts]) -> ComplexArray:
    """Reflections at the nodes (n, NODES) of barrels ``row``."""
    values = np.empty_like(k)
    for part, conductors in _parts(posts):
        chosen = np.flatnonzero((row >= part.start) & (row < part.stop))
        if chosen.size:
            values[chosen] = reflection(k[chosen], conductors.only(row[chosen] - part.start))
    return values


def _fill(values: ComplexArray, exact: BoolArray, waves: ComplexArray, conductors: Conductors) -> None:
    """Evaluate the reflections of some wavenumbers (``exact``) as they are, in place."""
    rows = np.flatnonzero(exact.any(axis=1))
    if not rows.size:
        return
    if rows.size < len(waves):
        conductors, exact = conductors.only(rows), exact[rows]
    # The wavenumbers to evaluate first in each row; rows with fewer of them evaluate some others besides.
    count = int(exact.sum(axis=1).max())
    order = np.argsort(~exact, axis=1, kind="stable")[:, :count]
    place = rows[:, None], order
    values[place] = np.where(
        np.take_along_axis(exact, order, axis=1), reflection(waves[place], conductors), values[place]
    )
