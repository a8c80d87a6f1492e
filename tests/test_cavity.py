"""Series impedance of a cavity: static limits, an independent radial solution, resonances, conservation, scaling."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.constants import c as light_speed
from scipy.constants import mu_0
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from scipy.special import hankel2, j0, jv, y0, yv

from stubsi.errors import ValidityError
from stubsi.physics.cavity import (
    axial_decay,
    axial_share,
    between_planes,
    cavity_columns,
    outer_field,
    return_conductors,
    series_inductance,
    wavenumber,
)
from stubsi.physics.return_path import OPEN, Posts, ReturnPaths, Ring, equal_posts
from tests.chain_figures import single_series_impedance
from tests.closed_forms import ring_of_posts

A, B, R = 0.15e-3, 0.40e-3, 1.0e-3
EPS = 3.8 - 0.076j
RING = Ring(radius=R)
RETURN_PATHS = {
    "ring": RING,
    "open": OPEN,
    "one post": equal_posts(1, R, 0.125e-3),
    "four posts": equal_posts(4, R, 0.125e-3),
    "uneven posts": Posts(positions=((0.8e-3, 0.1e-3), (-0.3e-3, 1.0e-3), (-1.6e-3, -0.2e-3)), radius=0.1e-3),
}
every_return_path = pytest.mark.parametrize("path", RETURN_PATHS.values(), ids=RETURN_PATHS.keys())

barrel = st.floats(0.05e-3, 0.4e-3)
ratio = st.floats(1.1, 6.0)
frequency = st.floats(1e6, 100e9)


def reactance_factor(frequency, eps, path, a=A, b=B):
    """Series impedance over that of an inductance mu0/(2 pi) per height."""
    return single_series_impedance(frequency, eps, a, b, path) / (1j * mu_0 * frequency)


@given(a=barrel, clearance=ratio, ring=ratio, dk=st.floats(1.0, 12.0))
def test_low_frequency_is_the_coaxial_inductance(a, clearance, ring, dk):
    """mu0 ln(R/a)/(2 pi), whatever the clearance: H = I/(2 pi r) holds everywhere."""
    b = a * clearance
    got = reactance_factor(1e6, dk, Ring(radius=b * ring), a, b)
    assert got == pytest.approx(np.log(clearance * ring), rel=1e-5)


@given(a=barrel, clearance=ratio, f=frequency)
def test_ring_at_the_clearance_is_a_coaxial_line(a, clearance, f):
    """With no room beyond the clearance the field is TEM at any frequency."""
    b = a * clearance
    assert reactance_factor(f, EPS, Ring(radius=b), a, b) == pytest.approx(np.log(clearance), rel=1e-9)


def test_no_outer_voltage_is_a_coaxial_line():
    """Where the space between clearance and ring resonates, e(b) = 0 and the clearance sees a wall: finite, TEM."""
    k = brentq(lambda k: j0(k * B) * y0(k * R) - y0(k * B) * j0(k * R), 4000, 6500)
    f = k * light_speed / (2 * np.pi)
    assert reactance_factor(f, 1.0, RING) == pytest.approx(np.log(B / A), rel=1e-9)


@pytest.mark.parametrize(
    ("wall", "root"),
    [(1.2, "15.7014"), (1.5, "6.2702"), (2.0, "3.1230"), (3.0, "1.5485"), (4.0, "1.0244")],
    ids=lambda v: f"{v}",
)
def test_annular_resonance_needs_no_drive(wall, root):
    """J0(x) Y0(lx) = Y0(x) J0(lx): first roots x = ka as tabled by Jahnke and Emde (from memory), to the last digit.

    There barrel and ring carry a field of their own, and the impedance passes through zero.
    """
    half_digit = 0.5 * 10.0 ** -len(root.split(".")[1])
    k = (float(root) + np.array([-half_digit, half_digit])) / A
    f = k * light_speed / (2 * np.pi)
    below, above = single_series_impedance(f, 1.0, A, A * (1 + wall) / 2, Ring(radius=wall * A)).imag
    assert below * above < 0


@pytest.mark.parametrize("kr", [0.3, 1.0, 1.7, 3.0])
@pytest.mark.parametrize("b", [0.2e-3, 0.4e-3, 0.9e-3])
def test_radial_equations_solved_step_by_step(kr, b):
    """Maxwell's equations of the cavity as an initial value problem in r: no Bessel function, no formula.

    dE/dr = j w mu H - v/(r ln(b/a)) within the clearance (the voltage difference v per height of its TEM field),
    d(rH)/dr = j w eps r E, E = 0 on the barrel and on the ring. In a drilled tip Z' = v / (2 pi a H(a)). Where the
    axial field has built up, Z' = v / I, I the mean of 2 pi r H over ln r within the clearance.
    """
    eps, f = 1 - 0.02j, kr / R * light_speed / (2 * np.pi)
    k, wave_impedance = kr / R * np.sqrt(eps), mu_0 * light_speed / np.sqrt(eps)

    def slopes(r, y, drive):
        field, current, _ = y  # the current is r H times the wave impedance; then its integral over ln r
        return [1j * k * current / r + drive / (r * np.log(b / A)), 1j * k * r * field, current / r]

    def across(start, drive):
        inner = solve_ivp(slopes, (A, b), start, args=(drive,), rtol=1e-10, atol=1e-14)
        outer = solve_ivp(slopes, (b, R), inner.y[:, -1], args=(0.0,), rtol=1e-10, atol=1e-14)
        return outer.y[0, -1], inner.y[2, -1] / np.log(b / A)

    (free, free_mean), (driven, driven_mean) = across([0j, 1 + 0j, 0j], 0.0), across([0j, 0j, 0j], -1.0)
    current = -driven / free
    tip, cavity = (
        wave_impedance / (2 * np.pi * current),
        wave_impedance / (2 * np.pi * (driven_mean + current * free_mean)),
    )
    assert single_series_impedance(f, eps, A, b, RING, share=np.nan) == pytest.approx(tip, rel=1e-6)
    assert single_series_impedance(f, eps, A, b, RING, share=1.0) == pytest.approx(cavity, rel=1e-6)


@every_return_path
@given(f=frequency, share=st.sampled_from([0.0, 1.0]))
def test_no_axial_field_and_all_of_it_are_two_closed_forms(path, f, share):
    """eta = 0: Z_i + 1/Y_r. eta = 1: Z_i/{1 - c e/[b ln(b/a) (c'e - c e')]}. With the Bessel functions of scipy."""
    k = np.atleast_1d(wavenumber(f, EPS))
    outer = outer_field(k[None], return_conductors(A, ReturnPaths.of([path])))
    back = outer.standing[0] * np.exp(-2j * k * outer.reach[0])
    e = outer.outgoing[0] * hankel2(0, k * B) + back * jv(0, k * B)
    e_slope = -k * (outer.outgoing[0] * hankel2(1, k * B) + back * jv(1, k * B))
    c = jv(0, k * B) * yv(0, k * A) - yv(0, k * B) * jv(0, k * A)
    c_slope = -k * (jv(1, k * B) * yv(0, k * A) - yv(1, k * B) * jv(0, k * A))
    log = np.log(B / A)
    expected = log - e / (B * e_slope) if share == 0 else log / (1 - c * e / (B * log * (c_slope * e - c * e_slope)))
    got = single_series_impedance(f, EPS, A, B, path, share=share) / (1j * mu_0 * f)
    assert got == pytest.approx(expected, rel=1e-9 if share else 1e-12)


@given(a=barrel, clearance=ratio)
def test_an_axial_field_decays_within_the_gap(a, clearance):
    """The root of J_0(ga) Y_0(gb) - Y_0(ga) J_0(gb) lies a little below pi/(b - a), and between those of its limits."""
    b = a * clearance
    g = axial_decay(a, b)
    assert abs(j0(g * a) * y0(g * b) - y0(g * a) * j0(g * b)) < 1e-10
    assert 0.85 * np.pi < g * (b - a) < np.pi


@pytest.mark.parametrize(
    ("wall", "root"), [(1.2, "15.7014"), (1.5, "6.2702"), (2.0, "3.1230"), (3.0, "1.5485"), (4.0, "1.0244")]
)
def test_the_decay_has_the_tabled_roots(wall, root):
    """First roots x = ga as tabled by Jahnke and Emde (from memory), to the last digit."""
    half_digit = 0.5 * 10.0 ** -len(root.split(".")[1])
    assert axial_decay(A, wall * A) * A == pytest.approx(float(root), abs=half_digit)


@given(top=st.floats(0.0, 5.0), high=st.floats(1e-3, 5.0), rest=st.floats(0.0, 5.0))
def test_the_axial_share_is_a_mean_over_the_half_cell(top, high, rest):
    """Against numerical integration; from 0 for a stub far shorter than the gap to 1 far from both of its ends."""
    length = top + high + rest
    z = np.linspace(top, top + high, 2001)
    expected = np.trapezoid(1 - (np.exp(-z) + np.exp(-(length - z))) / 2, z) / high
    share = float(axial_share(1.0, top, top + high, length))
    assert share == pytest.approx(expected, abs=1e-6)
    assert 0 <= share <= 1


def test_thin_barrel_between_open_planes():
    """A filament's wave has reactance as from a return at 1.123/k and resistance w mu0/4 per height.

    Small argument of the Hankel function, Abramowitz and Stegun 9.1.12-13: 1.123 = 2 exp(-gamma).
    """
    f, eps, a, b = 1e9, 3.8, 0.01e-3, 0.02e-3
    k = float(wavenumber(f, eps).real)
    impedance = single_series_impedance(f, eps, a, b, OPEN)
    assert impedance.real == pytest.approx(2 * np.pi * f * mu_0 / 4, rel=1e-3)
    assert impedance.imag == pytest.approx(mu_0 * f * np.log(2 * np.exp(-np.euler_gamma) / (k * a)), rel=1e-3)


def test_lossy_laminate_hides_a_far_ring():
    """A wave lost on its way to the ring and back leaves the open pair's impedance."""
    eps = 3.8 * (1 - 0.5j)
    far = single_series_impedance(30e9, eps, A, B, Ring(radius=40e-3))
    assert far == pytest.approx(single_series_impedance(30e9, eps, A, B, OPEN), rel=1e-6)


@every_return_path
@given(f=frequency, df=st.floats(0.0, 0.5), dk=st.floats(1.0, 12.0))
def test_a_cavity_only_takes_power(path, f, df, dk):
    impedance = single_series_impedance(f, dk * (1 - 1j * df), A, B, path)
    assert impedance.real >= -1e-9 * abs(impedance)


@given(f=frequency, a=barrel, clearance=ratio, ring=ratio)
def test_a_lossless_ring_takes_none(f, a, clearance, ring):
    impedance = single_series_impedance(f, 3.8, a, a * clearance, Ring(radius=a * clearance * ring))
    assert abs(impedance.real) <= 1e-9 * abs(impedance)


@every_return_path
def test_finite_at_every_frequency(path):
    f = np.concatenate([[0.0], np.geomspace(1e-3, 1e13, 400)])
    impedance = single_series_impedance(f[:, None], [3.8, EPS, 3.8 - 1.9j], A, B, path)
    assert np.all(np.isfinite(impedance))
    assert np.all(impedance[0] == 0)


@every_return_path
@given(scale=st.floats(0.2, 5.0), f=st.floats(1e9, 60e9))
def test_maxwell_scales_with_length(path, scale, f):
    """Everything twice as large at half the frequency: the impedance per height halves."""
    if isinstance(path, Ring):
        larger = Ring(radius=scale * path.radius)
    else:
        larger = Posts(positions=tuple((scale * x, scale * y) for x, y in path.positions), radius=scale * path.radius)
    scaled = single_series_impedance(f / scale, EPS, scale * A, scale * B, larger)
    assert scaled * scale == pytest.approx(single_series_impedance(f, EPS, A, B, path), rel=1e-8)


@every_return_path
def test_permittivity_acts_as_frequency(path):
    """Four times dk is twice the frequency at half the impedance."""
    f = np.array([1e9, 15e9, 40e9])
    slow = single_series_impedance(f, 4 * EPS, A, B, path)
    assert slow == pytest.approx(single_series_impedance(2 * f, EPS, A, B, path) / 2, rel=1e-12)


@given(turn=st.floats(0.0, 2 * np.pi), f=frequency)
def test_turning_the_posts_changes_nothing(turn, f):
    posts = RETURN_PATHS["uneven posts"]
    turned = np.array([complex(*xy) for xy in posts.positions]) * np.exp(1j * turn)
    other = Posts(positions=tuple((z.real, z.imag) for z in turned), radius=posts.radius)
    assert single_series_impedance(f, EPS, A, B, other) == pytest.approx(
        single_series_impedance(f, EPS, A, B, posts), rel=1e-8
    )


def test_many_posts_become_a_ring():
    """Posts with n r_v = R stand in for a ring of their radius, ever better."""
    f = 15e9
    ring = single_series_impedance(f, EPS, A, B, RING)
    error = [abs(single_series_impedance(f, EPS, A, B, equal_posts(n, R, R / n)) / ring - 1) for n in (8, 16, 32, 64)]
    assert error[0] > error[1] > error[2] > error[3]
    assert error[3] < 0.01


@pytest.mark.parametrize("count", [4, 6, 8, 12])
def test_thin_posts_have_the_inductance_of_their_ring(count):
    """R_eff = R (R/(n r_v))^(1/n), for posts so thin that a line charge is all they carry; 2 % (derived)."""
    posts = equal_posts(count, R, 0.02e-3)
    expected = np.log(ring_of_posts(count, R, 0.02e-3).radius / A)
    assert reactance_factor(1e7, 3.8, posts) == pytest.approx(expected, rel=0.02)


def test_posts_let_power_out_the_fewer_they_are():
    f = 20e9
    resistance = [single_series_impedance(f, 3.8, A, B, equal_posts(n, R, 0.1e-3)).real for n in (4, 6, 8, 12, 24)]
    assert np.all(np.diff(resistance) < 0)


def test_wider_posts_bring_the_return_nearer():
    reactance = [single_series_impedance(10e9, EPS, A, B, equal_posts(4, R, r)).imag for r in (0.05e-3, 0.1e-3, 0.2e-3)]
    assert np.all(np.diff(reactance) < 0)


def test_many_stubs_at_once_agree_with_one_by_one():
    """Return paths of every kind in one array, each stub at its own frequency, two clearances each."""
    paths = [*RETURN_PATHS.values(), equal_posts(4, 1.3e-3, 0.1e-3)]
    f = np.linspace(5e9, 30e9, len(paths))[:, None]
    clearance = np.array([0.35e-3, 0.40e-3])
    k = wavenumber(f, EPS)
    columns = cavity_columns(k, A, clearance, outer_field(k, return_conductors(A, ReturnPaths.of(paths))))
    together = 1j * mu_0 * f * series_inductance(columns, 1.0)
    for row, path in enumerate(paths):
        alone = single_series_impedance(f[row], EPS, A, clearance, path)
        assert together[row] == pytest.approx(alone, rel=1e-10)


def test_decaying_oscillation_is_the_analytic_continuation():
    """Z' of complex frequency: its derivative does not depend on direction (Cauchy and Riemann)."""
    f, step = 15e9 + 0.5e9j, 1e6
    for path in RETURN_PATHS.values():
        real, imaginary = (
            (single_series_impedance(f + s, 3.8, A, B, path) - single_series_impedance(f - s, 3.8, A, B, path))
            / (2 * s)
            for s in (step, 1j * step)
        )
        assert real == pytest.approx(imaginary, rel=1e-5)


@pytest.mark.parametrize(
    ("path", "named"),
    [
        (Ring(radius=0.3e-3), "0.0003 m"),
        (Posts(positions=((0.45e-3, 0.0),), radius=0.1e-3), "0.00035 m"),
        (Posts(positions=((1e-3, 0.0), (1.1e-3, 0.0)), radius=0.1e-3), "touch"),
        (Posts(positions=((1e-3, 0.0),)), "radius above 0"),
    ],
    ids=["ring in clearance", "post in clearance", "posts overlap", "no radius"],
)
def test_impossible_return_paths_are_refused(path, named):
    with pytest.raises(ValidityError, match=named):
        single_series_impedance(10e9, EPS, A, B, path)


def test_barrel_must_be_inside_its_clearance():
    with pytest.raises(ValidityError, match="barrel_radius"):
        single_series_impedance(10e9, EPS, A, A, RING)


# --- planes of copper -------------------------------------------------------------------------------------------------


@given(f=st.floats(0.5e9, 100e9), height=st.floats(0.05e-3, 1e-3), dk=st.floats(1, 12))
def test_a_wave_between_copper_planes_decays_like_that_of_a_parallel_plate_line(f, height, dk):
    """alpha = R_s/(eta h) Np/m (Pozar, Microwave Engineering, table of parallel-plate lines; from memory)."""
    sigma = 5.8e7
    wave, _ = between_planes(wavenumber(f, dk), f, height, sigma)
    attenuation = np.sqrt(np.pi * f * mu_0 / sigma) / (mu_0 * light_speed / np.sqrt(dk) * height)
    depth = 1 / np.sqrt(np.pi * f * mu_0 * sigma)
    assert -wave.imag == pytest.approx(attenuation, rel=2 * depth / height)


@pytest.mark.parametrize("share", [1.0, np.nan], ids=["cavity", "tip"])
def test_copper_planes_in_radial_equations_solved_step_by_step(share):
    """As above; outside the clearance Z_s H is tangential on both planes: h dE/dr = (j w mu h + 2 Z_s) H."""
    f, height, sigma, eps = 30e9, 0.1e-3, 1e6, 3.8 - 0.04j
    omega, k = 2 * np.pi * f, wavenumber(f, eps)
    surface = (1 + 1j) * np.sqrt(np.pi * f * mu_0 / sigma)
    permittivity = eps / (mu_0 * light_speed**2)

    def slopes(r, y, drive, series):
        field, current, _ = y  # the current is r H; then its integral over ln r
        return [series * current / r + drive / (r * np.log(B / A)), 1j * omega * permittivity * r * field, current / r]

    def across(start, drive):
        inductive = 1j * omega * mu_0
        inner = solve_ivp(slopes, (A, B), start, args=(drive, inductive), rtol=1e-10, atol=1e-16)
        outer = solve_ivp(slopes, (B, R), inner.y[:, -1], args=(0.0, inductive + 2 * surface / height), rtol=1e-10,
                          atol=1e-16)  # fmt: skip
        return outer.y[0, -1], inner.y[2, -1] / np.log(B / A)

    (free, free_mean), (driven, driven_mean) = across([0j, 1 + 0j, 0j], 0.0), across([0j, 0j, 0j], -1.0)
    current = -driven / free
    expected = 1 / (2 * np.pi * (current if np.isnan(share) else driven_mean + current * free_mean))
    wave, copper = between_planes(np.array([[k]]), f, height, sigma)
    outer = outer_field(wave, return_conductors(A, ReturnPaths.of([RING])), copper)
    got = 1j * mu_0 * f * series_inductance(cavity_columns(np.array([[k]]), A, B, outer), share)
    assert got[0, 0] == pytest.approx(expected, rel=1e-6)
