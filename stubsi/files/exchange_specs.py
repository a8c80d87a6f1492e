"""Owns the reading of the specifications of an IPC-2581 file: materials, impedances, and requests for depth drills."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.files.exchange_records import SpecRecord
from stubsi.files.exchange_stream import ExchangeStream
from stubsi.files.xml_stream import PLAIN_NUMBER
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    import os

    from stubsi.files.xml_stream import Attributes

SINGLE, COUPLED = "single", "coupled"
"""How a line is led whose impedance is specified: by itself, or with the other half of its pair."""
TRANSMISSIONS = {"SINGLE_ENDED": SINGLE, "EDGE_COUPLED": COUPLED, "BROADSIDE_COUPLED": COUPLED}
"""The same in revisions B and B1."""
HERTZ = {"HZ": 1.0}
"""Hertz per unit of a frequency that a value holds at. Source: the schemas of IPC-2581 revision B, B1 and C."""


class SpecReader(ExchangeStream):
    """Reads the specifications of one IPC-2581 file to records. A subclass reads the layers.

    Parameters
    ----------
    path : path
        The file.
    """

    def __init__(self, path: str | os.PathLike[str]) -> None:
        super().__init__(path)
        self._specs_of: list[list[str]] = []  # whose SpecRefs are read: the innermost element is the last
        self._spec: SpecRecord | None = None
        self._property = ""
        self._impedance: tuple[str, float | None] | None = None

    def _start_spec(self, attributes: Attributes) -> None:
        name = self.text(attributes, "name", "Spec")
        if name in self.record.specs:
            self.refuse(f"Spec {as_shown(name)} appears twice")
        self._spec = self.record.specs[name] = SpecRecord(self.line)

    def _end_spec(self) -> None:
        self._spec = None

    def _start_spec_ref(self, attributes: Attributes) -> None:
        if self._specs_of:
            self._specs_of[-1].append(self.text(attributes, "id", "SpecRef"))

    def _start_backdrill(self, _: Attributes) -> None:
        if self._spec is not None:
            self._spec.depth_drill = True

    # materials

    def _start_general(self, attributes: Attributes) -> None:
        self._property = "material" if attributes.get("type") == "MATERIAL" else ""

    def _start_dielectric(self, attributes: Attributes) -> None:
        kinds = {"DIELECTRIC_CONSTANT": "dk", "LOSS_TANGENT": "df"}
        self._property = kinds.get(attributes.get("type", ""), "")
        if "value" in attributes:
            self._start_property(attributes)

    def _end_general(self) -> None:
        self._property = ""

    _end_dielectric = _end_general

    def _start_property(self, attributes: Attributes) -> None:
        if self._spec is None or not self._property:
            return
        if self._property == "material":
            self._spec.material = self._spec.material or self.optional(attributes, "text", "Property")
        elif self._property == "ohm":
            self._take_ohm(attributes)
        else:
            self._take_of_material(self._spec, self._property, attributes)

    def _take_of_material(self, spec: SpecRecord, kind: str, attributes: Attributes) -> None:
        """Take a Dk or loss tangent, with the frequency it holds at. At several frequencies it has several values."""
        if "value" not in attributes:
            text = attributes.get("text", "").strip()
            if not PLAIN_NUMBER.fullmatch(text):
                self.record.ignore("properties of materials without a number")
                return
            attributes = {**attributes, "value": text}
        value, at = self.number(attributes, "value", f"Property of {kind}"), self._frequency(attributes)
        values = spec.dk if kind == "dk" else spec.df
        if values and value not in values.values() and (at is None or None in values or at in values):
            known = next(iter(values.values()))
            self.refuse(f"Spec says {kind} = {known:g} and then {value:g}; keep one of them")
        values.setdefault(at, value)
        if kind == "dk":
            spec.dk_spread = self._spread(attributes, "Property of dk", length=False)

    def _frequency(self, attributes: Attributes) -> float | None:
        """Frequency [Hz] that a value holds at; None where it is not said."""
        unit = HERTZ.get(attributes.get("refUnit", "").strip().upper())
        if unit is None or not attributes.get("refValue", "").strip():
            return None
        return self.number(attributes, "refValue", "Property") * unit

    # impedances of lines

    def _start_impedance(self, attributes: Attributes) -> None:
        if self._spec is None:
            return
        if "value" in attributes:  # revision C
            self._impedance = "", self.number(attributes, "value", "Impedance")
        elif attributes.get("type") == "IMPEDANCE":
            self._property = "ohm"
            self._impedance = TRANSMISSIONS.get(attributes.get("transmission", ""), ""), None

    def _start_single_ended(self, _: Attributes) -> None:
        self._lead(SINGLE)

    _start_coplanar_waveguide = _start_single_ended

    def _start_edge_coupled(self, _: Attributes) -> None:
        self._lead(COUPLED)

    _start_broadside_coupled = _start_edge_coupled

    def _lead(self, how: str) -> None:
        if self._impedance is not None and self._impedance[1] is not None:
            self._impedance = how, self._impedance[1]

    def _take_ohm(self, attributes: Attributes) -> None:
        unit = attributes.get("unit", "").strip().upper()
        if self._impedance is not None and unit == "OHMS" and attributes.get("value", "").strip():
            self._impedance = self._impedance[0], self.number(attributes, "value", "Property of an impedance")

    def _end_impedance(self) -> None:
        how, ohm = self._impedance or ("", None)
        if self._spec is not None and how and ohm is not None and ohm > 0:
            self._spec.impedances.append((how, ohm))
        self._impedance, self._property = None, ""
