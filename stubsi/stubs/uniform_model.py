"""Owns the first tier on a board: each case as a uniform line with the laminate's Dk, or with the Dk_eff given."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from scipy.constants import c

from stubsi.board.stackup import Laminate
from stubsi.errors import UnknownValueError
from stubsi.physics.uniform_line import UniformLine, coax_impedance, disk_end_capacitance, quarter_wave
from stubsi.provenance import Provenance
from stubsi.stubs.models import Models
from stubsi.stubs.uniform_stub import COPPER, GIVEN_DELAY, GIVEN_DK, LAMINATE

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from stubsi.board.board import Span
    from stubsi.board.padstack import Padstack
    from stubsi.board.stackup import Stackup
    from stubsi.stubs.cases import Case

LAMINATE_ERROR = "expected 30-60 % too high against a field solution"
"""Error of the notch from laminate Dk. Source: project full-wave reference, 62 geometries, median +44 %."""


@dataclass(frozen=True, eq=False)
class UniformStack:
    """Uniform lines as a stack of stubs, one entry each."""

    line: UniformLine

    def notch(self, order: int, index: NDArray[np.intp]) -> NDArray[np.float64]:
        """Notch of the stubs of these numbers [Hz]."""
        return self._take(index).notch(order)

    def highest(self) -> float:
        """No limit of its own."""
        return np.inf

    def input(self, index: NDArray[np.intp], frequency: NDArray[np.float64]) -> tuple[Any, Any]:
        """Voltage and current at the input of the stubs of these numbers, each at its frequency [Hz]."""
        return self._take(index).input(frequency)

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
    """Model each case as a uniform line.

    ``dk_eff`` [-] or ``delay`` [s/m] given: for every stub, with its end included. Neither: the laminate's Dk, and the
    end pad as half an isolated disk. Impedance: coaxial, from drill and antipad.
    """
    given = dk_eff if delay is None else float((c * delay) ** 2)
    rows, owner, provenance, unknown, unknown_loss = [], [], [], [], []
    for number, case in enumerate(cases):
        try:
            row, said = _given(case, given) if given is not None else _laminate(case)
        except UnknownValueError as error:
            unknown.append(str(error))
            unknown_loss.append(str(error))
            provenance.append(Provenance(tier="none", model_error="unknown"))
            continue
        rows.append(row)
        owner.append(number)
        unknown.append("")
        unknown_loss.append(
            "" if np.isfinite(row.z_stub) else f"antipad of padstack {case.shape.padstack.name} is unknown"
        )
        provenance.append(_provenance(row, said, given, delay))
    columns = np.array(rows, dtype=float).reshape(-1, 8).T
    stack = UniformStack(UniformLine(**dict(zip(_Row._fields, columns, strict=True))))
    return Models(
        variants=(stack,), owner=(np.array(owner, dtype=np.intp),), provenance=tuple(provenance),
        unknown=tuple(unknown), unknown_loss=tuple(unknown_loss),
    )  # fmt: skip


def _provenance(row: _Row, assumptions: tuple[str, ...], given: float | None, delay: float | None) -> Provenance:
    """Tier and error. Laminate Dk alone is always optimistic; with the end pad it may be too much of a load."""
    if given is None:
        bare = (
            float(quarter_wave(row.stub_length, row.dk) / UniformLine(**row._asdict()).notch())
            if row.end_capacitance
            else 1.0
        )
        return Provenance(
            tier=LAMINATE, assumptions=assumptions, model_error=LAMINATE_ERROR, low=1 / 1.6, high=max(bare, 1.0)
        )
    tier = GIVEN_DK if delay is None else GIVEN_DELAY
    return Provenance(tier=tier, assumptions=assumptions, model_error="as good as the value given")


def _given(case: Case, dk: float) -> tuple[_Row, tuple[str, ...]]:
    drill = case.shape.padstack.drill_si
    row = _Row(case.length_si, dk, _impedance(case, dk), 0.0, np.nan, 0.0, drill, np.inf)
    return row, ("lossless",)


def _laminate(case: Case) -> tuple[_Row, tuple[str, ...]]:
    drill, laminate = case.shape.padstack.drill_si, _medium(case)
    z_stub = _impedance(case, laminate.dk)
    pad = _end_pad(case)
    load = disk_end_capacitance(pad, laminate.dk) if pad and np.isfinite(z_stub) else 0.0
    at = np.nan if laminate.at_si is None else laminate.at_si
    said = (*laminate.assumed, "constant over frequency" if laminate.at_si is None else "wideband Debye")
    said += ("end pad as half a disk",) if load else ()
    return _Row(case.length_si, laminate.dk, z_stub, laminate.df, at, float(load), drill, COPPER), said


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
    """Chain matrix over frequency [Hz] of the barrel between the outermost layers in use, as a uniform line.

    Raises UnknownValueError where a Dk or the antipad is not known.
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
    return float(coax_impedance(padstack.drill_si, np.mean(widths), dk)) if widths else np.nan


def _end_pad(case: Case) -> float | None:
    """Diameter [m] of the pad at the end of the stub; None where the plating ends elsewhere."""
    shape = case.shape
    if case.length_si < shape.stub_length_si or shape.ends_in_pin:
        return None
    end = shape.span.first if shape.side == "top" else shape.span.last
    outer = end in (0, len(shape.stackup.names) - 1)
    return shape.padstack.pad_at(shape.stackup.names[end], in_use=False, outer=outer)
