"""Owns the plots of a margin study: insertion loss of stubs against frequency, margins of the nets of a ranking.

Needs the extra ``plot`` (matplotlib).
"""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np

from stubsi.board.signal import as_signal
from stubsi.errors import StubsiError
from stubsi.margin.verdict import Verdict
from stubsi.physics.uniform_line import decibels

if TYPE_CHECKING:
    from collections.abc import Mapping

    from matplotlib.axes import Axes

    from stubsi.margin.ranking import Ranking
    from stubsi.stubs.hole_model import HoleModel, HoleStub
    from stubsi.stubs.uniform_stub import Stub

VERDICTS = (Verdict.DRILL, Verdict.CANNOT_HELP, Verdict.UNDECIDED, Verdict.MARGINAL, Verdict.PASS, Verdict.WAIVED)
"""Verdicts in the order of their colours."""


def plot_loss(
    stubs: Mapping[str, Stub | HoleStub | HoleModel], frequency: Any, *, z0: Any, signal: Any, ax: Axes | None = None
) -> Axes:
    """Plot insertion loss [dB] against frequency [GHz], notches pointing down, Nyquist marked.

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
        Where to draw; a new figure unless given.

    Returns
    -------
    matplotlib.axes.Axes

    Raises
    ------
    StubsiError, UnitError
        matplotlib is missing; values out of range.
    """
    signal = as_signal(signal)
    networks = {label: stub.network(frequency, z0=z0) for label, stub in stubs.items()}
    ax = new_axes(width=6.4, height=4.0) if ax is None else ax
    for label, network in networks.items():
        ax.plot(network.f / 1e9, decibels(network.s[:, 1, 0]), label=label)
    ax.axvline(signal.nyquist_si / 1e9, color="black", linestyle="--", label=f"Nyquist of {signal}")
    ax.yaxis.set_inverted(True)
    ax.set_xlabel("frequency [GHz]")
    ax.set_ylabel("insertion loss [dB]")
    ax.legend()
    return ax


def plot_margins(ranking: Ranking, ax: Axes | None = None) -> Axes:
    """Plot first notch / Nyquist of every net, worst on top, against the limit of its criterion.

    The mark is the margin as computed (two marks: the ends of its range); the bar spans what it may be, with the
    model as far off as it may be; the line is the limit. A net without stub has no bar, a net judged by another
    figure than its notch no line.

    Parameters
    ----------
    ranking : Ranking
    ax : matplotlib.axes.Axes, optional
        Where to draw; a new figure unless given.

    Returns
    -------
    matplotlib.axes.Axes

    Raises
    ------
    StubsiError
        matplotlib is missing.
    """
    ax = new_axes(width=7.0, height=1.5 + 0.18 * len(ranking)) if ax is None else ax
    names, verdicts = ([getattr(row, name) for row in ranking] for name in ("net", "verdict"))
    _draw_bars(ax, ranking, np.array(verdicts))
    _draw_limits(ax, ranking)
    ax.set_xscale("log")
    ax.set_yticks(range(len(names)), names, fontsize="small")
    ax.set_ylim(len(names) - 0.5, -0.5)
    ax.set_xlabel("first notch / Nyquist")
    ax.legend(fontsize="small", loc="upper right")
    return ax


def _draw_bars(ax: Axes, ranking: Ranking, verdicts: Any) -> None:
    """Bar from worst to best and marks at the computed ends, per net in order, coloured by verdict."""
    nyquist = ranking.figures.nyquist[ranking.order]
    worst, low, high, best = (end[ranking.order] / nyquist for end in ranking.figures.notch)
    for colour, verdict in enumerate(VERDICTS):
        (rows,) = np.nonzero((verdicts == verdict) & np.isfinite(low))
        if len(rows):
            ax.barh(rows, (best - worst)[rows], left=worst[rows], color=f"C{colour}", alpha=0.5, label=verdict)
            ends = np.concatenate([low[rows], high[rows]])
            ax.plot(ends, np.tile(rows, 2), linestyle="", marker="|", color=f"C{colour}")


def _draw_limits(ax: Axes, ranking: Ranking) -> None:
    """Limit of every criterion on the notch, across the nets it judges."""
    nets = ranking.board.signal_nets
    judged_by = [ranking.board.criterion_of(nets[number]) for number in ranking.order]
    for criterion in ranking.criteria:
        if criterion.measure == "notch ratio":
            rows = np.array([row for row, own in enumerate(judged_by) if own == criterion])
            label = textwrap.fill(str(criterion), 40)
            limit = np.full(len(rows), criterion.limit)
            ax.vlines(limit, rows - 0.5, rows + 0.5, color="black", label=label)


def new_axes(*, width: float, height: float) -> Axes:
    """Axes of a new figure of that size [in]; StubsiError where matplotlib is missing."""
    try:
        import matplotlib.pyplot as plt
    except ImportError as error:
        raise StubsiError("matplotlib: missing; plots need the extra 'plot': pip install 'stubsi[plot]'.") from error
    return plt.subplots(figsize=(width, height), layout="constrained")[1]
