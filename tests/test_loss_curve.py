"""1 dB frequency and greatest loss of stubs: published values, limits, a dense sweep and scikit-rf as references."""

from __future__ import annotations

import numpy as np
import pytest
import skrf
from hypothesis import given, settings
from scipy.constants import c

from stubsi.physics.chain import Chain
from stubsi.physics.loss_curve import TANGENT_AT_1_DB, least_power, one_db_estimate, one_db_frequency
from stubsi.physics.power_curve import chain_inputs, power_curve
from stubsi.physics.reactance import followed, notch, quasi_static
from stubsi.physics.return_path import Posts
from stubsi.physics.solved_barrel import solve
from stubsi.physics.uniform_line import UniformLine, quarter_wave
from tests.stacks import chain, stack
from tests.strategies import loaded_lines, port_impedances, short_solved_stubs

NO_LIMIT = np.array([np.inf])


def line_power(line, z0):
    """Power left behind one uniform line."""
    return power_curve(lambda rows, f: line.input(f), z0)


def chain_of(barrel, path, pitch):
    return Chain.of([(solve(barrel), path)], [pitch])


def one_db_of(stubs, z0=50.0):
    power = power_curve(chain_inputs(stubs), z0)
    return one_db_frequency(
        power, one_db_estimate(*quasi_static(stubs), z0), stubs.highest_frequency(), followed(stubs).jump
    )


def decibels_of(stubs, f, z0=50.0):
    """Loss of the first stub [dB]."""
    return -10 * np.log10(power_curve(chain_inputs(stubs), z0)(np.array([0]), np.atleast_2d(f))[0])


@pytest.mark.parametrize(("z_stub", "share"), [(50.0, 0.506), (30.0, 0.349)])
def test_1_db_frequency_of_the_ideal_stub(z_stub, share):
    """In 50 ohm: tan(theta) = 1.0177 Zs/Z0, so 0.506 f0 for 50 ohm and 0.349 f0 for 30 ohm."""
    line = UniformLine(stub_length=2e-3, dk=4.0, z_stub=z_stub)
    f0 = quarter_wave([2e-3], 4.0)
    found = one_db_frequency(line_power(line, 50.0), 0.4 * f0, NO_LIMIT)
    assert found / f0 == pytest.approx(share, abs=5e-4)
    assert found == pytest.approx(one_db_estimate(f0, z_stub, 50.0), rel=1e-9)


def test_tangent_at_1_db():
    """The loss of a lossless stub is 10 log10(1 + (Z0 tan(theta) / 2 Zs)^2)."""
    assert pytest.approx(1.0177, abs=5e-5) == TANGENT_AT_1_DB
    assert 10 * np.log10(1 + (TANGENT_AT_1_DB / 2) ** 2) == pytest.approx(1.0, rel=1e-12)


@pytest.mark.parametrize("guess", [0.02, 0.5, 1.0])
def test_result_does_not_depend_on_the_estimate(guess):
    line = UniformLine(stub_length=2e-3, dk=4.0, z_stub=40.0)
    f0 = quarter_wave([2e-3], 4.0)
    found = one_db_frequency(line_power(line, 50.0), guess * f0, 4 * f0)
    assert found == pytest.approx(one_db_estimate(f0, 40.0, 50.0), rel=1e-9)


@settings(max_examples=20)
@given(loaded_lines, port_impedances)
def test_loaded_line_against_scikit_rf(line, z0):
    """A line ended by its capacitance, made by scikit-rf, has a loss of 1 dB at the frequency found."""
    f0 = np.atleast_1d(line.notch())
    found = one_db_frequency(line_power(line, z0), 0.5 * f0, f0)
    frequency = skrf.Frequency.from_f(found, unit="Hz")
    media = skrf.media.DefinedGammaZ0(
        frequency, gamma=2j * np.pi * found * np.sqrt(line.dk) / c, z0=line.z_stub, z0_port=z0
    )
    end = media.shunt_capacitor(line.end_capacitance) ** media.open()
    stub = media.shunt(media.line(line.stub_length, "m") ** end)
    assert -20 * np.log10(np.abs(stub.s[0, 1, 0])) == pytest.approx(1.0, abs=1e-6)


@settings(max_examples=8)
@given(short_solved_stubs())
def test_below_the_1_db_frequency_the_loss_is_below_1_db(stub):
    stubs = chain_of(*stub)
    (found,) = one_db_of(stubs)
    highest = stubs.highest_frequency()[0]
    f = np.geomspace(0.02, 1, 300) * min(found, highest)
    loss = decibels_of(stubs, f)
    assert loss.max() <= 1.0 + 1e-6
    if np.isfinite(found):
        assert loss[-1] == pytest.approx(1.0, abs=1e-7)


def test_1_db_frequency_moves_smoothly_where_the_stub_grows():
    """A step of 2 % in the height of a cavity moves it by at most 3 %, and always down."""
    stubs = chain(*(stack(2, h=0.1 * 1.02**step) for step in range(30)))
    steps = np.diff(np.log(one_db_of(stubs)))
    assert np.all(steps < 0)
    assert np.all(steps > np.log(0.97))


def test_1_db_frequency_falls_with_the_impedance_of_the_line():
    stubs = chain(*[stack(4)] * 5)
    found = one_db_of(stubs, np.array([20.0, 40.0, 50.0, 85.0, 200.0]))
    assert np.all(np.diff(found) < 0)
    assert found == pytest.approx([one_db_of(chain(stack(4)), z0)[0] for z0 in (20.0, 40.0, 50.0, 85.0, 200.0)])


def test_1_db_that_is_not_reached_in_the_range_is_infinite():
    stubs = chain(stack(4))
    (found,) = one_db_of(stubs)
    power, estimate = power_curve(chain_inputs(stubs), 50.0), np.array([0.8 * found])
    assert one_db_frequency(power, estimate, np.array([0.99 * found]))[0] == np.inf
    assert one_db_frequency(power, estimate, np.array([1.01 * found]))[0] == pytest.approx(found, rel=1e-9)


def test_stub_without_length_has_none():
    line = UniformLine(stub_length=1e-3, dk=4.0, z_stub=50.0)
    assert np.isnan(one_db_frequency(line_power(line, 50.0), np.array([np.nan]), np.array([1e11])))[0]


def greatest(stubs, up_to, z0=50.0):
    low = 0.2 * one_db_estimate(*quasi_static(stubs), z0)
    power = power_curve(chain_inputs(stubs), z0)
    return -10 * np.log10(least_power(power, low, np.full(len(stubs), up_to), followed(stubs).jump))


@settings(max_examples=6)
@given(short_solved_stubs())
def test_greatest_loss_misses_nothing_of_a_dense_sweep(stub):
    stubs = chain_of(*stub)
    up_to = stubs.highest_frequency()[0]
    for share in (0.2, 1.0):
        loss = decibels_of(stubs, np.geomspace(0.05, 1, 500) * share * up_to)
        assert greatest(stubs, share * up_to)[0] >= loss.max() - 1e-3  # dB; sharp resonances of the cavities


def test_greatest_loss_of_a_radiating_stub_is_the_depth_of_its_notch():
    """Between unbounded planes the notch is shallow and wide, so that a dense sweep shows how deep it is."""
    stubs = chain(stack(4), path=Posts())
    up_to = 1.4 * notch(stubs)[0]
    swept = decibels_of(stubs, np.linspace(0.1, 1, 4000) * up_to).max()
    assert 3 < swept < 15
    assert greatest(stubs, up_to)[0] == pytest.approx(swept, abs=1e-4)


def test_greatest_loss_below_the_notch_is_that_at_the_upper_end():
    stubs = chain(stack(4))
    up_to = 0.8 * notch(stubs)[0]
    assert greatest(stubs, up_to)[0] == pytest.approx(decibels_of(stubs, up_to)[0], rel=1e-12)


def test_greatest_loss_never_falls_again_beyond_the_notch():
    """At twice the notch an open stub is half a wave long and has hardly any loss, but its notch lies below."""
    stubs = chain(stack(4))
    f0 = notch(stubs)[0]
    assert decibels_of(stubs, 1.85 * f0)[0] < 10
    assert greatest(stubs, 1.85 * f0)[0] > 30
