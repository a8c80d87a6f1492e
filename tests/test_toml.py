"""Board files: what is written arrives, whatever its unit; what is left out stays unknown."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stubsi import RULES_OF_THUMB, Signal, UnknownValueError
from stubsi.files.toml import read_board
from tests.board_text import FULL, MINIMAL, changed


@pytest.fixture
def written(tmp_path):
    def write(text):
        path = tmp_path / "card.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


def test_minimal_file_is_read_and_leaves_the_rest_unknown(written):
    board = read_board(written(MINIMAL))
    (net,) = board.nets
    assert net.signal == Signal("10 Gb/s")
    assert board.criterion == RULES_OF_THUMB["DesignCon 2020"]
    assert board.return_vias is None
    hole = net.holes[0]
    assert (hole.x, hole.padstack.antipad, hole.padstack.finished, hole.press_fit) == (None, None, None, None)
    core = board.stackup.layers[1]
    assert (core.dk, core.df, core.dk_in_plane, core.at) == (None, None, None, None)
    with pytest.raises(UnknownValueError, match=r"dielectric 1 \(core\)"):
        board.stackup.laminate(0.0, 1e-3)


def test_every_value_of_a_full_file_arrives(written):
    board = read_board(written(FULL))
    lane, ref, ground = board.nets
    pair, blind = lane.holes[0].padstack, ref.holes[0].padstack
    prepreg, core = board.stackup.layers[1], board.stackup.layers[3]
    assert board.name == "probe card"
    assert (board.criterion.measure, board.criterion.limit, board.criterion.source) == (
        "notch ratio",
        3.0,
        "house rule",
    )
    assert board.criterion_of(lane) == RULES_OF_THUMB["Bogatin 2015"]
    assert board.criterion_of(ref) == RULES_OF_THUMB["Simonovich 2017"]
    assert [(c.name, c.role) for c in board.stackup.copper] == [
        ("L1", "signal"),
        ("L2", "plane"),
        ("L3", "mixed"),
        ("L4", "signal"),
    ]
    assert (prepreg.dk, prepreg.df, prepreg.dk_in_plane, prepreg.source) == (3.6, 0.004, 3.9, "test")
    assert prepreg.at.m_as("GHz") == pytest.approx(9)
    assert (core.dk, core.df, core.source, board.stackup.source) == (4.0, None, "drawing 7", "drawing 7")
    assert board.stackup.thickness.m_as("mm") == pytest.approx(0.11 + 2 * 0.127 + 0.5, rel=1e-12)
    assert pair.finished.m_as("mm") == pytest.approx(0.15)
    assert pair.antipad.shared
    assert pair.antipad.width.m_as("mm") == pytest.approx(0.9)
    assert not pair.antipad_at("L3", "mixed").shared
    assert [pair.pad_at(layer, in_use=True, outer=False) for layer in ("L1", "L2", "L3")] == pytest.approx(
        [0.6e-3, 0.5e-3, None]
    )
    assert pair.non_functional_pads == "removed"
    assert blind.span == ("L1", "L3")
    first, second = lane.holes
    assert (first.leg, second.leg, second.connects, lane.layers) == ("P", "N", ("L1", "L3"), ("L3", "L4"))
    assert first.xy_si == pytest.approx((1e-3, 1.016e-3))
    fit = first.press_fit
    depths = (fit.contact_from_si, fit.contact_to_si, fit.pin_length_si)
    assert fit.side == "top"
    assert depths == pytest.approx((0.2e-3, 0.6e-3, 1.4e-3))
    assert ref.waiver == "not fitted"
    assert ground.reference
    assert [(h.name, h.xy_si) for h in board.return_vias] == [("GND.1", (0.0, 0.0)), ("GND.2", (-1e-3, 0.0))]


@pytest.mark.parametrize(
    "length", ["62 mil", "62 mils", "62 thou", "0.062 in", "1574.8 um", "0.15748 cm"], ids=lambda text: text
)
def test_one_length_in_many_units_is_one_board(written, length):
    as_mm = read_board(written(changed(MINIMAL, "1.5 mm", "1.5748 mm")))
    other = read_board(written(changed(MINIMAL, "1.5 mm", length)))
    assert other.stackup.edges_si == pytest.approx(as_mm.stackup.edges_si, rel=1e-12)
    assert other.nets == as_mm.nets


@given(thickness=st.floats(0.02, 5.0), drill=st.floats(0.1, 1.0), dk=st.floats(1.0, 12.0))
def test_numbers_come_back_as_written(tmp_path_factory, thickness, drill, dk):
    text = changed(MINIMAL, "0.3 mm", f"{drill / 0.0254} mil")
    path = tmp_path_factory.mktemp("board") / "card.toml"
    path.write_text(changed(text, '"1.5 mm"', f'"{thickness} mm", dk = {dk}'), encoding="utf-8")
    board = read_board(path)
    assert board.stackup.layers[1].thickness.m_as("mm") == pytest.approx(thickness, rel=1e-12)
    assert board.nets[0].holes[0].padstack.drill.m_as("mm") == pytest.approx(drill, rel=1e-12)
    assert board.stackup.layers[1].dk == dk


def test_hole_may_stand_on_another_that_ends_where_it_begins(written):
    below = """
[[padstack]]
name = "lower"
span = ["L3", "L4"]
drill = "8 mil"
pad = "16 mil"
"""
    lower = ', {name = "B2", padstack = "lower", connects = ["L3", "L4"], at = ["9 mm", "9 mm"]}]'
    text = changed(FULL, '"L1"]}]', '"L1"], at = ["9 mm", "9 mm"]}' + lower)
    upper_hole, lower_hole = read_board(written(text + below)).net("REF").holes
    assert upper_hole.xy_si == lower_hole.xy_si


def test_byte_order_mark_and_dos_line_ends_are_read(tmp_path):
    path = tmp_path / "card.toml"
    path.write_bytes(b"\xef\xbb\xbf" + MINIMAL.replace("\n", "\r\n").encode())
    assert read_board(path).nets[0].name == "CLK"


def test_path_may_be_text(written):
    assert read_board(str(written(MINIMAL))) == read_board(written(MINIMAL))
