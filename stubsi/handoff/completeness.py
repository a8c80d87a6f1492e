"""Owns the check of a hand-off: what a fabricator needs to drill, where the hand-off says it, and what it does not."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from stubsi.board.names import how_many
from stubsi.checks import checked
from stubsi.drilling.plan import Plan
from stubsi.handoff.acceptance import coupons
from stubsi.show.notebook import framed
from stubsi.show.tables import Column, as_html
from stubsi.units import show

if TYPE_CHECKING:
    import pandas as pd

    from stubsi.drilling.drill_group import Group

ASKED_FOR = ("target stub", "tolerance", "span", "must-not-cut layer", "drill size", "datum", "coupon")
"""What a fabricator asks for before depth drilling (common practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class HandOffStatement:
    """One thing that a fabricator needs, and whether the hand-off states it.

    Parameters
    ----------
    about : str
        One of the things asked for, or the name of a rule.
    group : int or None
        Number of the drill group; None: of all.
    stated : str
        What the hand-off says; blank where it says nothing.
    missing : str
        What is missing, and what it is needed for; blank where nothing is.
    """

    about: str
    group: int | None
    stated: str
    missing: str = ""

    def __str__(self) -> str:
        of = "" if self.group is None else f" of group {self.group}"
        return f"{self.about}{of}: {self.missing or self.stated}"


_COLUMNS: tuple[Column[HandOffStatement], ...] = (
    Column("about", lambda each: each.about),
    Column("group", lambda each: "" if each.group is None else str(each.group), align="right"),
    Column("missing", lambda each: each.missing),
    Column("stated", lambda each: each.stated),
)


@dataclass(frozen=True, kw_only=True, repr=False)
class HandOffCheck:
    """What a hand-off states, and what a fabricator would ask back for. True where nothing is missing.

    Parameters
    ----------
    statements : tuple of HandOffStatement
        All that was looked for, group by group.
    """

    statements: tuple[HandOffStatement, ...]

    @property
    def missing(self) -> tuple[HandOffStatement, ...]:
        """What a fabricator would ask back for."""
        return tuple(each for each in self.statements if each.missing)

    def __bool__(self) -> bool:
        return not self.missing

    def to_frame(self) -> pd.DataFrame:
        """Table as a pandas DataFrame: a statement in each row.

        Returns
        -------
        pandas.DataFrame
            What it is about, of which group, what is stated and what is missing.
        """
        import pandas as pd

        rows = [(each.about, each.group, each.stated, each.missing) for each in self.statements]
        return pd.DataFrame(rows, columns=["about", "group", "stated", "missing"])

    def __str__(self) -> str:
        if self:
            return f"{how_many(len(self.statements), 'statement')}, nothing is missing."
        return "\n".join(["A fabricator would ask for:", *(f"  {each}" for each in self.missing)])

    def _repr_html_(self) -> str:
        what = "nothing is missing" if self else f"{len(self.missing)} missing"
        return framed(
            as_html(_COLUMNS, self.statements, head=[f"{how_many(len(self.statements), 'statement')}, {what}"])
        )

    def __repr__(self) -> str:
        return f"<HandOffCheck: {how_many(len(self.statements), 'statement')}, {len(self.missing)} missing>"


NEEDED_FOR = {
    "tip_angle": "the depth of the tip",
    "tip_distance": "how near the tip may come to the must-not-cut layer",
    "least_depth": "whether a shallow drill holds its depth",
    "least_plated": "whether enough plated barrel stays",
    "copper_clearance": "whether the drill keeps its distance from copper beside it",
    "edge_tolerance": "whether the drill keeps its distance from copper beside it",
    "hole_clearance": "whether the drill keeps its distance from other holes",
}
"""What each rule of the fabricator is needed for."""
NOT_JUDGED = ("copper_clearance", "edge_tolerance", "hole_clearance")
"""Rules without which a distance is not judged; they do not decide where a hole can be drilled."""


def hand_off_check(plan: Plan) -> HandOffCheck:
    """Check that the hand-off of a plan states what a fabricator needs, and name what is missing.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    HandOffCheck
        True where nothing is missing.

    Raises
    ------
    StubsiError
        An argument of another type.

    Notes
    -----
    Looked for, for each group: target stub, tolerance, span, must-not-cut layer, drill size, datum and coupon (common
    practice, no source); the positions of its holes; the input without which it is not known what its coupon shows; and
    the fabricator's rules that are unknown.
    """
    checked(plan, "plan", Plan)
    statements = [each for group in plan.groups for each in _of_group(plan, group)]
    statements += [
        HandOffStatement(
            about="coupon frequency", group=coupon.group.number, stated="",
            missing=f"unknown for {coupon.hit.hole.name}: {coupon.expected.unknown}",
        )
        for coupon in coupons(plan)
        if coupon.expected.unknown
    ]  # fmt: skip
    not_judged = tuple(name for name in NOT_JUDGED if getattr(plan.rules, name) is None)
    for rule in plan.rules.unknown + not_judged:
        needed = NEEDED_FOR.get(rule, "the plan")
        statements.append(
            HandOffStatement(
                about=rule.replace("_", " "), group=None, stated="", missing=f"unknown; needed for {needed}"
            )
        )
    return HandOffCheck(statements=tuple(statements))


def _of_group(plan: Plan, group: Group) -> list[HandOffStatement]:
    """What the hand-off states about a drill group, and what is missing: positions, or the thickness of the mask."""
    rules, names = plan.rules, plan.board.stackup.names
    longest = min((hit.window.longest_si for hit in group.hits), default=math.inf)
    left = f"{show(max(group.left.least_si, 0.0), 'length')} to {show(group.left.most_si, 'length')} left"
    target = f"at most {show(longest, 'length')}; {left}" if math.isfinite(longest) else left
    no_place = [hit.hole.name for hit in group.hits if hit.hole.xy_si is None]
    texts = {
        "target stub": target,
        "tolerance": str(rules.tolerance),
        "span": f"{names[0 if group.side == 'top' else -1]} down to before {group.layer}",
        "must-not-cut layer": group.layer,
        "drill size": f"{show(group.drill_si, 'length')} over {show(group.primary_si, 'length')}",
        "datum": f"outer {rules.datum} surface of the {group.side}, to the {rules.depth_to}",
        "coupon": "in the acceptance plan; its place on the panel is for the fabricator to say",
    }
    made = [HandOffStatement(about=about, group=group.number, stated=texts[about]) for about in ASKED_FOR]
    if no_place:
        named = ", ".join(no_place[:3]) + (f" and {len(no_place) - 3} more" if len(no_place) > 3 else "")
        made.append(
            HandOffStatement(about="position", group=group.number, stated="", missing=f"of {named}: give x and y")
        )
    if rules.datum == "mask" and rules.mask_thickness is None:
        made.append(
            HandOffStatement(
                about="mask thickness", group=group.number, stated="", missing="unknown; the datum is its surface"
            )
        )
    return made
