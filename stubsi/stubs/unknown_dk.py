"""Owns the bounds over which a Dk that nobody stated is scanned, and the stubs that it gives."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from stubsi.board.layers import DielectricLayer
from stubsi.plausibility import DK

if TYPE_CHECKING:
    from stubsi.stubs.drawn import StubShape

TRIED = (DK.lowest, 4.0, DK.highest)
"""Dk that is tried [-]: the bounds of what is usual, and the Dk of a common laminate between them."""
DK_OPEN = "Dk of {} is unknown: give it in the stackup"
"""What is open where a Dk is scanned."""
DK_UNKNOWN = f"unknown Dk taken as {DK.lowest:g} to {DK.highest:g}"
"""What is shown where a Dk is scanned."""


def without_dk(shape: StubShape) -> tuple[str, ...]:
    """Names of the dielectrics of the board whose Dk is unknown: their number from the top, and their material.

    Parameters
    ----------
    shape : StubShape

    Returns
    -------
    tuple of str
    """
    dielectrics = [layer for layer in shape.stackup.layers if isinstance(layer, DielectricLayer)]
    return tuple(
        f"dielectric {number} ({layer.material or 'no material'})"
        for number, layer in enumerate(dielectrics, 1)
        if layer.dk is None
    )


def with_dks(shape: StubShape) -> tuple[StubShape, ...]:
    """The stubs that a stub may be, over the bounds of a Dk that is unknown. All unknown ones are equal at a time.

    The notch falls as any Dk rises, so the ends of the range are those where all unknown ones are at one bound.

    Parameters
    ----------
    shape : StubShape

    Returns
    -------
    tuple of StubShape
        The stub itself where all are known.
    """
    if not without_dk(shape):
        return (shape,)
    return tuple(replace(shape, stackup=shape.stackup.replaced(layers=_filled(shape, dk))) for dk in TRIED)


def _filled(shape: StubShape, dk: float) -> list[object]:
    return [
        layer.replaced(dk=dk) if isinstance(layer, DielectricLayer) and layer.dk is None else layer
        for layer in shape.stackup.layers
    ]
