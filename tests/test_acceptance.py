"""What a hand-off states and lacks, and the coupons by which its drilling is accepted."""

from __future__ import annotations

import csv
import io

import pytest

from stubsi import (
    Criterion,
    coupons,
    hand_off_check,
    plan,
    rank,
    read_board,
    read_rules,
    still_valid,
    write_hand_off,
)
from stubsi.handoff.acceptance import acceptance_csv, passes_if
from stubsi.handoff.completeness import ASKED_FOR
from tests import drilling_boards as made
from tests import margin_boards as mb


@pytest.fixture(scope="module")
def demo():
    return plan(read_board("shared/demo_board.toml"), read_rules("shared/demo_rules.toml"), model="uniform")


@pytest.fixture(scope="module")
def solved():
    nets = [mb.net("A", ("TOP", "S1"), signal="25 GBd"), mb.net("B", ("TOP", "S2"), place=1, signal="56 GBd"),
            mb.net("C", ("TOP",), place=2, signal="112 GBd")]  # fmt: skip
    board = mb.board(*nets, layers=mb.stackup(gap=0.4, df=0.01, at="1 GHz"))
    return plan(board, made.rules(tip_angle=150))


def rows(text):
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    return list(csv.DictReader(io.StringIO("\n".join(lines))))


def test_every_group_has_a_coupon_of_its_most_critical_hole(demo):
    found = coupons(demo)
    assert [each.group for each in found] == list(demo.groups)
    for each in found:
        room = each.hit.window.longest_si - each.hit.left.most_si
        assert room == min(hit.window.longest_si - hit.left.most_si for hit in each.group.hits)
        least, most = each.residual_si
        assert 0 <= least < most
        assert each.hit.miss or most <= each.hit.window.longest_si
        holders = {hit.hole.name for hit in each.group.hits if hit.window.layer == each.group.layer}
        assert not holders or holders & set(each.sections)


def test_a_coupon_shows_what_its_hole_shows_after_drilling(solved):
    """The ranking after drilling, at worst, has the same first notch and 1 dB frequency for the net of that hole."""
    worst = {row.net: row for row in solved.consequences().worst}
    for each in coupons(solved):
        row, expected = worst[each.hit.net], each.expected
        assert expected.notch_si[1] == pytest.approx(row.first_notch_si, rel=1e-9)
        assert expected.one_db_si[1] == pytest.approx(row.one_db_si, rel=1e-9)
        assert expected.notch_si[0] > expected.notch_si[1] > expected.least_notch_si
        assert "%" in expected.model_error


def test_the_list_says_when_a_coupon_passes(solved):
    text = acceptance_csv(solved)
    assert still_valid(text, solved, solved.board, solved.rules)
    assert "common practice, no source" in text.lower()
    table = rows(text)
    assert len(table) == len(solved.groups)
    for row, each in zip(table, coupons(solved), strict=True):
        assert float(row["residual plating, most [mm]"]) == pytest.approx(1e3 * each.residual_si[1], abs=5e-4)
        assert row["must-not-cut layer"] == each.group.layer
        assert f"{each.group.layer} is not cut" in passes_if(each) == row["passes if"]


def test_a_notch_beyond_the_model_is_a_bound():
    """A residual stub of 0.05 to 0.06 mm has no notch as far up as the model holds."""
    rules = made.rules(tip_angle=150, tolerance=made.GuaranteedResidual(least="0.05 mm", most="0.06 mm", source="test"))
    net = mb.net("A", ("TOP", "S1"), signal="40 GBd")
    short = plan(mb.board(net, layers=mb.stackup(gap=0.4, df=0.01, at="1 GHz")), rules)
    (row,) = rows(acceptance_csv(short))
    assert row["first notch, longest stub [GHz]"].startswith(">")


def test_what_is_unknown_is_said_and_stops_nothing(tmp_path):
    """Without the impedance of vias' surroundings nothing can be solved: the drilling is handed off all the same."""
    from stubsi import Board, CopperLayer, DielectricLayer, Hole, Net, Padstack, Stackup

    copper = [CopperLayer(name=name, thickness="35 um") for name in ("TOP", "IN", "BOT")]
    gap = DielectricLayer(thickness="0.7 mm")
    via = Padstack(name="via", drill="0.3 mm")
    hole = Hole(name="V", padstack=via, connects=("TOP", "IN"), x="0 mm", y="0 mm")
    net = Net(name="A", signal="25 Gb/s", z0="50 ohm", holes=(hole,), criterion=Criterion.stub_length("0.4 mm"))
    board = Board(stackup=Stackup(layers=(copper[0], gap, copper[1], gap, copper[2])), nets=(net,))
    drilled = plan(board, made.rules(tip_angle=150))
    assert drilled.hits
    (row,) = rows(acceptance_csv(drilled))
    assert row["first notch, nominal [GHz]"] in {"unknown", "none"} or float(row["first notch, nominal [GHz]"]) > 0
    assert rank(board)["A"].verdict == "drill"


def test_the_hand_off_holds_the_acceptance_plan(solved, tmp_path):
    files = write_hand_off(solved, tmp_path / "out")
    assert (tmp_path / "out" / "acceptance_plan.csv") in files
    assert (tmp_path / "out" / "acceptance_plan.csv").read_text(encoding="utf-8") == acceptance_csv(solved)


def test_all_that_a_fabricator_asks_for_is_stated(demo):
    check = hand_off_check(demo)
    for group in demo.groups:
        stated = {each.about: each.stated for each in check.statements if each.group == group.number}
        assert set(ASKED_FOR) <= stated.keys()
        assert all(stated[about] for about in ASKED_FOR)
        assert stated["must-not-cut layer"] == group.layer
    assert len(check.to_frame()) == len(check.statements)


def test_what_is_missing_is_named(demo):
    full = made.rules(tip_angle=150, tip_distance="0 mm", hole_clearance="0.2 mm")
    board = made.six_layers(made.net("A", ("L1", "L3"), 0.4))
    assert plan(board, full).hits
    stated = hand_off_check(plan(board, full))
    assert {each.about for each in stated.missing} == {"position", "coupon frequency"}
    assert "of A.1: give x and y" in str(stated)
    assert "coupon frequency of group 1: unknown for A.1: return vias of hole A.1 are unknown" in str(stated)
    less = hand_off_check(plan(board, full.replaced(copper_clearance=None)))
    assert {each.about for each in less.missing} == {"position", "coupon frequency", "copper clearance"}
    assert not less
    assert "unknown; needed for whether the drill keeps its distance" in str(less)
