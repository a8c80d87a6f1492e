"""Owns one tolerance: how far a value may lie above and below its nominal, how it is distributed, and who says so."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal, NamedTuple, TypeAlias, cast

import numpy as np
from scipy.special import ndtr, ndtri

from stubsi.checks import checked, one_line, one_of
from stubsi.errors import BoardError, UnitError
from stubsi.unit_errors import as_shown
from stubsi.unit_text import number_and_unit
from stubsi.units import one_number, one_si, show
from stubsi.value import Converted, Value, value_object

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.units import Dimensioned, Number, Quantity

    Floats: TypeAlias = NDArray[np.float64]

Distribution: TypeAlias = Literal["uniform", "normal", "censored normal"]
"""How the built values are distributed."""
DISTRIBUTIONS: tuple[Distribution, ...] = ("uniform", "normal", "censored normal")

LimitUnit: TypeAlias = Literal["length", "percent", "number"]
"""What a limit is stated in: a length, percent of the nominal, or a plain number as for Dk."""

_MOST_SIGMA = 8.0
"""Largest sigma level; beyond it the tails are smaller than the rounding of a float."""


class Limit(NamedTuple):
    """One side of a tolerance: its size, never negative, and what it is stated in."""

    size: float
    unit: LimitUnit

    def of(self, nominal: float) -> float:
        """Size of the limit for a nominal value, in the unit of the nominal."""
        return self.size * nominal if self.unit == "percent" else self.size

    def __str__(self) -> str:
        if self.unit == "percent":
            return f"{100 * self.size:g} %"
        return show(self.size, "length") if self.unit == "length" else f"{self.size:g}"


def _limit(value: Dimensioned | Number | Limit, what: str) -> Limit:
    if isinstance(value, Limit):
        return value
    if isinstance(value, str):
        number, unit = number_and_unit(value, "length", what)
        if unit == "%":
            share = float(f"{one_number(number, what, rule='not negative') / 100:.14g}")
            if share >= 1:
                raise BoardError(f"{what} = {as_shown(value)}: must be below 100 %.")
            return Limit(share, "percent")
        return Limit(one_si(value, "length", what, rule="not negative"), "length")
    try:
        return Limit(one_number(value, what, rule="not negative"), "number")
    except UnitError:
        if not getattr(value, "unit_items", tuple)():
            raise
    return Limit(one_si(cast("Quantity", value), "length", what, rule="not negative"), "length")


@value_object
class Tolerance(Value):
    r"""How far a built value may lie from its nominal, and how the built values are distributed between.

    Parameters
    ----------
    plus, minus : length, percent or number
        Greatest amounts above and below the nominal: ``"0.1 mm"``, ``"10 %"`` of the nominal, or a plain number for a
        Dk. One of them may be zero; then the tolerance is one-sided.
    distribution : {"uniform", "normal", "censored normal"}
        "normal" has tails beyond the limits. In "censored normal" they are cut, because parts out of specification are
        screened out.
    sigma : float, optional
        How many standard deviations the limits stand from the middle between them. It must be given for the two normal
        distributions, and for them only.
    source : str
        Who states this tolerance.

    Raises
    ------
    UnitError, BoardError
        A limit is negative or no such value, both are zero, they are stated in different units, a percentage is not
        below 100 %, the distribution is unknown, ``sigma`` is missing or does not apply, or the source is blank.

    Notes
    -----
    Every tolerance has one coordinate t: -1 is the lower limit, +1 the upper limit. The built value is

    .. math:: x = x_0 + \frac{plus - minus}{2} + t\,\frac{plus + minus}{2}

    t is uniform from -1 to 1, or normal with the mean 0 and the standard deviation 1/sigma, or this normal without
    what lies beyond the limits. The middle of an asymmetric normal is thus the middle of its limits, not the nominal.
    Source of the censored normal: S. Hall, H. Heck, Advanced Signal Integrity for High-Speed Digital Designs, 14.8.

    Examples
    --------
    >>> print(Tolerance.plus_minus("10 %", source="fabricator's capability page"))
    +10 % / -10 %, uniform (fabricator's capability page)
    """

    plus: Converted[Dimensioned | Number | Limit, Limit] = Converted(_limit)
    minus: Converted[Dimensioned | Number | Limit, Limit] = Converted(_limit)
    distribution: Distribution = "uniform"
    sigma: Converted[Number | None, float | None] = Converted(
        lambda value, what: None if value is None else one_number(value, what), default=None
    )
    source: str

    def __post_init__(self) -> None:
        one_of(self.distribution, "tolerance distribution", DISTRIBUTIONS)
        checked(self.source, "tolerance source")
        if self.plus.unit != self.minus.unit:
            raise BoardError(f"tolerance plus = {self.plus}, minus = {self.minus}: state both in the same unit.")
        if self.plus.size == self.minus.size == 0:
            raise BoardError("tolerance plus and minus are zero: leave it out; what has no tolerance is exact.")
        check_sigma(self.distribution, self.sigma)

    @classmethod
    def plus_minus(
        cls,
        amount: Dimensioned | Number,
        *,
        source: str,
        distribution: Distribution = "uniform",
        sigma: Number | None = None,
    ) -> Tolerance:
        """Tolerance with the same limit on both sides.

        Parameters
        ----------
        amount : length, percent or number
            Greatest amount above and below the nominal.
        source, distribution, sigma
            As in ``Tolerance``.

        Returns
        -------
        Tolerance
            With equal limits.
        """
        return cls(plus=amount, minus=amount, distribution=distribution, sigma=sigma, source=source)

    def limits(self, nominal: float) -> tuple[float, float]:
        """Lowest and highest value of a nominal.

        Parameters
        ----------
        nominal : float
            In SI units.

        Returns
        -------
        tuple of float
            In SI units.
        """
        return nominal - self.minus.of(nominal), nominal + self.plus.of(nominal)

    def value(self, nominal: float, t: float) -> float:
        """Built value at a coordinate of the tolerance.

        Parameters
        ----------
        nominal : float
            In SI units.
        t : float
            -1: lower limit, +1: upper limit.

        Returns
        -------
        float
            In SI units.
        """
        low, high = self.limits(nominal)
        return (low + high) / 2 + t * (high - low) / 2

    @property
    def nominal_t(self) -> float:
        """Coordinate of the nominal value: 0 where both limits are equal, -1 where only ``plus`` is not zero."""
        return (self.minus.size - self.plus.size) / (self.plus.size + self.minus.size)

    def quantile(self, probability: Floats) -> Floats:
        """Coordinates below which the built values lie with given probabilities.

        Parameters
        ----------
        probability : ndarray
            Above 0 and below 1.

        Returns
        -------
        ndarray
            Coordinates t.
        """
        return quantile(self.distribution, self.sigma, probability)

    @property
    def variance(self) -> float:
        r"""Variance of the coordinate t; its mean is 0.

        1/3 for the uniform, :math:`1/\sigma^2` for the normal, and for the censored normal with the limits at a
        standard deviations :math:`\frac{1}{a^2}\left(1 - \frac{2 a \varphi(a)}{2\Phi(a) - 1}\right)`.
        """
        if self.sigma is None:
            return 1 / 3
        level = self.sigma
        if self.distribution == "normal":
            return level**-2
        density = math.exp(-(level**2) / 2) / math.sqrt(2 * math.pi)
        return (1 - 2 * level * density / (2 * float(ndtr(level)) - 1)) / level**2

    def __str__(self) -> str:
        level = "" if self.sigma is None else f", limits at {self.sigma:g} sigma"
        return f"+{self.plus} / -{self.minus}, {self.distribution}{level} ({one_line(self.source)})"


def check_sigma(distribution: str, sigma: float | None) -> None:
    """Check that a sigma level is given where the distribution needs it, and only there.

    Parameters
    ----------
    distribution : str
    sigma : float or None

    Raises
    ------
    BoardError
        It is missing, does not apply, or is too large.
    """
    if (sigma is None) != (distribution == "uniform"):
        need = "does not apply to" if distribution == "uniform" else "is missing for"
        raise BoardError(f"tolerance sigma {need} the distribution '{distribution}'; it says where the limits stand.")
    if sigma is not None and not 0.1 <= sigma <= _MOST_SIGMA:
        raise BoardError(f"tolerance sigma = {sigma:g}: must lie between 0.1 and {_MOST_SIGMA:g}.")


def quantile(distribution: str, sigma: float | None, probability: Floats) -> Floats:
    """Coordinates t of a distribution below which it lies with given probabilities, as in ``Tolerance``.

    Parameters
    ----------
    distribution : str
    sigma : float or None
    probability : ndarray

    Returns
    -------
    ndarray
    """
    if sigma is None:
        return np.asarray(2 * probability - 1, dtype=np.float64)
    if distribution == "censored normal":
        tail = float(ndtr(-sigma))
        probability = tail + (1 - 2 * tail) * probability
    return np.asarray(ndtri(probability) / sigma, dtype=np.float64)
