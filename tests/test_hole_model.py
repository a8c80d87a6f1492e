"""One hole of a board as an object: the ends of its stubs in words, its notches, what is refused, and that it keeps."""

from __future__ import annotations

import pickle

import numpy as np
import pytest

from stubsi import Board, Net, StubsiError, UnknownNameError, hole_model, rank
from stubsi.board.distance import EndKind
from stubsi.board.net import DepthDrill
from stubsi.physics.dielectric import permittivity
from tests import margin_boards as mb

DRILL = DepthDrill(side="bottom", residual_stub="0.15 mm", drill="0.5 mm")


def test_a_layer_whose_name_looks_like_wording_keeps_it():
    """A layer may be called anything: the text of a distance is made of its parts, and never taken apart again."""
    roles = {"A to B": "signal", "G1 to pin": "plane", "spine": "signal", "G2": "plane", "BOT": "signal"}
    board = mb.board(mb.net("A", ("A to B",)), layers=mb.stackup(roles=roles))
    whole = hole_model(board, "A.0").below.distance
    assert str(whole) == "0.92 mm from the lower face of A to B to the outer face of BOT"
    drilled = hole_model(board, "A.0", drilled=[DRILL]).below.distance
    assert str(drilled) == "0.15 mm from the lower face of A to B to the end of the plating"
    assert drilled.between.start == whole.between.start
    assert drilled.between.end.kind == EndKind.PLATING_END


@pytest.mark.parametrize("model", ["solved", "uniform"])
def test_higher_notches_follow_the_first(model):
    """At three times the first for a bare uniform line; pads and planes move both, by less than the next step."""
    near = mb.ground(1, ((0.6, 0), (-0.6, 0), (0, 0.6), (0, -0.6)))
    net = Net(name="A", signal="25 Gb/s", z0="50 ohm", holes=[mb.hole("A.0", ("TOP", "S1"), traces="opposite")])
    board = Board(stackup=mb.stackup(), nets=(net, near))
    stub = hole_model(board, "A.0", model=model).below
    first, third = (stub.notch_frequency(order).m_as("GHz") for order in (1, 3))
    assert stub.notch_frequency().m_as("GHz") == first
    assert 2 * first < third < 4 * first
    with pytest.raises(StubsiError, match="must be odd"):
        stub.notch_frequency(2)


@pytest.mark.parametrize("model", ["solved", "uniform"])
def test_a_hole_can_be_pickled_and_prints_short(model):
    hole = hole_model(mb.board(mb.net("A", ("S1", "S2"))), "A.0", model=model)
    again = pickle.loads(pickle.dumps(hole))
    networks = [each.network(["5 GHz", "20 GHz"]).s for each in (again, hole)]
    np.testing.assert_allclose(*networks, rtol=1e-9)  # what is remembered of a pattern is exact to 1e-9, not to the bit
    for thing in (hole, again, *hole.stubs):
        assert len(repr(thing)) < 200
    assert hole.below.stub_length.m_as("mm") == pytest.approx(0.46)
    shown = hole._repr_html_()
    assert all(text in shown for text in ("Hole A.0", "bottom", "0.46 mm", "first notch", "GHz"))
    assert repr(hole) == "HoleModel('A.0', stubs: top 0.46 mm, bottom 0.46 mm)"
    assert repr(hole.above).startswith("HoleStub(top, 0.46 mm from the upper face of S1 to the outer face of TOP, ")


REFUSED = {
    "board": (("x", "A.0"), {}, "board = 'x': must be a Board"),
    "no such hole": ((None, "Z.9"), {}, "hole 'Z.9': no such hole in a signal net of board"),
    "hole is no name": ((None, 7), {}, "hole 7: must be the name of a hole in a signal net of board"),
    "hole of a reference net": ((None, "GND.0.0"), {}, "no such hole in a signal net"),
    "model": ((None, "A.0"), {"model": "coax"}, "model = 'coax': must be 'solved' or 'uniform'"),
    "model is no name": ((None, "A.0"), {"model": None}, "model = None: must be 'solved' or 'uniform'"),
    "a single drill": ((None, "A.0"), {"drilled": DRILL}, None),
    "drill is text": ((None, "A.0"), {"drilled": "bottom"}, "must be a list of DepthDrill"),
    "drills are texts": ((None, "A.0"), {"drilled": ["bottom"]}, "must be a list of DepthDrill"),
    "drilled is a number": ((None, "A.0"), {"drilled": 3}, "must be a list of DepthDrill"),
    "two drills a side": ((None, "A.0"), {"drilled": [DRILL, DRILL]}, "needs at most one depth drill from each side"),
    "drill where no stub is": ((None, "A.0"), {"drilled": [DRILL.replaced(side="top")]}, "only where there is a stub"),
    "longer than the stub": ((None, "A.0"), {"drilled": [DRILL.replaced(residual_stub="2 mm")]}, "must be below the"),
}


@pytest.mark.parametrize(("args", "more", "says"), REFUSED.values(), ids=REFUSED)
def test_refused(args, more, says):
    board = mb.board(mb.net("A", ("TOP", "S1")))
    given = (board if args[0] is None else args[0], args[1])
    if says is None:
        assert hole_model(*given, **more).below.stub_length_si == pytest.approx(0.15e-3)
        return
    with pytest.raises(StubsiError, match=says):
        hole_model(*given, **more)


@pytest.mark.parametrize("model", ["solved", "uniform"])
def test_hole_models_of_equal_boards_are_equal(model):
    """Equality goes by what a model is made from: the hole, what stands around it, the drills and the model's name."""

    def made(net=("TOP", "S1"), **more):
        return hole_model(mb.board(mb.net("A", net)), "A.0", **{"model": model, **more})

    hole = made()
    for twin in (made(), pickle.loads(pickle.dumps(hole))):
        assert twin is not hole
        assert twin == hole
        assert hash(twin) == hash(hole)
        assert twin.below == hole.below
        assert hash(twin.below) == hash(hole.below)
    for other in (made(("TOP", "S2")), made(drilled=[DRILL]), made(model="solved" if model != "solved" else "uniform")):
        assert other != hole
        assert other.below != hole.below
    assert made(("TOP", "BOT")) == made(("TOP", "BOT")) != hole  # no stub at all
    assert hole != "A.0"


def test_an_unknown_hole_is_named_with_those_near_it():
    board = mb.board(mb.net("OPT_TX3", ("TOP", "S1")))
    for error in (UnknownNameError, KeyError):
        with pytest.raises(error, match=r"hole 'opt_tx3.0': no such hole .*; names near it are OPT_TX3.0"):
            hole_model(board, "opt_tx3.0")


def test_a_uniform_hole_follows_the_dispersion_of_its_laminate():
    """Notch and phase of a laminate with Dk 3.8 and Df 0.02 at 1 GHz against one that is constant over frequency.

    The phase scales with the square root of the real permittivity, which falls with frequency (Kramers-Kronig); the
    notch less, because of the load at the end.
    """
    dispersive, constant = (mb.stackup(df=0.02, **more) for more in ({"at": "1 GHz"}, {}))

    def slower(frequency):
        return np.sqrt(3.8 / permittivity(frequency, 3.8, 0.02, 1e9).real)

    notch = [rank(mb.board(mb.net("A", ("TOP", "S1")), layers=layers), model="uniform")["A"].first_notch_si
             for layers in (dispersive, constant)]  # fmt: skip
    assert 1.01 < notch[0] / notch[1] < slower(notch[0])
    phase = []
    for layers in (dispersive, constant):
        hole = hole_model(mb.board(mb.net("A", ("TOP", "BOT")), layers=layers), "A.0", model="uniform")
        cosh = hole.abcd_si(np.array([10e9]))[0, 0, 0]
        phase.append(np.arccos(cosh).real)
    assert phase[1] / phase[0] == pytest.approx(slower(10e9), abs=2e-3)
    assert phase[1] > 1.01 * phase[0]
