"""Owns all copper that an IPC-2581 file draws: lines, areas, pads, teardrops, and copper without a net."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from stubsi.files.exchange_drawing import Area, Copper
from stubsi.files.exchange_reader import NO_NET_USAGE, NO_ROUTES, ExchangeReader

if TYPE_CHECKING:
    import os

    from stubsi.files.exchange_drawing import Drawing
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
        self._is_pad = False

    def _start_features(self, attributes: Attributes) -> None:
        super()._start_features(attributes)
        self._is_pad = False

    def _start_pad(self, attributes: Attributes) -> None:
        super()._start_features(attributes)
        self._is_pad = True

    def _end_layer_pad(self) -> None:
        drawing, self._drawing = self._drawing, None
        if drawing is None or self._pad_layer is None:
            return
        step, layer = len(self.record.steps) - 1, self._pad_layer[0]
        if None in drawing.sizes:
            self.not_read.add((step, layer))
        self._draw(Drawn(step, layer, self._placed_net or "", pad=True), drawing)

    def _end_features(self) -> None:
        drawing, self._drawing = self._drawing, None
        if drawing is None or self._set is None or self._feature_layer is None:
            return
        step, layer = len(self.record.steps) - 1, self._feature_layer.name
        negative = "NEGATIVE" in {self._set.get("polarity"), self._feature_layer.polarity}
        if negative or None in drawing.sizes:
            self.not_read.add((step, layer))
        if negative:
            return
        around_pads = self._set.get("geometryUsage") in NO_ROUTES or self._set.get("padUsage", "") not in NO_NET_USAGE
        pad = self._is_pad or around_pads
        self._draw(Drawn(step, layer, self._set.get("net", ""), pad), drawing)

    def _draw(self, where: Drawn, drawing: Drawing) -> None:
        """Keep a drawing, with its pads as what they are."""
        drawing.lines = drawing.lines + [([(0.0, 0.0), (0.0, 0.0)], size) for size in drawing.rounds]
        drawing.areas = drawing.areas + [Area(outline, []) for outline in drawing.outlines]
        drawing.sizes = []
        self.drawn.setdefault(where, Copper()).draw(drawing, -1, -1)

    _end_pad = _end_features
