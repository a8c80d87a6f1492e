"""Least groups and least cost against brute force and the mixed-integer solver; the proof checked by itself."""

from __future__ import annotations

import itertools
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from stubsi.drilling.costs import FEWEST_GROUPS, Costs
from stubsi.drilling.goal import LEAST_COST, Goal
from stubsi.drilling.joint_choice import UNDRILLED, JointChoice, possible, requirements
from stubsi.drilling.joint_search import JointSearch
from stubsi.drilling.set_cover import cover, stab

DEPTHS = 4
UP_TO_TWO, UP_TO_THREE = (st.lists(st.integers(1, DEPTHS), min_size=1, max_size=most) for most in (2, 3))
SIDES = st.lists(st.integers(0, 1), min_size=3, max_size=3)


@st.composite
def places_and_demands(draw, counts=UP_TO_TWO, most=12):
    """Candidate groups on some set-ups, and runs of neighbouring ones."""
    counts = draw(counts)
    sides = sorted(draw(SIDES)[: len(counts)])
    places = [(sides[set_up], set_up, depth) for set_up, count in enumerate(counts) for depth in range(count)]
    starts = np.cumsum([0, *counts])
    demands = []
    for _ in range(draw(st.integers(0, most))):
        set_up = draw(st.integers(0, len(counts) - 1))
        low = draw(st.integers(0, counts[set_up] - 1))
        high = draw(st.integers(low, counts[set_up] - 1))
        demands.append(frozenset(range(starts[set_up] + low, starts[set_up] + high + 1)))
    return places, demands


def fewest_by_trial(places, serves):
    """Smallest number of groups, by trying every set of them."""
    for size in range(len(places) + 1):
        if any(serves(frozenset(groups)) for groups in itertools.combinations(range(len(places)), size)):
            return size
    return None


def check_stabbing(case):
    places, demands = case
    groups, disjoint = stab(demands, places)
    assert all(demand & set(groups) for demand in demands)
    assert len(groups) == fewest_by_trial(places, lambda opened: all(demand & opened for demand in demands))
    assert len(disjoint) == len(groups)
    assert all(demand in demands for demand in disjoint)
    assert all(a.isdisjoint(b) for a, b in itertools.combinations(disjoint, 2))


@settings(max_examples=60)
@given(places_and_demands())
def test_stabbing_is_least_and_proves_it(case):
    check_stabbing(case)


@pytest.mark.slow
@settings(max_examples=5000)
@given(places_and_demands())
def test_stabbing_is_least_and_proves_it_thousands(case):
    check_stabbing(case)


@settings(max_examples=20)
@given(st.integers(0, 2**32 - 1))
def test_stabbing_agrees_with_integer_program_on_large_cases(seed):
    rng = np.random.default_rng(seed)
    places = [(0, set_up, depth) for set_up in range(4) for depth in range(30)]
    low = rng.integers(0, 30, 400)
    high = np.minimum(low + rng.integers(0, 8, 400), 29)
    set_up = rng.integers(0, 4, 400)
    demands = [frozenset(range(30 * s + a, 30 * s + b + 1)) for s, a, b in zip(set_up, low, high, strict=True)]
    rows = np.array([[g in demand for g in range(120)] for demand in demands], dtype=float)
    least = milp(np.ones(120), constraints=LinearConstraint(rows, lb=1), bounds=Bounds(0, 1), integrality=1)
    assert len(stab(demands, places)[0]) == round(least.fun)


@cache
def joints_on(count):
    """One to three stubs, each alone or on some groups, whose sum has a limit."""
    add = st.integers(0, 20).map(lambda tenths: tenths / 10)
    stub = st.dictionaries(st.integers(0, count - 1), add, max_size=4).flatmap(
        lambda groups: add.map(lambda left: ((UNDRILLED, left + 1.0), *sorted(groups.items())))
    )
    return st.builds(
        JointChoice,
        options=st.lists(stub, min_size=1, max_size=3).map(tuple),
        limit=st.integers(1, 40).map(lambda tenths: tenths / 10 + 0.05),
        excluded=st.just(()),
        nets=st.just(1),
    )


@cache
def one_to_three_joints(count):
    return st.lists(joints_on(count), min_size=1, max_size=3)


@cache
def possible_joints(count):
    return joints_on(count).filter(possible)


def choices(joint, opened):
    """Every choice of groups that keeps a joint within its limit."""
    options = [[(g, add) for g, add in stub if g == UNDRILLED or g in opened] for stub in joint.options]
    for chosen in itertools.product(*options):
        pairs = {(i, group) for i, (group, _) in enumerate(chosen)}
        if sum(add for _, add in chosen) <= joint.limit and not any(set(p) <= pairs for p in joint.excluded):
            yield tuple(group for group, _ in chosen)


def cost_of(places, opened, hits, costs):
    used = [places[group] for group in opened]
    counts = (len({p[0] for p in used}), len({p[:2] for p in used}), len(opened), hits)
    return float(np.dot((costs.side, costs.set_up, costs.group, costs.hole), counts))


def in_order(cost, groups, goal):
    return (cost, groups) if goal == LEAST_COST else (groups, cost)


def least_by_trial(places, demands, joints, costs, goal):
    """Least cost, least groups at that cost, least hits at both, by trying everything; or groups before cost."""
    best = (np.inf, 0, 0)
    for size in range(len(places) + 1):
        for opened in map(frozenset, itertools.combinations(range(len(places)), size)):
            if not all(demand & opened for demand in demands):
                continue
            hits = [min((sum(g != UNDRILLED for g in c) for c in choices(j, opened)), default=None) for j in joints]
            if None not in hits:
                total = sum(hits)
                cost = round(cost_of(places, opened, total, costs), 6)
                best = min(best, (*in_order(cost, size, goal), total))
    return best


PRICE = st.sampled_from([0, 0, 1, 3, 10])
COSTS = st.builds(Costs, side=PRICE, set_up=PRICE, group=PRICE, hole=PRICE, source=st.just("drawn at random"))


GOAL = st.sampled_from([LEAST_COST, Goal("fewest groups")])


def check_cost(case, data, costs, goal):
    places, demands = case
    drawn = data.draw(one_to_three_joints(len(places)))
    joints = [joint for joint in drawn if possible(joint)]
    assert all(any(choices(joint, range(len(places)))) == possible(joint) for joint in drawn)
    found = cover(demands, joints, places, costs, 60.0, goal=goal)
    hits = sum(group != UNDRILLED for choice in found.choices for group in choice)
    assert all(choice in set(choices(joint, found.groups)) for joint, choice in zip(joints, found.choices, strict=True))
    assert all(demand & set(found.groups) for demand in demands)
    assert found.gap == 0
    least = least_by_trial(places, demands, joints, costs, goal)
    cost = round(cost_of(places, found.groups, hits, costs), 6)
    assert (*in_order(cost, len(found.groups), goal), hits) == least


COUPLED = places_and_demands(UP_TO_THREE, most=2), st.data(), COSTS | st.just(FEWEST_GROUPS), GOAL


@settings(max_examples=25)
@given(*COUPLED)
def test_coupled_stubs_cost_the_least(case, data, costs, goal):
    check_cost(case, data, costs, goal)


@pytest.mark.slow
@settings(max_examples=2000)
@given(*COUPLED)
def test_coupled_stubs_cost_the_least_thousands(case, data, costs, goal):
    check_cost(case, data, costs, goal)


@settings(max_examples=30)
@given(places_and_demands(most=3), st.data())
def test_what_a_joint_needs_it_cannot_do_without(case, data):
    places, _ = case
    joint = data.draw(possible_joints(len(places)))
    for need in requirements(joint):
        assert not any(choices(joint, set(range(len(places))) - need.groups))


@settings(max_examples=20)
@given(places_and_demands(most=3), st.data())
def test_certificate_of_coupled_stubs_is_a_lower_bound(case, data):
    places, demands = case
    joints = [joint for joint in data.draw(st.lists(joints_on(len(places)), max_size=3)) if possible(joint)]
    found = cover(demands, joints, places, FEWEST_GROUPS, 60.0)
    assert len(found.disjoint) <= len(found.groups)
    assert all(a.isdisjoint(b) for a, b in itertools.combinations(found.disjoint, 2))


def test_excluded_pairs_are_kept_apart():
    """Two stubs of one hole, each with a deep and a shallow group; both deep leave too little barrel."""
    places = [(0, 0, 0), (0, 0, 1), (1, 1, 0), (1, 1, 1)]
    stub = (((0, 0.0), (1, 0.0)), ((2, 0.0), (3, 0.0)))
    joint = JointChoice(stub, excluded=(((0, 1), (1, 3)),))
    deep = [frozenset({1}), frozenset({3})]
    found = cover(deep, [joint], places, FEWEST_GROUPS, 60.0)
    assert len(found.groups) == 3
    assert found.choices[0] != (1, 3)
    assert not possible(joint._replace(options=(stub[0][1:], stub[1][1:])))


def priced(**prices):
    return Costs(**{"side": 0, "set_up": 0, "group": 1, "hole": 0, **prices}, source="made up")


@pytest.mark.parametrize(
    ("costs", "groups"),
    [(priced(), (0, 3)), (priced(set_up=2), (0, 1, 2)), (priced(side=2), (0, 1, 2)), (priced(side=0.5), (0, 3))],
    ids=["groups", "set-up", "side", "cheap side"],
)
def test_set_ups_and_sides_are_paid_for(costs, groups):
    """Group 0 is needed anyway; two stubs take groups 1 and 2 beside it, or both of them group 3 on the other side.

    Two more groups cost 2; one more with its set-up 1 + 2, with its side 1 + 2, or 1 + 0.5.
    """
    places = [(0, 0, 0), (0, 0, 1), (0, 0, 2), (1, 1, 3)]
    joint = JointChoice((((1, 0.0), (3, 0.0)), ((2, 0.0), (3, 0.0))))
    assert cover([frozenset({0})], [joint], places, costs, 60.0).groups == groups
    assert cover([frozenset({0})], [joint], places, costs, 60.0, goal=Goal("fewest groups")).groups == (0, 3)


@pytest.mark.parametrize(("hole", "chosen"), [(0.5, (0, 0)), (3, (1, UNDRILLED))], ids=["cheap", "dear"])
def test_hits_are_paid_for(hole, chosen):
    """Sum of at most 1: both stubs in the group that is open, a hit more; or one in its own group, a group more."""
    joint = JointChoice((((UNDRILLED, 1.0), (0, 0.4), (1, 0.0)), ((UNDRILLED, 0.9), (0, 0.4))), limit=1.0)
    found = cover([frozenset({0})], [joint], [(0, 0, 0), (0, 0, 1)], priced(hole=hole), 60.0)
    assert found.choices == (chosen,)


@pytest.mark.parametrize("count", [1, 1000], ids=["one net", "a thousand alike"])
def test_alike_nets_count_as_one_in_the_program(count):
    """A hit costs 1 and a group 3: one net alone, or a thousand, drills the one stub whose loss suffices."""
    places = [(0, 0, 0)]
    joint = JointChoice((((UNDRILLED, 2.0), (0, 0.1)), ((UNDRILLED, 0.5), (0, 0.1))), limit=1.0, nets=count)
    found = cover([], [joint], places, Costs(side=0, set_up=0, group=3, hole=1, source="made up"), 60.0)
    assert found.choices == ((0, UNDRILLED),)


@st.composite
def small_choices(draw):
    """Up to three stubs with up to four groups each, any losses; some pairs exclude each other."""
    stubs = draw(st.integers(1, 3))
    options = []
    for _ in range(stubs):
        groups = draw(st.lists(st.integers(0, 4), min_size=1, max_size=4, unique=True))
        undrilled = [UNDRILLED] if draw(st.booleans()) else []
        options.append(tuple((group, draw(st.integers(0, 6)) / 4) for group in sorted([*undrilled, *groups])))
    pairs = [((i, a), (j, b)) for (i, one), (j, other) in itertools.combinations(enumerate(options), 2)
             for (a, _), (b, _) in itertools.product(one, other) if UNDRILLED not in {a, b}]  # fmt: skip
    excluded = draw(st.lists(st.sampled_from(pairs), max_size=3, unique=True)) if pairs else []
    return JointChoice(tuple(options), draw(st.integers(1, 12)) / 4, tuple(excluded))


@settings(max_examples=60)
@given(small_choices(), st.sets(st.integers(0, 4)))
def test_a_joint_choice_under_open_groups_by_trial_of_every_option(choice, opened):
    """Served or not; the fewest hits, of those the deepest ends; every way to serve it uses a missing group."""
    every = []
    for chosen in itertools.product(*choice.options):
        groups = [group for group, _ in chosen]
        used = set(enumerate(groups))
        fits = sum(add for _, add in chosen) <= choice.limit + 1e-9
        if fits and not any(set(pair) <= used for pair in choice.excluded):
            every.append(tuple(groups))
    able = [groups for groups in every if set(groups) - {UNDRILLED} <= opened]
    search = JointSearch(choice)
    assert search.is_served(opened) == bool(able)
    if able:
        rank = min((sum(g != UNDRILLED for g in groups), -sum(g for g in groups if g != UNDRILLED)) for groups in able)
        best = search.best(opened)
        assert best in able
        assert (sum(g != UNDRILLED for g in best), -sum(g for g in best if g != UNDRILLED)) == rank
    elif every:
        missing = search.missing(opened)
        assert missing
        assert all(missing & set(groups) for groups in every)
