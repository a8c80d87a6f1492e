"""Stubs as users make them: two ways to say one thing, one of them taken; nothing given is lost."""

from __future__ import annotations

import copy
import dataclasses
import pickle

import numpy as np
import pytest
from hypothesis import given

from stubsi import (
    PlausibilityWarning,
    Stub,
    StubsiError,
    UnitError,
    UnknownValueError,
    ValidityError,
    dk_eff_from_notch,
    notch_frequency,
)
from stubsi.provenance import HARDWARE_ERROR, Provenance
from tests.other_registry import Q
from tests.strategies import dks, frequencies, orders, physical, port_impedances, stub_lengths, stubs


def stub(**given):
    return Stub(**{"stub_length": "5 mm", "dk_eff": 4, "z_stub": "30 ohm", **given})


def ghz(quantity):
    return quantity.m_as("GHz")


# --- notch_frequency --------------------------------------------------------------------------------------------------


def test_scalar_in_scalar_out_arrays_in_arrays_out():
    assert np.ndim(notch_frequency("5 mm", 4).magnitude) == 0
    assert ghz(notch_frequency(["5 mm", "10 mm"], 4)) == pytest.approx([7.494811, 3.747406], abs=5e-7)
    assert ghz(notch_frequency("5 mm", [4.0, 1.0])) == pytest.approx([7.494811, 14.989623], abs=5e-7)
    assert ghz(notch_frequency("5 mm", 4, [1, 3, 5])) == pytest.approx([7.494811, 22.484434, 37.474057], abs=5e-7)
    assert notch_frequency(Q(np.ones((2, 1)), "mm"), [4.0, 3.0, 2.0]).shape == (2, 3)
    assert notch_frequency([], 4).shape == (0,)


def test_results_are_plain_gigahertz():
    assert str(notch_frequency("5 mm", 4).units) == "gigahertz"
    assert str(stub().notch_frequency().units) == "gigahertz"


def test_no_stub_no_notch():
    assert np.isnan(ghz(notch_frequency("0 mm", 4)))
    assert np.isnan(ghz(notch_frequency(["5 mm", "0 mm"], 4))[1])


@pytest.mark.parametrize(
    "bad", [0, 0.5, -4, float("nan"), float("inf"), "4", True, None, [4, 0.5], Q(4, "mm")], ids=repr
)
def test_refused_dk(bad):
    with pytest.raises(UnitError, match="dk_eff = "):
        notch_frequency("5 mm", bad)


@pytest.mark.parametrize("bad", [5, "5", "", "-5 mm", "nan mm", "5,0 mm", "5 GHz", None, True, Q(5, "mil")], ids=repr)
def test_refused_length(bad):
    with pytest.raises(UnitError, match="stub_length"):
        notch_frequency(bad, 4)


@pytest.mark.parametrize("bad", [0, 2, -1, 1.5, float("nan"), "1", True, None, [1, 2]], ids=repr)
def test_refused_order(bad):
    with pytest.raises(StubsiError, match="order = "):
        notch_frequency("5 mm", 4, bad)
    with pytest.raises(StubsiError, match="order = "):
        stub().notch_frequency(bad)


def test_an_even_order_is_told_why():
    with pytest.raises(StubsiError, match=r"order = 2: must be odd; an open stub shorts the path at 1, 3, 5"):
        notch_frequency("5 mm", 4, 2)


@given(stub_lengths, dks)
def test_permittivity_from_a_notch_round_trip(length, dk):
    length_mm = Q(length, "m")
    assert dk_eff_from_notch(length_mm, notch_frequency(length_mm, dk)) == pytest.approx(dk, rel=1e-12)


def test_a_notch_above_vacuum_is_told_why():
    with pytest.raises(StubsiError, match=r"notch = 22.48 GHz: .* below that even in vacuum .* is it the first notch"):
        dk_eff_from_notch("5 mm", notch_frequency("5 mm", 4, 3))


@pytest.mark.parametrize(
    ("length", "notch"),
    [("0 mm", "4 GHz"), ("5 mm", "0 GHz"), (5, "4 GHz"), ("5 mm", 4), ("5 mm", "8 Gb/s"), (["5 mm"], "4 GHz"),
     ("5 mm", Q(4, "rad/s"))],
    ids=str,
)  # fmt: skip
def test_refused_measurements(length, notch):
    with pytest.raises(UnitError, match=r"stub_length|notch"):
        dk_eff_from_notch(length, notch)


# --- one thing said once ----------------------------------------------------------------------------------------------


def test_delay_in_place_of_permittivity():
    """SI-LIST 2008: 190 ps/in and 210 ps/in are Dk_eff 5.03 and 6.14."""
    for text, dk in (("190 ps/in", 5.03), ("210 ps/in", 6.14)):
        by_delay = Stub(stub_length="5 mm", delay=text)
        assert by_delay.dk_si == pytest.approx(dk, abs=5e-3)
        assert ghz(by_delay.notch_frequency()) == pytest.approx(ghz(notch_frequency("5 mm", by_delay.dk_si)), rel=1e-13)
        assert by_delay.provenance.tier == "uniform line, delay given"


def test_coaxial_impedance_from_drill_and_antipad():
    coax = stub(z_stub=None, drill="0.25 mm", antipad="0.75 mm")
    assert coax.z_stub_or_coax_si == pytest.approx(32.93557, abs=5e-6)


@pytest.mark.parametrize(
    ("given", "why"),
    [
        ({"delay": "7 ps/mm"}, "give either dk_eff or delay"),
        ({"dk_eff": None}, "give either dk_eff or delay"),
        ({"drill": "0.3 mm", "antipad": "1 mm"}, "give either z_stub, or drill and antipad"),
        ({"antipad": "1 mm"}, "give either z_stub, or drill and antipad"),
        ({"z_stub": None, "antipad": "1 mm"}, "antipad needs drill beside it"),
        ({"z_stub": None, "drill": "1 mm", "antipad": "1 mm"}, r"drill = .*: must be smaller than antipad = "),
        ({"z_stub": None, "drill": "40 mil", "antipad": "1 mm"}, r"drill = .*: must be smaller than antipad = "),
        ({"conductivity": "58 MS/m"}, "conductivity needs drill beside it"),
        ({"end_pad": "0.5 mm", "end_capacitance": "1 fF"}, "give either end_pad or end_capacitance"),
        ({"z_stub": None, "end_pad": "0.5 mm"}, "an end pad or end_capacitance needs the stub's impedance"),
        ({"z_stub": None, "end_capacitance": "9 fF"}, "an end pad or end_capacitance needs the stub's impedance"),
        ({"dk_eff": None, "delay": "1 ps/mm"}, "delay = 1 ps/mm: is faster than light"),
        ({"dk_eff": None, "delay": "3.335 ps/mm"}, "is faster than light, 3.336 ps/mm"),
    ],
    ids=str,
)
def test_refused_together(given, why):
    with pytest.raises(StubsiError, match=why):
        stub(**given)


SOUND = {"z_stub": None, "drill": "0.3 mm", "antipad": "1 mm"}
DIMENSIONS = {"stub_length": {}, "z_stub": {}, "drill": SOUND, "antipad": SOUND, "end_pad": {}, "end_capacitance": {},
              "conductivity": {"drill": "0.3 mm"}, "delay": {"dk_eff": None}, "at": {}}  # fmt: skip


@pytest.mark.parametrize("field", DIMENSIONS)
@pytest.mark.parametrize("bad", [5, "5", "", "-5 mm", "nan mm", "1,5 mm", "5 furlong", True, [], ["5 mm"]], ids=repr)
def test_refused_dimensions(field, bad):
    with pytest.raises(UnitError, match=f"Stub {field}"):
        stub(**{**DIMENSIONS[field], field: bad})


@pytest.mark.parametrize("bad", [-0.02, 1, 2, "0.02", "2%", float("nan"), True, None, [0.02]], ids=repr)
def test_refused_df(bad):
    with pytest.raises(UnitError, match="df = "):
        stub(df=bad)


@pytest.mark.parametrize("bad", [0.9, 0, "4", True, [4, 5], float("inf")], ids=repr)
def test_refused_stub_dk(bad):
    with pytest.raises(UnitError, match="dk_eff = "):
        stub(dk_eff=bad)


def test_a_reference_frequency_outside_the_model_is_refused_not_used():
    with pytest.raises(ValidityError, match="must lie between 1 kHz and 1 THz"):
        stub(df=0.02, at="1 Hz").notch_frequency()


def test_unknown_impedance_is_asked_for_only_where_it_matters():
    bare = Stub(stub_length="5 mm", dk_eff=4)
    assert ghz(bare.notch_frequency()) == pytest.approx(7.494811, abs=5e-7)
    for ask in (
        lambda s: s.loss("1 GHz", z0="50 ohm"),
        lambda s: s.network("1 GHz"),
        lambda s: s.input_admittance("1 GHz"),
    ):
        with pytest.raises(
            UnknownValueError, match="the stub's impedance is unknown: give z_stub, or drill and antipad"
        ):
            ask(bare)


# --- what follows -----------------------------------------------------------------------------------------------------


def test_cases_of_practice():
    """45 mil at Dk 4: notch 32.8 GHz, yet 0.28 dB (50 ohm stub) to 0.75 dB (30 ohm) at 10 GHz."""
    for z_stub, db in (("50 ohm", 0.28), ("30 ohm", 0.75)):
        each = Stub(stub_length="45 mil", dk_eff=4, z_stub=z_stub)
        assert ghz(each.notch_frequency()) == pytest.approx(32.8, abs=0.05)
        assert each.loss("10 GHz", z0="50 ohm") == pytest.approx(db, abs=6e-3)


def test_half_the_notch_of_a_thirty_ohm_stub():
    """One 30 ohm open stub in 50 ohm at half its notch frequency: 2.29 dB."""
    assert stub().loss(stub().notch_frequency() / 2, z0="50 ohm") == pytest.approx(2.29, abs=5e-3)


def test_short_residual_stubs_act_as_capacitance():
    """DesignCon 2024 tracks 8-14 p. 521: 8 mil, 33 ohm, Dk 4: 0.62 dB at 56 GHz, notch at 184 GHz; 4 mil: 0.145 dB."""
    for mil, db in (("8 mil", 0.62), ("4 mil", 0.145)):
        assert Stub(stub_length=mil, dk_eff=4, z_stub="33 ohm").loss("56 GHz", z0="50 ohm") == pytest.approx(
            db, abs=0.02
        )
    assert ghz(notch_frequency("8 mil", 4)) == pytest.approx(184, abs=0.5)


@given(stubs, frequencies, port_impedances)
def test_loss_is_never_negative(each, frequency, z0):
    assert each.loss(Q(frequency, "Hz"), z0=Q(z0, "ohm")) >= -1e-12


@given(stub_lengths, physical(0.05, 1.0))
def test_an_end_pad_lowers_the_notch(length, pad):
    bare = stub(stub_length=Q(length, "m"))
    padded = dataclasses.replace(bare, end_pad=f"{pad} mm")
    assert padded.notch_frequency() < bare.notch_frequency()
    wider = dataclasses.replace(bare, end_pad=f"{pad * 1.1} mm")
    assert wider.notch_frequency() < padded.notch_frequency()


@given(stubs, orders)
def test_notch_of_a_stub_is_the_deepest_point_near_it(each, order):
    notch = ghz(each.notch_frequency(order))
    here, *around = (each.loss(Q(notch * k, "GHz"), z0="50 ohm") for k in (1, 0.99, 1.01))
    assert here > max(around)


def test_no_stub_is_nothing_even_with_a_pad():
    none = stub(stub_length="0 mm", end_pad="0.5 mm", df=0.02, at="1 GHz")
    assert np.isnan(ghz(none.notch_frequency()))
    assert none.loss("50 GHz", z0="50 ohm") == 0
    assert none.input_admittance("50 GHz") == 0
    assert none.loss(["0 GHz", "50 GHz"], z0="50 ohm") == pytest.approx([0, 0])
    assert Stub(stub_length="0 mm", dk_eff=4).loss("50 GHz", z0="50 ohm") == 0


def test_shapes_follow_the_frequency():
    assert np.ndim(stub().loss("1 GHz", z0="50 ohm")) == 0
    assert stub().loss(["1 GHz", "2 GHz"], z0="50 ohm").shape == (2,)
    assert stub().input_admittance(Q([1.0, 2.0, 3.0], "GHz")).shape == (3,)
    assert stub().notch_frequency([1, 3]).shape == (2,)


@pytest.mark.parametrize("bad", [50, "50", "0 ohm", "-50 ohm", "50 mm", None, Q(50 + 1j, "ohm")], ids=repr)
def test_refused_line_impedance(bad):
    with pytest.raises(UnitError, match="z0"):
        stub().loss("1 GHz", z0=bad)


@pytest.mark.parametrize("bad", [1e9, "1", "-1 GHz", "2 Gb/s", "nan GHz", None, ["1 GHz", 2], Q(1, "rad/s")], ids=repr)
def test_refused_frequency(bad):
    with pytest.raises(UnitError, match="frequency"):
        stub().loss(bad, z0="50 ohm")


@given(stubs)
def test_a_stub_is_a_value(each):
    short = Stub(stub_length=each.stub_length, dk_eff=each.dk_eff, delay=each.delay, drill=each.drill)
    assert eval(repr(short)) == short
    assert len(repr(each)) < 200
    for twin in (copy.deepcopy(each), pickle.loads(pickle.dumps(each)), dataclasses.replace(each)):
        assert twin == each
        assert hash(twin) == hash(each)
        assert twin.notch_frequency() == each.notch_frequency()
    longer = dataclasses.replace(each, stub_length=each.stub_length * 2)
    assert longer != each


def test_equal_in_every_unit():
    assert stub(stub_length="62 mil") == stub(stub_length="1.5748 mm") == stub(stub_length=Q(62, "thou"))
    assert len({stub(stub_length=text) for text in ("62 mil", "62 mils", "62 thou", "0.062 in", "1.5748 mm")}) == 1


def test_a_stub_cannot_be_changed():
    for name in ("stub_length", "stub_length_si", "df"):
        with pytest.raises(dataclasses.FrozenInstanceError):
            setattr(stub(), name, 1.0)


def test_a_misspelled_argument_is_refused():
    with pytest.raises(TypeError, match="stub_lenght"):
        Stub(stub_lenght="5 mm", dk_eff=4)


def test_where_it_comes_from():
    said = Provenance(tier="model", model_error="2 %", assumptions=("no pads",))
    assert all(
        part in str(said)
        for part in (
            "model",
            "2 %",
            "against hardware: not known until tolerances",
            "7.4 % off",
            "no pads",
        )
    )
    assert (said.low, said.high) == (1 - HARDWARE_ERROR, 1 + HARDWARE_ERROR)
    assert stub().provenance.tier == "uniform line, Dk_eff given"


def test_an_implausible_impedance_is_warned_about():
    # 0.75 pF/mm at Dk 4.2, as one published article has it, would mean about 9 ohm (C' = sqrt(Dk) / (Z c))
    with pytest.warns(PlausibilityWarning, match="9.1.* ohm.*check z_stub"):
        Stub(stub_length="1 mm", dk_eff=4.2, z_stub="9.11 ohm")
    with pytest.warns(PlausibilityWarning, match="check z_stub, or drill and antipad"):
        Stub(stub_length="1 mm", dk_eff=4.2, drill="0.3 mm", antipad="0.31 mm")


def test_shapes_that_do_not_fit_are_refused():
    with pytest.raises(StubsiError, match="arrays of one shape"):
        notch_frequency(["1 mm", "2 mm"], [3.0, 4.0, 5.0])


def test_why_a_stub_is_not_solved_is_a_field_and_comes_last():
    said = Provenance(tier="model", model_error="2 %", assumptions=("no pads",), not_solved="Dk is unknown")
    assert str(said).endswith("no pads; not solved: Dk is unknown")
    assert Provenance(tier="model", model_error="2 %").not_solved is None
