"""The notch: zeros against a dense scan, tier-1 limit, monotonic in every length, depth, complex resonance."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stubsi.physics.barrel import Barrel, End
from stubsi.physics.chain import Chain
from stubsi.physics.reactance import notch, quasi_static
from stubsi.physics.return_path import OPEN, Ring, equal_posts
from stubsi.physics.solved_barrel import solve
from stubsi.physics.uniform_line import quarter_wave
from tests.chain_figures import resonance, s21_minimum
from tests.stacks import MM, RING, chain, fill, material, plane, stack


def zeros_by_scan(stub, top):
    """Upward zeros of Im Z_in on a dense grid; a change of sign through infinity is a pole."""
    f = np.linspace(1e9, top, 40001)
    x = (1 / stub.input_admittance(f)[0]).imag
    up = (x[:-1] < 0) & (x[1:] >= 0) & (np.abs(x[:-1]) < 20) & (np.abs(x[1:]) < 20)
    return f[1:][up]


@pytest.mark.parametrize(
    "stub",
    [
        chain(stack(8)),
        chain(stack(2, plane_pad=0.25)),
        chain(stack(3, h=0.1), path=Ring(radius=1.25 * MM)),
        chain(stack(8, plane_pad=0.25), path=Ring(radius=2.0 * MM)),
    ],
    ids=["long", "two cavities", "low cavities", "far ring"],
)
def test_orders_are_the_zeros_of_a_dense_scan(stub):
    """Close to a cavity's resonance poles and zeros crowd; every order is the next one up."""
    wanted = zeros_by_scan(stub, 1.02 * notch(stub, 5)[0])
    found = [notch(stub, order)[0] for order in (1, 3, 5)]
    assert found == pytest.approx(wanted[:3], rel=1e-4)


@given(cavities=st.integers(1, 12), h=st.floats(0.08, 0.5), ring=st.floats(0.7, 3.0), dk=st.floats(2.8, 4.8))
@settings(max_examples=10)
def test_notch_is_a_short(cavities, h, ring, dk):
    stub = chain(stack(cavities, h=h, of=material(dk)), path=Ring(radius=ring * MM))
    f = notch(stub)
    low, high = (1 / stub.input_admittance(f * step)[0, 0] for step in (1 - 1e-9, 1 + 1e-9))
    assert low.imag < 0 < high.imag
    assert max(-low.imag, high.imag) < 0.01


def test_worked_case_of_the_explicit_formula():
    """a .15, b .40, h .2, t .03 mm, 8 cavities, ring 1.0: L' 0.3555 nH/mm, C' 0.1994 pF/mm, 14.32 GHz (derived)."""
    frequency, impedance = quasi_static(chain(stack(8)))
    assert frequency[0] == pytest.approx(14.32e9, rel=0.01)
    assert impedance[0] == pytest.approx(42.23, rel=0.06)


def test_ring_at_the_clearance_is_the_quarter_wave():
    """Plain coax without end: n c/(4 L sqrt(Dk)), n = 1, 3, 5, but for what the end adds in length."""
    stub = chain(stack(10, t=0.18, h=0.02, outer=0.001, end_pad=None), path=Ring(radius=0.4 * MM))
    length = (10 * 0.2 + 0.09 + 0.001) * MM
    for order in (1, 3, 5):
        assert 0.95 < notch(stub, order)[0] / quarter_wave(length, 3.8, order) < 1.0


@pytest.mark.parametrize(
    ("lower", "higher"),
    [
        ((stack(5), RING), (stack(4), RING)),
        ((stack(of=material(4.2)), RING), (stack(), RING)),
        ((stack(of=material(4.2, dk_z=3.8)), RING), (stack(), RING)),
        ((stack(a=0.2), RING), (stack(), RING)),
        ((stack(plane_pad=0.25), RING), (stack(), RING)),
        ((stack(plane_pad=0.3), RING), (stack(plane_pad=0.25), RING)),
        ((stack(end_pad=0.35), RING), (stack(), RING)),
        ((stack(), RING), (stack(b=0.5), RING)),
        ((stack(), RING), (stack(), Ring(radius=0.8 * MM))),
        ((stack(), Ring(radius=1.5 * MM)), (stack(), RING)),
        ((stack(), equal_posts(2, 0.8 * MM, 0.125 * MM)), (stack(), equal_posts(4, 0.8 * MM, 0.125 * MM))),
    ],
    ids=[
        "length",
        "dk",
        "dk in plane",
        "barrel",
        "plane pad",
        "pad width",
        "end pad",
        "clearance",
        "near ring",
        "far ring",
        "posts",
    ],
)
def test_what_lowers_the_notch(lower, higher):
    (low,), (high,) = (notch(chain(barrel, path=path)) for barrel, path in (lower, higher))
    assert low < 0.995 * high


def test_laminate_loss_sets_the_depth_not_the_frequency():
    """tan delta 0.02: f0 within 0.05 %, S21 = 2 Z_s alpha L/Z0 with alpha L = (pi/4) tan delta at a quarter wave."""
    lossless, lossy = chain(stack(8)), chain(stack(8, of=material(df=0.02)))
    assert notch(lossy) == pytest.approx(notch(lossless), rel=5e-4)
    _, depth = s21_minimum(lossy, 50.0)
    resistance = (1 / lossy.input_admittance(notch(lossy)[:, None])).real[0, 0]
    assert depth[0] == pytest.approx(2 * resistance / (2 * resistance + 50.0), rel=0.01)
    assert depth[0] == pytest.approx(2 * 42.2 * np.pi / 4 * 0.02 / 50.0, rel=0.25)


def test_minimum_of_s21_is_the_least_of_a_dense_scan():
    stub = chain(stack(8), path=OPEN)
    f = np.linspace(0.5, 1.1, 2001) * notch(stub)
    size = np.abs(2 / (2 + 50.0 * stub.input_admittance(f)[0]))
    (frequency,), (depth,) = s21_minimum(stub, 50.0)
    assert frequency == pytest.approx(f[size.argmin()], rel=5e-4)
    assert depth == pytest.approx(size.min(), rel=1e-6)


def test_lossless_minimum_is_the_notch():
    frequency, depth = s21_minimum(chain(stack(8)))
    assert frequency == pytest.approx(notch(chain(stack(8))), rel=1e-6)
    assert depth[0] < 1e-5


def test_resonance_without_loss_is_the_notch():
    found = resonance(chain(stack(8)))
    assert found.real == pytest.approx(notch(chain(stack(8))), rel=1e-9)
    assert found.imag == pytest.approx(0.0, abs=1e3)


@pytest.mark.parametrize("df", [0.005, 0.02])
def test_laminate_loss_alone_gives_its_quality(df):
    """Q = 1/tan delta for a line all in one laminate; the air at the end holds a little of the energy without loss."""
    (found,) = resonance(chain(stack(8, of=material(df=df))))
    assert found.real / (2 * found.imag) == pytest.approx(1 / df, rel=0.1)


def test_many_stubs_in_one_search():
    """Different return paths and lengths at once; each is what it is alone."""
    barrels = [stack(n) for n in (2, 5, 8)]
    paths = [RING, OPEN, equal_posts(3, 0.9 * MM, 0.125 * MM)]
    pairs = [(solve(b), p) for b in barrels for p in paths]
    together = notch(Chain.of(pairs * 3))
    alone = [notch(Chain.of([pair]))[0] for pair in pairs]
    assert together == pytest.approx(alone * 3, rel=1e-7)


def test_stub_without_length_has_no_notch():
    """Plating that ends inside the first plane: a capacitance and nothing in front of it."""
    none = Barrel(barrel_radius=0.15 * MM, levels=(plane(0.01),), end=End(bore_radius=0.25 * MM, bored=(fill(),)))
    stub = chain(none, stack(4))
    assert np.isnan(notch(stub)).tolist() == [True, False]
    assert np.isnan(s21_minimum(stub)[0]).tolist() == [True, False]


def test_damped_cavity_leaves_the_notch_of_a_short_stub():
    """Loss wipes out the narrow zero at the cavity's own resonance; what is left lies far above it."""
    levels, below = (plane(0.015), fill(0.05)), (fill(0.15), plane(), fill())
    end = End(bore_radius=0.25 * MM, bored=below)
    path = Ring(radius=1.6 * MM)
    lossy = tuple(replace(level, material=material(df=0.02)) for level in levels)
    (sharp,), (damped,) = (
        notch(chain(Barrel(barrel_radius=0.15 * MM, levels=stub, end=end), path=path)) for stub in (levels, lossy)
    )
    cavity = 2.405 * 2.998e8 / (2 * np.pi * 1.6 * MM * np.sqrt(3.8))
    assert sharp < 1.3 * cavity
    assert damped > 2 * cavity


def test_far_from_any_return_path_there_may_be_no_zero():
    """A short stub between unbounded planes radiates before it resonates: no zero, but a minimum of S21."""
    end = End(bore_radius=0.3 * MM, bored=(fill(0.1), plane(clearance=0.3), fill()))
    stub = chain(Barrel(barrel_radius=0.2 * MM, levels=(fill(0.5),), end=end), path=OPEN)
    f = np.linspace(1e9, 150e9, 300)
    assert np.all((1 / stub.input_admittance(f)).imag < 0)
    assert np.isnan(notch(stub)[0])
    (frequency,), (size,) = s21_minimum(stub)
    assert 10e9 < frequency < 100e9
    assert 0.1 < size < 0.9
