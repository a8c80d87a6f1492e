"""Owns what results with a row for each net share: iterate them, or ask them for a net by name."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Generic, Protocol, TypeVar

from stubsi.board.names import by_name

if TYPE_CHECKING:
    from collections.abc import Iterator


class OfNet(Protocol):
    """A row about one net."""

    @property
    def net(self) -> str:
        """Name of the net."""


Row = TypeVar("Row", bound=OfNet)


class NetResults(Generic[Row]):
    """Rows of nets, in the order of the board: a base of results that keep them as ``nets``."""

    nets: tuple[Row, ...]

    def __len__(self) -> int:
        return len(self.nets)

    def __iter__(self) -> Iterator[Row]:
        return iter(self.nets)

    @cached_property
    def _by_net(self) -> dict[str, Row]:
        return {row.net: row for row in self.nets}

    def __getitem__(self, name: str) -> Row:
        return by_name(self._by_net, name, "net", "in this result")

    def __contains__(self, item: object) -> bool:
        return item in self._by_net if isinstance(item, str) else item in self.nets
