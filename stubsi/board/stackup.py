"""Owns the stackup: copper and dielectric layers in order, depths of the copper faces, distances and mean laminate."""

from __future__ import annotations

from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from stubsi.board.distance import Between, Distance, EndKind
from stubsi.board.layers import CopperLayer, DielectricLayer, Laminate, assumed_of
from stubsi.checks import one_of, sequence, text_or_blank
from stubsi.errors import BoardError, UnknownValueError
from stubsi.plausibility import BOARD_THICKNESS, warn_if_unusual
from stubsi.unit_errors import as_shown
from stubsi.units import quantity, show
from stubsi.value import Converted, InSI, Value, value_object

if TYPE_CHECKING:
    from collections.abc import Iterable

    import pandas as pd

    from stubsi.units import Quantity

FACES = ("upper", "lower")
_FACE_KINDS = {"upper": EndKind.UPPER_FACE, "lower": EndKind.LOWER_FACE}


def _layers(value: Iterable[CopperLayer | DielectricLayer], what: str) -> tuple[CopperLayer | DielectricLayer, ...]:
    layers = sequence(value, what, object)
    wrong = [layer for layer in layers if not isinstance(layer, (CopperLayer, DielectricLayer))]
    if wrong:
        raise BoardError(f"{what} = {as_shown(wrong[0])}: must be CopperLayer or DielectricLayer objects.")
    return tuple(layer for layer in layers if isinstance(layer, (CopperLayer, DielectricLayer)))


@value_object
class Stackup(Value):
    """Layers from top to bottom, copper on both outer faces.

    Parameters
    ----------
    layers : sequence of CopperLayer and DielectricLayer
        From the top down. Between two copper layers there is always a dielectric; dielectrics may follow each other.
    source : str
        Source of these layers; blank where it is not stated.

    Raises
    ------
    BoardError
        No copper on an outer face, copper on copper, a layer name used twice, a source that is not a text.

    Examples
    --------
    >>> core = DielectricLayer(thickness="1.5 mm", dk=4.2, df=0.02, source="laminate data sheet")
    >>> board = Stackup(layers=(CopperLayer(name="TOP", thickness="35 um"), core,
    ...                         CopperLayer(name="BOT", thickness="35 um")), source="drawing")
    >>> print(board.stub_length("TOP", "bottom"))
    1.535 mm from the lower face of TOP to the outer face of BOT
    """

    layers: Converted[Iterable[CopperLayer | DielectricLayer], tuple[CopperLayer | DielectricLayer, ...]] = Converted(
        _layers
    )
    source: str = ""

    def __post_init__(self) -> None:
        text_or_blank(self.source, "stackup source")
        layers = self.layers
        if len(layers) < 3 or not (isinstance(layers[0], CopperLayer) and isinstance(layers[-1], CopperLayer)):
            raise BoardError("stackup layers must begin and end with a copper layer and hold a dielectric between.")
        for upper, lower in pairwise(layers):
            if isinstance(upper, CopperLayer) and isinstance(lower, CopperLayer):
                raise BoardError(f"stackup: no dielectric between copper layers {upper.name} and {lower.name}.")
        twice = [name for name in self.names if self.names.count(name) > 1]
        if twice:
            raise BoardError(f"stackup: copper layer name '{twice[0]}' is used twice.")
        warn_if_unusual(self.edges_si[-1], BOARD_THICKNESS, "stackup thickness", check="the thickness of every layer")

    def __repr__(self) -> str:
        copper = len(self.copper)
        return (
            f"<Stackup of {copper} copper and {len(self.layers) - copper} dielectric layers, "
            f"{show(self.edges_si[-1], 'length')} thick>"
        )

    def _repr_html_(self) -> str:
        from stubsi.show.html import stackup_html

        return stackup_html(self)

    @cached_property
    def copper(self) -> tuple[CopperLayer, ...]:
        """The copper layers from top to bottom."""
        return tuple(layer for layer in self.layers if isinstance(layer, CopperLayer))

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Names of the copper layers from top to bottom."""
        return tuple(layer.name for layer in self.copper)

    @cached_property
    def edges_si(self) -> tuple[float, ...]:
        """Depth [m], below the top copper face, of the upper face of every layer and last of the bottom face."""
        return (0.0, *np.cumsum([layer.thickness_si for layer in self.layers]).tolist())

    @cached_property
    def _faces(self) -> dict[str, tuple[float, float]]:
        edges = self.edges_si
        return {
            layer.name: (edges[i], edges[i + 1])
            for i, layer in enumerate(self.layers)
            if isinstance(layer, CopperLayer)
        }

    @property
    def thickness(self) -> Quantity:
        """Thickness of the board from outer copper face to outer copper face."""
        return quantity(self.edges_si[-1], "length")

    def index(self, layer: str) -> int:
        """Number of a copper layer among the copper layers, counted from the top.

        Parameters
        ----------
        layer : str
            Name of the layer.

        Returns
        -------
        int
            0 for the top layer.

        Raises
        ------
        BoardError
            No such layer. The error text names the known ones.
        """
        if not isinstance(layer, str) or layer not in self._faces:
            raise BoardError(f"layer {as_shown(layer)}: no such copper layer; known are {', '.join(self.names)}.")
        return self.names.index(layer)

    def face_si(self, layer: str, face: str) -> float:
        """Depth of a face of a copper layer below the top outer copper face.

        Parameters
        ----------
        layer : str
            Name of the copper layer.
        face : {"upper", "lower"}

        Returns
        -------
        float
            Depth [m].

        Raises
        ------
        BoardError
            No such layer or face.
        """
        self.index(layer)
        one_of(face, "face", FACES)
        return self._faces[layer][FACES.index(face)]

    def depth(self, layer: str, face: str, side: str = "top") -> Quantity:
        """Depth of a face of a copper layer below an outer copper face of the board.

        Parameters
        ----------
        layer : str
            Name of the copper layer.
        face : {"upper", "lower"}
            Face of that layer.
        side : {"top", "bottom"}
            Outer face that the depth is counted from.

        Returns
        -------
        pint.Quantity
            Depth in millimetres.

        Raises
        ------
        BoardError
            No such layer, face or side.
        """
        from_top, side = self.face_si(layer, face), _checked_side(side)
        return quantity(from_top if side == "top" else self.edges_si[-1] - from_top, "length")

    def faces(self) -> pd.DataFrame:
        """The same table as ``to_frame``.

        Returns
        -------
        pandas.DataFrame
            As ``to_frame``.
        """
        return self.to_frame()

    def to_frame(self) -> pd.DataFrame:
        """Table of the copper layers as a pandas DataFrame.

        Returns
        -------
        pandas.DataFrame
            From the top down: layer, role, and the depths [mm] of both faces from the top and from the bottom.
        """
        import pandas as pd

        rows = []
        for layer in self.copper:
            upper, lower = self._faces[layer.name]
            depths = (upper, lower, self.edges_si[-1] - upper, self.edges_si[-1] - lower)
            rows.append((layer.name, layer.role, *(1e3 * depth for depth in depths)))
        columns = [f"{face} face from {side} [mm]" for side in ("top", "bottom") for face in ("upper", "lower")]
        return pd.DataFrame(rows, columns=["layer", "role", *columns])

    def distance(self, layer: str, face: str, to_layer: str, to_face: str) -> Distance:
        """Distance between two faces of copper layers.

        Parameters
        ----------
        layer, face : str
            Where it begins: a copper layer, and its "upper" or "lower" face.
        to_layer, to_face : str
            Where it ends.

        Returns
        -------
        Distance
            Never negative. It names the two faces.

        Raises
        ------
        BoardError
            No such layer or face.
        """
        span = abs(self.face_si(to_layer, to_face) - self.face_si(layer, face))
        return _distance(span, Between.faces(layer, _FACE_KINDS[face], to_layer, _FACE_KINDS[to_face]))

    def stub_length(self, layer: str, side: str, end_layer: str | None = None) -> Distance:
        """Stub that a barrel leaves beyond a layer in use.

        Parameters
        ----------
        layer : str
            Outermost layer in use on that side.
        side : {"top", "bottom"}
            Side of the board that the stub points to.
        end_layer : str, optional
            Layer where the barrel ends. If it is not given, the outermost layer on that side.

        Returns
        -------
        Distance
            From the near face of the layer in use, its copper excluded, to the outer face of the end layer. Zero where
            the layer in use is the end layer.

        Raises
        ------
        BoardError
            No such layer or side.

        Notes
        -----
        Source: IPC-6012 (the stub length excludes the copper of the layer in use).
        """
        outermost = self.names[0 if _checked_side(side) == "top" else -1]
        end = outermost if end_layer is None else end_layer
        near, far = ("upper", "upper") if side == "top" else ("lower", "lower")
        beyond = self.index(layer) - self.index(end) if side == "top" else self.index(end) - self.index(layer)
        span = abs(self.face_si(end, far) - self.face_si(layer, near)) if beyond > 0 else 0.0
        return _distance(span, Between.faces(layer, _FACE_KINDS[near], end, EndKind.OUTER_FACE))

    def laminate(self, upper_si: float, lower_si: float) -> Laminate:
        """Mean laminate between two depths [m] below the top copper face.

        Parameters
        ----------
        upper_si, lower_si : float
            The two depths [m].

        Returns
        -------
        Laminate
            Means over the dielectric between the two depths.

        Raises
        ------
        UnknownValueError
            The Dk of a dielectric between them is not known. The error text names every such layer.
        BoardError
            No dielectric lies between them.

        Notes
        -----
        Dk is the mean of the permittivity that the radial field sees, weighted by thickness, because capacitances per
        length add. Df is the mean weighted by thickness times Dk, because the losses of these capacitances add.
        """
        pieces = self._dielectrics(upper_si, lower_si)
        if not pieces:
            raise BoardError(
                f"stackup: no dielectric between {show(upper_si, 'length')} and {show(lower_si, 'length')}."
            )
        unknown = [
            f"dielectric {number} ({layer.material or 'no material'})"
            for number, layer, _ in pieces
            if layer.radial_dk is None
        ]
        if unknown:
            raise UnknownValueError(f"Dk of {', '.join(unknown)} is unknown: give it in the stackup, or give dk_eff.")
        weight = np.array([span for *_, span in pieces])
        dk = np.array([layer.radial_dk for _, layer, _ in pieces])
        df = np.array([layer.df or 0.0 for _, layer, _ in pieces])
        frequencies = {layer.at_si for _, layer, _ in pieces}
        mean = float(weight @ dk / weight.sum())
        return Laminate(
            dk=mean,
            df=float(weight @ (dk * df) / weight.sum()) / mean,
            at_si=frequencies.pop() if len(frequencies) == 1 else None,
            assumed=assumed_of([layer for _, layer, _ in pieces]),
        )

    def _dielectrics(self, upper_si: float, lower_si: float) -> list[tuple[int, DielectricLayer, float]]:
        """(number from the top, layer, thickness within the two depths [m]) of each dielectric between them."""
        pieces, number = [], 0
        for i, layer in enumerate(self.layers):
            if not isinstance(layer, DielectricLayer):
                continue
            number += 1
            span = min(self.edges_si[i + 1], lower_si) - max(self.edges_si[i], upper_si)
            if span > 1e-12:
                pieces.append((number, layer, span))
        return pieces


def _checked_side(side: str) -> str:
    one_of(side, "side", ("top", "bottom"))
    return side


def _distance(span: float, between: Between) -> Distance:
    return Distance(length=InSI(span), between=between)
