"""The memory of reflections answers as the exact function does, whatever the pattern, the loss and the order asked."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from stubsi.physics import reflection_memory
from stubsi.physics.chebyshev import NODES
from stubsi.physics.multipole import Conductors, reflection
from stubsi.physics.reflection_memory import STRIP, STRIPS, ReflectionMemory

BARREL, POST = 0.15e-3, 0.125e-3
CORNERS = ((1, False), (8, False), (1, True), (8, True))


def pattern(count, odd, seed):
    """Posts at random places 0.6 to 5 mm away, none touching another; those of a pair on the barrel's side."""
    rng = np.random.default_rng(seed)
    barrel = 0.5e-3 if odd else 0.0
    places = [complex(barrel)]
    while len(places) <= count:
        place = barrel + rng.uniform(0.6e-3, 5e-3) * np.exp(2j * np.pi * rng.random())
        clear = np.abs(place - np.array(places)).min() > 3 * POST and (not odd or place.real > 2 * POST)
        places += [place] if clear else []
    return places


def conductors(*patterns, odd=False):
    """Patterns of equally many posts as one array."""
    place = np.array(patterns)
    radius = np.full(place.shape, POST)
    radius[:, 0] = BARREL
    return Conductors(place=place, radius=radius, odd=odd)


def asked(memory, k, posts):
    return memory(k, [(np.arange(len(k)), posts)])


def largest_error(memory, k, posts):
    """Largest error relative to the largest reflection within an eighth of an octave."""
    exact = reflection(k, posts)
    place = np.log2(np.abs(k))
    near = np.abs(place[:, :, None] - place[:, None]) < 1 / 8
    size = np.where(near, np.abs(exact)[:, None], 0).max(axis=-1)
    return (np.abs(asked(memory, k, posts) - exact) / size).max()


@settings(max_examples=8, deadline=None)
@given(count=st.integers(1, 8), odd=st.booleans(), seed=st.integers(0, 2**32 - 1), df=st.floats(0, 0.1))
@example(count=8, odd=True, seed=1, df=0.0)
@example(count=8, odd=False, seed=2, df=2 * STRIP)
@example(count=8, odd=True, seed=3, df=2 * STRIP * STRIPS)
@example(count=8, odd=False, seed=4, df=0.1)
def test_any_pattern_and_loss(count, odd, seed, df):
    """From k r = 1e-4 to beyond the first resonances, 1e-9 of the reflection: asked for often, and again elsewhere."""
    posts = conductors(pattern(count, odd, seed), odd=odd)
    memory, rng = ReflectionMemory(), np.random.default_rng(seed)
    for _ in range(2):
        k = np.exp2(rng.uniform(np.log2(1e-4 / posts.reach[0]), np.log2(12 / posts.reach[0]), (1, 800)))
        loss = df * rng.choice([1.0, 0.97])
        assert largest_error(memory, k * np.sqrt(1 - 1j * loss), posts) < 1e-9


@pytest.mark.parametrize(("count", "odd"), CORNERS)
def test_polynomials_answer_in_the_whole_strip(count, odd, monkeypatch):
    """At both edges of a strip, farthest from its nodes; nothing is evaluated any more."""
    posts = conductors(pattern(count, odd, 5), odd=odd)
    memory = ReflectionMemory()
    size = np.linspace(200, 1000, 400)
    for edge in (0.001, 0.5, 0.999):
        k = (size * np.exp(-1j * STRIP * edge))[None]
        assert largest_error(memory, k, posts) < 1e-9
    exact = reflection(k, posts)
    monkeypatch.setattr(reflection_memory, "reflection", None)
    assert asked(memory, k, posts) == pytest.approx(exact, abs=1e-9 * np.abs(exact).max())


@pytest.mark.parametrize(
    "k", [700.0 - 60.0j, 1500.0 + 20.0j, 1e-9, 3e5 - 1e2j], ids=["loss", "grows", "zero", "beyond"]
)
def test_outside_the_strips_and_intervals_it_is_exact(k):
    posts = conductors(pattern(4, False, 6))
    waves = k * np.linspace(1, 1.001, 100)[None].astype(complex)
    memory = ReflectionMemory()
    assert asked(memory, waves, posts).tolist() == reflection(waves, posts).tolist()
    assert asked(memory, waves, posts).tolist() == reflection(waves, posts).tolist()


def test_few_wavenumbers_are_evaluated_as_they_are():
    posts = conductors(pattern(3, False, 7), pattern(3, False, 8))
    waves = np.array([[700.0 - 1j, 710.0 - 1j], [700.0 - 1j, 1900.0 - 2j]])
    assert asked(ReflectionMemory(), waves, posts).tolist() == reflection(waves, posts).tolist()


def evaluations(monkeypatch):
    """Count the wavenumbers that are evaluated from now on."""
    count = []

    def counted(k, posts):
        count.append(k.size)
        return reflection(k, posts)

    monkeypatch.setattr(reflection_memory, "reflection", counted)
    return count


def test_what_was_evaluated_is_not_evaluated_again(monkeypatch):
    """The same pattern is known by its values: among other patterns, in another row, in other objects."""
    one, other = pattern(3, False, 7), pattern(3, False, 8)
    count, memory = evaluations(monkeypatch), ReflectionMemory()
    waves = np.linspace(600, 1200, 300)[None] * (1 - 0.001j)
    asked(memory, waves, conductors(one))
    assert 0 < sum(count) <= 8 * NODES
    count.clear()
    asked(memory, waves, conductors(one))
    assert not count
    asked(memory, np.repeat(waves, 2, axis=0), conductors(other, one))
    assert 0 < sum(count) <= 8 * NODES


@pytest.mark.parametrize(
    "changed",
    [conductors(pattern(3, False, 8)), conductors(pattern(3, True, 8), odd=True)],
    ids=["places", "pair"],
)
def test_another_pattern_is_not_the_same(changed):
    memory, waves = ReflectionMemory(), np.linspace(600, 1200, 300)[None] * (1 - 0.001j)
    asked(memory, waves, conductors(pattern(3, False, 7)))
    assert largest_error(memory, waves, changed) < 1e-9


def test_radius_of_the_barrel_is_part_of_the_pattern():
    memory, waves, posts = ReflectionMemory(), np.linspace(600, 1200, 300)[None] * (1 - 0.001j), pattern(3, False, 7)
    wide = Conductors(place=np.array([posts]), radius=np.array([[2 * BARREL, POST, POST, POST]]))
    asked(memory, waves, conductors(posts))
    assert largest_error(memory, waves, wide) < 1e-9


@pytest.mark.parametrize("limits", [{"most_patterns": 3}, {"most_intervals": 3}], ids=["patterns", "intervals"])
def test_a_full_memory_begins_anew(limits):
    memory, waves = ReflectionMemory(**limits), np.linspace(600, 1200, 300)[None] * (1 - 0.001j)
    for seed in (1, 2, 3, 4, 5, 1):
        assert largest_error(memory, waves, conductors(pattern(2, False, seed))) < 1e-9


def test_a_resonance_sharper_than_the_shortest_interval_is_evaluated(monkeypatch):
    """A closed cage of lossless laminate: sixteen posts with gaps of a tenth of their distance, next to its pole."""
    turn = np.exp(2j * np.pi * np.arange(16) / 16)
    cage = conductors([0, *(1e-3 * turn)])
    cage = Conductors(place=cage.place, radius=np.array([[BARREL, *[0.19e-3] * 16]]))
    scan = np.linspace(1500, 4500, 6001)[None].astype(complex)
    peak = scan[0, np.abs(reflection(scan, cage)[0]).argmax()].real
    waves = (peak * (1 + np.linspace(-1e-3, 1e-3, 200)))[None].astype(complex)
    count, memory = evaluations(monkeypatch), ReflectionMemory()
    assert largest_error(memory, waves, cage) < 1e-9
    assert largest_error(memory, waves, cage) < 1e-9
    assert sum(count) >= waves.size


def test_a_mixed_call_fills_only_what_no_polynomial_answers():
    """Rows of one call, some known, some not, and wavenumbers of one row that are known and not."""
    memory, one, other = ReflectionMemory(), pattern(3, False, 7), pattern(3, False, 8)
    asked(memory, np.linspace(600, 1200, 300)[None] * (1 - 0.001j), conductors(one))
    waves = np.array([[700, 4000.0, 800, 3900.0], [710, 720, 5000.0, 9000.0], [700, 900, 1000, 1100]]) * (1 - 0.001j)
    posts = conductors(one, other, one)
    assert asked(memory, waves, posts) == pytest.approx(reflection(waves, posts), rel=1e-8)
