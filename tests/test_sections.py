"""Sections of a barrel: heights add up, pads count where they lie, what is not defined is refused with its values."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stubsi.errors import ValidityError
from stubsi.physics.barrel import Barrel, End, level_spans
from stubsi.physics.sections import layout
from tests.stacks import MM, fill, plane, signal, stack, through


def conductor(cut):
    return sum(p.height for s in cut.sections for p in (*s.in_cavity, *s.in_plane))


def bare(*levels, end=End()):  # noqa: B008 - a frozen record
    return Barrel(barrel_radius=0.15 * MM, levels=levels, end=end)


@given(cavities=st.integers(1, 8), h=st.floats(0.05, 0.6), t=st.floats(0.0, 0.1))
def test_sections_reach_from_the_start_to_the_last_plane(cavities, h, t):
    cut = layout(stack(cavities, h=h, t=t))
    assert len(cut.sections) == 2 * cavities
    assert [s.top for s in cut.sections[1:]] == pytest.approx([s.bottom for s in cut.sections[:-1]])
    assert cut.start_of_end == pytest.approx(cavities * (h + t) * MM)
    assert conductor(cut) == pytest.approx(cut.start_of_end)


def test_reference_case_counts_its_half_planes():
    """t ln(b/a) of whole planes, h ln(R/a) of cavities: half cells share each plane between its two sides."""
    cut = layout(stack(3))
    in_plane = [sum(p.height for p in s.in_plane) / MM for s in cut.sections]
    assert in_plane == pytest.approx([0.015] * 6)
    assert [sum(p.height for p in s.in_cavity) / MM for s in cut.sections] == pytest.approx([0.1] * 6)


def test_off_centre_pad_belongs_to_the_half_it_lies_in():
    levels = (plane(0.015), fill(0.05), signal(0.03, 0.25), fill(0.2), plane(), fill(0.1))
    upper, lower = layout(bare(*levels)).sections
    assert [(p.radius / MM, p.height / MM) for p in upper.in_cavity] == [
        pytest.approx(pair) for pair in ((0.15, 0.05), (0.25, 0.03), (0.15, 0.06))
    ]
    assert [p.radius / MM for p in lower.in_cavity] == pytest.approx([0.15])


def test_start_inside_a_cavity():
    """From half-way between strip and plane: two sections of the stretch to the plane, with that plane's clearance."""
    cut = layout(bare(fill(0.08), *stack(2).levels))
    assert cut.sections[0].top == 0.0
    assert not cut.sections[0].in_plane
    assert cut.sections[0].clearance_radius == cut.sections[1].clearance_radius == pytest.approx(0.4 * MM)
    assert cut.start_of_end == pytest.approx((0.08 + 0.015 + 0.2 + 0.03 + 0.2 + 0.015) * MM)


def test_length_between_entry_and_exit_has_sections_to_its_very_end():
    barrel = through(3)
    cut, length = layout(barrel), level_spans(barrel.levels, goes_on=barrel.end is None)[-1].bottom
    assert cut.sections[-1].bottom == cut.start_of_end == length
    assert conductor(cut) == pytest.approx(length)


def drilled(depth):
    """Plating that ends ``depth`` below the first plane's face, in a cavity of 0.4 mm."""
    below = (fill(0.4 - depth), plane(), fill(0.4))
    return bare(plane(0.015), fill(depth), end=End(bore_radius=0.25 * MM, bored=below))


@given(depth=st.floats(0.02, 0.39))
def test_drilled_end_drives_the_cavity_by_its_share_squared(depth):
    barrel, share = drilled(depth), depth / 0.4
    cut = layout(barrel)
    assert sum(p.height for s in cut.sections for p in s.in_cavity) == pytest.approx(share * depth * MM)
    assert conductor(cut) == pytest.approx((0.015 + depth) * MM)
    assert cut.start_of_end == pytest.approx(level_spans(barrel.levels, goes_on=barrel.end is None)[-1].bottom)
    assert sum(h for _, h in cut.sections[0].filling) == pytest.approx(0.4 * MM)


def test_no_plane_below_a_drilled_end_leaves_the_local_field():
    cut = layout(bare(plane(0.015), fill(0.1), end=End(bore_radius=0.25 * MM, bored=(fill(0.1),))))
    assert sum(p.height for s in cut.sections for p in s.in_cavity) == 0.0


REFUSED = {
    "clearance touches barrel": (stack(2, b=0.15), "clearance_radius .* does not exceed barrel_radius"),
    "clearance missing": (
        bare(replace(plane(), clearance_radius=None), fill()),
        "clearance_radius None .* barrel_radius 0.00015",
    ),
    "pad fills its clearance": (stack(2, plane_pad=0.4), "pad_radius 0.0004 m .* clearance_radius 0.0004"),
    "pad inside the barrel": (stack(2, plane_pad=0.1), "pad_radius 0.0001 m .* barrel_radius 0.00015"),
    "signal pad over the plane": (
        bare(plane(), fill(), signal(pad=0.45), fill(), plane(), fill()),
        "pad_radius 0.00045 m .* clearance_radius 0.0004",
    ),
    "bore narrower than the barrel": (replace(stack(2), end=End(bore_radius=0.1 * MM)), "bore_radius 0.0001 m"),
    "no plane": (bare(fill()), "no plane"),
    "no plane between entry and exit": (replace(bare(fill()), end=None), "no plane"),
}


@pytest.mark.parametrize(("barrel", "words"), REFUSED.values(), ids=REFUSED.keys())
def test_refused_with_its_values(barrel, words):
    with pytest.raises(ValidityError, match=words):
        layout(barrel)
