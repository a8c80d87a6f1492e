"""Owns the plots of a margin study: insertion loss of stubs against frequency, margins of the nets of a ranking.

Needs the extra ``plot`` (matplotlib). Where no axes are given a plot makes a figure. Where pyplot is interactive, as in
a notebook, the figure is shown. In a script it is closed in pyplot at once, so that a thousand plots leave no figure
open; ``plot_margins(ranking).figure.savefig("margins.png")`` still works. A script that shows its plots in a window
makes the axes with ``pyplot.subplots`` and gives them.
"""

from __future__ import annotations

import itertools
import textwrap
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from stubsi.board.criterion import Measure
from stubsi.board.signal import as_signal
from stubsi.checks import checked, one_line
from stubsi.drilling.group_trade import GroupTrade
from stubsi.errors import StubsiError
from stubsi.margin.ranking import Ranking
from stubsi.margin.verdict import Verdict
from stubsi.physics.uniform_line import decibels
from stubsi.stubs.hole_model import HoleModel
from stubsi.stubs.hole_stub import HoleStub
from stubsi.stubs.uniform_stub import Stub
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from numpy.typing import NDArray

    from stubsi.board.criterion import Criterion
    from stubsi.board.signal import Signal
    from stubsi.network import Frequencies
    from stubsi.units import Dimensioned, Quantity

    Floats = NDArray[np.float64]


class _Look(NamedTuple):
    """How a verdict is drawn. Verdicts differ in their markers as well as in their colours."""

    colour: str
    marker: str


LOOKS = {
    Verdict.DRILL: _Look("#1f4e79", "v"),
    Verdict.CANNOT_HELP: _Look("#222222", "X"),
    Verdict.UNDECIDED: _Look("#8a63a8", "P"),
    Verdict.MARGINAL: _Look("#b8862d", "D"),
    Verdict.PASS: _Look("#6fa8d6", "o"),
    Verdict.WAIVED: _Look("#8f8f8f", "s"),
}
"""Colour and marker of every verdict of a net: blue, ochre, violet and grey. They also differ in lightness."""

STYLES, COLOURS = ("-", "-.", ":"), ("#1f4e79", "#b8862d", "#6fa8d6", "#8a63a8", "#222222")
CURVES = tuple((STYLES[n % len(STYLES)], COLOURS[n % len(COLOURS)]) for n in range(len(STYLES) * len(COLOURS)))
"""Line style and colour of each curve in turn. Both change every time, so that equal curves on top of each other can be
told apart."""

OFF_THE_AXIS = 1000.0
"""A range of a notch without upper end is drawn up to this many times its lower end, which lies beyond the axis."""
REACH = 10.0
"""The axis of margins ends at this many times the highest limit at most, or of Nyquist if there is no limit."""


def plot_loss(
    stubs: Mapping[str, Stub | HoleStub | HoleModel],
    frequency: Frequencies,
    *,
    z0: Dimensioned,
    signal: Signal | str | Quantity,
    ax: Axes | None = None,
) -> Axes:
    """Plot insertion loss [dB] against frequency [GHz], notches pointing down, Nyquist and 1 dB frequencies marked.

    Parameters
    ----------
    stubs : mapping of label to Stub, HoleStub or HoleModel
        Stubs in shunt, or whole holes; one curve each.
    frequency : frequency
        A rising array or list, or a scikit-rf Frequency, as ``network`` takes it.
    z0 : impedance
        Of the line; half the differential impedance for the leg of a pair.
    signal : Signal, str or quantity
        Whose Nyquist frequency to mark.
    ax : matplotlib.axes.Axes, optional
        Where to draw; of a new figure unless given.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    StubsiError, UnitError
        matplotlib is missing; no stubs by label; no axes; values out of range.
    """
    signal = as_signal(signal)
    shown = _checked_stubs(stubs)
    networks = {label: stub.network(frequency, z0=z0) for label, stub in shown.items()}
    ax = axes_for(ax, width=6.4, height=4.0)
    marks: list[tuple[float, str]] = []
    for (label, network), (style, colour) in zip(networks.items(), itertools.cycle(CURVES), strict=False):
        ax.plot(network.f / 1e9, decibels(network.s[:, 1, 0]), linestyle=style, color=colour, label=_shown(label))
        marks += [(ghz, colour) for ghz in _one_db(shown[label], z0) if network.f[0] <= ghz * 1e9 <= network.f[-1]]
    for number, (ghz, colour) in enumerate(marks):
        ax.scatter(ghz, 1.0, facecolors="none", edgecolors=colour, label="_" if number else "1 dB frequency")
    ax.axvline(signal.nyquist_si / 1e9, color="black", linestyle="--", label=f"Nyquist of {signal}")
    ax.yaxis.set_inverted(True)
    ax.set_xlabel("frequency [GHz]")
    ax.set_ylabel("insertion loss [dB]")
    _draw_legend(ax)
    return ax


def _one_db(stub: Stub | HoleStub | HoleModel, z0: Dimensioned) -> list[float]:
    """Ends of the range of the 1 dB frequency [GHz]."""
    return sorted(set(np.ravel(stub.one_db_frequency(z0=z0).magnitude).tolist()))


def plot_margins(ranking: Ranking, ax: Axes | None = None) -> Axes:
    """Plot first notch / Nyquist of every net, worst on top, against the limit of its criterion.

    The mark is the margin as computed (two marks: the ends of its range). The bar spans what it may be, with the model
    as far off as it may be. The line is the limit. A net without stub has no bar. A net whose criterion is on
    another figure than the notch has no line, and a text beside its bar names that figure. Slow nets, with a margin of
    more than ``REACH`` times the highest limit, lie beyond the right edge: an arrow with the margin stands there, and a
    note says how many there are.

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
    ax = axes_for(ax, width=7.0, height=1.5 + 0.18 * len(ranking))
    names = [row.net for row in ranking]
    nyquist = ranking.figures.nyquist[ranking.order]
    notch = ranking.figures.notch
    ratios = _Ratios(*(np.fmin(end, OFF_THE_AXIS * notch.low)[ranking.order] / nyquist for end in notch))
    limits = [criterion.limit for criterion in ranking.criteria if criterion.measure is Measure.NOTCH_RATIO]
    verdicts = np.array([row.verdict for row in ranking], dtype=object)
    _draw_bars(ax, ratios, verdicts)
    _draw_limits(ax, ranking)
    _set_log_axis(ax, _range(ratios, limits or [1.0]))
    _draw_other_figures(ax, ranking, ratios)
    _draw_beyond(ax, ratios)
    ax.set_yticks(range(len(names)), names, fontsize="small", parse_math=False)
    ax.set_ylim(len(names) - 0.5, -0.5)
    ax.set_xlabel("first notch / Nyquist")
    _draw_legend(ax, fontsize="small", loc="upper right")
    return ax


def _shown(label: str) -> str:
    """Label on one line. A blank stands before an underscore, because matplotlib leaves such labels out."""
    return f" {one_line(label)}" if label.startswith("_") else one_line(label)


def _draw_legend(ax: Axes, **options: Any) -> None:
    """Legend with its labels as they are: a $ in a source or a label is no formula."""
    for text in ax.legend(**options).get_texts():
        text.set_parse_math(False)


def _checked_stubs(stubs: Mapping[str, Stub | HoleStub | HoleModel]) -> Mapping[str, Stub | HoleStub | HoleModel]:
    """The stubs; StubsiError where they are no stubs by label."""
    if not isinstance(stubs, Mapping):
        raise StubsiError(f"stubs = {as_shown(stubs)}: must be a mapping of label to Stub, HoleStub or HoleModel.")
    for label, stub in stubs.items():
        checked(label, "label of stubs")
        if not isinstance(stub, Stub | HoleStub | HoleModel):
            raise StubsiError(f"stubs[{as_shown(label)}] = {as_shown(stub)}: must be a Stub, HoleStub or HoleModel.")
    return stubs


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


def _set_log_axis(ax: Axes, ends: tuple[float, float]) -> None:
    """Logarithmic axis between two ends, labelled with plain numbers."""
    from matplotlib.ticker import LogLocator, NullFormatter, StrMethodFormatter

    ax.set_xscale("log")
    ax.set_xlim(ends)
    ax.xaxis.set_major_locator(LogLocator(subs=(1, 2, 5)))
    ax.xaxis.set_major_formatter(StrMethodFormatter("{x:g}"))
    ax.xaxis.set_minor_formatter(NullFormatter())


def _draw_beyond(ax: Axes, ratios: _Ratios) -> None:
    """An arrow with the margin at the right edge for every net that lies beyond it, and a note of how many they are."""
    (rows,) = np.nonzero(ratios.low > ax.get_xlim()[1])
    at_edge = ax.get_yaxis_transform()
    for row in rows.tolist():
        text = f"{_three_digits(ratios.low[row])} \N{RIGHTWARDS ARROW}"
        ax.text(0.99, row, text, transform=at_edge, ha="right", va="center", fontsize="x-small")
    if len(rows):
        note = f"\N{RIGHTWARDS ARROW} beyond this edge: {len(rows)} slow {'net' if len(rows) == 1 else 'nets'}"
        ax.text(1.0, 1.0, note, transform=ax.transAxes, ha="right", va="bottom", fontsize="small")


def _three_digits(value: float) -> str:
    """Number with three significant digits, written out without an exponent."""
    return f"{float(f'{value:.3g}'):.0f}" if value >= 1000 else f"{value:.3g}"


def _draw_other_figures(ax: Axes, ranking: Ranking, ratios: _Ratios) -> None:
    """Beside the bar of every net that has no limit on its notch: the figure that its criterion is on."""
    for row, criterion in enumerate(_criteria_in_order(ranking)):
        if criterion.measure is not Measure.NOTCH_RATIO and ratios.best[row] < ax.get_xlim()[1]:
            text, place = f"judged by {criterion.measure}", (ratios.best[row], row)
            ax.annotate(text, place, (3, 0), textcoords="offset points", va="center", fontsize="x-small")


def _criteria_in_order(ranking: Ranking) -> list[Criterion]:
    """Criterion of every net, worst net first."""
    nets = ranking.board.signal_nets
    return [ranking.board.criterion_of(nets[number]) for number in ranking.order]


def _draw_limits(ax: Axes, ranking: Ranking) -> None:
    """Limit of every criterion on the notch, across the nets it judges."""
    judged_by = _criteria_in_order(ranking)
    for criterion in ranking.criteria:
        if criterion.measure is Measure.NOTCH_RATIO:
            rows = np.array([row for row, judge in enumerate(judged_by) if judge == criterion])
            label = textwrap.fill(str(criterion), 40)
            limit = np.full(len(rows), criterion.limit)
            ax.vlines(limit, rows - 0.5, rows + 0.5, color="black", label=label)


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
    colour = COLOURS[0]
    ax.plot(groups, margins, linestyle=":", color=colour, zorder=1)
    for row in trade:
        above = row.margin_over_limit / (1 - row.gap) - row.margin_over_limit
        face = colour if row.proven else "white"
        ax.errorbar(
            row.groups, row.margin_over_limit, yerr=[[0.0], [above]], marker="o", color=colour, markerfacecolor=face
        )
        ax.annotate(_shown(row.net), (row.groups, row.margin_over_limit), xytext=(4, -10), textcoords="offset points")
    ax.axhline(1.0, color="black", linestyle="--", label="limit of the criterion")
    ax.set_xticks(range(min(groups), max(groups) + 1))
    ax.set_xlabel("drill groups")
    ax.set_ylabel("smallest worst-case margin over limit")
    _draw_legend(ax)
    return ax


def axes_for(ax: Axes | None, *, width: float, height: float) -> Axes:
    """Axes to draw in.

    Parameters
    ----------
    ax : matplotlib.axes.Axes or None
        The axes that the user gave, or None.
    width, height : float
        Size [in] of the new figure that is made where none are given.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    StubsiError
        matplotlib is missing; ``ax`` is no axes.
    """
    try:
        import matplotlib.pyplot as plt
        from matplotlib.axes import Axes
    except ImportError as error:
        raise StubsiError("matplotlib: missing; plots need the extra 'plot': pip install 'stubsi[plot]'.") from error
    if ax is None:
        figure, ax = plt.subplots(figsize=(width, height), layout="constrained")
        if not plt.isinteractive():
            plt.close(figure)
        return ax
    return checked(ax, "ax", Axes)
