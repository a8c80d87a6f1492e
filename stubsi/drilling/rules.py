"""Owns the fabricator's rules for depth drilling, each with its source.

A rule may be unknown. A plan then holds for every value of that rule within a range that is stated here.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import field, fields
from functools import cache
from typing import Literal, TypeAlias

import numpy as np

from stubsi.board.names import shortened
from stubsi.board.size_limits import DRILL, MASK, check_size
from stubsi.checks import one_line, pairs
from stubsi.drilling.depth_tolerance import DepthTolerance, LayersBySide, check_source, is_layer_by_side
from stubsi.drilling.guaranteed_residual import GuaranteedResidual
from stubsi.errors import BoardError
from stubsi.number_rules import DK_RULE
from stubsi.plausibility import DK, DRILLING_CLEARANCE, DRILLING_DEPTH, OVERSIZE, warn_if_unusual
from stubsi.stubs.as_barrel import Bore
from stubsi.unit_errors import as_shown
from stubsi.units import one_number, one_si, show
from stubsi.value import Dimension, InSI, OptionalDimension, Value, value_object

Sources: TypeAlias = Mapping[str, str] | tuple[tuple[str, str], ...]
"""A source for each rule: a mapping as users give it, and sorted pairs after it is checked."""

Datum: TypeAlias = Literal["copper", "laminate", "mask"]
"""Surface from which depth is measured."""
DATUMS: tuple[Datum, ...] = ("copper", "laminate", "mask")
DepthTo: TypeAlias = Literal["tip", "shoulder"]
"""Point of the drill that depth is measured to."""
DEPTH_TO: tuple[DepthTo, ...] = ("tip", "shoulder")
ANY_LAYER = "any"
"""Given in place of the deepest layer of a side, it means that every layer of that side can be reached."""

LEAST_ANGLE = 30.0
"""Smallest full angle [degrees] of a drill's tip. A smaller number is probably in radians, or half of the angle.

Common practice, no source.
"""

UNKNOWN_RANGE: dict[str, tuple[int, int] | tuple[str, str]] = {
    "tip_angle": (90, 180),
    "tip_distance": ("0 mm", "6 mil"),
    "least_depth": ("0 mm", "0.3 mm"),
    "least_plated": ("0 mm", "1 mm"),
}
"""Range in which the value of an unknown rule is assumed to lie. Common practice, no source; 180 degrees is flat."""


@cache
def _ends_in_si(rule: str) -> tuple[float, ...]:
    """Lower and upper end of the range of an unknown rule, in SI units, for ``FabricatorRules.replaced``."""
    return tuple(
        InSI(one_si(end, "length", rule, rule="not negative")) if isinstance(end, str) else float(end)
        for end in UNKNOWN_RANGE[rule]
    )


@value_object
class FabricatorRules(Value):
    """What the fabricator can do. A rule given as None is unknown: the plan holds over its whole ``UNKNOWN_RANGE``.

    Parameters
    ----------
    oversize : length
        Diameter of the depth drill minus that of the primary drill.
    tip_angle : float or None
        Full angle of the drill's tip [degrees], 30 to 180; 180 is flat.
    tip_distance : length or None
        Least distance from the point of the drill to the near face of the must-not-cut layer, at worst tolerance. If it
        is None and ``tolerance`` is a guaranteed residual stub, it does not count.
    least_depth : length or None
        Least depth that can be drilled; "0 mm" for no limit.
    least_plated : length or None
        Least length of plated barrel that must remain; "0 mm" for no limit.
    copper_clearance : length or None
        Least distance from the edge of the drilled hole to copper.
    edge_tolerance : length or None
        How far the edge of the drilled hole may lie outside its circle as drawn (position and diameter together).
    hole_clearance : length or None
        Least distance from the edge of the drilled hole to the wall of another hole: to its barrel, or to its bore
        where it is drilled from the same side. Where it is unknown, distances are not judged. No drill touches a barrel
        in any case.
    sides : mapping of side to layer name
        Sides drilled from, each with the deepest layer that can be its must-not-cut layer; "any" for no limit.
    tolerance : GuaranteedResidual or DepthTolerance
        How far the end of the plating can lie from the end that is aimed at.
    datum : {"copper", "laminate", "mask"}
        Surface of the drilled side from which depth is measured.
    mask_thickness : length, optional
        Needed with datum "mask".
    depth_to : {"tip", "shoulder"}
        Point of the drill that depth is measured to: its tip, or its shoulder, where it reaches its full diameter.
    fill_dk : float
        Relative permittivity [-] of what fills the drilled bore, at the frequency of the notch: 1 for air, that of the
        resin where the bore is filled.
    source : str
        Who states these rules.
    sources : mapping of field name to str
        Sources that differ from ``source``.

    Raises
    ------
    UnitError, BoardError
        A value is out of range, no side is given, the datum is the mask but has no thickness, or a source is blank or
        belongs to no rule.

    Examples
    --------
    >>> rules = FabricatorRules(
    ...     oversize="0.2 mm", tip_angle=150, tip_distance=None, least_depth="0.2 mm", least_plated="0.5 mm",
    ...     copper_clearance="0.15 mm", edge_tolerance="0.05 mm", hole_clearance="0.2 mm", sides={"bottom": "any"},
    ...     datum="copper", depth_to="tip", source="invented",
    ...     tolerance=GuaranteedResidual.plus_minus("8 mil", "3 mil", source="invented"))
    >>> print(rules.tolerance)
    guaranteed residual stub 0.127 mm to 0.2794 mm (invented)
    """

    oversize: Dimension = Dimension("length", usual=OVERSIZE)
    oversize_si: float = field(init=False)
    tip_angle: float | None = None
    tip_distance: OptionalDimension = OptionalDimension("length", rule="not negative", usual=DRILLING_CLEARANCE)
    tip_distance_si: float | None = field(init=False)
    least_depth: OptionalDimension = OptionalDimension("length", rule="not negative", usual=DRILLING_DEPTH)
    least_depth_si: float | None = field(init=False)
    least_plated: OptionalDimension = OptionalDimension("length", rule="not negative", usual=DRILLING_DEPTH)
    least_plated_si: float | None = field(init=False)
    copper_clearance: OptionalDimension = OptionalDimension("length", rule="not negative", usual=DRILLING_CLEARANCE)
    copper_clearance_si: float | None = field(init=False)
    edge_tolerance: OptionalDimension = OptionalDimension("length", rule="not negative", usual=DRILLING_CLEARANCE)
    edge_tolerance_si: float | None = field(init=False)
    hole_clearance: OptionalDimension = OptionalDimension("length", rule="not negative", usual=DRILLING_CLEARANCE)
    hole_clearance_si: float | None = field(init=False)
    sides: LayersBySide
    tolerance: GuaranteedResidual | DepthTolerance
    datum: Datum
    mask_thickness: OptionalDimension = OptionalDimension("length")
    mask_thickness_si: float | None = field(init=False)
    depth_to: DepthTo
    fill_dk: float = 1.0
    source: str
    sources: Sources = field(default=())

    def __post_init__(self) -> None:
        kept = self.__dict__
        if self.tip_angle is not None:
            kept["tip_angle"] = angle = one_number(self.tip_angle, "rules tip_angle")
            if not LEAST_ANGLE <= angle <= 180:
                raise BoardError(
                    f"rules tip_angle = {angle:g}: must be from {LEAST_ANGLE:g} to 180 (flat), full angle in degrees."
                )
        kept["fill_dk"] = one_number(self.fill_dk, "rules fill_dk", rule=DK_RULE)
        warn_if_unusual(self.fill_dk, DK, "rules fill_dk")
        check_size(self.oversize_si, DRILL, "rules oversize")
        if self.mask_thickness_si is not None:
            check_size(self.mask_thickness_si, MASK, "rules mask_thickness")
        self._check_choices()
        kept["sides"] = tuple(sorted(dict(self.sides).items()))
        check_source(self.source, "rules")
        sources = {str(name): source for name, source in pairs(self.sources, "rules sources")}
        kept["sources"] = tuple(sorted(sources.items()))
        for name, source in sources.items():
            if name not in [item.name for item in fields(self) if item.init]:
                raise BoardError(f"rules sources: {as_shown(name)} is no rule.")
            check_source(source, f"rules {name}")

    def _check_choices(self) -> None:
        """Check sides, tolerance, datum and the point that depth is measured to."""
        if not is_layer_by_side(self.sides) or not self.sides:
            raise BoardError(
                f"rules sides = {as_shown(self.sides)}: name 'top', 'bottom' or both, each with its deepest "
                "layer, like {'bottom': 'any'}."
            )
        if not isinstance(self.tolerance, (GuaranteedResidual, DepthTolerance)):
            raise BoardError("rules tolerance: give a GuaranteedResidual or a DepthTolerance, one of them.")
        sensed = self.tolerance.sensed
        if sensed and set(dict(sensed)) != set(dict(self.sides)):
            raise BoardError(
                f"depth tolerance sensed = {dict(sensed)}: name the layer sensed from every side that is drilled "
                f"({', '.join(sorted(dict(self.sides)))}), and from no other."
            )
        for name, allowed in (("datum", DATUMS), ("depth_to", DEPTH_TO)):
            given = getattr(self, name)
            if not (isinstance(given, str) and given in allowed):
                raise BoardError(f"rules {name} = {as_shown(given)}: must be one of {', '.join(allowed)}.")
        if (self.datum == "mask") != (self.mask_thickness_si is not None):
            raise BoardError("rules mask_thickness: give it with datum 'mask', and only then.")

    def source_of(self, name: str) -> str:
        """Who states the rule of this name.

        Parameters
        ----------
        name : str
            Field name of the rule.

        Returns
        -------
        str
            The source.
        """
        return dict(self.sources).get(name, self.source)

    def deepest(self, side: str) -> str | None:
        """Deepest layer that can be the must-not-cut layer of a side; None if that side is not drilled.

        Parameters
        ----------
        side : str
            Side drilled from, "top" or "bottom".

        Returns
        -------
        str | None
            Name of the layer, ``ANY_LAYER``, or None.
        """
        return dict(self.sides).get(side)

    def drill_si(self, primary_drill: float) -> float:
        """Diameter [m] of the depth drill for a hole with this primary drill.

        Parameters
        ----------
        primary_drill : float
            Diameter of the primary drill [m].

        Returns
        -------
        float
            Diameter [m].
        """
        return primary_drill + self.oversize_si

    def bore(self, primary_drill: float) -> Bore:
        """Bore that the depth drill leaves beyond the plating of a hole with this primary drill, with its filling.

        Parameters
        ----------
        primary_drill : float
            Diameter of the primary drill [m].

        Returns
        -------
        Bore
            Of the drill's diameter.
        """
        return Bore(radius=self.drill_si(primary_drill) / 2, dk=self.fill_dk)

    def tip_height(self, radius: float) -> float:
        """Height [m] of the tip's cone from its point up to a radius. The tip's angle must be known.

        Parameters
        ----------
        radius : float
            Radius [m].

        Returns
        -------
        float
            Height [m].
        """
        assert self.tip_angle is not None, "the angle is known in every one of the cases"
        return cone_height(radius, self.tip_angle)

    @property
    def unknown(self) -> tuple[str, ...]:
        """Names of the unknown rules that decide where a hole can be drilled."""
        values = {
            "tip_angle": self.tip_angle, "tip_distance": self.tip_distance_si, "least_depth": self.least_depth_si,
            "least_plated": self.least_plated_si,
        }  # fmt: skip
        if self.tip_distance_is_covered:
            del values["tip_distance"]
        return tuple(name for name, value in values.items() if value is None)

    @property
    def tip_distance_is_covered(self) -> bool:
        """Whether a guaranteed residual stub stands in the place of the tip distance, which is then not unknown."""
        return self.tip_distance_si is None and isinstance(self.tolerance, GuaranteedResidual)

    def cases(self) -> tuple[FabricatorRules, ...]:
        """Copies of these rules, one for each combination of lowest and highest values of the unknown rules.

        Returns
        -------
        tuple of FabricatorRules
            Only these rules themselves where nothing is unknown. The copies are made once and remembered.
        """
        memo: dict[str, tuple[FabricatorRules, ...]] = self.__dict__.setdefault("_memo", {})
        if "cases" not in memo:
            names = self.unknown
            corners = itertools.product(*(_ends_in_si(name) for name in names))
            memo["cases"] = tuple(
                self.replaced(**dict(zip(names, corner, strict=True))) if names else self for corner in corners
            )
        return memo["cases"]

    @property
    def least_plated_at_worst_si(self) -> float:
        """Least length of plated barrel [m] that must remain; the highest value of its range where it is unknown."""
        return max(case.least_plated_si or 0.0 for case in self.cases())

    def rows(self) -> list[tuple[str, str, str]]:
        """Every rule as (name, value, source).

        Returns
        -------
        list of (str, str, str)
            Name, value and source.
        """
        shown = {
            name: show(self.__dict__[name + "_si"], "length")
            for name in (
                "oversize", "tip_distance", "least_depth", "least_plated", "copper_clearance", "edge_tolerance",
                "hole_clearance",
            )
        }  # fmt: skip
        angle = "unknown" if self.tip_angle is None else f"{self.tip_angle:g} degrees"
        sides = ", ".join(f"{side} (deepest layer {layer})" for side, layer in dict(self.sides).items())
        words = {
            "tip_angle": angle,
            "sides": sides,
            "datum": f"outer {self.datum} surface of the drilled side",
            "depth_to": f"{self.depth_to} of the drill",
        }
        if self.fill_dk != 1:
            words["fill_dk"] = f"{self.fill_dk:g} (bores are filled)"
        if self.tip_distance_is_covered:
            words["tip_distance"] = "covered by the guaranteed residual"
        rows = [(n.replace("_", " "), text, self.source_of(n)) for n, text in {**shown, **words}.items()]
        return [*rows, ("tolerance", self.tolerance.in_words(), self.tolerance.source)]

    def in_one_line(self) -> str:
        """Every rule except datum, depth and tolerance. A source follows a rule where it differs from ``source``.

        Returns
        -------
        str
            One line.
        """
        rules = [
            f"{name} {text}" + (f" ({one_line(source)})" if source != self.source else "")
            for name, text, source in self.rows()
            if name not in ("datum", "depth to", "tolerance")
        ]
        return f"{'; '.join(rules)} ({one_line(self.source)})"

    def __str__(self) -> str:
        return "\n".join(f"{name}: {text} ({one_line(source)})" for name, text, source in self.rows())

    def __repr__(self) -> str:
        kind = "guaranteed residual" if isinstance(self.tolerance, GuaranteedResidual) else "depth tolerance"
        words = [*dict(self.sides), f"oversize {show(self.oversize_si, 'length')}", kind]
        unknown = f"; unknown: {', '.join(self.unknown)}".replace("_", " ") if self.unknown else ""
        return f"<FabricatorRules of {shortened(self.source, 40)!r}: {', '.join(words)}{unknown}>"

    def _repr_html_(self) -> str:
        from stubsi.show.parts_html import rules_html

        return rules_html(self)


def cone_height(radius: float, tip_angle: float) -> float:
    r"""Height [m] of the tip's cone from its point up to a radius.

    Parameters
    ----------
    radius : float
        Radius [m], for example that of the barrel.
    tip_angle : float
        Full angle of the tip [degrees]; 180 is flat.

    Returns
    -------
    float
        Height [m]. A solid tip cuts a barrel of that radius this far short of its point.

    Notes
    -----
    Plane geometry; common practice, no source:

    .. math:: h = \frac{r}{\tan(\theta/2)}
    """
    return radius * float(1 / np.tan(np.radians(tip_angle) / 2)) if tip_angle < 180 else 0.0
