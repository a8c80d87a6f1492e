"""Stackup: depths of faces from both sides, distances that name their faces, the mean laminate, refused layers."""

from __future__ import annotations

import pickle
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stubsi import BoardError, CopperLayer, DielectricLayer, Stackup, UnitError, UnknownValueError, notch_frequency
from tests.other_registry import Q
from tests.strategies import stackups


def copper(name, thickness="35 um", role="signal"):
    return CopperLayer(name=name, thickness=thickness, role=role)


def laminate(thickness="0.5 mm", dk=4.0, **more):
    return DielectricLayer(thickness=thickness, dk=dk, **more)


def four_layers(**middle):
    layers = (copper("TOP"), laminate("0.2 mm"), copper("L2", role="plane"), laminate("1.0 mm", **middle),
              copper("L3"), laminate("0.2 mm"), copper("BOT"))  # fmt: skip
    return Stackup(layers=layers, source="of our own invention")


def mm(quantity):
    return quantity.m_as("mm")


def test_faces_from_both_sides():
    board = four_layers()
    assert mm(board.thickness) == pytest.approx(1.54)
    assert mm(board.depth("TOP", "upper")) == 0
    assert mm(board.depth("L2", "upper")) == pytest.approx(0.235)
    assert mm(board.depth("L2", "lower")) == pytest.approx(0.270)
    assert mm(board.depth("L2", "lower", "bottom")) == pytest.approx(1.27)
    assert mm(board.depth("BOT", "lower", "bottom")) == pytest.approx(0)


def test_stub_length_excludes_the_layer_in_use():
    """IPC-6012: stub length excludes the copper of the target layer; the end layer's copper counts."""
    board = four_layers()
    down, up = board.stub_length("L2", "bottom"), board.stub_length("L3", "top")
    assert mm(down.length) == pytest.approx(1.54 - 0.270)
    assert mm(up.length) == pytest.approx(1.27)
    assert str(down) == "1.27 mm from the lower face of L2 to the outer face of BOT"
    assert str(up) == "1.27 mm from the upper face of L3 to the outer face of TOP"


def test_stub_of_a_blind_hole_ends_at_its_last_layer():
    assert mm(four_layers().stub_length("TOP", "bottom", "L2").length) == pytest.approx(0.235)
    assert mm(four_layers().stub_length("BOT", "top", "L2").length) == pytest.approx(0.2 + 0.035 + 1.0 + 0.035)


@pytest.mark.parametrize(("layer", "side"), [("BOT", "bottom"), ("TOP", "top")])
def test_no_stub_where_the_barrel_ends(layer, side):
    assert mm(four_layers().stub_length(layer, side).length) == 0


def test_no_stub_where_the_barrel_ends_before_the_layer():
    assert mm(four_layers().stub_length("L3", "bottom", "L2").length) == 0
    assert mm(four_layers().stub_length("L2", "top", "L3").length) == 0


def test_inner_and_outer_face_differ_by_the_copper():
    """The 8-layer sample of BOARDFILES: 51.0 mil to the outer face, 28.23 GHz; 49.6 mil to the inner one, 29.03 GHz."""
    assert notch_frequency("51.0 mil", 4.2).m_as("GHz") == pytest.approx(28.23, abs=5e-3)
    assert notch_frequency("49.6 mil", 4.2).m_as("GHz") == pytest.approx(29.03, abs=5e-3)
    board = four_layers()
    inner = board.distance("L2", "lower", "BOT", "upper")
    assert mm(board.stub_length("L2", "bottom").length) - mm(inner.length) == pytest.approx(0.035)
    assert str(inner).endswith("from the lower face of L2 to the upper face of BOT")


@given(stackups())
def test_depths_from_both_sides_add_up(board):
    thickness = mm(board.thickness)
    for name in board.names:
        for face in ("upper", "lower"):
            both = mm(board.depth(name, face, "top")) + mm(board.depth(name, face, "bottom"))
            assert both == pytest.approx(thickness, rel=1e-12)


@given(stackups())
def test_stubs_shrink_towards_their_side(board):
    for side in ("top", "bottom"):
        stubs = [mm(board.stub_length(name, side).length) for name in board.names]
        ordered = stubs if side == "top" else stubs[::-1]
        assert ordered[0] == 0
        assert all(a < b for a, b in pairwise(ordered))


@given(stackups(), st.data())
def test_stub_up_plus_stub_down_plus_copper_is_the_board(board, data):
    name = data.draw(st.sampled_from(board.names[1:-1] or board.names))
    copper_mm = mm(board.copper[board.index(name)].thickness)
    up, down = (mm(board.stub_length(name, side).length) for side in ("top", "bottom"))
    if 0 < board.index(name) < len(board.names) - 1:
        assert up + copper_mm + down == pytest.approx(mm(board.thickness), rel=1e-12)
    else:
        assert max(up, down) + copper_mm == pytest.approx(mm(board.thickness), rel=1e-12)


@given(stackups(), st.data())
def test_distance_is_symmetric_and_the_depth_difference(board, data):
    one, other = (data.draw(st.sampled_from(board.names)) for _ in range(2))
    there, back = board.distance(one, "upper", other, "lower"), board.distance(other, "lower", one, "upper")
    assert mm(there.length) == pytest.approx(mm(back.length), rel=1e-12)
    difference = abs(mm(board.depth(one, "upper")) - mm(board.depth(other, "lower")))
    assert mm(there.length) == pytest.approx(difference, rel=1e-9, abs=1e-12)


@given(stackups())
def test_mean_laminate_lies_within_its_layers(board):
    mean = board.laminate(0.0, board.edges_si[-1])
    layers = [layer for layer in board.layers if isinstance(layer, DielectricLayer)]
    assert min(x.dk for x in layers) * (1 - 1e-12) <= mean.dk <= max(x.dk for x in layers) * (1 + 1e-12)
    assert min(x.df for x in layers) * (1 - 1e-12) <= mean.df <= max(x.df for x in layers) * (1 + 1e-12)


def test_mean_laminate_is_weighted_by_thickness():
    """Capacitances per length add: 0.2 mm of 4 and 1 mm of 3 make (0.2 x 4 + 1 x 3) / 1.2."""
    board = four_layers(dk=3.0)
    upper, lower = board.face_si("TOP", "lower"), board.face_si("L3", "upper")
    assert board.laminate(upper, lower).dk == pytest.approx((0.2 * 4 + 1.0 * 3) / 1.2)
    assert board.laminate(board.face_si("L2", "lower"), lower).dk == 3.0


def test_mean_loss_is_weighted_by_stored_energy():
    """Loss per length is the sum of Dk x df x thickness: (0.2 x 4 x 0 + 1 x 3 x 0.02) / (0.2 x 4 + 1 x 3)."""
    board = four_layers(dk=3.0, df=0.02)
    mean = board.laminate(board.face_si("TOP", "lower"), board.face_si("L3", "upper"))
    assert mean.df == pytest.approx(0.06 / 3.8)


def test_layers_given_at_different_frequencies_have_no_common_one():
    board = four_layers(df=0.02, at="10 GHz")
    upper, lower = board.face_si("L2", "lower"), board.face_si("L3", "upper")
    assert board.laminate(upper, lower).at_si == 10e9
    assert board.laminate(0.0, lower).at_si is None


def test_radial_field_sees_the_in_plane_value():
    board = four_layers(dk=4.0, dk_in_plane=4.5)
    upper, lower = board.face_si("L2", "lower"), board.face_si("L3", "upper")
    mean = board.laminate(upper, lower)
    assert mean.dk == 4.5
    assert mean.assumed == ("in-plane Dk", "unknown loss tangent as lossless", "Dk of unknown frequency as constant")
    assert "in-plane Dk where known" in board.laminate(0.0, board.edges_si[-1]).assumed
    assert four_layers().laminate(0.0, lower).assumed[0] == "z-axis Dk"
    assert four_layers(dk=None, dk_in_plane=4.5).laminate(upper, lower).dk == 4.5


def test_unknown_dk_stays_unknown_and_is_named():
    board = four_layers(dk=None, material="prepreg of unknown make")
    with pytest.raises(UnknownValueError, match=r"Dk of dielectric 2 \(prepreg of unknown make\) is unknown: give it"):
        board.laminate(0.0, 1e-3)
    assert board.laminate(0.0, 0.2e-3).dk == 4.0
    assert board.layers[3].dk is None


def test_mean_over_copper_alone_is_refused():
    board = four_layers()
    with pytest.raises(BoardError, match=r"no dielectric between 0 mm and 0.02 mm"):
        board.laminate(0.0, 0.02e-3)
    with pytest.raises(BoardError, match="no dielectric between"):
        board.laminate(1e-3, 0.5e-3)


BAD_STACKS = {
    "empty": ((), "must begin and end with a copper layer"),
    "one": ((copper("A"),), "must begin and end with a copper layer"),
    "no bottom": ((copper("A"), laminate()), "must begin and end with a copper layer"),
    "no top": ((laminate(), copper("A")), "must begin and end with a copper layer"),
    "no dielectric": ((copper("A"), copper("B")), "hold a dielectric between"),
    "copper on copper": (
        (copper("A"), laminate(), copper("B"), copper("C")),
        "no dielectric between copper layers B and C",
    ),
    "name twice": ((copper("A"), laminate(), copper("A")), "copper layer name 'A' is used twice"),
    "text": ((copper("A"), "prepreg", copper("B")), "must be CopperLayer or DielectricLayer objects"),
}


@pytest.mark.parametrize("name", BAD_STACKS)
def test_refused_stackups(name):
    layers, why = BAD_STACKS[name]
    with pytest.raises(BoardError, match=why):
        Stackup(layers=layers)


@pytest.mark.parametrize(
    "ask",
    [lambda s, n: s.index(n), lambda s, n: s.depth(n, "upper"), lambda s, n: s.stub_length(n, "top"),
     lambda s, n: s.stub_length("L2", "top", n or "LX"), lambda s, n: s.distance(n, "upper", "TOP", "upper"),
     lambda s, n: s.distance("TOP", "upper", n, "upper"), lambda s, n: s.face_si(n, "upper")],
    ids=["index", "depth", "stub_length", "end layer", "distance from", "distance to", "face_si"],
)  # fmt: skip
@pytest.mark.parametrize("layer", ["LX", "top", "L2 ", 1, None, ["L2"]], ids=repr)
def test_unknown_layer_names_the_known_ones(ask, layer):
    with pytest.raises(BoardError, match=r"no such copper layer; known are TOP, L2, L3, BOT"):
        ask(four_layers(), layer)


@pytest.mark.parametrize("side", ["left", "Top", "", None, "TOP"], ids=repr)
def test_unknown_side_is_refused(side):
    with pytest.raises(BoardError, match=r"side = .*: must be 'top' or 'bottom'"):
        four_layers().stub_length("L2", side)
    with pytest.raises(BoardError, match=r"side = .*: must be 'top' or 'bottom'"):
        four_layers().depth("L2", "upper", side)


@pytest.mark.parametrize("face", ["middle", "top", "", None], ids=repr)
def test_unknown_face_is_refused(face):
    for ask in (lambda s: s.depth("L2", face), lambda s: s.distance("L2", face, "L3", "upper")):
        with pytest.raises(BoardError, match=r"face = .*: must be 'upper' or 'lower'"):
            ask(four_layers())


LENGTHS = [35, "35", "", "0 um", "-1 um", "nan um", "1,5 um", "1 oz", "5 GHz", Q(1, "oz"), Q(1, "mil"), None, True,
           ["1 um"], float("nan")]  # fmt: skip


@pytest.mark.parametrize("bad", LENGTHS, ids=repr)
def test_refused_thickness(bad):
    with pytest.raises(UnitError, match="CopperLayer thickness"):
        copper("A", thickness=bad)
    with pytest.raises(UnitError, match="DielectricLayer thickness"):
        laminate(bad)


@pytest.mark.parametrize("name", ["dk", "dk_in_plane"])
@pytest.mark.parametrize("bad", [0, 0.99, -4, float("nan"), float("inf"), "4", True, [4, 5], Q(4, "mm")], ids=repr)
def test_refused_dk(name, bad):
    with pytest.raises(UnitError, match=f"dielectric layer {name} = "):
        laminate(**{"dk": 4.0, name: bad})
    with pytest.raises(UnitError, match="at least 1"):
        laminate(**{"dk": 4.0, name: 0.99})


@pytest.mark.parametrize("bad", [-0.01, 1, 2, "2%", "0.02", float("nan"), True, [0.02]], ids=repr)
def test_refused_df(bad):
    with pytest.raises(UnitError, match="dielectric layer df = "):
        laminate(df=bad)
    with pytest.raises(UnitError, match="a ratio, not a percentage"):
        laminate(df=2)


@pytest.mark.parametrize("bad", [1e9, "1e9", "0 GHz", "1 Gb/s", "5 mm", Q(1, "rad/s")], ids=repr)
def test_refused_reference_frequency(bad):
    with pytest.raises(UnitError, match="DielectricLayer at = "):
        laminate(at=bad)


@pytest.mark.parametrize("name", ["", " ", None, 1], ids=repr)
def test_refused_layer_name(name):
    with pytest.raises(BoardError, match=r"copper layer name = .*: must be a name like 'L1'"):
        copper(name)


@pytest.mark.parametrize("role", ["power", "", None, "Plane"], ids=repr)
def test_refused_role(role):
    with pytest.raises(BoardError, match=r"copper layer A role = .*: must be one of signal, plane, mixed"):
        copper("A", role=role)


@given(stackups())
def test_a_stackup_is_a_value(board):
    twin = pickle.loads(pickle.dumps(board))
    assert twin == board
    assert hash(twin) == hash(board)
    assert twin.names == board.names


def test_layers_in_other_units_are_equal():
    assert copper("A", "1.4 mil") == copper("A", "35.56 um") == copper("A", Q(0.03556, "mm"))
    assert laminate("62 mil") == laminate("1.5748 mm")
    assert laminate(dk=4) != laminate(dk=4.1)


def test_table_of_faces():
    table = four_layers().faces()
    assert list(table["layer"]) == ["TOP", "L2", "L3", "BOT"]
    assert np.allclose(table["lower face from bottom [mm]"], [1.505, 1.27, 0.235, 0])
    assert four_layers().to_frame().equals(table)
    assert list(table["role"]) == ["signal", "plane", "signal", "signal"]


@pytest.mark.parametrize("bad", [None, 5, ["data sheet"]], ids=repr)
@pytest.mark.parametrize("name", ["source", "material"])
def test_a_source_is_text(name, bad):
    with pytest.raises(BoardError, match=rf"dielectric layer {name} = .*: must be a text, or left out"):
        laminate(**{name: bad})
    with pytest.raises(BoardError, match=r"stackup source = .*: must be a text, or left out"):
        Stackup(layers=four_layers().layers, source=bad)
