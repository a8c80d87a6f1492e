"""What the criteria allow a stub on a board: the budget of the same stub without one, and no loss past a notch."""

from __future__ import annotations

import numpy as np
import pytest

from stubsi import Criterion, check_stub, rank, stub_budget
from stubsi.drilling.guaranteed_residual import GuaranteedResidual
from stubsi.drilling.limits import Limits
from stubsi.drilling.planning import plan
from stubsi.drilling.questions import InputKind
from stubsi.margin.longest_stub import RESOLUTION
from stubsi.stubs.model_choice import ModelChoice
from stubsi.stubs.uniform_stub import Stub
from tests import drilling_boards as made
from tests import margin_boards as mb

CRITERIA = [
    Criterion.notch_ratio(2.5),
    Criterion.loss(0.3),
    Criterion.return_loss(12),
    Criterion.stub_length("0.3 mm"),
    Criterion.stub_length_at_1_gbaud("30 mm"),
]


def permitted(board, **model):
    """Longest permitted stub [m] of the only stub of a board."""
    limits = Limits(rank(board, **model), ModelChoice(**{"name": "solved", **model}), made.rules())
    return float(limits.longest([0])[0])


@pytest.mark.parametrize("criterion", CRITERIA, ids=str)
@pytest.mark.parametrize(
    ("layer", "side"),
    [("S1", "top"), *(pytest.param(*each, marks=pytest.mark.slow) for each in (("TOP", "bottom"), ("BOT", "top")))],
)
def test_a_solved_stub_may_be_as_long_as_its_budget_says(criterion, layer, side):
    signal = "112 GBd" if layer != "S1" else "300 GBd"
    connects = (layer,) if layer != "S1" else (layer, "BOT")
    board = mb.board(mb.net("A", connects, signal=signal, criterion=criterion))
    budget = stub_budget(
        signal, criterion=criterion, z0="50 ohm", stackup=board.stackup, padstack=mb.VIA, layer=layer, side=side,
        return_vias=mb.RETURNS, depth_drill="0.5 mm", feed="through" if layer == "S1" else "tee",
    )  # fmt: skip
    assert not budget.unlimited
    assert permitted(board) == pytest.approx(budget.stub_length_si, abs=RESOLUTION)


@pytest.mark.parametrize("criterion", CRITERIA, ids=str)
def test_a_uniform_stub_may_be_as_long_as_its_budget_says(criterion):
    board = mb.board(mb.net("A", ("TOP",), signal="112 GBd", criterion=criterion))
    z_stub = Stub(stub_length="1 mm", dk_eff=4, drill="0.3 mm", antipad="0.8 mm").z_stub_or_coax_si
    budget = stub_budget("112 GBd", criterion=criterion, z0="50 ohm", dk_eff=4, z_stub=f"{z_stub} ohm")
    found = permitted(board, dk_eff=4.0)
    assert budget.stub_length_si - RESOLUTION <= found <= budget.stub_length_si * (1 + 1e-9)


def test_a_stub_that_passes_as_drawn_has_no_longest():
    assert permitted(mb.board(mb.net("A", ("TOP",), signal="1 GBd"))) == np.inf


def half_wave(criterion):
    """Stub of 1.38 mm at Dk 4: a quarter wave at 27.16 GHz, half a wave and so no loss at 54.31 GHz."""
    return mb.board(mb.net("A", ("TOP",), signal="108.62 GBd", criterion=criterion))


@pytest.mark.parametrize("criterion", [Criterion.loss(6), Criterion.return_loss(2)], ids=str)
def test_a_stub_past_its_notch_is_drilled_though_its_loss_at_nyquist_is_none(criterion):
    board = half_wave(criterion)
    row = rank(board, dk_eff=4.0)["A"]
    assert row.loss < 1e-4
    assert row.verdict == "drill"
    assert row.reason.startswith("first notch 0.5 x Nyquist, at or below Nyquist; from the bottom")
    left = GuaranteedResidual(least="0.2 mm", most="0.4 mm", source=made.SAYS)
    found = plan(board, made.rules(tolerance=left), dk_eff=4.0)
    assert [hit.hole.name for hit in found.hits] == ["A.0"]
    assert 0 < permitted(board, dk_eff=4.0) < 0.69e-3


def test_the_loss_of_a_stub_past_its_notch_is_infinite():
    """A quarter wave at Nyquist is 0.69 mm: the loss rises up to it, and none counts beyond, drilled or as drawn."""
    limits = Limits(rank(half_wave(Criterion.loss(0.5)), dk_eff=4.0), ModelChoice(dk_eff=4.0), made.rules())
    losses = limits.losses([0] * 5, [0.0, 0.4e-3, 0.68e-3, 0.7e-3, 1.38e-3])
    assert losses[0] == 0
    assert 0 < losses[1] < losses[2] < np.inf
    assert np.all(losses[3:] == np.inf)


def test_what_is_missing_for_a_loss_only_is_named_too():
    """Without an antipad a uniform stub has a notch, but no impedance and so no loss."""
    bare = mb.VIA.replaced(antipad=None, name="bare")
    board = mb.board(mb.net("A", ("TOP", "S1"), padstack=bare), criterion=Criterion.loss(0.5))
    limits = Limits(rank(board, dk_eff=4.0), ModelChoice(dk_eff=4.0), made.rules())
    assert limits.missing(0) == "antipad of padstack bare is unknown"
    assert Limits(rank(mb.board(mb.net("A", ("TOP", "S1"))), dk_eff=4.0), ModelChoice(dk_eff=4.0),
                  made.rules()).missing(0) == ""  # fmt: skip


def test_a_loss_that_is_a_range_counts_with_its_worse_end():
    """Unknown return vias: as a check of the same stub gives it."""
    board = mb.board(mb.net("A", ("TOP", "S2"), signal="28 GBd"), criterion=Criterion.loss(0.5), places=0)
    limits = Limits(rank(board), ModelChoice(), made.rules())
    (found,) = limits.losses([0], [board.stackup.stub_length("S2", "bottom").length_si])
    check = check_stub(board.stackup.stub_length("S2", "bottom").length, "28 GBd", z0="50 ohm", stackup=board.stackup,
                       padstack=mb.VIA, layer="S2", feed="through", criterion=Criterion.loss(0.5))  # fmt: skip
    assert found == pytest.approx(check.figures.loss.low, rel=1e-6)
    assert found > 1.1 * check.figures.loss.high


def test_an_unknown_finished_diameter_is_asked_for_with_the_number_of_stubs_that_hang_on_it():
    """The point of the drill may reach 0.15 mm beyond 0.1 mm of plating; with thin plating it would not cut there."""
    nets = [mb.net(name, ("TOP", "S1"), place=place, signal="36 GBd") for place, name in enumerate("AB")]
    found = plan(mb.board(*nets), made.rules(), dk_eff=4.0)
    assert len(found.refused) == 2
    (asked,) = [question for question in found.questions() if question.kind is InputKind.FINISHED]
    assert (asked.subject, asked.flips) == ("via", 2)
