"""Owns values as TOML text: names in quotes, and numbers with a unit that read back as exactly the same float."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from stubsi.errors import FileError
from stubsi.unit_errors import as_shown
from stubsi.unit_names import SHOWN, SI

if TYPE_CHECKING:
    from collections.abc import Iterable

    from stubsi.unit_names import Kind

SHORTEST = 1e-15
"""Sizes below this one [SI unit] are written in the SI unit itself, since a smaller unit makes them no shorter."""
_ESCAPED = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t", "\r": "\\r"}


def quoted(text: str) -> str:
    r"""A text in quotes. Characters that do not show are written as escapes.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
        Like ``"DQ0"``.

    Raises
    ------
    FileError
        It holds half of a surrogate pair, which is no character.

    Examples
    --------
    >>> print(quoted('say "a"'), quoted("a" + chr(0)))
    "say \"a\"" "a\u0000"
    """
    return '"' + "".join(_escaped(character, text) for character in text) + '"'


def _escaped(character: str, text: str) -> str:
    """A character as it stands inside the quotes of a TOML text."""
    if character in _ESCAPED:
        return _ESCAPED[character]
    if character.isprintable():
        return character
    code = ord(character)
    if 0xD800 <= code <= 0xDFFF:
        raise FileError(f"text {as_shown(text)}: holds half of a surrogate pair, which no file in UTF-8 can hold.")
    return f"\\u{code:04x}" if code <= 0xFFFF else f"\\U{code:08x}"


def with_unit(si: float, kind: Kind) -> str:
    """A value with the unit that its kind is shown in, in quotes. The digits are exact.

    Parameters
    ----------
    si : float
        In the SI unit of its kind, of at most 14 digits, as every dimensioned field is.
    kind : str
        A key of ``UNITS``.

    Returns
    -------
    str
        Read back, it gives ``si`` bit for bit.

    Examples
    --------
    >>> print(with_unit(0.0015748, "length"), with_unit(0.0, "length"), with_unit(1e10, "frequency"))
    "1.5748 mm" "0 mm" "10 GHz"
    """
    unit, factor = SHOWN[kind]
    if 0 < abs(si) < SHORTEST:
        return f'"{si!r} {SI[kind]}"'
    digits = format(Decimal(repr(si)) / Decimal(repr(factor)), "f")
    return f'"{digits.rstrip("0").rstrip(".") if "." in digits else digits} {unit}"'


def listed(items: Iterable[str]) -> str:
    """A list on one line.

    Parameters
    ----------
    items : iterable of str
        Values as TOML text.

    Returns
    -------
    str
    """
    return f"[{', '.join(items)}]"


def names(items: Iterable[str]) -> str:
    """A list of names on one line.

    Parameters
    ----------
    items : iterable of str

    Returns
    -------
    str
    """
    return listed(map(quoted, items))


def inline(pairs: dict[str, str]) -> str:
    """A table on one line.

    Parameters
    ----------
    pairs : dict
        Values as TOML text, by key.

    Returns
    -------
    str
    """
    return "{" + ", ".join(f"{key(name)} = {value}" for name, value in pairs.items()) + "}"


def lines(pairs: dict[str, str]) -> list[str]:
    """A table with one line for each key.

    Parameters
    ----------
    pairs : dict
        Values as TOML text, by key.

    Returns
    -------
    list of str
    """
    return [f"{key(name)} = {value}" for name, value in pairs.items()]


def key(name: str) -> str:
    """A key: as it is where TOML allows it, otherwise in quotes.

    Parameters
    ----------
    name : str

    Returns
    -------
    str
    """
    bare = name.isascii() and name.replace("_", "").replace("-", "").isalnum()
    return name if bare else quoted(name)


def comment(text: str) -> list[str]:
    """A text as lines of comment. Characters that TOML forbids there are written as escapes.

    Parameters
    ----------
    text : str

    Returns
    -------
    list of str
    """
    return ["# " + quoted(line)[1:-1].replace('\\"', '"') for line in text.split("\n")]
