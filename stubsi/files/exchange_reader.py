"""Owns the reading of an IPC-2581 file: each element that a board needs becomes a record, all others pass by."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stubsi.files.exchange_drawing import Area, Drawing, Point, arc_points
from stubsi.files.exchange_padstacks import HOLE_TOLERANCE, PadstackReader
from stubsi.files.exchange_records import (
    COPPER,
    PLATED,
    HoleRecord,
)
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    import os

    from stubsi.files.exchange_records import LayerRecord
    from stubsi.files.xml_stream import Attributes

NO_ROUTES = {"TEARDROP"}
"""Uses of geometry that are copper around a pad."""
NO_NET_USAGE = {"", "NONE", "NO", "TOEPRINT"}


class ExchangeReader(PadstackReader):
    """Reads one IPC-2581 file to records.

    Parameters
    ----------
    path : path
        The file.
    """

    def __init__(self, path: str | os.PathLike[str]) -> None:
        super().__init__(path)
        self._widths: dict[str, float] = {}
        self._shapes: dict[str, Drawing] = {}
        self._feature_layer: LayerRecord | None = None
        self._set: Attributes | None = None
        self._entry = ""
        self._points: list[Point] | None = None
        self._width = 0.0
        self._contour: list[list[Point]] | None = None
        self._contour_width = 0.0

    # shapes that others refer to

    def _start_entry_line_desc(self, attributes: Attributes) -> None:
        self._entry = self.text(attributes, "id", "EntryLineDesc")
        if self._entry in self._widths:
            self.refuse(f"EntryLineDesc {as_shown(self._entry)} appears twice")

    def _start_entry_standard(self, attributes: Attributes) -> None:
        self._entry, self._drawing = self.text(attributes, "id", "a shape of a dictionary"), Drawing()
        if self._entry in self._shapes:
            self.refuse(f"shape {as_shown(self._entry)} appears twice in the dictionaries")

    _start_entry_user = _start_entry_standard

    def _end_entry_line_desc(self) -> None:
        self._entry = ""

    def _end_entry_standard(self) -> None:
        if self._drawing is not None:
            self._shapes[self._entry] = self._drawing
        self._entry, self._drawing = "", None

    _end_entry_user = _end_entry_standard

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
            if self._set.get("net"):
                self._pair(self._set["net"], attributes)

    def _end_set(self) -> None:
        self._set = None

    def _start_hole(self, attributes: Attributes) -> None:
        if self._set is None or self._feature_layer is None:
            return
        status, net = self.text(attributes, "platingStatus", "Hole"), self._set.get("net", "")
        x, y = self.length(attributes, "x", "Hole"), self.length(attributes, "y", "Hole")
        diameter = self._diameter(attributes, "Hole")
        if self._feature_layer.function != "DRILL":
            self.record.ignore("holes on layers that are no drill layers")
        elif status == "NONPLATED":
            self.record.ignore("non-plated holes")
        elif status not in PLATED:
            self.refuse(f"Hole platingStatus = {as_shown(status)}: must be {', '.join(sorted(PLATED))} or NONPLATED")
        elif not net:
            self.record.ignore("plated holes without a net")
        else:
            layer, padstack = self._feature_layer.name, self._set.get("geometry", "")
            spread = self._spread(attributes, "Hole", HOLE_TOLERANCE)
            hole = HoleRecord(net, layer, x, y, diameter, padstack, self.line, spread)
            self.record.steps[-1].holes.append(hole)

    def _start_slot(self, _: Attributes) -> None:
        self.record.ignore("slots")

    _start_slot_cavity = _start_slot

    def _start_features(self, attributes: Attributes) -> None:
        if self._set is not None and self._feature_layer is not None and self._feature_layer.function in COPPER:
            self._drawing = Drawing(padstack=self.optional(attributes, "padstackDefRef", "Pad"))

    _start_pad = _start_features

    def _end_features(self) -> None:
        drawing, self._drawing = self._drawing, None
        if drawing is None or self._set is None or self._feature_layer is None:
            return
        net = self._set.get("net", "")
        if not net:
            self.record.ignore("pieces of copper without a net")
        elif self._set.get("polarity") == "NEGATIVE" or self._feature_layer.polarity == "NEGATIVE":
            self.record.ignore("pieces of copper that are drawn as clearance")
        else:
            if self._set.get("geometryUsage", "") in NO_ROUTES or self._set.get("padUsage", "") not in NO_NET_USAGE:
                drawing.lines, drawing.areas = [], []
            drawing.padstack = drawing.padstack or self._set.get("geometry", "")
            self._keep(self._feature_layer.name, net, drawing)

    _end_pad = _end_features

    def _start_pin_ref(self, attributes: Attributes) -> None:
        if self._drawing is not None:
            self._drawing.pin = self.optional(attributes, "componentRef", "PinRef")

    def _start_location(self, attributes: Attributes) -> None:
        if self._drawing is None:
            super()._start_location(attributes)
        else:
            self._drawing.places.append(self._point(attributes, "Location"))

    def _start_xform(self, attributes: Attributes) -> None:
        if self._drawing is None:
            super()._start_xform(attributes)
        elif self._points is None:
            self._drawing.turn = self._turn(attributes)

    # lines, areas and pads

    def _start_polyline(self, _: Attributes) -> None:
        if self._drawing is not None:
            self._points, self._width = [], 0.0

    _start_polygon = _start_cutout = _start_polyline

    def _start_contour(self, _: Attributes) -> None:
        self._contour, self._contour_width = [], 0.0

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
            ends = [self._point(attributes, "Line", f"{end}X", f"{end}Y") for end in ("start", "end")]
            self._points, self._width = ends, 0.0

    def _start_arc(self, attributes: Attributes) -> None:
        if self._drawing is not None:
            start = self._point(attributes, "Arc", "startX", "startY")
            self._points, self._width = [start, *self._arc(attributes, "Arc", start, "endX", "endY")], 0.0

    def _arc(self, attributes: Attributes, element: str, start: Point, x: str, y: str) -> list[Point]:
        centre = self._point(attributes, element, "centerX", "centerY")
        clockwise = self.text(attributes, "clockwise", element).lower()
        if clockwise not in {"true", "false", "1", "0"}:
            self.refuse(f"{element} clockwise = {as_shown(clockwise)}: must be true or false")
        return arc_points(start, self._point(attributes, element, x, y), centre, clockwise=clockwise in {"true", "1"})

    def _start_line_desc(self, attributes: Attributes) -> None:
        if self._points is not None:
            self._width = self._size(attributes, "lineWidth", "LineDesc")
        elif self._entry and self._drawing is None:
            self._widths[self._entry] = self._size(attributes, "lineWidth", "LineDesc")

    def _start_line_desc_ref(self, attributes: Attributes) -> None:
        if self._points is None:
            return
        name = self.text(attributes, "id", "LineDescRef")
        if name not in self._widths:
            self.refuse(f"LineDescRef id = {as_shown(name)}: the file has no such EntryLineDesc before this line")
        self._width = self._widths[name]

    def _end_polyline(self) -> None:
        if self._drawing is not None and self._points and len(self._points) > 1:
            self._drawing.lines.append((self._points, self._width))
        self._points = None

    _end_line = _end_arc = _end_polyline

    def _end_polygon(self) -> None:
        if self._drawing is not None and self._contour is not None and self._points is not None:
            self._contour.append(self._points)
            self._contour_width = max(self._contour_width, self._width)
        self._points = None

    _end_cutout = _end_polygon

    def _end_contour(self) -> None:
        if self._drawing is not None and self._contour and len(self._contour[0]) > 2:
            outline, *cutouts = self._contour
            cutouts = [cutout for cutout in cutouts if len(cutout) > 2]
            self._drawing.areas.append(Area(outline, cutouts, self._contour_width))
        self._contour = None

    def _start_circle(self, attributes: Attributes) -> None:
        if self._drawing is not None:
            size = self._size(attributes, "diameter", "Circle")
            self._drawing.sizes.append(size)
            self._drawing.rounds.append(size)

    def _start_rect_center(self, attributes: Attributes) -> None:
        if self._drawing is not None:
            width, height = (self._size(attributes, side, "pad") for side in ("width", "height"))
            self._drawing.sizes.append(2 * math.sqrt(width * height / math.pi))
            x, y = width / 2, height / 2
            self._drawing.outlines.append([(-x, -y), (x, -y), (x, y), (-x, y)])
            self.record.assume("shapes of pads that are not round stand for circles of the same area")

    _start_rect_round = _start_rect_cham = _start_oval = _start_rect_center

    def _start_donut(self, _: Attributes) -> None:
        if self._drawing is not None:
            self._drawing.sizes.append(None)

    _start_butterfly = _start_diamond = _start_ellipse = _start_hexagon = _start_moire = _start_donut
    _start_octagon = _start_rect_corner = _start_triangle = _start_donut

    def _start_standard_primitive_ref(self, attributes: Attributes) -> None:
        if self._drawing is None:
            return
        name = self.text(attributes, "id", "a reference to a shape")
        if name not in self._shapes:
            self.refuse(f"shape {as_shown(name)}: the file has no such entry in a dictionary before this line")
        self._drawing.add(self._shapes[name])

    _start_user_primitive_ref = _start_standard_primitive_ref
