"""Owns the tolerances of depth and thickness: how far the end of the plating can lie from the end that is aimed at.

All depths [m] are counted from the datum on the drilled side into the board. The plating left before a face is negative
where the drill went past that face. ``sensed`` is the depth of the layer that the drill senses, 0 if it senses none.

Depth is measured to the drill's tip or to its shoulder, as the rules state. ``lead`` is how far that point lies beyond
the end of the plating.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import TYPE_CHECKING, Literal, TypeAlias

from stubsi.board.padstack import SIDES
from stubsi.checks import one_line, one_of
from stubsi.errors import BoardError
from stubsi.plausibility import DRILLING_CLEARANCE
from stubsi.unit_errors import as_shown
from stubsi.units import one_number, show
from stubsi.value import Dimension, Value, value_object

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


Reference: TypeAlias = Literal["face", "measured thickness", "sensed layer"]
"""What a depth is counted from."""
REFERENCES: tuple[Reference, ...] = ("face", "measured thickness", "sensed layer")

LayersBySide: TypeAlias = Mapping[str, str] | tuple[tuple[str, str], ...]
"""A layer name for each side: a mapping as users give it, and sorted pairs after it is checked."""


@value_object
class DepthTolerance(Value):
    r"""Depth tolerance of the machine, and thickness tolerance of the part of the board that is drilled through.

    Parameters
    ----------
    plus, minus : length
        Greatest amounts by which the drill may end deeper, and shallower, than the depth that is aimed at.
    thickness_plus, thickness_minus : float
        Greatest fractions by which the part that is drilled through may be thicker, and thinner (0.1 means 10 %).
    reference : {"face", "measured thickness", "sensed layer"}
        What the depth is counted from.
    sensed : mapping of side to layer name, optional
        The layer that the drill senses as it passes, for the reference "sensed layer".
    source : str
        Who states these tolerances.

    Raises
    ------
    UnitError, BoardError
        A value is out of range, the source is blank, or a sensed layer is given without the reference "sensed layer",
        or this reference without a sensed layer.

    See Also
    --------
    GuaranteedResidual : The other way: the fabricator guarantees the residual stub.

    Notes
    -----
    The plating r left before the near face F of a layer, when the end e of the plating is aimed at (both as drawn), is

    .. math:: r = F - e + \tau\,(F - A) - \delta, \quad -minus \le \delta \le plus,
              \quad -thickness\_minus \le \tau \le thickness\_plus

    A is the depth down to which a change of thickness does not matter. It is 0 when depth is referenced to the face,
    and the near face of the sensed layer when a layer is sensed. When each panel is measured, the depth is scaled with
    its thickness; then A is that depth (of tip or shoulder, as the rules say), and all of the panel is taken to
    deviate by the same fraction.
    """

    plus: Dimension = Dimension("length", rule="not negative", usual=DRILLING_CLEARANCE)
    plus_si: float = field(init=False)
    minus: Dimension = Dimension("length", rule="not negative", usual=DRILLING_CLEARANCE)
    minus_si: float = field(init=False)
    thickness_plus: float
    thickness_minus: float
    reference: Reference
    sensed: LayersBySide = field(default=())
    source: str

    def __post_init__(self) -> None:
        kept = self.__dict__
        for name in ("thickness_plus", "thickness_minus"):
            kept[name] = value = one_number(getattr(self, name), f"depth tolerance {name}", rule="not negative")
            if value >= 1:
                raise BoardError(
                    f"depth tolerance {name} = {value}: must be below 1; it is a fraction, not a percentage."
                )
        one_of(self.reference, "depth tolerance reference", REFERENCES)
        if not is_layer_by_side(self.sensed) or bool(self.sensed) != (self.reference == "sensed layer"):
            raise BoardError(
                f"depth tolerance sensed = {as_shown(self.sensed)}: name the layer sensed from each side, like "
                "{'bottom': 'L12'}, with the reference 'sensed layer' and only then."
            )
        kept["sensed"] = tuple(sorted(dict(self.sensed).items()))
        check_source(self.source, "depth tolerance")

    @property
    def depth_limits_si(self) -> tuple[float, float]:
        """How much shallower and how much deeper than aimed at a hole may end [m], without the thickness tolerance."""
        return self.minus_si, self.plus_si

    def aimed(self, face: float | NDArray[np.float64]) -> None:
        """Return None: no end belongs to a layer, so any depth down to ``deepest`` can be aimed at.

        Parameters
        ----------
        face : float or ndarray
            Depth of the near face of a layer [m].
        """
        return

    def deepest(self, face: float, cut: float, sensed: float, lead: float) -> float:
        """Deepest end [m] that leaves at least ``cut`` [m] of plating before ``face`` [m] at worst tolerance.

        Parameters
        ----------
        face : float
            Depth of the near face of a layer [m].
        cut : float
            Plating that must be left before that face [m].
        sensed : float
            Depth of the layer that the drill senses [m], 0 for none.
        lead : float
            How far tip or shoulder lies beyond the end of the plating [m].

        Returns
        -------
        float
            Depth [m].
        """
        thinner, thicker = self.thickness_minus, self.thickness_plus
        if self.reference == "measured thickness":
            thin = face - (cut + self.plus_si - thinner * lead) / (1 - thinner)
            return min(thin, face - (cut + self.plus_si + thicker * lead) / (1 + thicker))
        return face - self.plus_si - cut + self._least_change(face - sensed)

    def shallowest(self, face: float, longest: float, sensed: float, lead: float) -> float:
        """Shallowest end [m] that leaves at most ``longest`` [m] of plating before ``face`` [m] at worst tolerance.

        Parameters
        ----------
        face : float
            Depth of the near face of a layer [m].
        longest : float
            Plating that may be left before that face [m].
        sensed : float
            Depth of the layer that the drill senses [m], 0 for none.
        lead : float
            How far tip or shoulder lies beyond the end of the plating [m].

        Returns
        -------
        float
            Depth [m].
        """
        thinner, thicker = self.thickness_minus, self.thickness_plus
        if self.reference == "measured thickness":
            thick = face - (longest - self.minus_si + thicker * lead) / (1 + thicker)
            return max(thick, face - (longest - self.minus_si - thinner * lead) / (1 - thinner))
        return face + self.minus_si - self._least_change(sensed - face) - longest

    def left(self, face: float, end: float, sensed: float, lead: float) -> tuple[float, float]:
        """Least and most plating [m] left before ``face`` [m] when ``end`` [m] is aimed at.

        Parameters
        ----------
        face : float
            Depth of the near face of a layer [m].
        end : float
            End of the plating that is aimed at [m].
        sensed : float
            Depth of the layer that the drill senses [m], 0 for none.
        lead : float
            How far tip or shoulder lies beyond the end of the plating [m].

        Returns
        -------
        tuple[float, float]
            Plating [m].
        """
        changing = face - (end + lead if self.reference == "measured thickness" else sensed)
        least = face - end - self.plus_si + self._least_change(changing)
        return least, face - end + self.minus_si - self._least_change(-changing)

    def _least_change(self, length: float) -> float:
        """Smallest change [m] of a length over the thickness tolerance, a shrinkage being negative.

        The largest change of a length is ``-self._least_change(-length)``.
        """
        return min(-self.thickness_minus * length, self.thickness_plus * length)

    def shrunk(self, length: float) -> float:
        """Least thickness [m] of a part of the board that is not drilled.

        Parameters
        ----------
        length : float
            Thickness as drawn [m].

        Returns
        -------
        float
            Thickness [m].
        """
        return length * (1 - self.thickness_minus)

    def sensed_layer(self, side: str) -> str | None:
        """Layer that the drill senses from a side; None where it senses none.

        Parameters
        ----------
        side : str
            Side drilled from, "top" or "bottom".

        Returns
        -------
        str | None
            Name of the layer, None if there is none.
        """
        return dict(self.sensed).get(side)

    def in_words(self) -> str:
        """What the tolerances are, without their source.

        Returns
        -------
        str
            One line.
        """
        depth = f"depth +{show(self.plus_si, 'length')} / -{show(self.minus_si, 'length')}"
        thickness = f"thickness +{self.thickness_plus:.3g} / -{self.thickness_minus:.3g} of the part drilled through"
        sensed = "".join(f", {layer} from the {side}" for side, layer in dict(self.sensed).items())
        return f"{depth}, {thickness}, referenced to {self.reference}{sensed}"

    def __str__(self) -> str:
        return f"{self.in_words()} ({one_line(self.source)})"


def is_layer_by_side(value: object) -> bool:
    """Whether a value gives a layer name for each side, as a mapping or as the pairs that it is kept as.

    Parameters
    ----------
    value : object
        What a user gave.

    Returns
    -------
    bool
        True if it does.
    """
    if not isinstance(value, (Mapping, tuple)):
        return False
    pairs = value.items() if isinstance(value, Mapping) else value
    return all(
        isinstance(pair, tuple) and len(pair) == 2 and pair[0] in SIDES and isinstance(pair[1], str) and pair[1]
        for pair in pairs
    )


def check_source(source: object, what: str) -> None:
    """Refuse a value without a source.

    Parameters
    ----------
    source : object
        Source that a user gave.
    what : str
        What the source belongs to, for the error text.

    Raises
    ------
    BoardError
        The source is missing or blank.
    """
    if not isinstance(source, str) or not source.strip():
        raise BoardError(f"{what}: source is missing; say who states it, or 'common practice, no source'.")
