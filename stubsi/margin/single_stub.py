"""Owns one stub whose length may vary: a uniform line, or solved from its geometry."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.board.criterion import Measure
from stubsi.board.hole_kinds import Span
from stubsi.errors import StubsiError, UnknownValueError
from stubsi.margin.built import checked_varied
from stubsi.margin.figures import stub_figures
from stubsi.margin.longest_stub import EndName, Permit, Wanted, longest, longest_permitted
from stubsi.margin.stub_verdict import Ends, StubFigures, rows_of
from stubsi.margin.trial_board import trial_board
from stubsi.stubs.as_barrel import bore_of, check_bore
from stubsi.stubs.cases import Case
from stubsi.stubs.drawn import stub_shapes
from stubsi.stubs.model_choice import ModelChoice
from stubsi.stubs.solved_model import solved_models
from stubsi.stubs.stub_feed import feed_without_board
from stubsi.stubs.surroundings import around_of
from stubsi.units import one_si, show

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from numpy.typing import NDArray

    from stubsi.board.criterion import Criterion
    from stubsi.board.net import ReturnVias
    from stubsi.board.padstack import Padstack
    from stubsi.board.signal import Signal
    from stubsi.board.stackup import Stackup
    from stubsi.margin.built import Varied
    from stubsi.provenance import Provenance
    from stubsi.stubs.models import Models
    from stubsi.stubs.uniform_stub import Stub
    from stubsi.units import Dimensioned


EXACT = 1e-11
"""Relative resolution of the search for the longest uniform line that meets a criterion on loss. The result is
shortened by as much, so that rounding to another unit decides nothing."""
PROVEN_AND_COMPUTED: tuple[EndName, ...] = ("worst", "low")
"""The value of a figure that must meet the criterion: for a proven length, and for a length as computed."""


class LongestStub(NamedTuple):
    """Longest stub that meets a criterion.

    ``computed`` [m]: its length by the figures as computed. ``proven`` [m]: its length with the model as far off as it
    may be. ``unlimited``: whether every stub that fits meets the criterion; ``computed`` is then the longest that fits.
    """

    computed: float
    proven: float
    unlimited: bool


class Frequencies(NamedTuple):
    """First notch and 1 dB frequency of a stub [Hz], at the lower ends of what is known; None where unknown."""

    first_notch: float | None
    one_db: float | None


class SingleStub(ABC):
    """A stub whose length may vary. ``z0``: impedance of the line it hangs on [ohm], None where unknown."""

    z0: float | None

    @abstractmethod
    def figures(self, length: float, signal: Signal, criterion: Criterion) -> tuple[StubFigures, Provenance]:
        """Figures at a length, and how they were found.

        Parameters
        ----------
        length : float
            [m], above zero.
        signal : Signal
        criterion : Criterion
            The one that the figures are for.

        Returns
        -------
        figures : StubFigures
        provenance : Provenance

        Raises
        ------
        StubsiError, UnknownValueError
            A value that the criterion needs was not given; the hole is shorter than the stub.
        """

    @abstractmethod
    def longest(self, signal: Signal, criterion: Criterion) -> LongestStub:
        """Longest stub that meets a criterion.

        Parameters
        ----------
        signal : Signal
        criterion : Criterion

        Returns
        -------
        LongestStub

        Raises
        ------
        StubsiError, UnknownValueError
            As ``figures``.
        """

    @abstractmethod
    def frequencies(self, length: float) -> Frequencies:
        """First notch and 1 dB frequency at a length.

        Parameters
        ----------
        length : float
            [m]. Zero: no stub, and neither frequency.

        Returns
        -------
        Frequencies
        """

    @abstractmethod
    def provenance(self, length: float) -> Provenance:
        """How the stub is modelled at a length.

        Parameters
        ----------
        length : float
            [m]. Zero stands for the length as drawn.

        Returns
        -------
        Provenance
        """

    def end_layers(self, length: float) -> tuple[str, ...]:
        """Copper layer that a stub of some length ends at, or the two that it ends between.

        Parameters
        ----------
        length : float
            [m].

        Returns
        -------
        tuple of str
            Empty for a uniform line.
        """
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
    tolerances : Varied, optional
        What varies from board to board.
    """

    def __init__(self, stub: Stub, z0: float | None, tolerances: Varied | None = None) -> None:
        self.stub, self.z0 = stub, z0
        self.line = stub.single_line
        self.losses_known = z0 is not None and not math.isnan(self.line.z_stub)
        self.of_line = stub.provenance
        if tolerances is not None:
            low, high = checked_varied(tolerances).notch_range(stub.dk_eff)
            own = self.of_line
            self.of_line = replace(own, low=own.low * low, high=own.high * high, built=(low - 1, high - 1))
        self.notch_bounds = self.of_line.low, self.of_line.high

    def figures(self, length: float, signal: Signal, criterion: Criterion) -> tuple[StubFigures, Provenance]:
        """Figures at a length [m] above zero, and how they were found."""
        if criterion.on_loss:
            self._check_line_known(criterion)
            self._check_impedance_known()
        nyquist, notch = signal.nyquist_si, self.line.first_notch(length)
        one_db = loss = return_loss = nyquist_loss = nyquist_return_loss = None
        if self.losses_known:
            assert self.z0 is not None
            one_db = self._ends(self.line.one_db(length, self.z0))
            loss, return_loss = self._in_band(length, nyquist, notch, self.z0)
            nyquist_return_loss, nyquist_loss = self.line.losses(length, nyquist, self.z0)
        figures = StubFigures(
            length, nyquist, self._ends(notch), one_db, loss, return_loss, nyquist_loss, nyquist_return_loss
        )
        return figures, self.of_line

    def longest(self, signal: Signal, criterion: Criterion) -> LongestStub:
        """Longest stub that meets a criterion: by a closed form, or by a search for a criterion on loss."""
        if criterion.on_loss:
            return self._longest_by_loss(signal, criterion)
        if criterion.measure is Measure.NOTCH_RATIO:
            notch = criterion.limit * signal.nyquist_si
            computed, proven = (self.line.length_of_notch(notch / end) for end in (1.0, self.notch_bounds[0]))
            return LongestStub(computed, proven, False)
        length = criterion.longest_si(signal.nyquist_si)
        return LongestStub(length, length, False)

    def frequencies(self, length: float) -> Frequencies:
        """First notch and 1 dB frequency at a length [m]."""
        if not length > 0:
            return Frequencies(None, None)
        one_db = self.line.one_db(length, self.z0) if self.losses_known and self.z0 is not None else None
        return Frequencies(self.line.first_notch(length), one_db)

    def provenance(self, length: float) -> Provenance:
        """How the stub is modelled, whatever its length."""
        return self.of_line

    def _longest_by_loss(self, signal: Signal, criterion: Criterion) -> LongestStub:
        """Search for the longest stub, up to just beyond the length at which the notch is at the lowest frequency."""
        lowest = signal.nyquist_si * (criterion.limit if criterion.measure is Measure.ONE_DB_RATIO else 1.0)
        most = 1.01 * self.line.length_of_notch(lowest)
        wanted = [
            Wanted(0, criterion, signal.nyquist_si, np.array([most]), EXACT * most, end) for end in PROVEN_AND_COMPUTED
        ]

        def figures(_: Sequence[int], lengths: NDArray[np.float64]) -> list[StubFigures]:
            return [self.figures(length, signal, criterion)[0] for length in lengths.tolist()]

        proven, computed = (np.minimum(longest(wanted, figures), most) * (1 - EXACT)).tolist()
        return LongestStub(computed, proven, False)

    def _ends(self, frequency: float) -> Ends:
        low, high = self.notch_bounds
        return Ends(frequency * low, frequency, frequency, frequency * high)

    def _in_band(self, length: float, nyquist: float, notch: float, z0: float) -> tuple[Ends, Ends]:
        """Greatest loss and least return loss from 0 to Nyquist.

        If the true notch is a factor above the computed one, so is the frequency of every loss. The loss rises up to
        the first notch, and no later one is deeper.
        """
        low, high = self.notch_bounds
        at = [self.line.losses(length, min(nyquist / factor, notch), z0) for factor in (low, 1.0, 1.0, high)]
        return_losses, losses = zip(*at, strict=True)
        return Ends(*losses), Ends(*return_losses)

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
        Towards which side of the board the stub goes.
    return_vias : ReturnVias or None
    pitch, depth_drill : length or None
        Pitch of the pair, and diameter of the drill that ends the stub.
    feed : {"", "through", "tee"}
        From where its signal comes; blank: unknown.
    z0 : float or None
        Impedance of the line it hangs on [ohm].

    Raises
    ------
    StubsiError
        No stub towards that side; values out of range; a geometry that no board can have.
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
        feed: str = "",
        z0: float | None,
    ) -> None:
        pitch_si = None if pitch is None else one_si(pitch, "length", "pitch")
        stackup.index(layer)
        trial_board(stackup, padstack, layer, pitch_si, return_vias)
        names = stackup.names
        first, last = (stackup.index(name) for name in (padstack.span or (names[0], names[-1])))
        place = stackup.index(layer)
        span = Span(first, first, place, last) if side == "bottom" else Span(first, place, last, last)
        shapes = stub_shapes(stackup, padstack, span, feed=feed_without_board(stackup.copper, feed))
        if not shapes:
            raise StubsiError(f"layer = '{layer}': the hole ends there, it leaves no stub towards the {side}.")
        self.z0 = z0
        self.shape = shapes[0]
        self.around = around_of(return_vias, pitch_si)
        self.bore = None if depth_drill is None else bore_of(depth_drill, padstack)
        if self.bore is not None:
            check_bore(self.bore, padstack, self.around, "depth_drill")

    def figures(self, length: float, signal: Signal, criterion: Criterion) -> tuple[StubFigures, Provenance]:
        """Figures at a length [m] above zero, and how they were found."""
        lengths = np.array([length])
        models = self.models(lengths)
        return self._figures(models, lengths, signal, criterion, set(Measure))[0], models.provenance[0]

    def longest(self, signal: Signal, criterion: Criterion) -> LongestStub:
        """Longest stub that meets a criterion; remembered for stubs that are the same in all that it depends on."""
        model, z0 = ModelChoice(), self.z0 if criterion.on_loss else None
        permits = [
            Permit(self.shape, self.around, self.bore, criterion, signal.nyquist_si, z0, model, end)
            for end in PROVEN_AND_COMPUTED
        ]

        def figures(_: Sequence[int], lengths: NDArray[np.float64]) -> list[StubFigures]:
            return self._figures(self.models(lengths), lengths, signal, criterion, {criterion.measure})

        lengths = longest_permitted(permits, figures)
        proven, computed = np.minimum(lengths, self.shape.stub_length_si).tolist()
        return LongestStub(computed, proven, bool(np.isinf(lengths[1])))

    def frequencies(self, length: float) -> Frequencies:
        """First notch and 1 dB frequency at a length [m]."""
        if not length > 0:
            return Frequencies(None, None)
        lengths, z0 = np.array([length]), np.array([self.z0 or math.nan])
        found = stub_figures(
            self.models(lengths), np.zeros(1, dtype=np.intp), lengths, np.full(1, np.nan), z0,
            wanted=(Measure.ONE_DB_RATIO,),
        )  # fmt: skip
        return Frequencies(*(None if np.isnan(low) else float(low) for (low,) in (found.notch.low, found.one_db.low)))

    def provenance(self, length: float) -> Provenance:
        """How the stub is modelled at a length [m]. Zero stands for the length as drawn."""
        return self.models(np.array([length or self.shape.stub_length_si])).provenance[0]

    def end_layers(self, length: float) -> tuple[str, ...]:
        """Copper layer that a stub of a length [m] ends at, or the two that it ends between."""
        start, sign = self.shape.start_si, 1 if self.shape.side == "bottom" else -1
        stackup = self.shape.stackup
        depth = start + sign * length
        faces = [(stackup.face_si(name, face), name) for name in stackup.names for face in ("upper", "lower")]
        above = [name for at, name in faces if at <= depth + 1e-9]
        below = [name for at, name in faces if at >= depth - 1e-9]
        return tuple(dict.fromkeys((above[-1:] + below[:1]) or [self.shape.layer]))

    def models(self, lengths: NDArray[np.float64]) -> Models:
        """Model of the stub at some lengths.

        Parameters
        ----------
        lengths : ndarray
            [m].

        Returns
        -------
        Models
            One case for each length.

        Raises
        ------
        StubsiError
            The hole is shorter.
        """
        full = self.shape.stub_length_si
        if np.any(lengths > full * (1 + 1e-9)):
            raise StubsiError(
                f"stub_length = {show(lengths.max(), 'length')}: longer than the hole goes on beyond "
                f"{self.shape.layer}, {self.shape.distance}."
            )
        cases = [Case(self.shape, min(length, full), self.around, self.bore) for length in lengths.tolist()]
        return solved_models(cases)

    def _figures(
        self,
        models: Models,
        lengths: NDArray[np.float64],
        signal: Signal,
        criterion: Criterion,
        wanted: Collection[Measure],
    ) -> list[StubFigures]:
        """Figures of the stub at some lengths [m]; an error where an input is unknown that the criterion needs."""
        self._check_line_known(criterion)
        unknown = models.unknown_loss if criterion.on_loss else models.unknown
        missing = [] if criterion.on_length else [text for text in unknown if text]
        if missing:
            raise UnknownValueError(missing[0])
        count = len(lengths)
        nyquist, z0 = np.full(count, signal.nyquist_si), np.full(count, self.z0 or math.nan)
        return rows_of(stub_figures(models, np.arange(count), lengths, nyquist, z0, wanted=wanted))
