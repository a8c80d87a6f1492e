"""Owns the board: stackup and nets together, checked against each other, and the stubs every hole leaves."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple

from scipy.spatial import KDTree

from stubsi.board.criterion import DEFAULT, Criterion
from stubsi.board.net import Hole, Net
from stubsi.board.signal import Signal, as_signal
from stubsi.board.stackup import Stackup
from stubsi.errors import BoardError
from stubsi.units import show
from stubsi.value import Value, checked, pairs, sequence

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from stubsi.board.padstack import Padstack


class Span(NamedTuple):
    """Copper layers of a hole by place from the top: where the barrel starts and ends, and the outermost in use."""

    first: int
    upper_in_use: int
    lower_in_use: int
    last: int


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
        antipad on a plane, a contact zone deeper than the board, two holes drilled into each other.
    """

    stackup: Stackup
    nets: tuple[Net, ...]
    name: str = ""
    criterion: Criterion = DEFAULT
    signal_criteria: tuple[tuple[Signal, Criterion], ...] = field(default=())

    def __post_init__(self) -> None:
        own = self.__dict__
        checked(self.stackup, "board stackup", Stackup)
        checked(self.criterion, "board criterion", Criterion)
        own["nets"] = sequence(self.nets, "board nets", Net)
        own["signal_criteria"] = tuple(
            (as_signal(signal), checked(criterion, f"criterion of {signal}", Criterion))
            for signal, criterion in pairs(self.signal_criteria, "board signal_criteria")
        )
        own["_by_signal"] = dict(self.signal_criteria)
        _refuse_repeats(
            "signal criterion", [f"{s.symbol_rate_si / 1e9:g} GBd {s.modulation}" for s, _ in self.signal_criteria]
        )
        _refuse_repeats("net", [net.name for net in self.nets])
        _refuse_repeats("hole", [hole.name for net in self.nets for hole in net.holes])
        distinct: dict[tuple, Span] = {}
        own["_spans"] = spans = {}
        for net in self.nets:
            for layer in net.layers:
                self._in_stackup(layer, f"net {net.name} layers")
            for hole in net.holes:
                key = (id(hole.padstack), hole.connects, id(hole.press_fit), net.reference)
                if key not in distinct:
                    distinct[key] = self._checked_span(net, hole)
                spans[hole.name] = distinct[key]
        self._refuse_overlaps([hole for net in self.nets for hole in net.holes if hole.xy_si is not None])

    def criterion_of(self, net: Net) -> Criterion:
        """What a net must meet: its own criterion, else its signal's, else the board's."""
        return net.criterion or self._by_signal.get(net.signal) or self.criterion

    def remembered(self, key: Any, make: Callable[[], Any]) -> Any:
        """Result of ``make``, derived from this board under ``key`` once; no part of the board's value."""
        memo = self.__dict__.setdefault("_memo", {})
        if key not in memo:
            memo[key] = make()
        return memo[key]

    def __getstate__(self) -> dict[str, Any]:
        return {name: value for name, value in self.__dict__.items() if name != "_memo"}

    def span(self, hole: Hole) -> Span:
        """Copper layers of a hole of this board, by place from the top."""
        return self._spans[hole.name]

    def net(self, name: str) -> Net:
        """The net of that name; BoardError if there is none."""
        for net in self.nets:
            if net.name == name:
                return net
        raise BoardError(f"net '{name}': no such net on board {self.name}.")

    @cached_property
    def signal_nets(self) -> tuple[Net, ...]:
        """The nets that are ranked: all but the reference nets."""
        return tuple(net for net in self.nets if not net.reference)

    @cached_property
    def return_vias(self) -> tuple[Hole, ...] | None:
        """Holes of the reference nets; None where the board has no reference net: then they are unknown."""
        holes = tuple(hole for net in self.nets if net.reference for hole in net.holes)
        return holes or None

    def _checked_span(self, net: Net, hole: Hole) -> Span:
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
            used.append(self._check_press_fit(hole, i, j))
        self._check_pads(padstack, range(i, j + 1))
        return Span(i, min(used, default=i), max(used, default=j), j)

    def _check_press_fit(self, hole: Hole, first: int, last: int) -> int:
        """Place of the outer layer the pin enters at."""
        fit, stackup = hole.press_fit, self.stackup
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

    def _refuse_overlaps(self, holes: list[Hole]) -> None:
        """Two holes may touch only where one ends and the other begins, as stacked blind holes do."""
        if not holes:
            return
        widest = max(hole.padstack.drill_si for hole in holes)
        for i, j in KDTree([hole.xy_si for hole in holes]).query_pairs(widest):
            a, b = holes[i], holes[j]
            apart, needed = math.dist(a.xy_si, b.xy_si), (a.padstack.drill_si + b.padstack.drill_si) / 2
            one, other = self.span(a), self.span(b)
            if apart < needed and max(one.first, other.first) < min(one.last, other.last):
                raise BoardError(
                    f"holes {a.name} and {b.name} are {show(apart, 'length')} apart: must be at least "
                    f"{show(needed, 'length')}, or their drills run into each other."
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
    for name, count in Counter(names).items():
        if count > 1:
            raise BoardError(f"{what} '{name}' appears {count} times; each name must be unique.")
