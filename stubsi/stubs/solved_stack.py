"""Owns solved stubs with their return paths as a stack: first notches, 1 dB frequencies, losses, and their input."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.memory import Memory
from stubsi.physics.chain import Chain
from stubsi.physics.loss_curve import FROM, least_power, one_db_estimate, one_db_frequency
from stubsi.physics.notch import first_notch
from stubsi.physics.power_curve import chain_inputs, not_reflected_curve, power_curve, remembered
from stubsi.physics.reactance import HIGHEST_RATIO, notch, quasi_static
from stubsi.physics.sweep import InputSweep
from stubsi.physics.uniform_line import decibels
from stubsi.stubs.models import FirstNotches

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from stubsi.physics.power_curve import Inputs
    from stubsi.physics.return_path import Posts
    from stubsi.physics.solved_barrel import SolvedBarrel

CAVITY_BELOW, BLURRED_BELOW = 0.8, 0.97
"""First notch over the frequency at which the stub's reactance vanishes [-]. Below the first value the notch is a
resonance with the return vias, if there are any; below the second it is blurred."""
REMEMBERED = 10_000
"""How many first notches, and how many 1 dB frequencies, are remembered; of the figures up to a frequency, which are
asked for at three ends, three times as many."""


class NotchNote(StrEnum):
    """Why a first notch is no sharp notch of the stub itself. Each is also the text that is shown."""

    CAVITY = "the first notch is a resonance with the return vias, below the stub's own"
    BLURRED = "blurred notch, at the minimum of S21: part of the power leaves between the planes"


class Variant(NamedTuple):
    """A solved stub with one return path.

    Parameters
    ----------
    solved : SolvedBarrel
        The stub.
    path : Posts
        What its current returns through.
    pitch : float or None
        Of the pair it is a leg of [m]; None: it is single.
    """

    solved: SolvedBarrel
    path: Posts
    pitch: float | None

    @property
    def pitch_or_nan(self) -> float:
        """Its pitch [m], NaN for a single one."""
        return np.nan if self.pitch is None else self.pitch


class _Notch(NamedTuple):
    """First notch on a 50 ohm line: ``low``, ``high`` and ``nearly`` as in ``FirstNotches``.

    ``zero``: frequency at which the reactance first vanishes; ``jump``: narrow resonance [Hz]. A stub whose feed takes
    away all of its inductance has no notch.
    """

    low: float
    high: float
    nearly: float
    zero: float
    jump: float


_first_notches: Memory[Variant, _Notch] = Memory(REMEMBERED)
_one_db: Memory[tuple[Variant, float], tuple[float, float]] = Memory(REMEMBERED)
_in_band: Memory[tuple[Variant, float, float], tuple[float, float]] = Memory(3 * REMEMBERED)


def chain_of(variants: Sequence[Variant]) -> Chain:
    """Solved stubs as one set of arrays.

    Parameters
    ----------
    variants : sequence of Variant

    Returns
    -------
    Chain
    """
    return Chain.of([(v.solved, v.path) for v in variants], [v.pitch_or_nan for v in variants])


def _find_first_notches(variants: Sequence[Variant]) -> list[_Notch]:
    chain = chain_of(variants)
    found, highest = first_notch(chain), chain.highest_frequency()
    is_notch = found.is_notch & (found.frequency <= highest)
    low = np.where(is_notch, found.frequency, np.fmin(highest, found.searched))
    columns = (low, np.where(is_notch, low, np.inf), np.fmin(found.nearly, low), found.zero, found.jump)
    return [_Notch(*row) for row in zip(*(column.tolist() for column in columns), strict=True)]


def _find_one_db(variants_and_lines: Sequence[tuple[Variant, float]]) -> list[tuple[float, float]]:
    variants, lines = zip(*variants_and_lines, strict=True)
    stack, z0 = SolvedStack(variants), np.array(lines)
    estimate, impedance = quasi_static(stack.chain)
    highest = np.fmin(stack.chain.highest_frequency(), HIGHEST_RATIO * estimate)
    found = one_db_frequency(
        power_curve(chain_inputs(stack.chain), z0), one_db_estimate(estimate, impedance, z0), highest, stack.jump
    )
    found[np.isnan(found)] = np.inf  # no electrical length, no loss
    return list(zip(np.minimum(found, highest).tolist(), found.tolist(), strict=True))


def _find_in_band(wanted: Sequence[tuple[Variant, float, float]]) -> list[tuple[float, float]]:
    """Least return loss and greatest loss [dB] of stubs, each up to a frequency [Hz] and in a line [ohm]."""
    variants, ends, lines = zip(*wanted, strict=True)
    stack, frequency, z0 = SolvedStack(variants), np.array(ends), np.array(lines)
    inputs = remembered(chain_inputs(stack.chain))
    rises_below = FROM * one_db_estimate(*quasi_static(stack.chain), z0)
    left, not_reflected = (
        least_power(curve(inputs, z0), rises_below, frequency, stack.jump)
        for curve in (power_curve, not_reflected_curve)
    )
    return_loss, loss = decibels(np.sqrt(1 - not_reflected)), decibels(np.sqrt(left))
    return list(zip(return_loss.tolist(), loss.tolist(), strict=True))


@dataclass(frozen=True, eq=False)
class SolvedStack:
    """Solved stubs with their return paths as a stack of stubs."""

    variants: tuple[Variant, ...]

    @cached_property
    def chain(self) -> Chain:
        """All of them as one set of arrays."""
        return chain_of(self.variants)

    @cached_property
    def _first(self) -> list[_Notch]:
        return _first_notches.all(self.variants, _find_first_notches)

    def first_notch(self, index: NDArray[np.intp]) -> FirstNotches:
        """First notch of the stubs of these numbers."""
        return FirstNotches(*self._first_notch[:, index])

    def solve_notches(self) -> None:
        """Find and remember the first notches that are not known yet."""
        _first_notches.all(self.variants, _find_first_notches)

    @cached_property
    def _first_notch(self) -> NDArray[np.float64]:
        return np.array([notch[:3] for notch in self._first]).reshape(-1, 3).T

    @cached_property
    def _sweep(self) -> InputSweep:
        """Voltage and current at the input of a single stub over frequency [Hz]."""
        return InputSweep(self.chain)

    @cached_property
    def jump(self) -> NDArray[np.float64]:
        """Frequency of a narrow resonance [Hz], NaN where there is none."""
        return np.array([notch.jump for notch in self._first])

    def __getstate__(self) -> dict[str, tuple[Variant, ...]]:
        """The variants only: the chain is made again when it is needed."""
        return {"variants": self.variants}

    def notch(self, order: int, index: NDArray[np.intp]) -> NDArray[np.float64]:
        """Notch of the stubs of these numbers [Hz]; of the first order only where there is one."""
        if order == 1:
            return self.first_notch(index).high
        return np.asarray(notch(self.chain.only(index), order), dtype=np.float64)

    def nearest_notch(self, index: NDArray[np.intp], frequency: NDArray[np.float64]) -> None:
        """None: there is no closed form, so the orders are tried one by one."""

    def notch_note(self, index: int) -> NotchNote | None:
        """Why the first notch of a stub is no sharp notch of its own; None if it is one."""
        notch = self._first[index]
        if np.isinf(notch.high) or notch.low > BLURRED_BELOW * notch.zero:
            return None
        has_return_vias = bool(self.variants[index].path.positions)
        return NotchNote.CAVITY if notch.low < CAVITY_BELOW * notch.zero and has_return_vias else NotchNote.BLURRED

    def highest(self) -> float:
        """Highest frequency [Hz] at which the model is valid for all of the stubs."""
        return float(self.chain.highest_frequency().min())

    def input(
        self, index: NDArray[np.intp], frequency: NDArray[np.float64]
    ) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
        """Voltage and current at the input of the stubs of these numbers, each at its frequency [Hz]."""
        if len(self.variants) == 1:
            return self._sweep(frequency)
        order = np.argsort(index, kind="stable")
        place = np.empty(len(index), dtype=np.intp)
        place[order] = np.arange(len(index)) - np.searchsorted(index[order], index[order])
        f = np.full((len(self.variants), place.max(initial=0) + 1), 1e9)
        f[index, place] = frequency
        voltage, current = self.chain.voltage_current(f)
        return voltage[index, place], current[index, place]

    def inputs(self, index: NDArray[np.intp]) -> Inputs:
        """Voltage and current into the stubs of these numbers, as ``power_curve`` takes them."""
        return chain_inputs(chain_of([self.variants[number] for number in index.tolist()]))

    def one_db(
        self, index: NDArray[np.intp], z0: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """1 dB frequency [Hz] of the stubs of these numbers in lines of these impedances [ohm], twice.

        Where the model is no longer valid before 1 dB is reached: the highest valid frequency, and infinity.
        """
        wanted = [(self.variants[number], line) for number, line in zip(index.tolist(), z0.tolist(), strict=True)]
        low, high = np.array(_one_db.all(wanted, _find_one_db)).reshape(-1, 2).T
        return low, high

    def in_band(
        self, index: NDArray[np.intp], frequency: NDArray[np.float64], z0: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Least return loss and greatest loss [dB] of the stubs of these numbers, each from 0 up to its frequency."""
        variants = [self.variants[number] for number in index.tolist()]
        wanted = list(zip(variants, frequency.tolist(), z0.tolist(), strict=True))
        return_loss, loss = np.array(_in_band.all(wanted, _find_in_band)).reshape(-1, 2).T
        return return_loss, loss
