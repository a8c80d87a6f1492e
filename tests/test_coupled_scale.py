"""Plans of large boards on which nearly every net has a joint choice of its own."""

from __future__ import annotations

import time

import numpy as np
import pytest

from stubsi import Board, Criterion, Hole, Net, plan
from stubsi.drilling.grouping import _choices, _coordinates
from stubsi.drilling.integer_program import cheapest
from stubsi.drilling.joint_choice import UNDRILLED
from stubsi.drilling.set_cover import cover
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


def pairs_of(count):
    """Pairs of two holes for each leg, most with two stubs each, under limits for their sums as above."""
    random = np.random.default_rng(1)
    nets = []
    for number in range(count):
        x, y = 4.0 * (number % 40), 6.0 * (number // 40)
        uses = [tuple(random.permutation(LAYERS)[:2].tolist()) for _ in range(2)]
        holes = tuple(
            Hole(
                name=f"n{number}.{i}{leg}", padstack=made.VIA, connects=used, leg=leg, x=made.mm(x + dx),
                y=made.mm(y + 2 * i),
            )
            for i, used in enumerate(uses)
            for leg, dx in (("P", 0.45), ("N", -0.45))
        )  # fmt: skip
        limit = Criterion.loss(round(random.uniform(0.3, 2.5), 3), source=made.SAYS)
        signal = f"{random.integers(10, 28)} Gb/s"
        nets.append(Net(name=f"n{number}", signal=signal, z0="100 ohm", criterion=limit, holes=holes))
    return Board(stackup=made.stackup((0.25,) * 11), nets=tuple(nets))


def timed(count, boards=board_of):
    """The plan of so many nets under a depth tolerance, and how long it took [s]."""
    its_rules = made.rules(tip_angle=180, tip_distance="0 mm", tolerance=made.depth_tolerance(0.03, 0.03))
    start = time.perf_counter()
    found = plan(boards(count), its_rules, model="uniform", dk_eff=4, missed_nets="stub by stub", time_limit=20)
    return found, time.perf_counter() - start


@pytest.mark.slow
@pytest.mark.parametrize("boards", [board_of, pairs_of])
def test_the_time_of_a_thousand_distinct_joints_grows_by_less_than_the_square_of_the_nets(boards):
    """Ten times the nets: less than a hundred times as long. The gap is told, and is small."""
    timed(20, boards)
    _, short = timed(100, boards)
    found, long = timed(1000, boards)
    assert len(set(found.task.choices)) > 800
    assert long < 10**2 * short
    assert found.cost_gap < 0.1
    assert ("relative gap" in found.summary()) == (found.cost_gap > 0)


@pytest.mark.slow
def test_groups_sought_by_themselves_cost_as_much_as_all_options_at_once_and_take_less_time():
    """The same least number of groups, as few hits or fewer, in less than half the time."""
    found, _ = timed(200)
    wanted = sorted({found.task.servers(stub) for stub in found.task.single}, key=sorted)
    choices, coordinates = _choices(found.task), _coordinates(found.task)
    start = time.perf_counter()
    alone = cover(wanted, choices, coordinates, found.costs, 60.0)
    middle = time.perf_counter()
    whole = cheapest(wanted, choices, coordinates, found.costs, 60.0, goal=found.goal)
    end = time.perf_counter()

    def hits(chosen):
        return sum(
            choice.nets * sum(group != UNDRILLED for group in groups)
            for choice, groups in zip(choices, chosen, strict=True)
        )

    assert len(alone.groups) == len(whole.groups)
    assert alone.gap == whole.gap == 0
    assert hits(alone.choices) <= hits(whole.choices)
    assert middle - start < 0.5 * (end - middle)


@pytest.mark.slow
def test_the_trade_of_a_large_coupled_board_is_proven_or_tells_its_gap():
    found, _ = timed(200)
    trade = found.group_trade(time_limit=5)
    assert trade[0].groups <= len(found.groups)
    for row in trade:
        assert 0 <= row.gap < 1
        assert ("relative gap" in str(row)) == (row.gap > 0) == (not row.proven)
