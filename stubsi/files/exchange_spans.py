"""Owns the spans of holes of an exchange file: between which copper layers each goes, as stated or as given."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.errors import FileError
from stubsi.files.exchange_records import BLIND, COPPER, DIELECTRIC

if TYPE_CHECKING:
    from stubsi.board.stackup import Stackup
    from stubsi.files.exchange_overlay import Overlay
    from stubsi.files.exchange_records import FileRecord, HoleRecord


class HoleSpans:
    """Spans of the holes of one file.

    Parameters
    ----------
    record : FileRecord
        What the file says.
    overlay : Overlay
        What the user gives beside it.
    stackup : Stackup
    """

    def __init__(self, record: FileRecord, overlay: Overlay, stackup: Stackup) -> None:
        self.record, self.overlay, self.stackup = record, overlay, stackup
        self._spans: dict[tuple[object, ...], tuple[str, ...]] = {}

    def of(self, hole: HoleRecord) -> tuple[str, ...]:
        """Copper layers of a hole from the top, by the span of its drill layer.

        Parameters
        ----------
        hole : HoleRecord

        Returns
        -------
        tuple of str

        Raises
        ------
        FileError
            The span is not known, or is none.
        """
        key = hole.layer, hole.span, hole.padstack, hole.diameter
        if key not in self._spans:
            self._spans[key] = self._span(hole)
        return self._spans[key]

    def _span(self, hole: HoleRecord) -> tuple[str, ...]:
        spans: set[tuple[str, str]] = {hole.span} if hole.span is not None else set()
        where = f"{self.record.name}: line {hole.line}: hole of net {hole.net}"
        if hole.layer:
            layer = self.record.layers[hole.layer]
            spans = spans or set(layer.spans)
            if layer.function == BLIND and not self.given(hole):
                raise FileError(
                    f"{where} is one of the {layer.name}, and the file does not say where it ends; give spans, by the "
                    f"diameter of the hole, or give the net no signal."
                )
            where = f"{self.record.name}: line {layer.line}: drill layer {layer.name}"
        if not spans and (given := self.given(hole)):
            spans = {given}
        if len(spans) != 1:
            raise FileError(
                f"{where}: {'has no Span' if not spans else 'has several Spans'}, so it is not known which layers its "
                f"holes go through; export one drill layer per span, with Span fromLayer and toLayer, or give spans."
            )
        names = self.stackup.names
        ends = [self._outer_copper(end) for end in spans.pop()]
        for end in ends:
            if end not in names:
                raise FileError(f"{where}: Span names {end}, which is no copper layer; known are {', '.join(names)}.")
        first, last = sorted(map(names.index, ends))
        if first == last:
            raise FileError(f"{where}: Span begins and ends on {ends[0]}, so no hole of it joins two layers.")
        return names[first : last + 1]

    def given(self, hole: HoleRecord) -> tuple[str, str] | None:
        """Span that the user gives for a hole; None where there is none.

        Parameters
        ----------
        hole : HoleRecord

        Returns
        -------
        tuple of two str, or None
        """
        for name in (hole.layer, hole.padstack):
            given = self.overlay.spans.of(name, hole.diameter)
            if given is not None:
                return given[0]
        return None

    def _outer_copper(self, layer: str) -> str:
        """The outer copper layer under a layer of the outside, like a solder mask; any other layer itself."""
        named = self.record.layers.get(layer)
        if named is None or layer in self.stackup.names or named.function in {*COPPER, *DIELECTRIC, "DRILL"}:
            return layer
        return {"TOP": self.stackup.names[0], "BOTTOM": self.stackup.names[-1]}.get(named.side, layer)
