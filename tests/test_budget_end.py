"""The budget at worst tolerance or at nominal depth, as the user chooses: what each permits, and that it is said."""

from __future__ import annotations

import pytest
from hypothesis import given, settings

from stubsi import Board, BoardError, Criterion, plan, rank
from stubsi.drilling.window import window
from tests import drilling_boards as made
from tests import margin_boards as mb
from tests.test_drilling_least import RULES_OF_THUMB


def planned(board, its_rules, budget_at, **more):
    return plan(board, its_rules, model="uniform", dk_eff=4, budget_at=budget_at, **more)


@settings(max_examples=15)
@given(made.boards(), RULES_OF_THUMB)
def test_the_chosen_length_keeps_the_budget_and_the_nominal_end_never_needs_more(board, its_rules):
    """What must not be cut is kept at worst tolerance either way; nominal depth needs and refuses no more."""
    worst, nominal = (planned(board, its_rules, end, missed_nets="stub by stub") for end in ("worst", "nominal"))
    assert all(hit.left.most_si <= hit.window.longest_si + 1e-9 for hit in worst.hits)
    assert all(hit.left.nominal_si <= hit.window.longest_si + 1e-9 for hit in nominal.hits)
    refused = [{(each.hole.name, each.side) for each in found.refused} for found in (worst, nominal)]
    assert refused[1] <= refused[0]
    if refused[0] == refused[1]:
        assert len(nominal.groups) <= len(worst.groups)
    deepest = {(hit.hole.name, hit.side): hit.window.deepest_si for hit in worst.hits}
    for hit in nominal.hits:
        assert hit.window.deepest_si == deepest.get((hit.hole.name, hit.side), hit.window.deepest_si)


A = made.six_layers(made.net("A", ("L1", "L3"), 0.25))
RULES = made.rules(sides={"bottom": "any"})
FLAT = made.rules(sides={"bottom": "any"}, tip_angle=180)
"""0.1 mm to 0.3 mm stay, 0.2 mm nominally: a budget of 0.25 mm is met at nominal depth only."""


def test_a_budget_between_the_nominal_and_the_worst_residual():
    worst, nominal = (planned(A, RULES, end) for end in ("worst", "nominal"))
    assert [each.net for each in worst.refused] == ["A"]
    assert "shortest stub at worst tolerance 0.3 mm" in worst.refused[0].reason
    assert not nominal.refused
    (hit,) = nominal.hits
    assert hit.left.nominal_si == pytest.approx(0.2e-3)
    assert nominal.margins_over_limit()["A"] == pytest.approx(0.25 / 0.2)
    too_short = planned(A.with_criterion(net="A", criterion=made.longest(0.15)), RULES, "nominal")
    assert "shortest stub at nominal depth 0.2 mm" in too_short.refused[0].reason
    after = nominal.consequences()["A"]
    assert (str(after.verdict[1]), str(after.verdict[2])) == ("pass", "falls short")
    assert after.why == "its drilled stubs keep their budget at nominal depth only, as chosen"


def test_which_end_was_taken_is_said_and_is_part_of_the_digest():
    worst, nominal = (planned(A, RULES, end) for end in ("worst", "nominal"))
    assert (worst.budget_at, nominal.budget_at) == ("worst", "nominal")
    assert "keep their budget at worst tolerance, the unfavourable end" in worst.to_text()
    for text in (nominal.summary(), nominal.to_text(), nominal.to_csv(), nominal.holes_csv(), nominal.to_markdown()):
        assert "keep their budget at nominal depth only, as the user chose" in " ".join(text.split())
    assert worst.inputs_changed(nominal) == ("budget at",)
    assert worst.digest == plan(A, RULES, model="uniform", dk_eff=4).digest
    with pytest.raises(BoardError, match="budget_at"):
        planned(A, RULES, "best")


@pytest.mark.parametrize("end", ["worst", "nominal"])
def test_an_unknown_rule_counts_at_its_unfavourable_end_either_way(end):
    """What is drilled under unknown rules can be drilled under each of their extreme values."""
    unknown = made.rules(tip_angle=None, least_depth=None, least_plated=None, sides={"bottom": "any"})
    board = made.six_layers(*(made.net(f"n{i}", ("L1", f"L{i}"), 0.35) for i in range(2, 6)))
    found = planned(board, unknown, end, missed_nets="leave")
    assert found.hits
    assert found.refused, "unknown rules refuse some that one of their values would not"
    for hit in found.hits:
        end_si = found.group_of(hit.hole.name, hit.side).end_si
        for known in unknown.cases():
            assert window(hit.window.shape, hit.window.longest_si, known, end).holds(end_si)


@pytest.mark.slow
@pytest.mark.parametrize("end", ["worst", "nominal"])
def test_an_unknown_input_counts_at_its_unfavourable_end_either_way(end):
    """Nobody knows the return vias, so the first notch is a range. As drawn it does not meet a limit inside it."""
    board = mb.board(mb.net("A", ("TOP", "S1")), places=0)
    row = rank(board)["A"]
    assert row.first_notch_si < row.first_notch_to_si
    limit = 0.5 * (row.first_notch_si + row.first_notch_to_si) / row.nyquist_si
    found = plan(board.with_criterion(net="A", criterion=Criterion.notch_ratio(limit)), FLAT, budget_at=end)
    assert [hit.net for hit in found.hits] == ["A"]
    moment = {"nominal": 1, "worst": 2}[end]
    assert found.consequences()["A"].margin_over_limit[moment] >= 1 - 1e-9


def test_a_drill_that_may_not_reach_the_plating_leaves_no_more_than_all_of_it():
    """The stub of 0.25 mm may keep 0.21 mm at nominal depth: 0.04 mm deep, +-0.05 mm. At worst nothing is cut."""
    board = Board(stackup=made.stackup((0.3, 0.2, 0.25, 0.2)), nets=(made.net("A", ("L1", "L4"), 0.21),))
    its_rules = made.rules(tip_angle=180, tip_distance="0 mm", tolerance=made.depth_tolerance(0.05, 0.05))
    end = 0.25e-3 - 0.21e-3
    found = window(planned(board, its_rules, "nominal").hits[0].window.shape, 0.21e-3, its_rules, "nominal")
    assert found.holds(end)
    left = found.left(end)
    assert (left.nominal_si, left.most_si) == pytest.approx((0.21e-3, 0.25e-3))
    assert left.least_si == pytest.approx(0.16e-3)
