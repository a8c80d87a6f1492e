"""Owns the board: its stackup, nets and criteria, checked against each other."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Any, TypeVar, cast

from stubsi.board import changed_board
from stubsi.board.board_copies import BoardCopies
from stubsi.board.board_holes import BoardHoles
from stubsi.board.clashes import refuse_clashes
from stubsi.board.criterion import DEFAULT, Criterion
from stubsi.board.hole_checks import refuse_drill_overlaps, refuse_far_apart, refuse_planes_in_use
from stubsi.board.hole_kinds import place_in_stackup, refuse_plane
from stubsi.board.names import by_name, refuse_repeats, shortened
from stubsi.board.net import Net
from stubsi.board.signal import Signal, as_signal
from stubsi.board.stackup import Stackup
from stubsi.checks import checked, checked_name, pairs, sequence, text_or_blank
from stubsi.value import Converted, kept_names, value_object

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Iterable, Mapping

    from stubsi.units import Quantity

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
class Board(BoardHoles, BoardCopies):
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

    Examples
    --------
    >>> from stubsi import CopperLayer, DielectricLayer, Hole, Net, Padstack, Stackup
    >>> roles = {"TOP": "signal", "GND": "plane", "IN": "signal", "BOT": "signal"}
    >>> top, ground, inner, bottom = (CopperLayer(name=name, thickness="35 um", role=roles[name]) for name in roles)
    >>> core = DielectricLayer(thickness="0.4 mm", dk=4.2)
    >>> stackup = Stackup(layers=(top, core, ground, core, inner, core, bottom), source="drawing 12")
    >>> via = Padstack(name="via", drill="0.3 mm", pad="0.5 mm", antipad="0.8 mm")
    >>> hole = Hole(name="U1.1", padstack=via, connects=["TOP", "IN"], x="5 mm", y="5 mm")
    >>> board = Board(stackup=stackup, nets=[Net(name="CLK", signal="DDR4-3200", z0="50 ohm", holes=[hole])])
    >>> board.net("CLK")
    <Net CLK: 1 hole, DDR4-3200>
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
    def _by_signal(self) -> dict[Signal, Criterion]:
        return dict(self.signal_criteria)

    @cached_property
    def _nets_by_name(self) -> dict[str, Net]:
        return {net.name: net for net in self.nets}

    def _repr_html_(self) -> str:
        from stubsi.show.html import board_html

        return board_html(self)
