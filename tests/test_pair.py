"""Odd mode of a pair: slots and inductance against fields matched point by point, limits, full-wave resonances."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.constants import epsilon_0, mu_0
from scipy.sparse import coo_array, diags_array
from scipy.sparse.linalg import cg

from stubsi.errors import ValidityError
from stubsi.physics.chain import Chain
from stubsi.physics.pair import end_coupling, equivalent_clearance
from stubsi.physics.return_path import OPEN, Posts, Ring
from stubsi.physics.solved_barrel import solve
from tests.chain_figures import odd_series_impedance, resonance, single_series_impedance
from tests.closed_forms import odd_flux_factor, odd_ring
from tests.fullwave import pair_barrel, pair_return_path, read

MM = 1e-3
A, B, S = 0.15 * MM, 0.40 * MM, 1.0 * MM
EPS = 3.8 - 0.076j
INLINE = Posts(positions=((1.5 * MM, 0), (-1.5 * MM, 0)), radius=0.125 * MM)
FOUR = Posts(positions=tuple((x * MM, y * MM) for x in (0.5, -0.5) for y in (0.8, -0.8)), radius=0.125 * MM)
UNEVEN = Posts(
    positions=tuple((x * u * MM, y * MM) for u in (1, -1) for x, y in ((0.3, 0.7), (1.4, -0.2), (0.8, -0.9))),
    radius=0.1 * MM,
)
PATTERNS = {"none": OPEN, "inline": INLINE, "four": FOUR, "uneven": UNEVEN}
every_pattern = pytest.mark.parametrize("path", PATTERNS.values(), ids=PATTERNS.keys())


def circle(centre, radius, points):
    return centre + radius * np.exp(2j * np.pi * np.arange(points) / points)


def odd_logarithm(at, sources):
    """Potential at ``at`` of unit line charges at ``sources`` and their images of opposite sign at -x."""
    return np.log(np.abs(at[:, None] + sources.conj()) / np.abs(at[:, None] - sources))


def matched_flux_factor(a, pitch, path, points=32):
    """Potential per charge of a barrel among earthed posts and odd images, line charges matched on all surfaces.

    The magnetic problem is the same with the flux lines for equipotentials.
    """
    posts = [complex(x, y) for x, y in path.positions if x > 0]
    sources = np.concatenate(
        [circle(pitch / 2, 0.5 * a, points)] + [circle(p, 0.5 * path.radius, points) for p in posts]
    )
    surface = np.concatenate([circle(pitch / 2, a, points)] + [circle(p, path.radius, points) for p in posts])
    volts = (np.arange(len(surface)) < points).astype(float)
    charge = np.linalg.lstsq(odd_logarithm(surface, sources), volts, rcond=None)[0]
    return 1 / charge[:points].sum()


@every_pattern
@pytest.mark.parametrize("pitch", [0.8 * MM, 1.0 * MM, 1.2 * MM])
def test_flux_factor_meets_the_matched_field(path, pitch):
    assert odd_flux_factor(A, pitch, path) == pytest.approx(matched_flux_factor(A, pitch, path), rel=0.004)


@pytest.mark.parametrize("ratio", [2.1, 2.5, 4.0, 20.0])
def test_flux_factor_of_two_bare_barrels_is_exact(ratio):
    """Two round wires: arcosh(s/2a) (bipolar coordinates)."""
    assert odd_flux_factor(A, A * ratio, OPEN) == pytest.approx(
        matched_flux_factor(A, A * ratio, OPEN, points=96), rel=1e-4
    )


@every_pattern
def test_low_frequency_impedance_is_the_static_inductance(path):
    """Two independent ways: cylindrical waves with Hankel functions, line charges with logarithms."""
    f = 1e6
    factor = odd_series_impedance(f, 3.8, A, B, pitch=S, return_path=path) / (1j * mu_0 * f)
    assert factor == pytest.approx(odd_flux_factor(A, S, path), rel=0.003)


def test_return_posts_take_inductance_away():
    bare = odd_flux_factor(A, S, OPEN)
    near = [
        odd_flux_factor(A, S, Posts(positions=((x, 0), (-x, 0)), radius=0.1 * MM)) for x in (1 * MM, 2 * MM, 40 * MM)
    ]
    assert near[0] < near[1] < near[2] < bare
    assert near[2] == pytest.approx(bare, rel=1e-3)


@given(scale=st.floats(0.2, 5.0))
def test_flux_factor_is_a_matter_of_shape(scale):
    larger = Posts(positions=tuple((scale * x, scale * y) for x, y in UNEVEN.positions), radius=scale * UNEVEN.radius)
    assert odd_flux_factor(scale * A, scale * S, larger) == pytest.approx(odd_flux_factor(A, S, UNEVEN), rel=1e-9)


@pytest.mark.parametrize("pitch", [1.5, 2.0, 2.5, 3.0, 4.0, 8.0])
@pytest.mark.parametrize("barrel", [0.15, 0.25, 0.375])
def test_slot_acts_as_its_equivalent_round_clearance(pitch, barrel):
    """Odd potential in a slot, line charges outside it and in the barrel matched on both; 0.6 % in ln(b/a).

    In half-widths of the slot; half of it, straight to x = pitch/2 and closed by an arc, with images at -x.
    """
    straight = np.linspace(0, pitch / 2, 60, endpoint=False) + 0.5 * pitch / 120
    arc = pitch / 2 + np.exp(1j * np.linspace(-np.pi / 2, np.pi / 2, 120))
    slot = np.concatenate([straight + 1j, straight - 1j, arc])
    outside = np.concatenate([straight[::2] + 1.2j, straight[::2] - 1.2j, pitch / 2 + 1.2 * (arc[::2] - pitch / 2)])
    surface = np.concatenate([circle(pitch / 2, barrel, 48), slot])
    sources = np.concatenate([circle(pitch / 2, 0.5 * barrel, 24), outside])
    volts = (np.arange(len(surface)) < 48).astype(float)
    charge = np.linalg.lstsq(odd_logarithm(surface, sources), volts, rcond=1e-12)[0]
    logarithm = 1 / charge[:24].sum()
    assert np.log(equivalent_clearance(pitch, 1.0) / barrel) == pytest.approx(logarithm, rel=0.006)


def test_fringe_field_widens_a_slot():
    """The equivalent clearance of the grown slot, less the growth every round clearance has by itself."""
    shift = np.array([0.0, 0.05 * MM, 0.1 * MM])
    grown = equivalent_clearance(S, B, shift) + shift
    assert np.all(np.diff(grown) > 0)
    assert grown == pytest.approx(equivalent_clearance(S, B + shift), rel=1e-12)


@pytest.mark.parametrize("f", [5e9, 20e9])
def test_far_apart_barrels_are_single_ones(f):
    """In a laminate that lets no wave across, each has the open plane pair to itself."""
    eps = 3.8 * (1 - 0.5j)
    pair = odd_series_impedance(f, eps, A, B, pitch=300 * MM, return_path=OPEN)
    assert pair == pytest.approx(single_series_impedance(f, eps, A, B, OPEN), rel=1e-4)


def test_ring_stands_in_for_posts_near():
    """At low frequency the ring has the pair's inductance; it never radiates."""
    ring = odd_ring(A, S, FOUR)
    stand_in = single_series_impedance([1e6, 17e9], 3.8, A, B, ring)
    pair = odd_series_impedance([1e6, 17e9], 3.8, A, B, pitch=S, return_path=FOUR)
    assert stand_in.imag == pytest.approx(pair.imag, rel=0.02)
    assert abs(stand_in[1].real) < 1e-9 * abs(stand_in[1]) < pair[1].real


@every_pattern
@given(f=st.floats(1e6, 100e9), df=st.floats(0.0, 0.5))
def test_a_pair_only_takes_power(path, f, df):
    impedance = odd_series_impedance(f, 3.8 * (1 - 1j * df), A, B, pitch=S, return_path=path)
    assert impedance.real >= -1e-9 * abs(impedance)


@every_pattern
def test_finite_at_every_frequency(path):
    f = np.concatenate([[0.0], np.geomspace(1e-3, 1e13, 400)])
    impedance = odd_series_impedance(f[:, None], [3.8, EPS, 3.8 - 1.9j], A, B, pitch=S, return_path=path)
    assert np.all(np.isfinite(impedance))
    assert np.all(impedance[0] == 0)


@every_pattern
@given(scale=st.floats(0.2, 5.0), f=st.floats(1e9, 60e9))
def test_maxwell_scales_with_length(path, scale, f):
    larger = Posts(positions=tuple((scale * x, scale * y) for x, y in path.positions), radius=scale * path.radius)
    scaled = odd_series_impedance(f / scale, EPS, scale * A, scale * B, pitch=scale * S, return_path=larger)
    expected = odd_series_impedance(f, EPS, A, B, pitch=S, return_path=path)
    assert scaled * scale == pytest.approx(expected, rel=1e-8)


def test_turning_the_pair_upside_down_changes_nothing():
    f = np.array([1e9, 20e9, 60e9])
    flipped = Posts(positions=tuple((x, -y) for x, y in UNEVEN.positions), radius=UNEVEN.radius)
    got = odd_series_impedance(f, EPS, A, B, pitch=S, return_path=flipped)
    assert got == pytest.approx(odd_series_impedance(f, EPS, A, B, pitch=S, return_path=UNEVEN), rel=1e-9)


def test_post_on_the_midplane_carries_nothing():
    """Its place is at zero potential anyway, but for the dipole of its thickness, which is left out."""
    f = 15e9
    added = Posts(positions=(*INLINE.positions, (0.0, 2 * MM)), radius=INLINE.radius)
    got = odd_series_impedance(f, EPS, A, B, pitch=S, return_path=added)
    assert got == odd_series_impedance(f, EPS, A, B, pitch=S, return_path=INLINE)


@pytest.mark.parametrize(
    ("pitch", "path", "named"),
    [
        (0.25 * MM, OPEN, "pitch"),
        (S, Ring(radius=2 * MM), "Ring"),
        (S, Posts(positions=((0.7 * MM, 0), (-0.7 * MM, 0)), radius=0.1 * MM), "touch a barrel"),
        (S, Posts(positions=((0.9 * MM, 0.2 * MM), (-0.9 * MM, 0.2 * MM)), radius=0.1 * MM), "clearance"),
        (S, Posts(positions=((1.5 * MM, 0),), radius=0.1 * MM), "mirrored"),
        (S, Posts(positions=((0.05 * MM, 1 * MM), (-0.05 * MM, 1 * MM)), radius=0.1 * MM), "touch each other"),
        (S, Posts(positions=((0.05 * MM, 1 * MM), (-0.05 * MM, 3 * MM)), radius=0.1 * MM), "midplane"),
    ],
    ids=[
        "barrels touch",
        "ring",
        "post on barrel",
        "post in clearance",
        "one-sided",
        "posts touch",
        "off-centre on midplane",
    ],
)
def test_pairs_outside_the_model_are_refused(pitch, path, named):
    with pytest.raises(ValidityError, match=named):
        odd_series_impedance(10e9, EPS, A, B, pitch=pitch, return_path=path)


def box_capacitance(pitch, pad, clearance, height, dk, *, odd, step, room):
    """Charge per volt of a barrel's end in a box of cubes: half a cavity, last plane, laminate, pad, air; x, y >= 0.

    In the odd mode the wall x = 0 lies midway to the other barrel, else it is as far as the others. Everything in
    units of the pitch; what staircases do to the charge cancels in the difference of the two.
    """
    x = np.arange(0 if odd else pitch / 2 - room, pitch / 2 + room, step)
    y, below = np.arange(0, room, step), np.arange(0, height + room, step)
    z = np.concatenate([-step * np.arange(round(0.1 / step), 0, -1), below])
    plane, surface = np.argmin(np.abs(z)), np.argmin(np.abs(z - height))
    r = np.hypot(x[:, None] - pitch / 2, y)
    volts = np.full((x.size, y.size, z.size), np.nan)
    volts[[0, -1]] = volts[:, -1] = volts[:, :, -1] = 0
    volts[r >= clearance, plane] = 0
    volts[r <= 0.1, : surface + 1] = 1
    volts[r <= pad, surface] = 1

    layer = np.where(np.arange(z.size - 1) < surface, dk, 1.0)
    level = np.convolve(layer, [0.5, 0.5])
    half = np.where(y == 0, 0.5, 1.0)[:, None]
    number = np.arange(volts.size).reshape(volts.shape)
    along = [
        (number[:-1], number[1:], half * level),
        (number[:, :-1], number[:, 1:], level),
        (number[:, :, :-1], number[:, :, 1:], half * layer),
    ]
    start, stop, weight = (
        np.concatenate(p)
        for p in zip(*((u.ravel(), v.ravel(), np.broadcast_to(w, u.shape).ravel()) for u, v, w in along), strict=True)
    )
    links = coo_array((weight, (start, stop)), shape=(volts.size,) * 2)
    links = (links + links.T).tocsr()
    laplace = (diags_array(links.sum(axis=1)) - links).tocsr()
    v = volts.ravel()
    free, held = np.flatnonzero(np.isnan(v)), np.flatnonzero(~np.isnan(v))
    system = laplace[free][:, free]
    v[free] = cg(system, -laplace[free][:, held] @ v[held], rtol=1e-7, M=diags_array(1 / system.diagonal()))[0]
    return 2 * step * v @ (laplace @ v)


@pytest.mark.parametrize(
    ("pad", "height", "dk"), [(0.2, 0.2, 3.8), (0.3, 0.2, 3.8), (0.3, 0.1, 3.8), (0.3, 0.2, 2.2)], ids=str
)
def test_ends_of_a_pair_add_to_each_other(pad, height, dk):
    """Three-dimensional electrostatics in a box, with and without the zero-potential wall midway; 40 %."""
    box = {"pad": pad, "clearance": 0.4, "height": height, "dk": dk, "step": 0.05, "room": 1.2}
    added = box_capacitance(1.0, odd=True, **box) - box_capacitance(1.0, odd=False, **box)
    assert end_coupling(1.0, pad, 0.4, height, dk) / epsilon_0 == pytest.approx(added, rel=0.4)


REFERENCE = read(Path(__file__).parent.parent / "shared/fullwave/pairs.csv")


@pytest.fixture(scope="module")
def reference_stubs():
    return [(solve(pair_barrel(row)), pair_return_path(row)) for row in REFERENCE]


def deviation(found):
    """Relative deviation of resonances [Hz] from the reference (three-dimensional finite elements)."""
    return np.real(found) / [1e9 * float(row["f0_3d_GHz"]) for row in REFERENCE] - 1


def test_resonances_of_reference_pairs(reference_stubs):
    """Project full-wave reference, good to 0.1-0.2 %: within 0.8 % with return vias, 2 % without."""
    found = resonance(Chain.of(reference_stubs, [float(row["pitch_mm"]) * MM for row in REFERENCE]))
    limit = np.where([row["return_vias"] == "none" for row in REFERENCE], 0.02, 0.008)
    assert np.all(np.abs(deviation(found)) < limit)
    quality = found.real / (2 * found.imag)
    assert quality == pytest.approx([float(row["Q_3d"]) for row in REFERENCE], rel=0.15)


def test_closed_ring_on_reference_pairs(reference_stubs):
    """The ring of equal inductance, high as it does not radiate: 1.2 % with return vias near, 2 % without."""
    rings = [
        (solved, odd_ring(solved.barrel.barrel_radius, float(row["pitch_mm"]) * MM, path))
        for (solved, path), row in zip(reference_stubs, REFERENCE, strict=True)
    ]
    limit = np.where([row["return_vias"] == "none" for row in REFERENCE], 0.02, 0.012)
    assert np.all(np.abs(deviation(resonance(Chain.of(rings)))) < limit)


def test_static_inductance_alone_is_too_high():
    """Without dispersion the reactance of the cavity is understated, the more the higher the frequency."""
    factor = [
        odd_series_impedance(f, 3.8, A, B, pitch=S, return_path=FOUR).imag / (mu_0 * f) for f in (1e9, 10e9, 20e9)
    ]
    assert odd_flux_factor(A, S, FOUR) * 0.998 < factor[0] < factor[1] < factor[2]


@given(width=st.floats(0.05, 2.0), pitch=st.floats(0.1, 3.0), shift=st.floats(0.0, 3.0))
def test_a_slot_acts_no_narrower_than_the_circle_that_fits_between_its_edge_and_the_odd_wall(width, pitch, shift):
    """More room lowers a capacitance, whatever the fringe field; without it the formula itself obeys this."""
    found = equivalent_clearance(pitch, width, shift)
    assert found >= min(width, pitch / 2)
    assert found <= equivalent_clearance(pitch, width) * 1.2 + shift
