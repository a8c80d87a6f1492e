"""Owns the findings about copper that the depth drills of a plan come near to: distances, and what clears it."""

from __future__ import annotations

import html
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, NamedTuple

from stubsi.board.names import how_many, shortened
from stubsi.drilling.findings import Findings, is_too_near
from stubsi.units import show

if TYPE_CHECKING:
    from collections.abc import Iterable

    import pandas as pd


class CopperKind(StrEnum):
    """What the copper is. Each is also the text that tables show."""

    LINE = "line"
    AREA = "area"
    PAD = "pad"


class NearCopper(NamedTuple):
    """Copper that a depth drill comes nearer to than the rules permit, or perhaps does.

    Parameters
    ----------
    hole, net : str
        The drilled hole and its net.
    side : str
        Side it is drilled from.
    layer : str
        Layer of the copper, which the drill passes.
    copper_net : str
        Net of the copper; blank where it has none.
    kind : CopperKind
        What the copper is.
    at_si : (float, float)
        Place [m] of the copper that is nearest to the drill.
    distance_si : float
        Distance [m] as drawn from the edge of the depth drill to the copper; negative: the drill cuts it.
    needed_si : float or None
        Distance [m] that is needed: the clearance of copper and the tolerance of the edge; None where one of them is
        unknown.
    drill_si : float
        Diameter of the depth drill [m].
    away : (float, float)
        Direction from the hole to the copper, of length 1.
    """

    hole: str
    net: str
    side: str
    layer: str
    copper_net: str
    kind: CopperKind
    at_si: tuple[float, float]
    distance_si: float
    needed_si: float | None
    drill_si: float
    away: tuple[float, float]

    @property
    def too_near(self) -> bool | None:
        """Whether it is nearer than needed; None where that is not known."""
        return is_too_near(self.distance_si, self.needed_si)

    @property
    def shift_si(self) -> tuple[float, float] | None:
        """How far a line or pad must move in x and y [m]; None for an area, or where a rule is unknown."""
        if self.kind == CopperKind.AREA or self.needed_si is None:
            return None
        shift = self.needed_si - self.distance_si
        return shift * self.away[0], shift * self.away[1]

    @property
    def clearance_si(self) -> float | None:
        """Diameter [m] of the clearance that an area must leave around the hole; None for a line or pad, or where a
        rule is unknown.
        """
        if self.kind != CopperKind.AREA or self.needed_si is None:
            return None
        return self.drill_si + 2 * self.needed_si

    def __str__(self) -> str:
        net = f"of net {self.copper_net}" if self.copper_net else "without a net"
        x, y = (show(place, "length") for place in self.at_si)
        where = f"{self.hole} of net {self.net}, drilled from the {self.side}, on {self.layer}"
        distance = f"{show(self.distance_si, 'length')} from {self.kind} {net} at ({x}, {y})"
        verdict = "too near" if self.too_near else "cannot be judged"
        if self.clearance_si is not None:
            verdict += f"; clear the area around the hole to a diameter of {show(self.clearance_si, 'length')}"
        elif self.shift_si is not None:
            dx, dy = (show(step, "length") for step in self.shift_si)
            verdict += f"; move the {self.kind} by {dx} in x and {dy} in y"
        return f"{where}: {distance}, needed {show(self.needed_si, 'length')}: {verdict}"

    def __repr__(self) -> str:
        names = f"{shortened(self.hole, 40)} beside {self.kind} on {shortened(self.layer, 40)}"
        return f"<NearCopper {names}: {show(self.distance_si, 'length')}>"


@dataclass(frozen=True, repr=False)
class CopperNearDrills(Findings[NearCopper]):
    """Every piece of copper that a depth drill of a plan comes too near to, or perhaps does. Iterate it, or print it.

    Parameters
    ----------
    near : tuple of NearCopper
        The nearest first; of each net and kind of copper, the nearest piece per hole and layer.
    unplaced : tuple of str
        Names of the drilled holes whose position is not known: they are not checked.
    not_checked : tuple of str
        Layers that drills pass and whose copper cannot be read completely: it is drawn as clearance, or has pads of
        unusual shape. What is found there is listed; what is not found there is not proven absent.
    """

    not_checked: tuple[str, ...]

    def to_frame(self) -> pd.DataFrame:
        """Table as a pandas DataFrame: a hole and a piece of copper in each row, lengths in [mm].

        Returns
        -------
        pandas.DataFrame
            Plain numbers, with units in the column names.
        """
        import pandas as pd

        rows = [
            (each.hole, each.net, each.side, each.layer, each.copper_net, str(each.kind), *_mm(*each.at_si),
             *_mm(each.distance_si, each.needed_si), each.too_near, *_mm(*(each.shift_si or (None, None))),
             *_mm(each.clearance_si))
            for each in self.near
        ]  # fmt: skip
        columns = [
            "hole", "net", "side", "layer", "net of the copper", "copper", "x [mm]", "y [mm]", "distance [mm]",
            "needed [mm]", "too near", "move in x [mm]", "move in y [mm]", "clearance to change to [mm]",
        ]  # fmt: skip
        return pd.DataFrame(rows, columns=columns)

    def summary(self) -> str:
        """How much copper is too near, not judged or not checked, in one line.

        Returns
        -------
        str
            One line.
        """
        parts = self._in_words(f"{how_many(len(self.too_near), 'piece')} of copper")
        if self.not_checked:
            parts.append(f"copper that cannot be read on {', '.join(self.not_checked)}: not checked there")
        return "; ".join(parts) + "."

    def __str__(self) -> str:
        return "\n".join([self.summary(), *map(str, self.near)])

    def _repr_html_(self) -> str:
        return f"<div>{html.escape(self.summary())}{self.to_frame().to_html()}</div>"

    def __repr__(self) -> str:
        return f"<CopperNearDrills: {shortened(self.summary().removesuffix('.'), 150)}>"


def _mm(*lengths: float | None) -> Iterable[float | None]:
    return [None if length is None else 1e3 * length for length in lengths]
