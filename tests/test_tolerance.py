"""Tolerances: their distributions, the published classes, and which values of a board they are for."""

from __future__ import annotations

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm, truncnorm, uniform

from stubsi import BoardError, ThicknessClass, Tolerance, Tolerances, UnitError, notch_frequency
from stubsi.tolerance.built_board import centred_width

MIL = 2.54e-5
TEST = "for the test"
PROBABILITIES = np.array([0.001, 0.1, 0.5, 0.8, 0.999])


@given(st.floats(0.5, 6))
def test_a_censored_normal_is_that_of_scipy(sigma):
    """Moments and quantiles against scipy's truncated normal, an independent oracle, to 1e-9."""
    tolerance = Tolerance.plus_minus("1 mm", distribution="censored normal", sigma=sigma, source=TEST)
    oracle = truncnorm(-sigma, sigma, scale=1 / sigma)
    assert tolerance.variance == pytest.approx(oracle.var(), rel=1e-7)
    np.testing.assert_allclose(tolerance.quantile(PROBABILITIES), oracle.ppf(PROBABILITIES), rtol=1e-9, atol=1e-12)


@given(st.floats(0.5, 6))
def test_a_wide_censored_normal_is_uniform_and_a_narrow_one_normal(sigma):
    """Limits: variance between that of the uniform (1/3) and that of the normal, and near either at its end."""
    censored = Tolerance.plus_minus("1 mm", distribution="censored normal", sigma=sigma, source=TEST).variance
    assert censored < min(1 / 3, sigma**-2)
    assert Tolerance.plus_minus("1 mm", distribution="censored normal", sigma=0.1, source=TEST).variance == (
        pytest.approx(1 / 3, rel=2e-3)
    )
    assert Tolerance.plus_minus("1 mm", distribution="censored normal", sigma=6, source=TEST).variance == (
        pytest.approx(1 / 36, rel=1e-6)
    )


def test_uniform_and_normal_are_those_of_scipy():
    flat = Tolerance.plus_minus("10 %", source=TEST)
    assert flat.variance == uniform(-1, 2).var()
    np.testing.assert_allclose(flat.quantile(PROBABILITIES), uniform(-1, 2).ppf(PROBABILITIES), rtol=1e-12)
    bell = Tolerance.plus_minus("10 %", distribution="normal", sigma=3, source=TEST)
    np.testing.assert_allclose(bell.quantile(PROBABILITIES), norm(0, 1 / 3).ppf(PROBABILITIES), rtol=1e-12, atol=1e-15)


def test_limits_are_absolute_relative_or_one_sided():
    assert Tolerance.plus_minus("10 %", source=TEST).limits(2e-3) == pytest.approx((1.8e-3, 2.2e-3), rel=1e-12)
    assert Tolerance.plus_minus("0.1 mm", source=TEST).limits(2e-3) == pytest.approx((1.9e-3, 2.1e-3), rel=1e-12)
    assert Tolerance.plus_minus(0.05, source=TEST).limits(4.0) == pytest.approx((3.95, 4.05), rel=1e-12)
    one_sided = Tolerance(plus="0.2 mm", minus="0 mm", source=TEST)
    assert one_sided.value(1e-3, one_sided.nominal_t) == pytest.approx(1e-3, rel=1e-12)
    assert one_sided.limits(1e-3) == pytest.approx((1e-3, 1.2e-3), rel=1e-12)
    uneven = Tolerance(plus="3 mil", minus="1 mil", source=TEST)
    assert uneven.value(10 * MIL, uneven.nominal_t) == pytest.approx(10 * MIL, rel=1e-12)
    assert Tolerance.plus_minus(pint.Quantity(3, "thou"), source=TEST) == Tolerance.plus_minus("3 mil", source=TEST)


def test_a_residual_stub_of_10_mil_with_3_mil_of_depth_tolerance():
    """Quarter wave at Dk 4: 113.5, 147.5, 210.8 GHz. Worked out by hand from c / (4 L sqrt(Dk))."""
    shortest, longest = Tolerance.plus_minus("3 mil", source=TEST).limits(10 * MIL)
    notches = [notch_frequency(f"{length * 1e3:.9g} mm", 4).m_as("GHz") for length in (longest, 10 * MIL, shortest)]
    assert [round(notch, 1) for notch in notches] == [113.5, 147.5, 210.8]


@pytest.mark.parametrize(
    ("name", "mils", "amount"),
    [
        ("IPC-4101 B", 4.0, 0.7), ("IPC-4101 B", 6, 1.0), ("IPC-4101 B", 7.5, 1.5), ("IPC-4101 B", 10, 1.5),
        ("IPC-4101 B", 14, 2.0), ("IPC-4101 B", 28, 2.5), ("IPC-4101 B", 31, 4.0), ("IPC-4101 B", 40, 4.0),
    ],
)  # fmt: skip
def test_class_b(name, mils, amount):
    """IPC-4101, 3.8.4.2, class B, in mil, as listed on a laminate maker's page. A core of 4 mil: 17.5 %."""
    low, high = ThicknessClass(name=name).tolerance(mils * MIL).limits(mils * MIL)
    assert (high - low) / 2 == pytest.approx(amount * MIL, rel=1e-9)


@pytest.mark.parametrize(
    ("mm", "amount"), [(0.4, 0.05), (0.6, 0.064), (0.8, 0.1), (1.6, 0.13), (2.0, 0.18), (3.2, 0.23)]
)
def test_class_l(mm, amount):
    """IPC-4101, 3.8.4.2, class L, in mm, as listed on a laminate maker's page."""
    low, high = ThicknessClass(name="IPC-4101 L").tolerance(mm * 1e-3).limits(mm * 1e-3)
    assert (high - low) / 2 == pytest.approx(amount * 1e-3, rel=1e-9)


def test_a_class_lists_what_was_read_and_no_more():
    assert ThicknessClass(name="IPC-4101 B").tolerance(0.1e-3).plus.size == pytest.approx(0.7 * MIL, rel=1e-9)
    with pytest.raises(BoardError, match=r"lists no laminate of 0\.127 mm; listed are .*a Tolerance of its own"):
        ThicknessClass(name="IPC-4101 B").tolerance(5 * MIL)
    with pytest.raises(BoardError, match="thickness class name"):
        ThicknessClass(name="IPC-4101 Z")
    assert "the standard itself was not read" in ThicknessClass(name="IPC-4101 L").source


@pytest.mark.parametrize(
    ("arguments", "error", "text"),
    [
        ({"plus": "1 mm", "minus": "10 %"}, BoardError, "state both in the same unit"),
        ({"plus": "0 mm", "minus": "0 mm"}, BoardError, "what has no tolerance is exact"),
        ({"plus": "-1 mm", "minus": "1 mm"}, UnitError, "not negative"),
        ({"plus": "100 %", "minus": "1 %"}, BoardError, "below 100 %"),
        ({"plus": "0,1 mm", "minus": "1 mm"}, UnitError, "comma"),
        ({"plus": "nan mm", "minus": "1 mm"}, UnitError, "plus"),
        ({"plus": "1 GHz", "minus": "1 mm"}, UnitError, "plus"),
        ({"plus": "1 mm", "minus": "1 mm", "distribution": "normal"}, BoardError, "sigma is missing for"),
        ({"plus": "1 mm", "minus": "1 mm", "sigma": 3}, BoardError, "sigma does not apply to"),
        ({"plus": "1 mm", "minus": "1 mm", "distribution": "bell"}, BoardError, "distribution"),
        ({"plus": "1 mm", "minus": "1 mm", "source": " "}, BoardError, "source"),
    ],
)
def test_a_tolerance_that_says_nothing_clear_is_refused(arguments, error, text):
    with pytest.raises(error, match=text):
        Tolerance(**{"source": TEST, **arguments})


def test_tolerances_take_the_units_that_apply():
    with pytest.raises(BoardError, match="must be stated as number or percent"):
        Tolerances(dk=Tolerance.plus_minus("0.1 mm", source=TEST))
    with pytest.raises(BoardError, match="must be stated as length"):
        Tolerances(registration=Tolerance(plus="10 %", minus="0 %", source=TEST))
    with pytest.raises(BoardError, match="a distance, which is never negative"):
        Tolerances(registration=Tolerance.plus_minus("5 mil", source=TEST))


def test_what_has_no_tolerance_is_listed_as_exact():
    tolerances = Tolerances(dk={"core": Tolerance.plus_minus("5 %", source=TEST)})
    assert "drill" in tolerances.exact
    assert "dk of other materials" in tolerances.exact
    assert "exact, for want of a tolerance: dielectric thickness, board thickness, copper" in str(tolerances)


@given(st.floats(1e-4, 4e-4), st.floats(1.2, 5), st.floats(0.01, 0.95))
def test_an_eccentric_barrel_counts_as_one_in_a_narrower_clearance(drill, wider, part):
    """Against bipolar coordinates: asinh(a / r) - asinh(a / R), with a half the distance of the foci."""
    width = drill * wider
    r, big = drill / 2, width / 2
    offset = part * (big - r)
    foci = np.sqrt(((big**2 - r**2 - offset**2) / (2 * offset)) ** 2 - r**2)
    expected = np.arcsinh(foci / r) - np.arcsinh(foci / big)
    assert np.log(centred_width(drill, width, offset) / drill) == pytest.approx(expected, rel=1e-6)
    assert drill < centred_width(drill, width, offset) < width
    assert centred_width(drill, width, 0.0) == width


def test_a_barrel_that_touches_its_plane_is_refused():
    with pytest.raises(BoardError, match="touches the plane"):
        centred_width(0.3e-3, 0.6e-3, 0.15e-3)
