"""A board with one thing changed: the board that would have been built so, the physics of it, and what is refused."""

from __future__ import annotations

import math
import pickle

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stubsi import Antipad, BoardError, Criterion, StubsiError, UnknownNameError, rank
from stubsi.board.names import free_name
from tests import margin_boards as mb

SLOT = mb.VIA.replaced(name="slot", antipad=Antipad(width="0.8 mm", shared=True))


def nets():
    return (
        mb.net("A", ("TOP", "S1"), place=0),
        mb.net("B", ("TOP", "S1"), ("TOP", "S1"), place=1, layers=("TOP", "S1", "S2")),
        mb.pair("C", ("TOP", "S1"), ("TOP", "S1"), place=3, padstack=SLOT),
    )


@pytest.fixture(scope="module")
def board():
    return mb.board(*nets(), places=4, name="small")


CHANGES = {
    "antipad": lambda board: board.with_antipad(antipad="0.9 mm", padstack="via"),
    "antipad of a hole": lambda board: board.with_antipad(antipad="0.9 mm", hole="B.1", layer="G2"),
    "drill": lambda board: board.with_drill(drill="0.28 mm", net="B"),
    "dk": lambda board: board.with_dk(dk=3.3),
    "layer": lambda board: board.with_layer(net="B", from_layer="S1", to_layer="S2"),
    "criterion": lambda board: board.with_criterion("Bogatin 2015"),
    "criterion of a net": lambda board: board.with_criterion(Criterion.loss(2), net="A"),
    "criterion of a signal": lambda board: board.with_criterion(Criterion.loss(2), signal="25 Gb/s"),
    "waiver": lambda board: board.with_waiver(net="A", waiver="test point"),
    "return via": lambda board: board.with_return_via(net="GND", padstack="post", x="0.7 mm", y="0.7 mm"),
}


@pytest.mark.parametrize("change", CHANGES)
def test_a_change_gives_another_board_and_leaves_the_first_as_it_was(board, change):
    before = mb.board(*nets(), places=4, name="small")
    after = CHANGES[change](board)
    assert board == before
    assert after != board
    assert after.name == board.name
    assert pickle.loads(pickle.dumps(after)) == after
    assert CHANGES[change](board) == after


def test_an_antipad_is_changed_for_every_hole_of_the_padstack_and_for_no_other(board):
    after = board.with_antipad(antipad="0.9 mm", padstack="via")
    assert {hole.padstack for _, hole in after.holes()} == {mb.VIA.replaced(antipad="0.9 mm"), SLOT}


def test_the_clearance_without_a_layer_is_that_of_every_layer_and_with_one_of_that_layer(board):
    own = mb.VIA.replaced(name="own", antipads={"G1": "0.7 mm"})
    whole = mb.board(mb.net("A", ("TOP", "S1"), padstack=own))
    everywhere = whole.with_antipad(antipad="0.9 mm", padstack="own").nets[0].holes[0].padstack
    one = whole.with_antipad(antipad="0.9 mm", padstack="own", layer="G2").nets[0].holes[0].padstack
    assert [everywhere.antipad_at(layer, "plane").width_si for layer in ("G1", "G2", "G3")] == [9e-4] * 3
    assert [one.antipad_at(layer, "plane").width_si for layer in ("G1", "G2", "G3")] == [7e-4, 9e-4, 8e-4]


def test_holes_that_keep_a_padstack_keep_its_name_and_the_changed_one_gets_another(board):
    after = board.with_drill(drill="0.28 mm", hole="B.1")
    names = {hole.name: hole.padstack.name for _, hole in after.holes()}
    assert names == {"A.0": "via", "B.0": "via", "B.1": "via of B.1", "C.P": "slot", "C.N": "slot"}
    again = after.with_drill(drill="0.27 mm", net="B")
    assert {hole.padstack.name for hole in again.net("B").holes} == {"via of B", "via of B.1"}
    assert again.net("A") == board.net("A")
    assert after.with_drill(drill="0.3 mm", hole="B.1").net("B").holes[1].padstack.drill_si == 3e-4


@given(st.lists(st.sampled_from(["a", "a 2", "a 3", "b"]), max_size=6))
def test_a_free_name_is_free(taken):
    assert free_name("a", taken) not in taken


def test_the_notch_of_a_uniform_stub_goes_with_the_root_of_the_dk(board):
    """Quarter wave in a medium: f = c / (4 l sqrt(Dk))."""
    before, after = (rank(each, model="uniform")["A"] for each in (board, board.with_dk(dk=2.4)))
    assert after.first_notch_si / before.first_notch_si == pytest.approx(math.sqrt(3.8 / 2.4), rel=1e-9)


def test_a_dk_between_two_layers_or_of_one_material_changes_nothing_else():
    layers = list(mb.stackup().layers)
    layers[3] = layers[3].replaced(material="prepreg")
    layers[5] = layers[5].replaced(material="prepreg")
    board = mb.board(mb.net("A", ("TOP", "S1")), layers=mb.stackup().replaced(layers=layers))

    def dks(changed):
        return [layer.dk for layer in changed.stackup.layers[1::2]]

    assert dks(board.with_dk(dk=3, between=("S1", "G1"))) == [3.8, 3, 3.8, 3.8, 3.8, 3.8]
    assert dks(board.with_dk(dk=3, material="prepreg")) == [3.8, 3, 3, 3.8, 3.8, 3.8]
    assert dks(board.with_dk(dk=3, material="prepreg", between=["S1", "BOT"])) == [3.8, 3.8, 3, 3.8, 3.8, 3.8]
    with pytest.raises(BoardError, match="no dielectric of material 'prepreg' between"):
        board.with_dk(dk=3, material="prepreg", between=["G3", "BOT"])


def test_a_wider_antipad_raises_the_notch_and_a_wider_drill_lowers_it(board):
    """Less capacitance along the same length; the field of a coaxial line, C' = 2 pi eps / ln(antipad / drill)."""
    notch = rank(board)["A"].first_notch_si
    assert rank(board.with_antipad(antipad="1 mm", net="A"))["A"].first_notch_si > notch
    assert rank(board.with_drill(drill="0.4 mm", net="A"))["A"].first_notch_si < notch


def test_a_net_on_a_deeper_layer_has_a_shorter_stub_and_the_others_keep_theirs(board):
    after = board.with_layer(net="B", from_layer="S1", to_layer="S2")
    before, now = rank(board, model="uniform"), rank(after, model="uniform")
    assert before["B"].stub_length_si - now["B"].stub_length_si == pytest.approx(2 * (mb.COPPER + mb.GAP) * 1e-3)
    assert now["A"] == before["A"]


def test_a_waiver_is_given_and_taken_back(board):
    waived = board.with_waiver(net="A", waiver="test point")
    assert rank(waived, model="uniform")["A"].verdict == "waived"
    assert waived.with_waiver(net="A", waiver="") == board


def test_a_criterion_is_that_of_the_board_of_a_signal_or_of_a_net(board):
    loss = Criterion.loss(2)
    assert board.with_criterion(loss).criterion == loss
    of_signal = board.with_criterion(loss, signal="25 Gb/s")
    assert {of_signal.criterion_of(net) for net in of_signal.signal_nets} == {loss}
    of_net = of_signal.with_criterion(Criterion.loss(1), net="A")
    assert [of_net.criterion_of(of_net.net(name)).limit for name in "ABC"] == [1, 2, 2]


def test_a_return_via_is_a_hole_of_its_net_with_a_name_of_its_own(board):
    once = board.with_return_via(net="GND", padstack="post", x="0.7 mm", y="0.7 mm")
    twice = once.with_return_via(net="GND", padstack="post", x="-0.7 mm", y="0.7 mm")
    assert [hole.name for hole in twice.net("GND").holes[-2:]] == ["GND added", "GND added 2"]
    named = board.with_return_via(net="GND", padstack="post", x="0.7 mm", y="0.7 mm", name="X1")
    assert named.net("GND").holes[-1].name == "X1"


REFUSED = {
    "no hole named": (lambda b: b.with_antipad(antipad="1 mm"), "nothing given"),
    "two names": (lambda b: b.with_drill(drill="0.3 mm", net="A", hole="A.0"), "hole and net given"),
    "padstack": (lambda b: b.with_antipad(antipad="1 mm", padstack="vai"), "no such padstack .*near it are via"),
    "hole": (lambda b: b.with_drill(drill="0.3 mm", hole="B.7"), "no such hole .*near it are B.1"),
    "net": (lambda b: b.with_waiver(net="GMD", waiver="x"), "no such net .*near it are GND"),
    "layer": (lambda b: b.with_antipad(antipad="1 mm", padstack="via", layer="G9"), "no such copper layer"),
    "signal layer": (lambda b: b.with_antipad(antipad="1 mm", padstack="via", layer="S1"), "where no antipad counts"),
    "no antipad": (lambda b: b.with_antipad(antipad=None, padstack="via"), "antipad = None"),
    "slot": (lambda b: b.with_antipad(antipad="0.9 mm", padstack="slot"), "shares a slot"),
    "narrow antipad": (lambda b: b.with_antipad(antipad="0.2 mm", padstack="via"), "must be smaller than"),
    "no drill": (lambda b: b.with_drill(drill=None, padstack="via"), "drill is missing"),
    "drill and pad": (lambda b: b.with_drill(drill="0.6 mm", padstack="via"), "pad = 0.5 mm"),
    "comma": (lambda b: b.with_drill(drill="0,3 mm", padstack="via"), "0,3 mm"),
    "no dk": (lambda b: b.with_dk(dk=None), "dk = None"),
    "dk": (lambda b: b.with_dk(dk=0.5), "dk"),
    "material": (lambda b: b.with_dk(dk=3, material="FR4"), "no such material"),
    "one layer": (lambda b: b.with_dk(dk=3, between=("S1", "S1")), "two different copper layers"),
    "plane": (lambda b: b.with_layer(net="A", from_layer="S1", to_layer="G2"), "is a plane"),
    "unused": (lambda b: b.with_layer(net="A", from_layer="S2", to_layer="S1"), "does not use layer S2; it uses TOP"),
    "not allowed": (lambda b: b.with_layer(net="B", from_layer="S1", to_layer="BOT"), "routing layers are TOP, S1, S2"),
    "no criterion": (lambda b: b.with_criterion("nonsense", net="A"), "criterion"),
    "both": (lambda b: b.with_criterion("TI 15 mil", net="A", signal="25 Gb/s"), "belongs to one of them"),
    "signal": (lambda b: b.with_criterion("TI 15 mil", signal="9 Gb/s"), "no net of board small carries it"),
    "reference net": (lambda b: b.with_waiver(net="GND", waiver="x"), "is reference"),
    "signal net": (
        lambda b: b.with_return_via(net="A", padstack="post", x="1 mm", y="2 mm"), "no such reference net .*GND"
    ),
    "taken": (lambda b: b.with_return_via(net="GND", padstack="post", x="0 mm", y="0.1 mm"), "run into each other"),
    "half a place": (lambda b: b.with_return_via(net="GND", padstack="post", x="1 mm", y=None), "give both"),
    "name": (
        lambda b: b.with_return_via(net="GND", padstack="post", x="3 mm", y="2 mm", name="A.0"), "appears 2 times"
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", REFUSED)
def test_a_change_without_a_meaning_is_refused_with_the_fix(board, case):
    change, text = REFUSED[case]
    with pytest.raises(StubsiError, match=text):
        change(board)


def test_a_dk_in_the_plane_of_the_glass_must_be_given_where_it_counts():
    board = mb.board(mb.net("A", ("TOP", "S1")), layers=mb.stackup(dk_in_plane=4.1))
    with pytest.raises(BoardError, match="give dk_in_plane as well"):
        board.with_dk(dk=3)
    assert board.with_dk(dk=3, dk_in_plane=3.3).stackup.layers[1].dk_in_plane == 3.3


def test_one_return_via_on_a_board_without_any_would_say_that_there_are_no_others():
    unknown = mb.board(mb.net("A", ("TOP", "S1")), places=0)
    with pytest.raises(BoardError, match="this board has no reference net"):
        unknown.with_return_via(net="GND", padstack="via", x="1 mm", y="1 mm")


def test_an_unknown_name_is_a_key_error_as_well(board):
    with pytest.raises(UnknownNameError):
        board.with_drill(drill="0.3 mm", net="Z")
