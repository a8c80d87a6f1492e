"""Owns one hole of a board as an electrical object: its stubs, and its two-port from entry to exit."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.board.board import Board
from stubsi.board.distance import Distance, EndKind
from stubsi.board.names import by_name
from stubsi.board.net import DepthDrill
from stubsi.checks import is_list
from stubsi.errors import StubsiError, UnknownValueError
from stubsi.physics.loss_curve import one_db_frequency
from stubsi.physics.two_stubs import TwoStubs
from stubsi.stubs.as_barrel import bore_of, check_bore, through_of
from stubsi.stubs.cases import Case
from stubsi.stubs.drawn import stub_shapes
from stubsi.stubs.hole_stub import LOWEST, HoleStub
from stubsi.stubs.model_choice import ModelChoice
from stubsi.stubs.solved_through import solved_through
from stubsi.stubs.stub_feed import feed_of
from stubsi.stubs.surroundings import surroundings
from stubsi.stubs.uniform_model import uniform_through
from stubsi.stubs.unknown_antipad import ANTIPAD_UNKNOWN
from stubsi.stubs.unknown_dk import DK_OPEN, DK_UNKNOWN, unknown_dielectrics
from stubsi.stubs.whole_hole import TOGETHER
from stubsi.unit_errors import as_shown
from stubsi.units import one_si, quantity, show, to_si
from stubsi.value import InSI

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from numpy.typing import NDArray

    from stubsi.board.hole_kinds import Span
    from stubsi.board.net import Hole
    from stubsi.board.padstack import Padstack
    from stubsi.board.stackup import Stackup
    from stubsi.network import Frequencies, Network
    from stubsi.physics.arrays import IndexArray
    from stubsi.physics.power_curve import Inputs
    from stubsi.stubs.model_choice import ModelName
    from stubsi.stubs.surroundings import Around
    from stubsi.units import Dimensioned, Quantity

    FloatArray = NDArray[np.float64]
    ComplexArray = NDArray[np.complex128]


class BarrelInputs(NamedTuple):
    """What the model of the barrel between the outermost layers in use is made from.

    ``around``: what stands around the hole. ``model``: the electrical model that was chosen.
    """

    stackup: Stackup
    padstack: Padstack
    span: Span
    around: Around
    model: ModelChoice


@dataclass(frozen=True, kw_only=True, repr=False)
class HoleModel:
    """A hole from the outermost layer in use on top (port 1) to the one below (port 2); of a pair: odd mode, one leg.

    The pads in use and the exits into the traces are not in it. Up to 30 GHz its insertion loss is within 0.1 dB of a
    three-dimensional solution. Above that it is too low: 0.32 dB for 0.65 at 40 GHz, 0.97 for 3.2 at 55 GHz (one layer
    change, one mesh; project full-wave reference). As a frequency, a loss lies up to 26 % lower than here.

    Two are equal if their names, their stubs, and the inputs of the barrel between are equal.

    Parameters
    ----------
    name : str
        Of the hole.
    above, below : HoleStub or None
        Its stubs, None where there is none.
    barrel : BarrelInputs
        What the model of the barrel between the outermost layers in use is made from.
    through : callable
        Frequency [Hz], shape (n,) -> chain matrix of the barrel between the outermost layers in use, shape (n, 2, 2).
    """

    name: str
    above: HoleStub | None
    below: HoleStub | None
    barrel: BarrelInputs
    through: Callable[[FloatArray], ComplexArray] = field(compare=False)

    def __repr__(self) -> str:
        stubs = ", ".join(f"{stub.side} {show(stub.stub_length_si, 'length')}" for stub in self.stubs)
        return f"HoleModel({self.name!r}, {'stubs: ' + stubs if stubs else 'no stub'})"

    def _repr_html_(self) -> str:
        from stubsi.show.html import hole_html

        return hole_html(self)

    @property
    def stubs(self) -> tuple[HoleStub, ...]:
        """The stubs there are, from the top."""
        return tuple(stub for stub in (self.above, self.below) if stub is not None)

    def abcd_si(self, frequency: FloatArray) -> ComplexArray:
        """Chain matrix from port 1 to port 2: stub, barrel between, stub.

        Parameters
        ----------
        frequency : ndarray, shape (n,)
            [Hz].

        Returns
        -------
        complex ndarray, shape (n, 2, 2)
            [[A, B], [C, D]] in SI units.
        """
        matrix = self.through(np.maximum(frequency, LOWEST))
        if self.above is not None:
            matrix = _shunt(self.above, frequency) @ matrix
        return matrix if self.below is None else matrix @ _shunt(self.below, frequency)

    def one_db_frequency(self, *, z0: Dimensioned) -> Quantity:
        """Lowest frequency at which the insertion loss of the whole hole in a line reaches 1 dB.

        Parameters
        ----------
        z0 : impedance
            Of the line; half the differential impedance for the leg of a pair.

        Returns
        -------
        pint.Quantity
            In GHz. At most that of either stub. Infinite: not reached as far up as its stubs reach it, or without stub.
            It may be too high by as much as the model of the hole is off.
        """
        line = one_si(z0, "impedance", "z0")
        own = [np.min(to_si(stub.one_db_frequency(z0=z0), "frequency", "1 dB")) for stub in self.stubs]
        highest = min(own, default=np.inf)
        if not np.isfinite(highest):
            return quantity(np.inf, "frequency")
        power = TwoStubs(_inputs(self.above), _inputs(self.below), self._through_rows, np.array([line])).power()
        found = float(one_db_frequency(power, np.array([TOGETHER * highest]), np.array([highest]))[0])
        return quantity(min(found, highest), "frequency")

    def _through_rows(self, rows: IndexArray, frequency: FloatArray) -> ComplexArray:
        """Chain matrices of the barrel between, as ``TwoStubs`` takes them."""
        return self.through(np.maximum(frequency.ravel(), LOWEST)).reshape(*frequency.shape, 2, 2)

    def network(self, frequency: Frequencies, *, z0: Dimensioned = "50 ohm") -> Network:
        """Two-port of the whole hole.

        Parameters
        ----------
        frequency : frequency, or a scikit-rf Frequency
            One or several, rising.
        z0 : impedance
            Real port impedance. For a leg of a pair: half the differential impedance; the two-port is the odd mode's.

        Returns
        -------
        skrf.Network
            As many points as frequencies.
        """
        from stubsi.network import abcd_network

        return abcd_network(lambda hz: np.moveaxis(self.abcd_si(hz), 0, -1), frequency, z0)


def hole_model(
    board: Board, hole: str, *, model: ModelName = "solved", drilled: Iterable[DepthDrill] = ()
) -> HoleModel:
    """Model one hole of a board.

    Parameters
    ----------
    board : Board
        With the hole in one of its signal nets.
    hole : str
        Its name.
    model : {"solved", "uniform"}
        As ``rank``.
    drilled : sequence of DepthDrill
        Depth drills into the hole, at most one from each side; none unless given.

    Returns
    -------
    HoleModel
        Its stubs, and its two-port.

    Raises
    ------
    UnknownNameError
        No hole of that name among the signal nets.
    StubsiError
        An unknown ``model``; a depth drill where there is no stub, or that would leave more than there is; arguments
        of the wrong kind.
    UnknownValueError
        The return vias, or another value that the model needs, are not known. The hole then has no single two-port.

    Examples
    --------
    >>> from stubsi import read_ipc2581
    >>> export = read_ipc2581("shared/sluice_gate.xml", signals={"FLOW_*": "16 GT/s"}, z0="85 ohm", plating="20 um")
    >>> hole = hole_model(export.board, "FLOW_P.1")         # a leg of a pair of 85 ohm is a line of 42.5 ohm
    >>> network = hole.network(["1 GHz", "10 GHz", "20 GHz"], z0="42.5 ohm")    # a scikit-rf Network
    >>> network.is_passive()
    True
    """
    drills = _by_side(hole, drilled)
    return hole_with_stubs(board, hole, ModelChoice.of(model), lambda stubs: _cut_short(hole, stubs, drills))


def hole_with_stubs(
    board: Board, hole: str, choice: ModelChoice, change: Callable[[Sequence[Case]], Sequence[Case]]
) -> HoleModel:
    """Model one hole of a board with changed stubs.

    Parameters
    ----------
    board : Board
        With the hole in one of its signal nets.
    hole : str
        Its name.
    choice : ModelChoice
        Electrical model of its stubs.
    change : callable
        Makes the stubs that are modelled of those that are drawn: cut, or fewer.

    Returns
    -------
    HoleModel
        Its stubs, and its two-port.

    Raises
    ------
    UnknownNameError, UnknownValueError
        As ``hole_model``.
    """
    number, hole_on_board = _signal_hole(board, hole)
    span, around = board.span(hole_on_board), surroundings(board)[number]
    if not choice.uniform and around.returns is None:
        raise UnknownValueError(f"return vias of hole {hole} are unknown: give the reference holes, with positions.")
    feed = feed_of(board.stackup, hole_on_board, span)
    shapes = stub_shapes(board.stackup, hole_on_board.padstack, span, hole_on_board.press_fit, feed)
    cases = change([Case(shape, shape.stub_length_si, around) for shape in shapes])
    stubs = {case.shape.side: _stub(hole, case, choice) for case in cases}
    barrel = BarrelInputs(board.stackup, hole_on_board.padstack, span, around, choice)
    return HoleModel(
        name=hole, above=stubs.get("top"), below=stubs.get("bottom"), barrel=barrel, through=_through(barrel)
    )


def _signal_hole(board: Board, name: str) -> tuple[int, Hole]:
    """The hole of that name, and its number among the holes of the signal nets."""
    if not isinstance(board, Board):
        raise StubsiError(f"board = {as_shown(board)}: must be a Board; read_board makes one from a file.")
    holes: dict[str, tuple[int, Hole]] = board.remembered("signal holes by name", lambda: _numbered_holes(board))
    return by_name(holes, name, "hole", f"in a signal net of board {board.name}")


def _numbered_holes(board: Board) -> dict[str, tuple[int, Hole]]:
    holes = [hole for net in board.signal_nets for hole in net.holes]
    return {hole.name: (number, hole) for number, hole in enumerate(holes)}


def _by_side(hole: str, drilled: Iterable[DepthDrill]) -> dict[str, DepthDrill]:
    """The depth drills into a hole by the side they come from, at most one from each side."""
    drills = tuple(drilled) if is_list(drilled) else (drilled,)
    if not all(isinstance(drill, DepthDrill) for drill in drills):
        raise StubsiError(f"hole {hole} drilled = {as_shown(drilled)}: must be a list of DepthDrill objects.")
    by_side: dict[str, DepthDrill] = {drill.side: drill for drill in drills}
    if len(by_side) < len(drills):
        raise _wrong_drills(hole)
    return by_side


def _wrong_drills(hole: str) -> StubsiError:
    return StubsiError(
        f"hole {hole} drilled: needs at most one depth drill from each side, and only where there is a stub."
    )


def _cut_short(hole: str, whole: Sequence[Case], drills: Mapping[str, DepthDrill]) -> list[Case]:
    """The stubs of a hole, cut short where it is drilled."""
    if not set(drills) <= {case.shape.side for case in whole}:
        raise _wrong_drills(hole)
    return [_drilled(hole, case, drills[case.shape.side]) if case.shape.side in drills else case for case in whole]


def _drilled(hole: str, case: Case, drill: DepthDrill) -> Case:
    """A stub cut short by a depth drill."""
    shape, residual = case.shape, drill.residual_stub_si
    if not shape.least_length_si <= residual < shape.stub_length_si:
        raise StubsiError(
            f"hole {hole} residual_stub = {show(residual, 'length')}: must be below the stub, "
            f"{shape.distance}" + (f", and not below what stays: {shape.kept_by}." if shape.kept_by else ".")
        )
    bore = bore_of(drill.drill, shape.padstack, drill.fill_dk)
    check_bore(bore, shape.padstack, case.around, f"hole {hole} depth drill")
    return Case(shape, residual, case.around, bore)


def _stub(hole: str, case: Case, choice: ModelChoice) -> HoleStub:
    """A stub of a hole as an object; an error where a value is unknown that its model needs."""
    models, shape = choice.models([case]), case.shape
    if ANTIPAD_UNKNOWN in models.provenance[0].assumptions:
        raise UnknownValueError(f"hole {hole}: antipad of padstack {shape.padstack.name} is unknown: give antipad.")
    if DK_UNKNOWN in models.provenance[0].assumptions:
        unknown = unknown_dielectrics(shape.stackup).values()
        raise UnknownValueError(f"hole {hole}: {'; '.join(map(DK_OPEN.format, unknown))}.")
    if models.unknown_loss[0]:
        raise UnknownValueError(f"hole {hole}: {models.unknown_loss[0]}")
    distance = shape.distance
    if case.length_si < shape.stub_length_si:
        distance = Distance(length=InSI(case.length_si), between=shape.between.ending_at(EndKind.PLATING_END))
    return HoleStub(
        side=shape.side, distance=distance, provenance=models.provenance[0], case=case, model=choice, models=models
    )


def _through(inputs: BarrelInputs) -> Callable[[FloatArray], ComplexArray]:
    """Chain matrix over frequency [Hz] of the barrel between the outermost layers in use."""
    stackup, padstack, span, around, choice = inputs
    if span.upper_in_use == span.lower_in_use:
        return _no_barrel
    if choice.uniform:
        return uniform_through(stackup, padstack, span)
    barrel = through_of(stackup, padstack, span, around.pitch)
    return _no_barrel if barrel is None else solved_through(barrel, around)


def _no_barrel(frequency: FloatArray) -> ComplexArray:
    return np.broadcast_to(np.eye(2, dtype=complex), (len(frequency), 2, 2))


def _inputs(stub: HoleStub | None) -> Inputs:
    """Voltage and current into one stub, as ``TwoStubs`` takes them; where there is none, no current."""

    def inputs(rows: IndexArray, frequency: FloatArray) -> tuple[ComplexArray, ComplexArray]:
        if stub is None:
            return np.ones(frequency.shape, dtype=complex), np.zeros(frequency.shape, dtype=complex)
        voltage, current = stub.input_si(frequency.ravel())
        return voltage.reshape(frequency.shape), current.reshape(frequency.shape)

    return inputs


def _shunt(stub: HoleStub, frequency: FloatArray) -> ComplexArray:
    voltage, current = stub.input_si(frequency)
    one, none = np.ones_like(voltage), np.zeros_like(voltage)
    return np.stack([one, none, current / voltage, one], axis=-1).reshape(-1, 2, 2)
