"""Closed forms and fits of the trade and of the project, which the solved stub is compared with."""

from __future__ import annotations

import numpy as np
from scipy.constants import c as light_speed
from scipy.constants import epsilon_0, mu_0

from stubsi.errors import ValidityError
from stubsi.physics.pair import fringe_shift
from stubsi.physics.return_path import Ring, centres, check_pair


def coax_capacitance(barrel_diameter, antipad, dk):
    r"""Capacitance of barrel and antipad as a coaxial line [F/m]: :math:`2\pi\varepsilon_0 D_k / \ln(D/d)`."""
    return 2 * np.pi * epsilon_0 * np.asarray(dk) / np.log(np.divide(antipad, barrel_diameter))


def coax_inductance(barrel_diameter, antipad):
    r"""Inductance of the same line [H/m]: :math:`(\mu_0/2\pi) \ln(D/d)`."""
    return mu_0 / (2 * np.pi) * np.log(np.divide(antipad, barrel_diameter))


def skin_depth(frequency, conductivity):
    r"""Skin depth [m]: :math:`\delta = 1 / \sqrt{\pi f \mu_0 \sigma}`."""
    return 1 / np.sqrt(np.pi * np.asarray(frequency) * mu_0 * conductivity)


def common_clearance(one, other, height):
    r"""Clearance radius that, in both planes, stands for two unequal ones.

    .. math:: b^* = b_{min} + \frac{D}{2}\frac{h}{h+D}

    D [m] is the difference of the two radii, h the height [m] between the planes. Fitted to electrostatic solves:
    capacitance 0.07 % off at the median and 2.8 % at most.
    """
    difference = np.abs(np.subtract(one, other))
    return np.minimum(one, other) + difference / 2 * height / (height + difference)


def cell_capacitance(
    barrel_radius,
    clearance_radius,
    height,
    thickness,
    *,
    dk_in_plane=1.0,
    dk_z=1.0,
):
    r"""Capacitance of a bare barrel from plane mid to plane mid.

    .. math:: C = \frac{2\pi\varepsilon_0\varepsilon_r (h + t)}{\ln((b + d\sqrt{\varepsilon_r/\varepsilon_z})/a)}

    Parameters
    ----------
    barrel_radius, clearance_radius : array_like
        a and b [m], a < b.
    height, thickness : array_like
        Height h between the planes and thickness t of each [m].
    dk_in_plane, dk_z : array_like
        Relative permittivity for the radial and the axial field [-].

    Returns
    -------
    ndarray
        [F].

    Notes
    -----
    Derived; within 0.2 % of electrostatic solves for equal planes without pads. Tends to the coaxial line as h/b -> 0.
    """
    edge = clearance_radius + fringe_shift(height, thickness) * np.sqrt(np.divide(dk_in_plane, dk_z))
    return 2 * np.pi * epsilon_0 * dk_in_plane * np.add(height, thickness) / np.log(edge / barrel_radius)


def lowest_notch(open_notch, dk, farthest):
    r"""Quick lower end of the notch when the return posts are unknown, in place of ``unknown_return_paths``.

    .. math:: f = f_\mathrm{open} \{1 - 0.18 \max(0,\ k_\mathrm{open} r_2 - 0.37)\}

    The upper end is the notch with a ring at the surface of the nearest post.

    Parameters
    ----------
    open_notch : array_like
        Notch between open planes [Hz]; k_open is the wavenumber there.
    dk : array_like
        Relative permittivity of the cavities [-].
    farthest : array_like
        Greatest distance r_2 of a return post's centre [m].

    Returns
    -------
    ndarray
        [Hz], not above the scanned interval's lower end and at most 5 % below it.

    Raises
    ------
    ValidityError
        k_open r_2 above 2: posts that far away form a resonant cage of their own, scan them.

    Notes
    -----
    Fitted to scans of equal posts (radius 0.05 to 0.15 mm) around stubs of 4 to 12 cavities.
    """
    f = np.asarray(open_notch, dtype=float)
    reach = 2 * np.pi * f * np.sqrt(np.asarray(dk)) / light_speed * np.asarray(farthest)
    if np.any(reach > 2):
        raise ValidityError(
            f"farthest return post at k r = {np.max(reach):.3g}, above 2: scan unknown_return_paths instead"
        )
    return f * (1 - 0.18 * np.maximum(0, reach - 0.37))


def ring_of_posts(count, distance, post_radius):
    r"""Ring of the same static inductance as equal posts, :math:`R_\mathrm{eff} = R\,(R/(n r_v))^{1/n}`.

    For four posts and more; 2 % in inductance. As a ring at the notch it holds within 2.4 % up to k R = 0.8 for four
    posts and 1.4 for six, and 0.6 % up to 1.2 for eight (k at the open pair's notch); beyond it is low.

    Raises
    ------
    ValidityError
        Fewer than four posts.
    """
    if count < 4:
        raise ValidityError(f"{count} posts are no ring: it takes at least 4, solve them as Posts")
    return Ring(radius=distance * (distance / (count * post_radius)) ** (1 / count))


def odd_flux_factor(barrel_radius, pitch, return_path):
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


def odd_ring(barrel_radius, pitch, return_path):
    r"""Ring of the same static inductance as the pair's odd mode, radius :math:`a\,e^{\lambda}`.

    A fast closed stand-in with return posts near; it does not radiate, so it has neither Q nor notch depth.
    Arguments and errors as in ``odd_flux_factor``.
    """
    return Ring(radius=barrel_radius * np.exp(odd_flux_factor(barrel_radius, pitch, return_path)))
