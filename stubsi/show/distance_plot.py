"""Owns the plot of the first notch of a hole against the distance of its return vias."""

from __future__ import annotations

import cmath
import math
from typing import TYPE_CHECKING, NamedTuple

from stubsi.board.board import Board
from stubsi.board.criterion import Measure
from stubsi.board.names import by_name
from stubsi.board.net import Hole, Net
from stubsi.board.padstack import Padstack
from stubsi.checks import checked, is_list
from stubsi.errors import BoardError, StubsiError, UnknownValueError
from stubsi.show.axes import axes_for, check_axes, draw_labels, draw_legend
from stubsi.show.palette import BLACK, CURVES, MARKERS
from stubsi.stubs.hole_model import hole_model
from stubsi.unit_errors import as_shown
from stubsi.units import one_si
from stubsi.value import InSI

if TYPE_CHECKING:
    from collections.abc import Iterable

    from matplotlib.axes import Axes

    from stubsi.stubs.hole_stub import HoleStub
    from stubsi.units import Dimensioned

DISTANCES = ("0.6 mm", "0.8 mm", "1 mm", "1.25 mm", "1.6 mm", "2 mm", "2.5 mm", "3.2 mm")
"""Distances that are drawn unless others are given."""
COUNTS, AROUND_PAIRS = (1, 2, 4), (2, 4)
"""Numbers of return vias around a hole, and around a pair, a curve each."""


class _Place(NamedTuple):
    """Where return vias stand around: the hole, or the midpoint of its pair, as a complex number [m]."""

    centre: complex
    axis: float
    pair: bool = False

    def around(self, count: int, distance: float) -> list[complex]:
        """Places of so many vias at a distance, evenly around; four of a pair stand off its axis by 45 degrees."""
        turned = math.pi / 4 if self.pair and count == 4 else 0.0
        return [self.centre + cmath.rect(distance, self.axis + turned + 2 * math.pi * n / count) for n in range(count)]


def plot_return_distance(
    board: Board, hole: str, distances: Iterable[Dimensioned] = DISTANCES, ax: Axes | None = None
) -> Axes:
    """Plot the first notch [GHz] of a hole against the distance [mm] of its return vias, a curve for each number.

    The return vias of the board are left out, and others stand in their place, with the drill of the hole: one, two or
    four evenly around a single hole. Around the midpoint of a pair stand two on the line through both holes, or four at
    45 degrees to it; a via midway between both holes carries no current of the pair. Of two stubs the one with the
    lower notch is drawn, and of a notch that is a range its lower end. A star marks the hole as it stands on the board,
    at the distance of its nearest return via. The line is the limit, where the criterion of the net is one on the first
    notch.

    Parameters
    ----------
    board : Board
        With the hole in one of its signal nets.
    hole : str
        Its name; its position must be known.
    distances : iterable of length
        Centre of the hole, or of its pair, to the centre of each return via. Where a via would stand in another hole of
        the net, nothing is drawn.
    ax : matplotlib.axes.Axes, optional
        Where to draw; of a new figure unless given.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    StubsiError, UnitError
        matplotlib is missing; no board, no such hole, or one without stub or without position; no distances; at none of
        them a via has room; no axes.
    """
    check_axes(ax)
    owners = {each.name: (net, each) for net, each in checked(board, "board", Board).holes()}
    net, middle = by_name(owners, checked(hole, "hole"), "hole", "among the signal nets")
    if not is_list(distances):
        raise StubsiError(f"distances = {as_shown(distances)}: must be a list of lengths, like ['1 mm', '2 mm'].")
    metres = sorted({one_si(distance, "length", "distances") for distance in distances})
    place = _place(net, middle)
    counts = AROUND_PAIRS if place.pair else COUNTS
    notches = {count: [_notch_at(board, net, middle, place.around(count, d)) for d in metres] for count in counts}
    if all(notch is None for curve in notches.values() for notch in curve):
        raise StubsiError(f"distances: at none of these has a return via room beside hole {hole}.")
    ax = axes_for(ax, width=8.2, height=4.0)
    for (count, curve), (style, colour), marker in zip(notches.items(), CURVES, MARKERS, strict=False):
        known = [(1e3 * d, notch / 1e9) for d, notch in zip(metres, curve, strict=True) if notch is not None]
        label = f"{count} return {'via' if count == 1 else 'vias'}"
        ax.plot(*zip(*known, strict=True), linestyle=style, color=colour, marker=marker, markersize=4, label=label)
    _draw_as_drawn(ax, board, hole, place)
    _draw_limit(ax, board, net)
    draw_labels(
        ax, f"Hole {hole} of net {net.name}: first notch against the distance of its return vias",
        x="distance of the return vias [mm]", y="first notch [GHz]",
    )  # fmt: skip
    draw_legend(ax)
    return ax


def _place(net: Net, hole: Hole) -> _Place:
    """Centre of the hole or its pair, and the direction in which the first return via stands."""
    if hole.xy_si is None:
        raise StubsiError(f"hole {hole.name}: its position is not known; give it x and y.")
    here = complex(*hole.xy_si)
    others = [complex(*each.xy_si) for each in net.holes if hole.leg and each.leg not in ("", hole.leg) and each.xy_si]
    if not others:
        return _Place(here, 0.0)
    other = min(others, key=lambda at: abs(at - here))
    return _Place((here + other) / 2, cmath.phase(here - other), pair=True)


def _notch_at(board: Board, net: Net, hole: Hole, places: list[complex]) -> float | None:
    """First notch [Hz] with return vias at these places alone; None where one of them has no room."""
    post = Padstack(name="return via", drill=InSI(hole.padstack.drill_si))
    vias = tuple(
        Hole(name=f"return via {n}", padstack=post, x=InSI(place.real), y=InSI(place.imag))
        for n, place in enumerate(places, start=1)
    )
    try:
        alone = board.replaced(nets=(net, Net(name="return vias", holes=vias, reference=True)))
    except BoardError:  # a via runs into a hole of the net
        return None
    return _notch(alone, hole.name)


def _notch(board: Board, hole: str) -> float:
    """Lowest first notch [Hz] of the stubs of a hole; the lower end where it is a range."""
    stubs: tuple[HoleStub, ...] = hole_model(board, hole).stubs
    if not stubs:
        raise StubsiError(f"hole {hole}: has no stub; there is no notch to plot.")
    return min(float(stub.models.first_notch[0, 0]) for stub in stubs)


def _draw_as_drawn(ax: Axes, board: Board, hole: str, place: _Place) -> None:
    """The hole as it stands on the board; nothing where its return vias are not known."""
    posts = [complex(*each.xy_si) for net in board.nets if net.reference for each in net.holes if each.xy_si]
    try:
        notch = _notch(board, hole)
    except UnknownValueError:
        return
    if posts:
        nearest = min(abs(post - place.centre) for post in posts)
        ax.plot(
            [1e3 * nearest], [notch / 1e9], linestyle="", marker="*", color=BLACK, markersize=11,
            label="as drawn, nearest return via",
        )  # fmt: skip


def _draw_limit(ax: Axes, board: Board, net: Net) -> None:
    """The limit on the notch where it lies near the curves; the axis keeps what is drawn in view, and not less."""
    low, high = ax.get_ylim()
    criterion = board.criterion_of(net)
    if criterion.measure is Measure.NOTCH_RATIO and net.signal is not None:
        limit = criterion.limit * net.signal.nyquist_si / 1e9
        label = f"limit: {criterion.limit:g} x Nyquist\n= {limit:.3g} GHz"
        if low / 2 < limit < 2 * high:
            ax.axhline(limit, color=BLACK, linewidth=1.5, label=label)
            low, high = min(low, 0.95 * limit), max(high, 1.05 * limit)
        else:
            ax.plot([], [], color=BLACK, linewidth=1.5, label=f"{label},\nbeyond this picture")
    middle = (low + high) / 2
    half = max(0.55 * (high - low), 0.15 * middle)
    ax.set_ylim(middle - half, middle + half)
