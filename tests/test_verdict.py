"""Verdicts: what a worst, a computed and a best figure on either side of a limit say together."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stubsi import Criterion
from stubsi.board.names import three_digits
from stubsi.margin.spread import Spread
from stubsi.margin.verdict import Verdict, against_limit, standing, wording
from tests.strategies import physical

LEAST = [Criterion.notch_ratio(5), Criterion.return_loss(5)]
MOST = [Criterion.loss(5), Criterion.stub_length("5 m"), Criterion.stub_length_at_1_gbaud("5 nm")]

# (worst, low, high, best) against a least limit of 5, anything unknown, verdict
SAYS = [
    ((5.5, 6, 6, 6.5), False, Verdict.PASS),
    ((5.0, 6, 6, 6.5), False, Verdict.PASS),
    ((4.9, 5.3, 5.3, 5.7), False, Verdict.MARGINAL),
    ((4.4, 4.8, 4.8, 5.2), False, Verdict.MARGINAL),
    ((4.1, 4.5, 4.5, 4.9), False, Verdict.DRILL),
    ((3.7, 4.0, 7.0, 7.6), False, Verdict.UNDECIDED),
    ((4.9, 5.3, 7.0, 7.6), False, Verdict.MARGINAL),
    ((4.1, 4.5, 4.8, 5.2), False, Verdict.MARGINAL),
    ((5.5, 6, 6, 6.5), True, Verdict.UNDECIDED),
    ((4.1, 4.5, 4.5, 4.9), True, Verdict.DRILL),
    ((np.nan,) * 4, True, Verdict.UNDECIDED),
    ((np.inf,) * 4, False, Verdict.PASS),
]


def one(criterion, values, unknown=False):
    spread = Spread(*(np.array([float(value)]) for value in values))
    return str(standing(criterion, spread, np.array([unknown]))[0])


@pytest.mark.parametrize(("values", "unknown", "verdict"), SAYS, ids=[f"{v} {u}" for v, u, _ in SAYS])
@pytest.mark.parametrize("criterion", LEAST, ids=str)
def test_a_least_limit(criterion, values, unknown, verdict):
    assert one(criterion, values, unknown) == verdict


@pytest.mark.parametrize(("values", "unknown", "verdict"), SAYS, ids=[f"{v} {u}" for v, u, _ in SAYS])
@pytest.mark.parametrize("criterion", MOST, ids=str)
def test_a_greatest_limit_is_its_mirror_image(criterion, values, unknown, verdict):
    assert one(criterion, [10 - value for value in values], unknown) == verdict


@given(st.lists(physical(0.1, 100), min_size=4, max_size=4).map(sorted), physical(0.1, 100), physical(0.01, 100))
def test_only_the_ratio_to_the_limit_counts(values, limit, scale):
    assert one(Criterion.notch_ratio(limit), values) == one(
        Criterion.notch_ratio(limit * scale), [value * scale for value in values]
    )


@given(st.lists(physical(0.1, 100), min_size=4, max_size=4).map(sorted), physical(0.1, 100), physical(1, 10))
def test_a_stricter_limit_never_turns_a_net_better(values, limit, stricter):
    order = [Verdict.PASS, Verdict.MARGINAL, Verdict.DRILL]
    before, after = (one(Criterion.notch_ratio(x), values) for x in (limit, limit * stricter))
    if Verdict.UNDECIDED not in (before, after):
        assert order.index(after) >= order.index(before)
    assert before == Verdict.PASS or after != Verdict.PASS
    assert before != Verdict.DRILL or after == Verdict.DRILL


def test_nets_are_judged_one_by_one():
    values = Spread(*(np.array([a, b, c]) for a, b, c in zip(*(SAYS[i][0] for i in (0, 2, 4)), strict=True)))
    assert standing(LEAST[0], values, np.array([False, False, True])).tolist() == [
        Verdict.PASS,
        Verdict.MARGINAL,
        Verdict.DRILL,
    ]


@pytest.mark.parametrize(
    ("criterion", "low", "high", "ratio", "says"),
    [
        (Criterion.notch_ratio(5), 3.14159, 3.14159, 6.28, "3.14 x Nyquist, at least 5 wanted"),
        (Criterion.notch_ratio(5), 3.14159, 6.28319, 6.28, "3.14-6.28 x Nyquist, at least 5 wanted"),
        (Criterion.notch_ratio(2.5), 3.141, 3.142, 6.28, "3.14 x Nyquist, at least 2.5 wanted"),
        (Criterion.loss(1), 1.25, 0.75, 6.28, "0.75-1.25 dB loss up to Nyquist, at most 1 wanted"),
        (Criterion.return_loss(12), 9.05, 9.05, 6.28, "9.05 dB return loss up to Nyquist, at least 12 wanted"),
        (Criterion.stub_length("15 mil"), 0.5e-3, 0.5e-3, 6.28, "0.5 mm, at most 0.381 mm wanted"),
        (
            Criterion.stub_length_at_1_gbaud("0.3 in"),
            1e-3 * 25e9,
            1e-3 * 25e9,
            6.28,
            "25 mm x GBd, at most 7.62 wanted",
        ),
        (Criterion.loss(1), np.inf, np.inf, 0.8333, "first notch 0.833 x Nyquist, at or below Nyquist"),
        (Criterion.return_loss(12), 0.0, 30.0, 1.0, "first notch 1 x Nyquist, at or below Nyquist"),
        (Criterion.notch_ratio(5), 0.8333, 0.8333, 0.8333, "0.833 x Nyquist, at least 5 wanted"),
        (Criterion.loss(1), np.nan, np.nan, np.nan, ""),
    ],
    ids=str,
)
def test_wording(criterion, low, high, ratio, says):
    assert wording(criterion, low, high, high, ratio) == says


def test_wording_says_that_a_shorter_stub_falls_short():
    """Only where the figure itself meets the limit and its best value, that of the shorter stub, does not."""
    limit = Criterion.notch_ratio(5)
    assert wording(limit, 5.2, 5.2, 4.9, 5.2) == (
        "5.2 x Nyquist, at least 5 wanted; but a shorter stub falls short, and plating makes no stub better"
    )
    assert wording(limit, 4.8, 4.8, 4.9, 4.8) == "4.8 x Nyquist, at least 5 wanted"


@pytest.mark.parametrize(
    ("criterion", "low", "says"),
    [
        (Criterion.notch_ratio(5), 3.14159, "3.14 < 5 x"), (Criterion.notch_ratio(5), 5.0, "5 >= 5 x"),
        (Criterion.one_db_ratio(1.5), 1.25, "1.25 < 1.5 x, 1 dB"), (Criterion.loss(1), 0.75, "0.75 <= 1 dB"),
        (Criterion.loss(1), np.inf, "notch > 1 dB"), (Criterion.return_loss(12), 9.05, "9.05 < 12 dB"),
        (Criterion.stub_length("15 mil"), 0.5e-3, "0.5 > 0.381 mm"),
        (Criterion.stub_length_at_1_gbaud("0.3 in"), 25e6, "25 > 7.62 mm GBd"), (Criterion.loss(1), np.nan, ""),
    ],
    ids=str,
)  # fmt: skip
def test_the_figure_that_decides_beside_its_limit(criterion, low, says):
    assert against_limit(criterion, low) == says


def test_figures_have_three_digits_and_no_exponent():
    """A slow net is thousands of times beyond its limit."""
    assert [three_digits(value) for value in (34_712_345.6, 12_345, 999.6, 12.345, 0.0123456)] == [
        "34700000", "12300", "1000", "12.3", "0.0123",
    ]  # fmt: skip
    assert three_digits(math.inf) == "inf"
