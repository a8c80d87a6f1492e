"""Signals: Nyquist is half the symbol rate, whichever way the rate is written; a named rate carries its own."""

from __future__ import annotations

import copy
import dataclasses
import pickle

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stubsi import Signal, UnitError
from stubsi.board.line_rates import LINE_RATES, MEMORY, SEEN
from stubsi.board.signal import BITS_PER_SYMBOL, as_signal
from tests.other_registry import Q

NAMED = [name for rate in LINE_RATES for name in rate.names]

# name: (rate per lane [Gb/s], modulation, symbol rate [GBd], Nyquist [GHz]), all as printed in the standard named
STANDARDS = {
    "PCIe 1.0": (2.5, "NRZ", 2.5, 1.25),  # PCI-SIG Base Specification 1.x
    "PCIe 2.0": (5, "NRZ", 5, 2.5),  # PCI-SIG Base Specification 2.x
    "PCIe 3.0": (8, "NRZ", 8, 4),  # PCI-SIG Base Specification 3.x
    "PCIe 4.0": (16, "NRZ", 16, 8),  # PCI-SIG Base Specification 4.0
    "PCIe 5.0": (32, "NRZ", 32, 16),  # PCI-SIG Base Specification 5.0
    "PCIe 6.0": (64, "PAM4", 32, 16),  # PCI-SIG Base Specification 6.0
    "PCIe 7.0": (128, "PAM4", 64, 32),  # PCI-SIG Base Specification 7.0
    "1000BASE-X": (1.25, "NRZ", 1.25, 0.625),  # IEEE 802.3 clause 36, from memory
    "SGMII": (1.25, "NRZ", 1.25, 0.625),  # from memory
    "XAUI": (3.125, "NRZ", 3.125, 1.5625),  # IEEE 802.3 clause 47, from memory
    "10GBASE-KX4": (3.125, "NRZ", 3.125, 1.5625),  # IEEE 802.3 clause 71, from memory
    "10GBASE-KR": (10.3125, "NRZ", 10.3125, 5.15625),  # IEEE 802.3 clause 72
    "40GBASE-KR4": (10.3125, "NRZ", 10.3125, 5.15625),  # IEEE 802.3 clause 84
    "25GBASE-KR": (25.78125, "NRZ", 25.78125, 12.890625),  # IEEE 802.3 clause 111
    "100GBASE-KR4": (25.78125, "NRZ", 25.78125, 12.890625),  # IEEE 802.3 clause 93
    "CAUI-4": (25.78125, "NRZ", 25.78125, 12.890625),  # IEEE 802.3 Annexes 83D, 83E
    "100GBASE-KP4": (27.1875, "PAM4", 13.59375, 6.796875),  # IEEE 802.3 clause 94
    "50GBASE-KR": (53.125, "PAM4", 26.5625, 13.28125),  # IEEE 802.3 clause 137
    "200GBASE-KR4": (53.125, "PAM4", 26.5625, 13.28125),  # IEEE 802.3 clause 137
    "100GBASE-KR1": (106.25, "PAM4", 53.125, 26.5625),  # IEEE 802.3 clause 163, from memory
    "400GBASE-KR4": (106.25, "PAM4", 53.125, 26.5625),  # IEEE 802.3 clause 163, from memory
    "800GBASE-KR4": (212.5, "PAM4", 106.25, 53.125),  # IEEE 802.3dj, from memory
    "SATA 1": (1.5, "NRZ", 1.5, 0.75),  # Serial ATA 3.x, from memory
    "SATA 2": (3, "NRZ", 3, 1.5),  # Serial ATA 3.x, from memory
    "SATA 3": (6, "NRZ", 6, 3),  # Serial ATA 3.x, from memory
    "SATA 3 Gb/s": (3, "NRZ", 3, 1.5),  # Serial ATA 3.x, from memory: second generation
    "SAS-3": (12, "NRZ", 12, 6),  # INCITS, from memory
    "SAS-4": (22.5, "NRZ", 22.5, 11.25),  # INCITS, from memory
    "USB 3.2 Gen 1": (5, "NRZ", 5, 2.5),  # USB 3.2
    "USB 3.2 Gen 2": (10, "NRZ", 10, 5),  # USB 3.2
    "USB4 Gen 2": (10, "NRZ", 10, 5),  # USB4 1.0, from memory
    "USB4 Gen 3": (20, "NRZ", 20, 10),  # USB4 1.0, from memory
    "USB4 Gen 4": (25.6 * 11 / 7, "PAM3", 25.6, 12.8),  # USB4 2.0: named symbol rate, from memory
    "JESD204B": (12.5, "NRZ", 12.5, 6.25),  # JEDEC, from memory
    "DisplayPort HBR": (2.7, "NRZ", 2.7, 1.35),  # VESA
    "DisplayPort HBR2": (5.4, "NRZ", 5.4, 2.7),  # VESA
    "DisplayPort HBR3": (8.1, "NRZ", 8.1, 4.05),  # VESA, from memory
    "DDR4-3200": (3.2, "NRZ", 3.2, 1.6),  # JESD79-4
}


@pytest.mark.parametrize("name", STANDARDS)
def test_named_rates_as_printed(name):
    bit_rate, modulation, gbaud, nyquist = STANDARDS[name]
    signal = Signal(name)
    assert signal.modulation == modulation
    assert signal.symbol_rate.m_as("GBd") == pytest.approx(gbaud, rel=1e-12)
    assert signal.nyquist.m_as("GHz") == pytest.approx(nyquist, rel=1e-12)
    assert signal.bit_rate.m_as("Gbit/s") == pytest.approx(bit_rate, rel=1e-12)
    assert str(signal.nyquist.units) == "gigahertz"


@pytest.mark.parametrize("name", NAMED)
def test_every_named_rate_has_a_source_and_its_standing(name):
    source = Signal(name).source
    assert SEEN in source or MEMORY in source
    assert str(Signal(name)) == name


def test_names_are_unique_and_read_in_any_case():
    assert len({name.casefold().replace(" ", "") for name in NAMED}) == len(NAMED)
    for text in ("pcie5.0", "PCIe  5", "PCIE 5.0", " PCIe 5.0 "):
        assert Signal(text) == Signal("PCIe 5.0")


@pytest.mark.parametrize(
    ("text", "nyquist"),
    [
        ("25.78125 Gb/s", 12.890625),
        ("112 Gb/s PAM4", 28),  # not 56
        ("224 Gb/s PAM4", 56),
        ("53.125 GBd PAM4", 26.5625),
        ("3200 MT/s", 1.6),
        ("64 GT/s PAM4", 16),
        ("40 Gb/s PAM3", 12.7272727),  # 11 bits on 7 symbols: 25.4545 GBd
        ("2.5 Gb/s", 1.25),
        ("112 Gbps pam-4", 28),
        ("112Gbit/s PAM4", 28),
        ("1600 MT/s", 0.8),
        ("6400 MT/s", 3.2),
        ("10 Gb/s PAM2", 5),
    ],
    ids=lambda v: v if isinstance(v, str) else "",
)
def test_nyquist_of_what_people_write(text, nyquist):
    assert Signal(text).nyquist.m_as("GHz") == pytest.approx(nyquist, rel=1e-8)


def test_third_harmonic_of_a_clock_pattern():
    """Published wrong: T. Cohen, DesignCon 2003, prints 7.5 GHz for 2.5 Gb/s; odd multiples of Nyquist are meant."""
    assert 3 * Signal("2.5 Gb/s").nyquist.m_as("GHz") == pytest.approx(3.75)
    assert 5 * Signal("2.5 Gb/s").nyquist.m_as("GHz") == pytest.approx(6.25)


@given(st.integers(100_000, 224_000_000).map(lambda bauds: bauds / 1e6))
def test_a_rate_is_one_rate_in_every_unit(gbps):
    same = [Signal(f"{gbps!r} Gb/s"), Signal(f"{gbps * 1e3!r} Mb/s"), Signal(f"{gbps!r} GBd"), Signal(f"{gbps!r} GT/s"),
            Signal(Q(gbps, "Gbit/s")), Signal(Q(gbps * 1e9, "bit/s"))]  # fmt: skip
    assert len(set(same)) == 1
    assert same[0].nyquist_si == pytest.approx(gbps * 1e9 / 2, rel=1e-12)


@pytest.mark.parametrize("modulation", BITS_PER_SYMBOL)
def test_bits_per_symbol(modulation):
    signal = Signal("40 Gb/s", modulation)
    assert signal.bit_rate.m_as("Gbit/s") == pytest.approx(40, rel=1e-12)
    ratio = (signal.bit_rate / signal.symbol_rate).m_as("bit/s/baud")
    assert ratio == pytest.approx({"NRZ": 1, "PAM3": 11 / 7, "PAM4": 2}[modulation], rel=1e-9)
    assert Signal("40 GBd", modulation).symbol_rate.m_as("GBd") == 40


REFUSED = {
    "28 GHz": r"rate = '28 GHz': that is a frequency; a line rate is in Gb/s, GBd or GT/s",
    "": "rate is blank: write it like '25.78125 Gb/s'",
    "  ": "rate is blank",
    "25.78": "rate = '25.78': has no unit",
    "25,78 Gb/s": "a comma can be a decimal or a thousands mark",
    "112 Gb/s, PAM4": "a comma can be",
    "0 Gb/s": "rate = '0 Gb/s': must be finite and positive",
    "-5 Gb/s": "must be finite and positive",
    "\u22125 Gb/s": "must be finite and positive",
    "1e400 Gb/s": "must be finite and positive; its size must be at most 1e",
    "1e300 Gb/s": r"its size must be at most 1e\+\d+ Hz",
    "pcie gen5": r"near it are PCIe [^,]*, PCIe [^,]*, PCIe [^,]*\. Or give",
    "zzz": r"no line rate of that name; some of them are PCIe 1.0(, [^,]*){1,7}\. Or give",
    "nan Gb/s": "must be one number and one unit",
    "inf Gb/s": "must be one number and one unit",
    "nan": "must be one number and one unit",
    "25 GB/s": r"'GB/s' counts bytes; give the line rate in bits, like '25.78125 Gb/s'",
    "25 Gbyte/s": "counts bytes",
    "25 GBps": "counts bytes",
    "112 Gb/s PAM8": r"modulation = 'PAM8' of rate '112 Gb/s PAM8': must be NRZ, PAM3 or PAM4",
    "112 Gb/s PAM4 NRZ": "must be NRZ, PAM3 or PAM4",
    "56 Gb/s duobinary": "must be NRZ, PAM3 or PAM4",
    "112 gb/s": "unknown unit 'gb/s'; did you mean 'Gb/s'",
    "5 mb/s": "unknown unit 'mb/s'; did you mean 'Mb/s'",
    "112G PAM4": "unknown unit 'G'",
    "5 mm": "unknown unit 'mm'",
    '"112 Gb/s"': "quote marks are no unit",
    "PCIe 8": r"rate = 'PCIe 8': no line rate of that name; near it are PCIe 7",
    "USB4": "no line rate of that name; near it are USB4 Gen",
    "Ethernet": r"no line rate of that name.*Or give the rate itself, like '25.78125 Gb/s' or '53.125 GBd PAM4'",
    "PAM4 112 Gb/s": "Or give the rate itself",
    "\u0662\u0665 Gb/s": "rate = '\u0662\u0665 Gb/s': only the digits 0 to 9 are read",
    "2\u0660.5 Gb/s": "only the digits 0 to 9 are read",
    "25 Gb/s PAM\u0664": "only the digits 0 to 9 are read",
    "1e30 Gb/s": "its size must be at most",
    "1e-30 b/s": "its size must be at most .* and, unless it is zero, at least",
}


@pytest.mark.parametrize("text", REFUSED, ids=repr)
def test_refused_rates(text):
    with pytest.raises(UnitError, match=REFUSED[text]):
        Signal(text)


@pytest.mark.parametrize(
    "value", [28, 28e9, None, True, np.float64(28), ["25 Gb/s"], np.array(["25 Gb/s"]), b"25 Gb/s"], ids=repr
)
def test_rates_without_unit(value):
    with pytest.raises(UnitError, match=r"rate = .*: has no unit"):
        Signal(value)


def test_quantities():
    assert Signal(Q(112, "Gbit/s"), "PAM4").nyquist.m_as("GHz") == pytest.approx(28)
    assert Signal(Q(56, "GBd")).nyquist.m_as("GHz") == pytest.approx(28)
    assert str(Signal(Q(112, "Gbit/s"), "PAM4")) == "112 Gbit/s PAM4"


def test_baud_of_pint_with_pam4_is_ambiguous():
    with pytest.raises(UnitError, match=r"pint's baud is also its bps.*write it as text in GBd or Gb/s"):
        Signal(Q(56, "GBd"), "PAM4")


@pytest.mark.parametrize("bad", [Q([1.0, 2.0], "Gbit/s"), Q(1 + 1j, "Gbit/s"), Q(float("nan"), "Gbit/s")], ids=str)
def test_one_real_finite_rate(bad):
    with pytest.raises(UnitError, match="rate = "):
        Signal(bad)


@pytest.mark.parametrize("modulation", ["PAM5", "4", 4, 0, True, False], ids=repr)
def test_unknown_modulation(modulation):
    with pytest.raises(UnitError, match=r"modulation = .* of rate '112 Gb/s': must be NRZ, PAM3 or PAM4"):
        Signal("112 Gb/s", modulation)


def test_modulation_said_twice_must_agree():
    assert Signal("112 Gb/s PAM4", "PAM4") == Signal("112 Gb/s PAM4")
    with pytest.raises(UnitError, match="says PAM4, modulation says NRZ: give one of them"):
        Signal("112 Gb/s PAM4", "NRZ")
    with pytest.raises(UnitError, match=r"'PCIe 6.0' says PAM4, modulation says NRZ"):
        Signal("PCIe 6.0", "NRZ")


def test_a_text_is_read_once():
    assert as_signal("25.78125 Gb/s") is as_signal("25.78125 Gb/s")
    assert as_signal("25.78125 Gb/s") == Signal("25.78125 Gb/s")
    with pytest.raises(UnitError, match="that is a frequency"):
        as_signal("28 GHz")


def test_a_signal_is_no_rate():
    with pytest.raises(UnitError, match="is a Signal already; use it as it is"):
        Signal(Signal("5 Gb/s"))


@pytest.mark.parametrize("text", ["112 Gb/s PAM4", "PCIe 6.0", "40 Gb/s PAM3", "25.78125 Gb/s"])
def test_a_signal_is_a_value(text):
    signal = Signal(text)
    for twin in (copy.deepcopy(signal), pickle.loads(pickle.dumps(signal)), eval(repr(signal)), Signal(text)):
        assert twin == signal
        assert hash(twin) == hash(signal)
        assert str(twin) == str(signal)
    assert signal != Signal("1 Gb/s")
    assert signal != text
    with pytest.raises(dataclasses.FrozenInstanceError):
        signal.rate = "1 Gb/s"


def test_modulation_tells_signals_of_one_symbol_rate_apart():
    assert Signal("PCIe 5.0") != Signal("PCIe 6.0")
    assert Signal("PCIe 5.0") == Signal("32 Gb/s")


@pytest.mark.parametrize("text", ["112 Gb/s pam4", "112 Gb/s PAM-4", "112 Gb/s PAM4", "112 Gb/s", "10GBASE-KR"])
def test_a_signal_prints_its_modulation_once(text):
    assert str(Signal(text)) == (text if text != "112 Gb/s" else "112 Gb/s NRZ")


def test_a_blank_modulation_is_refused():
    with pytest.raises(UnitError, match="modulation = '' of rate '10 Gb/s': must be NRZ, PAM3 or PAM4"):
        Signal("10 Gb/s", modulation="")
