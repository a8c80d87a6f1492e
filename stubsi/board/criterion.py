"""Owns what a net must meet: one measured figure, its limit, and who said so; and the published rules of thumb."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from stubsi.errors import UnitError
from stubsi.units import one_number, one_si, show
from stubsi.value import Value

MEASURES = {
    "notch ratio": "first notch / Nyquist at least {limit}",
    "loss": "loss at Nyquist at most {limit} dB",
    "return loss": "return loss at Nyquist at least {limit} dB",
    "stub length": "stub length at most {limit}",
    "stub length x symbol rate": "stub length at most {limit} / (symbol rate in GBd)",
}
"""What a criterion can measure, each with its wording."""


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class Criterion(Value):
    """A limit on one figure of a net, with its source. Make one with a class method, or use ``RULES_OF_THUMB``.

    A limit on loss or return loss is met only while the first notch lies above Nyquist as well: beyond its notch the
    loss of a stub at Nyquist falls again, to none at half a wave, yet the path has its notch inside the signal's band.

    Parameters
    ----------
    measure : str
        A key of ``MEASURES``.
    limit : float
        Ratio [-], loss [dB], length [m] or length times symbol rate [m Bd].
    source : str
        Who says so.
    """

    measure: str
    limit: float
    source: str

    def __post_init__(self) -> None:
        if self.measure not in MEASURES:
            raise UnitError(f"criterion measure = {self.measure!r}: must be one of {', '.join(MEASURES)}.")
        self.__dict__["limit"] = one_number(self.limit, self.measure)

    @classmethod
    def notch_ratio(cls, at_least: float, *, source: str = "the user") -> Criterion:
        """First notch at least this many times Nyquist."""
        return cls(measure="notch ratio", limit=at_least, source=source)

    @classmethod
    def loss(cls, at_most: float, *, source: str = "the user") -> Criterion:
        """Sum of the stubs' shunt losses at Nyquist at most this many dB."""
        return cls(measure="loss", limit=at_most, source=source)

    @classmethod
    def return_loss(cls, at_least: float, *, source: str = "the user") -> Criterion:
        """Return loss of the governing stub at Nyquist at least this many dB."""
        return cls(measure="return loss", limit=at_least, source=source)

    @classmethod
    def stub_length(cls, at_most: Any, *, source: str = "the user") -> Criterion:
        """Every stub at most this long (length), whatever the signal."""
        return cls(measure="stub length", limit=one_si(at_most, "length", "stub length"), source=source)

    @classmethod
    def stub_length_at_1_gbaud(cls, at_most: Any, *, source: str = "the user") -> Criterion:
        """Every stub at most this length divided by the symbol rate in GBd ("0.3 in": 0.012 in at 25 GBd)."""
        length = one_si(at_most, "length", "stub length at 1 GBd")
        return cls(measure="stub length x symbol rate", limit=length * 1e9, source=source)

    @property
    def on_loss(self) -> bool:
        """Whether it limits loss or return loss."""
        return self.measure in ("loss", "return loss")

    def longest_si(self, nyquist: float) -> float:
        """Longest stub [m] that meets a criterion on length, for a Nyquist frequency [Hz]; NaN for any other."""
        per_length = {"stub length": 1.0, "stub length x symbol rate": 2 * nyquist}.get(self.measure, float("nan"))
        return self.limit / per_length

    @property
    def least(self) -> bool:
        """Whether the limit is a least value (True) or a greatest one."""
        return self.measure in ("notch ratio", "return loss")

    def __str__(self) -> str:
        shown = f"{self.limit:g}"
        if self.measure == "stub length":
            shown = show(self.limit, "length")
        elif self.measure == "stub length x symbol rate":
            shown = show(self.limit / 1e9, "length")
        return f"{MEASURES[self.measure].format(limit=shown)} ({self.source})"


DEFAULT = Criterion.notch_ratio(5, source="DesignCon 2020 paper on via stubs, stated there for DDR4")
"""The criterion where none is given."""

RULES_OF_THUMB: dict[str, Criterion] = {
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
"""Published rules of thumb by author. They differ by a factor of ten: name the one you use."""


def as_criterion(value: Any) -> Criterion:
    """Take a Criterion, or the name of one in ``RULES_OF_THUMB``; UnitError naming them otherwise."""
    if isinstance(value, Criterion):
        return value
    if isinstance(value, str) and value in RULES_OF_THUMB:
        return RULES_OF_THUMB[value]
    raise UnitError(f"criterion = {value!r}: must be a Criterion, or one of {', '.join(map(repr, RULES_OF_THUMB))}.")
