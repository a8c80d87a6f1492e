"""Owns the tables of what dominates the spread and of what to ask the fabricator for, as text, CSV and HTML."""

from __future__ import annotations

import math
from itertools import groupby
from typing import TYPE_CHECKING

from stubsi.show.tables import Column, as_csv, as_html, as_text
from stubsi.show.text_lines import CAUTION, wrapped

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stubsi.tolerance.asks import Ask
    from stubsi.tolerance.dominance import Dominance, NetDominance

WIDTH = 110
"""Characters in a line of text."""
MOST_CAUSES = 3
"""Tolerances named for each net."""
LEAST_SHARE = 0.005
"""Smaller shares are not named."""


def _share(value: float) -> str:
    return "unknown" if math.isnan(value) else f"{100 * value:.4g}"


def _causes(row: NetDominance) -> str:
    if any(math.isnan(share) for share in row.total.values()):
        return "not known, or infinite on some boards"
    order = sorted(row.total, key=lambda name: -row.total[name])[:MOST_CAUSES]
    named = [f"{name} {row.total[name]:.2f}" for name in order if row.total[name] >= LEAST_SHARE]
    return ", ".join(named) or "nothing varies"


def _told(asks: Sequence[Ask]) -> tuple[list[Ask], list[str]]:
    """Asks that change something, for each net the one that lifts the yield most first; and the others in words."""
    rows, words = [], []
    for net, of_net in groupby(asks, key=lambda ask: ask.net):
        every = sorted(of_net, key=lambda ask: -ask.lift)
        rows += [ask for ask in every if ask.changes]
        still = [ask.tolerance for ask in every if not ask.changes]
        if still:
            words.append(f"Changes nothing for {net or 'the board'} if narrower: {', '.join(still)}.")
    return rows, words


_ASKS: tuple[Column[Ask], ...] = (
    Column("net", lambda ask: ask.net or "(board)"),
    Column("tolerance", lambda ask: ask.tolerance, elastic=True),
    Column("limits", lambda ask: ask.limits),
    Column("yield", lambda ask: _share(ask.now), unit="%", align="right"),
    Column("if halved", lambda ask: _share(ask.halved), unit="%", align="right"),
    Column("if exact", lambda ask: _share(ask.exact), unit="%", align="right"),
    Column("wanted yield", lambda ask: ask.turns_at or str(ask.turn)),
)
_EFFECTS: tuple[Column[NetDominance], ...] = (
    Column("net", lambda row: row.net or "(board)"),
    Column("total effects, largest first", _causes),
    Column("error", lambda row: "" if math.isnan(row.error) else f"{row.error:.1g}", align="right"),
)


def _head(found: Dominance) -> list[str]:
    asked = f"What to ask the fabricator for: yields wanted {100 * found.wanted:g} %, one tolerance narrowed at a time."
    if found.plan is None:
        return [asked]
    return [asked, "After drilling; the yield of the board is that of the nets that drilling can mend."]


def _foot(found: Dominance) -> list[str]:
    bound = "The effects leave out that boards out of the bound on thickness are screened out."
    return [
        *([bound] if found.bound_left_out else []),
        *str(found.tolerances).splitlines(),
        "Fabrication only: how far off the model may be comes on top.",
        CAUTION,
    ]


def dominance_text(found: Dominance) -> str:
    """Both tables as plain text.

    Parameters
    ----------
    found : Dominance

    Returns
    -------
    str
    """
    rows, words = _told(found.asks)
    asks = as_text(_ASKS, rows, WIDTH, head=_head(found), foot=wrapped(words, WIDTH, hang=2))
    if not rows:
        asks = "\n".join([*_head(found), *wrapped(words, WIDTH, hang=2)])
    columns = [column for column in _EFFECTS if column.cell is not _causes]
    effects = as_text(
        columns, (found.of_board, *found.nets), WIDTH, head=["Total effects on the spread, the largest first:"],
        foot=wrapped(_foot(found), WIDTH, hang=2), below=lambda row: wrapped([_causes(row)], WIDTH, indent=4),
    )  # fmt: skip
    return f"{asks}\n\n{effects}"


def dominance_csv(found: Dominance) -> str:
    """What to ask for as CSV, every row.

    Parameters
    ----------
    found : Dominance

    Returns
    -------
    str
    """
    return as_csv(_ASKS, found.asks, comments=[*_head(found), *_foot(found)])


def dominance_html(found: Dominance) -> str:
    """Both tables as HTML for a notebook.

    Parameters
    ----------
    found : Dominance

    Returns
    -------
    str
    """
    rows, words = _told(found.asks)
    effects = as_html(_EFFECTS, (found.of_board, *found.nets), head=["What dominates the spread"], foot=_foot(found))
    return as_html(_ASKS, rows, head=_head(found), foot=words) + effects
