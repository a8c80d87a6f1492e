"""Owns the plot of a ranking: the nets on a margin axis, worst on top."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.board.criterion import Measure
from stubsi.checks import checked
from stubsi.margin.ranking import Ranking
from stubsi.show.axes import BESIDE, axes_for, draw_legend, draw_rows, set_log_axis, three_digits
from stubsi.show.palette import LOOKS

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from numpy.typing import NDArray

    from stubsi.board.criterion import Criterion

    Floats = NDArray[np.float64]

OFF_THE_AXIS = 1000.0
"""A range of a notch without upper end is drawn up to this many times its lower end, which lies beyond the axis."""
REACH = 10.0
"""The axis of margins ends at this many times the highest limit at most, or of Nyquist if there is no limit."""

MOST_NETS = 120
"""Nets that are drawn at most: the worst ones. More rows than these cannot be read."""


def plot_margins(ranking: Ranking, ax: Axes | None = None) -> Axes:
    """Plot first notch / Nyquist of every net, worst on top, against the limit of its criterion.

    The mark is the margin as computed (two marks: the ends of its range). The bar spans what it may be, with the model
    as far off as it may be. The line is the limit. A net without stub has no bar. A net whose criterion is on
    another figure than the notch has no line, and a text beside its bar names that figure. Slow nets, with a margin of
    more than ``REACH`` times the highest limit, lie beyond the right edge: an arrow with the margin stands there, and a
    note says how many there are. Of a large board the ``MOST_NETS`` worst nets are drawn; the axis says how many more
    there are.

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
    drawn = ranking.order[:MOST_NETS]
    ax = axes_for(ax, width=8.6, height=1.5 + 0.18 * len(drawn))
    rows = [row for row, _ in zip(ranking, drawn, strict=False)]
    nyquist = ranking.figures.nyquist[drawn]
    notch = ranking.figures.notch
    ratios = _Ratios(*(np.fmin(end, OFF_THE_AXIS * notch.low)[drawn] / nyquist for end in notch))
    limits = [criterion.limit for criterion in ranking.criteria if criterion.measure is Measure.NOTCH_RATIO]
    verdicts = np.array([row.verdict for row in rows], dtype=object)
    _draw_bars(ax, ratios, verdicts)
    _draw_limits(ax, ranking)
    set_log_axis(ax, _range(ratios, limits or [1.0]))
    _draw_other_figures(ax, ranking, ratios)
    _draw_beyond(ax, ratios)
    draw_rows(ax, [row.net for row in rows])
    more = f"; {len(ranking) - len(rows)} nets with more margin are not drawn" if len(ranking) > len(rows) else ""
    ax.set_xlabel(f"first notch / Nyquist{more}")
    draw_legend(ax, **BESIDE)
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


def _draw_beyond(ax: Axes, ratios: _Ratios) -> None:
    """An arrow with the margin at the right edge for every net that lies beyond it, and a note of how many they are."""
    (rows,) = np.nonzero(ratios.low > ax.get_xlim()[1])
    at_edge = ax.get_yaxis_transform()
    for row in rows.tolist():
        text = f"{three_digits(ratios.low[row])} \N{RIGHTWARDS ARROW}"
        ax.text(0.99, row, text, transform=at_edge, ha="right", va="center", fontsize="x-small")
    if len(rows):
        note = f"\N{RIGHTWARDS ARROW} beyond this edge: {len(rows)} slow {'net' if len(rows) == 1 else 'nets'}"
        ax.text(1.0, 1.0, note, transform=ax.transAxes, ha="right", va="bottom", fontsize="small")


def _draw_other_figures(ax: Axes, ranking: Ranking, ratios: _Ratios) -> None:
    """Beside the bar of every net that has no limit on its notch: the figure that its criterion is on."""
    for row, criterion in enumerate(_criteria_in_order(ranking)):
        if criterion.measure is not Measure.NOTCH_RATIO and ratios.best[row] < ax.get_xlim()[1]:
            text, place = f"judged by {criterion.measure}", (ratios.best[row], row)
            ax.annotate(text, place, (3, 0), textcoords="offset points", va="center", fontsize="x-small")


def _criteria_in_order(ranking: Ranking) -> list[Criterion]:
    """Criterion of every net, worst net first."""
    nets = ranking.board.signal_nets
    return [ranking.board.criterion_of(nets[number]) for number in ranking.order[:MOST_NETS]]


def _draw_limits(ax: Axes, ranking: Ranking) -> None:
    """Limit of every criterion on the notch, across the nets it judges."""
    judged_by = _criteria_in_order(ranking)
    for criterion in ranking.criteria:
        if criterion.measure is Measure.NOTCH_RATIO:
            rows = np.array([row for row, judge in enumerate(judged_by) if judge == criterion])
            label = textwrap.fill(str(criterion), 40)
            limit = np.full(len(rows), criterion.limit)
            ax.vlines(limit, rows - 0.5, rows + 0.5, color="black", label=label)
