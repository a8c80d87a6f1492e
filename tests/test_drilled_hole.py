"""A hole of a plan before and after drilling: the model that the consequences are made of, and its physics."""

from __future__ import annotations

import numpy as np
import pytest

from stubsi import BoardError, Criterion, DepthDrill, StubsiError, hole_model, plan
from stubsi.drilling.effects import widened
from stubsi.physics.barrel import Barrel, End
from stubsi.stubs.model_error import Regime, notch_error
from tests import drilling_boards as made
from tests import margin_boards as mb

FREQUENCY = [f"{ghz} GHz" for ghz in (1, 5, 10, 20)]
SHORT = Criterion.stub_length("0.35 mm", source=made.SAYS)


@pytest.fixture(scope="module")
def drilled():
    """A net in through holes, a pair, and a net that passes as it is, all solved."""
    nets = (
        mb.net("A", ("TOP", "S1"), place=0, criterion=SHORT),
        mb.pair("B", ("S1", "S2"), ("S1", "S2"), place=1, criterion=SHORT),
        mb.net("C", ("TOP", "BOT"), place=2, criterion=SHORT),
    )
    return plan(mb.board(*nets, places=3), made.rules(tip_angle=180))


def test_a_hole_as_drawn_is_that_of_the_board(drilled):
    for name in ("A.0", "B.P", "C.0"):
        assert drilled.hole_model(name, "drawn") == hole_model(drilled.board, name)


@pytest.mark.parametrize("state", ["nominal", "worst"])
@pytest.mark.parametrize("name", ["A.0", "B.P"])
def test_a_drilled_hole_is_the_hole_with_its_depth_drills(drilled, name, state):
    hits = [hit for hit in drilled.hits if hit.hole.name == name]
    drills = [
        DepthDrill(side=hit.side, residual_stub=f"{1e3 * left!r} mm", drill="0.5 mm")
        for hit in hits
        for left in [hit.left.nominal_si if state == "nominal" else hit.left.most_si]
    ]
    by_hand = hole_model(widened(drilled), name, drilled=drills)
    found = drilled.hole_model(name, state)
    assert [stub.stub_length_si for stub in found.stubs] == pytest.approx([s.stub_length_si for s in by_hand.stubs])
    frequency = np.array([1e9, 10e9, 30e9])
    np.testing.assert_allclose(found.abcd_si(frequency), by_hand.abcd_si(frequency), rtol=1e-7)
    assert len(hits) == {"A.0": 1, "B.P": 2}[name]


@pytest.fixture(scope="module")
def filled(drilled):
    """The same board, its bores filled with resin of Dk 3.8."""
    return plan(drilled.board, made.rules(tip_angle=180, fill_dk=3.8))


def test_a_filled_bore_is_that_of_the_depth_drill_with_the_same_filling(drilled, filled):
    """Resin at the end of a stub is a larger capacitance than air: the notch is lower, by less than a tenth."""
    (hit,) = [hit for hit in filled.hits if hit.hole.name == "A.0"]
    drill = DepthDrill(side=hit.side, residual_stub=f"{1e3 * hit.left.most_si!r} mm", drill="0.5 mm", fill_dk=3.8)
    by_hand = hole_model(widened(filled), "A.0", drilled=[drill])
    frequency = np.array([1e9, 10e9, 30e9])
    np.testing.assert_allclose(
        filled.hole_model("A.0", "worst").abcd_si(frequency), by_hand.abcd_si(frequency), rtol=1e-7
    )
    resin, air = (found.consequences()["A"].margin for found in (filled, drilled))
    assert resin[0] == air[0]
    assert 0.9 * air[2] < resin[2] < air[2]


def test_no_table_has_a_filled_bore_so_more_error_is_declared():
    in_air = Regime(cavities=6, k_b=1e-14, return_vias=True, drilled=True)
    assert notch_error(in_air, 20e9) < 0.05 <= notch_error(in_air._replace(filled=True), 20e9)
    air = Barrel(barrel_radius=1e-4, levels=(), end=End(bore_radius=2e-4))
    resin = Barrel(barrel_radius=1e-4, levels=(), end=End(bore_radius=2e-4, bore_dk=3.8))
    assert (air.is_filled, resin.is_filled) == (False, True)


def test_the_filling_is_a_rule_with_its_name_and_a_part_of_the_plan(drilled, filled):
    assert "fill dk 3.8 (bores are filled)" in " ".join(filled.to_text().split())
    assert "fill dk" not in drilled.to_text()
    assert drilled.matches(drilled.board, filled.rules).changed == ("rule fill_dk",)
    with pytest.raises(StubsiError, match=r"rules fill_dk = 0\.9"):
        made.rules(fill_dk=0.9)


@pytest.mark.parametrize(("state", "ranking"), [("drawn", "before"), ("nominal", "nominal"), ("worst", "worst")])
def test_its_figures_are_those_of_the_consequences(drilled, state, ranking):
    for row in getattr(drilled.consequences(), ranking):
        if row.net == "C":
            continue
        hole = drilled.hole_model(row.hole, state)
        stub = hole.above if row.side == "top" else hole.below
        assert stub.stub_length_si == pytest.approx(row.stub_length_si)
        assert stub.models.first_notch[0, 0] == pytest.approx(row.first_notch_si, rel=1e-6)


def test_drilling_takes_loss_away_and_leaves_a_passive_reciprocal_two_port(drilled):
    """Below the first notch a shorter stub loads the line less; the worst tolerance leaves more than the nominal."""
    for name in ("A.0", "B.N"):
        two_ports = [drilled.hole_model(name, state).network(FREQUENCY) for state in ("nominal", "worst", "drawn")]
        for network in two_ports:
            assert network.is_passive()
            assert network.is_reciprocal()
        through = [np.abs(network.s[:, 1, 0]) for network in two_ports]
        assert np.all(through[0] >= through[1])
        assert np.all(through[1] > through[2])


def test_a_hole_that_is_not_drilled_is_the_same_in_every_state(drilled):
    models = [drilled.hole_model("C.0", state) for state in ("drawn", "nominal", "worst")]
    assert [model.stubs for model in models] == [()] * 3


def test_a_stub_that_is_drilled_away_is_gone():
    """Without tolerance and with a flat tip the drill may end at the layer itself."""
    rules = made.rules(tip_angle=180, tip_distance="0 mm", tolerance=made.depth_tolerance(0, 0))
    board = mb.board(mb.net("A", ("TOP", "S1"), criterion=SHORT))
    found = plan(board, rules, model="uniform")
    assert found.hits[0].left.most_si == 0
    assert found.hole_model("A.0", "worst").stubs == ()
    assert len(found.hole_model("A.0", "drawn").stubs) == 1


def test_the_model_is_that_of_the_plan():
    board = mb.board(mb.net("A", ("TOP", "S1"), criterion=SHORT))
    found = plan(board, made.rules(tip_angle=180), dk_eff=6.2)
    (stub,) = found.hole_model("A.0", "worst").stubs
    length = found.hits[0].left.most_si
    assert stub.models.first_notch[0, 0] == pytest.approx(299792458 / (4 * length * np.sqrt(6.2)), rel=1e-6)


@pytest.mark.parametrize(
    ("hole", "state", "text"),
    [
        ("A.7", "worst", "near it are A.0"),
        ("GND.0.0", "worst", "no such hole"),
        ("A.0", "best", "must be one of drawn"),
    ],
)
def test_an_unknown_hole_or_state_is_refused(drilled, hole, state, text):
    with pytest.raises(StubsiError, match=text):
        drilled.hole_model(hole, state)
    with pytest.raises(BoardError):
        drilled.hole_model(hole, state)
