"""Owns the reading of what an IPC-2581 file draws: lines, areas and pads, and the shapes of its dictionaries."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stubsi.files.exchange_dictionary import DictionaryReader
from stubsi.files.exchange_drawing import Area, Flash, Turn
from stubsi.files.exchange_geometry import Point, arc_points, circle
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    import os

    from stubsi.files.xml_stream import Attributes


class ShapeReader(DictionaryReader):
    """Reads what is drawn in one IPC-2581 file. A subclass says what becomes of it.

    Parameters
    ----------
    path : path
        The file.
    """

    def __init__(self, path: str | os.PathLike[str]) -> None:
        super().__init__(path)
        self._ring = 0.0
        self._points: list[Point] | None = None
        self._turn_of_points: Turn | None = None
        self._width = self._set_width = 0.0
        self._named_width: tuple[str, int] | None = None
        self._in_set = False
        self._contour: list[list[Point]] | None = None
        self._contour_width = 0.0
        self._fill = self._contour_fill = ""
        self._outline: list[Point] | None = None

    # places

    def _start_location(self, attributes: Attributes) -> None:
        if self._drawing is None or self._entry:
            super()._start_location(attributes)
        else:
            self._drawing.places.append(self._point(attributes, "Location"))
            if len(self._drawing.places) > 1:
                self._count(self._drawing)

    def _start_xform(self, attributes: Attributes) -> None:
        if self._drawing is None:
            super()._start_xform(attributes)
        elif self._points is not None:
            self._turn_of_points = self._turn(attributes)
        elif self._flash_depth and self.depth == self._flash_depth + 1:
            self._drawing.flashes[-1] = self._drawing.flashes[-1].turned(self._turn(attributes))
        elif self.depth == self._drawing_depth + 1:
            self._drawing.turn = self._turn(attributes)

    # lines and areas

    def _start_polyline(self, _: Attributes) -> None:
        if self._drawing is not None:
            self._begin([])

    _start_polygon = _start_cutout = _start_polyline

    def _begin(self, points: list[Point]) -> None:
        self._points, self._width, self._named_width = points, self._set_width, None
        self._turn_of_points, self._fill, self._flash_depth = None, "", 0

    def _start_contour(self, _: Attributes) -> None:
        self._contour, self._contour_width, self._contour_fill = [], 0.0, ""

    def _start_outline(self, _: Attributes) -> None:
        self._outline = []

    def _start_poly_begin(self, attributes: Attributes) -> None:
        if self._points is not None:
            self._points.append(self._point(attributes, "PolyBegin"))

    def _start_poly_step_segment(self, attributes: Attributes) -> None:
        if self._points is not None:
            self._points.append(self._point(attributes, "PolyStepSegment"))

    def _start_poly_step_curve(self, attributes: Attributes) -> None:
        if self._points:
            self._points += self._arc(attributes, "PolyStepCurve", self._points[-1], "x", "y")

    def _start_line(self, attributes: Attributes) -> None:
        if self._drawing is not None:
            self._begin([self._point(attributes, "Line", f"{end}X", f"{end}Y") for end in ("start", "end")])

    def _start_arc(self, attributes: Attributes) -> None:
        if self._drawing is not None:
            start = self._point(attributes, "Arc", "startX", "startY")
            self._begin([start, *self._arc(attributes, "Arc", start, "endX", "endY")])

    def _arc(self, attributes: Attributes, element: str, start: Point, x: str, y: str) -> list[Point]:
        centre = self._point(attributes, element, "centerX", "centerY")
        clockwise = self.text(attributes, "clockwise", element).lower()
        if clockwise not in {"true", "false", "1", "0"}:
            self.refuse(f"{element} clockwise = {as_shown(clockwise)}: must be true or false")
        return arc_points(start, self._point(attributes, element, x, y), centre, clockwise=clockwise in {"true", "1"})

    def _start_line_desc(self, attributes: Attributes) -> None:
        if self._entry and self._drawing is None:
            self._widths[self._entry] = self._size(attributes, "lineWidth", "LineDesc")
        elif self._in_flash:
            self._ring = self._size(attributes, "lineWidth", "LineDesc")
        elif self._points is not None or self._outline or self._of_set():
            self._take_width(self._size(attributes, "lineWidth", "LineDesc"))

    @property
    def _in_flash(self) -> bool:
        """Whether what is read describes a shape that is drawn in one piece."""
        return self._drawing is not None and bool(self._flash_depth) and self.depth == self._flash_depth + 1

    def _start_line_desc_ref(self, attributes: Attributes) -> None:
        if self._in_flash:
            self._ring = self._widths.get(self.text(attributes, "id", "LineDescRef"), 0.0)
            return
        if self._points is None and not self._outline and not self._of_set():
            return
        name = self.text(attributes, "id", "LineDescRef")
        if name in self._widths:
            self._take_width(self._widths[name])
        elif self._entry:  # its dictionary may stand behind that of the shapes
            self._named_width = name, self.line
        else:
            self.refuse(f"LineDescRef id = {as_shown(name)}: the file has no such EntryLineDesc before this line")

    def _of_set(self) -> bool:
        """Whether a description of lines stands in a set, for all of its lines."""
        return self._in_set and self._drawing is None

    def _take_width(self, width: float) -> None:
        if self._drawing is None:
            self._set_width = width
        else:
            self._width = width

    def _start_fill_desc(self, attributes: Attributes) -> None:
        fill = self.optional(attributes, "fillProperty", "FillDesc").upper()
        if self._entry and self._drawing is None:
            self._fills[self._entry] = fill
        else:
            self._take_fill(fill)

    def _take_fill(self, fill: str) -> None:
        if self._points is not None:
            self._fill = fill
        elif self._in_flash and self._drawing is not None and fill in {"HOLLOW", "VOID"}:
            self._drawing.flashes[-1] = self._drawing.flashes[-1]._replace(ring=self._ring)

    def _start_fill_desc_ref(self, attributes: Attributes) -> None:
        if self._points is None and not self._in_flash:
            return
        name = self.text(attributes, "id", "FillDescRef")
        if name not in self._fills:
            self.refuse(f"FillDescRef id = {as_shown(name)}: the file has no such EntryFillDesc before this line")
        self._take_fill(self._fills[name])

    def _end_polyline(self) -> None:
        self._add_line(self._points)
        self._points = None

    _end_line = _end_arc = _end_polyline

    def _add_line(self, points: list[Point] | None) -> None:
        if self._drawing is None or not points or len(points) < 2:
            return
        if self._named_width is not None:
            self._drawing.named_lines.append((len(self._drawing.lines), *self._named_width))
        self._drawing.lines.append((points, self._width))

    def _end_polygon(self) -> None:
        points, self._points = self._points, None
        if self._drawing is None or points is None:
            return
        if self._turn_of_points is not None:
            points = self._turn_of_points.moved(points, (0.0, 0.0))
        if self._contour is not None:
            if not self._contour:
                self._contour_fill = self._fill
            self._contour.append(points)
            self._contour_width = max(self._contour_width, self._width)
        elif self._outline is not None:
            self._outline = [*points, *points[:1]]

    _end_cutout = _end_polygon

    def _end_outline(self) -> None:
        """The closed line of an outline. It is no area; its width stands behind it."""
        self._add_line(self._outline)
        self._outline = None

    def _end_contour(self) -> None:
        if self._drawing is not None and self._contour and len(self._contour[0]) > 2:
            outline, *cutouts = self._contour
            area = Area(outline, [cutout for cutout in cutouts if len(cutout) > 2], self._contour_width)
            if self._contour_fill == "HOLLOW":
                self._drawing.lines += [([*each, *each[:1]], self._contour_width) for each in (outline, *area.cutouts)]
            elif self._contour_fill == "VOID":
                self._drawing.voids.append(area)
            else:
                self._drawing.areas.append(area)
        self._contour = None

    # shapes that are drawn in one piece

    def _flash(self, size: float | None, outline: tuple[Point, ...] = ()) -> None:
        if self._drawing is not None:
            self._drawing.flashes.append(Flash(size, outline))
            self._flash_depth, self._ring = self.depth, 0.0
            if outline:
                self.record.assume("shapes of pads that are not round stand for circles of the same area")

    def _start_circle(self, attributes: Attributes) -> None:
        if self._drawing is not None:
            self._flash(self._size(attributes, "diameter", "Circle"))

    def _start_rect_center(self, attributes: Attributes) -> None:
        if self._drawing is not None:
            width, height = (self._size(attributes, side, "pad") for side in ("width", "height"))
            x, y = width / 2, height / 2
            self._flash(2 * math.sqrt(width * height / math.pi), ((-x, -y), (x, -y), (x, y), (-x, y)))

    _start_rect_round = _start_rect_cham = _start_oval = _start_rect_center

    def _start_rect_corner(self, attributes: Attributes) -> None:
        if self._drawing is not None:
            (x, y), (to_x, to_y) = (
                self._point(attributes, "RectCorner", f"{corner}X", f"{corner}Y")
                for corner in ("lowerLeft", "upperRight")
            )
            size = 2 * math.sqrt(abs((to_x - x) * (to_y - y)) / math.pi)
            self._flash(size, ((x, y), (to_x, y), (to_x, to_y), (x, to_y)))

    def _start_ellipse(self, attributes: Attributes) -> None:
        if self._drawing is not None:
            width, height = (self._size(attributes, side, "pad") for side in ("width", "height"))
            corners = tuple((width / 2 * x, height / 2 * y) for x, y in circle(2.0))
            self._flash(math.sqrt(width * height), corners)

    def _start_diamond(self, attributes: Attributes) -> None:
        if self._drawing is not None:
            x, y = (self._size(attributes, side, "pad") / 2 for side in ("width", "height"))
            self._flash(2 * math.sqrt(2 * x * y / math.pi), ((-x, 0.0), (0.0, -y), (x, 0.0), (0.0, y)))

    def _start_thermal(self, attributes: Attributes) -> None:
        """A pad that spokes join to the copper around it, so it is a connection, and is drawn as a disc of copper."""
        if self._drawing is not None:
            outer, inner = (self._size(attributes, f"{side}Diameter", "Thermal") for side in ("outer", "inner"))
            self._flash(inner)
            self._drawing.joined.append(Area(circle(outer), []))

    def _start_unknown_shape(self, _: Attributes) -> None:
        self._flash(None)

    _start_butterfly = _start_donut = _start_hexagon = _start_moire = _start_unknown_shape
    _start_octagon = _start_triangle = _start_unknown_shape
