"""Owns the texts of errors about units and numbers: the value as the user gave it, the rule, and the fix."""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING, Literal

from stubsi.errors import UnitError
from stubsi.unit_names import EXAMPLE, RATE_UNITS, UNITS

if TYPE_CHECKING:
    from stubsi.unit_names import Kind

LONGEST_SHOWN = 200
"""Most characters of a refused value that an error shows."""


def as_shown(value: object) -> str:
    """Show a refused value in an error text.

    Parameters
    ----------
    value : object
        The value as the user gave it.

    Returns
    -------
    str
        A text in quotes; any other value as it prints, or its type where it prints several lines, as a table does. Cut
        to ``LONGEST_SHOWN`` characters.
    """
    try:
        text = repr(value) if isinstance(value, str) else f"{value}"
    except Exception:  # a number with too many digits, a list nested too deeply, an object that does not print
        text = f"<{type(value).__name__}>"
    if "\n" in text:
        text = f"<{type(value).__name__}>"
    return text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]} ..."


def no_number(value: object, name: str) -> UnitError:
    """Make the error for a value that is not a plain number.

    Parameters
    ----------
    value : object
        The refused value.
    name : str
        Name of the argument, for the error text.

    Returns
    -------
    UnitError
    """
    return UnitError(f"{name} = {as_shown(value)}: must be a number without quotes, for example 3.8.")


def no_unit(value: object, kind: Kind | Literal["rate"], name: str) -> UnitError:
    """Make the error for a value without a unit.

    Parameters
    ----------
    value : object
        The refused value.
    kind : str
        Kind of value that is wanted, a key of ``EXAMPLE``.
    name : str
        Name of the argument, for the error text.

    Returns
    -------
    UnitError
    """
    return UnitError(
        f"{name} = {as_shown(value)}: has no unit; write it as text like '{EXAMPLE[kind]}', or as a pint quantity."
    )


def wrong_unit(text: str, unit: str, kind: Kind, name: str) -> UnitError:
    """Make the error for a unit that does not fit the kind. It says what the unit is, or which known unit is near.

    Parameters
    ----------
    text : str
        The refused value.
    unit : str
        The unit in it.
    kind : str
        Kind of value that is wanted, a key of ``UNITS``.
    name : str
        Name of the argument, for the error text.

    Returns
    -------
    UnitError
    """
    argument, wanted = f"{name} = {as_shown(text)}", f"{with_article(kind)} is wanted, like '{EXAMPLE[kind]}'"
    for other, units in UNITS.items():
        if unit in units:
            return UnitError(f"{argument}: '{unit}' is {with_article(other)}; {wanted}.")
    if unit.split(" ", maxsplit=1)[0] in RATE_UNITS:
        return UnitError(f"{argument}: a line rate where {wanted}.")
    return UnitError(f"{argument}: unknown unit {as_shown(unit)}{_near(unit, list(UNITS[kind]))}")


def wrong_rate_unit(text: str, unit: str, name: str) -> UnitError:
    """Make the error for a unit that is no unit of line rate. It says what the unit is, or which known unit is near.

    Parameters
    ----------
    text : str
        The refused value.
    unit : str
        The unit in it.
    name : str
        Name of the argument, for the error text.

    Returns
    -------
    UnitError
    """
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
    """Put the article before the name of a kind. A long length is a length.

    Parameters
    ----------
    kind : str
        Like "impedance".

    Returns
    -------
    str
        Like "an impedance".
    """
    name = "length" if kind == "long length" else kind
    return f"{'an' if name[0] in 'aeiou' else 'a'} {name}"


def _near(unit: str, known: list[str]) -> str:
    """End of an error text: the known unit nearest to an unknown one, or all known units."""
    same_letters = [spelling for spelling in known if spelling.casefold() == unit.casefold()]
    near = same_letters or difflib.get_close_matches(unit, known, 1)
    return f"; did you mean '{near[0]}'?" if near else f"; known are {', '.join(known)}."
