"""The largest margin for a number of drill groups, by trial of every set of ends; the trade of groups and margin."""

from __future__ import annotations

import itertools
import math
from pathlib import Path

import matplotlib.pyplot as plt
import pytest
from hypothesis import given, settings

import stubsi
from stubsi import Costs, GuaranteedResidual, Hole, StubsiError, plan
from stubsi.drilling.joint_choice import UNDRILLED
from stubsi.drilling.largest_margin import RESOLUTION
from stubsi.drilling.stub_margins import MOST
from tests import drilling_boards as made
from tests.drilling_boards import six_layers
from tests.test_drilling_least import RULES_OF_THUMB

DEMO = stubsi.read_board(Path(__file__).parents[1] / "shared" / "demo_board.toml")
DEMO_RULES = stubsi.read_rules(Path(__file__).parents[1] / "shared" / "demo_rules.toml")
UNIFORM = {"model": "uniform", "dk_eff": 4, "missed_nets": "stub by stub"}


def planned(board, its_rules, **more):
    return plan(board, its_rules, **{**UNIFORM, **more})


def searched(found):
    """Smallest margin of each net over its drilled stubs, each by itself: what the search goes by."""
    number = {candidate.place: n for n, candidate in enumerate(found.task.candidates)}
    group_of = {(hit.hole.name, hit.side): group for group in found.groups for hit in group.hits}
    drilled = ((stub, group_of.get((stub.hole.name, stub.window.side))) for stub in found.task.stubs)
    chosen = {stub: number[each.side, each.drill_si, each.end_si] for stub, each in drilled if each}
    return found.task.margins.of_nets(chosen)


def check_one_number(found):
    """A margin of a plan is that of the whole net in its consequences."""
    after = found.consequences()
    moment = {"nominal": 1, "worst": 2}[found.budget_at]
    for net, margin in found.margins_over_limit().items():
        assert margin == pytest.approx(after[net].margin_over_limit[moment], rel=1e-9)


def margin_by_hand(stub, end):
    """Limit over length, or over the loss in closed form, of the longest stub that an end may leave."""
    criterion = stub.limits.criterion(stub.row)
    length = max(stub.window.left(end).most_si, stub.window.shape.least_length_si)
    if length <= 0:
        return MOST
    drill = stub.window.shape.padstack.drill_si
    figure = length if criterion.measure == "stub length" else made.loss_by_hand(length, drill=drill)
    return min(MOST, criterion.limit / figure)


def margins_of_couple(couple, choice, task, opened):
    """Smallest margin of coupled stubs with every choice of open groups that is permitted."""
    options = [[(g, add) for g, add in own if g == UNDRILLED or g in opened] for own in choice.options]
    for chosen in itertools.product(*options):
        pairs = {(i, group) for i, (group, _) in enumerate(chosen)}
        if any(set(pair) <= pairs for pair in choice.excluded):
            continue
        if math.isfinite(couple.limit):
            total = sum(add for _, add in chosen)
            yield min(MOST, couple.limit / total) if total > 0 else MOST
        else:
            ends = [task.candidates[group].end_si for group, _ in chosen]
            yield min(margin_by_hand(stub, end) for stub, end in zip(couple.stubs, ends, strict=True))


def largest_by_trial(task, most_groups):
    """Largest smallest margin of all sets of so many ends; 0 where none serves every stub."""
    largest = 0.0
    for opened in map(frozenset, itertools.combinations(range(len(task.candidates)), most_groups)):
        smallest = MOST
        for stub in task.single:
            ends = [task.candidates[n].end_si for n in task.servers(stub) & opened]
            smallest = min(smallest, max((margin_by_hand(stub, end) for end in ends), default=0.0))
        for couple, choice in zip(task.coupled, task.choices, strict=True):
            smallest = min(smallest, max(margins_of_couple(couple, choice, task, opened), default=0.0))
        largest = max(largest, smallest)
    return largest if largest >= 1 - 1e-9 else 0.0


def check_every_number_of_groups(board, its_rules):
    """Each row of the trade against trial, and each as a plan that keeps every rule of a plan."""
    base = planned(board, its_rules)
    task = base.task
    if len(task.candidates) > 9:
        return
    trade = base.group_trade()
    of_groups = {row.groups: row for row in trade}
    for most_groups in range(1, len(task.candidates) + 1):
        by_trial = largest_by_trial(task, most_groups)
        if by_trial == 0:
            with pytest.raises(StubsiError, match=f"most_groups = {most_groups}: "):
                planned(board, its_rules, goal="largest margin", most_groups=most_groups)
            continue
        found = planned(board, its_rules, goal="largest margin", most_groups=most_groups)
        smallest = min(searched(found).values())
        assert smallest <= by_trial * (1 + 1e-6)
        assert by_trial <= smallest / (1 - found.margin_gap) * (1 + 1e-6)
        assert found.margin_gap <= 2 * RESOLUTION
        if not task.margins.has_sums:
            assert found.margin_gap == 0
        check_plan(found, base, most_groups)
        row = of_groups[max(groups for groups in of_groups if groups <= most_groups)]
        of_nets = found.margins_over_limit()
        assert math.isnan(row.margin_over_limit) if not of_nets else row.margin_over_limit == min(of_nets.values())
        assert row.net == min(of_nets, key=of_nets.get, default="")
        assert row.cost == found.cost


def check_plan(found, base, most_groups):
    assert len(base.groups) <= len(found.groups) <= most_groups
    assert found.refused == base.refused
    assert {hit.net for hit in found.hits} == {hit.net for hit in base.hits}
    assert searched(found).keys() == searched(base).keys()
    assert found.margins_over_limit().keys() == base.margins_over_limit().keys()
    for group in found.groups:
        for hit in group.hits:
            assert hit.window.holds(group.end_si)
            assert hit.left.most_si <= hit.window.longest_si + 1e-9 or hit.losses
    places = [entry.ends for entry in found.certificate]
    assert all(one.isdisjoint(other) for one, other in itertools.combinations(places, 2))
    assert len(places) <= len(found.groups)


@settings(max_examples=15)
@given(made.boards(), RULES_OF_THUMB)
@made.with_examples([made.CORNER_BOARD], made.CORNER_RULES[:1] + made.FACE_RULES[:1])
def test_the_largest_margin_by_trial_of_every_set_of_ends(board, its_rules):
    check_every_number_of_groups(board, its_rules)


@settings(max_examples=10)
@given(made.coupled_boards(), RULES_OF_THUMB)
@made.with_examples([made.COUPLED_BOARD], made.CORNER_RULES[:1])
def test_the_largest_margin_of_coupled_stubs_by_trial(board, its_rules):
    check_every_number_of_groups(board, its_rules)


@pytest.mark.slow
@settings(max_examples=300)
@given(made.boards() | made.coupled_boards(), RULES_OF_THUMB)
def test_the_largest_margin_by_trial_hundreds(board, its_rules):
    check_every_number_of_groups(board, its_rules)
    check_one_number(planned(board, its_rules))


TWO = six_layers(made.net("A", ("L1", "L3"), 0.65), made.net("B", ("L1", "L2"), 0.95))
"""A may keep 0.65 mm beyond L3 and B 0.95 mm beyond L2; both lie 0.3 mm deeper than the layer below them."""


def test_worked_trade():
    """0.3 mm left at most. One group before L3: A 0.65 / 0.3, B 0.95 / 0.6. A second one before L2: B 0.95 / 0.3."""
    trade = planned(TWO, made.rules(sides={"bottom": "any"})).group_trade()
    assert [row.groups for row in trade] == [1, 2]
    assert [row.margin_over_limit for row in trade] == pytest.approx([0.95 / 0.6, 0.65 / 0.3])
    assert [row.net for row in trade] == ["B", "A"]
    assert [row.loser for row in trade] == ["B", ""]
    assert trade[0].lost == pytest.approx(0.5)
    assert all(row.proven for row in trade)
    assert trade.to_frame()["margin lost [%]"].tolist() == pytest.approx([50, 0])
    assert "B loses 50%" in str(trade)


def test_what_holds_back_one_net_does_not_hold_back_the_others():
    """C can have no more than 0.32 / 0.3; with two groups B still has its best."""
    board = six_layers(*TWO.nets, made.net("C", ("L1", "L3"), 0.32))
    found = planned(board, made.rules(sides={"bottom": "any"}), goal="largest margin", most_groups=2)
    assert dict(found.margins_over_limit()) == pytest.approx({"A": 0.65 / 0.3, "B": 0.95 / 0.3, "C": 0.32 / 0.3})
    assert "Smallest margin over limit 1.067 (C): the largest with at most 2 groups" in found.summary()


def test_a_kept_stub_counts_in_the_margin_of_its_net():
    """A keeps 0.3 mm beyond L5 as drawn, of 0.35 mm: 1.17, though the one that is drilled has 0.35 / 0.15."""
    kept = Hole(name="A.2", padstack=made.VIA, connects=("L1", "L5"), x="3 mm", y="0 mm")
    net = made.net("A", ("L1", "L2"), 0.35)
    board = six_layers(net.replaced(holes=(*net.holes, kept)))
    found = planned(
        board,
        made.rules(
            tolerance=GuaranteedResidual(least="0.05 mm", most="0.15 mm", source=made.SAYS), sides={"bottom": "any"}
        ),
    )
    assert [hit.hole.name for hit in found.hits] == ["A.1"]
    assert searched(found)["A"] == pytest.approx(0.35 / 0.15)
    assert found.margins_over_limit()["A"] == pytest.approx(0.35 / 0.3)
    (row,) = found.group_trade()
    assert row.margin_over_limit == pytest.approx(0.35 / 0.3)
    check_one_number(found)
    assert found.consequences().to_frame()["margin over limit, worst"].tolist() == pytest.approx([0.35 / 0.3])


def test_wrong_goals_are_refused():
    for more, words in (
        ({"goal": "largest margin"}, "most_groups: must be given"),
        ({"goal": "largest margin", "most_groups": 0}, "most_groups = 0: must be a whole number of at least 1"),
        ({"goal": "largest margin", "most_groups": True}, "must be a whole number"),
        ({"goal": "largest margin", "most_groups": 2.5}, "must be a whole number"),
        ({"most_groups": 3}, "most_groups = 3: is only for goal = 'largest margin'"),
        ({"goal": "fewest groups", "most_groups": 3}, "is only for goal = 'largest margin'"),
    ):
        with pytest.raises(StubsiError, match=words):
            planned(TWO, made.rules(), **more)


def test_a_board_that_needs_no_drilling_has_an_empty_trade():
    board = six_layers(made.net("A", ("L1", "L6"), 0.5))
    trade = planned(board, made.rules()).group_trade()
    assert trade == ()
    assert str(trade) == "No drill group: none is needed, or none helps; the plan says which."
    found = planned(board, made.rules(), goal="largest margin", most_groups=1)
    assert (found.groups, found.margin_gap) == ((), 0)
    with pytest.raises(StubsiError, match="trade: has no rows"):
        stubsi.plot_group_trade(trade)


def test_the_number_of_groups_is_part_of_the_digest():
    one, two = (planned(TWO, made.rules(), goal="largest margin", most_groups=n) for n in (1, 2))
    assert one.inputs_changed(two) == ("goal",)


@pytest.fixture(scope="module")
def demo():
    costs = Costs(side=100, set_up=20, group=5, hole=0.1, source="made up for the test")
    return plan(DEMO, DEMO_RULES, costs=costs, model="uniform")


@pytest.fixture(scope="module")
def trade(demo):
    return demo.group_trade()


def test_more_groups_cost_more_and_leave_more_on_the_demo_board(demo, trade):
    check_one_number(demo)
    assert trade[0].groups == len(demo.groups)
    assert len(trade) > 1
    for fewer, more in itertools.pairwise(trade):
        assert fewer.groups < more.groups
        assert fewer.cost < more.cost
        assert fewer.margin_over_limit <= more.margin_over_limit
        assert 0 < fewer.lost < 1
    assert all(row.proven for row in trade)


def test_the_plot_shows_the_rows_of_the_trade(trade):
    _, ax = plt.subplots()
    assert stubsi.plot_group_trade(trade, ax) is ax
    line = ax.lines[0]
    assert line.get_xdata().tolist() == [row.groups for row in trade]
    assert line.get_ydata().tolist() == [row.margin_over_limit for row in trade]
    assert [text.get_text() for text in ax.texts] == [row.net for row in trade]
    plt.close(ax.figure)
