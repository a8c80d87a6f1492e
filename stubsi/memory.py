"""Owns a memory of bounded size: results by what they depend on, computed many at once and kept between calls."""

from __future__ import annotations

from typing import TYPE_CHECKING, Generic, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Sequence

Key = TypeVar("Key", bound="Hashable")
Result = TypeVar("Result")


class Memory(Generic[Key, Result]):
    """Results by key. When it is full, the results that were asked for longest ago are dropped.

    Parameters
    ----------
    size : int
        How many results are kept at most.
    """

    def __init__(self, size: int) -> None:
        self.size = size
        self._results: dict[Key, Result] = {}

    def __len__(self) -> int:
        return len(self._results)

    def all(self, keys: Sequence[Key], compute: Callable[[Sequence[Key]], Sequence[Result]]) -> list[Result]:
        """Results of some keys; those that are not remembered are computed in one call.

        Parameters
        ----------
        keys : sequence of hashable values
            Keys that are equal have one result.
        compute : callable
            Gives the results of distinct keys, in their order. Not called if all are remembered.

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
