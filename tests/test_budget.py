"""Budgets and checks without a board: round trip, what is proven, what is asked for, uniform lines and solved stubs."""

from __future__ import annotations

import inspect
import math
import pickle
import re

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from stubsi import (
    BoardError,
    Criterion,
    PlausibilityWarning,
    ReturnVias,
    Signal,
    Stub,
    StubArguments,
    StubsiError,
    UnitError,
    check_stub,
    rank,
    stub_budget,
    stub_budgets,
)
from tests import margin_boards as mb
from tests.strategies import dfs, dks, physical, port_impedances

GIVEN = {"dk_eff": 4.0, "z_stub": "40 ohm", "z0": "50 ohm"}
SOLVED_AT_S1 = {
    "stackup": mb.stackup(), "padstack": mb.VIA, "layer": "S1", "return_vias": mb.RETURNS, "feed": "through",
}  # fmt: skip


def mm(metres):
    return f"{metres * 1e3:.15g} mm"


@st.composite
def uniform_lines(draw):
    """Arguments of a stub as a uniform line: lossless, lossy or dispersive, with or without a load at its end."""
    given = {"dk_eff": draw(dks), "z_stub": f"{draw(physical(15.0, 120.0))} ohm", "z0": f"{draw(port_impedances)} ohm"}
    if draw(st.booleans()):
        given["df"] = draw(dfs)
        given["at"] = draw(st.none() | st.sampled_from(["1 GHz", "10 GHz"]))
    return given | draw(st.sampled_from([{}, {}, {"end_capacitance": "5 fF"}, {"end_capacitance": "30 fF"}]))


criteria = st.one_of(
    physical(1.0, 12.0).map(Criterion.notch_ratio),
    physical(0.05, 3.0).map(Criterion.loss),
    physical(4.0, 20.0).map(Criterion.return_loss),
    physical(0.1, 2.0).map(lambda mm_: Criterion.stub_length(f"{mm_} mm")),
    physical(5.0, 60.0).map(lambda mm_: Criterion.stub_length_at_1_gbaud(f"{mm_} mm")),
)
signals = physical(1.0, 120.0).map(lambda gbaud: Signal(f"{gbaud} GBd"))


# --- round trip -------------------------------------------------------------------------------------------------------


@given(uniform_lines(), criteria, signals)
@example(
    {"dk_eff": 4.0, "z_stub": "15 ohm", "z0": "25 ohm", "end_capacitance": "30 fF"},
    Criterion.loss(0.0546875),
    Signal("88 GBd"),
)
@example(
    {"dk_eff": 4.2, "df": 0.02, "at": "1 GHz", "z_stub": "40 ohm", "z0": "50 ohm"},
    Criterion.notch_ratio(2),
    Signal("64 GBd"),
)
def test_the_criterion_is_met_at_the_budget_and_missed_beyond(line, criterion, signal):
    budget = stub_budget(signal, criterion=criterion, **line)

    def check(length):
        return check_stub(length, signal, criterion=criterion, **line)

    def longer(length):
        """By 0.1 %; where not even the load at the end is within the limit, any stub at all."""
        return mm(max(1.001 * length, 1e-9))

    assert not budget.unlimited
    assert check(budget.stub_length).excess >= -1e-9
    assert check(longer(budget.stub_length_si)).excess < 0
    assert check(budget.proven_length)
    assert not check(longer(budget.proven_length_si))


@given(uniform_lines(), criteria, signals, physical(0.01, 1.0))
def test_every_stub_shorter_than_the_budget_meets_the_criterion(line, criterion, signal, share):
    budget = stub_budget(signal, criterion=criterion, **line)
    assert budget.proven_length_si <= budget.stub_length_si
    assert check_stub(mm(share * budget.stub_length_si), signal, criterion=criterion, **line).excess >= -1e-9
    assert check_stub(mm(share * budget.proven_length_si), signal, criterion=criterion, **line)


@given(uniform_lines(), signals, physical(1.0, 10.0), physical(1.01, 3.0))
def test_a_stricter_criterion_or_a_faster_signal_leaves_less(line, signal, ratio, more):
    def longest(signal, ratio):
        return stub_budget(signal, criterion=Criterion.notch_ratio(ratio), **line).stub_length_si

    faster = Signal(f"{more * signal.symbol_rate_si / 1e9} GBd")
    nominal = longest(signal, ratio)
    assert longest(signal, ratio * more) < nominal
    assert longest(faster, ratio) == pytest.approx(longest(signal, ratio * more), rel=1e-9)


@given(dks, physical(1.0, 12.0), signals)
def test_notch_of_the_budget_is_the_multiple_asked_for(dk, ratio, signal):
    """Lossless: L = c / (4 k f_Nyquist sqrt(Dk)); proven with the notch as much as 8 % lower."""
    budget = stub_budget(signal, criterion=Criterion.notch_ratio(ratio), dk_eff=dk)
    quarter = 299_792_458 / (4 * ratio * signal.nyquist_si * np.sqrt(dk))
    assert budget.stub_length_si == pytest.approx(quarter, rel=1e-9)
    assert budget.proven_length_si == pytest.approx(0.92 * quarter, rel=1e-9)


def test_an_end_pad_shortens_the_budget():
    bare, pad = (stub_budget("56 GBd", **GIVEN, **more).stub_length_si for more in ({}, {"end_pad": "0.5 mm"}))
    assert 0.2 * bare < pad < bare


def test_the_budget_by_loss_is_the_first_place_the_limit_is_met():
    """Beyond a quarter wave the loss at Nyquist falls again; a longer stub is no budget for that."""
    budget = stub_budget("25 GBd", criterion=Criterion.loss(0.5), **GIVEN)
    quarter = stub_budget("25 GBd", criterion=Criterion.notch_ratio(1), **GIVEN)
    assert budget.stub_length_si < 0.5 * quarter.stub_length_si
    lengths = np.linspace(0, budget.stub_length_si, 50)[1:]
    losses = [check_stub(mm(length), "25 GBd", criterion=Criterion.loss(0.5), **GIVEN).loss for length in lengths]
    assert np.all(np.diff(losses) > 0)
    assert losses[-1] == pytest.approx(0.5, rel=1e-9)


def test_no_stub_past_its_notch_meets_a_criterion_on_loss():
    """A wave at Nyquist, 12 mm at Dk 4 and 12.49 GHz: no loss there, but the first notch lies at a quarter of it."""
    for criterion in (Criterion.loss(0.5), Criterion.return_loss(10)):
        check = check_stub("12 mm", "25 GBd", criterion=criterion, **GIVEN)
        assert check.loss < 0.001
        assert check.return_loss > 50
        assert check.verdict == "falls short"
        assert check.excess == -1
        assert check.reason == "first notch 0.25 x Nyquist, at or below Nyquist"
        assert stub_budget("25 GBd", criterion=criterion, **GIVEN).stub_length_si < 3e-3


on_loss = st.one_of(physical(0.05, 30.0).map(Criterion.loss), physical(0.1, 25.0).map(Criterion.return_loss))


@given(uniform_lines(), on_loss, signals, physical(0.01, 1.0), physical(1.001, 8.0))
@example(GIVEN, Criterion.loss(0.5), Signal("25 GBd"), 0.5, 5.0)
@example({"dk_eff": 4.0, "z_stub": "120 ohm", "z0": "25 ohm"}, Criterion.loss(20), Signal("25 GBd"), 1.0, 2.0)
def test_a_criterion_on_loss_is_met_up_to_the_budget_and_nowhere_beyond(line, criterion, signal, share, more):
    """Beyond the budget the loss exceeds its limit up to the notch, and the notch lies below Nyquist from there on."""
    budget = stub_budget(signal, criterion=criterion, **line)

    def check(length):
        return check_stub(mm(length), signal, criterion=criterion, **line)

    assert check(share * budget.proven_length_si)
    assert check(share * budget.stub_length_si).excess >= -1e-9
    assert check(more * max(budget.stub_length_si, 1e-9)).excess < 0
    assert not check(more * max(budget.proven_length_si, 1e-9))


# --- what a check says ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("length", "verdict"),
    [
        ("0.2 mm", "pass"),
        ("0.55 mm", "pass"),
        ("0.57 mm", "marginal"),
        ("0.63 mm", "marginal"),
        ("0.66 mm", "falls short"),
    ],
)
def test_a_check_is_true_only_if_proven(length, verdict):
    """25 GBd, Dk 4: quarter wave at 5 x Nyquist is 0.5996 mm; 0.5516 mm with the notch 8 % lower, 0.6475 mm higher."""
    check = check_stub(length, "25 GBd", **GIVEN)
    assert check.verdict == verdict
    assert bool(check) == (verdict == "pass")
    assert (check.excess > 0) == (float(length[:-3]) < 0.5996)


def test_excess_says_by_how_much():
    assert check_stub("0.5 mm", "25 GBd", dk_eff=4).excess == pytest.approx(1.199170 - 1, abs=1e-6)
    assert check_stub("1 mm", "25 GBd", dk_eff=4).excess == pytest.approx(0.599585 - 1, abs=1e-6)
    limit = Criterion.stub_length("1 mm")
    assert check_stub("0.8 mm", "25 GBd", criterion=limit, dk_eff=4).excess == pytest.approx(0.25)
    assert check_stub("2 mm", "25 GBd", criterion=limit, dk_eff=4).excess == pytest.approx(-0.5)


@pytest.mark.parametrize(
    "criterion",
    [Criterion.notch_ratio(5), Criterion.loss(0.5), Criterion.return_loss(15), Criterion.stub_length("1 mm")],
    ids=str,
)
@pytest.mark.parametrize("given_", [GIVEN, GIVEN | {"end_pad": "0.5 mm"}], ids=["bare", "end pad"])
def test_no_stub_passes_everything(criterion, given_):
    check = check_stub("0 mm", "112 Gb/s PAM4", criterion=criterion, **given_)
    assert check
    assert check.first_notch is None
    assert check.loss == 0.0
    assert check.return_loss is None
    assert check.reason == "no stub"


def test_a_check_prints_one_line_with_its_source_and_model():
    line = str(check_stub("2 mm", "25 Gb/s", criterion="Bogatin 2015", **GIVEN))
    assert line.startswith("falls short: stub 2 mm on 25 Gb/s NRZ: 50 mm x GBd, at most 7.62 wanted")
    assert "E. Bogatin, EDN Asia, 2015" in line
    assert "uniform line, Dk_eff given" in line
    assert "against hardware: not known until tolerances are given or a coupon is measured; the one" in line
    assert "\n" not in line


def test_a_budget_prints_one_line_with_its_source_and_model():
    line = str(stub_budget("DDR4-3200", dk_eff=4))
    assert line.startswith("DDR4-3200: stub at most 4.684 mm (proven: 4.31 mm); first notch / Nyquist at least 5")
    assert "DesignCon 2020" in line
    assert "uniform line, Dk_eff given" in line
    assert "\n" not in line


def test_a_check_and_a_budget_print_short():
    """Half the length at which a criterion by the loss ends, of a signal with a long name, too."""
    things = [
        check_stub("1 mm", "53.125 GBd PAM4", criterion=Criterion.loss(0.1, source="s" * 300), **GIVEN),
        stub_budget("53.125 GBd PAM4", criterion=Criterion.loss(0.1, source="s" * 300), **GIVEN),
    ]
    assert all(len(repr(thing)) < 200 for thing in things)
    assert repr(check_stub("2 mm", "25 GBd", dk_eff=4)) == (
        "Check(falls short: stub 2 mm on 25 GBd NRZ: 1.5 x Nyquist, at least 5 wanted)"
    )
    assert repr(stub_budget("DDR4-3200", dk_eff=4)) == "Budget(DDR4-3200: stub at most 4.684 mm, proven: 4.31 mm)"


@pytest.mark.parametrize("thing", [check_stub("1 mm", "25 GBd", **GIVEN), stub_budget("25 GBd", **GIVEN)], ids=type)
def test_results_are_frozen_values(thing):
    again = pickle.loads(pickle.dumps(thing))
    assert again == thing
    assert hash(again) == hash(thing)
    with pytest.raises(AttributeError):
        thing.model = "another"


@pytest.mark.parametrize("length", ["62 mil", "62 thou", "0.062 in", "1.5748 mm", "1574.8 um"])
def test_the_unit_makes_no_difference(length):
    check = check_stub(length, "25000 MBd", dk_eff=4)
    assert check.first_notch.m_as("GHz") == pytest.approx(23.796, abs=5e-4)
    assert check.excess == pytest.approx(check_stub("1.5748 mm", "25 Gb/s", dk_eff=4).excess, rel=1e-12)


# --- what is asked for ------------------------------------------------------------------------------------------------


def _vias(x, drill):
    """One return via on the x axis."""
    return ReturnVias(positions=[(x, "0 mm")], drill=drill)


SOLVED = {"stackup": mb.stackup(), "padstack": mb.VIA, "layer": "S1"}
REFUSED = {
    "nothing": ({}, "give either dk_eff or delay"),
    "two delays": ({"dk_eff": 4, "delay": "7 ps/mm"}, "give either dk_eff or delay"),
    "line and geometry": ({"dk_eff": 4, **SOLVED}, "dk_eff"),
    "loss of the line and geometry": ({"df": 0.02, **SOLVED}, "df"),
    "stackup alone": ({"stackup": mb.stackup()}, "padstack, layer: missing"),
    "no layer": ({"stackup": mb.stackup(), "padstack": mb.VIA}, "layer: missing"),
    "layer of no stackup": ({"dk_eff": 4, "layer": "S1"}, "layer: need stackup and padstack"),
    "vias of no stackup": ({"dk_eff": 4, "return_vias": mb.RETURNS}, "return_vias: need stackup and padstack"),
    "unknown layer": ({**SOLVED, "layer": "L9"}, "known are TOP, G1"),
    "unknown side": ({**SOLVED, "side": "left"}, "'top' or 'bottom'"),
    "end of the hole": ({**SOLVED, "layer": "BOT"}, "no stub towards the bottom"),
    "unknown rule": ({"dk_eff": 4, "criterion": "somebody"}, "must be a Criterion, or one of"),
    "dk below vacuum": ({"dk_eff": 0.9}, "dk_eff"),
    "pitch without unit": ({**SOLVED, "pitch": 1.0}, "pitch"),
    "z0 as a length": ({"dk_eff": 4, "z0": "50 mm"}, "z0"),
    "misspelled": ({"dk_ef": 4}, "dk_ef: a stub has no argument of that name; did you mean dk_eff"),
    "no such argument": ({"dk_eff": 4, "colour": "red"}, "colour: a stub has no argument of that name; known are dk_"),
    "stackup is text": ({**SOLVED, "stackup": "x"}, "stackup = 'x': must be a Stackup"),
    "padstack is text": ({**SOLVED, "padstack": "x"}, "padstack = 'x': must be a Padstack"),
    "no padstack": ({**SOLVED, "padstack": None}, "padstack: missing"),
    "layer is a number": ({**SOLVED, "layer": 3}, "layer 3: no such copper layer"),
    "layer is a list": ({**SOLVED, "layer": ["S1"]}, "no such copper layer"),
    "return vias are text": ({**SOLVED, "return_vias": "x"}, "return_vias = 'x': must be a ReturnVias"),
    "return via in the hole": ({**SOLVED, "return_vias": _vias("0.2 mm", "0.25 mm")}, "run into each other"),
    "return via of a pair in a leg": (
        {**SOLVED, "pitch": "1 mm", "return_vias": _vias("0.6 mm", "0.25 mm")},
        "holes leg P and return via 1 are 0.1 mm apart: must be at least 0.275 mm",
    ),
    "wide return via": ({**SOLVED, "return_vias": _vias("1 mm", "20 mm")}, "1 mm apart: must be at least 10.15 mm"),
    "pitch below the drill": (
        {**SOLVED, "pitch": "0.29 mm"},
        "holes leg P and leg N are 0.29 mm apart: must be at least 0.3 mm, or their drills run into each other",
    ),
    "side is none": ({**SOLVED, "side": None}, "side = None: must be 'top' or 'bottom'"),
    "side is a list": ({**SOLVED, "side": ["top"]}, "must be 'top' or 'bottom'"),
    "criterion is a number": ({"dk_eff": 4, "criterion": 5}, "criterion = 5: must be a Criterion, or one of"),
    "criterion is a list": ({"dk_eff": 4, "criterion": [5]}, "must be a Criterion, or one of"),
    "depth drill too narrow": ({**SOLVED, "depth_drill": "0.2 mm"}, "must be wider than the primary drill"),
    "pitch is a list": ({**SOLVED, "pitch": ["1 mm"]}, "pitch"),
    "two impedances of the line": ({"dk_eff": 4, "z0": ["50 ohm", "40 ohm"]}, "z0"),
    "dk is true": ({"dk_eff": True}, "dk_eff = True: must be a number"),
    "dk is text": ({"dk_eff": "4"}, "dk_eff = '4': must be a number"),
    "dk is a list": ({"dk_eff": [4]}, "dk_eff"),
    "loss tangent is none": ({"dk_eff": 4, "df": None}, "df = None: must be a number"),
    "loss tangent is text": ({**SOLVED, "df": "0.02"}, "give either a uniform line"),
}


@pytest.mark.parametrize(("given_", "says"), REFUSED.values(), ids=REFUSED)
def test_refused(given_, says):
    with pytest.raises((StubsiError, UnitError, BoardError), match=says):
        check_stub("0.1 mm", "25 GBd", **given_)
    with pytest.raises((StubsiError, UnitError, BoardError), match=says):
        stub_budget("25 GBd", **given_)


def test_a_description_that_was_refused_is_refused_again_and_true_is_not_one():
    """What one call accepts is remembered; another that only looks equal must not be taken for it."""
    assert check_stub("1 mm", "1 GBd", dk_eff=1)
    for _ in range(2):
        with pytest.raises(UnitError, match="dk_eff = True"):
            check_stub("1 mm", "1 GBd", dk_eff=True)
        with pytest.warns(PlausibilityWarning, match="check z_stub"):
            check_stub("1 mm", "1 GBd", dk_eff=4, z_stub="9 ohm")


def test_every_argument_of_a_stub_is_documented_once_and_named_by_both_functions():
    heads = re.findall(r"^(\w[\w, ]*) : ", inspect.getdoc(StubArguments), re.MULTILINE)
    assert [name for head in heads for name in head.split(", ")] == list(StubArguments.__annotations__)
    for function in (check_stub, stub_budget):
        assert "``StubArguments`` says what each means" in " ".join(function.__doc__.split())
    assert all(f"``{name}``" in check_stub.__doc__ for name in StubArguments.__annotations__)


def test_arguments_left_unknown_are_as_not_given():
    line = {"dk_eff": 4, "delay": None, "z_stub": None, "side": "bottom", "stackup": None, "pitch": None}
    assert check_stub("1 mm", "25 GBd", **line) == check_stub("1 mm", "25 GBd", dk_eff=4)
    geometry = dict(THIN, dk_eff=None, df=0.0, pitch=None, depth_drill=None)
    assert check_stub("0.69 mm", "25 GBd", **geometry) == check_stub("0.69 mm", "25 GBd", **THIN)


@pytest.mark.parametrize("bad", ["-1 mm", "nan mm", "1,5 mm", "", "1 GHz", 1.5, None, "inf mm"], ids=repr)
def test_refused_lengths(bad):
    with pytest.raises(UnitError, match="stub_length"):
        check_stub(bad, "25 GBd", dk_eff=4)


@pytest.mark.parametrize("bad", ["28 GHz", "", "0 Gb/s", "fast", 25.0, None], ids=repr)
def test_refused_signals(bad):
    with pytest.raises(UnitError, match="rate"):
        check_stub("1 mm", bad, dk_eff=4)


@pytest.mark.parametrize("criterion", [Criterion.loss(0.5), Criterion.return_loss(15)], ids=str)
def test_a_criterion_on_loss_asks_for_both_impedances(criterion):
    for given_, says in (({"z_stub": "40 ohm"}, "z0 is missing"), ({"z0": "50 ohm"}, "stub's impedance is unknown")):
        for call in (lambda **more: check_stub("1 mm", "25 GBd", **more), lambda **more: stub_budget("25 GBd", **more)):
            with pytest.raises(StubsiError, match=says):
                call(criterion=criterion, dk_eff=4, **given_)


def test_a_notch_needs_no_impedance_and_the_loss_then_stays_empty():
    check = check_stub("1 mm", "25 GBd", dk_eff=4)
    assert check.loss is None
    assert check.return_loss is None


# --- solved from the geometry -----------------------------------------------------------------------------------------

TWO_PLANES = {"TOP": "signal", "G1": "plane", "G2": "plane", "BOT": "signal"}
THIN = {
    "stackup": mb.stackup(roles=TWO_PLANES),
    "padstack": mb.VIA,
    "layer": "TOP",
    "feed": "tee",
    "return_vias": mb.RETURNS,
}


def test_an_unknown_dk_is_asked_for_by_name_where_it_decides():
    """Nothing is guessed, and a stub of unknown Dk does not 'fall short'. What holds for any Dk is said."""
    unknown, dense = (
        THIN | {"stackup": mb.stackup(dk=dk, roles=TWO_PLANES, material="prepreg A")} for dk in (None, 13.0)
    )
    budget, worst = stub_budget("14 GBd", **unknown), stub_budget("14 GBd", **dense)
    assert budget.stub_length.m_as("mm") == pytest.approx(worst.stub_length.m_as("mm"), rel=1e-4)
    assert check_stub(budget.proven_length, "14 GBd", **unknown)
    longer = check_stub(1.3 * budget.stub_length, "14 GBd", **unknown)
    assert longer.verdict == "undecided"
    assert "Dk of dielectric 1 (prepreg A) is unknown" in longer.reason


@pytest.mark.slow
def test_solved_budget_round_trip():
    """The search ends within 5 um of a length that fails. Above 149 GHz the model proves no notch of any such stub."""
    assert stub_budget("112 GBd", criterion=Criterion.notch_ratio(3), **THIN).proven_length_si == 0
    limit = Criterion.notch_ratio(2.6)
    budget = stub_budget("112 GBd", criterion=limit, **THIN)
    assert 0 < budget.proven_length_si < budget.stub_length_si
    assert 0.33e-3 < budget.stub_length_si < 0.43e-3
    assert budget.ends_at == "ending between G1 and G2"
    assert not budget.unlimited
    longer = [mm(length + 5e-6) for length in (budget.stub_length_si, budget.proven_length_si)]
    assert check_stub(budget.stub_length, "112 GBd", criterion=limit, **THIN).excess >= -1e-9
    assert check_stub(longer[0], "112 GBd", criterion=limit, **THIN).excess < 0
    assert check_stub(budget.proven_length, "112 GBd", criterion=limit, **THIN)
    assert not check_stub(longer[1], "112 GBd", criterion=limit, **THIN)


def test_a_slow_signal_may_keep_any_stub_that_fits():
    budget = stub_budget("1 Gb/s", **THIN)
    assert budget.unlimited
    assert budget.stub_length_si == pytest.approx(0.69e-3, rel=1e-9)
    assert budget.proven_length_si == budget.stub_length_si
    assert budget.ends_at == "ending at BOT"
    assert "any stub that fits, up to 0.69 mm" in str(budget)


def test_a_stub_longer_than_the_hole_is_refused():
    with pytest.raises(StubsiError, match=r"longer than the hole goes on beyond TOP, 0\.69 mm"):
        check_stub("0.7 mm", "25 GBd", **THIN)


def test_a_stub_that_ends_in_the_clearance_it_starts_in_has_no_notch():
    """Its feed takes away all inductance down to the first plane, at 0.2 mm here: a capacitance is left of it.

    The model holds up to 292 GHz, where the gap of the clearance is half a wave. Its error there is large.
    """
    check = check_stub("0.22 mm", "112 GBd", z0="50 ohm", **THIN)
    assert math.isinf(check.figures.notch.high)
    assert check.verdict == "marginal"
    assert check_stub("0.22 mm", "56 GBd", z0="50 ohm", **THIN)
    assert 0 < check.loss < 1
    assert check_stub("0.24 mm", "112 GBd", z0="50 ohm", **THIN).loss > check.loss


def test_unknown_return_vias_of_a_stub_behind_the_only_plane():
    only = mb.stackup(roles={"TOP": "signal", "G1": "plane", "BOT": "signal"})
    check = check_stub("0.46 mm", "112 GBd", **THIN | {"stackup": only, "return_vias": None})
    assert check.first_notch.m_as("GHz") > 56


@pytest.mark.slow
def test_with_unknown_return_vias_the_budget_holds_whatever_they_are():
    limit, unknown = Criterion.notch_ratio(2.2), THIN | {"return_vias": None}
    budget = stub_budget("112 GBd", criterion=limit, **unknown)
    assert budget.stub_length_si < stub_budget("112 GBd", criterion=limit, **THIN).stub_length_si
    assert check_stub(budget.stub_length, "112 GBd", criterion=limit, **unknown).excess >= -1e-9
    assert check_stub(mm(budget.stub_length_si + 5e-6), "112 GBd", criterion=limit, **unknown).excess < 0


@pytest.mark.slow
def test_unknown_return_vias_leave_a_range():
    """Between the extremes of what might stand around the hole, the figure with the vias known lies inside."""
    unknown = THIN | {"return_vias": None}
    known = check_stub("0.69 mm", "112 GBd", **THIN)
    low = check_stub("0.69 mm", "112 GBd", **unknown)
    assert low.first_notch < known.first_notch
    ratio = known.first_notch.m_as("GHz") / 56
    assert check_stub("0.69 mm", "112 GBd", criterion=Criterion.notch_ratio(ratio), **unknown).verdict == "undecided"
    alone = check_stub("0.69 mm", "112 GBd", **THIN | {"return_vias": ReturnVias(positions=[], drill="0.25 mm")})
    assert low.first_notch <= alone.first_notch


@pytest.mark.parametrize(("layer", "side"), [("TOP", "bottom"), ("BOT", "top")], ids=["down", "up"])
def test_check_and_rank_agree_on_a_solved_stub(layer, side):
    net = mb.net("A", (layer,), signal="112 GBd")
    row = rank(mb.board(net, layers=THIN["stackup"]))["A"]
    check = check_stub("0.69 mm", "112 GBd", z0="50 ohm", **THIN | {"layer": layer, "side": side})
    assert row.side == side
    assert check.first_notch.m_as("GHz") == pytest.approx(row.first_notch, rel=1e-6)
    assert check.loss == pytest.approx(row.loss, rel=1e-6)
    assert check.return_loss == pytest.approx(row.return_loss, rel=1e-6)
    assert check.reason in row.reason


def test_check_and_rank_agree_on_a_stub_past_its_notch():
    """The notch as computed lies so far below Nyquist that no stub as drawn could pass, whatever its loss there."""
    net = mb.net("A", ("TOP",), signal="400 GBd", criterion=Criterion.loss(0.5))
    row = rank(mb.board(net, layers=THIN["stackup"]))["A"]
    check = check_stub("0.69 mm", "400 GBd", z0="50 ohm", criterion=Criterion.loss(0.5), **THIN)
    assert row.verdict == "drill"
    assert check.verdict == "falls short"
    assert check.reason == f"first notch {row.margin:.3g} x Nyquist, at or below Nyquist"
    assert check.reason in row.reason


def test_check_and_rank_agree_on_the_leg_of_a_pair():
    """Half of the differential impedance is the line a leg's stub hangs in."""
    vias = ReturnVias(positions=[("1.2 mm", "0 mm"), ("-1.2 mm", "0 mm")], drill="0.25 mm")
    pair = mb.pair("A", ("TOP",), ("TOP",), signal="112 GBd", z0="85 ohm")
    away = ((1.2, 0.0), (-1.2, 0.0))
    row = rank(mb.board(pair, mb.ground(1, away), places=0, layers=THIN["stackup"]))["A"]
    check = check_stub("0.69 mm", "112 GBd", z0="42.5 ohm", **THIN | {"return_vias": vias, "pitch": "0.9 mm"})
    assert check.first_notch.m_as("GHz") == pytest.approx(row.first_notch, rel=1e-6)
    assert check.loss == pytest.approx(row.loss, rel=1e-6)


def test_check_and_rank_agree_on_a_uniform_line():
    net = mb.net("A", ("TOP", "S1"), signal="25 GBd")
    row = rank(mb.board(net), dk_eff=4.5)["A"]
    z_stub = Stub(stub_length="1 mm", dk_eff=4.5, drill="0.3 mm", antipad="0.8 mm").z_stub_or_coax_si
    check = check_stub("0.92 mm", "25 GBd", dk_eff=4.5, z_stub=f"{z_stub} ohm", z0="50 ohm")
    assert check.first_notch.m_as("GHz") == pytest.approx(row.first_notch, rel=1e-12)
    assert check.loss == pytest.approx(row.loss, rel=1e-12)
    assert check.verdict == row.verdict.replace("drill", "falls short")


@pytest.mark.parametrize(
    "stub", [{"dk_eff": 4.0, "z_stub": "40 ohm"}, pytest.param(SOLVED_AT_S1, marks=pytest.mark.slow)]
)
def test_a_budget_tells_the_first_notch_and_the_1_db_frequency_of_its_longest_stub(stub):
    """They are those that a check of that length finds; without z0 the 1 dB frequency is unknown."""
    budget = stub_budget("56 Gb/s", z0="50 ohm", **stub)
    check = check_stub(budget.stub_length, "56 Gb/s", z0="50 ohm", **stub)
    assert (budget.first_notch_si, budget.one_db_si) == pytest.approx((check.first_notch_si, check.one_db_si))
    assert f"1 dB at {budget.one_db.m_as('GHz'):.4g} GHz" in str(budget)
    assert "1 dB frequency" in budget._repr_html_()
    table = stub_budgets([{"signal": "56 Gb/s"}], z0="50 ohm", **stub)
    assert table["first notch there [GHz]"][0] == pytest.approx(budget.first_notch.m_as("GHz"))
    assert table["1 dB frequency there [GHz]"][0] == pytest.approx(budget.one_db.m_as("GHz"))
    assert stub_budget("56 Gb/s", **stub).one_db is None
