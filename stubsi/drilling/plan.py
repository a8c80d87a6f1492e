"""Owns the drilling plan: the fewest drill groups, what is refused or left alone and why, and the proof."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from stubsi.board.board import Board
from stubsi.drilling.depth_tolerance import SIDES
from stubsi.drilling.digest import Match, compare, digest, parts_of
from stubsi.drilling.drill_group import Certificate, Group, Hit, Losses, Refused
from stubsi.drilling.explanation import explained
from stubsi.drilling.grouping import Assigned, Drillable, Task, assign
from stubsi.drilling.limits import Limits, Model
from stubsi.drilling.needs import Sorting
from stubsi.drilling.rules import ANY_LAYER, FEWEST_GROUPS, Costs, FabricatorRules
from stubsi.drilling.set_cover import ALONE, needed
from stubsi.drilling.side_view import check_layers, frame
from stubsi.drilling.window import left_before
from stubsi.errors import StubsiError
from stubsi.margin.ranking import rank
from stubsi.units import to_number, to_si


@dataclass(frozen=True, kw_only=True)
class Plan:
    """What to drill, from where and how deep. Make one with ``plan``.

    ``refused``: stubs that must be drilled and cannot. ``alone``: nets that stay undrilled, and why. ``undecided``:
    nets whose need is not known, and what is missing. ``certificate``: its length is a proven least number of groups.
    ``gap``: relative distance of the cost from what is proven least. ``task``: what had to be drilled. ``limits``: what
    the criteria allow.
    """

    board: Board
    rules: FabricatorRules
    costs: Costs
    model: Model
    groups: tuple[Group, ...]
    refused: tuple[Refused, ...]
    alone: dict[str, str]
    undecided: dict[str, str]
    certificate: tuple[Certificate, ...]
    gap: float
    task: Task = field(repr=False, compare=False)
    limits: Limits = field(repr=False, compare=False)

    @cached_property
    def _parts(self) -> dict[str, str]:
        return parts_of(self.board, self.rules, self.costs, self.model)

    @property
    def digest(self) -> str:
        """Digest of everything the plan was computed from."""
        return digest(self._parts)

    def matches(self, board: Board, rules: FabricatorRules) -> Match:
        """Whether the plan still holds for a board and rules: true, or false and what has changed."""
        return compare(self._parts, parts_of(board, rules, self.costs, self.model))

    @property
    def hits(self) -> tuple[Hit, ...]:
        """Every hole drilled, group by group."""
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
    def in_vain(self) -> tuple[str, ...]:
        """Nets with a stub drilled and another refused: drilled, yet short of their criterion."""
        return tuple(sorted({hit.net for hit in self.hits} & {refused.net for refused in self.refused}))

    @property
    def cost(self) -> float:
        """Cost in the currency of the costs given; with none given, the number of groups."""
        c = self.costs
        counts = (len(self.sides), len(self.set_ups), len(self.groups), len(self.hits))
        return float(np.dot((c.side, c.set_up, c.group, c.hole), counts))

    @property
    def proven(self) -> bool:
        """Whether the certificate alone proves that no plan has fewer groups."""
        return len(self.certificate) == len(self.groups)

    def group_of(self, hole: str, side: str) -> Group | None:
        """Group that drills a hole from a side; None where it is not drilled."""
        return self._group_of.get((hole, side))

    @cached_property
    def _group_of(self) -> dict[tuple[str, str], Group]:
        return {(hit.hole.name, hit.side): group for group in self.groups for hit in group.hits}

    def explain(self, hole: str) -> str:
        """Why a hole is drilled, refused or left alone, a line per stub; BoardError if there is no such hole."""
        return explained(self, hole)

    def to_text(self) -> str:
        """Drill schedule as plain text."""
        from stubsi.show.schedule import schedule_text

        return schedule_text(self)

    def to_csv(self) -> str:
        """Drill schedule as CSV, behind comment lines (#)."""
        from stubsi.show.schedule import schedule_csv

        return schedule_csv(self)

    def to_markdown(self) -> str:
        """Drill schedule as Markdown."""
        from stubsi.show.schedule import schedule_markdown

        return schedule_markdown(self)

    def holes_csv(self) -> str:
        """Per-hole list as CSV, behind comment lines (#)."""
        from stubsi.show.schedule import holes_csv

        return holes_csv(self)

    def __str__(self) -> str:
        return self.to_text()

    def _repr_html_(self) -> str:
        from stubsi.show.schedule import schedule_html

        return schedule_html(self)

    def summary(self) -> str:
        """Counts and what is proven, in two lines."""
        counts = (
            f"Drill groups: {len(self.groups)}, set-ups: {len(self.set_ups)}, sides: {len(self.sides)}, "
            f"hits: {len(self.hits)}; stubs refused: {len(self.refused)}, nets undecided: {len(self.undecided)}."
        )
        return f"{counts}\n{self._least()}"

    def _least(self) -> str:
        """In what sense nothing better exists, and who says so."""
        apart = f"{len(self.certificate)} of the stubs, no two of which can share a group, prove"
        if self.costs != FEWEST_GROUPS:
            least = "least" if self.gap == 0 else f"within {self.gap:.2g} of the least"
            return f"Cost {self.cost:g}, {least} ({self.costs.source}); {apart} at least so many groups."
        if self.proven:
            return f"No plan has fewer groups: {apart} it." if self.groups else "No drill group is needed."
        least = "No plan has fewer groups" if self.gap == 0 else f"Within {self.gap:.2g} of the fewest groups"
        return f"{least} by the solver; {apart} at least so many."


def plan(
    board: Board,
    rules: FabricatorRules,
    *,
    costs: Costs | None = None,
    model: str = "solved",
    dk_eff: float | None = None,
    delay: Any = None,
    time_limit: float = 60.0,
) -> Plan:
    """Plan the depth drilling of a board: the fewest drill groups that bring every net to its criterion.

    A stub is drilled if it is longer than its criterion permits; of a net with a loss criterion and several stubs, as
    many as the sum needs. A stub that cannot be drilled does not spare the others of its net. Waived nets stay.
    Computed figures decide, at the unfavourable end of their range where an input is unknown; how far the model may be
    off shows in ``consequences``, as marginal.

    Parameters
    ----------
    board : Board
    rules : FabricatorRules
    costs : Costs, optional
        Then the cheapest plan; the fewest groups, then the fewest hits, without.
    model, dk_eff, delay
        Electrical model of the stubs, as in ``rank``.
    time_limit : float
        For the solver [s], where criteria of whole nets or costs couple holes.

    Raises
    ------
    BoardError
        The rules name a layer that the board does not have.
    UnitError, StubsiError
        Values out of range; an unknown model; no plan within ``time_limit``.
    """
    _check_kinds(board, rules, costs)
    check_layers(board.stackup, rules)
    limit = to_number(time_limit, "time_limit")
    ranking = rank(board, model=model, dk_eff=dk_eff, delay=delay)
    slow = None if delay is None else float(to_si(delay, "delay per length", "delay"))
    chosen = Model(model, None if dk_eff is None else float(dk_eff), slow)
    sorted_out = Sorting(Limits(ranking, chosen, rules), rules)
    task = sorted_out.task()
    assigned = assign(task, costs or FEWEST_GROUPS, limit)
    return Plan(
        board=board, rules=rules, costs=costs or FEWEST_GROUPS, model=chosen,
        groups=_groups(task, assigned),
        refused=tuple(sorted(sorted_out.refused, key=lambda r: (r.net, r.hole.name, r.side))),
        alone=sorted_out.alone, undecided=sorted_out.undecided,
        certificate=_certificate(task, assigned), gap=assigned.cover.gap, task=task,
        limits=sorted_out.limits,
    )  # fmt: skip


def _check_kinds(board: Any, rules: Any, costs: Any) -> None:
    for name, value, kind in (
        ("board", board, Board),
        ("rules", rules, FabricatorRules),
        ("costs", costs, Costs | None),
    ):
        if not isinstance(value, kind):
            wanted = getattr(kind, "__name__", "Costs")
            raise StubsiError(f"{name} = {value!r}: must be a {wanted}.")


def _groups(task: Task, assigned: Assigned) -> tuple[Group, ...]:
    """Drill groups in order of side, drill and depth."""
    members: dict[int, list[Drillable]] = defaultdict(list)
    for stub, number in assigned.group.items():
        members[number].append(stub)
    coupled, losses = {stub for couple in task.coupled for stub in couple.stubs}, _losses(task, assigned)
    groups = []
    for number, stubs in sorted(members.items()):
        end = task.places[number].end_si
        hits = [
            Hit(
                net=stub.net, hole=stub.hole, side=stub.window.side, window=stub.window, left=stub.window.left(end),
                coupled=stub in coupled, losses=losses.get(stub),
            )
            for stub in sorted(stubs, key=lambda stub: (stub.net, stub.hole.name))
        ]  # fmt: skip
        groups.append(_group(len(groups) + 1, task, number, tuple(hits)))
    return tuple(groups)


def _losses(task: Task, assigned: Assigned) -> dict[Drillable, Losses]:
    """Summed losses behind every stub whose net has a limit for their sum."""
    found = {}
    for couple, joint in zip(task.coupled, task.joints, strict=True):
        if np.isfinite(couple.limit):
            each = [
                (options.get(ALONE, np.inf), options[assigned.group.get(stub, ALONE)])
                for stub, options in zip(couple.stubs, map(dict, joint.options), strict=True)
            ]
            drawn, planned = map(sum, zip(*each, strict=True))
            found.update(dict.fromkeys(couple.stubs, Losses(drawn, planned, couple.limit)))
    return found


def _group(number: int, task: Task, place_number: int, hits: tuple[Hit, ...]) -> Group:
    place, rules = task.places[place_number], task.rules
    seen = frame(task.stackup, rules, place.side)
    named = [hit.window.layer for hit in hits] + [layer for layer in [rules.deepest(place.side)] if layer != ANY_LAYER]
    layer = place.layer or min(named, key=seen.place)
    face = float(seen.near[seen.place(layer)])
    return Group(
        number=number, rules=rules, side=place.side, drill_si=place.drill_si,
        primary_si=hits[0].window.shape.padstack.drill_si, layer=layer, end_si=place.end_si, face_si=face,
        left=left_before(face, place.end_si, hits[0].window), hits=hits,
    )  # fmt: skip


def _certificate(task: Task, assigned: Assigned) -> tuple[Certificate, ...]:
    """Stubs behind each of the disjoint demands, with the ends that could serve them."""
    behind: dict[frozenset[int], tuple[Drillable, ...]] = {}
    for couple, joint in zip(task.coupled, task.joints, strict=True):
        for need in needed(joint):
            behind.setdefault(need.groups, tuple(couple.stubs[place] for place in need.stubs))
    for stub in task.single:
        behind.setdefault(task.demand(stub), (stub,))
    return tuple(
        Certificate(
            tuple((stub.net, stub.hole.name, stub.window.side) for stub in behind[need]),
            frozenset(task.places[group][:3] for group in need),
        )
        for need in sorted(assigned.cover.disjoint, key=sorted)
    )
