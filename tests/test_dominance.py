"""What dominates: additive cases against their analytic shares, factors without effect, and what to ask for."""

from __future__ import annotations

import numpy as np
import pytest

from stubsi import BoardError, Criterion, Tolerances, Turn, dominance, production_yield
from stubsi.tolerance.effects import variance_shares
from stubsi.tolerance.response import Surfaces
from tests.test_production_yield import NOMINAL, sampled
from tests.test_tolerance_corners import TEST, board, plus_minus

__all__ = ["board"]


class Sampling:
    """What ``variance_shares`` asks of a study."""

    def __init__(self, found):
        self.found = found

    def sampled(self, seed, per_block):
        return self.found._replace(seed=seed, per_block=per_block)


def test_an_additive_figure_has_the_analytic_shares():
    """Small c_i t_i: shares c_i^2 Var(t_i) over their sum, first-order and total alike; the last has no effect.

    Uniform: variance 1/3, normal at 2 sigma: 1/4, of the hole: uniform. Figures are exponentials of these sums, whose
    curvature changes the shares by less than 1e-3 at a spread of 1 %.
    """
    slopes = np.array([0.02, 0.01, 0.0, 0.01])
    study = sampled(
        [1], slopes, own=(("uniform", None),), shared=(("uniform", None), ("normal", 2.0), ("uniform", None))
    )
    parts = slopes**2 * np.array([1 / 3, 1 / 4, 1 / 3, 1 / 3])
    first, total, error = variance_shares(Sampling(study), 3)
    assert first[:, 0] == pytest.approx(parts / parts.sum(), abs=0.01)
    assert total[:, 0] == pytest.approx(parts / parts.sum(), abs=0.01)
    assert total[2, 0] == pytest.approx(0, abs=1e-9)
    assert error[0] < 0.02


def test_a_figure_without_spread_has_no_effects():
    """scipy gives NaN for 0 / 0; here nothing varies, and every share is 0."""
    first, total, _ = variance_shares(Sampling(sampled([1], [0.0, 0.0], shared=(("uniform", None),) * 2)), 3)
    assert first.tolist() == total.tolist() == [[0, 0], [0, 0]]


def test_a_length_of_10_mil_with_3_mil_beside_dk_with_5_percent():
    """1 / (L sqrt(Dk)), both uniform: the length carries 0.99 of the variance, Dk 0.006.

    Exact, with the squared coefficients of variation l of 1 / L and d of 1 / sqrt(Dk): first-order effects l / v and
    d / v, total effect of Dk (1 + l) d / v, where v = l + d + l d.
    """
    length = (1 / (7 * 13)) / (np.log(13 / 7) / 6) ** 2 - 1
    dk = (np.log(1.05 / 0.95) / 0.1) / (2 * (1.05**0.5 - 0.95**0.5) / 0.1) ** 2 - 1
    variance = length + dk + length * dk
    assert (round(length / variance, 2), round(dk / variance, 3)) == (0.99, 0.006)
    surfaces = Surfaces(np.array([0.3, 0.05]), 2, np.zeros((6, 1)), np.zeros(1), np.array([9]))
    surfaces.coefficients[1:3, 0] = -0.3, -0.025  # a power of 1 + w t is a straight line in its logarithm over w
    study = sampled([1], [0, 0], shared=(("uniform", None),) * 2)._replace(surfaces=surfaces)
    first, total, error = variance_shares(Sampling(study), 1)
    assert first[:, 0] == pytest.approx([length / variance, dk / variance], abs=4e-3)
    assert total[1, 0] == pytest.approx((1 + length) * dk / variance, rel=0.02)
    assert error[0] < 0.01


def test_what_is_infinite_has_no_shares_and_leaves_the_board_its_own():
    """One net without figure on every board beside one that varies: the board's shares are those of the other."""
    study = sampled([1, 1], [0.01, 0.02], shared=(("uniform", None),) * 2)
    coefficients = np.repeat(study.surfaces.coefficients, 2, axis=1)
    coefficients[:, 1], coefficients[0, 1] = 0, -np.inf
    surfaces = study.surfaces._replace(coefficients=coefficients, error=np.zeros(2))
    study = study._replace(surfaces=surfaces, parts=study.parts._replace(column=np.arange(2)))
    first, _, _ = variance_shares(Sampling(study), 1)
    assert np.isnan(first[:, 1]).all()
    assert first[:, 0] == pytest.approx([0.2, 0.8], abs=0.01)
    assert first[:, 2] == pytest.approx(first[:, 0], abs=1e-9)


@pytest.fixture(scope="module")
def found(board):
    """Length +-30 % (as 10 mil +-3 mil) beside Dk +-5 %, both uniform, on a uniform line; half of the boards fail."""
    tolerances = Tolerances(dielectric_thickness={"core": plus_minus("30 %")}, dk={"core": plus_minus("5 %")})
    criterion = Criterion.notch_ratio(NOMINAL * 0.9, source=TEST)
    return dominance(board.with_criterion(criterion), tolerances, model="uniform", wanted=0.9)


def test_length_dominates_dk(found):
    """y = 1 / (L sqrt(Dk)): exact shares from the moments of 1 / L and 1 / sqrt(Dk), which are independent.

    Of the first order: Var(E[y | L]) / V with E[1/L], E[1/L^2], E[1/sqrt(Dk)] and E[1/Dk] of uniforms in closed form.
    """
    low, high = 0.875e-3, 1.595e-3  # 1.2 mm +-30 %, and 35 um of copper
    mean_l, square_l = np.log(high / low) / (high - low), 1 / (low * high)
    mean_d, square_d = 2 * (4.2**0.5 - 3.8**0.5) / 0.4, np.log(4.2 / 3.8) / 0.4
    v = square_l * square_d - (mean_l * mean_d) ** 2
    length, dk = (square_l - mean_l**2) * mean_d**2 / v, (square_d - mean_d**2) * mean_l**2 / v
    shares = found["CLK"].first
    assert shares["dielectric thickness of core"] == pytest.approx(length, abs=4e-3)
    assert shares["dk of core"] == pytest.approx(dk, abs=4e-3)
    assert (round(length, 2), round(dk, 3)) == (0.99, 0.007)
    assert found["CLK"].largest == found.of_board.largest == "dielectric thickness of core"
    assert found["UP"].total == {"dielectric thickness of core": 0, "dk of core": 0}


def test_the_table_says_what_to_ask_for(found):
    """Where the yield turns: with t the part of the thickness tolerance, Dk exact, L <= L0 / 0.9 with probability 0.9.

    Checked by a yield with that tolerance, solved anew.
    """
    thickness, dk = found.asks_of("CLK")
    assert thickness.halved > thickness.now + 0.1
    assert abs(dk.halved - dk.now) < 1e-3
    assert thickness.turn is Turn.AT
    assert dk.turn is Turn.NEVER
    narrower = Tolerances(
        dielectric_thickness={"core": plus_minus(f"{30 * thickness.part:.6f} %")}, dk={"core": plus_minus("5 %")}
    )
    again = production_yield(found.board, narrower, model="uniform")["CLK"].probability
    assert again == pytest.approx(0.9, abs=3e-3)
    text = str(found)
    assert "What to ask the fabricator for" in text
    assert thickness.turns_at in text
    assert "nothing varies" in text
    assert "\n    dielectric thickness of core 0.99, dk of core 0.01\n" in text  # whole, in a line of its own
    assert "Changes nothing for CLK if narrower: dk of core." in text
    assert str(thickness).startswith("CLK: halving the tolerance of dielectric thickness of core lifts the yield from ")
    assert str(dk) == "CLK: a narrower dk of core changes nothing"


def test_a_study_is_solved_once(found):
    """The yield after it asks for no board to be solved."""
    told = []
    now = production_yield(
        found.board, found.tolerances, model="uniform", progress=lambda done, of: told.append((done, of))
    )
    assert now["CLK"].probability == pytest.approx(found.asks_of("CLK")[0].now, abs=1e-12)
    assert len(told) == 16


def test_the_formats_have_the_same_rows(found):
    frame = found.to_frame()
    assert frame["net"].tolist() == ["", "", "CLK", "CLK"]
    assert len(found.to_csv().splitlines()) == len(frame) + 1 + sum(
        line.startswith("#") for line in found.to_csv().splitlines()
    )
    assert found._repr_html_().count("<table") == 2
    effects = found.effects_frame()
    assert effects["net"].tolist() == ["board", "CLK", "UP"]


def test_what_is_wanted_is_a_share(board):
    with pytest.raises(BoardError, match="a share of the boards"):
        dominance(board, Tolerances(dk=plus_minus("5 %")), wanted=99)
