"""Owns the making of holes from the records of an exchange file: their pads and clearances, as padstacks."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from stubsi.board.layers import CopperLayer
from stubsi.board.padstack import Antipad, Padstack
from stubsi.board.stackup import Stackup
from stubsi.files.exchange_planes import clearances_of
from stubsi.files.exchange_spans import HoleSpans
from stubsi.units import show
from stubsi.value import InSI

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from stubsi.files.exchange_overlay import Overlay
    from stubsi.files.exchange_planes import Around, Clearances
    from stubsi.files.exchange_records import FileRecord, HoleRecord, StepRecord


class HoleMaker:
    """Makes the padstacks of holes.

    Parameters
    ----------
    record : FileRecord
        What the file says.
    overlay : Overlay
        What the user gives beside it. What is missing is noted in it.
    stackup : Stackup
    """

    def __init__(self, record: FileRecord, overlay: Overlay, stackup: Stackup) -> None:
        self.record, self.overlay, self.stackup = record, overlay, stackup
        self._padstacks: dict[tuple[Any, ...], Padstack] = {}
        self._padstack_names: dict[str, int] = {}
        self.spans = HoleSpans(record, overlay, stackup)
        self._carry: set[str] = set()
        self._negative = {name for name, layer in record.layers.items() if layer.polarity == "NEGATIVE"}

    def carry_traces(self, in_use: set[str]) -> None:
        """Take planes that carry traces of signal nets as "mixed", unless the user says that they are planes.

        Parameters
        ----------
        in_use : set of str
            Layers where holes of signal nets are used.
        """
        for layer in self.stackup.copper:
            if layer.role == "plane" and layer.name in in_use and not self.overlay.gives_role(layer.name):
                self._carry.add(layer.name)
                self.record.assume("planes carry traces of signal nets and count as mixed")
        if self._carry:
            layers = tuple(
                CopperLayer(name=each.name, thickness=InSI(each.thickness_si), role="mixed")
                if isinstance(each, CopperLayer) and each.name in self._carry
                else each
                for each in self.stackup.layers
            )
            self.stackup = Stackup(layers=layers, source=self.stackup.source)

    def clearances(
        self,
        step: StepRecord,
        holes: Sequence[HoleRecord],
        spans: Sequence[tuple[str, ...]],
        in_use: Sequence[set[str]],
    ) -> Clearances:
        """Measure the clearances of planes around holes, where nobody states them or a layer is a plane in part only.

        Parameters
        ----------
        step : StepRecord
            The board.
        holes : sequence of HoleRecord
        spans : sequence of tuple of str
            Layers of each hole.
        in_use : sequence of set of str
            Layers where each hole is used.

        Returns
        -------
        Clearances
        """
        roles = {layer.name: layer.role for layer in self.stackup.copper}
        wanted = []
        for hole, span, used in zip(holes, spans, in_use, strict=True):
            stated = self.overlay.antipads.of(hole.padstack, hole.diameter) is not None
            defined = self.record.padstacks[hole.padstack].antipads if hole.padstack in self.record.padstacks else {}
            wanted.append(
                {
                    layer
                    for layer in span
                    if layer not in used
                    and (roles[layer] == "mixed" or (roles[layer] == "plane" and not stated and not defined.get(layer)))
                }
            )
        return clearances_of(step, holes, wanted, self._negative)

    def return_padstack(self, hole: HoleRecord) -> Padstack:
        """Padstack of a return via. It has no pads, because its copper is the plane itself.

        Parameters
        ----------
        hole : HoleRecord

        Returns
        -------
        Padstack
        """
        return self._made(hole, "", self.spans.of(hole), {}, None, {}, signal=False)

    def signal_padstack(
        self,
        hole: HoleRecord,
        names: set[str],
        drawn: Mapping[str, float | None],
        in_use: set[str],
        around: Around,
    ) -> Padstack:
        """Padstack of a hole of a signal net.

        Parameters
        ----------
        hole : HoleRecord
        names : set of str
            Padstacks of its pads.
        drawn : mapping of layer to float or None
            Diameters of its pads as drawn [m].
        in_use : set of str
            Layers where it is used.
        around : Around
            Clearances as drawn.

        Returns
        -------
        Padstack
        """
        name, layers = hole.padstack or (min(names) if names else ""), self.spans.of(hole)
        pads = self._pads(hole, name, drawn, layers)
        antipad, antipads = self._antipads(hole, name, [each for each in layers if each not in in_use], around, pads)
        return self._made(hole, name, layers, pads, antipad, antipads, signal=True)

    def _made(  # noqa: PLR0917 - the parts of a padstack
        self,
        hole: HoleRecord,
        name: str,
        layers: tuple[str, ...],
        pads: Mapping[str, float | None],
        antipad: Antipad | None,
        antipads: Mapping[str, Any],
        *,
        signal: bool,
    ) -> Padstack:
        plating = self.overlay.plating
        drill = hole.diameter + 2 * (plating or 0.0)
        key = name, drill, layers, tuple(sorted(pads.items())), signal, antipad, tuple(sorted(antipads.items()))
        if key not in self._padstacks:
            through = (layers[0], layers[-1]) == (self.stackup.names[0], self.stackup.names[-1])
            title = name or f"{show(drill, 'length')}{'' if signal else ' return via'}"
            count = self._padstack_names[title] = self._padstack_names.get(title, 0) + 1
            self._padstacks[key] = Padstack(
                name=title if count == 1 else f"{title} #{count}",
                drill=InSI(drill),
                finished=None if plating is None else InSI(hole.diameter),
                pads={layer: None if size is None else _si(size) for layer, size in pads.items()},
                antipad=antipad,
                antipads=antipads,
                span=None if through else (layers[0], layers[-1]),
            )
        return self._padstacks[key]

    def _pads(
        self, hole: HoleRecord, name: str, drawn: Mapping[str, float | None], layers: Sequence[str]
    ) -> dict[str, float | None]:
        """Diameter of the pad on every layer of the span that has one: as drawn, else as defined, else as given."""
        given = self.overlay.pads.of(name, hole.diameter)
        if given is not None:
            return {} if given[0] is None else {layer: float(given[0]) for layer in layers}
        sizes = dict(drawn)
        if not sizes and name in self.record.padstacks:
            sizes = dict(self.record.padstacks[name].pads)
        sizes = {layer: size for layer, size in sizes.items() if layer in layers and size != 0.0}
        if not sizes or None in sizes.values():
            self.overlay.miss("pads of holes", name or show(hole.diameter, "length"))
        drill = hole.diameter + 2 * (self.overlay.plating or 0.0)
        left = {layer: size for layer, size in sizes.items() if size is None or size >= drill}
        for _ in range(len(sizes) - len(left)):
            self.record.assume("pads are smaller than their hole, and count as drilled away")
        return left

    def _antipads(
        self, hole: HoleRecord, name: str, layers: Sequence[str], around: Around, pads: Mapping[str, float | None]
    ) -> tuple[Antipad | None, dict[str, Any]]:
        """Clearance in every plane, and those by layer: as given, else as defined, else as measured.

        A "mixed" layer is a plane where a clearance is drawn around the hole, and nowhere else.
        """
        given = self.overlay.antipads.of(name, hole.diameter)
        stated = None if given is None else given[0]
        everywhere = stated if isinstance(stated, Antipad) else None
        by_layer: dict[str, Any] = {} if stated is None or everywhere is not None else dict(stated)  # type: ignore[arg-type]
        defined = self.record.padstacks[name].antipads if name in self.record.padstacks else {}
        roles = {layer.name: layer.role for layer in self.stackup.copper}
        for layer in self.stackup.names if everywhere is None else layers:
            drawn = around.widths.get(layer)
            if layer in by_layer or (roles[layer] != "mixed" and everywhere is not None):
                continue
            if roles[layer] == "mixed" and layer in around.known and (drawn is None or layer not in layers):
                continue
            if everywhere is not None:
                if drawn is not None or layer in self._carry:
                    by_layer[layer] = everywhere
                continue
            width = (defined.get(layer) if given is None and layer in self.spans.of(hole) else None) or 0.0
            if not width and drawn is not None and layer in layers:
                width = drawn
            inside = max(pads.get(layer) or 0.0, hole.diameter + 2 * (self.overlay.plating or 0.0))
            if width and width <= inside:
                self.record.assume("clearances are not wider than the pad or hole in them, and stay unknown")
            elif width:
                if not defined.get(layer):
                    self.record.assume("clearances in planes are not stated, and are read from the copper")
                by_layer[layer] = InSI(width)
        planes = [layer for layer in layers if roles[layer] == "plane"]
        if given is None and len(set(by_layer.values())) == 1 and all(layer in by_layer for layer in planes):
            everywhere = Antipad(width=next(iter(by_layer.values())))  # one clearance on all planes that it passes
        return everywhere, by_layer


def _si(length: float) -> Any:
    """A length [m] in the form that a mapping of lengths takes."""
    return InSI(length)
