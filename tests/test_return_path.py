"""Return paths: what is refused, and the interval of notches when nobody knows where the posts are."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stubsi.errors import ValidityError
from stubsi.physics.barrel import Barrel, End, Level, Material
from stubsi.physics.chain import Chain
from stubsi.physics.return_path import OPEN, Posts, ReturnPaths, Ring, check_single, equal_posts, unknown_return_paths
from stubsi.physics.solved_barrel import solve
from tests.chain_figures import s21_minimum
from tests.closed_forms import lowest_notch, ring_of_posts

MM = 1e-3
LAMINATE = Material(dk_in_plane=3.8, dk_z=3.8)


def stub(cavities):
    plane = Level(kind="plane", thickness=0.03 * MM, material=LAMINATE, clearance_radius=0.4 * MM)
    gap = Level(kind="dielectric", thickness=0.2 * MM, material=LAMINATE)
    below = Level(kind="dielectric", thickness=0.1 * MM, material=LAMINATE)
    return solve(
        Barrel(
            barrel_radius=0.15 * MM,
            levels=(plane, *(gap, plane) * cavities, below),
            end=End(pad_radius=0.25 * MM, pad_thickness=0.03 * MM),
        )
    )


def notches(solved, paths):
    return s21_minimum(Chain.of([(solved, path) for path in paths]))[0]


def random_posts(rng, nearest, farthest, radius):
    """One to eight posts anywhere in the ring that do not touch."""
    while True:
        count = rng.integers(1, 9)
        z = rng.uniform(nearest, farthest, count) * np.exp(2j * np.pi * rng.uniform(size=count))
        if np.all(np.abs(z[:, None] - z) + 10 * np.eye(count) > 2 * radius):
            return Posts(positions=tuple((w.real, w.imag) for w in z), radius=radius)


@pytest.mark.parametrize(("cavities", "farthest"), [(8, 2.0 * MM), (4, 1.2 * MM)], ids=str)
def test_scanned_patterns_enclose_random_ones(cavities, farthest):
    """No pattern of posts in the same ring reaches out of the scanned interval by more than 1 %."""
    solved, nearest, radius = stub(cavities), 0.8 * MM, 0.125 * MM
    rng = np.random.default_rng(20)
    found = notches(solved, [random_posts(rng, nearest, farthest, radius) for _ in range(12)])
    scanned = notches(solved, unknown_return_paths(nearest, farthest, radius))
    assert found.min() > 0.99 * scanned.min()
    assert found.max() < 1.01 * scanned.max()

    quick = lowest_notch(notches(solved, [OPEN])[0], 3.8, farthest)
    assert 0.95 * scanned.min() < quick <= scanned.min()
    assert notches(solved, [Ring(radius=nearest - radius)])[0] > scanned.max()


def test_posts_can_pull_the_notch_below_the_open_planes():
    """Ring or open do not bracket the truth: a few posts at a distance lower the notch under the open pair's."""
    one, none = notches(stub(8), [equal_posts(1, 1.6 * MM, 0.125 * MM), OPEN])
    assert one < 0.97 * none


@given(nearest=st.floats(0.3 * MM, 2 * MM), span=st.floats(0.0, 2 * MM), radius=st.floats(0.05 * MM, 0.2 * MM))
def test_scanned_patterns_lie_in_the_ring_and_do_not_touch(nearest, span, radius):
    patterns = unknown_return_paths(nearest, nearest + span, radius)
    assert patterns[0] == OPEN
    for pattern in patterns[1:]:
        distance = np.hypot(*np.transpose(pattern.positions))
        assert np.all((distance > nearest * (1 - 1e-9)) & (distance < (nearest + span) * (1 + 1e-9)))
        check_single(0.01 * MM, 0.02 * MM, pattern)


def test_quick_lower_end_is_not_for_distant_posts():
    with pytest.raises(ValidityError, match="scan"):
        lowest_notch(20e9, 3.8, 3 * MM)


@given(n=st.integers(4, 40), distance=st.floats(0.5 * MM, 3 * MM))
def test_posts_that_fill_their_circle_are_a_ring(n, distance):
    """With n r_v = R the logarithm of the posts' own fields vanishes."""
    assert ring_of_posts(n, distance, distance / n).radius == pytest.approx(distance, rel=1e-12)


def test_three_posts_are_no_ring():
    with pytest.raises(ValidityError, match="3 posts"):
        ring_of_posts(3, 1 * MM, 0.1 * MM)


def test_a_cavity_taller_than_the_room_beside_the_clearance_is_refused():
    ring = Ring(radius=0.6 * MM)
    check_single(0.15 * MM, 0.4 * MM, ring, height=0.19 * MM)
    with pytest.raises(ValidityError, match=r"distance between the planes 0\.00021 m"):
        check_single(0.15 * MM, 0.4 * MM, ring, height=0.21 * MM)


def test_pairs_keep_the_posts_on_the_barrels_side():
    posts = Posts(positions=((1 * MM, 0), (-1 * MM, 0), (0, 2 * MM)), radius=0.1 * MM)
    both = ReturnPaths.of([posts, posts], [np.nan, 0.8 * MM])
    assert both.count.tolist() == [3, 1]
    assert both.posts[1, 0] == 1 * MM
