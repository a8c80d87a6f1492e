"""The smallest change of each kind with which a net of a plan is drilled less deep, against plans over a grid."""

from __future__ import annotations

import numpy as np
import pytest

from stubsi import BoardError, Criterion, Padstack, UnitError, plan
from stubsi.drilling.shallower_change import DrilledHow
from tests import drilling_boards as made
from tests import margin_boards as mb

NARROW = Padstack(
    name="narrow", drill="0.3 mm", finished="0.25 mm", pad="0.5 mm", antipad="0.7 mm", non_functional_pads="kept"
)
RULES = made.rules(sides={"bottom": "any"}, tip_angle=180)
"""Drills stop before a layer and leave 0.1 mm to 0.3 mm of the barrel beyond it."""


def board(limit, rest=("TOP", "S2")):
    """Net A goes from TOP to S1 and may keep what its criterion permits; net B holds a group before S2 open."""
    return mb.board(
        mb.net("A", ("TOP", "S1"), padstack=NARROW, criterion=Criterion.notch_ratio(limit)),
        mb.net("B", rest, place=1, padstack=NARROW, criterion=Criterion.stub_length("0.35 mm", source=made.SAYS)),
    )


def planned(its_board):
    return plan(its_board, RULES)


def ends_of(found, net):
    """Ends of the groups that drill a net; None where it is refused."""
    if any(each.net == net for each in found.refused) or any(hit.net == net for hit in found.missed):
        return None
    return {group.end_si for group in found.groups if net in group.nets}


@pytest.fixture(scope="module")
def limit():
    """A limit that A meets with 0.76 mm of barrel once its antipads are a little wider, and does not as drawn."""

    def least(antipad):
        """First notch over Nyquist of A when it is cut before S2."""
        found = planned(board(1.0).with_antipad(net="A", antipad=antipad))
        stub = found.limits.use(0)
        return float(_notch(stub.cut(0.76e-3), found)) / 12.5e9

    return 0.5 * (least("0.7 mm") + least("0.74 mm"))


def _notch(use, found):
    from stubsi.drilling.stub_use import figures

    return figures([use], np.array([use.case.length_si]), found.model, wanted=set()).notch.low[0]


def test_a_change_shows_as_a_table_in_a_notebook():
    """A uniform line of 0.76 mm: only a layer helps, and its first notch is c / 4 L sqrt(Dk)."""
    its_board = board(1.0).replaced(nets=[net.replaced(layers=("S1", "S2")) for net in board(6.0).nets])
    told = plan(its_board, RULES, model="uniform", dk_eff=4).shallower_changes("A", weights={"exit layer": 1})
    page = told._repr_html_()
    for each in told.changes:
        assert each.text in page
        assert str(each.how) in page
    assert told.to_frame()["outcome"].tolist() == [str(each.how) for each in (*told.changes, *told.not_enough)]
    assert told.changes


@pytest.mark.slow
def test_the_antipad_is_the_least_of_a_grid_with_which_an_open_group_serves_the_net(limit):
    found = planned(board(limit))
    (other,) = ends_of(found, "B")
    (own,) = ends_of(found, "A")
    assert own > other + 0.1e-3, "as drawn A needs a deeper group"
    told = found.shallower_changes("A", weights={"antipad": 1.0})
    change = told.changes[-1]
    assert change.how is DrilledHow.OPEN_GROUP
    assert change.groups == tuple(group.number for group in found.groups if "B" in group.nets)
    grid = np.arange(0.01, change.amount + 0.05, 0.01)
    least = next(
        by
        for by in grid
        if ends_of(planned(found.board.with_antipad(net="A", antipad=f"{0.7 + by:.4f} mm")), "A") == {other}
    )
    assert change.amount == pytest.approx(least, abs=1e-6)
    assert change.ghz_per_unit > 0
    assert len(planned(change.board).groups) == len(found.groups) - 1
    for each in told.changes[:-1]:
        assert each.how is DrilledHow.OWN_GROUP
        assert each.amount < change.amount
        (end,) = ends_of(planned(each.board), "A")
        assert other < end < own


@pytest.mark.slow
def test_every_change_does_what_it_says_and_leaves_the_plan_as_it_was(limit):
    found = planned(board(limit))
    before = repr(found.board), found.digest
    told = found.shallower_changes("A")
    assert (repr(found.board), found.digest) == before
    assert told.drilled_by == tuple(group.number for group in found.groups if "A" in group.nets)
    deepest = max(ends_of(found, "A"))
    for each in told.changes:
        ends = ends_of(planned(each.board), "A")
        assert (ends == set()) == (each.how is DrilledHow.UNDRILLED)
        assert all(end < deepest for end in ends)
    for each in told.not_enough:
        ends = ends_of(planned(each.board), "A")
        assert ends is None or max(ends) >= deepest
    kinds = [str(each.kind) for each in told.changes]
    assert "antipad" in kinds
    assert kinds == sorted(kinds, key=list(map(str, dict.fromkeys(kinds))).index)
    assert len(told.to_frame()) == len(told.changes) + len(told.not_enough)
    assert f"A: drilled by group {told.drilled_by[0]}" in str(told)


def test_a_net_that_misses_its_criterion_is_offered_what_lets_it_be_drilled():
    """B may keep 0.25 mm, and 0.3 mm stay before S2; on BOT it has no stub at all."""
    strict = board(0.5).with_criterion(net="B", criterion=Criterion.stub_length("0.25 mm", source=made.SAYS))
    found = planned(strict)
    assert {each.net for each in found.refused} == {"B"}
    told = found.shallower_changes("B", weights={"exit layer": 1.0})
    assert "misses its criterion" in str(told)
    assert [(each.text, each.how) for each in told.changes] == [("BOT in place of S2", DrilledHow.UNDRILLED)]


@pytest.mark.slow
def test_weights_give_the_order(limit):
    found = planned(board(limit))
    cheap = found.shallower_changes("A", weights={"antipad": 1e-3, "exit layer": 1.0}).changes
    dear = found.shallower_changes("A", weights={"antipad": 1e3, "exit layer": 1.0}).changes
    assert str(cheap[0].kind) == "antipad"
    assert str(dear[0].kind) == "exit layer"
    assert {each.text for each in cheap} == {each.text for each in dear}


def test_a_net_that_is_not_drilled_needs_no_change():
    told = planned(board(0.5)).shallower_changes("A")
    assert not told.changes + told.not_enough
    assert str(told) == "A: not drilled; nothing needs to change."


def test_wrong_calls_are_refused(limit):
    found = planned(board(limit))
    with pytest.raises(BoardError, match="'NONE'"):
        found.shallower_changes("NONE")
    with pytest.raises(BoardError, match="is a reference net"):
        found.shallower_changes("GND")
    with pytest.raises(UnitError, match="weight of 'antipad' = -1"):
        found.shallower_changes("A", weights={"antipad": -1.0})
