"""Owns the re-routes: the nets that hold a drill group open, where they could move, and what the best moves save.

A net holds a drill group open if no other group of the plan can serve its stubs. Without these nets, the plan would not
need the group.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from stubsi.board.names import how_many
from stubsi.drilling.group_count import GroupCount
from stubsi.drilling.net_moves import moves_of_nets
from stubsi.drilling.open_groups import OpenGroups
from stubsi.drilling.proposal import Proposal, WhyNoMove
from stubsi.drilling.refused_nets import RefusedNet, refused_nets_of
from stubsi.read_only import ReadOnlyMapping

if TYPE_CHECKING:
    from collections.abc import Iterable

    from stubsi.drilling.drill_group import Group
    from stubsi.drilling.net_moves import Move
    from stubsi.drilling.plan import Plan

MOST_PAIRS = 2000
"""Most pairs of moves that are tried. Pairs of nets that hold a group with the fewest other nets are tried first."""


class Option(NamedTuple):
    """A move after which the net does not need its group any more.

    Parameters
    ----------
    move : Move
        The move.
    joins : tuple of int
        Numbers of the other groups that then serve the net. Empty: it then needs no drilling.
    """

    move: Move
    joins: tuple[int, ...]

    def __str__(self) -> str:
        outcome = f"joins group {', '.join(map(str, self.joins))}" if self.joins else "needs no drilling"
        return f"{self.move}: {outcome}"


class HeldGroup(NamedTuple):
    """A group, and the nets that hold it open because no other open group can serve them.

    Parameters
    ----------
    group : Group
        The group.
    nets : tuple of str
        Names of the nets.
    options : tuple of Option
        Moves after which such a net does not need the group any more.
    without_move : mapping of net name to WhyNoMove
        The nets without such a move, and why.
    """

    group: Group
    nets: tuple[str, ...]
    options: tuple[Option, ...]
    without_move: ReadOnlyMapping[str, WhyNoMove]

    def __str__(self) -> str:
        lines = [f"group {self.group.number} is held open by {', '.join(self.nets)}"]
        lines += [f"    {option}" for option in self.options]
        return "\n".join(lines + [f"    {net}: {why}" for net, why in self.without_move.items()])

    def __repr__(self) -> str:
        nets, moves = how_many(len(self.nets), "net"), how_many(len(self.options), "possible move")
        return f"<HeldGroup {self.group.number}: held open by {nets}, {moves}>"


@dataclass(frozen=True, repr=False)
class Reroutes:
    """For every group, the nets that hold it open; the best moves; and the moves of nets with a refused stub.

    Parameters
    ----------
    held_groups : tuple of HeldGroup
        One for each group of the plan.
    single, pair : Proposal or None
        The best single move and the best pair of moves; None where nothing is saved.
    refused_nets : tuple of RefusedNet
        One for each net with a refused stub: the moves after which all of its stubs can be drilled.
    """

    held_groups: tuple[HeldGroup, ...]
    single: Proposal | None
    pair: Proposal | None
    refused_nets: tuple[RefusedNet, ...] = ()

    def __str__(self) -> str:
        lines = [str(each) for each in (*self.held_groups, *self.refused_nets)]
        for name, proposal in (("best single move", self.single), ("best pair of moves", self.pair)):
            lines.append(f"{name}: {proposal or 'none saves a group'}")
        return "\n".join(lines)

    def _repr_html_(self) -> str:
        from stubsi.show.html import reroutes_html

        return reroutes_html(self)

    def __repr__(self) -> str:
        single, pair = (proposal.saved if proposal else 0 for proposal in (self.single, self.pair))
        return f"<Reroutes: the best single move saves {how_many(single, 'group')}, the best pair {pair}>"


def reroutes_of(plan: Plan) -> Reroutes:
    """Find the layers that nets which hold groups open or have a refused stub could move to, and the best moves.

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
    Nets move only to routing layers that they may use; a plane is never one of them. A move replaces a layer in all
    holes of a net. Then the net is judged again, with its return vias. A move is not proposed if a stub of the net
    cannot be drilled afterwards, or if it is not known whether the net then needs drilling.
    """
    holders = {group.number: _nets_that_hold_open(plan, group) for group in plan.groups}
    every_move, drilled = moves_of_nets(plan), {hit.net for hit in plan.hits}
    moves = [move for move in every_move if move.net in drilled]
    moves_of: dict[str, list[Move]] = defaultdict(list)
    for move in every_move:
        moves_of[move.net].append(move)
    held_groups = tuple(_held_group(plan, group, holders[group.number], moves_of) for group in plan.groups)
    group_count = GroupCount(plan)
    single = _best_proposal(group_count, [(move,) for move in moves])
    holder_count = {net: len(nets) for nets in sorted(holders.values(), key=len, reverse=True) for net in nets}
    few_first = sorted(moves, key=lambda move: holder_count.get(move.net, len(moves)))
    pairs = (pair for pair in itertools.combinations(few_first, 2) if pair[0].net != pair[1].net)
    least_saved = single.saved + 1 if single else 1
    pair = _best_proposal(group_count, itertools.islice(pairs, MOST_PAIRS), least_saved)
    return Reroutes(held_groups, single, pair, refused_nets_of(plan, moves_of, group_count))


def _best_proposal(
    group_count: GroupCount, candidates: Iterable[tuple[Move, ...]], least_saved: int = 1
) -> Proposal | None:
    """Moves that save the most groups, then those with the fewest stubs to drill; None if all save too few groups."""
    proposals = (Proposal(moves, group_count.saved(moves)) for moves in candidates)
    return min(
        (proposal for proposal in proposals if proposal.saved >= least_saved),
        key=lambda proposal: (-proposal.saved, sum(move.stubs for move in proposal.moves)),
        default=None,
    )


def _other_groups(plan: Plan, group: Group) -> OpenGroups:
    return OpenGroups.of_plan(plan, [other for other in plan.groups if other.number != group.number])


def _nets_that_hold_open(plan: Plan, group: Group) -> tuple[str, ...]:
    """Nets of a group that the other open groups could not serve."""
    nets = set(group.nets)
    single = [stub for stub in plan.task.single if stub.net in nets]
    coupled = [couple for couple in plan.task.coupled if couple.net in nets]
    return tuple(sorted(_other_groups(plan, group).unserved(single, coupled)))


def _held_group(plan: Plan, group: Group, nets: tuple[str, ...], moves_of: dict[str, list[Move]]) -> HeldGroup:
    """The nets that hold a group open, with the moves after which they do not need it any more."""
    others = _other_groups(plan, group)
    options = [
        Option(move, others.joined(move.single, move.coupled) if move.stubs else ())
        for net in nets
        for move in moves_of[net]
        if not others.unserved(move.single, move.coupled)
    ]
    with_option = {option.move.net for option in options}
    layers = {net.name: net.layers for net in plan.board.signal_nets}
    without_move = {
        net: WhyNoMove.NO_LAYER_FREES_IT if len(layers[net]) > 1 else WhyNoMove.NO_OTHER_LAYER
        for net in nets
        if net not in with_option
    }
    return HeldGroup(group, nets, tuple(options), ReadOnlyMapping(without_move))
