"""First notch of S21 against every dip of a dense sweep, as scipy.signal finds and measures them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.signal import find_peaks

from stubsi import hole_model, rank, read_board
from stubsi.physics import notch
from stubsi.physics.chain import Chain
from stubsi.physics.notch import _first_deep, first_notch
from stubsi.physics.reactance import quasi_static
from stubsi.physics.return_path import Posts
from stubsi.physics.solved_barrel import solve
from stubsi.physics.uniform_line import decibels, shunt_s
from tests.stacks import MM, material, stack
from tests.strategies import short_solved_stubs

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


@pytest.mark.parametrize("count", [8, pytest.param(300, marks=pytest.mark.slow)])
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


DEMO = Path(__file__).parents[1] / "shared" / "demo_board.toml"


def with_last_prepreg(folder, microns):
    """The demo board, its last prepreg this thick."""
    text = DEMO.read_text(encoding="utf-8")
    drawn = 'thickness = "110 um"'
    place = text.rindex(drawn)
    file = folder / f"{microns}.toml"
    file.write_text(text[:place] + f'thickness = "{microns} um"' + text[place + len(drawn) :], encoding="utf-8")
    return read_board(file)


@pytest.mark.parametrize(
    "thicknesses", [(108, 110, 113), pytest.param((108, 109, 110, 112.5, 113), marks=pytest.mark.slow)], ids=len
)
def test_a_ripple_of_nearly_one_decibel_is_judged_by_its_exact_height(tmp_path, thicknesses):
    """BP_TX0 has two dips of 15 dB at 139 and 147 GHz, and between them a rise of 1.4 to 1.6 dB.

    Samples that miss the turning points by a little see less than 1 dB, and take the second dip. Against the peaks
    that scipy.signal finds on a dense sweep of the stub's scikit-rf network.
    """
    found = []
    frequency = np.linspace(60e9, 200e9, 7001)
    for microns in thicknesses:
        board = with_last_prepreg(tmp_path, microns)
        board = replace(board, nets=[net for net in board.nets if net.reference or net.name == "BP_TX0"])
        row = rank(board)["BP_TX0"]
        network = hole_model(board, row.hole).below.network([f"{f:.0f} Hz" for f in frequency])
        loss = -20 * np.log10(np.abs(network.s[:, 1, 0]))
        places, _ = find_peaks(loss, height=10 * np.log10(2), prominence=1)
        assert row.first_notch_si == pytest.approx(frequency[places[0]], rel=2e-4)
        found.append(row.first_notch_si)
    assert np.all(np.diff(found) < 0)
    assert np.log(found[0] / found[-1]) < 2 * np.log(113 / 108)


def chain_of(stub):
    barrel, path, pitch = stub
    return Chain.of([(solve(barrel), path)], [pitch])


@pytest.mark.slow
@settings(max_examples=12)
@given(short_solved_stubs())
def test_the_first_notch_does_not_depend_on_where_s21_is_sampled(stub):
    check_samples(stub)


@pytest.mark.slow
@settings(max_examples=300)
@given(short_solved_stubs(farthest=8.0))
def test_the_first_notch_of_many_stubs_does_not_depend_on_where_s21_is_sampled(stub):
    check_samples(stub)


def check_samples(stub):
    """The same figure from 70 to 320 samples, and with the search begun lower and ended higher."""
    chain, found = chain_of(stub), []
    for points, least, beyond in ((70, 0.25, 1.3), (113, 0.25, 1.3), (320, 0.25, 1.3), (160, 0.1, 1.3), (130, 0.25, 2)):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(notch, "FIRST_LOOK_POINTS", points)
            patch.setattr(notch, "LEAST", least)
            patch.setattr(notch, "BEYOND", beyond)
            found.append(first_notch(chain).frequency[0])
    assert max(found) == pytest.approx(min(found), rel=2e-4)
