"""The smallest change of each kind with which a net passes undrilled, against a search over a grid."""

from __future__ import annotations

import numpy as np
import pytest

from stubsi import BoardError, Criterion, Padstack, UnitError, rank, undrilled_changes
from stubsi.margin.verdict import Verdict
from tests import margin_boards as mb

NARROW = Padstack(name="narrow", drill="0.3 mm", pad="0.5 mm", antipad="0.7 mm", non_functional_pads="kept")


def board(limit, padstack=NARROW, connects=("TOP", "S2"), signal="25 GBd"):
    """One net, with two return vias 1.2 mm away, and another one that passes."""
    nets = [mb.net("A", connects, padstack=padstack, signal=signal, criterion=Criterion.notch_ratio(limit)),
            mb.net("B", ("TOP", "BOT"), place=1)]  # fmt: skip
    return mb.board(*nets)


def ratio(made):
    """Least first notch that the model permits, over Nyquist: what a criterion of that must be to pass."""
    return float(rank(made).figures.notch.worst[0] / 12.5e9)


def by_kind(found):
    return {str(each.kind): each for each in (*found.changes, *found.not_enough)}


@pytest.fixture(scope="module")
def drawn():
    return ratio(board(1.0))


@pytest.fixture(scope="module")
def short(drawn):
    """A board whose net A is a little too bad, how it prints, and what would make it pass."""
    made = board(1.04 * drawn)
    return made, repr(made), undrilled_changes(made, "A")


def passes(made):
    return rank(made)["A"].verdict == Verdict.PASS


def test_the_antipad_is_the_least_of_a_grid_that_passes(short):
    made, _, found = short
    change = by_kind(found)["antipad"]
    assert change.passes
    grid = np.arange(0.01, change.amount + 0.05, 0.01)
    least = next(by for by in grid if passes(made.with_antipad(net="A", antipad=f"{0.7 + by:.4f} mm")))
    assert change.amount == pytest.approx(least, abs=0.011)
    assert passes(change.board)


def test_pads_are_removed_where_that_is_enough(drawn):
    without = ratio(board(1.0, padstack=NARROW.replaced(name="bare", non_functional_pads="removed")))
    assert without > 1.01 * drawn
    enough, not_enough = (by_kind(undrilled_changes(board(limit), "A"))["non-functional pads"]
                          for limit in ((drawn + without) / 2, 1.01 * without))  # fmt: skip
    assert enough.passes
    assert enough.board.net("A").holes[0].padstack.non_functional_pads == "removed"
    assert not not_enough.passes
    assert not_enough.ghz_per_unit == pytest.approx(enough.ghz_per_unit)


def test_the_layer_is_the_nearest_of_all_that_pass(drawn):
    made = board(2 * drawn)
    change = by_kind(undrilled_changes(made, "A"))["exit layer"]
    tried = {}
    for layer in ("TOP", "S1", "S2", "BOT"):
        for old in ("TOP", "S2"):
            if layer not in ("TOP", "S2") and passes(made.with_layer(net="A", from_layer=old, to_layer=layer)):
                tried[old, layer] = abs(made.stackup.index(layer) - made.stackup.index(old))
    assert change.passes
    assert change.amount == min(tried.values())
    assert change.text == "BOT in place of S2"


def test_return_vias_are_added_until_the_net_passes(drawn):
    """As many as it takes and no more; where four are not enough, all four are tried."""
    only = {"return vias": 1.0}
    most = by_kind(undrilled_changes(board(50.0), "A", weights=only))["return vias"]
    assert not most.passes
    assert len(most.board.net("GND").holes) == len(board(50.0).net("GND").holes) + most.amount
    change = by_kind(undrilled_changes(board(1.001 * drawn), "A", weights=only))["return vias"]
    assert change.passes
    assert change.amount == 1


def nearest_at(made, by):
    """The board with the nearest return via of net A moved towards its hole by so much [mm]: all stand on one line."""
    (hole,) = made.net("A").holes
    (x, y), vias = hole.xy_si, made.net("GND").holes
    via = min(vias, key=lambda each: abs(complex(*each.xy_si) - complex(x, y)))
    towards = (complex(x, y) - complex(*via.xy_si)) / abs(complex(x, y) - complex(*via.xy_si))
    at = 1e3 * (complex(*via.xy_si) + towards * by * 1e-3)
    moved = via.replaced(x=f"{at.real:.9f} mm", y=f"{at.imag:.9f} mm")
    holes = [moved if each.name == via.name else each for each in vias]
    return made.replaced(nets=[net.replaced(holes=holes) if net.reference else net for net in made.nets])


def test_a_return_via_is_moved_no_further_than_needed(drawn):
    """The least of a grid of moves with which the net passes; the farthest one where none is enough."""
    only = {"nearer return vias": 1.0}
    farthest = by_kind(undrilled_changes(board(50.0), "A", weights=only))["nearer return vias"]
    assert not farthest.passes
    enough = (drawn + ratio(farthest.board)) / 2
    assert enough > 1.0005 * drawn, "a nearer return via raises the notch"
    made = board(enough)
    change = by_kind(undrilled_changes(made, "A", weights=only))["nearer return vias"]
    least = next(by for by in np.arange(0.05, farthest.amount + 0.01, 0.05) if passes(nearest_at(made, by)))
    assert change.passes
    assert change.amount == pytest.approx(least)
    assert change.ghz_per_unit > 0
    assert len(change.board.net("GND").holes) == len(made.net("GND").holes)


def test_every_change_leaves_the_board_as_it_was(drawn, short):
    made, printed, found = short
    assert (repr(made), made) == (printed, board(1.04 * drawn))
    for change in found.changes:
        assert change.board != made
        assert change.board.net("B") == made.net("B")
        assert passes(change.board)
        assert change.ghz_per_unit is None or change.ghz_per_unit > 0
    assert sum(change.ghz_per_unit is not None for change in found.changes) >= 2


def test_the_order_is_that_of_the_kinds_or_of_the_weights(short):
    made, _, found = short
    kinds = [str(each.kind) for each in found.changes]
    assert kinds == [
        kind
        for kind in ("exit layer", "antipad", "non-functional pads", "return vias", "nearer return vias")
        if kind in kinds
    ]
    weighted = undrilled_changes(made, "A", weights={"antipad": 1.0, "exit layer": 100.0}).changes
    assert [str(each.kind) for each in weighted] == ["antipad", "exit layer"]


def test_a_net_that_passes_needs_no_change(drawn):
    found = undrilled_changes(board(0.9 * drawn), "A")
    assert not found.changes + found.not_enough
    assert str(found) == "A: pass as drawn; nothing needs to change."


def test_what_cannot_be_tried_is_said():
    found = undrilled_changes(mb.board(mb.net("A", ("TOP", "S2"), signal="112 GBd"), places=0), "A",
                              weights={"return vias": 1.0}, model="uniform")  # fmt: skip
    assert any("return vias: the board has no reference net" in each for each in found.not_tried)
    padstack = NARROW.replaced(name="bare", non_functional_pads="removed")
    bare = undrilled_changes(board(9.0, padstack=padstack), "A", model="uniform")
    assert "non-functional pads: none are kept" in bare.not_tried
    assert "does not pass with" in str(bare)


def test_wrong_calls_are_refused(drawn):
    made = board(1.04 * drawn)
    with pytest.raises(BoardError, match="'NONE'"):
        undrilled_changes(made, "NONE")
    with pytest.raises(BoardError, match="is a reference net"):
        undrilled_changes(made, "GND")
    with pytest.raises(BoardError, match="weights: 'layer' is none of"):
        undrilled_changes(made, "A", weights={"layer": 1.0})
    with pytest.raises(UnitError, match="weight of 'antipad' = -1"):
        undrilled_changes(made, "A", weights={"antipad": -1.0})


def test_the_table_has_a_row_for_each(short):
    *_, found = short
    frame = found.to_frame()
    assert len(frame) == len(found.changes) + len(found.not_enough)
    assert frame["passes"].tolist() == [True] * len(found.changes) + [False] * len(found.not_enough)
    assert np.isnan(frame["first notch [GHz]"][0]), "no stub is left from TOP to BOT"
    assert frame["first notch [GHz]"][1] > frame["first notch before [GHz]"][1]
