"""Nets with stubs that stay undrilled, judged with the clearances that the drills of other nets need."""

from __future__ import annotations

import pytest

from stubsi import Board, Criterion, plan, rank
from stubsi.drilling.effects import widened
from stubsi.drilling.limits import Limits
from tests import drilling_boards as made
from tests import margin_boards as mb

RULES = made.rules(tip_angle=180)
SHORT = Criterion.stub_length("0.35 mm", source=made.SAYS)


def board(limit, waiver=""):
    """Net A is drilled from the top, in a hole of the padstack of net B, whose stub begins where that drill ends.

    There the clearances of planes are inductance more than they are capacitance, so wider ones lower the notch.
    """
    return mb.board(
        mb.net("A", ("S1", "BOT"), place=0, criterion=SHORT, waiver=waiver),
        mb.net("B", ("TOP", "S1"), place=1, criterion=Criterion.notch_ratio(limit)),
        places=2,
    )


@pytest.fixture(scope="module")
def ratios():
    """First notch of net B over Nyquist, as drawn and with the clearances that the drill of net A needs."""
    lax = plan(board(0.6), RULES)
    return [rank(each)["B"].margin for each in (lax.board, widened(lax))]


def test_a_kept_stub_can_lose_margin_by_the_clearances_of_other_drills(ratios):
    drawn, wider = ratios
    assert 0.98 * drawn < wider < 0.995 * drawn


def test_a_net_that_falls_short_only_with_these_clearances_is_drilled_too(ratios):
    limit = sum(ratios) / 2
    found = plan(board(limit), RULES)
    assert found.judged_wider == ("B",)
    assert {(hit.net, hit.side) for hit in found.hits} == {("A", "top"), ("B", "bottom")}
    told = "fall short only with the wider clearances that the drills of others need: B"
    assert told in " ".join(found.to_text().split())
    after = found.consequences()["B"]
    assert after.verdict[2] != "falls short"
    assert after.margin[2] > limit > ratios[1]
    assert "longest permitted" in found.explain("B.0")


def test_what_holds_with_these_clearances_stays_undrilled(ratios):
    for limit, waiver in ((0.999 * ratios[1], ""), (sum(ratios) / 2, "A is not drilled, so nothing is widened")):
        found = plan(board(limit, waiver), RULES)
        assert not found.judged_wider
        assert "B" in found.undrilled
        assert "wider clearances" not in found.to_text()


def summed_board(limit):
    """Net A is drilled from the top to S1; net C has a limit for the loss of two stubs, one of which that drill serves.

    At 50 GBd the notch of the other one lies near Nyquist. Clearances that lower it raise the loss.
    """
    return mb.board(
        mb.net("A", ("S1", "BOT"), criterion=SHORT),
        mb.net(
            "C", ("TOP", "S1"), ("S1", "BOT"), place=1, signal="50 GBd",
            criterion=Criterion.loss(limit, source=made.SAYS),
        ),
        places=3,
    )  # fmt: skip


@pytest.mark.slow
def test_a_kept_stub_beside_drilled_ones_is_judged_by_the_sum_with_the_clearances():
    lax = plan(summed_board(30.0), RULES)
    drawn, wider = (rank(each)["C"].loss for each in (lax.board, widened(lax)))
    assert wider > 1.02 * drawn
    limit = 0.98 * drawn
    found = plan(summed_board(limit), RULES)
    stubs = [row for row in range(3) if found.limits.net(row).name == "C"]
    assert found.limits.ranking["C"].loss > limit, "C needs drilling as drawn"
    as_drawn = Limits(found.limits.ranking, found.model, RULES)
    assert as_drawn.losses(stubs, [as_drawn.table.length_si[stubs[0]], 0.3e-3]).sum() < limit, "one drill is enough"
    assert found.judged_wider == ("C",)
    assert ("C.0", "bottom") in {(hit.hole.name, hit.side) for hit in found.hits}
    assert found.consequences()["C"].loss[2] < limit


def test_no_room_for_the_clearances_is_data_and_is_said():
    """A return via 0.42 mm away stands in a clearance of 0.94 mm on every plane."""
    net = mb.net("A", ("TOP",), criterion=Criterion.stub_length("0.4 mm", source=made.SAYS))
    board = Board(stackup=mb.stackup(), nets=(net, mb.ground(1, ((0.42, 0.0),))))
    its_rules = made.rules(tip_angle=180, edge_tolerance="0.02 mm", copper_clearance="0.2 mm")
    found = plan(board, its_rules, model="uniform")
    assert found.hits
    assert "GND.0.0" in found.no_room
    assert "no room for the clearances that the drills need; judged as drawn" in " ".join(found.to_text().split())
    assert widened(found) is board
    assert found.consequences()["A"].verdict[2] == "pass"
    free = Board(stackup=mb.stackup(), nets=(net, mb.ground(1)))
    assert plan(free, its_rules, model="uniform").no_room == ""
