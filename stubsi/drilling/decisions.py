"""Owns the decisions of a drilling plan: its groups, the stubs refused, the nets left undrilled, the proof, counts."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from stubsi.board.names import how_many
from stubsi.board.padstack import SIDES
from stubsi.checks import one_of
from stubsi.drilling.effects import Clearances, clearances_of
from stubsi.drilling.explanation import net_of_hole
from stubsi.drilling.plan_frames import groups_frame, holes_frame

if TYPE_CHECKING:
    import pandas as pd

    from stubsi.board.board import Board
    from stubsi.drilling.budget_end import BudgetAt
    from stubsi.drilling.costs import Costs
    from stubsi.drilling.drill_group import Certificate, Group, Hit, Refused
    from stubsi.drilling.drill_task import DrillTask
    from stubsi.drilling.goal import Goal
    from stubsi.drilling.limits import Limits
    from stubsi.drilling.miss import MissedNets
    from stubsi.drilling.rules import FabricatorRules
    from stubsi.drilling.undrilled import Undecided, Undrilled
    from stubsi.read_only import ReadOnlyMapping
    from stubsi.stubs.model_choice import ModelChoice


@dataclass(frozen=True, kw_only=True, repr=False)
class Decisions:
    """What a plan drills, refuses and leaves, with its proof. For users: ``Plan``.

    Parameters
    ----------
    board : Board
        The board.
    rules : FabricatorRules
        Rules of the fabricator.
    costs : Costs
        What the user pays.
    model : ModelChoice
        Electrical model of the stubs.
    missed_nets : {"best effort", "leave", "stub by stub"}
        What is done to nets that miss their criterion whatever is drilled.
    goal : Goal
        What the plan was made for.
    groups : tuple of Group
        The drill groups, in order of side, drill and depth.
    refused : tuple of Refused
        Stubs that must be drilled and are not, because they cannot be drilled, or not deep enough to help.
    left_out : tuple of (str, str, str)
        Net, hole and side of the stubs that could keep their budget and are not drilled, because another stub of their
        net cannot.
    undrilled : mapping of net name to Undrilled
        Nets that stay undrilled, and why.
    undecided : mapping of net name to Undecided
        Nets that cannot be judged, and for each the unknown input.
    certificate : tuple of Certificate
        The proof: at least as many groups are needed as it has entries. Where the goal is the largest margin, they are
        needed for this margin.
    cost_gap : float
        How far the cost may lie above the least possible cost, as a fraction; 0 if it is proven to be the least. Where
        the goal is another one, the same for the number of groups.
    margin_gap : float or None
        How far the smallest margin may lie below the largest possible one, as a fraction; 0 if it is proven to be the
        largest. None where the goal is another one.
    task : DrillTask
        What had to be drilled.
    limits : Limits
        What the criteria allow the stubs of the board.
    """

    board: Board
    rules: FabricatorRules
    costs: Costs
    model: ModelChoice
    missed_nets: MissedNets
    goal: Goal
    groups: tuple[Group, ...]
    refused: tuple[Refused, ...]
    left_out: tuple[tuple[str, str, str], ...]
    undrilled: ReadOnlyMapping[str, Undrilled]
    undecided: ReadOnlyMapping[str, Undecided]
    certificate: tuple[Certificate, ...]
    cost_gap: float
    margin_gap: float | None
    task: DrillTask = field(compare=False)
    limits: Limits = field(compare=False)

    def __getstate__(self) -> dict[str, object]:
        """The fields only: what follows from them is found again when it is needed."""
        return {item.name: getattr(self, item.name) for item in fields(self)}

    @property
    def budget_at(self) -> BudgetAt:
        """At which depth drilled stubs keep their budget: "worst" or "nominal"."""
        return self.limits.budget_at

    @property
    def hits(self) -> tuple[Hit, ...]:
        """Every hole that is drilled, once for each side, group by group."""
        return tuple(hit for group in self.groups for hit in group.hits)

    @property
    def set_ups(self) -> tuple[tuple[str, float], ...]:
        """Side and depth-drill diameter [m] of every set-up."""
        return tuple(dict.fromkeys((group.side, group.drill_si) for group in self.groups))

    @property
    def sides(self) -> tuple[str, ...]:
        """Sides drilled from."""
        return tuple(side for side in SIDES if any(group.side == side for group in self.groups))

    @property
    def drilled_in_vain(self) -> tuple[str, ...]:
        """Nets that are drilled and still miss their criterion: a stub of theirs is refused, or misses its budget."""
        missed = {refused.net for refused in self.refused} | {hit.net for hit in self.missed}
        return tuple(sorted({hit.net for hit in self.hits} & missed))

    @property
    def judged_wider(self) -> tuple[str, ...]:
        """Nets that meet their criterion as drawn, and fall short with the clearances that the drills of others need.

        They are planned with these clearances.
        """
        return tuple(sorted(self.limits.judged_wider))

    @property
    def no_room(self) -> str:
        """Why the board has no room for the clearances that the drills need; empty where it has.

        Where it has none, every net is judged with the clearances as drawn, in the plan and in ``consequences``.
        """
        return self.clearances.no_room

    @cached_property
    def clearances(self) -> Clearances:
        """The board with the clearances that the drills need, or why there is none."""
        return clearances_of(self)

    @property
    def missed(self) -> tuple[Hit, ...]:
        """Hits that are drilled as deep as rules and groups of other nets allow, and miss their budget all the same."""
        return tuple(hit for hit in self.hits if hit.miss)

    @property
    def cost(self) -> float:
        """Cost of the plan in the currency of its costs; the number of groups where the user gave no costs."""
        costs = (self.costs.side, self.costs.set_up, self.costs.group, self.costs.hole)
        counts = (len(self.sides), len(self.set_ups), len(self.groups), len(self.hits))
        return float(np.dot(costs, counts))

    @property
    def proven(self) -> bool:
        """Whether the certificate alone proves that no plan has fewer groups, or none with this margin."""
        return len(self.certificate) == len(self.groups)

    def group_of(self, hole: str, side: str) -> Group | None:
        """Group that drills a hole from a side; None where the hole is not drilled from that side.

        Parameters
        ----------
        hole : str
            Name of the hole.
        side : str
            Side drilled from, "top" or "bottom".

        Returns
        -------
        Group | None
            The group, or None.

        Raises
        ------
        BoardError
            There is no such hole or side.
        """
        net_of_hole(self.board, hole)
        one_of(side, "side", ("top", "bottom"))
        return self._group_of.get((hole, side))

    @cached_property
    def _group_of(self) -> dict[tuple[str, str], Group]:
        return {(hit.hole.name, hit.side): group for group in self.groups for hit in group.hits}

    def to_frame(self) -> pd.DataFrame:
        """Drill groups as a pandas DataFrame: a group in each row, lengths in [mm].

        Returns
        -------
        pandas.DataFrame
            Plain numbers, with units in the column names.
        """
        return groups_frame(self.groups)

    def holes_frame(self) -> pd.DataFrame:
        """Holes that are drilled as a pandas DataFrame: a hole and side in each row, lengths in [mm].

        Returns
        -------
        pandas.DataFrame
            Plain numbers, with units in the column names.
        """
        return holes_frame(self.groups)

    def __repr__(self) -> str:
        counts = (
            how_many(len(self.groups), "drill group"), how_many(len(self.hits), "hit"),
            f"{how_many(len(self.refused), 'stub')} refused", f"{how_many(len(self.undecided), 'net')} undecided",
        )  # fmt: skip
        return f"<Plan: {', '.join(counts)}>"

    def __hash__(self) -> int:
        return hash((self.board, self.rules, self.costs, self.model))
