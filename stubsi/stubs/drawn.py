"""Owns the stubs of a hole as drawn: their lengths, and the part of each that no depth drill can remove."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Literal

import numpy as np

from stubsi.board.distance import Distance, EndKind
from stubsi.read_only import read_only
from stubsi.stubs.stub_feed import NOT_GIVEN, StubFeed
from stubsi.units import show
from stubsi.value import InSI, Value, value_object

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.board.distance import Between
    from stubsi.board.hole_kinds import Span
    from stubsi.board.padstack import Padstack, PressFit
    from stubsi.board.stackup import Stackup

TOUCHES = 1e-9
"""Depths that differ by no more than this [m] count as equal."""


@value_object
class StubShape(Value):
    """A stub as drawn: everything but its position and its signal.

    Parameters
    ----------
    stackup : Stackup
    padstack : Padstack
    span : Span
        Copper layers that the hole reaches and that it uses.
    side : {"top", "bottom"}
        Towards which side of the board the stub goes.
    press_fit : PressFit or None
    feed : StubFeed
        From where its signal comes.
    stub_length_si : float
        From the near face of ``layer`` (the layer in use) to the end of the barrel, or to the tip of a press-fit pin
        that goes on beyond it [m].
    between : Between
        The two ends of that length.
    ends_in_pin : bool
        Whether it ends at the tip of a press-fit pin.
    least_length_si : float
        Length that a depth drill cannot remove [m].
    kept_by : str
        Why that length stays; empty if all of the stub can be drilled away.
    """

    stackup: Stackup
    padstack: Padstack
    span: Span
    side: str
    press_fit: PressFit | None
    feed: StubFeed
    stub_length_si: float
    between: Between
    ends_in_pin: bool
    least_length_si: float
    kept_by: str

    def __repr__(self) -> str:
        return f"StubShape({self.padstack.name!r}, {str(self.distance)!r})"

    @property
    def layer(self) -> str:
        """The layer in use the stub starts at."""
        place = self.span.upper_in_use if self.side == "top" else self.span.lower_in_use
        return self.stackup.names[place]

    @property
    def start_si(self) -> float:
        """Depth [m] below the top copper face of the near face of the layer in use."""
        return self.stackup.face_si(self.layer, "upper" if self.side == "top" else "lower")

    @cached_property
    def face_lengths_si(self) -> NDArray[np.float64]:
        """Lengths [m] at which the stub passes a face of a layer, rising; the last one is its full length."""
        full = self.stub_length_si
        beyond = np.array(self.stackup.edges_si) - self.start_si
        beyond = np.sort(beyond if self.side == "bottom" else -beyond)
        return read_only(np.append(beyond[(beyond > 1e-9) & (beyond < full - 1e-9)], full))

    @cached_property
    def copper_lengths_si(self) -> NDArray[np.float64]:
        """Lengths [m] at which the stub reaches the near face of a plane or of a layer with a pad on it, rising."""
        face = "upper" if self.side == "bottom" else "lower"
        met = (
            layer.name
            for layer in self.stackup.copper
            if layer.role != "signal" or self.padstack.pad_at(layer.name, in_use=False, outer=False) is not None
        )
        depths = np.array([self.stackup.face_si(name, face) for name in met]) - self.start_si
        beyond = np.sort(depths if self.side == "bottom" else -depths)
        return read_only(beyond[(beyond > TOUCHES) & (beyond < self.stub_length_si - TOUCHES)])

    @property
    def distance(self) -> Distance:
        """Stub length and the two ends it runs between."""
        return Distance(length=InSI(self.stub_length_si), between=self.between)


def stub_shapes(
    stackup: Stackup, padstack: Padstack, span: Span, press_fit: PressFit | None = None, feed: StubFeed = NOT_GIVEN
) -> tuple[StubShape, ...]:
    """Stubs of a hole: none, one, or two (above and below), never summed.

    Parameters
    ----------
    stackup : Stackup
    padstack : Padstack
    span : Span
        Copper layers that the hole reaches and that it uses.
    press_fit : PressFit, optional
        The pin pressed into it.
    feed : StubFeed
        From where the signal of its stubs comes; unknown unless given.

    Returns
    -------
    tuple of StubShape
        The one towards the top first.
    """
    shapes = (_shape(stackup, padstack, span, side, feed=feed, press_fit=press_fit) for side in ("top", "bottom"))
    return tuple(shape for shape in shapes if shape is not None)


def _shape(
    stackup: Stackup, padstack: Padstack, span: Span, side: str, *, feed: StubFeed, press_fit: PressFit | None
) -> StubShape | None:
    """The stub of a hole towards one side, as drawn; None where the barrel ends at the layer in use."""
    place, end = (span.upper_in_use, span.first) if side == "top" else (span.lower_in_use, span.last)
    layer, last = stackup.names[place], stackup.names[end]
    drawn = stackup.stub_length(layer, side, last)
    length, between = drawn.length_si, drawn.between
    start = stackup.face_si(layer, "upper" if side == "top" else "lower")
    through = end in (0, len(stackup.names) - 1)
    pin = _beyond(stackup, press_fit, side, start, "pin_length_si")
    ends_in_pin = through and pin > length + TOUCHES
    if ends_in_pin:
        length, between = pin, between.ending_at(EndKind.PIN_TIP)
    if length <= 0:
        return None
    least, kept_by = _least(stackup, press_fit, side, start, pin)
    if not through:
        least, kept_by = length, f"the stub ends inside the board, at {last}, where no depth drill reaches it"
    return StubShape(
        stackup=stackup, padstack=padstack, span=span, side=side, press_fit=press_fit, feed=feed, stub_length_si=length,
        between=between, ends_in_pin=ends_in_pin, least_length_si=min(least, length), kept_by=kept_by,
    )  # fmt: skip


def _least(stackup: Stackup, fit: PressFit | None, side: str, start: float, pin: float) -> tuple[float, str]:
    """Part of the stub [m] that must or will stay, and why."""
    zone = _beyond(stackup, fit, side, start, "contact_to_si")
    if pin > zone and pin > 0:
        return pin, f"the press-fit pin stays, {show(pin, 'length')} beyond the layer in use"
    if zone > 0:
        return zone, f"the press-fit contact zone reaches {show(zone, 'length')} beyond the layer in use"
    return 0.0, ""


def _beyond(
    stackup: Stackup, fit: PressFit | None, side: str, start: float, depth_of: Literal["pin_length_si", "contact_to_si"]
) -> float:
    """How far [m] a depth of the press fit lies beyond the start of the stub; negative or 0 if it does not."""
    if fit is None or fit.side == side:
        return 0.0
    depth: float | None = fit.pin_length_si if depth_of == "pin_length_si" else fit.contact_to_si
    if depth is None:
        return 0.0
    from_top = depth if fit.side == "top" else stackup.edges_si[-1] - depth
    return from_top - start if side == "bottom" else start - from_top
