"""Nets with stubs that stay undrilled, judged with the clearances that the drills of other nets need."""

from __future__ import annotations

import pytest

from stubsi import Criterion, plan, rank
from stubsi.drilling.effects import widened
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
