"""Closed forms of a bare cell: limits of the fringe shift, an independent grating, the electrostatic solve."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.constants import epsilon_0
from scipy.integrate import quad

from stubsi.errors import ValidityError
from stubsi.physics.pair import fringe_shift
from stubsi.physics.solved_barrel import solve
from tests.chain_figures import solve_with_closed_cells
from tests.closed_forms import cell_capacitance, common_clearance
from tests.stacks import MM, fill, material, plane, stack, through

height = st.floats(0.05, 0.6)
thickness = st.floats(0.005, 0.1)


def test_shift_of_infinitely_thin_planes():
    """h ln 2/pi: edge of a grating of thin half planes, textbook conformal map."""
    assert fringe_shift(0.2, 0.0) == pytest.approx(0.2 * np.log(2) / np.pi)


@given(h=height, t=thickness)
def test_shift_is_the_mean_depth_of_an_edge(h, t):
    """The closed form against quadrature of its slope dd/dt = ln(x(2 + x)/(1 + x)^2)/(2 pi), from thin planes on."""
    x = t / h
    curve, _ = quad(lambda y: np.log(y * (2 + y) / (1 + y) ** 2), 0, x)
    assert fringe_shift(h, t) == pytest.approx(h / (2 * np.pi) * (curve + 2 * np.log(2)), rel=1e-6)


@given(h=height, t=thickness)
def test_thick_planes_shift_less(h, t):
    assert 0 < fringe_shift(h, t) < fringe_shift(h, 0.0)


@pytest.mark.parametrize("h", [0.02, 0.01, 0.005])
def test_low_cavities_are_a_coaxial_line(h):
    """The excess over plain coax falls with the square of h/t."""
    excess = [
        1 - cell_capacitance(0.15, 0.4, x, 0.1) * np.log(0.4 / 0.15) / (2 * np.pi * epsilon_0 * (x + 0.1))
        for x in (h, h / 2)
    ]
    assert excess[0] / excess[1] == pytest.approx(4.0, rel=0.15)
    assert 0 < excess[0] < (h / 0.1) ** 2


@settings(max_examples=20)
@given(
    b=st.floats(1.6, 4.0),
    h=st.floats(0.5, 3.0),
    t=st.floats(0.1, 0.4),
    anisotropy=st.floats(0.85, 1.2),
)
def test_solved_cells_agree(b, h, t, anisotropy):
    """Within 0.6 %, and more where the shift is not small beside b: the closed form is derived for straight edges."""
    a = 0.15
    of = material(4.0, dk_z=4.0 * anisotropy)
    solved = solve(through(2, a=a, b=a * b, h=a * h, t=a * t, of=of)).capacitance.sum() / 2
    d = fringe_shift(a * h * MM, a * t * MM)
    closed = cell_capacitance(a * MM, a * b * MM, a * h * MM, a * t * MM, dk_in_plane=4.0, dk_z=4.0 * anisotropy)
    assert solved == pytest.approx(closed, rel=0.006 + 0.02 * (d / (a * b * MM)) ** 2)


def test_equal_clearances_stay():
    assert common_clearance(0.4, 0.4, 0.2) == pytest.approx(0.4)


@given(one=st.floats(0.3, 0.6), other=st.floats(0.3, 0.6), h=height)
def test_common_clearance_lies_between(one, other, h):
    assert min(one, other) <= common_clearance(one, other, h) <= (one + other) / 2


def test_unequal_clearances_against_the_solve():
    levels = (plane(0.015, 0.35), fill(), plane(0.03, 0.55), fill(), plane(0.015, 0.35))
    barrel = through(2)
    solved = solve(type(barrel)(barrel_radius=0.15 * MM, levels=levels, end=None)).capacitance.sum() / 2
    b = common_clearance(0.35, 0.55, 0.2) * MM
    assert cell_capacitance(0.15 * MM, b, 0.2 * MM, 0.03 * MM, dk_in_plane=3.8, dk_z=3.8) == pytest.approx(
        solved, rel=0.028
    )


def test_closed_cells_of_a_stub_agree_with_its_solve():
    closed, solved = (way(stack(6)).capacitance.sum(axis=1) for way in (solve_with_closed_cells, solve))
    assert closed[:-1].sum() == pytest.approx(solved[:-1].sum(), rel=0.005)
    assert closed[-1] == pytest.approx(solved[-1], rel=0.02)


def test_closed_cells_refuse_pads():
    with pytest.raises(ValidityError, match="bare"):
        solve_with_closed_cells(stack(plane_pad=0.25))
