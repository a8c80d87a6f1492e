"""Owns the report of a board: one HTML file with the decision, every net, the pictures, the plan and its grounds."""

from __future__ import annotations

import textwrap
from collections import Counter
from typing import TYPE_CHECKING

from stubsi.board.names import how_many
from stubsi.checks import checked
from stubsi.drilling.drill_group import misses_by_net, refusals_by_net
from stubsi.drilling.plan import Plan
from stubsi.errors import StubsiError
from stubsi.files.opened_file import file_path
from stubsi.files.written_file import write_file
from stubsi.margin.ranking import Ranking
from stubsi.margin.verdict import Verdict
from stubsi.show.board_map import plot_board_map
from stubsi.show.change_plot import plot_margin_changes
from stubsi.show.html import questions_html, stackup_html
from stubsi.show.loss_plot import plot_net_loss
from stubsi.show.margin_plot import plot_margins
from stubsi.show.margin_table import preamble as about_ranking
from stubsi.show.parts_html import rules_html
from stubsi.show.report_nets import LONG, change_table, ranking_table
from stubsi.show.report_page import Section, escaped, folded, listed, page, picture, scrolled
from stubsi.show.schedule import holes_html, remarks, schedule_html
from stubsi.show.section import plot_section
from stubsi.show.text_lines import CAUTION
from stubsi.show.tolerance_plot import plot_tolerance_bands
from stubsi.show.tolerance_table import corners_html, yield_html
from stubsi.tolerance.corners import Corners
from stubsi.tolerance.production_yield import ProductionYield
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    import os
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from stubsi.drilling.consequences import Consequences
    from stubsi.drilling.drill_group import Group

MOST_LINES = 8
"""Lines of a list that stand open; a reader unfolds the others."""


def write_report(
    what: Plan | Ranking,
    path: str | os.PathLike[str],
    *,
    tolerances: Corners | ProductionYield | None = None,
    replace: bool = False,
) -> Path:
    """Write a report of a board to one HTML file, to be read in any browser without a network.

    On top stands the decision: what to drill, what drilling cannot mend, what is undecided and which answers decide it.
    Below it: every net with its margin, in a table that can be sorted and filtered; the pictures; of a plan, the
    drilling and the list of holes; tolerances where they are given; the stackup, the criteria with their sources, the
    models with their errors. The file is written whole or not at all.

    Parameters
    ----------
    what : Plan or Ranking
        What is reported. A ranking has no drilling in its report.
    path : path
        The file. Its folder must exist.
    tolerances : Corners or ProductionYield, optional
        How sure it is when boards are built, of the same board.
    replace : bool
        Whether a file of that name may be replaced.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    StubsiError
        Neither plan nor ranking; tolerances of another kind or of another board; matplotlib is missing.
    FileError
        The path is none, the file exists and may not be replaced, or it cannot be written.
    """
    if not isinstance(what, Plan | Ranking):
        raise StubsiError(f"what = {as_shown(what)}: must be a Plan or a Ranking.")
    if tolerances is not None and not isinstance(tolerances, Corners | ProductionYield):
        raise StubsiError(f"tolerances = {as_shown(tolerances)}: must be a Corners or a ProductionYield.")
    if tolerances is not None and tolerances.board != what.board:
        raise StubsiError("tolerances: are of another board than the one reported.")
    checked(replace, "replace", bool)
    file_path(path)  # what is no path is refused before anything is drawn
    return write_file(path, _report(what, tolerances), replace=replace)


def _report(what: Plan | Ranking, tolerances: Corners | ProductionYield | None) -> str:
    """The page."""
    ranking = what.limits.ranking if isinstance(what, Plan) else what
    board = what.board
    if isinstance(what, Plan):
        sections = _plan_sections(what)
        foot = [f"Plan digest: {what.digest}. It changes with every input that the plan depends on."]
    else:
        sections = [
            Section("decision", "What there is to decide", _ranking_decision(what)),
            Section("margins", "Every net and its margin", ranking_table(what)),
            Section("pictures", "Pictures", _ranking_pictures(what)),
        ]
        foot = []
    if tolerances is not None:
        sections.append(Section("tolerances", "When boards are built", _tolerances(tolerances)))
    sections.append(Section("grounds", "What the figures rest on", _grounds(ranking)))
    holes = sum(len(net.holes) for net in board.nets)
    below = [f"{how_many(len(board.signal_nets), 'signal net')}, {how_many(holes, 'plated hole')}. {CAUTION}"]
    return page(f"Via stubs of {board.name or 'a board'}", below, sections, [*foot, CAUTION])


def _plan_sections(plan: Plan) -> list[Section]:
    consequences = plan.consequences()
    return [
        Section("decision", "What there is to decide", _plan_decision(plan, consequences)),
        Section("margins", "Every net and its margin", change_table(consequences)),
        Section("pictures", "Pictures", _plan_pictures(plan, consequences)),
        Section("drilling", "The drilling", _drilling(plan)),
        Section("fabricator", "For the fabricator", _for_fabricator(plan)),
    ]


def _block(title: str, lines: Sequence[str], otherwise: str, kind: str = "") -> str:
    """One of the answers on top: its lines, the first ones open; a sentence where there are none."""
    more = folded(f"{len(lines) - MOST_LINES} more", listed(lines[MOST_LINES:])) if len(lines) > MOST_LINES else ""
    body = listed(lines[:MOST_LINES]) + more if lines else f"<p>{escaped(otherwise)}</p>"
    return f'<div class="{kind}"><h3>{escaped(title)}</h3>{body}</div>'


def _begin(why: str) -> str:
    """How a reason begins; the table of nets has all of it."""
    return textwrap.shorten(why, LONG, placeholder=" …") if why else ""


def _group_line(group: Group) -> str:
    depth = " to ".join(dict.fromkeys(f"{1e3 * each:.3f}" for each in group.depth_si))
    return (
        f"Group {group.number}: {how_many(len(group.hits), 'hole')} of {how_many(len(group.nets), 'net')} from the "
        f"{group.side}, {depth} mm deep with a drill of {1e3 * group.drill_si:g} mm; must not cut {group.layer}; "
        f"{1e3 * group.left.least_si:.3f} to {1e3 * group.left.most_si:.3f} mm of stub left"
    )


def _plan_decision(plan: Plan, consequences: Consequences) -> str:
    failing = [f"{net.net}: {_begin(net.why) or 'falls short'}" for net in consequences.still_failing]
    asked = [f"Ask for {question.unknown}: {question.verdicts} verdicts can change" for question in plan.questions()]
    open_ = [f"{net}: {why}" for net, why in plan.undecided.items()]
    counts = "".join(f"<p>{escaped(line)}</p>" for line in consequences.summary().splitlines())
    blocks = [
        _block("To drill", [_group_line(group) for group in plan.groups], "Nothing is to be drilled.", "first"),
        _block("What this drilling does not mend", failing, "Every net that is judged meets its criterion."),
        _block("Open, and what would decide it", [*open_, *asked], "Nothing is undecided."),
    ]
    return f'{counts}<div class="decisions">{"".join(blocks)}</div>'


def _ranking_decision(ranking: Ranking) -> str:
    def reasons(*verdicts: Verdict) -> list[str]:
        return [f"{row.net}: {_begin(row.reason)}" for row in ranking if row.verdict in verdicts]

    tally = Counter(row.verdict for row in ranking)
    counts = ", ".join(f"{count} {verdict}" for verdict, count in tally.most_common())
    blocks = [
        _block("Deserves drilling", reasons(Verdict.DRILL), "No net falls short that drilling can mend.", "first"),
        _block("What drilling cannot mend", reasons(Verdict.CANNOT_HELP), "There is no such net."),
        _block(
            "Undecided, or close to the limit", reasons(Verdict.UNDECIDED, Verdict.MARGINAL), "There is no such net."
        ),
    ]
    return f'<p>{escaped(counts)}</p><div class="decisions">{"".join(blocks)}</div>'


def _plan_pictures(plan: Plan, consequences: Consequences) -> str:
    drawn = [
        picture(
            "Margins before and after drilling",
            "A tick is the margin as drawn, a mark that after drilling at worst tolerance; the line is the limit.",
            lambda: plot_margin_changes(consequences),
        ),
        picture(
            "Board in section, one hole of every drill group",
            "The blue layer must not be cut. The plating ends within the hatched band.",
            lambda: plot_section(plan),
        ),
        picture(
            "Board from the top, holes by drill group",
            "An open mark is a hole that misses its budget although it is drilled.",
            lambda: plot_board_map(plan),
        ),
    ]
    drilled = {hit.net for hit in plan.hits}
    worst = next((row.net for row in plan.limits.ranking if row.net in drilled), None)
    if worst is not None:
        drawn.append(
            picture(
                f"Insertion loss of net {worst} before and after drilling",
                "Of the nets that are drilled, the one that stands worst as drawn.",
                lambda: plot_net_loss(plan, worst),
            )
        )
    return "".join(drawn)


def _ranking_pictures(ranking: Ranking) -> str:
    return picture(
        "Margins of the nets",
        "The bar spans what the margin may be, with the model as far off as it may be; the line is the limit.",
        lambda: plot_margins(ranking),
    ) + picture(
        "Board from the top, holes by verdict",
        "Every signal hole has the mark of the verdict of its net.",
        lambda: plot_board_map(ranking),
    )


def _drilling(plan: Plan) -> str:
    lines = remarks(plan)
    more = folded(f"Remarks: {len(lines)}", listed(lines)) if lines else ""
    return scrolled("Drill schedule", schedule_html(plan, most_remarks=0)) + more


def _for_fabricator(plan: Plan) -> str:
    why = [*refusals_by_net(plan.refused), *misses_by_net(plan.hits)]
    notes = listed([f"{net}: {text}" for net, text in why])
    parts = [
        scrolled("Rules of the fabricator", rules_html(plan.rules)),
        folded(f"Every hole that is drilled: {len(plan.hits)}", scrolled("Holes that are drilled", holes_html(plan))),
    ]
    if notes:
        parts.append(folded(f"Stubs refused or longer than their budget: {len(why)}", notes))
    if plan.questions():
        parts.append(scrolled("What to ask the fabricator", questions_html(plan.questions())))
    return "".join(parts)


def _tolerances(tolerances: Corners | ProductionYield) -> str:
    bands = picture(
        "Tolerance bands of the nets",
        "Margin over limit of every net over its tolerances; left of the line the criterion is missed.",
        lambda: plot_tolerance_bands(tolerances),
    )
    table = corners_html(tolerances) if isinstance(tolerances, Corners) else yield_html(tolerances)
    return bands + scrolled("Nets over their tolerances", table) + listed([str(tolerances.tolerances)])


def _grounds(ranking: Ranking) -> str:
    assumed = Counter(row.assumptions for row in ranking if row.assumptions)
    assumptions = [f"{text} ({how_many(count, 'net')})" for text, count in assumed.most_common()]
    return (
        "<h3>Criteria, models and their errors</h3>"
        + listed(_without_repeats(about_ranking(ranking)))
        + folded("Assumptions of the models", listed(assumptions) or "<p>None.</p>")
        + folded("Stackup", scrolled("Stackup", stackup_html(ranking.board.stackup)))
    )


def _without_repeats(lines: Iterable[str]) -> list[str]:
    return [line for line in dict.fromkeys(lines) if line != CAUTION]
