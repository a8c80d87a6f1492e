"""Owns all copper that an IPC-2581 file draws: lines, areas, pads, teardrops, and copper without a net."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from stubsi.files.exchange_drawing import Area, Copper
from stubsi.files.exchange_reader import ExchangeReader, is_of_pads

if TYPE_CHECKING:
    import os

    from stubsi.files.exchange_drawing import Drawing
    from stubsi.files.exchange_records import LayerRecord
    from stubsi.files.xml_stream import Attributes


class Drawn(NamedTuple):
    """Where copper is drawn: number of the step, layer, net (blank: none), and whether it is a pad or a teardrop."""

    step: int
    layer: str
    net: str
    pad: bool


class DrawnCopperReader(ExchangeReader):
    """Reads all copper of one IPC-2581 file, each pad in its own shape.

    ``drawn`` holds the copper, and ``not_read`` step and layer of what cannot be read: copper that is drawn as
    clearance, and pads whose shape is neither a circle nor a rectangle.

    Parameters
    ----------
    path : path
        The file.
    """

    def __init__(self, path: str | os.PathLike[str]) -> None:
        super().__init__(path)
        self.drawn: dict[Drawn, Copper] = {}
        self.not_read: set[tuple[int, str]] = set()

    def _end_layer_pad(self) -> None:
        drawing, self._drawing = self._drawing, None
        if drawing is None or self._pad_layer is None:
            return
        step, layer = len(self.record.steps) - 1, self._pad_layer[0]
        drawing.become_pad()
        self._draw(Drawn(step, layer, self._placed_net or "", pad=True), drawing)

    def _take(self, drawing: Drawing, layer: LayerRecord, of_set: Attributes) -> None:
        step = len(self.record.steps) - 1
        if "NEGATIVE" in {of_set.get("polarity"), layer.polarity} or drawing.voids:
            self.not_read.add((step, layer.name))
        if "NEGATIVE" not in {of_set.get("polarity"), layer.polarity}:
            pad = self._is_pad or is_of_pads(of_set) or bool(drawing.flashes)
            self._draw(Drawn(step, layer.name, of_set.get("net", ""), pad), drawing)

    def _draw(self, where: Drawn, drawing: Drawing) -> None:
        """Keep a drawing, with its pads as what they are."""
        rounds = [each.size for each in drawing.flashes if each.size is not None and not each.outline]
        drawing.lines = drawing.lines + [([(0.0, 0.0), (0.0, 0.0)], size) for size in rounds]
        drawing.areas = drawing.areas + [Area(each.outline, []) for each in drawing.flashes if each.outline]
        if any(each.size is None and not each.outline for each in drawing.flashes):
            self.not_read.add((where.step, where.layer))
        self.drawn.setdefault(where, Copper()).draw(drawing)
