"""Owns the making of a Board from the records of an exchange file and from what the user gave beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

from stubsi.board.board import Board
from stubsi.board.criterion import DEFAULT
from stubsi.board.net import Hole, Net
from stubsi.errors import BoardError, FileError
from stubsi.files.exchange_copper import copper_met
from stubsi.files.exchange_holes import HoleMaker
from stubsi.files.exchange_nets import ExchangeNets
from stubsi.files.exchange_records import BLIND, PRESS_FIT
from stubsi.files.exchange_stackup import stackup_of
from stubsi.files.exchange_step import holes_of_nets, one_step
from stubsi.files.schema import errors_at
from stubsi.value import InSI

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from stubsi.board.net import StubFeedName
    from stubsi.board.padstack import Padstack, PressFit
    from stubsi.board.signal import Signal
    from stubsi.board.stackup import Stackup
    from stubsi.files.exchange_overlay import Overlay
    from stubsi.files.exchange_records import FileRecord, HoleRecord

    Connected: TypeAlias = Mapping[str, list[tuple[HoleRecord, Padstack, tuple[str, ...], PressFit | None]]]
    """Holes of every net, each with its padstack, the layers in use, and what a press-fit pin in it needs."""


class BoardMaker:
    """Makes the board of one file.

    Parameters
    ----------
    record : FileRecord
        What the file says.
    overlay : Overlay
        What the user gives beside it.
    stackup : Stackup, optional
        Layers of the board, where the file has none.
    pairs : mapping
        Pairs that the user gives, as in ``read_ipc2581``.

    Raises
    ------
    FileError
        The file holds several boards, no stackup, or a stackup that is none.
    """

    def __init__(self, record: FileRecord, overlay: Overlay, stackup: Stackup | None = None, *, pairs: object) -> None:
        self.record, self.overlay = record, overlay
        self.step = one_step(record, overlay.step)
        overlay.refuse_other_step(self.step.name)
        self.stackup = stackup or stackup_of(record, self.step, overlay)
        self.holes = holes_of_nets(record, self.step)
        self.nets = ExchangeNets(record, self.step, overlay, self.holes, pairs=pairs)
        self.unmatched: list[str] = []
        self.made = HoleMaker(record, overlay, self.stackup)

    def board(self) -> Board:
        """Make the board.

        Returns
        -------
        Board
            The signal nets that got a signal, and the reference nets.

        Raises
        ------
        FileError
            Something that the board needs is neither in the file nor given, or the parts contradict each other.
        BoardError
            Something that the user gave matches nothing in the file, or is given in two ways.
        """
        signals = self.nets.signals()
        self.nets.take_references(signals)
        groups, references = self.nets.groups(signals), self.nets.references
        connected = self._connected(groups)
        impedance = {name: self.nets.impedance(name, legs) for name, legs in groups.items()}
        criterion = {name: self.nets.criterion(name, legs) for name, legs in groups.items()}
        feeds = self._feeds(connected)
        self.unmatched = self.nets.unmatched(signals)
        self.overlay.refuse_unused(self.nets.names, signals, self.record.layers, self.step.components)
        self._refuse_missing(signals)
        nets = []
        for name, legs in groups.items():
            holes = self._signal_holes(legs, connected, feeds)
            with errors_at(f"{self.record.name}: net {name}"):
                nets.append(
                    Net(
                        name=name,
                        signal=signals[legs[0]],
                        z0=impedance[name],
                        holes=holes,
                        criterion=criterion[name],
                    )
                )
        joined = self._joined(references)
        nets += [self._reference_net(net, joined) for net in references if net in self.holes]
        self.overlay.spans.refuse_unused()
        if not any(net.reference for net in nets):
            self.record.assume("no reference net with a hole: return vias stay unknown; give reference")
        with errors_at(self.record.name):
            return Board(
                stackup=self.stackup,
                nets=tuple(nets),
                name=self.step.name or self.record.name,
                criterion=self.overlay.board_criterion or DEFAULT,
            )

    def _feeds(self, connected: Connected) -> dict[str, StubFeedName]:
        """Feed of every hole that got one: by its own name, or else by that of its net."""
        given, feeds = self.overlay.feed, {}
        for net, holes in connected.items():
            for number in range(1, len(holes) + 1):
                hole = f"{net}.{number}"
                feed = given.of(hole if hole in given.items else net)
                if feed is not None:
                    feeds[hole] = feed
        return feeds

    def _signal_holes(
        self, legs: tuple[str, ...], connected: Connected, feeds: Mapping[str, StubFeedName]
    ) -> tuple[Hole, ...]:
        """Holes of a net, or of both legs of a pair, each named after its net and its number."""
        holes = []
        for letter, net in zip(("P", "N") if len(legs) == 2 else ("",), legs, strict=True):
            for number, (hole, padstack, connects, press_fit) in enumerate(connected[net], 1):
                with errors_at(f"{self.record.name}: line {hole.line}"):
                    holes.append(
                        Hole(
                            name=f"{net}.{number}",
                            padstack=padstack,
                            connects=connects,
                            x=InSI(hole.x),
                            y=InSI(hole.y),
                            leg=letter,  # type: ignore[arg-type] # one of the legs
                            press_fit=press_fit,
                            feed=feeds.get(f"{net}.{number}", ""),
                        )
                    )
        return tuple(holes)

    def _reference_net(self, name: str, joined: Mapping[str, list[tuple[str, ...]]]) -> Net:
        """A reference net, its holes numbered; those whose ends the file does not say are left out and counted."""
        holes = []
        for number, hole in enumerate(self.holes[name]):
            if self._has_no_end(hole):
                self.record.ignore("blind or buried holes of reference nets, whose ends the file does not say")
                continue
            with errors_at(f"{self.record.name}: line {hole.line}"):
                holes.append(
                    Hole(
                        name=f"{name}.{number + 1}",
                        padstack=self.made.return_padstack(hole),
                        connects=joined[name][number] if name in joined else (),
                        x=InSI(hole.x),
                        y=InSI(hole.y),
                    )
                )
        with errors_at(f"{self.record.name}: net {name}"):
            return Net(name=name, holes=tuple(holes), reference=True)

    def _has_no_end(self, hole: HoleRecord) -> bool:
        """Whether a hole is blind or buried, and nobody says where it ends."""
        blind = hole.layer and self.record.layers[hole.layer].function == BLIND
        return bool(blind) and self.made.spans.given(hole) is None

    def _joined(self, references: Sequence[str]) -> dict[str, list[tuple[str, ...]]]:
        """Layers that are planes in part, where an area of its own net joins each reference hole."""
        mixed = {layer.name for layer in self.stackup.copper if layer.role == "mixed"}
        holes = [hole for net in references for hole in self.holes.get(net, ())] if mixed else []
        if not holes:
            return {}
        spans = [
            () if self._has_no_end(hole)
            else tuple(layer for layer in self.made.spans.of(hole) if layer in mixed)
            for hole in holes
        ]  # fmt: skip
        met = copper_met(self.record, self.step, holes, spans)
        joined: dict[str, list[tuple[str, ...]]] = {}
        for hole, span, used in zip(holes, spans, met.in_use, strict=True):
            joined.setdefault(hole.net, []).append(tuple(layer for layer in span if layer in used))
        return joined

    # holes

    def _connected(
        self, groups: Mapping[str, tuple[str, ...]]
    ) -> dict[str, list[tuple[HoleRecord, Padstack, tuple[str, ...], PressFit | None]]]:
        """Holes of the signal nets, with padstack, layers where the net uses them, from the top, and press-fit pin."""
        holes = [hole for legs in groups.values() for net in legs for hole in self.holes.get(net, ())]
        made = self.made
        spans = [made.spans.of(hole) for hole in holes]
        met = copper_met(self.record, self.step, holes, spans)
        names = self._names(holes)
        in_use = [
            self._in_use(name, hole, met.in_use[i]) for i, (hole, name) in enumerate(zip(holes, names, strict=True))
        ]
        made.carry_traces(set().union(*in_use))
        self.stackup = made.stackup
        clearances = made.clearances(self.step, holes, spans, in_use)
        connected: dict[str, list[tuple[HoleRecord, Padstack, tuple[str, ...], PressFit | None]]] = {}
        for number, hole in enumerate(holes):
            with errors_at(f"{self.record.name}: line {hole.line}"):
                padstack = made.signal_padstack(
                    hole, met.padstacks[number], met.pads[number], in_use[number], clearances.of(number)
                )
            used = in_use[number]
            order = [*self.stackup.names, *sorted(used.difference(self.stackup.names))]
            layers = tuple(each for each in order if each in used)
            connected.setdefault(hole.net, []).append((hole, padstack, layers, self._press_fit(met.pins[number])))
        return connected

    def _press_fit(self, components: set[str]) -> PressFit | None:
        """What the press-fit pin in a hole needs, as given for its component; None where no such pin is known."""
        for name in sorted(components):
            given = self.overlay.press_fit.of(name)
            if given is not None:
                return given
            if self.step.components[name].mount == PRESS_FIT:
                self.record.assume("holes hold a press-fit pin whose contact zone is not known; give press_fit")
        return None

    def _names(self, holes: Sequence[HoleRecord]) -> list[str]:
        """Names of holes: that of the net and a number."""
        counts: dict[str, int] = {}
        names = []
        for hole in holes:
            counts[hole.net] = counts.get(hole.net, 0) + 1
            names.append(f"{hole.net}.{counts[hole.net]}")
        return names

    def _in_use(self, name: str, hole: HoleRecord, met: set[str]) -> set[str]:
        """Layers where a hole is used: as its copper says, or as the user knows what the file does not say."""
        given = self._given_layers(name, hole.net, met)
        in_use = met | given if name in self.overlay.connects.items else met or given
        if not in_use:
            self.overlay.miss("layers in use of holes", f"{name} (line {hole.line})")
        return in_use

    def _given_layers(self, hole: str, net: str, in_use: set[str]) -> set[str]:
        """Layers in use that the user gives for a hole by its own name, or else for its net."""
        connects = self.overlay.connects
        given = connects.of(hole) if hole in connects.items else connects.of(net)
        if hole in connects.items and not set(given or ()) >= in_use:
            raise BoardError(
                f"connects: hole {hole}: copper of its net touches it on {', '.join(sorted(in_use))} in the file; "
                f"leave it out, or give these layers."
            )
        return set(given or ())

    # what is missing

    def _refuse_missing(self, signals: Mapping[str, Signal]) -> None:
        for what, names in self.overlay.missing.items():
            self.overlay.missing[what] = list(dict.fromkeys(names))
        if not signals:
            for _ in self.overlay.missing.get("role of layers", ()):
                self.record.assume("copper layers have no role in the file and count as mixed; give roles")
        elif text := self.overlay.missing_text():
            raise FileError(f"{self.record.name}: does not say all that the board needs. Missing: {text}.")
