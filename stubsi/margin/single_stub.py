"""Owns one stub tried at several lengths, uniform or solved from its geometry."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.constants import c

from stubsi.board.board import Span
from stubsi.errors import StubsiError, UnknownValueError
from stubsi.margin.figures import Measurable, stub_figures
from stubsi.margin.longest_stub import RESOLUTION, Wanted, ends_of, longest
from stubsi.stubs.as_barrel import bore_of
from stubsi.stubs.cases import Case
from stubsi.stubs.drawn import stub_shapes
from stubsi.stubs.models import Models
from stubsi.stubs.solved_model import solved_models
from stubsi.stubs.surroundings import around_of
from stubsi.stubs.uniform_model import UniformStack
from stubsi.stubs.uniform_stub import Stub
from stubsi.units import one_si, show

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.board.criterion import Criterion
    from stubsi.board.net import ReturnVias
    from stubsi.board.padstack import Padstack
    from stubsi.board.signal import Signal
    from stubsi.board.stackup import Stackup


EXACT = 1e-11
"""Resolution of a length of a uniform line, relative."""


class Trial:
    """A stub that can be tried at any length [m]; ``model`` says how."""

    model: str
    z0: float | None

    def models(self, lengths: NDArray[np.float64]) -> Models:
        """Model of the stub at each length."""
        raise NotImplementedError

    def lengths(self, signal: Signal, criterion: Criterion) -> NDArray[np.float64]:
        """Lengths between which the longest is looked for, as ``longest`` wants them."""
        raise NotImplementedError

    def figures(self, models: Models, lengths: NDArray[np.float64], signal: Signal, criterion: Criterion) -> Measurable:
        """Figures at each length, of its ``models``; UnknownValueError if the criterion's needs what nobody gave."""
        self._check_known(models, criterion)
        cases, nyquist, z0 = np.arange(len(lengths)), signal.nyquist_si, self.z0 or np.nan
        return stub_figures(models, cases, lengths, np.full(len(cases), nyquist), np.full(len(cases), z0))

    def resolution(self, longest: float) -> float:
        """How finely [m] a length up to ``longest`` [m] is found."""
        return RESOLUTION

    def budget(self, signal: Signal, criterion: Criterion) -> tuple[float, float, bool]:
        """Longest length [m] as computed, and with the model as far off as it may be; whether any that fits will do."""
        lengths, nyquist = self.lengths(signal, criterion), signal.nyquist_si
        resolution = self.resolution(lengths[-1])
        wanted = [Wanted(0, criterion, nyquist, lengths, resolution, end) for end in ("low", "worst")]
        found = longest(wanted, lambda _, at: self.figures(self.models(at), at, signal, criterion))
        computed, proven = np.minimum(found, lengths[-1]).tolist()
        return computed, proven, bool(np.isinf(found[0]))

    def _check_known(self, models: Models, criterion: Criterion) -> None:
        """Refuse a criterion whose figure needs what nobody has given."""
        if criterion.on_loss and self.z0 is None:
            raise StubsiError(f"z0 is missing: a criterion on {criterion.measure} needs the impedance of the line.")
        unknown = models.unknown_loss if criterion.on_loss else models.unknown
        missing = [text for text in unknown if text and np.isnan(criterion.longest_si(1.0))]
        if missing:
            raise UnknownValueError(missing[0])


class UniformTrial(Trial):
    """A uniform line, from the arguments ``Stub`` takes."""

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
            unknown=(None,) * count,
            unknown_loss=(missing if np.isnan(self.stub.line.z_stub) else None,) * count,
        )

    def lengths(self, signal: Signal, criterion: Criterion) -> NDArray[np.float64]:
        """A length at which the criterion is not met: a quarter wave of what it asks for, and a little more."""
        if criterion.measure not in ("notch ratio", "loss", "return loss"):
            return np.array([1.01 * criterion.longest_si(signal.nyquist_si)])
        lowest_dk = np.minimum(np.real(self.stub.line.permittivity(1e12)), self.stub.dk_si)
        ratio = 1.0 if criterion.on_loss else criterion.limit
        return np.array([1.01 * c / (4 * ratio * signal.nyquist_si * np.sqrt(lowest_dk))])

    def resolution(self, longest: float) -> float:
        """How finely [m] a length up to ``longest`` [m] is found: as good as exactly."""
        return EXACT * longest

    def ends_at(self, length: float) -> str:
        """A uniform line has no layers."""
        return ""


class SolvedTrial(Trial):
    """A stub solved from its geometry, from the layer in use to any end position."""

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

    @cached_property
    def model(self) -> str:
        """What the stub as drawn is modelled with, in words; solved only if asked for."""
        return str(self.models(np.array([self.shape.stub_length_si])).provenance[0])

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
        """End positions: every face of every layer beyond the layer in use, and its full length."""
        return ends_of(self.shape)

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
