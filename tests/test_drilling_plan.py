"""The plan: a hand-worked board, least groups against trial, certificates, invariants, coupled stubs, large boards."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from random import Random
from typing import NamedTuple

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from stubsi import Board, Criterion, Hole, Net, Padstack, PressFit, rank
from stubsi.drilling import needs
from stubsi.drilling import set_cover as cover
from stubsi.drilling.costs import Costs
from stubsi.drilling.guaranteed_residual import GuaranteedResidual
from stubsi.drilling.limits import Limits
from stubsi.drilling.planning import plan
from stubsi.drilling.rules import UNKNOWN_RANGE
from stubsi.errors import StubsiError
from stubsi.stubs.model_choice import ModelChoice
from tests import drilling_boards as made
from tests.drilling_boards import six_layers, with_examples


def planned(board, its_rules, **more):
    """Every stub by itself, whatever becomes of its net; ``test_missed_nets`` is about the other policies."""
    return plan(board, its_rules, **{"model": "uniform", "dk_eff": 4, "missed_nets": "stub by stub", **more})


WORKED = six_layers(
    made.net("A", ("L1", "L2"), 0.5),
    made.net("B", ("L1", "L3"), 0.5),
    made.net("C", ("L1", "L4"), 0.5),
    made.net("D", ("L1", "L5"), 0.5),
    made.net("E", ("L1", "L3"), 0.85),
    made.net("F", ("L1", "L2"), 0.5, waiver="slow control"),
)
WORKED_RULES = made.rules(
    tip_distance="0.05 mm", tolerance=made.depth_tolerance(0.05, 0.10, 0.05, 0.05), sides={"bottom": "any"}
)


def test_worked_plan():
    """Six layers of 0.05 mm, dielectrics of 0.25 mm, all drilled from the bottom, stubs of at most 0.5 mm.

    Drill 0.3 mm, tip 90 degrees: the point leads the end of the plating by 0.15 mm, and keeps 0.05 mm from the layer,
    so 0.20 mm of plating must be left; depth +0.05/-0.10 mm, thickness +-5 % of the part drilled through. With the
    near face of the layer in use at F:  deepest end = 0.95 F - 0.05 - 0.20,  shallowest = 1.05 F + 0.10 - 0.5.

    A  L2, F = 1.20: 0.86 to 0.89          B  L3, F = 0.90: 0.545 to 0.605       C  L4, F = 0.60: 0.23 to 0.32
    D  L5: stub 0.30 mm, stays             E  L3, but 0.85 permitted: 0.195 to 0.605       F  waived, stays

    The windows of A, B and C share nothing: three groups at least. Three do: E joins B (0.605) rather than C (0.32),
    for the shorter stub. Point of the drill at 0.89 + 0.15 = 1.04, 0.755 and 0.47 mm.
    """
    found = planned(WORKED, WORKED_RULES)
    assert [(group.layer, [hit.net for hit in group.hits]) for group in found.groups] == [
        ("L4", ["C"]),
        ("L3", ["B", "E"]),
        ("L2", ["A"]),
    ]
    assert [group.end_si * 1e3 for group in found.groups] == pytest.approx([0.32, 0.605, 0.89])
    assert [group.depth_si[0] * 1e3 for group in found.groups] == pytest.approx([0.47, 0.755, 1.04])
    assert str(found.undrilled["D"]).startswith("meets its criterion")
    assert str(found.undrilled["F"]) == "waived: slow control"
    assert {entry.stubs[0][0] for entry in found.certificate} == {"A", "B", "C"}
    assert found.proven
    assert (len(found.hits), len(found.set_ups), found.sides) == (4, 1, ("bottom",))
    assert found.group_of("E.1", "bottom").number == 2
    assert found.group_of("D.1", "bottom") is None


def test_longer_stub_joins_a_group_before_its_own_layer():
    """Guaranteed 0.1 to 0.3 mm: B (L3, 0.85 permitted) may end at L4, 0.30 mm before its own: at most 0.60 mm left."""
    board = six_layers(made.net("B", ("L1", "L3"), 0.85), made.net("C", ("L1", "L4"), 0.5))
    found = planned(board, made.rules())
    assert [(group.layer, len(group.hits)) for group in found.groups] == [("L4", 2)]
    left = {hit.net: hit.left for hit in found.hits}
    assert left["B"].most_si == pytest.approx(0.6e-3)
    assert left["C"].most_si == pytest.approx(0.3e-3)
    assert found.groups[0].holders == ("C",)


def test_drills_of_two_diameters_are_two_groups():
    wide = Padstack(name="wide", drill="0.4 mm", finished="0.3 mm")
    board = six_layers(made.net("B", ("L1", "L3"), 0.5), made.net("W", ("L1", "L3"), 0.5, padstack=wide))
    found = planned(board, made.rules())
    assert [round(group.drill_si * 1e3, 3) for group in found.groups] == [0.5, 0.6]
    assert len(found.set_ups) == 2


def test_a_hole_left_in_the_middle_is_drilled_from_both_sides():
    found = planned(six_layers(made.net("M", ("L3", "L4"), 0.4)), made.rules())
    assert [(group.side, group.layer) for group in found.groups] == [("bottom", "L4"), ("top", "L3")]


def test_plated_length_couples_both_sides():
    """L3 and L4 in use, 0.35 mm between their outer faces, guaranteed 0.1 to 0.25 mm on both sides: 0.55 mm stay.

    0.60 mm wanted: one side must stop a layer earlier, 0.30 mm sooner, and leaves up to 0.55 mm of stub.
    """
    residual = GuaranteedResidual(least="0.1 mm", most="0.25 mm", source=made.SAYS)
    board = six_layers(made.net("M", ("L3", "L4"), 0.50))
    assert not planned(board, made.rules(least_plated="0.55 mm", tolerance=residual)).refused
    found = planned(board, made.rules(least_plated="0.60 mm", tolerance=residual))
    assert [refused.reasons[0].kind for refused in found.refused] == ["plated length"]
    assert len(found.hits) == 1
    board = six_layers(made.net("M", ("L3", "L4"), 0.55))
    found = planned(board, made.rules(least_plated="0.60 mm", tolerance=residual))
    assert sum(hit.left.least_si for hit in found.hits) + 0.35e-3 == pytest.approx(0.85e-3)
    assert len(found.groups) == 2


def test_both_sides_stop_short_where_the_plated_length_asks_for_it():
    """L4 only, 0.05 mm; depth exact, stubs up to 0.4 mm: drilled to L4 from both sides 0.05 mm of barrel would stay.

    Ending 0.4 mm before it on either side leaves 0.85 mm. N asks the same and its windows hold the ends of M, too.
    """
    its_rules = made.rules(
        least_plated="0.85 mm", tip_angle=180, tip_distance="0 mm", tolerance=made.depth_tolerance(0, 0)
    )
    found = planned(six_layers(made.net("M", ("L4",), 0.4), made.net("N", ("L3",), 0.7)), its_rules)
    assert not found.refused
    assert [(hit.net, hit.side) for hit in found.hits] == [("M", "bottom"), ("N", "bottom"), ("M", "top")]
    for hit in found.hits:
        assert hit.left.most_si <= hit.window.longest_si + 1e-9
    assert sum(hit.left.least_si for hit in found.hits if hit.net == "M") + 0.05e-3 == pytest.approx(0.85e-3)
    tighter = replace(its_rules, least_plated="0.851 mm")
    assert [r.net for r in planned(six_layers(made.net("M", ("L4",), 0.4)), tighter).refused] == ["M"]


def test_both_sides_share_a_sum_of_losses_and_a_plated_length():
    """L3 and L4 in use, 0.35 mm between their outer faces, flat drill, exact depth.

    Stubs of 0.6 mm on both sides, Dk 4, at 14 GHz; 1 mm plated: 0.65 mm of stubs. A loss grows faster than the length
    (derived: as its square while short), so equal stubs of 0.325 mm lose least; drilled fully from one side only, the
    other keeps all of it, and loses more.
    """
    hole = Hole(name="M", padstack=made.VIA, connects=("L3", "L4"))
    exact = made.rules(least_plated="1 mm", tip_angle=180, tip_distance="0 mm", tolerance=made.depth_tolerance(0, 0))

    def under(limit, its_rules=exact):
        criterion = Criterion.loss(limit, source=made.SAYS)
        return planned(six_layers(Net(name="S", signal="28 Gb/s", z0="50 ohm", holes=(hole,), criterion=criterion)),
                       its_rules)  # fmt: skip

    limits = Limits(rank(under(1).board, dk_eff=4), ModelChoice(dk_eff=4.0), exact)
    equal, uneven = (sum(limits.losses([0, 1], lengths)) for lengths in ([0.325e-3] * 2, [0.6e-3, 0.05e-3]))
    assert equal < 0.6 * uneven
    found = under(equal * 1.01)
    assert [hit.left.most_si for hit in found.hits] == pytest.approx([0.325e-3] * 2, abs=1e-9)
    assert [r.reasons[0].kind for r in under(equal * 0.99).refused] == ["plated length"] * 2
    assert not under(equal * 0.99, replace(exact, least_plated="0.5 mm")).refused


def test_loss_criterion_drills_only_what_the_sum_needs():
    """One long and one short stub: with the long one drilled, the sum of losses is within the limit."""
    holes = (
        Hole(name="long", padstack=made.VIA, connects=("L1", "L2")),
        Hole(name="short", padstack=made.VIA, connects=("L1", "L5")),
    )
    limit = Criterion.loss(0.2, source=made.SAYS)
    net = Net(name="S", signal="28 Gb/s", z0="50 ohm", holes=holes, criterion=limit)
    found = planned(six_layers(net), made.rules())
    assert [hit.hole.name for hit in found.hits] == ["long"]
    assert found.cost_gap == 0
    assert found.proven
    impossible = replace(net, criterion=Criterion.loss(1e-4, source=made.SAYS))
    found = planned(six_layers(impossible), made.rules())
    assert {refused.hole.name for refused in found.refused} == {"long", "short"}
    assert all("permitted" in refused.reason for refused in found.refused)


@pytest.mark.parametrize("share", [1.0, 1 - 1e-9, 1 + 1e-9], ids=["exactly", "within rounding", "just above"])
def test_a_sum_of_losses_that_is_just_reached_is_reached(share):
    holes = tuple(Hole(name=f"h{i}", padstack=made.VIA, connects=("L1", "L2")) for i in range(2))
    net = Net(name="S", signal="28 Gb/s", z0="50 ohm", holes=holes, criterion=Criterion.loss(1.0, source=made.SAYS))
    least = planned(six_layers(net), made.rules()).hits[0].losses.planned
    found = planned(six_layers(replace(net, criterion=Criterion.loss(least * share))), made.rules())
    assert len(found.hits) == 2
    lower = planned(six_layers(replace(net, criterion=Criterion.loss(least * (1 - 1e-6)))), made.rules())
    assert [refused.reasons[0].kind for refused in lower.refused] == ["budget not reachable"] * 2


def test_costs_decide_between_sides():
    """A loss limit met with either side drilled: the side that is needed anyway is chosen.

    Stubs of 0.6 mm on both sides, Dk 4, 29.4 ohm, at 14 GHz: 0.40 dB each, 1.4 dB together; cut to 0.3 mm: 0.10 dB. In
    one hole each counts twice, which is 1.00 dB with one of them cut. Limit 1.1 dB.
    """
    both = Hole(name="both", padstack=made.VIA, connects=("L3", "L4"))
    net = Net(name="S", signal="28 Gb/s", z0="50 ohm", holes=(both,), criterion=Criterion.loss(1.1, source=made.SAYS))
    costs = Costs(side=10, set_up=1, group=1, hole=0.01, source=made.SAYS)
    for side, connects in (("bottom", ("L1", "L3")), ("top", ("L4", "L6"))):
        found = planned(six_layers(net, made.net("A", connects, 0.4)), made.rules(), costs=costs)
        assert found.sides == (side,)
        assert found.cost == pytest.approx(10 + 1 + len(found.groups) + 0.02)


def test_a_refused_stub_does_not_spare_the_others_of_its_net():
    fit = PressFit(side="top", contact_from="0.2 mm", contact_to="1.0 mm")
    holes = (
        Hole(name="pressed", padstack=made.VIA, connects=("L1", "L3"), press_fit=fit),
        Hole(name="free", padstack=made.VIA, connects=("L1", "L3")),
    )
    net = Net(name="N", signal="10 Gb/s", z0="50 ohm", holes=holes, criterion=Criterion.stub_length("0.5 mm"))
    found = planned(six_layers(net), made.rules())
    assert [hit.hole.name for hit in found.hits] == ["free"]
    assert found.drilled_in_vain == ("N",)
    assert "another stub of the net is refused: N; waive a net to leave it out" in found.to_text()
    assert [(refused.hole.name, refused.reasons[0].kind) for refused in found.refused] == [
        ("pressed", "press-fit zone")
    ]


def test_unknown_dk_is_undecided_not_drilled():
    board = six_layers(made.net("A", ("L1", "L2"), 0.5))
    blank = replace(board.stackup, layers=tuple(
        replace(layer, dk=None) if hasattr(layer, "dk") else layer for layer in board.stackup.layers
    ))  # fmt: skip
    net = replace(board.nets[0], criterion=None)
    found = plan(Board(stackup=blank, nets=(net,)), made.rules(), model="uniform")
    assert list(found.undecided) == ["A"]
    assert "Dk of dielectric 2" in str(found.undecided["A"])
    assert "Dk of dielectric 2" in found.questions()[0].unknown
    assert not found.groups


def test_unknown_model_is_refused():
    with pytest.raises(StubsiError, match="must be 'solved' or 'uniform'"):
        plan(WORKED, WORKED_RULES, model="guess")


# ---------------------------------------------------------------------------------------------------------------------
# Against trial of everything, on boards drawn at random. What a hole can share is worked out here from the drawing.


class Drawn(NamedTuple):
    """A stub read off the drawing, depths [mm] from the drilled face: its barrel, its layer, what is in the way."""

    net: Net
    side: str
    barrel: tuple[float, float]
    face: float
    zone: float
    layers: tuple[tuple[str, float], ...]


def stubs_of(board):
    """Every stub of a board with one hole per net."""
    names, total = board.stackup.names, board.stackup.edges_si[-1] * 1e3
    for net in board.nets:
        hole = net.holes[0]
        fit, (first, last) = hole.press_fit, hole.padstack.span or (names[0], names[-1])
        used = {names.index(name) for name in hole.connects}
        if fit:
            used.add(0 if fit.side == "top" else len(names) - 1)
        for side in ("top", "bottom"):
            ordered = names if side == "top" else names[::-1]
            near = {}
            for name in names:
                upper = board.stackup.face_si(name, "upper") * 1e3
                near[name] = upper if side == "top" else total - upper - 0.05
            own = names[min(used) if side == "top" else max(used)]
            start, end = (first, last) if side == "top" else (last, first)
            zone = total - fit.contact_to_si * 1e3 if fit and fit.side != side else math.inf
            inner = tuple((name, near[name]) for name in ordered[1:] if near[name] <= near[own] + 1e-6)
            if near[own] > near[start] + 1e-6:
                yield Drawn(net, side, (near[start], near[end] + 0.05), near[own], zone, inner)


def layers_by_hand(its_rules, stub):
    """Must-not-cut layers that would serve a stub under a guaranteed residual; None where it is short enough."""
    limit, drill = stub.net.criterion.limit * 1e3, stub.net.holes[0].padstack.drill_si * 1e3
    if stub.face - stub.barrel[0] <= limit + 1e-7:
        return None
    deepest = dict(its_rules.sides).get(stub.side)
    if deepest is None or stub.barrel[0] > 1e-6:
        return frozenset()
    fits = set()
    for name, at in stub.layers:
        if serves(its_rules, stub, at, limit, drill / 2):
            fits.add((stub.side, round(drill, 3), name))
        if name == deepest:
            break
    return frozenset(fits)


def serves(its_rules, stub, at, limit, radius):
    """Whether the end of the plating that belongs to a layer at depth ``at`` [mm] keeps every rule."""
    tolerance = its_rules.tolerance
    least, nominal, most = (1e3 * r for r in (tolerance.least_si, tolerance.nominal_si, tolerance.most_si))
    cone = 0.0 if its_rules.tip_angle == 180 else 1 / math.tan(math.radians(its_rules.tip_angle) / 2)
    keep = max(0.025 * cone, radius * cone + its_rules.tip_distance_si * 1e3)
    lag = (radius + 0.1) * cone if its_rules.depth_to == "shoulder" else 0.0
    datum = 0.05 if its_rules.datum == "laminate" else 0.0
    deepest_end = at - least
    return (
        least >= keep - 1e-7
        and deepest_end <= stub.face - keep + 1e-7
        and deepest_end <= stub.zone - 0.025 * cone + 1e-7
        and stub.face - at + most <= limit + 1e-7
        and at - nominal + radius * cone - lag - datum >= its_rules.least_depth_si * 1e3 - 1e-7
        and at - nominal > 1e-6
        and stub.barrel[1] - deepest_end >= its_rules.least_plated_si * 1e3 - 1e-7
    )


def fewest_by_trial(demands):
    groups = sorted(set().union(*demands))
    for size in range(len(groups) + 1):
        for chosen in map(set, itertools.combinations(groups, size)):
            if all(demand & chosen for demand in demands):
                return size
    raise AssertionError


def check_against_trial(board, its_rules):
    found = planned(board, its_rules)
    served = {(stub.net.name, stub.side): layers_by_hand(its_rules, stub) for stub in stubs_of(board)}
    served = {key: layers for key, layers in served.items() if layers is not None}
    drilled = {key: layers for key, layers in served.items() if layers}
    if its_rules.least_plated_si and any((net, "top") in drilled and (net, "bottom") in drilled for net, _ in drilled):
        return
    assert {(refused.net, refused.side) for refused in found.refused} == set(served) - set(drilled)
    assert {(hit.net, hit.side) for hit in found.hits} == set(drilled)
    for group in found.groups:
        for hit in group.hits:
            assert (group.side, round(group.primary_si * 1e3, 3), group.layer) in drilled[hit.net, hit.side]
    assert len(found.groups) == fewest_by_trial(list(drilled.values()))


GUARANTEED = made.RESIDUALS


@settings(max_examples=25)
@given(made.boards(), made.random_rules(GUARANTEED))
@with_examples([made.CORNER_BOARD], made.CORNER_RULES)
def test_fewest_groups_by_trial_of_every_layer(board, its_rules):
    check_against_trial(board, its_rules)


@pytest.mark.slow
@settings(max_examples=5000, deadline=None)
@given(made.boards(), made.random_rules(GUARANTEED))
def test_fewest_groups_by_trial_of_every_layer_thousands(board, its_rules):
    check_against_trial(board, its_rules)


ANY_RULES = made.random_rules(made.RESIDUALS | made.FACE_TOLERANCES)


CORNER_RULES = made.CORNER_RULES + made.FACE_RULES


def check_certificate(board, its_rules):
    """No end serves two entries of the certificate, and every group that serves an entry's stub is among its ends."""
    found = planned(board, its_rules)
    for one, other in itertools.combinations(found.certificate, 2):
        assert one.ends.isdisjoint(other.ends)
    hits = {(hit.net, hit.hole.name, hit.side): hit for hit in found.hits}
    for entry in found.certificate:
        (hit,) = (hits[stub] for stub in entry.stubs)
        for group in found.groups:
            same_set_up = group.side == hit.side and math.isclose(group.drill_si, hit.window.drill_si)
            serves_it = same_set_up and hit.window.holds(group.end_si)
            assert ((group.side, group.drill_si, group.end_si) in entry.ends) == serves_it
    if not any(hit.coupled for hit in found.hits):
        assert found.proven


@settings(max_examples=10)
@given(made.boards(), ANY_RULES)
@with_examples([made.CORNER_BOARD], CORNER_RULES)
def test_certificate_proves_the_number_of_groups(board, its_rules):
    check_certificate(board, its_rules)


def check_hits(board, its_rules):
    found = planned(board, its_rules)
    for group in found.groups:
        assert group.hits
        for hit in group.hits:
            assert hit.window.holds(group.end_si)
            assert hit.left.least_si >= 0
            assert hit.left.most_si <= hit.window.longest_si + 1e-9
    drilled = {(hit.net, hit.side) for hit in found.hits} | {(refused.net, refused.side) for refused in found.refused}
    assert len(drilled) == len(found.hits) + len(found.refused)
    assert not {net for net, _ in drilled} & set(found.undrilled)


@settings(max_examples=15)
@given(made.boards(), ANY_RULES)
@with_examples([made.CORNER_BOARD], CORNER_RULES)
def test_every_hit_keeps_its_window_and_its_budget(board, its_rules):
    check_hits(board, its_rules)


@pytest.mark.slow
@settings(max_examples=1000)
@given(made.boards(), ANY_RULES)
def test_certificate_and_hits_thousand(board, its_rules):
    check_certificate(board, its_rules)
    check_hits(board, its_rules)


MORE = made.tenths(0, 0.3)
LENGTHS = ("least_depth", "least_plated", "tip_distance")


def wider(tolerance, draw):
    """A tolerance that promises less, aimed at the same place."""
    if isinstance(tolerance, GuaranteedResidual):
        least, nominal, most = (1e3 * r for r in (tolerance.least_si, tolerance.nominal_si, tolerance.most_si))
        ends = (made.mm(least - draw(MORE)), made.mm(nominal), made.mm(most + draw(MORE)))
        return GuaranteedResidual(**dict(zip(("least", "nominal", "most"), ends, strict=True)), source=made.SAYS)
    plus, minus = (1e3 * side + draw(MORE) for side in (tolerance.plus_si, tolerance.minus_si))
    thicker, thinner = (t + draw(MORE) for t in (tolerance.thickness_plus, tolerance.thickness_minus))
    return made.depth_tolerance(plus, minus, thicker, thinner, tolerance.reference)


def stricter(its_rules, name, draw, board):
    """The rules with one of them tightened, or not known any more.

    Beside a guaranteed residual stub a distance of the tip that is not stated is none.
    """
    if name == "tolerance":
        return replace(its_rules, tolerance=wider(its_rules.tolerance, draw))
    if name == "unknown":
        names = set(UNKNOWN_RANGE) - (
            {"tip_distance"} if isinstance(its_rules.tolerance, GuaranteedResidual) else set()
        )
        return replace(its_rules, **{draw(st.sampled_from(sorted(names))): None})
    if name == "sides":
        side, limit = draw(st.sampled_from(its_rules.sides))
        order = board.stackup.names if side == "top" else board.stackup.names[::-1]
        nearer = order[1:] if limit == "any" else order[1 : order.index(limit)]
        others = {other: layer for other, layer in its_rules.sides if other != side}
        chosen = draw(st.sampled_from([*nearer, None] if others else [*nearer, limit]))
        return replace(its_rules, sides=others | ({side: chosen} if chosen else {}))
    return replace(its_rules, **{name: made.mm(1e3 * getattr(its_rules, name + "_si") + draw(MORE))})


ANY_BOARD = made.boards() | made.coupled_boards()


def check_stricter(board, its_rules, name, draw):
    before = planned(board, its_rules).refused
    after = planned(board, stricter(its_rules, name, draw, board)).refused
    assert len(before) <= len(after)
    assert {refused.net for refused in before} <= {refused.net for refused in after}


TIGHTENED = ("tolerance", "unknown", "sides", *LENGTHS)


@pytest.mark.parametrize("name", TIGHTENED)
@settings(max_examples=4)
@given(board=ANY_BOARD, its_rules=ANY_RULES, data=st.data())
def test_a_stricter_rule_never_lowers_the_count_of_refused_stubs(name, board, its_rules, data):
    check_stricter(board, its_rules, name, data.draw)


def check_order(board, its_rules, random):
    nets = list(board.nets)
    random.shuffle(nets)
    one, other = planned(board, its_rules), planned(replace(board, nets=tuple(nets)), its_rules)
    assert one.to_csv().splitlines()[-len(one.groups) - 1 :] == other.to_csv().splitlines()[-len(other.groups) - 1 :]
    assert [hit._replace(window=None) for hit in one.hits] == [hit._replace(window=None) for hit in other.hits]
    assert one.refused == other.refused
    assert one.certificate == other.certificate


@pytest.mark.slow
@settings(max_examples=20)
@given(ANY_BOARD, ANY_RULES, st.randoms(use_true_random=False))
@with_examples([made.CORNER_BOARD, made.COUPLED_BOARD], CORNER_RULES, Random(1))
def test_order_of_nets_does_not_matter(board, its_rules, random):
    check_order(board, its_rules, random)


@pytest.mark.slow
@settings(max_examples=3000)
@given(ANY_BOARD, ANY_RULES, st.randoms(use_true_random=False), st.sampled_from(TIGHTENED), st.data())
def test_order_and_stricter_rules_thousands(board, its_rules, random, name, data):
    check_order(board, its_rules, random)
    check_stricter(board, its_rules, name, data.draw)
    check_explained(board, its_rules)


def check_explained(board, its_rules):
    """A line for each, which says as much as the plan does."""
    found = planned(board, its_rules)
    for net in board.nets:
        for hole in net.holes:
            lines = found.explain(hole.name).splitlines()
            for side in ("top", "bottom"):
                (line,) = [line for line in lines if line.startswith(f"{hole.name} from the {side}, ")] or [""]
                assert (", group " in line) == (found.group_of(hole.name, side) is not None)
                assert (" refused: " in line) == any((hole.name, side) == (r.hole.name, r.side) for r in found.refused)
            assert len(lines) == 1 or len(set(lines)) == 2


@settings(max_examples=20)
@given(ANY_BOARD, ANY_RULES)
@with_examples([made.CORNER_BOARD, made.COUPLED_BOARD], CORNER_RULES)
def test_every_stub_is_explained(board, its_rules):
    check_explained(board, its_rules)


def large_board(count):
    """Nets of one hole each, of seven classes with a criterion of their own."""
    layers = [f"L{number}" for number in range(2, 12)]
    classes = [made.net("class", ("L1", "L2"), 0.5 + 0.1 * i) for i in range(7)]
    nets = tuple(
        replace(classes[i % 7], name=f"n{i}", holes=(
            Hole(name=f"n{i}.1", padstack=made.VIA, connects=("L1", layers[i % 10])),
        ))
        for i in range(count)
    )  # fmt: skip
    return Board(stackup=made.stackup((0.25,) * 11), nets=nets)


@pytest.mark.slow
def test_work_does_not_grow_with_the_number_of_alike_holes(monkeypatch):
    """Windows and counting are done once per distinct stub: 20,000 holes take as many as 700."""
    calls = {"window": 0, "demands": 0}
    window, stab = needs.window, cover.stab

    def counted(shape, longest, its_rules):
        calls["window"] += 1
        return window(shape, longest, its_rules)

    def counted_stab(demands, places):
        calls["demands"] += len(demands)
        return stab(demands, places)

    monkeypatch.setattr(needs, "window", counted)
    monkeypatch.setattr(cover, "stab", counted_stab)
    found = {}
    for count in (700, 20_000):
        calls.update(window=0, demands=0)
        result = planned(large_board(count), made.rules())
        found[count] = dict(calls)
        assert result.proven
        assert len(result.hits) + len(result.undrilled) == count
    assert found[700] == found[20_000]


def test_limits_met_exactly_are_met():
    """Guaranteed at most 0.3 mm, 0.3 mm permitted; 0.299 mm is refused."""
    residual = GuaranteedResidual(least="0.1 mm", most="0.3 mm", source=made.SAYS)
    for at_most, refused in ((0.3, 0), (0.299, 1)):
        found = planned(six_layers(made.net("A", ("L1", "L2"), at_most)), made.rules(tolerance=residual))
        assert len(found.refused) == refused


@settings(max_examples=10)
@given(st.floats(-3e-7, 3e-7), st.sampled_from(["most", "drawn"]), st.booleans())
@example(5e-8, "most", False)
@example(1e-7, "most", True)
@example(5e-8, "drawn", False)
def test_a_limit_met_to_a_part_of_a_nanometre_is_met_or_missed_by_plan_and_verdict_alike(more, what, per_rate):
    """What is left, or drawn, is longer than permitted by up to 0.3 nm: the plan and the verdict say the same of it."""
    most, at_most = (0.3 + more, 0.3) if what == "most" else (0.3, 0.9 - more)
    residual = GuaranteedResidual(least="0.1 mm", most=f"{most:.12f} mm", source=made.SAYS)
    if per_rate:
        limit = Criterion.stub_length_at_1_gbaud(f"{10 * at_most:.12f} mm", source=made.SAYS)
    else:
        limit = Criterion.stub_length(f"{at_most:.12f} mm", source=made.SAYS)
    net = made.net("A", ("L1", "L3"), 0.3).replaced(criterion=limit)
    found = planned(six_layers(net), made.rules(tolerance=residual))
    before, _, after = found.consequences()["A"].verdict
    assert bool(found.hits or found.refused) == (before == "falls short")
    assert bool(found.refused) == (after == "falls short")


def test_a_plan_of_least_cost_says_so_and_names_who_gave_the_costs():
    """One group of one hit: 100 for the side, 10 for the set-up, 5 for the group and 1 for the hole."""
    costs = Costs(side=100, set_up=10, group=5, hole=1, source="made up for the test")
    found = planned(six_layers(made.net("A", ("L1", "L3"), 0.5)), made.rules(), costs=costs)
    assert found.cost_gap == 0
    assert "Cost 116, least (made up for the test); " in found.summary()


def test_the_goal_is_an_input_of_the_plan_that_its_summary_tells():
    """Which groups each goal chooses is tested where every choice is tried; the digest of a plan of old stays."""
    board = six_layers(made.net("A", ("L1", "L3"), 0.5), made.net("B", ("L1", "L2"), 0.8))
    costs = Costs(side=100, set_up=10, group=5, hole=1, source="made up for the test")
    least, fewest = (planned(board, made.rules(), costs=costs, goal=goal) for goal in ("least cost", "fewest groups"))
    assert least.digest == planned(board, made.rules(), costs=costs).digest != fewest.digest
    assert least.inputs_changed(fewest) == ("goal",)
    assert "No plan has fewer groups: " in fewest.summary()
    assert fewest.summary().endswith(f"Cost {fewest.cost:g} (made up for the test).")
    with pytest.raises(StubsiError, match="goal = 'cheapest': must be"):
        planned(board, made.rules(), goal="cheapest")
