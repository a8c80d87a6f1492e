"""Owns the hand-off: drill schedule and per-hole list as text, CSV and Markdown, each with the digest of its plan."""

from __future__ import annotations

from math import isfinite
from typing import TYPE_CHECKING

from stubsi.board.board import Board
from stubsi.checks import checked
from stubsi.drilling.budget_end import SENTENCES
from stubsi.drilling.digest import digest, parts_of
from stubsi.drilling.drill_group import misses_by_net, refusals_by_net
from stubsi.drilling.plan import Plan
from stubsi.drilling.rules import FabricatorRules
from stubsi.errors import StubsiError
from stubsi.show.notebook import folded_lines, framed
from stubsi.show.seal import is_unchanged, plan_digest_of, seal_line, sealed
from stubsi.show.tables import Column, as_csv, as_html, as_markdown, as_text
from stubsi.show.text_lines import CAUTION, checked_width, wrapped

if TYPE_CHECKING:
    from collections.abc import Iterable
    from typing import SupportsIndex

    from stubsi.drilling.drill_group import Group, Hit


def _mm(length: float | None) -> str:
    """Millimetres to the micron; empty where unknown or without limit."""
    if length is None or not isfinite(length):
        return ""
    return f"{round(length * 1e3, 3) + 0.0:.3f}"


def _depth(group: Group) -> str:
    """Nominal depth [mm]; a range where the tip is unknown."""
    return "-".join(dict.fromkeys(map(_mm, group.depth_si)))


def _start_layer(plan: Plan, group: Group) -> str:
    return plan.board.stackup.names[0 if group.side == "top" else -1]


def _schedule_columns(plan: Plan) -> list[Column[Group]]:
    """Columns of the drill schedule, a row per drill group."""
    shallower, deeper = map(_mm, plan.rules.tolerance.depth_limits_si)
    return [
        Column("group", lambda group: str(group.number), align="right"),
        Column("side", lambda group: group.side),
        Column("start layer", lambda group: _start_layer(plan, group), folded=True),
        Column("must-not-cut layer", lambda group: group.layer),
        Column("depth", _depth, unit="mm", align="right"),
        Column("shallower by at most", lambda _: shallower, unit="mm", align="right"),
        Column("deeper by at most", lambda _: deeper, unit="mm", align="right"),
        Column("residual stub, least", lambda group: _mm(group.left.least_si), unit="mm", align="right"),
        Column("residual stub, most", lambda group: _mm(group.left.most_si), unit="mm", align="right"),
        Column("primary drill", lambda group: _mm(group.primary_si), unit="mm", align="right", folded=True),
        Column("depth drill", lambda group: _mm(group.drill_si), unit="mm", align="right"),
        Column("holes", lambda group: str(len(group.hits)), align="right"),
        Column("nets", lambda group: ", ".join(group.nets)),
    ]


def _short_columns(plan: Plan) -> list[Column[Group]]:
    """Columns of the drill schedule as text: fewer, with short titles."""
    tolerance = "-{}/+{}".format(*map(_mm, plan.rules.tolerance.depth_limits_si))
    return [
        Column("group", lambda group: str(group.number)),
        Column("side", lambda group: group.side),
        Column("start", lambda group: _start_layer(plan, group)),
        Column("must not cut", lambda group: group.layer),
        Column("depth mm", _depth),
        Column("tolerance mm", lambda _: tolerance),
        Column("residual mm", lambda group: f"{_mm(group.left.least_si)} to {_mm(group.left.most_si)}"),
        Column("primary mm", lambda group: _mm(group.primary_si)),
        Column("drill mm", lambda group: _mm(group.drill_si)),
        Column("holes", lambda group: str(len(group.hits))),
    ]


def _missed_um(hit: Hit) -> str:
    """Length over the budget; empty where it is kept, or where a limit for a sum is missed."""
    return "" if hit.miss is None or hit.miss.over_si is None else f"{hit.miss.over_si * 1e6:.2f}"


def _missed_ghz(hit: Hit) -> str:
    """How far the first notch lies below that of the longest permitted stub; empty where the budget is kept."""
    return "" if hit.miss is None or hit.miss.short_si is None else f"{hit.miss.short_si * 1e-9:.3f}"


HOLE_COLUMNS: tuple[Column[tuple[Group, Hit]], ...] = (
    Column("hole", lambda row: row[1].hole.name),
    Column("net", lambda row: row[1].net),
    Column("x", lambda row: _mm(row[1].hole.x_si), unit="mm"),
    Column("y", lambda row: _mm(row[1].hole.y_si), unit="mm"),
    Column("side", lambda row: row[1].side),
    Column("group", lambda row: str(row[0].number)),
    Column("must-not-cut layer", lambda row: row[0].layer),
    Column("depth", lambda row: _depth(row[0]), unit="mm"),
    Column("primary drill", lambda row: _mm(row[0].primary_si), unit="mm"),
    Column("depth drill", lambda row: _mm(row[0].drill_si), unit="mm"),
    Column("last layer in use", lambda row: row[1].window.layer),
    Column("longest permitted stub", lambda row: _mm(row[1].window.longest_si), unit="mm"),
    Column("stub, least", lambda row: _mm(row[1].left.least_si), unit="mm"),
    Column("stub, nominal", lambda row: _mm(row[1].left.nominal_si), unit="mm"),
    Column("stub, most", lambda row: _mm(row[1].left.most_si), unit="mm"),
    Column("budget missed by", lambda row: _missed_um(row[1]), unit="um"),
    Column("first notch too low by", lambda row: _missed_ghz(row[1]), unit="GHz"),
)
"""Columns of the per-hole list, a row per hit with its group."""

MOST_HTML_REMARKS = 20
"""How many remarks a notebook shows at most."""


def preamble(plan: Plan) -> list[str]:
    """Lines above every export: datum, tolerance, rules, criteria, model, counts, proof, digests, caution.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    list of str
    """
    rules = plan.rules
    return [
        f"Depth is that of the {rules.depth_to} below the outer {rules.datum} surface of the drilled side "
        f"({rules.source_of('datum')}).",
        f"Tolerance: {rules.tolerance}.",
        "Shallower, deeper: tolerance of the depth. Residual stub: plating left beyond the must-not-cut layer, its "
        "copper excluded (IPC-6012), all tolerances inside.",
        f"Rules: {rules.in_one_line()}.",
        *(["Unknown rules: " + ", ".join(n.replace("_", " ") for n in rules.unknown)] if rules.unknown else []),
        SENTENCES[plan.budget_at],
        *(f"Criterion: {criterion}" for criterion in plan.limits.ranking.criteria),
        f"Model of the stubs: {plan.model}.",
        *plan.summary().splitlines(),
        seal_line(plan.digest),
        CAUTION,
    ]


def remarks(plan: Plan) -> list[str]:
    """Lines for the refused stubs, holes too near, and the nets that are drilled but still fail, or are not decided.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    list of str
    """
    lines = [f"refused: {net}: {what}" for net, what in refusals_by_net(plan.refused)]
    lines += [
        f"drilled as deep as the rules and the groups of other nets allow: {net}: {what}"
        for net, what in misses_by_net(plan.hits)
    ]
    beside_refused = sorted({refused.net for refused in plan.refused}.intersection(plan.drilled_in_vain))
    if beside_refused:
        text = f"drilled although another stub of the net is refused: {', '.join(beside_refused)}"
        lines.append(f"{text}; waive a net to leave it out")
    if plan.left_out:
        nets = dict.fromkeys(net for net, _, _ in plan.left_out)
        lines.append(f"left undrilled, because another stub of the net cannot keep its budget: {', '.join(nets)}")
    if plan.judged_wider:
        nets_in_words = ", ".join(plan.judged_wider)
        lines.append(f"fall short only with the wider clearances that the drills of others need: {nets_in_words}")
    if plan.no_room:
        lines.append(f"no room for the clearances that the drills need; judged as drawn: {plan.no_room}")
    holes = plan.near_holes()
    lines += [f"neighbouring hole: {near}" for near in holes.too_near]
    if holes.not_judged:
        lines.append(f"distance to neighbouring holes not judged, because a rule is unknown: {len(holes.not_judged)}")
    lines += [f"undecided: {net}: {why}" for net, why in plan.undecided.items()]
    return lines + [f"not drilled: {net}: {why}" for net, why in plan.undrilled.items() if why.taken_on_trust]


def schedule_text(plan: Plan, width: SupportsIndex = 120) -> str:
    """Drill schedule as plain text: a line per group, its nets, then the remarks.

    Parameters
    ----------
    plan : Plan
    width : int
        Characters in a line, 40 to 10000. The lines of the table itself are never broken or cut.

    Returns
    -------
    str

    Raises
    ------
    StubsiError
        A width that is no whole number in that range.
    """
    room = checked_width(width)

    def broken(lines: Iterable[str]) -> list[str]:
        return wrapped(lines, room, hang=4, at_hyphens=False)

    nets = [f"group {group.number}, nets: {', '.join(group.nets)}" for group in plan.groups]
    head, foot = [*broken(preamble(plan)), ""], broken([*nets, *remarks(plan)])
    return sealed(as_text(_short_columns(plan), plan.groups, head=head, foot=foot))


def schedule_csv(plan: Plan) -> str:
    """Drill schedule as CSV behind comment lines.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    str
    """
    return sealed(as_csv(_schedule_columns(plan), plan.groups, comments=[*preamble(plan), *remarks(plan)]))


def holes_csv(plan: Plan) -> str:
    """Per-hole list as CSV behind comment lines.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    str
    """
    rows = [(group, hit) for group in plan.groups for hit in group.hits]
    return sealed(as_csv(HOLE_COLUMNS, rows, comments=[*preamble(plan), *remarks(plan)]))


def schedule_markdown(plan: Plan) -> str:
    """Drill schedule as a Markdown table between its preamble and the remarks.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    str
    """
    return sealed(as_markdown(_schedule_columns(plan), plan.groups, head=preamble(plan), foot=remarks(plan)))


def schedule_html(plan: Plan, most_remarks: int = MOST_HTML_REMARKS) -> str:
    """Drill schedule as HTML for a notebook, with the first of the remarks.

    It is not for hand-off, so it carries no digest of its own text.

    Parameters
    ----------
    plan : Plan
    most_remarks : int
        How many remarks it shows at most; none, and no word of them, if it is 0.

    Returns
    -------
    str
    """
    head = [*plan.summary().splitlines(), f"Plan digest: {plan.digest}"]
    every = remarks(plan)
    hidden = len(every) - most_remarks if most_remarks else 0
    more = [f"and {hidden} more remarks, see to_text()"] if hidden > 0 else []
    table = as_html(_schedule_columns(plan), plan.groups, head=head, foot=[CAUTION])
    return framed(table + folded_lines("Remarks", [*every[:most_remarks], *more]))


def holes_html(plan: Plan) -> str:
    """Per-hole list as HTML, every hole.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    str
    """
    rows = [(group, hit) for group in plan.groups for hit in group.hits]
    return as_html(HOLE_COLUMNS, rows, most=len(rows))


def still_valid(export: str, plan: Plan, board: Board, rules: FabricatorRules) -> bool:
    """Whether an exported text is unchanged, and was made from this board and these rules, costs and model as ``plan``.

    False too where the text carries no digest. Line ends and blanks at them do not count as changes.

    Parameters
    ----------
    export : str
        Schedule or per-hole list as it was handed off.
    plan : Plan
        The plan that the text was made of.
    board : Board
        The board as it is now.
    rules : FabricatorRules
        The rules as they are now.

    Returns
    -------
    bool
        True only if nothing has changed.

    Raises
    ------
    StubsiError
        An argument of another kind.
    """
    if not isinstance(export, str):
        raise StubsiError(f"export: must be the text of an export, not {type(export).__name__}.")
    checked(plan, "plan", Plan)
    checked(board, "board", Board)
    checked(rules, "rules", FabricatorRules)
    parts = parts_of(board, rules, plan.costs, plan.model, plan.missed_nets, goal=plan.goal, budget_at=plan.budget_at)
    return plan_digest_of(export) == digest(parts) and is_unchanged(export)
