"""The verdict on one stub in plain numbers: the same as the tables of a ranking give; values to search by."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from stubsi import Criterion
from stubsi.margin.figures import Measurable
from stubsi.margin.spread import Spread
from stubsi.margin.stub_verdict import (
    Ends,
    StubFigures,
    excess_of,
    measured_ends,
    overshoot,
    reason_of_stub,
    rows_of,
    verdict_of,
)
from stubsi.margin.verdict import bound, measured, meets, standing
from tests.strategies import physical

CRITERIA = [Criterion.notch_ratio(5), Criterion.notch_ratio(1), Criterion.loss(0.5), Criterion.return_loss(12),
            Criterion.one_db_ratio(1.5),
            Criterion.stub_length("1 mm"), Criterion.stub_length_at_1_gbaud("20 mm")]  # fmt: skip


@st.composite
def figures(draw):
    """Figures of a stub, each from worst to best; notches about Nyquist and far above it."""
    nyquist = draw(physical(1e9, 60e9))
    ratios = sorted(draw(st.lists(physical(0.3, 12.0), min_size=4, max_size=4)))
    losses = sorted(draw(st.lists(st.one_of(physical(0.0, 3.0), st.just(math.inf)), min_size=4, max_size=4)))
    returns = sorted(draw(st.lists(physical(0.0, 40.0), min_size=4, max_size=4)))
    one_db = [0.7 * ratio * nyquist for ratio in ratios]
    columns = ([r * nyquist for r in ratios], one_db, losses[::-1], returns)
    notch, one_db, loss, back = (Spread(*(np.array([x]) for x in column)) for column in columns)
    length = np.array([draw(physical(1e-5, 3e-3))])
    return Measurable(
        nyquist=np.array([nyquist]), longest=length, notch=notch, one_db=one_db, loss=loss, return_loss=back,
        nyquist_loss=loss.low, nyquist_return_loss=back.low,
    )  # fmt: skip


@given(figures(), st.sampled_from(CRITERIA))
def test_one_stub_is_judged_as_a_table_of_one_is(table, criterion):
    (row,) = rows_of(table)
    ends, value = measured_ends(criterion, row), measured(criterion, table)
    np.testing.assert_array_equal(ends, np.concatenate(value))
    verdict = str(standing(criterion, value, np.array([False]))[0])
    assert verdict_of(criterion, ends) == verdict.replace("drill", "falls short")


@given(physical(0.01, 30.0), st.sampled_from(CRITERIA[:4]))
@example(5.0, CRITERIA[0])
@example(0.5, CRITERIA[2])
@example(12.0, CRITERIA[3])
def test_a_value_overshoots_exactly_where_it_is_not_met(value, criterion):
    assert (overshoot(criterion, value) <= 0) == bool(meets(criterion, np.array(value)))


@pytest.mark.parametrize("criterion", CRITERIA[:4], ids=str)
def test_what_overshoots_of_the_extremes(criterion):
    """No notch at all is as far within its limit as can be, a loss without end as far beyond; NaN stays unknown."""
    least, most = (overshoot(criterion, value) for value in (0.0, math.inf))
    assert (least > 0, most > 0) == ((True, False) if criterion.least else (False, True))
    assert overshoot(criterion, bound(criterion)) <= 0
    assert math.isnan(overshoot(criterion, math.nan))


def test_a_limit_far_beyond_reach_overshoots_by_a_number():
    assert 1e49 < overshoot(Criterion.return_loss(1000), 3.0) < math.inf


def test_unknown_figures_are_none_and_measured_as_nan():
    unknown = Spread(*[np.array([math.nan])] * 4)
    known = Spread(*[np.array([30e9])] * 4)
    (row,) = rows_of(Measurable(nyquist=np.array([10e9]), longest=np.array([1e-3]), notch=known, one_db=unknown,
                                loss=unknown, return_loss=unknown, nyquist_loss=unknown.low,
                                nyquist_return_loss=unknown.low))  # fmt: skip
    assert (row.one_db, row.loss, row.return_loss, row.nyquist_loss, row.nyquist_return_loss) == (None,) * 5
    assert row.notch_ratio == (3.0, 3.0, 3.0, 3.0)
    assert all(math.isnan(end) for end in measured_ends(CRITERIA[2], row))
    assert reason_of_stub(CRITERIA[2], row) == ""
    assert excess_of(CRITERIA[0], measured_ends(CRITERIA[0], row)) == pytest.approx(-0.4)


def ends_around(low, high):
    return Ends(low, low, high, high)


def test_how_far_a_range_is_from_its_limit_counts_from_its_worse_end():
    assert excess_of(Criterion.loss(0.5), ends_around(1.0, 0.25)) == pytest.approx(-0.5)
    assert excess_of(Criterion.notch_ratio(5), ends_around(2.5, 10.0)) == pytest.approx(-0.5)


def test_a_loss_overshoots_about_in_proportion_to_the_length():
    """The loss of a short stub grows with the square of its length: a quarter of the limit is half of the length."""
    assert overshoot(Criterion.loss(0.5), 0.125) == pytest.approx(-0.5, abs=1e-8)
    assert overshoot(Criterion.loss(0.5), 2.0) == pytest.approx(1.0, abs=1e-8)


def test_a_range_of_the_notch_about_nyquist_is_told_by_its_lower_end():
    notch = ends_around(9e9, 12e9)
    loss = ends_around(0.4, 0.3)
    figures = StubFigures(1e-3, 10e9, notch, None, loss, ends_around(15, 16), 0.4, 15.0)
    assert reason_of_stub(Criterion.loss(1), figures) == "first notch 0.9 x Nyquist, at or below Nyquist"
