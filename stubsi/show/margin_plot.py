"""Owns the plot of a ranking: the nets on a margin axis, worst on top."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.board.criterion import Measure
from stubsi.board.names import three_digits
from stubsi.checks import checked
from stubsi.margin.ranking import Ranking
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
from stubsi.show.palette import BLACK, LOOKS

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from numpy.typing import NDArray

    from stubsi.board.criterion import Criterion

    Floats = NDArray[np.float64]

OFF_THE_AXIS = 1000.0
"""A range of a notch without upper end is drawn up to this many times its lower end, which lies beyond the axis."""
REACH = 10.0
"""The axis of margins ends at this many times the highest limit at most, or of Nyquist if there is no limit."""

LEGEND_ROWS = 7
"""A figure is as high as so many nets need at the least, so that the legend beside them has room."""
MOST_NETS = 60
"""Nets that are drawn at most: the worst ones. More rows than these do not stand on one page."""


def plot_margins(ranking: Ranking, ax: Axes | None = None) -> Axes:
    """Plot first notch / Nyquist of every net, worst on top, against the limit of its criterion.

    The mark is the margin as computed (two marks: the ends of its range). The bar spans what it may be, with the model
    as far off as it may be. The line is the limit. A net without stub has no bar. A net whose criterion is on
    another figure than the notch has no line, and a text beside its bar names that figure. Slow nets, with a margin of
    more than ``REACH`` times the highest limit, lie beyond the right edge: an arrow with the margin stands there, and a
    note says how many there are. Of a large board, or in low axes, the worst nets are drawn, ``MOST_NETS`` at most; the
    axis says how many more there are.

    Parameters
    ----------
    ranking : Ranking
        Whose nets are drawn.
    ax : matplotlib.axes.Axes, optional
        Where to draw; of a new figure unless given.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    StubsiError
        matplotlib is missing; no ranking; no axes.
    """
    checked(ranking, "ranking", Ranking)
    ax = axes_for(ax, width=8.6, height=1.6 + 0.18 * max(LEGEND_ROWS, min(len(ranking), MOST_NETS)))
    drawn = ranking.order[: rows_that_fit(ax, MOST_NETS)]
    rows = [row for row, _ in zip(ranking, drawn, strict=False)]
    nyquist = ranking.figures.nyquist[drawn]
    notch = ranking.figures.notch
    ratios = _Ratios(*(np.fmin(end, OFF_THE_AXIS * notch.low)[drawn] / nyquist for end in notch))
    criteria = _criteria_in_order(ranking, len(drawn))
    limits = [criterion.limit for criterion in ranking.criteria if criterion.measure is Measure.NOTCH_RATIO]
    verdicts = np.array([row.verdict for row in rows], dtype=object)
    _draw_bars(ax, ratios, verdicts)
    _draw_limits(ax, ranking, criteria)
    set_log_axis(ax, _range(ratios, limits or [1.0]))
    draw_rows(ax, [row.net for row in rows])
    _draw_other_figures(ax, criteria, ratios)
    beyond = _draw_beyond(ax, ratios)
    draw_labels(
        ax, "Margin of every net as drawn, the worst on top",
        x=f"first notch / Nyquist{not_drawn(len(ranking) - len(rows))}",
    )  # fmt: skip
    if beyond:
        ax.set_title(ax.get_title(loc="left"), loc="left", fontsize="medium", wrap=True, pad=18.0)
    draw_legend(ax)
    return ax


class _Ratios(NamedTuple):
    """First notch / Nyquist of every net, worst net first: bounds with the model's uncertainty, range between."""

    worst: Floats
    low: Floats
    high: Floats
    best: Floats


def _range(ratios: _Ratios, limits: list[float]) -> tuple[float, float]:
    """Ends of the axis: everything short of ``REACH`` times the highest limit, and every limit."""
    known = np.isfinite(ratios.low)
    in_reach = known & (ratios.low <= REACH * max(limits))
    left = min([*limits, *ratios.worst[known]])
    right = max([*limits, *ratios.best[in_reach]])
    return 0.8 * left, 1.25 * min(right, REACH * max(limits))


def _draw_bars(ax: Axes, ratios: _Ratios, verdicts: NDArray[np.object_]) -> None:
    """Bar from worst to best and marks at the computed ends, per net in order, by verdict."""
    for verdict, look in LOOKS.items():
        (rows,) = np.nonzero((verdicts == verdict) & np.isfinite(ratios.low))
        if len(rows):
            lengths = (ratios.best - ratios.worst)[rows]
            ax.barh(rows, lengths, left=ratios.worst[rows], color=look.colour, alpha=0.4)
            ends = np.concatenate([ratios.low[rows], ratios.high[rows]])
            ax.plot(
                ends, np.tile(rows, 2), linestyle="", marker=look.marker, markersize=4, color=look.colour, label=verdict
            )


def _draw_beyond(ax: Axes, ratios: _Ratios) -> int:
    """An arrow with the margin at the right edge for every net that lies beyond it, and a note of how many they are."""
    (rows,) = np.nonzero(ratios.low > ax.get_xlim()[1])
    for row in rows.tolist():
        draw_beyond(ax, row, three_digits(ratios.low[row]))
    if len(rows):
        note = f"\N{RIGHTWARDS ARROW} beyond this edge: {len(rows)} slow {'net' if len(rows) == 1 else 'nets'}"
        ax.text(1.0, 1.0, note, transform=ax.transAxes, ha="right", va="bottom", fontsize="small")
    return len(rows)


def _draw_other_figures(ax: Axes, criteria: list[Criterion], ratios: _Ratios) -> None:
    """Beside the bar of every net that has no limit on its notch: the figure that its criterion is on."""
    for row, criterion in enumerate(criteria):
        if criterion.measure is not Measure.NOTCH_RATIO and ratios.best[row] < ax.get_xlim()[1]:
            draw_note(ax, row, (ratios.worst[row], ratios.best[row]), f"judged by {criterion.measure}")


def _criteria_in_order(ranking: Ranking, count: int) -> list[Criterion]:
    """Criterion of every net that is drawn, worst net first."""
    nets = ranking.board.signal_nets
    return [ranking.board.criterion_of(nets[number]) for number in ranking.order[:count]]


def _draw_limits(ax: Axes, ranking: Ranking, judged_by: list[Criterion]) -> None:
    """Limit of every criterion on the notch, across the nets it judges."""
    for criterion in ranking.criteria:
        if criterion.measure is Measure.NOTCH_RATIO:
            rows = np.array([row for row, judge in enumerate(judged_by) if judge == criterion])
            label = textwrap.fill(str(criterion), 40)
            limit = np.full(len(rows), criterion.limit)
            ax.vlines(limit, rows - 0.5, rows + 0.5, color=BLACK, label=label)
