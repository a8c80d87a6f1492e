"""Owns the holes of a board: their kinds and layers, and the holes and signal nets as arrays."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from stubsi.board.hole_columns import HoleColumns, hole_columns
from stubsi.board.hole_kinds import HoleKind, KindList, Span, checked_span, kind_key, kind_list
from stubsi.board.net import Hole, Net
from stubsi.checks import checked
from stubsi.errors import BoardError
from stubsi.read_only import read_only
from stubsi.value import Converted, Value

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from numpy.typing import NDArray

    from stubsi.board.signal import Signal
    from stubsi.board.stackup import Stackup


class BoardHoles(Value):
    """The part of a board that follows from its stackup and its nets alone: its holes."""

    name: str
    stackup: Stackup
    nets: Converted[Iterable[Net], tuple[Net, ...]]

    def span(self, hole: Hole) -> Span:
        """Copper layers of a hole of this board.

        Parameters
        ----------
        hole : Hole
            A hole of this board.

        Returns
        -------
        Span
            The layers, each as its number from the top.

        Raises
        ------
        BoardError
            The board has no hole of this kind.
        """
        checked(hole, "hole", Hole)
        number = self._kind_list.numbers.get(kind_key(hole))
        if number is None:
            raise BoardError(f"hole {hole.name}: is not a hole of board {self.name}.")
        return self.kinds[number].span

    def holes(self) -> Iterator[tuple[Net, Hole]]:
        """Every hole of every signal net, with its net.

        Yields
        ------
        tuple of Net and Hole
            In the order of the nets.
        """
        for net in self.signal_nets:
            for hole in net.holes:
                yield net, hole

    @cached_property
    def signal_nets(self) -> tuple[Net, ...]:
        """The nets that are ranked: all but the reference nets."""
        return tuple(net for net in self.nets if not net.reference)

    @cached_property
    def signals(self) -> tuple[Signal, ...]:
        """Signal of each of the signal nets."""
        return tuple(net.signal for net in self.nets if net.signal is not None)

    @cached_property
    def return_vias(self) -> tuple[Hole, ...] | None:
        """Holes of the reference nets; None where the board has no reference net: then they are unknown."""
        return self.reference_holes.holes or None

    @cached_property
    def kinds(self) -> tuple[HoleKind, ...]:
        """The different kinds of holes. ``signal_holes.kind`` and ``reference_holes.kind`` are numbers in this list."""
        return tuple(HoleKind(*key, checked_span(self.stackup, hole)) for key, hole in self._kind_list.first.items())

    @cached_property
    def signal_holes(self) -> HoleColumns:
        """Holes of the signal nets as arrays. Their ``net`` is a number in ``signal_nets``."""
        return hole_columns(self.signal_nets, self._kind_list.of_hole[~self._is_reference_hole])

    @cached_property
    def reference_holes(self) -> HoleColumns:
        """Holes of the reference nets as arrays. Their ``net`` is a number in the list of reference nets."""
        nets = [net for net in self.nets if net.reference]
        return hole_columns(nets, self._kind_list.of_hole[self._is_reference_hole])

    @cached_property
    def nyquist_si(self) -> NDArray[np.float64]:
        """Nyquist frequency of every signal net [Hz]."""
        return read_only(np.array([signal.symbol_rate_si for signal in self.signals], dtype=float) / 2)

    @cached_property
    def z_stub_line_si(self) -> NDArray[np.float64]:
        """For every signal net, the impedance [ohm] of the line that a stub of it is connected to."""
        return read_only(np.array([net.z_stub_line_si for net in self.signal_nets], dtype=float))

    def per_kind(self, value: Callable[[HoleKind], float], holes: HoleColumns) -> NDArray[Any]:
        """Value for every hole, where the value depends on the kind of the hole only.

        Parameters
        ----------
        value : callable
            Returns the value of a HoleKind. It is called once for each kind.
        holes : HoleColumns
            Holes of this board.

        Returns
        -------
        ndarray
            One entry per hole.
        """
        return np.array([value(kind) for kind in self.kinds])[holes.kind]

    @cached_property
    def _is_reference_hole(self) -> NDArray[np.bool_]:
        return np.array([net.reference for net in self.nets for _ in net.holes], dtype=bool)

    @cached_property
    def _kind_list(self) -> KindList:
        return kind_list(self.nets)
