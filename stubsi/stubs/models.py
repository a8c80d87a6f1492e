"""Owns the electrical models of the cases of a stub table together: notch and input of every variant of every case.

A case has one variant if all its inputs are known. If an unknown input is scanned, it has several variants, and its
figures are ranges.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple, Protocol

import numpy as np

from stubsi.read_only import read_only

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from stubsi.physics.power_curve import Inputs
    from stubsi.provenance import Provenance

    Floats = NDArray[np.float64]
    Numbers = NDArray[np.intp]
    FiguresOfUses = Callable[["Electrical", Numbers, Numbers, Floats], tuple[Floats, Floats]]
    """Function that gives two figures of some uses, from the model, the numbers of its stubs, those of the uses, and
    the multiple of the computed notch of each stub below which the true one is not expected."""


class FirstNotches(NamedTuple):
    """First notch of some stubs, each of shape (n,).

    ``low`` and ``high`` [Hz]: equal where there is a notch. Otherwise the frequency below which there is none, and
    infinity. ``nearly`` [Hz]: lowest frequency of a minimum of S21 that is a notch or nearly one, at most ``low``.
    """

    low: NDArray[np.float64]
    high: NDArray[np.float64]
    nearly: NDArray[np.float64]


class Electrical(Protocol):
    """The electrical model of several stubs, numbered from 0: uniform lines, or solved chains."""

    def first_notch(self, index: NDArray[np.intp]) -> FirstNotches:
        """First notch of the stubs of these numbers."""

    def notch(self, order: int, index: NDArray[np.intp]) -> NDArray[np.float64]:
        """Notch of an odd order of the stubs of these numbers [Hz]; of the first order only where there is one."""

    def nearest_notch(self, index: NDArray[np.intp], frequency: NDArray[np.float64]) -> NDArray[np.float64] | None:
        """Notch nearest to each frequency [Hz] by ratio, of any order; None if the orders must be tried one by one."""

    def highest(self) -> float:
        """Highest frequency [Hz] at which the model is valid for all of the stubs."""

    def input(
        self, index: NDArray[np.intp], frequency: NDArray[np.float64]
    ) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
        """Voltage and current (to a common factor) into the stubs of these numbers, each at its frequency [Hz]."""

    def inputs(self, index: NDArray[np.intp]) -> Inputs:
        """Voltage and current into the stubs of these numbers, as ``power_curve`` takes them."""

    def one_db(
        self, index: NDArray[np.intp], z0: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """1 dB frequency [Hz] of the stubs of these numbers in lines of these impedances [ohm], twice.

        Where the model is no longer valid before 1 dB is reached: the highest valid frequency, and infinity.
        """

    def in_band(
        self, index: NDArray[np.intp], frequency: NDArray[np.float64], z0: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Least return loss and greatest loss [dB] of the stubs of these numbers, each from 0 up to its frequency."""


HIGHEST_ORDER = 199
"""Highest order of a notch in the search for the one nearest to a frequency. Beyond it, neighbouring notches lie within
1 % of each other."""


@dataclass(frozen=True, kw_only=True)
class Models:
    """Models of a tuple of cases, in order.

    Parameters
    ----------
    variants : tuple of Electrical
        The models of the variants: one object for many stubs.
    owner : tuple of ndarray of int
        ``owner[i]``: case of each stub of ``variants[i]``, in rising order.
    below : tuple of ndarray
        Multiple of the computed first notch of each stub of ``variants[i]`` below which the true one is not expected.
    model_below : tuple of ndarray
        The same by the error alone that the model declares against full wave.
    provenance : tuple of Provenance
        Where the figures of each case come from.
    unknown : tuple of str or None
        What is missing for the notch of each case, None if nothing. A case with something missing has no variant.
    unknown_loss : tuple of str or None
        What is missing for the loss of each case, None if nothing.
    shorter : Shorter, optional
        Shorter stubs that some of the cases must not be judged better than.
    """

    variants: tuple[Electrical, ...]
    owner: tuple[NDArray[np.intp], ...]
    below: tuple[NDArray[np.float64], ...]
    model_below: tuple[NDArray[np.float64], ...]
    provenance: tuple[Provenance, ...]
    unknown: tuple[str | None, ...]
    unknown_loss: tuple[str | None, ...]
    shorter: Shorter | None = None

    def notch(self, order: int = 1, cases: NDArray[np.bool_] | None = None) -> NDArray[np.float64]:
        """Lowest and highest notch of each case over its variants.

        Parameters
        ----------
        order : int
            1, 3, 5 ...
        cases : ndarray of bool, shape (n_case,), optional
            Which cases are wanted, the others stay NaN; all unless given.

        Returns
        -------
        ndarray, shape (2, n_case)
            [Hz]; NaN where it is unknown.
        """
        if order == 1 and cases is None:
            return self.first_notch
        low, high = np.full((2, len(self.provenance)), np.nan)
        for stack, owner in zip(self.variants, self.owner, strict=True):
            index = np.arange(len(owner)) if cases is None else np.flatnonzero(cases[owner])
            if len(index):
                notch = stack.notch(order, index)
                np.fmin.at(low, owner[index], notch)
                np.fmax.at(high, owner[index], notch)
        return np.array([low, high])

    @cached_property
    def first_notch(self) -> NDArray[np.float64]:
        """Lowest and highest first notch of each case [Hz], shape (2, n_case).

        Where no notch is found as far up as a model holds: the frequency below which there is none, and infinity.
        """
        low, high = np.full((2, len(self.provenance)), np.nan)
        for stack, owner in zip(self.variants, self.owner, strict=True):
            found = stack.first_notch(np.arange(len(owner)))
            np.fmin.at(low, owner, found.low)
            np.fmax.at(high, owner, found.high)
        return read_only(np.array([low, high]))

    @cached_property
    def least_notch(self) -> NDArray[np.float64]:
        """Frequency below which no notch of each case is expected, nor a dip that is nearly one [Hz], (n_case,)."""
        nearly = [np.nan if each.nearly_notch is None else each.nearly_notch for each in self.provenance]
        least = np.array(nearly, dtype=float)
        for stack, owner, below in zip(self.variants, self.owner, self.below, strict=True):
            np.fmin.at(least, owner, below * stack.first_notch(np.arange(len(owner))).low)
        return read_only(least)

    @cached_property
    def least_below(self) -> NDArray[np.float64]:
        """Least of the multiples ``below`` over the variants of each case, (n_case,); NaN without variant."""
        least = np.full(len(self.provenance), np.nan)
        for owner, below in zip(self.owner, self.below, strict=True):
            np.fmin.at(least, owner, below)
        return read_only(least)

    @cached_property
    def notch_bounds(self) -> NDArray[np.float64]:
        """Multiples of the computed notch between which the true one is expected, shape (2, n_case)."""
        return read_only(np.array([(each.low, each.high) for each in self.provenance]).reshape(-1, 2).T)

    @cached_property
    def by_model_error(self) -> Models:
        """The same models, whose outer bounds are those that the model declares against full wave."""
        shorter = self.shorter
        return replace(
            self,
            below=self.model_below,
            provenance=tuple([each.of_model for each in self.provenance]),
            shorter=None if shorter is None else shorter._replace(models=shorter.models.by_model_error),
        )

    @cached_property
    def unknown_df(self) -> NDArray[np.bool_]:
        """Whether a loss tangent of each case is unknown and counts as lossless, (n_case,)."""
        return read_only(np.array([each.unknown_df for each in self.provenance], dtype=bool))

    def nearness(self, case: NDArray[np.intp], frequency: NDArray[np.float64]) -> NDArray[np.float64]:
        """How near a notch of any order comes to a frequency.

        Parameters
        ----------
        case : ndarray of int, shape (n,)
        frequency : ndarray, shape (n,)
            [Hz].

        Returns
        -------
        ndarray, shape (n,)
            Least abs(log(notch / frequency)) over the odd orders; infinite where the notch is unknown.
        """
        nearest = _distance(self.first_notch[0][case], frequency)
        below = np.flatnonzero(self.first_notch[0][case] < frequency)
        for stack, owner in zip(self.variants, self.owner, strict=True):
            use, variant = _uses_with_variants(case[below], owner)
            notch = stack.nearest_notch(variant, frequency[below[use]]) if len(use) else None
            if notch is not None:
                np.fmin.at(nearest, below[use], _distance(notch, frequency[below[use]]))
                below = np.delete(below, use)
        nearest[below] = np.fmin(nearest[below], self._nearness_by_order(case[below], frequency[below]))
        return np.where(np.isnan(nearest), np.inf, nearest)

    def _nearness_by_order(self, case: NDArray[np.intp], frequency: NDArray[np.float64]) -> NDArray[np.float64]:
        """Nearness to the notches from the third order on, up to the first that is not below the frequency.

        Notches of very high orders lie so close that one is always near: nearness 0.
        """
        nearest = np.full(len(case), np.inf)
        below = np.ones(len(case), dtype=bool)
        order = 3
        while below.any() and order <= HIGHEST_ORDER:
            wanted = np.zeros(len(self.provenance), dtype=bool)
            wanted[case[below]] = True
            notch = self.notch(order, wanted)[0][case]
            nearest = np.fmin(nearest, _distance(notch, frequency))
            below &= notch < frequency
            order += 2
        nearest[below] = 0.0
        return nearest

    def spread(self, case: Numbers, figures: FiguresOfUses) -> Floats:
        """Lowest and highest of two figures over the variants of each case.

        Parameters
        ----------
        case : ndarray of int, shape (n,)
            The case of each use.
        figures : callable
            ``figures(model, index, which, below)`` gives two figures, each of shape (m,), of the stubs ``index`` of a
            model, for the uses ``which`` (numbers into ``case``). ``below``: of these stubs, as in ``Models``.

        Returns
        -------
        ndarray, shape (2, 2, n)
            Lowest and highest of each figure; NaN where unknown.
        """
        low, high = np.full((2, 2, len(case)), np.nan)
        for stack, owner, below in zip(self.variants, self.owner, self.below, strict=True):
            use, variant = _uses_with_variants(case, owner)
            if not len(use):
                continue
            for figure, values in enumerate(figures(stack, variant, use, below[variant])):
                np.fmin.at(low[figure], use, values)
                np.fmax.at(high[figure], use, values)
        return np.array([low, high])


class Shorter(NamedTuple):
    """Shorter stubs whose figures count for longer ones as well, since no longer stub is better.

    ``models``: those of the shorter stubs. Each pair of a case ``longer`` and the number ``of`` its shorter stub, both
    of shape (n,), says what counts for which; ``longer`` rises.
    """

    models: Models
    longer: NDArray[np.intp]
    of: NDArray[np.intp]

    def counting(self, case: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Every pair (use, shorter stub that counts for it). ``case``: that of each use."""
        use, pair = _uses_with_variants(case, self.longer)
        return use, self.of[pair]


def _distance(notch: NDArray[np.float64], frequency: NDArray[np.float64]) -> NDArray[np.float64]:
    """How far a notch is from a frequency on a logarithmic scale."""
    return np.abs(np.log(notch / frequency))


def _uses_with_variants(case: NDArray[np.intp], owner: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Every pair (use, variant) that belongs to one case. ``owner``: case of each variant, in rising order."""
    first = np.searchsorted(owner, case, "left")
    count = np.searchsorted(owner, case, "right") - first
    use = np.repeat(np.arange(len(case)), count)
    within = np.arange(len(use)) - np.repeat(np.cumsum(count) - count, count)
    return use, np.repeat(first, count) + within
