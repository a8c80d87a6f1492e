"""Published worked examples, recomputed to their printed digits; and published slips, which must not come out."""

from __future__ import annotations

import numpy as np
import pytest

from stubsi import RULES_OF_THUMB, Signal, Stub, dk_eff_from_notch, notch_frequency
from stubsi.physics.uniform_line import coax_impedance, quarter_wave_length
from stubsi.provenance import COMPARISON, HARDWARE_ERROR, against_hardware
from tests.closed_forms import coax_capacitance
from tests.other_registry import Q


def ghz(length, dk, order=1):
    return notch_frequency(length, dk, order).m_as("GHz")


# --- worked examples --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("delay", "dk", "ps", "notch"),
    [("7 ps/mm", 4.404, 35.0, 7.14), ("175 ps/in", 4.266, 34.4, 7.26)],
    ids=["per mm", "per inch"],
)
def test_cohen_backplane(delay, dk, ps, notch):
    """T. Cohen (Teradyne), DesignCon 2003, IEC Web ProForum: 5.0 mm in FR-4, "~7 GHz"; its "~38 ps" does not fit."""
    stub = Stub(stub_length="5.0 mm", delay=delay)
    assert stub.dk_si == pytest.approx(dk, abs=5e-4)
    assert stub.delay.m_as("ps/mm") * 5.0 == pytest.approx(ps, abs=0.06)
    assert stub.notch_frequency().m_as("GHz") == pytest.approx(notch, abs=5e-3)
    assert round(stub.notch_frequency().m_as("GHz")) == 7
    published_delay = Stub(stub_length="5.0 mm", delay=Q(38 / 5.0, "ps/mm"))
    assert published_delay.notch_frequency().m_as("GHz") == pytest.approx(6.58, abs=5e-3)


def test_bogatin_rule_17():
    """E. Bogatin, EDN Asia, 19 Jan 2015: f0[GHz] = 1.5 / L[in] on FR-4, which is Dk 3.8696 and 6.0 in/ns."""
    assert dk_eff_from_notch("1 in", "1.5 GHz") == pytest.approx(3.8696, abs=5e-5)
    assert ghz("1 in", 3.8696481) == pytest.approx(1.500000, abs=5e-7)
    assert 1.5 / ghz("1 in", 4.0) - 1 == pytest.approx(0.017, abs=5e-4)
    assert 1.5 / ghz("1 in", 4.3) - 1 == pytest.approx(0.054, abs=5e-4)


def test_signal_integrity_journal_2962():
    """0.250 in lies on the Nyquist frequency of 12 Gb/s (closed eye); 0.025 in at 60 GHz (open)."""
    assert ghz("0.250 in", 3.87) == pytest.approx(5.999, abs=1e-3)
    assert Signal("12 Gb/s").nyquist.m_as("GHz") == 6.0
    assert ghz("0.025 in", 3.87) == pytest.approx(60, abs=0.05)


def test_simonovich_backplane():
    """B. Simonovich, "Via Stubs Demystified", 8 Mar 2017: about 270 mil and 4.4 GHz; 65 mil leaves the eye open.

    Only a loaded Dk_eff of 6.169 fits; the bulk Dk of any laminate reads 20 to 30 % too high.
    """
    dk_eff = dk_eff_from_notch("270 mil", "4.4 GHz")
    assert dk_eff == pytest.approx(6.169, abs=5e-4)
    assert ghz("65 mil", dk_eff) == pytest.approx(18.28, abs=5e-3)
    for bulk, high in ((3.65, 5.72), (3.87, 5.56), (4.0, 5.46), (4.3, 5.27)):
        assert ghz("270 mil", bulk) == pytest.approx(high, abs=5.1e-3)
        assert 0.19 < ghz("270 mil", bulk) / 4.4 - 1 < 0.31


def test_designcon_2025_resonator():
    """DesignCon 2025 proceedings p. 1408: measured 13.5 GHz, model 1 GHz low; in-plane Dk lowers it more."""
    assert quarter_wave_length(13.5e9, 1.0) * 1e3 == pytest.approx(5.552, abs=5e-4)
    assert pytest.approx(-0.074, abs=5e-4) == 12.5 / 13.5 - 1
    for more, shift in ((1.05, -2.41), (1.20, -8.71)):
        assert 100 * (ghz("5 mm", 4 * more) / ghz("5 mm", 4) - 1) == pytest.approx(shift, abs=6e-3)
    assert HARDWARE_ERROR >= 1 / 13.5
    assert round(1 / 13.5, 3) == COMPARISON
    assert "7.4 % off" in against_hardware()


def test_designcon_2020_ddr4():
    """Signal Integrity Journal 1731: DDR4-3200 wants its first notch at 5 x Nyquist = 8 GHz; 184.4 mil at Dk 4."""
    nyquist = Signal("DDR4-3200").nyquist.m_as("GHz")
    assert RULES_OF_THUMB["DesignCon 2020"].limit * nyquist == pytest.approx(8.0)
    assert ghz("184.4 mil", 4.0) == pytest.approx(8.0, abs=2e-3)
    assert ghz("187.5 mil", 3.87) == pytest.approx(8.0, abs=2e-3)


def test_ti_fifteen_mil():
    """TI SPRACP4A section 2.10: 15 mil, which is 100 GHz at Dk 3.87 and 79 GHz at Dk_eff 6.17."""
    assert ghz("15 mil", 3.87) == pytest.approx(100, abs=0.5)
    assert ghz("15 mil", 6.17) == pytest.approx(79, abs=0.5)
    assert RULES_OF_THUMB["TI 15 mil"].limit == pytest.approx(15 * 25.4e-6)


def test_bogatin_in_centimetres_is_low():
    """His L[cm] < 0.75 / rate is the rounded 0.762 cm of 0.3 in: 1.6 % low."""
    assert 0.75 / (RULES_OF_THUMB["Bogatin 2015"].limit / 1e9 * 100) - 1 == pytest.approx(-0.016, abs=5e-4)


# Stub [mm] whose notch is at 1, 2 and 5 x Nyquist, Dk 4 (derived)
LONGEST = {
    "10GBASE-KR": (7.268, 3.634, 1.454),
    "PCIe 4.0": (4.684, 2.342, 0.937),
    "25GBASE-KR": (2.907, 1.454, 0.581),
    "50GBASE-KR": (2.822, 1.411, 0.564),
    "PCIe 5.0": (2.342, 1.171, 0.468),
    "PCIe 6.0": (2.342, 1.171, 0.468),
    "100GBASE-KR1": (1.411, 0.705, 0.282),
    "PCIe 7.0": (1.171, 0.586, 0.234),
    "800GBASE-KR4": (0.705, 0.353, 0.141),
}


@pytest.mark.parametrize("name", LONGEST)
def test_stub_whose_notch_is_at_a_multiple_of_nyquist(name):
    nyquist = Signal(name).nyquist_si
    lengths = [float(quarter_wave_length(k * nyquist, 4.0)) * 1e3 for k in (1, 2, 5)]
    assert lengths == pytest.approx(LONGEST[name], abs=5.1e-4)


# --- published slips: what must not come out --------------------------------------------------------------------------


def test_quarter_wave_at_106_gigahertz():
    """DesignCon 2025 proceedings p. 1337 prints 0.67 mm in air and 0.3 mm at 2.2; right are 0.7071 and 0.4767 mm."""
    assert quarter_wave_length(106e9, 1.0) * 1e3 == pytest.approx(0.7071, abs=5e-5)
    assert quarter_wave_length(106e9, 2.2) * 1e3 == pytest.approx(0.4767, abs=5e-5)
    assert ghz("0.67 mm", 1.0) == pytest.approx(112, abs=0.5)
    assert ghz("0.3 mm", 2.2) > 160


def test_half_a_millimetre():
    """A fabricator's article prints 10-12 GHz, 0.5-1 pF/mm for Dk 4.0-4.5; right are 75-71 GHz, 0.2 pF/mm."""
    assert ghz("0.5 mm", 4.0) == pytest.approx(75, abs=0.5)
    assert ghz("0.5 mm", 4.25) == pytest.approx(72.7, abs=0.05)
    assert ghz("0.5 mm", 4.5) == pytest.approx(71, abs=0.5)
    assert coax_capacitance(1.0, 3.0, 4.0) * 1e9 == pytest.approx(0.203, abs=5e-4)


def test_sixty_to_hundred_mil():
    """Printed as 3-6 GHz in one article; right are 24.6 to 14.8 GHz at Dk 4."""
    assert ghz("60 mil", 4.0) == pytest.approx(24.6, abs=0.05)
    assert ghz("100 mil", 4.0) == pytest.approx(14.8, abs=0.05)


def test_impossible_capacitance():
    """0.75 pF/mm with Dk 4.2, printed in one article, would be a barrel of 9 ohm: an antipad 1.36 x the drill."""
    assert np.sqrt(4.2) / 299_792_458 / 0.75e-9 == pytest.approx(9, abs=0.2)
    ratio = np.exp(2 * np.pi * 8.8541878128e-12 * 4.2 / 0.75e-9)
    assert coax_impedance(1.0, ratio, 4.2) == pytest.approx(9, abs=0.2)


# --- cases from practice: lossless quarter wave -----------------------------------------------------------------------


@pytest.mark.parametrize(("rate", "nyquist"), [("1600 MT/s", 0.8), ("3200 MT/s", 1.6), ("6400 MT/s", 3.2)])
def test_ddr_on_through_holes(rate, nyquist):
    """1.3 mm stub at Dk 4: 28.83 GHz, an order above the Nyquist frequency."""
    assert ghz("1.3 mm", 4.0) == pytest.approx(28.83, abs=5e-3)
    assert Signal(rate).nyquist.m_as("GHz") == nyquist


@pytest.mark.parametrize(("mil", "notch"), [("15 mil", 98.4), ("24 mil", 61.5), ("45 mil", 32.8)])
def test_vendor_lengths(mil, notch):
    assert ghz(mil, 4.0) == pytest.approx(notch, abs=0.05)


def test_five_percent_of_dk_is_half_of_that_in_the_notch():
    for dk, shift in ((4 * 1.05, -2.5), (4 * 0.95, +2.5)):
        assert 100 * (ghz("1 mm", dk) / ghz("1 mm", 4.0) - 1) == pytest.approx(shift, abs=0.11)


def test_two_stubs_are_never_one():
    """0.3 mm and 0.7 mm on both sides of 0.6 mm barrel, Dk 4: 125 and 53.5 GHz, never the 37.5 GHz of 1.0 mm.

    Two shunt stubs, each a short at its own notch whatever lies between: the product of the two-ports shows both.
    """
    upper, lower = (Stub(stub_length=text, dk_eff=4, z_stub="40 ohm") for text in ("0.3 mm", "0.7 mm"))
    assert ghz("0.3 mm", 4) == pytest.approx(125, abs=0.5)
    assert ghz("0.7 mm", 4) == pytest.approx(53.5, abs=0.05)
    assert ghz("1.0 mm", 4) == pytest.approx(37.5, abs=0.05)
    at = [ghz("1.0 mm", 4), ghz("0.7 mm", 4), ghz("0.3 mm", 4)]
    both = upper.network(Q(at, "GHz")) ** lower.network(Q(at, "GHz"))
    summed, *shorted = abs(both.s[:, 1, 0])
    assert summed > 0.1
    assert max(shorted) < 1e-9


def test_depth_tolerance_in_terms_of_the_notch():
    """Stubs of 0.25, 0.5 and 2.0 mm, each +-0.1 mm, at Dk 4 (derived)."""
    for mm, notches in ((0.25, (249.8, 149.9, 107.1)), (0.5, (93.7, 74.9, 62.5)), (2.0, (19.7, 18.7, 17.8))):
        found = [ghz(f"{mm + d} mm", 4.0) for d in (-0.1, 0.0, 0.1)]
        assert found == pytest.approx(notches, abs=0.06)


def test_two_layer_sample():
    """1.57 mm, Dk 3.66: the whole of a two-layer board as a stub."""
    assert ghz("1.57 mm", 3.66) == pytest.approx(24.95, abs=5e-3)


def test_112_and_224_gigabit_pam4():
    assert Signal("112 Gb/s PAM4").nyquist.m_as("GHz") == 28
    assert Signal("224 Gb/s PAM4").nyquist.m_as("GHz") == 56


def test_one_sentence_says_what_is_known_against_hardware():
    """Where tolerances are given, the range they make; where not, that it is unknown, with the one comparison read."""
    assert against_hardware().startswith("not known until tolerances are given or a coupon is measured; ")
    assert against_hardware((-0.09, 0.11)).startswith("first notch -9.0 to +11.0 % by the tolerances given")
    assert "8 %" not in against_hardware((-0.09, 0.11))
