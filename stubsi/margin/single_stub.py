"""Owns one stub that can be looked at with any length: a uniform line, or solved from its geometry."""

from __future__ import annotations

import difflib
import math
from abc import ABC, abstractmethod
from typing import TYPE_CHECKING, Any, NamedTuple, TypedDict

import numpy as np

from stubsi.board.board import Span
from stubsi.board.net import ReturnVias
from stubsi.board.padstack import Padstack
from stubsi.board.stackup import Stackup
from stubsi.errors import StubsiError, UnknownValueError
from stubsi.margin.figures import stub_figures
from stubsi.margin.longest_stub import EndName, Permit, Wanted, longest, longest_permitted
from stubsi.margin.stub_verdict import Ends, StubFigures, rows_of
from stubsi.provenance import HARDWARE_ERROR
from stubsi.stubs.as_barrel import bore_of
from stubsi.stubs.cases import Case
from stubsi.stubs.drawn import stub_shapes
from stubsi.stubs.model_choice import ModelChoice
from stubsi.stubs.solved_model import solved_models
from stubsi.stubs.surroundings import around_of
from stubsi.stubs.uniform_stub import Stub
from stubsi.units import one_si, show
from stubsi.value import InSI

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from stubsi.board.criterion import Criterion
    from stubsi.board.signal import Signal
    from stubsi.provenance import Provenance
    from stubsi.stubs.models import Models
    from stubsi.units import Dimensioned


EXACT = 1e-11
"""Resolution of the longest uniform line by its loss, relative."""
PROVEN_AND_COMPUTED: tuple[EndName, ...] = ("worst", "low")
"""Which end of its figure must meet the criterion for a length to be proven, and as computed."""
WORST, BEST = 1 - HARDWARE_ERROR, 1 + HARDWARE_ERROR
"""Multiples of the computed notch between which the true one of a uniform line with a given Dk_eff is expected."""


class StubArguments(TypedDict, total=False):
    """What describes a stub to ``check_stub`` and ``stub_budget``: a uniform line, or a geometry to solve.

    All are keywords, all may be left out. A uniform line takes the first group, as ``Stub`` does. A solved stub takes
    the second group: ``stackup``, ``padstack`` and ``layer`` at least.

    Parameters
    ----------
    dk_eff : float
        Uniform line: effective relative permittivity [-] of the stub. Or give ``delay``.
    delay : delay per length
        Uniform line: ``"175 ps/in"``, in place of ``dk_eff``.
    z_stub : impedance
        Uniform line: of the stub. Or give ``drill`` and ``antipad``. A criterion on loss needs it.
    drill, antipad : length
        Uniform line: diameters of barrel and clearance. ``drill`` also brings in the skin effect of the barrel.
    df : float
        Uniform line: loss tangent [-].
    at : frequency
        Uniform line: where ``dk_eff`` and ``df`` hold; then they follow the wideband Debye model.
    end_pad : length
        Uniform line: diameter of a pad at the end.
    end_capacitance : capacitance
        Uniform line: at the end, in place of ``end_pad``.
    stackup : Stackup
        Solved stub: the layers it goes through.
    padstack : Padstack
        Solved stub: its drill, pads and antipads.
    layer : str
        Solved stub: the layer in use that it starts at.
    side : {"top", "bottom"}
        Solved stub: which way it goes; "bottom" unless said.
    return_vias : ReturnVias
        Solved stub: the return vias around it. Unknown ones make the figures a range.
    pitch : length
        Solved stub: of the pair whose leg this is (odd mode).
    depth_drill : length
        Solved stub: diameter of the drill that ends a stub shorter than the hole. Unknown: 0.2 mm over the primary
        drill is assumed, and said.
    """

    dk_eff: float | None
    delay: Dimensioned | None
    z_stub: Dimensioned | None
    drill: Dimensioned | None
    antipad: Dimensioned | None
    df: float
    at: Dimensioned | None
    end_pad: Dimensioned | None
    end_capacitance: Dimensioned | None
    stackup: Stackup | None
    padstack: Padstack | None
    layer: str | None
    side: str
    return_vias: ReturnVias | None
    pitch: Dimensioned | None
    depth_drill: Dimensioned | None


ARGUMENTS = frozenset(StubArguments.__annotations__)
GEOMETRY = ("stackup", "padstack", "layer", "side", "return_vias", "pitch", "depth_drill")
"""The arguments of a stub that is solved from its geometry; the others are those of a uniform line."""
GEOMETRY_KINDS = {"stackup": Stackup, "padstack": Padstack, "return_vias": ReturnVias}
NEVER_NONE = ("df", "side")
"""Arguments for which None does not stand for unknown."""
ANY_LENGTH = InSI(1e-3)
"""Length [m] of the ``Stub`` that holds a uniform line, whose own length counts for nothing here."""


class LongestStub(NamedTuple):
    """Longest stub that meets a criterion.

    ``computed`` [m]: as computed. ``proven`` [m]: with the model as far off as it may be. ``unlimited``: whether no
    stub that fits is too long; ``computed`` is then the longest that fits.
    """

    computed: float
    proven: float
    unlimited: bool


class SingleStub(ABC):
    """A stub that can be looked at with any length. ``z0``: impedance of its line [ohm], None where unknown."""

    z0: float | None

    @abstractmethod
    def figures(self, length: float, signal: Signal, criterion: Criterion) -> tuple[StubFigures, Provenance]:
        """Figures at a length [m] above zero, and how they were found.

        Raises
        ------
        StubsiError, UnknownValueError
            The criterion's figure needs what nobody gave; the hole is shorter than the stub.
        """

    @abstractmethod
    def longest(self, signal: Signal, criterion: Criterion) -> LongestStub:
        """Longest stub that meets a criterion; raises as ``figures``."""

    @abstractmethod
    def provenance(self, length: float) -> Provenance:
        """How the stub is modelled at a length [m]; at length zero: how it is as drawn."""

    def end_layers(self, length: float) -> tuple[str, ...]:
        """Copper layer that a stub of a length [m] ends at, or the two that it ends between; none of a uniform line."""
        return ()

    def _check_line_known(self, criterion: Criterion) -> None:
        if criterion.on_loss and self.z0 is None:
            raise StubsiError(f"z0 is missing: a criterion on {criterion.measure} needs the impedance of the line.")


class UniformSingleStub(SingleStub):
    """A uniform line.

    Parameters
    ----------
    stub : Stub
        Of any length.
    z0 : float or None
        Impedance of the line it hangs on [ohm].
    """

    def __init__(self, stub: Stub, z0: float | None) -> None:
        self.stub, self.z0 = stub, z0
        self.line = stub.single_line
        self.losses_known = z0 is not None and not math.isnan(self.line.z_stub)

    def figures(self, length: float, signal: Signal, criterion: Criterion) -> tuple[StubFigures, Provenance]:
        """Figures at a length [m] above zero, and how they were found."""
        if criterion.on_loss:
            self._check_line_known(criterion)
            self._check_impedance_known()
        nyquist, notch = signal.nyquist_si, self.line.first_notch(length)
        loss = back = None
        if self.losses_known:
            loss, back = self._losses(length, nyquist)
        ends = Ends(notch * WORST, notch, notch, notch * BEST)
        return StubFigures(length, nyquist, ends, loss, back), self.stub.provenance

    def longest(self, signal: Signal, criterion: Criterion) -> LongestStub:
        """Longest stub that meets a criterion: closed form but for a criterion on loss."""
        if criterion.on_loss:
            return self._longest_by_loss(signal, criterion)
        if criterion.measure == "notch ratio":
            notch = criterion.limit * signal.nyquist_si
            computed, proven = (self.line.length_of_notch(notch / end) for end in (1.0, WORST))
            return LongestStub(computed, proven, False)
        length = criterion.longest_si(signal.nyquist_si)
        return LongestStub(length, length, False)

    def provenance(self, length: float) -> Provenance:
        """How the stub is modelled, whatever its length."""
        return self.stub.provenance

    def _longest_by_loss(self, signal: Signal, criterion: Criterion) -> LongestStub:
        """Searched up to a little beyond the length whose notch is at Nyquist, where no loss counts."""
        most = 1.01 * self.line.length_of_notch(signal.nyquist_si)
        wanted = [
            Wanted(0, criterion, signal.nyquist_si, np.array([most]), EXACT * most, end) for end in PROVEN_AND_COMPUTED
        ]

        def figures(_: Sequence[int], lengths: NDArray[np.float64]) -> list[StubFigures]:
            return [self.figures(length, signal, criterion)[0] for length in lengths.tolist()]

        proven, computed = np.minimum(longest(wanted, figures), most).tolist()
        return LongestStub(computed, proven, False)

    def _losses(self, length: float, nyquist: float) -> tuple[Ends, Ends]:
        """Loss and return loss. A notch off by a factor is a frequency off by its inverse; past a notch loss falls."""
        assert self.z0 is not None
        at = [self.line.losses(length, nyquist / end, self.z0) for end in (WORST, 1.0, BEST)]
        (_, (back, loss), _), (backs, losses) = at, zip(*at, strict=True)
        return Ends(max(losses), loss, loss, min(losses)), Ends(min(backs), back, back, max(backs))

    def _check_impedance_known(self) -> None:
        if math.isnan(self.line.z_stub):
            raise UnknownValueError("the stub's impedance is unknown: give z_stub, or drill and antipad")


class SolvedSingleStub(SingleStub):
    """A stub solved from its geometry, from the layer in use to any end position.

    Parameters
    ----------
    stackup : Stackup
    padstack : Padstack
    layer : str
        The layer in use.
    side : {"top", "bottom"}
        Which way the stub goes.
    return_vias : ReturnVias or None
    pitch, depth_drill : length or None
        Of the pair; of the drill that ends the stub.
    z0 : float or None
        Impedance of the line it hangs on [ohm].

    Raises
    ------
    StubsiError
        No stub towards that side; values out of range.
    """

    def __init__(
        self,
        *,
        stackup: Stackup,
        padstack: Padstack,
        layer: str,
        side: str = "bottom",
        return_vias: ReturnVias | None = None,
        pitch: Dimensioned | None = None,
        depth_drill: Dimensioned | None = None,
        z0: float | None,
    ) -> None:
        if side not in ("top", "bottom"):
            raise StubsiError(f"side = {side!r}: must be 'top' or 'bottom'.")
        names = stackup.names
        first, last = (stackup.index(name) for name in (padstack.span or (names[0], names[-1])))
        place = stackup.index(layer)
        span = Span(first, first, place, last) if side == "bottom" else Span(first, place, last, last)
        shapes = stub_shapes(stackup, padstack, span)
        if not shapes:
            raise StubsiError(f"layer = '{layer}': the hole ends there, it leaves no stub towards the {side}.")
        self.z0 = z0
        self.shape = shapes[0]
        self.around = around_of(return_vias, None if pitch is None else one_si(pitch, "length", "pitch"))
        self.bore = None if depth_drill is None else bore_of(depth_drill, padstack)

    def figures(self, length: float, signal: Signal, criterion: Criterion) -> tuple[StubFigures, Provenance]:
        """Figures at a length [m] above zero, and how they were found."""
        lengths = np.array([length])
        models = self._models(lengths)
        return self._figures(models, lengths, signal, criterion)[0], models.provenance[0]

    def longest(self, signal: Signal, criterion: Criterion) -> LongestStub:
        """Longest stub that meets a criterion; remembered for stubs that are the same in all that it depends on."""
        model = ModelChoice()
        permits = [
            Permit(self.shape, self.around, self.bore, criterion, signal.nyquist_si, self.z0, model, end)
            for end in PROVEN_AND_COMPUTED
        ]

        def figures(_: Sequence[int], lengths: NDArray[np.float64]) -> list[StubFigures]:
            return self._figures(self._models(lengths), lengths, signal, criterion)

        found = longest_permitted(permits, figures)
        proven, computed = np.minimum(found, self.shape.stub_length_si).tolist()
        return LongestStub(computed, proven, bool(np.isinf(found[1])))

    def provenance(self, length: float) -> Provenance:
        """How the stub is modelled at a length [m]; at length zero: how it is as drawn."""
        return self._models(np.array([length or self.shape.stub_length_si])).provenance[0]

    def end_layers(self, length: float) -> tuple[str, ...]:
        """Copper layer that a stub of a length [m] ends at, or the two that it ends between."""
        start, sign = self.shape.start_si, 1 if self.shape.side == "bottom" else -1
        stackup = self.shape.stackup
        depth = start + sign * length
        faces = [(stackup.face_si(name, face), name) for name in stackup.names for face in ("upper", "lower")]
        above = [name for at, name in faces if at <= depth + 1e-9]
        below = [name for at, name in faces if at >= depth - 1e-9]
        return tuple(dict.fromkeys((above[-1:] + below[:1]) or [self.shape.layer]))

    def _models(self, lengths: NDArray[np.float64]) -> Models:
        """Model of the stub at each length [m]; StubsiError where the hole is shorter."""
        full = self.shape.stub_length_si
        if np.any(lengths > full * (1 + 1e-9)):
            raise StubsiError(
                f"stub_length = {show(lengths.max(), 'length')}: longer than the hole goes on beyond "
                f"{self.shape.layer}, {self.shape.stub_length}."
            )
        cases = [Case(self.shape, min(length, full), self.around, self.bore) for length in lengths.tolist()]
        return solved_models(cases)

    def _figures(
        self, models: Models, lengths: NDArray[np.float64], signal: Signal, criterion: Criterion
    ) -> list[StubFigures]:
        self._check_line_known(criterion)
        unknown = models.unknown_loss if criterion.on_loss else models.unknown
        missing = [text for text in unknown if text and math.isnan(criterion.longest_si(1.0))]
        if missing:
            raise UnknownValueError(missing[0])
        count = len(lengths)
        nyquist, z0 = np.full(count, signal.nyquist_si), np.full(count, self.z0 or math.nan)
        return rows_of(stub_figures(models, np.arange(count), lengths, nyquist, z0))


def single_stub(arguments: StubArguments, z0: Dimensioned | None) -> SingleStub:
    """The stub that some arguments describe.

    Parameters
    ----------
    arguments : StubArguments
        As ``check_stub`` takes them.
    z0 : impedance, optional
        Of the line it hangs on.

    Returns
    -------
    SingleStub

    Raises
    ------
    StubsiError, UnitError
        An unknown argument; neither or both ways to describe the stub; values of the wrong kind or out of range.
    """
    key = (z0, *arguments.items())
    if not PLAIN.issuperset(map(type, (z0, *arguments.values()))):
        return _described(arguments, z0)
    stub = _remembered.get(key)
    if stub is None:
        stub = _described(arguments, z0)
        if isinstance(stub, UniformSingleStub) and stub.stub.plausible:
            _remembered[key] = stub
            while len(_remembered) > REMEMBERED:
                del _remembered[next(iter(_remembered))]
    return stub


PLAIN = frozenset((str, float, int, type(None)))
"""Types of arguments whose equal values mean the same: not so True and 1."""
REMEMBERED = 256
"""How many uniform lines are remembered by their arguments. One whose impedance is warned about is not."""
_remembered: dict[tuple[object, ...], SingleStub] = {}


def _described(arguments: StubArguments, z0: Dimensioned | None) -> SingleStub:
    line = None if z0 is None else one_si(z0, "impedance", "z0")
    given = {name: value for name, value in arguments.items() if value is not None or name in NEVER_NONE}
    if not given.keys() <= ARGUMENTS:
        raise _unknown_argument(given)
    if "stackup" in given or "padstack" in given:
        return _solved_stub(given, line)
    unused = [name for name in GEOMETRY if name in given and (name, given[name]) != ("side", "bottom")]
    if unused:
        raise StubsiError(f"{', '.join(unused)}: need stackup and padstack beside them.")
    given.pop("side", None)
    return UniformSingleStub(Stub(stub_length=ANY_LENGTH, **given), line)


def _solved_stub(given: dict[str, Any], z0: float | None) -> SolvedSingleStub:
    if given.get("df") == 0:
        del given["df"]
    both = [name for name in given if name not in GEOMETRY]
    if both:
        raise StubsiError(f"give either a uniform line ({', '.join(both)}) or stackup and padstack, not both.")
    missing = [name for name in ("stackup", "padstack", "layer") if name not in given]
    if missing:
        raise StubsiError(f"{', '.join(missing)}: missing; a solved stub needs stackup, padstack and layer.")
    for name, kind in GEOMETRY_KINDS.items():
        if name in given and not isinstance(given[name], kind):
            raise StubsiError(f"{name} = {given[name]!r}: must be a {kind.__name__}.")
    return SolvedSingleStub(**given, z0=z0)


def _unknown_argument(given: Iterable[str]) -> StubsiError:
    name = next(name for name in given if name not in ARGUMENTS)
    near = difflib.get_close_matches(name, sorted(ARGUMENTS), 1)
    hint = f"did you mean {near[0]}?" if near else f"known are {', '.join(StubArguments.__annotations__)}."
    return StubsiError(f"{name}: a stub has no argument of that name; {hint}")
