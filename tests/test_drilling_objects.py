"""Results of drilling as objects: they compare, hash, pickle, print short in good English, and show in a notebook."""

from __future__ import annotations

import pickle

import pytest

from stubsi import (
    Board,
    FabricatorRules,
    InputKind,
    Judged,
    NetChange,
    Verdict,
    WhyNoMove,
    layer_matrix,
)
from stubsi.errors import UnknownNameError
from tests import drilling_boards as made
from tests import margin_boards as mb
from tests.test_drilling_plan import planned, six_layers

ROUTES = {"layers": ("L1", "L2", "L3", "L4", "L5")}
NETS = (
    made.net("A", ("L1", "L2"), 0.4, **ROUTES),
    made.net("B", ("L1", "L3"), 0.4, **ROUTES),
    made.net("C", ("L1", "L3"), 0.4),
    made.net("D", ("L4", "L6"), 0.2),
    made.net("W", ("L1", "L3"), 0.5, waiver="slow"),
)
FROM_BELOW = {"sides": {"bottom": "any"}}


def fresh():
    """A plan of a board that shares nothing with the one before."""
    return planned(six_layers(*(net.replaced() for net in NETS)), made.rules(**FROM_BELOW))


@pytest.mark.parametrize("result", ["consequences", "effects", "questions", "reroutes"])
def test_equal_plans_lead_to_equal_results(result):
    one, other = fresh(), fresh()
    assert one is not other
    assert one == other
    assert hash(one) == hash(other)
    first, second = getattr(one, result)(), getattr(other, result)()
    assert first == second
    assert hash(first) == hash(second)
    assert pickle.loads(pickle.dumps(first)) == first


def test_a_plan_survives_pickling_as_an_equal_one():
    found = fresh()
    again = pickle.loads(pickle.dumps(found))
    assert again == found
    assert len({again, found}) == 1


def test_plans_differ_where_an_input_does():
    found = fresh()
    others = [
        planned(six_layers(*NETS[:-1]), made.rules(**FROM_BELOW)),
        planned(six_layers(*NETS), made.rules(**FROM_BELOW, edge_tolerance="0.07 mm")),
    ]
    for other in others:
        assert other != found
        assert other.consequences() != found.consequences()


def test_why_nets_stay_undrilled_cannot_be_changed():
    found = fresh()
    assert set(found.undrilled) == {"W"}
    for reasons in (found.undrilled, found.undecided, found.reroutes().held_groups[0].without_move):
        with pytest.raises(TypeError):
            reasons["A"] = None
        with pytest.raises(AttributeError):
            reasons.clear()
        assert pickle.loads(pickle.dumps(reasons)) == reasons == dict(reasons)


def test_a_layer_matrix_can_be_compared_and_not_be_changed():
    matrix, other = (
        layer_matrix(mb.stackup(), ["25 Gb/s"], padstack=mb.VIA, z0="50 ohm", return_vias=mb.RETURNS) for _ in range(2)
    )
    assert matrix == other
    assert hash(matrix) == hash(other)
    with pytest.raises(TypeError):
        matrix.cells["S1"] = {}
    with pytest.raises(TypeError):
        next(iter(matrix.cells.values()))["25 Gb/s"] = None


def test_consequences_are_asked_net_by_net():
    after = fresh().consequences()
    assert len(after) == len(NETS)
    assert [change.net for change in after] == [change.net for change in after.nets]
    assert sorted(change.net for change in after) == ["A", "B", "C", "D", "W"]
    assert after["D"].verdict == (Verdict.FALLS_SHORT,) * 3
    assert "D" in after
    assert after["D"] in after
    assert "d1" not in after
    assert 3 not in after


def test_an_unknown_net_is_answered_with_near_names():
    nets = (made.net("CLOCK1", ("L1", "L3"), 0.5), made.net("DATA", ("L1", "L3"), 0.5))
    after = planned(six_layers(*nets), made.rules()).consequences()
    with pytest.raises(UnknownNameError, match=r"'CLOCK'.*names.*CLOCK1"):
        after["CLOCK"]


def covered(**changes):
    """Rules with a guaranteed residual stub and without a tip distance."""
    return made.rules(tip_distance=None, **changes)


def test_a_guarantee_covers_the_tip_distance():
    """The guarantee holds for the end of the plating wherever the point is: nobody needs to be asked for the point."""
    found = planned(six_layers(*NETS), covered(**FROM_BELOW))
    (row,) = (row for row in found.rules.rows() if row[0] == "tip distance")
    assert row[1] == "covered by the guaranteed residual"
    assert "tip distance covered by the guaranteed residual" in " ".join(found.to_text().split())
    assert "unknown" not in found.rules.in_one_line()
    assert not [question for question in found.questions() if question.subject == "tip_distance"]


def test_without_a_guarantee_the_tip_distance_is_unknown_and_asked_for():
    its_rules = covered(tolerance=made.depth_tolerance(0.05, 0.05), **FROM_BELOW)
    found = planned(six_layers(*NETS), its_rules)
    assert "tip distance unknown" in its_rules.in_one_line()
    assert [(question.kind, question.subject, question.about) for question in found.questions()] == [
        (InputKind.RULE, "tip_distance", Judged.STUBS)
    ]


def test_a_tip_distance_beside_a_guarantee_is_shown():
    assert "tip distance 0.1 mm" in made.rules(tip_distance="0.1 mm").in_one_line()


def test_no_question_does_not_mean_that_nothing_is_unknown():
    """A clearance that no plane asks for can stay unknown; it changes nothing."""
    found = planned(Board(stackup=made.stackup((0.25,) * 5), nets=(made.net("A", ("L1", "L6"), 0.4),)),
                    made.rules(copper_clearance=None))  # fmt: skip
    assert "copper clearance unknown" in found.rules.in_one_line()
    assert str(found.questions()) == "Nothing to ask: no unknown input can change a verdict."


def test_rules_print_short():
    short = made.rules(source="x" * 100, tip_angle=None, least_depth=None, least_plated=None, sides={"top": "any"})
    assert len(repr(short)) < 200
    assert repr(made.rules(**FROM_BELOW, tip_angle=None)) == (
        "<FabricatorRules of 'made up for the test': bottom, oversize 0.2 mm, guaranteed residual; unknown: tip angle>"
    )


def test_one_is_singular():
    found = planned(six_layers(*NETS[:3]), made.rules(**FROM_BELOW))
    moves = found.reroutes()
    assert str(moves.single).endswith(": 1 fewer drill group")
    assert repr(moves.single) == "<Proposal of 1 move: 1 fewer drill group>"
    assert repr(moves).startswith("<Reroutes: the best single move saves 1 group, ")
    one = planned(six_layers(NETS[1]), made.rules(**FROM_BELOW))
    assert repr(one) == "<Plan: 1 drill group, 1 hit, 0 stubs refused, 0 nets undecided>"
    assert repr(one.groups[0]).startswith("<Group 1: 1 hole from the bottom")
    assert repr(one.consequences()).startswith("<Consequences for 1 net;")
    assert all("1 layers" not in repr(effect) for effect in one.effects())
    asked = planned(six_layers(NETS[1]), made.rules(**FROM_BELOW, tip_angle=None)).questions()
    assert all(f" {question.flips} stub" in str(question) for question in asked)


def test_why_a_net_cannot_free_its_group_is_data():
    net = made.net("A", ("L1", "L3"), 0.4)
    (group,) = planned(six_layers(net), made.rules(**FROM_BELOW)).reroutes().held_groups
    assert dict(group.without_move) == {"A": WhyNoMove.NO_OTHER_LAYER}


def test_parts_of_a_plan_show_in_a_notebook():
    found = fresh()
    change, effect = found.consequences()["D"], found.effects()[0]
    parts = {
        found.rules: "oversize", found.groups[0]: found.groups[0].layer, found.hits[0]: found.hits[0].hole.name,
        found.refused[0]: "other side only", effect: effect.padstack.name,
        found.certificate[0]: found.certificate[0].stubs[0][1],
        change: "falls short", found.reroutes().single: "from L",
        found.matches(six_layers(*NETS[1:]), found.rules): "net A",
    }  # fmt: skip
    for part, text in parts.items():
        page = part._repr_html_()
        assert "<table>" in page, type(part)
        assert text in page, type(part)
        assert len(repr(part)) < 200, type(part)
    assert isinstance(change, NetChange)
    assert isinstance(found.rules, FabricatorRules)


def test_a_table_of_consequences_names_every_column_once():
    lines = str(fresh().consequences()).splitlines()
    titles, units = next((line, lines[i + 1]) for i, line in enumerate(lines) if line.startswith("net "))
    for title in ("margin before", "margin nominal", "margin worst", "1 dB before", "1 dB worst", "loss before",
                  "loss worst"):  # fmt: skip
        assert title in titles
    assert units.split() == ["x", "Nyq"] * 3 + ["GHz"] * 2 + ["dB"] * 2
