"""Plans of large boards on which nearly every net has a joint choice of its own."""

from __future__ import annotations

import time

import numpy as np
import pytest

from stubsi import Board, Criterion, Hole, Net, plan
from tests import drilling_boards as made

LAYERS = [f"L{number}" for number in range(2, 12)]


def board_of(count):
    """Nets of two holes, most with two stubs each, with a limit for the sum of their losses that is like no other."""
    random = np.random.default_rng(1)
    nets = tuple(
        Net(
            name=f"n{number}", signal=f"{random.integers(10, 28)} Gb/s", z0="50 ohm",
            criterion=Criterion.loss(round(random.uniform(0.3, 2.5), 3), source=made.SAYS),
            holes=tuple(
                Hole(name=f"n{number}.{i}", padstack=made.VIA, connects=tuple(random.permutation(LAYERS)[:2].tolist()))
                for i in range(2)
            ),
        )
        for number in range(count)
    )  # fmt: skip
    return Board(stackup=made.stackup((0.25,) * 11), nets=nets)


def timed(count):
    """The plan of so many nets under a depth tolerance, and how long it took [s]."""
    its_rules = made.rules(tip_angle=180, tip_distance="0 mm", tolerance=made.depth_tolerance(0.03, 0.03))
    start = time.perf_counter()
    found = plan(board_of(count), its_rules, model="uniform", dk_eff=4, missed_nets="stub by stub", time_limit=20)
    return found, time.perf_counter() - start


@pytest.mark.slow
def test_the_time_of_a_thousand_distinct_joints_grows_by_less_than_the_square_of_the_nets():
    """Ten times the nets: less than a hundred times as long. The gap is told, and is small."""
    timed(20)
    _, short = timed(100)
    found, long = timed(1000)
    assert len(set(found.task.choices)) > 800
    assert long < 10**2 * short
    assert found.cost_gap < 0.1
    assert ("relative gap" in found.summary()) == (found.cost_gap > 0)


@pytest.mark.slow
def test_the_trade_of_a_large_coupled_board_is_proven_or_tells_its_gap():
    found, _ = timed(200)
    trade = found.group_trade(time_limit=5)
    assert trade[0].groups <= len(found.groups)
    for row in trade:
        assert 0 <= row.gap < 1
        assert ("relative gap" in str(row)) == (row.gap > 0) == (not row.proven)
