"""Owns the board: stackup and nets together, checked against each other, and the span of every hole."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple, TypeAlias, TypeVar, cast

import numpy as np

from stubsi.board.criterion import DEFAULT, Criterion
from stubsi.board.hole_columns import HoleColumns, hole_columns
from stubsi.board.names import by_name
from stubsi.board.net import Hole, Net
from stubsi.board.overlaps import first_overlap
from stubsi.board.signal import Signal, as_signal
from stubsi.board.stackup import Stackup
from stubsi.errors import BoardError
from stubsi.units import show
from stubsi.value import Converted, Value, checked, kept_names, pairs, read_only, sequence, text_or_blank

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping

    from numpy.typing import NDArray

    from stubsi.board.padstack import Padstack, PressFit

    _KindKey: TypeAlias = tuple[Padstack, tuple[str, ...], PressFit | None]

Item = TypeVar("Item")


class Span(NamedTuple):
    """Copper layers of a hole by place from the top: where the barrel starts and ends, and the outermost in use."""

    first: int
    upper_in_use: int
    lower_in_use: int
    last: int


class HoleKind(NamedTuple):
    """What all holes of one kind have in common; ``connects``, ``press_fit`` as in ``Hole``."""

    padstack: Padstack
    connects: tuple[str, ...]
    press_fit: PressFit | None
    span: Span


def _nets(value: Iterable[Net], what: str) -> tuple[Net, ...]:
    return sequence(value, what, Net)


def _signal_criteria(
    value: Mapping[Any, Criterion] | Iterable[tuple[Any, Criterion]], _: str
) -> tuple[tuple[Signal, Criterion], ...]:
    return tuple(
        (as_signal(signal), checked(criterion, f"criterion of {signal}", Criterion))
        for signal, criterion in pairs(value, "board signal_criteria")
    )


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class Board(Value):
    """A board: one stackup and its nets.

    Parameters
    ----------
    stackup : Stackup
    nets : sequence of Net
        Signal nets, pairs, and reference nets (whose holes are the return vias of the others). Where there is no
        reference net at all, return vias are unknown, not absent.
    name : str
    criterion : Criterion
        What every net must meet that has none of its own.
    signal_criteria : mapping of signal to Criterion
        What the nets of a signal must meet; a net's own criterion goes first.

    Raises
    ------
    BoardError
        A net or hole named twice, a layer that is not in the stackup or outside the hole's span, a pad wider than its
        antipad on a plane, a contact zone deeper than the board, two different padstacks of one name, two holes
        drilled into each other.
    """

    stackup: Stackup
    nets: Converted[Iterable[Net], tuple[Net, ...]] = Converted(_nets)
    name: str = ""
    criterion: Criterion = DEFAULT
    signal_criteria: Converted[
        Mapping[Any, Criterion] | Iterable[tuple[Any, Criterion]], tuple[tuple[Signal, Criterion], ...]
    ] = Converted(_signal_criteria, ())

    def __post_init__(self) -> None:
        checked(self.stackup, "board stackup", Stackup)
        checked(self.criterion, "board criterion", Criterion)
        if text_or_blank(self.name, "board name"):
            checked(self.name, "board name")
        _refuse_repeats(
            "signal criterion", [f"{s.symbol_rate_si / 1e9:g} GBd {s.modulation}" for s, _ in self.signal_criteria]
        )
        _refuse_repeats("net", [net.name for net in self.nets])
        _refuse_repeats("hole", [hole.name for net in self.nets for hole in net.holes])
        for net in self.nets:
            for layer in net.layers:
                self._in_stackup(layer, f"net {net.name} layers")
        self._refuse_overlaps()

    def criterion_of(self, net: Net) -> Criterion:
        """What a net must meet: its own criterion, else its signal's, else the board's.

        Parameters
        ----------
        net : Net
        """
        of_signal = None if net.signal is None else self._by_signal.get(net.signal)
        return net.criterion or of_signal or self.criterion

    def with_criterion(self, criterion: Criterion) -> Board:
        """Copy of this board with another criterion of the board; nothing else changes or is checked again.

        Parameters
        ----------
        criterion : Criterion

        Returns
        -------
        Board
        """
        board = object.__new__(Board)
        board.__dict__.update({name: value for name, value in self.__dict__.items() if name not in ("_memo", "_hash")})
        board.__dict__["criterion"] = checked(criterion, "board criterion", Criterion)
        return board

    def remembered(self, key: Hashable, make: Callable[[], Item]) -> Item:
        """Result that is derived from this board once and then kept. It is no part of the board's value.

        Parameters
        ----------
        key : hashable
            What the result is kept under.
        make : callable
            Makes the result where nothing is kept under the key.

        Returns
        -------
        object
            What ``make`` gave the first time.
        """
        memo = self.__dict__.setdefault("_memo", {})
        if key not in memo:
            memo[key] = make()
        return cast("Item", memo[key])

    def __getstate__(self) -> dict[str, Any]:
        """The fields only: what follows from them is found again when it is asked for."""
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

        Returns
        -------
        Span
            By place from the top.

        Raises
        ------
        BoardError
            The board has no hole of this kind.
        """
        number = self._kind_list.numbers.get((hole.padstack, hole.connects, hole.press_fit))
        if number is None:
            raise BoardError(f"hole {hole.name}: is not a hole of board {self.name}.")
        return self.kinds[number].span

    def net(self, name: str) -> Net:
        """The net of a name.

        Parameters
        ----------
        name : str

        Returns
        -------
        Net

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
        """What each of the signal nets carries."""
        return tuple(net.signal for net in self.nets if net.signal is not None)

    @cached_property
    def return_vias(self) -> tuple[Hole, ...] | None:
        """Holes of the reference nets; None where the board has no reference net: then they are unknown."""
        return self.reference_holes.holes or None

    @cached_property
    def kinds(self) -> tuple[HoleKind, ...]:
        """The different kinds of holes. ``kind`` of ``signal_holes`` and ``reference_holes`` counts in this list."""
        return tuple(HoleKind(*key, self._checked_span(hole)) for key, hole in self._kind_list.first.items())

    @cached_property
    def signal_holes(self) -> HoleColumns:
        """Holes of the signal nets as arrays; ``net`` counts in ``signal_nets``."""
        return hole_columns(self.signal_nets, self._kind_list.of_hole[~self._is_reference_hole])

    @cached_property
    def reference_holes(self) -> HoleColumns:
        """Holes of the reference nets as arrays; ``net`` counts in the reference nets."""
        nets = [net for net in self.nets if net.reference]
        return hole_columns(nets, self._kind_list.of_hole[self._is_reference_hole])

    @cached_property
    def nyquist_si(self) -> NDArray[np.float64]:
        """Nyquist frequency of every signal net [Hz]."""
        return read_only(np.array([signal.symbol_rate_si for signal in self.signals], dtype=float) / 2)

    @cached_property
    def z_stub_line_si(self) -> NDArray[np.float64]:
        """Impedance of the line a stub of every signal net hangs in [ohm]."""
        return read_only(np.array([net.z_stub_line_si for net in self.signal_nets], dtype=float))

    def per_kind(self, value: Callable[[HoleKind], float], holes: HoleColumns) -> NDArray[Any]:
        """Value of every hole that depends on its kind only.

        Parameters
        ----------
        value : callable
            Gives the value of a HoleKind; it is asked once per kind.
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
    def _kind_list(self) -> _KindList:
        kinds = _kind_list(self.nets)
        _refuse_padstacks_of_one_name(kinds.first.values())
        return kinds

    @cached_property
    def _by_signal(self) -> dict[Signal, Criterion]:
        return dict(self.signal_criteria)

    @cached_property
    def _nets_by_name(self) -> dict[str, Net]:
        return {net.name: net for net in self.nets}

    def _checked_span(self, hole: Hole) -> Span:
        stackup, padstack = self.stackup, hole.padstack
        first, last = padstack.span or (stackup.names[0], stackup.names[-1])
        i, j = (self._in_stackup(layer, f"padstack {padstack.name} span") for layer in (first, last))
        if i >= j:
            raise BoardError(
                f"padstack {padstack.name} span = {first}, {last}: must go from an upper to a lower layer."
            )
        used = [self._in_stackup(layer, f"hole {hole.name} connects") for layer in hole.connects]
        outside = [layer for layer, place in zip(hole.connects, used, strict=True) if not i <= place <= j]
        if outside:
            raise BoardError(
                f"hole {hole.name} connects '{outside[0]}': lies outside the hole's span {first} to {last} "
                f"(padstack {padstack.name})."
            )
        if hole.press_fit:
            used.append(self._check_press_fit(hole, hole.press_fit, i, j))
        self._check_pads(padstack, range(i, j + 1))
        return Span(i, min(used, default=i), max(used, default=j), j)

    def _check_press_fit(self, hole: Hole, fit: PressFit, first: int, last: int) -> int:
        """Place of the outer layer the pin enters at."""
        stackup = self.stackup
        entry = first if fit.side == "top" else last
        if entry not in (0, len(stackup.names) - 1):
            raise BoardError(f"hole {hole.name} press fit side = '{fit.side}': the hole does not reach that face.")
        thickness = stackup.edges_si[-1]
        if fit.contact_to_si > thickness:
            raise BoardError(
                f"hole {hole.name} press fit contact_to = {show(fit.contact_to_si, 'length')}: lies beyond the board, "
                f"which is {show(thickness, 'length')} thick."
            )
        return entry

    def _check_pads(self, padstack: Padstack, places: range) -> None:
        for layer, _ in (*padstack.pads, *padstack.antipads):
            if self._in_stackup(layer, f"padstack {padstack.name}") not in places:
                raise BoardError(f"padstack {padstack.name}: layer '{layer}' lies outside its span.")
        for place in places:
            copper = self.stackup.copper[place]
            antipad = padstack.antipad_at(copper.name, copper.role)
            pad = padstack.pad_at(copper.name, in_use=False, outer=place in (0, len(self.stackup.names) - 1))
            if copper.role != "signal" and antipad and pad and pad >= antipad.width_si:
                raise BoardError(
                    f"padstack {padstack.name} pad on {copper.name} = {show(pad, 'length')}: must be smaller than the "
                    f"antipad there, {show(antipad.width_si, 'length')}."
                )

    def _refuse_overlaps(self) -> None:
        """Two holes may touch only where one ends and the other begins, as stacked blind holes do."""
        columns = (self.signal_holes, self.reference_holes)
        holes = [hole for each in columns for hole in each.holes]
        place = np.concatenate([each.place for each in columns])
        drill, top, bottom = (
            np.concatenate([self.per_kind(value, each) for each in columns])
            for value in (
                lambda kind: kind.padstack.drill_si,
                lambda kind: kind.span.first,
                lambda kind: kind.span.last,
            )
        )
        placed = np.flatnonzero(~np.isnan(place))
        overlap = first_overlap(place[placed], drill[placed], top[placed], bottom[placed])
        if overlap is not None:
            one, other = (int(placed[number]) for number in overlap)
            raise BoardError(
                f"holes {holes[one].name} and {holes[other].name} are "
                f"{show(abs(place[one] - place[other]), 'length')} apart: must be at least "
                f"{show((drill[one] + drill[other]) / 2, 'length')}, or their drills run into each other."
            )

    def _in_stackup(self, layer: str, where: str) -> int:
        try:
            return self.stackup.index(layer)
        except BoardError as error:
            raise BoardError(f"{where}: {error}") from None

    def holes(self) -> Iterator[tuple[Net, Hole]]:
        """Every hole of every signal net, with its net."""
        for net in self.signal_nets:
            for hole in net.holes:
                yield net, hole

    def _repr_html_(self) -> str:
        from stubsi.show.html import board_html

        return board_html(self)


def _refuse_repeats(what: str, names: list[str]) -> None:
    if len(set(names)) == len(names):
        return
    for name, count in Counter(names).items():
        if count > 1:
            raise BoardError(f"{what} '{name}' appears {count} times; each name must be unique.")


class _KindList(NamedTuple):
    """The kinds of holes of some nets: number and first hole of every kind, and the kind number of every hole."""

    numbers: dict[_KindKey, int]
    first: dict[_KindKey, Hole]
    of_hole: NDArray[np.intp]


def _kind_list(nets: Iterable[Net]) -> _KindList:
    numbers: dict[_KindKey, int] = {}
    first: dict[_KindKey, Hole] = {}
    of_hole: list[int] = []
    for net in nets:
        for hole in net.holes:
            key = hole.padstack, hole.connects, hole.press_fit
            number = numbers.setdefault(key, len(numbers))
            if number == len(first):
                first[key] = hole
            of_hole.append(number)
    return _KindList(numbers, first, np.array(of_hole, dtype=np.intp))


def _refuse_padstacks_of_one_name(holes: Iterable[Hole]) -> None:
    first: dict[str, Hole] = {}
    for hole in holes:
        other = first.setdefault(hole.padstack.name, hole)
        if other.padstack != hole.padstack:
            raise BoardError(
                f"padstack '{hole.padstack.name}' of hole {hole.name} differs from the padstack of the same name of "
                f"hole {other.name}; give each padstack a name of its own."
            )


def shortened(name: str, most: int = 60) -> str:
    """Name for a one-line description: a long one is cut and ends in an ellipsis.

    Parameters
    ----------
    name : str
    most : int
        Greatest number of characters.

    Returns
    -------
    str
    """
    return name if len(name) <= most else name[: most - 1] + "…"
