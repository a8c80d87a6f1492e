"""Owns the feed of a stub of a board: from where its signal comes, and the series impedances that follow from it."""

from __future__ import annotations

import math
from enum import StrEnum
from typing import TYPE_CHECKING, NamedTuple

from stubsi.physics.feed import FIELD_REACH, THROUGH, Feed, neighbour_inductance, tee

if TYPE_CHECKING:
    from stubsi.board.hole_kinds import HoleKind, Span
    from stubsi.board.layers import CopperLayer
    from stubsi.board.net import Hole
    from stubsi.board.stackup import Stackup
    from stubsi.stubs.barrel_layers import BarrelLayers

FEED_OPEN, TRACES_OPEN = "feed unknown: give feed", "sides of the traces unknown: give traces"
"""What is open where a feed is a range."""
THICK = 0.5
"""Copper thicker than this share of the height between strip and plane [-] is outside what the rules for a feed were
compared with, which had thin planes and thin strips. The share itself is a choice of this project."""


COMPARED = ((0.08e-3, 0.2e-3), (0.15e-3, 0.55e-3), (0.06e-3, 0.64e-3))
"""Between which barrel radii, clearance radii and heights from strip to plane [m] the tee was compared with full wave
or with static field solves."""


class FeedKind(StrEnum):
    """From where the signal of a stub comes."""

    THROUGH = "through"
    TEE = "tee"
    UNKNOWN = "unknown"


class FeedReason(StrEnum):
    """Why a feed is taken. Each is also the text that is shown."""

    TWO_LAYERS = "the net uses two layers of the hole"
    ONE_LAYER = "the net uses one layer of the hole"
    GIVEN = "as given"
    NOT_GIVEN = "feed is not given"
    THREE_LAYERS = "the net uses three or more layers of the hole"
    TWO_STUBS = "two stubs start from one layer"
    PIN = "a press-fit pin is the only other use of the hole"


class FeedNote(StrEnum):
    """Why the figures of a feed are a range, or less sure. Each is also the text that is shown."""

    NEIGHBOUR = "the net's other trace runs just beyond the next plane: range over the sides the traces leave to"
    OUTSIDE = "sizes outside those the tee was compared with: range from tee to through"
    PAIR = "no rule for a tee of a pair: range from tee to through of a single barrel"
    THICK = "copper thick against the height between strip and plane: range from tee to through"
    ENDS_FIRST = "ends before the first plane: the feed by the share of its height that is left"


class StubFeed(NamedTuple):
    """From where the signal of a stub comes, why that is known, and the other layers that its net may use.

    ``others``: numbers of these copper layers. ``traces``: "same" or "opposite" where it is stated to which sides of
    the barrel the two traces of the net leave; otherwise blank.
    """

    kind: FeedKind
    reason: FeedReason
    others: tuple[int, ...] = ()
    traces: str = ""

    def __str__(self) -> str:
        return f"feed {self.kind}: {self.reason}"


NOT_GIVEN = StubFeed(FeedKind.UNKNOWN, FeedReason.NOT_GIVEN)
"""Feed of a stub of which nothing is known, and whose net uses no other layer."""


class StubFeeds(NamedTuple):
    """The feeds that a stub is solved with, one or both ends of a range, and what to say about them."""

    feeds: tuple[Feed, ...]
    notes: tuple[FeedNote, ...]


def feed_of(stackup: Stackup, hole: Hole | HoleKind, span: Span) -> StubFeed:
    """Feed of the stubs of a hole on a board, from the layers that its net uses there.

    A net that uses two layers of the hole is *through* at each of them: the signal comes along the barrel. One that
    uses a single layer is a *tee*: both of its traces meet the barrel there, or the net ends there.

    Parameters
    ----------
    stackup : Stackup
    hole : Hole or HoleKind
        Its layers in use, and what is stated about its feed and traces.
    span : Span
        Copper layers that the hole reaches, and the outermost two in use.

    Returns
    -------
    StubFeed
    """
    uses, traces = [stackup.index(layer) for layer in hole.connects], hole.traces
    used = tuple(sorted({*uses, span.upper_in_use, span.lower_in_use}))
    if hole.feed:
        return StubFeed(FeedKind(hole.feed), FeedReason.GIVEN, used, traces)
    if len(used) > 2:
        return StubFeed(FeedKind.UNKNOWN, FeedReason.THREE_LAYERS, used, traces)
    if len(used) == 2:
        return StubFeed(FeedKind.THROUGH, FeedReason.TWO_LAYERS, used, traces)
    if span.first < used[0] < span.last:
        return StubFeed(FeedKind.UNKNOWN, FeedReason.TWO_STUBS, used, traces)
    if hole.press_fit:
        return StubFeed(FeedKind.UNKNOWN, FeedReason.PIN, used, traces)
    return StubFeed(FeedKind.TEE, FeedReason.ONE_LAYER, used, traces)


def feed_without_board(copper: tuple[CopperLayer, ...], given: str) -> StubFeed:
    """Feed of a stub that is on no board.

    Parameters
    ----------
    copper : tuple of CopperLayer
        The copper layers of its stackup.
    given : {"", "through", "tee"}
        What the user states. Blank: unknown; the net may then use any layer that is no plane.

    Returns
    -------
    StubFeed
    """
    if given:
        return StubFeed(FeedKind(given), FeedReason.GIVEN)
    signal = tuple(number for number, layer in enumerate(copper) if layer.role != "plane")
    return StubFeed(FeedKind.UNKNOWN, FeedReason.NOT_GIVEN, signal)


class _Plane(NamedTuple):
    """A plane next to the strip: height [m] from the strip to its middle, and radius [m] of its clearance."""

    height: float
    clearance_radius: float
    thickness: float


def feeds(layers: BarrelLayers, feed: StubFeed) -> StubFeeds:
    """Series impedances between strip and next plane that a stub is solved with.

    Parameters
    ----------
    layers : BarrelLayers
        The layers along the stub, with a plane beyond the layer in use.
    feed : StubFeed

    Returns
    -------
    StubFeeds
        One feed; or two or three, whose figures span the range of what is not known. The first has the lowest notch.

    Notes
    -----
    A range runs from the tee to the through feed. Over one plane (microstrip) no wave between planes is driven; the end
    of the range is then the inductance of the barrel over that plane, without the flux that the strips take from it:
    h2 ln(2.5 b/a), times mu0/(2 pi). There is no reference for it.

    Where another trace of the net may run just beyond the next plane, the through feed itself is a range, unless the
    sides of the traces are stated.
    """
    below, above = _plane_beyond(layers), _plane_before(layers)
    through, notes = _through(layers, feed, below, above)
    if feed.kind is FeedKind.THROUGH:
        return StubFeeds(through, notes)
    both = (*through, _tee(layers, below, above))
    if feed.kind is FeedKind.UNKNOWN:
        return StubFeeds(both, notes)
    if layers.pitch is not None:
        return StubFeeds(both, (FeedNote.PAIR,))
    if not _compared(layers, below, above):
        return StubFeeds(both, (FeedNote.OUTSIDE,))
    if max(below.thickness, layers.layers[layers.used].thickness_si) > THICK * below.height:
        return StubFeeds(both, (FeedNote.THICK,))
    return StubFeeds(both[-1:], ())


def _compared(layers: BarrelLayers, below: _Plane, above: _Plane | None) -> bool:
    """Whether a tee has sizes like those that the rule was compared with."""
    heights = [plane.height for plane in (below, above) if plane is not None]
    sizes = (layers.padstack.drill_si / 2, below.clearance_radius, *heights)
    ranges = (*COMPARED, COMPARED[-1])
    return all(low <= size <= high for size, (low, high) in zip(sizes, ranges, strict=False))


def _plane_beyond(layers: BarrelLayers) -> _Plane:
    """First plane on the side of the stub."""
    depth = 0.0
    for layer in layers.beyond:
        clearance = layers.clearance_radius(layer)
        if clearance is not None:
            return _Plane(depth + layer.thickness_si / 2, clearance, layer.thickness_si)
        depth += layer.thickness_si
    raise AssertionError("a stub without a plane beyond its layer in use has no feed")


def _plane_before(layers: BarrelLayers) -> _Plane | None:
    """First plane on the other side of the layer in use; None: there is none."""
    strip, *before = layers.back
    depth = strip.thickness_si
    for layer in before:
        clearance = layers.clearance_radius(layer)
        if clearance is not None:
            return _Plane(depth + layer.thickness_si / 2, clearance, layer.thickness_si)
        depth += layer.thickness_si
    return None


def _tee(layers: BarrelLayers, below: _Plane, above: _Plane | None) -> Feed:
    """The feed of a stub on whose layer both traces of the net lie."""
    return tee(
        barrel_radius=layers.padstack.drill_si / 2,
        clearance_radius=below.clearance_radius,
        pad_radius=layers.pad_in_use_radius,
        above=None if above is None else above.height,
        below=below.height,
        goes_on=above is not None and layers.passes_plane_before,
    )


def _through(
    layers: BarrelLayers, feed: StubFeed, below: _Plane, above: _Plane | None
) -> tuple[tuple[Feed, ...], tuple[FeedNote, ...]]:
    """The through feed, or both ends of its range where another trace of the net may run beyond the plane before."""
    if above is None:
        reach = FIELD_REACH * below.clearance_radius / (layers.padstack.drill_si / 2)
        return (Feed(share=0.0, inductance=below.height * math.log(reach)),), ()
    apart = layers.apart_beyond_one_plane(feed.others)
    if apart is None:
        return (THROUGH,), ()
    mutual = neighbour_inductance(above.clearance_radius, apart)
    ends = {"same": Feed(inductance=mutual), "opposite": Feed(inductance=-mutual)}
    return ((ends[feed.traces],), ()) if feed.traces else (tuple(ends.values()), (FeedNote.NEIGHBOUR,))
