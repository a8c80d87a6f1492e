"""The memory: each key computed once, all new ones in one call, the oldest dropped, nothing kept of what fails."""

from __future__ import annotations

import sys
from concurrent.futures import ThreadPoolExecutor

import pytest

from stubsi.memory import Memory


def test_each_key_is_computed_once_and_the_oldest_is_dropped():
    asked = []

    def lengths(keys):
        asked.append(list(keys))
        return [len(key) for key in keys]

    memory = Memory(3)
    assert memory.all(["a", "bb", "a"], lengths) == [1, 2, 1]
    assert memory.all(["bb", "ccc", "a"], lengths) == [2, 3, 1]
    assert asked == [["a", "bb"], ["ccc"]]
    memory.all(["dddd"], lengths)
    assert len(memory) == 3
    assert memory.all(["bb", "a"], lengths) == [2, 1]
    assert asked[2:] == [["dddd"], ["bb"]], "bb was asked for longest ago"
    assert memory.all([], lengths) == []


def test_more_keys_than_it_holds_all_get_their_result():
    memory = Memory(2)
    assert memory.all(range(5), lambda keys: [key**2 for key in keys]) == [0, 1, 4, 9, 16]
    assert len(memory) == 2


def test_a_failing_computation_leaves_what_was_known():
    memory = Memory(3)
    memory.all(["a"], lambda keys: [1])
    with pytest.raises(ZeroDivisionError):
        memory.all(["a", "b"], lambda keys: [1 / 0])
    assert memory.all(["a"], lambda keys: pytest.fail("is known")) == [1]


def test_threads_share_it():
    """Threads that take turns as often as can be ask for overlapping keys of a memory that is always full."""
    memory = Memory(20)

    def ask(start):
        keys = range(start % 25, start % 25 + 8)
        return memory.all(keys, lambda new: [key**2 for key in new]) == [key**2 for key in keys]

    interval = sys.getswitchinterval()
    sys.setswitchinterval(1e-6)
    try:
        with ThreadPoolExecutor(4) as threads:
            assert all(threads.map(ask, range(4000)))
    finally:
        sys.setswitchinterval(interval)
    assert len(memory) == 20
