"""The worst case over all tolerances: exact answers, brute force, and what bounds it."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from stubsi import (
    Basis,
    Board,
    BoardError,
    CopperLayer,
    Criterion,
    DielectricLayer,
    Hole,
    Net,
    Padstack,
    Stackup,
    Standing,
    ThicknessClass,
    Tolerance,
    Tolerances,
    corners,
    rank,
)
from stubsi.tolerance import corner_search

TEST = "for the test"
C0 = 299792458.0


def plus_minus(amount):
    return Tolerance.plus_minus(amount, source=TEST)


@pytest.fixture(scope="module")
def board():
    """One net that leaves on L2: a stub of 1.2 mm laminate and 35 um of copper."""
    core = DielectricLayer(thickness="1.2 mm", dk=4.0, df=0.0, material="core", source=TEST)
    prepreg = DielectricLayer(thickness="0.2 mm", dk=3.6, df=0.0, material="prepreg", source=TEST)
    copper = [
        CopperLayer(name=name, thickness="35 um", role=role)
        for name, role in (("TOP", "signal"), ("L2", "signal"), ("BOT", "signal"))
    ]
    plane = CopperLayer(name="GND", thickness="35 um", role="plane")
    layers = (copper[0], prepreg, plane, prepreg, copper[1], core, copper[2])
    via = Padstack(name="via", drill="0.3 mm", antipad="0.9 mm")
    post = Padstack(name="post", drill="0.3 mm", pad="0.5 mm")
    hole = Hole(name="A1", padstack=via, connects=("TOP", "L2"), x="5 mm", y="5 mm")
    deep = Hole(name="B1", padstack=via, connects=("L2", "BOT"), x="9 mm", y="5 mm")
    vias = [Hole(name=f"G{n}", padstack=post, x=f"{5 + n} mm", y="6 mm") for n in range(2)]
    nets = (
        Net(name="CLK", holes=(hole,), signal="10 Gb/s", z0="50 ohm"),
        Net(name="UP", holes=(deep,), signal="10 Gb/s", z0="50 ohm"),
        Net(name="GND", holes=vias, reference=True),
    )
    return Board(stackup=Stackup(layers=layers, source=TEST), nets=nets)


def test_dk_alone(board):
    """1 / sqrt(Dk): exact, to 1e-9."""
    clk = corners(board, Tolerances(dk=plus_minus("5 %")), model="uniform")["CLK"]
    worst, nominal, best = clk.first_notch_si
    assert nominal == pytest.approx(C0 / (4 * 1.235e-3 * 2), rel=1e-9)
    assert worst / nominal == pytest.approx(1.05**-0.5, rel=1e-9)
    assert best / nominal == pytest.approx(0.95**-0.5, rel=1e-9)
    assert clk.basis is Basis.ALL_CORNERS


def test_thickness_alone_is_asymmetric(board):
    """1 / L: an undrilled stub follows the board's thickness, +-10 % is -9/+11 % in notch (as the trade reckons)."""
    clk = corners(board, Tolerances(board_thickness=plus_minus("10 %")), model="uniform")["CLK"]
    low, high = clk.notch_change
    assert (round(100 * low), round(100 * high)) == (-10, 12)  # the copper, here 9 % of the board, does not change
    laminate = 1 + 0.1 * 1.74 / 1.6
    assert 1 + low == pytest.approx(1.235 / (1.2 * laminate + 0.035), rel=1e-9)
    thin = corners(board, Tolerances(dielectric_thickness=plus_minus("10 %")), model="uniform")["CLK"]
    assert [round(100 * change) for change in thin.notch_change] == [-9, 11]
    assert thin.against_hardware.startswith("first notch -8.9 to +10.8 % by the tolerances given")


def test_the_corner_of_a_stub_of_given_dk_eff_is_proved(board):
    """It depends on its length alone: 10 % more laminate, whatever else varies."""
    tolerances = Tolerances(dielectric_thickness=plus_minus("10 %"), antipad=plus_minus("0.1 mm"))
    clk = corners(board, tolerances, dk_eff=4)["CLK"]
    assert clk.basis is Basis.PROVED
    assert clk.first_notch_si[0] == pytest.approx(C0 / (8 * 1.355e-3), rel=1e-9)


def test_corners_are_those_of_brute_force(board):
    """Limits and middle of two factors by the public copies of a board, solved one by one.

    Here the highest notch lies at the middle antipad, 0.04 % above that of every corner.
    """
    tolerances = Tolerances(dk={"core": plus_minus("5 %")}, antipad=plus_minus("0.2 mm"))
    found = corners(board, tolerances)
    figures = {"CLK": [], "UP": []}
    for core, antipad in product((3.8, 4.0, 4.2), ("0.7 mm", "0.9 mm", "1.1 mm")):
        built = board.with_dk(dk=core, material="core")
        for row in rank(built.with_antipad(antipad=antipad, padstack="via")):
            figures[row.net].append((row.first_notch_si, row.one_db_si, -row.loss, row.first_notch_to_si))
    for net, values in figures.items():
        lowest, highest = np.min(values, axis=0), np.max(values, axis=0)
        corner = found[net]
        assert corner.basis is Basis.ALL_CORNERS
        assert corner.first_notch_si[0] == pytest.approx(lowest[0], rel=1e-9)
        assert corner.first_notch_si[2] == pytest.approx(highest[3], rel=1e-9)
        assert corner.one_db_si[0] == pytest.approx(lowest[1], rel=1e-9)
        assert corner.loss[0] == pytest.approx(-lowest[2], rel=1e-9)


@pytest.mark.parametrize(
    "more",
    [
        pytest.param({}, id="three factors"),
        pytest.param(
            {"copper_thickness": plus_minus("10 um"), "drill": plus_minus("0.05 mm")}, id="five factors",
            marks=pytest.mark.slow,
        ),
    ],
)  # fmt: skip
def test_a_search_finds_what_enumeration_finds(board, monkeypatch, more):
    """Three and five factors, both ways."""
    tolerances = Tolerances(
        board_thickness=plus_minus("10 %"), dk={"core": plus_minus(0.1)}, antipad=plus_minus("0.1 mm"), **more
    )
    enumerated = corners(board, tolerances, model="uniform")
    monkeypatch.setattr(corner_search, "MOST_ENUMERATED", {True: 0, False: 0})
    searched = corners(board.replaced(name="again"), tolerances, model="uniform")  # corners are kept with their board
    for net in ("CLK", "UP"):
        for figure in ("first_notch_si", "one_db_si", "loss", "judged"):
            assert getattr(searched[net], figure) == pytest.approx(getattr(enumerated[net], figure), rel=1e-9)
        assert searched[net].basis is Basis.SEARCH


def test_the_board_thickness_bounds_the_corner(board):
    """Core and prepreg both at +20 % would make the board 18 % thicker; 5 % is allowed."""
    free = Tolerances(dielectric_thickness=plus_minus("20 %"))
    bounded = free.replaced(board_thickness=plus_minus("5 %"))
    worst_free = corners(board, free, model="uniform")["CLK"]
    found = corners(board, bounded, model="uniform")["CLK"]
    assert worst_free.first_notch_si[0] < found.first_notch_si[0] < found.first_notch_si[1]
    assert found.basis is Basis.SEARCH
    thick = 1 + 0.05 * 1.74 / 1.6
    assert found.first_notch_si[0] <= C0 / (8 * (1.2e-3 * thick + 35e-6)) * (1 + 1e-6)


def test_standing_follows_the_criterion(board):
    tolerances = Tolerances(dk={"core": plus_minus("5 %")})
    nominal = corners(board, tolerances, model="uniform")["CLK"].margin[1]
    for factor, standing in ((0.9, Standing.ALWAYS), (1.0, Standing.SOMETIMES), (1.1, Standing.NEVER)):
        judged = board.with_criterion(Criterion.notch_ratio(nominal * factor, source=TEST))
        assert corners(judged, tolerances, model="uniform")["CLK"].standing is standing


def test_without_tolerances_every_figure_is_nominal(board):
    found = corners(board, Tolerances())
    for net in found:
        assert net.first_notch_si[0] == net.first_notch_si[1] == net.first_notch_si[2]
        assert net.notch_change == (0, 0)
    assert found.solved == 1


def test_what_does_not_fit_the_board_is_refused(board):
    with pytest.raises(BoardError, match="core material"):
        corners(board, Tolerances(dk={"core material": plus_minus("5 %")}))
    with pytest.raises(BoardError, match=r"IPC-4101 B: lists no laminate of 1\.2 mm"):
        corners(board, Tolerances(dielectric_thickness={"core": ThicknessClass(name="IPC-4101 B")}))
    with pytest.raises(BoardError, match="touches the plane"):
        corners(board, Tolerances(registration=Tolerance(plus="0.3 mm", minus="0 mm", source=TEST)))


def test_a_class_of_the_core_alone_leaves_the_prepreg_exact(board):
    """Class L at 1.2 mm: +-0.13 mm."""
    tolerances = Tolerances(dielectric_thickness={"core": ThicknessClass(name="IPC-4101 L")})
    found = corners(board, tolerances, model="uniform")
    assert found["CLK"].first_notch_si[0] == pytest.approx(C0 / (8 * (1.33e-3 + 35e-6)), rel=1e-9)
    assert found["UP"].notch_change == (0, 0)
    assert "dielectric thickness of other materials" in tolerances.exact
    assert found["CLK"] in found
    assert "CLK" in found.to_frame()["net"].tolist()
    assert "how far off the model may be comes on top" in str(found)


def test_csv_and_html_say_all_of_every_net(board):
    found = corners(board, Tolerances(dk=plus_minus("5 %")), model="uniform")
    lines = [line for line in found.to_csv().splitlines() if not line.startswith("#")]
    assert [line.split(",")[0] for line in lines] == ["net", "CLK", "UP"]
    worst = f"{found['CLK'].first_notch_si[0] / 1e9:.4g}"
    for text in (found.to_csv(), found._repr_html_()):
        for said in (worst, "meets at worst", "all corners", "dk: +5 % / -5 %", "exact, for want of a tolerance"):
            assert said in text
