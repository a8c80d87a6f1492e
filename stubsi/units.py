"""Owns the conversion of values at the public interface: texts with a unit and pint quantities to SI floats, and back.

This is the only module that imports pint. A text is read by a strict rule (one number, one unit) and never by pint's
parser. The caller's pint registry is used as it is and is never changed.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np
import pint

from stubsi.errors import UnitError
from stubsi.number_rules import in_range
from stubsi.unit_errors import as_shown, no_number, no_unit, with_article, wrong_rate_unit
from stubsi.unit_names import EXAMPLE, PREFIXES, RATE_UNITS, SHOWN, SI, UNITS, Counted
from stubsi.unit_text import number_and_unit, text_to_si

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    from stubsi.number_rules import Rule
    from stubsi.unit_names import Kind, RateKind

    FloatArray: TypeAlias = NDArray[np.float64]
    Quantity: TypeAlias = pint.Quantity[Any]

    Dimensioned: TypeAlias = str | Quantity
    """One value with its unit: text like "62 mil", or a pint quantity."""

    DimensionedArray: TypeAlias = Dimensioned | Sequence["DimensionedArray"] | NDArray[np.object_] | NDArray[np.str_]
    """One or more values with their units: a quantity (also of an array), or lists of texts and quantities."""

    Number: TypeAlias = float | np.floating[Any] | np.integer[Any] | Quantity
    """One plain number, or a pint quantity without unit."""

    NumberArray: TypeAlias = Number | Sequence["NumberArray"] | NDArray[np.floating[Any]] | NDArray[np.integer[Any]]
    """One or more plain numbers."""


def to_si(value: DimensionedArray, kind: Kind, name: str, *, rule: Rule = "positive") -> float | FloatArray:
    """Convert a value with a unit to an SI float, or to an array where the value is an array or a list.

    Parameters
    ----------
    value : str, pint.Quantity of any registry, or a list of them
        ``"62 mil"``, ``"1.5748 mm"``, ``ureg.Quantity(62, "thou")``. Bare numbers are refused.
    kind : str
        A key of ``UNITS``.
    name : str
        Name of the argument, for the error text.
    rule : str
        Condition on the number, which must also be finite.

    Returns
    -------
    float or ndarray
        In the SI unit of its kind.

    Raises
    ------
    UnitError
        The value is blank, is no number, has a decimal comma, no unit, an unknown unit or a unit of another kind, is
        not finite, is far too large or too small for its kind, is masked, is a list of rows of unequal length, or
        breaks ``rule``.
    """
    if isinstance(value, np.ndarray) and value.dtype.kind in "OU":
        value = value.tolist()
    si: float | FloatArray
    if isinstance(value, str):
        si = text_to_si(value, kind, name)
    elif isinstance(value, pint.Quantity):
        si = _quantity_to_si(value, kind, name)
    elif isinstance(value, (list, tuple)):
        return _rows_to_si(value, kind, name, rule)
    else:
        raise no_unit(value, kind, name)
    return in_range(si, kind, name, rule, shown=value)


def _rows_to_si(rows: Sequence[DimensionedArray], kind: Kind, name: str, rule: Rule) -> FloatArray:
    try:
        return _equal_rows([to_si(row, kind, name, rule=rule) for row in rows], name)
    except RecursionError:
        raise UnitError(f"{name}: is a list that is nested too deeply.") from None


def one_si(value: Dimensioned, kind: Kind, name: str, *, rule: Rule = "positive") -> float:
    """Convert one value with a unit to an SI float.

    Parameters
    ----------
    value : str or pint.Quantity
        As ``to_si`` takes it, but no list and no array.
    kind, name, rule
        As in ``to_si``.

    Returns
    -------
    float
        In the SI unit of its kind, rounded to 14 digits. So a value of up to 12 digits gives the same float in every
        unit that it can be written in.

    Raises
    ------
    UnitError
        As in ``to_si``; also for a list or an array.
    """
    return float(f"{_one(to_si(value, kind, name, rule=rule), name, value):.14g}")


def one_number(value: NumberArray, name: str, *, rule: Rule = "positive") -> float:
    """Convert one plain number to a float.

    Parameters
    ----------
    value, name, rule
        As in ``to_number``, but no list and no array.

    Returns
    -------
    float

    Raises
    ------
    UnitError
        As in ``to_number``; also for a list or an array.
    """
    return _one(to_number(value, name, rule=rule), name, value)


def to_number(value: NumberArray, name: str, *, rule: Rule = "positive") -> float | FloatArray:
    """Convert a plain number (Dk, loss tangent, ratio, dB) to a float, or an array or list of them to an array.

    Parameters
    ----------
    value : float, array_like or pint.Quantity without unit
        The number or numbers.
    name : str
        Name of the argument, for the error text.
    rule : str
        Condition on the number, which must also be finite.

    Returns
    -------
    float or ndarray

    Raises
    ------
    UnitError
        The value is a text, True or False, has a unit, is not finite, far too large or masked, or breaks ``rule``.
    """
    if type(value) is float or type(value) is int:
        return in_range(_float(value), None, name, rule, shown=value)
    if isinstance(value, pint.Quantity):
        if value.unit_items():
            raise UnitError(f"{name} = {as_shown(value)}: is a plain number; give it without a unit.")
        value = value.magnitude
    _refuse_masked(value, name)
    if isinstance(value, (bytearray, memoryview)):  # numpy takes their bytes for numbers
        raise no_number(value, name)
    try:
        number = np.asarray(value)
    except (TypeError, ValueError):
        raise no_number(value, name) from None
    if number.dtype.kind not in "iuf":
        raise no_number(value, name)
    number = number.astype(np.float64)
    return in_range(number if number.ndim else float(number), None, name, rule, shown=value)


def to_rate(value: Dimensioned, name: str) -> tuple[float, Counted, str]:
    """Split a line rate into its number, what it counts, and the modulation that its text states.

    Parameters
    ----------
    value : str or pint.Quantity
        ``"112 Gb/s PAM4"``, ``ureg.Quantity(28, "GBd")``.
    name : str
        Name of the argument, for the error text.

    Returns
    -------
    per_second : float
        How many per second.
    counted : Counted
        What is counted.
    modulation : str
        The text after the unit; blank if there is none.

    Raises
    ------
    UnitError
        As in ``to_si``. The error for a frequency says how to write the line rate instead.
    """
    if isinstance(value, pint.Quantity):
        return (*_rate_of_quantity(value, name), "")
    number, rest = number_and_unit(value, "rate", name)
    unit, _, modulation = rest.partition(" ")
    if unit not in RATE_UNITS:
        raise wrong_rate_unit(value, unit, name)
    counted, factor = RATE_UNITS[unit]
    return _rate_in_range(number * factor, name, value), counted, modulation.strip()


def quantity(si: ArrayLike, kind: Kind | RateKind) -> Quantity:
    """Convert SI floats to a pint quantity in the unit that their kind is shown in.

    Parameters
    ----------
    si : float or array_like
        In the SI unit of the kind.
    kind : str
        A key of ``SHOWN``.

    Returns
    -------
    pint.Quantity
        In mm, GHz, ohm ..., of the user's application registry.
    """
    unit, factor = SHOWN[kind]
    registry: pint.UnitRegistry[Any] = pint.application_registry.get()  # type: ignore[no-untyped-call]  # pint has none
    made: Quantity = registry.Quantity(np.divide(si, factor)[()], _unit(registry, unit))
    return made


@lru_cache(maxsize=64)
def _unit(registry: pint.UnitRegistry[Any], unit: str) -> pint.Unit:
    """Look up a unit, once for each registry. The look-up takes longer than all other steps of making a quantity."""
    return registry.Unit(unit)


def shown_number(si: float | None, kind: Kind) -> float | None:
    """A figure as tables hold it: a plain number in the unit that is shown for its kind.

    Parameters
    ----------
    si : float or None
        In SI units.
    kind : str
        A key of ``SHOWN``.

    Returns
    -------
    float or None
        None where ``si`` is.
    """
    return None if si is None else si / SHOWN[kind][1]


def show(si: float | None, kind: Kind | RateKind, digits: int = 4) -> str:
    """Show an SI float as text in the unit that its kind is shown in.

    Parameters
    ----------
    si : float or None
        In the SI unit of the kind; None: unknown.
    kind : str
        A key of ``SHOWN``.
    digits : int
        Significant digits.

    Returns
    -------
    str
        Like "1.575 mm", or "unknown".
    """
    if si is None:
        return "unknown"
    unit, factor = SHOWN[kind]
    return f"{si / factor:.{digits}g} {unit}"


def _float(number: float) -> float:
    """Convert an integer or float to a float; infinite where the integer is too large for a float."""
    try:
        return float(number)
    except OverflowError:
        return math.inf


def _quantity_to_si(value: Quantity, kind: Kind, name: str) -> float | FloatArray:
    """Convert a pint quantity to SI units; an error where it is of another kind."""
    units = [unit for unit, _ in value.unit_items()]
    if UNITS[kind] is UNITS["length"] and any(unit.endswith("mil") for unit in units):
        raise UnitError(f"{name} = {as_shown(value)}: pint's 'mil' is an angle; write '62 mil' as text, or use thou.")
    if kind == "frequency" and not all(_ends_in(unit, ("hertz", "second")) for unit in units):
        raise UnitError(
            f"{name} = {as_shown(value)}: a frequency is wanted, in Hz; for a line rate use Signal(rate).nyquist."
        )
    try:
        si = value.m_as(SI[kind])
    except pint.PintError:
        raise UnitError(
            f"{name} = {as_shown(value)}: {with_article(kind)} is wanted, like '{EXAMPLE[kind]}', "
            f"not {value.dimensionality}."
        ) from None
    except (TypeError, ValueError, OverflowError):
        raise UnitError(f"{name} = {as_shown(value)}: must be a real number.") from None
    return _real(si, value, name)


def _ends_in(unit: str, names: tuple[str, ...]) -> bool:
    """Whether a pint unit is one of these, with or without a prefix. An arcsecond is no second."""
    return any(unit.removesuffix(name) in PREFIXES for name in names if unit.endswith(name))


def _real(number: object, value: Quantity, name: str) -> float | FloatArray:
    """Convert a pint magnitude to a float or float array; a complex, masked or text magnitude is refused."""
    _refuse_masked(number, name)
    si = np.asarray(number)
    try:
        si = si.astype(float) if si.dtype.kind == "O" else si
    except (TypeError, ValueError, OverflowError):
        raise UnitError(f"{name} = {as_shown(value)}: must be a real number.") from None
    if si.dtype.kind not in "iuf":
        raise UnitError(f"{name} = {as_shown(value)}: must be a real number.")
    return float(si) if si.ndim == 0 else si.astype(np.float64)


def _refuse_masked(value: object, name: str) -> None:
    if isinstance(value, np.ma.MaskedArray):
        raise UnitError(f"{name}: is a masked array; leave the masked entries out.")


def _one(number: float | FloatArray, name: str, shown: object) -> float:
    if not isinstance(number, float):
        raise UnitError(f"{name} = {as_shown(shown)}: one value is wanted, not a list.")
    return number


def _equal_rows(rows: list[float | FloatArray], name: str) -> FloatArray:
    if len({np.shape(row) for row in rows}) > 1:
        raise UnitError(f"{name}: the lists in it must all be of one length.")
    return np.array(rows, dtype=np.float64)


def _rate_of_quantity(value: Quantity, name: str) -> tuple[float, Counted]:
    """How many per second, and what is counted: pint's unit, with any prefix, is a bit or a baud per time."""
    units = dict(value.unit_items())
    time = {unit for unit in units if _ends_in(unit, ("second", "minute", "hour", "hertz"))}
    others = [(unit, power) for unit, power in units.items() if unit not in time]
    for ending, counted in (("bit", Counted.BITS), ("baud", Counted.BITS_OR_SYMBOLS)):
        if len(others) == 1 and others[0][0].endswith(ending) and others[0][1] == 1 and value.check("1/[time]"):
            return _rate_in_range(_one(_real(value.m_as("1/s"), value, name), name, value), name, value), counted
    raise UnitError(
        f"{name} = {as_shown(value)}: a line rate is wanted, in Gbit/s or GBd; a frequency does not say which."
    )


def _rate_in_range(per_second: float, name: str, shown: object) -> float:
    return float(in_range(per_second, "frequency", name, "positive", shown=shown))
