"""First notch of S21 against every dip of a dense sweep, as scipy.signal finds and measures them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scipy.signal import find_peaks

from stubsi.physics.chain import Chain
from stubsi.physics.notch import _first_deep, first_notch
from stubsi.physics.reactance import quasi_static
from stubsi.physics.return_path import Posts
from stubsi.physics.solved_barrel import solve
from stubsi.physics.uniform_line import decibels, shunt_s
from tests.stacks import MM, material, stack

POST = 0.125
"""Radius of a return via [mm]."""
SWEPT = 1500


def random_posts(rng, clearance):
    """One to eight return vias anywhere between the clearance and 3 mm, none touching."""
    places = []
    for _ in range(rng.integers(1, 9)):
        place = rng.uniform(clearance + 0.35, 3) * np.exp(2j * np.pi * rng.random())
        if all(abs(place - other) > 2.4 * POST for other in places):
            places.append(place)
    return Posts(positions=tuple((p.real * MM, p.imag * MM) for p in places), radius=POST * MM)


def random_stub(rng):
    """Short stubs for the most part: it is they that meet the cavities' resonances."""
    a = rng.uniform(0.1, 0.2)
    b = a + rng.uniform(0.15, 0.35)
    df = rng.choice([0, 0.002, 0.005, 0.01, 0.02])
    laminate = material(rng.uniform(3, 4.5), df, frequency=10e9 if df else None)
    return stack(
        int(rng.integers(1, 4)), a, b, h=rng.uniform(0.1, 0.3), of=laminate, end_pad=rng.choice([None, a + 0.1])
    ), b


def sweep(chain):
    """Frequencies [Hz] from a quarter of the static estimate to four times it, and loss there [dB]."""
    f = np.geomspace(0.25, 4, SWEPT) * quasi_static(chain)[0][:, None]
    return f, decibels(shunt_s(*chain.voltage_current(f), 50.0)[1])


@pytest.mark.parametrize("count", [15, pytest.param(300, marks=pytest.mark.slow)])
def test_first_notch_is_the_first_deep_dip_of_a_dense_sweep(count):
    """Dips of 3 dB and 1 dB of prominence count; within 0.1 dB of either it may go both ways."""
    rng = np.random.default_rng(5)
    stubs = [(solve(barrel), random_posts(rng, b)) for barrel, b in (random_stub(rng) for _ in range(count))
             for _ in range(4)]  # fmt: skip
    early = 0
    for first in range(0, len(stubs), 20):
        chain = Chain.of(stubs[first : first + 20])
        for found, f, loss in zip(first_notch(chain).frequency, *sweep(chain), strict=True):
            at = loss[np.argmin(np.abs(f - found))]
            places, dips = find_peaks(loss, height=2.9, prominence=0.9)
            sure = (dips["peak_heights"] > 3.1) & (dips["prominences"] > 1.1)
            near = np.abs(f[places] / found - 1) < 0.01
            assert near.any() or at > loss.max() - 0.1
            assert not np.any(f[places][sure] < 0.99 * found)
            early += bool(at < loss.max() - 1)
    assert early, "no stub with a first dip that is not the deepest: the test would say little"


LOSSES = st.integers(0, 40_000).map(lambda steps: 3e-4 * steps)
"""Losses [dB]. No multiple of the step is a limit, 3.01 dB or 1 dB, so rounding decides nothing."""


@given(st.lists(LOSSES, min_size=1, max_size=40, unique=True))
@example([0.0, 1.6e-187])  # two losses that leave the same power: either place is right
@example([0.0, 4.6e-22])
def test_a_dip_is_deep_and_prominent(loss):
    """What is looked for in a row of samples, against scipy.signal: 3 dB of height and 1 dB of prominence."""
    loss = np.array([-1.0, *loss, -1.0])
    places, _ = find_peaks(loss, height=10 * np.log10(2), prominence=1)
    wanted = places[0] if places.size else loss.argmax()
    power = 10 ** (-loss / 10)
    assert power[_first_deep(power[None])[0]] == power[wanted]
