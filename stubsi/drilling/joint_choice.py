"""Owns joint choices: stubs whose groups are chosen together, because of a sum or because groups exclude each other.

Groups are numbers; nothing here knows of boards.
"""

from __future__ import annotations

from typing import NamedTuple, TypeAlias

import numpy as np

Servers: TypeAlias = frozenset[int]
"""Groups that can serve a stub. One of them is enough."""

Coordinates: TypeAlias = tuple[int, int, int]
"""Side, set-up and depth of a group, each as a number. A deeper group has a greater third number."""

StubAndGroup: TypeAlias = tuple[int, int]
"""Number of a stub in its joint choice, and the group that serves it."""

UNDRILLED = -1
"""Stands in the place of a group where the stub is left undrilled."""


class JointChoice(NamedTuple):
    """Stubs of one net whose groups are chosen together.

    ``options`` holds, for each stub, pairs of a group (or ``UNDRILLED``) and what this option adds to the sum.
    ``limit`` is the limit of the sum and is positive. ``excluded`` holds pairs of (stub, group) that cannot both be
    chosen. ``nets`` is the number of nets that have the same choice.
    """

    options: tuple[tuple[tuple[int, float], ...], ...]
    limit: float = np.inf
    excluded: tuple[tuple[StubAndGroup, StubAndGroup], ...] = ()
    nets: int = 1


class Requirement(NamedTuple):
    """Groups of which a joint choice must open at least one, and the numbers of the stubs that demand it."""

    groups: Servers
    stubs: tuple[int, ...]


def requirements(choice: JointChoice) -> list[Requirement]:
    """Sets of groups. A joint choice must open at least one group of each set.

    There is one set for each stub that cannot stay undrilled. If every stub can stay undrilled, but not all of them
    together, there is one set for all stubs.

    Parameters
    ----------
    choice : JointChoice
        The stubs whose groups are chosen together.

    Returns
    -------
    list[Requirement]
        The requirements.
    """
    least = [min(add for _, add in stub) for stub in choice.options]
    needed = []
    for i, stub in enumerate(choice.options):
        rest = sum(least) - least[i]
        fits = frozenset(group for group, add in stub if within(rest + add, choice.limit))
        if UNDRILLED not in fits:
            needed.append(Requirement(fits, (i,)))
    all_undrilled = sum(dict(stub).get(UNDRILLED, np.inf) for stub in choice.options)
    if not needed and not within(all_undrilled, choice.limit):
        groups = frozenset(group for stub in choice.options for group, _ in stub if group != UNDRILLED)
        needed.append(Requirement(groups, tuple(range(len(choice.options)))))
    return needed


def possible(choice: JointChoice) -> bool:
    """Whether a joint choice has any solution: the sum within its limit and no excluded pair.

    Parameters
    ----------
    choice : JointChoice
        The stubs whose groups are chosen together.

    Returns
    -------
    bool
        True if there is a solution.
    """
    least = [min((add for _, add in stub), default=np.inf) for stub in choice.options]
    excluded = {frozenset(pair) for pair in choice.excluded}

    def can_be_completed(chosen: tuple[StubAndGroup, ...], total: float) -> bool:
        stub = len(chosen)
        if not within(total + sum(least[stub:]), choice.limit):
            return False
        if stub == len(least):
            return True
        return any(
            can_be_completed((*chosen, (stub, group)), total + add)
            for group, add in sorted(choice.options[stub], key=lambda option: option[1])
            if not any(frozenset((earlier, (stub, group))) in excluded for earlier in chosen)
        )

    return can_be_completed((), 0.0)


def within(total: float, limit: float) -> bool:
    """Whether a sum is within its limit, up to rounding.

    Parameters
    ----------
    total : float
        The sum.
    limit : float
        The limit.

    Returns
    -------
    bool
    """
    return total <= limit * (1 + 1e-9)
