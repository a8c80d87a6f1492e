"""Owns values that a user gives by name: of nets or layers, by pattern or regular expression, or of holes by size."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from stubsi.board.names import near_names
from stubsi.checks import checked, pairs
from stubsi.errors import BoardError, UnitError
from stubsi.unit_errors import as_shown
from stubsi.units import one_si

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

Item = TypeVar("Item")

SAME_DIAMETER = 0.5e-6
"""Two diameters that differ by less [m] are the same drill."""
MOST_NAMED = 4
"""Most names that an error text offers."""


class ByName(Generic[Item]):
    """Values by name or pattern: ``*`` stands for any characters, ``?`` for one.

    A text between slashes is a regular expression. A name comes before a pattern.

    Parameters
    ----------
    given : mapping of str to value
        As the user wrote it.
    what : str
        Name of the argument, for error texts.
    convert : callable
        Takes a value and its name for error texts.
    """

    def __init__(self, given: object, what: str, convert: Callable[[Any, str], Item]) -> None:
        self.what = what
        self.items = {
            checked(key, f"{what} key"): convert(value, f"{what} of {as_shown(key)}")
            for key, value in pairs(given, what)
        }
        self._patterns = {key: _expression(key, what) or as_pattern(key) for key in self.items}
        self._used: set[str] = set()

    def of(self, name: str) -> Item | None:
        """Value of a name, None where there is none.

        Parameters
        ----------
        name : str

        Returns
        -------
        value or None

        Raises
        ------
        BoardError
            Two patterns with different values match.
        """
        if name in self.items:
            self._used.add(name)
            return self.items[name]
        keys = [key for key, pattern in self._patterns.items() if pattern.fullmatch(name)]
        self._used.update(keys)
        if not keys:
            return None
        first = self.items[keys[0]]
        other = next((key for key in keys if self.items[key] != first), None)
        if other is not None:
            raise BoardError(
                f"{self.what}: {as_shown(name)} matches {as_shown(keys[0])} and {as_shown(other)} with different "
                f"values; give it by its full name."
            )
        return first

    def refuse_unused(self, known: Iterable[str], thing: str) -> None:
        """Refuse a name or pattern that matched nothing.

        Parameters
        ----------
        known : iterable of str
            Names that it could have matched.
        thing : str
            What they name, like "net".

        Raises
        ------
        BoardError
        """
        for key in self.items:
            if key not in self._used:
                near = near_names(key, known) or list(known)[:MOST_NAMED]
                hint = f"; there are, for example, {', '.join(near)}" if near else ""
                raise BoardError(f"{self.what}: {as_shown(key)} matches no {thing} of the file{hint}.")


class ByHole(Generic[Item]):
    """Values by name of a padstack or by diameter of the hole.

    Parameters
    ----------
    given : mapping of str to value
        As the user wrote it.
    what : str
        Name of the argument, for error texts.
    convert : callable
        Takes a value and its name for error texts.
    """

    def __init__(self, given: object, what: str, convert: Callable[[Any, str], Item]) -> None:
        self.what = what
        self._values: list[tuple[str, float | None, Item]] = []
        self._used: set[str] = set()
        for key, value in pairs(given, what):
            name = checked(key, f"{what} key")
            self._values.append((name, _diameter(name), convert(value, f"{what} of {as_shown(name)}")))

    def of(self, padstack: str, diameter: float) -> tuple[Item] | None:
        """The value in a tuple of its own, since it may be None; None where there is none.

        Parameters
        ----------
        padstack : str
        diameter : float
            Of the hole [m].

        Returns
        -------
        tuple or None
        """
        for name, _, value in self._values:
            if name == padstack:
                self._used.add(name)
                return (value,)
        for name, size, value in self._values:
            if size is not None and abs(size - diameter) < SAME_DIAMETER:
                self._used.add(name)
                return (value,)
        return None

    def refuse_unused(self) -> None:
        """Refuse what is neither a padstack nor a diameter of the board.

        Raises
        ------
        BoardError
        """
        for name, _, _ in self._values:
            if name not in self._used:
                raise BoardError(
                    f"{self.what}: {as_shown(name)} is neither the padstack nor the diameter of a hole of a signal net."
                )


def given_or_empty(value: Any) -> Any:
    """A mapping that was given; an empty one for None.

    Parameters
    ----------
    value : mapping or None

    Returns
    -------
    mapping
    """
    return {} if value is None else value


def as_pattern(text: str) -> re.Pattern[str]:
    """Regular expression of a pattern, with a group for each wildcard.

    Only ``*`` and ``?`` are special, because names of nets hold brackets.

    Parameters
    ----------
    text : str

    Returns
    -------
    re.Pattern
    """
    pieces = re.split(r"(\*+|\?)", text)
    special = {"?": "(.)", "*": "(.*)"}
    return re.compile("".join(special.get(piece[:1]) or re.escape(piece) for piece in pieces), re.DOTALL)


def _expression(text: str, what: str) -> re.Pattern[str] | None:
    """The regular expression between two slashes, as in "/DQ[0-7]/"; None for any other text."""
    if len(text) < 3 or not (text.startswith("/") and text.endswith("/")):
        return None
    try:
        return re.compile(text[1:-1], re.DOTALL)
    except (re.error, OverflowError, RecursionError) as error:
        raise BoardError(f"{what}: {as_shown(text)}: is no regular expression: {error}.") from None


def _diameter(text: str) -> float | None:
    """Diameter [m] that a key says; None where it is no length, but the name of a padstack."""
    try:
        return one_si(text, "length", "diameter")
    except UnitError:
        return None
