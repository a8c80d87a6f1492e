"""Owns the residual stub as a range: length, first notch, and how probable it is that the layer in use is cut."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtr

from stubsi.checks import checked
from stubsi.errors import BoardError
from stubsi.physics.uniform_line import quarter_wave
from stubsi.stubs.notch_formula import checked_dk
from stubsi.tolerance.tolerance import Tolerance
from stubsi.units import one_number, one_si, show

if TYPE_CHECKING:
    import pandas as pd

    from stubsi.units import Dimensioned, Number

NEGLIGIBLE = 1e-9
"""A drill counts as one that cannot cut the layer in use if this happens in fewer holes than this part of them."""


@dataclass(frozen=True, kw_only=True)
class ResidualStub:
    """What a depth drill leaves, over its tolerance. Print it, or take ``to_frame()``.

    Parameters
    ----------
    length_si : three of float
        Least, aimed at and greatest length [m]; negative where the drill has gone past the layer in use.
    notch_si : three of float
        First notch [Hz] of the longest, the one aimed at and the shortest; infinite where nothing is left.
    cut_probability : float
        Share of the holes in which the layer in use is cut.
    length_share, dk_share : float
        Parts of the variance of the notch that length and Dk cause each by itself (first order). NaN where the layer in
        use may be cut: the notch then has no finite variance.
    """

    length_si: tuple[float, float, float]
    notch_si: tuple[float, float, float]
    cut_probability: float
    length_share: float
    dk_share: float

    @property
    def may_cut(self) -> bool:
        """Whether the drill may cut the layer in use."""
        return self.length_si[0] <= 0 or self.cut_probability > NEGLIGIBLE

    def to_frame(self) -> pd.DataFrame:
        """Table as a pandas DataFrame: longest, aimed at and shortest in a row each.

        Returns
        -------
        pandas.DataFrame
            Plain numbers, units in the column names.
        """
        import pandas as pd

        return pd.DataFrame(
            {
                "residual stub": ["longest", "aimed at", "shortest"],
                "length [mm]": [1e3 * each for each in self.length_si[::-1]],
                "first notch [GHz]": [each / 1e9 for each in self.notch_si],
            }
        )

    def in_words(self) -> str:
        """What the range means.

        Returns
        -------
        str
            One or two sentences.
        """
        if self.may_cut:
            return f"The drill may cut the layer in use: in {self.cut_probability:.3g} of the holes."
        parts = f"the length {self.length_share:.2g}, the Dk {self.dk_share:.2g}"
        return f"The drill does not cut the layer in use. Parts of the variance of the notch: {parts}."

    def __str__(self) -> str:
        from stubsi.show.drilled_tables import residual_text

        return residual_text(self)

    def _repr_html_(self) -> str:
        from stubsi.show.drilled_tables import residual_html

        return residual_html(self)

    def __repr__(self) -> str:
        low, _, high = self.length_si
        cut = ", may cut the layer in use" if self.may_cut else ""
        return f"<ResidualStub {show(low, 'length')} to {show(high, 'length')}{cut}>"


def residual_stub(
    stub_length: Dimensioned, depth: Tolerance, *, dk_eff: Number, dk: Tolerance | None = None
) -> ResidualStub:
    r"""What a depth tolerance does to a residual stub: its length, its first notch, and whether a layer may be cut.

    Parameters
    ----------
    stub_length : length
        Residual stub that is aimed at, positive.
    depth : Tolerance
        Of this length: ``plus`` leaves more, ``minus`` less.
    dk_eff : float
        Effective relative permittivity of the stub [-], at least 1.
    dk : Tolerance, optional
        Of ``dk_eff``, as a number or in percent. Without it the Dk is exact.

    Returns
    -------
    ResidualStub
        Its ranges, and what they mean.

    Raises
    ------
    UnitError, StubsiError
        A length or a Dk that is none, or a tolerance of another type, or stated in a unit that does not apply.

    Notes
    -----
    The quarter wave, :math:`f = c / (4 L \sqrt{\varepsilon})`, lossless, without what pads and planes add; of a solved
    short stub the notch is lower. Its variance is exact: length and Dk are independent and the notch is a product, so
    with :math:`g = 1/L` and :math:`h = \varepsilon^{-1/2}` the part of the length by itself is
    :math:`\operatorname{Var} g\,(E h)^2 / (E g^2\,E h^2 - (E g)^2 (E h)^2)`.

    Examples
    --------
    >>> from stubsi import Tolerance
    >>> def plus_minus(amount):
    ...     return Tolerance.plus_minus(amount, source="example")
    >>> print(residual_stub("10 mil", plus_minus("3 mil"), dk_eff=4, dk=plus_minus("5 %")))
    residual stub  length  first notch
                       mm          GHz
    longest        0.3302        110.8
    aimed at        0.254        147.5
    shortest       0.1778        216.2
    The drill does not cut the layer in use. Parts of the variance of the notch: the length 0.99, the Dk 0.0064.
    >>> print(residual_stub("2 mil", plus_minus("3 mil"), dk_eff=4).in_words())
    The drill may cut the layer in use: in 0.167 of the holes.
    """
    length = one_si(stub_length, "length", "stub_length")
    _stated_in(checked(depth, "depth", Tolerance), "depth", ("length", "percent"))
    nominal_dk = float(checked_dk(one_number(dk_eff, "dk_eff")))
    least, most = depth.limits(length)
    dk_least = dk_most = nominal_dk
    if dk is not None:
        _stated_in(checked(dk, "dk", Tolerance), "dk", ("number", "percent"))
        dk_least, dk_most = dk.limits(nominal_dk)
        if dk_least < 1:
            raise BoardError(f"dk: goes down to {dk_least:g}, below 1, which no material has; make it narrower.")
    cut = _below_zero(depth, least, most)
    shares = (np.nan, np.nan) if least <= 0 or cut > NEGLIGIBLE else _shares(depth, length, dk, nominal_dk)
    return ResidualStub(
        length_si=(least, length, most),
        notch_si=(_notch(most, dk_most), _notch(length, nominal_dk), _notch(least, dk_least)),
        cut_probability=cut, length_share=shares[0], dk_share=shares[1],
    )  # fmt: skip


def _stated_in(tolerance: Tolerance, what: str, units: tuple[str, ...]) -> None:
    if tolerance.plus.unit not in units:
        raise BoardError(f"{what} = +{tolerance.plus} / -{tolerance.minus}: must be stated as {' or '.join(units)}.")


def _notch(length: float, dk: float) -> float:
    return float(quarter_wave(length, dk, 1)) if length > 0 else float("inf")


def _below_zero(tolerance: Tolerance, least: float, most: float) -> float:
    """Probability that a built value with these limits is not positive."""
    return below(tolerance.distribution, tolerance.sigma, -(least + most) / (most - least))


def below(distribution: str, sigma: float | None, t: float) -> float:
    """Probability that a coordinate of a tolerance lies at or below t; the reverse of ``quantile``.

    Parameters
    ----------
    distribution : str
    sigma : float or None
    t : float

    Returns
    -------
    float
    """
    if sigma is None:
        return min(max((t + 1) / 2, 0.0), 1.0)
    share = float(ndtr(t * sigma))
    if distribution == "normal":
        return share
    tail = float(ndtr(-sigma))
    return min(max((share - tail) / (1 - 2 * tail), 0.0), 1.0)


def _shares(depth: Tolerance, length: float, dk: Tolerance | None, dk_eff: float) -> tuple[float, float]:
    """First-order parts of the variance of the notch: of length and of Dk."""
    g, g_squared = _moments(depth, length, -1.0)
    h, h_squared = (dk_eff**-0.5, 1 / dk_eff) if dk is None else _moments(dk, dk_eff, -0.5)
    total = g_squared * h_squared - (g * h) ** 2
    return (g_squared - g**2) * h**2 / total, (h_squared - h**2) * g**2 / total


def _moments(tolerance: Tolerance, nominal: float, power: float) -> tuple[float, float]:
    """Means of a power of a built value and of its square, by Gauss-Legendre over the probability."""
    node, weight = np.polynomial.legendre.leggauss(400)
    low, high = tolerance.limits(nominal)
    value = (low + high) / 2 + tolerance.quantile((node + 1) / 2) * (high - low) / 2
    mean, of_square = (float(np.sum(weight * value ** (each * power)) / 2) for each in (1, 2))
    return mean, of_square
