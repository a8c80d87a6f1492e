"""Owns the boundary: text with a unit and pint quantities in, SI floats inside, pint quantities in plain units out.

The only module that knows pint. Text is read by a strict rule of its own (number, unit), never by pint's parser; the
caller's pint registry is used as it stands and never changed.
"""

from __future__ import annotations

import difflib
import re
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pint

from stubsi.errors import UnitError
from stubsi.unit_names import EXAMPLE, RATE_UNITS, SHOWN, SI, UNITS

if TYPE_CHECKING:
    from collections.abc import Callable

_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(\S.*)?")


def to_si(value: Any, kind: str, name: str, *, rule: str = "positive") -> Any:
    """Take a value with a unit as an SI float (an array where the value is an array or a list).

    Parameters
    ----------
    value : str, pint.Quantity of any registry, or a list of them
        ``"62 mil"``, ``"1.5748 mm"``, ``ureg.Quantity(62, "thou")``. Bare numbers are refused.
    kind : str
        A key of ``UNITS``.
    name : str
        Name of the argument, for the error text.
    rule : {"positive", "not negative", "any"}
        What the number may be; it is always finite.

    Raises
    ------
    UnitError
        Blank, no number, comma decimal, unknown unit, wrong kind of unit, no unit, not finite, masked, a list of
        uneven rows, or against ``rule``.
    """
    if isinstance(value, np.ndarray) and value.dtype.kind in "OU":
        value = value.tolist()
    if isinstance(value, str):
        si = _text_to_si(value, kind, name)
    elif isinstance(value, pint.Quantity):
        si = _quantity_to_si(value, kind, name)
    elif isinstance(value, (list, tuple)):
        return _even([to_si(v, kind, name, rule=rule) for v in value], name)
    else:
        raise _no_unit(value, kind, name)
    return in_range(si, name, rule, shown=value)


def one_si(value: Any, kind: str, name: str, *, rule: str = "positive") -> float:
    """Take one value with a unit as an SI float, as ``to_si``; a list or an array is refused.

    Rounded to 14 digits, so that values of up to 12 digits are equal whatever unit they came in.
    """
    return float(f"{_one(to_si(value, kind, name, rule=rule), name, value):.14g}")


def one_number(value: Any, name: str, *, rule: str = "positive") -> float:
    """Take one plain number, as ``to_number``; a list or an array is refused."""
    return _one(to_number(value, name, rule=rule), name, value)


def in_range(si: Any, name: str, rule: str, shown: Any) -> Any:
    """Return ``si`` if every number of it is finite and obeys ``rule``; else raise UnitError showing ``shown``."""
    bad = _RULES[rule](si)
    if np.any(bad | ~np.isfinite(si)):
        want = "finite" if rule == "any" else f"finite and {rule}"
        raise UnitError(f"{name} = {_show(shown)}: must be {want}.")
    return si


_RULES: dict[str, Callable[[Any], Any]] = {
    "positive": lambda x: np.less_equal(x, 0),
    "not negative": lambda x: np.less(x, 0),
    "any": lambda x: np.zeros_like(np.isnan(x)),
    "at least 1 (vacuum)": lambda x: np.less(x, 1),
    "below 1 and not negative (a ratio, not a percentage)": lambda x: np.less(x, 0) | np.greater_equal(x, 1),
}
DK_RULE, DF_RULE = list(_RULES)[-2:]
"""What a relative permittivity and a loss tangent may be."""


def to_number(value: Any, name: str, *, rule: str = "positive") -> Any:
    """Take a plain number (Dk, loss tangent, ratio, dB) as a float or array; text and True/False are refused."""
    if isinstance(value, pint.Quantity):
        if value.unit_items():
            raise UnitError(f"{name} = {_show(value)}: is a plain number; give it without a unit.")
        value = value.magnitude
    value = _unmasked(value, name)
    try:
        number = np.asarray(value)
        if number.dtype.kind not in "iuf":
            raise TypeError
    except (TypeError, ValueError):
        raise UnitError(f"{name} = {_show(value)}: must be a number without quotes, for example 3.8.") from None
    number = number.astype(float)
    return in_range(number if number.ndim else float(number), name, rule, shown=value)


def to_rate(value: Any, name: str) -> tuple[float, str, str]:
    """Take a line rate apart: (per second, what is counted, text left behind the unit).

    Counted are "bits", "transfers" or "symbols"; "bits or symbols" for pint's baud, which is also its bps.

    Raises
    ------
    UnitError
        As ``to_si``; a frequency is refused with the two ways to say what was meant.
    """
    if isinstance(value, pint.Quantity):
        return (*_rate_of_quantity(value, name), "")
    number, rest = _split(value, "rate", name)
    unit, _, modulation = rest.partition(" ")
    if unit not in RATE_UNITS:
        raise _wrong_rate_unit(value, unit, name)
    kind, factor = RATE_UNITS[unit]
    return in_range(number * factor, name, "positive", shown=value), kind, modulation.strip()


def quantity(si: Any, kind: str) -> Any:
    """Give an SI float or array back as a pint quantity in the plain unit of its kind (mm, GHz, ohm ...)."""
    unit, factor = SHOWN[kind]
    return pint.get_application_registry().Quantity(np.divide(si, factor)[()], unit)


def show(si: float | None, kind: str, digits: int = 4) -> str:
    """Text of an SI float in its plain unit, ``digits`` significant digits; "unknown" for None."""
    if si is None:
        return "unknown"
    unit, factor = SHOWN[kind]
    return f"{si / factor:.{digits}g} {unit}"


class Dimension:
    """A dimensioned field of a frozen value object: takes text or a quantity, gives a quantity.

    The SI float is kept as ``<field>_si`` and is what the library calculates with. ``optional`` fields default to
    None, which stands for unknown.
    """

    def __init__(self, kind: str, *, rule: str = "positive", optional: bool = False) -> None:
        self.kind, self.rule, self.optional = kind, rule, optional

    def __set_name__(self, owner: type, name: str) -> None:
        self.name, self.owner = name, owner.__name__

    def __get__(self, obj: Any, owner: type | None = None) -> Any:
        if obj is None:
            if self.optional:
                return None
            raise AttributeError(self.name)
        si = obj.__dict__[self.name + "_si"]
        return None if si is None else quantity(si, self.kind)

    def __set__(self, obj: Any, value: Any) -> None:
        if value is not None:
            value = one_si(value, self.kind, f"{self.owner} {self.name}", rule=self.rule)
        elif not self.optional:
            raise UnitError(f"{self.owner} {self.name} is missing: give it as text like '{EXAMPLE[self.kind]}'.")
        obj.__dict__[self.name + "_si"] = value


@lru_cache(maxsize=4096)
def _text_to_si(text: str, kind: str, name: str) -> float:
    number, unit = _split(text, kind, name)
    factor = UNITS[kind].get(unit)
    if factor is None:
        raise _wrong_unit(text, unit, kind, name)
    return number * factor


def _split(value: Any, kind: str, name: str) -> tuple[float, str]:
    """Number and unit of a text; every way of writing a number that could be misread is refused by name."""
    if not isinstance(value, str):
        raise _no_unit(value, kind, name)
    text = value.strip().replace("\u2212", "-")
    example = f"write it like '{EXAMPLE[kind]}'"
    if not text:
        raise UnitError(f"{name} is blank: {example}.")
    if "," in text:
        raise UnitError(f"{name} = '{value}': a comma can be a decimal or a thousands mark; {example}.")
    if any(mark in text for mark in "\"'\u2032\u2033\u2018\u2019\u201c\u201d"):
        raise UnitError(f"{name} = {value!r}: quote marks are no unit; {example}, inches as 'in'.")
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise UnitError(f"{name} = '{value}': must be one number and one unit; {example}.")
    if match[2] is None:
        raise _no_unit(value, kind, name)
    return float(match[1]), " ".join(match[2].split())


def _quantity_to_si(value: Any, kind: str, name: str) -> Any:
    units = [unit for unit, _ in value.unit_items()]
    if kind == "length" and any(unit.endswith("mil") for unit in units):
        raise UnitError(f"{name} = {_show(value)}: pint's 'mil' is an angle; write '62 mil' as text, or use thou.")
    if kind == "frequency" and not all(unit.endswith(("hertz", "second")) for unit in units):
        raise UnitError(
            f"{name} = {_show(value)}: a frequency is wanted, in Hz; for a line rate use Signal(rate).nyquist."
        )
    try:
        si = value.m_as(SI[kind])
    except pint.PintError:
        raise UnitError(
            f"{name} = {_show(value)}: {_a(kind)} is wanted, like '{EXAMPLE[kind]}', not {value.dimensionality}."
        ) from None
    except TypeError:
        raise UnitError(f"{name} = {_show(value)}: must be a real number.") from None
    return _real(si, value, name)


def _real(number: Any, value: Any, name: str) -> Any:
    """Take a pint magnitude as a float or float array; complex, masked or textual ones are refused."""
    si = np.asarray(_unmasked(number, name))
    if si.dtype.kind == "O":
        si = si.astype(float)
    if si.dtype.kind not in "iuf":
        raise UnitError(f"{name} = {_show(value)}: must be a real number.")
    return float(si) if si.ndim == 0 else si.astype(float)


def _unmasked(value: Any, name: str) -> Any:
    if isinstance(value, np.ma.MaskedArray):
        raise UnitError(f"{name}: is a masked array; leave the masked entries out.")
    return value


def _one(number: Any, name: str, shown: Any) -> float:
    if np.ndim(number):
        raise UnitError(f"{name} = {_show(shown)}: one value is wanted, not a list.")
    return number


def _even(rows: list[Any], name: str) -> Any:
    if len({np.shape(row) for row in rows}) > 1:
        raise UnitError(f"{name}: the lists in it must all be of one length.")
    return np.array(rows, dtype=float)


def _rate_of_quantity(value: Any, name: str) -> tuple[float, str]:
    units = dict(value.unit_items())
    time = {unit for unit in units if unit.endswith(("second", "minute", "hour", "hertz"))}
    counted = [(unit, power) for unit, power in units.items() if unit not in time]
    for ending, kind in (("bit", "bits"), ("baud", "bits or symbols")):
        if len(counted) == 1 and counted[0][0].endswith(ending) and counted[0][1] == 1 and value.check("1/[time]"):
            per_second = _one(_real(value.m_as("1/s"), value, name), name, value)
            return in_range(per_second, name, "positive", shown=value), kind
    raise UnitError(
        f"{name} = {_show(value)}: a line rate is wanted, in Gbit/s or GBd; a frequency does not say which."
    )


def _no_unit(value: Any, kind: str, name: str) -> UnitError:
    return UnitError(
        f"{name} = {_show(value)}: has no unit; write it as text like '{EXAMPLE[kind]}', or as a pint quantity."
    )


def _a(kind: str) -> str:
    return f"{'an' if kind[0] in 'aeiou' else 'a'} {kind}"


def _wrong_unit(text: str, unit: str, kind: str, name: str) -> UnitError:
    for other, units in UNITS.items():
        if unit in units:
            return UnitError(
                f"{name} = '{text}': '{unit}' is {_a(other)}; {_a(kind)} is wanted, like '{EXAMPLE[kind]}'."
            )
    if unit.split(" ", maxsplit=1)[0] in RATE_UNITS:
        return UnitError(f"{name} = '{text}': a line rate where {_a(kind)} is wanted, like '{EXAMPLE[kind]}'.")
    return UnitError(f"{name} = '{text}': unknown unit '{unit}'{_near(unit, list(UNITS[kind]))}")


def _wrong_rate_unit(text: str, unit: str, name: str) -> UnitError:
    if unit in UNITS["frequency"]:
        return UnitError(
            f"{name} = '{text}': that is a frequency; a line rate is in Gb/s, GBd or GT/s "
            f"(a Nyquist frequency of 28 GHz is '56 GBd')."
        )
    if unit.endswith(("B/s", "Bps", "BPS")) or "byte" in unit.casefold():
        return UnitError(f"{name} = '{text}': '{unit}' counts bytes; give the line rate in bits, like '25.78125 Gb/s'.")
    return UnitError(f"{name} = '{text}': unknown unit '{unit}'{_near(unit, list(RATE_UNITS))}")


def _near(unit: str, known: list[str]) -> str:
    same = [k for k in known if k.casefold() == unit.casefold()] or difflib.get_close_matches(unit, known, 1)
    return f"; did you mean '{same[0]}'?" if same else f"; known are {', '.join(known)}."


def _show(value: Any) -> str:
    return repr(value) if isinstance(value, str) else f"{value}"
