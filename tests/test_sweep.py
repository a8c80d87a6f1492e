"""Long sweeps: polynomials answer as the chain itself does, close to resonances too, and cost less."""

from __future__ import annotations

import time

import numpy as np
import pytest
import skrf
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.polynomial import Polynomial

from stubsi import hole_model
from stubsi.physics.return_path import OPEN, Posts, Ring, equal_posts
from stubsi.physics.sweep import NODES, SHORT, AbcdSweep, InputSweep, Sweep
from stubsi.physics.uniform_line import shunt_s
from tests import margin_boards as mb
from tests.stacks import MM, RING, chain, material, stack, through

F = np.linspace(10e6, 110e9, 2001)
COPPER = 5.8e7
LOSSY = material(df=0.02, frequency=1e9)
CAGE = equal_posts(16, 1.2 * MM, 0.15 * MM)
"""Sixteen posts that leave gaps of 0.17 mm: a cavity that resonates sharply, at 49 GHz."""
PATHS = {
    "open": OPEN,
    "ring": RING,
    "cage": CAGE,
    "uneven": Posts(positions=((0.8 * MM, 0.1 * MM), (-0.9 * MM, 0.7 * MM)), radius=0.1 * MM),
}
every_path = pytest.mark.parametrize("path", PATHS.values(), ids=PATHS.keys())


@every_path
@pytest.mark.parametrize("laminate", [material(), LOSSY], ids=["lossless", "lossy"])
def test_a_swept_stub_is_the_stub(path, laminate):
    """S11 and S21 to 1e-8, whatever resonates; admittance where it is small to 1e-6 of itself."""
    stub = chain(stack(6, of=laminate, conductivity=COPPER), path=path)
    swept, exact = InputSweep(stub)(F), [side[0] for side in stub.voltage_current(F[None])]
    assert np.array(shunt_s(*swept, 50.0)) == pytest.approx(np.array(shunt_s(*exact, 50.0)), abs=1e-8)
    low = F < 2e9
    assert (swept[1] / swept[0])[low] == pytest.approx((exact[1] / exact[0])[low], rel=1e-6)


@every_path
def test_a_swept_length_of_barrel_is_that_length(path):
    length = chain(through(5, of=LOSSY, conductivity=COPPER), path=path)
    swept, exact = AbcdSweep(length)(F), length.abcd(F)[0]
    assert skrf.network.a2s(swept) == pytest.approx(skrf.network.a2s(exact), abs=1e-7)


@settings(max_examples=20)
@given(low=st.floats(1.0, 1e9), octaves=st.floats(0.01, 12.0), points=st.integers(SHORT, 400), data=st.data())
def test_any_range_in_any_order(low, octaves, points, data):
    """From 1 Hz up, on frequencies evenly spread or not, in the order asked for."""
    stub = chain(stack(4, of=LOSSY), path=OPEN)
    f = low * np.exp2(octaves * np.linspace(0, 1, points) ** data.draw(st.sampled_from([0.3, 1.0, 3.0])))
    f = f[data.draw(st.sampled_from([slice(None), slice(None, None, -1), np.arange(points) ** 2 % points]))]
    swept, exact = InputSweep(stub)(f), [side[0] for side in stub.voltage_current(f[None])]
    assert np.array(shunt_s(*swept, 50.0)) == pytest.approx(np.array(shunt_s(*exact, 50.0)), abs=1e-8)


class Counted:
    """A function of frequency that counts how often it is evaluated."""

    def __init__(self, function):
        self.function, self.places = function, 0

    def __call__(self, frequency):
        self.places += len(frequency)
        return np.atleast_2d(self.function(frequency)).astype(complex)


def test_a_smooth_function_is_evaluated_at_few_places_once():
    counted = Counted(lambda f: np.cos(f / 7e9) + 1j * np.sqrt(f / 1e9))
    sweep = Sweep(counted)
    first = sweep(F)
    assert first[0] == pytest.approx(counted.function(F), abs=1e-8)
    assert counted.places <= 16 * NODES
    once = counted.places
    assert sweep(F[::2])[0] == pytest.approx(first[0, ::2], abs=1e-12)
    assert counted.places == once


def test_a_sharp_resonance_is_evaluated_where_it_is():
    """Quality 1e5, narrower than the frequencies lie apart: they are evaluated one by one around it."""
    resonance = Polynomial([1, 1j / 1e5, -1])
    counted = Counted(lambda f: 1 / resonance(f / 49.001e9))
    assert Sweep(counted)(F)[0] == pytest.approx(counted.function(F), rel=1e-6)
    assert counted.places <= len(F)


def test_few_frequencies_are_evaluated_as_they_are():
    counted = Counted(np.sin)
    assert Sweep(counted)(F[: SHORT - 1])[0].tolist() == np.sin(F[: SHORT - 1]).tolist()
    assert counted.places == SHORT - 1


def least_time(work, repeat):
    took = []
    for _ in range(repeat):
        start = time.process_time()
        work()
        took.append(time.process_time() - start)
    return min(took)


@pytest.mark.slow
def test_a_network_of_a_solved_hole_costs_a_hundred_bare_networks():
    """2001 points, stubs above and below: at most 100 networks of as many points made from a ready array."""
    net, vias = mb.net("N", ("S1", "S2"), place=0), mb.ground(1, mb.AWAY)
    net = net.replaced(holes=[net.holes[0].replaced(traces="opposite")])
    hole = hole_model(mb.board(net, vias, places=0, layers=mb.stackup(df=0.01, at="1 GHz")), net.holes[0].name)
    assert len(hole.stubs) == 2
    frequency = skrf.Frequency(0.01, 40, 2001, unit="GHz")
    network = hole.network(frequency)
    bare = least_time(lambda: skrf.Network(frequency=frequency, s=network.s, z0=50), 50)
    assert least_time(lambda: hole.network(frequency), 20) <= 100 * bare


def test_ring_radius_sets_a_resonance_that_is_followed():
    """Right on both sides of the resonance of a lossless cavity, k R = 2.405 (first zero of J_0), its pole."""
    at = 2.404826 * 299792458 / (2 * np.pi * 1.0 * MM * np.sqrt(3.8))
    stub = chain(stack(3), path=Ring(radius=1.0 * MM))
    f = at * (1 + np.linspace(-0.02, 0.02, 500))
    swept, exact = InputSweep(stub)(f), [side[0] for side in stub.voltage_current(f[None])]
    assert np.array(shunt_s(*swept, 50.0)) == pytest.approx(np.array(shunt_s(*exact, 50.0)), abs=1e-6)
