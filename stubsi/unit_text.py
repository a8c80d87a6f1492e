"""Owns the reading of a text that holds one number and one unit, by a strict rule."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Literal

from stubsi.errors import UnitError
from stubsi.unit_errors import as_shown, no_unit, wrong_unit
from stubsi.unit_names import EXAMPLE, UNITS

if TYPE_CHECKING:
    from stubsi.unit_names import Kind

_NUMBER = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_NUMBER_AND_UNIT = re.compile(rf"\s*({_NUMBER})\s*(\S+)\s*")
_NUMBER_AND_REST = re.compile(rf"({_NUMBER})\s*(\S.*)?")


def text_to_si(text: str, kind: Kind, name: str) -> float:
    """Convert a text with a unit to an SI float.

    Parameters
    ----------
    text : str
        Like "62 mil".
    kind : str
        A key of ``UNITS``.
    name : str
        Name of the argument, for the error text.

    Returns
    -------
    float
        In the SI unit of its kind.

    Raises
    ------
    UnitError
        The text is not one number and one unit of this kind.
    """
    match = _NUMBER_AND_UNIT.fullmatch(text)
    factor = UNITS[kind].get(match[2]) if match else None
    if match and factor is not None:
        return float(match[1]) * factor
    number, unit = number_and_unit(text, kind, name)
    factor = UNITS[kind].get(unit)
    if factor is None:
        raise wrong_unit(text, unit, kind, name)
    return number * factor


def number_and_unit(value: object, kind: Kind | Literal["rate"], name: str) -> tuple[float, str]:
    """Split a text into its number and its unit.

    Each way of writing a number that could be misread has its own error text.

    Parameters
    ----------
    value : object
        What was given for the text.
    kind : str
        Kind of value that is wanted, for the error text.
    name : str
        Name of the argument, for the error text.

    Returns
    -------
    number, unit
        The number, and the text after it.

    Raises
    ------
    UnitError
        It is no text, or not one number and one unit.
    """
    if not isinstance(value, str):
        raise no_unit(value, kind, name)
    text = value.strip().replace("\u2212", "-")
    example = f"write it like '{EXAMPLE[kind]}'"
    if not text:
        raise UnitError(f"{name} is blank: {example}.")
    if "," in text:
        raise UnitError(f"{name} = {as_shown(value)}: a comma can be a decimal or a thousands mark; {example}.")
    if any(mark in text for mark in "\"'\u2032\u2033\u2018\u2019\u201c\u201d"):
        raise UnitError(f"{name} = {as_shown(value)}: quote marks are no unit; {example}, inches as 'in'.")
    if any(character.isdecimal() and not character.isascii() for character in text):
        raise UnitError(f"{name} = {as_shown(value)}: only the digits 0 to 9 are read; {example}.")
    match = _NUMBER_AND_REST.fullmatch(text)
    if match is None:
        raise UnitError(f"{name} = {as_shown(value)}: must be one number and one unit; {example}.")
    if match[2] is None:
        raise no_unit(value, kind, name)
    return float(match[1]), " ".join(match[2].split())
