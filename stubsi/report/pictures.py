"""Owns the pictures of the report, each with a caption that says how to read it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.report.page import picture
from stubsi.show.board_map import plot_board_map
from stubsi.show.change_plot import plot_margin_changes
from stubsi.show.loss_plot import plot_net_loss
from stubsi.show.margin_plot import plot_margins
from stubsi.show.section import plot_section

if TYPE_CHECKING:
    from stubsi.drilling.consequences import Consequences
    from stubsi.drilling.plan import Plan
    from stubsi.margin.ranking import Ranking


def plan_pictures(plan: Plan, consequences: Consequences) -> str:
    """Margins before and after, section, map, and the loss of the net that stands worst as drawn.

    Parameters
    ----------
    plan : Plan
    consequences : Consequences

    Returns
    -------
    str
        HTML.
    """
    drawn = [
        picture(
            "Margins before and after drilling",
            "A tick is the margin as drawn, a mark that after drilling at worst tolerance; the line is the limit.",
            lambda: plot_margin_changes(consequences),
        ),
        picture(
            "Board from the top, holes by drill group",
            "An open mark is a hole that misses its budget although it is drilled.",
            lambda: plot_board_map(plan),
        ),
    ]
    if plan.groups:
        section = picture(
            "Board in section, one hole of every drill group",
            "The blue layer must not be cut. The plating ends within the hatched band.",
            lambda: plot_section(plan),
        )
        drawn.insert(1, section)
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


def ranking_pictures(ranking: Ranking) -> str:
    """Margins and map.

    Parameters
    ----------
    ranking : Ranking

    Returns
    -------
    str
        HTML.
    """
    return picture(
        "Margins of the nets",
        "The bar spans what the margin may be, with the model as far off as it may be; the line is the limit.",
        lambda: plot_margins(ranking),
    ) + picture(
        "Board from the top, holes by verdict",
        "Every signal hole has the mark of the verdict of its net.",
        lambda: plot_board_map(ranking),
    )
