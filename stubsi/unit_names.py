"""Owns the units that are read, by kind of value, with their factors to SI, and the unit that each kind is shown in."""

from __future__ import annotations

from enum import StrEnum
from typing import Literal, TypeAlias

Kind: TypeAlias = Literal[
    "length", "long length", "frequency", "impedance", "delay per length", "capacitance", "conductivity"
]
"""Kinds of value that come with a unit.

A long length may reach beyond any board: the stub of a slow signal, or a place in a long row of boards.
"""

RateKind: TypeAlias = Literal["symbol rate", "bit rate"]
"""Kinds of line rate that are given back. ``units.to_rate`` reads both, because a text can state either of them."""


class Counted(StrEnum):
    """What a line rate counts per second. ``BITS_OR_SYMBOLS``: pint's baud, which pint also takes as bit/s."""

    BITS = "bits"
    TRANSFERS = "transfers"
    SYMBOLS = "symbols"
    BITS_OR_SYMBOLS = "bits or symbols"


_LENGTHS = {
    **dict.fromkeys(("mm", "millimeter", "millimetre"), 1e-3),
    **dict.fromkeys(("mil", "mils", "thou"), 2.54e-5),
    **dict.fromkeys(("in", "inch", "inches"), 2.54e-2),
    **dict.fromkeys(("um", "µm", "μm", "micron", "microns"), 1e-6),
    "m": 1.0,
    "cm": 1e-2,
    "nm": 1e-9,
}

UNITS: dict[Kind, dict[str, float]] = {
    "length": _LENGTHS,
    "long length": _LENGTHS,
    "frequency": {"Hz": 1.0, "kHz": 1e3, "MHz": 1e6, "GHz": 1e9, "THz": 1e12},
    "impedance": {
        **dict.fromkeys(("ohm", "ohms", "Ohm", "\u03a9", "\u2126"), 1.0),
        "mohm": 1e-3,
        "kohm": 1e3,
    },
    "delay per length": {
        **dict.fromkeys(("ps/in", "ps/inch"), 1e-12 / 2.54e-2),
        "ps/mm": 1e-9,
        "ps/cm": 1e-10,
        "ns/m": 1e-9,
        "s/m": 1.0,
    },
    "capacitance": {"fF": 1e-15, "pF": 1e-12, "nF": 1e-9, "F": 1.0},
    "conductivity": {"S/m": 1.0, "MS/m": 1e6},
}
"""Every spelling of a unit that is read, by kind of value, with its factor to SI."""

RATE_UNITS: dict[str, tuple[Counted, float]] = {
    spelling: (counted, factor)
    for prefix, factor in {"": 1.0, "k": 1e3, "M": 1e6, "G": 1e9, "T": 1e12}.items()
    for counted, endings in {
        Counted.BITS: ("b/s", "bit/s", "bps"),
        Counted.TRANSFERS: ("T/s",),
        Counted.SYMBOLS: ("Bd", "baud", "Baud", "bd"),
    }.items()
    for spelling in (prefix + ending for ending in endings)
}
"""Every spelling of a unit of line rate, with what it counts and how many per second one unit is.

A transfer is one bit on one lane.
"""

SI: dict[Kind, str] = {
    "length": "m",
    "long length": "m",
    "frequency": "Hz",
    "impedance": "ohm",
    "delay per length": "s/m",
    "capacitance": "F",
    "conductivity": "S/m",
}
"""The SI unit in which values of each kind are kept."""

SHOWN: dict[Kind | RateKind, tuple[str, float]] = {
    "length": ("mm", 1e-3),
    "long length": ("mm", 1e-3),
    "frequency": ("GHz", 1e9),
    "impedance": ("ohm", 1.0),
    "delay per length": ("ps/mm", 1e-9),
    "capacitance": ("fF", 1e-15),
    "conductivity": ("MS/m", 1e6),
    "symbol rate": ("GBd", 1e9),
    "bit rate": ("Gbit/s", 1e9),
}
"""The unit in which values of each kind are given back and shown, with its factor to SI."""

PREFIXES = frozenset(("", "femto", "pico", "nano", "micro", "milli", "kilo", "mega", "giga", "tera", "peta", "exa"))
"""What may stand before ``hertz`` or ``second`` in the name of a unit of a pint quantity. Source: SI brochure, 9th
edition, table 7, from memory."""

EXAMPLE: dict[Kind | Literal["rate"], str] = {
    "length": "62 mil",
    "long length": "62 mil",
    "frequency": "12.9 GHz",
    "impedance": "50 ohm",
    "delay per length": "175 ps/in",
    "capacitance": "20 fF",
    "conductivity": "58 MS/m",
    "rate": "25.78125 Gb/s",
}
"""An example of a value of each kind as users write it, for error texts."""

LARGEST_AND_SMALLEST: dict[Kind, tuple[float, float]] = {
    "length": (1.0, 1e-9),
    "long length": (1e5, 1e-9),
    "frequency": (1e14, 1e-3),
    "impedance": (1e9, 1e-6),
    "delay per length": (1e-4, 1e-12),
    "capacitance": (1e-3, 1e-21),
    "conductivity": (1e12, 1e-3),
}
"""Largest and smallest size that is accepted, by kind, in SI units. Zero is accepted as well.

A value outside these limits is taken for a typing error, because they lie far beyond anything that is built (common
practice, no source). Within them the arithmetic neither overflows nor loses digits.
"""

LARGEST_NUMBER = 1e12
"""Largest size of a plain number that is accepted."""
