"""Owns the odd mode of two equal barrels: slot as round clearance, inductance, impedance, coupled ends."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.constants import epsilon_0

from stubsi.physics.cavity import impedance_inside, outer_field, wavenumber
from stubsi.physics.return_path import ReturnPaths, Ring, centres, check_pair

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from stubsi.physics.return_path import Posts

SLOT_RATIO = 1.118
"""[-] Round clearance over half-width of a slot's end, seen from the centre of its arc; from two-dimensional solves."""
SLOT_END = 0.075
"""[-] What the arc adds to pi s/(4B), s the pitch and B the half-width; from the same solves."""


def equivalent_clearance(pitch: ArrayLike, half_width: ArrayLike, fringe_shift: ArrayLike = 0.0) -> NDArray:
    r"""Round clearance that acts on one barrel as a slot shared by both does in the odd mode.

    .. math:: b + d = 1.118\,B \tanh\left(\frac{\pi s}{4B} + 0.075\right), \qquad B = w + d

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
    are fitted to two-dimensional odd-potential solves. Within 0.6 % in ln(b/a) for s >= 1.5 B and a <= 0.375 B.
    """
    grown = np.asarray(half_width) + fringe_shift
    return SLOT_RATIO * grown * np.tanh(np.pi * np.asarray(pitch) / (4 * grown) + SLOT_END) - fringe_shift


def end_coupling(
    pitch: ArrayLike, pad_radius: ArrayLike, clearance_radius: ArrayLike, height: ArrayLike, dk: ArrayLike
) -> NDArray:
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
    return 72 * epsilon_0 * s * (np.multiply(pad_radius, clearance_radius) * height / s**3) ** 1.8 * np.power(dk, 0.31)


def odd_flux_factor(barrel_radius: float, pitch: float, return_path: Posts) -> float:
    r"""Static inductance per height of one barrel of a pair in the odd mode, over :math:`\mu_0/2\pi`.

    .. math:: \lambda = \operatorname{arcosh}\frac{s}{2a} - g^T G^{-1} g - r_v^2 \sum_j |E_j|^2

    Parameters
    ----------
    barrel_radius, pitch : float
        Radius a of the barrels and distance s between their centres [m].
    return_path : Posts
        Return posts, mirrored at x = 0, about the midpoint of the barrels on the x axis.

    Returns
    -------
    float
        lambda [-]; the inductance is mu0 lambda/(2 pi) [H/m].

    Raises
    ------
    ValidityError
        Posts that touch a barrel, each other or the midplane, or that lack their mirror image.

    Notes
    -----
    Derived: line charges with odd images at the posts, which hold zero potential, and the dipole of each round post
    in the field of all other charges. Within 0.2 % of a multipole collocation for separated posts.
    """
    check_pair(barrel_radius, pitch, return_path)
    posts = centres(return_path, odd=True)
    focus = np.sqrt(pitch**2 / 4 - barrel_radius**2)
    straight = float(np.arccosh(pitch / (2 * barrel_radius)))
    if not posts.size:
        return straight
    coupling = np.log(np.abs(posts + focus) / np.abs(posts - focus))
    apart, image = posts[:, None] - posts, posts[:, None] + posts.conj()
    np.fill_diagonal(apart, return_path.radius)
    charge = np.linalg.solve(np.log(np.abs(image) / np.abs(apart)), coupling)
    np.fill_diagonal(apart, np.inf)
    field = 1 / (posts + focus) - 1 / (posts - focus) - (1 / image - 1 / apart) @ charge
    return straight - float(coupling @ charge) - return_path.radius**2 * float(np.sum(np.abs(field) ** 2))


def odd_ring(barrel_radius: float, pitch: float, return_path: Posts) -> Ring:
    r"""Ring of the same static inductance as the pair's odd mode, radius :math:`a\,e^{\lambda}`.

    A fast closed stand-in with return posts near; it does not radiate, so it has neither Q nor notch depth.
    Arguments and errors as in ``odd_flux_factor``.
    """
    return Ring(radius=barrel_radius * np.exp(odd_flux_factor(barrel_radius, pitch, return_path)))


def odd_series_impedance(
    frequency: ArrayLike,
    eps: ArrayLike,
    barrel_radius: ArrayLike,
    clearance_radius: ArrayLike,
    *,
    pitch: float,
    return_path: Posts,
) -> NDArray:
    """Series impedance per cavity height of one barrel of a pair in the odd mode.

    The single barrel's formula (``cavity.series_impedance``) with the outer field of two barrels and the posts, all
    with multipoles and odd images: it radiates between the planes.

    Parameters
    ----------
    frequency : array_like
        Frequency [Hz], from 0 to 1e13; complex (Im f > 0) for a decaying oscillation.
    eps : array_like
        Relative permittivity eps' - j eps'' [-].
    barrel_radius, clearance_radius : array_like
        Radius of the barrels and of the (equivalent) clearance around each [m].
    pitch : float
        Distance between the barrels' centres [m].
    return_path : Posts
        Return posts, mirrored at x = 0; ``Posts()`` for none.

    Returns
    -------
    complex ndarray
        Z' [ohm/m], broadcast over the four arrays.

    Raises
    ------
    ValidityError
        Posts in a clearance, that touch each other or the midplane, or that lack their mirror image.
    """
    check_pair(float(np.max(barrel_radius)), pitch, return_path, clearance_radius)
    k = wavenumber(frequency, eps)[None]
    outer = outer_field(k, barrel_radius, ReturnPaths.of([return_path], [pitch]))
    return impedance_inside(frequency, k, barrel_radius, clearance_radius, outer)[0]
