"""Owns the plot of the nets before and after drilling on one margin axis."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stubsi.board.criterion import Measure
from stubsi.board.names import three_digits
from stubsi.checks import checked
from stubsi.drilling.consequences import Consequences
from stubsi.show.axes import (
    axes_for,
    draw_beyond,
    draw_labels,
    draw_legend,
    draw_note,
    draw_rows,
    not_drawn,
    rows_that_fit,
    set_log_axis,
)  # fmt: skip
from stubsi.show.margin_plot import LEGEND_ROWS, MOST_NETS, REACH
from stubsi.show.palette import BLACK, GREY, LOOKS

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stubsi.board.criterion import Criterion
    from stubsi.drilling.consequences import NetChange


def plot_margin_changes(consequences: Consequences, ax: Axes | None = None) -> Axes:
    """Plot first notch / Nyquist of every net before and after worst-case drilling, the worst after it on top.

    A tick is the margin as drawn, a line leads from there to the margin after drilling at worst tolerance,
    whose mark shows the verdict. A net that is not drilled has the mark alone. The vertical line is the limit of the
    net's criterion; a text names the figure of a criterion that is not on the notch. What lies beyond the right edge
    has an arrow with its margin there. Of a large board, or in low axes, the worst nets are drawn, ``MOST_NETS`` at
    most; the axis says how many more there are.

    Parameters
    ----------
    consequences : Consequences
        As ``Plan.consequences`` gives them.
    ax : matplotlib.axes.Axes, optional
        Where to draw; of a new figure unless given.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    StubsiError
        matplotlib is missing; no consequences; no axes.
    """
    every = [net for net in checked(consequences, "consequences", Consequences).nets if net.margin[2] is not None]
    ax = axes_for(ax, width=8.6, height=1.6 + 0.18 * max(LEGEND_ROWS, min(len(every), MOST_NETS)))
    nets = every[: rows_that_fit(ax, MOST_NETS)]
    board = consequences.plan.board
    criteria = [board.criterion_of(board.net(net.net)) for net in nets]
    set_log_axis(ax, _ends(nets, criteria))
    _draw_limits(ax, criteria)
    for row, net in enumerate(nets):
        _draw_change(ax, row, net)
    draw_rows(ax, [net.net for net in nets])
    right = ax.get_xlim()[1]
    for row, (net, criterion) in enumerate(zip(nets, criteria, strict=True)):
        _draw_notes(ax, row, net, criterion, right)
    draw_labels(
        ax, f"Margins before and after worst-case drilling, plan {consequences.plan.digest}",
        x=f"first notch / Nyquist{not_drawn(len(every) - len(nets))}",
    )  # fmt: skip
    draw_legend(ax)
    return ax


def _ends(nets: list[NetChange], criteria: list[Criterion]) -> tuple[float, float]:
    """Ends of the axis: all margins short of ``REACH`` times the highest limit, and every limit."""
    limits = [criterion.limit for criterion in criteria if criterion.measure is Measure.NOTCH_RATIO] or [1.0]
    most = REACH * max(limits)
    margins = [margin for net in nets for margin in (net.margin[0], net.margin[2]) if margin is not None]
    left = 0.8 * min([*limits, *(margin for margin in margins if margin > 0)])
    return left, 1.25 * min(most, max([*limits, *(margin for margin in margins if margin <= most)]))


def _draw_limits(ax: Axes, criteria: list[Criterion]) -> None:
    rows = [n for n, criterion in enumerate(criteria) if criterion.measure is Measure.NOTCH_RATIO]
    if rows:
        at, limits = np.array(rows), [criteria[n].limit for n in rows]
        ax.vlines(limits, at - 0.5, at + 0.5, color=BLACK, linewidth=1.5, label="limit of the criterion")


def _draw_change(ax: Axes, row: int, net: NetChange) -> None:
    """Mark before, line, and mark after of one net; every look has one entry in the legend."""
    before, _, after = net.margin
    look = LOOKS[net.verdict[2]]
    if after is None:
        return
    if before is not None and net.hits:
        ax.plot([before, after], [row, row], color=look.colour, linewidth=1)
        ax.plot(
            [before], [row], linestyle="", marker="|", color=GREY, markersize=7, markeredgewidth=1.5,
            label=_once(ax, "as drawn"),
        )  # fmt: skip
    label = _once(ax, f"after drilling: {net.verdict[2]}")
    ax.plot([after], [row], linestyle="", marker=look.marker, color=look.colour, markersize=5, label=label)


def _once(ax: Axes, label: str) -> str:
    """The label, or one that the legend leaves out where it has it already."""
    return "_" if any(line.get_label() == label for line in ax.lines) else label


def _draw_notes(ax: Axes, row: int, net: NetChange, criterion: Criterion, right: float) -> None:
    """The figure a net is judged by where it is not the notch; an arrow with the margin where that lies beyond."""
    before, after = net.margin[0], net.margin[2] or 0.0
    judged = "" if criterion.measure is Measure.NOTCH_RATIO else f"judged by {criterion.measure}"
    if after > right:
        draw_beyond(ax, row, f"{judged}  {three_digits(after)}")
    elif judged:
        draw_note(ax, row, (min(before or after, after), after), judged)
