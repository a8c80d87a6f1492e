"""Owns the fabricator's rules for depth drilling: every value with its source, unknown ones as a stated range."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np

from stubsi.drilling.depth_tolerance import DepthTolerance, GuaranteedResidual, check_source, layer_by_side
from stubsi.errors import BoardError
from stubsi.units import show, to_number
from stubsi.value import Dimension, OptionalDimension, Value

DATUMS = ("copper", "laminate", "mask")
ANY_LAYER = "any"
"""Deepest layer of a side that has no limit."""

LEAST_ANGLE = 30.0
"""Full angle [degrees] below which no drill is ground: radians, or half the angle. Common practice, no source."""

UNKNOWN_RANGE: dict[str, tuple[Any, Any]] = {
    "tip_angle": (90, 180),
    "tip_distance": ("0 mm", "6 mil"),
    "least_depth": ("0 mm", "0.3 mm"),
    "least_plated": ("0 mm", "1 mm"),
}
"""Between which a rule nobody has stated is taken to lie. Common practice, no source; 180 degrees is a flat end."""


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class FabricatorRules(Value):
    """What the fabricator can do. A rule given as None is unknown: planned for over its whole ``UNKNOWN_RANGE``.

    Parameters
    ----------
    oversize : length
        Diameter of the depth drill over that of the primary drill.
    tip_angle : float or None
        Full angle of the drill's tip [degrees], 30 to 180; 180: flat.
    tip_distance : length or None
        What the point of the drill keeps from the near face of the must-not-cut layer, at worst tolerance. With a
        guaranteed residual stub the guarantee stands in its place where this is None.
    least_depth : length or None
        Least depth that can be drilled; "0 mm": no limit.
    least_plated : length or None
        Least length of plated barrel to remain; "0 mm": no limit.
    copper_clearance : length or None
        From the edge of the drilled hole to copper.
    edge_tolerance : length or None
        How far the edge of the drilled hole may lie outside its circle as drawn (wander and diameter together).
    sides : mapping of side to layer name
        Sides drilled from, each with the deepest layer that can be named must-not-cut; "any": no limit.
    tolerance : GuaranteedResidual or DepthTolerance
    datum : {"copper", "laminate", "mask"}
        Surface of the drilled side that depth is measured from.
    mask_thickness : length, optional
        Needed with datum "mask".
    depth_to : {"tip", "shoulder"}
        Whether depth means the point of the drill or where it reaches its full diameter.
    source : str
        Who states these rules.
    sources : mapping of field name to str
        Sources that differ from ``source``.

    Raises
    ------
    UnitError, BoardError
        Values out of range; no side; a mask datum without its thickness; blank or misplaced source.
    """

    oversize: Dimension = Dimension("length")

    oversize_si: float = field(init=False)
    tip_angle: float | None = None
    tip_distance: OptionalDimension = OptionalDimension("length", rule="not negative")
    tip_distance_si: float | None = field(init=False)
    least_depth: OptionalDimension = OptionalDimension("length", rule="not negative")
    least_depth_si: float | None = field(init=False)
    least_plated: OptionalDimension = OptionalDimension("length", rule="not negative")
    least_plated_si: float | None = field(init=False)
    copper_clearance: OptionalDimension = OptionalDimension("length", rule="not negative")
    copper_clearance_si: float | None = field(init=False)
    edge_tolerance: OptionalDimension = OptionalDimension("length", rule="not negative")
    edge_tolerance_si: float | None = field(init=False)
    sides: Any
    tolerance: GuaranteedResidual | DepthTolerance
    datum: str
    mask_thickness: OptionalDimension = OptionalDimension("length")
    mask_thickness_si: float | None = field(init=False)
    depth_to: str
    source: str
    sources: Any = field(default=())

    def __post_init__(self) -> None:
        own = self.__dict__
        if self.tip_angle is not None:
            own["tip_angle"] = angle = to_number(self.tip_angle, "tip_angle")
            if not LEAST_ANGLE <= angle <= 180:
                raise BoardError(
                    f"rules tip_angle = {angle:g}: must be from {LEAST_ANGLE:g} to 180 (flat), full angle in degrees."
                )
        self._check_words()
        own["sides"] = tuple(sorted(dict(self.sides).items()))
        check_source(self.source, "rules")
        own["sources"] = tuple(sorted(dict(self.sources).items()))
        for name, source in self.sources:
            if name not in [item.name for item in fields(self) if item.init]:
                raise BoardError(f"rules sources: '{name}' is no rule.")
            check_source(source, f"rules {name}")

    def _check_words(self) -> None:
        if not layer_by_side(self.sides) or not self.sides:
            raise BoardError(
                f"rules sides = {self.sides!r}: name 'top', 'bottom' or both, each with its deepest layer, like "
                "{'bottom': 'any'}."
            )
        if not isinstance(self.tolerance, (GuaranteedResidual, DepthTolerance)):
            raise BoardError("rules tolerance: give a GuaranteedResidual or a DepthTolerance, one of them.")
        sensed = self.tolerance.sensed
        if sensed and set(dict(sensed)) != set(dict(self.sides)):
            raise BoardError(
                f"depth tolerance sensed = {dict(sensed)}: name the layer sensed from every side that is drilled "
                f"({', '.join(sorted(dict(self.sides)))}), and from no other."
            )
        for name, words in (("datum", DATUMS), ("depth_to", ("tip", "shoulder"))):
            if getattr(self, name) not in words:
                raise BoardError(f"rules {name} = {getattr(self, name)!r}: must be one of {', '.join(words)}.")
        if (self.datum == "mask") != (self.mask_thickness_si is not None):
            raise BoardError("rules mask_thickness: give it with datum 'mask', and only then.")

    def source_of(self, name: str) -> str:
        """Who states the rule of that field name."""
        return dict(self.sources).get(name, self.source)

    def deepest(self, side: str) -> str | None:
        """Deepest layer that can be named must-not-cut from ``side``; None: that side is not drilled."""
        return dict(self.sides).get(side)

    def drill_si(self, primary_drill: float) -> float:
        """Diameter [m] of the depth drill for a hole of that primary drill [m]."""
        return primary_drill + self.oversize_si

    @property
    def unknown(self) -> tuple[str, ...]:
        """Names of the unknown rules that bear on where a hole can be drilled."""
        guaranteed = isinstance(self.tolerance, GuaranteedResidual)
        return tuple(
            name
            for name in UNKNOWN_RANGE
            if (self.tip_angle if name == "tip_angle" else getattr(self, name + "_si")) is None
            and not (guaranteed and name == "tip_distance")
        )

    def cases(self) -> tuple[FabricatorRules, ...]:
        """The rules at every corner of what is unknown in them; the rules themselves where nothing is."""
        names = self.unknown
        if not names:
            return (self,)
        corners = itertools.product(*(UNKNOWN_RANGE[name] for name in names))
        return tuple(replace(self, **dict(zip(names, corner, strict=True))) for corner in corners)

    def rows(self) -> list[tuple[str, str, str]]:
        """Every rule as (name, value, source)."""
        shown = {
            name: show(self.__dict__[name + "_si"], "length")
            for name in (
                "oversize", "tip_distance", "least_depth", "least_plated", "copper_clearance", "edge_tolerance"
            )
        }  # fmt: skip
        angle = "unknown" if self.tip_angle is None else f"{self.tip_angle:g} degrees"
        sides = ", ".join(f"{side} (deepest layer {layer})" for side, layer in self.sides)
        tolerance = str(self.tolerance).rsplit(" (", 1)[0]
        words = {
            "tip_angle": angle,
            "sides": sides,
            "datum": f"outer {self.datum} surface of the drilled side",
            "depth_to": f"{self.depth_to} of the drill",
        }
        rows = [(n.replace("_", " "), text, self.source_of(n)) for n, text in {**shown, **words}.items()]
        return [*rows, ("tolerance", tolerance, self.tolerance.source)]

    def in_one_line(self) -> str:
        """Every rule but datum, depth and tolerance; sources beside those that are not the general one."""
        told = [
            f"{name} {text}" + (f" ({source})" if source != self.source else "")
            for name, text, source in self.rows()
            if name not in ("datum", "depth to", "tolerance")
        ]
        return f"{'; '.join(told)} ({self.source})"

    def __str__(self) -> str:
        return "\n".join(f"{name}: {text} ({source})" for name, text, source in self.rows())


def cone_height(radius: Any, tip_angle: float) -> Any:
    r"""Height [m] of the tip's cone below its point, up to ``radius`` [m].

    .. math:: h = \frac{r}{\tan(\theta/2)}

    A solid tip of full angle ``tip_angle`` [degrees] cuts a barrel of that radius this far short of its point.
    Common practice, no source (plane geometry).
    """
    return np.multiply(radius, 1 / np.tan(np.radians(tip_angle) / 2) if tip_angle < 180 else 0.0)


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class Costs(Value):
    """What the user pays, in any one currency, for a plan; all of it user's input, no published figure is firm.

    Parameters
    ----------
    side : float
        Each side drilled from (turning and registering the panel).
    set_up : float
        Each drill diameter loaded on a side.
    group : float
        Each drill group.
    hole : float
        Each hit.
    source : str
    """

    side: float
    set_up: float
    group: float
    hole: float
    source: str

    def __post_init__(self) -> None:
        for name in ("side", "set_up", "group", "hole"):
            self.__dict__[name] = to_number(getattr(self, name), f"cost per {name}", rule="not negative")
        check_source(self.source, "costs")


FEWEST_GROUPS = Costs(side=0, set_up=0, group=1, hole=0, source="no costs given: fewest groups, then fewest hits")
"""Stands for costs that were not given."""
