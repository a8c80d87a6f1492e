"""Owns the task of drilling: the stubs that must be drilled, single or coupled, and the groups that could serve them.

Elsewhere, a candidate group is given by its number in ``DrillTask.candidates``.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from dataclasses import dataclass, field, fields
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

import numpy as np

from stubsi.board.names import how_many
from stubsi.drilling.both_sides import independent, plated_enough, split_ends
from stubsi.drilling.joint_choice import UNDRILLED, JointChoice, Servers, StubAndGroup
from stubsi.drilling.side_view import side_view
from stubsi.drilling.stub_margins import StubMargins
from stubsi.drilling.window import kept_length

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from stubsi.board.net import Hole
    from stubsi.board.stackup import Stackup
    from stubsi.drilling.limits import Limits
    from stubsi.drilling.rules import FabricatorRules
    from stubsi.drilling.stub_use import StubUse
    from stubsi.drilling.window import Window

SetUp: TypeAlias = tuple[str, float]
"""Side drilled from, and diameter of the depth drill [m]."""


class CandidateGroup(NamedTuple):
    """A drill group that could be opened: side, depth-drill diameter [m], end aimed at [m], and must-not-cut layer.

    The layer is "" where the end does not belong to a layer.
    """

    side: str
    drill_si: float
    end_si: float
    layer: str

    @property
    def place(self) -> tuple[str, float, float]:
        """Side, depth-drill diameter [m] and end [m], without the layer."""
        return self.side, self.drill_si, self.end_si


@dataclass(frozen=True, kw_only=True, repr=False)
class Drillable:
    """A stub that may be drilled: its net, hole and window, and its row in the stub table of ``limits``."""

    net: str
    hole: Hole
    window: Window
    row: int = field(compare=False)
    limits: Limits = field(compare=False)

    @cached_property
    def use(self) -> StubUse:
        """The stub with the electrical data of its net."""
        return self.limits.use(self.row)

    def __hash__(self) -> int:
        return hash((self.hole.name, self.window.side))

    def __repr__(self) -> str:
        return f"<Drillable {self.hole.name} of {self.net} from the {self.window.side}>"


class CoupledStubs(NamedTuple):
    """Stubs of one net whose groups are chosen together, and the limit of their summed loss [dB].

    If the limit is infinite, each of them must be drilled. They are then coupled only because enough of the barrel must
    stay plated between them.
    """

    stubs: tuple[Drillable, ...]
    limit: float

    @property
    def net(self) -> str:
        """Name of their net."""
        return self.stubs[0].net

    def __repr__(self) -> str:
        return f"<CoupledStubs of {self.net}: {how_many(len(self.stubs), 'stub')}, {self.limit:g} dB>"


@dataclass(frozen=True, repr=False)
class DrillTask:
    """The stubs that must be drilled. ``offered`` holds the only groups that may serve them; None: any group may."""

    stackup: Stackup
    rules: FabricatorRules
    single: tuple[Drillable, ...]
    coupled: tuple[CoupledStubs, ...]
    offered: tuple[CandidateGroup, ...] | None = None

    def __getstate__(self) -> dict[str, object]:
        return {item.name: self.__dict__[item.name] for item in fields(self)}

    def __repr__(self) -> str:
        return f"<DrillTask: {how_many(len(self.single), 'stub')} alone, sets of coupled stubs: {len(self.coupled)}>"

    @property
    def stubs(self) -> Iterator[Drillable]:
        """Every stub, single or coupled."""
        return itertools.chain(self.single, *(couple.stubs for couple in self.coupled))

    @cached_property
    def _windows(self) -> tuple[Window, ...]:
        """The different windows, in the order of the stubs."""
        return tuple(dict.fromkeys(stub.window for stub in self.stubs))

    @cached_property
    def candidates(self) -> tuple[CandidateGroup, ...]:
        """Groups that could be opened, in order of side, drill diameter and depth."""
        if self.offered is not None:
            return tuple(sorted(self.offered))
        ends: dict[SetUp, dict[float, str]] = defaultdict(dict)
        for window in self._windows:
            if not window.reasons:
                ends[set_up_of(window)].update(self._ends_offered_by(window))
        return tuple(
            sorted(CandidateGroup(*set_up, *end) for set_up, layer_of in ends.items() for end in layer_of.items())
        )

    @cached_property
    def _drilled_from_both_sides(self) -> tuple[tuple[Window, Window, float], ...]:
        """For each coupled hole, the windows of its two sides and the limit of the sum that they belong to."""
        pairs = (
            (stub.window, other.window, couple.limit)
            for couple in self.coupled
            for stub, other in itertools.permutations(couple.stubs, 2)
            if stub.hole == other.hole
        )
        return tuple(dict.fromkeys(pairs))

    @cached_property
    def _set_ups_of_both_sides(self) -> frozenset[SetUp]:
        """Set-ups of holes that are drilled from both sides. There an end other than the deepest may be needed."""
        return frozenset(set_up_of(window) for window, _, _ in self._drilled_from_both_sides)

    @cached_property
    def _extra_ends(self) -> dict[Window, set[float]]:
        """Ends [m] other than the deepest, for two sides of a hole that share a sum of losses and limit each other."""
        ends: dict[Window, set[float]] = defaultdict(set)
        for one, other, limit in self._drilled_from_both_sides:
            if np.isfinite(limit) and not (one.reasons or other.reasons or independent(one, other)):
                for window, more in zip((one, other), split_ends(one, other), strict=True):
                    ends[window].update(more)
        return ends

    def _ends_offered_by(self, window: Window) -> dict[float, str]:
        """Ends [m] that one window offers, each with the must-not-cut layer that it belongs to, "" for none."""
        view = side_view(self.stackup, self.rules, window.side)
        layers = slice(1, view.position(window.layer) + 1)
        aimed = self.rules.tolerance.aimed(view.near[layers])
        if aimed is None:
            free = [window.deepest_si, *self._extra_ends.get(window, ())]
            free += [window.shallowest_si] * (set_up_of(window) in self._set_ups_of_both_sides)
            return {round(end, 10): "" for end in free}
        ends = zip(np.round(aimed, 10).tolist(), view.names[layers], strict=True)
        return {end: layer for end, layer in ends if window.holds(end)}

    @cached_property
    def _servers_of(self) -> dict[Window, tuple[int, ...]]:
        """Numbers of the candidate groups that can serve each window, in rising order."""
        by_set_up: dict[SetUp, list[int]] = defaultdict(list)
        for number, candidate in enumerate(self.candidates):
            by_set_up[candidate.side, candidate.drill_si].append(number)
        return {
            window: tuple(n for n in by_set_up[set_up_of(window)] if window.holds(self.candidates[n].end_si))
            for window in self._windows
        }

    @cached_property
    def _server_sets(self) -> dict[Window, Servers]:
        return {window: frozenset(numbers) for window, numbers in self._servers_of.items()}

    @cached_property
    def margins(self) -> StubMargins:
        """Margins over limit of the stubs with each of their candidate groups."""
        return StubMargins(self)

    def servers(self, stub: Drillable) -> Servers:
        """Candidate groups that can serve a stub.

        Parameters
        ----------
        stub : Drillable
            The stub.

        Returns
        -------
        Servers
            Their numbers.
        """
        return self._server_sets[stub.window]

    @cached_property
    def choices(self) -> tuple[JointChoice, ...]:
        """The joint choice of each set of coupled stubs, in their order."""
        lengths = [
            (stub, length)
            for couple in self.coupled
            if np.isfinite(couple.limit)
            for stub in couple.stubs
            for length in self._longest_left(stub)
        ]
        losses = iter(_losses(lengths))
        return tuple(self._joint_choice(couple, losses) for couple in self.coupled)

    def _longest_left(self, stub: Drillable) -> Iterator[float]:
        """Length of the stub that counts [m]: first undrilled, then with each of its candidate groups."""
        window = stub.window
        yield window.shape.stub_length_si
        for number in self._servers_of[window]:
            yield kept_length(window, self.candidates[number].end_si)

    def _joint_choice(self, couple: CoupledStubs, losses: Iterator[float]) -> JointChoice:
        """Joint choice of coupled stubs. For a sum of losses, it takes one loss from the iterator for each option."""
        options = []
        for stub in couple.stubs:
            servers = self._servers_of[stub.window]
            if np.isinf(couple.limit):
                options.append(tuple((number, 0.0) for number in servers))
            else:
                pairs = zip((UNDRILLED, *servers), losses, strict=False)
                options.append(tuple((number, loss) for number, loss in pairs if np.isfinite(loss)))
        return JointChoice(tuple(options), couple.limit, self._excluded(couple))

    def _excluded(self, couple: CoupledStubs) -> tuple[tuple[StubAndGroup, StubAndGroup], ...]:
        """Pairs of (stub, group) that would leave too little plated barrel in a hole drilled from both sides."""
        return tuple(
            ((i, a), (j, b))
            for (i, first), (j, second) in itertools.combinations(enumerate(couple.stubs), 2)
            if first.hole == second.hole
            for a, b in self._excluded_groups(first.window, second.window)
        )

    def _excluded_groups(self, one: Window, other: Window) -> tuple[tuple[int, int], ...]:
        """Pairs of candidate groups that leave too little plated barrel between the two sides of a hole."""
        if (one, other) not in self._known_excluded:
            pairs = itertools.product(self._least_left(one), self._least_left(other))
            self._known_excluded[one, other] = tuple(
                (a, b) for (a, a_left), (b, b_left) in pairs if not plated_enough(one, other, a_left, b_left)
            )
        return self._known_excluded[one, other]

    @cached_property
    def _known_excluded(self) -> dict[tuple[Window, Window], tuple[tuple[int, int], ...]]:
        return {}

    def _least_left(self, window: Window) -> list[tuple[int, float]]:
        """Each candidate group of a window, and the least plating [m] that it leaves."""
        return [(n, window.left(self.candidates[n].end_si).least_si) for n in self._servers_of[window]]


def set_up_of(window: Window) -> SetUp:
    """Set-up in which a stub is drilled.

    Parameters
    ----------
    window : Window
        Window of the stub.

    Returns
    -------
    SetUp
        Side and diameter.
    """
    return window.side, round(window.drill_si, 9)


def _losses(lengths: Sequence[tuple[Drillable, float]]) -> list[float]:
    """Loss at Nyquist [dB] of stubs cut to lengths [m]."""
    numbers_of: dict[Limits, list[int]] = defaultdict(list)
    for number, (stub, _) in enumerate(lengths):
        numbers_of[stub.limits].append(number)
    losses = np.zeros(len(lengths))
    for limits, numbers in numbers_of.items():
        losses[numbers] = limits.losses([lengths[i][0].row for i in numbers], [lengths[i][1] for i in numbers])
    return losses.tolist()
