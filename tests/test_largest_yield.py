"""The plan with the largest yield at a number of drill groups: against every set of groups, planned one by one."""

from __future__ import annotations

from itertools import combinations

import pytest

from stubsi import Board, BoardError, Tolerances, drilled_yield, largest_yield, plan
from stubsi.drilling.goal import Goal
from stubsi.drilling.opened_plan import opened_plan
from stubsi.tolerance import yield_search
from tests.test_drilled_yield import LAYERS, net, plus_minus, rules

DK = Tolerances(dk=plus_minus("10 %"))
NETS = (
    net("A", 0.61), net("B", 0.31, ("L1", "L4")), net("C", 0.92, ("L1", "L2")), net("D", 0.63), net("E", 0.35),
    net("F", 0.91, ("L1", "L2")),
)  # fmt: skip
"""Each group leaves 0.1 to 0.3 mm before its layer, and 0.3 mm more before the next one."""


@pytest.fixture(scope="module")
def planned():
    return plan(Board(stackup=LAYERS, nets=NETS[:4]), rules(), model="uniform", dk_eff=None)


def by_trial(planned, tolerances, most_groups):
    """Largest yield over all sets of candidate groups that serve every stub, each planned and counted by itself."""
    task = planned.task
    best = 0.0
    for count in range(1, most_groups + 1):
        for opened in map(frozenset, combinations(range(len(task.candidates)), count)):
            served = {stub: task.servers(stub) & opened for stub in task.single}
            if all(served.values()):
                group_of = {stub: max(servers) for stub, servers in served.items()}
                made = opened_plan(planned, group_of, Goal("largest yield", most_groups))
                best = max(best, drilled_yield(made, tolerances).mendable[0])
    return best


@pytest.mark.slow
@pytest.mark.parametrize("most_groups", [1, 2])
def test_no_set_of_groups_has_a_larger_yield(planned, most_groups):
    found = largest_yield(planned, DK, most_groups=most_groups)
    assert len(found.plan.groups) <= most_groups
    assert found.gap == 0
    assert found.proof == "no larger one"
    assert found.drilled.mendable[0] == pytest.approx(by_trial(planned, DK, most_groups), abs=2e-3)
    assert str(found.plan.goal) == f"largest yield with at most {most_groups} drill groups"
    assert "no larger one" in found._repr_html_()
    assert "largest_yield says how sure" in found.plan.summary()


@pytest.mark.slow
def test_more_groups_yield_no_less(planned):
    """One group leaves the most of A, C and D; with three each stub has the group of its own layer."""
    yields = [largest_yield(planned, DK, most_groups=count).drilled.mendable[0] for count in (1, 3)]
    assert yields[0] < yields[1] - 0.02


@pytest.mark.slow
def test_every_number_of_groups_against_every_set(planned):
    """Six nets on six layers, each number of groups; the depth alone deviates, and Dk with it."""
    made = plan(Board(stackup=LAYERS, nets=NETS), rules(), model="uniform")
    for tolerances in (Tolerances(), DK):
        for most_groups in (2, 3):
            found = largest_yield(made, tolerances, most_groups=most_groups)
            assert found.gap == 0
            assert found.drilled.mendable[0] == pytest.approx(by_trial(made, tolerances, most_groups), abs=2e-3)


def test_a_search_that_stops_says_what_it_leaves_open(planned, monkeypatch):
    monkeypatch.setattr(yield_search, "MOST_SETS", 2)
    found = largest_yield(planned, DK, most_groups=2)
    assert 0 < found.gap <= 1
    assert "larger" in found.proof


def test_what_is_not_possible_is_refused(planned):
    with pytest.raises(BoardError, match="most_groups = 0"):
        largest_yield(planned, DK, most_groups=0)
    apart = plan(Board(stackup=LAYERS, nets=(net("B", 0.31, ("L1", "L4")), net("E", 0.35))), rules(), model="uniform")
    with pytest.raises(BoardError, match="most_groups = 1: the stubs that must be drilled need more"):
        largest_yield(apart, DK, most_groups=1)
