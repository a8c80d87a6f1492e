"""Owns the report of a board: one HTML file with the decision, every net, the pictures, the plan and its grounds."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from stubsi.board.names import how_many
from stubsi.checks import checked
from stubsi.drilling.plan import Plan
from stubsi.errors import StubsiError
from stubsi.files.opened_file import file_path
from stubsi.files.written_file import write_file
from stubsi.margin.ranking import Ranking
from stubsi.report.decision import plan_decision, ranking_decision
from stubsi.report.for_fabricator import for_fabricator
from stubsi.report.net_table import change_table, ranking_table
from stubsi.report.page import Section, escaped, folded, listed, page, picture, scrolled
from stubsi.report.pictures import plan_pictures, ranking_pictures
from stubsi.show.drilled_tables import drilled_html
from stubsi.show.html import stackup_html
from stubsi.show.margin_table import preamble as about_ranking
from stubsi.show.schedule import remarks, schedule_html
from stubsi.show.text_lines import CAUTION
from stubsi.show.tolerance_plot import plot_tolerance_bands
from stubsi.show.tolerance_table import corners_html, yield_html
from stubsi.tolerance.corners import Corners
from stubsi.tolerance.drilled_yield import DrilledYield
from stubsi.tolerance.production_yield import ProductionYield
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    import os
    from collections.abc import Iterable
    from pathlib import Path


def write_report(
    what: Plan | Ranking,
    path: str | os.PathLike[str],
    *,
    tolerances: Corners | ProductionYield | DrilledYield | None = None,
    replace: bool = False,
) -> Path:
    """Write a report of a board to one HTML file, to be read in any browser without a network.

    On top stands the decision: what to drill, what drilling cannot mend, what is undecided and which answers decide it.
    Below it: every net with its margin, in a table that can be sorted and filtered; the pictures; of a plan, the
    drilling, what the hand-off lacks, the coupons and the list of holes; tolerances where they are given; the stackup,
    the criteria with their sources, the models with their errors. The file is written whole or not at all.

    Parameters
    ----------
    what : Plan or Ranking
        What is reported. A ranking has no drilling in its report.
    path : path
        The file. Its folder must exist.
    tolerances : Corners, ProductionYield or DrilledYield, optional
        How sure it is when boards are built, of the same board; the last of the same plan. With the corners of a
        ranking its verdicts are those over the tolerances.
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
    if tolerances is not None and not isinstance(tolerances, Corners | ProductionYield | DrilledYield):
        raise StubsiError(
            f"tolerances = {as_shown(tolerances)}: must be a Corners, a ProductionYield or, of a plan, a DrilledYield."
        )
    if isinstance(tolerances, DrilledYield):
        if tolerances.plan != what:
            raise StubsiError("tolerances: are of another plan than the one reported.")
    elif tolerances is not None and tolerances.board != what.board:
        raise StubsiError("tolerances: are of another board than the one reported.")
    if isinstance(tolerances, Corners) and what == tolerances.ranking.as_drawn:
        what = tolerances.ranking
    checked(replace, "replace", bool)
    file_path(path)  # what is no path is refused before anything is drawn
    return write_file(path, _report(what, tolerances), replace=replace)


def _report(what: Plan | Ranking, tolerances: Corners | ProductionYield | DrilledYield | None) -> str:
    """The page."""
    ranking = what.limits.ranking if isinstance(what, Plan) else what
    board = what.board
    if isinstance(what, Plan):
        sections = _plan_sections(what)
        foot = [f"Plan digest: {what.digest}. It changes with every input that the plan depends on."]
    else:
        sections = [
            Section("decision", "What there is to decide", ranking_decision(what)),
            Section("margins", "Every net and its margin", ranking_table(what)),
            Section("pictures", "Pictures", ranking_pictures(what)),
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
        Section("decision", "What there is to decide", plan_decision(plan, consequences)),
        Section("margins", "Every net and its margin", change_table(consequences)),
        Section("pictures", "Pictures", plan_pictures(plan, consequences)),
        Section("drilling", "The drilling", _drilling(plan)),
        Section("fabricator", "Hand-off to the fabricator", for_fabricator(plan)),
    ]


def _drilling(plan: Plan) -> str:
    lines = remarks(plan)
    more = folded(f"Remarks: {len(lines)}", listed(lines)) if lines else ""
    if not plan.groups:
        return "".join(f"<p>{escaped(line)}</p>" for line in plan.summary().splitlines()) + more
    return scrolled("Drill schedule", schedule_html(plan, most_remarks=0)) + more


def _tolerances(tolerances: Corners | ProductionYield | DrilledYield) -> str:
    if isinstance(tolerances, DrilledYield):
        return scrolled("Nets after drilling, over their tolerances", drilled_html(tolerances))
    bands = picture(
        "Tolerance bands of the nets",
        "Margin over limit of every net over its tolerances; left of the line the criterion is missed.",
        lambda: plot_tolerance_bands(tolerances),
    )
    table = corners_html(tolerances) if isinstance(tolerances, Corners) else yield_html(tolerances)
    return bands + scrolled("Nets over their tolerances", table) + listed(str(tolerances.tolerances).splitlines())


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
