"""Owns the checks of arguments that are no numbers: texts, names, lists, mappings, and objects of a certain type."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any, TypeGuard, TypeVar, overload

from stubsi.errors import BoardError
from stubsi.unit_errors import as_shown

Item = TypeVar("Item")

_CONTROL = re.compile(
    "[\x00-\x1f\x7f-\x9f\xad\u061c\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb\ud800-\udfff"
    "\U000e0000-\U000e007f]"
)
"""Control characters, line separators, marks that turn the direction of writing, characters that show as nothing at
all, and halves of surrogate pairs."""


def one_line(text: str) -> str:
    """Text with control characters as escapes, so that it stays on one line and hides nothing.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
    """
    if text.isprintable():
        return text
    return _CONTROL.sub(lambda match: match[0].encode("unicode_escape").decode("ascii"), text)


def checked_name(value: object, what: str) -> str:
    """Return ``value`` if it can be a name: a text of one line that is not blank.

    Parameters
    ----------
    value : object
        The value to check.
    what : str
        Name of the argument, for the error text.

    Returns
    -------
    str

    Raises
    ------
    BoardError
        ``value`` is no text, is blank, or holds a line break, a control character or a character that shows as nothing.
    """
    name = checked(value, what)
    if one_line(name) != name:
        raise BoardError(f"{what} = {as_shown(name)}: must be one line without control characters.")
    return name


@overload
def checked(value: object, what: str) -> str: ...
@overload
def checked(value: object, what: str, of: type[Item]) -> Item: ...
def checked(value: object, what: str, of: type[Any] = str) -> Any:
    """Return ``value`` if it is of the wanted type.

    Parameters
    ----------
    value : object
        The value to check.
    what : str
        Name of the argument, for the error text.
    of : type
        The wanted type. A text (the default) must not be blank.

    Returns
    -------
    Same as ``value``.

    Raises
    ------
    BoardError
        ``value`` is of another type, or a blank text.
    """
    if not isinstance(value, of) or (of is str and not str(value).strip()):
        wanted = {str: "a text that is not blank", bool: "True or False"}.get(of, f"a {of.__name__}")
        raise BoardError(f"{what} = {as_shown(value)}: must be {wanted}.")
    return value


def text_or_blank(value: object, what: str) -> str:
    """Return ``value`` if it is a text, which may be blank.

    Parameters
    ----------
    value : object
        The value to check.
    what : str
        Name of the argument, for the error text.

    Returns
    -------
    str

    Raises
    ------
    BoardError
        ``value`` is not a text, or holds blanks only.
    """
    if not isinstance(value, str):
        raise BoardError(f"{what} = {as_shown(value)}: must be a text, or left out.")
    if value and not value.strip():
        raise BoardError(f"{what} = {as_shown(value)}: must be a text that is not blank, or left out.")
    return value


def one_of(value: object, what: str, allowed: tuple[str, ...]) -> None:
    """Check that a value is one of the allowed texts.

    Parameters
    ----------
    value : object
        The value to check.
    what : str
        Name of the argument, for the error text.
    allowed : tuple of str
        The allowed texts. If a blank text is one of them, the argument may be left out.

    Raises
    ------
    BoardError
        ``value`` is none of them. The error text names them.
    """
    if not (isinstance(value, str) and value in allowed):
        known = [text for text in allowed if text]
        wanted = " or ".join(map(repr, known)) if len(known) == 2 else f"one of {', '.join(known)}"
        raise BoardError(f"{what} = {as_shown(value)}: must be {wanted}{', or left out' if '' in allowed else ''}.")


@overload
def sequence(value: object, what: str) -> tuple[str, ...]: ...
@overload
def sequence(value: object, what: str, of: type[Item]) -> tuple[Item, ...]: ...
def sequence(value: object, what: str, of: type[Any] = str) -> tuple[Any, ...]:
    """Convert a list to a tuple and check its items.

    Parameters
    ----------
    value : iterable
        A list or another iterable, but no text and no mapping.
    what : str
        Name of the argument, for the error text.
    of : type
        Type that every item must be of. A text (the default) must not be blank.

    Returns
    -------
    tuple

    Raises
    ------
    BoardError
        ``value`` is not a list, or an item is of another type or is a blank text.
    """
    if not is_list(value):
        raise _no_list(value, what, of)
    items = tuple(value)
    for item in items:
        checked(item, what, of)
    return items


def is_list(value: object) -> TypeGuard[Iterable[Any]]:
    """Whether a value is a list or another iterable of items, and neither a text, nor a mapping, nor a single number.

    Parameters
    ----------
    value : object
        The value to look at.

    Returns
    -------
    bool
        False for a numpy array of dimension 0 as well: it cannot be iterated.
    """
    no_list = isinstance(value, (str, bytes, Mapping)) or getattr(value, "ndim", 1) == 0
    return isinstance(value, Iterable) and not no_list


def _no_list(value: object, what: str, of: type[Any]) -> BoardError:
    wanted = {str: " of names", object: ""}.get(of, f" of {of.__name__}s")
    return BoardError(f"{what} = {as_shown(value)}: must be a list{wanted}.")


def names(value: Iterable[str], what: str) -> tuple[str, ...]:
    """Convert a list of names to a tuple. This is ``sequence`` in the form that ``Converted`` takes.

    Parameters
    ----------
    value : iterable of str
        Names, as ``checked_name`` takes them.
    what : str
        Name of the argument, for the error text.

    Returns
    -------
    tuple of str
    """
    return tuple(checked_name(item, what) for item in sequence(value, what))


def pairs(value: object, what: str) -> tuple[tuple[Any, Any], ...]:
    """Convert a mapping, or a list of pairs, to a tuple of pairs.

    Parameters
    ----------
    value : mapping or iterable of tuple
        The pairs.
    what : str
        Name of the argument, for the error text.

    Returns
    -------
    tuple of tuple

    Raises
    ------
    BoardError
        ``value`` is neither a mapping nor a list of pairs.
    """
    items = tuple(value.items()) if isinstance(value, Mapping) else sequence(value, what, tuple)
    if any(len(item) != 2 for item in items):
        raise BoardError(f"{what} = {as_shown(value)}: must be a mapping.")
    return items
