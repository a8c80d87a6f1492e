"""Owns the margin over limit of every stub at every end that may be aimed at, and the task narrowed to a level of it.

The margin over limit is the figure that the criterion judges over its limit, or the limit over the figure where less is
better: 1 is just met. It is that of the longest stub that the tolerances may leave, or of the nominal stub where the
user wants the budget at nominal depth. It never falls from one end to a deeper one: where the figure itself does, the
lower one counts for the shallower ends, too.

Each stub is judged by itself here, with the clearances as drawn, because the groups are not chosen yet. The search for
the largest margin goes by this. What users see of a plan that is made is the margin of the whole net after drilling,
with the clearances that the drills need: ``net_margins``.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.drilling.joint_choice import UNDRILLED, possible
from stubsi.drilling.stub_use import figures
from stubsi.drilling.window import kept_length
from stubsi.margin.verdict import measured, over_limit

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from stubsi.board.criterion import Criterion
    from stubsi.drilling.drill_task import CandidateGroup, CoupledStubs, Drillable, DrillTask
    from stubsi.drilling.joint_choice import JointChoice, Servers
    from stubsi.drilling.stub_use import StubUse
    from stubsi.drilling.window import Window

MOST = 100.0
"""Largest margin over limit that is told apart [-]. One that is larger, or of a stub that is gone, counts as this."""
SAME = 1e-9
"""Relative difference up to which two margins are the same."""


class _Kind(NamedTuple):
    """What the margins of a stub depend on."""

    window: Window
    use: StubUse
    criterion: Criterion


class NarrowedTask(NamedTuple):
    """A task of drilling in which every stub may only be served by groups that leave it a margin.

    Parameters
    ----------
    candidates, single, coupled
        As in the task itself.
    choices : tuple of JointChoice
        Narrowed joint choices.
    servers_of : mapping of Drillable to Servers
        Narrowed servers of the single stubs.
    """

    candidates: tuple[CandidateGroup, ...]
    single: tuple[Drillable, ...]
    coupled: tuple[CoupledStubs, ...]
    choices: tuple[JointChoice, ...]
    servers_of: Mapping[Drillable, Servers]

    def servers(self, stub: Drillable) -> Servers:
        """Candidate groups that may serve a stub.

        Parameters
        ----------
        stub : Drillable
            The stub.

        Returns
        -------
        Servers
            Their numbers.
        """
        return self.servers_of[stub]


class StubMargins:
    """Margins over limit of the stubs of a task.

    Parameters
    ----------
    task : DrillTask
        The task.
    """

    def __init__(self, task: DrillTask) -> None:
        self.task = task
        judged = [*task.single, *(stub for couple in self._all_drilled for stub in couple.stubs)]
        self._kind = {stub: _Kind(stub.window, stub.use, stub.limits.criterion(stub.row)) for stub in judged}
        self._at = self._margins({kind: stub for stub, kind in self._kind.items()})
        self._best = {kind: max(at.values()) for kind, at in self._at.items()}

    @property
    def _all_drilled(self) -> Iterable[CoupledStubs]:
        """Coupled stubs without a limit for a sum: all of them must be drilled."""
        return (couple for couple in self.task.coupled if np.isinf(couple.limit))

    def _margins(self, stub_of: Mapping[_Kind, Drillable]) -> dict[_Kind, dict[int, float]]:
        """Margin of each kind of stub with each of its candidate groups."""
        servers = {kind: sorted(self.task.servers(stub)) for kind, stub in stub_of.items()}
        lengths = {
            (kind, number): kept_length(kind.window, candidate.end_si)
            for kind, numbers in servers.items()
            for number, candidate in ((number, self.task.candidates[number]) for number in numbers)
        }
        left = {place: length for place, length in lengths.items() if length > 0}
        margin_of = dict.fromkeys(lengths, MOST)
        models: dict[object, list[tuple[_Kind, int]]] = defaultdict(list)
        for place in left:
            models[stub_of[place[0]].limits.model].append(place)
        for places in models.values():
            wanted = {kind.criterion.measure for kind, _ in places}
            cut = np.array([left[place] for place in places])
            model = stub_of[places[0][0]].limits.model
            found = figures([kind.use for kind, _ in places], cut, model, wanted=wanted)
            for row, place in enumerate(places):
                criterion = place[0].criterion
                margin_of[place] = min(MOST, over_limit(criterion, measured(criterion, found.at(row)).low[0]))
        return {
            kind: dict(zip(numbers, _never_falling([margin_of[kind, number] for number in numbers]), strict=True))
            for kind, numbers in servers.items()
        }

    @cached_property
    def levels(self) -> tuple[float, ...]:
        """Every margin that a stub without a limit for a sum can have, in rising order."""
        return tuple(sorted({margin for at in self._at.values() for margin in at.values()}))

    @cached_property
    def has_sums(self) -> bool:
        """Whether nets have a limit for the sum of their losses. Their margins are not among the levels."""
        return any(np.isfinite(couple.limit) for couple in self.task.coupled)

    @cached_property
    def highest(self) -> float:
        """The level at which every stub and every sum has the best margin that it can have; 0 without stubs."""
        return max([0.0, *self.levels, *self._highest_of.values()])

    @cached_property
    def ceiling(self) -> float:
        """The largest smallest margin that any number of groups can give; ``MOST`` without stubs."""
        coupled = [
            min(
                [
                    self._highest_of[couple],
                    *(self._best[self._kind[stub]] for stub in couple.stubs if stub in self._kind),
                ]
            )
            for couple in self.task.coupled
        ]
        return min([MOST, *(self._best[self._kind[stub]] for stub in self.task.single), *coupled])

    @cached_property
    def _highest_of(self) -> dict[CoupledStubs, float]:
        """The highest level that each set of coupled stubs can reach."""
        known: dict[object, float] = {}
        levels: dict[CoupledStubs, float] = {}
        for couple, choice in zip(self.task.coupled, self.task.choices, strict=True):
            key = (choice, *(self._kind.get(stub) for stub in couple.stubs))
            if key not in known:
                known[key] = self._highest(couple, choice)
            levels[couple] = known[key]
        return levels

    def _highest(self, couple: CoupledStubs, choice: JointChoice) -> float:
        if np.isfinite(couple.limit):
            return _share(couple.limit, _least_sum(choice))
        own = {margin for stub in couple.stubs for margin in self._at[self._kind[stub]].values()}
        return next((level for level in sorted(own, reverse=True) if possible(self._kept(couple, choice, level))), 0.0)

    def narrowed(self, level: float) -> NarrowedTask:
        """The task in which every stub has a margin of at least ``level``, or the best that it can have.

        Parameters
        ----------
        level : float
            Margin over limit [-].

        Returns
        -------
        NarrowedTask
            The task.
        """
        of_kind = {
            kind: frozenset(number for number, margin in at.items() if margin >= self._wanted(kind, level))
            for kind, at in self._at.items()
        }
        choices = tuple(
            self._narrowed_choice(couple, choice, level)
            for couple, choice in zip(self.task.coupled, self.task.choices, strict=True)
        )
        servers_of = {stub: of_kind[self._kind[stub]] for stub in self.task.single}
        return NarrowedTask(self.task.candidates, self.task.single, self.task.coupled, choices, servers_of)

    def _wanted(self, kind: _Kind, level: float) -> float:
        return min(level, self._best[kind]) * (1 - SAME)

    def _narrowed_choice(self, couple: CoupledStubs, choice: JointChoice, level: float) -> JointChoice:
        reachable = min(level, self._highest_of[couple])
        if np.isfinite(couple.limit):
            return choice._replace(limit=choice.limit / max(1.0, reachable))
        return self._kept(couple, choice, reachable)

    def _kept(self, couple: CoupledStubs, choice: JointChoice, level: float) -> JointChoice:
        """A joint choice with those options only that leave each stub a margin."""
        kinds = [self._kind[stub] for stub in couple.stubs]
        options = tuple(
            tuple(option for option in its_options if self._at[kind][option[0]] >= self._wanted(kind, level))
            for kind, its_options in zip(kinds, choice.options, strict=True)
        )
        there = [{group for group, _ in its_options} for its_options in options]
        excluded = tuple(pair for pair in choice.excluded if all(group in there[stub] for stub, group in pair))
        return choice._replace(options=options, excluded=excluded)

    def of_nets(self, group_of: Mapping[Drillable, int]) -> dict[str, float]:
        """Smallest margin of each net, over its stubs in this task.

        Parameters
        ----------
        group_of : mapping of Drillable to int
            Number of the candidate group of each stub that is drilled.

        Returns
        -------
        dict of str to float
            Margin over limit [-] of each net, in order of their names.
        """
        found: dict[str, list[float]] = defaultdict(list)
        for stub, kind in self._kind.items():
            found[stub.net].append(self._at[kind][group_of[stub]])
        for couple, choice in zip(self.task.coupled, self.task.choices, strict=True):
            if np.isfinite(couple.limit):
                chosen = (group_of.get(stub, UNDRILLED) for stub in couple.stubs)
                total = sum(dict(options)[group] for options, group in zip(choice.options, chosen, strict=True))
                found[couple.net].append(_share(couple.limit, total))
        return {net: min(margins) for net, margins in sorted(found.items())}


def _share(limit: float, value: float) -> float:
    return min(MOST, limit / value) if value > 0 else MOST


def _never_falling(margins: list[float]) -> list[float]:
    """Margins from the shallowest end to the deepest, none larger than one of a deeper end."""
    return list(itertools.accumulate(reversed(margins), min))[::-1]


def _least_sum(choice: JointChoice) -> float:
    """The least sum of a joint choice. Excluded pairs are of two stubs of one hole, so each stub is in one pair."""
    excluded = {frozenset(pair) for pair in choice.excluded}
    partner = {one: other for (one, _), (other, _) in choice.excluded}
    total, paired = 0.0, set(partner) | set(partner.values())
    for one, other in partner.items():
        total += min(
            a_adds + b_adds
            for (a, a_adds), (b, b_adds) in itertools.product(choice.options[one], choice.options[other])
            if frozenset(((one, a), (other, b))) not in excluded
        )
    return total + sum(min(adds for _, adds in own) for n, own in enumerate(choice.options) if n not in paired)
