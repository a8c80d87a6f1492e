"""Owns holes and nets: where a net's holes are, the layers it uses in each, and the stubs that follow."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from stubsi.board.criterion import Criterion
from stubsi.board.padstack import Padstack, PressFit
from stubsi.board.signal import as_signal
from stubsi.errors import BoardError
from stubsi.units import DK_RULE, one_number, quantity, to_si
from stubsi.value import Dimension, OptionalDimension, Value, checked, sequence

LEGS = ("", "P", "N")


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class Hole(Value):
    """A plated hole of a net.

    Parameters
    ----------
    name : str
        Unique on the board, like "U1.A4".
    padstack : Padstack
    connects : sequence of layer names
        Copper layers where the net uses the hole; barrel beyond the outermost of them is stub. Empty for the holes of
        a reference net, which meet every plane.
    x, y : length, optional
        Position; unknown: so are its return vias and, in a pair, its pitch.
    leg : {"", "P", "N"}
        Leg of a differential pair.
    press_fit : PressFit, optional
        What a press-fit pin in it needs.

    Raises
    ------
    BoardError
        No layer in use, a layer twice, an unknown leg, a position half given.
    """

    name: str
    padstack: Padstack
    connects: tuple[str, ...] = ()
    x: OptionalDimension = OptionalDimension("length", rule="any")
    x_si: float | None = field(init=False)
    y: OptionalDimension = OptionalDimension("length", rule="any")
    y_si: float | None = field(init=False)
    leg: str = ""
    press_fit: PressFit | None = None

    def __post_init__(self) -> None:
        checked(self.name, "hole name")
        checked(self.padstack, f"hole {self.name} padstack", Padstack)
        if self.press_fit is not None:
            checked(self.press_fit, f"hole {self.name} press_fit", PressFit)
        self.__dict__["connects"] = sequence(self.connects, f"hole {self.name} connects")
        if len(set(self.connects)) != len(self.connects):
            raise BoardError(f"hole {self.name} connects = {', '.join(self.connects)}: names a layer twice.")
        if self.leg not in LEGS:
            raise BoardError(f"hole {self.name} leg = {self.leg!r}: must be 'P' or 'N', or left out.")
        if (self.x_si is None) != (self.y_si is None):
            raise BoardError(f"hole {self.name}: gives x or y alone; give both or neither.")

    @property
    def xy_si(self) -> tuple[float, float] | None:
        """Position [m], None where unknown."""
        return None if self.x_si is None else (self.x_si, self.y_si)


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class ReturnVias(Value):
    """Return vias of a single hole or pair, where there is no board to take them from.

    Parameters
    ----------
    positions : sequence of (x, y), lengths
        Their centres, relative to the hole; to the midpoint of a pair, whose barrels lie on the x axis. Empty: there
        is none near.
    drill : length
        Diameter of their primary drill.

    Raises
    ------
    UnitError
        Values that are not lengths.
    """

    positions: tuple[Any, ...]
    drill: Dimension = Dimension("length")
    drill_si: float = field(init=False)

    def __post_init__(self) -> None:
        places = [tuple(to_si(list(place), "length", "return via position", rule="any")) for place in self.positions]
        self.__dict__["positions_si"] = tuple((float(x), float(y)) for x, y in places)
        self.__dict__["positions"] = tuple((quantity(x, "length"), quantity(y, "length")) for x, y in places)


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class DepthDrill(Value):
    """A depth drill into one hole, as an electrical fact: what it leaves of a stub, and the bore beyond.

    Parameters
    ----------
    side : {"top", "bottom"}
        Face it enters from; it shortens the stub there.
    residual_stub : length
        Plating left beyond the layer in use, its copper excluded (IPC-6012).
    drill : length
        Diameter; wider than the primary drill.
    fill_dk : float
        Relative permittivity [-] of what fills the bore: 1 for air.

    Raises
    ------
    UnitError, BoardError
        Values that are no lengths; an unknown side.
    """

    side: str
    residual_stub: Dimension = Dimension("length")
    residual_stub_si: float = field(init=False)
    drill: Dimension = Dimension("length")
    drill_si: float = field(init=False)
    fill_dk: float = 1.0

    def __post_init__(self) -> None:
        if self.side not in ("top", "bottom"):
            raise BoardError(f"depth drill side = {self.side!r}: must be 'top' or 'bottom'.")
        self.__dict__["fill_dk"] = one_number(self.fill_dk, "depth drill fill_dk", rule=DK_RULE)


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class Net(Value):
    """A net, or a differential pair where its holes name their legs: one ranked object either way.

    Parameters
    ----------
    name : str
    holes : sequence of Hole
        *All* its plated holes; leaving one out hides its stub.
    signal : Signal, str or quantity, optional
        What it carries. None only for a reference net.
    z0 : impedance, optional
        Impedance of the line; of a pair: differential. None only for a reference net.
    layers : sequence of layer names
        Routing layers it may use; empty: not stated.
    criterion : Criterion, optional
        What it must meet, where it is not the board's.
    waiver : str
        Reason why it need not meet its criterion; stays in every table.
    reference : bool
        Whether its holes are the return vias of other nets.

    Raises
    ------
    BoardError, UnitError
        No holes, a leg missing, a signal net without signal or z0, a hole without a layer in use.
    """

    name: str
    holes: tuple[Hole, ...]
    signal: Any = None
    z0: OptionalDimension = OptionalDimension("impedance")
    z0_si: float | None = field(init=False)
    layers: tuple[str, ...] = ()
    criterion: Criterion | None = None
    waiver: str = ""
    reference: bool = False

    def __post_init__(self) -> None:
        own = self.__dict__
        name = checked(self.name, "net name")
        own["holes"] = sequence(self.holes, f"net {name} holes", Hole)
        own["layers"] = sequence(self.layers, f"net {name} layers")
        checked(self.reference, f"net {name} reference", bool)
        if self.criterion is not None:
            checked(self.criterion, f"net {name} criterion", Criterion)
        if self.waiver != "":
            checked(self.waiver, f"net {name} waiver")
        if not self.holes:
            self._refuse("has no holes; leave it out")
        if self.reference:
            self._check_reference()
            return
        if self.signal is None or self.z0_si is None:
            self._refuse(
                f"{'signal' if self.signal is None else 'z0'} is missing; a net that is not reference needs it"
            )
        own["signal"] = as_signal(self.signal)
        unused = [hole.name for hole in self.holes if not hole.connects]
        if unused:
            self._refuse(f"hole {unused[0]} connects no layer; list the layers where the net uses it")
        legs = {hole.leg for hole in self.holes}
        if legs not in ({""}, {"P", "N"}):
            self._refuse("holes must all name their leg, some 'P' and some 'N', or none may")

    def _check_reference(self) -> None:
        if self.signal is not None or self.z0_si is not None or self.waiver or self.criterion:
            self._refuse("is reference: signal, z0, criterion and waiver do not apply")
        if any(hole.leg for hole in self.holes):
            self._refuse("is reference: its holes have no leg")

    def _refuse(self, why: str) -> None:
        raise BoardError(f"net {self.name}: {why}.")

    @property
    def is_pair(self) -> bool:
        """Whether it is a differential pair."""
        return self.holes[0].leg != ""

    @property
    def z_stub_line_si(self) -> float:
        """Impedance [ohm] of the line one stub hangs in: z0, or Zdiff/2 for the leg of a pair."""
        return self.z0_si / 2 if self.is_pair else self.z0_si
