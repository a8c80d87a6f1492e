"""Owns the touching of copper and holes: which lines and areas of a net meet a hole, or a pad that it goes through."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from stubsi.files.exchange_pieces import TOUCH, as_drawn, as_polygon

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from stubsi.files.exchange_drawing import Area
    from stubsi.files.exchange_pieces import Pieces, Targets

    Floats = NDArray[np.float64]
    Shapes = NDArray[np.object_]

FEW_PAIRS = 20_000
"""Up to so many pairs of a hole and a shape, every distance is computed; beyond it a tree finds those that are near."""
MANY_POINTS = 200
"""From so many points on, a shape is made ready first, so that each further question costs little."""
REACH_CLASS = np.log(1.5)
"""Logarithm of the ratio of the reaches of holes that are looked at together."""


def touches(shapes: Shapes, widths: Floats, targets: Shapes, reach: Floats) -> NDArray[np.bool_]:
    """Whether a line or an area touches each target.

    Parameters
    ----------
    shapes : ndarray of geometry
        Lines and areas.
    widths : ndarray of float
        Width of each [m].
    targets : ndarray of geometry
    reach : ndarray of float
        How far each target reaches beyond its shape [m].

    Returns
    -------
    ndarray of bool
        One entry per target.
    """
    import shapely

    touched, shapes = np.zeros(len(targets), dtype=bool), _prepared(shapes)
    if len(shapes) * len(targets) <= FEW_PAIRS:
        near = shapely.dwithin(shapes[:, None], targets, widths[:, None] / 2 + reach + TOUCH)
        return near.any(axis=0) if len(shapes) else touched
    # targets of nearly the same reach at a time, so that what is near is nearly what touches
    classes = np.floor(np.log(np.maximum(reach, TOUCH)) / REACH_CLASS).astype(np.intp)
    for each in np.unique(classes).tolist():
        left = np.flatnonzero(classes == each)
        start, count = 0, 64
        while start < len(shapes) and len(left):
            tree = shapely.STRtree(targets[left])
            while start < len(shapes):
                some, wide = shapes[start : start + count], widths[start : start + count] / 2
                shape, hole = tree.query(some, predicate="dwithin", distance=wide + reach[left].max() + TOUCH)
                near = shapely.dwithin(some[shape], tree.geometries[hole], wide[shape] + reach[left[hole]] + TOUCH)
                touched[left[hole[near]]] = True
                start, count = start + count, min(2 * count, 8192)
                if touched[left].mean() > 0.1:
                    break
            left = left[~touched[left]]
    return touched


def _prepared(shapes: Shapes) -> Shapes:
    """The same shapes, those of many points made ready for many questions."""
    import shapely

    large = np.flatnonzero(shapely.get_num_coordinates(shapes) > MANY_POINTS)
    if len(large):
        shapes = shapes.copy()
        shapes[large] = [as_drawn(shape) for shape in shapes[large]]
        shapely.prepare(shapes[large])
    return shapes


class Clearances:
    """What is drawn without copper over what a layer holds so far.

    Parameters
    ----------
    of_layers : mapping of layer to list of Area
        In the order of the file.
    """

    def __init__(self, of_layers: Mapping[str, list[Area]]) -> None:
        self._of_layers = of_layers
        self._found: dict[str, tuple[Shapes, Any]] = {}

    def left(self, layer: str, touched: NDArray[np.bool_], targets: Targets, pieces: Pieces) -> NDArray[np.bool_]:
        """Which targets are touched still where clearances take copper away.

        Parameters
        ----------
        layer : str
        touched : ndarray of bool
            Which targets the copper touches as drawn.
        targets : Targets
        pieces : Pieces
            The copper.

        Returns
        -------
        ndarray of bool
        """
        import shapely

        if layer not in self._of_layers or not touched.any():
            return touched
        clear, tree = self._on(layer)
        numbers = np.flatnonzero(touched)
        near = targets.reach[numbers] + TOUCH
        target, void = tree.query(targets.shapes[numbers], predicate="dwithin", distance=near)
        touched = touched.copy()
        for each in np.unique(target).tolist():
            shape, reach = targets.shapes[numbers[each]], targets.reach[numbers[each]] + TOUCH
            over = void[target == each]
            touching = np.flatnonzero(shapely.distance(pieces.shapes, shape) - pieces.widths / 2 <= reach)
            touched[numbers[each]] = any(
                shapely.distance(_cut(pieces, piece, clear[over[over >= pieces.order[piece]]]), shape) <= reach
                for piece in touching.tolist()
            )
        return touched

    def _on(self, layer: str) -> tuple[Shapes, Any]:
        import shapely

        if layer not in self._found:
            areas = self._of_layers[layer]
            clear = np.empty(len(areas), dtype=object)
            clear[:] = [as_drawn(as_polygon(area)).buffer(area.width / 2) for area in areas]
            self._found[layer] = clear, shapely.STRtree(clear)
        return self._found[layer]


def _cut(pieces: Pieces, number: int, over: Shapes) -> Any:
    """A piece of copper without what is drawn over it; empty where nothing is left."""
    import shapely

    piece, width = pieces.shapes[number], float(pieces.widths[number])
    if not len(over):
        return piece.buffer(width / 2) if width else piece
    return shapely.difference(as_drawn(piece).buffer(max(width / 2, TOUCH)), shapely.union_all(over))
