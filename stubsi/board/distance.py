"""Owns distances inside a board: a length together with its two end points."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from stubsi.checks import checked
from stubsi.units import show
from stubsi.value import Dimension, Value, value_object


class EndKind(StrEnum):
    """Where a distance along a barrel can start or end. Each is also the text that is shown."""

    UPPER_FACE = "the upper face"
    LOWER_FACE = "the lower face"
    OUTER_FACE = "the outer face"
    PIN_TIP = "the tip of the press-fit pin, beyond the board"
    PLATING_END = "the end of the plating"


@dataclass(frozen=True)
class DistanceEnd:
    """Where a distance starts or ends.

    Parameters
    ----------
    kind : EndKind
        What lies there.
    layer : str, optional
        The copper layer whose face it is; None where the end is not a face of a layer.
    """

    kind: EndKind
    layer: str | None = None

    def __str__(self) -> str:
        return self.kind.value if self.layer is None else f"{self.kind.value} of {self.layer}"


@dataclass(frozen=True)
class Between:
    """The two ends of a distance.

    Parameters
    ----------
    start, end : DistanceEnd
        Where the distance starts and ends.
    """

    start: DistanceEnd
    end: DistanceEnd

    @classmethod
    def faces(cls, layer: str, face: EndKind, to_layer: str, to_face: EndKind) -> Between:
        """From a face of one copper layer to a face of another.

        Parameters
        ----------
        layer : str
            Name of the copper layer it starts at.
        face : EndKind
            Which of its faces.
        to_layer : str
            Name of the copper layer it ends at.
        to_face : EndKind
            Which of its faces.

        Returns
        -------
        Between
        """
        return cls(DistanceEnd(face, layer), DistanceEnd(to_face, to_layer))

    def ending_at(self, kind: EndKind) -> Between:
        """Copy with the same start and another end, which is not a face of a layer.

        Parameters
        ----------
        kind : EndKind
            Where the distance ends.

        Returns
        -------
        Between
        """
        return Between(self.start, DistanceEnd(kind))

    def __str__(self) -> str:
        return f"from {self.start} to {self.end}"


@value_object
class Distance(Value):
    """A length inside the board, with its two end points.

    Parameters
    ----------
    length : length
        How far it is.
    between : Between
        Where it begins and ends.
    """

    length: Dimension = Dimension("length", rule="any")
    length_si: float = field(init=False)
    between: Between

    def __post_init__(self) -> None:
        checked(self.between, "distance between", Between)

    def __str__(self) -> str:
        return f"{show(self.length_si, 'length')} {self.between}"
