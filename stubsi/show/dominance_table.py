"""Owns the tables of what dominates the spread and of what to ask the fabricator for, as text, CSV and HTML."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stubsi.show.tables import Column, as_csv, as_html, as_text

if TYPE_CHECKING:
    from stubsi.tolerance.dominance import Ask, Dominance, NetDominance

MOST_CAUSES = 3
"""Tolerances named for each net."""
LEAST_SHARE = 0.005
"""Smaller shares are not named."""


def _share(value: float) -> str:
    return "unknown" if math.isnan(value) else f"{100 * value:.4g}"


def _causes(row: NetDominance) -> str:
    if any(math.isnan(share) for share in row.total.values()):
        return "unknown"
    order = sorted(row.total, key=lambda name: -row.total[name])[:MOST_CAUSES]
    named = [f"{name} {row.total[name]:.2f}" for name in order if row.total[name] >= LEAST_SHARE]
    return ", ".join(named) or "nothing varies"


_ASKS: tuple[Column[Ask], ...] = (
    Column("net", lambda row: row.net or "(board)"),
    Column("tolerance", lambda row: row.tolerance, elastic=True),
    Column("limits", lambda row: row.limits),
    Column("yield", lambda row: _share(row.now), unit="%", align="right"),
    Column("if halved", lambda row: _share(row.halved), unit="%", align="right"),
    Column("if exact", lambda row: _share(row.exact), unit="%", align="right"),
    Column("wanted yield", lambda row: row.turns_at or str(row.turn)),
)
_EFFECTS: tuple[Column[NetDominance], ...] = (
    Column("net", lambda row: row.net or "(board)"),
    Column("total effects, largest first", _causes, elastic=True),
    Column("error", lambda row: "" if math.isnan(row.error) else f"{row.error:.1g}", align="right"),
)


def _head(found: Dominance) -> list[str]:
    return [
        f"What to ask the fabricator for: yields wanted {100 * found.wanted:g} %, one tolerance narrowed at a time."
    ]


def _foot(found: Dominance) -> list[str]:
    bound = "The effects leave out that boards out of the bound on thickness are screened out."
    return [
        *([bound] if found.bound_left_out else []),
        *str(found.tolerances).splitlines(),
        "Fabrication only: how far off the model may be comes on top.",
        "Estimates: confirm with the fabricator, by measurement or field solution, under local codes and licensed",
        "  practice.",
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
    asks = as_text(_ASKS, found.asks, head=_head(found))
    effects = as_text(_EFFECTS, (found.of_board, *found.nets), foot=_foot(found))
    return f"{asks}\n\n{effects}"


def dominance_csv(found: Dominance) -> str:
    """What to ask for as CSV.

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
    effects = as_html(_EFFECTS, (found.of_board, *found.nets), head=["What dominates the spread", *_foot(found)])
    return as_html(_ASKS, found.asks, head=_head(found)) + effects
