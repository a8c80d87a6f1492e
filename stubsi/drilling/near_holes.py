"""Owns the findings about holes that the depth drills of a plan come near to: distances, and what is too near."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from stubsi.board.names import how_many, shortened
from stubsi.drilling.findings import ROUNDING, Findings, is_too_near
from stubsi.drilling.neighbours import farthest_judged, neighbours_of
from stubsi.units import show

if TYPE_CHECKING:
    from collections.abc import Iterator

    import pandas as pd

    from stubsi.drilling.drill_group import Group, Hit
    from stubsi.drilling.neighbours import Neighbour
    from stubsi.drilling.plan import Plan
    from stubsi.drilling.rules import FabricatorRules


class NearHole(NamedTuple):
    """A hole that a depth drill comes nearer to than the rule permits, or perhaps does.

    Parameters
    ----------
    hole, net : str
        The drilled hole and its net.
    side : str
        Side it is drilled from.
    neighbour, neighbour_net : str
        The other hole and its net.
    drilled : bool
        Whether the other hole is drilled from this side as well. Then the distance is that between the two bores.
    distance_si : float
        Distance [m] as drawn from the edge of the depth drill to the wall of the other hole; negative: they overlap.
    needed_si : float or None
        Distance [m] that is needed: the rule and the tolerances of the edges; None where one of them is unknown.
    """

    hole: str
    net: str
    side: str
    neighbour: str
    neighbour_net: str
    drilled: bool
    distance_si: float
    needed_si: float | None

    @property
    def too_near(self) -> bool | None:
        """Whether it is nearer than needed; None where that is not known."""
        return is_too_near(self.distance_si, self.needed_si)

    def __str__(self) -> str:
        wall = "bore" if self.drilled else "wall"
        distance = f"{show(self.distance_si, 'length')} from the {wall} of {self.neighbour} of net {self.neighbour_net}"
        verdict = "too near" if self.too_near else "cannot be judged"
        needed = f"needed {show(self.needed_si, 'length')}"
        return f"{self.hole} of net {self.net}, drilled from the {self.side}: {distance}, {needed}: {verdict}"

    def __repr__(self) -> str:
        names = f"{shortened(self.hole, 40)} beside {shortened(self.neighbour, 40)}"
        return f"<NearHole {names}: {show(self.distance_si, 'length')}>"

    def _repr_html_(self) -> str:
        from stubsi.show.html import near_holes_html

        return near_holes_html([self], [])


@dataclass(frozen=True, repr=False)
class NearHoles(Findings[NearHole]):
    """Every hole that a depth drill of a plan comes too near to, or perhaps does. Iterate it, or print it.

    Parameters
    ----------
    near : tuple of NearHole
        The nearest first. Two bores that are near to each other are one entry.
    unplaced : tuple of str
        Names of the drilled holes whose position is not known: they are not checked.
    """

    def to_frame(self) -> pd.DataFrame:
        """Table as a pandas DataFrame: a hole and its neighbour in each row, distances in [mm].

        Returns
        -------
        pandas.DataFrame
            Plain numbers, with units in the column names.
        """
        import pandas as pd

        rows = [
            (each.hole, each.net, each.side, each.neighbour, each.neighbour_net, each.drilled, 1e3 * each.distance_si,
             None if each.needed_si is None else 1e3 * each.needed_si, each.too_near)
            for each in self.near
        ]  # fmt: skip
        columns = [
            "hole", "net", "side", "neighbour", "net of the neighbour", "neighbour drilled", "distance [mm]",
            "needed [mm]", "too near",
        ]  # fmt: skip
        return pd.DataFrame(rows, columns=columns)

    def summary(self) -> str:
        """How many neighbours are too near, not judged or not checked, in one line.

        Returns
        -------
        str
            One line.
        """
        return "; ".join(self._in_words(how_many(len(self.too_near), "neighbouring hole"))) + "."

    def __str__(self) -> str:
        return "\n".join([self.summary(), *map(str, self.near)])

    def _repr_html_(self) -> str:
        from stubsi.show.html import near_holes_html

        return near_holes_html(self.near, [self.summary()])

    def __repr__(self) -> str:
        return f"<NearHoles: {self.summary().removesuffix('.')}>"


def near_holes_of(plan: Plan) -> NearHoles:
    """Every hole that a depth drill of a plan comes too near to.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    NearHoles
        The nearest first.
    """
    drilled = frozenset((hit.hole.name, hit.side) for hit in plan.hits)
    every = [each for group in plan.groups for hit in group.hits for each in _beside(plan, group, hit, drilled)]
    found = {(each.hole, each.neighbour, each.side) for each in every}
    once = [each for each in every if each.hole < each.neighbour or (each.neighbour, each.hole, each.side) not in found]
    once.sort(key=lambda each: (each.distance_si, each.hole, each.neighbour))
    return NearHoles(tuple(once), tuple(sorted({hit.hole.name for hit in plan.hits if hit.hole.xy_si is None})))


def _beside(plan: Plan, group: Group, hit: Hit, drilled: frozenset[tuple[str, str]]) -> Iterator[NearHole]:
    """Neighbours of one hit that are too near, or may be."""
    rules, stop = plan.rules, plan.board.stackup.index(group.layer)
    for each in neighbours_of(plan.board, rules).of(hit.hole.name):
        if each.is_passed(hit.side, stop):
            found = _near_hole(plan.rules, group, hit, each, (each.hole.name, hit.side) in drilled)
            limit = farthest_judged(rules) if found.needed_si is None else found.needed_si
            if found.distance_si < limit - ROUNDING:
                yield found


def _near_hole(rules: FabricatorRules, group: Group, hit: Hit, neighbour: Neighbour, drilled: bool) -> NearHole:
    other = neighbour.hole
    wall = (rules.drill_si(other.padstack.drill_si) if drilled else other.padstack.drill_si) / 2
    clearance, edge = rules.hole_clearance_si, rules.edge_tolerance_si
    return NearHole(
        hole=hit.hole.name, net=hit.net, side=hit.side, neighbour=other.name, neighbour_net=neighbour.net,
        drilled=drilled, distance_si=neighbour.apart_si - group.drill_si / 2 - wall,
        needed_si=None if clearance is None or edge is None else clearance + edge * (2 if drilled else 1),
    )  # fmt: skip
