"""Capacitance of a barrel's sections: mesh, scaling, symmetry, exact limits, sharing among materials."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.constants import epsilon_0, mu_0

from stubsi.physics import capacitance
from stubsi.physics.barrel import Barrel, End
from stubsi.physics.sections import layout
from stubsi.physics.solved_barrel import solve
from tests.stacks import MM, fill, material, plane, signal, stack, through

STACKS = {
    "bare": stack(3, end_pad=None),
    "pads": stack(3, plane_pad=0.25),
    "tight pads": stack(3, plane_pad=0.37),
    "thin planes": stack(3, t=0.0),
    "foil and tall cavities": stack(2, t=0.012, h=0.6),
    "small clearance": stack(3, b=0.2),
}


def total(barrel):
    return solve(barrel).capacitance.sum()


@pytest.mark.parametrize("barrel", STACKS.values(), ids=STACKS.keys())
def test_mesh(barrel, monkeypatch):
    """A grid three times as fine moves no section by more than 0.3 % and the sum by no more than 0.2 %."""
    usual = solve(barrel).capacitance.sum(axis=1)
    for name in ("FINE_Z", "FINE_GAP", "FINE_R", "GROWTH"):
        monkeypatch.setattr(capacitance, name, getattr(capacitance, name) / 3)
    fine = capacitance.electrostatics_of(barrel, layout(barrel)).capacitance
    assert usual == pytest.approx(fine.sum(axis=1), rel=0.003)
    assert usual.sum() == pytest.approx(fine.sum(), rel=0.002)


@given(scale=st.floats(0.1, 10.0))
@settings(max_examples=10)
def test_scales_with_length(scale):
    small, large = stack(2), stack(2, a=0.15 * scale, b=0.4 * scale, t=0.03 * scale, h=0.2 * scale, outer=0.1 * scale)
    large = replace(large, end=End(pad_radius=0.25 * scale * MM, pad_thickness=0.03 * scale * MM))
    assert total(large) == pytest.approx(scale * total(small), rel=1e-6)


def test_cells_low_against_the_planes_are_coaxial():
    """2 pi eps0 Dk L/ln(b/a) as h/t -> 0, the excess falling at least with (h/t)^1.5."""

    def excess(h):
        barrel = through(3, t=0.1, h=h)
        return 1 - total(barrel) * np.log(0.4 / 0.15) / (2 * np.pi * epsilon_0 * 3.8 * 3 * (h + 0.1) * MM)

    assert 0 < excess(0.01) < 0.006
    assert excess(0.02) / excess(0.01) > 2**1.5


def test_middle_cell_is_alike_both_ways():
    halves = solve(through(2)).capacitance.sum(axis=1)[:-1]
    assert halves == pytest.approx(halves[::-1], rel=1e-9)
    assert halves == pytest.approx(halves[0], rel=1e-9)


def test_first_cell_follows_from_symmetry():
    """A field line at the plane's mid-thickness is what a mirrored stack would have there."""
    levels = stack(2).levels
    mirrored = (*levels[:0:-1], plane(0.03), *levels[1:])
    outer = End(pad_radius=0.25 * MM, pad_thickness=0.03 * MM)
    half = total(stack(2)) - solve(stack(2)).capacitance[-1].sum()
    both = solve(Barrel(barrel_radius=0.15 * MM, levels=mirrored, end=outer)).capacitance.sum(axis=1)
    assert both[-5:-1].sum() == pytest.approx(half, rel=1e-4)


def test_one_material_takes_it_all():
    """Of a stub wholly in one laminate the sections belong to it, and the air shares in the end."""
    solved = solve(stack(3))
    assert solved.materials == (material(), capacitance.AIR)
    assert solved.capacitance[:-2, 1] == pytest.approx(0.0, abs=1e-18)
    assert np.all(solved.capacitance[-1] > 0)


@pytest.mark.parametrize("changed", [0, 1, 2], ids=["resin", "core", "prepreg"])
def test_share_of_a_material_is_the_derivative_of_the_sum(changed):
    """C_m = eps_m dC/d(eps_m), the energy theorem, against a central difference of two solves."""

    def barrel(step):
        dk = [3.2, 3.9, 4.4]
        dk[changed] *= 1 + step
        resin, core, prepreg = (material(x) for x in dk)
        cell = [fill(0.1, core), signal(0.03, 0.22, resin), fill(0.12, prepreg), plane(0.03, 0.4, None, resin)]
        return Barrel(barrel_radius=0.15 * MM, levels=(plane(0.015, of=resin), *cell * 2, fill(0.1, prepreg)))

    solved = solve(barrel(0.0))
    of = [solved.materials.index(m) for m in (material(3.2), material(3.9), material(4.4))]
    slope = (total(barrel(0.01)) - total(barrel(-0.01))) / 0.02
    assert solved.capacitance[:, of[changed]].sum() == pytest.approx(slope, rel=2e-3)


@pytest.mark.parametrize(
    ("more", "less"),
    [
        (stack(3, plane_pad=0.25), stack(3)),
        (stack(3, plane_pad=0.3), stack(3, plane_pad=0.25)),
        (stack(3, a=0.2), stack(3)),
        (stack(3, b=0.35), stack(3)),
        (stack(3, t=0.05), stack(3)),
        (stack(3, of=material(4.2)), stack(3)),
        (stack(3, of=material(4.2, dk_z=3.8)), stack(3)),
        (stack(3, end_pad=0.35), stack(3)),
        (stack(3), stack(3, end_pad=None)),
    ],
    ids=["pad", "wider pad", "barrel", "clearance", "planes", "dk", "dk in plane", "wider end pad", "end pad"],
)
def test_more_conductor_or_dielectric_is_more_capacitance(more, less):
    assert total(more) > 1.001 * total(less)


def test_wider_bore_leaves_less_at_the_end():
    def end(bore, filling):
        levels = (plane(0.015), fill(), plane(), fill(0.05))
        end = End(bore_radius=bore * MM, bore_dk=filling, bored=(fill(0.15), plane(), fill()))
        return total(Barrel(barrel_radius=0.15 * MM, levels=levels, end=end))

    assert end(0.3, 1.0) < end(0.25, 1.0) < end(0.25, 3.8)


@pytest.mark.parametrize("off", [0.0, 1e-20, 1e-15, 1e-9, 1e-7], ids=lambda off: f"{off:g} m")
def test_what_is_nearly_aligned_is_as_good_as_aligned(off):
    """End pad as wide as the clearances, bore as wide, a level boundary at mid-cavity: steps of rounding do no harm."""
    levels = (plane(0.015), fill(0.1), fill(0.1 + off / MM), plane(0.03, 0.4), fill(0.1))
    wide = Barrel(barrel_radius=0.15 * MM, levels=levels, end=End(pad_radius=0.4 * MM - off, pad_thickness=0.03 * MM))
    cut = Barrel(barrel_radius=0.15 * MM, levels=levels, end=End(bore_radius=0.4 * MM + off, bored=levels[1:]))
    usual = [total(replace(barrel, levels=(*levels[:2], fill(0.1), *levels[3:]))) for barrel in (wide, cut)]
    assert [total(wide), total(cut)] == pytest.approx(usual, rel=2e-3)


def end_height(barrel):
    """Inductance in front of the end over mu0/(2 pi) [mm]."""
    return solve(barrel).end_inductance / (mu_0 / (2 * np.pi)) / MM


def test_inductance_of_an_end_by_an_independent_solve():
    """0.076 mm for a barrel of 0.3 mm, clearance 0.8, laminate 0.1, end pad 0.5 (the project's field-solver runs)."""
    assert end_height(stack(3)) == pytest.approx(0.076, abs=0.0005)


@given(scale=st.floats(0.1, 10.0))
@settings(max_examples=5)
def test_inductance_of_an_end_scales_with_length(scale):
    large = stack(2, a=0.15 * scale, b=0.4 * scale, t=0.03 * scale, h=0.2 * scale, outer=0.1 * scale)
    large = replace(large, end=End(pad_radius=0.25 * scale * MM, pad_thickness=0.03 * scale * MM))
    assert end_height(large) == pytest.approx(scale * end_height(stack(2)), rel=1e-6)


def test_inductance_of_an_end_rises_with_its_laminate_and_is_none_between_entry_and_exit():
    heights = [end_height(stack(2, outer=outer)) for outer in (0.05, 0.1, 0.2, 0.4)]
    assert np.all(np.diff(heights) > 0)
    assert 0 < heights[-1] < 0.4 * np.log(0.4 / 0.15)
    assert end_height(through(3)) == 0.0
    assert solve(replace(stack(2), end=End(bore_radius=0.25 * MM))).end_inductance == 0.0
