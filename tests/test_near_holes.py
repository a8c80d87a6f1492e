"""Depth drills beside other holes: plane geometry, checked against every pair of holes in plain Python."""

from __future__ import annotations

import math

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from stubsi import Board, Criterion, Hole, Net, plan, rank, read_board, read_rules
from tests import drilling_boards as made

FROM_BELOW = {"sides": {"bottom": "any"}}


def net(name, places, connects=("L1", "L3"), at_most=0.4, padstack=made.VIA, legs=("",), **more):
    """A net with a hole at each place [mm]; with two legs, a pair."""
    holes = tuple(
        Hole(
            name=f"{name}.{i}",
            padstack=padstack,
            connects=connects,
            x=made.mm(x),
            y=made.mm(y),
            leg=legs[i % len(legs)],
        )
        for i, (x, y) in enumerate(places)
    )
    return Net(name=name, signal="10 Gb/s", z0="50 ohm", holes=holes, criterion=made.longest(at_most), **more)


def ground(*places, drill=0.25, span=None):
    stack = made.padstack(drill, span)
    holes = tuple(Hole(name=f"G{i}", padstack=stack, x=made.mm(x), y=made.mm(y)) for i, (x, y) in enumerate(places))
    return Net(name="GND", holes=holes, reference=True)


def planned(*nets, **rules):
    board = Board(stackup=made.stackup((0.25,) * 5), nets=nets)
    return plan(board, made.rules(**{**FROM_BELOW, **rules}), model="uniform", dk_eff=4)


BARE = made.padstack(0.3)
"""Without pad and antipad: any distance down to the drills themselves is a possible board."""


@pytest.mark.parametrize(("apart", "refused"), [(0.999, True), (1.0, False), (1.001, False)])
def test_a_wide_drill_beside_a_leg_is_refused_where_it_would_touch_its_barrel(apart, refused):
    """A drill of 1.7 mm and a barrel of 0.3 mm touch at 1 mm: 0.85 mm + 0.15 mm."""
    pair = net("A", [(0, 0), (apart, 0)], legs=("P", "N"), padstack=BARE)
    found = planned(pair, oversize="1.4 mm", edge_tolerance="0 mm")
    assert len(found.refused) == 2 * refused
    assert len(found.hits) == 2 * (not refused)
    if refused:
        (reason,) = found.refused[0].reasons
        assert str(reason) == (
            "neighbouring hole: the depth drill of 1.7 mm would touch the barrel of A.1 of net A, 0.999 mm away"
        )
    else:
        (near,) = found.near_holes().too_near
        assert near.distance_si == pytest.approx((apart - 1.7) * 1e-3)
        assert "neighbouring hole: A.0 of net A" in found.to_text()


def test_the_tolerance_of_the_edge_counts():
    pair = net("A", [(0, 0), (1.04, 0)], legs=("P", "N"), padstack=BARE)
    assert not planned(pair, oversize="1.4 mm", edge_tolerance="0.03 mm").refused
    refused = planned(pair, oversize="1.4 mm", edge_tolerance="0.05 mm").refused
    assert len(refused) == 2
    assert "would touch at worst tolerance of its edge the barrel of" in refused[0].reason


def test_distances_to_a_bore_and_to_a_barrel():
    """Drill 0.5 mm. To the other leg, which is drilled as well: 0.9 - 0.5; to a via of 0.25 mm: 0.6 - 0.25 - 0.125."""
    pair = net("A", [(0, 0), (0.9, 0)], legs=("P", "N"), padstack=BARE)
    found = planned(pair, ground((-0.6, 0)), hole_clearance="0.5 mm").near_holes()
    assert [(each.hole, each.neighbour, each.drilled) for each in found] == [
        ("A.0", "G0", False), ("A.0", "A.1", True)
    ]  # fmt: skip
    assert [each.distance_si for each in found] == pytest.approx([0.225e-3, 0.4e-3])
    assert [each.needed_si for each in found] == pytest.approx([0.55e-3, 0.6e-3])
    assert found.to_frame()["too near"].to_list() == [True, True]
    assert str(found).splitlines()[1] == (
        "A.0 of net A, drilled from the bottom: 0.225 mm from the wall of G0 of net GND, needed 0.55 mm: too near"
    )


def test_a_distance_that_is_just_enough_is_no_finding():
    pair = net("A", [(0, 0), (0.9, 0)], legs=("P", "N"), padstack=BARE)
    assert not planned(pair, hole_clearance="0.3 mm").near_holes().near
    assert len(planned(pair, hole_clearance="0.301 mm").near_holes()) == 1


@pytest.mark.parametrize(("span", "refused"), [(("L1", "L3"), False), (("L1", "L4"), True), (("L4", "L6"), True)])
def test_only_holes_that_the_drill_passes_count(span, refused):
    """From below the drill stops before L3: it does not pass a blind hole that ends there."""
    found = planned(net("A", [(0, 0)], padstack=BARE), ground((0.39, 0), span=span), edge_tolerance="0.05 mm")
    assert bool(found.refused) == refused


def test_an_unknown_rule_leaves_distances_unjudged_and_asks_for_it():
    nets = (net("A", [(0, 0), (0.7, 0)], legs=("P", "N"), padstack=BARE), ground((5, 5)))
    found = planned(*nets, hole_clearance=None)
    (near,) = found.near_holes().not_judged
    assert near.too_near is None
    assert "1 not judged, because a rule is unknown" in str(found.near_holes())
    assert "distance to neighbouring holes not judged" in found.to_text()
    assert "hole clearance unknown" in found.rules.in_one_line()
    assert [str(question) for question in found.questions()] == [
        "can change the verdict of 1 clearance: hole clearance"
    ]
    assert "edge tolerance" in str(planned(*nets, edge_tolerance=None).questions())


def test_drills_that_run_into_each_other_are_told_whatever_the_rule():
    found = planned(net("A", [(0, 0), (0.45, 0)], legs=("P", "N"), padstack=BARE), hole_clearance=None)
    (near,) = found.near_holes().too_near
    assert near.distance_si == pytest.approx(-0.05e-3)


def test_holes_without_a_position_are_told_as_not_checked():
    found = planned(made.net("A", ("L1", "L3"), 0.4)).near_holes()
    assert found.unplaced == ("A.1",)
    assert "1 drilled hole not checked, because the position is unknown" in str(found)
    assert repr(found).startswith("<NearHoles: 0 neighbouring holes too near; 1 drilled hole not checked")


def test_a_net_that_a_neighbour_blocks_is_offered_only_layers_where_it_is_not_drilled():
    """The neighbour belongs to another net, which is not moved."""
    blocked = net("A", [(0, 0)], padstack=BARE, layers=("L3", "L4", "L6"))
    found = planned(blocked, ground((0.39, 0)), edge_tolerance="0.05 mm")
    assert [proposal.moves[0].to_layer for proposal in found.reroutes().refused_nets[0].proposals] == ["L6"]


def test_a_blocked_stub_of_a_net_with_a_limit_for_the_sum_of_its_losses_is_never_drilled():
    loss = Criterion.loss(1.0, source=made.SAYS)
    summed = net("A", [(0, 0), (5, 0)], padstack=made.padstack(0.3, None, "0.5 mm")).replaced(
        criterion=loss, signal="28 Gb/s"
    )
    free, blocked = (planned(summed, ground((x, 0))) for x in (3, 0.39))
    assert {hit.hole.name for hit in free.hits} == {"A.0", "A.1"}
    assert {hit.hole.name for hit in blocked.hits} <= {"A.1"}
    assert any("neighbouring hole" in refused.reason for refused in blocked.refused)


PLACES = st.tuples(st.integers(0, 12), st.integers(0, 12)).map(lambda place: (place[0] * 0.31, place[1] * 0.31))


def every_pair(board, rules, found):
    """Refused and too near, from every pair of holes, in millimetres."""
    holes = [(each, hole) for each in board.nets for hole in each.holes]
    drilled = {hit.hole.name for hit in found.hits}
    edge, clearance, oversize = (rules.__dict__[f"{name}_si"] * 1e3 for name in (
        "edge_tolerance", "hole_clearance", "oversize"))  # fmt: skip
    blocked, near = set(), set()
    for of, hole in holes:
        for _, other in holes:
            if of.reference or other is hole:
                continue
            apart = 1e3 * math.hypot(hole.x_si - other.x_si, hole.y_si - other.y_si)
            primary, its = 1e3 * hole.padstack.drill_si, 1e3 * other.padstack.drill_si
            if apart < (primary + oversize) / 2 + edge + its / 2 - 1e-7:
                blocked.add(hole.name)
            if hole.name in drilled:
                both = other.name in drilled
                wall = (its + oversize * both) / 2
                if apart - (primary + oversize) / 2 - wall < clearance + edge * (1 + both) - 1e-6:
                    near.add(frozenset([hole.name, other.name]))
    return blocked, near


@settings(max_examples=15)
@given(
    places=st.lists(PLACES, min_size=2, max_size=9, unique=True),
    oversize=made.tenths(0.1, 0.8), edge=made.tenths(0, 0.1), clearance=made.tenths(0, 0.4),
)  # fmt: skip
@example(places=[(0, 0), (0.31, 0), (0.62, 0.31)], oversize=0.2, edge=0.05, clearance=0.2)
def test_every_pair_of_holes_is_judged_by_its_distance(places, oversize, edge, clearance):
    signal, posts = places[: len(places) // 2 + 1], places[len(places) // 2 + 1 :]
    nets = [net(f"n{i}", [place], padstack=BARE) for i, place in enumerate(signal)]
    nets += [ground(*posts)] if posts else []
    given = {"oversize": made.mm(oversize), "edge_tolerance": made.mm(edge), "hole_clearance": made.mm(clearance)}
    found = planned(*nets, **given)
    blocked, near = every_pair(found.board, found.rules, found)
    assert {refused.hole.name for refused in found.refused} == blocked
    assert {hit.hole.name for hit in found.hits} == {f"n{i}.0" for i in range(len(signal))} - blocked
    assert {frozenset([each.hole, each.neighbour]) for each in found.near_holes().too_near} == near
    distances = [each.distance_si for each in found.near_holes()]
    assert distances == sorted(distances)
    assert len(distances) == len(near)


def test_the_wider_the_drill_the_more_is_refused_on_the_demo_board():
    """Of the nets that fall short as drawn. Others may fall short through the clearances that the drills need."""
    board, rules = read_board("shared/demo_board.toml"), read_rules("shared/demo_rules.toml")
    short = {net.net for net in rank(board, model="uniform") if net.verdict in {"drill", "drilling cannot help"}}
    refused = [
        {
            (each.hole.name, each.side)
            for each in plan(board, rules.replaced(oversize=wide), model="uniform").refused
            if each.net in short
        }
        for wide in ("0.2 mm", "0.8 mm", "1.4 mm")
    ]
    assert refused[0] <= refused[1] < refused[2]
