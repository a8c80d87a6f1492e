"""Scattering by round conductors, against fields matched point by point on their surfaces."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import hankel2, jv

from stubsi.physics.hankel import hankel
from stubsi.physics.multipole import SMALL, Conductors, bessel, reflection

BARREL, POST = 0.15e-3, 0.125e-3
PATTERNS = {
    "one": [0.7 + 0.2j],
    "two near": [0.6 + 0.0j, 0.62 + 0.3j],
    "four": [0.8, 0.8j, -0.8, -0.8j],
    "five uneven": [0.6, 0.9j, -0.7 + 0.3j, -0.2 - 0.8j, 1.5 + 1.1j],
}


def matched_reflection(k, barrel, posts, radius, points=24):
    """Standing wave at the barrel from line sources inside every conductor, matched to E_z = 0 on its surface.

    The sources inside the barrel add up to nothing (its order 0 is the driven one); on its surface the rest of the
    field is constant, which is the order 0 asked for times J0(ka).
    """
    turn = np.exp(2j * np.pi * np.arange(points) / points)
    sources = np.concatenate([0.5 * barrel * turn] + [p + 0.5 * radius * turn for p in posts])
    surface = np.concatenate([barrel * turn] + [p + radius * turn for p in posts])
    field = hankel2(0, k * np.abs(surface[:, None] - sources))
    on_barrel = (np.arange(len(surface)) < points).astype(float)
    system = np.block([[field, -on_barrel[:, None]], [on_barrel[None], np.zeros((1, 1))]])
    driven = np.where(on_barrel > 0, 0, hankel2(0, k * np.abs(surface)))
    return np.linalg.lstsq(system, -np.append(driven, 0), rcond=None)[0][-1] / jv(0, k * barrel)


def solved_reflection(k, barrel, posts, radius, order):
    places, radii = np.array([0, *posts], dtype=complex), np.array([barrel] + [radius] * len(posts))
    conductors = Conductors(place=places, radius=radii, order=order)
    return reflection(np.array([k]), conductors)[0] * np.exp(-2j * k * conductors.reach)


@pytest.mark.parametrize("pattern", PATTERNS.values(), ids=PATTERNS.keys())
@pytest.mark.parametrize("k", [30.0, 700.0 - 7.0j, 1500.0 + 20.0j], ids=["slow", "lossy", "decaying"])
def test_every_order_meets_the_matched_field(pattern, k):
    posts = 1e-3 * np.array(pattern)
    expected = matched_reflection(complex(k), BARREL, posts, POST)
    assert solved_reflection(complex(k), BARREL, posts, POST, 6) == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize("pattern", PATTERNS.values(), ids=PATTERNS.keys())
def test_dipoles_bring_the_error_below_one_percent(pattern):
    posts, k = 1e-3 * np.array(pattern), 700.0 - 7.0j
    expected = matched_reflection(k, BARREL, posts, POST)
    error = [abs(solved_reflection(k, BARREL, posts, POST, order) / expected - 1) for order in (0, 1)]
    assert error[1] < 0.01
    assert error[1] < error[0] / 3


def test_odd_images_are_barrels_and_posts_of_opposite_sign():
    """The mirrored half solves the whole plane: the second barrel driven by -1 as one more source on the posts."""
    k, s = 700.0 - 7.0j, 1.0e-3
    half = Conductors(place=np.array([s / 2, 0.9e-3 + 0.5e-3j]), radius=np.array([BARREL, POST]), odd=True, order=6)
    got = reflection(np.array([k]), half)[0] * np.exp(-2j * k * half.reach)

    turn = np.exp(2j * np.pi * np.arange(24) / 24)
    circles = [(s / 2, BARREL), (-s / 2, BARREL), (0.9e-3 + 0.5e-3j, POST), (-0.9e-3 + 0.5e-3j, POST)]
    sources = np.concatenate([c + 0.5 * r * turn for c, r in circles])
    surface = np.concatenate([c + r * turn for c, r in circles])
    field = hankel2(0, k * np.abs(surface[:, None] - sources))
    first, second = np.repeat(np.eye(4)[:2], 24, axis=1)
    system = np.block(
        [[field, -first[:, None], -second[:, None]], [first[None], np.zeros((1, 2))], [second[None], np.zeros((1, 2))]]
    )
    plus, minus = hankel2(0, k * np.abs(surface - s / 2)), hankel2(0, k * np.abs(surface + s / 2))
    driven = np.where(first > 0, 0, plus) - np.where(second > 0, 0, minus)
    mean = np.linalg.lstsq(system, -np.append(driven, [0, 0]), rcond=None)[0][-2:] / jv(0, k * BARREL)
    assert got == pytest.approx(mean[0], rel=1e-5)
    assert mean[1] == pytest.approx(-mean[0], rel=1e-8)


def test_no_wave_grows_with_loss():
    """Scaled functions stay finite where the plain ones overflow: 1e13 Hz in a laminate of df = 0.5."""
    x = np.array([1e3 - 900j, 1e-12 + 0j])
    assert np.all(np.isfinite(bessel(0, x)[0]))
    assert np.all(np.isfinite(hankel(1, x)[0]))


@pytest.mark.parametrize("order", [0, 1, 4])
def test_standing_waves_of_small_arguments_are_bessel_functions(order):
    """The power series up to its last argument, against scipy."""
    x = np.array([1e-9, 1e-3, 0.4 - 0.01j, 1.3 + 0.2j, SMALL - 1e-9, SMALL - 0.1 - 0.3j])
    assert bessel(order, x)[order] == pytest.approx(jv(order, x) * np.exp(-1j * x), rel=1e-13)


def test_scaled_waves_keep_the_wronskian():
    """J1 Y0 - J0 Y1 = 2/(pi x) (Abramowitz and Stegun 9.1.16), H = J - jY; the scale factors cancel."""
    x = np.array([1e-6, 0.3, 5.0 - 0.1j, 80.0 - 40.0j])
    outgoing = hankel(1, x)
    standing = bessel(1, x)
    assert standing[1] * outgoing[0] - standing[0] * outgoing[1] == pytest.approx(-2j / (np.pi * x), rel=2e-9)
