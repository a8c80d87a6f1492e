"""The declared error of a stub, in regimes that no table has, against finite elements written for it."""

from __future__ import annotations

import numpy as np
import pytest

from stubsi.physics.barrel import Barrel, End
from stubsi.physics.reactance import notch
from stubsi.physics.return_path import Ring
from stubsi.physics.solved_barrel import solve
from stubsi.stubs.model_error import least_notch, notch_error, regime
from tests.axisymmetric_field import StubField
from tests.fullwave import MM, case_barrel, case_return_path, drilled_barrel, read
from tests.stacks import chain, fill, material, plane
from tests.test_fullwave import TABLES

MESH = 0.005
"""How far the finite elements themselves may be off [-]."""


def stub(a, clearances, heights, t, below, dk=3.6, end_pad=None):
    """Barrel through planes of these clearances, cavities of these heights between them and laminate below."""
    of = material(dk)
    levels = [plane(t / 2, clearances[0], None, of)]
    for height, clearance in zip(heights, clearances[1:], strict=True):
        levels += [fill(height, of), plane(t, clearance, None, of)]
    end = End() if end_pad is None else End(pad_radius=end_pad * MM, pad_thickness=0.02 * MM)
    return Barrel(barrel_radius=a * MM, levels=(*levels, fill(below, of)), end=end)


def row_of(table, name):
    return next(row for row in read(TABLES / f"{table}.csv") if row["name"] == name)


@pytest.mark.slow
@pytest.mark.parametrize(("table", "name", "off"), [("cases", "V01", 0.001), ("drilled", "Z16", 0.006)])
def test_the_finite_elements_agree_with_those_of_the_tables(table, name, off):
    """Project full-wave references of another author: 14.1966 GHz, and 78.3556 GHz for a short drilled stub."""
    row = row_of(table, name)
    barrel = drilled_barrel(row) if table == "drilled" else case_barrel(row)
    wanted = float(row["f0_GHz"]) * 1e9
    found = StubField(barrel, case_return_path(row).radius, wanted).notch(wanted, 0.05)
    assert found == pytest.approx(wanted, rel=off)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("barrel", "ring"),
    [
        pytest.param(stub(0.10, [0.25] * 2, [0.06], 0.07, 0.06, end_pad=0.2), 0.5, id="thick planes, one cavity"),
        pytest.param(stub(0.15, [0.4] * 2, [0.2], 0.02, 1.0), 1.0, id="high laminate below the last plane"),
        pytest.param(stub(0.15, [0.4] * 5, [0.2] * 4, 0.02, 1.0, end_pad=0.25), 1.0, id="the same, four cavities"),
        pytest.param(stub(0.15, [0.4], [], 0.03, 0.5), 1.5, id="one plane only"),
        pytest.param(stub(0.15, [0.4] * 5, [0.25] * 4, 0.02, 0.12), 0.4125, id="ring at the clearance"),
        pytest.param(stub(0.15, [0.3, 0.5, 0.5], [0.2] * 2, 0.02, 0.12), 1.0, id="first clearance narrow"),
        pytest.param(stub(0.15, [0.5, 0.25], [0.2], 0.02, 0.12), 1.0, id="first clearance wide"),
        pytest.param(stub(0.10, [0.5] * 3, [0.1] * 2, 0.018, 0.1, 3.4), 1.0, id="wide clearances, thin cavities"),
    ],
)
def test_declared_error_in_regimes_that_no_table_has(barrel, ring):
    solved, path = solve(barrel), Ring(radius=ring * MM)
    (computed,) = notch(chain(barrel, path=path))
    heights = [sum(height for _, height in section.filling) for section in solved.layout.sections]
    clearances = [section.clearance_radius for section in solved.layout.sections]
    room = min(((path.radius - b) / h for b, h in zip(clearances, heights, strict=True)), default=np.inf)
    true = StubField(barrel, path.radius, computed).notch(computed)
    of = regime(solved, return_vias=True, room=room, ring=path.radius)
    assert abs(computed / true - 1) <= notch_error(of, computed)
    assert least_notch(of, computed) <= true * (1 + MESH)
    assert notch_error(of, computed) > 1.2 * (abs(computed / true - 1) - MESH), "more than was seen"


@pytest.mark.parametrize("of", [{"k_end": 2e-11}, {"k_ring": 5e-11}, {"uneven": True}, {"room": 0.2}, {"thick": True}])
def test_each_of_these_regimes_declares_more(of):
    plain = regime(solve(stub(0.15, [0.4] * 2, [0.2], 0.02, 0.1)), return_vias=True)._replace(k_end=0.0)
    harder = plain._replace(**of)
    assert notch_error(harder, 55e9) > notch_error(plain, 55e9)
    assert least_notch(harder, 55e9) < least_notch(plain, 55e9)


def test_the_least_notch_rises_with_the_notch():
    """Also where the law becomes a harder one: a longer stub must not be judged better for its smaller error."""
    of = regime(solve(stub(0.15, [0.3, 0.5], [0.2], 0.02, 0.5)), return_vias=True, room=0.5, ring=1e-3)
    least = [least_notch(of, notch) for notch in np.geomspace(5e9, 200e9, 400)]
    assert np.all(np.diff(least) >= 0)
