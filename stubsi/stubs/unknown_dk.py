"""Owns the bounds over which a Dk that nobody stated is scanned, and the stubs that it gives."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from stubsi.board.layers import DielectricLayer
from stubsi.errors import UnknownValueError
from stubsi.plausibility import DK
from stubsi.stubs.as_barrel import barrel_of

if TYPE_CHECKING:
    from stubsi.board.stackup import Stackup
    from stubsi.stubs.drawn import StubShape

TRIED = (DK.lowest, 4.0, DK.highest)
"""Dk that is tried [-]: the bounds of what is usual, and the Dk of a common laminate between them."""
DK_OPEN = "Dk of {} is unknown: give it in the stackup"
"""What is open where a Dk is scanned."""
DK_UNKNOWN = f"unknown Dk taken as {DK.lowest:g} to {DK.highest:g}"
"""What is shown where a Dk is scanned."""


def unknown_dielectrics(stackup: Stackup) -> dict[int, str]:
    """Names of the dielectrics whose Dk is unknown, by their place among the layers: number from the top, and material.

    Parameters
    ----------
    stackup : Stackup

    Returns
    -------
    dict
    """
    dielectrics = [(place, each) for place, each in enumerate(stackup.layers) if isinstance(each, DielectricLayer)]
    return {
        place: f"dielectric {number} ({layer.material or 'no material'})"
        for number, (place, layer) in enumerate(dielectrics, 1)
        if layer.dk is None
    }


def without_dk(shape: StubShape) -> tuple[str, ...]:
    """Names of the dielectrics whose Dk is unknown and that a stub depends on.

    Parameters
    ----------
    shape : StubShape

    Returns
    -------
    tuple of str
    """
    return tuple(name for place, name in unknown_dielectrics(shape.stackup).items() if _matters(shape, place))


def _matters(shape: StubShape, place: int) -> bool:
    """Whether another Dk of the layer at a place makes another barrel of a stub; also where that cannot be told."""
    lowest, common, highest = TRIED
    try:
        one, other = (
            barrel_of(_filled(shape, common, place, dk), shape.stub_length_si).barrels for dk in (lowest, highest)
        )
    except UnknownValueError:
        return True
    return one != other


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
    if not unknown_dielectrics(shape.stackup):
        return (shape,)
    return tuple(_filled(shape, dk) for dk in TRIED)


def _filled(shape: StubShape, dk: float, place: int = -1, dk_there: float = 0.0) -> StubShape:
    """The stub with one Dk for every dielectric of which it is unknown, but another one for that at a place."""
    layers = [
        layer.replaced(dk=dk_there if number == place else dk)
        if isinstance(layer, DielectricLayer) and layer.dk is None
        else layer
        for number, layer in enumerate(shape.stackup.layers)
    ]
    return replace(shape, stackup=shape.stackup.replaced(layers=layers))
