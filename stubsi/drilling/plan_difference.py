"""Owns the difference of two plans: which inputs, drill groups, hits and refusals differ."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, NamedTuple

from stubsi.board.names import how_many, shortened
from stubsi.checks import one_line
from stubsi.units import show

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    import pandas as pd

    from stubsi.drilling.drill_group import Group
    from stubsi.drilling.plan import Plan


class PlanPart(StrEnum):
    """What can differ between two plans. Each is also the text that tables show."""

    INPUT = "input"
    GROUP = "drill group"
    HIT = "hit"
    REFUSAL = "refusal"
    UNDRILLED = "net left undrilled"
    UNDECIDED = "undecided net"


class PlanChange(NamedTuple):
    """One part of a plan that differs between two plans.

    Parameters
    ----------
    part : PlanPart
        What it is.
    name : str
        Which one: an input like "net CLK", a group by its side, depth drill and must-not-cut layer, a hole with its
        side, or a net.
    before, after : str or None
        What it is in each plan; None where that plan does not have it. Of an input only the name is known.
    """

    part: PlanPart
    name: str
    before: str | None
    after: str | None

    def __str__(self) -> str:
        if self.part is PlanPart.INPUT:
            return f"{self.part} {self.name}: changed"
        ends = " -> ".join("none" if end is None else end for end in (self.before, self.after))
        return one_line(f"{self.part} {self.name}: {ends}")

    def __repr__(self) -> str:
        return f"<PlanChange of {self.part} {shortened(self.name)}>"

    def _repr_html_(self) -> str:
        from stubsi.show.difference_table import plan_difference_html

        return plan_difference_html([self], [])


@dataclass(frozen=True, kw_only=True, repr=False)
class PlanDifference:
    """What differs between two plans. It is true where something does; iterate it for the changes.

    Parameters
    ----------
    before, after : Plan
        The two plans.
    changes : tuple of PlanChange
        Inputs first, then groups, hits, refusals, nets left undrilled and undecided nets.
    """

    before: Plan
    after: Plan
    changes: tuple[PlanChange, ...]

    def __len__(self) -> int:
        return len(self.changes)

    def __iter__(self) -> Iterator[PlanChange]:
        return iter(self.changes)

    def of(self, part: PlanPart | str) -> tuple[PlanChange, ...]:
        """The changes of one kind of part.

        Parameters
        ----------
        part : PlanPart or str
            Like "drill group" or "hit".

        Returns
        -------
        tuple of PlanChange
            In their order; empty for a text that names no part.
        """
        return tuple(change for change in self.changes if change.part == part)

    def to_frame(self) -> pd.DataFrame:
        """Table as a pandas DataFrame: a part of the plan in each row.

        Returns
        -------
        pandas.DataFrame
            Texts with units; None where that plan does not have the part.
        """
        import pandas as pd

        rows = [(str(change.part), *change[1:]) for change in self.changes]
        return pd.DataFrame(rows, columns=["part", "which", "before", "after"])

    def summary(self) -> str:
        """Counts of both plans, in one line.

        Returns
        -------
        str
            One line.
        """
        if not self.changes:
            return "Plans: no difference."
        counts = [
            f"{noun}s {len(first)} -> {len(second)}"
            for noun, first, second in (
                ("drill group", self.before.groups, self.after.groups),
                ("hit", self.before.hits, self.after.hits),
                ("refused stub", self.before.refused, self.after.refused),
            )
        ]
        return f"Plans: {', '.join(counts)}."

    def __str__(self) -> str:
        from stubsi.show.difference_table import plan_difference_text

        return plan_difference_text(self.changes, [self.summary()])

    def _repr_html_(self) -> str:
        from stubsi.show.difference_table import plan_difference_html

        return plan_difference_html(self.changes, [self.summary()])

    def __repr__(self) -> str:
        return f"<PlanDifference: {how_many(len(self.changes), 'change')}>"


def plan_difference(before: Plan, after: Plan) -> PlanDifference:
    """What differs between two plans.

    Parameters
    ----------
    before, after : Plan
        The two plans.

    Returns
    -------
    PlanDifference
        Groups are compared by side, depth drill and must-not-cut layer, because their numbers shift; hits and refusals
        by hole and side.
    """
    changes = [PlanChange(PlanPart.INPUT, name, "as it was", "changed") for name in before.inputs_changed(after)]
    for part, texts in (
        (PlanPart.GROUP, _groups), (PlanPart.HIT, _hits), (PlanPart.REFUSAL, _refusals),
        (PlanPart.UNDRILLED, lambda plan: {net: str(why) for net, why in plan.undrilled.items()}),
        (PlanPart.UNDECIDED, lambda plan: {net: str(why) for net, why in plan.undecided.items()}),
    ):  # fmt: skip
        changes += _differing(part, texts(before), texts(after))
    return PlanDifference(before=before, after=after, changes=tuple(changes))


def _differing(part: PlanPart, old: Mapping[str, str], new: Mapping[str, str]) -> Iterator[PlanChange]:
    for name in dict.fromkeys((*old, *new)):
        if old.get(name) != new.get(name):
            yield PlanChange(part, name, old.get(name), new.get(name))


def _groups(plan: Plan) -> dict[str, str]:
    """Depth and holes of every group. Groups that differ in depth only are numbered from the shallowest."""
    alike: dict[str, list[Group]] = defaultdict(list)
    for group in plan.groups:
        alike[f"{group.side}, {show(group.drill_si, 'length')}, must not cut {group.layer}"].append(group)
    return {
        f"{name}, {number}" if number > 1 else name: f"depth {_depth(group)}, {_holes(group)}"
        for name, groups in alike.items()
        for number, group in enumerate(sorted(groups, key=lambda group: group.end_si), start=1)
    }


def _depth(group: Group) -> str:
    return " to ".join(dict.fromkeys(show(depth, "length", 6) for depth in group.depth_si))


def _holes(group: Group) -> str:
    return f"{how_many(len(group.hits), 'hole')} of {', '.join(group.nets)}"


def _hits(plan: Plan) -> dict[str, str]:
    """Must-not-cut layer, depth and residual of every hit."""
    return {
        f"{hit.hole.name} from the {hit.side}": f"must not cut {group.layer}, depth {_depth(group)}, "
        f"{show(hit.left.least_si, 'length', 6)} to {show(hit.left.most_si, 'length', 6)} left"
        for group in plan.groups
        for hit in group.hits
    }


def _refusals(plan: Plan) -> dict[str, str]:
    return {f"{each.hole.name} from the {each.side}": each.reason for each in plan.refused}
