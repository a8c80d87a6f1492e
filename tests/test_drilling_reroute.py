"""Re-routes on boards drawn at random: what a move saves, and the best of them, by planning the moved boards anew."""

from __future__ import annotations

import itertools
from typing import NamedTuple

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from stubsi import Board, BoardError, CopperLayer, Criterion, Hole, Net, Stackup, plan
from stubsi.drilling.net_moves import Move, moved
from stubsi.drilling.reroute import _best_proposal
from tests import drilling_boards as made

LAYERS = ("L2", "L3", "L4", "L5")
RULES_OF_THUMB = made.rules(tip_angle=180, sides={"bottom": "any"}, tolerance=made.depth_tolerance(0.02, 0.02))


def planned(board, policy="stub by stub"):
    return plan(board, RULES_OF_THUMB, model="uniform", dk_eff=4.0, missed_nets=policy)


def not_met(found):
    """Names of the nets that miss their criterion whatever is drilled."""
    return {each.net for each in (*found.refused, *found.missed)}


def routed(name, layer, criterion, holes, allowed):
    drilled = tuple(Hole(name=f"{name}.{i}", padstack=made.VIA, connects=("L1", layer)) for i in range(holes))
    return Net(
        name=name, signal="28 Gb/s", z0="50 ohm", holes=drilled, criterion=criterion,
        layers=tuple(dict.fromkeys((layer, *allowed))),
    )  # fmt: skip


def boards(criteria, most_holes):
    """Up to five nets, each on one layer and free to move to some others; near faces every 0.30 mm from the bottom."""
    nets = st.lists(
        st.tuples(
            st.sampled_from(LAYERS), criteria, st.integers(1, most_holes), st.lists(st.sampled_from(LAYERS), max_size=2)
        ),
        min_size=1,
        max_size=5,
    )
    return nets.map(
        lambda drawn: Board(
            stackup=made.stackup((0.25,) * 5), nets=tuple(routed(f"n{i}", *net) for i, net in enumerate(drawn))
        )
    )


PER_HOLE = made.tenths(0.1, 1.0).map(lambda length: Criterion.stub_length(made.mm(length), source=made.SAYS))
SUMMED = st.sampled_from([0.05, 0.1, 0.2, 0.5, 1.0, 2.0]).map(lambda loss: Criterion.loss(loss, source=made.SAYS))


def every_move(board):
    """Every move of every net to a layer it may use, as (net, from, to)."""
    for net in board.nets:
        (old,) = {layer for hole in net.holes for layer in hole.connects} - {"L1"}
        yield from ((net.name, old, new) for new in net.layers if new != old)


def groups_after(board, before, moves):
    """Drill groups once moves are made; as many as before where a moved net is then refused."""
    after = planned(moved(board, [Move(*move, (), ()) for move in moves]), before.missed_nets)
    if not_met(after) & {net for net, _, _ in moves}:
        return len(before.groups)
    return len(after.groups)


def check_proposals(board, found):
    moves = found.reroutes()
    for proposal in (moves.single, moves.pair):
        if proposal:
            after = planned(proposal.applied(board), found.missed_nets)
            assert len(found.groups) - len(after.groups) == proposal.saved
    return moves


def check_best_moves(board, policy="stub by stub"):
    """Single moves and pairs of them: none saves more groups than those proposed."""
    found = planned(board, policy)
    moves = check_proposals(board, found)
    every = list(every_move(board))
    single = max((len(found.groups) - groups_after(board, found, [move]) for move in every), default=0)
    assert (moves.single.saved if moves.single else 0) == max(single, 0)
    pairs = [pair for pair in itertools.combinations(every, 2) if pair[0][0] != pair[1][0]]
    pair = max((len(found.groups) - groups_after(board, found, pair) for pair in pairs), default=0)
    assert (moves.pair.saved if moves.pair else 0) == (pair if pair > max(single, 0) else 0)


@pytest.mark.parametrize("criteria", [PER_HOLE, SUMMED, PER_HOLE | SUMMED], ids=["per hole", "summed", "both"])
@settings(max_examples=4)
@given(data=st.data())
def test_best_moves_by_trial_of_every_move(criteria, data):
    check_best_moves(data.draw(boards(criteria, 3)))


@settings(max_examples=5)
@given(board=boards(PER_HOLE | SUMMED, 2))
def test_best_moves_where_nets_that_miss_their_criterion_open_no_group(board):
    check_best_moves(board, "best effort")


@pytest.mark.slow
@settings(max_examples=2000)
@given(board=boards(PER_HOLE | SUMMED, 3), policy=st.sampled_from(["stub by stub", "best effort"]))
def test_best_moves_by_trial_of_every_move_thousands(board, policy):
    check_best_moves(board, policy)


def test_a_net_coupled_by_its_loss_is_proposed():
    """Two stubs of 1.2 mm that together lose too much: on L5 both are 0.3 mm long, and none is drilled."""
    net = routed("S", "L2", Criterion.loss(1.0, source=made.SAYS), 2, ("L5",))
    board = Board(stackup=made.stackup((0.25,) * 5), nets=(net,))
    found = planned(board)
    assert all(hit.coupled for hit in found.hits)
    assert len(found.groups) == 1
    moves = found.reroutes()
    assert moves.held_groups[0].nets == ("S",)
    assert str(moves.held_groups[0].options[0].move) == "S from L2 to L5"
    assert str(moves.held_groups[0].options[0]) == "S from L2 to L5: needs no drilling"
    assert moves.single.saved == 1
    assert not planned(moves.single.applied(board)).groups


def test_why_a_net_cannot_let_go_of_its_group():
    nets = (
        routed("A", "L2", Criterion.stub_length("0.5 mm", source=made.SAYS), 1, ()),
        routed("B", "L2", Criterion.stub_length("0.5 mm", source=made.SAYS), 1, ("L3",)),
    )
    without_move = planned(Board(stackup=made.stackup((0.25,) * 5), nets=nets)).reroutes().held_groups[0].without_move
    assert without_move == {"A": "no other layer it may use", "B": "no layer it may use frees the group"}


def check_refused(board, policy="stub by stub"):
    """Every net with a refused stub is offered exactly the moves after which none of its stubs is refused."""
    found = planned(board, policy)
    offered = found.reroutes().refused_nets
    assert [each.net for each in offered] == sorted(not_met(found))
    for each in offered:
        moves = {proposal.moves[0][:3]: proposal for proposal in each.proposals}
        for move in (move for move in every_move(board) if move[0] == each.net):
            after = planned(moved(board, [Move(*move, (), ())]), policy)
            drilled = each.net not in not_met(after)
            assert (move in moves) == drilled
            if drilled:
                assert len(found.groups) - len(after.groups) == moves[move].saved
        assert [proposal.saved for proposal in each.proposals] == sorted(
            (proposal.saved for proposal in each.proposals), reverse=True
        )
        assert (each.why_none is None) == bool(each.proposals)


SHORT = made.tenths(0.02, 0.3).map(lambda length: Criterion.stub_length(made.mm(length), source=made.SAYS))


@settings(max_examples=10)
@given(board=boards(SHORT, 2))
@example(board=Board(stackup=made.stackup((0.25,) * 5), nets=(routed("A", "L2", made.longest(0.02), 1, ("L5",)),)))
def test_a_refused_net_is_offered_every_layer_on_which_it_can_be_drilled(board):
    check_refused(board)
    check_refused(board, "best effort")


@pytest.mark.slow
@settings(max_examples=1000)
@given(board=boards(SHORT | SUMMED, 3))
def test_a_refused_net_is_offered_every_layer_on_which_it_can_be_drilled_thousands(board):
    check_refused(board)
    check_refused(board, "best effort")


def test_a_refused_net_is_offered_a_layer_without_a_stub_or_told_why_there_is_none():
    """At most 0.1 mm, and the depth tolerance alone is 40 um: only on L6, the bottom, nothing is left to drill."""
    rule = Criterion.stub_length("0.01 mm", source=made.SAYS)
    nets = (routed("A", "L2", rule, 1, ("L6",)), routed("B", "L3", rule, 1, ("L4",)), routed("C", "L3", rule, 1, ()))
    board = Board(stackup=made.stackup((0.25,) * 5), nets=nets)
    found = planned(board).reroutes()
    assert [str(each).splitlines()[1].strip() for each in found.refused_nets] == [
        "A from L2 to L6: needs no drilling, as many drill groups as before",
        "no layer it may use lets it be drilled",
        "no other layer it may use",
    ]
    assert "net A cannot be brought to its budget" in str(found)
    assert "no layer it may use lets it be drilled" in found._repr_html_()
    assert repr(found.refused_nets[0]) == "<RefusedNet A: 1 possible move>"
    moved_board = found.refused_nets[0].proposals[0].applied(board)
    assert moved_board == board.with_layer(net="A", from_layer="L2", to_layer="L6")


def test_a_plane_is_never_offered():
    """It cannot even be named as a layer that a net may use."""
    layers = tuple(
        layer.replaced(role="plane") if isinstance(layer, CopperLayer) and layer.name == "L4" else layer
        for layer in made.stackup((0.25,) * 5).layers
    )
    with pytest.raises(BoardError, match="is a plane"):
        Board(stackup=Stackup(layers=layers), nets=(routed("A", "L2", made.longest(0.02), 1, ("L4", "L5")),))


class Saves(NamedTuple):
    """Stands for the count of groups: how many a move to a layer saves."""

    by_layer: dict[str, int]

    def saved(self, moves):
        return sum(self.by_layer[move.to_layer] for move in moves)


def test_the_best_move_saves_most_and_then_has_the_fewest_stubs_to_drill():
    few, many = (Move("A", "L2", layer, tuple(range(count)), ()) for layer, count in (("L3", 1), ("L4", 3)))
    assert (few.stubs, many.stubs) == (1, 3)
    assert _best_proposal(Saves({"L3": 1, "L4": 2}), [(few,), (many,)]).moves == (many,)
    assert _best_proposal(Saves({"L3": 1, "L4": 1}), [(many,), (few,)]).moves == (few,)
    assert _best_proposal(Saves({"L3": 1, "L4": 2}), [(few,), (many,)], least_saved=3) is None
