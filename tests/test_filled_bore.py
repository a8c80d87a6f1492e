"""Depth-drilled bores filled with resin, against the finite elements of the tests: they know nothing of the model."""

from __future__ import annotations

from dataclasses import replace

import pytest

from stubsi.physics.reactance import notch
from stubsi.physics.return_path import Ring
from stubsi.physics.solved_barrel import solve
from stubsi.stubs.model_error import notch_error, regime
from tests.axisymmetric_field import StubField
from tests.stacks import MM, chain
from tests.test_solved_barrel import drilled

RING = Ring(radius=1.0 * MM)
LAMINATE = 3.8
"""Dk of the stack."""


def filled(depth, dk, bore=0.25):
    """The drilled stub of the full-wave cases, its bore filled."""
    plain = drilled(depth, bore=bore)
    return replace(plain, end=replace(plain.end, bore_dk=dk))


def computed(barrel):
    (found,) = notch(chain(barrel, path=RING))
    return found


@pytest.mark.slow
@pytest.mark.parametrize(("depth", "dk"), [(0.33, 4.6), (0.6, 3.3)])
def test_a_filled_bore_is_as_far_off_as_it_declares(depth, dk):
    barrel = filled(depth, dk)
    ours = computed(barrel)
    true = StubField(barrel, RING.radius, ours).notch(ours)
    of = regime(solve(barrel), return_vias=True, ring=RING.radius)
    assert of.filled
    assert abs(ours / true - 1) <= notch_error(of, ours)


@pytest.mark.parametrize("wider", [0.2, 0.3])
def test_a_bore_filled_with_the_laminate_itself_may_be_of_any_width(wider):
    """There is no boundary then, so the width of the bore changes nothing but the clearances that it needs."""
    assert computed(filled(0.6, LAMINATE, wider)) == pytest.approx(computed(filled(0.6, LAMINATE)), rel=2e-3)
