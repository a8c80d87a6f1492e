"""Owns the board as the drill meets it: depths of layers and press-fit zones, from the datum of the drilled side."""

from __future__ import annotations

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


class Frame(NamedTuple):
    """Copper layers in the order the drill meets them, depths [m] below the datum; ``near`` faces the drill.

    ``sensed`` [m]: near face of the layer the drill senses; 0 where it senses none.
    """

    side: str
    names: tuple[str, ...]
    near: NDArray[np.float64]
    far: NDArray[np.float64]
    sensed: float

    def place(self, layer: str) -> int:
        """Place of a layer in drilling order, 0 at the drilled face."""
        return self.names.index(layer)

    def beyond(self, fit: PressFit | None, depth: float | None) -> float | None:
        """Depth [m] below the datum of a plane ``depth`` [m] inside the face a press-fit pin enters at.

        None where there is none, or where the pin enters from the drilled side.
        """
        if fit is None or depth is None or fit.side == self.side:
            return None
        return float(self.far[-1]) - depth


def frame(stackup: Stackup, rules: FabricatorRules, side: str) -> Frame:
    """The board seen from ``side``."""
    faces = np.array([[stackup.face_si(name, face) for face in ("upper", "lower")] for name in stackup.names])
    if side == "bottom":
        faces = (stackup.edges_si[-1] - faces)[::-1, ::-1]
    outer = stackup.copper[0 if side == "top" else -1].thickness_si
    height = {"copper": 0.0, "laminate": -outer, "mask": rules.mask_thickness_si}[rules.datum]
    names = stackup.names if side == "top" else stackup.names[::-1]
    near, layer = faces[:, 0] + height, rules.tolerance.sensed_layer(side)
    return Frame(side, names, near, faces[:, 1] + height, float(near[names.index(layer)]) if layer else 0.0)


def check_layers(stackup: Stackup, rules: FabricatorRules) -> None:
    """Refuse rules that name a copper layer the board does not have; BoardError saying where."""
    for name, layers in (("rules sides", rules.sides), ("depth tolerance sensed", rules.tolerance.sensed)):
        for side, layer in layers:
            if layer != ANY_LAYER and layer not in stackup.names:
                raise BoardError(
                    f"{name}: {side} = '{layer}': no such copper layer; known are {', '.join(stackup.names)}."
                )


def barrel(shape: StubShape, seen: Frame) -> tuple[int, int, int]:
    """Places, in drilling order, of the barrel's near end, of the layer in use, and of the barrel's far end."""
    span, last = shape.span, len(seen.names) - 1
    if shape.side == "top":
        return span.first, span.upper_in_use, span.last
    return last - span.last, last - span.lower_in_use, last - span.first
