"""Owns the plot of stub budgets: the longest stub against the symbol rate, with the published rules of thumb on it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stubsi.board.criterion import DEFAULT, RULES_OF_THUMB, SCOPES, Measure, Scope, as_criterion
from stubsi.board.signal import Signal, as_signal
from stubsi.checks import is_list
from stubsi.errors import StubsiError
from stubsi.margin.budget import stub_budget
from stubsi.show.axes import axes_for, draw_labels, draw_legend
from stubsi.show.palette import BLACK, CURVES, MARKERS
from stubsi.unit_errors import as_shown
from stubsi.units import one_number

if TYPE_CHECKING:
    from collections.abc import Iterable

    from matplotlib.axes import Axes

    from stubsi.board.criterion import Criterion
    from stubsi.units import Dimensioned

RATES = 13
"""Points of a curve. Between them, budgets are straight lines on the logarithmic axes."""
OF_RULES = 4
"""Marks on the line of each rule of thumb."""


def plot_budgets(
    dk_eff: Iterable[float] = (3.5, 4.5, 6.0),
    *,
    slowest: Signal | Dimensioned = "1 GBd",
    fastest: Signal | Dimensioned = "112 GBd",
    criterion: Criterion | str = DEFAULT,
    ax: Axes | None = None,
) -> Axes:
    """Plot the longest stub [mm] against the symbol rate [GBd] for several Dk_eff, with published rules of thumb.

    The thick curves are the budgets of a uniform stub under the criterion, one for each Dk_eff. The thin lines with
    marks are ``RULES_OF_THUMB``; one that depends on Dk_eff is drawn for the middle one of those given, and one that
    its source states for fast signals only begins there. At NRZ the symbol rate is the bit rate; at PAM4 it is half of
    it.

    Parameters
    ----------
    dk_eff : iterable of float
        Effective Dk of each curve [-], 1 or more.
    slowest, fastest : Signal, str or quantity
        Ends of the axis of symbol rates.
    criterion : Criterion or name in ``RULES_OF_THUMB``
        A limit on the notch or on the length; first notch at least 5 x Nyquist unless given.
    ax : matplotlib.axes.Axes, optional
        Where to draw; of a new figure unless given.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    StubsiError, UnitError
        matplotlib is missing; no Dk_eff, or one out of range; rates that do not rise; a criterion that needs more than
        Dk_eff; no axes.
    """
    if not is_list(dk_eff):
        raise StubsiError(f"dk_eff = {as_shown(dk_eff)}: must be a list of numbers, like [3.5, 4.5].")
    values = sorted({one_number(value, "dk_eff") for value in dk_eff})
    limit = as_criterion(criterion)
    ends = [as_signal(rate).nyquist_si * 2e-9 for rate in (slowest, fastest)]
    if not values:
        raise StubsiError("dk_eff: is empty; give at least one value.")
    if not ends[0] < ends[1]:
        raise StubsiError(f"slowest, fastest = {ends[0]:g} GBd, {ends[1]:g} GBd: must rise.")
    if limit.measure not in _ALONE:
        raise StubsiError(f"criterion = {as_shown(str(limit))}: must be a limit on {' or '.join(_ALONE)}.")
    rates = np.geomspace(ends[0], ends[1], RATES).tolist()
    curves = {dk: [_longest(rate, limit, dk) for rate in rates] for dk in values}
    middle = values[len(values) // 2]
    ax = axes_for(ax, width=6.8, height=4.8)
    for (dk, lengths), (style, colour) in zip(curves.items(), CURVES, strict=False):
        ax.plot(rates, lengths, linestyle=style, color=colour, linewidth=2.2, label=f"Dk_eff {dk:g}")
    for name, marker in zip(RULES_OF_THUMB, MARKERS, strict=False):
        if RULES_OF_THUMB[name] != limit:
            _draw_rule(ax, name, ends, middle, marker)
    ax.set_xscale("log")
    ax.set_yscale("log")
    for axis in (ax.xaxis, ax.yaxis):
        axis.set_major_formatter("{x:g}")
    ax.set_xlim(ends[0], ends[1])
    ax.grid(visible=True, color="#dddddd", linewidth=0.6)
    draw_labels(ax, f"Stub budgets of a uniform stub: {limit}", x="symbol rate [GBd]", y="longest stub [mm]")
    draw_legend(ax, inside="upper right")
    return ax


_ALONE = (Measure.NOTCH_RATIO, Measure.STUB_LENGTH, Measure.STUB_LENGTH_TIMES_RATE)
"""Figures for which Dk_eff tells the budget."""


def _longest(rate: float, limit: Criterion, dk: float) -> float:
    """Longest stub [mm] at a symbol rate [GBd]."""
    return 1e3 * stub_budget(f"{rate!r} GBd", criterion=limit, dk_eff=dk).stub_length_si


def _draw_rule(ax: Axes, name: str, ends: list[float], dk: float, marker: str) -> None:
    """One rule of thumb over the rates that its source covers; named at its line."""
    rule = RULES_OF_THUMB[name]
    scope = SCOPES.get(rule, Scope())
    first = max(ends[0], scope.bit_rate_above * 1e-9)  # of NRZ, the bit rate is the symbol rate
    if first >= ends[1]:
        return
    rates = np.geomspace(first, ends[1], OF_RULES).tolist()
    at = f", Dk_eff {dk:g}" if rule.measure is Measure.NOTCH_RATIO else ""
    only = f", {scope.modulation} only" if scope.modulation else ""
    lengths = [_longest(rate, rule, dk) for rate in rates]
    ax.plot(
        rates, lengths, color=BLACK, linewidth=0.8, marker=marker, markersize=5, markerfacecolor="white",
        label=f"{name}{at}{only}",
    )  # fmt: skip
