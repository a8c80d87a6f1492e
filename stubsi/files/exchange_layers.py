"""Owns the reading of the layers and the stackup of an IPC-2581 file."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.files.exchange_records import LayerRecord, StackGroup, StackLayer, StackupRecord
from stubsi.files.exchange_specs import SpecReader
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    import os

    from stubsi.files.xml_stream import Attributes


class LayerReader(SpecReader):
    """Reads the layers of one IPC-2581 file to records. A subclass reads the copper.

    Parameters
    ----------
    path : path
        The file.
    """

    def __init__(self, path: str | os.PathLike[str]) -> None:
        super().__init__(path)
        self._layer: LayerRecord | None = None

    def _start_layer(self, attributes: Attributes) -> None:
        name = self.text(attributes, "name", "Layer")
        if name in self.record.layers:
            self.refuse(f"Layer {as_shown(name)} appears twice")
        kind, side, polarity = (
            self.optional(attributes, key, "Layer").upper() for key in ("layerFunction", "side", "polarity")
        )
        self._layer = self.record.layers[name] = LayerRecord(name, kind, side, polarity, self.line)
        self._specs_of.append(self._layer.specs)

    def _end_layer(self) -> None:
        self._layer = None
        self._specs_of.pop()

    def _start_span(self, attributes: Attributes) -> None:
        ends = self.optional(attributes, "fromLayer", "Span"), self.optional(attributes, "toLayer", "Span")
        if self._layer is not None and all(ends):
            self._layer.spans.append(ends)

    def _start_stackup(self, attributes: Attributes) -> None:
        overall = self._size(attributes, "overallThickness", "Stackup") if "overallThickness" in attributes else None
        name, measured = (self.optional(attributes, key, "Stackup") for key in ("name", "whereMeasured"))
        spread = self._spread(attributes, "Stackup")
        self.record.stackups.append(StackupRecord(name, overall, measured, self.line, spread))
        self._specs_of.append(self.record.stackups[-1].specs)

    def _start_stackup_group(self, attributes: Attributes) -> None:
        if not self.record.stackups:
            self.refuse("StackupGroup lies outside a Stackup")
        groups = self.record.stackups[-1].groups
        groups.append(StackGroup(self.optional(attributes, "name", "StackupGroup")))
        self._specs_of.append(groups[-1].specs)

    def _start_stackup_layer(self, attributes: Attributes) -> None:
        if not self.record.stackups:
            self.refuse("StackupLayer lies outside a Stackup")
        groups = self.record.stackups[-1].groups
        if not groups:
            groups.append(StackGroup(""))
        layer = StackLayer(
            ref=self.text(attributes, "layerOrGroupRef", "StackupLayer"),
            thickness=self._size(attributes, "thickness", "StackupLayer") if "thickness" in attributes else None,
            sequence=self.number(attributes, "sequence", "StackupLayer") if "sequence" in attributes else None,
            material=self.optional(attributes, "materialType", "StackupLayer"),
            line=self.line,
            spread=self._spread(attributes, "StackupLayer"),
        )
        groups[-1].layers.append(layer)
        self._specs_of.append(layer.specs)

    def _end_stackup(self) -> None:
        self._specs_of.pop()

    _end_stackup_group = _end_stackup_layer = _end_stackup
