"""Owns the formulas for two equal barrels in their odd mode: a shared slot as a round clearance, and coupled ends."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.constants import epsilon_0
from scipy.special import xlogy

if TYPE_CHECKING:
    from stubsi.physics.arrays import FloatArray, FloatLike

SLOT_RATIO = 1.118
"""[-] Round clearance over half-width of a slot's end, seen from the centre of its arc; from two-dimensional solves."""
SLOT_END = 0.075
"""[-] What the arc adds to pi s/(4B), s the pitch and B the half-width; from the same solves."""


def fringe_shift(height: FloatLike, thickness: FloatLike) -> FloatArray:
    r"""How much wider than drawn a clearance acts in a stack of planes, by the fringe field at its edge.

    .. math:: d = \frac{h}{2\pi}\{x \ln x + (2+x)\ln(2+x) - 2(1+x)\ln(1+x)\}, \qquad x = t/h

    Parameters
    ----------
    height, thickness : array_like
        Height h between two planes and thickness t of a plane [m]; t = 0 gives h ln 2/pi.

    Returns
    -------
    ndarray
        Shift d [m].

    Notes
    -----
    Derived by conformal mapping (Schwarz-Christoffel) of a grating of thick half planes.
    """
    h = np.asarray(height, dtype=float)
    x = np.asarray(thickness) / h
    return np.asarray(h / (2 * np.pi) * (xlogy(x, x) + xlogy(2 + x, 2 + x) - 2 * xlogy(1 + x, 1 + x)))


def equivalent_clearance(pitch: FloatLike, half_width: FloatLike, fringe_shift: FloatLike = 0.0) -> FloatArray:
    r"""Round clearance that acts on one barrel as a slot shared by both does in the odd mode.

    .. math:: b + d = 1.118\,B \tanh\left(\frac{\pi s}{4B} + 0.075\right), \qquad B = w + d,
              \qquad b \ge \min(w, s/2)

    Parameters
    ----------
    pitch : array_like
        Distance s between the barrels' centres [m]; the slot ends in arcs centred on them.
    half_width : array_like
        Half of the slot's width, w [m].
    fringe_shift : array_like
        Shift d [m] of the edge by which its fringe field widens it, from cavity height and plane thickness.

    Returns
    -------
    ndarray
        Equivalent clearance radius b [m]. Two separate round clearances need no conversion.

    Notes
    -----
    Derived: a line between two straight edges with its odd image; both constants, for the arc that closes the slot,
    are fitted to two-dimensional odd-potential solves. Within 0.6 % in ln(b/a) for s >= 1.5 B and a <= 0.375 B. The
    least value follows from the slot alone: a circle of that radius around the barrel lies within the slot and on this
    side of the wall half-way between the barrels, and more room lowers a capacitance. It takes over where the planes
    are so far apart that the formula no longer holds.
    """
    grown = np.asarray(half_width) + fringe_shift
    round_clearance = SLOT_RATIO * grown * np.tanh(np.pi * np.asarray(pitch) / (4 * grown) + SLOT_END)
    return np.maximum(round_clearance - fringe_shift, np.minimum(half_width, np.asarray(pitch) / 2))


def end_coupling(
    pitch: FloatLike, pad_radius: FloatLike, clearance_radius: FloatLike, height: FloatLike, dk: FloatLike
) -> FloatArray:
    r"""Capacitance the ends of a pair's barrels add to each other in the odd mode, to be added to that of one end.

    .. math:: \Delta C = 72\,\varepsilon_0\,s \left(\frac{p\,b\,h}{s^3}\right)^{1.8} \varepsilon_r^{0.31}

    Between planes each barrel is screened from the other; below the last plane only a thin laminate and the air lie
    between the end pads.

    Parameters
    ----------
    pitch : array_like
        Distance s between the barrels' centres [m].
    pad_radius : array_like
        Radius p of the end pad, or of the barrel where it ends bare [m].
    clearance_radius : array_like
        (Equivalent) clearance radius b of the last plane [m].
    height : array_like
        Laminate h from the last plane to the end [m].
    dk : array_like
        Its relative permittivity [-].

    Returns
    -------
    ndarray
        [F]; 1 to 3 % of the end's capacitance at a pitch of four to three pad radii.

    Notes
    -----
    Fitted to 26 three-dimensional electrostatic solves, pad and clearance 0.15 to 0.45 of the pitch, laminate 0.1 to
    0.3 of it, dk 2.2 to 6: 14 % rms, 38 % at most.
    """
    s = np.asarray(pitch, dtype=float)
    shape = (np.multiply(pad_radius, clearance_radius) * height / s**3) ** 1.8
    return np.asarray(72 * epsilon_0 * s * shape * np.power(dk, 0.31))
