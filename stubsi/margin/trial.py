"""Owns one stub tried at several lengths, uniform or solved from its geometry, and the longest that will do."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from scipy.constants import c

from stubsi.board.board import Span
from stubsi.errors import StubsiError, UnknownValueError
from stubsi.margin.around import around_of
from stubsi.margin.figures import Spread, case_figures
from stubsi.margin.geometry import bore_of
from stubsi.margin.models import Models
from stubsi.margin.shape import stub_shapes
from stubsi.margin.solved import solved_models
from stubsi.margin.table import Case
from stubsi.margin.uniform import UniformStack
from stubsi.stub import Stub
from stubsi.units import one_si, show

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.board.criterion import Criterion
    from stubsi.board.net import ReturnVias
    from stubsi.board.padstack import Padstack
    from stubsi.board.signal import Signal
    from stubsi.board.stackup import Stackup


ALIKE = 1e-12
"""Relative miss that still counts as meeting the criterion."""
CLEAR = 0.1
"""Between two end positions that meet the criterion by this much, the notch above Nyquist by as much, none is tried:
a notch falls as a stub grows, but for a few percent at planes and pads; up to it, the loss rises."""


class Found(NamedTuple):
    """Figures at each length tried: the one the criterion measures, and first notch [Hz], losses [dB] (worse end).

    ``model``: what the first of them was modelled with, in words.
    """

    measured: Spread
    notch: NDArray[np.float64] | None
    loss: NDArray[np.float64] | None
    return_loss: NDArray[np.float64] | None
    model: str


class Trial:
    """A stub that can be tried at any length [m]; ``model`` says how, ``halvings`` how finely a length is searched."""

    model: str
    z0: float | None
    halvings: int

    def models(self, lengths: NDArray[np.float64]) -> Models:
        """Model of the stub at each length."""
        raise NotImplementedError

    def figures(self, lengths: NDArray[np.float64], signal: Signal, criterion: Criterion) -> Found:
        """Figures at each length."""
        nyquist = signal.nyquist_si
        models = self.models(lengths)
        notch, loss, back = case_figures(models, np.array(nyquist), np.array(self.z0 or np.nan))
        measured = {
            "notch ratio": Spread(*(value / nyquist for value in notch)),
            "loss": loss,
            "return loss": back,
            "stub length": Spread(*[lengths] * 4),
            "stub length x symbol rate": Spread(*[lengths * signal.symbol_rate_si] * 4),
        }[criterion.measure]
        self._check_known(models, criterion)
        return Found(measured, notch.low, loss.low, back.low, str(models.provenance[0]))

    def _check_known(self, models: Models, criterion: Criterion) -> None:
        """Refuse a criterion whose figure needs what nobody has given."""
        on_loss = criterion.measure in ("loss", "return loss")
        if on_loss and self.z0 is None:
            raise StubsiError(f"z0 is missing: a criterion on {criterion.measure} needs the impedance of the line.")
        unknown = {"notch ratio": models.unknown}.get(criterion.measure, models.unknown_loss if on_loss else ())
        missing = [text for text in unknown if text]
        if missing:
            raise UnknownValueError(missing[0])


class UniformTrial(Trial):
    """A uniform line, from the arguments ``Stub`` takes."""

    halvings = 48

    def __init__(self, arguments: dict[str, Any], z0: float | None) -> None:
        self.stub = Stub(stub_length="1 mm", **arguments)
        self.z0 = z0
        self.provenance = self.stub.provenance
        self.model = str(self.provenance)

    def models(self, lengths: NDArray[np.float64]) -> Models:
        """Model of the stub at each length."""
        count = len(lengths)
        fields = {name: np.full(count, value) for name, value in vars(self.stub.line).items()}
        missing = "the stub's impedance is unknown: give z_stub, or drill and antipad"
        return Models(
            variants=(UniformStack(replace(self.stub.line, **(fields | {"stub_length": lengths}))),),
            owner=(np.arange(count),),
            provenance=(self.provenance,) * count,
            unknown=("",) * count,
            unknown_loss=(missing if np.isnan(self.stub.line.z_stub) else "",) * count,
        )

    def lengths(self, signal: Signal, criterion: Criterion) -> NDArray[np.float64]:
        """Lengths up to which the criterion can be met: shorter than a quarter wave where it looks at the loss."""
        lowest_dk = np.minimum(np.real(self.stub.line.permittivity(1e12)), self.stub.dk_si)
        quarter = c / (4 * signal.nyquist_si * np.sqrt(lowest_dk))
        if criterion.measure == "notch ratio":
            return np.array([1.01 * quarter / criterion.limit])
        if criterion.measure in ("loss", "return loss"):
            shift = self.provenance.high if self.provenance.high > 1 else 1.0
            return np.linspace(0, quarter / shift, 41)[1:]
        per_length = signal.symbol_rate_si if "x" in criterion.measure else 1.0
        return np.array([1.01 * criterion.limit / per_length])

    def ends_at(self, length: float) -> str:
        """A uniform line has no layers."""
        return ""


class SolvedTrial(Trial):
    """A stub solved from its geometry, from the layer in use to any end position."""

    halvings = 6

    def __init__(
        self,
        *,
        stackup: Stackup,
        padstack: Padstack,
        layer: str,
        side: str,
        return_vias: ReturnVias | None,
        pitch: Any,
        depth_drill: Any,
        z0: float | None,
    ) -> None:
        if side not in ("top", "bottom"):
            raise StubsiError(f"side = {side!r}: must be 'top' or 'bottom'.")
        self.z0 = z0
        names = stackup.names
        first, last = (stackup.index(name) for name in (padstack.span or (names[0], names[-1])))
        place = stackup.index(layer)
        used = (first, place) if side == "bottom" else (place, last)
        shapes = stub_shapes(stackup, padstack, Span(first, *used, last))
        if not shapes:
            raise StubsiError(f"layer = '{layer}': the hole ends there, it leaves no stub towards the {side}.")
        self.shape = shapes[0]
        self.around = around_of(return_vias, None if pitch is None else one_si(pitch, "length", "pitch"))
        self.bore = None if depth_drill is None else bore_of(depth_drill, padstack)
        self.model = str(self.models(np.array([self.shape.stub_length_si])).provenance[0])

    def models(self, lengths: NDArray[np.float64]) -> Models:
        """Model of the stub at each length; StubsiError where the hole is shorter."""
        full = self.shape.stub_length_si
        if np.any(lengths > full * (1 + 1e-9)):
            raise StubsiError(
                f"stub_length = {show(lengths.max(), 'length')}: longer than the hole goes on beyond "
                f"{self.shape.layer}, {self.shape.stub_length}."
            )
        cases = [Case(self.shape, float(min(length, full)), self.around, self.bore) for length in lengths]
        return solved_models(cases)

    def lengths(self, signal: Signal, criterion: Criterion) -> NDArray[np.float64]:
        """End positions: every face of every layer beyond the layer in use, and two between."""
        edges = self._edges
        steps = np.linspace(edges[:-1], edges[1:], 4)[1:]
        return np.unique(np.append(steps.T, edges[1:]))

    def ends_at(self, length: float) -> str:
        """Copper layers the end position lies between."""
        start, sign = self.shape.start_si, 1 if self.shape.side == "bottom" else -1
        stackup = self.shape.stackup
        depth = start + sign * length
        faces = [(stackup.face_si(name, face), name) for name in stackup.names for face in ("upper", "lower")]
        above = [name for at, name in faces if at <= depth + 1e-9]
        below = [name for at, name in faces if at >= depth - 1e-9]
        ends = dict.fromkeys((above[-1:] + below[:1]) or [self.shape.layer])
        return ("ending at " if len(ends) == 1 else "ending between ") + " and ".join(ends)

    @cached_property
    def _edges(self) -> NDArray[np.float64]:
        stackup, start = self.shape.stackup, self.shape.start_si
        beyond = (
            np.array(stackup.edges_si) - start if self.shape.side == "bottom" else start - np.array(stackup.edges_si)
        )
        inside = beyond[(beyond > 1e-9) & (beyond < self.shape.stub_length_si - 1e-9)]
        return np.array([0.0, *np.sort(inside), self.shape.stub_length_si])


class Tried:
    """Figures of a stub at the lengths tried so far [m]; both ends of the spread share them."""

    def __init__(self, trial: Trial, signal: Signal, criterion: Criterion) -> None:
        self.trial, self.signal, self.criterion = trial, signal, criterion
        self.found: dict[float, Found] = {}

    def at(self, length: float) -> Found:
        """Figures at one length."""
        if length not in self.found:
            self.found[length] = self.trial.figures(np.array([length]), self.signal, self.criterion)
        return self.found[length]

    def excess(self, length: float, end: str) -> float:
        """How far the figure is beyond the limit, relative; negative where it falls short."""
        value = float(getattr(self.at(length).measured, end)[0]) / self.criterion.limit
        if not (np.isfinite(value) or value > 0):
            return -1.0
        return value - 1 if self.criterion.least else 1 - value

    def clear(self, length: float, end: str) -> bool:
        """Whether shorter stubs meet the criterion, too, if one of them does as clearly."""
        notch = self.at(length).notch
        return self.excess(length, end) >= CLEAR and notch[0] >= (1 + CLEAR) * self.signal.nyquist_si


def longest(tried: Tried, end: str) -> tuple[float, bool]:
    """Longest length [m] up to which the criterion is met at this ``end`` of the spread, and whether all are."""
    lengths = tried.trial.lengths(tried.signal, tried.criterion)
    lengths = [float(lengths[0]) * 1e-6, *lengths.tolist()]
    if tried.excess(lengths[0], end) < -ALIKE:
        return 0.0, False
    first = _first_missed(tried, lengths, end)
    if first is None:
        return lengths[-1], True
    short, long = lengths[first - 1], lengths[first]
    for _ in range(tried.trial.halvings):
        middle = (short + long) / 2
        short, long = (middle, long) if tried.excess(middle, end) >= -ALIKE else (short, middle)
    return short, False


def _first_missed(tried: Tried, lengths: list[float], end: str, after: int = 0, to: int | None = None) -> int | None:
    """Number of the first length beyond ``after``, which meets the criterion, that does not; None: all to ``to`` do."""
    to = len(lengths) - 1 if to is None else to
    if tried.clear(lengths[after], end) and tried.clear(lengths[to], end):
        return None
    if to == after + 1:
        return to if tried.excess(lengths[to], end) < -ALIKE else None
    middle = (after + to) // 2
    found = _first_missed(tried, lengths, end, after, middle)
    return _first_missed(tried, lengths, end, middle, to) if found is None else found
