"""The longest stub: the first crossing of figures with steps at the faces of layers, of many stubs in one go."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stubsi import Criterion
from stubsi.margin.figures import Measurable
from stubsi.margin.longest_stub import CLEAR, RESOLUTION, Permit, Wanted, longest, longest_permitted
from stubsi.margin.spread import Spread
from stubsi.margin.stub_verdict import rows_of
from stubsi.stubs.as_barrel import Bore
from stubsi.stubs.drawn import stub_shapes
from stubsi.stubs.model_choice import ModelChoice
from stubsi.stubs.surroundings import NOTHING_KNOWN
from tests import margin_boards as mb
from tests.strategies import physical

NYQUIST = 10e9


class Stubs:
    """Notches that fall as 1/length, with a step at every face; counts what it is asked."""

    def __init__(self, reaches, faces, steps):
        self.reaches, self.faces, self.steps = reaches, faces, steps
        self.asked = []

    def ratio(self, stub, length):
        """First notch over Nyquist: 1 at ``reach`` but for the step of the layer the stub ends in."""
        place = np.searchsorted(self.faces, np.asarray(length) - 1e-12)
        return self.reaches[stub] / length * self.steps[place]

    def __call__(self, stubs, lengths):
        self.asked.append(list(zip(stubs, lengths.tolist(), strict=True)))
        ratios = np.array([self.ratio(stub, x) for stub, x in zip(stubs, lengths, strict=True)])
        unknown = Spread(*[np.full(len(stubs), np.nan)] * 4)
        notch = Spread(*(ratios * NYQUIST * k for k in (0.9, 1.0, 1.0, 1.1)))
        nyquist = np.full(len(stubs), NYQUIST)
        return rows_of(Measurable(nyquist=nyquist, longest=lengths, notch=notch, one_db=unknown, loss=unknown,
                                  return_loss=unknown, nyquist_loss=unknown.low,
                                  nyquist_return_loss=unknown.low))  # fmt: skip


@st.composite
def stepped(draw):
    """Stubs in common layers of 15 um to 0.3 mm; steps from layer to layer of up to half of what counts as clear."""
    thick = draw(st.lists(physical(15e-6, 300e-6), min_size=1, max_size=24))
    faces = np.cumsum(thick)
    steps = draw(st.lists(physical(1 - CLEAR / 4, 1 + CLEAR / 4), min_size=len(faces), max_size=len(faces)))
    reaches = draw(st.lists(physical(20e-6, 4e-3), min_size=1, max_size=5))
    return Stubs(np.array(reaches), faces, np.array([*steps, 1.0]))


def wanted(stubs, criterion, **more):
    return [Wanted(i, criterion, NYQUIST, stubs.faces, **more) for i in range(len(stubs.reaches))]


@given(stepped(), physical(0.5, 8.0))
def test_every_shorter_stub_meets_the_criterion_and_one_a_resolution_longer_does_not(stubs, limit):
    found = longest(wanted(stubs, Criterion.notch_ratio(limit)), stubs)
    for stub, most in enumerate(found):
        full = stubs.faces[-1]
        shorter = np.sort(np.append(np.linspace(0, min(most, full), 2001)[1:], stubs.faces[stubs.faces <= most]))
        assert np.all(stubs.ratio(stub, shorter[shorter > 0]) >= limit * (1 - 1e-9))
        if np.isfinite(most):
            beyond = np.linspace(most, min(most + RESOLUTION, full), 101)[1:]
            assert np.any(stubs.ratio(stub, beyond) < limit)


@given(stepped(), physical(0.5, 8.0))
def test_stubs_found_together_are_those_found_alone(stubs, limit):
    criterion = Criterion.notch_ratio(limit)
    together = longest(wanted(stubs, criterion), stubs)
    alone = [longest([one], stubs)[0] for one in wanted(stubs, criterion)]
    np.testing.assert_array_equal(together, alone)


@given(stepped(), physical(0.5, 8.0))
def test_each_length_is_asked_once_and_both_ends_of_a_figure_share_it(stubs, limit):
    both = [Wanted(0, Criterion.notch_ratio(limit), NYQUIST, stubs.faces, end=end) for end in ("worst", "low")]
    worst, low = longest(both, stubs)
    asked = [one for call in stubs.asked for one in call]
    assert len(asked) == len(set(asked))
    assert worst <= low


def test_alike_stubs_take_as_many_calls_as_one():
    faces = np.cumsum(np.tile([0.1e-3, 0.03e-3], 12))
    stubs = Stubs(np.full(50, 4e-3), faces, np.ones(25))
    found = longest(wanted(stubs, Criterion.notch_ratio(5)), stubs)
    assert found == pytest.approx(0.8e-3, abs=RESOLUTION)
    assert {len(call) for call in stubs.asked} == {50}
    assert len(stubs.asked) <= 7


def test_a_limit_on_length_needs_no_figures():
    stubs = Stubs(np.ones(2), np.array([1e-3]), np.ones(2))
    limits = [Criterion.stub_length("0.4 mm"), Criterion.stub_length("1 mm"), Criterion.stub_length_at_1_gbaud("4 mm")]
    asked = [Wanted(0, limit, NYQUIST, stubs.faces) for limit in limits]
    assert longest(asked, stubs).tolist() == pytest.approx([0.4e-3, np.inf, 0.2e-3])
    assert stubs.asked == []


def test_what_cannot_be_judged_counts_as_failing_and_a_full_length_that_cannot_leaves_it_open():
    unknown = Stubs(np.array([4e-3]), np.array([0.5e-3, 1e-3]), np.array([1.0, np.nan, 1.0]))
    (never,) = longest(wanted(unknown, Criterion.notch_ratio(5)), unknown)
    assert np.isnan(never)
    deep = Stubs(np.array([4e-3]), np.array([0.5e-3, 0.6e-3, 1e-3]), np.array([1.0, np.nan, 1.0, 1.0]))
    (found,) = longest(wanted(deep, Criterion.notch_ratio(5)), deep)
    assert 0.5e-3 <= found <= 0.5e-3 + RESOLUTION


def test_ends_are_the_faces_beyond_the_layer_in_use():
    """From S1, 0.03 mm copper and 0.2 mm laminate in turn, to the far face of BOT; upwards likewise."""
    board = mb.board(mb.net("A", ("S1",)))
    up, down = stub_shapes(board.stackup, mb.VIA, board.span(board.nets[0].holes[0]))
    assert down.face_lengths_si * 1e3 == pytest.approx([0.2, 0.23, 0.43, 0.46, 0.66, 0.69, 0.89, 0.92])
    assert up.face_lengths_si * 1e3 == pytest.approx([0.2, 0.23, 0.43, 0.46])


class Countable(Stubs):
    """The same stubs, asked for as permits, from a layout nobody else has tried."""

    def permits(self, shape, **more):
        given = {"around": NOTHING_KNOWN, "bore": None, "criterion": Criterion.notch_ratio(4), "nyquist": NYQUIST,
                 "z0": None, "model": ModelChoice(dk_eff=3.987654)}  # fmt: skip
        return [Permit(shape, **given | more)]


def test_a_longest_stub_is_searched_for_once_and_again_for_anything_it_depends_on():
    def shape_of(**more):
        board = mb.board(mb.net("A", ("S1",), **more))
        return stub_shapes(board.stackup, mb.VIA, board.span(board.nets[0].holes[0]))[1]

    stubs = Countable(np.array([2e-3]), np.array([1e-3]), np.ones(2))
    shape = shape_of()
    first = longest_permitted(stubs.permits(shape), stubs)
    assert first == pytest.approx([0.5e-3], abs=RESOLUTION)
    trials = len(stubs.asked)
    again = longest_permitted(stubs.permits(shape_of()) * 2, stubs)
    assert again.tolist() == [*first, *first]
    assert len(stubs.asked) == trials, "an equal stub of another board is the same stub"
    others = [{"nyquist": 2 * NYQUIST}, {"criterion": Criterion.notch_ratio(3)}, {"z0": 50.0}, {"end": "worst"},
              {"bore": Bore(radius=0.2e-3)}, {"model": ModelChoice(dk_eff=3.987653)},
              {"around": NOTHING_KNOWN._replace(odd=True)}]  # fmt: skip
    for other in others:
        before = len(stubs.asked)
        longest_permitted(stubs.permits(shape, **other), stubs)
        assert len(stubs.asked) > before
