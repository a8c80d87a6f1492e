"""Roots within brackets: smooth functions, steep ones and jumps, and brackets that hold none."""

from itertools import pairwise

import numpy as np
import pytest

from stubsi.physics.bracketed_root import TOLERANCE, bracketed_root

ROOTS = np.array([1.0 + 1e-9, 1.03, 1.05, 1.08])
LOW, HIGH = np.ones(4), np.full(4, 1.08)


def shape(x, rows):
    """A line, a cube with no slope at its root, a tangent beyond which there is no value, and a jump."""
    off = ROOTS[rows, None] - x
    return np.select([rows[:, None] == 0, rows[:, None] == 1, rows[:, None] == 2], [off, off**3, np.tan(9 * off)],
                     np.where(off > 0, 2.0, -1000.0))  # fmt: skip


@pytest.mark.parametrize("copies", [1, 50])
def test_every_kind_of_root_is_found(copies):
    """One at a time and many at once, when each is looked at in fewer places."""
    which = np.tile(np.arange(4), copies)
    asked = []

    def function(x, rows):
        asked.append(rows)
        return shape(x, which[rows])

    found = bracketed_root(function, LOW[which], HIGH[which])
    np.testing.assert_allclose(found, ROOTS[which], rtol=TOLERANCE)
    assert all(set(later) <= set(earlier) for earlier, later in pairwise(asked))
    assert len(asked) < 25


def test_a_smooth_root_takes_few_steps():
    """Chandrupatla's method takes some ten evaluations for a cosine, halving 33."""
    asked = []

    def cosine(x, rows):
        asked.append(rows)
        return np.cos(x)

    assert bracketed_root(cosine, np.array([1.5]), np.array([1.7]))[0] == pytest.approx(np.pi / 2, rel=1e-12)
    assert len(asked) <= 5


def test_a_bracket_without_a_root_gives_its_middle():
    found = bracketed_root(lambda x, rows: np.where(rows[:, None] == 0, 1.0, np.nan) + 0 * x, LOW[:2], HIGH[:2])
    assert found == pytest.approx([1.04, 1.04])
