"""1 dB frequency and greatest loss up to Nyquist as figures of stubs and nets: scikit-rf, closed forms and limits."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from stubsi import Criterion, ReturnVias, Stub, check_stub, hole_model, plan, rank, stub_budget
from stubsi.drilling.guaranteed_residual import GuaranteedResidual
from stubsi.errors import StubsiError, UnknownValueError
from tests import drilling_boards as made
from tests import margin_boards as mb
from tests.strategies import physical

LINE = {"dk_eff": 4.0, "z_stub": "50 ohm", "z0": "50 ohm"}
SOLVED = {"stackup": mb.stackup(df=0.01, at="1 GHz"), "padstack": mb.VIA, "layer": "S1", "return_vias": mb.RETURNS,
          "feed": "through", "z0": "50 ohm"}  # fmt: skip


def test_of_an_ideal_line_by_its_closed_form():
    """tan(theta) = 2 sqrt(10^0.1 - 1) for equal impedances, derived: 0.5054 of the first notch; 5 mm at Dk 4."""
    check = check_stub("5 mm", "1 Gb/s", **LINE)
    share = 2 / np.pi * math.atan(2 * math.sqrt(10**0.1 - 1))
    assert share == pytest.approx(0.5056, abs=5e-5)
    assert check.one_db_si == pytest.approx(share * 299_792_458 / (4 * 5e-3 * 2), rel=1e-9)
    assert check.one_db.m_as("GHz") == pytest.approx(3.789, abs=5e-4)


def losses_of(network):
    return -20 * np.log10(np.abs(network.s[:, 1, 0]))


def test_scikit_rf_has_1_db_there():
    """In the stub's own network; of a net the lowest of its stubs."""
    board = mb.board(mb.net("A", ("TOP", "S2"), ("TOP",), signal="112 GBd", feed="through"), layers=SOLVED["stackup"])
    row, found = rank(board)["A"], []
    for name in ("A.0", "A.1"):
        for stub in hole_model(board, name).stubs:
            low, high = 5e9, row.first_notch_si
            frequency = np.linspace(low, high, 2001)
            loss = losses_of(stub.network([f"{f:.3f} Hz" for f in frequency]))
            found.append(np.interp(1.0, loss[: loss.argmax() + 1], frequency[: loss.argmax() + 1]))
    assert row.one_db_si == pytest.approx(min(found), rel=1e-3)
    assert row.one_db_si == row.one_db_to_si
    assert min(found) < 0.9 * max(found)


def test_a_stub_by_itself_says_where_it_reaches_1_db():
    """The object of a hole, and that of a uniform line: the same as in the ranking and in a check."""
    board = mb.board(mb.net("A", ("TOP", "S2"), signal="112 GBd"), layers=SOLVED["stackup"])
    (stub,) = hole_model(board, "A.0").stubs
    assert stub.one_db_frequency(z0="50 ohm").m_as("Hz") == pytest.approx(rank(board)["A"].one_db_si, rel=1e-9)
    one_plane_between = mb.board(mb.net("A", ("TOP", "S1"), signal="112 GBd"), layers=SOLVED["stackup"])
    low, high = hole_model(one_plane_between, "A.0").stubs[0].one_db_frequency(z0="50 ohm").m_as("GHz")
    assert low < high < 1.1 * low
    line = Stub(stub_length="5 mm", dk_eff=4.0, z_stub="50 ohm")
    check = check_stub("5 mm", "1 Gb/s", **LINE)
    assert line.one_db_frequency(z0="50 ohm").m_as("Hz") == pytest.approx(check.one_db_si, rel=1e-12)
    assert line.loss(line.one_db_frequency(z0="20 ohm"), z0="20 ohm") == pytest.approx(1.0, abs=1e-9)
    assert math.isnan(Stub(stub_length="0 mm", dk_eff=4.0).one_db_frequency(z0="50 ohm").m_as("GHz"))
    with pytest.raises(UnknownValueError, match="impedance is unknown"):
        Stub(stub_length="5 mm", dk_eff=4.0).one_db_frequency(z0="50 ohm")


def test_a_leg_of_a_pair_hangs_in_half_of_the_differential_impedance():
    vias = ReturnVias(positions=[("1.2 mm", "0 mm"), ("-1.2 mm", "0 mm")], drill="0.25 mm")
    pair = mb.pair("A", ("TOP",), ("TOP",), signal="112 GBd", z0="85 ohm")
    places = [(x, 0.45 + y) for x, y in ((1.2, 0.0), (-1.2, 0.0))]
    row = rank(mb.board(pair, mb.ground(1, places), layers=SOLVED["stackup"], places=0))["A"]
    check = check_stub(row.stub_length, "112 GBd", **SOLVED | {"layer": "TOP", "return_vias": vias, "pitch": "0.9 mm",
                                                               "z0": "42.5 ohm", "feed": ""})  # fmt: skip
    assert row.one_db_si == pytest.approx(check.one_db_si, rel=0.02)
    whole = check_stub(row.stub_length, "112 GBd", **SOLVED | {"layer": "TOP", "return_vias": vias, "pitch": "0.9 mm",
                                                               "z0": "85 ohm", "feed": ""})  # fmt: skip
    assert row.one_db_si > 1.2 * whole.one_db_si


def test_unknown_return_vias_make_it_a_range_around_what_known_ones_give():
    known = check_stub("0.5 mm", "112 GBd", **SOLVED).figures.one_db
    unknown = check_stub("0.5 mm", "112 GBd", **SOLVED | {"return_vias": None}).figures.one_db
    assert unknown.worst < unknown.low < known.low == known.high < unknown.high < unknown.best


def test_it_needs_the_impedance_of_the_line():
    without = {key: value for key, value in LINE.items() if key != "z0"}
    assert check_stub("5 mm", "1 Gb/s", **without).one_db is None
    with pytest.raises(StubsiError, match="z0 is missing: a criterion on 1 dB ratio needs the impedance of the line"):
        check_stub("5 mm", "1 Gb/s", criterion=Criterion.one_db_ratio(1), **without)


@given(physical(2.0, 6.0), physical(20.0, 120.0), physical(25.0, 100.0), st.sampled_from([0.0, 0.005, 0.02]),
       physical(0.3, 5.0), physical(0.05, 0.999), physical(1.001, 4.0))  # fmt: skip
@example(4.0, 50.0, 50.0, 0.0, 1.0, 0.9, 2.0)
def test_a_criterion_on_it_is_met_up_to_the_budget_and_nowhere_beyond(dk, z_stub, z0, df, limit, share, more):
    line = {"dk_eff": dk, "z_stub": f"{z_stub} ohm", "z0": f"{z0} ohm", "df": df}
    criterion = Criterion.one_db_ratio(limit)
    budget = stub_budget("25 GBd", criterion=criterion, **line)

    def check(length):
        return check_stub(f"{length * 1e3:.17g} mm", "25 GBd", criterion=criterion, **line)

    assert check(share * budget.proven_length_si)
    assert check(share * budget.stub_length_si).excess > 0
    assert check(more * budget.stub_length_si).excess < 0
    assert budget.stub_length_si < stub_budget("25 GBd", criterion=Criterion.notch_ratio(limit), **line).stub_length_si


def test_a_solved_budget_by_it():
    criterion = Criterion.one_db_ratio(1.2, source="our own rule")
    budget = stub_budget("112 GBd", criterion=criterion, **SOLVED)
    assert not budget.unlimited
    assert check_stub(budget.stub_length, "112 GBd", criterion=criterion, **SOLVED).verdict in ("pass", "marginal")
    assert check_stub(budget.proven_length, "112 GBd", criterion=criterion, **SOLVED)
    longer = check_stub(budget.stub_length * 1.05, "112 GBd", criterion=criterion, **SOLVED)
    assert longer.verdict in ("marginal", "falls short")
    assert longer.reason.endswith("x Nyquist for 1 dB, at least 1.2 wanted")


def test_a_plan_drills_to_it():
    board = mb.board(mb.net("A", ("TOP", "S1"), signal="25 GBd"))
    left = GuaranteedResidual(least="0.2 mm", most="0.3 mm", source=made.SAYS)
    criterion = Criterion.one_db_ratio(1.5, source=made.SAYS)
    found = plan(board.with_criterion(criterion), made.rules(tolerance=left), dk_eff=4.0)
    assert [hit.hole.name for hit in found.hits] == ["A.0"]
    after = found.consequences().worst["A"]
    assert after.verdict == "pass"
    assert after.one_db_si >= 1.5 * 12.5e9
    change = found.consequences()["A"]
    assert change.one_db_si[0] < 1.5 * 12.5e9 < change.one_db_si[2] == after.one_db_si
    table = found.consequences().to_frame()
    assert table["1 dB frequency, worst [GHz]"][0] == pytest.approx(after.one_db_si / 1e9)


@pytest.mark.parametrize(
    ("rate", "away"), [(20, 1.0), (76, 1.75), (112, 0.7), (112, 2.9)], ids=["far below", "near", "dense", "far away"]
)
def test_the_greatest_loss_is_that_of_a_dense_sweep_by_scikit_rf(rate, away):
    """From 0 to Nyquist, with return vias at several distances; loss at Nyquist itself is never more."""
    places = ((away, 0.0), (-away, 0.0))
    vias = ReturnVias(positions=[(f"{x} mm", f"{y} mm") for x, y in places], drill="0.25 mm")
    net = mb.net("A", ("TOP",), signal=f"{rate} GBd", feed="through")
    board = mb.board(net, mb.ground(1, places), layers=SOLVED["stackup"], places=0)
    stub = hole_model(board, "A.0").below
    check = check_stub(stub.stub_length, f"{rate} GBd", **SOLVED | {"layer": "TOP", "return_vias": vias})
    frequency = np.linspace(0.002, 1, 1500) * rate / 2 * 1e9
    network = stub.network([f"{f:.3f} Hz" for f in frequency])
    loss, back = losses_of(network), -20 * np.log10(np.abs(network.s[:, 0, 0]))
    assert check.greatest_loss == pytest.approx(loss.max(), rel=0.02)
    assert check.greatest_loss >= loss.max() * (1 - 1e-6)
    assert back.min() * 0.98 <= check.least_return_loss <= back.min() * (1 + 1e-6)
    assert check.loss == pytest.approx(loss[-1], rel=1e-6)
    row = rank(board)["A"]
    assert row.loss == pytest.approx(check.loss, rel=1e-6)
