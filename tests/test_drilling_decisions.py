"""Decisions of a plan are data, results print short, arguments of the wrong kind are refused, equal values stand in."""

from __future__ import annotations

import inspect
import itertools
import pickle
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import stubsi
from stubsi import Board, Costs, Criterion, FabricatorRules, Hole, Net, Padstack, plan, read_board
from stubsi.drilling import limits as drilling_limits
from stubsi.drilling import stub_use
from stubsi.drilling.effects import EffectKind, widened
from stubsi.drilling.guaranteed_residual import GuaranteedResidual
from stubsi.drilling.obstacles import Obstacle
from stubsi.drilling.rules import UNKNOWN_RANGE
from stubsi.drilling.undrilled import WhyUndrilled
from stubsi.drilling.window import window
from stubsi.errors import StubsiError
from stubsi.margin.verdict import Verdict
from stubsi.memory import Memory
from stubsi.show.schedule import still_valid
from stubsi.stubs.drawn import stub_shapes
from tests import drilling_boards as made


def planned(board, its_rules=None, **more):
    return plan(board, its_rules or made.rules(), model="uniform", dk_eff=4, **more)


def six_layers(*nets, role="plane"):
    """Near faces from the bottom: L5 0.30, L4 0.60, L3 0.90, L2 1.20, L1 1.50 mm; L5 is a plane, or of another role."""
    stackup = made.stackup((0.25,) * 5)
    layers = tuple(
        replace(layer, role=role) if getattr(layer, "name", "") == "L5" else layer for layer in stackup.layers
    )
    return Board(stackup=replace(stackup, layers=layers), nets=nets)


def via(name, antipad):
    return Padstack(name=name, drill="0.3 mm", finished="0.25 mm", pad="0.5 mm", antipad=antipad)


MIXED_VIA = replace(via("mixed via", "0.8 mm"), antipads={"L5": "0.8 mm"})
"""A via around which the mixed layer L5 is a plane, where it does not use that layer."""


def summed_net(name="S", holes=2):
    """Stubs of 1.2 mm whose losses have a limit for their sum."""
    drilled = tuple(Hole(name=f"{name}.{i}", padstack=made.VIA, connects=("L1", "L2")) for i in range(holes))
    criterion = Criterion.loss(1.0, source=made.SAYS)
    return Net(name=name, signal="28 Gb/s", z0="50 ohm", holes=drilled, criterion=criterion)


def test_two_padstacks_of_one_name_keep_their_own_clearances():
    """Needed 0.9 mm on plane L5. Both are too small, by 0.2 and by 0.1 mm."""
    nets = (
        made.net("A", ("L1", "L3"), 0.5, padstack=via("a", "0.7 mm")),
        made.net("B", ("L1", "L3"), 0.5, padstack=via("b", "0.8 mm")),
    )
    found = planned(six_layers(*nets))
    (group,) = found.groups
    hits = [hit._replace(hole=replace(hit.hole, padstack=replace(hit.hole.padstack, name="x"))) for hit in group.hits]
    effects = replace(found, groups=(replace(group, hits=tuple(hits)),)).effects()
    clearances = [effect for effect in effects if effect.kind is EffectKind.CLEARANCE]
    assert {round(effect.drawn * 1e3, 6) for effect in clearances if effect.short} == {0.7, 0.8}


def test_a_waiver_stays_out_of_the_remarks_whatever_its_words():
    board = six_layers(made.net("W", ("L1", "L3"), 0.5, waiver="the uncertainty is accepted"))
    found = planned(board)
    assert found.undrilled["W"].why is WhyUndrilled.WAIVED
    assert str(found.undrilled["W"]) == "waived: the uncertainty is accepted"
    assert "not drilled" not in found.to_text()


def test_why_nets_stay_undrilled_is_data():
    nets = (
        made.net("C", ("L1", "L6"), 0.5),
        made.net("D", ("L1", "L5"), 0.5),
        Net(
            name="M", signal="10 Gb/s", z0="50 ohm", criterion=Criterion.notch_ratio(24, source=made.SAYS),
            holes=(Hole(name="M.1", padstack=made.VIA, connects=("L1", "L5")),),
        ),
    )  # fmt: skip
    undrilled = planned(six_layers(*nets, role="mixed")).undrilled
    assert {name: each.why for name, each in undrilled.items()} == {
        "C": WhyUndrilled.NO_STUB, "D": WhyUndrilled.MEETS, "M": WhyUndrilled.MEETS_UNPROVEN,
    }  # fmt: skip
    assert undrilled["D"].criterion == made.net("D", ("L1",), 0.5).criterion
    assert [name for name, each in undrilled.items() if each.taken_on_trust] == ["M"]


@pytest.mark.parametrize("source", ["data sheet (issue 2)", "a (b) (c)", "said so"])
def test_sources_with_brackets_are_kept(source):
    tolerances = [
        GuaranteedResidual(least="0.1 mm", most="0.3 mm", source=source),
        replace(made.depth_tolerance(), source=source),
    ]
    for tolerance in tolerances:
        name, words, said_by = made.rules(tolerance=tolerance).rows()[-1]
        assert (name, said_by) == ("tolerance", source)
        assert f"{words} ({source})" == str(tolerance)
        assert source not in words


def test_a_plan_without_groups_says_why():
    side = made.rules(sides={"bottom": "any"})
    needs_none = planned(six_layers(made.net("D", ("L1", "L5"), 0.5), role="mixed"), side)
    assert needs_none.summary().endswith("No drill group is needed.")
    refused = planned(six_layers(made.net("T", ("L4", "L6"), 0.5)), side)
    assert [each.reasons[0].kind for each in refused.refused] == [Obstacle.OTHER_SIDE]
    for text in (refused.summary(), refused.to_csv(), refused.to_markdown()):
        assert "No drill group is needed" not in text
        assert "Nothing is drilled. Stubs refused: 1" in text


def test_a_plan_of_undecided_nets_does_not_call_them_needless():
    board = six_layers(made.net("A", ("L1", "L3"), 0.5))
    blank = tuple(replace(layer, dk=None) if hasattr(layer, "dk") else layer for layer in board.stackup.layers)
    net = replace(board.nets[0], criterion=Criterion.notch_ratio(5))
    found = plan(Board(stackup=replace(board.stackup, layers=blank), nets=(net,)), made.rules(), model="uniform")
    assert found.summary().endswith("No decided net needs a drill group; nets undecided: 1.")


def test_what_follows_from_a_plan_is_asked_of_the_plan():
    for name in ("consequences", "effects", "questions", "reroutes"):
        assert not hasattr(stubsi, name)
    found = planned(six_layers(made.net("T", ("L4", "L6"), 0.5)), made.rules(sides={"bottom": "any"}))
    (change,) = found.consequences().nets
    assert change.verdict == (Verdict.FALLS_SHORT,) * 3
    assert found.consequences().summary().startswith("Nets before drilling: falls short 1.")


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda found: plan("board.toml", found.rules), "board = 'board.toml': must be a Board"),
        (lambda found: plan(found.board, "rules"), "rules = 'rules': must be a FabricatorRules"),
        (lambda found: plan(found.board, found.rules, costs=3), "costs = 3: must be a Costs"),
        (lambda found: plan(found.board, found.rules, time_limit="1 s"), "time_limit"),
        (lambda found: found.matches(found, found.rules), "must be a Board"),
        (lambda found: found.matches(found.board, None), "rules = None: must be a FabricatorRules"),
        (lambda found: still_valid("x", "plan", found.board, found.rules), "plan = 'plan': must be a Plan"),
        (lambda found: still_valid("x", found, 1.5, found.rules), "board = 1.5: must be a Board"),
        (lambda found: found.reroutes().single.applied("x"), "board = 'x': must be a Board"),
        (lambda found: found.explain(5), "hole 5: no such hole"),
        (lambda found: made.rules(tip_angle="90"), "rules tip_angle"),
        (lambda found: GuaranteedResidual.plus_minus(3, "1 mm", source="s"), "nominal residual stub"),
    ],
)
def test_arguments_of_the_wrong_kind_are_refused(call, message):
    board = six_layers(made.net("A", ("L1", "L2"), 0.4, layers=("L2", "L5")), role="mixed")
    with pytest.raises(StubsiError) as error:
        call(planned(board))
    assert message in str(error.value)


ODD = (
    5,
    -1.5,
    True,
    "x",
    "",
    "1 mm",
    None,
    [1],
    (),
    {},
    {"bottom": 3},
    {"left": "L2"},
    [("a",)],
    object(),
    float("nan"),
)
PARTS = {
    "rules": made.rules(), "guarantee": made.rules().tolerance, "tolerance": made.depth_tolerance(),
    "costs": Costs(side=1, set_up=1, group=1, hole=1, source=made.SAYS),
}  # fmt: skip


@pytest.mark.parametrize("part", PARTS.values(), ids=PARTS)
def test_odd_values_of_rules_and_costs_are_taken_or_refused(part):
    """Whatever a field is given: it is taken, or refused with an error of the library that names the field."""
    names = [name for name in inspect.signature(type(part)).parameters if not name.endswith("_si")]
    for name, odd in itertools.product(names, ODD):
        try:
            replace(part, **{name: odd})
        except StubsiError as error:
            assert name.removesuffix("s") in str(error) or "source" in str(error)  # noqa: PT017


def test_cases_of_unknown_rules_are_made_once():
    unknown = made.rules(tip_angle=None, least_plated=None)
    cases = unknown.cases()
    assert cases is unknown.cases()
    assert [(case.tip_angle, case.least_plated_si) for case in cases] == [(90, 0), (90, 1e-3), (180, 0), (180, 1e-3)]
    spelled_out = [
        made.rules(tip_angle=angle, least_plated=length)
        for angle in UNKNOWN_RANGE["tip_angle"]
        for length in UNKNOWN_RANGE["least_plated"]
    ]
    assert list(cases) == spelled_out
    assert pickle.loads(pickle.dumps(unknown)).cases() == cases
    assert made.rules().cases() == (made.rules(),)


def results():
    """A plan and whatever follows from it."""
    nets = [made.net(f"n{i}", ("L1", f"L{3 + i % 3}"), 0.4, padstack=MIXED_VIA, layers=("L3", "L5")) for i in range(40)]
    nets += [made.net("alone", ("L1", "L2"), 0.4, layers=("L2", "L5"))]
    nets += [made.net(f"t{i}", ("L4", "L6"), 0.4) for i in range(40)] + [summed_net()]
    found = planned(six_layers(*nets, role="mixed"), made.rules(sides={"bottom": "any"}, edge_tolerance=None))
    moves = found.reroutes()
    consequences, effects, questions = found.consequences(), found.effects(), found.questions()
    return [
        found, found.groups[0], found.hits[0], found.hits[0].window, found.refused[0], found.certificate[0],
        found.task, found.task.single[0], found.task.coupled[0], found.limits, consequences, consequences.nets[0],
        effects, effects[0], questions, questions[0], moves, moves.held_groups[0], moves.single, moves.single.moves[0],
        found.undrilled["n2"],
    ]  # fmt: skip


def test_results_print_short_in_a_console():
    for result in results():
        assert len(repr(result)) < 200, type(result)


def test_tables_of_results():
    found, *_ = results()
    groups, holes = found.to_frame(), found.holes_frame()
    assert groups["holes"].tolist() == [len(group.hits) for group in found.groups]
    assert groups["depth drill [mm]"].tolist() == pytest.approx([0.5] * len(groups))
    assert groups["greatest depth [mm]"].tolist() == pytest.approx([1e3 * g.depth_si[1] for g in found.groups])
    assert holes["hole"].tolist() == [hit.hole.name for hit in found.hits]
    assert holes["stub, most [mm]"].max() == pytest.approx(0.3)
    effects = found.effects().to_frame()
    assert set(effects["effect"]) == {"clearance", "pad vanishes", "mask opening"}
    assert effects["drawn [mm]"].max() == pytest.approx(0.8)
    assert found.questions().to_frame()["unknown input"].tolist() == ["edge tolerance"]
    assert len(found.consequences().to_frame()) == 82


def test_equal_stubs_have_equal_windows():
    board = six_layers(made.net("A", ("L1", "L3"), 0.5))
    (one,), (other,) = (
        stub_shapes(each.stackup, made.VIA, each.span(each.nets[0].holes[0]))
        for each in (board, six_layers(*board.nets))
    )
    assert one is not other
    first, second = window(one, 0.5e-3, made.rules()), window(other, 0.5e-3, made.rules())
    assert first == second
    assert hash(first) == hash(second)
    assert first != window(one, 0.4e-3, made.rules())


def test_holes_without_a_change_are_not_copied():
    narrow = made.net("A", ("L1", "L3"), 0.5, padstack=via("a", "0.7 mm"))
    wide = made.net("B", ("L1", "L3"), 0.5, padstack=via("b", "1.2 mm"))
    mixed = Net(name="C", signal="10 Gb/s", z0="50 ohm", criterion=narrow.criterion, holes=(
        replace(narrow.holes[0], name="C.1"), replace(wide.holes[0], name="C.2"),
    ))  # fmt: skip
    found = planned(six_layers(narrow, wide, mixed))
    board = widened(found)
    assert board.nets[1] is wide
    assert board.nets[2].holes[1] is mixed.holes[1]
    assert board.nets[0].holes[0].padstack is board.nets[2].holes[0].padstack
    assert board.nets[0].holes[0].padstack.antipad_at("L5", "plane").width_si == pytest.approx(0.9e-3)


def test_losses_are_remembered_from_plan_to_plan(monkeypatch):
    """The same net on another board, beside another one: nothing is computed again."""
    monkeypatch.setattr(drilling_limits, "_remembered", Memory(100))
    asked = []
    stub_figures = stub_use.stub_figures

    def counted(models, case, *more, wanted):
        asked.append(len(case))
        return stub_figures(models, case, *more, wanted=wanted)

    monkeypatch.setattr(stub_use, "stub_figures", counted)
    first = planned(six_layers(summed_net()))
    assert sum(asked)
    asked.clear()
    second = planned(six_layers(summed_net(), made.net("C", ("L1", "L6"), 0.5)))
    assert not asked
    assert [hit.losses for hit in first.hits] == [hit.losses for hit in second.hits]


@pytest.mark.slow
@pytest.mark.parametrize("count", [100, 1000])
def test_many_different_coupled_nets_end_in_time(count):
    """Hundreds of different sums: the solver proves the least, or stops at its time limit and says so."""
    random = np.random.default_rng(1)
    layers = [f"L{number}" for number in range(2, 12)]
    nets = tuple(
        Net(
            name=f"n{k}", signal=f"{random.integers(20, 50)} Gb/s", z0="50 ohm",
            criterion=Criterion.loss(round(random.uniform(0.3, 1.5), 3), source=made.SAYS),
            holes=tuple(
                Hole(name=f"n{k}.{i}", padstack=made.VIA, connects=tuple(random.permutation(layers)[:2].tolist()))
                for i in range(4)
            ),
        )
        for k in range(count)
    )  # fmt: skip
    its_rules = made.rules(tip_angle=180, tip_distance="0 mm", tolerance=made.depth_tolerance(0.03, 0.03))
    board = Board(stackup=made.stackup((0.25,) * 11), nets=nets)
    try:
        found = planned(board, its_rules, time_limit=5)
    except StubsiError as error:
        assert "No plan was found within 5 s: give a longer time_limit." in str(error)  # noqa: PT017
        return
    assert len(found.certificate) <= len(found.groups)
    assert ("relative gap" in found.summary()) == (found.cost_gap > 0)


def test_an_export_that_was_handed_off_can_still_be_compared():
    """Digest that the release 0.1.0 of November 2026 printed for the demo board under the rules of the README."""
    board = read_board(Path(__file__).parents[1] / "shared" / "demo_board.toml")
    invented = "invented for the demo"
    rules = FabricatorRules(
        oversize="0.2 mm", tip_angle=150, tip_distance=None, least_depth="0.2 mm", least_plated="0.5 mm",
        copper_clearance="0.15 mm", edge_tolerance="0.05 mm", sides={"bottom": "any"}, datum="copper", depth_to="tip",
        tolerance=GuaranteedResidual.plus_minus("8 mil", "3 mil", source=invented), source=invented,
    )  # fmt: skip
    assert plan(board, rules, model="uniform", missed_nets="stub by stub").digest == "2b993258d1c27125"
