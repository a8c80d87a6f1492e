"""Margins over tolerances: the verdict holds at the worst of them, and says so; 8 % only where none are given."""

from __future__ import annotations

import pickle

import numpy as np
import pytest

from stubsi import (
    BoardError,
    Criterion,
    DielectricLayer,
    Stackup,
    StubsiError,
    Tolerance,
    Tolerances,
    check_stub,
    check_stubs,
    corners,
    drilled_yield,
    plan,
    rank,
    stub_budget,
)  # fmt: skip
from stubsi.margin.verdict import Verdict
from tests import drilling_boards as db
from tests import margin_boards as mb
from tests.test_tolerance_corners import TEST, board, plus_minus

__all__ = ["board"]

THICK = Tolerances(board_thickness=plus_minus("10 %"), dk=plus_minus("5 %"))


NARROW = Tolerances(dk=plus_minus("1 %"), board_thickness=plus_minus("0.5 %"))


@pytest.fixture(scope="module")
def known():
    """A stub through two cavities among four return vias, where the model declares less than 8 %."""
    return mb.board(mb.net("CLK", ("TOP", "S1"), signal="10 Gb/s"))


def names(board):
    return [net.name for net in board.signal_nets]


def limited(board, share):
    """The board with its limit at a share of the first notch of CLK as drawn."""
    notch = rank(board)["CLK"].margin
    return board.with_criterion(Criterion.notch_ratio(share * notch, source=TEST))


@pytest.mark.slow
def test_the_verdict_holds_at_the_worst_corner_with_the_error_of_the_model(known):
    """As drawn the flat 8 % make the bound; over tolerances the worst corner does, less what the model declares."""
    found = corners(known, NARROW)
    drawn, clk = rank(known), names(known).index("CLK")
    error = drawn["CLK"].provenance
    assert drawn.figures.notch.worst[clk] == pytest.approx(0.92 * drawn.figures.notch.low[clk], rel=1e-12)
    assert 0.92 < error.of_model.low == error.model_low < 1
    worst, _, best = found["CLK"].margin
    assert found.ranking.built.worst[clk] == pytest.approx(error.model_low * worst, rel=1e-3)
    assert found.ranking.built.best[clk] == pytest.approx(error.model_high * best, rel=1e-3)
    assert found.ranking.built.worst[clk] < found.ranking.measured.low[clk] < found.ranking.built.best[clk]


def test_a_verdict_that_the_tolerances_change_says_so(known):
    """6 % below the notch: marginal by the flat allowance, proven by narrow tolerances, open by wide ones."""
    near = limited(known, 0.94)
    assert rank(near)["CLK"].verdict is Verdict.MARGINAL
    narrow = rank(near, tolerances=NARROW)["CLK"]
    assert narrow.verdict is Verdict.PASS
    assert "over the tolerances and the error of the model (marginal without the tolerances)" in narrow.reason
    far = limited(known, 0.9)
    assert rank(far)["CLK"].verdict is Verdict.PASS
    wide = rank(far, tolerances=Tolerances(dk=plus_minus("30 %"), board_thickness=plus_minus("0.5 %")))["CLK"]
    assert wide.verdict is Verdict.MARGINAL
    assert "(pass without the tolerances)" in wide.reason


def test_what_falls_short_as_drawn_is_not_mended_by_a_tolerance(board):
    """9 % short as drawn, more than the 8 %; the best of the boards that are built meet the limit."""
    notch = rank(board, model="uniform", dk_eff=4)["CLK"].margin
    short = board.with_criterion(Criterion.notch_ratio(1.09 * notch, source=TEST))
    found = rank(short, dk_eff=4, tolerances=THICK)
    assert found.built.best[names(board).index("CLK")] > 1.09 * notch
    assert found["CLK"].verdict is rank(short, dk_eff=4)["CLK"].verdict is Verdict.DRILL
    assert "over the tolerances and the error of the model" in found["CLK"].reason
    assert "without the tolerances" not in found["CLK"].reason


@pytest.mark.parametrize(
    "trivial", [Tolerances(), Tolerances(registration=Tolerance(plus="0.1 um", minus="0 um", source=TEST))]
)
def test_the_flat_allowance_stays_unless_dk_and_thickness_vary(known, trivial):
    near = limited(known, 0.94)
    kept, narrow = (rank(near, tolerances=each) for each in (trivial, NARROW))
    assert [each["CLK"].verdict for each in (kept, narrow)] == [Verdict.MARGINAL, Verdict.PASS]
    assert "The flat 8 % stay on top" in " ".join(str(kept).split())
    assert "The flat 8 %" not in str(narrow)


def test_a_known_stub_does_not_hide_an_unknown_one_of_its_net():
    """The last dielectric has no Dk: the stub that ends there has no notch that anybody knows."""
    layers = [*mb.stackup().layers[:-2], DielectricLayer(thickness="0.2 mm"), mb.stackup().layers[-1]]
    net = mb.net("A", ("TOP", "S2"), ("S1", "BOT"), signal="1 Gb/s")
    board = mb.board(net, layers=Stackup(layers=tuple(layers)), criterion=Criterion.notch_ratio(2, source=TEST))
    thick = Tolerances(board_thickness=plus_minus("1 %"))
    found = corners(board, thick, model="uniform")
    assert rank(board, model="uniform")["A"].verdict is Verdict.UNDECIDED
    assert found["A"].standing == "unknown"
    after = drilled_yield(plan(board, db.rules(), model="uniform"), thick)
    assert after["A"].verdict is Verdict.UNDECIDED


def test_the_table_names_the_range_and_what_is_exact(board):
    ranking = rank(board, model="uniform", tolerances=THICK)
    text = " ".join(str(ranking).split())
    low, high = ranking.built.notch_change
    assert f"Against hardware: first notch {100 * low:+.1f} to {100 * high:+.1f} % by the tolerances given" in text
    assert "exact, for want of a tolerance: copper thickness, drill, antipad, registration" in text
    assert "8 %" not in text
    assert "7.4 %" not in text
    assert "by the tolerances given" in ranking["CLK"].provenance.hardware_error
    drawn = rank(board, model="uniform")
    assert "not known until tolerances are given" in " ".join(str(drawn).split())
    assert ranking != drawn
    assert ranking.as_drawn == drawn
    assert pickle.loads(pickle.dumps(ranking)) == ranking
    assert "BuiltRange of 2 nets" in repr(ranking.built)


def test_a_uniform_line_never_gets_a_better_verdict(board):
    """It declares no error of its own, so the 8 % stay on top of the worst corner."""
    ranking = rank(board, model="uniform", dk_eff=4, tolerances=Tolerances(dielectric_thickness=plus_minus("1 %")))
    worst = corners(board, ranking.built.tolerances, dk_eff=4)["CLK"].margin[0]
    clk = names(board).index("CLK")
    assert ranking.built.worst[clk] == pytest.approx(0.92 * worst, rel=1e-12)


def test_a_check_and_a_budget_of_a_line_follow_the_closed_form():
    """f is as 1 / (L sqrt(Dk)): L +10 %, Dk +5 % and the 8 % of a line whose error is not known."""
    worst = 0.92 / (1.1 * np.sqrt(1.05))
    plain, built = (stub_budget("10 Gb/s", dk_eff=4, **given) for given in ({}, {"tolerances": THICK}))
    assert built.stub_length_si == plain.stub_length_si
    assert built.proven_length_si == pytest.approx(worst * plain.stub_length_si, rel=1e-9)
    found = check_stub("1 mm", "10 Gb/s", dk_eff=4, tolerances=THICK)
    assert found.figures.notch.worst == pytest.approx(worst * found.first_notch_si, rel=1e-12)
    assert found.figures.notch.best == pytest.approx(1.08 / (0.9 * np.sqrt(0.95)) * found.first_notch_si, rel=1e-12)
    assert "first notch -11.3 to +14.0 % by the tolerances given" in found.model
    rows = [{"net": "A", "signal": "10 Gb/s", "stub length [mm]": 1.3}]
    assert list(check_stubs(rows, dk_eff=4)["verdict"]) == ["pass"]
    assert list(check_stubs(rows, dk_eff=4, tolerances=THICK)["verdict"]) == ["marginal"]


def test_what_does_not_fit_is_refused(board):
    with pytest.raises(BoardError, match="tolerances = 5: must be Tolerances"):
        rank(board, tolerances=5)
    with pytest.raises(BoardError, match="tolerances of drill: a uniform line has no such thing"):
        check_stub("1 mm", "10 Gb/s", dk_eff=4, tolerances=Tolerances(drill=plus_minus("0.1 mm")))
    with pytest.raises(BoardError, match="state it in percent here"):
        check_stub("1 mm", "10 Gb/s", dk_eff=4, tolerances=Tolerances(board_thickness=plus_minus("0.1 mm")))
    with pytest.raises(BoardError, match=r"goes down to 0\.5, below 1"):
        check_stub("1 mm", "10 Gb/s", dk_eff=1, tolerances=Tolerances(dk=plus_minus("50 %")))
    padstack = board.net("CLK").holes[0].padstack
    with pytest.raises(StubsiError, match="of a solved stub need its board"):
        check_stub("1 mm", "10 Gb/s", stackup=board.stackup, padstack=padstack, layer="L2", tolerances=THICK)
    with pytest.raises(BoardError, match="were found for the criteria of this ranking"):
        rank(board, model="uniform", tolerances=THICK).under("Bogatin 2015")
