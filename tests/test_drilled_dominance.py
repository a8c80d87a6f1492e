"""What dominates after drilling: the depth of the drill beside the Dk, in closed form, and what half of it brings."""

from __future__ import annotations

import numpy as np
import pytest

from stubsi import Board, Tolerances, Turn, drilled_dominance, drilled_yield, plan
from tests.test_drilled_yield import LAYERS, net, plus_minus, rules

DEPTH = "depth of the drill"


@pytest.fixture(scope="module")
def found():
    """One stub of 0.1 to 0.3 mm, uniform, whose limit of 0.31 mm holds at Dk 4; Dk uniform from 3.8 to 4.2."""
    made = plan(Board(stackup=LAYERS, nets=(net("B", 0.31),)), rules(), model="uniform")
    return drilled_dominance(made, Tolerances(dk=plus_minus("10 %")), wanted=0.999)


def test_the_depth_dominates_the_dk(found):
    """y = 1 / (L sqrt(Dk)), both uniform: shares of the variance from the moments of 1 / L and 1 / sqrt(Dk)."""
    g, g2 = np.log(3) / 0.2, 1 / (0.1 * 0.3)
    h, h2 = 2 * (np.sqrt(4.4) - np.sqrt(3.6)) / 0.8, np.log(4.4 / 3.6) / 0.8
    total = g2 * h2 - (g * h) ** 2
    for of in (found["B"], found.of_board):
        assert of.first[DEPTH] == pytest.approx((g2 - g**2) * h**2 / total, abs=4 * of.error)
        assert of.first["dk"] == pytest.approx((h2 - h**2) * g**2 / total, abs=4 * of.error)
        assert of.error < 0.015
        assert of.largest == DEPTH


def test_half_of_the_depth_brings_what_a_narrower_rule_does(found):
    """0.15 to 0.25 mm: met on every board. And the yield now is that of drilled_yield."""
    dk, depth = found.asks_of("B")
    assert (dk.tolerance, depth.tolerance) == ("dk", DEPTH)
    assert depth.limits == "+/-0.1 mm"
    now = drilled_yield(found.plan, found.tolerances)["B"]
    assert depth.now == pytest.approx(now.probability, abs=1e-12)
    assert depth.now < 0.999 < depth.halved == depth.exact == 1
    assert depth.turn is Turn.AT
    limit = 0.31 / np.sqrt(1.1) * 2  # at a Dk of 4.4 it is met up to this length over sqrt(4)
    assert depth.part > (limit / 2 - 0.2) / 0.1 - 2e-3
    text = str(found)
    assert "After drilling; the yield of the board is that of the nets that drilling can mend." in text
    assert depth.turns_at in text
    assert found.to_csv().count("depth of the drill") == 2  # for the board and for the net


@pytest.mark.slow
def test_an_exact_depth_leaves_the_others(found):
    """The board is judged as its only net; without tolerances the depth is all that varies."""
    alone = drilled_dominance(found.plan, Tolerances())
    assert list(alone["B"].total) == [DEPTH]
    assert alone["B"].total[DEPTH] == pytest.approx(1, abs=4 * alone["B"].error)
    assert alone.of_board.total == pytest.approx(alone["B"].total, abs=1e-9)
