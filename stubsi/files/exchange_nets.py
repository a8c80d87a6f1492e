"""Owns the nets of a board that is read from an exchange file: which carry what, which are references, and pairs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.errors import BoardError
from stubsi.files.exchange_impedance import impedance_of
from stubsi.files.exchange_records import REFERENCE_CLASSES
from stubsi.files.net_pairs import NetPairs
from stubsi.value import InSI

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from stubsi.board.criterion import Criterion
    from stubsi.board.signal import Signal
    from stubsi.files.exchange_overlay import Overlay
    from stubsi.files.exchange_records import FileRecord, StepRecord


class ExchangeNets:
    """Nets of one board of a file, and what the user says of them.

    Parameters
    ----------
    record : FileRecord
        What the file says.
    step : StepRecord
        The board.
    overlay : Overlay
        What the user gives beside it. What is missing is noted in it.
    with_holes : collection of str
        Nets that have plated holes.
    pairs : mapping
        Pairs that the user gives, as in ``read_ipc2581``.
    """

    def __init__(
        self, record: FileRecord, step: StepRecord, overlay: Overlay, with_holes: Collection[str], *, pairs: object
    ) -> None:
        self.record, self.step, self.overlay, self._with_holes = record, step, overlay, with_holes
        self.names = sorted({*step.net_class, *with_holes, *(net for _, net in step.copper)} - {""})
        self.pairs = NetPairs(pairs, self.names, step.partner)
        self.without_holes: list[str] = []
        self.references: list[str] = []

    def signals(self) -> dict[str, Signal]:
        """Signal of every net that got one; the second half of a pair takes that of the first.

        Returns
        -------
        dict of net to Signal
        """
        signals = {net: signal for net in self.names if (signal := self.overlay.signals.of(net)) is not None}
        for net, signal in list(signals.items()):
            other = self.pairs.other(net)
            if other is not None and signals.setdefault(other, signal) != signal:
                raise BoardError(f"signals: {net} and {other} are a pair and must have the same signal.")
        return signals

    def take_references(self, signals: Mapping[str, Signal]) -> None:
        """Find the reference nets: those that the user gives, and those of a class of the file that says so.

        Parameters
        ----------
        signals : mapping of net to Signal

        Raises
        ------
        BoardError
            One of them gets a signal.
        """
        for net in self.names:
            given = self.overlay.reference.of(net) is not None
            by_class = self.step.net_class.get(net) in REFERENCE_CLASSES
            if net in signals and (given or by_class):
                why = "given as reference" if given else f"of class {self.step.net_class[net]} in the file"
                raise BoardError(f"signals: net {net} gets a signal, but it is {why}; a reference net carries none.")
            if given or by_class:
                self.references.append(net)

    def unmatched(self, signals: Mapping[str, Signal]) -> list[str]:
        """Nets that are on the board in no way.

        Parameters
        ----------
        signals : mapping of net to Signal

        Returns
        -------
        list of str
        """
        known = {*signals, *self.references}
        return [net for net in self.names if net not in known]

    def groups(self, signals: Mapping[str, Signal]) -> dict[str, tuple[str, ...]]:
        """Nets of the board by name: one net of the file, or the two halves of a pair, P before N.

        Parameters
        ----------
        signals : mapping of net to Signal

        Returns
        -------
        dict of str to tuple of str
        """
        groups: dict[str, tuple[str, ...]] = {}
        for net in sorted(signals):
            other = self.pairs.other(net)
            if other is None:
                legs: tuple[str, ...] = (net,)
            elif self.pairs.is_half_p(net):
                legs = (net, other)
            else:
                continue
            with_holes = [leg for leg in legs if leg in self._with_holes]
            if not with_holes:
                self.without_holes += legs
                continue
            for leg in legs:
                if leg not in with_holes:
                    self.overlay.miss("holes of the other half of pairs", f"{leg} (pair of {with_holes[0]})")
            groups["/".join(legs)] = legs
        return groups

    def impedance(self, name: str, legs: tuple[str, ...]) -> InSI | None:
        """Impedance of the line of a net, of a pair the differential one; None where it is missing.

        Parameters
        ----------
        name : str
        legs : tuple of str
            The net, or both halves of the pair.

        Returns
        -------
        InSI or None
        """
        found = {value for leg in legs if (value := self.overlay.z0.of(leg)) is not None}
        if len(found) > 1:
            raise BoardError(f"z0: the halves of pair {name} have different impedances; give one, the differential.")
        if found:
            return found.pop()
        stated = impedance_of(self.record, self.step, legs)
        if stated is None:
            self.overlay.miss("impedance of nets", name)
            return None
        self.record.assume("impedances of lines are not given, and are those that the file specifies")
        return InSI(stated)

    def criterion(self, name: str, legs: tuple[str, ...]) -> Criterion | None:
        """Criterion of a net; None for that of the board.

        Parameters
        ----------
        name : str
        legs : tuple of str
            The net, or both halves of the pair.

        Returns
        -------
        Criterion or None
        """
        found = {value for leg in legs if (value := self.overlay.criterion.of(leg)) is not None}
        if len(found) > 1:
            raise BoardError(f"criterion: the halves of pair {name} have different criteria; give one.")
        return found.pop() if found else None
