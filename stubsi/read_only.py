"""Owns results that nobody can change by mistake: arrays that cannot be written into, and a mapping."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Key = TypeVar("Key")
Kept_co = TypeVar("Kept_co", covariant=True)
Scalar = TypeVar("Scalar", bound="np.generic")


def read_only(array: NDArray[Scalar]) -> NDArray[Scalar]:
    """Make an array read-only and return it. Results are shared, so nobody may write into them.

    Parameters
    ----------
    array : ndarray
        Any array.

    Returns
    -------
    ndarray
        The same array.
    """
    array.flags.writeable = False
    return array


class ReadOnlyMapping(Mapping[Key, Kept_co]):
    """A mapping that nobody can change. Two are equal if their items are; it can be hashed and pickled.

    Parameters
    ----------
    items : mapping
        They are copied.
    """

    __slots__ = ("_items",)

    def __init__(self, items: Mapping[Key, Kept_co]) -> None:
        self._items = dict(items)

    def __getitem__(self, key: Key) -> Kept_co:
        return self._items[key]

    def __iter__(self) -> Iterator[Key]:
        return iter(self._items)

    def __len__(self) -> int:
        return len(self._items)

    def __hash__(self) -> int:
        return hash(frozenset(self.items()))

    def __repr__(self) -> str:
        return repr(self._items)
