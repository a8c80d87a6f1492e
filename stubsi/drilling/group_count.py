"""Owns the number of drill groups after moves of nets. Moves that change the plan in the same way are counted once."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING, TypeAlias

from stubsi.drilling.grouping import group_stubs

if TYPE_CHECKING:
    from collections.abc import Hashable

    from stubsi.drilling.drill_task import CoupledStubs
    from stubsi.drilling.net_moves import Move
    from stubsi.drilling.plan import Plan
    from stubsi.drilling.window import Window

    Moves: TypeAlias = tuple[Move, ...]

TIME_LIMIT = 60.0
"""Time limit of the solver for each count [s]."""


class GroupCount:
    """Counts the groups of a plan with some of its nets moved. Of stubs with equal windows, only one is looked at."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.stub_of = {stub.window: stub for stub in plan.task.single}
        self.number = {window: number for number, window in enumerate(self.stub_of)}
        self.count = Counter(self.number[stub.window] for stub in plan.task.single)
        self.windows_of: dict[str, Counter[int]] = defaultdict(Counter)
        for stub in plan.task.single:
            self.windows_of[stub.net][self.number[stub.window]] += 1
        self.coupled_of: dict[str, list[CoupledStubs]] = defaultdict(list)
        for couple in plan.task.coupled:
            self.coupled_of[couple.net].append(couple)
        self._saved: dict[Hashable, int] = {}

    def saved(self, moves: Moves) -> int:
        """Groups saved by some moves; negative if there are more groups afterwards.

        Parameters
        ----------
        moves : Moves
            Moves made together, each of a different net.

        Returns
        -------
        int
            Number of groups.
        """
        key = self._change_of_task(moves)
        if key not in self._saved:
            self._saved[key] = len(self.plan.groups) - self._groups_after(moves)
        return self._saved[key]

    def _windows_given_up(self, moves: Moves) -> frozenset[int]:
        """Numbers of the windows that no net has any more after the moves."""
        if len(moves) == 1:
            removed = self.windows_of[moves[0].net]
        else:
            removed = sum((self.windows_of[move.net] for move in moves), Counter[int]())
        return frozenset(number for number, count in removed.items() if self.count[number] == count)

    def _change_of_task(self, moves: Moves) -> Hashable:
        """Key that is equal for moves which add and remove the same windows and the same coupled stubs."""
        added = frozenset(_window_key(stub.window) for move in moves for stub in move.single)
        coupled = Counter(_coupled_key(couple) for move in moves for couple in move.coupled)
        removed = Counter(_coupled_key(couple) for move in moves for couple in self.coupled_of.get(move.net, ()))
        return self._windows_given_up(moves), added, frozenset(coupled.items()), frozenset(removed.items())

    def _groups_after(self, moves: Moves) -> int:
        """Number of groups after the moves."""
        given_up, task, nets = self._windows_given_up(moves), self.plan.task, {move.net for move in moves}
        single = [stub for window, stub in self.stub_of.items() if self.number[window] not in given_up]
        single += [stub for move in moves for stub in move.single]
        coupled = [couple for couple in task.coupled if couple.net not in nets]
        coupled += [couple for move in moves for couple in move.coupled]
        changed = replace(task, single=tuple(single), coupled=tuple(coupled))
        return len(group_stubs(changed, self.plan.costs, TIME_LIMIT, self.plan.goal).cover.groups)


def _window_key(window: Window) -> Hashable:
    """All that decides which groups can serve a stub that is not coupled."""
    return window.side, window.drill_si, window.shallowest_si, window.deepest_si, window.layer


def _coupled_key(couple: CoupledStubs) -> Hashable:
    """All that decides the joint choice of coupled stubs: windows, electrical use, and which stubs share a hole."""
    holes = list(dict.fromkeys(stub.hole.name for stub in couple.stubs))
    return couple.limit, tuple((stub.window, stub.use, holes.index(stub.hole.name)) for stub in couple.stubs)
