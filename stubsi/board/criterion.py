"""Owns the criterion that a net must meet: one figure, its limit and its source; and the published rules of thumb.

If no criterion is given, it is "first notch at least 5 x Nyquist" (DesignCon 2020, stated there for DDR4). Other
criteria limit the notch ratio, the 1 dB frequency over Nyquist, the greatest loss or the least return loss from 0 to
Nyquist, or the length. They can be given for a board, a signal or a net. A criterion on loss or return loss is met only
while the first notch lies above Nyquist: it is not enough that the notch inside the band is shallow.

Published rules, each as the longest stub at 25.78125 GBd. Dk is the Dk_eff of the stub, 6.17 that of one backplane::

    rule                published by                             as a rule                         longest stub
    notch on Nyquist    Signal Integrity Journal, article 2962   3 in / GBd, Dk 3.87               116.4 mil
    DesignCon 2020      DesignCon 2020 paper on via stubs        notch at least 5 x Nyquist        23.3 mil at Dk 3.87
    Simonovich 2017     B. Simonovich (from memory)              notch at least 7 x Nyquist        16.6 mil at Dk 3.87
                                                                                                   13.2 mil at 6.17
    TI 15 mil           TI reports SPRACP4A and SLAAE45          15 mil above 5 Gb/s               15 mil
    Bogatin 2015        E. Bogatin, EDN Asia                     0.3 in / GBd, Dk 3.87             11.6 mil

The first of them says when the eye closes, not what is good. They differ by a factor of ten, so name the one you use:

>>> import stubsi
>>> budget = stubsi.stub_budget("25.78125 Gb/s", dk_eff=3.87, criterion="Bogatin 2015")
>>> print(budget.stub_length.to("thou").round(1))
11.6 thou
"""

from __future__ import annotations

from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal, NamedTuple, TypeAlias

from stubsi.checks import checked, one_line
from stubsi.errors import UnitError
from stubsi.plausibility import (
    FREQUENCY_RATIO,
    LOSS,
    RETURN_LOSS,
    STUB_LENGTH_AT_1_GBD,
    STUB_LENGTH_LIMIT,
    Usual,
    warn_if_unusual,
)
from stubsi.unit_errors import as_shown
from stubsi.units import one_number, one_si, show
from stubsi.value import Converted, Value, value_object

if TYPE_CHECKING:
    from collections.abc import Mapping

    from stubsi.board.signal import Signal
    from stubsi.units import Dimensioned, Number


class Measure(StrEnum):
    """The figure that a criterion limits. Each is also the text that tables and errors show.

    ``NOTCH_RATIO``: first notch / Nyquist frequency [-]. ``ONE_DB_RATIO``: 1 dB frequency / Nyquist frequency [-].
    ``LOSS``: greatest loss from 0 to Nyquist [dB], the stubs' shunt losses summed. ``RETURN_LOSS``: least return loss
    from 0 to Nyquist [dB]. ``STUB_LENGTH``: length of every stub [m].
    ``STUB_LENGTH_TIMES_RATE``: length of every stub times the symbol rate [m Bd].
    """

    NOTCH_RATIO = "notch ratio"
    ONE_DB_RATIO = "1 dB ratio"
    LOSS = "loss"
    RETURN_LOSS = "return loss"
    STUB_LENGTH = "stub length"
    STUB_LENGTH_TIMES_RATE = "stub length x symbol rate"


MeasureName: TypeAlias = Literal[
    "notch ratio", "1 dB ratio", "loss", "return loss", "stub length", "stub length x symbol rate"
]
"""The texts of the measures, by which type checkers know a wrong one."""

_WORDING: dict[Measure, str] = {
    Measure.NOTCH_RATIO: "first notch / Nyquist at least {limit}",
    Measure.ONE_DB_RATIO: "1 dB frequency / Nyquist at least {limit}",
    Measure.LOSS: "loss up to Nyquist at most {limit} dB",
    Measure.RETURN_LOSS: "return loss up to Nyquist at least {limit} dB",
    Measure.STUB_LENGTH: "stub length at most {limit}",
    Measure.STUB_LENGTH_TIMES_RATE: "stub length at most {limit} / (symbol rate in GBd)",
}

_USUAL: dict[Measure, Usual] = {
    Measure.NOTCH_RATIO: FREQUENCY_RATIO,
    Measure.ONE_DB_RATIO: FREQUENCY_RATIO,
    Measure.LOSS: LOSS,
    Measure.RETURN_LOSS: RETURN_LOSS,
    Measure.STUB_LENGTH: STUB_LENGTH_LIMIT,
}

MOST_DECIBELS = 1000.0
"""Largest limit on a loss or return loss [dB]. It lies far beyond what is measured; common practice, no source."""


def _measure(value: str, what: str) -> Measure:
    if not isinstance(value, str) or value not in list(Measure):
        raise UnitError(f"{what} = {as_shown(value)}: must be one of {', '.join(Measure)}.")
    return Measure(value)


def _digits_of_a_length(length: float) -> float:
    """A length [m] with as many digits as every length is kept with, so that it can be written and read back."""
    return float(f"{length:.14g}")


@value_object
class Criterion(Value):
    """A limit on one figure of a net, with its source. Make one with a class method, or use ``RULES_OF_THUMB``.

    Parameters
    ----------
    measure : Measure or str
        The figure that is limited.
    limit : float
        Ratio [-], loss [dB], length [m] or length times symbol rate [m Bd]; positive.
    source : str
        Who states the limit; not blank.

    Raises
    ------
    UnitError, BoardError
        The measure is not known, the limit is not a positive number, or the source is blank or not a text.

    Warns
    -----
    PlausibilityWarning
        The limit is far from those in use.

    Notes
    -----
    A limit on loss or return loss must hold from 0 up to Nyquist, and is met only if the first notch also lies above
    Nyquist. The reason: above its notch the loss of a stub falls again, and a stub of half a wavelength has no loss at
    Nyquist at all. But its notch then lies inside the band of the signal.

    Examples
    --------
    >>> print(Criterion.stub_length("15 mil", source="our own rule"))
    stub length at most 0.381 mm (our own rule)
    """

    measure: Converted[Measure | MeasureName, Measure] = Converted(_measure)
    limit: float
    source: str

    def __post_init__(self) -> None:
        self.__dict__["limit"] = limit = one_number(self.limit, self.measure)
        if self.measure in (Measure.LOSS, Measure.RETURN_LOSS) and limit > MOST_DECIBELS:
            raise UnitError(f"{self.measure} = {as_shown(self.limit)}: must be at most {MOST_DECIBELS:g} dB.")
        if self.measure is Measure.STUB_LENGTH_TIMES_RATE:
            warn_if_unusual(limit / 1e9, STUB_LENGTH_AT_1_GBD, "stub length at 1 GBd")
        else:
            warn_if_unusual(limit, _USUAL[self.measure], self.measure)
        if self.measure is Measure.STUB_LENGTH:
            self.__dict__["limit"] = _digits_of_a_length(limit)
        elif self.measure is Measure.STUB_LENGTH_TIMES_RATE:
            self.__dict__["limit"] = _digits_of_a_length(limit / 1e9) * 1e9
        checked(self.source, "criterion source")

    @classmethod
    def notch_ratio(cls, at_least: Number, *, source: str = "the user") -> Criterion:
        """First notch at least this many times the Nyquist frequency.

        Parameters
        ----------
        at_least : float
            Ratio [-], positive.
        source : str
            Who states the limit.

        Returns
        -------
        Criterion
        """
        return cls(measure=Measure.NOTCH_RATIO, limit=one_number(at_least, Measure.NOTCH_RATIO), source=source)

    @classmethod
    def one_db_ratio(cls, at_least: Number, *, source: str = "the user") -> Criterion:
        """1 dB frequency at least this many times the Nyquist frequency: up to there a stub takes less than 1 dB.

        Parameters
        ----------
        at_least : float
            Ratio [-], positive.
        source : str
            Who states the limit.

        Returns
        -------
        Criterion
        """
        return cls(measure=Measure.ONE_DB_RATIO, limit=one_number(at_least, Measure.ONE_DB_RATIO), source=source)

    @classmethod
    def loss(cls, at_most: Number, *, source: str = "the user") -> Criterion:
        """Sum of the stubs' greatest shunt losses from 0 to Nyquist at most this much.

        Parameters
        ----------
        at_most : float
            Loss [dB], positive.
        source : str
            Who states the limit.

        Returns
        -------
        Criterion
        """
        return cls(measure=Measure.LOSS, limit=one_number(at_most, Measure.LOSS), source=source)

    @classmethod
    def return_loss(cls, at_least: Number, *, source: str = "the user") -> Criterion:
        """Return loss of the worst stub from 0 to Nyquist at least this much.

        Parameters
        ----------
        at_least : float
            Return loss [dB], positive.
        source : str
            Who states the limit.

        Returns
        -------
        Criterion
        """
        return cls(measure=Measure.RETURN_LOSS, limit=one_number(at_least, Measure.RETURN_LOSS), source=source)

    @classmethod
    def stub_length(cls, at_most: Dimensioned, *, source: str = "the user") -> Criterion:
        """Every stub at most this long, for every signal.

        Parameters
        ----------
        at_most : length
            Like "15 mil".
        source : str
            Who states the limit.

        Returns
        -------
        Criterion
        """
        return cls(measure=Measure.STUB_LENGTH, limit=one_si(at_most, "long length", "stub length"), source=source)

    @classmethod
    def stub_length_at_1_gbaud(cls, at_most: Dimensioned, *, source: str = "the user") -> Criterion:
        """Every stub at most this length divided by the symbol rate in GBd.

        Parameters
        ----------
        at_most : length
            Longest stub at 1 GBd: "0.3 in" allows 0.012 in at 25 GBd.
        source : str
            Who states the limit.

        Returns
        -------
        Criterion
        """
        length = one_si(at_most, "long length", "stub length at 1 GBd")
        return cls(measure=Measure.STUB_LENGTH_TIMES_RATE, limit=length * 1e9, source=source)

    @property
    def on_loss(self) -> bool:
        """Whether it limits a figure of the loss curve, which needs the impedance of the line."""
        return self.measure in (Measure.ONE_DB_RATIO, Measure.LOSS, Measure.RETURN_LOSS)

    @property
    def on_length(self) -> bool:
        """Whether it limits the length of a stub, for all signals or by symbol rate."""
        return self.measure in (Measure.STUB_LENGTH, Measure.STUB_LENGTH_TIMES_RATE)

    def longest_si(self, nyquist: float) -> float:
        """Longest stub that meets a criterion on length.

        Parameters
        ----------
        nyquist : float
            Nyquist frequency [Hz]; the symbol rate is twice as high.

        Returns
        -------
        float
            Length [m]; NaN for a criterion that does not limit the length.
        """
        if self.measure is Measure.STUB_LENGTH:
            return self.limit
        return self.limit / (2 * nyquist) if self.measure is Measure.STUB_LENGTH_TIMES_RATE else float("nan")

    @property
    def least(self) -> bool:
        """Whether the limit is a lower limit (True) or an upper limit (False)."""
        return self.measure in (Measure.NOTCH_RATIO, Measure.ONE_DB_RATIO, Measure.RETURN_LOSS)

    def __str__(self) -> str:
        shown = f"{self.limit:g}"
        if self.measure is Measure.STUB_LENGTH:
            shown = show(self.limit, "length")
        elif self.measure is Measure.STUB_LENGTH_TIMES_RATE:
            shown = show(self.limit / 1e9, "length")
        return f"{_WORDING[self.measure].format(limit=shown)} ({one_line(self.source)})"


DEFAULT = Criterion.notch_ratio(5, source="DesignCon 2020 paper on via stubs, stated there for DDR4")
"""The criterion that is used where the user gives none."""

RULES_OF_THUMB: Mapping[str, Criterion] = MappingProxyType(
    {
        "DesignCon 2020": DEFAULT,
        "Bogatin 2015": Criterion.stub_length_at_1_gbaud(
            "0.3 in", source="E. Bogatin, EDN Asia, 2015: L[in] < 0.3 / rate[Gb/s], NRZ on FR-4 of Dk 3.87"
        ),
        "notch on Nyquist": Criterion.stub_length_at_1_gbaud(
            "3 in", source="Signal Integrity Journal, article 2962: L[in] = 3 / rate[Gb/s] closes the eye, Dk 3.87"
        ),
        "Simonovich 2017": Criterion.notch_ratio(7, source="B. Simonovich, 2017: 7th harmonic; from memory"),
        "TI 15 mil": Criterion.stub_length("15 mil", source="TI application reports SPRACP4A, SLAAE45: over 5 Gb/s"),
    }
)
"""Published rules of thumb by author, read only. They differ by a factor of ten, so say which one you use."""


class Scope(NamedTuple):
    """For which signals the source of a rule states it.

    Parameters
    ----------
    bit_rate_above : float
        Only for bit rates above this [bit/s].
    modulation : str
        Only for this modulation; blank: for all.
    """

    bit_rate_above: float = 0.0
    modulation: str = ""

    def holds(self, signal: Signal) -> bool:
        """Whether the source of the rule covers a signal.

        Parameters
        ----------
        signal : Signal

        Returns
        -------
        bool
        """
        return signal.bit_rate_si > self.bit_rate_above and self.modulation in ("", signal.modulation)

    def __str__(self) -> str:
        above = f" above {self.bit_rate_above / 1e9:g} Gb/s" if self.bit_rate_above else ""
        return f"{self.modulation or 'signals'}{above} only"


SCOPES: Mapping[Criterion, Scope] = MappingProxyType(
    {
        RULES_OF_THUMB["TI 15 mil"]: Scope(bit_rate_above=5e9),
        RULES_OF_THUMB["Bogatin 2015"]: Scope(modulation="NRZ"),
    }
)
"""The published rules whose source states them for some signals only."""


def outside_scope(criterion: Criterion, signal: Signal) -> str:
    """Why the source of a rule does not cover a signal, in words; blank where it does, or where it says nothing.

    Parameters
    ----------
    criterion : Criterion
    signal : Signal

    Returns
    -------
    str
    """
    scope = SCOPES.get(criterion)
    return "" if scope is None or scope.holds(signal) else f"its source states this limit for {scope}"


def as_criterion(value: Criterion | str) -> Criterion:
    """Convert the name of a rule of thumb to its criterion; a criterion is returned as it is.

    Parameters
    ----------
    value : Criterion or str
        A criterion, or a name in ``RULES_OF_THUMB``.

    Returns
    -------
    Criterion

    Raises
    ------
    UnitError
        The value is neither. The error text names the rules of thumb.
    """
    if isinstance(value, Criterion):
        return value
    if isinstance(value, str) and value in RULES_OF_THUMB:
        return RULES_OF_THUMB[value]
    raise UnitError(
        f"criterion = {as_shown(value)}: must be a Criterion, or one of {', '.join(map(repr, RULES_OF_THUMB))}."
    )
