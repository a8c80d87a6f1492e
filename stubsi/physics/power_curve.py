"""Owns the curve of the power that stubs leave in their lines: samples dense enough to miss no dip, and its least."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple, TypeAlias

import numpy as np

from stubsi.physics.uniform_line import shunt_s

if TYPE_CHECKING:
    from collections.abc import Callable

    from stubsi.physics.arrays import BoolArray, ComplexArray, FloatArray, FloatLike, IndexArray
    from stubsi.physics.chain import Chain

    Inputs: TypeAlias = Callable[[IndexArray, FloatArray], tuple[ComplexArray, ComplexArray]]
    PowerCurve: TypeAlias = Callable[[IndexArray, FloatArray], FloatArray]
    """Share of the power left [-] behind the stubs of these numbers at frequencies (n, n_frequency) [Hz]."""


SMOOTH, FLOOR = 0.01, 0.002
"""The sweep is fine enough where each sample is what its neighbours say: within this share of the power left, and this
power [-]. Elsewhere its steps are halved."""
HALVINGS = 9
"""Most times a step is halved."""
ZOOMS = 4
"""Times the steps beside a minimum or maximum are halved before a parabola gives its place."""


def power_curve(inputs: Inputs, z0: FloatLike) -> PowerCurve:
    """Power left in the line behind stubs.

    Parameters
    ----------
    inputs : callable
        Voltage and current at the inputs of the stubs of these numbers (n,) at frequencies (n, n_frequency) [Hz].
    z0 : float or ndarray, shape (n_stub,)
        Impedance of the line [ohm].

    Returns
    -------
    callable
    """
    lines = np.asarray(z0, dtype=float)

    def power(rows: IndexArray, frequency: FloatArray) -> FloatArray:
        line = lines[rows, None] if lines.ndim else lines
        return np.abs(shunt_s(*inputs(rows, frequency), line)[1]) ** 2

    return power


def not_reflected_curve(inputs: Inputs, z0: FloatLike) -> PowerCurve:
    """Power that stubs do not send back into the line, 1 - abs(S11)^2: least where the return loss is.

    Parameters
    ----------
    inputs, z0
        As ``power_curve`` takes them.

    Returns
    -------
    callable
    """
    lines = np.asarray(z0, dtype=float)

    def power(rows: IndexArray, frequency: FloatArray) -> FloatArray:
        line = lines[rows, None] if lines.ndim else lines
        return 1 - np.abs(shunt_s(*inputs(rows, frequency), line)[0]) ** 2

    return power


def chain_inputs(chain: Chain) -> Inputs:
    """Voltage and current at the inputs of the stubs of a chain, as ``power_curve`` takes them.

    Parameters
    ----------
    chain : Chain
        The stubs.

    Returns
    -------
    callable
    """

    def inputs(rows: IndexArray, frequency: FloatArray) -> tuple[ComplexArray, ComplexArray]:
        every = np.array_equal(rows, np.arange(len(chain)))
        return (chain if every else chain.only(rows)).voltage_current(frequency)

    return inputs


def remembered(inputs: Inputs) -> Inputs:
    """Inputs that are asked for more than once, as by two curves that begin with the same samples, found once.

    Parameters
    ----------
    inputs : callable
        Voltage and current at the inputs, as ``power_curve`` takes them.

    Returns
    -------
    callable
        It keeps all that it has found, so it is for one search only.
    """
    found: dict[tuple[bytes, bytes], tuple[ComplexArray, ComplexArray]] = {}

    def again(rows: IndexArray, frequency: FloatArray) -> tuple[ComplexArray, ComplexArray]:
        key = rows.tobytes(), frequency.tobytes()
        if key not in found:
            found[key] = inputs(rows, frequency)
        return found[key]

    return again


def swept(power: PowerCurve, f: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Frequencies and power left at them, with steps halved until the power is smooth from sample to sample.

    Parameters
    ----------
    power : callable
        Power left, as ``PowerCurve``.
    f : ndarray, shape (n_stub, n)
        First frequencies, rising [Hz].

    Returns
    -------
    frequency, share : ndarray
        [Hz] and [-], each (n_stub, m). Rows with fewer samples than others end in copies of their last one.
    """
    rows = np.arange(len(f))
    share, recent = power(rows, f), np.ones(f.shape, dtype=bool)
    for _ in range(HALVINGS):
        rough = _rough(f[rows], share[rows]) & (recent[rows, 1:] | recent[rows, :-1])
        rows, rough = rows[rough.any(axis=1)], rough[rough.any(axis=1)]
        if not rows.size:
            break
        most = int(rough.sum(axis=1).max())
        step = np.argsort(~rough, axis=1, kind="stable")[:, :most]
        is_rough = np.take_along_axis(rough, step, axis=1)
        each = rows[:, None]
        middle = np.where(is_rough, np.sqrt(f[each, step] * f[each, step + 1]), f[rows, -1:])
        left = np.where(is_rough, power(rows, middle), share[rows, -1:])
        f, share, recent = (
            np.concatenate([values, np.repeat(values[:, -1:], most, axis=1)], axis=1) for values in (f, share, recent)
        )
        recent[rows], f[rows, -most:], share[rows, -most:], recent[rows, -most:] = False, middle, left, is_rough
        order = np.argsort(f, axis=1, kind="stable")
        f, share, recent = (np.take_along_axis(values, order, axis=1) for values in (f, share, recent))
    return f, share


def _rough(f: FloatArray, share: FloatArray) -> BoolArray:
    """Steps, (n_stub, n - 1), beside samples that differ from the cubic through the two samples on either side."""
    place = np.log(f)
    x, at = [place[:, i : place.shape[1] - 4 + i] - place[:, 2:-2] for i in (0, 1, 3, 4)], share[:, 2:-2]
    y = [share[:, i : share.shape[1] - 4 + i] for i in (0, 1, 3, 4)]
    expected = np.zeros_like(at)
    with np.errstate(divide="ignore", invalid="ignore"):
        for i in range(4):
            weight = np.ones_like(at)
            for j in range(4):
                if j != i:
                    weight = weight * (x[j] / (x[j] - x[i]))
            expected += weight * y[i]
        off = np.abs(at - expected) > SMOOTH * at + FLOOR
    off = np.pad(off & np.isfinite(expected), ((0, 0), (2, 2)))
    return off[:, 1:] | off[:, :-1]


class Bracket(NamedTuple):
    """Three rising frequencies [Hz] around each turning point, and the power there, with the sign that makes it least.

    Each of shape (3, n_stub, n).
    """

    f: FloatArray
    value: FloatArray


def least_of(bracket: Bracket, value: Callable[[FloatArray], FloatArray]) -> tuple[FloatArray, FloatArray]:
    """Place [Hz] and value of the least of a function within each bracket.

    Parameters
    ----------
    bracket : Bracket
    value : callable
        The function at frequencies (n_stub, k * n) [Hz].
    """
    f, values = bracket
    for _ in range(ZOOMS):
        between = np.sqrt(f[:-1] * f[1:])
        more = np.split(value(np.concatenate(list(between), axis=1)), 2, axis=1)
        five = np.array([f[0], between[0], f[1], between[1], f[2]])
        at_five = np.array([values[0], more[0], values[1], more[1], values[2]])
        best = at_five[1:4].argmin(axis=0) + np.arange(3)[:, None, None]
        f, values = np.take_along_axis(five, best, axis=0), np.take_along_axis(at_five, best, axis=0)
    before, at, after = values
    left, right = f[1] - f[0], f[2] - f[1]
    rise, fall = (after - at) / right, (at - before) / left
    bend = np.maximum((rise - fall) / (left + right), np.finfo(float).tiny)
    slope = (rise * left + fall * right) / (left + right)
    lowest = np.clip(f[1] - slope / (2 * bend), f[0], f[2])
    least = value(lowest)
    better = least < at
    return np.where(better, lowest, f[1]), np.where(better, least, at)
