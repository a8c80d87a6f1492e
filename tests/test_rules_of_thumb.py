"""Published stub budgets, asked for as a user would, to their printed digits; cases from practice; loss tables."""

from __future__ import annotations

import numpy as np
import pytest

from stubsi import RULES_OF_THUMB, Criterion, Signal, Stub, check_stub, notch_frequency, stub_budget
from stubsi.physics.uniform_line import quarter_wave_length

HALF, SPREAD_RATE = 0.05, "25.78125 GBd"

# rule, signal, Dk, printed budget [mil], half of its last digit
BUDGETS = [
    # E. Bogatin, EDN Asia, 19 Jan 2015: L[in] < 0.3 / (rate in Gb/s), Dk 3.87
    ("Bogatin 2015", "1 Gb/s", 3.87, 300, 0.5),
    ("Bogatin 2015", "10 Gb/s", 3.87, 30, 0.5),
    ("Bogatin 2015", SPREAD_RATE, 3.87, 11.6, HALF),
    ("Bogatin 2015", "56 Gb/s", 3.87, 5.4, HALF),
    ("Bogatin 2015", "2.3 Gb/s", 3.87, 130, 0.5),  # his own DDR4 example rounds this up to 0.15 in
    # Signal Integrity Journal 2962: L[in] = 3 / (rate in Gb/s) closes the eye; 0.250 in at 12 Gb/s
    ("notch on Nyquist", "12 Gb/s", 3.87, 250, 0.5),
    ("notch on Nyquist", SPREAD_RATE, 3.87, 116.4, HALF),
    # DesignCon 2020, Signal Integrity Journal 1731: notch at least 5 x Nyquist, DDR4-3200
    ("DesignCon 2020", "DDR4-3200", 4.0, 184.4, HALF),
    ("DesignCon 2020", "DDR4-3200", 3.87, 187.5, HALF),
    ("DesignCon 2020", SPREAD_RATE, 3.87, 23.3, HALF),
    # B. Simonovich, 2017, from memory: notch at the 7th harmonic of Nyquist; Dk_eff 6.17 fits his backplane
    ("Simonovich 2017", SPREAD_RATE, 3.87, 16.6, HALF),
    ("Simonovich 2017", SPREAD_RATE, 6.17, 13.2, HALF),
    # TI SPRACP4A section 2.10, SLAAE45: 15 mil
    ("TI 15 mil", SPREAD_RATE, 3.87, 15, 5e-3),
    ("TI 15 mil", "6 Gb/s", 6.17, 15, 5e-3),
]


def mil(budget):
    return budget.stub_length.m_as("thou")


@pytest.mark.parametrize(("rule", "signal", "dk", "printed", "half"), BUDGETS, ids=[f"{b[:3]}" for b in BUDGETS])
def test_budgets_as_printed(rule, signal, dk, printed, half):
    budget = stub_budget(signal, criterion=rule, dk_eff=dk)
    assert mil(budget) == pytest.approx(printed, abs=half)
    assert not budget.unlimited


@pytest.mark.parametrize(("rule", "signal", "dk", "printed", "half"), BUDGETS, ids=[f"{b[:3]}" for b in BUDGETS])
def test_checks_turn_at_the_printed_budget(rule, signal, dk, printed, half):
    """The figure is within the limit a digit below the printed budget, beyond it a digit above."""
    shorter, longer = (check_stub(f"{printed + d} mil", signal, criterion=rule, dk_eff=dk) for d in (-2 * half, +half))
    assert shorter.excess > 0 > longer.excess
    assert longer.verdict != "pass"


def test_the_three_ways_to_say_a_rule_agree():
    """At Dk 3.87, 0.3 in / (Gb/s) is a notch at 10 x Nyquist, and 3 in / (Gb/s) one on Nyquist (3 digits)."""
    for rule, ratio in (("Bogatin 2015", 10), ("notch on Nyquist", 1)):
        by_notch = stub_budget(SPREAD_RATE, criterion=Criterion.notch_ratio(ratio), dk_eff=3.87)
        assert mil(by_notch) == pytest.approx(mil(stub_budget(SPREAD_RATE, criterion=rule, dk_eff=3.87)), rel=2e-3)


def test_spread_of_the_published_rules_is_ten():
    found = {name: mil(stub_budget(SPREAD_RATE, criterion=name, dk_eff=3.87)) for name in RULES_OF_THUMB}
    assert max(found, key=found.get) == "notch on Nyquist"
    assert min(found, key=found.get) == "Bogatin 2015"
    assert max(found.values()) / min(found.values()) == pytest.approx(10, rel=1e-9)


def test_rules_count_symbols_not_bits():
    for name in RULES_OF_THUMB:
        nrz, pam4, pam3 = (
            stub_budget(rate, criterion=name, dk_eff=4).stub_length_si
            for rate in ("28 Gb/s", "56 Gb/s PAM4", "44 Gb/s PAM3")
        )
        assert pam4 == pytest.approx(nrz, rel=1e-12)
        assert pam3 == pytest.approx(nrz, rel=1e-12)


def test_twelve_gigabit_stubs():
    """Signal Integrity Journal 2962, Dk 3.87: 0.250 in lies on Nyquist (6.0 GHz), 0.025 in at 60 GHz."""
    closed, opened = (check_stub(length, "12 Gb/s", dk_eff=3.87) for length in ("0.250 in", "0.025 in"))
    assert closed.first_notch.m_as("GHz") == pytest.approx(6.0, abs=HALF)
    assert opened.first_notch.m_as("GHz") == pytest.approx(60, abs=0.5)
    assert closed.excess == pytest.approx(-0.8, abs=1e-3)
    assert closed.verdict == "falls short"
    assert opened.verdict == "pass"


# --- cases from practice ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("signal", "nyquist"), [("1600 MT/s", 0.8), ("3200 MT/s", 1.6), ("6400 MT/s", 3.2)])
def test_ddr_on_through_holes_does_not_fail(signal, nyquist):
    """1.6 mm board left at 0.3 mm, Dk 4: 28.83 GHz, far above any of these; resonance is not the limit."""
    check = check_stub("1.3 mm", signal, dk_eff=4.0)
    assert check.signal.nyquist.m_as("GHz") == nyquist
    assert check.first_notch.m_as("GHz") == pytest.approx(28.83, abs=5e-3)
    assert check
    assert check.excess == pytest.approx(28.83 / nyquist / 5 - 1, rel=1e-3)


@pytest.mark.parametrize(("length", "notch"), [("15 mil", 98.4), ("24 mil", 61.5)])
def test_a_rule_of_length_and_a_budget_from_physics_are_two_things(length, notch):
    """A vendor's length says nothing of the signal; the notch at Dk 4 does, and each names its source."""
    rule = Criterion.stub_length(length, source="vendor's rule")
    slow, fast = "3.125 Gb/s", "112 GBd"
    for signal in (slow, fast):
        assert mil(stub_budget(signal, criterion=rule, dk_eff=4)) == pytest.approx(float(length[:2]), rel=1e-11)
        assert "vendor's rule" in str(check_stub(length, signal, criterion=rule, dk_eff=4))
    check = check_stub(length, fast, dk_eff=4)
    assert check.first_notch.m_as("GHz") == pytest.approx(notch, abs=HALF)
    assert not check
    assert "DesignCon 2020" in str(check)


@pytest.mark.parametrize(("z_stub", "loss"), [("50 ohm", 0.28), ("30 ohm", 0.75)])
def test_a_notch_far_out_of_band_still_costs(z_stub, loss):
    """45 mil at Dk 4: notch at 32.8 GHz, yet this much at 10 GHz in 50 ohm: loss stands beside the notch."""
    check = check_stub("45 mil", "20 Gb/s", dk_eff=4, z_stub=z_stub, z0="50 ohm")
    assert check.first_notch.m_as("GHz") == pytest.approx(32.8, abs=HALF)
    assert check.loss == pytest.approx(loss, abs=5e-3)


@pytest.mark.parametrize(("delay", "dk"), [("190 ps/in", 5.03), ("210 ps/in", 6.14)])
def test_delay_per_length_in_place_of_a_permittivity(delay, dk):
    """Two engineers' fits against a laminate near 4 (SI-LIST, 2008)."""
    by_delay, by_dk = stub_budget("10 Gb/s", delay=delay), stub_budget("10 Gb/s", dk_eff=dk)
    assert by_delay.stub_length_si == pytest.approx(by_dk.stub_length_si, rel=1e-3)
    assert by_delay.model.startswith("uniform line, delay given")


def test_thirty_ohms_at_half_its_notch():
    """One 30 ohm open stub in 50 ohm at half its notch frequency: 2.29 dB."""
    length = f"{float(quarter_wave_length(12.5e9 * 2, 4.0)) * 1e3:.12f} mm"
    assert check_stub(length, "25 Gb/s", dk_eff=4, z_stub="30 ohm", z0="50 ohm").loss == pytest.approx(2.290, abs=5e-4)


def test_five_percent_of_dk_is_half_of_that_in_the_budget():
    """Dk +-5 % moves notch and budget by -/+2.5 %."""
    nominal = mil(stub_budget("25 Gb/s", dk_eff=4))
    for dk, shift in ((4.2, -2.5), (3.8, +2.5)):
        assert 100 * (mil(stub_budget("25 Gb/s", dk_eff=dk)) / nominal - 1) == pytest.approx(shift, abs=0.11)


def test_pam4_nyquist():
    """112 Gb/s PAM4: 28 GHz, not 56; 224 Gb/s PAM4: 56 GHz. A stub with its notch between tells them apart."""
    assert check_stub("1.0 mm", "112 Gb/s PAM4", criterion="notch on Nyquist", dk_eff=4)
    assert not check_stub("1.0 mm", "112 Gb/s", criterion="notch on Nyquist", dk_eff=4)
    assert not check_stub("1.0 mm", "224 Gb/s PAM4", criterion=Criterion.notch_ratio(1), dk_eff=4)
    assert Signal("224 Gb/s PAM4").nyquist.m_as("GHz") == 56


# --- insertion loss at Nyquist where the notch is k times Nyquist, 50 ohm line: 10 lg(1 + (Z0 tan(th)/2 Zs)^2), derived

LOSS = {
    1.25: (10.200, 8.795, 6.721, 5.274, 4.223),
    1.5: (6.021, 4.890, 3.368, 2.430, 1.821),
    2: (3.010, 2.290, 1.432, 0.969, 0.695),
    3: (1.249, 0.904, 0.532, 0.348, 0.244),
    5: (0.436, 0.307, 0.176, 0.113, 0.079),
    7: (0.221, 0.154, 0.088, 0.056, 0.039),
    10: (0.108, 0.075, 0.042, 0.027, 0.019),
}
IMPEDANCES = (25, 30, 40, 50, 60)


@pytest.mark.parametrize("k", LOSS)
@pytest.mark.parametrize("dk", [3.0, 6.17])
def test_loss_at_nyquist(k, dk):
    """The table holds at any rate and Dk: the ratio of notch to Nyquist alone counts."""
    length = f"{float(quarter_wave_length(k * 14e9, dk)) * 1e3:.15f} mm"
    for z_stub, printed in zip(IMPEDANCES, LOSS[k], strict=True):
        check = check_stub(length, "28 GBd PAM4", dk_eff=dk, z_stub=f"{z_stub} ohm", z0="50 ohm")
        assert check.loss == pytest.approx(printed, abs=5.1e-4)
        stub = Stub(stub_length=length, dk_eff=dk, z_stub=f"{z_stub} ohm")
        assert stub.loss("14 GHz", z0="50 ohm") == pytest.approx(printed, abs=5.1e-4)


@pytest.mark.parametrize("k", LOSS)
def test_budget_by_loss_is_the_budget_by_notch(k):
    """Ask for the loss the table gives at k, and the longest stub is the one whose notch is at k x Nyquist."""
    for z_stub, printed in zip(IMPEDANCES, LOSS[k], strict=True):
        budget = stub_budget(
            "28 GBd PAM4", criterion=Criterion.loss(printed), dk_eff=4, z_stub=f"{z_stub} ohm", z0="50 ohm"
        )
        notch = notch_frequency(budget.stub_length, 4).m_as("GHz")
        # half a digit of the loss, in terms of k: d(loss)/loss = 2 dk/k or more
        assert notch == pytest.approx(14 * k, rel=1e-4 + 5.1e-4 / printed / 2)


def test_loss_and_return_loss_are_of_one_lossless_two_port():
    check = check_stub("1 mm", "56 GBd", dk_eff=4, z_stub="40 ohm", z0="45 ohm")
    assert 10 ** (-check.loss / 10) + 10 ** (-check.return_loss / 10) == pytest.approx(1, abs=1e-12)
    assert np.isfinite(check.return_loss)
