"""Owns the uniform-line model of the stubs of a board: with the laminate's Dk, or with the Dk_eff given."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.constants import c

from stubsi.board.layers import Laminate
from stubsi.errors import UnknownValueError
from stubsi.physics.loss_curve import one_db_below_notch
from stubsi.physics.power_curve import power_curve
from stubsi.physics.uniform_line import (
    UniformLine,
    coax_impedance,
    decibels,
    disk_end_capacitance,
    quarter_wave,
    shunt_s,
)
from stubsi.provenance import Provenance
from stubsi.stubs.models import FirstNotches, Models
from stubsi.stubs.uniform_stub import AS_GIVEN, COPPER, GIVEN_DELAY, GIVEN_DK, LAMINATE
from stubsi.stubs.unknown_df import has_unknown_df

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from stubsi.board.hole_kinds import Span
    from stubsi.board.padstack import Padstack
    from stubsi.board.stackup import Stackup
    from stubsi.physics.power_curve import Inputs
    from stubsi.stubs.cases import Case

LAMINATE_LOW, LAMINATE_HIGH = 1 / 5, 4.0
"""Multiples of the notch from laminate Dk between which the true one is expected. Source: 985 stubs of boards drawn at
random over usual sizes, against the solved stub: from 4.2 times too high to 2.4 times too low, and nine of ten from 2
times too high to 1.2 times too low; the 40 full-wave geometries of ``cases.csv`` read up to 2.3 times too high."""
LAMINATE_ERROR = "usually 0.8 to 2 times, at the extremes 0.25 to 5 times, what a field solution gives"
"""The same in words."""

MOST_STEPS = 30
"""Most steps of the search for the nearest order. Two are enough for a line without end load and dispersion."""


@dataclass(frozen=True, eq=False)
class UniformStack:
    """Uniform lines as a stack of stubs, one entry each.

    Parameters
    ----------
    line : UniformLine
        Every field an array, one entry per stub.
    """

    line: UniformLine

    def first_notch(self, index: NDArray[np.intp]) -> FirstNotches:
        """First notch of the stubs of these numbers."""
        notch = self.notch(1, index)
        return FirstNotches(notch, notch, notch)

    def notch(self, order: int, index: NDArray[np.intp]) -> NDArray[np.float64]:
        """Notch of an odd order of the stubs of these numbers [Hz]."""
        return self._take(index).notch(order)

    def nearest_notch(self, index: NDArray[np.intp], frequency: NDArray[np.float64]) -> NDArray[np.float64]:
        """Notch nearest to each frequency by ratio, whatever its order.

        The notches of successive orders are nearly equally far apart. So the order just below a frequency is found
        in a few steps from one order and the distance to the next.

        Parameters
        ----------
        index : ndarray of int
            Numbers of the stubs.
        frequency : ndarray
            [Hz].

        Returns
        -------
        ndarray
            [Hz].
        """
        line = self._take(index)
        order = np.ones(len(index))
        for _ in range(MOST_STEPS):
            below, above = line.notch(order), line.notch(order + 2)
            step = 2 * np.floor((frequency - below) / (above - below))
            step = np.where(np.isfinite(step), np.maximum(step, 1 - order), 0.0)
            if not step.any():
                break
            order += step
        return np.where(frequency / below < above / frequency, below, above)

    def highest(self) -> float:
        """Infinite: a uniform line is used at any frequency."""
        return np.inf

    def input(
        self, index: NDArray[np.intp], frequency: NDArray[np.float64]
    ) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
        """Voltage and current at the input of the stubs of these numbers, each at its frequency [Hz]."""
        return self._take(index).input(frequency)

    def inputs(self, index: NDArray[np.intp]) -> Inputs:
        """Voltage and current into the stubs of these numbers, as ``power_curve`` takes them."""

        def inputs(
            rows: NDArray[np.intp], frequency: NDArray[np.float64]
        ) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
            voltage, current = self.input(np.repeat(index[rows], frequency.shape[1]), frequency.ravel())
            return voltage.reshape(frequency.shape), current.reshape(frequency.shape)

        return inputs

    def one_db(
        self, index: NDArray[np.intp], z0: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """1 dB frequency [Hz] of the stubs of these numbers in lines of these impedances [ohm], twice."""
        found = one_db_below_notch(power_curve(self.inputs(index), z0), self.notch(1, index))
        return found, found

    def in_band(
        self, index: NDArray[np.intp], frequency: NDArray[np.float64], z0: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Least return loss and greatest loss [dB] of the stubs of these numbers, each from 0 up to its frequency.

        The loss of a uniform stub rises up to its first notch, and no later one is deeper.
        """
        reflected, passed = shunt_s(*self.input(index, np.fmin(frequency, self.notch(1, index))), z0)
        return decibels(reflected), decibels(passed)

    def _take(self, index: NDArray[np.intp]) -> UniformLine:
        return UniformLine(**{f.name: np.asarray(getattr(self.line, f.name))[index] for f in fields(self.line)})


class _Row(NamedTuple):
    """One stub as the fields of a UniformLine."""

    stub_length: float
    dk: float
    z_stub: float
    df: float
    at: float
    end_capacitance: float
    barrel_diameter: float
    conductivity: float


def uniform_models(cases: Sequence[Case], *, dk_eff: float | None = None, delay: float | None = None) -> Models:
    """Model each case as a uniform line with the impedance of a coaxial line of its drill and antipad.

    Parameters
    ----------
    cases : sequence of Case
    dk_eff : float, optional
        Effective relative permittivity [-] of every stub, its end included.
    delay : float, optional
        Delay per length [s/m] of every stub, in place of ``dk_eff``. If neither is given, a stub has the Dk of its
        laminate, and the pad at its end counts as half an isolated disk.

    Returns
    -------
    Models
        They name what is unknown about a case.
    """
    given = dk_eff if delay is None else float((c * delay) ** 2)
    known: list[tuple[int, _Row, tuple[str, ...]]] = []
    unknown: list[str | None] = [None] * len(cases)
    unknown_loss: list[str | None] = [None] * len(cases)
    for number, case in enumerate(cases):
        try:
            row, assumptions = _laminate(case) if given is None else _given(case, given)
        except UnknownValueError as error:
            unknown[number] = unknown_loss[number] = str(error)
            continue
        known.append((number, row, assumptions))
        if np.isnan(row.z_stub):
            unknown_loss[number] = f"antipad of padstack {case.shape.padstack.name} is unknown"
    columns = np.array([row for _, row, _ in known], dtype=float).reshape(-1, len(_Row._fields)).T
    line = UniformLine(**dict(zip(_Row._fields, columns, strict=True)))
    provenance = [Provenance(tier="none", model_error="unknown")] * len(cases)
    highest_notch_ratios = _highest_notch_ratio(line).tolist()
    for (number, _, assumptions), high in zip(known, highest_notch_ratios, strict=True):
        provenance[number] = (
            replace(_provenance_of_laminate(assumptions, high), unknown_df=has_unknown_df(cases[number].shape.stackup))
            if given is None
            else _provenance_of_given(assumptions, delay)
        )
    return Models(
        variants=(UniformStack(line),), owner=(np.array([number for number, *_ in known], dtype=np.intp),),
        below=(np.array([provenance[number].low for number, *_ in known], dtype=float),),
        model_below=(np.array([provenance[number].low_of_model for number, *_ in known], dtype=float),),
        provenance=tuple(provenance), unknown=tuple(unknown), unknown_loss=tuple(unknown_loss),
    )  # fmt: skip


def _highest_notch_ratio(line: UniformLine) -> NDArray[np.float64]:
    """How many times higher than computed the notch may be: without end load, because that load may be too large."""
    loaded = np.greater(line.end_capacitance, 0)
    return np.where(loaded, np.fmax(quarter_wave(line.stub_length, line.dk) / line.notch(), 1.0), 1.0)


def _provenance_of_laminate(assumptions: tuple[str, ...], high: float) -> Provenance:
    """Name and error of the model. ``high``: how many times higher the notch is without the end load."""
    return Provenance(
        tier=LAMINATE,
        assumptions=assumptions,
        model_error=LAMINATE_ERROR,
        low=LAMINATE_LOW,
        high=max(high, LAMINATE_HIGH),
    )


def _provenance_of_given(assumptions: tuple[str, ...], delay: float | None) -> Provenance:
    tier = GIVEN_DK if delay is None else GIVEN_DELAY
    return Provenance(tier=tier, assumptions=assumptions, model_error=AS_GIVEN)


def _given(case: Case, dk: float) -> tuple[_Row, tuple[str, ...]]:
    drill = case.shape.padstack.drill_si
    row = _Row(case.length_si, dk, _impedance(case, dk), 0.0, np.nan, 0.0, drill, np.inf)
    return row, ("lossless",)


def _laminate(case: Case) -> tuple[_Row, tuple[str, ...]]:
    """A stub as a uniform line with the mean Dk of the laminate along it, and what was assumed."""
    drill, laminate = case.shape.padstack.drill_si, _medium(case)
    z_stub = _impedance(case, laminate.dk)
    pad = _end_pad(case)
    load = disk_end_capacitance(pad, laminate.dk) if pad and np.isfinite(z_stub) else 0.0
    at = np.nan if laminate.at_si is None else laminate.at_si
    assumptions = (*laminate.assumed, "constant over frequency" if laminate.at_si is None else "wideband Debye")
    if load:
        assumptions += ("end pad as half a disk",)
    return _Row(case.length_si, laminate.dk, z_stub, laminate.df, at, float(load), drill, COPPER), assumptions


def _medium(case: Case) -> Laminate:
    """Mean laminate along a stub; air where it is a press-fit pin that begins at the face of the board."""
    shape = case.shape
    far = shape.start_si + case.length_si * (1 if shape.side == "bottom" else -1)
    upper, lower = sorted((shape.start_si, far))
    if lower <= 0 or upper >= shape.stackup.edges_si[-1]:
        return Laminate(dk=1.0, df=0.0, at_si=None, assumed=("pin beyond the board as a rod in air",))
    return shape.stackup.laminate(upper, lower)


def uniform_through(
    stackup: Stackup, padstack: Padstack, span: Span
) -> Callable[[NDArray[np.float64]], NDArray[np.complex128]]:
    """Barrel between the outermost layers in use, as a uniform line.

    Parameters
    ----------
    stackup : Stackup
    padstack : Padstack
    span : Span
        Copper layers that the hole reaches and that it uses.

    Returns
    -------
    callable
        Chain matrix, shape (n, 2, 2), at frequencies [Hz], shape (n,).

    Raises
    ------
    UnknownValueError
        A Dk or the antipad is not known.
    """
    top = stackup.face_si(stackup.names[span.upper_in_use], "lower")
    bottom = stackup.face_si(stackup.names[span.lower_in_use], "upper")
    laminate = stackup.laminate(top, bottom)
    z = _coax(stackup, padstack, slice(span.upper_in_use, span.lower_in_use + 1), laminate.dk)
    if np.isnan(z):
        raise UnknownValueError(f"antipad of padstack {padstack.name} is unknown: give antipad.")
    at = np.nan if laminate.at_si is None else laminate.at_si
    line = UniformLine(stub_length=bottom - top, dk=laminate.dk, z_stub=z, df=laminate.df, at=at)
    return line.abcd


def _impedance(case: Case, dk: float) -> float:
    """Coaxial impedance [ohm] of the stub; NaN where unknown."""
    shape = case.shape
    places = slice(shape.span.lower_in_use, shape.span.last + 1)
    if shape.side == "top":
        places = slice(shape.span.first, shape.span.upper_in_use + 1)
    return _coax(shape.stackup, shape.padstack, places, dk)


def _coax(stackup: Stackup, padstack: Padstack, places: slice, dk: float) -> float:
    """Coaxial impedance [ohm] with the mean antipad of the planes among these copper layers; NaN where unknown."""
    crossed = [padstack.antipad_at(layer.name, layer.role) for layer in stackup.copper[places]]
    widths = [antipad.width_si for antipad in crossed if antipad is not None]
    if not widths and padstack.antipad is not None:
        widths = [padstack.antipad.width_si]
    return float(coax_impedance(padstack.drill_si, float(np.mean(widths)), dk)) if widths else np.nan


def _end_pad(case: Case) -> float | None:
    """Diameter [m] of the pad at the end of the stub; None where the plating ends elsewhere."""
    shape = case.shape
    if case.length_si < shape.stub_length_si or shape.ends_in_pin:
        return None
    end = shape.span.first if shape.side == "top" else shape.span.last
    outer = end in (0, len(shape.stackup.names) - 1)
    return shape.padstack.pad_at(shape.stackup.names[end], in_use=False, outer=outer)
