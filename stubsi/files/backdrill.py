"""Owns the reading of the depth-drill specifications (Backdrill) and drilled holes of an IPC-2581 file."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from stubsi.files.exchange_stream import METRES, REVISIONS
from stubsi.files.xml_stream import Attributes, XmlStream
from stubsi.unit_errors import as_shown
from stubsi.units import show

if TYPE_CHECKING:
    import os

KINDS = ("START_LAYER", "MUST_NOT_CUT_LAYER", "MAX_STUB_LENGTH", "OTHER")
"""Kinds of entries. Source: schemas of IPC-2581 revision B, B1 and C."""
UNITS = {"MM": 1e-3, "INCH": 0.0254, "MICRON": 1e-6, "MILS": 0.0254e-3}
"""Metres per unit of a property. Source: as ``KINDS``; MILS only in revision C."""

MOST_REFERENCES = 100
"""Most specifications that one hole or one layer may refer to, so that a file cannot take unbounded time."""


class BackdrillEntry(NamedTuple):
    """One entry of a depth-drill specification.

    Parameters
    ----------
    kind : str
        START_LAYER, MUST_NOT_CUT_LAYER, MAX_STUB_LENGTH or OTHER.
    comment : str
        What the file says beside it; for OTHER, what is meant.
    text : str
        A layer or another text; blank where a length is given.
    length_si, plus_si, minus_si : float or None
        A length with its tolerances [m]; None where they are not given, or are no lengths.
    """

    kind: str
    comment: str
    text: str
    length_si: float | None
    plus_si: float | None
    minus_si: float | None

    def __str__(self) -> str:
        words = [self.kind.lower().replace("_", " "), self.text]
        if self.length_si is not None:
            words.append(show(self.length_si, "length"))
        signs = (("+", self.plus_si), ("-", self.minus_si))
        words += [f"{sign}{show(value, 'length')}" for sign, value in signs if value is not None]
        words.append(f"({self.comment})" if self.comment else "")
        return " ".join(filter(None, words))

    def __repr__(self) -> str:
        return f"<BackdrillEntry {self}"[:197] + ">"


class BackdrillSpec(NamedTuple):
    """A depth-drill specification of an IPC-2581 file.

    Parameters
    ----------
    name : str
        Its name in the file.
    entries : tuple of BackdrillEntry
        In the order of the file.
    """

    name: str
    entries: tuple[BackdrillEntry, ...]

    def __repr__(self) -> str:
        return f"<BackdrillSpec {self.name[:60]}: {'; '.join(map(str, self.entries))}"[:197] + ">"


class DrilledHole(NamedTuple):
    """A hole of a drill layer.

    Parameters
    ----------
    line : int
        Where it stands in the file.
    layer, net, name, plating : str
        Drill layer, net (blank where there is none), name and plating status.
    x_si, y_si, drill_si : float
        Position and diameter [m].
    specs : tuple of str
        Specifications that the hole or its layer refer to.
    """

    line: int
    layer: str
    net: str
    name: str
    plating: str
    x_si: float
    y_si: float
    drill_si: float
    specs: tuple[str, ...]


class BackdrillReader(XmlStream):
    """Reads the depth-drill specifications and the holes of one IPC-2581 file.

    Parameters
    ----------
    path : path
        The file.
    """

    def __init__(self, path: str | os.PathLike[str]) -> None:
        super().__init__(path)
        self.specs: dict[str, list[BackdrillEntry]] = {}
        self.spec_lines: dict[str, int] = {}
        self.holes: list[DrilledHole] = []
        self.plan_digest = ""
        self._layer_specs: dict[str, list[str]] = {}
        self._spec = self._kind = self._comment = self._layer = self._feature = self._net = ""
        self._filled = True
        self._scale: float | None = None
        self._hole: list[str] | None = None
        self._starts = {
            "IPC-2581": self._root, "FileRevision": self._revision, "CadHeader": self._header, "Spec": self._start_spec,
            "Backdrill": self._backdrill, "Property": self._property, "Layer": self._start_layer,
            "SpecRef": self._spec_ref, "LayerFeature": self._start_feature, "Set": self._set, "Hole": self._start_hole,
        }  # fmt: skip

    def backdrill_specs(self) -> tuple[BackdrillSpec, ...]:
        """Every depth-drill specification that was read.

        Returns
        -------
        tuple of BackdrillSpec
        """
        return tuple(BackdrillSpec(name, tuple(entries)) for name, entries in self.specs.items() if entries)

    def start(self, name: str, attributes: Attributes) -> None:
        """Take the start of an element.

        Parameters
        ----------
        name : str
            Local name.
        attributes : dict
        """
        if self.depth == 1 and name != "IPC-2581":
            self.refuse(f"the first element is {as_shown(name)}, not IPC-2581; this is no IPC-2581 file")
        if name in self._starts:
            self._starts[name](attributes)

    def end(self, name: str) -> None:
        """Take the end of an element.

        Parameters
        ----------
        name : str
            Local name.
        """
        if name == "Backdrill":
            if not self._filled:
                self.specs[self._spec].append(BackdrillEntry(self._kind, self._comment, "", None, None, None))
            self._kind = ""
        elif name == "Spec":
            self._spec = ""
        elif name == "Layer":
            self._layer = ""
        elif name == "LayerFeature":
            self._feature = ""
        elif name == "Hole":
            self._hole = None

    def _root(self, attributes: Attributes) -> None:
        revision = self.text(attributes, "revision", "IPC-2581")
        if revision not in REVISIONS:
            self.refuse(f"IPC-2581 revision = {as_shown(revision)}: known are {', '.join(REVISIONS)}")

    def _revision(self, attributes: Attributes) -> None:
        self.plan_digest = self.optional(attributes, "fileRevisionId", "FileRevision")

    def _header(self, attributes: Attributes) -> None:
        unit = self.text(attributes, "units", "CadHeader")
        if unit not in METRES:
            self.refuse(f"CadHeader units = {as_shown(unit)}: must be {', '.join(METRES)}")
        self._scale = METRES[unit]

    def _start_spec(self, attributes: Attributes) -> None:
        self._spec = self.text(attributes, "name", "Spec")
        if self._spec in self.specs:
            self.refuse(f"Spec {as_shown(self._spec)} appears twice")
        self.specs[self._spec], self.spec_lines[self._spec] = [], self.line

    def _backdrill(self, attributes: Attributes) -> None:
        if not self._spec:
            self.refuse("Backdrill lies outside a Spec")
        self._kind = self.text(attributes, "type", "Backdrill")
        if self._kind not in KINDS:
            self.refuse(f"Backdrill type = {as_shown(self._kind)}: must be {', '.join(KINDS)}")
        self._comment, self._filled = self.optional(attributes, "comment", "Backdrill"), False

    def _property(self, attributes: Attributes) -> None:
        if not self._kind:
            return
        self._filled = True
        text = self.optional(attributes, "layerOrGroupRef", "Property") or self.optional(attributes, "text", "Property")
        length, plus, minus = self._lengths(attributes)
        if self._kind == "MAX_STUB_LENGTH" and length is None:
            self.refuse("Property of MAX_STUB_LENGTH: needs a value with its unit, like value='0.2' unit='MM'")
        if self._kind.endswith("_LAYER") and not text:
            self.refuse(f"Property of {self._kind}: needs the name of a layer as layerOrGroupRef or text")
        self.specs[self._spec].append(BackdrillEntry(self._kind, self._comment, text, length, plus, minus))

    def _lengths(self, attributes: Attributes) -> tuple[float | None, float | None, float | None]:
        """Length and tolerances [m]; None each where it is not given, or the unit is none of length."""
        unit = UNITS.get(self.optional(attributes, "unit", "Property"))
        if unit is None or "value" not in attributes:
            return None, None, None
        length = self.number(attributes, "value", "Property") * unit
        percent = self.optional(attributes, "tolPercent", "Property") in {"true", "1"}
        scale = abs(length) / 100 if percent else unit
        plus, minus = (
            self.number(attributes, key, "Property") * scale if key in attributes else None
            for key in ("tolPlus", "tolMinus")
        )
        return length, plus, minus

    def _start_layer(self, attributes: Attributes) -> None:
        self._layer = self.text(attributes, "name", "Layer")
        self._layer_specs[self._layer] = []

    def _spec_ref(self, attributes: Attributes) -> None:
        name = self.text(attributes, "id", "SpecRef")
        references = self._hole if self._hole is not None else self._layer_specs.get(self._layer, [])
        if len(references) == MOST_REFERENCES:
            self.refuse(f"a hole or a layer refers to more than {MOST_REFERENCES} specifications")
        if self._hole is not None:
            self._hole.append(name)
            self.holes[-1] = self.holes[-1]._replace(specs=tuple(dict.fromkeys((*self.holes[-1].specs, name))))
        elif self._layer:
            self._layer_specs[self._layer].append(name)

    def _start_feature(self, attributes: Attributes) -> None:
        self._feature = self.text(attributes, "layerRef", "LayerFeature")

    def _set(self, attributes: Attributes) -> None:
        self._net = self.optional(attributes, "net", "Set")

    def _start_hole(self, attributes: Attributes) -> None:
        if not self._feature:
            return
        if self._scale is None:
            self.refuse("Hole has no unit, because no CadHeader with units stands before it")
        x, y, diameter = (self.number(attributes, key, "Hole") * self._scale for key in ("x", "y", "diameter"))
        name, plating = (self.optional(attributes, key, "Hole") for key in ("name", "platingStatus"))
        self._hole = []
        specs = tuple(self._layer_specs.get(self._feature, ()))
        self.holes.append(DrilledHole(self.line, self._feature, self._net, name, plating, x, y, diameter, specs))


def read_backdrill_specs(path: str | os.PathLike[str]) -> tuple[BackdrillSpec, ...]:
    """Read the depth-drill specifications of an IPC-2581 file, revision B, B1 or C.

    Parameters
    ----------
    path : path
        The file.

    Returns
    -------
    tuple of BackdrillSpec
        Every Spec of the file that has a Backdrill entry; none where there is none.

    Raises
    ------
    FileError
        The file cannot be read or is no IPC-2581 file, or an entry lacks its layer, its length or its unit. The error
        text names file and line.
    """
    reader = BackdrillReader(path)
    reader.read()
    return reader.backdrill_specs()
