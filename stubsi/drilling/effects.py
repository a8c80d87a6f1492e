"""Owns the effects of depth drills on padstacks: clearances on planes, pads and mask openings."""

from __future__ import annotations

from collections import defaultdict
from enum import StrEnum
from typing import TYPE_CHECKING, NamedTuple

from stubsi.board.names import how_many
from stubsi.board.padstack import Antipad
from stubsi.errors import BoardError
from stubsi.units import show
from stubsi.value import InSI

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from stubsi.board.board import Board
    from stubsi.board.layers import CopperLayer
    from stubsi.board.net import Net
    from stubsi.board.padstack import Padstack
    from stubsi.drilling.decisions import Decisions
    from stubsi.drilling.rules import FabricatorRules


class EffectKind(StrEnum):
    """What a depth drill can do to a padstack on a layer that it passes. Each is also the text that tables show."""

    CLEARANCE = "clearance"
    PAD_GONE = "pad vanishes"
    PAD_RING = "ring of the pad is left"
    MASK = "mask opening"


class Effect(NamedTuple):
    """What the depth drill does to a padstack on some layers, with the same figures on each of them.

    Parameters
    ----------
    padstack : Padstack
        The padstack.
    side : str
        Side it is drilled from.
    layers : tuple of str
        The layers.
    kind : EffectKind
        What happens.
    drawn : float or None
        Diameter of the clearance or pad as drawn on the board [m]; None where it is unknown or does not exist.
    needed : float or None
        Diameter of the clearance or opening that is needed, or of the depth drill [m]; None where it is unknown.
    """

    padstack: Padstack
    side: str
    layers: tuple[str, ...]
    kind: EffectKind
    drawn: float | None
    needed: float | None

    @property
    def short(self) -> bool | None:
        """Whether a clearance is too small; None where that is unknown."""
        if self.kind != EffectKind.CLEARANCE:
            return False
        return None if self.needed is None or self.drawn is None else self.drawn < self.needed - 1e-9

    def __str__(self) -> str:
        where = f"padstack {self.padstack.name}, drilled from the {self.side}, on {', '.join(self.layers)}"
        drawn, needed = (show(size, "length") for size in (self.drawn, self.needed))
        if self.kind == EffectKind.CLEARANCE:
            verdict = {True: f"change it to {needed}", False: "enough", None: "cannot be judged"}[self.short]
            return f"{where}: clearance {drawn}, needed {needed}: {verdict}"
        if self.kind == EffectKind.MASK:
            return f"{where}: mask opening needed {needed}"
        return f"{where}: {self.kind} (pad {drawn}, depth drill {needed})"

    def __repr__(self) -> str:
        layers = how_many(len(self.layers), "layer")
        return f"<Effect on padstack {self.padstack.name} from the {self.side}, on {layers}: {self.kind}>"

    def _repr_html_(self) -> str:
        from stubsi.show.parts_html import effect_html

        return effect_html(self)


class Effects(tuple[Effect, ...]):
    """Every effect of a plan on the padstacks of its board, by padstack and side.

    Parameters
    ----------
    iterable : iterable of Effect
        The effects.
    """

    __slots__ = ()

    def to_frame(self) -> pd.DataFrame:
        """Table as a pandas DataFrame: an effect in each row, diameters in [mm].

        Returns
        -------
        pandas.DataFrame
            Plain numbers, with units in the column names.
        """
        import pandas as pd

        rows = [
            (effect.padstack.name, effect.side, ", ".join(effect.layers), str(effect.kind), _mm(effect.drawn),
             _mm(effect.needed), effect.short)
            for effect in self
        ]  # fmt: skip
        columns = ["padstack", "side", "layers", "effect", "drawn [mm]", "needed [mm]", "too small"]
        return pd.DataFrame(rows, columns=columns)

    def __str__(self) -> str:
        return "\n".join(map(str, self)) or "No padstack is affected."

    def _repr_html_(self) -> str:
        from stubsi.show.html import effects_html

        return effects_html(self)

    def __repr__(self) -> str:
        too_small = how_many(sum(effect.short is True for effect in self), "clearance")
        return f"<Effects: {len(self)}, {too_small} too small>"


def _mm(length: float | None) -> float | None:
    return None if length is None else 1e3 * length


def needed_clearance(drill: float, rules: FabricatorRules) -> float | None:
    """Diameter [m] of the clearance that a depth drill [m] needs; None where a rule for it is unknown.

    It is the diameter of the drill plus, on each side, the tolerance of its edge and the clearance to copper.

    Parameters
    ----------
    drill : float
        Diameter of the depth drill [m].
    rules : FabricatorRules
        Rules of the fabricator.

    Returns
    -------
    float | None
        Diameter [m], or None.
    """
    if rules.edge_tolerance_si is None or rules.copper_clearance_si is None:
        return None
    return drill + 2 * (rules.edge_tolerance_si + rules.copper_clearance_si)


def effects_of(plan: Decisions) -> Effects:
    """Every effect of a plan on the padstacks of its board. Layers with equal figures are in one effect.

    Parameters
    ----------
    plan : Decisions
        The plan.

    Returns
    -------
    Effects
        Every effect, by padstack and side.

    Notes
    -----
    A drill passes every copper layer between the drilled face and its must-not-cut layer. Copper of other nets on
    signal layers is not known to the board and is not checked.
    """
    layers_of: dict[Effect, list[str]] = defaultdict(list)
    stackup = plan.board.stackup
    for (padstack, side), passed in sorted(_layers_passed(plan).items(), key=_by_name):
        layers = stackup.copper if side == "top" else stackup.copper[::-1]
        for number, layer in enumerate(layers[:passed]):
            for effect in _on_layer(padstack, side, layer, number == 0, plan.rules):
                layers_of[effect].append(layer.name)
    return Effects(effect._replace(layers=tuple(layers)) for effect, layers in layers_of.items())


def _by_name(item: tuple[tuple[Padstack, str], int]) -> tuple[str, str]:
    (padstack, side), _ = item
    return padstack.name, side


def _layers_passed(plan: Decisions) -> dict[tuple[Padstack, str], int]:
    """How many copper layers the deepest drill passes, for each padstack and side."""
    passed: dict[tuple[Padstack, str], int] = {}
    last = len(plan.board.stackup.copper) - 1
    for group in plan.groups:
        position = plan.board.stackup.index(group.layer)
        count = position if group.side == "top" else last - position
        for padstack in {hit.hole.padstack for hit in group.hits}:
            passed[padstack, group.side] = max(count, passed.get((padstack, group.side), 0))
    return passed


def _on_layer(padstack: Padstack, side: str, layer: CopperLayer, outer: bool, rules: FabricatorRules) -> list[Effect]:
    """Effects on one layer. The caller adds the names of the layers."""
    drill = rules.drill_si(padstack.drill_si)
    sizes: list[tuple[EffectKind, float | None, float | None]] = []
    antipad = padstack.antipad_at(layer.name, layer.role)
    if antipad is not None or layer.role == "plane":
        drawn = None if antipad is None else antipad.width_si
        sizes.append((EffectKind.CLEARANCE, drawn, needed_clearance(drill, rules)))
    pad = padstack.pad_at(layer.name, in_use=False, outer=outer)
    if pad is not None:
        sizes.append((EffectKind.PAD_GONE if pad <= drill else EffectKind.PAD_RING, pad, drill))
    if outer:
        edge = rules.edge_tolerance_si
        sizes.append((EffectKind.MASK, None, None if edge is None else drill + 2 * edge))
    return [Effect(padstack, side, (), *size) for size in sizes]


class Clearances(NamedTuple):
    """The board of a plan with the clearances that its drills need.

    Parameters
    ----------
    board : Board
        The changed board; the board of the plan itself where nothing is too small, or where there is no room.
    no_room : str
        Why the board has no room for the clearances; empty where it has.
    """

    board: Board
    no_room: str


def clearances_of(plan: Decisions) -> Clearances:
    """The board of a plan with every clearance that is too small changed to what is needed, where there is room.

    Parameters
    ----------
    plan : Decisions
        The plan.

    Returns
    -------
    Clearances
        The changed board, or why there is none.
    """
    needed: dict[Padstack, dict[str, float]] = defaultdict(dict)
    for effect in effects_of(plan):
        if effect.short and effect.needed is not None:
            needed[effect.padstack].update(dict.fromkeys(effect.layers, effect.needed))
    if not needed:
        return Clearances(plan.board, "")
    wider = {padstack: _wider(padstack, widths) for padstack, widths in needed.items()}
    nets = tuple(_with_padstacks(net, wider) for net in plan.board.nets)
    try:
        return Clearances(plan.board.replaced(nets=nets), "")
    except BoardError as error:
        return Clearances(plan.board, str(error))


def widened(plan: Decisions) -> Board:
    """The board of a plan with the clearances that its drills need; as drawn where there is no room for them.

    Parameters
    ----------
    plan : Decisions
        The plan.

    Returns
    -------
    Board
        The changed board; the same board if nothing is too small.
    """
    return plan.clearances.board


def _with_padstacks(net: Net, wider: Mapping[Padstack, Padstack]) -> Net:
    """The net with some padstacks replaced; the net itself where it has none of them."""
    if not any(hole.padstack in wider for hole in net.holes):
        return net
    return net.replaced(
        holes=tuple(
            hole.replaced(padstack=wider[hole.padstack]) if hole.padstack in wider else hole for hole in net.holes
        )
    )


def _wider(padstack: Padstack, needed: Mapping[str, float]) -> Padstack:
    antipads = dict(padstack.antipads)
    for layer, width in needed.items():
        drawn = antipads.get(layer, padstack.antipad)
        antipads[layer] = Antipad(width=InSI(width), shared=drawn is not None and drawn.shared)
    return padstack.replaced(antipads=antipads)
