"""Owns the closed form of a notch as users call it: frequency from length and permittivity, and the way back."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stubsi.errors import StubsiError
from stubsi.number_rules import DK_RULE
from stubsi.physics.uniform_line import quarter_wave, quarter_wave_length
from stubsi.units import one_number, one_si, quantity, show, to_number, to_si

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.units import Dimensioned, DimensionedArray, NumberArray, Quantity

    FloatArray = NDArray[np.float64]


def notch_frequency(stub_length: DimensionedArray, dk_eff: NumberArray, order: NumberArray = 1) -> Quantity:
    r"""Notch of an open stub: the frequencies where it shorts the path it hangs on.

    .. math:: f_n = \frac{n c}{4 L \sqrt{D_{k,eff}}}, \quad n = 1, 3, 5, \ldots

    Parameters
    ----------
    stub_length : length
        Text, quantity, quantity array or list of texts. Zero: no stub, hence no notch (NaN).
    dk_eff : float or array_like
        Effective relative permittivity [-] of the *stub*, at least 1. With the laminate's Dk in its place, the notch
        usually comes out 26-130 % too high against full wave, because pads and planes load the barrel.
    order : int or array_like
        Odd multiple.

    Returns
    -------
    pint.Quantity
        In GHz; broadcast shape of the arguments, scalar for scalars.

    Raises
    ------
    UnitError, StubsiError
        A length without unit, negative or not finite; ``dk_eff`` below 1 or not a number; an even ``order``.

    Notes
    -----
    Lossless, no end capacitance. Estimates; confirm by measurement or field solution.

    Examples
    --------
    >>> print(notch_frequency("5 mm", 4).round(6))
    7.494811 gigahertz
    """
    length = to_si(stub_length, "long length", "stub_length", rule="not negative")
    dk, n = checked_dk(dk_eff), checked_order(order)
    try:
        np.broadcast_shapes(np.shape(length), np.shape(dk), np.shape(n))
    except ValueError:
        raise StubsiError("stub_length, dk_eff and order: give scalars, or arrays of one shape.") from None
    return quantity(quarter_wave(length, dk, n), "frequency")


def dk_eff_from_notch(stub_length: Dimensioned, notch: Dimensioned) -> float:
    r"""Effective permittivity [-] of a stub from its length and its measured first notch.

    .. math:: D_{k,eff} = \left(\frac{c}{4 L f_0}\right)^2

    Parameters
    ----------
    stub_length : length
        Of the stub that was measured.
    notch : frequency
        Its first notch.

    Returns
    -------
    float
        At least 1.

    Raises
    ------
    UnitError, StubsiError
        Values that are not one positive length and frequency; a notch higher than in vacuum.

    Examples
    --------
    >>> round(dk_eff_from_notch("270 mil", "4.4 GHz"), 3)
    6.169
    """
    length, f0 = one_si(stub_length, "long length", "stub_length"), one_si(notch, "frequency", "notch")
    dk_eff = float((quarter_wave_length(f0, 1.0) / length) ** 2)
    if dk_eff < 1:
        raise StubsiError(
            f"notch = {show(f0, 'frequency')}: a stub of {show(length, 'length')} has its first notch below that even "
            f"in vacuum (dk_eff = {dk_eff:.3g}); is it the first notch?"
        )
    return dk_eff


def checked_dk(dk_eff: NumberArray) -> float | FloatArray:
    """Check a relative permittivity.

    Parameters
    ----------
    dk_eff : float or array_like

    Returns
    -------
    float or ndarray

    Raises
    ------
    UnitError
        Not a finite number, or below 1.
    """
    return to_number(dk_eff, "dk_eff", rule=DK_RULE)


def checked_order(order: NumberArray) -> float | FloatArray:
    """Check the odd multiple that numbers a notch.

    Parameters
    ----------
    order : int or array_like

    Returns
    -------
    float or ndarray

    Raises
    ------
    UnitError, StubsiError
        Not a positive number, or not odd.
    """
    n = to_number(order, "order")
    if np.any(np.mod(n, 2) != 1):
        raise StubsiError(f"order = {order!s}: must be odd; an open stub shorts the path at 1, 3, 5 ... times f0.")
    return n


def one_order(order: int) -> int:
    """Check the odd multiple that numbers one notch.

    Parameters
    ----------
    order : int

    Returns
    -------
    int

    Raises
    ------
    UnitError, StubsiError
        Not one positive number, or not odd.
    """
    checked_order(one_number(order, "order"))
    return int(order)
