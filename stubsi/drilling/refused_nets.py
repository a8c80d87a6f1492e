"""Owns the layers that are offered to nets with a stub that cannot be brought to its budget."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from stubsi.board.names import how_many, shortened
from stubsi.drilling.proposal import Proposal, WhyNoMove

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from stubsi.drilling.group_count import GroupCount
    from stubsi.drilling.net_moves import Move
    from stubsi.drilling.plan import Plan


class RefusedNet(NamedTuple):
    """A net with a stub that cannot be brought to its budget, and the moves after which that is no longer so.

    Parameters
    ----------
    net : str
        Name of the net.
    proposals : tuple of Proposal
        A single move each: first those that need the fewest drill groups, then those with the fewest stubs to drill.
    why_none : WhyNoMove or None
        Why there is none; None where there are some.
    """

    net: str
    proposals: tuple[Proposal, ...]
    why_none: WhyNoMove | None

    def outcomes(self) -> tuple[str, ...]:
        """What each proposal does, in words.

        Returns
        -------
        tuple of str
            One text for each proposal.
        """
        return tuple(f"{proposal.moves[0]}: {_outcome(proposal)}" for proposal in self.proposals)

    def __str__(self) -> str:
        offered = [f"    {outcome}" for outcome in self.outcomes()] or [f"    {self.why_none}"]
        return "\n".join([f"net {self.net} cannot be brought to its budget", *offered])

    def __repr__(self) -> str:
        return f"<RefusedNet {shortened(self.net)}: {how_many(len(self.proposals), 'possible move')}>"


def _outcome(proposal: Proposal) -> str:
    stubs = sum(move.stubs for move in proposal.moves)
    needs = "needs no drilling" if not stubs else f"{how_many(stubs, 'stub')} can be drilled"
    return f"{needs}, {proposal.outcome if proposal.saved else 'as many drill groups as before'}"


def refused_nets_of(
    plan: Plan, moves_of: Mapping[str, Sequence[Move]], group_count: GroupCount
) -> tuple[RefusedNet, ...]:
    """The nets of a plan with a stub that is refused or misses its budget, each with the moves offered to it.

    Parameters
    ----------
    plan : Plan
        The plan.
    moves_of : mapping of net name to sequence of Move
        Moves after which the net can be built and drilled.
    group_count : GroupCount
        Counts the groups after a move.

    Returns
    -------
    tuple of RefusedNet
        In order of the names of the nets.
    """
    names = sorted({refused.net for refused in plan.refused} | {hit.net for hit in plan.missed})
    return tuple(_refused_net(plan, name, moves_of.get(name, ()), group_count) for name in names)


def _refused_net(plan: Plan, net: str, moves: Sequence[Move], group_count: GroupCount) -> RefusedNet:
    proposals = [Proposal((move,), group_count.saved((move,))) for move in moves]
    proposals.sort(key=lambda proposal: (-proposal.saved, proposal.moves[0].stubs))
    if proposals:
        return RefusedNet(net, tuple(proposals), None)
    other_layers = len(plan.board.net(net).layers) > 1
    return RefusedNet(net, (), WhyNoMove.NO_LAYER_HELPS if other_layers else WhyNoMove.NO_OTHER_LAYER)
