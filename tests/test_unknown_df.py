"""A loss tangent that nobody stated: no loss passes that would not with that of FR-4, and the notch stays."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stubsi import Criterion, rank
from stubsi.stubs.unknown_df import MOST_DF, ONE_DB_LOWER, with_dielectric_loss
from tests import margin_boards as mb


def figures(measure, signal, df, connects):
    criterion = {"loss": Criterion.loss(1), "1 dB": Criterion.one_db_ratio(1)}[measure]
    board = mb.board(mb.net("A", connects, signal=signal), criterion=criterion, layers=mb.stackup(df=df))
    ranking = rank(board)
    return [float(end[0]) for end in ranking.measured], ranking["A"]


@pytest.mark.parametrize("connects", [("TOP", "S2"), ("S1", "S2")])
@pytest.mark.parametrize("signal", ["5 Gb/s", "28 Gb/s"])
def test_the_worst_loss_and_1_db_frequency_hold_for_the_loss_tangent_of_fr_4(signal, connects):
    """As computed with Df 0.03; the 8 % in frequency that a verdict allows for comes on top of both."""
    for measure, worse in (("loss", np.greater_equal), ("1 dB", np.less_equal)):
        (unknown_worst, unknown_low, *_), row = figures(measure, signal, None, connects)
        (known_worst, *_), known = figures(measure, signal, MOST_DF, connects)
        assert worse(unknown_worst, known_worst)
        assert not worse(unknown_low, known_worst)
        assert row.provenance.unknown_df
        assert not known.provenance.unknown_df
        assert row.first_notch_si == pytest.approx(known.first_notch_si, rel=1e-2)


def test_the_allowance_for_the_1_db_frequency_is_that_of_the_loss():
    b = np.sqrt(10**0.1 - 1)
    assert with_dielectric_loss(10 * np.log10(1 + (ONE_DB_LOWER * b) ** 2)) == pytest.approx(1, abs=5e-3)


@given(st.floats(0, 0.9), st.floats(0.0, 0.03))
def test_an_open_line_loses_no_more_than_allowed_up_to_half_its_notch(share, df):
    """Open lossy line of 50 ohm in shunt on 50 ohm: tanh of its complex length, exactly."""
    x = np.pi / 4 * share
    of_lossless, of_lossy = (
        20 * np.log10(np.abs(1 + np.tanh(1j * x * np.sqrt(1 - 1j * loss)) * np.sqrt(1 - 1j * loss) / 2))
        for loss in (0.0, df)
    )
    assert of_lossless <= of_lossy + 1e-12
    assert of_lossy <= with_dielectric_loss(of_lossless) + 1e-12
