"""Permittivity over frequency: the wideband Debye model against published values, scikit-rf and causality."""

from __future__ import annotations

import numpy as np
import pytest
import skrf
from hypothesis import given
from hypothesis import strategies as st
from skrf.media import DefinedAEpTandZ0

from stubsi import StubsiError, ValidityError
from stubsi.physics.dielectric import F_HIGH, F_LOW, debye_logarithm, debye_logarithm_slope, debye_terms, permittivity
from tests.strategies import dfs, dks, physical

references = physical(1e7, 1e11)


def loss_tangent(eps):
    return -np.imag(eps) / np.real(eps)


# Dk 4.2, loss tangent 0.02 at 1 GHz, 1 kHz to 1 THz; Djordjevic et al., IEEE Trans. EMC 43(4), 2001, 662-667
@pytest.mark.parametrize(
    ("frequency", "dk", "df"),
    [(100e6, 4.3232117, 0.0194410), (1e9, 4.2, 0.02), (10e9, 4.0767910, 0.0204863), (20e9, 4.0397086, 0.0205420),
     (40e9, 4.0026502, 0.0204650)],
    ids=["100 MHz", "1 GHz", "10 GHz", "20 GHz", "40 GHz"],
)  # fmt: skip
def test_wideband_debye_as_printed(frequency, dk, df):
    eps = permittivity(frequency, 4.2, 0.02, 1e9)
    assert eps.real == pytest.approx(dk, abs=5e-8)
    assert loss_tangent(eps) == pytest.approx(df, abs=5e-8)


def test_slope_per_decade():
    """-1.46587 Dk tan(delta) per decade in the middle of the band; -0.1232 for 4.2 / 0.02 (derived)."""
    decade = permittivity(3.1623e9, 4.2, 0.02, 1e9).real - permittivity(3.1623e8, 4.2, 0.02, 1e9).real
    assert decade == pytest.approx(-0.1232, abs=2e-4)
    assert decade / (4.2 * 0.02) == pytest.approx(-1.46587, rel=1e-3)


@given(dks, dfs, references)
def test_same_as_scikit_rf(dk, df, at):
    hz = np.array([1e6, 1e8, 3e9, 2.5e10, 1.1e11])
    grid = skrf.Frequency.from_f(hz, unit="Hz")
    medium = DefinedAEpTandZ0(frequency=grid, ep_r=dk, tanD=df, f_ep=at, z0=50, model="djordjevicsvensson")
    np.testing.assert_allclose(permittivity(hz, dk, df, at), medium.ep_r_f, rtol=1e-12)


@given(dks, dfs, references)
def test_holds_where_it_is_given(dk, df, at):
    eps = permittivity(at, dk, df, at)
    assert eps == pytest.approx(dk * (1 - 1j * df), rel=1e-12)


@given(dks, dfs, references)
def test_falls_with_frequency_and_never_gains(dk, df, at):
    eps = permittivity(np.logspace(3, 12, 60), dk, df, at)
    assert np.all(np.diff(eps.real) < 0)
    assert np.all(eps.imag < 0)


@given(physical(1e2, 1e13))
def test_slope_of_the_logarithm(f):
    """Against a central difference in ln f."""
    rise = debye_logarithm(f * 1.0001).real - debye_logarithm(f / 1.0001).real
    assert debye_logarithm_slope(f) == pytest.approx(rise / (2 * np.log(1.0001)), rel=1e-5, abs=1e-9)


@given(dks, dfs, references, physical(1e3, 1e12))
def test_terms_make_the_permittivity(dk, df, at, f):
    """Constant and strength, and no strength where dk and df do not depend on frequency."""
    constant, strength = debye_terms(dk, df, at)
    assert constant + strength * debye_logarithm(f) == pytest.approx(permittivity(f, dk, df, at), rel=1e-12)
    assert debye_terms(dk, df) == (dk * (1 - 1j * df), 0.0)


@given(dks, dfs, references, physical(1e8, 1e11))
def test_causal(dk, df, at, f):
    """Real and imaginary part belong to one another: a circle in the right half plane of s holds no pole (Cauchy)."""
    s = f * (0.5 + 0.4 * np.exp(2j * np.pi * np.arange(64) / 64))
    mean = np.mean(permittivity(s / 1j, dk, df, at))
    assert mean == pytest.approx(permittivity(0.5 * f / 1j, dk, df, at), rel=1e-9)


@given(dks, dfs, st.sampled_from([None, np.nan]))
def test_constant_where_the_frequency_is_unknown(dk, df, at):
    eps = permittivity(np.array([0.0, 1e9, 1e11]), dk, df, at)
    np.testing.assert_allclose(eps, dk * (1 - 1j * df), rtol=1e-15)


def test_lossless_is_constant():
    np.testing.assert_allclose(permittivity(np.array([0.0, 1e9, 1e11]), 4.2, 0.0, 1e9), 4.2, rtol=1e-15)


def test_finite_at_dc():
    static = permittivity(0.0, 4.2, 0.02, 1e9)
    assert 4.2 < static.real < 6
    assert static.imag == 0


def test_shapes_broadcast_and_known_mixes_with_unknown():
    eps = permittivity(np.ones((3, 1)) * 1e10, [4.2, 4.2], 0.02, [1e9, np.nan])
    assert eps.shape == (3, 2)
    assert eps[0, 0].real == pytest.approx(4.0767910)
    assert eps[0, 1].real == pytest.approx(4.2)


@pytest.mark.parametrize("at", [1.0, 0.99 * F_LOW, 1.01 * F_HIGH, 0.0, -1e9, [1e9, 1.0]], ids=str)
def test_refused_outside_its_band(at):
    with pytest.raises(ValidityError, match=r"must lie between 1 kHz and 1 THz, or be left out"):
        permittivity(1e9, 4.2, 0.02, at)


@pytest.mark.parametrize("df", [0.25, 0.5, 0.9])
def test_a_loss_tangent_that_turns_it_negative_is_refused(df):
    with pytest.raises(ValidityError, match=f"df = {df}: so high a loss tangent"):
        permittivity(1e9, 4.2, df, 1e9)
    assert issubclass(ValidityError, StubsiError)
