"""Owns the reading of an exchange file element by element: which method takes what, and lengths in their units."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.files.exchange_records import FileRecord, Spread
from stubsi.files.xml_stream import Attributes, XmlStream
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    import os
    from collections.abc import Callable

REVISIONS = ("A", "B", "B1", "C")
METRES = {"INCH": 0.0254, "MILLIMETER": 1e-3, "MICRON": 1e-6}
"""Metres per unit of a section."""
DICTIONARIES = {"DictionaryLineDesc", "DictionaryStandard", "DictionaryUser"}
"""Sections with units of their own, of which a board needs the shapes."""
LARGEST_PLACE = 10.0
"""Largest coordinate [m]. Panels end at about 0.6 m, backplanes at about 1.5 m; common practice, no source."""


class ExchangeStream(XmlStream):
    """Reads one IPC-2581 file element by element.

    The method ``_start_padstack_def`` of a subclass takes the start of each element PadstackDef, and ``_end_...`` its
    end.

    Parameters
    ----------
    path : path
        The file.
    """

    def __init__(self, path: str | os.PathLike[str]) -> None:
        super().__init__(path)
        self.record = FileRecord(self.file)
        self._scale: float | None = None
        self._dictionary: float | None = None
        self._starts: dict[str, Callable[[Attributes], None]] = {
            name.removeprefix("_start_").replace("_", ""): getattr(self, name)
            for name in dir(self)
            if name.startswith("_start_")
        }
        self._starts["ipc-2581"] = self._root
        self._ends: dict[str, Callable[[], None]] = {
            name.removeprefix("_end_").replace("_", ""): getattr(self, name)
            for name in dir(self)
            if name.startswith("_end_")
        }

    def records(self, progress: Callable[[int, int], object] | None = None) -> FileRecord:
        """Read the file.

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
            As ``XmlStream.read``; it is no IPC-2581 file of a known revision; a name appears twice; a unit, a number,
            or something that is referred to is missing or wrong. The error text names file and line.
        """
        self.read(progress)
        return self.record

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
        starts = self._starts.get(name.lower())
        if starts is not None:
            starts(attributes)
        elif name in DICTIONARIES:
            self._dictionary = self._unit(attributes, name)

    def end(self, name: str) -> None:
        """Take the end of an element.

        Parameters
        ----------
        name : str
            Local name.
        """
        ends = self._ends.get(name.lower())
        if ends is not None:
            ends()
        elif name in DICTIONARIES:
            self._dictionary = None

    # the file and its units

    def _root(self, attributes: Attributes) -> None:
        if self.depth > 1:
            self.refuse("IPC-2581 lies inside another element")
        revision = self.text(attributes, "revision", "IPC-2581")
        if revision not in REVISIONS:
            self.refuse(f"IPC-2581 revision = {as_shown(revision)}: known are {', '.join(REVISIONS)}")
        self.record.revision = revision

    def _start_cad_header(self, attributes: Attributes) -> None:
        self._scale = self._unit(attributes, "CadHeader")

    def _unit(self, attributes: Attributes, element: str) -> float:
        unit = self.text(attributes, "units", element)
        if unit not in METRES:
            self.refuse(f"{element} units = {as_shown(unit)}: must be {', '.join(METRES)}")
        return METRES[unit]

    def length(self, attributes: Attributes, key: str, element: str) -> float:
        """Attribute that must be a length.

        Parameters
        ----------
        attributes : dict
        key, element
            As in ``number``.

        Returns
        -------
        float
            [m].
        """
        unit = self._scale if self._dictionary is None else self._dictionary
        if unit is None:
            self.refuse(f"{element} {key} has no unit, because no CadHeader with units stands before it")
        length = self.number(attributes, key, element) * unit
        if abs(length) > LARGEST_PLACE:
            self.refuse(f"{element} {key} = {length:g} m: no board is so large; check the units of the section")
        return length

    def _size(self, attributes: Attributes, key: str, element: str) -> float:
        size = self.length(attributes, key, element)
        if size < 0:
            self.refuse(f"{element} {key} = {size:g} m: must not be negative")
        return size

    def _spread(
        self,
        attributes: Attributes,
        element: str,
        keys: tuple[str, str] = ("tolPlus", "tolMinus"),
        *,
        length: bool = True,
    ) -> Spread | None:
        """Tolerance of an element; None where it has none, or zeros, which stand for none where it must be written."""
        if not all(attributes.get(key, "").strip() for key in keys):
            return None
        percent = attributes.get("tolPercent", "").strip().lower() in {"true", "1"}
        read = self.length if length and not percent else self.number
        plus, minus = (read(attributes, key, element) / (100 if percent else 1) for key in keys)
        minus = abs(minus)  # written with its sign in some files
        if plus < 0 or (percent and max(plus, minus) >= 1):
            self.refuse(f"{element} {keys[0]} = {as_shown(attributes[keys[0]])}: is no tolerance above the nominal")
        return Spread(plus, minus, percent) if plus or minus else None
