"""Owns the board as seen from the drilled side: order and depths of its layers, counted from the datum of that side."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.drilling.rules import ANY_LAYER
from stubsi.errors import BoardError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.board.padstack import PressFit
    from stubsi.board.stackup import Stackup
    from stubsi.drilling.rules import FabricatorRules
    from stubsi.stubs.drawn import StubShape


class SideView(NamedTuple):
    """Copper layers in the order in which the drill meets them, with their depths [m] below the datum.

    ``near`` holds the depth of the face of each layer that looks towards the drill, ``far`` that of its other face.
    ``sensed`` is the depth of the near face of the layer that the drill senses; 0 where it senses none.
    """

    side: str
    names: tuple[str, ...]
    near: NDArray[np.float64]
    far: NDArray[np.float64]
    sensed: float

    def position(self, layer: str) -> int:
        """Position of a layer in drilling order, 0 at the drilled face.

        Parameters
        ----------
        layer : str
            Name of the layer.

        Returns
        -------
        int
            Number of the layer.
        """
        return self.names.index(layer)

    def near_face(self, layer: str) -> float:
        """Depth [m] of the face of a layer that looks towards the drill.

        Parameters
        ----------
        layer : str
            Name of the layer.

        Returns
        -------
        float
            Depth [m].
        """
        return float(self.near[self.position(layer)])

    def from_far_face(self, fit: PressFit | None, depth: float | None) -> float | None:
        """Convert a depth counted from the face where a press-fit pin enters to a depth below the datum.

        None where there is no pin or no depth, or where the pin enters from the drilled side.

        Parameters
        ----------
        fit : PressFit | None
            What a press-fit pin in the hole needs.
        depth : float | None
            Depth from the face where the pin enters [m].

        Returns
        -------
        float | None
            Depth [m], or None.
        """
        if fit is None or depth is None or fit.side == self.side:
            return None
        return float(self.far[-1]) - depth


@lru_cache(maxsize=64)
def side_view(stackup: Stackup, rules: FabricatorRules, side: str) -> SideView:
    """The board as it looks to a drill that comes from ``side``.

    Parameters
    ----------
    stackup : Stackup
        Layers of the board.
    rules : FabricatorRules
        Rules of the fabricator.
    side : str
        Side drilled from, "top" or "bottom".

    Returns
    -------
    SideView
        The layers in drilling order.
    """
    faces = np.array([[stackup.face_si(name, face) for face in ("upper", "lower")] for name in stackup.names])
    if side == "bottom":
        faces = (stackup.edges_si[-1] - faces)[::-1, ::-1]
    outer = stackup.copper[0 if side == "top" else -1].thickness_si
    mask = rules.mask_thickness_si or 0.0
    datum_height = {"copper": 0.0, "laminate": -outer, "mask": mask}[rules.datum]
    names = stackup.names if side == "top" else stackup.names[::-1]
    near, layer = faces[:, 0] + datum_height, rules.tolerance.sensed_layer(side)
    return SideView(side, names, near, faces[:, 1] + datum_height, float(near[names.index(layer)]) if layer else 0.0)


def check_layers(stackup: Stackup, rules: FabricatorRules) -> None:
    """Refuse rules that name a copper layer which the board does not have.

    Parameters
    ----------
    stackup : Stackup
        Layers of the board.
    rules : FabricatorRules
        Rules of the fabricator.

    Raises
    ------
    BoardError
        There is no such layer. The error text says which rule names it.
    """
    for name, layers in (("rules sides", rules.sides), ("depth tolerance sensed", rules.tolerance.sensed)):
        for side, layer in dict(layers).items():
            if layer != ANY_LAYER and layer not in stackup.names:
                raise BoardError(
                    f"{name}: {side} = '{layer}': no such copper layer; known are {', '.join(stackup.names)}."
                )


class BarrelPositions(NamedTuple):
    """Positions of layers in drilling order: where a barrel begins, its layer in use, and where the barrel ends."""

    outer: int
    in_use: int
    inner: int


def barrel_positions(shape: StubShape, view: SideView) -> BarrelPositions:
    """Where the barrel of a stub begins and ends, and where its layer in use lies, in drilling order.

    Parameters
    ----------
    shape : StubShape
        The stub as drawn.
    view : SideView
        The board seen from the side of the stub.

    Returns
    -------
    BarrelPositions
        Positions of the layers.
    """
    span, last = shape.span, len(view.names) - 1
    if shape.side == "top":
        return BarrelPositions(span.first, span.upper_in_use, span.last)
    return BarrelPositions(last - span.last, last - span.lower_in_use, last - span.first)
