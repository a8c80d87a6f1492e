"""Owns names on a board: look-up with an error that names similar ones, repeated, cut, free names; counts, digits."""

from __future__ import annotations

import difflib
import math
from collections import Counter
from itertools import islice
from typing import TYPE_CHECKING, TypeVar

from stubsi.errors import BoardError, UnknownNameError
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from stubsi.board.board import Board

Item = TypeVar("Item")

MOST_NAMED = 3
"""Most names that an error text gives."""

MOST_COMPARED = 10_000
"""Most names that are compared with an unknown name. This takes a few milliseconds."""


def by_name(items: Mapping[str, Item], name: str, what: str, where: str) -> Item:
    """Look up the item of a name.

    Parameters
    ----------
    items : mapping of name to item
    name : str
    what : str
        What is looked for, like "net".
    where : str
        Where it is looked for, like "on board demo".

    Returns
    -------
    item

    Raises
    ------
    UnknownNameError
        There is no item of that name.
    """
    if isinstance(name, str) and name in items:
        return items[name]
    if not isinstance(name, str):
        raise UnknownNameError(f"{what} {as_shown(name)}: must be the name of a {what} {where}.")
    near = near_names(name, items)
    some = near or list(items)[:MOST_NAMED]
    hint = f"; names {'near it are' if near else 'there are, for example,'} {', '.join(some)}" if some else ""
    raise UnknownNameError(f"{what} {as_shown(name)}: no such {what} {where}{hint}.")


def near_names(name: str, known: Iterable[str], likeness: float = 0.6) -> list[str]:
    """Known names that are like an unknown one, the most like it first. Capital letters do not matter.

    Parameters
    ----------
    name : str
    known : iterable of str
        The first ``MOST_COMPARED`` are compared.
    likeness : float
        Least likeness [-], 0 to 1, as ``difflib`` counts it.

    Returns
    -------
    list of str
        At most ``MOST_NAMED``.
    """
    folded: dict[str, list[str]] = {}
    for each in islice(known, MOST_COMPARED):
        folded.setdefault(each.casefold(), []).append(each)
    near = difflib.get_close_matches(name.casefold(), list(folded), MOST_NAMED, likeness)
    return [each for key in near for each in folded[key]][:MOST_NAMED]


def refuse_repeats(what: str, names: list[str]) -> None:
    """Refuse a name that appears twice.

    Parameters
    ----------
    what : str
        What has the names, like "net".
    names : list of str

    Raises
    ------
    BoardError
        A name appears twice.
    """
    if len(set(names)) == len(names):
        return
    for name, count in Counter(names).items():
        if count > 1:
            raise BoardError(f"{what} '{name}' appears {count} times; each name must be unique.")


def shortened(name: str, most: int = 60) -> str:
    """Cut a long name for a one-line description, with an ellipsis at its end.

    Parameters
    ----------
    name : str
    most : int
        Greatest number of characters.

    Returns
    -------
    str
    """
    return name if len(name) <= most else name[: most - 1] + "…"


def how_many(count: int, noun: str) -> str:
    """Number with its noun, which stands in the plural unless the number is 1.

    Parameters
    ----------
    count : int
    noun : str
        In the singular; an "s" makes its plural.

    Returns
    -------
    str
        Like "1 drill group" or "2 drill groups".
    """
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def board_in_words(board: Board) -> str:
    """What an error text calls a board: 'board demo', or 'this board' where it has no name.

    Parameters
    ----------
    board : Board

    Returns
    -------
    str
    """
    return f"board {board.name}" if board.name else "this board"


def free_name(name: str, taken: Iterable[str]) -> str:
    """A name that is not taken: the name itself, or the name with the first free number behind it, from 2.

    Parameters
    ----------
    name : str
    taken : iterable of str

    Returns
    -------
    str
    """
    known, free, number = frozenset(taken), name, 1
    while free in known:
        number += 1
        free = f"{name} {number}"
    return free


def three_digits(value: float) -> str:
    """Number with three significant digits, written out without an exponent.

    Parameters
    ----------
    value : float

    Returns
    -------
    str
    """
    shown = f"{value:.3g}"
    return f"{float(shown):.0f}" if 1000 <= abs(float(shown)) < math.inf else shown
