"""Least cost and least groups by trial of every set of ends, and certificates, on boards with coupled nets."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stubsi.drilling.costs import FEWEST_GROUPS, Costs
from stubsi.drilling.guaranteed_residual import GuaranteedResidual
from stubsi.drilling.planning import plan
from stubsi.drilling.window import Window, window
from stubsi.stubs.drawn import stub_shapes
from tests import drilling_boards as made

RULES_OF_THUMB = st.builds(
    made.rules,
    tolerance=made.SOUND_RESIDUALS | made.FACE_TOLERANCES,
    tip_angle=st.sampled_from([150, 180]),
    tip_distance=made.tenths(0, 0.06).map(made.mm),
    least_plated=st.just("0 mm") | made.tenths(0.1, 0.6).map(made.mm),
    sides=made.SIDES,
)
COSTS = st.just(FEWEST_GROUPS) | st.builds(
    Costs,
    side=st.integers(0, 5), set_up=st.integers(0, 5), group=st.integers(0, 5), hole=st.integers(0, 3),
    source=st.just("drawn at random"),
)  # fmt: skip
GOALS = st.sampled_from(["least cost", "fewest groups"])

CORNER_RULES = made.CORNER_RULES[:1] + made.CORNER_RULES[2:] + made.FACE_RULES


class Seen(NamedTuple):
    """A stub: its hole, its window without regard to any limit, its length [m] and the diameter of its hole [m].

    ``times``: how often its loss counts: twice where its hole has two stubs.
    """

    hole: str
    window: Window
    length: float
    drill: float
    times: int

    def loss(self, length):
        return self.times * made.loss_by_hand(length, drill=self.drill)


def legs(board, its_rules, budget_at="worst"):
    """Stubs of every net with its criterion."""
    for net in board.nets:
        shapes = [(hole, stub_shapes(board.stackup, hole.padstack, board.span(hole))) for hole in net.holes]
        yield (
            net,
            [
                Seen(hole.name, window(shape, math.inf, its_rules, budget_at), shape.stub_length_si,
                     hole.padstack.drill_si, len(its_shapes))
                for hole, its_shapes in shapes
                for shape in its_shapes
            ],
        )  # fmt: skip


def plated(one, other, its_rules):
    """Plated barrel [m] that stays between two ends in one hole, at worst: what both leave, and what lies between."""
    (a, at), (b, bt) = one, other
    between = its_rules.tolerance.shrunk(a.window.rest_si - b.window.barrel_si)
    return a.window.left(at).least_si + b.window.left(bt).least_si + between


def choices(stubs, ends, fits, its_rules):
    """Every choice of ends (None: not drilled) for some stubs together, as (set of ends used, hits)."""
    options = [[None, *(end for end in ends if end[0] == s.window.side and end[1] == round(s.drill, 9))] for s in stubs]
    for chosen in itertools.product(*options):
        drilled = [(stub, end[2]) for stub, end in zip(stubs, chosen, strict=True) if end]
        if all(s.window.holds(end) for s, end in drilled) and fits(chosen) and all(
            a[0].hole != b[0].hole or plated(a, b, its_rules) >= its_rules.least_plated_si - 1e-10
            for a, b in itertools.combinations(drilled, 2)
        ):  # fmt: skip
            yield frozenset(end for end in chosen if end), len(drilled)


def worst(stub, end):
    """Length that counts [m]: at worst tolerance, or the nominal one."""
    if end is None:
        return stub.length
    left = stub.window.left(end[2])
    return left.nominal_si if stub.window.budget_at == "nominal" else left.most_si


def units(board, its_rules, ends, budget_at):
    """What must be served together, each as (net, its possible choices); nothing serves the one without a choice."""
    for net, stubs in legs(board, its_rules, budget_at):
        limit = net.criterion.limit
        if net.criterion.measure == "loss":
            yield net.name, list(choices(stubs, ends, within_sum(stubs, limit), its_rules))
        else:
            for _, own in itertools.groupby(stubs, key=lambda stub: stub.hole):
                too_long = [stub for stub in own if stub.length > limit + 1e-10]
                yield from ((net.name, unit) for unit in per_hole(too_long, limit, ends, its_rules))


def within_sum(stubs, limit):
    def fits(chosen):
        if not any(chosen) and as_drawn(stubs) <= limit:
            return True
        return sum(s.loss(worst(s, e)) for s, e in zip(stubs, chosen, strict=True)) <= limit

    return fits


def as_drawn(stubs):
    """Loss [dB] of a net with its stubs as drawn, two of a hole together."""
    holes = [list(own) for _, own in itertools.groupby(stubs, key=lambda stub: stub.hole)]
    return sum(made.loss_by_hand(*(stub.length for stub in own), drill=own[0].drill) for own in holes)


def within_each(stubs, limit):
    def fits(chosen):
        return all(end and worst(stub, end) <= limit + 1e-10 for stub, end in zip(stubs, chosen, strict=True))

    return fits


def per_hole(stubs, limit, ends, its_rules):
    """Both stubs of a hole where they can be drilled together, else each that can be, or the longer of them."""
    alone = [list(choices([stub], ends, within_each([stub], limit), its_rules)) for stub in stubs]
    both = list(choices(stubs, ends, within_each(stubs, limit), its_rules))
    if len(stubs) < 2 or not all(alone):
        yield from alone
    elif both:
        yield both
    else:
        yield from (alone[max((1, 0), key=lambda i: stubs[i].length)], [])


def candidate_ends(board, its_rules, budget_at="worst"):
    """Where an end may lie without loss of generality: at the layers' own ends, or a window's deepest or shallowest."""
    found = set()
    for net, stubs in legs(board, its_rules, budget_at):
        for stub in stubs:
            limit = net.criterion.limit if net.criterion.measure != "loss" else math.inf
            w = window(stub.window.shape, limit, its_rules, budget_at)
            set_up = (w.side, round(stub.drill, 9))
            if isinstance(its_rules.tolerance, GuaranteedResidual):
                found |= {(*set_up, at - its_rules.tolerance.nominal_si) for at in near_faces(board.stackup, w.side)}
            elif not w.reasons and stub.length > limit:
                found |= {(*set_up, w.deepest_si), (*set_up, w.shallowest_si)}
            elif not w.reasons and math.isinf(limit):
                found.add((*set_up, w.deepest_si))
    return found


def near_faces(stackup, side):
    """Depth [m] of every layer's face towards the drill."""
    if side == "top":
        return [stackup.face_si(name, "upper") for name in stackup.names]
    return [stackup.edges_si[-1] - stackup.face_si(name, "lower") for name in stackup.names]


def in_order(cost, groups, goal):
    return (cost, groups) if goal == "least cost" else (groups, cost)


def least_by_trial(served, costs, goal):
    """Least cost, least groups at that cost, least hits at both; or the groups before the cost."""
    ends = sorted({end for choices in served for used, _ in choices for end in used})
    best = (math.inf, 0, 0)
    for size in range(len(ends) + 1):
        for opened in map(frozenset, itertools.combinations(ends, size)):
            hits = [min((n for used, n in choices if used <= opened), default=None) for choices in served]
            if None not in hits:
                counts = len({end[0] for end in opened}), len({end[:2] for end in opened}), size, sum(hits)
                cost = np.dot((costs.side, costs.set_up, costs.group, costs.hole), counts)
                best = min(best, (*in_order(round(float(cost), 6), size, goal), sum(hits)))
    return best


def check_least(board, its_rules, costs, goal, budget_at="worst"):
    if any(net.criterion.measure == "loss" for net in board.nets) and its_rules.tolerance.aimed(0.0) is None:
        its_rules = replace(its_rules, least_plated="0 mm")
    ends = sorted(candidate_ends(board, its_rules, budget_at))
    every = list(units(board, its_rules, ends, budget_at))
    served = [choices for _, choices in every if choices]
    used = {end for choices in served for own, _ in choices for end in own}
    if len(used) > 10:
        return
    more = {"costs": costs, "goal": goal, "budget_at": budget_at, "missed_nets": "stub by stub"}
    found = plan(board, its_rules, model="uniform", dk_eff=4, **more)
    assert {refused.net for refused in found.refused} == {net for net, choices in every if not choices}
    reached = (*in_order(round(found.cost, 6), len(found.groups), goal), len(found.hits))
    assert reached == least_by_trial(served, costs, goal)


@settings(max_examples=15)
@given(made.coupled_boards(), RULES_OF_THUMB, COSTS, GOALS)
@made.with_examples([made.COUPLED_BOARD], CORNER_RULES, FEWEST_GROUPS, "least cost")
def test_least_cost_by_trial_of_every_set_of_ends(board, its_rules, costs, goal):
    check_least(board, its_rules, costs, goal)


@settings(max_examples=8)
@given(made.coupled_boards(), RULES_OF_THUMB, COSTS, GOALS)
@made.with_examples([made.COUPLED_BOARD], CORNER_RULES[:3], FEWEST_GROUPS, "least cost")
def test_least_cost_where_the_budget_holds_at_nominal_depth(board, its_rules, costs, goal):
    check_least(board, its_rules, costs, goal, "nominal")


# ---------------------------------------------------------------------------------------------------------------------
# The certificate, checked by itself: its entries need a group each, and no end on a fine grid serves two of them.


def grid(board, its_rules, set_up):
    """Ends [m] of the plating all over a set-up: those of the layers, or any depth where it is free."""
    if its_rules.tolerance.aimed(0.0) is None:
        own = [end[2] for end in candidate_ends(board, its_rules) if end[:2] == set_up]
        return [*np.linspace(0, board.stackup.edges_si[-1], 300).tolist(), *own]
    return [its_rules.tolerance.aimed(at) for at in near_faces(board.stackup, set_up[0])]


def served_by(entry, board, its_rules):
    """Ends of the grid, as (side, drill, end), that would do what an entry of the certificate asks for.

    Of a sum: an end for the one stub which must be drilled though all others lose as little as they can, else an end
    for any stub of a net which cannot stay as it is.
    """
    net, stubs = next((net, stubs) for net, stubs in legs(board, its_rules) if net.name == entry.stubs[0][0])
    limit, summed = net.criterion.limit, net.criterion.measure == "loss"
    asked = [s for s in stubs if (net.name, s.hole, s.window.side) in entry.stubs]
    assert len(asked) == len(entry.stubs) == 1 or (summed and len(asked) == len(stubs))
    for stub in asked:
        set_up = stub.window.side, round(stub.drill, 9)
        others = [s for s in stubs if s is not stub] if summed else []
        rest = sum(least_loss(s, board, its_rules) for s in others) if len(asked) == 1 else -math.inf
        own = stub.loss(stub.length) if summed else stub.length
        everything = sum(s.loss(s.length) for s in stubs)
        assert (rest + own if len(asked) == 1 else everything) > limit
        for end in grid(board, its_rules, set_up):
            left = worst(stub, (*set_up, end))
            left = rest + stub.loss(left) if summed else left
            if stub.window.holds(end) and left <= limit + 1e-10:
                yield *set_up, end


def least_loss(stub, board, its_rules):
    """Least loss [dB] of a stub that is drilled anywhere on the grid, or not."""
    ends = grid(board, its_rules, (stub.window.side, round(stub.drill, 9)))
    lengths = [worst(stub, (None, None, end)) for end in ends if stub.window.holds(end)]
    return stub.loss(min([*lengths, stub.length]))


def check_certificate(board, its_rules, costs):
    found = plan(board, its_rules, costs=costs, model="uniform", dk_eff=4, missed_nets="stub by stub")
    serving = [set(served_by(entry, board, its_rules)) for entry in found.certificate]
    for one, other in itertools.combinations(serving, 2):
        assert one.isdisjoint(other)
    assert all(serving)
    assert found.proven == (len(serving) == len(found.groups))
    assert len(serving) <= len(found.groups)
    if not any(hit.coupled for hit in found.hits):
        assert found.proven


@settings(max_examples=15)
@given(made.coupled_boards(), RULES_OF_THUMB, COSTS)
@made.with_examples([made.COUPLED_BOARD], CORNER_RULES, FEWEST_GROUPS)
def test_certificate_proves_what_it_says(board, its_rules, costs):
    check_certificate(board, its_rules, costs)


@pytest.mark.slow
@settings(max_examples=600)
@given(made.coupled_boards(), RULES_OF_THUMB, COSTS, GOALS)
def test_least_cost_and_certificate_hundreds(board, its_rules, costs, goal):
    check_least(board, its_rules, costs, goal)
    check_least(board, its_rules, costs, goal, "nominal")
    check_certificate(board, its_rules, costs)
