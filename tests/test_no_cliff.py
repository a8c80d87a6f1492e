"""Where there is no notch, and where a little more length would make one: no number beyond the model, no false pass."""

from __future__ import annotations

import io
import math
import re
from functools import cache
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

from stubsi import (
    CopperLayer,
    Criterion,
    DielectricLayer,
    Padstack,
    ReturnVias,
    Stackup,
    check_stub,
    hole_model,
    plot_margins,
    rank,
)
from stubsi.errors import ValidityError
from stubsi.margin.figures import stub_figures
from stubsi.margin.stub_arguments import single_stub
from stubsi.physics.uniform_line import decibels, shunt_s
from tests import margin_boards as mb

LAYERS = mb.stackup(df=0.01, at="1 GHz")


def around(away, count=4):
    places = (away * np.exp(2j * np.pi * k / count) for k in range(count))
    return ReturnVias(positions=[(f"{p.real:.6f} mm", f"{p.imag:.6f} mm") for p in places], drill="0.25 mm")


SOLVED = {"stackup": LAYERS, "padstack": mb.VIA, "layer": "S1", "feed": "through"}


def notch_of(length, away=1.0, count=4):
    return check_stub(f"{length} mm", "112 Gb/s PAM4", return_vias=around(away, count), **SOLVED)


# --- none below X -----------------------------------------------------------------------------------------------------


def test_a_notch_beyond_the_range_of_the_model_is_no_number():
    """Up to where the gap of the clearance, 0.25 mm, is half a wave in Dk 3.8 and the bore: 292 GHz."""
    check = notch_of(0.05)
    low, high = check.figures.notch.low, check.figures.notch.high
    assert 250e9 < low < 0.5 * 299_792_458 / 0.25e-3
    assert math.isinf(high)
    assert notch_of(0.06).figures.notch.low == low, "it is the same for every stub so short"
    assert check.verdict == "pass"
    assert check.reason == f"more than {low / 28e9:.3g} x Nyquist, at least 5 wanted"


def test_a_limit_above_it_is_undecided_and_says_why():
    check = notch_of(0.05)
    beyond = Criterion.notch_ratio(1.01 * check.figures.notch.low / 28e9)
    undecided = check_stub("0.05 mm", "112 Gb/s PAM4", criterion=beyond, return_vias=around(1.0), **SOLVED)
    assert undecided.verdict == "undecided"
    assert f"no notch below {check.figures.notch.low / 1e9:.4g} GHz, and the model holds no further" in undecided.reason
    within = Criterion.notch_ratio(0.99 * check.figures.notch.low / 28e9)
    assert check_stub("0.05 mm", "112 Gb/s PAM4", criterion=within, return_vias=around(1.0),
                      **SOLVED).verdict == "marginal"  # fmt: skip


def short_board():
    """A stub of 0.12 mm, too short for a notch as far up as its wide antipad lets the model hold: 112 GHz."""
    wide = Padstack(name="wide", drill="0.3 mm", pad="0.32 mm", antipad="1.6 mm", non_functional_pads="removed")
    net = mb.net("A", ("TOP", "S2"), signal="112 Gb/s PAM4", padstack=wide)
    return mb.board(net, layers=mb.stackup(gap=0.03, df=0.01, at="1 GHz"))


def test_every_table_says_that_there_is_none():
    board = short_board()
    ranking = rank(board)
    row = ranking["A"]
    assert row.first_notch_si < 120e9
    assert row.verdict == "undecided"
    assert "more than 4.01 x Nyquist, at least 5 wanted; no notch below 112.4 GHz" in row.reason
    assert math.isinf(row.first_notch_to_si)
    assert f">{row.first_notch_si / 1e9:.2f}" in ranking.to_text(120)
    assert ranking.to_frame()["first notch, up to [GHz]"][0] == math.inf
    text = "".join(line for line in ranking.to_csv().splitlines(keepends=True) if not line.startswith("#"))
    assert pd.read_csv(io.StringIO(text))["first notch, up to [GHz]"][0] == math.inf
    (stub,) = hole_model(board, "A.0").stubs
    assert "none below" in stub._repr_html_() + hole_model(board, "A.0")._repr_html_()
    one_db = stub.one_db_frequency(z0="50 ohm").m_as("GHz")
    assert re.search(rf"1 dB in 50 ohm.*{one_db:.4g} GHz", hole_model(board, "A.0")._repr_html_(), re.DOTALL)
    assert plot_margins(ranking).patches


def test_the_network_of_a_stub_reaches_as_far_as_its_figures():
    board = short_board()
    low = rank(board)["A"].first_notch_si
    (stub,) = hole_model(board, "A.0").stubs
    assert stub.network([f"{0.999 * low:.0f} Hz"]).is_passive()
    with pytest.raises(ValidityError, match="above"):
        stub.network([f"{1.001 * low:.0f} Hz"])


# --- nearly a notch ---------------------------------------------------------------------------------------------------


def test_a_dip_that_is_nearly_a_notch_makes_a_pass_marginal():
    """Four return vias at 1 mm: at 0.20 mm a dip of 2.7 dB at 52 GHz does not count, at 0.23 mm one of 3.4 dB does."""
    before, after = notch_of(0.20), notch_of(0.23)
    assert before.figures.notch.low > 2.5 * after.figures.notch.low
    assert before.figures.notch.worst < 1.05 * after.figures.notch.low
    assert "is nearly a notch" in before.model
    verdicts = [check_stub(f"{length} mm", "20 GBd", return_vias=around(1.0), criterion=Criterion.notch_ratio(6),
                           **SOLVED).verdict for length in (0.14, 0.20, 0.23)]  # fmt: skip
    assert verdicts == ["pass", "marginal", "falls short"]


def test_a_marginal_net_says_that_a_dip_is_the_reason():
    """A stub of 0.24 mm with four return vias at 1 mm."""
    net = mb.net("A", ("TOP", "S2"), signal="20 GBd", criterion=Criterion.notch_ratio(6))
    row = rank(mb.board(net, layers=mb.stackup(gap=0.09, df=0.01, at="1 GHz")))["A"]
    assert row.verdict == "marginal"
    assert "a dip that is nearly a notch may lie at" in row.reason


def test_just_before_a_face_of_copper_what_lies_beyond_counts():
    faces = single_stub({**SOLVED, "return_vias": around(1.0)}, None).shape.face_lengths_si[:-1] * 1e3
    pairs = [(notch_of(face - 2e-5), notch_of(face + 1e-4)) for face in faces[::2]]
    assert all(before.figures.notch.worst <= beyond.figures.notch.worst * 1.001 for before, beyond in pairs)
    assert any("just before a face of copper" in before.model for before, _ in pairs)


def test_just_beyond_a_face_of_copper_a_stub_is_no_better_than_just_before():
    """In the model the notch rises there, at the first plane from 146 to 158 GHz. Plating never raises it."""
    faces = single_stub({**SOLVED, "return_vias": around(1.0)}, None).shape.face_lengths_si[:-1] * 1e3
    pairs = [(notch_of(face - 2e-5), notch_of(face + 1e-4)) for face in faces[::2]]
    assert any(beyond.figures.notch.low > 1.05 * before.figures.notch.low for before, beyond in pairs)
    for before, beyond in pairs:
        assert beyond.figures.notch.worst <= before.figures.notch.worst * 1.0001
        assert beyond.figures.notch.best <= before.figures.notch.best * 1.0001
    assert any("a shorter stub is worse in the model" in beyond.model for _, beyond in pairs)


@pytest.mark.parametrize("measure", ["one_db", "loss", "return_loss"])
def test_nor_are_its_other_figures(measure):
    limits = {"one_db": Criterion.one_db_ratio(2), "loss": Criterion.loss(0.3),
              "return_loss": Criterion.return_loss(15)}  # fmt: skip
    sign = -1 if measure == "loss" else 1
    for face in single_stub({**SOLVED, "return_vias": around(1.0)}, None).shape.face_lengths_si[:-1:2] * 1e3:
        before, beyond = (
            getattr(check_stub(f"{length} mm", "40 GBd", return_vias=around(1.0), z0="50 ohm",
                               criterion=limits[measure], **SOLVED).figures, measure)
            for length in (face - 2e-5, face + 1e-4)
        )  # fmt: skip
        assert sign * beyond.worst <= sign * before.worst * (1 + sign * 1e-3)
        assert sign * beyond.best <= sign * before.best * (1 + sign * 1e-3)


def test_a_dip_is_found_where_the_feed_takes_away_all_inductance():
    """Wide barrels and thin layers: the loss has a maximum of 4.9 dB at 72 GHz and falls to 3.6 dB beyond it."""
    padstack = Padstack(name="v", drill="0.384 mm", pad="0.534 mm", antipad="0.748 mm", non_functional_pads="kept")
    board = {"stackup": mb.stackup(dk=3.6, gap=0.121, df=0.02, at="1 GHz"), "padstack": padstack, "layer": "S2"}
    check = check_stub("0.28 mm", "10 GBd", feed="tee", return_vias=around(0.86), **board)
    stub = single_stub({**board, "feed": "tee", "return_vias": around(0.86)}, None)
    model = stub.models(np.array([0.28e-3])).variants[0]
    frequency = np.linspace(20e9, 120e9, 201)
    loss = decibels(shunt_s(*model.input(np.zeros(201, dtype=np.intp), frequency), 50.0)[1])
    peak = frequency[loss.argmax()]
    assert loss.max() - loss[frequency > peak].min() > 1
    assert check.first_notch.m_as("Hz") == pytest.approx(peak, rel=0.01)


def test_a_tee_that_takes_away_all_inductance_has_a_least_notch_all_the_same():
    check = check_stub("0.1 mm", "112 Gb/s PAM4", return_vias=around(0.8), **SOLVED | {"feed": "tee"})
    assert 0 < check.figures.notch.worst < check.figures.notch.low < math.inf
    assert math.isinf(check.figures.notch.high)


# --- no cliff ---------------------------------------------------------------------------------------------------------


def steps_of(rng, feed, fewest=3):
    """Length, worst and best first notch of a stub of random sizes, in steps of 1 % of its length."""
    drill, count = rng.uniform(0.15, 0.4), int(rng.integers(fewest, 7))
    antipad = drill + rng.uniform(0.25, 0.6)
    padstack = Padstack(name="v", drill=f"{drill:.3f} mm", pad=f"{drill + 0.15:.3f} mm", antipad=f"{antipad:.3f} mm",
                        non_functional_pads=str(rng.choice(["removed", "kept"])))  # fmt: skip
    layers = mb.stackup(dk=rng.uniform(3, 4.5), gap=rng.uniform(0.08, 0.3), df=rng.choice([0.002, 0.02]), at="1 GHz")
    vias = around(antipad / 2 + rng.uniform(0.2, 2.0), count)
    stub = single_stub({"stackup": layers, "padstack": padstack, "layer": str(rng.choice(["TOP", "S1", "S2"])),
                        "feed": feed, "return_vias": vias}, None)  # fmt: skip
    full = stub.shape.stub_length_si
    lengths = np.minimum(60e-6 * 1.01 ** np.arange(math.ceil(math.log(full / 60e-6) / math.log(1.01)) + 1), full)
    none = np.full(len(lengths), np.nan)
    figures = stub_figures(stub.models(lengths), np.arange(len(lengths)), lengths, none, none, wanted=())
    return lengths, figures.notch.worst, figures.notch.best


@cache
def through_steps(seed, count):
    """Steps of some random stubs whose signal comes along the barrel."""
    rng = np.random.default_rng(seed)
    return [steps_of(rng, "through") for _ in range(count)]


@pytest.mark.parametrize(("seed", "count"), [(11, 1), pytest.param(7, 40, marks=pytest.mark.slow)])
def test_no_step_of_1_percent_goes_from_pass_to_falls_short(seed, count):
    """Whatever the limit: the best notch of the longer stub is no lower than the worst of the shorter one.

    With three return vias and more around the hole, and a signal that comes along the barrel.
    """
    for _, worst, best in through_steps(seed, count):
        assert np.all(best[1:] >= worst[:-1])


@pytest.mark.parametrize("count", [1, pytest.param(40, marks=pytest.mark.slow)])
def test_the_verdict_does_not_improve_as_a_stub_grows(count):
    """With three return vias and more around the hole, a signal that comes along the barrel, and stubs from 0.1 mm.

    A net that falls short stays so: its best notch rises by less than 0.3 %. One that is marginal stays so within 1.5 %
    of its limit: so much a dip that is nearly a notch moves while its depth changes. At less than one length in a
    thousand such a dip is too flat to be seen.
    """
    rises = []
    for lengths, worst_of_all, best_of_all in through_steps(11, count):
        worst, best = worst_of_all[lengths >= 0.1e-3], best_of_all[lengths >= 0.1e-3]
        assert np.all(best <= 1.003 * np.minimum.accumulate(best))
        rises += (worst > 1.015 * np.minimum.accumulate(worst)).tolist()
    assert np.mean(rises) < 1e-3


@pytest.mark.parametrize("count", [pytest.param(25, marks=pytest.mark.slow)])
def test_nor_where_both_traces_meet_the_barrel_on_one_layer(count):
    """Any number of return vias, each length of such a tee against all shorter ones from 0.1 mm on.

    It is compared with shorter ones on a scale in steps of 5 %. Between them a dip that is about to be lost moves fast:
    in one of 25 geometries the figure rises by 10 %, in the others by at most 3 %.
    """
    rng, rises = np.random.default_rng(5), []
    for _ in range(count):
        lengths, worst, best = steps_of(rng, "tee", fewest=1)
        worst, best = worst[lengths >= 0.1e-3], best[lengths >= 0.1e-3]
        for figure in (worst, best):
            assert np.all(figure <= 1.12 * np.minimum.accumulate(figure))
            rises += (figure > 1.015 * np.minimum.accumulate(figure)).tolist()
        assert np.all(best[1:] >= worst[:-1])
    assert np.mean(rises) < 0.03


@pytest.mark.slow
@pytest.mark.parametrize("feed", ["through", "tee"])
def test_nor_does_a_step_where_the_return_vias_are_unknown(feed):
    """Steps of 4 %: no pass becomes falls short at once, and the least notch rises by no more than 3 %."""
    rng = np.random.default_rng(2)
    for _ in range(3):
        drill = rng.uniform(0.15, 0.4)
        padstack = Padstack(name="v", drill=f"{drill:.3f} mm", pad=f"{drill + 0.15:.3f} mm",
                            antipad=f"{drill + rng.uniform(0.25, 0.6):.3f} mm")  # fmt: skip
        layers = mb.stackup(dk=rng.uniform(3, 4.5), gap=rng.uniform(0.08, 0.3), df=0.01, at="1 GHz")
        board = {"stackup": layers, "padstack": padstack, "layer": str(rng.choice(["TOP", "S1"])), "feed": feed}
        stub = single_stub(board, None)
        full = stub.shape.stub_length_si
        lengths = full / 1.04 ** np.arange(25)[::-1]
        none = np.full(len(lengths), np.nan)
        notch = stub_figures(stub.models(lengths), np.arange(len(lengths)), lengths, none, none, wanted=()).notch
        assert np.all(notch.best[1:] >= notch.worst[:-1])
        assert np.all(notch.worst <= 1.03 * np.minimum.accumulate(notch.worst))


@pytest.mark.slow
def test_a_tee_among_unknown_return_vias_is_no_better_than_a_shorter_one():
    """From 0.267 to 0.288 mm the dips of all return paths move from 90 to beyond 120 GHz, while the loss only grows."""
    padstack = Padstack(name="v", drill="0.306 mm", pad="0.456 mm", antipad="0.87 mm", non_functional_pads="kept")
    layers = mb.stackup(dk=3.338, gap=0.146, df=0.02, at="1 GHz")
    stub = single_stub({"stackup": layers, "padstack": padstack, "layer": "TOP", "feed": "tee"}, None)
    lengths = np.array([0.256e-3, 0.267e-3, 0.277e-3, 0.288e-3])
    models = stub.models(lengths)
    dips = [models.variants[0].first_notch(np.flatnonzero(models.owner[0] == case)).nearly.min() for case in range(4)]
    assert dips[3] > 1.2 * dips[1]
    none = np.full(4, np.nan)
    worst = stub_figures(models, np.arange(4), lengths, none, none, wanted=()).notch.worst
    assert np.all(worst <= 1.02 * np.minimum.accumulate(worst))
    assert "a shorter stub is worse in the model" in " ".join(models.provenance[3].assumptions)


def test_a_tee_is_no_better_than_a_shorter_one_with_a_notch_that_was_lost():
    """Two return vias 1.51 mm away: at 0.74 mm a notch at 62 GHz, at 0.75 mm its dip is too flat to count."""
    padstack = Padstack(name="v", drill="0.331 mm", pad="0.481 mm", antipad="0.634 mm", non_functional_pads="kept")
    board = {"stackup": mb.stackup(dk=3.6, gap=0.266, df=0.02, at="1 GHz"), "padstack": padstack, "layer": "S1",
             "feed": "tee", "return_vias": around(1.51, 2)}  # fmt: skip
    stub = single_stub(board, None)
    lengths = np.linspace(0.70e-3, 0.86e-3, 17)
    none = np.full(len(lengths), np.nan)
    notch = stub_figures(stub.models(lengths), np.arange(len(lengths)), lengths, none, none, wanted=()).notch
    lost = int(np.argmax(notch.low[1:] > 1.5 * notch.low[:-1])) + 1
    assert notch.low[lost] > 1.5 * notch.low[lost - 1]
    assert notch.best[lost] < 1.05 * notch.best[lost - 1] < notch.low[lost]
    between = Criterion.notch_ratio(float(1.1 * notch.best[lost - 1] / 10e9))
    check = check_stub(f"{lengths[lost] * 1e3} mm", "20 GBd", criterion=between, **board)
    assert check.verdict == "falls short"
    assert check.reason.endswith("wanted; but a shorter stub falls short, and plating makes no stub better")
    assert "a shorter stub is worse in the model" in check.model


WITH_A_LOST_DIP = (
    (18, "signal", 95.2), (35, "plane", 81.9), (18, "signal", 67), (18, "plane", 59.7), (18, "plane", 86.1),
    (15, "signal", 104.8), (35, "signal", 114.2), (35, "signal", 64.5), (35, "signal", 97.5), (15, "plane", 75.5),
    (18, "signal", 0),
)  # fmt: skip
"""Copper thickness [um], role, and height [um] of the laminate below, found by chance."""


@pytest.mark.slow
def test_nor_is_a_via_whose_signal_comes_along_the_barrel():
    """Three return vias at irregular places: at 0.722 mm a notch at 61 GHz, at 0.729 mm a dip too flat to count."""
    padstack = Padstack(name="v", drill="0.337 mm", pad="0.563 mm", antipad="0.944 mm", non_functional_pads="removed")
    layers = []
    for number, (copper, role, below) in enumerate(WITH_A_LOST_DIP):
        layers.append(CopperLayer(name=f"L{number}", thickness=f"{copper} um", role=role))
        layers.append(DielectricLayer(thickness=f"{below or 1} um", dk=2.9, df=0.01, at="1 GHz"))
    vias = ReturnVias(positions=[("1.041 mm", "0.8076 mm"), ("1.2811 mm", "2.9528 mm"), ("-1.5741 mm", "0.3235 mm")],
                      drill="0.245 mm")  # fmt: skip
    stub = single_stub({"stackup": Stackup(layers=tuple(layers[:-1])), "padstack": padstack, "layer": "L2",
                        "feed": "through", "return_vias": vias}, None)  # fmt: skip
    lengths = np.array([0.708e-3, 0.715e-3, 0.722e-3, 0.729e-3, 0.736e-3])
    none = np.full(len(lengths), np.nan)
    notch = stub_figures(stub.models(lengths), np.arange(len(lengths)), lengths, none, none, wanted=()).notch
    lost = int(np.argmax(notch.low[1:] > 1.5 * notch.low[:-1])) + 1
    assert notch.low[lost] > 1.5 * notch.low[lost - 1]
    assert np.all(notch.best[1:] <= 1.05 * np.minimum.accumulate(notch.best)[:-1])


@pytest.mark.parametrize("off", [0.0, 4e-9, -4e-9])
def test_a_stub_that_ends_at_a_face_of_copper_is_no_better_than_one_just_before_it(off):
    stub = single_stub({**SOLVED, "return_vias": around(1.0)}, None)
    lengths = stub.shape.face_lengths_si[2] + np.array([-1e-6, off])
    none = np.full(2, np.nan)
    worst = stub_figures(stub.models(lengths), np.arange(2), lengths, none, none, wanted=()).notch.worst
    assert worst[1] <= 1.0001 * worst[0]


def with_a_via_far_away(rng, feed):
    """Notches of a stub of random sizes as it is, with a return via more 3 mm away, and with that 1 % farther away."""
    drill, near = rng.uniform(0.15, 0.4), int(rng.integers(1, 6))
    antipad, turn = drill + rng.uniform(0.25, 0.6), rng.uniform(0, 1)
    padstack = Padstack(name="v", drill=f"{drill:.3f} mm", pad=f"{drill + 0.15:.3f} mm", antipad=f"{antipad:.3f} mm",
                        non_functional_pads=str(rng.choice(["removed", "kept"])))  # fmt: skip
    layers = mb.stackup(dk=rng.uniform(3, 4.5), gap=rng.uniform(0.08, 0.3), df=rng.choice([0.002, 0.02]), at="1 GHz")
    layer, away = str(rng.choice(["TOP", "S1", "S2"])), antipad / 2 + rng.uniform(0.2, 1.5)
    ring = [away * np.exp(2j * np.pi * k / near) for k in range(near)]
    for more in (0.0, 3.0, 3.03):
        places = [*ring, *([more * np.exp(2j * np.pi * turn)] if more else [])]
        vias = ReturnVias(positions=[(f"{p.real:.6f} mm", f"{p.imag:.6f} mm") for p in places], drill="0.25 mm")
        stub = single_stub({"stackup": layers, "padstack": padstack, "layer": layer, "feed": feed,
                            "return_vias": vias}, None)  # fmt: skip
        full = stub.shape.stub_length_si
        lengths = np.append(np.geomspace(1e-4, 0.98 * full, 12), full)
        none = np.full(len(lengths), np.nan)
        yield stub_figures(stub.models(lengths), np.arange(len(lengths)), lengths, none, none, wanted=()).notch


@pytest.mark.parametrize(
    ("feed", "count"),
    [("through", 1), *(pytest.param(feed, 20, marks=pytest.mark.slow) for feed in ("through", "tee"))],
)
def test_no_return_via_3_mm_away_takes_a_stub_from_pass_to_falls_short(feed, count):
    """Nor from falls short to pass: whatever the limit, each range of the notch meets the one before.

    Another return via is near already.
    """
    rng = np.random.default_rng(1)
    for _ in range(count):
        for one, other in pairwise(with_a_via_far_away(rng, feed)):
            assert np.all(other.best >= one.worst)
            assert np.all(one.best >= other.worst)


def with_four_vias_far_away(rng, feed, near):
    """Notches of a stub of random sizes as it is, and with four return vias more at 3 mm and farther."""
    drill, turn = rng.uniform(0.15, 0.4), rng.uniform(0, 1)
    antipad = drill + rng.uniform(0.25, 0.6)
    padstack = Padstack(name="v", drill=f"{drill:.3f} mm", pad=f"{drill + 0.15:.3f} mm", antipad=f"{antipad:.3f} mm",
                        non_functional_pads=str(rng.choice(["removed", "kept"])))  # fmt: skip
    layers = mb.stackup(dk=rng.uniform(3, 4.5), gap=rng.uniform(0.08, 0.3), df=rng.choice([0.002, 0.02]), at="1 GHz")
    layer, away = str(rng.choice(["TOP", "S1", "S2"])), antipad / 2 + rng.uniform(0.2, 1.5)
    ring = [away * np.exp(2j * np.pi * k / near) for k in range(near)] or [20.0]
    for more in (0.0, 3.0, 3.03, 4.0):
        places = [*ring, *([more * np.exp(2j * np.pi * (turn + k / 4)) for k in range(4)] if more else [])]
        vias = ReturnVias(positions=[(f"{p.real:.6f} mm", f"{p.imag:.6f} mm") for p in places], drill="0.25 mm")
        stub = single_stub({"stackup": layers, "padstack": padstack, "layer": layer, "feed": feed,
                            "return_vias": vias}, None)  # fmt: skip
        lengths = stub.shape.stub_length_si * np.array([0.3, 0.7, 1.0])
        none = np.full(len(lengths), np.nan)
        yield stub_figures(stub.models(lengths), np.arange(len(lengths)), lengths, none, none, wanted=()).notch


@pytest.mark.slow
@pytest.mark.parametrize("near", [0, 1, 2])
@pytest.mark.parametrize("feed", ["through", "tee"])
def test_nor_do_four_of_them_at_once_around_a_hole_with_two_or_none(feed, near):
    """Each range of the notch meets the one before. In the model alone they lower the notch by up to half."""
    rng = np.random.default_rng(100 + near)
    for _ in range(4):
        for one, other in pairwise(with_four_vias_far_away(rng, feed, near)):
            assert np.all(other.best >= one.worst)
            assert np.all(one.best >= other.worst)


def none_near():
    return ReturnVias(positions=[("20 mm", "0 mm")], drill="0.25 mm")


def test_what_stands_beyond_few_return_vias_makes_a_pass_marginal():
    """A stub of 0.92 mm: without return via a notch at 30 GHz, with four at 3 mm a dip at 15 GHz that nearly is one."""
    board = {"stackup": mb.stackup(gap=0.2, df=0.01, at="1 GHz"), "padstack": mb.VIA, "layer": "S1", "feed": "through"}
    none, four = (check_stub("0.92 mm", "10 GBd", return_vias=vias, **board) for vias in
                  (none_near(), around(3.0)))  # fmt: skip
    assert four.figures.notch.worst < 0.6 * none.figures.notch.low
    assert none.figures.notch.worst == pytest.approx(four.figures.notch.worst, rel=0.01)
    limit = Criterion.notch_ratio(float(0.9 * none.figures.notch.low / 5e9))
    judged = check_stub("0.92 mm", "10 GBd", return_vias=none_near(), criterion=limit, **board)
    assert judged.verdict == "marginal"
    assert "fewer than 3 return vias within 3 mm" in judged.model
