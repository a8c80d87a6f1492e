"""Owns the plots of tolerances: the band of every net, and what dominates the band of one net."""

from __future__ import annotations

import math
from dataclasses import fields
from typing import TYPE_CHECKING, NamedTuple

from stubsi.board.names import three_digits
from stubsi.checks import checked
from stubsi.errors import StubsiError
from stubsi.margin.verdict import over_limit
from stubsi.show.axes import (
    axes_for,
    check_axes,
    draw_beyond,
    draw_labels,
    draw_note,
    draw_rows,
    rows_that_fit,
)  # fmt: skip
from stubsi.show.margin_plot import MOST_NETS
from stubsi.show.palette import BLACK, DARK_BLUE, GREY
from stubsi.tolerance.corners import Corners, corners
from stubsi.tolerance.production_yield import NetYield, ProductionYield
from stubsi.tolerance.tolerances import Tolerances
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stubsi.tolerance.corners import NetCorners


class _Band(NamedTuple):
    """Margin over limit of a net: worst, middle, best."""

    name: str
    worst: float
    middle: float
    best: float


def plot_tolerance_bands(found: Corners | ProductionYield, ax: Axes | None = None) -> Axes:
    """Plot the tolerance band of every net on the axis of margin over limit, the lowest worst case on top.

    The margin over limit is the judged figure over the limit of the net's criterion, or the limit over the figure where
    less is better: left of 1 the criterion is missed. Of ``corners`` the bar reaches from the worst to the best corner,
    with a mark at the nominal board. Of ``production_yield`` it spans 98 % of the boards built, with a mark at the
    median, and the share of boards that meet the criterion stands beside it. A bar that crosses 1 is dark, one
    beyond it grey.

    Parameters
    ----------
    found : Corners or ProductionYield
        As ``corners`` or ``production_yield`` gives it.
    ax : matplotlib.axes.Axes, optional
        Where to draw; of a new figure unless given.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    StubsiError
        matplotlib is missing; another kind of result; no net whose figure is known; no axes.
    """
    if not isinstance(found, Corners | ProductionYield):
        raise StubsiError(f"found = {as_shown(found)}: must be a Corners or a ProductionYield.")
    shares = {net.net: net.probability for net in found.nets if isinstance(net, NetYield)}
    every = sorted((band for net in found.nets if (band := _band(net))), key=lambda band: band.worst)
    if not every:
        raise StubsiError("found: has no net with a stub whose figure is known.")
    ax = axes_for(ax, width=7.0, height=1.4 + 0.18 * min(len(every), MOST_NETS))
    bands = every[: rows_that_fit(ax, MOST_NETS)]
    _draw_bands(ax, bands)
    right = _right_end(bands)
    ax.set_xlim(0, right)
    for row, band in enumerate(bands):
        share = f"{100 * shares[band.name]:.3g} %" if band.name in shares else ""
        if band.worst > right:
            draw_beyond(ax, row, f"{share}  {three_digits(band.worst)}")
        elif band.best > right:
            draw_beyond(ax, row, share)
        elif share:
            draw_note(ax, row, (band.worst, band.best), share)
    middle = "corners: worst, nominal, best" if isinstance(found, Corners) else "1 %, 50 %, 99 % of the boards built"
    more = len(found.nets) - len(bands)
    draw_labels(
        ax, f"Tolerance bands, {middle}" + (f"; {more} nets left out" if more else ""),
        x="margin over limit (line: the limit)",
    )  # fmt: skip
    return ax


def _band(net: NetCorners | NetYield) -> _Band | None:
    """Margin over limit of a net; None where it has no stub or its figure is not known."""
    judged = net.quantiles if isinstance(net, NetYield) else net.judged
    low, middle, high = sorted(over_limit(net.criterion, figure) for figure in judged)
    return _Band(net.net, low, middle, high) if math.isfinite(low) else None


def _right_end(bands: list[_Band]) -> float:
    """End of the axis: what is decisive lies below 3; beyond 5 nothing is."""
    finite = [band.best for band in bands if math.isfinite(band.best)]
    return 1.15 * min(max([1.2, *finite]), 5.0)


def _draw_bands(ax: Axes, bands: list[_Band]) -> None:
    end = 1.2 * _right_end(bands)
    for row, band in enumerate(bands):
        colour = DARK_BLUE if band.worst < 1 else GREY
        ax.barh(row, min(band.best, end) - band.worst, left=band.worst, height=0.55, color=colour, alpha=0.55)
        ax.plot([band.middle], [row], linestyle="", marker="|", color=BLACK, markersize=7)
    ax.axvline(1.0, color=BLACK, linewidth=1.5)
    draw_rows(ax, [band.name for band in bands])


def plot_net_tolerance(found: Corners, net: str, ax: Axes | None = None) -> Axes:
    """Plot what dominates the tolerance band of one net: all tolerances together, then each of them alone.

    Each bar reaches from the worst to the best corner of the figure that the net's criterion limits, over its limit.
    The widest bar of a single tolerance is the one that dominates. The corners of each tolerance alone are solved for
    this plot, two boards for each tolerance or more.

    Parameters
    ----------
    found : Corners
        As ``corners`` gives them.
    net : str
        Name of the net.
    ax : matplotlib.axes.Axes, optional
        Where to draw; of a new figure unless given.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    StubsiError
        matplotlib is missing; no corners; no such net, or its figure is not known; no axes.
    """
    check_axes(ax)
    band = _band(checked(found, "found", Corners)[checked(net, "net")])
    if band is None:
        raise StubsiError(f"net = {as_shown(net)}: has no stub, or its figure is not known.")
    alone = [
        each._replace(name=name.replace("_", " "))
        for name in _given(found.tolerances)
        if (each := _band(_corners_of_one(found, name)[net]))
    ]
    bands = [band._replace(name="all together"), *sorted(alone, key=lambda each: each.worst - each.best)]
    ax = axes_for(ax, width=6.4, height=1.4 + 0.35 * len(bands))
    _draw_bands(ax, bands)
    for row, each in enumerate(bands):
        for end, align in ((each.worst, "right"), (each.best, "left")):
            ax.annotate(
                f"{end:.3g}", (end, row), (-3 if align == "right" else 3, 0), textcoords="offset points", ha=align,
                va="center", fontsize="x-small",
            )  # fmt: skip
    low, high = min(1.0, band.worst), max(1.0, band.best)
    ax.set_xlim(low - 0.2 * (high - low), high + 0.2 * (high - low))
    draw_labels(ax, f"Net {net}: tolerance band, and what dominates it", x="margin over limit (line: the limit)")
    return ax


def _given(tolerances: Tolerances) -> list[str]:
    """Names of the tolerances that are given."""
    return [field.name for field in fields(Tolerances) if getattr(tolerances, field.name)]


def _corners_of_one(found: Corners, name: str) -> Corners:
    """The corners where everything but one tolerance is exact, by the same model."""
    only = Tolerances(**{name: getattr(found.tolerances, name)})
    return corners(found.board, only, **found.model.arguments())
