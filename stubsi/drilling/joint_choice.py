"""Owns stubs whose groups are chosen together: what each group adds to their sum, and which groups exclude each other.

Groups are numbers; nothing here knows of boards.
"""

from __future__ import annotations

from typing import NamedTuple, TypeAlias

import numpy as np

Servers: TypeAlias = frozenset[int]
"""Groups any one of which serves a stub."""

Coordinates: TypeAlias = tuple[int, int, int]
"""Side, set-up and depth of a group, each as a number; a deeper group has a greater one."""

StubAndGroup: TypeAlias = tuple[int, int]
"""Number of a stub of a joint choice, and the group that serves it."""

UNDRILLED = -1
"""Stands for no group: the stub is left as it is."""


class JointChoice(NamedTuple):
    """Stubs of one net whose groups are chosen together.

    ``options`` holds, for each stub, pairs of (group or ``UNDRILLED``, what it adds to the sum). ``limit`` is that of
    the sum, and positive. ``excluded`` holds pairs of (stub, group) that cannot both be chosen. ``nets`` says how many
    nets have the same choice.
    """

    options: tuple[tuple[tuple[int, float], ...], ...]
    limit: float = np.inf
    excluded: tuple[tuple[StubAndGroup, StubAndGroup], ...] = ()
    nets: int = 1


class Requirement(NamedTuple):
    """Groups one of which a joint choice must open, whatever else is chosen, and the numbers of the stubs behind it."""

    groups: Servers
    stubs: tuple[int, ...]


def requirements(choice: JointChoice) -> list[Requirement]:
    """Sets of groups of each of which a joint choice must open one.

    There is one for each stub that cannot stay undrilled; if there is no such stub, one for all stubs together.

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
        fits = frozenset(group for group, add in stub if _within(rest + add, choice.limit))
        if UNDRILLED not in fits:
            needed.append(Requirement(fits, (i,)))
    all_undrilled = sum(dict(stub).get(UNDRILLED, np.inf) for stub in choice.options)
    if not needed and not _within(all_undrilled, choice.limit):
        groups = frozenset(group for stub in choice.options for group, _ in stub if group != UNDRILLED)
        needed.append(Requirement(groups, tuple(range(len(choice.options)))))
    return needed


def possible(choice: JointChoice) -> bool:
    """Whether any groups keep a joint choice within its limit and apart from the excluded pairs.

    Parameters
    ----------
    choice : JointChoice
        The stubs whose groups are chosen together.

    Returns
    -------
    bool
        True if there is a choice.
    """
    least = [min((add for _, add in stub), default=np.inf) for stub in choice.options]
    excluded = {frozenset(pair) for pair in choice.excluded}

    def goes_on(chosen: tuple[tuple[int, int], ...], total: float) -> bool:
        stub = len(chosen)
        if not _within(total + sum(least[stub:]), choice.limit):
            return False
        if stub == len(least):
            return True
        return any(
            goes_on((*chosen, (stub, group)), total + add)
            for group, add in sorted(choice.options[stub], key=lambda option: option[1])
            if not any(frozenset((earlier, (stub, group))) in excluded for earlier in chosen)
        )

    return goes_on((), 0.0)


def _within(total: float, limit: float) -> bool:
    return total <= limit * (1 + 1e-9)
