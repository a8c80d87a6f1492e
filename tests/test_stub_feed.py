"""The feed of stubs on boards: which one follows from the net, what overrides it, and the range where it is unknown."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stubsi import (
    Board,
    BoardError,
    Criterion,
    Net,
    Padstack,
    PressFit,
    check_stub,
    hole_model,
    plan,
    rank,
    read_board,
    stub_budget,
)
from stubsi.stubs.cases import stub_table
from tests import drilling_boards as made
from tests import margin_boards as mb
from tests.board_text import MINIMAL

BLIND = dataclasses.replace(mb.VIA, name="blind", span=("S1", "BOT"))
FIT = PressFit(side="top", contact_from="0.1 mm", contact_to="0.5 mm", pin_length="0.6 mm")
DEEP = mb.stackup(roles=mb.ROLES | {"S3": "signal", "G4": "plane", "END": "signal"})


def feeds(connects, *, padstack=mb.VIA, **more):
    board = mb.board(mb.net("A", connects, padstack=padstack, **more))
    return [str(case.shape.feed) for case in stub_table(board, with_surroundings=True).cases]


@pytest.mark.parametrize(
    ("connects", "more", "expected"),
    [
        (("TOP", "S1"), {}, ["feed through: the net uses two layers of the hole"]),
        (("S1", "S2"), {}, ["feed through: the net uses two layers of the hole"] * 2),
        (("TOP",), {}, ["feed tee: the net uses one layer of the hole"]),
        (("S1",), {"padstack": BLIND}, ["feed tee: the net uses one layer of the hole"]),
        (("S1",), {}, ["feed unknown: two stubs start from one layer"] * 2),
        (("TOP", "S1", "S2"), {}, ["feed unknown: the net uses three or more layers of the hole"]),
        (("S1",), {"press_fit": FIT}, ["feed through: the net uses two layers of the hole"]),
        (("TOP",), {"press_fit": FIT}, ["feed unknown: a press-fit pin is the only other use of the hole"]),
        (("S1",), {"feed": "tee"}, ["feed tee: as given"] * 2),
    ],
)  # fmt: skip
def test_the_feed_follows_from_the_layers_in_use(connects, more, expected):
    found = feeds(connects, **more)
    assert found
    assert set(found) == set(expected)


def notches(connects=("TOP", "S1"), layers=None, away=mb.AWAY, **more):
    """Lower and upper end of the first notch [GHz] of the stub towards the bottom."""
    hole = mb.hole("A.0", connects, **more)
    net = Net(name="A", signal="25 Gb/s", z0="50 ohm", holes=[hole])
    board = mb.board(net, mb.ground(1, away), places=0, layers=layers)
    found = np.atleast_1d(hole_model(board, "A.0").below.notch_frequency().m_as("GHz"))
    return float(found.min()), float(found.max())


def test_the_sides_of_the_traces_are_both_ends_of_the_range():
    low, high = notches()
    assert (low, low) == pytest.approx(notches(traces="same"), rel=1e-9)
    assert (high, high) == pytest.approx(notches(traces="opposite"), rel=1e-9)
    assert 1.01 < high / low < 1.10


def test_the_other_trace_does_not_matter_two_planes_away():
    assert notches(("TOP", "S2")) == pytest.approx(notches(("TOP", "S2"), traces="same"), rel=1e-12)
    low, high = notches(("TOP", "S2"))
    assert low == high


def test_an_unknown_feed_is_a_range_from_tee_to_through():
    """Three layers in use; the nearest other one, S1, lies just beyond G2."""
    low, high = notches(("TOP", "S1", "S2"), DEEP)
    assert low == pytest.approx(min(notches(("TOP", "S1", "S2"), DEEP, feed="through")), rel=1e-9)
    assert high == pytest.approx(max(notches(("TOP", "S1", "S2"), DEEP, feed="tee")), rel=1e-9)
    assert low < high


@pytest.mark.parametrize("layer", ["S1", pytest.param("TOP", marks=pytest.mark.slow)])
def test_a_check_without_a_feed_is_no_better_than_with_either(layer):
    stub = {"stackup": mb.stackup(), "padstack": mb.VIA, "layer": layer, "return_vias": mb.RETURNS}
    lengths = [check_stub("0.6 mm", "25 Gb/s", **stub, **more).first_notch.m_as("GHz")
               for more in ({}, {"feed": "through"}, {"feed": "tee"})]  # fmt: skip
    assert lengths[0] <= min(lengths[1:]) * (1 + 1e-9)
    assert lengths[1] < lengths[2]


@pytest.mark.slow
@pytest.mark.parametrize("layer", ["S1", "TOP"])
def test_a_budget_without_a_feed_is_no_longer_than_with_either(layer):
    stub = {"stackup": mb.stackup(), "padstack": mb.VIA, "layer": layer, "return_vias": mb.RETURNS}
    budgets = [stub_budget("112 Gb/s PAM4", **stub, **more).proven_length_si
               for more in ({}, {"feed": "through"}, {"feed": "tee"})]  # fmt: skip
    assert budgets[0] <= min(budgets[1:]) * (1 + 1e-9)


def test_a_check_that_hangs_on_the_feed_is_undecided_and_asks_for_it():
    stub = {"stackup": mb.stackup(), "padstack": mb.VIA, "layer": "S1", "return_vias": mb.RETURNS}
    figures = check_stub("0.6 mm", "25 Gb/s", **stub).figures
    limit = Criterion.notch_ratio(math.sqrt(figures.notch.low * figures.notch.high) / 12.5e9)
    check = check_stub("0.6 mm", "25 Gb/s", criterion=limit, **stub)
    assert check.verdict == "undecided"
    assert "; feed unknown: give feed; sides of the traces unknown: give traces" in check.reason


def test_a_verdict_that_hangs_on_the_feed_is_undecided():
    low, high = notches(("TOP", "S1", "S2"), DEEP)
    ratio = math.sqrt(low * high) / 12.5
    net = mb.net("A", ("TOP", "S1", "S2"), criterion=Criterion.notch_ratio(ratio))
    assert rank(mb.board(net, layers=DEEP))["A"].verdict == "undecided"


@settings(max_examples=3)
@given(drill=st.floats(0.16, 0.4), clearance=st.floats(1.95, 2.7), gap=st.floats(0.08, 0.3))
def test_a_through_feed_never_has_the_higher_notch(drill, clearance, gap):
    via = Padstack(name="v", drill=f"{drill} mm", antipad=f"{drill * clearance} mm")
    stub = {"stackup": mb.stackup(gap=gap), "padstack": via, "layer": "S1", "return_vias": mb.RETURNS}
    through, tee = (
        check_stub(f"{3 * gap} mm", "25 Gb/s", feed=feed, **stub).first_notch_si for feed in ("through", "tee")
    )
    assert through < tee


def test_a_file_states_feed_and_traces_as_python_does(tmp_path):
    file = tmp_path / "board.toml"
    file.write_text(MINIMAL.replace('connects = ["TOP"]', 'connects = ["TOP"], feed = "tee", traces = "opposite"'))
    hole = read_board(file).nets[0].holes[0]
    assert (hole.feed, hole.traces) == ("tee", "opposite")


@pytest.mark.parametrize(("name", "value"), [("feed", "half"), ("traces", "left"), ("feed", None)])
def test_other_words_are_refused(name, value):
    with pytest.raises(BoardError, match=f"hole A {name} = .*must be"):
        mb.hole("A", ("TOP",), **{name: value})
    if name == "feed" and value:
        with pytest.raises(BoardError, match="feed = 'half': must be 'through' or 'tee'"):
            check_stub("0.6 mm", "25 Gb/s", stackup=mb.stackup(), padstack=mb.VIA, layer="S1", feed=value)


def test_a_plan_knows_a_changed_feed_and_a_board_without_one_keeps_its_digest():
    net = made.net("A", ("L1", "L3"), 0.5)
    plain = Board(stackup=made.stackup([0.25] * 5), nets=[net])
    found = plan(plain, made.rules(), model="uniform", dk_eff=4)
    stated = dataclasses.replace(net, holes=[dataclasses.replace(net.holes[0], feed="tee")])
    other = Board(stackup=plain.stackup, nets=[stated])
    assert found.matches(plain, made.rules())
    assert found.matches(other, made.rules()).changed == ("net A",)
