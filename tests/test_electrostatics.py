"""Axisymmetric electrostatics: exact coaxial and layered fields, an isolated disk, bounds and symmetry of the grid."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.constants import epsilon_0

from stubsi.physics.electrostatics import Grid, graded_lines, solve_field

ratio = st.floats(1.05, 20.0)
dk = st.floats(1.0, 12.0)


def grid(z, r, voltage, eps_r=1.0, eps_z=1.0):
    shape = (len(z) - 1, len(r) - 1)
    return Grid(
        z=np.asarray(z, float),
        r=np.asarray(r, float),
        eps_r=np.broadcast_to(eps_r, shape).astype(float),
        eps_z=np.broadcast_to(eps_z, shape).astype(float),
        voltage=voltage,
    )


def between_cylinders(lines):
    voltage = np.full(lines, np.nan)
    voltage[:, 0], voltage[:, -1] = 1.0, 0.0
    return voltage


@given(outer=ratio, eps=dk, count=st.integers(2, 9))
def test_coaxial_capacitance_is_exact_on_any_grid(outer, eps, count):
    """2 pi eps0 Dk L/ln(b/a), textbook."""
    r = np.linspace(1.0, outer, count)
    energy = solve_field(grid([0.0, 0.3, 1.0], r, between_cylinders((3, count)), eps_r=eps)).energy
    assert energy.sum() == pytest.approx(2 * np.pi * epsilon_0 * eps / np.log(outer), rel=1e-9)


@given(middle=ratio, outer=ratio, inner_dk=dk, outer_dk=dk)
def test_two_coaxial_layers_are_in_series(middle, outer, inner_dk, outer_dk):
    """1/C = sum ln(r2/r1)/(2 pi eps0 Dk L): each layer's share of the energy is its share of the voltage."""
    r = [1.0, middle, middle * outer]
    energy = solve_field(grid([0.0, 1.0], r, between_cylinders((2, 3)), eps_r=[[inner_dk, outer_dk]])).energy.sum(
        axis=0
    )
    drop = np.array([np.log(middle) / inner_dk, np.log(outer) / outer_dk])
    assert energy.sum() == pytest.approx(2 * np.pi * epsilon_0 / drop.sum(), rel=1e-9)
    assert energy / energy.sum() == pytest.approx(drop / drop.sum(), rel=1e-6)


@given(height=st.floats(0.01, 100.0), eps=dk)
def test_disks_face_to_face_take_the_axial_permittivity(height, eps):
    """eps0 Dk_z pi a^2/h without fringe (the outer border is a field line); the in-plane value has no part in it."""
    voltage = np.array([[1.0] * 4, [np.nan] * 4, [0.0] * 4])
    energy = solve_field(grid([0.0, height / 3, height], [0.0, 0.2, 0.7, 1.0], voltage, eps_r=5.0, eps_z=eps)).energy
    assert energy.sum() == pytest.approx(epsilon_0 * eps * np.pi / height, rel=1e-9)


def half_space_of_disk(refine):
    """A disk of radius 1 on the symmetry plane, everything beyond a sphere of radius 50 at zero."""
    r = graded_lines([0.0, 1.0, 60.0], [np.inf, 0.02, np.inf], 0.25, refine)
    z = graded_lines([0.0, 60.0], [0.02, np.inf], 0.25, refine)
    voltage = np.where(np.hypot(z[:, None], r) > 50.0, 0.0, np.nan)
    voltage[0, r <= 1.0] = 1.0
    return solve_field(grid(z, r, voltage)).energy.sum()


def test_isolated_disk():
    """8 eps0 a for a disk alone (textbook, from memory), here half of it, in series with the sphere 4 pi eps0 R."""
    exact = epsilon_0 / 2 / (1 / 8 - 1 / (4 * np.pi * 50.0))
    coarse, fine = half_space_of_disk(1), half_space_of_disk(2)
    assert fine == pytest.approx(exact, rel=0.015)
    assert abs(fine / exact - 1) < 0.6 * abs(coarse / exact - 1)


@given(
    stops=st.lists(st.floats(0.01, 2.0), min_size=1, max_size=6),
    step=st.floats(0.001, 0.5),
    growth=st.floats(0.05, 1.0),
    refine=st.integers(2, 4),
)
def test_lines_pass_through_every_stop_and_refine_in_place(stops, step, growth, refine):
    where = np.cumsum([0.0, *stops])
    coarse, fine = (graded_lines(where, [step] * len(where), growth, times) for times in (1, refine))
    assert np.all(np.diff(fine) > 0)
    assert np.isin(where, fine).all()
    assert fine[::refine] == pytest.approx(coarse, rel=1e-12)


def test_steps_grow_from_an_edge():
    lines = graded_lines([0.0, 1.0], [0.01, np.inf], 0.2)
    steps = np.diff(lines)
    assert steps[0] == pytest.approx(0.01, rel=0.2)
    assert np.all(steps[1:] / steps[:-1] < 1.25)
    assert np.all(np.diff(steps[:-1]) > 0)


def test_the_flux_outside_a_radius_is_the_charge_below():
    """Gauss: all flux of a rod below a plate goes up to the plate; beside the rod it is that of the charge below."""
    z, r = np.linspace(0, 1, 41), np.concatenate([[0.0], np.linspace(1e-6, 1, 41)])
    voltage = np.full((41, 42), np.nan)
    voltage[0] = 0.0
    voltage[10:21, :7] = 1.0
    field = solve_field(grid(z, r, voltage))
    capacitance = field.energy.sum()
    assert field.flux[:10, 0] == pytest.approx(capacitance, rel=1e-9)
    assert field.flux[20:, 0] == pytest.approx(0.0, abs=1e-9 * capacitance)
    beside = field.flux[10:20, 6]
    assert capacitance > beside[0]
    assert np.all(np.diff(beside) < 0)
    assert beside[-1] > 0
