"""Owns the lines of text around every table: their width, breaking to it, and the caution."""

from __future__ import annotations

import operator
import textwrap
from typing import TYPE_CHECKING, SupportsIndex

import numpy as np

from stubsi.checks import one_line
from stubsi.errors import StubsiError
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    from collections.abc import Iterable

CAUTION = (
    "Estimates: confirm with the fabricator, by measurement or field solution, under local codes and licensed practice."
)
"""Stands in every table."""

LEAST_WIDTH, MOST_WIDTH = 40, 10_000
"""Range of the width of a text [characters]."""


def checked_width(width: SupportsIndex, least: int = LEAST_WIDTH) -> int:
    """Width of a text as an integer.

    Parameters
    ----------
    width : int
        Characters in a line.
    least : int
        The smallest width that is taken.

    Returns
    -------
    int

    Raises
    ------
    StubsiError
        Not a whole number, or outside of ``least`` to ``MOST_WIDTH``.
    """
    try:
        whole = -1 if isinstance(width, bool | np.bool_) else operator.index(width)
    except TypeError:
        whole = -1
    if not least <= whole <= MOST_WIDTH:
        raise StubsiError(
            f"width = {as_shown(width)}: must be a whole number of characters from {least} to {MOST_WIDTH}."
        )
    return whole


def wrapped(
    lines: Iterable[str], width: int, *, indent: int = 0, hang: int | None = None, at_hyphens: bool = True
) -> list[str]:
    """Lines broken to a width.

    Parameters
    ----------
    lines : iterable of str
    width : int
        Characters in a line.
    indent : int
        Blanks in front of each of ``lines``.
    hang : int, optional
        Blanks in front of the rest of a line after a break; as many as ``indent`` unless given.
    at_hyphens : bool
        Whether a line may be broken behind a hyphen.

    Returns
    -------
    list of str
    """
    first, later = " " * indent, " " * (indent if hang is None else hang)
    parts: list[str] = []
    for line in map(one_line, lines):
        if line and len(line) + indent <= width and line == line.strip():
            parts.append(first + line)
        else:
            parts += textwrap.wrap(
                line, width, initial_indent=first, subsequent_indent=later, break_on_hyphens=at_hyphens
            )
    return parts
