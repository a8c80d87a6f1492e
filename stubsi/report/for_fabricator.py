"""Owns what the report says to the fabricator: what the hand-off lacks, rules, coupons, holes, and what to ask."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.board.names import how_many
from stubsi.drilling.drill_group import misses_by_net, refusals_by_net
from stubsi.drilling.questions import Questions
from stubsi.handoff.acceptance import PRACTICE, coupons, coupons_html
from stubsi.handoff.completeness import hand_off_check
from stubsi.report.page import folded, listed, scrolled
from stubsi.show.html import questions_html
from stubsi.show.parts_html import rules_html
from stubsi.show.schedule import holes_html

if TYPE_CHECKING:
    from stubsi.drilling.plan import Plan


def for_fabricator(plan: Plan) -> str:
    """What the fabricator gets and would ask for, the gaps first.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    str
        HTML.
    """
    why = [*refusals_by_net(plan.refused), *misses_by_net(plan.hits)]
    parts = [_what_is_missing(plan), scrolled("Rules of the fabricator", rules_html(plan.rules)), _coupons(plan)]
    if plan.hits:
        holes = scrolled("Holes that are drilled", holes_html(plan))
        parts.append(folded(f"Every hole that is drilled: {len(plan.hits)}", holes))
    if why:
        notes = listed([f"{net}: {text}" for net, text in why])
        title = f"Stubs refused: {len(plan.refused)}; drilled, but longer than their budget: {len(plan.missed)}"
        parts.append(folded(title, notes))
    asked = Questions(question for question in plan.questions() if question.flips)
    if asked:
        parts.append(scrolled("What to ask the fabricator", questions_html(asked)))
    return "".join(parts)


def _what_is_missing(plan: Plan) -> str:
    """What a fabricator would ask back for, before he has drilled anything."""
    if not plan.groups:
        return "<p>Nothing is drilled, so nothing is handed off.</p>"
    check = hand_off_check(plan)
    stated = how_many(len(check.statements) - len(check.missing), "statement")
    if check:
        return f"<p>The hand-off states all that was looked for ({stated}); nothing is missing.</p>"
    return f"<h3>A fabricator would ask for</h3>{listed([str(each) for each in check.missing])}"


def _coupons(plan: Plan) -> str:
    """The acceptance plan, a coupon for each drill group."""
    if not plan.groups:
        return ""
    table = scrolled("Acceptance plan", coupons_html(coupons(plan)))
    return f"<h3>Acceptance plan: a coupon for each drill group</h3>{table}{folded('How to read it', listed(PRACTICE))}"
