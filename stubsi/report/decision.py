"""Owns the top of the report: what there is to decide, what cannot be helped, what is open and what would decide it."""

from __future__ import annotations

import textwrap
from collections import Counter
from typing import TYPE_CHECKING

from stubsi.board.names import how_many
from stubsi.margin.verdict import Verdict
from stubsi.report.net_table import LONG
from stubsi.report.page import escaped, folded, listed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stubsi.drilling.consequences import Consequences
    from stubsi.drilling.drill_group import Group
    from stubsi.drilling.plan import Plan
    from stubsi.margin.ranking import Ranking

MOST_LINES = 8
"""Lines of a list that stand open; a reader unfolds the others."""


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


def plan_decision(plan: Plan, consequences: Consequences) -> str:
    """What a plan decides: what is drilled, what still falls short, what is open.

    Parameters
    ----------
    plan : Plan
    consequences : Consequences

    Returns
    -------
    str
        HTML.
    """
    failing = [f"{net.net}: {_begin(net.why) or 'falls short'}" for net in consequences.still_failing]
    asked = [
        f"Ask for {question.unknown}: it can change the verdict of {question.verdicts}"
        for question in plan.questions()
        if question.flips
    ]
    counts = "".join(f"<p>{escaped(line)}</p>" for line in consequences.summary().splitlines())
    blocks = [
        _block("To drill", [_group_line(group) for group in plan.groups], "Nothing is to be drilled.", "first"),
        _block("What this drilling does not mend", failing, "No net falls short after this drilling."),
        _block("Open, and what would decide it", [*_open(plan, consequences), *asked], "Nothing is undecided."),
    ]
    return f'{counts}<div class="decisions">{"".join(blocks)}</div>'


def _open(plan: Plan, consequences: Consequences) -> list[str]:
    """Nets that nobody can judge, before or after drilling, and those that are too close to their limit."""
    lines = [f"{net}: {why}" for net, why in plan.undecided.items()]
    drawn = plan.limits.ranking
    for change in consequences.nets:
        if change.verdict[2] is Verdict.UNDECIDED and change.net not in plan.undecided:
            provenance = drawn[change.net].provenance
            missing = "; ".join(provenance.open_inputs) if provenance is not None else ""
            lines.append(f"{change.net}: undecided after drilling" + (f": {missing}" if missing else ""))
    close = [change.net for change in consequences.nets if change.verdict[2] is Verdict.MARGINAL]
    if close:
        named = ", ".join(close[:MOST_LINES]) + (f" and {len(close) - MOST_LINES} more" * (len(close) > MOST_LINES))
        many = how_many(len(close), "net")
        lines.append(f"{many} within the uncertainty of the model, which a measured coupon would decide: {named}")
    return lines


def ranking_decision(ranking: Ranking) -> str:
    """What a ranking leaves to decide: which nets deserve drilling, which it cannot help, which are open.

    Parameters
    ----------
    ranking : Ranking

    Returns
    -------
    str
        HTML.
    """

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
