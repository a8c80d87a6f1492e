"""Owns a memory of limited size for computed results. Results that are missing are computed together in one call."""

from __future__ import annotations

from typing import TYPE_CHECKING, Generic, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Sequence

Key = TypeVar("Key", bound="Hashable")
Result = TypeVar("Result")


class Memory(Generic[Key, Result]):
    """Results by key. When the memory is full, the results that were not used for the longest time are dropped.

    Parameters
    ----------
    size : int
        The most results that are kept.
    """

    def __init__(self, size: int) -> None:
        self.size = size
        self._results: dict[Key, Result] = {}

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
        new = [key for key in distinct if key not in self._results]
        computed = dict(zip(new, compute(new), strict=True)) if new else {}
        results = {key: computed[key] if key in computed else self._results.pop(key) for key in distinct}
        self._results.update(results)
        while len(self._results) > self.size:
            del self._results[next(iter(self._results))]
        return [results[key] for key in keys]
