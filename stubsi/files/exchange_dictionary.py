"""Owns the reading of the dictionaries of an IPC-2581 file: widths of lines, fills, and shapes that others refer to."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.files.exchange_components import ComponentReader
from stubsi.files.exchange_drawing import Drawing
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    import os

    from stubsi.files.xml_stream import Attributes

MOST_POINTS, MOST_IN_SHAPE = 10_000_000, 1_000_000
"""Most points that shapes of dictionaries may draw, in all and one by one. They are written once and drawn anywhere, so
a small file could otherwise fill any memory.
"""


class DictionaryReader(ComponentReader):
    """Reads the dictionaries of one IPC-2581 file. A subclass reads what is drawn.

    Parameters
    ----------
    path : path
        The file.
    """

    def __init__(self, path: str | os.PathLike[str]) -> None:
        super().__init__(path)
        self._widths: dict[str, float] = {}
        self._fills: dict[str, str] = {}
        self._shapes: dict[str, Drawing] = {}
        self._entry = ""
        self._drawing: Drawing | None = None
        self._drawing_depth = self._flash_depth = self._drawn_points = 0

    def _draw_from_here(self, padstack: str = "") -> None:
        """Begin a drawing with the element that is being read."""
        self._drawing, self._drawing_depth, self._flash_depth = Drawing(padstack=padstack), self.depth, 0

    def _start_entry_line_desc(self, attributes: Attributes) -> None:
        self._entry = self.text(attributes, "id", "EntryLineDesc")
        if self._entry in self._widths:
            self.refuse(f"EntryLineDesc {as_shown(self._entry)} appears twice")

    def _start_entry_fill_desc(self, attributes: Attributes) -> None:
        self._entry = self.text(attributes, "id", "EntryFillDesc")

    def _start_entry_standard(self, attributes: Attributes) -> None:
        self._entry = self.text(attributes, "id", "a shape of a dictionary")
        self._draw_from_here()
        if self._entry in self._shapes:
            self.refuse(f"shape {as_shown(self._entry)} appears twice in the dictionaries")

    _start_entry_user = _start_entry_standard

    def _end_entry_line_desc(self) -> None:
        self._entry = ""

    _end_entry_fill_desc = _end_entry_line_desc

    def _end_entry_standard(self) -> None:
        if self._drawing is not None:
            self._shapes[self._entry] = self._drawing
        self._entry, self._drawing = "", None

    _end_entry_user = _end_entry_standard

    def _start_standard_primitive_ref(self, attributes: Attributes) -> None:
        if self._drawing is None:
            return
        name = self.text(attributes, "id", "a reference to a shape")
        if self._entry:  # a dictionary may name what follows in it
            self._drawing.named_shapes.append((name, self.line))
            return
        shape = self._shape(name, self.line, ())
        self._count(shape)
        self._drawing.add(shape)

    _start_user_primitive_ref = _start_standard_primitive_ref

    def _shape(self, name: str, line: int, inside: tuple[str, ...]) -> Drawing:
        """A shape of the dictionaries, with all that it refers to; ``inside`` holds the shapes that lead to it."""
        if name not in self._shapes or name in inside:
            why = (
                "refers to itself" if name in inside else "the file has no such entry in a dictionary before this line"
            )
            self.refuse(f"shape {as_shown(name)}: {why}", line)
        shape = self._shapes[name]
        for number, width, at in shape.named_lines:
            if width not in self._widths:
                self.refuse(f"LineDescRef id = {as_shown(width)}: the file has no such EntryLineDesc", at)
            shape.lines[number] = shape.lines[number][0], self._widths[width]
        names, shape.named_lines, shape.named_shapes = shape.named_shapes, [], []
        try:
            for other, at in names:
                shape.add(self._shape(other, at, (*inside, name)))
                if shape.points > MOST_IN_SHAPE:
                    self.refuse(f"shape {as_shown(name)} draws more than {MOST_IN_SHAPE} points", at)
        except RecursionError:
            self.refuse(f"shape {as_shown(name)}: too many shapes lie inside each other", line)
        return shape

    def _count(self, shape: Drawing) -> None:
        """Refuse a file that draws its shapes without end."""
        self._drawn_points += shape.points
        if self._drawn_points > MOST_POINTS:
            self.refuse(f"shapes of the dictionaries draw more than {MOST_POINTS} points; no board needs that")
