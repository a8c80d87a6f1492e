"""The difference of two boards, rankings or plans: empty where they are equal, and every change by what it is."""

from __future__ import annotations

import pickle

import pandas as pd
import pytest
from hypothesis import given, settings

from stubsi import Antipad, Criterion, StubsiError, difference, plan, rank
from tests import drilling_boards as made
from tests import margin_boards as mb
from tests.random_boards import boards

BOARD = mb.board(mb.net("A", ("TOP", "S1"), place=0), mb.net("B", ("TOP", "S2"), place=1), places=2, name="small")
DRILL_BOARD = made.Board(
    stackup=made.stackup((0.25,) * 5),
    nets=(made.net("A", ("L1", "L3"), 0.4), made.net("B", ("L1", "L4"), 0.4), made.net("C", ("L4", "L6"), 0.2)),
)
RULES = made.rules(sides={"bottom": "any"})


def planned(board, rules=RULES):
    return plan(board, rules, model="uniform", dk_eff=4)


@given(boards(), boards())
@settings(max_examples=3)
def test_two_boards_differ_exactly_where_they_are_not_equal(one, other):
    for before, after in ((one, one), (one, other), (other, pickle.loads(pickle.dumps(other)))):
        assert bool(difference(before, after)) == (before != after)
    there, back = difference(one, other), difference(other, one)
    assert {change[:2] for change in there} == {change[:2] for change in back}
    assert {(c.part, c.field, c.before, c.after) for c in there if c.before != "as it was"} == {
        (c.part, c.field, c.after, c.before) for c in back if c.before != "as it was"
    }


ROWS = {
    "antipad": (
        lambda board: board.with_antipad(antipad="0.9 mm", padstack="via"),
        [("padstack via", "antipad", "0.8 mm", "0.9 mm")],
    ),
    "slot": (
        lambda board: board.with_antipad(antipad=Antipad(width="0.9 mm", shared=True), padstack="via", layer="G2"),
        [("padstack via", "antipads", "none", "G2: slot 0.9 mm")],
    ),
    "dk": (
        lambda board: board.with_dk(dk=3.5, between=("S1", "S2")),
        [("dielectric 1 below S1", "dk", "3.8", "3.5"), ("dielectric 1 below G2", "dk", "3.8", "3.5")],
    ),
    "layer": (
        lambda board: board.with_layer(net="A", from_layer="S1", to_layer="BOT"),
        [("hole A.0", "connects", "TOP, S1", "TOP, BOT")],
    ),
    "waiver": (
        lambda board: board.with_waiver(net="A", waiver="test point"), [("net A", "waiver", "none", "test point")]
    ),
    "criterion": (
        lambda board: board.with_criterion(Criterion.loss(2, source="me"), net="A"),
        [("net A", "criterion", "none", "measure loss, limit 2.0, source me")],
    ),
    "hole": (
        lambda board: board.with_drill(drill="0.28 mm", hole="A.0"),
        [("padstack via of A.0", "", None, "present"), ("hole A.0", "padstack", "via", "via of A.0")],
    ),
    "net": (
        lambda board: board.replaced(nets=board.nets[1:]),
        [("net A", "", "present", None), ("hole A.0", "", "present", None)],
    ),
    "order": (
        lambda board: board.replaced(nets=board.nets[::-1]), [("board", "order of nets", "as it was", "changed")]
    ),
    "name": (lambda board: board.replaced(name="large"), [("board", "name", "small", "large")]),
}  # fmt: skip


@pytest.mark.parametrize("change", ROWS)
def test_a_change_of_a_board_is_told_by_part_field_and_both_values(change):
    make, rows = ROWS[change]
    found = difference(BOARD, make(BOARD))
    assert sorted(map(tuple, found), key=str) == sorted(rows, key=str)
    assert found.to_frame().shape == (len(rows), 4)
    assert all(row[0] in str(found) for row in rows)


def test_two_equal_ones_have_no_difference():
    for found in (
        difference(BOARD, BOARD), difference(rank(BOARD), rank(BOARD)),
        difference(planned(DRILL_BOARD), planned(DRILL_BOARD)),
    ):  # fmt: skip
        assert not found
        assert str(found).endswith("no difference.")
        assert len(found.to_frame()) == 0


def test_the_difference_of_rankings_is_that_of_their_figures():
    before = rank(BOARD, model="uniform")
    after = rank(BOARD.with_layer(net="A", from_layer="S1", to_layer="S2"), model="uniform")
    (net,) = difference(before, after)
    assert (net.before, net.after) == (before["A"], after["A"])
    assert net.margin_change == after["A"].margin - before["A"].margin > 0
    assert net.first_notch_change.m_as("Hz") == pytest.approx(after["A"].first_notch_si - before["A"].first_notch_si)
    assert net.one_db_change.m_as("Hz") == pytest.approx(after["A"].one_db_si - before["A"].one_db_si)
    row = difference(before, after).to_frame().iloc[0]
    assert row["first notch, after [GHz]"] == pytest.approx(after["A"].first_notch_si / 1e9)
    assert row["change of first notch / Nyquist"] == net.margin_change
    assert row["change of loss at Nyquist [dB]"] < 0


def test_nets_with_another_verdict_come_first_then_the_one_that_lost_most():
    board = mb.board(*(mb.net(name, ("TOP", "S1"), place=i) for i, name in enumerate("ABCD")))
    before = rank(board, model="uniform")
    changed = board.with_waiver(net="D", waiver="test point").with_layer(net="C", from_layer="S1", to_layer="S2")
    nets = [net for net in changed.nets if net.name != "A"]
    found = difference(before, rank(changed.replaced(nets=nets), model="uniform"))
    assert [net.net for net in found.verdicts][-1] != "B"
    assert {net.net for net in found} == {"A", "C", "D"}
    assert found["A"].after is None
    assert found["A"].margin_change is None
    assert {net.net for net in found.verdicts} >= {"A", "D"}
    with pytest.raises(KeyError, match="no such net among those that differ"):
        found["B"]


def test_the_difference_of_plans_names_inputs_groups_hits_and_refusals():
    before = planned(DRILL_BOARD)
    moved = DRILL_BOARD.with_waiver(net="C", waiver="test point").with_layer(net="A", from_layer="L3", to_layer="L5")
    found = difference(before, planned(moved))
    assert [change.name for change in found.of("input")] == ["net A", "net C"]
    assert [change.name for change in found.of("hit")] == ["A.1 from the bottom"]
    assert found.of("hit")[0].after is None
    (refusal,) = found.of("refusal")
    assert (refusal.name, refusal.after) == ("C.1 from the top", None)
    assert {(change.name, change.before) for change in found.of("net left undrilled")} == {("A", None), ("C", None)}
    assert len(found) == len(found.to_frame())
    assert {change.name for change in found.of("drill group")}
    assert "Plans: drill groups" in found.summary()
    assert [change.name for change in difference(before, planned(DRILL_BOARD, made.rules(oversize="0.22 mm"))).of(
        "input")] == ["rule oversize", "rule sides"]  # fmt: skip


def test_every_hit_that_differs_is_in_the_lists_of_holes_of_the_two_plans():
    """The two lists of holes, compared by pandas, say the same."""
    before, after = planned(DRILL_BOARD), planned(DRILL_BOARD.with_layer(net="B", from_layer="L4", to_layer="L2"))
    columns = ["hole", "side", "must-not-cut layer", "stub, least [mm]", "stub, most [mm]"]
    both = pd.merge(*(each.holes_frame()[columns].round(9) for each in (before, after)), how="outer", indicator=True)
    differing = both[both["_merge"] != "both"]
    names = {f"{hole} from the {side}" for hole, side in zip(differing["hole"], differing["side"], strict=True)}
    assert {change.name for change in difference(before, after).of("hit")} == names != set()


@pytest.mark.parametrize("after", [None, "board", rank(BOARD, model="uniform"), 3])
def test_two_of_different_kinds_are_refused(after):
    with pytest.raises(StubsiError, match="give two boards, two rankings or two plans"):
        difference(BOARD, after)


def test_a_difference_is_frozen_picklable_and_short_in_print():
    other = BOARD.with_waiver(net="A", waiver="x" * 500)
    for found in (difference(BOARD, other), difference(rank(BOARD, dk_eff=4), rank(other, dk_eff=4))):
        assert pickle.loads(pickle.dumps(found)) == found
        assert len(repr(found)) < 200
        assert all(len(repr(change)) < 200 for change in found)
        with pytest.raises(AttributeError):
            found.before = None
