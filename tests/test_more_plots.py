"""The plots of a plan and of tolerances: what they draw is what the plan, the corners and the budgets say."""

from __future__ import annotations

import itertools
import math

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.figure import Figure

import stubsi
from stubsi import Board, Criterion, Hole, Net, StubsiError, Tolerance, Tolerances, Verdict, corners, plan
from stubsi.show.axes import draw_note, draw_rows
from stubsi.show.palette import GROUPS, LOOKS
from stubsi.show.section import apart
from tests import drilling_boards as db
from tests import margin_boards as mb
from tests.public import PUBLIC

SAYS = "made up for the test"
HOUSE = Criterion.notch_ratio(1.6, source=SAYS)


@pytest.fixture(autouse=True)
def agg():
    mpl.use("Agg")


def axes(width=6.0, height=4.0):
    return Figure(figsize=(width, height), layout="constrained").add_subplot()


def lane(number, layer, drill=0.3, **more):
    """A net of one hole from the top to a layer, 5 mm from the last one; a stub of 0.31 mm passes."""
    hole = Hole(name=f"H{number}", padstack=db.padstack(drill), connects=("L1", layer), x=f"{5 * number} mm", y="2 mm")
    return Net(name=f"N{number}", signal="10 Gb/s", z0="50 ohm", holes=(hole,), criterion=db.longest(0.31), **more)


def planned(stack, nets):
    return plan(Board(stackup=stack, nets=nets), db.rules(), model="uniform", dk_eff=4)


@pytest.fixture(scope="module")
def three():
    """Three groups from the bottom, and a net that passes."""
    nets = [lane(n, layer) for n, layer in enumerate(("L2", "L3", "L4", "L6", "L4"))]
    return planned(db.stackup((0.35,) * 5), nets)


@pytest.fixture(scope="module")
def thirty():
    """Thirty groups: fifteen layers, two drills."""
    pairs = itertools.product((0.25, 0.4), range(2, 17))
    nets = [lane(n, f"L{layer}", drill) for n, (drill, layer) in enumerate(pairs)]
    return planned(db.stackup((0.12,) * 19), nets)


@pytest.fixture(scope="module")
def pam4():
    """A net that falls short by its notch and can be drilled, one that is judged by loss, one that passes."""
    nets = (
        mb.net("FAST", ("TOP", "S1"), signal="112 Gb/s PAM4", criterion=HOUSE),
        mb.net("BY_LOSS", ("TOP", "S1"), signal="56 Gb/s", criterion=Criterion.loss(1.0, source=SAYS), place=1),
        mb.net("SLOW", ("TOP", "S1"), signal="1 Gb/s", place=2),
    )
    return plan(mb.board(*nets), db.rules(tip_angle=150), model="uniform")


@pytest.fixture(scope="module")
def clock():
    """Corners of a net whose uniform stub depends on Dk and on the thickness alone."""
    tolerances = Tolerances(
        dk=Tolerance.plus_minus("2 %", source=SAYS), dielectric_thickness=Tolerance.plus_minus("10 %", source=SAYS)
    )
    board = mb.board(mb.net("CLK", ("TOP", "S1"), signal="56 Gb/s"), mb.net("NO_STUB", ("TOP", "BOT"), place=1))
    return corners(board, tolerances, model="uniform")


def line_of(ax, label):
    (line,) = [line for line in ax.lines if line.get_label() == label]
    return line.get_xdata(), line.get_ydata()


def title(ax):
    return ax.get_title(loc="left")


# --- section ----------------------------------------------------------------------------------------------------------


SLOWER = pytest.mark.slow
"""Thirty groups are drawn once in the fast tests."""


@pytest.mark.parametrize(
    ("name", "size"),
    [
        ("three", None),
        ("three", (4.2, 3.2)),
        ("thirty", (12.0, 5.0)),
        pytest.param("thirty", None, marks=SLOWER),
        pytest.param("thirty", (6.0, 4.0), marks=SLOWER),
        pytest.param("thirty", (4.2, 3.2), marks=SLOWER),
    ],
    ids=str,
)
def test_labels_of_a_section_never_collide(name, size, request):
    found = request.getfixturevalue(name)
    assert len(found.groups) == {"three": 3, "thirty": 30}[name]
    ax = stubsi.plot_section(found, axes(*size) if size else None)
    ax.figure.draw_without_rendering()
    boxes = [text.get_window_extent() for text in ax.texts]
    assert len(boxes) > len(found.groups)
    hidden = [(a, b) for a, b in itertools.combinations(boxes, 2) if a.padded(-0.5).overlaps(b.padded(-0.5))]
    assert hidden == []
    below = max(box.y1 for box in boxes[: len(found.groups)])
    board = ax.transData.transform((0, 1e3 * found.board.stackup.edges_si[-1]))[1]
    assert below < board  # outside of the board
    labels = [text.get_text() for text in ax.texts]
    for group in found.groups:
        (label,) = [label for label in labels if label.startswith((f"group {group.number}:", f"{group.number}:"))]
        assert group.layer in label
        assert "0.100-0.300 mm left" in label


def test_the_band_of_the_ends_is_the_residual_stub(three):
    """Between the least and the greatest plating left before the near face of the must-not-cut layer."""
    ax = stubsi.plot_section(three, axes())
    bands = [c for c in ax.collections if c.get_hatch()]
    for band, group in zip(bands, three.groups, strict=True):
        depths = band.get_paths()[0].vertices[:, 1]
        face = 1e3 * three.board.stackup.face_si(group.layer, "lower")
        assert sorted({round(float(d) - face, 9) for d in depths}) == pytest.approx([0.1, 0.3])


def test_names_moved_apart_keep_their_order_and_their_middle():
    moved = apart([0.0, 0.01, 0.02, 5.0], 1.0)
    assert np.diff(moved).min() >= 1.0 - 1e-12
    assert moved[-1] == 5.0
    assert np.mean(moved[:3]) == pytest.approx(0.01)
    assert apart([0.0, 2.0, 4.0], 1.0) == [0.0, 2.0, 4.0]


# --- loss of a net ----------------------------------------------------------------------------------------------------


def test_the_loss_of_a_net_before_and_after_drilling(pam4):
    ax = stubsi.plot_net_loss(pam4, "FAST", axes())
    row = pam4.limits.ranking["FAST"]
    x, y = line_of(ax, "as drawn")
    after_x, after_y = line_of(ax, "after worst-case drilling")
    assert x[np.argmax(y)] == pytest.approx(row.first_notch.m_as("GHz"), rel=1e-9)
    drilled = pam4.hole_model("FAST.0", "worst").below
    at = len(after_x) // 3
    assert after_y[at] == pytest.approx(drilled.loss(f"{float(after_x[at])!r} GHz", z0="50 ohm")[0], rel=1e-9)
    ((notch,), (depth,)) = line_of(ax, "first notch")
    assert notch == pytest.approx(row.first_notch.m_as("GHz"), rel=1e-12)
    assert depth == pytest.approx(y.max())
    ((one_db,), _) = line_of(ax, "1 dB frequency")
    assert one_db == pytest.approx(row.one_db.m_as("GHz"), rel=1e-9)
    assert set(line_of(ax, "Nyquist of 112 Gb/s PAM4")[0]) == {28}
    (limit,) = [line for line in ax.lines if line.get_label().startswith("limit: first notch")]
    assert limit.get_xdata() == pytest.approx([1.6 * 28] * 2)
    assert ax.get_xlim()[1] > 1.6 * 28
    assert "FAST" in title(ax)


def test_a_limit_on_the_loss_is_a_line_up_to_nyquist(pam4):
    ax = stubsi.plot_net_loss(pam4, "BY_LOSS", axes())
    (limit,) = [line for line in ax.lines if line.get_label().startswith("limit: loss")]
    assert list(limit.get_xdata()) == [0, 28]
    assert set(limit.get_ydata()) == {1.0}


def test_a_net_that_is_not_drilled_has_one_curve(pam4):
    ax = stubsi.plot_net_loss(pam4, "SLOW", axes())
    assert [line.get_label() for line in ax.lines if "drilling" in line.get_label()] == []


# --- margins before and after -----------------------------------------------------------------------------------------


def test_margins_before_and_after_are_those_of_the_consequences(pam4):
    found = pam4.consequences()
    ax = stubsi.plot_margin_changes(found, axes())
    names = [label.get_text() for label in ax.get_yticklabels()]
    assert names == [net.net for net in found.nets]
    marks = {
        (names[round(y)], line.get_marker()): x
        for line in ax.lines
        if line.get_linestyle() == "None"
        for x, y in line.get_xydata()
    }
    for net in found.nets:
        assert marks[net.net, LOOKS[net.verdict[2]].marker] == pytest.approx(net.margin[2])
    assert marks["FAST", "|"] == pytest.approx(found["FAST"].margin[0])
    assert ("SLOW", "o") in marks  # it passes, with the mark of a pass
    texts = [text.get_text() for text in ax.texts]
    assert any("judged by loss" in text for text in texts)
    assert any(text.endswith("\N{RIGHTWARDS ARROW}") for text in texts)  # SLOW lies beyond the edge
    assert pam4.digest in title(ax)


def test_of_a_large_board_the_worst_nets_are_drawn(monkeypatch, pam4):
    found = pam4.consequences()
    for module in (stubsi.show.change_plot, stubsi.show.margin_plot):
        monkeypatch.setattr(module, "MOST_NETS", 2)
    for ax, nets in (
        (stubsi.plot_margin_changes(found, axes()), [net.net for net in found.nets]),
        (stubsi.plot_margins(pam4.limits.ranking, axes()), [row.net for row in pam4.limits.ranking]),
    ):
        assert [label.get_text() for label in ax.get_yticklabels()] == nets[:2]
        assert "1 net with more margin is not drawn" in ax.get_xlabel()


def test_low_axes_show_only_as_many_nets_as_can_be_read(pam4):
    ranking = pam4.limits.ranking
    ax = stubsi.plot_margins(ranking, axes(4.0, 1.2))
    assert [label.get_text() for label in ax.get_yticklabels()] == [next(iter(ranking)).net]
    assert "2 nets with more margin are not drawn" in ax.get_xlabel()


def test_a_note_stands_left_of_what_reaches_the_right_edge():
    ax = axes(4.0, 3.0)
    ax.set_xlim(0, 10)
    for ends, side in (((1, 2), "left"), ((8, 9), "right")):
        draw_note(ax, 0, ends, "judged by loss")
        assert ax.texts[-1].get_ha() == side
        assert ax.texts[-1].xy[0] == (ends[1] if side == "left" else ends[0])


@pytest.mark.parametrize(
    ("names", "shown"),
    [
        (["short", "A" * 30 + "1"], ["short", "A" * 14 + "…" + "A" * 12 + "1"]),
        (["A" * 20 + mark + "A" * 20 for mark in "12"], ["A" * 20 + mark + "A" * 20 for mark in "12"]),
    ],
    ids=["cut", "differ in the middle"],
)
def test_long_names_lose_their_middle_unless_they_differ_there(names, shown):
    ax = axes()
    draw_rows(ax, names)
    assert [label.get_text() for label in ax.get_yticklabels()] == shown


# --- legends ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "size"),
    [
        ("three", (4.0, 3.0)),
        pytest.param("three", (8.0, 4.0), marks=SLOWER),
        pytest.param("thirty", None, marks=SLOWER),
        pytest.param("thirty", (4.0, 2.64), marks=SLOWER),
    ],
    ids=str,
)
def test_a_legend_hides_nothing_and_leaves_the_plot_room(name, size, request):
    """Beside the axes or below them, within the figure; the map keeps a quarter of its height."""
    ax = stubsi.plot_board_map(request.getfixturevalue(name), axes(*size) if size else None)
    figure = ax.figure
    figure.draw_without_rendering()
    legend, inside = ax.get_legend().get_window_extent(), ax.get_window_extent()
    assert not legend.padded(-0.5).overlaps(inside)
    assert not legend.padded(-0.5).overlaps(ax.xaxis.label.get_window_extent())
    assert (legend.x0, legend.y0) >= (0, 0)
    assert legend.x1 <= figure.bbox.x1
    assert inside.height > figure.bbox.height / 4
    assert inside.width > figure.bbox.width / 2


@pytest.mark.slow
def test_every_plot_has_a_title_and_units_and_keeps_the_axes_it_is_given(three, pam4, clock):
    """What has no unit is a ratio, a number of things, or a name."""
    made = {
        "changes": lambda ax: stubsi.plot_margin_changes(pam4.consequences(), ax),
        "margins": lambda ax: stubsi.plot_margins(pam4.limits.ranking, ax),
        "net loss": lambda ax: stubsi.plot_net_loss(pam4, "FAST", ax),
        "section": lambda ax: stubsi.plot_section(three, ax),
        "map": lambda ax: stubsi.plot_board_map(three, ax),
        "bands": lambda ax: stubsi.plot_tolerance_bands(clock, ax),
        "net tolerance": lambda ax: stubsi.plot_net_tolerance(clock, "CLK", ax),
        "budgets": lambda ax: stubsi.plot_budgets(ax=ax),
        "trade": lambda ax: stubsi.plot_group_trade(three.group_trade(), ax),
        "loss": lambda ax: stubsi.plot_loss(
            {"stub": stubsi.Stub(stub_length="1 mm", dk_eff=4, z_stub="40 ohm")}, ["1 GHz"], z0="50 ohm",
            signal="25 Gb/s", ax=ax,
        ),
        "distance": lambda ax: stubsi.plot_return_distance(
            mb.board(mb.net("A", ("TOP", "S1"))), "A.0", ["1 mm"], ax
        ),
    }  # fmt: skip
    named = set(PUBLIC)
    assert len(made) == sum(name.startswith("plot_") for name in named)
    ratios = ("first notch / Nyquist", "margin over limit", "drill groups")
    for draw in made.values():
        ax = axes()
        assert draw(ax) is ax
        assert title(ax)
        for label in (ax.get_xlabel(), ax.get_ylabel()):
            assert not label or "[" in label or label.startswith(ratios)


@pytest.mark.slow
def test_around_a_pair_stand_two_return_vias_or_four():
    """Two on the line through both holes: those of a board with such vias."""
    away = ((1.5, 0.0), (-1.5, 0.0))
    nets = (mb.pair("A", ("TOP", "S1"), ("TOP", "S1")), mb.ground(1, away))
    board = Board(stackup=mb.stackup(), nets=nets)
    ax = stubsi.plot_return_distance(board, "A.P", ["1.5 mm"], axes())
    assert [line.get_label() for line in ax.lines][:2] == ["2 return vias", "4 return vias"]
    notch = np.min(stubsi.hole_model(board, "A.P").below.notch_frequency().m_as("GHz"))
    assert line_of(ax, "2 return vias")[1][0] == pytest.approx(notch, rel=0.02)  # the drill of the vias differs


# --- budgets ----------------------------------------------------------------------------------------------------------


def test_budgets_are_the_closed_formula_and_the_rules_the_published_ones():
    """c / (4 x 5 x Nyquist sqrt(Dk)); E. Bogatin, 2015: 0.3 in at 1 Gb/s, 30 mil at 10 Gb/s; TI from 5 Gb/s on."""
    ax = stubsi.plot_budgets([4.0], slowest="1 GBd", fastest="100 GBd", ax=axes())
    rates, lengths = line_of(ax, "Dk_eff 4")
    for rate, length in zip(rates, lengths, strict=True):
        assert length == pytest.approx(299.792458 / (4 * 5 * rate / 2 * 2), rel=1e-9)
    rates, lengths = line_of(ax, "Bogatin 2015, NRZ only")
    assert (rates[0], lengths[0]) == pytest.approx((1.0, 0.3 * 25.4))
    rates, lengths = line_of(ax, "TI 15 mil")
    assert rates[0] == pytest.approx(5.0)
    assert lengths == pytest.approx([15 * 0.0254] * len(lengths))
    assert "GBd" in ax.get_xlabel()
    assert "mm" in ax.get_ylabel()


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        ({"dk_eff": []}, "dk_eff: is empty"),
        ({"dk_eff": 4}, "dk_eff = 4"),
        ({"slowest": "10 Gb/s", "fastest": "1 Gb/s"}, "must rise"),
        ({"criterion": Criterion.loss(1.0, source=SAYS)}, "must be a limit on"),
    ],
    ids=str,
)
def test_budgets_that_cannot_be_drawn(arguments, named):
    with pytest.raises(StubsiError, match=named):
        stubsi.plot_budgets(**arguments)


# --- tolerances -------------------------------------------------------------------------------------------------------


def test_bands_are_the_corners_over_the_limit(clock):
    ax = stubsi.plot_tolerance_bands(clock, axes())
    assert [label.get_text() for label in ax.get_yticklabels()] == ["CLK"]
    (bar,) = ax.patches
    worst, _, best = clock["CLK"].judged
    assert (bar.get_x(), bar.get_x() + bar.get_width()) == pytest.approx((worst / 5, best / 5))
    assert "1 nets left out" in title(ax)


def test_the_tolerance_that_dominates_stands_first(clock):
    """The notch of a uniform stub goes with 1 / length and 1 / sqrt(Dk): 10 % of thickness outweigh 2 % of Dk."""
    ax = stubsi.plot_net_tolerance(clock, "CLK", axes())
    assert [label.get_text() for label in ax.get_yticklabels()] == ["all together", "dielectric thickness", "dk"]
    together, thickness, dk = ax.patches
    assert together.get_width() > thickness.get_width() > dk.get_width() > 0
    nominal = clock["CLK"].judged[1] / 5
    assert dk.get_x() == pytest.approx(nominal / math.sqrt(1.02), rel=1e-6)
    with pytest.raises(StubsiError, match="has no stub"):
        stubsi.plot_net_tolerance(clock, "NO_STUB")


# --- places -----------------------------------------------------------------------------------------------------------


def test_the_map_has_every_hole_at_its_place_with_the_look_of_its_group(three):
    ax = stubsi.plot_board_map(three, axes())
    drawn = {}
    for line in ax.lines:
        for x, _ in line.get_xydata():
            drawn.setdefault(round(float(x), 6), []).append((line.get_label(), line.get_marker(), line.get_color()))
    assert len(drawn) == 5
    for group in three.groups:
        for hit in group.hits:
            ((label, marker, colour),) = drawn[round(1e3 * hit.hole.x_si, 6)]
            assert label.startswith(f"group {group.number}: bottom, {group.layer}")
            assert (colour, marker) == GROUPS[group.number - 1]
    assert drawn[15.0] == [("not drilled; net: pass", LOOKS[Verdict.PASS].marker, LOOKS[Verdict.PASS].colour)]


def test_the_map_of_a_ranking_shows_verdicts_and_says_what_has_no_place(three):
    ranking = three.limits.ranking
    ax = stubsi.plot_board_map(ranking, axes())
    assert {text.get_text() for text in ax.get_legend().get_texts()} == {str(row.verdict) for row in ranking}
    nowhere = mb.board(mb.net("A", ("TOP", "S1")), places=0).replaced(nets=[db.net("A", ("TOP", "S1"), 1.0)])
    with pytest.raises(StubsiError, match="no hole of this board has a position"):
        stubsi.plot_board_map(stubsi.rank(nowhere, model="uniform"))


def test_the_notch_over_the_distance_is_that_of_a_board_with_such_vias():
    """Four vias at 1 mm are those of the board itself: the star lies on the curve."""
    board = mb.board(mb.net("A", ("TOP", "S1")))
    ax = stubsi.plot_return_distance(board, "A.0", ["0.15 mm", "1 mm"], axes())
    x, y = line_of(ax, "4 return vias")
    assert x == [1.0]  # at 0.15 mm a via would stand in the hole
    notch = np.min(stubsi.hole_model(board, "A.0").below.notch_frequency().m_as("GHz"))
    (star_x,), (star_y,) = line_of(ax, "as drawn, nearest return via")
    assert (star_x, star_y) == pytest.approx((1.0, notch))
    assert y[0] == pytest.approx(notch, rel=0.02)  # the drill of the vias differs
    with pytest.raises(StubsiError, match="has a return via room"):
        stubsi.plot_return_distance(board, "A.0", ["0.1 mm"])


@pytest.mark.parametrize(
    "draw",
    [
        lambda: stubsi.plot_net_loss("plan", "A"),
        lambda: stubsi.plot_margin_changes("plan"),
        lambda: stubsi.plot_tolerance_bands("corners"),
        lambda: stubsi.plot_net_tolerance("corners", "A"),
        lambda: stubsi.plot_board_map("plan"),
        lambda: stubsi.plot_return_distance("board", "A.0"),
    ],
    ids=["net loss", "changes", "bands", "net tolerance", "map", "distance"],
)
def test_an_argument_of_another_kind_is_named(draw):
    with pytest.raises(StubsiError, match="must be a"):
        draw()
