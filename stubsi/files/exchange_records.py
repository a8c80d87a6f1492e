"""Owns what an exchange file says, as records in metres, before anything is made of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

from stubsi.files.exchange_drawing import STRAIGHT, Turn

if TYPE_CHECKING:
    from stubsi.files.exchange_drawing import Area, Copper
    from stubsi.files.exchange_geometry import Point

COPPER = {"CONDUCTOR", "CONDFILM", "CONDFOIL", "SIGNAL", "PLANE", "MIXED"}
"""Functions of the layers that are copper."""
DIELECTRIC = (
    "DIELCORE", "DIELPREG", "DIELBASE", "DIELADHV", "DIELBONDPLY", "DIELCOVERLAY", "GLUE", "CAPACITIVE",
)  # fmt: skip
"""Functions of the layers that are dielectric."""
PLATED = {"VIA", "PLATED", "VIA_CAPPED"}
"""Plating statuses of a plated hole."""
BLIND = "BLIND"
"""Function of a drill layer of a netlist whose holes go from one face to a layer that the file does not name."""
PRESS_FIT = "PRESSFIT"
"""How a component is mounted whose pins are pressed into holes (revision C)."""
THROUGH = {"THMT", PRESS_FIT}
"""How a component is mounted whose pins sit in holes."""
REFERENCE_CLASSES = {"GROUND", "POWER"}
"""Classes of the nets whose holes are return vias."""


class Spread(NamedTuple):
    """A tolerance: how far a value may lie above and below its nominal, in SI units or as a part of the nominal."""

    plus: float
    minus: float
    percent: bool


@dataclass(slots=True)
class LayerRecord:
    """A layer: its function and side, the names of its specifications, and from where to where its drills go."""

    name: str
    function: str
    side: str
    polarity: str
    line: int
    specs: list[str] = field(default_factory=list)
    spans: list[tuple[str, str]] = field(default_factory=list)


@dataclass(slots=True)
class StackLayer:
    """A layer or group at its place in the stackup."""

    ref: str
    thickness: float | None
    sequence: float | None
    material: str
    line: int
    spread: Spread | None = None
    specs: list[str] = field(default_factory=list)


@dataclass(slots=True)
class StackGroup:
    """A group of layers of the stackup."""

    name: str
    specs: list[str] = field(default_factory=list)
    layers: list[StackLayer] = field(default_factory=list)


@dataclass(slots=True)
class StackupRecord:
    """A stackup: its groups, and its thickness [m] with where it is measured."""

    name: str
    overall: float | None
    measured: str
    line: int
    spread: Spread | None = None
    specs: list[str] = field(default_factory=list)
    groups: list[StackGroup] = field(default_factory=list)


@dataclass(slots=True)
class SpecRecord:
    """A specification: name of a material, Dk and Df by the frequency [Hz] they hold at (None: not said), impedances of
    lines [ohm], each with how the line is led, and whether it asks for depth drilling.
    """

    line: int
    material: str = ""
    dk: dict[float | None, float] = field(default_factory=dict)
    df: dict[float | None, float] = field(default_factory=dict)
    dk_spread: Spread | None = None
    impedances: list[tuple[str, float]] = field(default_factory=list)
    depth_drill: bool = False


@dataclass(slots=True)
class PadstackRecord:
    """A padstack: diameters [m] of pads and of antipads by layer; None: not round."""

    pads: dict[str, float | None] = field(default_factory=dict)
    antipads: dict[str, float | None] = field(default_factory=dict)


class HoleRecord(NamedTuple):
    """A plated hole. ``padstack`` is the name that its set gives, which may be blank, ``specs`` what it refers to.

    ``span`` is given where the hole says by itself between which layers it goes. Then ``layer`` may be blank.
    """

    net: str
    layer: str
    x: float
    y: float
    diameter: float
    padstack: str
    line: int
    spread: Spread | None = None
    span: tuple[str, str] | None = None
    specs: tuple[str, ...] = ()


@dataclass(slots=True)
class ComponentRecord:
    """A component: how it is mounted, on which layer, in which package, and how it is placed."""

    mount: str
    layer: str
    package: str = ""
    place: Point = (0.0, 0.0)
    turn: Turn = STRAIGHT


@dataclass(slots=True)
class StepRecord:
    """One board or panel of the file. ``clearances`` holds what is drawn without copper by layer, in its order."""

    name: str
    stackup: str
    line: int
    holes: list[HoleRecord] = field(default_factory=list)
    padstack_holes: list[HoleRecord] = field(default_factory=list)
    holes_without_net: list[HoleRecord] = field(default_factory=list)
    copper: dict[tuple[str, str], Copper] = field(default_factory=dict)
    clearances: dict[str, list[Area]] = field(default_factory=dict)
    components: dict[str, ComponentRecord] = field(default_factory=dict)
    net_class: dict[str, str] = field(default_factory=dict)
    net_specs: dict[str, list[str]] = field(default_factory=dict)
    partner: dict[str, str] = field(default_factory=dict)


@dataclass(slots=True)
class FileRecord:
    """A whole file. ``ignored`` counts what has no part in a board, ``assumed`` what was taken for something else.

    ``dielectric_spreads`` and ``dk_spreads`` hold the tolerances of the layers in use by material.
    """

    name: str
    revision: str = ""
    layers: dict[str, LayerRecord] = field(default_factory=dict)
    stackups: list[StackupRecord] = field(default_factory=list)
    specs: dict[str, SpecRecord] = field(default_factory=dict)
    padstacks: dict[str, PadstackRecord] = field(default_factory=dict)
    packages: dict[str, list[Point]] = field(default_factory=dict)
    steps: list[StepRecord] = field(default_factory=list)
    pin_components: list[str] = field(default_factory=list)
    pad_padstacks: list[str] = field(default_factory=list)
    pad_shapes: list[tuple[Point, ...]] = field(default_factory=list)
    copper_spreads: list[Spread] = field(default_factory=list)
    dielectric_spreads: dict[str, list[Spread]] = field(default_factory=dict)
    dk_spreads: dict[str, list[Spread]] = field(default_factory=dict)
    ignored: dict[str, int] = field(default_factory=dict)
    assumed: dict[str, int] = field(default_factory=dict)

    def ignore(self, what: str) -> None:
        """Count one thing that has no part in a board.

        Parameters
        ----------
        what : str
            In the plural, like "non-plated holes".
        """
        self.ignored[what] = self.ignored.get(what, 0) + 1

    def assume(self, what: str) -> None:
        """Count one thing that was taken for something else.

        Parameters
        ----------
        what : str
            A sentence in the plural, without its full stop.
        """
        self.assumed[what] = self.assumed.get(what, 0) + 1
