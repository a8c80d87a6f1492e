"""What a plan leads to: margins after drilling, padstacks, questions, re-routes, hand-off, digest, picture."""

from __future__ import annotations

import csv
import io
import pickle
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.figure import Figure

from stubsi import Board, Criterion, Hole, Net, Padstack, rank
from stubsi.board.criterion import Measure
from stubsi.drilling.effects import needed_clearance, widened
from stubsi.drilling.guaranteed_residual import GuaranteedResidual
from stubsi.drilling.limits import Limits
from stubsi.drilling.planning import plan
from stubsi.drilling.stub_use import figures
from stubsi.errors import BoardError, StubsiError
from stubsi.show.schedule import schedule_text, still_valid
from stubsi.show.section import plot_section
from tests import drilling_boards as made


def planned(board, its_rules, **more):
    """Every stub by itself, whatever becomes of its net; ``test_missed_nets`` is about the other policies."""
    return plan(board, its_rules, **{"model": "uniform", "dk_eff": 4, "missed_nets": "stub by stub", **more})


def six_layers(*nets, **changed):
    """Near faces from the bottom: L5 0.30, L4 0.60, L3 0.90, L2 1.20, L1 1.50 mm."""
    return Board(stackup=made.stackup((0.25,) * 5), nets=nets, **changed)


def test_margins_after_drilling_are_the_published_notches():
    """Residual 10 mil +- 3 mil, Dk 4: 147.5 GHz nominal, 113.5 GHz at worst; Nyquist 10 GHz (derived: c / 8 L)."""
    ten = GuaranteedResidual.plus_minus("10 mil", "3 mil", source=made.SAYS)
    board = six_layers(replace(made.net("A", ("L1", "L3"), 0.5), signal="20 Gb/s"))
    after = planned(board, made.rules(tolerance=ten)).consequences()
    assert [round(10 * margin, 1) for margin in after.nets[0].margin[1:]] == [147.5, 113.5]
    assert after.nets[0].margin[0] == rank(board, dk_eff=4)["A"].margin
    assert after.nets[0].verdict == ("falls short", "pass", "pass")


def test_consequences_tell_what_still_fails_and_why():
    nets = (made.net("A", ("L1", "L3"), 0.5), made.net("B", ("L4", "L6"), 0.5), made.net("C", ("L1", "L6"), 0.5))
    after = planned(six_layers(*nets), made.rules(sides={"bottom": "any"})).consequences()
    by_name = {net.net: net for net in after.nets}
    assert [net.net for net in after.still_failing] == ["B"]
    assert "other side only" in by_name["B"].why
    assert by_name["B"].margin[0] == by_name["B"].margin[2]
    assert (by_name["A"].hits, by_name["A"].verdict[2]) == (1, "pass")
    assert by_name["C"].margin == (None, None, None)
    assert "other side only" in str(after)


def test_no_net_called_passing_after_drilling_exceeds_its_notch_criterion():
    """Judged anew by ranking the drilled board: worst-case stubs keep first notch / Nyquist at 5 or more."""
    nets = tuple(
        replace(made.net(f"n{i}", ("L1", f"L{layer}"), 0.5), signal=f"{rate} Gb/s", criterion=Criterion.notch_ratio(5))
        for i, (layer, rate) in enumerate([(2, 10), (3, 20), (4, 28), (5, 28), (2, 32), (3, 40), (2, 56)])
    )
    found = planned(six_layers(*nets), made.rules())
    worst = found.consequences().worst
    drilled = {hit.net for hit in found.hits}
    assert drilled
    assert {refused.net for refused in found.refused}
    for name in drilled:
        assert worst[name].margin >= 5 * (1 - 1e-9)
    for refused in found.refused:
        assert worst[refused.net].margin < 5


FIGURES = {"notch ratio": Criterion.notch_ratio, "loss": Criterion.loss, "return loss": Criterion.return_loss}

LIMITS = {"notch ratio": st.floats(1.5, 8), "loss": st.floats(0.02, 2), "return loss": st.floats(5, 30)}


@st.composite
def judged_nets(draw):
    """Nets of one to three holes under every electrical criterion, at random rates."""
    nets = []
    for number in range(draw(st.integers(1, 4))):
        holes = [
            Hole(name=f"n{number}.{i}", padstack=made.VIA, connects=tuple(draw(st.sampled_from(CONNECTS))))
            for i in range(draw(st.integers(1, 3)))
        ]
        measure = draw(st.sampled_from(sorted(FIGURES)))
        limit = draw(
            {"notch ratio": st.floats(1.5, 8), "loss": st.floats(0.02, 2), "return loss": st.floats(5, 30)}[measure]
        )
        rate = f"{draw(st.integers(5, 60))} Gb/s"
        criterion = FIGURES[measure](limit)
        nets.append(Net(name=f"n{number}", signal=rate, z0="50 ohm", holes=tuple(holes), criterion=criterion))
    return tuple(nets)


CONNECTS = [("L1", "L2"), ("L1", "L3"), ("L1", "L4"), ("L2", "L4"), ("L3", "L6"), ("L1", "L6")]


@settings(max_examples=20, deadline=None)
@given(judged_nets(), made.random_rules(made.FACE_TOLERANCES | made.RESIDUALS))
def test_nets_drilled_without_refusal_meet_their_criterion_at_worst(nets, its_rules):
    """The drilled board ranked anew, every stub at its longest: what the plan calls served is not found to fail."""
    found = planned(six_layers(*nets), its_rules)
    spoiled = {refused.net for refused in found.refused}
    for net in found.consequences().nets:
        assert (net.verdict[2] == "falls short") <= (net.net in spoiled)
        if net.net in found.undrilled and net.margin[0]:
            assert net.margin[2] == pytest.approx(net.margin[0], rel=1e-12)


def test_solved_stubs_are_solved_again_after_drilling():
    """Planes on L2 and L5, return vias around: the drilled stub solved with its bore and the wider clearance."""
    ring = Padstack(name="ring", drill="0.25 mm")
    places = [("0.8 mm", "0 mm"), ("-0.8 mm", "0 mm"), ("0 mm", "0.8 mm"), ("0 mm", "-0.8 mm")]
    returns = tuple(Hole(name=f"g{i}", padstack=ring, x=x, y=y) for i, (x, y) in enumerate(places))
    hole = Hole(name="h", padstack=WIDE, connects=("L1", "L3"), x="0 mm", y="0 mm")
    net = Net(name="S", signal="25 Gb/s", z0="50 ohm", holes=(hole,), criterion=Criterion.notch_ratio(4))
    board = with_planes(net, Net(name="GND", holes=returns, reference=True))
    found = plan(board, made.rules())
    after = found.consequences()
    assert found.model.name == "solved"
    assert [hit.hole.name for hit in found.hits] == ["h"]
    assert after.worst["S"].model == "solved geometry"
    assert after.worst["S"].stub_length.m_as("mm") == pytest.approx(0.3)
    before, nominal, worst = after.nets[0].margin
    assert before < 4 <= min(nominal, worst)
    assert after.worst.board.nets[0].holes[0].padstack.antipad_at("L5", "plane").width_si == pytest.approx(0.9e-3)


def half_wave(rate, limit):
    """Stub of 1.2 mm at Dk 4: half a wave, and so no loss, at 62.46 GHz."""
    hole = Hole(name="h", padstack=made.VIA, connects=("L1", "L2"))
    criterion = Criterion.loss(limit, source=made.SAYS)
    return six_layers(Net(name="H", signal=rate, z0="50 ohm", holes=(hole,), criterion=criterion))


def test_a_stub_past_its_notch_must_be_drilled_below_it():
    """Half a wave at Nyquist loses nothing there, and yet the band holds the notch: below a quarter wave, 0.6 mm."""
    found = planned(half_wave("124.9 Gb/s", 0.5), made.rules())
    (longest,) = {stub.window.longest_si for stub in (*found.hits, *found.refused)}
    assert 0 < longest < 0.6e-3
    use = Limits(rank(found.board, dk_eff=4), found.model, found.rules).use(0)
    loss = figures([use] * 2, np.array([longest, use.case.length_si]), found.model, wanted={Measure.LOSS}).nyquist_loss
    assert loss[0] <= 0.5
    assert loss[1] < 0.01


def test_table_of_consequences():
    after = planned(six_layers(made.net("A", ("L1", "L3"), 0.5)), made.rules()).consequences()
    frame = after.to_frame()
    assert frame["verdict, worst"].tolist() == ["pass"]
    assert frame["first notch / Nyquist, worst"][0] == after.nets[0].margin[2]


def test_every_hole_is_explained():
    """Drilled, refused, without stub, waived, short enough, undecided, of a reference net, on no net."""
    nets = (
        made.net("A", ("L1", "L3"), 0.5),
        made.net("B", ("L4", "L6"), 0.5),
        made.net("C", ("L1", "L6"), 0.5),
        made.net("W", ("L1", "L3"), 0.5, waiver="slow"),
        made.net("D", ("L1", "L5"), 0.5),
        replace(made.net("U", ("L1", "L3"), 0.5, padstack=Padstack(name="u", drill="0.3 mm")),
                criterion=Criterion.loss(0.5, source=made.SAYS)),
        Net(name="GND", holes=(Hole(name="G.1", padstack=made.VIA),), reference=True),
    )  # fmt: skip
    found = planned(six_layers(*nets), made.rules(sides={"bottom": "any"}))
    assert found.explain("A.1") == (
        "A.1 from the bottom, group 1, must not cut L3: stub 0.9 mm beyond L3, longest permitted 0.5 mm; "
        "0.1 mm to 0.3 mm left; end of the plating 0.7 mm deep, between 0.5 mm and 0.7 mm"
    )
    assert found.explain("B.1").startswith("B.1 from the top, refused: other side only")
    assert found.explain("C.1") == "C.1, not drilled: no stub"
    assert found.explain("W.1") == "W.1 from the bottom, not drilled: waived: slow; stub 0.9 mm beyond L3"
    assert found.explain("D.1") == (
        "D.1 from the bottom, not drilled: meets its criterion: stub length at most 0.5 mm (made up for the test); "
        "stub 0.3 mm beyond L5"
    )
    assert found.explain("U.1") == f"U.1 from the bottom, not drilled: undecided: {found.undecided['U']}; " + (
        "stub 0.9 mm beyond L3"
    )
    assert found.explain("G.1") == "G.1, not drilled: hole of the reference net GND, no stub of a signal"
    with pytest.raises(BoardError, match="no such hole on the board"):
        found.explain("Z.1")


def test_both_stubs_of_a_hole_are_explained():
    """Drilled from the bottom, short enough at the top; and a net one hole of which is refused."""
    nets = (made.net("M", ("L2", "L4"), 0.4), made.net("N", ("L3", "L4"), 0.4))
    found = planned(six_layers(*nets), made.rules(sides={"bottom": "any"}))
    top, bottom = sorted(found.explain("M.1").splitlines(), reverse=True)
    assert top.startswith("M.1 from the top, not drilled: short enough as it is: stub length at most 0.4 mm")
    assert top.endswith("; stub 0.3 mm beyond L2")
    assert bottom.startswith("M.1 from the bottom, group 1, must not cut L4: stub 0.6 mm beyond L4")
    top, bottom = sorted(found.explain("N.1").splitlines(), reverse=True)
    assert top.startswith("N.1 from the top, refused: other side only")
    assert bottom.endswith("; in vain, because another stub of its net is refused")


WIDE = Padstack(name="wide", drill="0.3 mm", finished="0.25 mm", pad="0.6 mm", antipad="0.7 mm", pads={"L5": "0.45 mm"})


def with_planes(*nets):
    """L2 and L5 are planes."""
    board = six_layers(*nets)
    layers = tuple(
        replace(layer, role="plane") if getattr(layer, "name", "") in {"L2", "L5"} else layer
        for layer in board.stackup.layers
    )
    return Board(stackup=replace(board.stackup, layers=layers), nets=nets)


def test_padstack_effects():
    """Drill 0.3 + 0.2 mm, edge 0.05 and copper clearance 0.15 mm on either side: 0.9 mm needed on plane L5."""
    board = with_planes(made.net("A", ("L1", "L3"), 0.5, padstack=WIDE))
    found = planned(board, made.rules())
    assert needed_clearance(0.5e-3, found.rules) == pytest.approx(0.9e-3)
    told = {(layer, effect.kind): effect for effect in found.effects() for layer in effect.layers}
    assert set(told) == {
        ("L6", "ring of the pad is left"),
        ("L6", "mask opening"),
        ("L5", "clearance"),
        ("L5", "pad vanishes"),
        ("L4", "ring of the pad is left"),
    }
    assert told["L5", "clearance"].short
    assert str(told["L5", "clearance"]).endswith("clearance 0.7 mm, needed 0.9 mm: change it to 0.9 mm")
    assert told["L6", "mask opening"].needed == pytest.approx(0.6e-3)
    wider = widened(found).nets[0].holes[0].padstack
    assert wider.antipad_at("L5", "plane").width_si == pytest.approx(0.9e-3)
    assert wider.antipad_at("L2", "plane").width_si == pytest.approx(0.7e-3)
    assert not any(
        effect.short for effect in replace(found, board=widened(found)).effects() if "L5" not in effect.layers
    )


def test_clearance_of_an_unknown_rule_cannot_be_judged():
    board = with_planes(made.net("A", ("L1", "L3"), 0.5, padstack=WIDE))
    found = planned(board, made.rules(edge_tolerance=None))
    assert [effect.short for effect in found.effects() if effect.kind == "clearance"] == [None]
    assert [(q.unknown, q.flips) for q in found.questions()] == [("edge tolerance", 1)]
    assert widened(found) is board


def test_questions_count_the_verdicts_that_can_flip():
    """Three stubs of 1.20 and one of 0.60 mm to be drilled; least depth 0 to 0.3 mm: only L5's 0.30 mm is near it.

    Tip distance 0 to 0.1524 mm, tip 90 degrees, guaranteed form not used: depth +-0.05 mm.  Stub at worst
    0.05 + 0.15 + 0.05 + distance = 0.25 to 0.40 mm, of which A, B, C permit 0.35 and D permits 0.5 mm.
    """
    nets = [made.net(name, ("L1", "L2"), 0.35) for name in "ABC"] + [made.net("D", ("L1", "L4"), 0.5)]
    its_rules = made.rules(tolerance=made.depth_tolerance(0.05, 0.05), least_depth=None)
    found = planned(six_layers(*nets), its_rules)
    asked = {question.unknown.split(" (")[0]: question.flips for question in found.questions()}
    assert asked == {"tip distance": 3, "least depth": 0}
    assert [question.flips for question in found.questions()] == [3, 0]
    assert {refused.net for refused in found.refused} == {"A", "B", "C"}
    assert all("unknown rules at their worst" in refused.reason for refused in found.refused)
    known = replace(its_rules, tip_distance="0.1 mm", least_depth="0.1 mm")
    assert not planned(six_layers(*nets), known).refused
    assert planned(six_layers(*nets), known).questions() == ()


ROUTES = {"layers": ("L1", "L2", "L3", "L4", "L5")}
TO_MOVE = six_layers(
    made.net("A", ("L1", "L2"), 0.4, **ROUTES),
    made.net("B", ("L1", "L3"), 0.4, **ROUTES),
    made.net("C", ("L1", "L3"), 0.4),
    made.net("D", ("L1", "L4"), 0.4, **ROUTES),
)


def test_reroutes_by_hand():
    """Stubs of at most 0.4 mm: L5 (0.30 mm) needs no drilling. A holds L2, B and C hold L3, D holds L4.

    A or D moved to L5, or to a layer drilled anyway, saves its group; both of them save two. C may not move, so L3
    stays open whatever B does.
    """
    found = planned(TO_MOVE, made.rules(sides={"bottom": "any"}))
    assert len(found.groups) == 3
    moves = found.reroutes()
    held = {held.group.layer: held for held in moves.held_groups}
    assert {layer: held.nets for layer, held in held.items()} == {"L2": ("A",), "L3": ("B", "C"), "L4": ("D",)}
    outcomes = {(o.move.net, o.move.to_layer): o.joins for held in moves.held_groups for o in held.options}
    assert outcomes["A", "L5"] == ()
    assert outcomes["A", "L3"] == (held["L3"].group.number,)
    assert not any(net == "C" for net, _ in outcomes)
    assert (moves.single.saved, moves.pair.saved) == (1, 2)
    assert {move.net for move in moves.pair.moves} == {"A", "D"}
    assert {move.to_layer for move in moves.pair.moves} == {"L5"}


def test_a_proposal_saves_what_it_says():
    found = planned(TO_MOVE, made.rules(sides={"bottom": "any"}))
    before = found.board
    moves = found.reroutes()
    for proposal in (moves.single, moves.pair):
        after = planned(proposal.applied(TO_MOVE), found.rules)
        assert len(found.groups) - len(after.groups) == proposal.saved
    assert found.board is before
    assert "best pair of moves" in str(moves)


def test_no_proposal_where_nothing_can_move():
    found = planned(six_layers(made.net("C", ("L1", "L3"), 0.4)), made.rules())
    moves = found.reroutes()
    assert (moves.single, moves.pair) == (None, None)
    assert moves.held_groups[0].options == ()


def worked():
    nets = (made.net("A", ("L1", "L3"), 0.4), made.net("B", ("L1", "L4"), 0.4), made.net("X", ("L4", "L6"), 0.2))
    placed = tuple(
        replace(net, holes=tuple(replace(hole, x=f"{i} mm", y="-2.5 mm") for hole in net.holes))
        for i, net in enumerate(nets)
    )
    return planned(six_layers(*placed), made.rules(depth_to="shoulder"))


def rows_of(text):
    return list(csv.DictReader(io.StringIO("".join(line for line in text.splitlines(keepends=True) if line[0] != "#"))))


def test_schedule_by_hand():
    """Guaranteed 0.1 to 0.3 mm, aimed at 0.2 mm: ends at 0.60 - 0.2 = 0.40 and 0.90 - 0.2 = 0.70 mm.

    Tip 90 degrees, drills 0.3 and 0.5 mm: the shoulder lies 0.15 - 0.25 = -0.10 mm from there.
    """
    first, second = rows_of(worked().to_csv())
    assert (first["must-not-cut layer"], first["start layer"], first["depth [mm]"]) == ("L4", "L6", "0.300")
    assert (second["must-not-cut layer"], second["start layer"], second["depth [mm]"]) == ("L3", "L6", "0.600")
    assert (second["residual stub, least [mm]"], second["residual stub, most [mm]"]) == ("0.100", "0.300")
    assert (second["primary drill [mm]"], second["depth drill [mm]"], second["holes"]) == ("0.300", "0.500", "1")
    assert (second["shallower by at most [mm]"], second["deeper by at most [mm]"]) == ("0.100", "0.100")


def test_hole_list_and_other_forms():
    found = worked()
    a = next(row for row in rows_of(found.holes_csv()) if row["hole"] == "A.1")
    assert (a["x [mm]"], a["y [mm]"], a["side"], a["last layer in use"]) == ("0.000", "-2.500", "bottom", "L3")
    assert (a["longest permitted stub [mm]"], a["stub, most [mm]"]) == ("0.400", "0.300")
    assert "refused: X: X.1 from the top: budget not reachable" in found.to_text()
    assert found.to_markdown().count("\n| ") == 2 + 2
    for text in (found.to_text(), found.to_csv(), found.holes_csv(), found.to_markdown()):
        assert f"Plan digest: {found.digest}" in text
        assert "depth is that of the shoulder below the outer copper surface" in text.lower()


def test_plan_knows_whether_it_still_holds():
    found = worked()
    board, its_rules = found.board, found.rules
    again = six_layers(*board.nets)
    assert found.matches(again, made.rules(depth_to="shoulder"))
    assert str(found.matches(board, its_rules)) == "the plan holds"
    harder = replace(its_rules, least_depth="0.2 mm")
    assert found.matches(board, harder).changed == ("rule least_depth",)
    moved = replace(board, nets=(*board.nets[1:], replace(board.nets[0], waiver="slow")))
    assert found.matches(moved, its_rules).changed == ("net A",)
    thicker = replace(board, stackup=made.stackup((0.25, 0.25, 0.25, 0.25, 0.250001)))
    assert found.matches(thicker, its_rules).changed == ("stackup",)
    assert not found.matches(replace(board, nets=board.nets[:-1]), its_rules)


def test_exports_can_be_checked_later():
    found = worked()
    text = found.holes_csv()
    assert still_valid(text, found, found.board, found.rules)
    assert not still_valid(text, found, found.board, replace(found.rules, oversize="0.25 mm"))
    assert not still_valid("no digest here", found, found.board, found.rules)
    for text in (found.to_text(), found.to_csv(), found.holes_csv(), found.to_markdown(), schedule_text(found, 40)):
        assert still_valid(text, found, found.board, found.rules)
        assert still_valid(text.replace("\n", "\r\n"), found, found.board, found.rules)
        assert not still_valid(text.replace("0.300", "0.301"), found, found.board, found.rules)
    with pytest.raises(StubsiError, match="must be the text of an export, not bytes"):
        still_valid(b"", found, found.board, found.rules)
    with pytest.raises(StubsiError, match="plan = 'x': must be a Plan"):
        still_valid(text, "x", found.board, found.rules)
    with pytest.raises(StubsiError, match="board = None: must be a Board"):
        still_valid(text, found, None, found.rules)
    with pytest.raises(StubsiError, match="rules = 5: must be a FabricatorRules"):
        still_valid(text, found, found.board, 5)


def test_exports_say_what_they_rest_on():
    """Depth tolerance of the machine, not of the machine and the thickness together; what is refused; the rules."""
    tolerance = made.depth_tolerance(0.02, 0.05, 0.1, 0.1, "sensed layer", {"bottom": "L5", "top": "L2"})
    found = planned(worked().board, made.rules(tip_angle=180, tolerance=tolerance))
    row = rows_of(found.to_csv())[0]
    assert (row["shallower by at most [mm]"], row["deeper by at most [mm]"]) == ("0.050", "0.020")
    for text in (found.to_text(), found.to_csv(), found.holes_csv(), found.to_markdown()):
        words = " ".join(text.replace("#", "").split())
        assert "referenced to sensed layer, L5 from the bottom, L2 from the top" in words
        assert "oversize 0.2 mm" in words
        assert "refused: X: X.1 from the top" in words
        assert "Criterion: " in words
        assert "Model of the stubs: uniform lines" in words


@pytest.mark.slow
@pytest.mark.slow
def test_what_is_not_known_is_told_with_what_is_taken_in_its_place():
    """A stub of unknown antipad is judged by the worst that it can be, and every unknown input is asked for."""
    bare = Padstack(name="bare", drill="0.3 mm", finished="0.25 mm", pad="0.5 mm")
    net = Net(
        name="S", signal="20 Gb/s", z0="50 ohm",
        holes=(Hole(name="h", padstack=bare, connects=("L1", "L4"), x="0 mm", y="0 mm"),),
    )  # fmt: skip
    found = plan(with_planes(net), made.rules())
    assert [refused.net for refused in found.refused] == ["S"]
    assert [(q.flips, q.about, q.unknown) for q in found.questions()] == [
        (1, "nets", "antipad of padstack bare is unknown: give antipad"),
        (1, "nets", "return vias: give the reference holes"),
        (1, "nets", "sides of the traces unknown: give traces"),
    ]


def test_questions_count_stubs_that_only_their_sum_refuses():
    """Two stubs of 0.3 mm each, a loss limit no depth drill reaches with a tip of 90 degrees, any with a flat one."""
    holes = tuple(Hole(name=f"h{i}", padstack=made.VIA, connects=("L1", "L5")) for i in range(2))
    net = Net(name="S", signal="56 Gb/s", z0="50 ohm", holes=holes, criterion=Criterion.loss(0.02, source=made.SAYS))
    exact = made.depth_tolerance(0, 0)
    found = planned(six_layers(net), made.rules(tip_angle=None, tip_distance="0 mm", tolerance=exact))
    assert {refused.hole.name for refused in found.refused} == {"h0", "h1"}
    assert [(q.flips, q.about) for q in found.questions()] == [(2, "stubs")]


def test_plans_pickle_and_keep_their_digest():
    found = worked()
    again = pickle.loads(pickle.dumps(found))
    assert again.digest == found.digest
    assert again.to_csv() == found.to_csv()
    assert str(again.reroutes()) == str(found.reroutes())


def test_explanations_name_the_numbers():
    hit = worked().hits[0]
    assert hit.why == "stub 0.6 mm beyond L4, longest permitted 0.4 mm; 0.1 mm to 0.3 mm left"


def test_section_shows_every_group_at_its_depth():
    """The point of the drill is the highest point of its outline, its depth that of the plan."""
    found = worked()
    ax = plot_section(found, Figure().add_subplot())
    bores = [patch.get_xy() for patch in ax.patches]
    assert len(bores) == len(found.groups)
    for bore, group in zip(bores, found.groups, strict=True):
        point = 1.55 - 1e3 * group.end_si - 0.15
        assert bore[:, 1].min() == pytest.approx(point)
    labels = [text.get_text() for text in ax.texts]
    assert all(any(f"must not cut {group.layer}" in label for label in labels) for group in found.groups)


def test_coupled_nets_are_told_as_such():
    holes = tuple(Hole(name=f"h{i}", padstack=made.VIA, connects=("L1", "L2")) for i in range(2))
    net = Net(name="S", signal="28 Gb/s", z0="50 ohm", holes=holes, criterion=Criterion.loss(1.0, source=made.SAYS))
    found = planned(six_layers(net), made.rules())
    assert all(hit.coupled for hit in found.hits)
    before, after = (getattr(found.consequences(), moment)["S"].loss for moment in ("before", "worst"))
    assert after <= 1.0 < before
    assert f"together at most {after:.3g} dB as planned, {before:.3g} dB as drawn, 1 dB permitted" in found.hits[0].why


def test_holes_that_others_stand_in_for_or_hold_back_are_told_so():
    """The sum asks for S1 only; B may keep 0.8 mm and joins the group that A holds at L4."""
    holes = tuple(
        Hole(name=name, padstack=made.VIA, connects=("L1", layer)) for name, layer in (("S1", "L2"), ("S2", "L5"))
    )
    net = Net(name="S", signal="28 Gb/s", z0="50 ohm", holes=holes, criterion=Criterion.loss(0.4, source=made.SAYS))
    found = planned(six_layers(net), made.rules(sides={"bottom": "any"}))
    after = found.consequences().worst["S"].loss
    assert found.explain("S2").startswith("S2 from the bottom, not drilled: drilling others of its net is enough: ")
    assert f"at most {after:.3g} dB as planned" in found.explain("S2")
    assert found.explain("S2").endswith("0.4 dB permitted; stub 0.3 mm beyond L5")
    nets = (made.net("A", ("L1", "L4"), 0.4), made.net("B", ("L1", "L3"), 0.8))
    found = planned(six_layers(*nets), made.rules(sides={"bottom": "any"}))
    assert found.explain("B.1").startswith("B.1 from the bottom, group 1, must not cut L4 (layer in use of A): ")
