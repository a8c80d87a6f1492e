"""Owns the reading of the steps, nets, packages and components of an IPC-2581 file."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stubsi.files.exchange_drawing import Turn
from stubsi.files.exchange_layers import LayerReader
from stubsi.files.exchange_records import ComponentRecord, StepRecord
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    import os

    from stubsi.files.exchange_geometry import Point
    from stubsi.files.xml_stream import Attributes


class ComponentReader(LayerReader):
    """Reads the components of one IPC-2581 file to records. A subclass reads the copper.

    Parameters
    ----------
    path : path
        The file.
    """

    def __init__(self, path: str | os.PathLike[str]) -> None:
        super().__init__(path)
        self._component: ComponentRecord | None = None
        self._package: list[Point] | None = None
        self._in_pin = False

    def _start_step(self, attributes: Attributes) -> None:
        name, stackup = self.optional(attributes, "name", "Step"), self.optional(attributes, "stackupRef", "Step")
        step = StepRecord(name, stackup, self.line)
        self.record.steps.append(step)

    def _step(self, element: str) -> StepRecord:
        if not self.record.steps:
            self.refuse(f"{element} lies outside a Step")
        return self.record.steps[-1]

    def _start_logical_net(self, attributes: Attributes) -> None:
        name, step = self.text(attributes, "name", "LogicalNet"), self._step("LogicalNet")
        kind = self.optional(attributes, "netClass", "LogicalNet").upper()
        if step.net_class.setdefault(name, kind) != kind:
            self.refuse(f"LogicalNet {as_shown(name)} appears with two classes, {step.net_class[name]} and {kind}")
        self._pair(name, attributes)
        self._specs_of.append(step.net_specs.setdefault(name, []))

    def _end_logical_net(self) -> None:
        self._specs_of.pop()

    def _pair(self, name: str, attributes: Attributes) -> None:
        other = self.optional(attributes, "netPair", "net")
        if not other:
            return
        partner = self._step("netPair").partner
        for one, two in ((name, other), (other, name)):
            if partner.setdefault(one, two) != two or name == other:
                self.refuse(f"net {as_shown(one)} is paired with {as_shown(partner[one])} and with {as_shown(two)}")

    def _start_component(self, attributes: Attributes) -> None:
        name = self.optional(attributes, "refDes", "Component")
        components = self._step("Component").components
        if name and name in components:
            self.refuse(f"Component {as_shown(name)} appears twice")
        if name:
            mount, layer, package = (
                self.optional(attributes, key, "Component") for key in ("mountType", "layerRef", "packageRef")
            )
            self._component = components[name] = ComponentRecord(mount, layer, package)

    def _end_component(self) -> None:
        self._component = None

    def _start_package(self, attributes: Attributes) -> None:
        name = self.text(attributes, "name", "Package")
        if name in self.record.packages:
            self.refuse(f"Package {as_shown(name)} appears twice")
        self._package = self.record.packages[name] = []

    def _end_package(self) -> None:
        self._package = None

    def _start_pin(self, _: Attributes) -> None:
        self._in_pin = self._package is not None

    def _end_pin(self) -> None:
        self._in_pin = False

    def _start_location(self, attributes: Attributes) -> None:
        if self._in_pin and self._package is not None:
            self._package.append(self._point(attributes, "Location"))
        elif self._component is not None:
            self._component.place = self._point(attributes, "Location")

    def _start_xform(self, attributes: Attributes) -> None:
        if self._component is not None:
            self._component.turn = self._turn(attributes)

    def _turn(self, attributes: Attributes) -> Turn:
        given = {key: self.number(attributes, key, "Xform") for key in ("rotation", "scale") if key in attributes}
        dx, dy = (self.length(attributes, key, "Xform") if key in attributes else 0.0 for key in ("xOffset", "yOffset"))
        return Turn(
            rotation=math.radians(given.get("rotation", 0.0)),
            mirror=attributes.get("mirror", "").strip().lower() in {"true", "1"},
            scale=given.get("scale", 1.0),
            offset=(dx, dy),
        )

    def _point(self, attributes: Attributes, element: str, x: str = "x", y: str = "y") -> Point:
        return self.length(attributes, x, element), self.length(attributes, y, element)
