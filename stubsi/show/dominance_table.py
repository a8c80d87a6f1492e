"""Owns the tables of what dominates the spread and of what to ask the fabricator for, as text, CSV and HTML."""

from __future__ import annotations

import math
from itertools import groupby
from typing import TYPE_CHECKING, NamedTuple

from stubsi.show.tables import Column, as_csv, as_html, as_text
from stubsi.tolerance.dominance import LEAST_LIFT

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from stubsi.tolerance.dominance import Ask, Dominance, NetDominance

MOST_CAUSES = 3
"""Tolerances named for each net."""
CHANGES_NOTHING = "a narrower one changes nothing"
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


class _Row(NamedTuple):
    """A row of the table of what to ask for: one tolerance, or all that change nothing."""

    ask: Ask
    tolerance: str
    changes: bool


def _rows(asks: Sequence[Ask]) -> list[_Row]:
    """Rows of the asks, those of a net that change nothing in one."""
    rows = []
    for _, of_net in groupby(asks, key=lambda ask: ask.net):
        every = list(of_net)
        still = [ask for ask in every if not max(ask.halved - ask.now, ask.exact - ask.now) >= LEAST_LIFT]
        rows += [_Row(ask, ask.tolerance, True) for ask in every if ask not in still]
        if still:
            rows.append(_Row(still[0], ", ".join(ask.tolerance for ask in still), len(still) == 1))
    return rows


def _if(value: Callable[[Ask], str]) -> Callable[[_Row], str]:
    """A cell that is empty where a row stands for several tolerances."""
    return lambda row: value(row.ask) if row.changes else ""


_ASKS: tuple[Column[_Row], ...] = (
    Column("net", lambda row: row.ask.net or "(board)"),
    Column("tolerance", lambda row: row.tolerance, elastic=True),
    Column("limits", _if(lambda ask: ask.limits)),
    Column("yield", lambda row: _share(row.ask.now), unit="%", align="right"),
    Column("if halved", _if(lambda ask: _share(ask.halved)), unit="%", align="right"),
    Column("if exact", _if(lambda ask: _share(ask.exact)), unit="%", align="right"),
    Column("wanted yield", lambda row: (row.ask.turns_at or str(row.ask.turn)) if row.changes else CHANGES_NOTHING),
)
_CSV: tuple[Column[Ask], ...] = (
    Column("net", lambda ask: ask.net or "(board)"),
    Column("tolerance", lambda ask: ask.tolerance),
    Column("limits", lambda ask: ask.limits),
    Column("yield", lambda ask: _share(ask.now), unit="%"),
    Column("if halved", lambda ask: _share(ask.halved), unit="%"),
    Column("if exact", lambda ask: _share(ask.exact), unit="%"),
    Column("wanted yield", lambda ask: ask.turns_at or str(ask.turn)),
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
    asks = as_text(_ASKS, _rows(found.asks), head=_head(found))
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
    return as_csv(_CSV, found.asks, comments=[*_head(found), *_foot(found)])


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
    return as_html(_ASKS, _rows(found.asks), head=_head(found)) + effects
