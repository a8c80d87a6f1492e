"""Owns the step from windows to drill groups: candidate ends, demands and joints, and which group serves which stub."""

from __future__ import annotations

import itertools
from collections import Counter, defaultdict
from dataclasses import dataclass, fields
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from stubsi.drilling.depth_tolerance import SIDES
from stubsi.drilling.obstacles import ROUNDING
from stubsi.drilling.set_cover import ALONE, Cover, Demand, Joint, cover
from stubsi.drilling.side_view import frame

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from stubsi.board.net import Hole
    from stubsi.board.stackup import Stackup
    from stubsi.drilling.limits import Limits
    from stubsi.drilling.rules import Costs, FabricatorRules
    from stubsi.drilling.window import Window


SPLITS = 8
"""Steps in which two sides of a hole share a sum of losses where its plated length lets neither be drilled fully."""


class Place(NamedTuple):
    """A drill group that could be: side, depth-drill diameter [m], end aimed at [m], must-not-cut layer or ""."""

    side: str
    drill_si: float
    end_si: float
    layer: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Drillable:
    """A stub that may be drilled: its row in the stub table of ``limits``, its net, hole and window."""

    row: int
    limits: Limits
    net: str
    hole: Hole
    window: Window


class Coupled(NamedTuple):
    """Stubs of one net to be chosen for together, and the limit of their summed loss [dB].

    ``limit`` infinite: each must be drilled, and only the plated length left between them couples them.
    """

    stubs: tuple[Drillable, ...]
    limit: float


@dataclass(frozen=True)
class Task:
    """Which stubs must be drilled, each alone or coupled. ``offered``: the groups there are; None: any could be."""

    stackup: Stackup
    rules: FabricatorRules
    single: tuple[Drillable, ...]
    coupled: tuple[Coupled, ...]
    offered: tuple[Place, ...] | None = None

    def __getstate__(self) -> dict[str, Any]:
        return {f.name: self.__dict__[f.name] for f in fields(self)}

    @cached_property
    def _windows(self) -> tuple[Window, ...]:
        """Distinct windows."""
        stubs = (*self.single, *(stub for couple in self.coupled for stub in couple.stubs))
        return tuple({id(stub.window): stub.window for stub in stubs}.values())

    @cached_property
    def places(self) -> tuple[Place, ...]:
        """Candidate groups in order of side, drill diameter and depth."""
        if self.offered is not None:
            return tuple(sorted(self.offered))
        ends: dict[tuple[str, float], dict[float, str]] = defaultdict(dict)
        for window in self._windows:
            if not window.reasons:
                ends[_set_up(window)].update(self._candidates(window))
        return tuple(sorted(Place(*set_up, end, layer) for set_up, own in ends.items() for end, layer in own.items()))

    @cached_property
    def _facing(self) -> tuple[tuple[Window, Window, float], ...]:
        """Windows of the two sides of each hole that is coupled, and the limit of the sum they belong to."""
        pairs = {
            (id(stub.window), id(other.window), couple.limit): (stub.window, other.window, couple.limit)
            for couple in self.coupled
            for stub, other in itertools.permutations(couple.stubs, 2)
            if stub.hole is other.hole
        }
        return tuple(pairs.values())

    @cached_property
    def _both_sides(self) -> frozenset[tuple[str, float]]:
        """Set-ups of holes drilled from both sides, whose plated length may want an end that is not the deepest."""
        return frozenset(_set_up(window) for window, _, _ in self._facing)

    @cached_property
    def _splits(self) -> dict[int, set[float]]:
        """More ends of windows, by identity: where two sides share a sum and a plated length, how they may share both.

        From either side as deep as it can be to the other so, in ``SPLITS`` steps.
        """
        found: dict[int, set[float]] = defaultdict(set)
        for one, other, limit in self._facing:
            if np.isfinite(limit) and not (one.reasons or other.reasons or free(one, other)):
                first = _reach(one, other, other.deepest_si)
                ends = np.linspace(min(first, one.deepest_si), one.deepest_si, SPLITS + 1).tolist()
                for window, own in ((one, ends), (other, [_reach(other, one, end) for end in ends])):
                    found[id(window)].update(end - ROUNDING for end in own if window.holds(end - ROUNDING))
        return found

    def _candidates(self, window: Window) -> dict[float, str]:
        """Ends one window offers, with the must-not-cut layer that puts them there ("" where the depth is free)."""
        seen = frame(self.stackup, self.rules, window.side)
        own = seen.place(window.layer)
        aimed = self.rules.tolerance.aimed(seen.near[1 : own + 1])
        if aimed is None:
            free = [window.deepest_si, *self._splits[id(window)]]
            free += [window.shallowest_si] * (_set_up(window) in self._both_sides)
            return {round(end, 10): "" for end in free}
        ends = zip(np.round(aimed, 10).tolist(), seen.names[1 : own + 1], strict=True)
        return {end: layer for end, layer in ends if window.holds(end)}

    @cached_property
    def _by_set_up(self) -> dict[tuple[str, float], list[int]]:
        found: dict[tuple[str, float], list[int]] = defaultdict(list)
        for number, place in enumerate(self.places):
            found[place.side, place.drill_si].append(number)
        return found

    @cached_property
    def _demand_of(self) -> dict[int, Demand]:
        """Candidate groups that each window holds, by identity of the window."""
        found = {}
        for window in self._windows:
            mine = self._by_set_up.get(_set_up(window), [])
            found[id(window)] = frozenset(n for n in mine if window.holds(self.places[n].end_si))
        return found

    def demand(self, stub: Drillable) -> Demand:
        """Candidate groups that would serve a stub."""
        return self._demand_of[id(stub.window)]

    @cached_property
    def joints(self) -> tuple[Joint, ...]:
        """The coupled stubs as joints, in order; all alike share one value."""
        wanted = [
            (stub, self._worst(stub, group))
            for couple in self.coupled
            if np.isfinite(couple.limit)
            for stub in couple.stubs
            for group in (ALONE, *sorted(self.demand(stub)))
        ]
        adds = iter(_losses(wanted))
        return tuple(self._joint(couple, adds) for couple in self.coupled)

    def _worst(self, stub: Drillable, group: int) -> float:
        """Longest the stub may be [m] if served by a group, or left alone."""
        window = stub.window
        if group == ALONE:
            return window.shape.stub_length_si
        return max(window.shape.least_length_si, window.left(self.places[group].end_si).most_si)

    def _joint(self, couple: Coupled, adds: Iterator[float]) -> Joint:
        options = []
        for stub in couple.stubs:
            groups = (ALONE, *sorted(self.demand(stub)))
            if np.isinf(couple.limit):
                options.append(tuple((group, 0.0) for group in groups[1:]))
            else:
                options.append(tuple((g, add) for g, add in zip(groups, adds, strict=False) if np.isfinite(add)))
        return Joint(tuple(options), couple.limit, self._excluded(couple))

    def _excluded(self, couple: Coupled) -> tuple[tuple[tuple[int, int], tuple[int, int]], ...]:
        """Pairs of groups that together would leave too little plated barrel in one hole drilled from both sides."""
        return tuple(
            ((i, a), (j, b))
            for i, first in enumerate(couple.stubs)
            for j, second in enumerate(couple.stubs)
            if i < j and first.hole is second.hole
            for a in sorted(self.demand(first))
            for b in sorted(self.demand(second))
            if not plated_enough(first.window, second.window, self.places[a].end_si, self.places[b].end_si)
        )


def plated_enough(one: Window, other: Window, one_end: float, other_end: float) -> bool:
    """Whether enough of a barrel stays plated when it is drilled from both sides to these ends [m]."""
    return one.left(one_end).least_si >= _to_be_left(one, other, other_end) - ROUNDING


def _to_be_left(one: Window, other: Window, other_end: float) -> float:
    """Plating [m] that one side must leave beyond its layer in use when the other is drilled to ``other_end`` [m]."""
    between = one.rules.tolerance.shrunk(one.rest_si - other.barrel_si)
    least = max(case.least_plated_si for case in one.rules.cases())
    return least - between - other.left(other_end).least_si


def _reach(one: Window, other: Window, other_end: float) -> float:
    """Deepest end [m] of one side that leaves enough plated barrel when the other is drilled to ``other_end`` [m]."""
    keep, deepest = _to_be_left(one, other, other_end), one.rules.tolerance.deepest
    return min(float(deepest(one.face_si, keep, one.sensed_si, lead)) for lead in one.leads_si)


def free(one: Window, other: Window) -> bool:
    """Whether even the deepest drilling from both sides leaves enough plated barrel."""
    return plated_enough(one, other, one.deepest_si, other.deepest_si)


def _losses(wanted: Sequence[tuple[Drillable, float]]) -> list[float]:
    """Loss at Nyquist [dB] of stubs cut to lengths [m]."""
    found = [0.0] * len(wanted)
    for limits in {id(stub.limits): stub.limits for stub, _ in wanted}.values():
        mine = [i for i, (stub, _) in enumerate(wanted) if stub.limits is limits]
        rows, lengths = [wanted[i][0].row for i in mine], [wanted[i][1] for i in mine]
        for i, loss in zip(mine, limits.losses(rows, lengths).tolist(), strict=True):
            found[i] = loss
    return found


def _set_up(window: Window) -> tuple[str, float]:
    return window.side, round(window.drill_si, 9)


class Assigned(NamedTuple):
    """Group (number into ``places``) of every stub that is drilled, and the cover with its proof."""

    group: dict[Drillable, int]
    cover: Cover


def assign(task: Task, costs: Costs, time_limit: float) -> Assigned:
    """Serve every stub of the task with the cheapest groups; each goes to the deepest group that its window holds."""
    places = task.places
    set_ups = sorted({(place.side, place.drill_si) for place in places})
    coded = [
        (SIDES.index(place.side), set_ups.index((place.side, place.drill_si)), number)
        for number, place in enumerate(places)
    ]
    alike = Counter(task.joints)
    joints = [joint._replace(count=count) for joint, count in sorted(alike.items())]
    found = cover([task.demand(stub) for stub in task.single], joints, coded, costs, time_limit)
    opened = frozenset(found.groups)
    group = {stub: max(task.demand(stub) & opened) for stub in task.single}
    chosen = {joint._replace(count=1): choice for joint, choice in zip(joints, found.joints, strict=True)}
    for couple, joint in zip(task.coupled, task.joints, strict=True):
        for stub, number in zip(couple.stubs, chosen[joint], strict=True):
            if number != ALONE:
                group[stub] = number
    return Assigned(group, found)
