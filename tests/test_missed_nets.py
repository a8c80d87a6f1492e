"""Nets that miss their criterion whatever is drilled: as good as it gets, both legs together, at no extra group."""

from __future__ import annotations

import csv
import pickle

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stubsi import Board, Criterion, Hole, Net, StubsiError, plan, read_board, read_rules
from stubsi.drilling import best_effort
from stubsi.drilling.window import window
from tests import drilling_boards as made
from tests.drilling_boards import six_layers, with_examples

C0 = 299792458.0
FROM_BELOW = {"sides": {"bottom": "any"}}


def planned(board, its_rules, **more):
    return plan(board, its_rules, **{"model": "uniform", "dk_eff": 4, **more})


def pair(name, p, n, at_most, x=0.0):
    """A pair with a hole for each leg, 1 mm apart."""
    holes = tuple(
        Hole(name=f"{name}.{leg}", padstack=made.VIA, connects=used, x=made.mm(x + dx), y="0 mm", leg=leg)
        for leg, used, dx in (("P", p, 0.0), ("N", n, 1.0))
    )
    return Net(name=name, signal="10 Gb/s", z0="100 ohm", holes=holes, criterion=made.longest(at_most))


HELPER = made.net("H", ("L1", "L3"), 0.35)
"""Its group leaves at most 0.3 mm beyond L3."""


def _rows(text):
    """Lines of a CSV without its comments."""
    return [line for line in text.splitlines() if not line.startswith("#")]


def test_a_stub_that_misses_its_budget_is_drilled_as_deep_as_the_rules_allow_and_the_miss_is_told():
    """At most 0.3 mm is left and 0.2987 mm is permitted: 1.3 um too long. First notch c / 4 L sqrt(Dk), Dk 4."""
    found = planned(six_layers(HELPER, made.net("A", ("L1", "L3"), 0.2987)), made.rules(**FROM_BELOW))
    assert not found.refused
    (hit,) = found.missed
    assert (hit.net, hit.left.most_si) == ("A", pytest.approx(0.3e-3))
    assert hit.miss.over_si == pytest.approx(1.3e-6, rel=1e-6)
    assert hit.miss.notch_si == pytest.approx(C0 / (4 * 0.3e-3 * 2), rel=1e-9)
    assert hit.miss.needed_si == pytest.approx(C0 / (4 * 0.2987e-3 * 2), rel=1e-9)
    said = "misses its budget by 1.3 um at worst tolerance: first notch 124.9 GHz, 0.5436 GHz short"
    assert str(hit.miss) == said
    assert (
        f"drilled as deep as the rules and the groups of other nets allow: A: A.1 from the bottom: {said}"
        in " ".join(found.to_text().split())
    )
    assert said in found.explain("A.1")
    listed = next(row for row in csv.DictReader(_rows(found.holes_csv())) if row["net"] == "A")
    assert (listed["budget missed by [um]"], listed["first notch too low by [GHz]"]) == ("1.30", "0.544")
    row = found.holes_frame().set_index("net").loc["A"]
    assert row["budget missed by [um]"] == pytest.approx(1.3, rel=1e-6)
    assert row["first notch too low by [GHz]"] == pytest.approx(0.5436, rel=1e-4)
    assert found.holes_frame().set_index("net").loc["H"][["budget missed by [um]"]].isna().all()
    change = found.consequences()["A"]
    assert (change.verdict[2], change.hits) == ("falls short", 1)
    assert said in change.why
    assert change.margin[2] > change.margin[0]
    assert found.drilled_in_vain == ("A",)
    assert pickle.loads(pickle.dumps(found)) == found


def test_such_a_net_opens_no_group_of_its_own():
    """Without a net that needs a drill group there is none; a group that is too deep or of another drill is no help."""
    missed = made.net("A", ("L1", "L3"), 0.2)
    assert not planned(six_layers(missed), made.rules(**FROM_BELOW)).groups
    deeper = made.net("D", ("L1", "L2"), 0.35)
    assert [hit.net for hit in planned(six_layers(missed, deeper), made.rules(**FROM_BELOW)).hits] == ["D"]
    wide = made.net("W", ("L1", "L3"), 0.35, padstack=made.padstack(0.4))
    assert [hit.net for hit in planned(six_layers(missed, wide), made.rules(**FROM_BELOW)).hits] == ["W"]
    shallower = made.net("S", ("L1", "L4"), 0.35)
    found = planned(six_layers(missed, shallower), made.rules(**FROM_BELOW))
    assert [(hit.net, round(hit.left.most_si * 1e3, 6)) for hit in found.hits] == [("A", 0.6), ("S", 0.3)]


@pytest.mark.parametrize("policy", ["best effort", "leave", "stub by stub"])
def test_the_legs_of_a_pair_are_drilled_together_unless_the_user_wants_each_stub_by_itself(policy):
    """Leg P could keep 0.5 mm. Leg N has a stub to the top as well, which nobody drills."""
    twin = pair("A", ("L1", "L3"), ("L3",), 0.5)
    found = planned(six_layers(HELPER, twin), made.rules(**FROM_BELOW), missed_nets=policy)
    drilled = {hit.hole.name for hit in found.hits if hit.net == "A"}
    assert drilled == {"best effort": {"A.P", "A.N"}, "leave": set(), "stub by stub": {"A.P", "A.N"}}[policy]
    assert [refused.hole.name for refused in found.refused] == ["A.N"]


def test_a_leg_whose_twin_cannot_be_drilled_is_left_and_told():
    """A post beside leg N is in the way of its drill."""
    twin = pair("A", ("L1", "L3"), ("L1", "L3"), 0.35)
    twin = twin.replaced(holes=[hole.replaced(padstack=made.padstack(0.3)) for hole in twin.holes])
    helper = HELPER.replaced(holes=[hole.replaced(padstack=made.padstack(0.3)) for hole in HELPER.holes])
    post = Net(name="GND", holes=[Hole(name="G", padstack=made.padstack(0.25), x="1.39 mm", y="0 mm")], reference=True)
    board = six_layers(helper, twin, post)
    found = planned(board, made.rules(**FROM_BELOW))
    assert [hit.net for hit in found.hits] == ["H"]
    assert found.left_out == (("A", "A.P", "bottom"),)
    assert "left as it is, because another stub of its net cannot keep its budget" in found.explain("A.P")
    assert "left undrilled, because another stub of the net cannot keep its budget: A" in found.to_text()
    each = planned(board, made.rules(**FROM_BELOW), missed_nets="stub by stub")
    assert sorted(hit.hole.name for hit in each.hits) == ["A.P", "H.1"]


def test_the_policy_is_an_input_of_the_plan():
    board, rules = six_layers(HELPER), made.rules(**FROM_BELOW)
    digests = {planned(board, rules, missed_nets=policy).digest for policy in ("best effort", "leave", "stub by stub")}
    assert len(digests) == 3
    with pytest.raises(StubsiError, match="missed_nets = 'all': must be one of best effort, leave, stub by stub"):
        planned(board, rules, missed_nets="all")


def test_a_net_with_a_limit_for_the_sum_of_its_losses_is_drilled_too():
    loss = Criterion.loss(0.001, source=made.SAYS)
    holes = tuple(Hole(name=f"A.{i}", padstack=made.VIA, connects=("L1", "L3")) for i in range(2))
    net = Net(name="A", signal="28 Gb/s", z0="50 ohm", holes=holes, criterion=loss)
    found = planned(six_layers(HELPER, net), made.rules(**FROM_BELOW))
    assert {hit.hole.name for hit in found.missed} == {"A.0", "A.1"}
    assert {str(hit.miss) for hit in found.missed} == {"its net misses the limit for the sum of its losses"}
    change = found.consequences()["A"]
    assert change.loss[2] < change.loss[0]
    assert "inf" not in found.hits[0].why


def test_where_the_open_group_is_for_the_shorter_stub_of_a_hole_the_longer_one_is_refused():
    """Both stubs of A are too long, and a barrel of 0.42 mm must stay: 0.05 mm of L3 and 0.1 mm on each side is less.

    By itself the plan would drill the longer one, 0.52 mm to the top. The open group is one for the other side.
    """
    gaps, rules = (0.2, 0.22, 0.2, 0.2), made.GuaranteedResidual(least="0.1 mm", most="0.12 mm", source=made.SAYS)
    helper = made.net("H", ("L1", "L3"), 0.2)
    board = Board(stackup=made.stackup(gaps), nets=(helper, made.net("A", ("L3",), 0.2)))
    found = planned(board, made.rules(tip_angle=180, least_plated="0.42 mm", tolerance=rules))
    assert [(hit.net, hit.side, hit.miss) for hit in found.hits] == [("A", "bottom", None), ("H", "bottom", None)]
    (refused,) = found.refused
    assert (refused.side, refused.reason) == (
        "top",
        "plated length: with the bottom drilled as well, too little plated barrel would remain",
    )
    assert not found.left_out
    assert "with the bottom drilled as well" in found.consequences()["A"].why
    assert found.drilled_in_vain == ("A",)


def worst_margins(found):
    return {net.net: net.margin[2] for net in found.consequences()}


@st.composite
def twins(draw):
    """Up to five nets, single or pairs, some of which miss their criterion; through holes, all in one drill."""
    gaps = draw(st.lists(made.tenths(0.1, 0.5), min_size=3, max_size=5))
    nets = []
    for number in range(draw(st.integers(1, 5))):
        uses = [draw(made.some_layers(1, len(gaps) + 1)) for _ in range(2)]
        at_most = draw(made.tenths(0.1, 1.2))
        if draw(st.booleans()):
            nets.append(pair(f"n{number}", *uses, at_most, x=5.0 * number))
        else:
            nets.append(made.net(f"n{number}", uses[0], at_most))
    return Board(stackup=made.stackup(gaps), nets=tuple(nets))


def check_policies(board, its_rules):
    """What every policy must hold, from the plans alone."""
    best, leave, each = (
        planned(board, its_rules, missed_nets=policy) for policy in ("best effort", "leave", "stub by stub")
    )
    missed = {refused.net for refused in each.refused}
    met = Board(stackup=board.stackup, nets=[net for net in board.nets if net.name not in missed])
    alone = planned(met, its_rules, missed_nets="stub by stub")
    for found in (best, leave):
        assert [(g.side, g.drill_si, g.end_si) for g in found.groups] == [
            (g.side, g.drill_si, g.end_si) for g in alone.groups
        ]
        assert found.certificate == alone.certificate
        assert found.proven == alone.proven
    assert not {hit.net for hit in leave.hits} & missed
    for found in (best, leave):
        told = {each.net for each in (*found.refused, *found.missed)}
        short = {net.net for net in found.consequences() if net.verdict[2] == "falls short"}
        assert short & missed <= told
    assert {hit.net for hit in best.missed} | {refused.net for refused in best.refused} <= missed
    assert {(hit.net, hit.hole.name, hit.side) for hit in best.hits}.isdisjoint(best.left_out)
    check_depths(best)
    check_twins(board, best)
    check_margins(best, leave)


def check_depths(best):
    """Each is drilled by the deepest open group that its rules permit without the budget, and cuts nothing."""
    for hit in best.missed:
        free = window(hit.window.shape, float("inf"), best.rules)
        fitting = [
            group.end_si
            for group in best.groups
            if (group.side, round(group.drill_si, 9)) == (hit.side, round(hit.window.drill_si, 9))
            and free.holds(group.end_si)
        ]
        assert best.group_of(hit.hole.name, hit.side).end_si == max(fitting)
        assert hit.left.least_si >= 0
        assert hit.miss.over_si is None or hit.miss.over_si > 0
        assert hit.miss.needed_si is None or hit.miss.notch_si < hit.miss.needed_si


def check_twins(board, best):
    """If a leg is drilled in a net that misses its criterion, its twin is, or does not need it."""
    drilled = {(hit.hole.name, hit.side) for hit in best.hits}
    wanting = drilled | {(each.hole.name, each.side) for each in best.refused}
    wanting |= {(hole, side) for _, hole, side in best.left_out}
    for net in board.nets:
        if net.is_pair and net.name in best.drilled_in_vain:
            for one, other in twin_holes(net):
                for side in ("top", "bottom"):
                    asked = [(name, side) in drilled for name in (one, other) if (name, side) in wanting]
                    assert len(set(asked)) <= 1


def twin_holes(net):
    """Each hole of leg P with the nearest one of leg N."""
    legs = [[hole for hole in net.holes if hole.leg == leg] for leg in ("P", "N")]
    for hole in legs[0]:
        nearest = min(legs[1], key=lambda other: abs(complex(*hole.xy_si) - complex(*other.xy_si)))
        yield hole.name, nearest.name


def check_margins(best, leave):
    """No net is worse off than if it had been left, and no drilled one than undrilled.

    Nets that are not drilled may have a little less than before, where a clearance of their padstack was widened.
    """
    left, tried = worst_margins(leave), worst_margins(best)
    for change in best.consequences():
        before, after = change.margin[0], change.margin[2]
        if change.hits and before is not None and after is not None:
            assert after >= before * (1 - 1e-9)
        if left[change.net] is not None and after is not None:
            assert tried[change.net] >= left[change.net] * (1 - 1e-9)


ANY_RULES = made.random_rules(made.RESIDUALS | made.FACE_TOLERANCES)


@settings(max_examples=3)
@given(twins() | made.boards() | made.coupled_boards(), ANY_RULES)
@with_examples([made.COUPLED_BOARD], made.CORNER_RULES[:1])
def test_every_policy_holds_what_it_promises(board, its_rules):
    check_policies(board, its_rules)


@pytest.mark.slow
@settings(max_examples=300, deadline=None)
@given(twins() | made.boards() | made.coupled_boards(), ANY_RULES)
@with_examples([made.CORNER_BOARD, made.COUPLED_BOARD], made.CORNER_RULES)
def test_every_policy_holds_what_it_promises_hundreds(board, its_rules):
    check_policies(board, its_rules)


def test_work_grows_with_the_different_stubs_and_not_with_the_pairs_of_them(monkeypatch):
    """Of 300 alike nets each stub is modelled once, and only the two stubs of one hole are held against each other."""
    modelled, compared = [], []
    figures, plated = best_effort.figures, best_effort._leave_enough_plated
    monkeypatch.setattr(best_effort, "figures", lambda uses, *a, **k: modelled.extend(uses) or figures(uses, *a, **k))
    monkeypatch.setattr(best_effort, "_leave_enough_plated", lambda *stubs: compared.append(stubs) or plated(*stubs))
    nets = [made.net(f"n{i}", ("L1", "L3"), 0.25) for i in range(300)]
    found = planned(six_layers(HELPER, *nets), made.rules(**FROM_BELOW))
    assert len(found.missed) == 300
    assert len(modelled) <= 5
    assert not compared


def check_demo(model):
    board, rules = read_board("shared/demo_board.toml"), read_rules("shared/demo_rules.toml")
    best, leave = (plan(board, rules, model=model, missed_nets=policy) for policy in ("best effort", "leave"))
    assert best.missed
    assert len(best.hits) > len(leave.hits)
    assert [group.end_si for group in best.groups] == [group.end_si for group in leave.groups]
    check_depths(best)
    check_twins(board, best)
    check_margins(best, leave)


def test_the_demo_board_under_every_policy():
    check_demo("uniform")


@pytest.mark.slow
def test_the_demo_board_under_every_policy_with_solved_stubs():
    check_demo("solved")
