"""Owns a memory of limited size for computed results. Results that are missing are computed together in one call."""

from __future__ import annotations

from threading import Lock
from typing import TYPE_CHECKING, Generic, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Sequence

Key = TypeVar("Key", bound="Hashable")
Result = TypeVar("Result")


class Memory(Generic[Key, Result]):
    """Results by key. When the memory is full, the results that were not used for the longest time are dropped.

    Several threads may use it at the same time.

    Parameters
    ----------
    size : int
        The most results that are kept.
    """

    def __init__(self, size: int) -> None:
        self.size = size
        self._results: dict[Key, Result] = {}
        self._lock = Lock()

    def __len__(self) -> int:
        return len(self._results)

    def all(self, keys: Sequence[Key], compute: Callable[[Sequence[Key]], Sequence[Result]]) -> list[Result]:
        """Results of some keys. Those that are not remembered are computed in one call.

        Parameters
        ----------
        keys : sequence of hashable values
            Equal keys have the same result.
        compute : callable
            Takes distinct keys and returns their results in the same order. It is not called if all are remembered.

        Returns
        -------
        list
            In the order of ``keys``.
        """
        distinct = dict.fromkeys(keys)
        with self._lock:
            results = {key: self._results[key] for key in distinct if key in self._results}
        new = [key for key in distinct if key not in results]
        if new:
            results.update(zip(new, compute(new), strict=True))
        self._remember({key: results[key] for key in distinct})
        return [results[key] for key in keys]

    def _remember(self, results: dict[Key, Result]) -> None:
        """Put these results behind all others, and drop the first ones that are too many."""
        with self._lock:
            for key in results:
                self._results.pop(key, None)
            self._results.update(results)
            while len(self._results) > self.size:
                del self._results[next(iter(self._results))]
