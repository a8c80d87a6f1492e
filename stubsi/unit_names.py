"""Owns the spellings: every unit that is read, by kind of value, what it is in SI, and how each kind is shown."""

from __future__ import annotations

from typing import Literal, TypeAlias

Kind: TypeAlias = Literal["length", "frequency", "impedance", "delay per length", "capacitance", "conductivity"]
"""Kinds of value that come with a unit."""

RateKind: TypeAlias = Literal["symbol rate", "bit rate"]
"""Kinds of rate that are given back. A rate is read by ``units.to_rate``, for a text can say either of them."""

UNITS: dict[Kind, dict[str, float]] = {
    "length": {
        **dict.fromkeys(("mm", "millimeter", "millimetre"), 1e-3),
        **dict.fromkeys(("mil", "mils", "thou"), 2.54e-5),
        **dict.fromkeys(("in", "inch", "inches"), 2.54e-2),
        **dict.fromkeys(("um", "µm", "μm", "micron", "microns"), 1e-6),
        "m": 1.0,
        "cm": 1e-2,
        "nm": 1e-9,
    },
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

RATE_UNITS: dict[str, tuple[str, float]] = {
    spelling: (kind, factor)
    for prefix, factor in {"": 1.0, "k": 1e3, "M": 1e6, "G": 1e9, "T": 1e12}.items()
    for kind, endings in {
        "bits": ("b/s", "bit/s", "bps"),
        "transfers": ("T/s",),
        "symbols": ("Bd", "baud", "Baud", "bd"),
    }.items()
    for spelling in (prefix + ending for ending in endings)
}
"""Units of a line rate: bits, transfers (bits per lane) or symbols per second."""

SI: dict[Kind, str] = {
    "length": "m",
    "frequency": "Hz",
    "impedance": "ohm",
    "delay per length": "s/m",
    "capacitance": "F",
    "conductivity": "S/m",
}
"""Unit each kind is kept in."""

SHOWN: dict[Kind | RateKind, tuple[str, float]] = {
    "length": ("mm", 1e-3),
    "frequency": ("GHz", 1e9),
    "impedance": ("ohm", 1.0),
    "delay per length": ("ps/mm", 1e-9),
    "capacitance": ("fF", 1e-15),
    "conductivity": ("MS/m", 1e6),
    "symbol rate": ("GBd", 1e9),
    "bit rate": ("Gbit/s", 1e9),
}
"""Unit each kind is given back in, with its factor to SI."""

EXAMPLE: dict[Kind | Literal["rate"], str] = {
    "length": "62 mil",
    "frequency": "12.9 GHz",
    "impedance": "50 ohm",
    "delay per length": "175 ps/in",
    "capacitance": "20 fF",
    "conductivity": "58 MS/m",
    "rate": "25.78125 Gb/s",
}
"""How a value of each kind is written, for error texts."""

LARGEST_AND_SMALLEST: dict[Kind, tuple[float, float]] = {
    "length": (1e4, 1e-9),
    "frequency": (1e14, 1e-3),
    "impedance": (1e9, 1e-6),
    "delay per length": (1e-4, 1e-12),
    "capacitance": (1e-3, 1e-21),
    "conductivity": (1e12, 1e-3),
}
"""Largest and smallest size that is read, by kind, in SI units; zero is read, too.

A value beyond them is a slip of the keyboard: they lie far beyond anything that is built (common practice, no source).
Within them the arithmetic neither overflows nor loses its digits.
"""

LARGEST_NUMBER = 1e12
"""Largest size of a plain number that is read."""
