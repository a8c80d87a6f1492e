"""Owns the search within one joint choice: whether some open groups can serve its stubs, and how they serve them best.

Once the open groups are known, no joint choice depends on another one.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np

from stubsi.drilling.joint_choice import UNDRILLED, within

if TYPE_CHECKING:
    from collections.abc import Collection

    from stubsi.drilling.joint_choice import JointChoice, Servers, StubAndGroup


class JointSearch:
    """What some open groups can do for one joint choice. Answers are remembered.

    Parameters
    ----------
    choice : JointChoice
        The stubs whose groups are chosen together.
    """

    def __init__(self, choice: JointChoice) -> None:
        self.choice = choice
        self.groups: Servers = frozenset(
            group for options in choice.options for group, _ in options if group != UNDRILLED
        )
        self._excluded = {frozenset(pair) for pair in choice.excluded}
        self._bound = {stub for pair in choice.excluded for stub, _ in pair}
        self._served: dict[Servers, bool] = {}
        self._best: dict[Servers, tuple[int, ...]] = {}

    def is_served(self, opened: Collection[int]) -> bool:
        """Whether some open groups can serve the stubs.

        Parameters
        ----------
        opened : collection of int
            Numbers of the open groups.

        Returns
        -------
        bool
        """
        useful = self.groups.intersection(opened)
        if useful not in self._served:
            self._served[useful] = self._first_within_limit(self._options(useful)) is not None
        return self._served[useful]

    def missing(self, opened: Collection[int]) -> Servers:
        """A set of groups of which one must be opened, where some open groups cannot serve the stubs.

        Parameters
        ----------
        opened : collection of int
            Numbers of the open groups.

        Returns
        -------
        Servers
            No smaller part of the set has this property by what was tried.
        """
        allowed = set(self.groups.intersection(opened))
        for group in sorted(self.groups - allowed):
            if not self.is_served(allowed | {group}):
                allowed.add(group)
        return self.groups - allowed

    def best(self, opened: Collection[int]) -> tuple[int, ...]:
        """How some open groups serve the stubs best: with the fewest hits, then with the deepest ends.

        Parameters
        ----------
        opened : collection of int
            Numbers of the open groups, which can serve the stubs.

        Returns
        -------
        tuple of int
            Group of each stub, ``UNDRILLED`` for none.
        """
        useful = self.groups.intersection(opened)
        if useful not in self._best:
            self._best[useful] = self._fewest_hits_deepest_ends(self._options(useful))
        return self._best[useful]

    def _fewest_hits_deepest_ends(self, options: list[list[tuple[int, float]]]) -> tuple[int, ...]:
        """The choice with the fewest hits, then with the deepest ends."""
        least = _sums_from_each_place([min((add for _, add in own), default=np.inf) for own in options])
        deepest = _sums_from_each_place(
            [max((group for group, _ in own if group != UNDRILLED), default=0) for own in options]
        )
        ordered = [sorted(own, key=lambda option: (option[0] != UNDRILLED, -option[0])) for own in options]
        best: tuple[tuple[int, int], tuple[int, ...]] | None = None

        def search(chosen: tuple[StubAndGroup, ...], total: float, hits: int, depth: int) -> None:
            nonlocal best
            stub = len(chosen)
            if not within(total + least[stub], self.choice.limit):
                return
            if best is not None and (hits, -depth - deepest[stub]) >= best[0]:
                return
            if stub == len(options):
                best = (hits, -depth), tuple(group for _, group in chosen)
                return
            for group, add in ordered[stub]:
                if not self._is_excluded(chosen, (stub, group)):
                    drilled = group != UNDRILLED
                    search((*chosen, (stub, group)), total + add, hits + drilled, depth + group * drilled)

        search((), 0.0, 0, 0)
        assert best is not None, "the groups serve the stubs"
        return best[1]

    def _options(self, useful: Servers) -> list[list[tuple[int, float]]]:
        """The options of each stub with these groups open, the one that adds least first.

        Of a stub that excludes nothing, a group is left out where a deeper one adds no more.
        """
        every = []
        for stub, own in enumerate(self.choice.options):
            open_ones = [each for each in own if each[0] == UNDRILLED or each[0] in useful]
            every.append(sorted(open_ones if stub in self._bound else _undominated(open_ones), key=_added_to_sum))
        return every

    def _is_excluded(self, chosen: tuple[StubAndGroup, ...], one: StubAndGroup) -> bool:
        return bool(self._excluded) and any(frozenset((earlier, one)) in self._excluded for earlier in chosen)

    def _first_within_limit(self, options: list[list[tuple[int, float]]]) -> tuple[StubAndGroup, ...] | None:
        """The first choice that is found within the limit; None where there is none."""
        least = _sums_from_each_place([min((add for _, add in own), default=np.inf) for own in options])

        def completed(chosen: tuple[StubAndGroup, ...], total: float) -> tuple[StubAndGroup, ...] | None:
            stub = len(chosen)
            if not within(total + least[stub], self.choice.limit):
                return None
            if stub == len(options):
                return chosen
            for group, add in options[stub]:
                if not self._is_excluded(chosen, (stub, group)):
                    found = completed((*chosen, (stub, group)), total + add)
                    if found is not None:
                        return found
            return None

        return completed((), 0.0)


def _added_to_sum(option: tuple[int, float]) -> float:
    return option[1]


def _undominated(options: list[tuple[int, float]]) -> list[tuple[int, float]]:
    """Options without those groups where a deeper one adds no more."""
    kept, least = [], np.inf
    for group, add in sorted(options, reverse=True):
        if group == UNDRILLED or add < least:
            kept.append((group, add))
            least = min(least, add)
    return kept


def _sums_from_each_place(values: list[float]) -> list[float]:
    """Sum of the values from each place on, with 0 behind the last one."""
    return [*itertools.accumulate(reversed(values), initial=0.0)][::-1]
