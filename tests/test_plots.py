"""The plots: what they draw is what the stubs and the ranking say."""

from __future__ import annotations

import sys
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pytest
import skrf
from matplotlib.figure import Figure

from stubsi import Criterion, DepthDrill, Stub, StubsiError, UnitError, hole_model, rank, read_board
from stubsi.show.loss_plot import plot_loss
from stubsi.show.margin_plot import plot_margins
from stubsi.show.section import plot_section
from tests import margin_boards as mb

ROOT = Path(__file__).parents[1]
HOUSE = Criterion.notch_ratio(1.6, source="house")
FAR = Criterion.notch_ratio(100, source="house")
QUIET = Criterion.loss(0.5, source="house")


@pytest.fixture(autouse=True)
def plt():
    """The module pyplot, drawing to memory, without figures left from another test."""
    mpl.use("Agg")
    pyplot = pytest.importorskip("matplotlib.pyplot")
    pyplot.close("all")
    yield pyplot
    pyplot.close("all")


@pytest.fixture(scope="module")
def ranking():
    """Nets of every kind: without stub, short of the limit, near it, beyond it, judged by loss, waived."""
    nets = [
        mb.net("NO_STUB", ("TOP", "BOT")),
        mb.net("DRILL", ("TOP", "S1"), signal="112 Gb/s PAM4", place=1),
        mb.net("PASS", ("TOP", "S1"), signal="1 Gb/s", place=2),
        mb.net("HOUSE", ("TOP", "S2"), signal="112 Gb/s PAM4", criterion=HOUSE, place=3),
        mb.net("BY_LOSS", ("TOP", "S1"), criterion=QUIET, place=4),
        mb.net("WAIVED", ("TOP", "S1"), signal="112 Gb/s PAM4", waiver="test coupon", place=5),
    ]
    return rank(mb.board(*nets, places=6))


@pytest.fixture(scope="module")
def unknown_returns():
    return rank(mb.board(mb.net("A", ("TOP", "S1")), places=0))


def curves(ax):
    """Curves by label, Nyquist apart."""
    return {line.get_label(): line.get_xydata().T for line in ax.lines if "Nyquist" not in line.get_label()}


def bars(ax):
    """Left and right end of the bar of every net that has one."""
    names = [label.get_text() for label in ax.get_yticklabels()]
    return {names[round(bar.get_y() + bar.get_height() / 2)]: tuple(bar.get_bbox().intervalx) for bar in ax.patches}


def marks(ax):
    names = [label.get_text() for label in ax.get_yticklabels()]
    found = {}
    for line in ax.lines:
        for x, y in line.get_xydata():
            found.setdefault(names[round(y)], set()).add(float(x))
    return found


def limits(ax):
    """Limit drawn across each net."""
    names = [label.get_text() for label in ax.get_yticklabels()]
    segments = [segment for lines in ax.collections for segment in lines.get_segments()]
    return {names[round(y)]: x for (x, y) in (segment.mean(axis=0) for segment in segments)}


# --- insertion loss ---------------------------------------------------------------------------------------------------


def test_loss_of_an_open_stub_half_way_to_its_notch():
    """There the stub is an eighth of a wave, Y = j / Zs: loss = 10 log10(1 + (Z0 / 2 Zs)^2), whatever its length."""
    stubs = {f"{mm} mm": Stub(stub_length=f"{mm} mm", dk_eff=4, z_stub="30 ohm") for mm in (1, 2)}
    for label, stub in stubs.items():
        half = float(stub.notch_frequency().m_as("GHz")) / 2
        x, y = curves(plot_loss({label: stub}, [f"{half!r} GHz"], z0="50 ohm", signal="25 Gb/s"))[label]
        assert x == pytest.approx([half], rel=1e-12)
        assert y == pytest.approx(10 * np.log10(1 + (50 / 60) ** 2), rel=1e-9)


def test_the_curve_peaks_at_the_notch_and_points_down():
    stub = Stub(stub_length="2 mm", dk_eff=4, z_stub="30 ohm", df=0.01)
    ax = plot_loss({"stub": stub}, skrf.Frequency(0, 40, 401, "GHz"), z0="50 ohm", signal="25 Gb/s")
    x, y = curves(ax)["stub"]
    assert y[0] == pytest.approx(0, abs=1e-9)  # at DC an open stub is not there
    assert x[np.argmax(y)] == pytest.approx(stub.notch_frequency().m_as("GHz"), abs=0.1)
    bottom, top = ax.get_ylim()
    assert bottom > top


@pytest.mark.parametrize(
    ("signal", "nyquist"), [("25.78125 Gb/s", 12.890625), ("112 Gb/s PAM4", 28), ("PCIe 5.0", 16)], ids=str
)
def test_nyquist_is_marked(signal, nyquist):
    ax = plot_loss({"stub": Stub(stub_length="1 mm", dk_eff=4, z_stub="30 ohm")}, ["1 GHz"], z0="50 ohm", signal=signal)
    (line,) = [line for line in ax.lines if "Nyquist" in line.get_label()]
    assert set(line.get_xdata()) == {nyquist}
    assert signal in line.get_label()


def test_stubs_of_a_board_and_whole_holes():
    """A hole from one outer layer to an inner one: its stub alone, less of it once drilled, and the hole with it."""
    board = mb.board(mb.net("A", ("TOP", "S1")))
    hole = hole_model(board, "A.0")
    drill = DepthDrill(side="bottom", residual_stub="0.15 mm", drill="0.5 mm")
    drilled = hole_model(board, "A.0", drilled=[drill])
    shown = {"stub": hole.below, "drilled": drilled.below, "hole": hole}
    ax = plot_loss(shown, skrf.Frequency(1, 30, 30, "GHz"), z0="50 ohm", signal="25 Gb/s")
    found = curves(ax)
    assert list(found) == list(shown)
    assert [text.get_text() for text in ax.get_legend().get_texts()][:3] == list(shown)
    assert np.all(found["drilled"][1] < found["stub"][1])
    hz = found["hole"][0] * 1e9
    passed = skrf.network.a2s(hole.abcd_si(hz), 50)[:, 1, 0]
    assert found["hole"][1] == pytest.approx(-20 * np.log10(np.abs(passed)), rel=1e-9)


def test_the_1_db_frequency_is_marked_on_the_curve_where_it_is_in_view():
    stub = Stub(stub_length="2 mm", dk_eff=4, z_stub="30 ohm")
    ax = plot_loss({"stub": stub}, skrf.Frequency(0, 40, 401, "GHz"), z0="50 ohm", signal="25 Gb/s")
    (mark,) = ax.collections
    ((x, y),) = mark.get_offsets()
    assert stub.loss(f"{float(x)!r} GHz", z0="50 ohm") == pytest.approx(1.0, rel=1e-6)
    assert (y, mark.get_label()) == (1.0, "1 dB frequency")
    assert not plot_loss({"stub": stub}, ["1 GHz", "2 GHz"], z0="50 ohm", signal="25 Gb/s").collections


def test_curves_add_to_given_axes(plt):
    _, ax = plt.subplots()
    stub = Stub(stub_length="1 mm", dk_eff=4, z_stub="30 ohm")
    for label in ("first", "second"):
        assert plot_loss({label: stub}, ["1 GHz", "2 GHz"], z0="50 ohm", signal="25 Gb/s", ax=ax) is ax
    assert list(curves(ax)) == ["first", "second"]
    bottom, top = ax.get_ylim()
    assert bottom > top
    assert plt.get_fignums() == [1]


def test_a_refused_value_leaves_no_figure(plt):
    with pytest.raises(UnitError, match="z0"):
        plot_loss({"stub": Stub(stub_length="1 mm", dk_eff=4, z_stub="30 ohm")}, ["1 GHz"], z0=50, signal="25 Gb/s")
    assert plt.get_fignums() == []


# --- margins ----------------------------------------------------------------------------------------------------------


def test_nets_stand_in_order_worst_on_top(ranking):
    ax = plot_margins(ranking)
    assert [label.get_text() for label in ax.get_yticklabels()] == [row.net for row in ranking]
    bottom, top = ax.get_ylim()
    assert bottom > top


def test_marks_are_the_margins_and_bars_hold_them(ranking):
    ax = plot_margins(ranking)
    found, spans = marks(ax), bars(ax)
    with_stub = {row.net for row in ranking if row.stub_length_si}
    assert set(found) == set(spans) == with_stub == {row.net for row in ranking} - {"NO_STUB"}
    for net, (left, right) in spans.items():
        assert min(found[net]) == pytest.approx(ranking[net].margin, rel=1e-12)
        assert left <= 0.92 * min(found[net]) * (1 + 1e-12)  # 8 % against hardware at the least
        assert right >= 1.08 * max(found[net]) * (1 - 1e-12)


def test_a_range_has_a_mark_at_both_ends(unknown_returns):
    ax, row = plot_margins(unknown_returns), unknown_returns["A"]
    low, high = sorted(marks(ax)["A"])
    assert low < high
    assert (low, high) == pytest.approx(
        (row.margin, row.first_notch_to.m_as("GHz") / row.nyquist.m_as("GHz")), rel=1e-12
    )
    left, right = bars(ax)["A"]
    assert left < low < high < right


def test_bar_and_limit_show_the_verdict(ranking):
    """Pass: the bar beyond the line; drill: short of it. A net judged by its loss has no line."""
    ax = plot_margins(ranking)
    spans, lines = bars(ax), limits(ax)
    assert lines == {"NO_STUB": 5, "DRILL": 5, "PASS": 5, "HOUSE": 1.6, "WAIVED": 5}
    assert {net: ranking[net].verdict for net in ("DRILL", "PASS")} == {"DRILL": "drill", "PASS": "pass"}
    assert spans["DRILL"][1] < lines["DRILL"]
    assert spans["PASS"][0] > lines["PASS"]


def test_a_marginal_bar_crosses_its_limit(ranking):
    at_limit = Criterion.notch_ratio(ranking["DRILL"].margin, source="house")
    nets = [mb.net("NEAR", ("TOP", "S1"), signal="112 Gb/s PAM4", criterion=at_limit)]
    ax = plot_margins(rank(mb.board(*nets)))
    left, right = bars(ax)["NEAR"]
    assert left < limits(ax)["NEAR"] < right


def test_legend_names_verdicts_and_criteria(ranking):
    ax = plot_margins(ranking)
    said = [text.get_text().replace("\n", " ") for text in ax.get_legend().get_texts()]
    shown = {row.verdict for row in ranking if row.stub_length_si}
    criteria = {str(criterion) for criterion in ranking.criteria if criterion != QUIET}
    assert set(said) == shown | criteria
    assert len(said) == len(set(said))


def judged_by(ax):
    """Texts that name the figure a net without a limit on its notch is judged by."""
    return [text for text in ax.texts if text.get_text().startswith("judged by ")]


def test_a_net_judged_by_another_figure_names_it_beside_its_bar(ranking):
    ax = plot_margins(ranking)
    (text,) = judged_by(ax)
    assert text.get_text() == "judged by loss"
    right, row = text.xy
    assert ax.get_yticklabels()[round(row)].get_text() == "BY_LOSS"
    assert right == bars(ax)["BY_LOSS"][1]


def test_curves_on_top_of_each_other_differ_in_line_style():
    stub = Stub(stub_length="1 mm", dk_eff=4, z_stub="30 ohm")
    ax = plot_loss(dict.fromkeys(("one", "other", "third"), stub), ["1 GHz"], z0="50 ohm", signal="25 Gb/s")
    styles = [(line.get_linestyle(), line.get_color()) for line in ax.lines if "Nyquist" not in line.get_label()]
    assert all(len(set(kinds)) == 3 for kinds in zip(*styles, strict=True))


def beyond(ax):
    """Margin written at the right edge of each net that lies beyond it, and the note of how many they are."""
    names = [label.get_text() for label in ax.get_yticklabels()]
    arrows = [text for text in ax.texts if text.get_text().endswith("\N{RIGHTWARDS ARROW}")]
    notes = [text.get_text() for text in ax.texts if text not in [*arrows, *judged_by(ax)]]
    return {names[round(text.get_position()[1])]: float(text.get_text().split()[0]) for text in arrows}, notes


def test_every_net_of_the_demo_board_is_in_view_or_said_to_be_beyond():
    """The nets around the limit of 5 are what the picture is for; a fan at some Hz must not push them out of it."""
    ranking = rank(read_board(ROOT / "shared" / "demo_board.toml"), model="uniform")
    ax = plot_margins(ranking)
    left, right = ax.get_xlim()
    arrows, notes = beyond(ax)
    margins = {row.net: row.margin for row in ranking if row.margin is not None}
    in_view = {net for net, margin in margins.items() if left < margin < right}
    assert in_view | set(arrows) == set(margins)
    assert not in_view & set(arrows)
    assert all(arrows[net] == pytest.approx(margins[net], rel=5e-3) for net in arrows)  # three digits
    assert len(in_view) > 40
    assert {net for net, margin in margins.items() if margin <= 50} <= in_view  # ten times the limit
    assert notes == [f"\N{RIGHTWARDS ARROW} beyond this edge: {len(arrows)} slow nets"]
    assert all(left < ends[0] for ends in bars(ax).values())


def test_the_limits_are_in_view_whatever_the_margins(ranking):
    for criterion in (FAR, HOUSE):
        ax = plot_margins(ranking.under(criterion))
        left, right = ax.get_xlim()
        assert left < min(limits(ax).values())
        assert max(limits(ax).values()) < right


def test_nothing_is_said_to_be_beyond_where_all_is_in_view(unknown_returns):
    ax = plot_margins(unknown_returns)
    assert beyond(ax) == ({}, [])
    left, right = ax.get_xlim()
    assert all(left < ends[0] and ends[1] < right for ends in bars(ax).values())


@pytest.mark.parametrize(
    ("net", "in_view"),
    [(mb.net("A", ("TOP", "BOT")), 5), (mb.net("A", ("TOP", "S1"), signal="1 kb/s", criterion=QUIET), 1)],
    ids=["no stub: the limit", "no limit on the notch: Nyquist"],
)
def test_a_board_with_nothing_to_aim_at_has_a_picture(net, in_view):
    left, right = plot_margins(rank(mb.board(net))).get_xlim()
    assert 0 < left < in_view < right


def test_a_verdict_is_told_by_its_marker_as_well_as_by_its_colour(ranking):
    ax = plot_margins(ranking)
    looks = [(line.get_label(), line.get_marker(), line.get_color()) for line in ax.lines]
    assert len(looks) > 3
    for kinds in zip(*looks, strict=True):
        assert len(set(kinds)) == len(looks)


def test_margins_on_given_axes(plt, ranking):
    _, ax = plt.subplots()
    assert plot_margins(ranking, ax=ax) is ax
    assert plt.get_fignums() == [1]


def test_axes_of_a_figure_without_pyplot_leave_nothing_open(plt, ranking):
    stub = Stub(stub_length="1 mm", dk_eff=4, z_stub="30 ohm")
    plot_margins(ranking, ax=Figure().add_subplot())
    plot_loss({"stub": stub}, ["1 GHz"], z0="50 ohm", signal="25 Gb/s", ax=Figure().add_subplot())
    assert plt.get_fignums() == []


# --- matplotlib -------------------------------------------------------------------------------------------------------


def test_missing_matplotlib_names_the_extra(monkeypatch, ranking):
    for name in [name for name in sys.modules if name.split(".")[0] == "matplotlib"]:
        monkeypatch.setitem(sys.modules, name, None)
    with pytest.raises(StubsiError, match=r"pip install 'stubsi\[plot\]'"):
        plot_margins(ranking)


@pytest.mark.parametrize(
    ("draw", "named"),
    [
        (lambda: plot_margins("board.toml"), "ranking = 'board.toml'"),
        (lambda: plot_section("board.toml"), "plan = 'board.toml'"),
        (lambda: plot_loss(["a"], ["1 GHz"], z0="50 ohm", signal="25 Gb/s"), "stubs = "),
        (lambda: plot_loss({"a": "1 mm"}, ["1 GHz"], z0="50 ohm", signal="25 Gb/s"), r"stubs\['a'\] = '1 mm'"),
        (lambda: plot_loss({}, ["1 GHz"], z0="50 ohm", signal="25 Gb/s", ax="left"), "ax = 'left'"),
    ],
    ids=["ranking", "plan", "stubs", "one stub", "ax"],
)
def test_an_argument_of_another_kind_is_named(plt, draw, named):
    with pytest.raises(StubsiError, match=f"{named}.*: must be a"):
        draw()
    assert plt.get_fignums() == []


def test_a_name_is_no_formula_and_hides_nothing(plt):
    """matplotlib reads text between two $ as mathematics, and fails when it draws it; it hides labels like _A."""
    net = mb.net("A$\\bad$", ("TOP", "S1"), criterion=Criterion.notch_ratio(2, source="a$\\bad$\nb"))
    ax = plot_margins(rank(mb.board(net), model="uniform"))
    ax.figure.canvas.draw()
    assert [label.get_text() for label in ax.get_yticklabels()] == ["A$\\bad$"]
    stub = Stub(stub_length="1 mm", dk_eff=4, z_stub="30 ohm")
    curves = {"_RESET": stub, "B$\\bad$": stub, "C\nD": stub}
    ax = plot_loss(curves, ["1 GHz", "2 GHz"], z0="50 ohm", signal="10 Gb/s")
    ax.figure.canvas.draw()
    shown = [text.get_text().strip() for text in ax.get_legend().get_texts()]
    assert shown[:3] == ["_RESET", "B$\\bad$", "C\\nD"]


def test_a_script_leaves_no_figure_open(plt, ranking):
    for _ in range(3):
        plot_margins(ranking)
    assert plt.get_fignums() == []


def test_a_figure_that_pyplot_has_closed_can_be_saved(ranking, tmp_path):
    plot_margins(ranking).figure.savefig(tmp_path / "margins.png")
    assert (tmp_path / "margins.png").read_bytes().startswith(b"\x89PNG")


def test_interactive_pyplot_keeps_the_figure_to_show_it(plt, ranking):
    with plt.ion():
        ax = plot_margins(ranking)
        assert plt.get_fignums() == [ax.figure.number]
