"""Owns the published classes of laminate thickness: limits by nominal thickness, each class with its source."""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

from stubsi.checks import one_of
from stubsi.errors import BoardError
from stubsi.tolerance.tolerance import DISTRIBUTIONS, Distribution, Limit, Tolerance, check_sigma
from stubsi.units import one_number, show
from stubsi.value import Converted, Value, value_object

if TYPE_CHECKING:
    from collections.abc import Mapping

    from stubsi.units import Number

MIL = 2.54e-5
AS_LISTED = 0.02
"""A nominal counts as a listed one if it is within 2 %: a core sold as 0.1 mm is listed as 4 mil (1.6 % more)."""


class Row(NamedTuple):
    """Nominal thickness from the least to the greatest that a row lists [m], and the amount above and below it [m]."""

    least: float
    greatest: float
    amount: float


_SOURCE = "IPC-4101, 3.8.4.2, class {}, as listed on a laminate maker's page; the standard itself was not read"

ROWS: Mapping[str, tuple[Row, ...]] = MappingProxyType(
    {
        "IPC-4101 B": tuple(
            Row(least * MIL, greatest * MIL, amount * MIL)
            for least, greatest, amount in (
                (4, 4, 0.7), (6, 6, 1.0), (7.5, 10, 1.5), (12, 16, 2.0), (20, 28, 2.5), (31, 40, 4.0),
            )
        ),
        "IPC-4101 L": tuple(
            Row(least * 1e-3, greatest * 1e-3, amount * 1e-3)
            for least, greatest, amount in (
                (0.4, 0.4, 0.05), (0.6, 0.6, 0.064), (0.8, 1.0, 0.10), (1.2, 1.6, 0.13), (2.0, 2.4, 0.18),
                (3.0, 3.2, 0.23),
            )
        ),
    }
)  # fmt: skip
"""Rows of every class, by its name."""


@value_object
class ThicknessClass(Value):
    """A published class of laminate thickness. The limits of a laminate follow from its nominal thickness.

    Parameters
    ----------
    name : {"IPC-4101 B", "IPC-4101 L"}
        The class. It is for laminate (core), not for prepreg as pressed.
    distribution, sigma
        As in ``Tolerance``. The class states limits only; uniform claims the least about what lies between them.

    Raises
    ------
    BoardError
        An unknown class or distribution; ``sigma`` is missing or does not apply.
    """

    name: str
    distribution: Distribution = "uniform"
    sigma: Converted[Number | None, float | None] = Converted(
        lambda value, what: None if value is None else one_number(value, what), default=None
    )

    def __post_init__(self) -> None:
        one_of(self.name, "thickness class name", tuple(ROWS))
        one_of(self.distribution, "thickness class distribution", DISTRIBUTIONS)
        check_sigma(self.distribution, self.sigma)

    @property
    def source(self) -> str:
        """Where the limits of the class were read."""
        return _SOURCE.format(self.name[-1])

    def tolerance(self, thickness_si: float) -> Tolerance:
        """Tolerance of a laminate of a nominal thickness.

        Parameters
        ----------
        thickness_si : float
            Nominal thickness [m].

        Returns
        -------
        Tolerance
            The amount of the row of the class that lists this thickness, above and below.

        Raises
        ------
        BoardError
            The class lists no such thickness, as far as it was read. Between two rows nothing is interpolated.
        """
        for row in ROWS[self.name]:
            if row.least * (1 - AS_LISTED) <= thickness_si <= row.greatest * (1 + AS_LISTED):
                limit = Limit(row.amount, "length")
                return Tolerance(
                    plus=limit, minus=limit, distribution=self.distribution, sigma=self.sigma, source=self.source
                )
        listed = ", ".join(
            show(row.least, "length")
            if row.least == row.greatest
            else f"{show(row.least, 'length')} to {show(row.greatest, 'length')}"
            for row in ROWS[self.name]
        )
        raise BoardError(
            f"thickness class {self.name}: lists no laminate of {show(thickness_si, 'length')}; listed are {listed}. "
            "Give this material a Tolerance of its own."
        )

    def __str__(self) -> str:
        return f"{self.name}, {self.distribution} ({self.source})"
