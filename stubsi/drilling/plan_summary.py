"""Owns the summary of a plan in words: how much is drilled, and what proves that no plan is better."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.board.names import how_many
from stubsi.checks import one_line
from stubsi.drilling.budget_end import SENTENCES
from stubsi.drilling.costs import FEWEST_GROUPS

if TYPE_CHECKING:
    from stubsi.drilling.plan import Plan


def summary_of(plan: Plan) -> str:
    """Counts and what is proven, in two lines.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    str
        Two lines.
    """
    missed = f", of which {len(plan.missed)} miss their budget" * bool(plan.missed)
    counts = (
        f"Drill groups: {len(plan.groups)}, set-ups: {len(plan.set_ups)}, sides: {len(plan.sides)}, "
        f"hits: {len(plan.hits)}{missed}; stubs refused: {len(plan.refused)}, nets undecided: {len(plan.undecided)}."
    )
    optimum = _optimum(plan) if plan.groups else _nothing_to_drill(plan)
    budget = f" {SENTENCES[plan.budget_at]}" * (plan.budget_at != "worst")
    return f"{counts}\n{optimum}{budget}"


def _nothing_to_drill(plan: Plan) -> str:
    """Why there is no drill group."""
    if plan.refused:
        beside = f"; left undrilled beside them: {len(plan.left_out)}" if plan.left_out else ""
        return f"Nothing is drilled. Stubs refused: {len(plan.refused)}{beside}."
    if plan.undecided:
        return f"No decided net needs a drill group; nets undecided: {len(plan.undecided)}."
    return "No drill group is needed."


def _best_effort(plan: Plan) -> str:
    """What the holes cost that are drilled although their nets miss their criterion; empty where none is."""
    in_vain = set(plan.drilled_in_vain) if plan.missed_nets == "best effort" else set()
    hits = sum(hit.net in in_vain for hit in plan.hits)
    return f" but for {how_many(hits, 'hit')} of nets that miss their criterion" * (hits > 0 and plan.costs.hole > 0)


def _cost(plan: Plan) -> str:
    return f"Cost {plan.cost:g}"


def _largest_margin(plan: Plan) -> str:
    """The smallest margin of the plan, and what proves that none is larger."""
    margins = plan.margins_over_limit()
    net = min(margins, key=lambda name: margins[name], default="")
    smallest = f"{margins[net]:.3f} ({one_line(net)})" if net else "of no net that can meet its criterion"
    largest = "the largest" if plan.margin_gap == 0 else f"relative gap {plan.margin_gap:.2g},"
    return (
        f"Smallest margin over limit {smallest}: {largest} with at most "
        f"{how_many(plan.goal.most_groups or 0, 'group')}, stub by stub with the clearances as drawn; "
        f"{_proof(plan)}."
    )


def _proof(plan: Plan) -> str:
    """Why there are at least as many groups as the certificate has entries."""
    if len(plan.certificate) == 1:
        return "at least one stub needs a group"
    return f"{len(plan.certificate)} of the stubs need a group each, because no two of them can share one"


def _optimum(plan: Plan) -> str:
    """In what sense no plan is better, and what proves it."""
    if plan.margin_gap is not None:
        return _largest_margin(plan)
    if plan.goal.name == "largest yield":
        return f"Made for the {plan.goal}; largest_yield says how sure it is that no other plan has a larger one."
    if plan.costs != FEWEST_GROUPS and not plan.goal.groups_first:
        least = "least" if plan.cost_gap == 0 else f"not proven to be the least: relative gap {plan.cost_gap:.2g}"
        return f"{_cost(plan)}, {least}{_best_effort(plan)} ({one_line(plan.costs.source)}); {_proof(plan)}."
    cost = f" {_cost(plan)} ({one_line(plan.costs.source)})." * (plan.costs != FEWEST_GROUPS)
    if plan.proven:
        return f"No plan has fewer groups: {_proof(plan)}.{cost}"
    if plan.cost_gap == 0:
        return f"The solver finds no plan with fewer groups; {_proof(plan)}.{cost}"
    return f"The solver stopped at its time limit, relative gap {plan.cost_gap:.2g}; {_proof(plan)}.{cost}"
