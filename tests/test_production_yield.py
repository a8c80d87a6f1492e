"""The yield: exact answers for one uniform factor, dependent nets, and what is said about its errors."""

from __future__ import annotations

import numpy as np
import pytest

from stubsi import BoardError, Criterion, Tolerance, Tolerances, corners, production_yield
from tests.test_tolerance_corners import TEST, board, plus_minus

__all__ = ["board"]

NOMINAL = 299792458.0 / (8 * 1.235e-3) / 5e9
"""First notch over Nyquist of the net CLK as drawn: c / (4 L sqrt(4)), L 1.235 mm, at a Nyquist frequency of 5 GHz."""


@pytest.fixture(scope="module")
def dk_alone(board):
    """Dk of the core uniform from 3.8 to 4.2; the limit lies where Dk = 4.1. CLK stands on the board twice."""
    clk = board.net("CLK")
    again = clk.replaced(name="CLK2", holes=[clk.holes[0].replaced(name="A2", x="5 mm", y="9 mm")])
    criterion = Criterion.notch_ratio(NOMINAL * np.sqrt(4 / 4.1), source=TEST)
    twice = board.replaced(nets=(*board.nets, again), criterion=criterion)
    return production_yield(twice, Tolerances(dk={"core": plus_minus("5 %")}), model="uniform")


def test_a_uniform_dk_gives_the_known_distribution_of_its_root(dk_alone):
    """1 / sqrt(Dk) with Dk uniform: three quarters meet the limit at Dk 4.1; quantiles in closed form."""
    clk = dk_alone["CLK"]
    assert clk.probability == pytest.approx(0.75, abs=4 * clk.sampling_error + 1e-3)
    for figure, share in zip(clk.quantiles, (0.01, 0.5, 0.99), strict=True):
        dk = 4.2 - 0.4 * share  # the lowest notch belongs to the highest Dk
        assert figure == pytest.approx(NOMINAL * np.sqrt(4 / dk), rel=2e-4)
    assert clk.surface_error < 1e-4
    assert clk.least <= clk.probability <= clk.most


def test_the_board_is_not_the_product_of_dependent_nets(dk_alone):
    """Two equal stubs of one lot fail together: 0.75, not 0.75 squared."""
    assert dk_alone["UP"].probability == 1
    assert dk_alone.probability == dk_alone["CLK"].probability == dk_alone["CLK2"].probability


def test_the_same_seed_gives_the_same_result(board):
    tolerances = Tolerances(dk={"core": plus_minus("5 %")})
    judged = board.with_criterion(Criterion.notch_ratio(NOMINAL, source=TEST))
    told = []
    first = production_yield(judged, tolerances, model="uniform", progress=lambda *counts: told.append(counts))
    assert told[-1] == (len(told), len(told))
    again = production_yield(judged, tolerances, model="uniform")
    assert first == again
    assert first.nets == again.nets
    assert first["CLK"].probability == pytest.approx(0.5, abs=2e-3)


def test_a_yield_is_one_where_the_worst_corner_meets_the_limit(board):
    """No sample of a uniform tolerance lies beyond the worst corner."""
    tolerances = Tolerances(board_thickness=plus_minus("10 %"), dk={"core": plus_minus("5 %")})
    worst = corners(board, tolerances, model="uniform")["CLK"].margin[0]
    judged = board.with_criterion(Criterion.notch_ratio(worst * 0.99, source=TEST))
    found = production_yield(judged, tolerances, model="uniform")["CLK"]
    assert found.least == found.probability == 1
    assert found.quantiles[0] > worst


def test_boards_out_of_the_bound_on_thickness_are_screened_out(board):
    """Core and prepreg uniform within 20 %, the board within 5 %: the rest is screened out."""
    tolerances = Tolerances(
        dielectric_thickness={"core": plus_minus("20 %")}, board_thickness=plus_minus("5 %")
    )  # +-0.24 mm of the core, +-0.087 mm of the board
    screened = production_yield(board, tolerances, model="uniform")
    assert screened.screened == pytest.approx(1 - 0.087 / 0.24, abs=1e-3)


def test_what_differs_from_hole_to_hole_is_refused(board):
    with pytest.raises(BoardError, match="differs from hole to hole, which the yield does not cover"):
        production_yield(board, Tolerances(drill=plus_minus("0.05 mm")))
    with pytest.raises(BoardError, match="nothing to draw"):
        production_yield(board, Tolerances())
    with pytest.raises(BoardError, match="seed = -1"):
        production_yield(board, Tolerances(dk=Tolerance.plus_minus("5 %", source=TEST)), seed=-1)
