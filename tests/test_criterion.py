"""Criteria: one limit, one source; and the published rules of thumb as their authors print them."""

from __future__ import annotations

import pickle
import typing

import numpy as np
import pytest

from stubsi import RULES_OF_THUMB, Criterion, Signal, StubsiError, UnitError
from stubsi.board.criterion import DEFAULT, Measure, MeasureName
from stubsi.physics.uniform_line import quarter_wave_length
from tests.other_registry import Q

MIL = 25.4e-6


def longest_stub(rule, signal, dk):
    """Stub [m] on the edge of a rule about length or notch, from the closed forms alone."""
    if rule.measure == "stub length":
        return rule.limit
    if rule.measure == "stub length x symbol rate":
        return rule.limit / signal.symbol_rate_si
    assert rule.measure == "notch ratio"
    return float(quarter_wave_length(rule.limit * signal.nyquist_si, dk))


# author: (rate [Gb/s], Dk, printed stub [mil], digits the source gives)
PRINTED = [
    ("Bogatin 2015", 1, 3.87, 300, 0.5),  # E. Bogatin, EDN Asia, 19 Jan 2015: L[in] < 0.3 / rate
    ("Bogatin 2015", 10, 3.87, 30, 0.05),
    ("Bogatin 2015", 25.78125, 3.87, 11.6, 0.05),
    ("Bogatin 2015", 56, 3.87, 5.4, 0.05),
    ("Bogatin 2015", 2.3, 3.87, 130, 0.5),  # his DDR4 example says 150 mil; the rule itself gives 0.130 in
    ("notch on Nyquist", 12, 3.87, 250, 0.5),  # Signal Integrity Journal 2962: 0.250 in at 12 Gb/s closes the eye
    ("notch on Nyquist", 25.78125, 3.87, 116.4, 0.05),
    ("DesignCon 2020", 3.2, 4.0, 184.4, 0.05),  # DDR4-3200, Dk 4; Signal Integrity Journal 1731
    ("DesignCon 2020", 3.2, 3.87, 187.5, 0.05),
    ("DesignCon 2020", 25.78125, 3.87, 23.3, 0.05),
    ("Simonovich 2017", 25.78125, 3.87, 16.6, 0.05),  # 7th harmonic, from memory
    ("Simonovich 2017", 25.78125, 6.17, 13.2, 0.05),
    ("TI 15 mil", 25.78125, 3.87, 15, 1e-9),  # TI SPRACP4A section 2.10, SLAAE45
]


@pytest.mark.parametrize(
    ("author", "gbps", "dk", "mil", "half_a_digit"), PRINTED, ids=[f"{a} {r} {d}" for a, r, d, *_ in PRINTED]
)
def test_rules_of_thumb_as_printed(author, gbps, dk, mil, half_a_digit):
    assert longest_stub(RULES_OF_THUMB[author], Signal(f"{gbps} Gb/s"), dk) / MIL == pytest.approx(
        mil, abs=half_a_digit
    )


def test_twelve_gigabit_stubs_before_and_after_drilling():
    """Signal Integrity Journal 2962: 0.250 in closes the eye at 12 Gb/s, 0.025 in opens it."""
    signal = Signal("12 Gb/s")
    closes, opens = RULES_OF_THUMB["notch on Nyquist"], RULES_OF_THUMB["Bogatin 2015"]
    assert longest_stub(closes, signal, 3.87) == pytest.approx(0.250 * 25.4e-3)
    assert longest_stub(opens, signal, 3.87) == pytest.approx(0.025 * 25.4e-3)


def test_bogatin_is_ten_nyquist_and_five_bit_rates():
    """His criterion, notch at least 5 x bit rate, gives his constant at Dk 3.87: 0.3 in / (Gb/s) to 3 digits."""
    assert quarter_wave_length(5e9, 3.87) / 25.4e-3 == pytest.approx(0.300, abs=5e-4)


def test_the_rules_differ_by_ten():
    signal = Signal("25.78125 Gb/s")
    stubs = [longest_stub(rule, signal, 3.87) for rule in RULES_OF_THUMB.values()]
    assert max(stubs) / min(stubs) == pytest.approx(10, rel=0.01)


def test_pam4_counts_symbols():
    for rule in RULES_OF_THUMB.values():
        nrz, pam4 = longest_stub(rule, Signal("56 Gb/s"), 4), longest_stub(rule, Signal("112 Gb/s PAM4"), 4)
        assert nrz == pytest.approx(pam4, rel=1e-12)


@pytest.mark.parametrize("name", RULES_OF_THUMB)
def test_every_rule_prints_its_source(name):
    rule = RULES_OF_THUMB[name]
    assert len(rule.source) > 10
    assert rule.source in str(rule)


def test_default_is_stated():
    assert DEFAULT is RULES_OF_THUMB["DesignCon 2020"]
    assert str(DEFAULT).startswith("first notch / Nyquist at least 5 (DesignCon 2020")


def test_sense_of_the_limit():
    assert Criterion.notch_ratio(5).least
    assert Criterion.return_loss(15).least
    assert not Criterion.loss(1).least
    assert not Criterion.stub_length("15 mil").least


def test_shown_limits():
    assert str(Criterion.stub_length("0.381 mm", source="me")) == "stub length at most 0.381 mm (me)"
    assert str(Criterion.loss(0.5, source="me")) == "loss up to Nyquist at most 0.5 dB (me)"
    assert "7.62 mm / (symbol rate in GBd)" in str(Criterion.stub_length_at_1_gbaud("0.3 in"))


NUMBERS = {
    "notch ratio": Criterion.notch_ratio,
    "loss": Criterion.loss,
    "return loss": Criterion.return_loss,
}


@pytest.mark.parametrize("name", NUMBERS)
@pytest.mark.parametrize(
    "bad", [0, -1, float("nan"), float("inf"), "5", "5 dB", True, None, [5], Q(5, "dB"), Q(5, "mm")], ids=repr
)
def test_refused_limits(name, bad):
    with pytest.raises(UnitError, match=f"{name} = "):
        NUMBERS[name](bad)
    with pytest.raises(UnitError, match=f"{name} = "):
        Criterion(measure=name, limit=bad, source="me")


@pytest.mark.parametrize("make", [Criterion.stub_length, Criterion.stub_length_at_1_gbaud], ids=["fixed", "per GBd"])
@pytest.mark.parametrize("bad", [15, "15", "", "0 mil", "-1 mil", "1,5 mm", "5 GHz", None, ["15 mil"]], ids=repr)
def test_refused_lengths(make, bad):
    with pytest.raises(UnitError, match="stub length"):
        make(bad)


@pytest.mark.parametrize("make", [Criterion.loss, Criterion.return_loss])
def test_limits_beyond_what_is_measured(make):
    assert make(1000).limit == 1000
    with pytest.raises(UnitError, match=r"loss = 1000\.1: must be at most 1000 dB"):
        make(1000.1)


@pytest.mark.parametrize("source", ["", " ", None, 5, ["a paper"]], ids=repr)
def test_a_criterion_has_a_source(source):
    with pytest.raises(StubsiError, match=r"criterion source = .*: must be a text that is not blank"):
        Criterion.notch_ratio(5, source=source)


def test_rules_of_thumb_cannot_be_changed():
    with pytest.raises(TypeError):
        RULES_OF_THUMB["mine"] = DEFAULT


def test_a_measure_is_also_its_text():
    criterion = Criterion.notch_ratio(5)
    assert criterion.measure is Measure.NOTCH_RATIO
    assert criterion.measure == "notch ratio"
    assert eval(repr(criterion)) == criterion == Criterion(measure="notch ratio", limit=5, source="the user")


def test_longest_stub_of_a_criterion_on_length():
    """0.3 in at 1 GBd: 0.012 in at 25 GBd, whose Nyquist frequency is 12.5 GHz."""
    rule = RULES_OF_THUMB["Bogatin 2015"]
    assert rule.on_length
    assert rule.longest_si(12.5e9) == pytest.approx(0.012 * 25.4e-3, rel=1e-12)
    assert Criterion.stub_length("15 mil").longest_si(12.5e9) == pytest.approx(0.381e-3, rel=1e-12)
    assert np.isnan(DEFAULT.longest_si(12.5e9))


def test_unknown_measure():
    with pytest.raises(UnitError, match=r"criterion measure = 'eye': must be one of notch ratio, 1 dB ratio, loss"):
        Criterion(measure="eye", limit=1, source="me")


@pytest.mark.parametrize("measure", Measure)
def test_criteria_are_values(measure):
    criterion = Criterion(measure=measure, limit=0.5, source="me")
    assert pickle.loads(pickle.dumps(criterion)) == criterion
    assert hash(Criterion(measure=measure, limit=0.5, source="me")) == hash(criterion)
    assert Criterion.stub_length("15 mil") == Criterion.stub_length("0.381 mm")


def test_names_of_measures_for_type_checkers_are_those_of_the_members():
    assert list(typing.get_args(MeasureName)) == [str(measure) for measure in Measure]
