"""Tabulated Hankel functions against scipy's, over all they are used for, in the table and beside it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import hankel2e

from stubsi.physics.hankel import HIGHEST_ARGUMENT, LOWEST_ARGUMENT, STEEPEST, hankel

SIZES = st.floats(np.log(1e-9), np.log(2e3)).map(np.exp)
SLOPES = st.floats(-0.5, 0.5) | st.floats(-1.1 * STEEPEST, 1.1 * STEEPEST)


@given(st.lists(st.tuples(SIZES, SLOPES), min_size=1, max_size=20))
def test_every_order_meets_the_exact_function(drawn):
    x = np.array([size * (1 + 1j * slope) for size, slope in drawn])
    for order, wave in enumerate(hankel(4, x)):
        assert wave == pytest.approx(hankel2e(order, x), rel=2e-9)


@pytest.mark.parametrize("edge", [LOWEST_ARGUMENT, HIGHEST_ARGUMENT], ids=["lowest", "highest"])
def test_no_step_where_the_table_ends(edge):
    x = edge * np.array([1 - 1e-9, 1 + 1e-9]) + 0j
    for wave in hankel(1, x):
        assert wave[0] == pytest.approx(wave[1], rel=1e-8)


def test_any_shape():
    x = np.array([[0.5, 1e3], [1e-8, 20 - 15j]]) + 0j
    assert hankel(1, x)[1] == pytest.approx(hankel2e(1, x), rel=1e-9)
    assert hankel(1, np.full((2, 1, 3), 2.0 + 0j))[0].shape == (2, 1, 3)
