"""Owns the board: its stackup and nets, checked against each other, and its holes as arrays."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Any, TypeVar, cast

import numpy as np

from stubsi.board import changed_board, changed_padstack
from stubsi.board.clashes import refuse_clashes
from stubsi.board.criterion import DEFAULT, Criterion
from stubsi.board.hole_checks import refuse_drill_overlaps, refuse_far_apart, refuse_planes_in_use
from stubsi.board.hole_columns import HoleColumns, hole_columns
from stubsi.board.hole_kinds import (
    HoleKind,
    KindList,
    Span,
    checked_span,
    kind_key,
    kind_list,
    place_in_stackup,
    refuse_plane,
)
from stubsi.board.names import by_name, refuse_repeats, shortened
from stubsi.board.net import Hole, Net
from stubsi.board.signal import Signal, as_signal
from stubsi.board.stackup import Stackup
from stubsi.checks import checked, checked_name, pairs, sequence, text_or_blank
from stubsi.errors import BoardError
from stubsi.read_only import read_only
from stubsi.value import Converted, Value, kept_names, value_object

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping

    from numpy.typing import NDArray

    from stubsi.board.padstack import Antipad, Padstack
    from stubsi.units import Dimensioned, Quantity

Item = TypeVar("Item")


def _nets(value: Iterable[Net], what: str) -> tuple[Net, ...]:
    return sequence(value, what, Net)


def _signal_criteria(
    value: Mapping[Any, Criterion] | Iterable[tuple[Any, Criterion]], _: str
) -> tuple[tuple[Signal, Criterion], ...]:
    return tuple(
        (as_signal(signal), checked(criterion, f"criterion of {signal}", Criterion))
        for signal, criterion in pairs(value, "board signal_criteria")
    )


@value_object
class Board(Value):
    """A board: one stackup and its nets.

    Parameters
    ----------
    stackup : Stackup
        Its layers, from the top.
    nets : sequence of Net
        Signal nets, pairs, and reference nets (whose holes are the return vias of the others). Where there is no
        reference net at all, return vias are unknown, not absent.
    name : str
        Name for tables and errors; may be left out.
    criterion : Criterion
        What a net must meet if neither the net itself nor its signal has a criterion.
    signal_criteria : mapping of signal to Criterion
        What the nets of a signal must meet, unless a net has its own criterion.

    Raises
    ------
    BoardError
        A name of a net or hole is used twice, a layer is not in the stackup or lies outside the hole's span, a pad is
        wider than its antipad on a plane, a contact zone is deeper than the board, two different padstacks have one
        name, a signal net uses a plane, two holes run into each other or are farther apart than a board is large,
        copper of two nets overlaps, or a reference hole lies inside the antipad of a signal hole.
    """

    stackup: Stackup
    nets: Converted[Iterable[Net], tuple[Net, ...]] = Converted(_nets)
    name: str = ""
    criterion: Criterion = DEFAULT
    signal_criteria: Converted[
        Mapping[Any, Criterion] | Iterable[tuple[Any, Criterion]], tuple[tuple[Signal, Criterion], ...]
    ] = Converted(_signal_criteria, default=())

    def __post_init__(self) -> None:
        checked(self.stackup, "board stackup", Stackup)
        checked(self.criterion, "board criterion", Criterion)
        if text_or_blank(self.name, "board name"):
            checked_name(self.name, "board name")
        refuse_repeats(
            "signal criterion", [f"{s.symbol_rate_si / 1e9:g} GBd {s.modulation}" for s, _ in self.signal_criteria]
        )
        refuse_repeats("net", [net.name for net in self.nets])
        refuse_repeats("hole", [hole.name for net in self.nets for hole in net.holes])
        for net in self.nets:
            for layer in net.layers:
                place_in_stackup(self.stackup, layer, f"net {net.name} layers")
                refuse_plane(self.stackup, layer, f"net {net.name} layers")
        refuse_planes_in_use(self)
        refuse_far_apart(self)
        refuse_drill_overlaps(self)
        refuse_clashes(self)

    def criterion_of(self, net: Net) -> Criterion:
        """What a net must meet: its own criterion, or that of its signal, or that of the board, in this order.

        Parameters
        ----------
        net : Net
            A net of this board.

        Returns
        -------
        Criterion
            The first of these that is given.
        """
        checked(net, "net", Net)
        of_signal = None if net.signal is None else self._by_signal.get(net.signal)
        return net.criterion or of_signal or self.criterion

    def with_criterion(
        self,
        criterion: Criterion | str,
        *,
        net: str | None = None,
        signal: Signal | str | Quantity | None = None,
    ) -> Board:
        """Copy of this board with another criterion: of the board, of one net, or of the nets of one signal.

        Parameters
        ----------
        criterion : Criterion or name in ``RULES_OF_THUMB``
            The other criterion.
        net : str, optional
            Name of the net that it is for.
        signal : Signal, str or quantity, optional
            Signal that it is for. A net with a criterion of its own keeps that.

        Returns
        -------
        Board
            With the same stackup, and the same nets otherwise.

        Raises
        ------
        UnitError, BoardError
            No criterion, no such net, a signal that no net carries, or both a net and a signal.

        Notes
        -----
        A criterion of the board is shared: nothing else is changed or checked again.
        """
        new = changed_board.criterion_given(criterion)
        if net is not None or signal is not None:
            return changed_board.board_with_criterion(self, new, net, signal)
        board = object.__new__(Board)  # nothing else follows from the criterion, so nothing is checked again
        board.__dict__.update({name: value for name, value in self.__dict__.items() if name not in ("_memo", "_hash")})
        board.__dict__["criterion"] = new
        return board

    def with_antipad(
        self,
        *,
        antipad: Dimensioned | Antipad,
        padstack: str | None = None,
        hole: str | None = None,
        net: str | None = None,
        layer: str | None = None,
    ) -> Board:
        """Copy of this board with another clearance around some holes.

        Parameters
        ----------
        antipad : length or Antipad
            The other clearance.
        padstack, hole, net : str
            Name of the padstack, hole or net that it is for; exactly one of them. A padstack that other holes keep as
            it is gets a second name for the changed holes, like "via of CLK".
        layer : str, optional
            The plane that it is for. Unless it is given: every plane, and every layer with a clearance of its own.

        Returns
        -------
        Board
            With the same nets otherwise.

        Raises
        ------
        UnitError, BoardError
            No clearance, no such name, a layer without plane, a length where a pair shares a slot, or a board that
            contradicts itself.
        """

        def change(old: Padstack) -> Padstack:
            return changed_padstack.with_other_antipad(self, old, antipad, layer)

        return changed_padstack.board_with_padstack(self, changed_padstack.HolesOf(padstack, hole, net), change)

    def with_drill(
        self,
        *,
        drill: Dimensioned,
        finished: Dimensioned | None = None,
        padstack: str | None = None,
        hole: str | None = None,
        net: str | None = None,
    ) -> Board:
        """Copy of this board with another primary drill of some holes. Pads and clearances stay as they are.

        Parameters
        ----------
        drill : length
            Diameter of the other drill.
        finished : length, optional
            Diameter after plating. Unless it is given, it stays as it is.
        padstack, hole, net : str
            Name of the padstack, hole or net that it is for; exactly one of them, as in ``with_antipad``.

        Returns
        -------
        Board
            With the same nets otherwise.

        Raises
        ------
        UnitError, BoardError
            No diameter, no such name, or a drill that does not fit its pad, antipad or neighbours.
        """
        sizes = {"drill": drill} | ({} if finished is None else {"finished": finished})
        return changed_padstack.board_with_padstack(
            self, changed_padstack.HolesOf(padstack, hole, net), lambda old: old.replaced(**sizes)
        )

    def with_dk(
        self,
        *,
        dk: float,
        dk_in_plane: float | None = None,
        material: str | None = None,
        between: Iterable[str] | None = None,
    ) -> Board:
        """Copy of this board with another Dk of its dielectrics.

        Parameters
        ----------
        dk : float
            Relative permittivity [-] along z.
        dk_in_plane : float, optional
            Relative permittivity [-] in the plane of the glass. It must be given for dielectrics that state it.
        material : str, optional
            Only dielectrics of this material.
        between : pair of layer names, optional
            Only dielectrics between these two copper layers.

        Returns
        -------
        Board
            With the same nets.

        Raises
        ------
        UnitError, BoardError
            No Dk, no such material or layer, or nothing of it there.
        """
        return changed_board.board_with_dk(self, dk, dk_in_plane, material, between)

    def with_layer(self, *, net: str, from_layer: str, to_layer: str) -> Board:
        """Copy of this board with a net moved from one layer to another in all its holes.

        Parameters
        ----------
        net : str
            Name of the net.
        from_layer, to_layer : str
            The layer that it leaves, and the layer that it goes to.

        Returns
        -------
        Board
            With the same nets otherwise.

        Raises
        ------
        BoardError
            No such net or layer; the net does not use the first one, or must not or cannot use the second.
        """
        return changed_board.board_with_layer(self, net, from_layer, to_layer)

    def with_waiver(self, *, net: str, waiver: str) -> Board:
        """Copy of this board where a net need not meet its criterion.

        Parameters
        ----------
        net : str
            Name of the net.
        waiver : str
            Reason; a blank text takes the waiver away.

        Returns
        -------
        Board
            With the same nets otherwise.

        Raises
        ------
        BoardError
            No such net, or a reference net; no text.
        """
        return changed_board.board_with_waiver(self, net, waiver)

    def with_return_via(
        self, *, net: str, padstack: str, x: Dimensioned, y: Dimensioned, name: str | None = None
    ) -> Board:
        """Copy of this board with one more return via.

        Parameters
        ----------
        net : str
            Name of a reference net.
        padstack : str
            Name of a padstack of this board.
        x, y : length
            Position.
        name : str, optional
            Name of the new hole; "GND added" or the like unless it is given.

        Returns
        -------
        Board
            With the same nets otherwise.

        Raises
        ------
        UnitError, BoardError
            No such reference net or padstack, no position, or a place that is taken.
        """
        return changed_board.board_with_return_via(self, net, padstack, (x, y), name)

    def remembered(self, key: Hashable, make: Callable[[], Item]) -> Item:
        """Result that is computed from this board once and then kept. It has no part in comparison and hash.

        Parameters
        ----------
        key : hashable
            Key under which the result is kept.
        make : callable
            Computes the result. It is called if nothing is kept under the key.

        Returns
        -------
        object
            What ``make`` returned the first time.
        """
        memo = self.__dict__.setdefault("_memo", {})
        if key not in memo:
            memo[key] = make()
        return cast("Item", memo[key])

    def __getstate__(self) -> dict[str, Any]:
        """The fields only. Everything that follows from them is computed again when it is needed."""
        return {name: self.__dict__[name] for name in kept_names(Board)}

    def __repr__(self) -> str:
        name = shortened(self.name) or "without a name"
        copper, holes = len(self.stackup.copper), sum(len(net.holes) for net in self.nets)
        return f"<Board {name}: {copper} copper layers, {len(self.nets)} nets, {holes} holes>"

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

    def net(self, name: str) -> Net:
        """The net of a name.

        Parameters
        ----------
        name : str
            Name of a net of this board.

        Returns
        -------
        Net
            The net; names are unique.

        Raises
        ------
        UnknownNameError
            There is none; the error is a BoardError and a KeyError.
        """
        return by_name(self._nets_by_name, name, "net", f"on board {self.name}")

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

    @cached_property
    def _by_signal(self) -> dict[Signal, Criterion]:
        return dict(self.signal_criteria)

    @cached_property
    def _nets_by_name(self) -> dict[str, Net]:
        return {net.name: net for net in self.nets}

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

    def _repr_html_(self) -> str:
        from stubsi.show.html import board_html

        return board_html(self)
