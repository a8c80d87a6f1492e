"""Owns the margin table of a ranking: its columns, the lines above it, and its forms as text, CSV, Markdown, HTML."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING

from stubsi.board.names import how_many
from stubsi.margin.net_margin import COLUMNS, table_number, table_value
from stubsi.margin.net_rows import NO_RULE
from stubsi.margin.verdict import Verdict, against_limit
from stubsi.provenance import HARDWARE_ERROR, against_hardware
from stubsi.show.notebook import folded_lines, framed
from stubsi.show.tables import Column, as_csv, as_html, as_markdown, as_text, pairs_html
from stubsi.show.text_lines import CAUTION, checked_width, wrapped

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import SupportsIndex

    from stubsi.margin.net_margin import NetMargin
    from stubsi.margin.ranking import Ranking

LOSS_NOTE = "Loss: of a net's holes at Nyquist, summed, interaction between them ignored; a hole has both its stubs."

WEAKER = "~"
"""Stands behind a notch that is not solved from the geometry."""
WEAKER_NOTE = f"{WEAKER} behind a notch: not solved from the geometry, but a uniform line; its provenance says why."

BOTH_STUBS = "*"
"""Stands behind a judged figure that both stubs of one hole make together."""
BOTH_STUBS_NOTE = f"{BOTH_STUBS} behind a judged figure: of both stubs of one hole, with the barrel between them."

MOST_RANGES = 8
"""So many reasons for a range are listed above a table."""

WITH_FIGURE = 80
"""From this width on the judged figure and its limit are never left out."""
LEAST_WIDTH = 60
"""Least width of the text table. The columns that are never left out fit, with a shortened net name."""


NUMBERS = (
    "nyquist",
    "stub_length",
    "first_notch",
    "first_notch_to",
    "margin",
    "one_db",
    "one_db_to",
    "loss",
    "return_loss",
)
"""The fields of a net that hold numbers; their columns are aligned at the right."""

FOLDED = frozenset(
    {"one_db_to", "loss", "return_loss", "nyquist", "hole", "side", "leg", "criterion", "model", "model_error",
     "assumptions"}
)  # fmt: skip
"""The fields of a net that a notebook folds: what the figures rest on, and where exactly they are."""


def figures(digits: int, *values: float | None) -> str:
    """Number as text; a range where the values differ, '>12' where it has no upper end; empty where there is none.

    Parameters
    ----------
    digits : int
        Behind the point.
    *values : float or None

    Returns
    -------
    str
    """
    known = [value for value in values if value is not None]
    if len(known) > 1 and math.isinf(known[-1]):
        return f">{known[0]:.{digits}f}"
    return "-".join(dict.fromkeys([f"{value:.{digits}f}" for value in known]))


def _nyquist(row: NetMargin) -> str:
    """Nyquist frequency [GHz] to two decimals; below 10 MHz to two digits, so that no signal shows as 0.00 GHz."""
    nyquist = row.nyquist_si / 1e9
    return figures(2, nyquist) if nyquist >= 0.01 else f"{nyquist:.2g}"


def _numbers(digits: int, row: NetMargin, *names: str) -> str:
    """Figures of a net in the units of the table, as ``figures`` writes them."""
    return figures(digits, *(table_number(row, name) for name in names))


def _notch(row: NetMargin) -> str:
    """First notch [GHz], with a mark where it stands on a weaker model than wanted."""
    notch = _numbers(2, row, "first_notch", "first_notch_to")
    return f"{notch}{WEAKER}" if notch and _is_weaker(row) else notch


def _margin(row: NetMargin) -> str:
    """First notch over Nyquist to two decimals; from 1000 on without decimals."""
    return figures(2 if row.margin is None or row.margin < 1000 else 0, row.margin)


def _judged(row: NetMargin) -> str:
    """The figure that decided, with its limit."""
    figure = row.why.figure
    shown = "" if figure is None else against_limit(figure.criterion, figure.low)
    return f"{shown} {BOTH_STUBS}" if shown and row.why.two_stubs else shown


_JUDGED: Column[NetMargin] = Column("judged", _judged, align="right", priority=8)

TEXT_COLUMNS: tuple[Column[NetMargin], ...] = (
    Column("net", lambda row: row.net, elastic=True),
    Column("signal", lambda row: row.signal, priority=5),
    Column("Nyquist", _nyquist, unit="GHz", align="right", priority=6),
    Column("hole", lambda row: row.hole, priority=4),
    Column("side", lambda row: row.side, priority=3),
    Column("stub", lambda row: _numbers(3, row, "stub_length"), unit="mm", align="right", priority=7),
    Column("notch", _notch, unit="GHz", align="right"),
    Column("margin", _margin, unit="x Nyq", align="right"),
    _JUDGED,
    Column("1 dB", lambda row: _numbers(2, row, "one_db", "one_db_to"), unit="GHz", align="right", priority=2),
    Column("loss", lambda row: figures(2, row.loss), unit="dB", align="right", priority=2),
    Column("return", lambda row: figures(1, row.return_loss), unit="dB", align="right", priority=1),
    Column("verdict", lambda row: row.verdict),
    Column("model", lambda row: row.model, priority=0),
)
"""Columns of the text table: few figures, short titles."""


def row_html(row: NetMargin) -> str:
    """One net of a ranking: every column with its value.

    Parameters
    ----------
    row : NetMargin

    Returns
    -------
    str
    """
    return pairs_html((column.heading, column.cell(row)) for column in _every_column("{:.4g}".format))


def _every_column(number: Callable[[float], str]) -> list[Column[NetMargin]]:
    """A column for every field of a net, numbers written by ``number``."""
    return [_field_column(name, title, number) for name, title in COLUMNS.items()]


def _field_column(name: str, title: str, number: Callable[[float], str]) -> Column[NetMargin]:
    def cell(row: NetMargin) -> str:
        value = table_value(row, name)
        if value is None:
            return ""
        return value if isinstance(value, str) else number(value)

    return Column(title, cell, align="right" if name in NUMBERS else "left", folded=name in FOLDED)


def preamble(ranking: Ranking) -> list[str]:
    """Lines that stand above every table: criteria with their source, models, number of each verdict, caution.

    Parameters
    ----------
    ranking : Ranking

    Returns
    -------
    list of str
    """
    models = dict.fromkeys((row.model, row.model_error) for row in ranking if row.model)
    return [
        *(f"Criterion: {criterion}" for criterion in ranking.criteria),
        *(f"No net is judged by: {criterion}" for criterion in ranking.idle_criteria),
        *_outside_scope(ranking),
        *(f"Model: {model} ({error})" for model, error in models),
        *([WEAKER_NOTE] if any(map(_is_weaker, ranking)) else []),
        *([BOTH_STUBS_NOTE] if any(row.why.two_stubs for row in ranking) else []),
        *_why_ranges(ranking),
        *_against_hardware(ranking),
        f"{how_many(len(ranking), 'net')}: {_tally(ranking)}",
        LOSS_NOTE,
        CAUTION,
    ]


def _against_hardware(ranking: Ranking) -> list[str]:
    """How far a board as built may be from these figures, and what that does to the verdicts."""
    if ranking.built is None:
        unsure = f"so a net within {100 * HARDWARE_ERROR:g} % of its limit is marginal"
        return [f"Against hardware: {against_hardware()}, {unsure}."]
    tolerances = str(ranking.built.tolerances).splitlines()
    said = against_hardware(ranking.built.notch_change)
    kept = f" The flat {100 * HARDWARE_ERROR:g} % stay on top, because Dk and thickness have no tolerance."
    more = "" if ranking.built.tolerances.of_laminate else kept
    return [f"Against hardware: {said}. A net passes if it does at the worst of both.{more}", *tolerances]


def _tally(ranking: Ranking) -> str:
    """How many nets have each verdict."""
    tally = Counter(row.verdict for row in ranking)
    return ", ".join(f"{count} {verdict}" for verdict, count in tally.most_common())


def _outside_scope(ranking: Ranking) -> list[str]:
    """A line for every criterion whose source does not cover all signals it is used for."""
    outside: dict[tuple[str, str], list[str]] = {}
    for row in ranking:
        if row.why.scope:
            outside.setdefault((row.criterion, row.why.scope), []).append(row.net)
    return [
        f"Outside its scope: {criterion}: {scope}; used here for {how_many(len(nets), 'other net')}, {nets[0]} first"
        for (criterion, scope), nets in outside.items()
    ]


def _why_ranges(ranking: Ranking) -> list[str]:
    """A line for everything that makes the notch of some nets a range."""
    why: dict[str, list[str]] = {}
    for row in ranking:
        if row.provenance is not None and row.first_notch_si != row.first_notch_to_si:
            for text in row.provenance.open_inputs or (NO_RULE,):
                why.setdefault(text, []).append(row.net)
    lines = [f"Range of the notch: {text} ({how_many(len(of), 'net')}, {of[0]} first)" for text, of in why.items()]
    more = len(lines) - MOST_RANGES
    return lines if more <= 0 else [*lines[:MOST_RANGES], f"Range of the notch: and {how_many(more, 'more reason')}"]


def _is_weaker(row: NetMargin) -> bool:
    """Whether a net stands on a uniform line although solved stubs were wanted."""
    return row.provenance is not None and row.provenance.not_solved is not None


def text_table(ranking: Ranking, width: SupportsIndex) -> str:
    """Plain-text table; the reason stands below each net that does not simply pass.

    Parameters
    ----------
    ranking : Ranking
    width : int
        Characters in a line, ``LEAST_WIDTH`` to 10000.

    Returns
    -------
    str

    Raises
    ------
    StubsiError
        A width that is no whole number in that range.
    """
    room = checked_width(width, LEAST_WIDTH)

    def reason(row: NetMargin) -> list[str]:
        return [] if row.verdict == Verdict.PASS else wrapped([row.reason], room, indent=4)

    head = [*wrapped(preamble(ranking), room, hang=2), ""]
    always = replace(_JUDGED, priority=None if room >= WITH_FIGURE else _JUDGED.priority)
    columns = [always if column is _JUDGED else column for column in TEXT_COLUMNS]
    return as_text(columns, list(ranking), room, head=head, below=reason)


def csv_table(ranking: Ranking) -> str:
    """CSV with every column in full, behind comment lines.

    Parameters
    ----------
    ranking : Ranking

    Returns
    -------
    str
    """
    return as_csv(_every_column(str), ranking, comments=preamble(ranking))


def markdown_table(ranking: Ranking) -> str:
    """Markdown table with every column, numbers to four digits.

    Parameters
    ----------
    ranking : Ranking

    Returns
    -------
    str
    """
    return as_markdown(_every_column("{:.4g}".format), ranking, head=preamble(ranking))


def html_table(ranking: Ranking) -> str:
    """HTML for a notebook with every column, numbers to four digits; what decides is open, the rest is folded.

    Parameters
    ----------
    ranking : Ranking

    Returns
    -------
    str
    """
    counts = f"{how_many(len(ranking), 'net')}: {_tally(ranking)}"
    grounds = [line for line in preamble(ranking) if line not in (counts, CAUTION)]
    table = as_html(_every_column("{:.4g}".format), list(ranking), head=[counts], foot=[CAUTION])
    return framed(table + folded_lines("Criteria, models and notes", grounds))
