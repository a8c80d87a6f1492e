"""Owns the frame of a result in a notebook: its style sheet, which touches nothing else on the page, and its folds."""

from __future__ import annotations

from functools import cache
from importlib import resources
from typing import TYPE_CHECKING

from stubsi.show.tables import html_lines

if TYPE_CHECKING:
    from collections.abc import Sequence


def framed(body: str) -> str:
    """HTML of a result with the style sheet of the package.

    Parameters
    ----------
    body : str
        HTML.

    Returns
    -------
    str
    """
    return f'<div class="stubsi"><style>{_sheet()}</style>{body}</div>'


def folded_lines(title: str, lines: Sequence[str]) -> str:
    """Lines that a reader unfolds; nothing where there are none.

    Parameters
    ----------
    title : str
        What they are; the number of lines is added.
    lines : sequence of str

    Returns
    -------
    str
    """
    if not lines:
        return ""
    return f"<details><summary>{title}: {len(lines)}</summary>{html_lines(lines)}</details>"


@cache
def _sheet() -> str:
    """The packaged style sheet on one line."""
    return " ".join(resources.files("stubsi.show").joinpath("notebook.css").read_text(encoding="utf-8").split())
