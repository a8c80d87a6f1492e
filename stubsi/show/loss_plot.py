"""Owns the plots of insertion loss over frequency: stubs and holes, and a net before and after drilling."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from stubsi.board.signal import as_signal
from stubsi.checks import checked
from stubsi.errors import StubsiError
from stubsi.physics.uniform_line import decibels
from stubsi.show.axes import axes_for, draw_legend, shown
from stubsi.show.palette import CURVES
from stubsi.stubs.hole_model import HoleModel
from stubsi.stubs.hole_stub import HoleStub
from stubsi.stubs.uniform_stub import Stub
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stubsi.board.signal import Signal
    from stubsi.network import Frequencies
    from stubsi.units import Dimensioned, Quantity


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
    ax.axvline(signal.nyquist_si / 1e9, color="black", linestyle="--", label=f"Nyquist of {signal}")
    ax.yaxis.set_inverted(True)
    ax.set_xlabel("frequency [GHz]")
    ax.set_ylabel("insertion loss [dB]")
    draw_legend(ax)
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
