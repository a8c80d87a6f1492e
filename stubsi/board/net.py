"""Owns holes, nets, return vias and depth drills: positions of holes and the layers that a net uses in each hole."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import field
from typing import TYPE_CHECKING, Literal, NoReturn, TypeAlias, overload

import numpy as np

from stubsi.board.criterion import Criterion
from stubsi.board.names import shortened
from stubsi.board.overlaps import first_overlap
from stubsi.board.padstack import SIDES, Padstack, PressFit, Side
from stubsi.board.signal import Signal, as_signal
from stubsi.board.size_limits import DRILL, check_size
from stubsi.checks import checked, checked_name, names, one_of, sequence, text_or_blank
from stubsi.errors import BoardError, UnitError
from stubsi.number_rules import DK_RULE
from stubsi.plausibility import DK, LINE_IMPEDANCE, warn_if_unusual
from stubsi.plausibility import DRILL as USUAL_DRILL
from stubsi.unit_errors import as_shown
from stubsi.units import one_number, quantity, show
from stubsi.value import Converted, Dimension, OptionalDimension, SIField, Value, value_object

if TYPE_CHECKING:
    from stubsi.units import Dimensioned, Quantity

Leg: TypeAlias = Literal["", "P", "N"]
"""Leg of a differential pair; blank where the net is not a pair."""
LEGS: tuple[Leg, ...] = ("", "P", "N")
StubFeedName: TypeAlias = Literal["", "through", "tee"]
"""From where the signal of a stub comes; blank where it follows from the layers in use."""
STUB_FEEDS: tuple[StubFeedName, ...] = ("", "through", "tee")
TraceSides: TypeAlias = Literal["", "same", "opposite"]
"""To which sides of a barrel the two traces of a net leave; blank where it is unknown."""
TRACE_SIDES: tuple[TraceSides, ...] = ("", "same", "opposite")


@value_object
class Hole(Value):
    """A plated hole of a net.

    Parameters
    ----------
    name : str
        Unique on the board, like "U1.A4".
    padstack : Padstack
        Its drill, pads and antipads.
    connects : sequence of layer names
        Copper layers where the net uses the hole. The barrel beyond the outermost of them is a stub. Empty for the
        holes of a reference net, which meet every plane.
    x, y : length, optional
        Position. Where it is unknown, the return vias of the hole are unknown, too, and so is the pitch of a pair.
    leg : {"", "P", "N"}
        Leg of a differential pair.
    press_fit : PressFit, optional
        What a press-fit pin in it needs.
    feed : {"", "through", "tee"}
        From where the signal of its stubs comes: along the barrel ("through"), or on the layer at which the stub starts
        ("tee"). Blank: it follows from the layers in use. Two layers make it "through", a single one a "tee".
    traces : {"", "same", "opposite"}
        To which sides of the barrel the two traces of the net leave. It matters where only one plane lies between the
        two layers in use. Blank: unknown; the notch is then a range there.

    Raises
    ------
    UnitError, BoardError
        A layer is named twice, the leg, the feed or the traces are unknown, x is given without y, or an argument is of
        another type.
    """

    name: str
    padstack: Padstack
    connects: Converted[Iterable[str], tuple[str, ...]] = Converted(names, default=())
    x: OptionalDimension = OptionalDimension("long length", rule="any")
    x_si: float | None = field(init=False)
    y: OptionalDimension = OptionalDimension("long length", rule="any")
    y_si: float | None = field(init=False)
    leg: Leg = ""
    press_fit: PressFit | None = None
    feed: StubFeedName = ""
    traces: TraceSides = ""

    def __post_init__(self) -> None:
        name = checked_name(self.name, "hole name")
        checked(self.padstack, f"hole {name} padstack", Padstack)
        if self.press_fit is not None:
            checked(self.press_fit, f"hole {name} press_fit", PressFit)
        connects = self.connects
        if len(set(connects)) != len(connects):
            raise BoardError(f"hole {name} connects = {', '.join(connects)}: names a layer twice.")
        one_of(self.leg, f"hole {name} leg", LEGS)
        one_of(self.feed, f"hole {name} feed", STUB_FEEDS)
        one_of(self.traces, f"hole {name} traces", TRACE_SIDES)
        if (self.x_si is None) != (self.y_si is None):
            raise BoardError(f"hole {name}: gives x or y alone; give both or neither.")

    def __repr__(self) -> str:
        leg = f", leg {self.leg}" if self.leg else ""
        connects = f", connects {shortened(', '.join(self.connects))}" if self.connects else ""
        return f"<Hole {shortened(self.name, 40)}: {shortened(self.padstack.name, 40)}{leg}{connects}>"

    @property
    def xy_si(self) -> tuple[float, float] | None:
        """Position [m], None where unknown."""
        return None if self.x_si is None or self.y_si is None else (self.x_si, self.y_si)


class Positions(SIField):
    """A field of positions: pairs of lengths."""

    @overload
    def __get__(self, instance: None, owner: type) -> Positions: ...
    @overload
    def __get__(self, instance: object, owner: type) -> tuple[tuple[Quantity, Quantity], ...]: ...
    def __get__(self, instance: object | None, owner: type) -> Positions | tuple[tuple[Quantity, Quantity], ...]:
        if instance is None:
            raise AttributeError(self.name)  # the field has no default
        kept = instance.__dict__[self.si_name]
        return tuple((quantity(x, self.kind), quantity(y, self.kind)) for x, y in kept)

    def __set__(self, instance: object, value: Iterable[Iterable[Dimensioned]]) -> None:
        instance.__dict__[self.si_name] = tuple(self._place(place) for place in _items(value, "return via positions"))

    def _place(self, place: object) -> tuple[float, float]:
        x_y = _items(place, "return via position")
        if len(x_y) != 2:
            raise UnitError(f"return via position = {as_shown(place)}: must be x and y, like ('0.5 mm', '0 mm').")
        return self.to_si(x_y[0], "return via position x"), self.to_si(x_y[1], "return via position y")

    def text(self, si: tuple[tuple[float, float], ...]) -> str:
        """Python code of the list of positions, for ``repr``.

        Parameters
        ----------
        si : tuple of (float, float)
            Positions [m].

        Returns
        -------
        str
        """
        length = super().text
        return "[" + ", ".join(f"({length(x)}, {length(y)})" for x, y in si) + "]"


@value_object
class ReturnVias(Value):
    """Return vias of a single hole or pair, where there is no board to take them from.

    Parameters
    ----------
    positions : sequence of (x, y), lengths
        Centres of the return vias. The origin is the hole, or the midpoint of a pair, whose barrels lie on the x axis.
        Empty: there is no return via near.
    drill : length
        Diameter of their primary drill.

    Raises
    ------
    UnitError
        Values that are not lengths, or a position that is not two of them.
    BoardError
        The drill is wider than any of a board, or two return vias run into each other.

    Examples
    --------
    >>> vias = ReturnVias(positions=[("0.5 mm", "0 mm"), ("-0.5 mm", "0 mm")], drill="0.25 mm")
    >>> vias.positions_si
    ((0.0005, 0.0), (-0.0005, 0.0))
    """

    positions: Positions = Positions("length", rule="any")
    positions_si: tuple[tuple[float, float], ...] = field(init=False)
    drill: Dimension = Dimension("length", usual=USUAL_DRILL)
    drill_si: float = field(init=False)

    def __post_init__(self) -> None:
        check_size(self.drill_si, DRILL, "return via drill")
        self._refuse_overlaps()

    def _refuse_overlaps(self) -> None:
        """Refuse two return vias that run into each other."""
        place = np.array([complex(*position) for position in self.positions_si], dtype=np.complex128)
        drill, layer = np.full(len(place), self.drill_si), np.zeros(len(place), dtype=np.intp)
        overlap = first_overlap(place, drill, layer, layer + 1)
        if overlap is not None:
            one, other = overlap
            raise BoardError(
                f"return via positions number {one + 1} and {other + 1} are "
                f"{show(abs(place[one] - place[other]), 'length')} apart: must be at least their drill = "
                f"{show(self.drill_si, 'length')}, or they run into each other."
            )


@value_object
class DepthDrill(Value):
    """A depth drill into one hole as the electrical model sees it: the rest of the stub, and the bore beyond it.

    Parameters
    ----------
    side : {"top", "bottom"}
        Face where it enters; it shortens the stub on that side.
    residual_stub : length
        Plating left beyond the layer in use, its copper excluded (IPC-6012).
    drill : length
        Its diameter, which is larger than that of the primary drill.
    fill_dk : float
        Relative permittivity [-] of what fills the bore: 1 for air.

    Raises
    ------
    UnitError, BoardError
        A value is not a length, the side is unknown, the drill is wider than any of a board, or the permittivity is
        below 1.
    """

    side: Side
    residual_stub: Dimension = Dimension("length")
    residual_stub_si: float = field(init=False)
    drill: Dimension = Dimension("length", usual=USUAL_DRILL)
    drill_si: float = field(init=False)
    fill_dk: float = 1.0

    def __post_init__(self) -> None:
        one_of(self.side, "depth drill side", SIDES)
        check_size(self.drill_si, DRILL, "depth drill drill")
        self.__dict__["fill_dk"] = one_number(self.fill_dk, "depth drill fill_dk", rule=DK_RULE)
        warn_if_unusual(self.fill_dk, DK, "depth drill fill_dk")


def _signal(value: Signal | str | Quantity | None, what: str) -> Signal | None:
    try:
        return None if value is None else as_signal(value)
    except UnitError as error:
        raise UnitError(f"{what}: {error}") from None


def _holes(value: Iterable[Hole], what: str) -> tuple[Hole, ...]:
    return sequence(value, what, Hole)


@value_object
class Net(Value):
    """A net, or a differential pair if its holes name their legs. A pair is one object and is ranked as one.

    Parameters
    ----------
    name : str
        Unique on the board.
    holes : sequence of Hole
        *All* its plated holes. The stubs of a hole that is left out are not seen.
    signal : Signal, str or quantity, optional
        What it carries. None only for a reference net.
    z0 : impedance, optional
        Impedance of the line; of a pair: differential. None only for a reference net.
    layers : sequence of layer names
        Routing layers it may use; empty: not stated.
    criterion : Criterion, optional
        What it must meet, if this differs from the criterion of its signal or of the board.
    waiver : str
        Reason why it need not meet its criterion. Every table shows it. Blank: there is no waiver.
    reference : bool
        Whether its holes are the return vias of other nets.

    Raises
    ------
    BoardError, UnitError
        The net has no holes, a leg is missing, a signal net has no signal or z0, or a hole has no layer in use.
    """

    name: str
    holes: Converted[Iterable[Hole], tuple[Hole, ...]] = Converted(_holes)
    signal: Converted[Signal | str | Quantity | None, Signal | None] = Converted(_signal, default=None)
    z0: OptionalDimension = OptionalDimension("impedance", usual=LINE_IMPEDANCE)
    z0_si: float | None = field(init=False)
    layers: Converted[Iterable[str], tuple[str, ...]] = Converted(names, default=())
    criterion: Criterion | None = None
    waiver: str = ""
    reference: bool = False

    def __post_init__(self) -> None:
        name = checked_name(self.name, "net name")
        checked(self.reference, f"net {name} reference", bool)
        if self.criterion is not None:
            checked(self.criterion, f"net {name} criterion", Criterion)
        if text_or_blank(self.waiver, f"net {name} waiver"):
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
        unused = [hole.name for hole in self.holes if not hole.connects]
        if unused:
            self._refuse(f"hole {unused[0]} connects no layer; list the layers where the net uses it")
        legs = {str(hole.leg) for hole in self.holes}
        if legs not in ({""}, {"P", "N"}):
            self._refuse("holes must all name their leg, some 'P' and some 'N', or none may")

    def __repr__(self) -> str:
        count = f"{len(self.holes)} hole{'' if len(self.holes) == 1 else 's'}"
        pair = "pair of " if self.is_pair else ""
        carries = "reference" if self.signal is None else shortened(str(self.signal))
        return f"<Net {shortened(self.name)}: {pair}{count}, {carries}>"

    def _check_reference(self) -> None:
        if self.signal is not None or self.z0_si is not None or self.waiver or self.criterion:
            self._refuse("is reference: signal, z0, criterion and waiver do not apply")
        if any(hole.leg for hole in self.holes):
            self._refuse("is reference: its holes have no leg")

    def _refuse(self, why: str) -> NoReturn:
        raise BoardError(f"net {self.name}: {why}.")

    @property
    def is_pair(self) -> bool:
        """Whether it is a differential pair."""
        return self.holes[0].leg != ""

    @property
    def nyquist_si(self) -> float:
        """Nyquist frequency [Hz] of its signal. Raises BoardError for a reference net, which has no signal."""
        if self.signal is None:
            self._refuse("is reference: it has no Nyquist frequency")
        return self.signal.nyquist_si

    @property
    def z_stub_line_si(self) -> float:
        """Impedance [ohm] of the line that a stub is connected to: z0, or half of it for a leg of a pair.

        Raises BoardError for a reference net, which has none.
        """
        if self.z0_si is None:
            self._refuse("is reference: it has no line impedance")
        return self.z0_si / 2 if self.is_pair else self.z0_si


def _items(value: object, what: str) -> tuple[Dimensioned, ...]:
    """Convert a list or an array to a tuple; UnitError if the value is neither."""
    try:
        if isinstance(value, (str, dict)) or not isinstance(value, Iterable):
            raise TypeError
        return tuple(value)
    except TypeError:  # a numpy array of dimension 0 has __iter__ but cannot be iterated
        raise UnitError(f"{what} = {as_shown(value)}: must be a list of x and y, like [('0.5 mm', '0 mm')].") from None
