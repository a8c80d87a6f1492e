"""Owns what the wider depth drill does to padstacks: clearances on the planes it passes, pads, mask openings."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from stubsi.board.padstack import Antipad
from stubsi.units import quantity, show

if TYPE_CHECKING:
    from stubsi.board.board import Board
    from stubsi.board.layers import CopperLayer
    from stubsi.board.padstack import Padstack
    from stubsi.drilling.plan import Plan
    from stubsi.drilling.rules import FabricatorRules

CLEARANCE, PAD_GONE, PAD_RING, MASK = "clearance", "pad vanishes", "ring of the pad is left", "mask opening"
"""What can happen to a padstack on a layer a depth drill passes."""


class Effect(NamedTuple):
    """What the depth drill does to a padstack, alike on all these layers; diameters [m], None where unknown.

    ``drawn``: clearance or pad on the board; ``needed``: clearance or opening it takes.
    """

    padstack: str
    side: str
    layers: tuple[str, ...]
    kind: str
    drawn: float | None
    needed: float | None

    @property
    def short(self) -> bool | None:
        """Whether a clearance is too small; None where that is unknown."""
        if self.kind != CLEARANCE:
            return False
        return None if self.needed is None or self.drawn is None else self.drawn < self.needed - 1e-9

    def __str__(self) -> str:
        where = f"padstack {self.padstack}, drilled from the {self.side}, on {', '.join(self.layers)}"
        drawn, needed = (show(size, "length") for size in (self.drawn, self.needed))
        if self.kind == CLEARANCE:
            verdict = {True: f"change it to {needed}", False: "enough", None: "cannot be judged"}[self.short]
            return f"{where}: clearance {drawn}, needed {needed}: {verdict}"
        if self.kind == MASK:
            return f"{where}: mask opening needed {needed}"
        return f"{where}: {self.kind} (pad {drawn}, depth drill {needed})"


def needed_clearance(drill: float, rules: FabricatorRules) -> float | None:
    """Diameter [m] of the clearance a depth drill [m] needs; None where a rule for it is unknown.

    Drill, and on either side the tolerance of its edge and the clearance of copper.
    """
    if rules.edge_tolerance_si is None or rules.copper_clearance_si is None:
        return None
    return drill + 2 * (rules.edge_tolerance_si + rules.copper_clearance_si)


def effects(plan: Plan) -> tuple[Effect, ...]:
    """Every effect of a plan on the padstacks of its board, by padstack and side; layers of equal figures are one.

    A drill passes every copper layer between the drilled face and its must-not-cut layer. Copper of other nets on
    signal layers is not known to the board and not checked.

    Parameters
    ----------
    plan : Plan
    """
    found: dict[Effect, list[str]] = {}
    reached: dict[tuple[str, str], tuple[Padstack, int]] = {}
    stackup = plan.board.stackup
    for group in plan.groups:
        place = stackup.index(group.layer)
        passed = place if group.side == "top" else len(stackup.copper) - 1 - place
        for padstack in {id(hit.hole.padstack): hit.hole.padstack for hit in group.hits}.values():
            _, before = reached.get((padstack.name, group.side), (padstack, 0))
            reached[padstack.name, group.side] = padstack, max(before, passed)
    for (_, side), (padstack, passed) in sorted(reached.items(), key=lambda item: item[0]):
        layers = stackup.copper if side == "top" else stackup.copper[::-1]
        for number, layer in enumerate(layers[:passed]):
            for effect in _on_layer(padstack, side, layer, number == 0, plan.rules):
                found.setdefault(effect, []).append(layer.name)
    return tuple(effect._replace(layers=tuple(layers)) for effect, layers in found.items())


def _on_layer(padstack: Padstack, side: str, layer: CopperLayer, outer: bool, rules: FabricatorRules) -> list[Effect]:
    drill = rules.drill_si(padstack.drill_si)

    def effect(kind: str, drawn: float | None, needed: float | None) -> Effect:
        return Effect(padstack.name, side, (), kind, drawn, needed)

    found = []
    antipad = padstack.antipad_at(layer.name, layer.role)
    if antipad is not None or layer.role == "plane":
        drawn = None if antipad is None else antipad.width_si
        found.append(effect(CLEARANCE, drawn, needed_clearance(drill, rules)))
    pad = padstack.pad_at(layer.name, in_use=False, outer=outer)
    if pad is not None:
        found.append(effect(PAD_GONE if pad <= drill else PAD_RING, pad, drill))
    if outer:
        edge = rules.edge_tolerance_si
        found.append(effect(MASK, None, None if edge is None else drill + 2 * edge))
    return found


def widened(plan: Plan) -> Board:
    """The board of a plan with every clearance that is too small changed to what is needed."""
    wider: dict[str, dict[str, float]] = {}
    for effect in effects(plan):
        if effect.short:
            wider.setdefault(effect.padstack, {}).update(dict.fromkeys(effect.layers, effect.needed))
    if not wider:
        return plan.board
    changed: dict[int, Padstack] = {}
    nets = []
    for net in plan.board.nets:
        for hole in net.holes:
            if hole.padstack.name in wider and id(hole.padstack) not in changed:
                changed[id(hole.padstack)] = _wider(hole.padstack, wider[hole.padstack.name])
        touched = any(id(hole.padstack) in changed for hole in net.holes)
        holes = tuple(replace(hole, padstack=changed.get(id(hole.padstack), hole.padstack)) for hole in net.holes)
        nets.append(replace(net, holes=holes) if touched else net)
    return replace(plan.board, nets=tuple(nets))


def _wider(padstack: Padstack, needed: dict[str, float]) -> Padstack:
    antipads = dict(padstack.antipads)
    for layer, width in needed.items():
        drawn = antipads.get(layer, padstack.antipad)
        antipads[layer] = Antipad(width=quantity(width, "length"), shared=drawn.shared)
    return replace(padstack, antipads=antipads)
