"""What stands around a hole: the nearest return vias, alike patterns made one, patterns a notch cannot tell apart."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stubsi import Board, Hole, Net, Padstack, ReturnVias, rank
from stubsi.stubs.nearest_vias import GRID, NEAREST, NearestVias, via_columns
from stubsi.stubs.surroundings import NOTHING_KNOWN, around_of, surroundings
from tests import margin_boards as mb
from tests.strategies import physical

MM = 1e-3


def placed(nets, vias, turn=0.0, mirror=False, shift=0j):
    """A board whose holes (name, legs at x + jy) and vias [mm] are turned, mirrored and moved."""

    def moved(z):
        z = (z.conjugate() if mirror else z) * np.exp(1j * turn) + shift
        return {"x": f"{z.real:.12f} mm", "y": f"{z.imag:.12f} mm"}

    made = []
    for name, legs in nets:
        holes = [
            Hole(name=f"{name}{leg}", padstack=mb.VIA, connects=("TOP", "S1"), leg=leg, **moved(z)) for leg, z in legs
        ]
        made.append(Net(name=name, signal="25 Gb/s", z0="50 ohm", holes=holes))
    ground = [Hole(name=f"G{i}", padstack=mb.POST, **moved(z)) for i, z in enumerate(vias)]
    made.append(Net(name="GND", holes=ground, reference=True))
    return Board(stackup=mb.stackup(), nets=made)


def single(at=0j):
    return ("A", [("", at)])


def pair(at=0j, pitch=0.9):
    return ("A", [("P", at + pitch / 2), ("N", at - pitch / 2)])


patterns = st.lists(
    st.tuples(st.integers(8, 25), st.integers(0, 11)),
    min_size=1,
    max_size=6,
    unique_by=(lambda v: v[0], lambda v: v[1]),
).map(lambda vias: [r / 10 * np.exp(2j * np.pi * (k + 0.1) / 12) for r, k in vias])
"""Return vias [mm] at different distances in different directions: one of them is the nearest."""


def same(one, other):
    """Whether two patterns are one but for the grid and a mirroring at the x axis."""
    found, wanted = (np.array([complex(*p) for p in around.returns]) for around in (one, other))
    return any(
        found.shape == wanted.shape and np.all(np.abs(found[:, None] - way).min(axis=1, initial=np.inf) < 3 * GRID)
        for way in (wanted, wanted.conj())
    )


@given(patterns, physical(0, 6.28), st.booleans())
def test_a_turned_or_mirrored_surrounding_is_the_same(vias, turn, mirror):
    shift = 30 + 40j
    (one,), (other,) = (surroundings(placed([single()], vias, *how)) for how in ((), (turn, mirror, shift)))
    assert len(one.returns) == len(vias)
    assert same(other, one)


@given(patterns, physical(0, 6.28), st.booleans())
def test_a_turned_or_mirrored_pair_is_the_same(vias, turn, mirror):
    vias = [v * 1.6 for v in vias]
    one, other = (surroundings(placed([pair()], vias, *how)) for how in ((), (turn, mirror, 30 + 40j)))
    for leg in (0, 1):
        assert one[leg].pitch == pytest.approx(0.9 * MM, abs=GRID)
        assert other[leg].pitch == pytest.approx(0.9 * MM, abs=GRID)
        assert same(other[leg], one[leg])


def test_distances_and_angles_between_vias_are_kept():
    vias = [1.0, 1.2j, -1.4 + 0.3j]
    (around,) = surroundings(placed([single(5 + 5j)], [v + 5 + 5j for v in vias]))
    found = np.array([complex(*p) for p in around.returns]) / MM
    assert sorted(abs(found)) == pytest.approx(sorted(abs(np.array(vias))), abs=1e-4)
    gaps = [sorted(abs(a - b) for a in group for b in group) for group in (found, vias)]
    assert gaps[0] == pytest.approx(gaps[1], abs=3e-4)
    nearest = found[np.argmin(abs(found))]
    assert nearest == pytest.approx(1.0, abs=1e-4)
    assert around.radius == pytest.approx(0.125 * MM)


def test_equal_surroundings_are_one_object():
    """Rank solves what is one object once."""
    nets = [(f"N{i}", [("", 10.0 * np.exp(2j * np.pi * i / 4))]) for i in range(4)]
    vias = [10.0 * np.exp(2j * np.pi * i / 4) + np.exp(2j * np.pi * i / 4) for i in range(4)]
    found = surroundings(placed(nets, vias))
    assert all(around is found[0] for around in found)


def test_the_nearest_eight_count():
    vias = [r * np.exp(2j * np.pi * k / 13) for k, r in enumerate(np.linspace(1, 3, 13))]
    (around,) = surroundings(placed([single()], vias))
    assert sorted(abs(complex(*p)) for p in around.returns) == pytest.approx(np.linspace(1, 3, 13)[:8] * MM, abs=GRID)


def test_return_vias_beyond_the_other_barrel_of_a_pair_are_the_others():
    p, n = surroundings(placed([pair()], [1.4, -1.6, 0.0 + 1.2j]))
    for leg, x in ((p, 1.4), (n, 1.6)):
        assert len(leg.returns) == 1
        assert leg.returns[0] == pytest.approx((x * MM, 0.0))
    assert p.odd
    assert n.odd


def test_the_partner_is_the_nearest_hole_of_the_other_leg():
    legs = [("P", 0.45 + 0j), ("N", -0.45 + 0j), ("P", 20.5 + 0j), ("N", 19.5 + 0j)]
    holes = [Hole(name=f"A{i}", padstack=mb.VIA, connects=("TOP", "S1"), leg=leg, x=f"{z.real} mm", y="0 mm")
             for i, (leg, z) in enumerate(legs)]  # fmt: skip
    net = Net(name="A", signal="25 Gb/s", z0="100 ohm", holes=holes)
    found = surroundings(Board(stackup=mb.stackup(), nets=(net,)))
    assert [around.pitch for around in found] == pytest.approx([0.9 * MM, 0.9 * MM, 1.0 * MM, 1.0 * MM])


def test_what_is_unknown_stays_unknown():
    here = mb.net("A", ("TOP", "S1"))
    nowhere = Net(
        name="A", signal="25 Gb/s", z0="50 ohm", holes=[Hole(name="H", padstack=mb.VIA, connects=("TOP", "S1"))]
    )
    lost = Net(name="GND", holes=[Hole(name="G", padstack=mb.POST)], reference=True)
    boards = {
        "no reference net": mb.board(here, places=0),
        "hole of unknown place": Board(stackup=mb.stackup(), nets=(nowhere, mb.ground(1))),
        "via of unknown place": Board(stackup=mb.stackup(), nets=(here, lost)),
    }
    for name, board in boards.items():
        (around,) = surroundings(board)
        assert around.returns is None, name
        assert around.pitch is None, name


@given(patterns)
def test_without_a_board_it_is_the_same(vias):
    returns = ReturnVias(positions=[(f"{v.real:.12f} mm", f"{v.imag:.12f} mm") for v in vias], drill="0.25 mm")
    (on_board,) = surroundings(placed([single()], vias))
    assert same(around_of(returns, None), on_board)
    p, _ = surroundings(placed([pair()], [v * 1.6 for v in vias]))
    wide = ReturnVias(positions=[(f"{1.6 * v.real:.12f} mm", f"{1.6 * v.imag:.12f} mm") for v in vias], drill="0.25 mm")
    if len(vias) <= NEAREST:
        assert same(around_of(wide, 0.9 * MM), p)


def test_nothing_given_is_nothing_known():
    assert around_of(None, None) is not None
    assert around_of(None, None) == NOTHING_KNOWN
    assert around_of(None, 1e-3).odd
    assert around_of(ReturnVias(positions=[], drill="0.2 mm"), None).returns == ()


@settings(max_examples=5)
@given(physical(0, 6.28), st.booleans())
def test_the_notch_cannot_tell_turned_boards_apart(turn, mirror):
    """Positions are kept to 0.1 um: so is the notch, to a few parts in a hundred thousand."""
    vias = [1.0, -1.1j, -1.3 + 0.4j]
    rows = [rank(placed([single()], vias, *how))["A"] for how in ((), (turn, mirror, 7 + 3j))]
    assert rows[1].first_notch.m_as("GHz") == pytest.approx(rows[0].first_notch.m_as("GHz"), rel=3e-4)


def test_a_nearer_return_via_raises_the_notch():
    notches = [
        rank(placed([single()], [r * 1j**k for k in range(4)]))["A"].first_notch.m_as("GHz") for r in (1.0, 1.25, 1.5)
    ]
    assert notches == sorted(notches, reverse=True)


def test_holes_on_a_grid_of_vias_all_see_the_same():
    """In the middle of each square of vias: 4 of them 1 mm away, 8 at sqrt(5) mm, of which all or none count."""
    step = 2**0.5
    vias = [step * complex(x + 0.5, y + 0.5) for x in range(-3, 7) for y in range(-3, 7)]
    nets = [(f"A{x}{y}", [("", step * complex(x, y))]) for x in range(4) for y in range(4)]
    seen = set(surroundings(placed(nets, vias, turn=0.3)))
    assert len(seen) == 1
    assert len(seen.pop().returns) == 12


def test_surroundings_are_found_once_for_all_holes_of_a_board():
    board = placed([single(), ("B", [("", 50 + 0j)])], [1.0, 51.0])
    assert surroundings(board) is surroundings(board)
    assert len(surroundings(board)) == 2
    assert surroundings(board)[1] is surroundings(board)[0]


def test_one_search_tree_serves_all_spans_with_the_same_vias():
    board = Board(stackup=mb.stackup(), nets=(mb.net("A", ("TOP", "S1")), mb.ground(1)))
    nearest = NearestVias(via_columns(board))
    first, last = np.array([0, 0, 1, 2]), np.array([6, 3, 5, 4])
    places, radius = nearest.of(np.zeros(4, dtype=complex), first, last)
    assert len(nearest.trees) == 1
    assert np.all(places == places[0])
    assert radius.tolist() == [0.125 * MM] * 4


def test_blind_vias_that_stand_on_each_other_are_one():
    """TOP to S1 and S1 to BOT at one place join every plane; a gap between them does not."""
    spans = {"stacked": (("TOP", "S1"), ("S1", "BOT")), "apart": (("TOP", "G1"), ("S2", "BOT"))}
    counts = {}
    for name, both in spans.items():
        holes = [
            Hole(name=f"G{i}", padstack=Padstack(name=f"blind{i}", drill=f"{0.2 + 0.05 * i} mm", span=span),
                 x="1 mm", y="0 mm")
            for i, span in enumerate(both)
        ]  # fmt: skip
        through = Hole(name="G9", padstack=mb.POST, x="0 mm", y="2 mm")
        ground = Net(name="GND", holes=(*holes, through), reference=True)
        (around,) = surroundings(Board(stackup=mb.stackup(), nets=(mb.net("A", ("TOP", "S1")), ground)))
        counts[name] = len(around.returns)
        assert around.radius == pytest.approx(0.1 * MM if name == "stacked" else 0.125 * MM)
    assert counts == {"stacked": 2, "apart": 1}


def test_blocks_of_holes_make_no_difference(monkeypatch):
    """Large boards are looked at in blocks."""
    nets = [(f"N{i}", [("", complex(10 * i, i % 3))]) for i in range(7)]
    vias = [complex(10 * i + 1, 0) for i in range(7)]
    whole = list(surroundings(placed(nets, vias)))
    monkeypatch.setattr("stubsi.stubs.surroundings.BLOCK", 2)
    assert list(surroundings(placed(nets, vias))) == whole


@pytest.mark.parametrize("pitch", [None, 0.9e-3], ids=["single", "pair"])
def test_a_return_via_out_of_reach_does_not_count_without_a_board_either(pitch):
    near, far = ("1.2 mm", "0 mm"), ("0 mm", "1 m")
    both, one = (ReturnVias(positions=vias, drill="0.25 mm") for vias in ([near, far], [near]))
    assert around_of(both, pitch) == around_of(one, pitch)
    assert around_of(ReturnVias(positions=[far], drill="0.25 mm"), pitch).returns == ()
