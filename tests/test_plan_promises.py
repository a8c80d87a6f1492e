"""What every plan must show, on random boards: pairs, neighbours, what drills mend, policies, goals, budgets."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stubsi import Board, Criterion, Hole, Net, plan, rank
from tests import drilling_boards as made
from tests import margin_boards as mb

POLICIES = ("best effort", "leave", "stub by stub")
GOALS = st.sampled_from(["least cost", "fewest groups"])
ENDS = st.sampled_from(["worst", "nominal"])
PLACE = 6.0
"""Distance of the nets [mm]."""


def criteria():
    """Limits for the length, the first notch, the 1 dB frequency and the loss of a stub or of all together."""
    return st.one_of(
        made.tenths(0.1, 1.2).map(made.longest),
        st.floats(1.5, 8).map(lambda ratio: Criterion.notch_ratio(ratio, source=made.SAYS)),
        st.floats(0.5, 4).map(lambda ratio: Criterion.one_db_ratio(ratio, source=made.SAYS)),
        st.floats(0.05, 1.5).map(lambda loss: Criterion.loss(loss, source=made.SAYS)),
    )


@st.composite
def nets(draw, layers, pitch):
    """Up to four nets of one or two holes, or of one or two holes for each leg, under any criterion."""
    every = []
    for number in range(draw(st.integers(1, 4))):
        is_pair, holes = draw(st.booleans()), []
        for i in range(draw(st.integers(1, 2))):
            used = draw(made.some_layers(1, layers))
            for leg, dx in (("P", 0.0), ("N", pitch)) if is_pair else (("", 0.0),):
                other = draw(made.some_layers(1, layers)) if leg == "N" and draw(made.ONE_IN_FOUR) else used
                place = {"x": made.mm(PLACE * number + dx), "y": made.mm(3.0 * i)}
                holes.append(Hole(name=f"n{number}.{i}{leg}", padstack=made.VIA, connects=other, leg=leg, **place))
        every.append(
            Net(name=f"n{number}", signal="28 Gb/s", z0="100 ohm" if is_pair else "50 ohm", holes=tuple(holes),
                criterion=draw(criteria()))
        )  # fmt: skip
    return tuple(every)


@st.composite
def boards(draw):
    """Boards of such nets; the legs of a pair so near that a drill may touch the other barrel, or far from it."""
    gaps = draw(made.some_gaps(0.15, 0.5, 5))
    pitch = draw(st.sampled_from([0.55, 0.7, 1.0]))
    return Board(stackup=made.stackup(gaps), nets=draw(nets(len(gaps) + 1, pitch)))


RULES = st.builds(
    made.rules,
    tolerance=made.SOUND_RESIDUALS | made.FACE_TOLERANCES,
    oversize=st.sampled_from(["0.1 mm", "0.2 mm", "0.4 mm"]),
    tip_angle=st.sampled_from([150, 180]),
    least_plated=st.sampled_from(["0 mm", "0.3 mm"]),
    sides=made.SIDES,
)


def planned(board, its_rules, **more):
    return plan(board, its_rules, model="uniform", dk_eff=4, **more)


def check_promises(board, its_rules, goal, budget_at):
    best, leave, each = (
        planned(board, its_rules, missed_nets=policy, goal=goal, budget_at=budget_at) for policy in POLICIES
    )
    for found in (best, leave, each):
        check_neighbours(board, its_rules, found)
        check_drilled_no_worse(found)
    check_pairs(board, best)
    check_pairs(board, leave)
    check_best_effort(best, leave)


def check_pairs(board, found):
    """A leg is drilled alone only where the stub of its twin on that side is short enough, or where none is there.

    Of a pair that meets its criterion every stub keeps its budget, or the sum of its leg does.
    """
    missed = {one.net for one in (*found.refused, *found.missed)}
    drilled = {(hit.hole.name, hit.side) for hit in found.hits}
    given_up = {(hole, side) for _, hole, side in found.left_out} | {(one.hole.name, one.side) for one in found.refused}
    worst = found.consequences()
    table = found.limits.table
    stub_rows = {
        (table.holes[hole].name, table.cases[case].shape.side): row
        for row, (hole, case) in enumerate(zip(table.hole.tolist(), table.case.tolist(), strict=True))
    }
    for net in (one for one in board.nets if one.is_pair):
        moment = 2 if found.budget_at == "worst" else 1
        if net.name not in missed | set(found.undecided) and any(hit.net == net.name for hit in found.hits):
            assert worst[net.name].verdict[moment] not in {"falls short", "undecided"}, "a pair that is drilled meets"
        for p, n in itertools.product(*([hole.name for hole in net.holes if hole.leg == leg] for leg in "PN")):
            if p[:-1] != n[:-1]:
                continue
            for side in ("top", "bottom"):
                one, other = ((name, side) for name in (p, n))
                if (one in drilled) == (other in drilled):
                    continue
                kept = other if one in drilled else one
                assert kept not in given_up, "no leg is drilled while its twin is given up"
                if kept in stub_rows and net.criterion.measure != "loss":
                    row = stub_rows[kept]
                    longest = found.limits.longest([row])[0]
                    whole = found.limits.two_in_hole[row] and found.limits.meets_as_drawn(row)
                    assert table.length_si[row] <= longest + 1e-9 or whole


def check_neighbours(board, its_rules, found):
    """No drill touches the barrel of another hole that it passes: both radii and the tolerance of the edge."""
    holes = [hole for net in board.nets for hole in net.holes]
    for hit in found.hits:
        reach = its_rules.drill_si(hit.hole.padstack.drill_si) / 2 + its_rules.edge_tolerance_si
        for hole in holes:
            if hole.name != hit.hole.name:
                apart = math.dist(hole.xy_si, hit.hole.xy_si)
                assert apart >= (reach + hole.padstack.drill_si / 2) * (1 - 1e-9)


def check_drilled_no_worse(found):
    """Every drilled stub is shorter than drawn at any tolerance, and no drilled net has a lower notch than before."""
    for hit in found.hits:
        assert hit.left.most_si <= hit.window.shape.stub_length_si + 1e-9
    for change in found.consequences():
        if change.hits and change.margin[0] is not None:
            for after in (margin for margin in change.margin[1:] if margin is not None):
                assert after >= change.margin[0] * (1 - 1e-9)


def check_best_effort(best, leave):
    """Best effort is never worse than leaving such nets in the worst-case margin of any net, and opens no group."""
    assert [(g.side, g.drill_si, g.end_si) for g in best.groups] == [
        (g.side, g.drill_si, g.end_si) for g in leave.groups
    ]
    after, before = best.consequences(), leave.consequences()
    for change in after:
        left = before[change.net].margin[2]
        assert left is None or change.margin[2] is None or change.margin[2] >= left * (1 - 1e-9)


@settings(max_examples=2)
@given(boards(), RULES, GOALS, ENDS)
def test_every_plan_holds_what_it_promises(board, its_rules, goal, budget_at):
    check_promises(board, its_rules, goal, budget_at)


@pytest.mark.slow
@settings(max_examples=300, deadline=None)
@given(boards(), RULES, GOALS, ENDS)
def test_every_plan_holds_what_it_promises_hundreds(board, its_rules, goal, budget_at):
    check_promises(board, its_rules, goal, budget_at)


USED = [layer for layer, role in mb.ROLES.items() if role != "plane"]


@st.composite
def solved_boards(draw):
    """Up to three nets or pairs between planes and return vias, under a notch, a 1 dB or a loss limit."""
    every, place = [], 0
    for number in range(draw(st.integers(1, 3))):
        used = tuple(draw(st.lists(st.sampled_from(USED), min_size=1, max_size=2, unique=True)))
        limit = draw(
            st.sampled_from(
                [Criterion.notch_ratio(3.0), Criterion.notch_ratio(6.0), Criterion.one_db_ratio(1.5, source=made.SAYS),
                 Criterion.loss(0.3, source=made.SAYS)]
            )
        )  # fmt: skip
        if draw(st.booleans()):
            every.append(mb.pair(f"n{number}", used, used, place, criterion=limit))
        else:
            every.append(mb.net(f"n{number}", used, place=place, criterion=limit))
        place += 1
    return mb.board(*every, places=place)


@pytest.mark.slow
@settings(max_examples=12, deadline=None)
@given(solved_boards())
def test_solved_boards_hold_the_same(board):
    """With solved stubs: no drilled net ends worse, best effort is no worse, and the nets that can be mended are."""
    its_rules = made.rules(tip_angle=180, sides={"bottom": "any"})
    best, leave = (plan(board, its_rules, missed_nets=policy) for policy in ("best effort", "leave"))
    check_drilled_no_worse(best)
    check_best_effort(best, leave)
    missed = {one.net for one in (*best.refused, *best.missed)} | set(best.undecided)
    after = best.consequences()
    for net in rank(board):
        if net.net not in missed:
            assert after[net.net].verdict[2] != "falls short"
