"""Owns the plot of the trade of drill groups against margin."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.checks import checked
from stubsi.drilling.group_trade import GroupTrade
from stubsi.errors import StubsiError
from stubsi.show.axes import axes_for, draw_labels, draw_legend, shown
from stubsi.show.palette import BLACK, DARK_BLUE

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def plot_group_trade(trade: GroupTrade, ax: Axes | None = None) -> Axes:
    """Plot the smallest worst-case margin over limit against the number of drill groups.

    Each mark names the net that has the margin. An open mark is not proven to be the largest possible margin; a bar
    above it reaches up to what may be possible. The line is the limit.

    Parameters
    ----------
    trade : GroupTrade
        As ``Plan.group_trade`` gives it.
    ax : matplotlib.axes.Axes, optional
        Where to draw; of a new figure unless given.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    StubsiError
        matplotlib is missing; no trade, or one without rows; no axes.
    """
    if not checked(trade, "trade", GroupTrade):
        raise StubsiError("trade: has no rows; no drill group is needed.")
    ax = axes_for(ax, width=6.4, height=4.0)
    groups, margins = [row.groups for row in trade], [row.margin_over_limit for row in trade]
    colour = DARK_BLUE
    ax.plot(groups, margins, linestyle=":", color=colour, zorder=1)
    middle = (min(groups) + max(groups)) / 2
    for row in trade:
        above = row.margin_over_limit / (1 - row.gap) - row.margin_over_limit
        face = colour if row.proven else "white"
        ax.errorbar(
            row.groups, row.margin_over_limit, yerr=[[0.0], [above]], marker="o", color=colour, markerfacecolor=face
        )
        away, side = (4, "left") if row.groups <= middle else (-4, "right")
        ax.annotate(
            shown(row.net), (row.groups, row.margin_over_limit), xytext=(away, -10), textcoords="offset points",
            ha=side, fontsize="small", parse_math=False,
        )  # fmt: skip
    ax.axhline(1.0, color=BLACK, linestyle="--", label="limit of the criterion")
    ax.set_xticks(range(min(groups), max(groups) + 1))
    draw_labels(ax, "Smallest worst-case margin for each number of groups", x="drill groups", y="margin over limit")
    draw_legend(ax, inside="best")
    return ax
