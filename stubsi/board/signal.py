"""Owns the signal of a net: line rate, modulation, symbol rate and Nyquist frequency."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING, Any, Self

from stubsi.board.line_rates import LINE_RATES, LineRate, Modulation
from stubsi.board.names import near_names
from stubsi.errors import UnitError
from stubsi.plausibility import SYMBOL_RATE_IN_GBD, warn_if_unusual
from stubsi.unit_errors import as_shown
from stubsi.unit_names import Counted
from stubsi.units import quantity, to_rate
from stubsi.value import Value

if TYPE_CHECKING:
    from stubsi.units import Quantity

BITS_PER_SYMBOL: dict[Modulation, Fraction] = {"NRZ": Fraction(1), "PAM3": Fraction(11, 7), "PAM4": Fraction(2)}
"""Bits that a symbol carries. PAM3 as USB4 2.0 uses it: 11 bits in 7 symbols."""

_SPELLINGS: dict[str, Modulation] = {
    **{name: name for name in BITS_PER_SYMBOL},
    "PAM2": "NRZ",
    "PAM-2": "NRZ",
    "PAM-3": "PAM3",
    "PAM-4": "PAM4",
}


@dataclass(frozen=True, repr=False, eq=False)
class Signal(Value):
    r"""A serial signal and its Nyquist frequency, half its symbol rate.

    .. math:: f_{Nyquist} = \frac{\mathrm{symbol\ rate}}{2}, \quad
              \mathrm{symbol\ rate} = \frac{\mathrm{bit\ rate}}{\mathrm{bits\ per\ symbol}}

    Parameters
    ----------
    rate : str or pint.Quantity
        Bit rate (``"112 Gb/s PAM4"``; NRZ unless stated), symbol rate (``"53.125 GBd PAM4"``), transfers
        (``"64 GT/s PAM4"``: bits per lane), or the name of a line rate of an open standard (``"PCIe 5.0"``,
        ``"10GBASE-KR"``), which carries its own symbol rate.
    modulation : {"NRZ", "PAM3", "PAM4"}, optional
        To be given where ``rate`` does not state it.

    Raises
    ------
    UnitError
        The rate is a frequency, has an unknown name, unit or modulation, or is not positive.

    Warns
    -----
    PlausibilityWarning
        No line on a board is so slow or so fast.

    Notes
    -----
    The rate is the one on the line, line coding included. Bits per symbol: common practice, no source; PAM3 as in
    USB4 2.0.

    Examples
    --------
    >>> print(Signal("112 Gb/s PAM4").nyquist)
    28.0 gigahertz
    >>> print(Signal("PCIe 5.0").nyquist)
    16.0 gigahertz
    """

    rate: str
    modulation: Modulation
    symbol_rate_si: float = field(init=False, repr=False)
    source: str = field(init=False, repr=False)

    def __init__(self, rate: str | Quantity, modulation: str | None = None) -> None:
        if isinstance(rate, Signal):
            raise UnitError(f"rate = {rate!r}: is a Signal already; use it as it is.")
        named = _named(rate)
        counted, per_second, in_text = (Counted.SYMBOLS, named.gbaud * 1e9, named.modulation) if named else _read(rate)
        chosen = _modulation(modulation, in_text, rate)
        bits = BITS_PER_SYMBOL[chosen]
        if counted is Counted.BITS_OR_SYMBOLS and bits != 1:
            raise UnitError(
                f"rate = {as_shown(rate)}: pint's baud is also its bps, so with {chosen} this could mean two things; "
                f"write it as text in GBd or Gb/s, or as a quantity in Gbit/s."
            )
        counts_symbols = counted in (Counted.SYMBOLS, Counted.BITS_OR_SYMBOLS)
        symbol_rate = per_second if counts_symbols else per_second * bits.denominator / bits.numerator
        kept = self.__dict__
        kept["_rate_states_modulation"] = bool(in_text)
        kept["rate"] = " ".join(str(rate).split()) if isinstance(rate, str) else f"{rate:~P}"
        kept["modulation"] = chosen
        kept["symbol_rate_si"] = float(f"{float(symbol_rate):.14g}")
        kept["source"] = named.source if named else "as given"
        warn_if_unusual(self.symbol_rate_si / 1e9, SYMBOL_RATE_IN_GBD, f"rate {self.rate}, symbol rate in GBd")

    def replaced(self, **changes: Any) -> Self:
        """Make a copy with another rate or modulation. Both are read again, because the symbol rate follows from them.

        Parameters
        ----------
        **changes
            ``rate``, ``modulation`` or both, as the constructor takes them.

        Returns
        -------
        Signal
            The copy.

        Raises
        ------
        UnitError
            As in ``Signal``.
        """
        return type(self)(**{"rate": self.rate, "modulation": self.modulation, **changes})

    def _key(self) -> tuple[Any, ...]:
        return self.symbol_rate_si, self.modulation

    @property
    def symbol_rate(self) -> Quantity:
        """Symbols per second, a quantity in GBd."""
        return quantity(self.symbol_rate_si, "symbol rate")

    @property
    def bit_rate(self) -> Quantity:
        """Bits per second on the line, a quantity in Gbit/s: symbol rate times bits per symbol."""
        return quantity(self.bit_rate_si, "bit rate")

    @property
    def bit_rate_si(self) -> float:
        """Bits per second on the line."""
        bits = BITS_PER_SYMBOL[self.modulation]
        return self.symbol_rate_si * bits.numerator / bits.denominator

    @property
    def nyquist_si(self) -> float:
        """Nyquist frequency [Hz]."""
        return self.symbol_rate_si / 2

    @property
    def nyquist(self) -> Quantity:
        """Nyquist frequency, half the symbol rate, a quantity in GHz."""
        return quantity(self.nyquist_si, "frequency")

    def __str__(self) -> str:
        return self.rate if self.__dict__["_rate_states_modulation"] else f"{self.rate} {self.modulation}"


def as_signal(value: Signal | str | Quantity) -> Signal:
    """Convert a rate to a signal; a signal is returned as it is. A text that was read before is not read again.

    Parameters
    ----------
    value : Signal, str or pint.Quantity
        A signal, or its rate.

    Returns
    -------
    Signal

    Raises
    ------
    UnitError
        As in ``Signal``.
    """
    if isinstance(value, Signal):
        return value
    known = _remembered.get(value) if isinstance(value, str) else None
    if known is not None:
        return known
    signal = Signal(value)
    if isinstance(value, str) and SYMBOL_RATE_IN_GBD.holds(signal.symbol_rate_si / 1e9):
        _remembered[value] = signal  # one that causes a warning is not remembered, so that the warning comes every time
        while len(_remembered) > REMEMBERED:
            del _remembered[next(iter(_remembered))]
    return signal


REMEMBERED = 1024
"""How many signals are remembered by their text."""
_remembered: dict[str, Signal] = {}


def _fold(name: str) -> str:
    """A name without blanks and capital letters, for comparison."""
    return "".join(name.casefold().split())


_BY_NAME: dict[str, LineRate] = {_fold(name): rate for rate in LINE_RATES for name in rate.names}


def _named(rate: object) -> LineRate | None:
    """The line rate of an open standard that a text names; None if it names none."""
    return _BY_NAME.get(_fold(rate)) if isinstance(rate, str) else None


def _read(rate: str | Quantity) -> tuple[Counted, float, str]:
    """What a rate counts, how many per second, and the modulation that its text states."""
    words = rate.split() if isinstance(rate, str) else []
    if words and words[0][0].isalpha() and words[0].casefold() not in {"nan", "inf", "infinity"}:
        raise _unknown_name(" ".join(words))
    per_second, counted, modulation = to_rate(rate, "rate")
    return counted, per_second, modulation


def _unknown_name(text: str) -> UnitError:
    """The error for a name that is no line rate, with the names near it."""
    names = [name for rate in LINE_RATES for name in rate.names]
    near = near_names(text, names, 0.5)
    some = ", ".join(near or names[:: len(names) // 6])
    return UnitError(
        f"rate = {as_shown(text)}: no line rate of that name; {'near it' if near else 'some of them'} are {some}. "
        f"Or give the rate itself, like '25.78125 Gb/s' or '53.125 GBd PAM4'."
    )


def _modulation(argument: str | None, in_text: str, rate: object) -> Modulation:
    """The modulation given as an argument or in the text of the rate. Both must agree. NRZ if neither states it."""
    first, second = _spelled(argument, rate), _spelled(in_text or None, rate)
    if first and second and first != second:
        raise UnitError(f"rate = {as_shown(rate)} says {second}, modulation says {first}: give one of them.")
    return first or second or "NRZ"


def _spelled(modulation: str | None, rate: object) -> Modulation | None:
    if modulation is None:
        return None
    if not isinstance(modulation, str) or modulation.upper() not in _SPELLINGS:
        raise UnitError(f"modulation = {as_shown(modulation)} of rate {as_shown(rate)}: must be NRZ, PAM3 or PAM4.")
    return _SPELLINGS[modulation.upper()]
