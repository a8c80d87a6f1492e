"""Plans under tolerance: windows narrowed by the thickness of the board, and the yield of each number of groups."""

from __future__ import annotations

import numpy as np
import pytest

from stubsi import Board, BoardError, Tolerance, Tolerances, narrowed_rules, plan, yield_trade
from stubsi.drilling.window import window
from stubsi.tolerance.drilled_board import DrilledBoards
from tests import drilling_boards as db
from tests.test_drilled_yield import LAYERS, net, plus_minus, rules

BOARD = Board(stackup=LAYERS, nets=(net("A", 0.45), net("B", 0.6, ("L1", "L4"))))
FROM_FACE = rules(db.depth_tolerance())
THICK = Tolerances(dielectric_thickness=plus_minus("8 %"))


def test_the_window_is_narrowed_by_the_thickness():
    """Dielectrics of 0.25 mm at +-8 %, copper of 0.05 mm exact: n (0.25 * 0.08) / (n (0.25 + 0.05)) = 6.67 %."""
    narrow = narrowed_rules(FROM_FACE, BOARD, THICK).tolerance
    assert narrow.thickness_plus == pytest.approx(0.02 / 0.3, rel=1e-9)
    assert narrow.thickness_minus == pytest.approx(0.02 / 0.3, rel=1e-9)
    assert "thickness by the tolerances of the board" in narrow.source
    wide, narrowed = (
        plan(BOARD, each, model="uniform", dk_eff=4).hits[0].window
        for each in (FROM_FACE, narrowed_rules(FROM_FACE, BOARD, THICK))
    )
    assert narrowed.shallowest_si > wide.shallowest_si
    assert narrowed.deepest_si < wide.deepest_si
    assert narrowed == window(narrowed.shape, narrowed.longest_si, narrowed.rules)


def test_no_board_within_the_tolerances_is_cut_or_too_long_in_a_narrowed_plan():
    """Every residual stub at the limits of all tolerances lies within what the narrowed window promises."""
    made = plan(BOARD, narrowed_rules(FROM_FACE, BOARD, THICK), model="uniform", dk_eff=4)
    left = {(hit.hole.name, hit.side): hit.left for hit in made.hits}
    boards = DrilledBoards(made, THICK)
    for row, residual in boards.residual_of.items():
        hit = boards.hit_of[row]
        assert not residual.may_cut
        least, most = residual.limits
        assert left[hit.hole.name, hit.side].least_si <= least + 1e-12
        assert most <= left[hit.hole.name, hit.side].most_si + 1e-12
    unaware = DrilledBoards(plan(BOARD, FROM_FACE, model="uniform", dk_eff=4), THICK)
    assert any(residual.may_cut for residual in unaware.residual_of.values())


def test_only_what_lies_beyond_a_sensed_layer_counts():
    """Uneven tolerance of one thick dielectric before the sensed layer does not narrow anything."""
    sensing = rules(db.depth_tolerance(reference="sensed layer", sensed={"bottom": "L4"}))
    layers = list(LAYERS.layers)
    layers[-2] = layers[-2].replaced(material="outer")
    board = BOARD.replaced(stackup=LAYERS.replaced(layers=layers))
    outer = Tolerances(dielectric_thickness={"outer": plus_minus("20 %")})
    assert narrowed_rules(sensing, board, outer) == sensing
    assert narrowed_rules(FROM_FACE, board, outer).tolerance.thickness_plus == pytest.approx(0.05 / 0.3, rel=1e-9)


@pytest.mark.parametrize(("stated", "tolerances"), [
    (rules(), THICK),  # a guarantee includes all tolerances
    (FROM_FACE, Tolerances(dk=plus_minus("5 %"))),
    (rules(db.depth_tolerance(thicker=0.1, thinner=0.1)), THICK),
])  # fmt: skip
def test_rules_that_hold_already_stay_as_they_are(stated, tolerances):
    assert narrowed_rules(stated, BOARD, tolerances) == stated


def test_tolerances_that_leave_nothing_are_refused():
    with pytest.raises(BoardError):
        narrowed_rules(FROM_FACE, BOARD, Tolerances(dielectric_thickness=plus_minus("0.3 mm")))


@pytest.fixture(scope="module")
def trade():
    """A and B can share the group of L4, or have one each; then the stub of A is shorter."""
    return yield_trade(plan(BOARD, rules(), model="uniform", dk_eff=4), Tolerances(dk=plus_minus("5 %")))


def test_the_plan_with_the_fewest_groups_stands_beside_those_with_more(trade):
    frame = trade.to_frame()
    assert trade[0].plan.goal.name == "fewest groups"
    assert len(trade[0].plan.groups) == min(frame["groups"])
    assert frame["smallest margin over limit"].iloc[1:].is_monotonic_increasing
    for row in trade:
        assert row.drilled.plan == row.plan
        assert str(len(row.plan.groups)) in str(trade)
    assert "margin over limit" in trade._repr_html_()
    assert "margin over limit" in trade.to_csv()


def test_the_best_plan_has_the_largest_yield(trade):
    most = max(len(row.plan.groups) for row in trade)
    assert trade.best(most).drilled.mendable[0] == np.max([row.drilled.mendable[0] for row in trade])
    assert len(trade.best(1).plan.groups) == 1
    with pytest.raises(BoardError, match="no plan of this trade has fewer than 1 groups"):
        trade.best(0)
    with pytest.raises(BoardError, match="must be a whole number"):
        trade.best("1")


def test_a_tolerance_of_another_type_is_refused():
    with pytest.raises(BoardError, match="tolerances"):
        yield_trade(plan(BOARD, rules(), model="uniform", dk_eff=4), Tolerance.plus_minus("5 %", source=db.SAYS))
