"""Owns the electrical models of a table of stubs as one answer: notch and input of every variant of every case.

A case has one variant where all is known, several where an unknown is scanned: then its figures are ranges.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.provenance import Provenance


class Electrical(Protocol):
    """What answers for a stack of stubs: the uniform line, the solved chain."""

    def notch(self, order: int, index: NDArray[np.intp]) -> NDArray[np.float64]:
        """Notch of the stubs of these numbers [Hz]."""

    def highest(self) -> float:
        """Frequency up to which all of them hold [Hz]."""

    def input(
        self, index: NDArray[np.intp], frequency: NDArray[np.float64]
    ) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
        """Voltage and current (to a common factor) into the stubs of these numbers, each at its frequency [Hz]."""


@dataclass(frozen=True, kw_only=True)
class Models:
    """Models of a tuple of cases, in order.

    ``variants``: stacks of stubs; ``owner[i]``: case of each stub of ``variants[i]``. ``unknown``: per case what is
    missing for the notch ("" if nothing); such a case has no variant. ``unknown_loss``: likewise for the loss.
    """

    variants: tuple[Electrical, ...]
    owner: tuple[NDArray[np.intp], ...]
    provenance: tuple[Provenance, ...]
    unknown: tuple[str, ...]
    unknown_loss: tuple[str, ...]

    def notch(self, order: int = 1, cases: NDArray[np.bool_] | None = None) -> NDArray[np.float64]:
        """Lowest and highest notch of each case over its variants [Hz], shape (2, n_case); NaN where unknown.

        ``cases`` (n_case,): which are wanted, the others stay NaN; None: all.
        """
        low, high = self._empty(len(self.provenance))
        for stack, owner in zip(self.variants, self.owner, strict=True):
            index = np.arange(len(owner)) if cases is None else np.flatnonzero(cases[owner])
            if len(index):
                notch = stack.notch(order, index)
                np.fmin.at(low, owner[index], notch)
                np.fmax.at(high, owner[index], notch)
        return np.array([low, high])

    def spread(self, case: NDArray[np.intp], frequency: NDArray[np.float64], figures: Any) -> NDArray[np.float64]:
        """Lowest and highest of some figures over the variants of each case, shape (2, n_figure, n).

        ``figures(voltage, current, which)`` gives, shape (n_figure, m), what is wanted of the inputs of the uses
        ``which`` (numbers into ``case``) at their ``frequency`` [Hz]. NaN where unknown.
        """
        low, high = self._empty(len(case)), self._empty(len(case))
        for stack, owner in zip(self.variants, self.owner, strict=True):
            use, variant = _meeting(case, owner)
            if not len(use):
                continue
            for figure, values in enumerate(figures(*stack.input(variant, frequency[use]), use)):
                np.fmin.at(low[figure], use, values)
                np.fmax.at(high[figure], use, values)
        return np.array([low, high])

    @staticmethod
    def _empty(count: int) -> NDArray[np.float64]:
        return np.full((2, count), np.nan)


def _meeting(case: NDArray[np.intp], owner: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Every (use, variant) of the same case, for ``owner`` in rising order."""
    first = np.searchsorted(owner, case, "left")
    count = np.searchsorted(owner, case, "right") - first
    use = np.repeat(np.arange(len(case)), count)
    within = np.arange(len(use)) - np.repeat(np.cumsum(count) - count, count)
    return use, np.repeat(first, count) + within
