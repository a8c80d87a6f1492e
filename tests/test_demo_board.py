"""The demo board: it holds what a real board holds, and its geometry can be built."""

from __future__ import annotations

from pathlib import Path

import pytest

from stubsi.files.toml import read_board

DEMO = Path(__file__).parents[1] / "shared" / "demo_board.toml"


@pytest.fixture(scope="module")
def demo():
    return read_board(DEMO)


def test_demo_holds_what_a_real_board_holds(demo):
    nets = demo.signal_nets
    assert len(demo.stackup.copper) >= 14
    assert {layer.role for layer in demo.stackup.copper} == {"signal", "plane", "mixed"}
    assert len(nets) >= 44
    assert len({net.signal for net in nets}) >= 6
    assert {net.signal.modulation for net in nets} >= {"NRZ", "PAM4"}
    assert sum(net.is_pair for net in nets) >= 20
    assert sum(bool(net.waiver) for net in nets) == 1
    assert any(net.criterion for net in nets)
    assert any(hole.padstack.span for _, hole in demo.holes())
    assert any(hole.press_fit and hole.press_fit.pin_length for _, hole in demo.holes())
    assert any(hole.padstack.antipad.shared for _, hole in demo.holes())
    rates = [net.signal.nyquist.m_as("GHz") for net in nets]
    assert min(rates) < 1e-3
    assert max(rates) == pytest.approx(56)


def test_demo_has_every_dk_and_some_in_plane(demo):
    laminate = demo.stackup.laminate(0.0, demo.stackup.edges_si[-1])
    assert 3 < laminate.dk < 4.2
    assert "in-plane Dk where known" in laminate.assumed


def test_demo_has_stubs_on_both_sides_of_one_hole(demo):
    spans = [demo.span(hole) for _, hole in demo.holes()]
    assert any(s.first < s.upper_in_use and s.lower_in_use < s.last for s in spans)


def test_demo_legs_of_every_pair_have_equally_many_holes(demo):
    for net in demo.signal_nets:
        legs = [hole.leg for hole in net.holes]
        assert legs.count("P") == legs.count("N")


def test_demo_return_vias_stand_clear_of_every_antipad(demo):
    for net, hole in demo.holes():
        partners = [h for h in net.holes if h.leg != hole.leg and _distance(h, hole) < 2e-3] or [hole]
        for post in demo.return_vias:
            gap = min(_to_segment(post, hole, partner) for partner in partners)
            assert gap > hole.padstack.antipad.width_si / 2 + post.padstack.drill_si / 2, (hole.name, post.name)


def test_demo_return_vias_are_near_fast_holes_and_far_from_slow_ones(demo):
    for net, hole in demo.holes():
        nearest = min(_distance(post, hole) for post in demo.return_vias)
        if net.signal.nyquist.m_as("GHz") > 0.1:
            assert 0.6e-3 < nearest <= 1.2e-3 + 1e-12, hole.name
        else:
            assert nearest > 5e-3, hole.name


def _distance(a, b):
    return abs(complex(*a.xy_si) - complex(*b.xy_si))


def _to_segment(post, a, b):
    """Distance from a post to the line between two holes (a point where they are one)."""
    p, q, r = (complex(*h.xy_si) for h in (post, a, b))
    if q == r:
        return abs(p - q)
    along = ((p - q) * (r - q).conjugate()).real / abs(r - q) ** 2
    return abs(p - q - min(max(along, 0.0), 1.0) * (r - q))
