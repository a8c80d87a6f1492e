"""The layer matrix: what a router needs before routing, the same figures a ranking of the routed net would show."""

from __future__ import annotations

import dataclasses

import pytest

from stubsi import (
    RULES_OF_THUMB,
    Criterion,
    Padstack,
    ReturnVias,
    Signal,
    StubsiError,
    UnitError,
    layer_matrix,
    rank,
)
from tests import margin_boards as mb

SIGNALS = ["10GBASE-KR", "112 Gb/s PAM4"]


def matrix(signals=SIGNALS, **given):
    return layer_matrix(
        mb.stackup(), signals, **{"padstack": mb.VIA, "z0": "50 ohm", "return_vias": mb.RETURNS, **given}
    )


@pytest.fixture(scope="module")
def from_top():
    return matrix()


def test_a_row_per_exit_layer_and_a_column_per_signal(from_top):
    assert list(from_top.cells) == mb.USED
    assert all(list(row) == ["10GBASE-KR", "112 Gb/s PAM4"] for row in from_top.cells.values())
    assert from_top.entry == "TOP"


def test_stub_left_below_every_exit_layer(from_top):
    """0.23 mm a layer, from the lower face of the exit to the bottom face: none at BOT."""
    frame = from_top.to_frame()
    assert frame["stub [mm]"].to_list() == pytest.approx([1.38, 0.92, 0.46, 0.0])
    assert frame.index.to_list() == mb.USED


def test_the_deeper_the_exit_the_better(from_top):
    for signal in ("10GBASE-KR", "112 Gb/s PAM4"):
        notches = [from_top.cells[layer][signal].first_notch.m_as("GHz") for layer in mb.USED[:-1]]
        assert notches == sorted(notches)
        assert from_top.cells["BOT"][signal].reason == "no stub"


@pytest.mark.parametrize("layer", ["TOP", "S1", "S2"])
def test_a_cell_is_what_the_ranking_of_the_routed_net_shows(from_top, layer):
    net = mb.net("A", tuple(dict.fromkeys(("TOP", layer))), signal="112 Gb/s PAM4")
    row, cell = rank(mb.board(net))["A"], from_top.cells[layer]["112 Gb/s PAM4"]
    assert cell.first_notch.m_as("GHz") == pytest.approx(row.first_notch.m_as("GHz"), rel=1e-5)
    assert cell.loss == pytest.approx(row.loss, rel=1e-5)
    assert cell.verdict == row.verdict


def test_entry_at_an_inner_layer_leaves_stubs_on_both_sides():
    found = matrix(["25 Gb/s"], entry="S1")
    cell = found.cells["S2"]["25 Gb/s NRZ"]
    both = rank(mb.board(mb.net("A", ("S1", "S2"), signal="25 Gb/s")))["A"]
    assert cell.stub_length.m_as("mm") == pytest.approx(0.46)
    assert cell.loss == pytest.approx(both.loss, rel=1e-5)
    assert found.cells["S1"]["25 Gb/s NRZ"].stub_length.m_as("mm") == pytest.approx(0.92)


def test_a_cell_is_found_by_the_signal_as_it_was_given(from_top):
    for given in SIGNALS:
        for signal in (given, Signal(given), str(Signal(given))):
            assert from_top.cell("S1", signal) is from_top.cells["S1"][str(Signal(given))]
    with pytest.raises(KeyError, match="no such signal"):
        from_top.cell("S1", "3 Gb/s")
    with pytest.raises(KeyError, match="no such exit layer"):
        from_top.cell("G1", SIGNALS[0])


def test_every_row_says_on_which_side_the_stub_is(from_top):
    """From TOP all stubs point down. From S1 there is one to the top as well, unless the net leaves there."""
    assert from_top.to_frame()["side"].to_list() == ["bottom", "bottom", "bottom", "none"]
    inner = matrix(["25 Gb/s"], entry="S1")
    assert inner.to_frame()["side"].to_list() == ["bottom", "top and bottom", "top and bottom", "top"]
    for found in (from_top, inner):
        for layer, cells in found.cells.items():
            assert all((cell.side or "none") in found.sides_text(layer) for cell in cells.values())
            assert found.sides_text(layer) in str(found)
    assert matrix(["25 Gb/s"], entry="BOT").sides == {"TOP": (), "S1": ("top",), "S2": ("top",), "BOT": ("top",)}
    buried = matrix(["25 Gb/s"], padstack=mb.VIA.replaced(span=("G1", "G3")))
    assert buried.sides == {"S1": ("top", "bottom"), "S2": ("top", "bottom")}
    with pytest.raises(KeyError, match="no such exit layer"):
        from_top.sides_text("G1")


def test_a_plane_is_no_row_and_no_entry(from_top):
    planes = [name for name, role in mb.ROLES.items() if role == "plane"]
    assert not set(planes) & (set(from_top.cells) | set(from_top.sides))
    with pytest.raises(StubsiError, match="is a plane"):
        matrix(entry="G1")
    mixed = {**mb.ROLES, "G2": "mixed"}
    assert "G2" in layer_matrix(mb.stackup(roles=mixed), ["1 Gb/s"], padstack=mb.VIA, z0="50 ohm",
                                return_vias=mb.RETURNS).cells  # fmt: skip


def test_a_press_fit_like_entry_from_below_mirrors_that_from_above():
    down, up = matrix(["25 Gb/s"]), matrix(["25 Gb/s"], entry="BOT")
    for one, other in (("S1", "S2"), ("TOP", "BOT"), ("S2", "S1")):
        a, b = down.cells[one]["25 Gb/s NRZ"], up.cells[other]["25 Gb/s NRZ"]
        assert b.first_notch.m_as("GHz") == pytest.approx(a.first_notch.m_as("GHz"), rel=1e-5)
        assert (a.side, b.side) == ("bottom", "top")


def test_a_pair_hangs_in_half_its_impedance():
    vias = ReturnVias(positions=[("1.4 mm", "0 mm"), ("-1.4 mm", "0 mm")], drill="0.25 mm")
    found = matrix(["25 Gb/s"], z0="90 ohm", pitch="0.9 mm", return_vias=vias).cells["S1"]["25 Gb/s NRZ"]
    away = ((1.4, 0.0), (-1.4, 0.0))
    pair = mb.pair("A", ("TOP", "S1"), ("TOP", "S1"), z0="90 ohm")
    row = rank(mb.board(pair, mb.ground(1, away), places=0))["A"]
    assert found.first_notch.m_as("GHz") == pytest.approx(row.first_notch.m_as("GHz"), rel=1e-5)
    assert found.loss == pytest.approx(row.loss, rel=1e-5)


def test_a_blind_hole_has_the_layers_it_spans():
    blind = Padstack(name="blind", drill="0.2 mm", pad="0.4 mm", antipad="0.6 mm", span=("G1", "S2"))
    found = matrix(["25 Gb/s"], padstack=blind)
    assert found.entry == "S1"
    assert list(found.cells) == ["S1", "S2"]
    assert {row["25 Gb/s NRZ"].verdict for row in found.cells.values()} <= {"pass", "marginal", "drilling cannot help"}
    with pytest.raises(StubsiError, match="entry = 'TOP': the hole goes from G1 to S2"):
        matrix(["25 Gb/s"], padstack=blind, entry="TOP")


def test_unknown_return_vias_leave_some_cells_undecided():
    found = matrix(["56 GBd"], return_vias=None, criterion=Criterion.notch_ratio(1.5))
    verdicts = {row["56 GBd NRZ"].verdict for row in found.cells.values()}
    assert "undecided" in verdicts
    assert found.cells["BOT"]["56 GBd NRZ"].verdict == "pass"


def test_it_says_what_leaves_cells_undecided_and_which_stand_on_a_weaker_model(from_top):
    unknown = matrix(["25 Gb/s"], return_vias=None)
    assert "Undecided: return vias unknown: give the reference holes" in str(unknown)
    bare = dict.fromkeys(mb.ROLES, "signal")
    weaker = layer_matrix(mb.stackup(roles=bare), ["25 Gb/s"], padstack=mb.VIA, z0="50 ohm")
    assert "Not solved from the geometry, but a uniform line: no plane with an antipad along the hole" in str(weaker)
    assert "ndecided" not in str(from_top)
    assert "Not solved" not in str(from_top)


def test_it_prints_its_criterion_and_every_cell(from_top):
    text = str(from_top)
    assert "Entry at TOP, undrilled" in text
    assert str(RULES_OF_THUMB["DesignCon 2020"]) in text
    assert text.count("\n") == len(mb.USED) + 2
    cell = from_top.cells["S1"]["112 Gb/s PAM4"]
    shown = from_top.to_frame().loc["S1", "112 Gb/s PAM4"]
    assert shown == f"{cell.verdict} ({cell.margin:.2f})"
    assert shown in text
    assert "<table" in from_top._repr_html_()


def test_it_shows_its_counts_in_one_line():
    limits = matrix(["25 Gb/s", "50 Gb/s"], criterion=Criterion.stub_length("0.5 mm"))
    assert repr(limits) == "<LayerMatrix of 4 exit layers from TOP: 4 drill, 4 pass>"


def test_a_stub_past_its_notch_passes_no_criterion_on_loss():
    """Whatever limit: a quarter wave at 40 GHz is 0.96 mm with the laminate's Dk alone, and shorter solved."""
    found = {layer: row["80 GBd NRZ"] for layer, row in matrix(["80 GBd"], criterion=Criterion.loss(1e3)).cells.items()}
    past = [layer for layer, cell in found.items() if cell.margin and cell.margin <= 1]
    assert past == ["TOP", "S1"]
    assert [found[layer].verdict for layer in past] == ["drill"] * 2
    assert all("at or below Nyquist" in found[layer].reason for layer in past)
    assert all(cell.verdict in ("pass", "marginal") for layer, cell in found.items() if layer not in past)


def test_criterion_by_name():
    found = matrix(["25 Gb/s"], criterion="TI 15 mil").cells
    assert found["S2"]["25 Gb/s NRZ"].reason.startswith("0.46 mm, at most 0.381 mm wanted")
    assert found["BOT"]["25 Gb/s NRZ"].verdict == "pass"


@pytest.mark.parametrize(
    ("given_", "error"),
    [
        ({"entry": "L9"}, StubsiError),
        ({"criterion": "somebody"}, UnitError),
        ({"z0": 50}, UnitError),
        ({"pitch": "1 GHz"}, UnitError),
        ({"signals": ["28 GHz"]}, UnitError),
    ],
    ids=repr,
)
def test_refused(given_, error):
    with pytest.raises(error):
        matrix(**given_)


@pytest.mark.parametrize(
    ("given_", "why"),
    [
        ({"signals": "PCIe 5.0"}, r"signals = .PCIe 5.0.: must be a list of signals, like \['PCIe 5.0'\]"),
        ({"signals": Signal("PCIe 5.0")}, "signals = .*: must be a list of signals"),
        ({"signals": 5}, "signals = 5: must be a list of signals"),
        ({"signals": []}, "signals is an empty list: give at least one signal"),
        ({"padstack": "via"}, "padstack = .via.: must be a Padstack"),
        ({"return_vias": [("1 mm", "0 mm")]}, "return_vias = .*: must be a ReturnVias"),
    ],
    ids=repr,
)
def test_arguments_of_the_wrong_kind_are_named(given_, why):
    with pytest.raises(StubsiError, match=why):
        matrix(**given_)


def test_a_stackup_by_name_is_refused():
    with pytest.raises(StubsiError, match=r"stackup = .board.toml.: must be a Stackup"):
        layer_matrix("board.toml", ["PCIe 5.0"], padstack=mb.VIA, z0="50 ohm")


def test_the_return_vias_have_a_padstack_of_their_own():
    """Whatever the padstack of the net is called, that of the return vias has another name."""
    for name in ("return via", "return via beside via"):
        assert len(matrix(["10GBASE-KR"], padstack=mb.VIA.replaced(name=name)).cells) == len(mb.USED)


def test_it_prints_short(from_top):
    assert len(repr(from_top)) < 200
    assert len(repr(dataclasses.replace(from_top, entry="x" * 1000))) < 200


def test_exit_layers_lie_within_the_reach_of_the_hole():
    """A blind hole from TOP to S1: the next layer, though it carries traces, is none of them."""
    layers = mb.stackup(roles=mb.ROLES | {"G2": "mixed"})
    blind = mb.VIA.replaced(span=("TOP", "S1"))
    assert list(layer_matrix(layers, ["10 Gb/s"], padstack=blind, z0="50 ohm").cells) == ["TOP", "S1"]
