"""Owns the reading of an IPC-2581 file: each element that a board needs becomes a record, all others pass by."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.files.exchange_drawing import Copper, placed
from stubsi.files.exchange_padstacks import HOLE_TOLERANCE, PadstackReader
from stubsi.files.exchange_records import (
    COPPER,
    PLATED,
    HoleRecord,
)
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    import os

    from stubsi.files.exchange_drawing import Area, Drawing
    from stubsi.files.exchange_records import LayerRecord
    from stubsi.files.xml_stream import Attributes

NO_ROUTES = {"TEARDROP", "THIEVING", "TEXT", "GRAPHIC"}
"""Uses of geometry that are copper around a pad, or lead nowhere."""
NO_PAD_USAGE = {"", "NONE", "NO", "TOEPRINT", "PLANE", "THERMAL_RELIEF"}
"""Uses of pads that do not make all copper of a set part of a pad."""


class ExchangeReader(PadstackReader):
    """Reads one IPC-2581 file to records.

    Parameters
    ----------
    path : path
        The file.
    """

    def __init__(self, path: str | os.PathLike[str]) -> None:
        super().__init__(path)
        self._feature_layer: LayerRecord | None = None
        self._set: Attributes | None = None
        self._hole: HoleRecord | None = None
        self._is_pad = False

    # holes and copper

    def _start_layer_feature(self, attributes: Attributes) -> None:
        name = self.text(attributes, "layerRef", "LayerFeature")
        if name not in self.record.layers:
            self.refuse(f"LayerFeature layerRef = {as_shown(name)}: the file has no such Layer")
        self._step("LayerFeature")
        self._feature_layer = self.record.layers[name]

    def _end_layer_feature(self) -> None:
        self._feature_layer = None

    def _start_set(self, attributes: Attributes) -> None:
        if self._feature_layer is not None:
            self._set = {key: self.optional(attributes, key, "Set") for key in attributes}
            self._in_set, self._set_width = True, 0.0
            self._specs_of.append([])
            if self._set.get("net"):
                self._pair(self._set["net"], attributes)

    def _end_set(self) -> None:
        if self._set is None:
            return
        specs = self._specs_of.pop()
        if (
            specs
            and self._set.get("net")
            and self._feature_layer is not None
            and self._feature_layer.function in COPPER
        ):
            known = self.record.steps[-1].net_specs.setdefault(self._set["net"], [])
            known += [name for name in dict.fromkeys(specs) if name not in known]
        self._set, self._in_set, self._set_width = None, False, 0.0

    def _start_hole(self, attributes: Attributes) -> None:
        if self._set is None or self._feature_layer is None:
            return
        status, net = self.text(attributes, "platingStatus", "Hole"), self._set.get("net", "")
        x, y = self.length(attributes, "x", "Hole"), self.length(attributes, "y", "Hole")
        diameter = self._diameter(attributes, "Hole")
        self._specs_of.append([])
        self._hole = None
        if self._feature_layer.function != "DRILL":
            self.record.ignore("holes on layers that are no drill layers")
        elif status == "NONPLATED":
            self.record.ignore("non-plated holes")
        elif status not in PLATED:
            self.refuse(f"Hole platingStatus = {as_shown(status)}: must be {', '.join(sorted(PLATED))} or NONPLATED")
        else:
            layer, padstack = self._feature_layer.name, self._set.get("geometry", "")
            spread = self._spread(attributes, "Hole", HOLE_TOLERANCE)
            self._hole = HoleRecord(net, layer, x, y, diameter, padstack, self.line, spread)

    def _end_hole(self) -> None:
        if self._set is None or self._feature_layer is None:
            return
        specs = self._specs_of.pop()
        if self._hole is not None:
            specs = [*specs, *self._specs_of[-1]]
            hole = self._hole._replace(specs=tuple(specs)) if specs else self._hole
            step = self.record.steps[-1]
            (step.holes if hole.net else step.holes_without_net).append(hole)
        self._hole = None

    def _start_slot(self, _: Attributes) -> None:
        self.record.ignore("slots")

    _start_slot_cavity = _start_slot

    def _start_features(self, attributes: Attributes) -> None:
        if self._set is not None and self._feature_layer is not None and self._feature_layer.function in COPPER:
            self._draw_from_here(self.optional(attributes, "padstackDefRef", "Pad"))
        self._is_pad = False

    def _start_pad(self, attributes: Attributes) -> None:
        self._start_features(attributes)
        self._is_pad = True

    def _end_features(self) -> None:
        drawing, self._drawing = self._drawing, None
        if drawing is None or self._set is None or self._feature_layer is None:
            return
        if self._is_pad:
            drawing.become_pad()
            drawing.pin = drawing.pin or self._set.get("componentRef")
        else:
            drawing.open_rings()
        self._take(drawing, self._feature_layer, self._set)

    _end_pad = _end_features

    def _take(self, drawing: Drawing, layer: LayerRecord, of_set: Attributes) -> None:
        """Take what a set draws on a layer."""
        net = of_set.get("net", "")
        if "NEGATIVE" in {layer.polarity, of_set.get("polarity")}:
            self._clear(layer.name, drawing, drawing.outlines())
        elif not net:
            self.record.ignore("pieces of copper without a net")
            if of_set.get("geometryUsage", "") not in NO_ROUTES:
                drawing.lines = []
                self.record.steps[-1].copper.setdefault((layer.name, ""), Copper()).draw(drawing)
        else:
            of_pads = is_of_pads(of_set)
            if of_pads:
                drawing.lines, drawing.areas = [], []
            drawing.padstack = drawing.padstack or of_set.get("geometry", "")
            self._keep(layer.name, net, drawing, pad=self._is_pad or of_pads)
            self._clear(layer.name, drawing, drawing.voids)

    def _clear(self, layer: str, drawing: Drawing, areas: list[Area]) -> None:
        """Note areas that are drawn without copper, over all that the layer holds so far."""
        if areas:
            self.record.steps[-1].clearances.setdefault(layer, []).extend(
                placed(area, drawing.turn, place) for place in drawing.places or [(0.0, 0.0)] for area in areas
            )

    def _start_pin_ref(self, attributes: Attributes) -> None:
        if self._drawing is not None:
            self._drawing.pin = self.optional(attributes, "componentRef", "PinRef")


def is_of_pads(of_set: Attributes) -> bool:
    """Whether a set holds copper of pads, or copper that leads nowhere, so that it connects nothing.

    Parameters
    ----------
    of_set : dict
        Attributes of the set.

    Returns
    -------
    bool
    """
    return of_set.get("geometryUsage", "") in NO_ROUTES or of_set.get("padUsage", "") not in NO_PAD_USAGE
