r"""Owns the feed of a stub: the series inductance between the traces of a net and the plane at which its chain begins.

The notch that a signal sees is the zero of the transfer impedance between its two traces, so the first piece of a stub
depends on where the current comes from. All heights here are from the strip to the middle of a plane.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

FIELD_REACH = 2.5
"""The field of a strip that crosses a clearance is disturbed up to this many clearance radii [-]. One of the four
constants that are fitted to 24 static 3-D solves of the strip and its barrel, never to a notch; also the next three."""
PLANE_BEYOND = 0.45
"""A plane with a clearance acts on the strip as one farther off by this share of the clearance radius [-]."""
BARREL_IN_CENTRE, PAD_IN_CENTRE = 0.09, 0.26
"""Shares [-] of barrel radius and of the radius of the pad in use in the radius at which the strip meets the barrel."""
BOTH_PLANES = 0.9
"""As ``PLANE_BEYOND``, for the far plane where the barrel goes on through it; from a static check of 5 pH."""
NEIGHBOUR, NEIGHBOUR_DECAY = 1.4, 2.1
"""Size and decay [-] of the mutual inductance of two strips on both sides of a clearance; fitted to 5 static runs, off
by up to 13 pH."""


@dataclass(frozen=True, kw_only=True)
class Feed:
    """Series impedance of the piece of barrel between the strip and the next plane.

    Parameters
    ----------
    share : float
        Share of the impedance of that piece of ordinary barrel [-].
    inductance : float
        What is added to it, over mu0/(2 pi) [m]; may be negative.
    """

    share: float = 1.0
    inductance: float = 0.0


THROUGH = Feed()
"""The signal comes along the barrel and leaves on this layer: its current fills the whole height from strip to plane,
as in ordinary barrel (derived)."""


def neighbour_inductance(clearance_radius: float, apart: float) -> float:
    r"""Mutual inductance of the strips of a net on both sides of a plane, over mu0/(2 pi).

    .. math:: 1.4\,b\,e^{-2.1 s/b}

    It is subtracted from the feed where the strips leave on opposite sides of the barrel, and added where they leave on
    the same side.

    Parameters
    ----------
    clearance_radius : float
        b of the plane between [m].
    apart : float
        Vertical distance s of the two strips [m].

    Returns
    -------
    float
        [m].
    """
    return float(NEIGHBOUR * clearance_radius * np.exp(-NEIGHBOUR_DECAY * apart / clearance_radius))


def tee(
    *,
    barrel_radius: float,
    clearance_radius: float,
    pad_radius: float | None,
    above: float | None,
    below: float,
    goes_on: bool,
) -> Feed:
    r"""Feed of a stub whose net has both of its traces on the layer where the stub starts.

    .. math:: Z = q^2 H Z' + j\omega\frac{\mu_0}{2\pi}X, \qquad X = T \ln\frac{b_s}{a} - W

    .. math:: W = U(b_s, 2h_s) - U(r_0, 2h_s) + \tfrac12 (h_e - h_s)\ln\frac{b_s^2 + 16h_s^2}{r_0^2 + 16h_s^2}

    .. math:: U(x, D) = x + D - S + \frac x2\ln\frac{x + S}{2x} + \frac D2\ln\frac{D + S}{2D}, \qquad
        S = \sqrt{x^2 + D^2}

    with h1 and h2 the heights to both planes, H = h1 + h2, q = h2/H, T = h1 h2/H, and over one plane T = h2, q = 0.

    Parameters
    ----------
    barrel_radius, clearance_radius : float
        a of the barrel and b of the plane on the stub's side [m].
    pad_radius : float or None
        Of the pad in use [m]; None without one.
    above : float or None
        Height h1 to the plane away from the stub [m]; None: there is none (microstrip).
    below : float
        Height h2 to the plane on the stub's side [m].
    goes_on : bool
        Whether the barrel also goes on through the far plane.

    Returns
    -------
    Feed
        Its ``share`` is that of h2 Z'.

    Notes
    -----
    Derived: the terms without variation around the barrel, U, the sum over two planes, and solid planes. The strip's
    field where it crosses the clearance has the fitted constants above. Static: 1.3 pH rms over 9 cases run after they
    were fixed. Notch against 3-D finite elements, 14 cases: -1.5 to 0.0 %. Ranges run: a 0.08 to 0.2 mm, b 0.15 to
    0.55 mm, pad radius to 0.3 mm, heights 0.06 to 0.64 mm. The far plane that the barrel goes on through is checked
    statically only. Trace width hardly matters.
    """
    a, b = barrel_radius, clearance_radius
    reach = FIELD_REACH * b
    centre = BARREL_IN_CENTRE * a + PAD_IN_CENTRE * (pad_radius or a)
    near = float(np.hypot(below, PLANE_BEYOND * b))
    if above is None:
        both, share, image, sum_of_images = below, 0.0, near, near
    else:
        both, share = above * below / (above + below), below / (above + below)
        far = float(np.hypot(above, BOTH_PLANES * b)) if goes_on else above
        image = far * near / (far + near)
        sum_of_images = (far + near) / np.pi * float(np.sin(np.pi * near / (far + near)))
    crossing = _filament(reach, 2 * sum_of_images) - _filament(centre, 2 * sum_of_images)
    far_images = np.log((reach**2 + 16 * sum_of_images**2) / (centre**2 + 16 * sum_of_images**2))
    crossing += float((image - sum_of_images) / 2 * far_images)
    return Feed(share=share, inductance=float(both * np.log(reach / a)) - crossing)


def _filament(x: float, distance: float) -> float:
    """Mutual inductance U of two filaments of length x at a distance D, over mu0/(2 pi) [m]."""
    diagonal = np.hypot(x, distance)
    return float(
        x
        + distance
        - diagonal
        + x / 2 * np.log((x + diagonal) / (2 * x))
        + distance / 2 * np.log((distance + diagonal) / (2 * distance))
    )
