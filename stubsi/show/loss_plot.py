"""Owns the plots of insertion loss over frequency: stubs and holes, and a net before and after drilling."""

from __future__ import annotations

import itertools
import math
import textwrap
from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from stubsi.board.criterion import Measure
from stubsi.board.signal import as_signal
from stubsi.checks import checked
from stubsi.drilling.plan import Plan
from stubsi.errors import StubsiError
from stubsi.physics.uniform_line import decibels
from stubsi.show.axes import axes_for, check_axes, draw_labels, draw_legend, shown
from stubsi.show.palette import BLACK, CURVES
from stubsi.stubs.hole_model import HoleModel
from stubsi.stubs.hole_stub import HoleStub
from stubsi.stubs.uniform_stub import Stub
from stubsi.unit_errors import as_shown
from stubsi.units import one_si, quantity, show

if TYPE_CHECKING:
    from collections.abc import Iterable

    from matplotlib.axes import Axes
    from numpy.typing import NDArray

    from stubsi.board.criterion import Criterion
    from stubsi.board.signal import Signal
    from stubsi.drilling.drilled_hole import State
    from stubsi.network import Frequencies
    from stubsi.units import Dimensioned, Quantity

    FloatArray = NDArray[np.float64]


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
    given = _checked_stubs(stubs)
    networks = {label: stub.network(frequency, z0=z0) for label, stub in given.items()}
    ax = axes_for(ax, width=6.4, height=4.0)
    marks: list[tuple[float, str]] = []
    for (label, network), (style, colour) in zip(networks.items(), itertools.cycle(CURVES), strict=False):
        ax.plot(network.f / 1e9, decibels(network.s[:, 1, 0]), linestyle=style, color=colour, label=shown(label))
        marks += [(ghz, colour) for ghz in _one_db(given[label], z0) if network.f[0] <= ghz * 1e9 <= network.f[-1]]
    for number, (ghz, colour) in enumerate(marks):
        ax.scatter(ghz, 1.0, facecolors="none", edgecolors=colour, label="_" if number else "1 dB frequency")
    ax.axvline(signal.nyquist_si / 1e9, color=BLACK, linestyle="--", label=f"Nyquist of {signal}")
    ax.yaxis.set_inverted(True)
    line = show(one_si(z0, "impedance", "z0"), "impedance")
    draw_labels(ax, f"Insertion loss on a line of {line}", x="frequency [GHz]", y="insertion loss [dB]")
    draw_legend(ax, inside="best")
    return ax


def _one_db(stub: Stub | HoleStub | HoleModel, z0: Dimensioned) -> list[float]:
    """Ends of the range of the 1 dB frequency [GHz]."""
    return sorted(set(np.ravel(stub.one_db_frequency(z0=z0).magnitude).tolist()))


def _checked_stubs(stubs: Mapping[str, Stub | HoleStub | HoleModel]) -> Mapping[str, Stub | HoleStub | HoleModel]:
    """The stubs; StubsiError where they are no stubs by label."""
    if not isinstance(stubs, Mapping):
        raise StubsiError(f"stubs = {as_shown(stubs)}: must be a mapping of label to Stub, HoleStub or HoleModel.")
    for label, stub in stubs.items():
        checked(label, "label of stubs")
        if not isinstance(stub, Stub | HoleStub | HoleModel):
            raise StubsiError(f"stubs[{as_shown(label)}] = {as_shown(stub)}: must be a Stub, HoleStub or HoleModel.")
    return stubs


STATES: Mapping[State, str] = {
    "drawn": "as drawn", "nominal": "after nominal drilling", "worst": "after worst-case drilling",
}  # fmt: skip
"""States of a hole, with the names of their curves."""
POINTS = 801
"""Frequencies of a curve, beside those of its notches."""
MOST_LOSS = 60.0
"""The axis of loss ends here at most [dB]: how deep a notch goes beyond is never decisive."""


def plot_net_loss(plan: Plan, net: str, ax: Axes | None = None) -> Axes:
    """Plot insertion loss [dB] of the stub that decides on a net against frequency [GHz], before and after drilling.

    The stub is the one that decides as drawn, in shunt on its line. Marked are its first notch in each state (a
    triangle, at the foot of the axis where the dip goes beyond it), its 1 dB frequency (a circle), Nyquist, and what
    the criterion asks for: a line that the notch or the 1 dB frequency must stay right of, or a loss that must not be
    exceeded up to Nyquist. The legend states a criterion on another figure.

    Parameters
    ----------
    plan : Plan
        The drilling.
    net : str
        Name of one of its signal nets.
    ax : matplotlib.axes.Axes, optional
        Where to draw; of a new figure unless given.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    StubsiError
        matplotlib is missing; no plan; no such net, or one without stub; no axes; a value that the model needs is not
        known, so that the stub has no single curve.
    """
    check_axes(ax)
    row = checked(plan, "plan", Plan).limits.ranking[checked(net, "net")]
    if not row.stub_length_si:
        raise StubsiError(f"net = {as_shown(net)}: has no stub; there is no loss of one to plot.")
    owner = plan.board.net(net)
    criterion, nyquist = plan.board.criterion_of(owner), row.nyquist_si
    line = quantity((owner.z0_si or math.nan) / (2 if row.leg or any(h.leg for h in owner.holes) else 1), "impedance")
    holes = {state: plan.hole_model(row.hole, state) for state in STATES}
    stubs = {state: stub for state, hole in holes.items() for stub in hole.stubs if stub.side == row.side}
    if len(stubs) == len(STATES) and stubs["worst"].stub_length_si == stubs["drawn"].stub_length_si:
        stubs = {"drawn": stubs["drawn"]}  # not drilled
    notches = {state: float(stub.models.first_notch[0, 0]) for state, stub in stubs.items()}
    wanted = nyquist * criterion.limit if criterion.measure in _ON_FREQUENCY else nyquist
    frequency = _frequencies(notches.values(), wanted, nyquist)
    losses = {state: stub.loss(quantity(frequency, "frequency"), z0=line) for state, stub in stubs.items()}
    ax = axes_for(ax, width=8.2, height=4.2)
    for (state, loss), (style, colour) in zip(losses.items(), CURVES, strict=False):
        ax.plot(frequency / 1e9, loss, linestyle=style, color=colour, label=STATES[state])
    for (state, loss), (_, colour) in zip(losses.items(), CURVES, strict=False):
        if notches[state] <= frequency[-1]:
            _mark(ax, notches[state], np.interp(notches[state], frequency, loss), colour, "v")
        for one_db in _one_db(stubs[state], line):
            if one_db * 1e9 <= frequency[-1]:
                _mark(ax, one_db * 1e9, 1.0, colour, "o")
    _draw_criterion(ax, criterion, nyquist, row.signal)
    ax.set_xlim(0, frequency[-1] / 1e9)
    deepest = max(float(np.max(loss)) for loss in losses.values())
    ax.set_ylim(min(MOST_LOSS, 1.08 * max(deepest, 2.0)), 0)
    beyond = "below" if row.side == "bottom" else "above"
    draw_labels(
        ax, f"Net {net}: the stub that decides, {beyond} the layers in use of hole {row.hole}",
        x="frequency [GHz]", y="insertion loss [dB]",
    )  # fmt: skip
    draw_legend(ax)
    return ax


_ON_FREQUENCY = {Measure.NOTCH_RATIO: "first notch", Measure.ONE_DB_RATIO: "1 dB frequency"}
"""Criteria that ask for a frequency, and for which."""


def _frequencies(notches: Iterable[float], wanted: float, nyquist: float) -> FloatArray:
    """Frequencies [Hz] up to beyond what is wanted, with the notches in view among them."""
    known = [notch for notch in notches if math.isfinite(notch)]
    top = 1.15 * max([wanted, 1.5 * nyquist, *(notch for notch in known if notch < 1.5 * wanted)])
    return np.unique([*np.linspace(top / POINTS, top, POINTS), *(notch for notch in known if notch <= top)])


def _mark(ax: Axes, hertz: float, loss: float, colour: str, marker: str) -> None:
    """A notch or a 1 dB frequency; each kind has one entry in the legend. Beyond the axis nothing is drawn."""
    name = {"v": "first notch", "o": "1 dB frequency"}[marker]
    known = any(line.get_label() == name for line in ax.lines)
    ax.plot(
        [hertz / 1e9], [min(loss, MOST_LOSS)], linestyle="", marker=marker, color=colour, markerfacecolor="none",
        label="_" if known else name, clip_on=False,
    )  # fmt: skip


def _draw_criterion(ax: Axes, criterion: Criterion, nyquist: float, signal: str) -> None:
    """Nyquist, and the line that the criterion draws; a criterion on another figure stands in the legend alone."""
    ax.axvline(nyquist / 1e9, color=BLACK, linestyle="--", linewidth=1, label=f"Nyquist of {signal}")
    label = textwrap.fill(f"limit: {criterion}", 34)
    if criterion.measure in _ON_FREQUENCY:
        ax.axvline(criterion.limit * nyquist / 1e9, color=BLACK, linewidth=2, label=label)
    elif criterion.measure is Measure.LOSS:
        ax.plot([0, nyquist / 1e9], [criterion.limit] * 2, color=BLACK, linewidth=2, label=label)
    else:
        ax.plot([], [], linestyle="", label=label)
