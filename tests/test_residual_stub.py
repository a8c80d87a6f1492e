"""The residual stub as a range: published-style figures, exact moments, and the outcome that a layer is cut."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from stubsi import BoardError, Tolerance, residual_stub

MIL = 25.4e-6


def tolerance(amount, **how):
    return Tolerance.plus_minus(amount, source="for the test", **how)


def ghz(stub):
    return [each / 1e9 for each in stub.notch_si]


def test_ten_mil_plus_minus_three_at_dk_four():
    """Quarter wave c / (4 L sqrt(4)) of 13, 10 and 7 mil: 113.5, 147.5 and 210.8 GHz, -23/+43 %."""
    stub = residual_stub("10 mil", tolerance("3 mil"), dk_eff=4)
    assert ghz(stub) == pytest.approx([113.5, 147.5, 210.8], abs=0.05)
    assert ghz(stub)[1] == pytest.approx(299.792458 / (8 * 10 * 25.4e-3), rel=1e-12)
    assert not stub.may_cut
    assert stub.cut_probability == 0
    assert (stub.length_share, stub.dk_share) == pytest.approx((1, 0), abs=1e-12)
    assert stub.length_si == pytest.approx([7 * MIL, 10 * MIL, 13 * MIL])


def test_a_quarter_of_a_millimetre():
    """0.25 +-0.10 mm: -29/+67 % in notch, as the trade reckons."""
    worst, nominal, best = ghz(residual_stub("0.25 mm", tolerance("0.1 mm"), dk_eff=3.6))
    assert [round(100 * (end / nominal - 1)) for end in (worst, best)] == [-29, 67]


@pytest.mark.parametrize(("aimed", "share"), [("2 mil", 1 / 6), ("1 mil", 1 / 3), ("3 mil", 0.0)])
def test_a_short_residual_stub_may_cut_the_layer_in_use(aimed, share):
    """Uniform over 6 mil: the part of it that lies below zero."""
    stub = residual_stub(aimed, tolerance("3 mil"), dk_eff=4)
    assert stub.may_cut
    assert stub.cut_probability == pytest.approx(share, abs=1e-12)
    assert ghz(stub)[2] == np.inf
    assert np.isnan(stub.length_share)
    assert "may cut the layer in use" in str(stub)
    assert "may cut the layer in use" in stub._repr_html_()
    assert "may cut the layer in use" in repr(stub)


def test_length_dominates():
    """Length 10 mil +-3 mil, Dk +-5 %: 0.99 and 0.006 of the variance, in closed form for two uniforms."""
    stub = residual_stub("10 mil", tolerance("3 mil"), dk_eff=4, dk=tolerance("5 %"))
    assert round(stub.length_share, 2) == 0.99
    assert round(stub.dk_share, 3) == 0.006
    g, g2 = np.log(13 / 7) / 6, 1 / (7 * 13)
    h, h2 = 2 * (np.sqrt(1.05) - np.sqrt(0.95)) / 0.1, np.log(1.05 / 0.95) / 0.1
    total = g2 * h2 - (g * h) ** 2
    assert stub.length_share == pytest.approx((g2 - g**2) * h**2 / total, rel=1e-9)
    assert stub.dk_share == pytest.approx((h2 - h**2) * g**2 / total, rel=1e-9)
    assert stub.length_share + stub.dk_share < 1


@pytest.mark.parametrize("name", ["normal", "censored normal"])
def test_a_cut_is_as_probable_as_scipy_says(name):
    """4 mil +-3 mil with the limits at two sigma: zero lies at -2.67 sigma, beyond the limit of the censored one."""
    stub = residual_stub("4 mil", tolerance("3 mil", distribution=name, sigma=2), dk_eff=4)
    inside = residual_stub("2 mil", tolerance("3 mil", distribution=name, sigma=2), dk_eff=4)
    if name == "normal":
        assert stub.cut_probability == pytest.approx(stats.norm.cdf(-8 / 3), rel=1e-9)
        assert inside.cut_probability == pytest.approx(stats.norm.cdf(-4 / 3), rel=1e-9)
        assert stub.may_cut
    else:
        assert not stub.may_cut
        assert inside.cut_probability == pytest.approx(stats.truncnorm.cdf(-4 / 3, -2, 2), rel=1e-9)


def test_table_and_frame_hold_the_same():
    stub = residual_stub("10 mil", tolerance("3 mil"), dk_eff=4)
    frame = stub.to_frame()
    assert list(frame["first notch [GHz]"]) == pytest.approx(ghz(stub))
    assert list(frame["length [mm]"]) == pytest.approx([0.3302, 0.254, 0.1778])
    assert all(f"{value:.1f}" in str(stub) for value in ghz(stub))


def test_units_that_do_not_apply_are_refused():
    with pytest.raises(BoardError, match=r"depth = .*must be stated as length or percent"):
        residual_stub("10 mil", tolerance(0.1), dk_eff=4)
    with pytest.raises(BoardError, match=r"dk = .*must be stated as number or percent"):
        residual_stub("10 mil", tolerance("3 mil"), dk_eff=4, dk=tolerance("1 um"))
    with pytest.raises(BoardError, match=r"dk: goes down to 0.5, below 1"):
        residual_stub("10 mil", tolerance("3 mil"), dk_eff=1, dk=tolerance(0.5))
