"""Owns the wording of what is refused at the boundary: the value as it was given, the rule, and the fix."""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING, Literal

from stubsi.errors import UnitError
from stubsi.unit_names import EXAMPLE, RATE_UNITS, UNITS

if TYPE_CHECKING:
    from stubsi.unit_names import Kind

LONGEST_SHOWN = 200
"""Characters of a refused value that an error shows."""


def as_shown(value: object) -> str:
    """Show a refused value in an error.

    Parameters
    ----------
    value : object
        What was given.

    Returns
    -------
    str
        Text in quotes, all else as it prints, cut to a readable length.
    """
    try:
        text = repr(value) if isinstance(value, str) else f"{value}"
    except (ValueError, TypeError, RecursionError):  # a number of too many digits, a list nested too deeply
        text = f"<{type(value).__name__}>"
    return text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]} ..."


def no_number(value: object, name: str) -> UnitError:
    """Error for what is no plain number."""
    return UnitError(f"{name} = {as_shown(value)}: must be a number without quotes, for example 3.8.")


def no_unit(value: object, kind: Kind | Literal["rate"], name: str) -> UnitError:
    """Error for a value without a unit."""
    return UnitError(
        f"{name} = {as_shown(value)}: has no unit; write it as text like '{EXAMPLE[kind]}', or as a pint quantity."
    )


def wrong_unit(text: str, unit: str, kind: Kind, name: str) -> UnitError:
    """Error for a unit that is not one of its kind: what it is instead, or the known units near it."""
    given, wanted = f"{name} = {as_shown(text)}", f"{with_article(kind)} is wanted, like '{EXAMPLE[kind]}'"
    for other, units in UNITS.items():
        if unit in units:
            return UnitError(f"{given}: '{unit}' is {with_article(other)}; {wanted}.")
    if unit.split(" ", maxsplit=1)[0] in RATE_UNITS:
        return UnitError(f"{given}: a line rate where {wanted}.")
    return UnitError(f"{given}: unknown unit {as_shown(unit)}{_near(unit, list(UNITS[kind]))}")


def wrong_rate_unit(text: str, unit: str, name: str) -> UnitError:
    """Error for a unit that is none of a line rate: what it is instead, or the known units near it."""
    if unit in UNITS["frequency"]:
        return UnitError(
            f"{name} = {as_shown(text)}: that is a frequency; a line rate is in Gb/s, GBd or GT/s "
            f"(a Nyquist frequency of 28 GHz is '56 GBd')."
        )
    if unit.endswith(("B/s", "Bps", "BPS")) or "byte" in unit.casefold():
        return UnitError(
            f"{name} = {as_shown(text)}: {as_shown(unit)} counts bytes; give the line rate in bits, "
            f"like '25.78125 Gb/s'."
        )
    return UnitError(f"{name} = {as_shown(text)}: unknown unit {as_shown(unit)}{_near(unit, list(RATE_UNITS))}")


def with_article(kind: str) -> str:
    """The name of a kind with its article: "an impedance"."""
    return f"{'an' if kind[0] in 'aeiou' else 'a'} {kind}"


def _near(unit: str, known: list[str]) -> str:
    same = [k for k in known if k.casefold() == unit.casefold()] or difflib.get_close_matches(unit, known, 1)
    return f"; did you mean '{same[0]}'?" if same else f"; known are {', '.join(known)}."
