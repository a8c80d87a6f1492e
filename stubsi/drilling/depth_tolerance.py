"""Owns how far the end of the plating can lie from where it was meant: the two exclusive ways to state it.

All depths grow from the datum on the drilled side into the board. The plating left beyond a face is negative where
the drill went past it. ``sensed``: depth of the layer the drill senses, 0 for none. ``lead``: how far the place that
depth means, tip or shoulder, lies beyond the end of the plating.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from stubsi.errors import BoardError
from stubsi.units import quantity, show, to_number, to_si
from stubsi.value import Dimension, OptionalDimension, Value

SIDES = ("top", "bottom")
REFERENCES = ("face", "measured thickness", "sensed layer")


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class GuaranteedResidual(Value):
    r"""The fabricator guarantees the plating left beyond the must-not-cut layer, all tolerances inside.

    .. math:: r_{least} \le r \le r_{most}, \quad r = F - e

    with F the near face of the must-not-cut layer and e the end of the plating. For a hole whose own layer lies
    deeper, the nominal distance between the two layers is added.

    Parameters
    ----------
    least, most : length
        Limits of the residual stub. ``least`` may be negative: then every hole is refused, for the drill may cut the
        layer in use.
    nominal : length, optional
        What is aimed at; midway between the limits unless given.
    source : str
        Who says so.

    Raises
    ------
    UnitError, BoardError
        Limits out of order, blank source.
    """

    least: Dimension = Dimension("length", rule="any")

    least_si: float = field(init=False)
    most: Dimension = Dimension("length")
    most_si: float = field(init=False)
    nominal: OptionalDimension = OptionalDimension("length", rule="any")
    nominal_si: float | None = field(init=False)
    source: str
    sensed = ()

    def __post_init__(self) -> None:
        if self.nominal_si is None:
            self.__dict__["nominal_si"] = (self.least_si + self.most_si) / 2
        if not self.least_si <= self.nominal_si <= self.most_si:
            raise BoardError(
                f"guaranteed residual stub: least = {show(self.least_si, 'length')}, nominal = "
                f"{show(self.nominal_si, 'length')}, most = {show(self.most_si, 'length')}: must be in this order."
            )
        check_source(self.source, "guaranteed residual stub")

    @classmethod
    def plus_minus(cls, nominal: Any, tolerance: Any, *, source: str) -> GuaranteedResidual:
        """Symmetric limits: ``nominal`` residual stub (length) +- ``tolerance`` (length)."""
        middle = to_si(nominal, "length", "nominal residual stub")
        half = to_si(tolerance, "length", "tolerance of the residual stub", rule="not negative")
        least, most = quantity(middle - half, "length"), quantity(middle + half, "length")
        return cls(least=least, most=most, nominal=nominal, source=source)

    @property
    def depth_limits_si(self) -> tuple[float, float]:
        """How much shallower and how much deeper [m] than aimed at a hole may end."""
        return self.most_si - self.nominal_si, self.nominal_si - self.least_si

    def aimed(self, face: Any) -> Any:
        """End of the plating [m] that belongs to a must-not-cut layer whose near face is at ``face`` [m]."""
        return face - self.nominal_si

    def deepest(self, face: Any, cut: Any, sensed: Any, lead: Any) -> Any:
        """Deepest end [m] that leaves at least ``cut`` [m] before ``face`` [m] at worst tolerance."""
        return face - (self.nominal_si - self.least_si) - cut

    def shallowest(self, face: Any, longest: Any, sensed: Any, lead: Any) -> Any:
        """Shallowest end [m] that leaves at most ``longest`` [m] before ``face`` [m] at worst tolerance."""
        return face + (self.most_si - self.nominal_si) - longest

    def left(self, face: Any, end: Any, sensed: Any, lead: Any) -> tuple[Any, Any]:
        """Least and most plating [m] left beyond ``face`` [m] when ``end`` [m] is aimed at."""
        aimed = face - end
        return aimed + (self.least_si - self.nominal_si), aimed + (self.most_si - self.nominal_si)

    def shrunk(self, length: float) -> float:
        """Least thickness [m] of a part of the board that is not drilled: as drawn, for nothing else is stated."""
        return length

    def sensed_layer(self, side: str) -> str | None:
        """No layer is sensed."""
        return None

    def __str__(self) -> str:
        limits = f"{show(self.least_si, 'length')} to {show(self.most_si, 'length')}"
        return f"guaranteed residual stub {limits} ({self.source})"


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class DepthTolerance(Value):
    r"""Depth tolerance of the machine, and the thickness tolerance of the part drilled through.

    .. math:: r = F - e + \tau\,(F - A) - \delta, \quad -minus \le \delta \le plus,
              \quad -thickness\_minus \le \tau \le thickness\_plus

    with F the near face of a layer, e the end of the plating, both as drawn, and A the depth up to which thickness
    does not count: 0 when depth is referenced to the face, the sensed layer's near face, or the depth of tip or
    shoulder, whichever is set, when each panel is measured and that depth scaled with its thickness (all of it taken
    to deviate alike).

    Parameters
    ----------
    plus, minus : length
        How much deeper and how much shallower the drill may end.
    thickness_plus, thickness_minus : float
        How much thicker and thinner the part drilled through may be, as a fraction (0.1: 10 %).
    reference : {"face", "measured thickness", "sensed layer"}
        What the depth is referenced to.
    sensed : mapping of side to layer name, optional
        The layer the drill senses in passing, for "sensed layer".
    source : str
        Who says so.

    Raises
    ------
    UnitError, BoardError
        Values out of range, a sensed layer without that reference or the reverse, blank source.
    """

    plus: Dimension = Dimension("length", rule="not negative")

    plus_si: float = field(init=False)
    minus: Dimension = Dimension("length", rule="not negative")
    minus_si: float = field(init=False)
    thickness_plus: float
    thickness_minus: float
    reference: str
    sensed: Any = field(default=())
    source: str

    def __post_init__(self) -> None:
        own = self.__dict__
        for name in ("thickness_plus", "thickness_minus"):
            own[name] = value = to_number(getattr(self, name), name, rule="not negative")
            if value >= 1:
                raise BoardError(
                    f"depth tolerance {name} = {value}: must be below 1; it is a fraction, not a percentage."
                )
        if self.reference not in REFERENCES:
            raise BoardError(f"depth tolerance reference = {self.reference!r}: must be one of {', '.join(REFERENCES)}.")
        if not layer_by_side(self.sensed) or bool(self.sensed) != (self.reference == "sensed layer"):
            raise BoardError(
                f"depth tolerance sensed = {self.sensed!r}: name the layer sensed from each side, like "
                "{'bottom': 'L12'}, with the reference 'sensed layer' and only then."
            )
        own["sensed"] = tuple(sorted(dict(self.sensed).items()))
        check_source(self.source, "depth tolerance")

    @property
    def depth_limits_si(self) -> tuple[float, float]:
        """How much shallower and how much deeper [m] than aimed at a hole may end, thickness apart."""
        return self.minus_si, self.plus_si

    def aimed(self, face: Any) -> None:
        """No end belongs to a layer: the depth is free, down to ``deepest``."""
        return

    def deepest(self, face: Any, cut: Any, sensed: Any, lead: Any) -> Any:
        """Deepest end [m] that leaves at least ``cut`` [m] before ``face`` [m] at worst tolerance."""
        thinner, thicker = self.thickness_minus, self.thickness_plus
        if self.reference == "measured thickness":
            thin = face - (cut + self.plus_si - thinner * lead) / (1 - thinner)
            return np.minimum(thin, face - (cut + self.plus_si + thicker * lead) / (1 + thicker))
        return face - self.plus_si - cut + self._least_change(face - sensed)

    def shallowest(self, face: Any, longest: Any, sensed: Any, lead: Any) -> Any:
        """Shallowest end [m] that leaves at most ``longest`` [m] before ``face`` [m] at worst tolerance."""
        thinner, thicker = self.thickness_minus, self.thickness_plus
        if self.reference == "measured thickness":
            thick = face - (longest - self.minus_si + thicker * lead) / (1 + thicker)
            return np.maximum(thick, face - (longest - self.minus_si - thinner * lead) / (1 - thinner))
        return face + self.minus_si - self._least_change(sensed - face) - longest

    def left(self, face: Any, end: Any, sensed: Any, lead: Any) -> tuple[Any, Any]:
        """Least and most plating [m] left beyond ``face`` [m] when ``end`` [m] is aimed at."""
        counts = face - (end + lead if self.reference == "measured thickness" else sensed)
        least = face - end - self.plus_si + self._least_change(counts)
        return least, face - end + self.minus_si - self._least_change(-counts)

    def _least_change(self, length: Any) -> Any:
        """Change [m] of a length by thickness, the least; of a negated length, the greatest with its sign turned."""
        return np.minimum(-self.thickness_minus * length, self.thickness_plus * length)

    def shrunk(self, length: float) -> float:
        """Least thickness [m] of a part of the board that is not drilled."""
        return length * (1 - self.thickness_minus)

    def sensed_layer(self, side: str) -> str | None:
        """Layer sensed when drilling from ``side``; None where depth is not referenced to one."""
        return dict(self.sensed).get(side)

    def __str__(self) -> str:
        depth = f"depth +{show(self.plus_si, 'length')} / -{show(self.minus_si, 'length')}"
        thickness = f"thickness +{self.thickness_plus:.3g} / -{self.thickness_minus:.3g} of the part drilled through"
        sensed = "".join(f", {layer} from the {side}" for side, layer in self.sensed)
        return f"{depth}, {thickness}, referenced to {self.reference}{sensed} ({self.source})"


def layer_by_side(value: Any) -> bool:
    """Whether a value gives layer names by side, as a mapping or as the pairs it is kept as."""
    pairs = value.items() if isinstance(value, Mapping) else value
    return isinstance(value, (Mapping, tuple)) and all(
        isinstance(pair, tuple) and len(pair) == 2 and pair[0] in SIDES and isinstance(pair[1], str) and pair[1]
        for pair in pairs
    )


def check_source(source: Any, what: str) -> None:
    """Refuse a value whose source is not said."""
    if not isinstance(source, str) or not source.strip():
        raise BoardError(f"{what}: source is missing; say who states it, or 'common practice, no source'.")
