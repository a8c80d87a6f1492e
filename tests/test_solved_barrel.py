"""The solved barrel: each geometry once, the drilled end against full wave and continuous with the depth."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from stubsi.physics.barrel import Barrel, End
from stubsi.physics.reactance import notch
from stubsi.physics.solved_barrel import solve
from tests.stacks import MM, chain, stack


def drilled(depth, cavities=8, h=0.2, bore=0.25):
    """Reference stack without pads, plating cut ``depth`` mm below the top plane's mid-thickness."""
    kept, bored, top = [], [], 0.0
    for level in stack(cavities, h=h).levels:
        above = min(max(depth * MM - top, 0.0), level.thickness)
        if above > 0:
            kept.append(replace(level, thickness=float(above)))
        if above < level.thickness:
            bored.append(replace(level, thickness=float(level.thickness - above)))
        top += level.thickness
    end = End(bore_radius=bore * MM, bored=tuple(bored))
    return Barrel(barrel_radius=0.15 * MM, levels=tuple(kept), end=end)


def test_equal_barrels_are_solved_once():
    assert solve(stack(3)) is solve(stack(3))


@pytest.mark.parametrize(("depth", "full_wave"), [(0.33, 56.48), (0.60, 40.87), (1.02, 26.58)])
def test_drilled_stub(depth, full_wave):
    """Project full-wave reference, plating cut at three depths, ring at 1.0 mm: within 2 %."""
    assert notch(chain(drilled(depth)))[0] == pytest.approx(full_wave * 1e9, rel=0.02)


@pytest.mark.parametrize(("depth", "full_wave"), [(0.33, 56.48), (0.60, 40.87), (1.02, 26.58)])
def test_plating_end_adds_a_little_length(depth, full_wave):
    """Less than 0.06 mm of it at the slope of the notch against depth, more than none."""
    deeper = notch(chain(drilled(depth + 0.02), drilled(depth + 0.06)))
    assert deeper[1] < deeper[0] < full_wave * 1e9


@pytest.mark.parametrize(("cavities", "h"), [(8, 0.2), (5, 0.5)], ids=["low cavities", "tall cavities"])
def test_notch_follows_the_depth_without_steps(cavities, h):
    """From one cavity through a plane into the next: ever lower, no step of more than its slope allows."""
    depths = np.arange(1.4 * (h + 0.03), 2.6 * (h + 0.03), 0.01)
    notches = notch(chain(*(drilled(d, cavities, h) for d in depths)))
    slopes = -np.diff(np.log(notches)) / np.diff(np.log(depths))
    assert np.all(slopes > 0)
    assert max(abs(after - before) for before, after in pairwise(np.log(notches))) < 0.035


def test_planes_far_below_the_cut_do_not_matter():
    barrel = drilled(0.33)
    fewer = replace(barrel, end=replace(barrel.end, bored=barrel.end.bored[:7]))
    assert notch(chain(fewer)) == pytest.approx(notch(chain(barrel)), rel=1e-3)


def test_wider_bore_and_air_raise_the_notch():
    plain = drilled(0.6)
    resin = replace(plain, end=replace(plain.end, bore_dk=3.8))
    order = notch(chain(resin, plain, drilled(0.6, bore=0.35)))
    assert np.all(np.diff(order) > 0)


def test_drilling_raises_the_notch():
    order = notch(chain(stack(8, end_pad=None), drilled(1.6), drilled(1.0), drilled(0.4)))
    assert np.all(np.diff(order) > 0)
