"""Owns the re-routes: which nets hold a drill group open, where they could move, and what the best moves save."""

from __future__ import annotations

import itertools
from collections import defaultdict
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, NamedTuple

from stubsi.board.board import Board
from stubsi.drilling.drill_task import CandidateGroup, DrillTask, set_up_of
from stubsi.drilling.group_count import TIME_LIMIT, GroupCount
from stubsi.drilling.grouping import group_stubs
from stubsi.drilling.joint_choice import possible
from stubsi.drilling.net_moves import moved, moves_of_drilled_nets
from stubsi.value import checked

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterable, Sequence

    from stubsi.drilling.drill_group import Group
    from stubsi.drilling.drill_task import CoupledStubs, Drillable
    from stubsi.drilling.net_moves import Move
    from stubsi.drilling.plan import Plan
    from stubsi.drilling.window import Window

MOST_PAIRS = 2000
"""Pairs of moves that are tried at most; nets that hold a group with the fewest others come first."""


class Stuck(StrEnum):
    """Why no move of a net frees the group that it holds open. Each is also the text that is shown."""

    NO_OTHER_LAYER = "no other layer it may use"
    NO_LAYER_FREES_IT = "no layer it may use frees the group"


class Option(NamedTuple):
    """A move that frees the group it leaves.

    Parameters
    ----------
    move : Move
        The move.
    joins : tuple of int
        Numbers of the open groups that then serve the net. Empty: it needs no drilling.
    """

    move: Move
    joins: tuple[int, ...]

    def __str__(self) -> str:
        outcome = f"joins group {', '.join(map(str, self.joins))}" if self.joins else "needs no drilling"
        return f"{self.move}: {outcome}"


class Holding(NamedTuple):
    """A group, and the nets that hold it open because no other open group can serve them.

    Parameters
    ----------
    group : Group
        The group.
    nets : tuple of str
        Names of the nets.
    options : tuple of Option
        Moves of these nets that would free the group.
    stuck : dict of net name to Stuck
        The nets without such a move, and why.
    """

    group: Group
    nets: tuple[str, ...]
    options: tuple[Option, ...]
    stuck: dict[str, Stuck]

    def __str__(self) -> str:
        lines = [f"group {self.group.number} is held open by {', '.join(self.nets)}"]
        lines += [f"    {option}" for option in self.options]
        return "\n".join(lines + [f"    {net}: {why}" for net, why in self.stuck.items()])

    def __repr__(self) -> str:
        return f"<Holding of group {self.group.number} by {len(self.nets)} nets, {len(self.options)} moves free it>"


class Proposal(NamedTuple):
    """Moves proposed together. The library itself never applies them.

    Parameters
    ----------
    moves : tuple of Move
        The moves, each of another net.
    saved : int
        Number of groups they save.
    """

    moves: tuple[Move, ...]
    saved: int

    def applied(self, board: Board) -> Board:
        """The board with these moves made.

        Parameters
        ----------
        board : Board
            The board.

        Returns
        -------
        Board
            The changed board.

        Raises
        ------
        BoardError
            Not a board, or a hole of it does not reach the new layer.
        """
        return moved(checked(board, "board", Board), self.moves)

    def __str__(self) -> str:
        return f"{' and '.join(map(str, self.moves))}: {self.saved} fewer drill groups"

    def __repr__(self) -> str:
        return f"<Proposal of {len(self.moves)} moves: {self.saved} fewer drill groups>"


@dataclass(frozen=True, repr=False)
class Reroutes:
    """What holds every group open, and the best moves.

    Parameters
    ----------
    holdings : tuple of Holding
        One for each group of the plan.
    single, pair : Proposal or None
        The best single move and the best pair of moves; None where nothing is saved.
    """

    holdings: tuple[Holding, ...]
    single: Proposal | None
    pair: Proposal | None

    def __str__(self) -> str:
        lines = [str(holding) for holding in self.holdings]
        for name, proposal in (("best single move", self.single), ("best pair of moves", self.pair)):
            lines.append(f"{name}: {proposal or 'none saves a group'}")
        return "\n".join(lines)

    def _repr_html_(self) -> str:
        from stubsi.show.html import reroutes_html

        return reroutes_html(self)

    def __repr__(self) -> str:
        saved = [proposal.saved if proposal else 0 for proposal in (self.single, self.pair)]
        return f"<Reroutes: the best single move saves {saved[0]} groups, the best pair {saved[1]}>"


def reroutes_of(plan: Plan) -> Reroutes:
    """Find the layers that nets which hold groups open could move to, and the moves of drilled nets that save most.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    Reroutes
        What holds every group open, and the best moves.

    Notes
    -----
    Nets move among the routing layers they may use. A move replaces a layer in all holes of a net, and the net is
    judged anew, its return vias included. A move is not proposed if a stub of the net cannot be drilled afterwards, or
    if it is undecided whether the net needs drilling.
    """
    holders = {group.number: _holders(plan, group) for group in plan.groups}
    moves = moves_of_drilled_nets(plan)
    moves_of: dict[str, list[Move]] = defaultdict(list)
    for move in moves:
        moves_of[move.net].append(move)
    holdings = tuple(_holding(plan, group, holders[group.number], moves_of) for group in plan.groups)
    count = GroupCount(plan)
    single = _best(count, [(move,) for move in moves])
    beside = {net: len(nets) for nets in sorted(holders.values(), key=len, reverse=True) for net in nets}
    few_first = sorted(moves, key=lambda move: beside.get(move.net, len(moves)))
    pairs = (pair for pair in itertools.combinations(few_first, 2) if pair[0].net != pair[1].net)
    least = single.saved + 1 if single else 1
    return Reroutes(holdings, single, _best(count, itertools.islice(pairs, MOST_PAIRS), least))


def _best(count: GroupCount, candidates: Iterable[tuple[Move, ...]], least: int = 1) -> Proposal | None:
    """Moves that save the most groups, at least so many; of equals the first with the fewest stubs left to drill."""
    proposals = (Proposal(moves, count.saved(moves)) for moves in candidates)
    return min(
        (proposal for proposal in proposals if proposal.saved >= least),
        key=lambda proposal: (-proposal.saved, sum(move.stubs for move in proposal.moves)),
        default=None,
    )


class _OpenGroups:
    """Some open groups of a plan, and which stubs they can serve."""

    def __init__(self, plan: Plan, groups: Sequence[Group]) -> None:
        self.plan, self.groups = plan, groups
        self.offered = tuple(CandidateGroup(group.side, group.drill_si, group.end_si, "") for group in groups)
        self.numbers = {candidate[:3]: group.number for candidate, group in zip(self.offered, groups, strict=True)}
        self._known: dict[Hashable, tuple[int, ...]] = {}

    def unserved(self, single: Sequence[Drillable], coupled: Sequence[CoupledStubs]) -> set[str]:
        """Nets of these stubs that these groups cannot serve."""
        served = {window for window in {stub.window for stub in single} if self._serve(window)}
        choices = zip(coupled, self._task((), coupled).choices if coupled else (), strict=True)
        return {stub.net for stub in single if stub.window not in served} | {
            couple.net for couple, choice in choices if not possible(choice)
        }

    def _serve(self, window: Window) -> bool:
        """Whether any of the groups serves a stub of this window."""
        set_up = set_up_of(window)
        return any((each.side, each.drill_si) == set_up and window.holds(each.end_si) for each in self.groups)

    def joined(self, move: Move) -> tuple[int, ...]:
        """Numbers of the groups that serve a net after its move."""
        key = (tuple(stub.window for stub in move.single), move.coupled)
        if key not in self._known:
            task = self._task(move.single, move.coupled)
            served_by = group_stubs(task, self.plan.costs, TIME_LIMIT).group_of.values()
            self._known[key] = tuple(sorted({self.numbers[task.candidates[number][:3]] for number in served_by}))
        return self._known[key]

    def _task(self, single: Sequence[Drillable], coupled: Sequence[CoupledStubs]) -> DrillTask:
        """Task of serving these stubs with these groups."""
        return DrillTask(self.plan.board.stackup, self.plan.rules, tuple(single), tuple(coupled), self.offered)


def _others(plan: Plan, group: Group) -> _OpenGroups:
    return _OpenGroups(plan, [other for other in plan.groups if other.number != group.number])


def _holders(plan: Plan, group: Group) -> tuple[str, ...]:
    """Nets of a group that the other open groups could not serve."""
    nets = set(group.nets)
    single = [stub for stub in plan.task.single if stub.net in nets]
    coupled = [couple for couple in plan.task.coupled if couple.net in nets]
    return tuple(sorted(_others(plan, group).unserved(single, coupled)))


def _holding(plan: Plan, group: Group, nets: tuple[str, ...], moves_of: dict[str, list[Move]]) -> Holding:
    """What holds a group, and the moves of its holders that free it."""
    others = _others(plan, group)
    options = [
        Option(move, others.joined(move) if move.stubs else ())
        for net in nets
        for move in moves_of[net]
        if not others.unserved(move.single, move.coupled)
    ]
    freed = {option.move.net for option in options}
    layers = {net.name: net.layers for net in plan.board.signal_nets}
    stuck = {
        net: Stuck.NO_LAYER_FREES_IT if len(layers[net]) > 1 else Stuck.NO_OTHER_LAYER
        for net in nets
        if net not in freed
    }
    return Holding(group, nets, tuple(options), stuck)
