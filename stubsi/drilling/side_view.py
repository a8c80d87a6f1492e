"""Owns the board as the drill meets it: depths of layers and press-fit zones, from the datum of the drilled side."""

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
    """Copper layers in the order the drill meets them, with their depths [m] below the datum.

    ``near`` is the face of each layer towards the drill, ``far`` the other one. ``sensed`` [m] is the near face of the
    layer that the drill senses; 0 where it senses none.
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
        """Depth [m] of the face of a layer towards the drill.

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
        """Depth [m] below the datum of a plane that lies ``depth`` [m] inside the face where a press-fit pin enters.

        None where there is no pin or no such plane, or where the pin enters from the drilled side.

        Parameters
        ----------
        fit : PressFit | None
            What a press-fit pin in the hole needs.
        depth : float | None
            Depth of the plane, from the face where the pin enters [m].

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
    height = {"copper": 0.0, "laminate": -outer, "mask": mask}[rules.datum]
    names = stackup.names if side == "top" else stackup.names[::-1]
    near, layer = faces[:, 0] + height, rules.tolerance.sensed_layer(side)
    return SideView(side, names, near, faces[:, 1] + height, float(near[names.index(layer)]) if layer else 0.0)


def check_layers(stackup: Stackup, rules: FabricatorRules) -> None:
    """Refuse rules that name a copper layer the board does not have; BoardError saying where.

    Parameters
    ----------
    stackup : Stackup
        Layers of the board.
    rules : FabricatorRules
        Rules of the fabricator.

    Raises
    ------
    BoardError
        Says where the layer is named.
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
