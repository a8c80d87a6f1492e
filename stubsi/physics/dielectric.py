"""Owns the permittivity of a laminate over frequency: constant, or wideband Debye."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stubsi.errors import ValidityError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

F_LOW = 1e3
F_HIGH = 1e12
"""Band of the wideband Debye model [Hz]: 1 kHz to 1 THz, the usual choice."""


def permittivity(
    frequency: ArrayLike, dk: ArrayLike, df: ArrayLike = 0.0, at: ArrayLike | None = None
) -> NDArray[np.complex128]:
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
    constant = np.multiply(dk, np.subtract(1.0, np.multiply(1j, df)))
    if at is None:
        return np.asarray(constant + 0 * np.asarray(frequency))
    at = np.asarray(at, dtype=float)
    known = np.isfinite(at)
    if np.any(known & ((at < F_LOW) | (at > F_HIGH))):
        raise ValidityError(f"permittivity given at {at} Hz: must lie between 1 kHz and 1 THz, or be left out.")
    reference = _log_ratio(np.where(known, at, 1e9))
    m = _debye_strength(dk, df, reference)
    if np.any(known & (dk + m * (_log_ratio(F_HIGH) - reference).real <= 0)):
        raise ValidityError(f"df = {df}: so high a loss tangent has no wideband Debye permittivity up to 1 THz.")
    dispersive = dk + m * (_log_ratio(frequency) - reference.real)
    return np.where(known, dispersive, constant)


def permittivity_slope(
    frequency: ArrayLike, dk: ArrayLike, df: ArrayLike = 0.0, at: ArrayLike | None = None
) -> NDArray[np.float64]:
    r"""Change of the real part of ``permittivity`` with the logarithm of frequency.

    .. math:: \frac{d\varepsilon'}{d\ln f} = m\left(\frac{f^2}{f_{high}^2 + f^2} - \frac{f^2}{f_{low}^2 + f^2}\right)

    Parameters
    ----------
    frequency : array_like
        Frequency [Hz], real.
    dk, df, at : array_like
        As in ``permittivity``.

    Returns
    -------
    ndarray
        [-], in the broadcast shape of the arguments; 0 where dk and df are constant over frequency.
    """
    if at is None:
        return np.zeros(np.broadcast(frequency, dk, df).shape)
    known = np.isfinite(at)
    strength = _debye_strength(dk, df, _log_ratio(np.where(known, at, 1e9)))
    square = np.square(np.asarray(frequency, dtype=float))
    return np.where(known, strength * square * (1 / (F_HIGH**2 + square) - 1 / (F_LOW**2 + square)), 0.0)


def _debye_strength(dk: ArrayLike, df: ArrayLike, reference: NDArray[np.complex128]) -> NDArray[np.float64]:
    """M of the wideband Debye model [-] from dk and df where the logarithm of the model is ``reference``."""
    return np.asarray(np.multiply(dk, df) / -reference.imag, dtype=float)


def _log_ratio(frequency: ArrayLike) -> NDArray[np.complex128]:
    jf = 1j * np.asarray(frequency)
    return np.log((F_HIGH + jf) / (F_LOW + jf))
