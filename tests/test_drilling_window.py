"""Windows of end positions: hand-worked numbers, every corner of the tolerances, every reason, published figures."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from stubsi import Board, Padstack, PressFit, notch_frequency, plan
from stubsi.drilling.guaranteed_residual import GuaranteedResidual
from stubsi.drilling.rules import cone_height
from stubsi.drilling.side_view import side_view
from stubsi.drilling.window import lead_si, window
from stubsi.errors import BoardError, StubsiError
from stubsi.stubs.drawn import stub_shapes
from tests import drilling_boards as made


def only_window(gaps, connects, at_most, its_rules, *, side="bottom", padstack=made.VIA, press_fit=None):
    """Window of one stub of a board with one hole."""
    one = made.net("n", connects, at_most, padstack=padstack, press_fit=press_fit)
    board = Board(stackup=made.stackup(gaps), nets=(one,))
    hole = one.holes[0]
    shapes = stub_shapes(board.stackup, padstack, board.span(hole), press_fit)
    shape = next(shape for shape in shapes if shape.side == side)
    return window(shape, at_most * 1e-3, its_rules)


def kinds(found):
    return [reason.kind for reason in found.reasons]


GAPS = (0.25,) * 5
"""Six layers of 0.05 mm: near faces from the bottom at 0.30 (L5), 0.60 (L4), 0.90 (L3), 1.20 (L2), 1.50 (L1) mm."""


def test_worked_window():
    """Drill 0.3 mm, tip 90 degrees: the point leads the end of the plating by 0.15 mm / tan 45 = 0.15 mm.

    Layer in use L3, near face at 0.90 mm from the bottom face; depth +0.05/-0.10 mm, thickness +5/-5 % (0.045 mm).
    Cut: thinnest board 0.855 mm, point 0.05 mm before it, 0.05 mm too deep, end 0.15 mm behind the point: 0.605 mm.
    Stub at most 0.5 mm: thickest board 0.945 mm, 0.10 mm too shallow: 0.945 + 0.10 - 0.5 = 0.545 mm.
    """
    its_rules = made.rules(tip_distance="0.05 mm", tolerance=made.depth_tolerance(0.05, 0.10, 0.05, 0.05))
    found = only_window(GAPS, ("L1", "L3"), 0.5, its_rules)
    assert not found.reasons
    assert found.deepest_si == pytest.approx(0.605e-3, abs=1e-9)
    assert found.shallowest_si == pytest.approx(0.545e-3, abs=1e-9)
    least, nominal, most = found.left(found.deepest_si)
    assert least == pytest.approx(0.20e-3, abs=1e-9)
    assert nominal == pytest.approx(0.295e-3, abs=1e-9)
    assert most == pytest.approx(0.44e-3, abs=1e-9)


@pytest.mark.parametrize(
    ("reference", "sensed", "deepest", "shallowest"),
    [
        ("face", {}, 0.90 * 0.9 - 0.05 - 0.20, 0.90 * 1.2 + 0.10 - 0.6),
        ("measured thickness", {}, 0.90 - (0.20 + 0.05 - 0.015) / 0.9, 0.90 - (0.6 - 0.10 + 0.03) / 1.2),
        ("sensed layer", {"bottom": "L4"}, 0.90 - 0.1 * 0.3 - 0.05 - 0.20, 0.90 + 0.2 * 0.3 + 0.10 - 0.6),
    ],
    ids=["face", "measured thickness", "sensed layer"],
)
def test_what_depth_is_referenced_to(reference, sensed, deepest, shallowest):
    """L3 at 0.90 mm, +20/-10 % thickness: all 0.90 mm of it counts, or what is left, or the 0.30 mm beyond L4.

    Where the panel is measured the depth of the point, 0.15 mm ahead of the plating, is what is scaled: the end of the
    plating then lies 0.015 mm farther from L3 on the thinnest panel, 0.03 mm nearer on the thickest.
    """
    tolerance = made.depth_tolerance(0.05, 0.10, 0.2, 0.1, reference, sensed)
    its_rules = made.rules(sides={"bottom": "any"}, tip_distance="0.05 mm", tolerance=tolerance)
    found = only_window(GAPS, ("L1", "L3"), 0.6, its_rules)
    assert found.deepest_si * 1e3 == pytest.approx(deepest, abs=1e-6)
    assert max(b.end for b in found.lower if "longest" in b.text) * 1e3 == pytest.approx(shallowest, abs=1e-6)


def test_sensed_layer_must_be_passed():
    tolerance = made.depth_tolerance(reference="sensed layer", sensed={"bottom": "L2"})
    its_rules = made.rules(sides={"bottom": "any"}, tip_distance="0.05 mm", tolerance=tolerance)
    assert kinds(only_window(GAPS, ("L1", "L3"), 0.6, its_rules)) == ["sensed layer"]


def test_published_residual_stub_figures():
    """Quarter wave at Dk 4: residual 10 mil +- 3 mil is 113.5 / 147.5 / 210.8 GHz (derived: c / 8 L)."""
    ten = GuaranteedResidual.plus_minus("10 mil", "3 mil", source=made.SAYS)
    left = only_window(GAPS, ("L1", "L3"), 0.5, made.rules(tolerance=ten)).left(0.9e-3 - 10 * 2.54e-5)
    notches = [notch_frequency(f"{length / 2.54e-5:.9f} mil", 4).m_as("GHz") for length in left]
    assert [round(notch, 1) for notch in notches] == [210.8, 147.5, 113.5]


def test_residual_that_could_be_negative_may_cut_the_layer_in_use():
    """2 mil +- 3 mil: never a negative stub, always a refusal."""
    two = GuaranteedResidual.plus_minus("2 mil", "3 mil", source=made.SAYS)
    found = only_window(GAPS, ("L1", "L3"), 0.5, made.rules(tolerance=two))
    assert kinds(found) == ["cuts the layer"]
    assert "may cut the layer in use" in found.reason


def test_cone_reaches_further_inside_the_barrel_than_outside():
    """Tip 90 degrees, barrel radius 0.15, finished 0.125 mm: inside, the plating ends 0.025 mm deeper than outside."""
    short, enough = (
        GuaranteedResidual(least=made.mm(least), most="0.2 mm", source=made.SAYS) for least in (0.024, 0.025)
    )
    assert kinds(only_window(GAPS, ("L1", "L3"), 0.5, made.rules(tolerance=short))) == ["cuts the layer"]
    assert not only_window(GAPS, ("L1", "L3"), 0.5, made.rules(tolerance=enough)).reasons
    unknown = Padstack(name="u", drill="0.3 mm")
    found = only_window(GAPS, ("L1", "L3"), 0.5, made.rules(tolerance=enough), padstack=unknown)
    assert "cone of the tip needs 0.15 mm" in found.reason


def test_cone_height():
    """Half of a 0.3 mm barrel, 118 degrees: 0.15 / tan 59 = 0.0901 mm. Flat: 0."""
    assert cone_height(0.15e-3, 118) == pytest.approx(0.09013e-3, rel=1e-4)
    assert cone_height(0.15e-3, 180) == 0


def test_depth_to_the_shoulder_is_less_than_to_the_tip():
    """Tip 90 degrees, depth drill 0.5 mm: the shoulder lies 0.25 mm behind the point, 0.10 mm before the end."""
    assert lead_si(0.3e-3, made.rules(depth_to="tip")) == pytest.approx(0.15e-3)
    assert lead_si(0.3e-3, made.rules(depth_to="shoulder")) == pytest.approx(-0.10e-3)


@pytest.mark.parametrize(
    ("datum", "more", "first"),
    [("copper", {}, 0.0), ("laminate", {}, -0.05), ("mask", {"mask_thickness": "0.02 mm"}, 0.02)],
    ids=["copper", "laminate", "mask"],
)
@pytest.mark.parametrize("side", ["top", "bottom"], ids=["top", "bottom"])
def test_depths_from_the_datum(datum, more, first, side):
    seen = side_view(made.stackup((0.1, 0.2, 0.3)), made.rules(datum=datum, **more), side)
    faces = [0, 0.15, 0.40, 0.75] if side == "top" else [0, 0.35, 0.60, 0.75]
    assert seen.near * 1e3 == pytest.approx([first + face for face in faces])


PRESSED = PressFit(side="top", contact_from="0.2 mm", contact_to="1.0 mm")
LONG_PIN = PressFit(side="top", contact_from="0.1 mm", contact_to="0.3 mm", pin_length="1.3 mm")

REASONS = {
    "other side only": {"its_rules": made.rules(sides={"top": "any"})},
    "buried": {"padstack": Padstack(name="b", drill="0.3 mm", finished="0.25 mm", span=("L1", "L5"))},
    "press-fit zone": {"at_most": 0.5, "press_fit": PRESSED},
    "press-fit pin": {"at_most": 0.5, "press_fit": LONG_PIN},
    "too thin a dielectric": {"its_rules": made.rules(least_depth="1 mm")},
    "plated length": {"its_rules": made.rules(least_plated="1.1 mm")},
    "deepest layer": {"its_rules": made.rules(sides={"bottom": "L4"})},
    "budget not reachable": {"at_most": 0.2},
}  # fmt: skip


@pytest.mark.parametrize(("kind", "case"), REASONS.items(), ids=list(REASONS))
def test_every_reason_by_name(kind, case):
    """L3 in use, drilled from the bottom: one obstacle at a time, and no window without it."""
    case = {"at_most": 0.4, "its_rules": made.rules(), **case}
    assert kinds(only_window(GAPS, ("L1", "L3"), **case)) == [kind]
    assert not only_window(GAPS, ("L1", "L3"), 0.4, made.rules()).reasons


def test_deepest_layer_limits_the_name_not_only_the_depth():
    """Guaranteed 0.5 to 0.7 mm: L3's end, at 0.30 mm, lies before L4's near face, yet L4 is the deepest to be named."""
    far = made.rules(tolerance=GuaranteedResidual(least="0.5 mm", most="0.7 mm", source=made.SAYS))
    assert not only_window(GAPS, ("L1", "L3"), 0.75, far).reasons
    limited = made.rules(tolerance=far.tolerance, sides={"bottom": "L4"})
    assert kinds(only_window(GAPS, ("L1", "L3"), 0.75, limited)) == ["deepest layer"]


def test_reason_tells_the_figures():
    found = only_window(GAPS, ("L1", "L3"), 0.2, made.rules())
    assert found.reason == (
        "budget not reachable: shortest stub at worst tolerance 0.3 mm; longest permitted stub 0.2 mm; "
        "L3 must not be cut"
    )


@settings(max_examples=100, deadline=None)
@given(
    st.lists(made.tenths(0.1, 0.5), min_size=3, max_size=6),
    st.data(),
    made.random_rules(made.FACE_TOLERANCES),
    st.floats(0, 1),
)
def test_no_corner_of_the_tolerances_cuts_or_leaves_too_much(gaps, data, its_rules, share):
    """Drilled in the mind: a point at the depth aimed at, off by its error, in a board stretched by its tolerance."""
    count = len(gaps) + 1
    low, high = sorted(data.draw(st.lists(st.integers(1, count), min_size=2, max_size=2, unique=True)))
    side = data.draw(st.sampled_from(["top", "bottom"]))
    if (side == "bottom" and high == count) or (side == "top" and low == 1):
        return
    at_most = data.draw(made.tenths(0.1, 1.0))
    found = only_window(gaps, (f"L{low}", f"L{high}"), at_most, its_rules, side=side)
    if found.reasons:
        return
    end = found.shallowest_si + share * (found.deepest_si - found.shallowest_si)
    cone = 0.15e-3 / math.tan(math.radians(its_rules.tip_angle) / 2)
    lag = 0.25e-3 / math.tan(math.radians(its_rules.tip_angle) / 2) if its_rules.depth_to == "shoulder" else 0
    tolerance, depth = its_rules.tolerance, end + cone - lag
    keep = gaps[high - 1 :] if side == "bottom" else gaps[: low - 1]
    face = (sum(keep) + 0.05 * len(keep)) * 1e-3 - (0.05e-3 if its_rules.datum == "laminate" else 0)
    for error, stretch in itertools.product(
        (-tolerance.minus_si, tolerance.plus_si), (-tolerance.thickness_minus, tolerance.thickness_plus)
    ):
        scaled = tolerance.reference == "measured thickness"
        point = (depth * (1 + stretch) if scaled else depth) + error + lag
        plating_end = point - cone
        assert point + its_rules.tip_distance_si <= face * (1 + stretch) + 1e-9
        assert face * (1 + stretch) - plating_end <= at_most * 1e-3 + 1e-9
    assert depth >= its_rules.least_depth_si - 1e-9


@settings(max_examples=60, deadline=None)
@given(made.random_rules(made.FACE_TOLERANCES | made.RESIDUALS), made.tenths(0.1, 1.2), st.data())
def test_unknown_rules_never_allow_what_a_known_one_forbids(its_rules, at_most, data):
    """A window with a rule unknown lies within the window of every value the rule is taken to have."""
    name = data.draw(st.sampled_from(["tip_angle", "tip_distance", "least_depth", "least_plated"]))
    value = data.draw(
        {
            "tip_angle": st.floats(90, 180),
            "tip_distance": st.floats(0, 0.1524).map(made.mm),
            "least_depth": st.floats(0, 0.3).map(made.mm),
            "least_plated": st.floats(0, 1).map(made.mm),
        }[name]
    )
    if name == "tip_distance" and isinstance(its_rules.tolerance, GuaranteedResidual):
        return
    known, unknown = (
        only_window(GAPS, ("L1", "L3"), at_most, its_rules.replaced(**{name: given})) for given in (value, None)
    )
    if known.reasons:
        assert unknown.reasons
    elif not unknown.reasons:
        assert unknown.deepest_si <= known.deepest_si + 1e-10
        assert unknown.shallowest_si >= known.shallowest_si - 1e-10


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"source": " "}, "source is missing"),
        ({"sides": {}}, "name 'top', 'bottom' or both"),
        ({"sides": {"left": "any"}}, "name 'top', 'bottom' or both"),
        ({"datum": "mask"}, "give it with datum 'mask'"),
        ({"tip_angle": 200}, "from 30 to 180"),
        ({"tip_angle": 2.3}, "in degrees"),
        ({"tolerance": "0.1 mm"}, "GuaranteedResidual or a DepthTolerance"),
        ({"sources": {"colour": "nobody"}}, "'colour' is no rule"),
        ({"depth_to": "cone"}, "must be one of tip, shoulder"),
    ],
    ids=["source", "no side", "side", "mask", "angle", "radians", "tolerance", "sources", "depth to"],
)
def test_rules_that_cannot_be(changed, said):
    with pytest.raises(BoardError, match=said):
        made.rules(**changed)


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: GuaranteedResidual(least="0.3 mm", most="0.1 mm", source="x"), "must be in this order"),
        (lambda: GuaranteedResidual(least="0.1 mm", most="0.3 mm", source=""), "source is missing"),
        (lambda: made.depth_tolerance(thicker=10), "a fraction, not a percentage"),
        (lambda: made.depth_tolerance(reference="laminate"), "must be one of face"),
        (lambda: made.depth_tolerance(reference="sensed layer"), "name the layer sensed"),
    ],
    ids=["order", "source", "percent", "reference", "no sensed layer"],
)
def test_tolerances_that_cannot_be(make, said):
    with pytest.raises(BoardError, match=said):
        make()


def test_every_rule_is_told_with_its_source():
    rows = made.rules(sources={"oversize": "common practice, no source"}).rows()
    assert all(source for _, _, source in rows)
    assert ("oversize", "0.2 mm", "common practice, no source") in rows
    assert ("tip distance", "covered by the guaranteed residual", made.SAYS) in rows


def test_a_guaranteed_residual_never_names_a_layer_behind_the_one_in_use():
    """Near faces of L3 and L2 at 0.62 and 0.69 mm from the bottom: 0.10 mm before L2 is 0.03 mm before L3, within
    +-0.01 mm of it nothing is cut, and yet it would tell the fabricator that L3 may be. Deepest: 0.10 mm before L3.
    """
    tight = GuaranteedResidual(least="0.09 mm", most="0.11 mm", source=made.SAYS)
    gaps = (0.25, 0.02, 0.25, 0.27)
    found = only_window(gaps, ("L1", "L3"), 0.5, made.rules(tip_angle=180, tolerance=tight))
    seen = side_view(made.stackup(gaps), made.rules(tolerance=tight), "bottom")
    third, second = (float(seen.near[seen.position(layer)]) for layer in ("L3", "L2"))
    assert second - third == pytest.approx(0.07e-3)
    assert found.holds(third - 0.10e-3)
    assert not found.holds(second - 0.10e-3)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"sides": {"bottom": None}}, "each with its deepest layer"),
        ({"sides": ("bottom",)}, "each with its deepest layer"),
        ({"sides": {"left": "any"}}, "'top', 'bottom' or both"),
        ({"tolerance": made.depth_tolerance(reference="sensed layer", sensed={"top": "L3"})}, "every side"),
    ],
    ids=["no layer", "no pairs", "no side", "sensed from another side"],
)
def test_rules_that_name_no_layer_are_refused(changed, words):
    with pytest.raises(BoardError, match=words):
        made.rules(**{"sides": {"bottom": "any"}, **changed})


@pytest.mark.parametrize(
    "changed",
    [
        {"sides": {"bottom": "L9"}},
        {
            "sides": {"bottom": "any"},
            "tolerance": made.depth_tolerance(reference="sensed layer", sensed={"bottom": "L9"}),
        },
    ],
    ids=["deepest", "sensed"],
)
def test_rules_that_name_an_unknown_layer_are_refused(changed):
    board = Board(stackup=made.stackup(GAPS), nets=(made.net("n", ("L1", "L6"), 0.5),))
    with pytest.raises(BoardError, match=r"bottom = 'L9': no such copper layer; known are L1, L2"):
        plan(board, made.rules(**changed), model="uniform")


@pytest.mark.parametrize("name", ["board", "rules", "costs"])
def test_a_plan_needs_its_kinds(name):
    board = Board(stackup=made.stackup(GAPS), nets=(made.net("n", ("L1", "L6"), 0.5),))
    given = {"board": board, "rules": made.rules(), "costs": None, name: "x"}
    with pytest.raises(StubsiError, match=f"{name} = 'x': must be a"):
        plan(given["board"], given["rules"], costs=given["costs"], model="uniform")


@given(
    reference=st.sampled_from(["face", "measured thickness"]),
    face=st.floats(0.3, 3.0),
    kept=st.floats(0.0, 0.6),
    lead=st.floats(-0.6, 0.6),
    depth=st.tuples(st.floats(0.0, 0.1), st.floats(0.0, 0.1)),
    thickness=st.tuples(st.floats(0.0, 0.15), st.floats(0.0, 0.15)),
)
@example(reference="measured thickness", face=1.0, kept=0.1, lead=0.5, depth=(0.05, 0.05), thickness=(0.1, 0.1))
@example(reference="measured thickness", face=1.0, kept=0.5, lead=-0.3, depth=(0.05, 0.05), thickness=(0.1, 0.1))
def test_the_worst_board_and_the_worst_depth_leave_just_what_is_kept(reference, face, kept, lead, depth, thickness):
    """Every corner of the tolerances by itself: the board is s times as thick, the point of the drill e too deep.

    Depth counts from the nominal face, or is scaled with the board that was measured. The deepest end leaves ``kept``
    of plating at the worst corner, the shallowest no more than that at the other; whichever leads, point or plating.
    Where the point leads by more than is kept the thicker board is the worst one; elsewhere the thinner one is.
    """
    tolerance = made.depth_tolerance(*depth, *thickness, reference)

    def left(end):
        """Plating left before the face at every corner, for an end [m] that is aimed at."""
        corners = []
        for s in (1.0, 1 - tolerance.thickness_minus, 1 + tolerance.thickness_plus):
            point = (end + lead * 1e-3) * (s if reference == "measured thickness" else 1.0)
            corners += [face * 1e-3 * s - (point + e - lead * 1e-3) for e in (-tolerance.minus_si, tolerance.plus_si)]
        return corners

    given_ = face * 1e-3, kept * 1e-3, 0.0, lead * 1e-3
    assert min(left(tolerance.deepest(*given_))) == pytest.approx(kept * 1e-3, abs=1e-12)
    assert max(left(tolerance.shallowest(*given_))) == pytest.approx(kept * 1e-3, abs=1e-12)
    end = 0.4 * face * 1e-3
    assert tolerance.left(face * 1e-3, end, 0.0, lead * 1e-3) == pytest.approx(
        (min(left(end)), max(left(end))), abs=1e-12
    )


def test_rules_are_told_one_by_one_each_with_its_source():
    left = GuaranteedResidual(least="0.1 mm", most="0.3 mm", source="drawing 7")
    lines = str(made.rules(tolerance=left, sources={"oversize": "tool list"})).splitlines()
    assert "oversize: 0.2 mm (tool list)" in lines
    assert any(line.endswith("guaranteed residual stub 0.1 mm to 0.3 mm (drawing 7)") for line in lines)
    assert all(line.endswith(f"({source})") for line in lines for source in [line[line.rindex("(") + 1 : -1]])
    assert {"tip angle", "least depth", "edge tolerance"} <= {line.split(":")[0] for line in lines}


@pytest.mark.parametrize(("angle", "taken"), [(90, True), (180, True), (180.1, False), (29.9, False), (30, True)])
def test_the_angle_of_a_tip_is_from_30_to_180_degrees(angle, taken):
    if taken:
        assert made.rules(tip_angle=angle).tip_angle == angle
    else:
        with pytest.raises(StubsiError, match="tip_angle"):
            made.rules(tip_angle=angle)
