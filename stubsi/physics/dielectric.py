"""Owns the permittivity of a laminate over frequency: constant, or wideband Debye."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stubsi.errors import ValidityError

if TYPE_CHECKING:
    from stubsi.physics.arrays import ComplexArray, ComplexLike, FloatArray, FloatLike

F_LOW = 1e3
F_HIGH = 1e12
"""Band of the wideband Debye model [Hz]: 1 kHz to 1 THz, the usual choice."""


def permittivity(
    frequency: ComplexLike, dk: FloatLike, df: FloatLike = 0.0, at: FloatLike | None = None
) -> ComplexArray:
    r"""Complex relative permittivity :math:`\varepsilon' - j\varepsilon''` of a laminate.

    .. math:: \varepsilon(f) = \varepsilon_\infty + m \ln\frac{f_{high} + jf}{f_{low} + jf}

    with :math:`m` and :math:`\varepsilon_\infty` such that :math:`\varepsilon(f_{at}) = D_k (1 - j \tan\delta)`.

    Parameters
    ----------
    frequency : array_like
        Frequency [Hz], 0 allowed; may be complex (a damped oscillation).
    dk, df : array_like
        Relative permittivity [-] and loss tangent [-] at the frequency ``at``.
    at : array_like, optional
        Frequency [Hz] where ``dk`` and ``df`` hold. None or NaN: both are taken as constant over frequency.

    Returns
    -------
    ndarray of complex
        Broadcast shape of the arguments.

    Raises
    ------
    ValidityError
        ``at`` outside 1 kHz to 1 THz; ``df`` so high (0.24 at 1 GHz) that the permittivity would turn negative.

    Notes
    -----
    Valid from 1 kHz to 1 THz, where the loss tangent is nearly flat; causal.
    Source: Djordjevic, Biljic, Likar-Smiljanic, Sarkar, IEEE Trans. EMC 43(4), 2001, 662-667.

    Examples
    --------
    >>> e = permittivity(10e9, 4.2, 0.02, 1e9)
    >>> print(f"{e.real:.7f} {-e.imag / e.real:.7f}")
    4.0767910 0.0204863
    """
    constant, strength = debye_terms(dk, df, at)
    return np.asarray(constant + strength * debye_logarithm(frequency))


def debye_terms(dk: FloatLike, df: FloatLike = 0.0, at: FloatLike | None = None) -> tuple[ComplexArray, FloatArray]:
    """Parts of the permittivity that do not depend on frequency: c and m of c + m ``debye_logarithm(frequency)``.

    Parameters
    ----------
    dk, df, at : array_like
        As in ``permittivity``.

    Returns
    -------
    constant, strength
        [-], in the broadcast shape of the arguments; strength 0 where dk and df are constant over frequency.

    Raises
    ------
    ValidityError
        As ``permittivity``.
    """
    given_at = np.asarray(np.nan if at is None else at, dtype=float)
    known = np.isfinite(given_at)
    if np.any(known & ((given_at < F_LOW) | (given_at > F_HIGH))):
        raise ValidityError(f"permittivity given at {given_at} Hz: must lie between 1 kHz and 1 THz, or be left out.")
    reference = debye_logarithm(np.where(known, given_at, 1e9))
    strength = np.where(known, np.multiply(dk, df) / -reference.imag, 0.0)
    dk_infinite = dk - strength * reference.real
    if np.any(known & (dk_infinite + strength * debye_logarithm(F_HIGH).real <= 0)):
        raise ValidityError(f"df = {df}: so high a loss tangent makes the wideband Debye Dk negative at 1 THz.")
    return np.where(known, dk_infinite, np.multiply(dk, np.subtract(1.0, np.multiply(1j, df)))), strength


def debye_logarithm(frequency: ComplexLike) -> ComplexArray:
    """Logarithm of the wideband Debye model, ln((f_high + jf)/(f_low + jf)).

    Parameters
    ----------
    frequency : array_like
        [Hz], 0 allowed; may be complex.

    Returns
    -------
    ndarray of complex
        [-].
    """
    jf = 1j * np.asarray(frequency)
    return np.asarray(np.log((F_HIGH + jf) / (F_LOW + jf)))


def debye_logarithm_slope(frequency: FloatLike) -> FloatArray:
    r"""Change of the real part of ``debye_logarithm`` with the logarithm of frequency.

    .. math:: \frac{f^2}{f_{high}^2 + f^2} - \frac{f^2}{f_{low}^2 + f^2}

    Parameters
    ----------
    frequency : array_like
        f [Hz], real.

    Returns
    -------
    ndarray
        [-]: about -1 within the band.
    """
    square = np.square(np.asarray(frequency, dtype=float))
    return np.asarray(square * (1 / (F_HIGH**2 + square) - 1 / (F_LOW**2 + square)))
