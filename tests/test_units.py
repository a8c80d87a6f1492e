"""Units at the boundary: every spelling one value, every misreadable one refused with argument, value and fix."""

from __future__ import annotations

import pickle
import re

import numpy as np
import pint
import pytest
from hypothesis import given

from stubsi import StubsiError, UnitError, notch_frequency
from stubsi.unit_names import LARGEST_AND_SMALLEST, LARGEST_NUMBER, SI, UNITS
from stubsi.units import one_number, one_si, quantity, show, to_number, to_rate, to_si
from tests.other_registry import Q
from tests.strategies import physical

THEIRS = pint.UnitRegistry()  # a second one of somebody else


@pytest.fixture
def swapped_registry():
    """A user's own application registry in place of pint's, put back afterwards."""
    before = pint.application_registry.get()
    own = pint.UnitRegistry()
    pint.set_application_registry(own)
    yield own
    pint.set_application_registry(before)


@pytest.mark.parametrize(
    "text",
    ["62 mil", "62 mils", "62 thou", "0.062 in", "0.062 inch", "1.5748 mm", "1.5748mm", " 1574.8 µm ", "1574.8 μm",
     "1574.8 um", "0.15748 cm", "1.5748e-3 m", "1.5748E6 nm", "+62 mil", "1.5748\u00a0mm", "1574.8 micron"],
    ids=repr,
)  # fmt: skip
def test_sixty_two_mil_is_one_length(text):
    assert to_si(text, "length", "x") == pytest.approx(1.5748e-3, rel=1e-15)
    assert one_si(text, "length", "x") == 1.5748e-3


@pytest.mark.parametrize("unit", ["thou", "mil_length", "inch", "mm", "um", "m", "foot", "nm"])
def test_quantities_of_any_registry(unit):
    value = THEIRS.Quantity(1.5748, "mm").to(unit)
    assert to_si(value, "length", "x") == pytest.approx(1.5748e-3, rel=1e-14)
    assert one_si(value, "length", "x") == 1.5748e-3


@given(physical(0.01, 1e4))
def test_unit_independence(mil):
    same = [f"{mil!r} mil", f"{mil * 0.0254!r} mm", f"{mil * 25.4!r} um", Q(mil, "thou"), Q(mil / 1000, "inch")]
    values = [one_si(value, "length", "x") for value in same]
    assert values == pytest.approx([mil * 2.54e-5] * len(same), rel=1e-13)
    notches = [notch_frequency(value, 4).m_as("Hz") for value in same]
    assert notches == pytest.approx([notches[0]] * len(same), rel=1e-12)


@pytest.mark.parametrize(
    ("kind", "text", "si"),
    [("frequency", "12.9 GHz", 12.9e9), ("frequency", "500 MHz", 5e8), ("frequency", "1 THz", 1e12),
     ("impedance", "50 ohm", 50), ("impedance", "50 Ω", 50), ("impedance", "50 \u2126", 50),
     ("impedance", "0.05 kohm", 50), ("capacitance", "20 fF", 20e-15), ("capacitance", "1 pF", 1e-12),
     ("delay per length", "7 ps/mm", 7e-9), ("delay per length", "177.8 ps/in", 7e-9),
     ("delay per length", "7 ns/m", 7e-9), ("conductivity", "58 MS/m", 5.8e7)],
    ids=lambda v: v if isinstance(v, str) else "",
)  # fmt: skip
def test_kinds(kind, text, si):
    assert to_si(text, kind, "x") == pytest.approx(si, rel=1e-14)
    unit = {"Ω": "ohm", "\u2126": "ohm"}.get(text.split()[1], text.split()[1])
    assert to_si(Q(float(text.split()[0]), unit), kind, "x") == pytest.approx(si, rel=1e-14)


BAD_TEXT = {
    "": "is blank: write it like '62 mil'",
    " \t": "is blank",
    "62": "= '62': has no unit; write it as text like '62 mil', or as a pint quantity",
    "1e3": "= '1e3': has no unit",
    "nan mm": "= 'nan mm': must be one number and one unit",
    "inf mm": "must be one number and one unit",
    "1e999 mm": "= '1e999 mm': must be finite and positive",
    "-1 mm": "= '-1 mm': must be finite and positive",
    "\u22121 mm": "= '\u22121 mm': must be finite and positive",
    "0 mm": "= '0 mm': must be finite and positive",
    "1,57 mm": "a comma can be a decimal or a thousands mark; write it like '62 mil'",
    "1,570 mm": "a comma can be",
    '0.062"': "quote marks are no unit; write it like '62 mil', inches as 'in'",
    "0.062'": "quote marks are no unit",
    "0.062\u2033": "quote marks are no unit",
    "0.062\u201d": "quote marks are no unit",
    "62 Mil": "unknown unit 'Mil'; did you mean 'mil'",
    "62 MIL": "unknown unit 'MIL'; did you mean 'mil'",
    "1.5 Mm": "unknown unit 'Mm'; did you mean 'mm'",
    "62 mill": "unknown unit 'mill'; did you mean 'mil'",
    "62 mil + 3": "unknown unit 'mil + 3'",
    "1.6 mm \u00b1 0.1 mm": "unknown unit 'mm \u00b1 0.1 mm'",
    "1_000 mm": "unknown unit '_000 mm'",
    "1/16 in": "unknown unit '/16 in'",
    "1 1/16 in": "unknown unit '1/16 in'",
    "0x10 mm": "unknown unit",
    "--5 mm": "must be one number and one unit",
    "5 oz": "unknown unit 'oz'; known are mm",
    "5 mm\u00b2": "unknown unit",
    "\u0663 mm": "= '\u0663 mm': only the digits 0 to 9 are read; write it like '62 mil'",
    "2\u06605 mm": "only the digits 0 to 9 are read",
    "1.\uff15 mm": "only the digits 0 to 9 are read",
    "1e\u0b69 mm": "only the digits 0 to 9 are read",
    "\u00b2 mm": "must be one number and one unit",
    "1e-300 mm": "= '1e-300 mm': its size must be at most",
    "1e300 mm": "= '1e300 mm': its size must be at most",
    "9" * 5000 + " mm": "must be finite and positive",
    "1" * 100_000: "has no unit",
    "5 " + "m" * 100_000: "unknown unit 'mmm",
    "5 GHz": "'GHz' is a frequency; a length is wanted, like '62 mil'",
    "50 ohm": "'ohm' is an impedance; a length is wanted",
    "28 Gb/s": "a line rate where a length is wanted",
}


@pytest.mark.parametrize("text", BAD_TEXT, ids=lambda text: repr(text)[:40])
def test_refused_text_names_argument_value_and_fix(text):
    with pytest.raises(UnitError, match=re.escape("stub_length")) as caught:
        to_si(text, "length", "stub_length")
    assert BAD_TEXT[text] in str(caught.value)
    assert len(str(caught.value)) < 700
    with pytest.raises(UnitError, match=re.escape("stub_length")):
        to_si(["5 mm", text], "length", "stub_length")


BARE = [None, True, 5, 5.0, 1j, b"5 mm", {"mm": 5}, {5}, np.float64(5), np.int64(5), np.array(5.0),
        np.array([1.0, 2.0]), np.array([]), np.array([True]), object()]  # fmt: skip


@pytest.mark.parametrize("value", BARE, ids=lambda v: f"{type(v).__name__} {np.shape(v)} {getattr(v, 'dtype', '')}")
def test_values_without_unit_are_refused(value):
    with pytest.raises(UnitError, match=r"x = .*: has no unit; write it as text like '62 mil', or as a pint quantity"):
        to_si(value, "length", "x")


@pytest.mark.parametrize(
    ("value", "why"),
    [
        (Q(62, "mil"), r"x = 62 mil: pint's 'mil' is an angle; write '62 mil' as text, or use thou"),
        (Q(62, "kilomil"), "is an angle"),
        (Q(5, ""), "x = 5 dimensionless: a length is wanted, like '62 mil', not dimensionless"),
        (Q(5, "oz"), r"a length is wanted, like '62 mil', not \[mass\]"),
        (Q(5, "degC"), "a length is wanted"),
        (Q(5, "GHz"), "a length is wanted"),
        (Q(float("nan"), "mm"), "x = nan millimeter: must be finite and positive"),
        (Q(float("inf"), "mm"), "must be finite and positive"),
        (Q(-1, "mm"), "must be finite and positive"),
        (Q([1.0, float("nan")], "mm"), "must be finite and positive"),
        (Q(np.array([1.0, 0.0]), "mm"), "must be finite and positive"),
        (Q(5 + 1j, "mm"), "must be a real number"),
        (Q(["5"], "mm"), "must be a real number"),
        (Q(np.ma.array([1.0, 2.0], mask=[0, 1]), "mm"), "x: is a masked array"),
        (["5 mm", 3], "x = 3: has no unit"),
        (["5 mm", None], "x = None: has no unit"),
        (np.array(["5 mm", 3], dtype=object), "x = 3: has no unit"),
        ([Q(5, "mm"), Q(6, "mil")], "is an angle"),
        ([["1 mm", "2 mm"], ["3 mm"]], "x: the lists in it must all be of one length"),
        (["1 mm", ["3 mm"]], "must all be of one length"),
    ],
    ids=repr,
)
def test_refused_quantities_and_lists(value, why):
    with pytest.raises(UnitError, match=why):
        to_si(value, "length", "x")


def test_text_as_the_number_of_a_quantity():
    """pint 0.25 keeps the text, and it is refused; pint 0.26 makes a number of it before the library sees it."""
    value = Q("5", "mm")
    if isinstance(value.magnitude, str):
        with pytest.raises(UnitError, match="must be a real number"):
            to_si(value, "length", "x")
    else:
        assert to_si(value, "length", "x") == pytest.approx(5e-3)


@pytest.mark.parametrize(
    "value",
    [["1 mm", "2 mil"], ("1 mm", Q(2, "thou")), np.array(["1 mm", "2 mil"]), np.array(["1 mm", "2 mil"], dtype=object),
     np.array([Q(1, "mm"), Q(2, "thou")], dtype=object), Q([1, 0.0508], "mm"), [Q(1, "mm"), "0.0508 mm"]],
    ids=repr,
)  # fmt: skip
def test_arrays_in_arrays_out(value):
    assert to_si(value, "length", "x") == pytest.approx([1e-3, 5.08e-5], rel=1e-13)


def test_shape_is_kept():
    assert to_si(np.array("5 mm", dtype=object), "length", "x") == 5e-3
    assert to_si([["1 mm"], ["2 mm"]], "length", "x").shape == (2, 1)
    assert to_si(Q(np.ones((2, 3)), "mm"), "length", "x").shape == (2, 3)
    assert to_si([], "length", "x").shape == (0,)


@pytest.mark.parametrize("value", [["5 mm"], [], Q([1.0, 2.0], "mm"), ["1 mm", "2 mm"]], ids=repr)
def test_one_value_is_not_a_list(value):
    with pytest.raises(UnitError, match=r"x = .*one value is wanted, not a list"):
        one_si(value, "length", "x")


@pytest.mark.parametrize(
    "value",
    [Q(5, "rad/s"), Q(5, "rpm"), Q(5, "rps"), Q(5, "Grps"), Q(5, "cps"), Q(5, "arcsecond/second"),
     Q(5, "degree/s"), Q(5, "turn/s"), Q(5, "Gbit/s"), Q(5, "GBd"), Q(5, "byte/s"),
     Q(5, "becquerel"), Q(5, "mm"), Q(5, "percent*Hz"), Q(5, "mil/s")],
    ids=str,
)  # fmt: skip
def test_what_is_no_frequency(value):
    with pytest.raises(UnitError, match=r"f = .*: a frequency is wanted, in Hz; for a line rate use Signal"):
        to_si(value, "frequency", "f")


@pytest.mark.parametrize("value", [Q(5, "GHz"), Q(5e9, "Hz"), Q(5e9, "1/s"), Q(5, "1/ns")], ids=str)
def test_what_is_a_frequency(value):
    assert to_si(value, "frequency", "f") == pytest.approx(5e9)


@pytest.mark.parametrize(("text", "why"), [
    ("28 Gb/s", "a line rate where a frequency is wanted"),
    ("28 GT/s", "a line rate where a frequency is wanted"),
    ("5 Ghz", "did you mean 'GHz'"),
    ("5 mHz", "did you mean 'MHz'"),
    ("5 rad/s", "unknown unit 'rad/s'; known are Hz"),
], ids=["b/s", "T/s", "Ghz", "mHz", "rad/s"])  # fmt: skip
def test_refused_frequency_text(text, why):
    with pytest.raises(UnitError, match=f"f = '{text}': .*{why}"):
        to_si(text, "frequency", "f")


def test_delay_in_pints_mil_is_refused():
    with pytest.raises(UnitError, match="a delay per length is wanted"):
        to_si(Q(7, "ps/mil"), "delay per length", "delay")


@pytest.mark.parametrize(
    "value",
    ["3.8", "3,8", "", True, None, 4 + 0j, [3.8, "4"], [3.8, None], np.array([True]), np.array([3.8], dtype=object),
     [[1.0, 2.0], [3.0]], b"4", {"dk": 4}],
    ids=repr,
)  # fmt: skip
def test_plain_numbers_are_numbers(value):
    with pytest.raises(UnitError, match=r"dk = .*: must be a number without quotes, for example 3.8"):
        to_number(value, "dk")


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -1, 0, [4.0, 0.0], np.array([4.0, np.nan])], ids=repr)
def test_plain_numbers_are_finite_and_positive(value):
    with pytest.raises(UnitError, match=r"dk = .*: must be finite and positive"):
        to_number(value, "dk")


@pytest.mark.parametrize("unit", ["mm", "mil", "radian", "dB", "percent", "bit"])
def test_a_plain_number_has_no_unit(unit):
    with pytest.raises(UnitError, match=r"dk = .*: is a plain number; give it without a unit"):
        to_number(Q(4, unit), "dk")


@pytest.mark.parametrize("value", [10**400, -(10**400), 10**5000], ids=["400", "-400", "5000"])
def test_integers_beyond_every_float_are_refused(value):
    with pytest.raises(UnitError, match=r"dk = .*: must be finite and positive"):
        one_number(value, "dk")
    with pytest.raises(UnitError, match=r"x = .*: must be (a real number|finite and positive)"):
        one_si(Q(value, "mm"), "length", "x")


def test_masked_numbers_are_refused():
    with pytest.raises(UnitError, match="dk: is a masked array; leave the masked entries out"):
        to_number(np.ma.array([3.0, 4.0], mask=[0, 1]), "dk")


@pytest.mark.parametrize("value", [4, 4.0, np.int64(4), np.float64(4), np.array(4), Q(4, "")], ids=repr)
def test_plain_number_spellings(value):
    assert one_number(value, "dk") == 4.0
    assert type(one_number(value, "dk")) is float


def test_one_number_is_not_a_list():
    with pytest.raises(UnitError, match=r"dk = \[4\]: one value is wanted"):
        one_number([4], "dk")


def test_results_come_in_plain_units():
    for kind, unit in [("length", "millimeter"), ("frequency", "gigahertz"), ("impedance", "ohm")]:
        assert str(quantity(1.0, kind).units) == unit
    assert quantity(1.5748e-3, "length").magnitude == pytest.approx(1.5748)
    assert show(1.5748e-3, "length") == "1.575 mm"
    assert show(None, "length") == "unknown"


@given(physical(0.0, 1.0))
def test_round_trip_through_a_quantity(share):
    """Over every size that is read, from the smallest to the largest, evenly by decades."""
    for kind, (largest, smallest) in LARGEST_AND_SMALLEST.items():
        si = 1.0000001 * smallest * (0.9999998 * largest / smallest) ** share
        assert one_si(quantity(si, kind), kind, "x") == pytest.approx(si, rel=1e-13)


@pytest.mark.parametrize("kind", UNITS)
def test_the_largest_and_the_smallest_size_are_read_and_no_other(kind):
    largest, smallest = LARGEST_AND_SMALLEST[kind]
    for si in (largest, smallest):
        assert one_si(f"{si!r} {SI[kind]}", kind, "x") == si
    for si in (1.001 * largest, 0.999 * smallest, 1e300, 1e-300):
        with pytest.raises(UnitError, match=r"x = .*: its size must be at most .* at least"):
            one_si(f"{si!r} {SI[kind]}", kind, "x")
    assert one_si(f"0 {SI[kind]}", kind, "x", rule="not negative") == 0.0


def test_the_largest_plain_number_is_read_and_no_other():
    assert one_number(LARGEST_NUMBER, "dk") == LARGEST_NUMBER
    with pytest.raises(UnitError, match=r"dk = 1e\+300: its size must be at most 1e\+12"):
        one_number(1e300, "dk")


def test_results_mix_with_the_users_own_registry(swapped_registry):
    notch = notch_frequency("5 mm", 4)
    assert (notch + swapped_registry.Quantity(1, "GHz")).m_as("GHz") == pytest.approx(8.494811, abs=5e-7)
    assert isinstance(notch, swapped_registry.Quantity)


def test_the_users_registry_is_left_as_it_is(swapped_registry):
    notch_frequency(swapped_registry.Quantity(62, "thou"), 4)
    assert pint.application_registry.get() is swapped_registry
    assert swapped_registry.Quantity(1, "mil").dimensionless
    with pytest.raises(pint.UndefinedUnitError):
        swapped_registry.Quantity(1, "mils_of_ours")


def test_results_pickle_in_plain_units():
    notch = notch_frequency(["5 mm", "6 mm"], 4)
    restored = pickle.loads(pickle.dumps(notch))
    assert restored.m_as("GHz") == pytest.approx(notch.m_as("GHz"))


def test_errors_are_value_errors():
    assert issubclass(UnitError, StubsiError)
    assert issubclass(StubsiError, ValueError)


@pytest.mark.parametrize(
    ("value", "taken"),
    [("25 Gb/s", (25e9, "bits", "")), ("64 GT/s PAM4", (64e9, "transfers", "PAM4")),
     ("53.125 GBd", (53.125e9, "symbols", "")), (Q(25, "Gbit/s"), (25e9, "bits", "")),
     (Q(25, "GBd"), (25e9, "bits or symbols", "")),
     (Q(1.5, "Tbit/minute"), (25e9, "bits", ""))],
    ids=str,
)  # fmt: skip
def test_rates_are_taken_apart(value, taken):
    assert to_rate(value, "rate") == taken


@pytest.mark.parametrize(
    "value",
    [Q(28, "GHz"), Q(28, "1/s"), Q(28, "byte/s"), Q(28, "Gbyte/s"), Q(28, "megabit"), Q(28, "bit/mm"),
     Q(28, "bit**2/s"), Q(28, "bit*rps"), Q(28, "baud*rad"), Q(28, "gilbert/s"), Q(28, "mm")],
    ids=str,
)  # fmt: skip
def test_quantities_that_are_no_rate(value):
    with pytest.raises(UnitError, match=r"rate = .*: a line rate is wanted, in Gbit/s or GBd"):
        to_rate(value, "rate")
