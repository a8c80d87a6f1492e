"""Owns the reading of padstacks: definitions with pads and antipads, and the placed ones of revisions A and B."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.files.exchange_drawing import Area, Copper, Drawing, placed
from stubsi.files.exchange_records import COPPER, PLATED, THROUGH, HoleRecord, PadstackRecord
from stubsi.files.exchange_shapes import ShapeReader
from stubsi.files.exchange_step import name_holes
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    import os
    from collections.abc import Callable

    from stubsi.files.exchange_drawing import Flash, Turn
    from stubsi.files.exchange_records import FileRecord, StepRecord
    from stubsi.files.xml_stream import Attributes

HOLE_TOLERANCE = ("plusTol", "minusTol")


class PadstackReader(ShapeReader):
    """Reads the padstacks of one IPC-2581 file to records. A subclass reads the copper.

    Parameters
    ----------
    path : path
        The file.
    """

    def __init__(self, path: str | os.PathLike[str]) -> None:
        super().__init__(path)
        self._padstack_numbers: dict[str, int] = {}
        self._component_numbers: dict[str, int] = {}
        self._shape_numbers: dict[Flash, int] = {}
        self._pins_to_come: list[tuple[str, str, Drawing]] = []
        self._padstack: PadstackRecord | None = None
        self._pad_layer: tuple[str, str] | None = None
        self._placed_net: str | None = None
        self._placed_hole: HoleRecord | None = None

    def records(self, progress: Callable[[int, int], object] | None = None) -> FileRecord:
        """Read the file, and join the holes of placed padstacks to those of the drill layers.

        Parameters
        ----------
        progress : callable, optional
            As in ``XmlStream.read``.

        Returns
        -------
        FileRecord

        Raises
        ------
        FileError
            As in ``LayerReader.records``.
        """
        record = super().records(progress)
        for step in record.steps:
            if step.padstack_holes:
                _join_holes(record, step)
            if step.holes_without_net:
                name_holes(record, step)
        return record

    def _start_pad_stack_def(self, attributes: Attributes) -> None:
        name = self.text(attributes, "name", "PadStackDef")
        if name in self.record.padstacks:
            self.refuse(f"PadStackDef {as_shown(name)} appears twice")
        self._padstack = self.record.padstacks[name] = PadstackRecord()

    def _start_padstack_pad_def(self, attributes: Attributes) -> None:
        self._pad_layer = (
            self.optional(attributes, "layerRef", "PadstackPadDef"),
            self.optional(attributes, "padUse", "PadstackPadDef"),
        )
        self._draw_from_here()

    def _end_padstack_pad_def(self) -> None:
        drawing, self._drawing = self._drawing, None
        if self._padstack is not None and self._pad_layer is not None and drawing is not None:
            drawing.become_pad()
            layer, use = self._pad_layer
            sizes = {"REGULAR": self._padstack.pads, "ANTIPAD": self._padstack.antipads}.get(use)
            if sizes is not None and drawing.flashes:
                sizes[layer] = drawing.flashes[0].size

    # padstacks at their places: revisions A and B

    def _start_pad_stack(self, attributes: Attributes) -> None:
        self._step("PadStack")
        self._placed_net = self.optional(attributes, "net", "PadStack")

    def _end_pad_stack(self) -> None:
        self._placed_net = None

    def _start_layer_hole(self, attributes: Attributes) -> None:
        if self._placed_net is None:
            return
        status = self.text(attributes, "platingStatus", "LayerHole")
        if status == "NONPLATED":
            self.record.ignore("non-plated holes")
            return
        if status not in PLATED:
            self.refuse(
                f"LayerHole platingStatus = {as_shown(status)}: must be {', '.join(sorted(PLATED))} or NONPLATED"
            )
        x, y = self._point(attributes, "LayerHole")
        diameter, spread = (
            self._diameter(attributes, "LayerHole"),
            self._spread(attributes, "LayerHole", HOLE_TOLERANCE),
        )
        self._placed_hole = HoleRecord(self._placed_net, "", x, y, diameter, "", self.line, spread)

    def _start_span(self, attributes: Attributes) -> None:
        super()._start_span(attributes)
        ends = self.optional(attributes, "fromLayer", "Span"), self.optional(attributes, "toLayer", "Span")
        if self._placed_hole is not None and all(ends):
            self._placed_hole = self._placed_hole._replace(span=ends)

    def _end_layer_hole(self) -> None:
        if self._placed_hole is not None:
            self.record.steps[-1].padstack_holes.append(self._placed_hole)
        self._placed_hole = None

    def _start_layer_pad(self, attributes: Attributes) -> None:
        name = self.text(attributes, "layerRef", "LayerPad")
        if name not in self.record.layers:
            self.refuse(f"LayerPad layerRef = {as_shown(name)}: the file has no such Layer")
        if self._placed_net is not None and self.record.layers[name].function in COPPER:
            self._pad_layer = (name, "")
            self._draw_from_here()

    def _end_layer_pad(self) -> None:
        drawing, self._drawing = self._drawing, None
        if drawing is not None and self._pad_layer is not None and self._placed_net:
            drawing.become_pad()
            self._keep(self._pad_layer[0], self._placed_net, drawing, pad=True)

    def _diameter(self, attributes: Attributes, element: str) -> float:
        diameter = self._size(attributes, "diameter", element)
        if diameter == 0:
            self.refuse(f"{element} diameter = 0: must be positive")
        return diameter

    # copper of a net

    def _keep(self, layer: str, net: str, drawing: Drawing, *, pad: bool) -> None:
        """Add a drawing to the copper of its net."""
        step = self.record.steps[-1]
        copper = step.copper.setdefault((layer, net), Copper())
        copper.note_clearances(len(step.clearances.get(layer, ())))
        copper.draw(drawing)
        rows = copper.pads if pad else copper.flashes
        numbers = (
            _number_of(drawing.padstack, self._padstack_numbers, self.record.pad_padstacks),
            _number_of(drawing.pin or "", self._component_numbers, self.record.pin_components),
        )
        shapes = [
            (-1.0 if each.size is None else each.size * drawing.turn.scale, self._shape_number(each, drawing.turn))
            for each in drawing.flashes
        ]
        for place in drawing.places or [(0.0, 0.0)] if shapes else []:
            ((x, y),) = drawing.turn.moved([(0.0, 0.0)], place)
            for size, shape in shapes:
                rows.extend((x, y, size, *numbers, shape))
        if drawing.pin:
            self._solder(layer, net, drawing)

    def _shape_number(self, flash: Flash, turn: Turn) -> int:
        """Number of a shape that is no circle, as it is turned; -1 for a circle."""
        if not flash.outline:
            return -1
        turned = flash.turned(turn._replace(offset=(0.0, 0.0)))
        number = self._shape_numbers.setdefault(turned, len(self._shape_numbers))
        if number == len(self.record.pad_shapes):
            self.record.pad_shapes.append(turned.outline)
        return number

    def _solder(self, layer: str, net: str, drawing: Drawing) -> None:
        """The pad of a pin that sits in no hole is where the net goes on into the component: it connects as an area."""
        component = self.record.steps[-1].components.get(drawing.pin or "")
        if component is None:
            self._pins_to_come.append((layer, net, drawing))
        elif component.mount not in THROUGH:
            copper = self.record.steps[-1].copper[layer, net]
            for place in drawing.places or [(0.0, 0.0)]:
                outlines = [Area(each.outline, []) for each in drawing.flashes if each.outline]
                copper.areas += [placed(area, drawing.turn, place) for area in outlines]
                ((x, y),) = drawing.turn.moved([(0.0, 0.0)], place)
                for size in (each.size for each in drawing.flashes if each.size and not each.outline):
                    copper.lines.extend((x, y, x, y, size * drawing.turn.scale))

    def _end_step(self) -> None:
        """Solder the pads that stood before their components, as placed padstacks do."""
        known = self.record.steps[-1].components if self.record.steps else {}
        for layer, net, drawing in self._pins_to_come:
            if drawing.pin in known:
                self._solder(layer, net, drawing)
            else:
                self.record.ignore("pads of pins whose component is not in the file")
        self._pins_to_come = []


def _join_holes(record: FileRecord, step: StepRecord) -> None:
    """Give the holes of drill layers without Span that of the padstack at their place, and add the holes that stand
    in padstacks only.
    """
    at_place: dict[tuple[float, float], list[HoleRecord]] = {}
    for hole in step.padstack_holes:
        at_place.setdefault(_place(hole), []).append(hole)
    taken: set[int] = set()
    joined = []
    for hole in step.holes:
        spans = set(record.layers[hole.layer].spans)
        same = [
            each
            for each in at_place.get(_place(hole), ())
            if each.net in {"", hole.net}
            and (not spans or each.span is None or each.span in spans or each.span[::-1] in spans)
        ]
        taken.update(map(id, same))
        stated = {each.span for each in same if each.span is not None}
        joined.append(hole._replace(span=stated.pop()) if not spans and len(stated) == 1 else hole)
    for hole in step.padstack_holes:
        if id(hole) not in taken:
            (joined if hole.net else step.holes_without_net).append(hole)
    step.holes = joined


def _place(hole: HoleRecord) -> tuple[float, float]:
    return round(hole.x, 9), round(hole.y, 9)


def _number_of(name: str, numbers: dict[str, int], names: list[str]) -> int:
    """Number of a name in a list; -1 for a blank name. A new name is added."""
    if not name:
        return -1
    if name not in numbers:
        numbers[name] = len(names)
        names.append(name)
    return numbers[name]
