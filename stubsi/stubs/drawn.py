"""Owns the stubs a hole leaves, as drawn: their lengths, and how much of each no depth drill can remove."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from stubsi.board.stackup import Distance
from stubsi.units import quantity, show

if TYPE_CHECKING:
    from stubsi.board.board import Span
    from stubsi.board.padstack import Padstack, PressFit
    from stubsi.board.stackup import Stackup


@dataclass(frozen=True, kw_only=True)
class StubShape:
    """A stub as drawn: everything but its position and its signal.

    ``stub_length_si`` [m] runs from the near face of ``layer`` (the layer in use) to the end of the barrel, or of a
    press-fit pin that goes on beyond it (``ends_in_pin``). ``least_length_si`` is what a depth drill cannot take away,
    ``kept_by`` why.
    """

    stackup: Stackup
    padstack: Padstack
    span: Span
    side: str
    press_fit: PressFit | None
    stub_length_si: float
    between: str
    ends_in_pin: bool
    least_length_si: float
    kept_by: str

    @property
    def layer(self) -> str:
        """The layer in use the stub starts at."""
        place = self.span.upper_in_use if self.side == "top" else self.span.lower_in_use
        return self.stackup.names[place]

    @property
    def start_si(self) -> float:
        """Depth [m] below the top copper face of the near face of the layer in use."""
        return self.stackup.face_si(self.layer, "upper" if self.side == "top" else "lower")

    @property
    def stub_length(self) -> Distance:
        """Stub length and the faces it runs between."""
        return Distance(length=quantity(self.stub_length_si, "length"), between=self.between)


def stub_shapes(
    stackup: Stackup, padstack: Padstack, span: Span, press_fit: PressFit | None = None
) -> tuple[StubShape, ...]:
    """Stubs of a hole: none, one, or two (above and below), never summed."""
    found = (_shape(stackup, padstack, span, side, press_fit) for side in ("top", "bottom"))
    return tuple(shape for shape in found if shape is not None)


def _shape(stackup: Stackup, padstack: Padstack, span: Span, side: str, press_fit: PressFit | None) -> StubShape | None:
    place, end = (span.upper_in_use, span.first) if side == "top" else (span.lower_in_use, span.last)
    layer, last = stackup.names[place], stackup.names[end]
    drawn = stackup.stub_length(layer, side, last)
    length, between = drawn.length_si, drawn.between
    start = stackup.face_si(layer, "upper" if side == "top" else "lower")
    pin = _beyond(stackup, press_fit, side, start, "pin_length_si")
    ends_in_pin = pin > length + 1e-9 and end in (0, len(stackup.names) - 1)
    if ends_in_pin:
        length, between = pin, between.split(" to ")[0] + " to the tip of the press-fit pin, beyond the board"
    if length <= 0:
        return None
    least, kept_by = _least(stackup, press_fit, side, start, pin)
    if end not in (0, len(stackup.names) - 1):
        least, kept_by = length, f"the stub ends inside the board, at {last}, where no depth drill reaches it"
    return StubShape(
        stackup=stackup, padstack=padstack, span=span, side=side, press_fit=press_fit, stub_length_si=length,
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


def _beyond(stackup: Stackup, fit: PressFit | None, side: str, start: float, what: str) -> float:
    """How far [m] a depth of the press fit lies beyond the start of the stub; negative or 0 if it does not."""
    depth = getattr(fit, what) if fit else None
    if depth is None or fit.side == side:
        return 0.0
    from_top = depth if fit.side == "top" else stackup.edges_si[-1] - depth
    return from_top - start if side == "bottom" else start - from_top
