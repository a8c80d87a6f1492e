"""Owns one hole of a board as an electrical object: its stubs, and its two-port from entry to exit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from stubsi.board.stackup import Distance, EndKind
from stubsi.errors import StubsiError, UnknownValueError
from stubsi.physics.uniform_line import decibels, shunt_s
from stubsi.stubs.as_barrel import bore_of, through_of
from stubsi.stubs.cases import Case
from stubsi.stubs.drawn import stub_shapes
from stubsi.stubs.solved_model import check_frequency, solved_models, solved_through
from stubsi.stubs.surroundings import surroundings
from stubsi.stubs.uniform_model import uniform_models, uniform_through
from stubsi.units import quantity, show, to_si
from stubsi.value import InSI

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from stubsi.board.board import Board
    from stubsi.board.net import DepthDrill
    from stubsi.network import Network
    from stubsi.provenance import Provenance
    from stubsi.stubs.drawn import StubShape
    from stubsi.stubs.models import Models
    from stubsi.stubs.surroundings import Around

LOWEST = 1.0
"""Frequency [Hz] that stands for DC: the chain of cells is evaluated above it only."""


@dataclass(frozen=True, kw_only=True, eq=False)
class HoleStub:
    """One stub of a hole: its length as drawn, its figures, and where they come from."""

    side: str
    stub_length: Distance
    provenance: Provenance
    models: Models

    def notch_frequency(self) -> Any:
        """First notch, a quantity in GHz; where it is a range (unknown return vias), its lower and upper end."""
        low, high = self.models.notch()[:, 0]
        return quantity(low if low == high else np.array([low, high]), "frequency")

    def input_si(self, frequency: Any) -> tuple[Any, Any]:
        """Voltage and current into the stub, to a common factor, at ``frequency`` [Hz], shape (n,).

        ValidityError at frequencies where a solved stub no longer holds.
        """
        (stack,) = [s for s, owner in zip(self.models.variants, self.models.owner, strict=True) if len(owner)]
        check_frequency(frequency, stack.highest())
        return stack.input(np.zeros(len(frequency), dtype=np.intp), np.maximum(frequency, LOWEST))

    def input_admittance(self, frequency: Any) -> Any:
        """Admittance [S] into the stub at ``frequency`` (frequency), complex."""
        voltage, current = self.input_si(_hertz(frequency))
        return current / voltage

    def loss(self, frequency: Any, *, z0: Any) -> Any:
        """Insertion loss [dB] of the stub in shunt on a line of ``z0`` (impedance) at ``frequency``, positive."""
        return decibels(shunt_s(*self.input_si(_hertz(frequency)), to_si(z0, "impedance", "z0"))[1])

    def network(self, frequency: Any, *, z0: Any = "50 ohm") -> Network:
        """Two-port of the stub in shunt, a scikit-rf Network with real port impedance ``z0``."""
        from stubsi.network import shunt_network

        return shunt_network(self.input_si, frequency, z0)


@dataclass(frozen=True, kw_only=True, eq=False)
class HoleModel:
    """A hole from the outermost layer in use on top (port 1) to the one below (port 2); of a pair: odd mode, one leg.

    ``above`` and ``below``: its stubs, None where there is none.
    """

    name: str
    above: HoleStub | None
    below: HoleStub | None
    through: Callable[[Any], Any]

    @property
    def stubs(self) -> tuple[HoleStub, ...]:
        """The stubs there are, from the top."""
        return tuple(stub for stub in (self.above, self.below) if stub is not None)

    def abcd_si(self, frequency: Any) -> Any:
        """Chain matrix from port 1 to port 2 at ``frequency`` [Hz], shape (n, 2, 2): stub, barrel between, stub."""
        matrix = self.through(np.maximum(frequency, LOWEST))
        if self.above is not None:
            matrix = _shunt(self.above, frequency) @ matrix
        return matrix if self.below is None else matrix @ _shunt(self.below, frequency)

    def network(self, frequency: Any, *, z0: Any = "50 ohm") -> Network:
        """Two-port of the whole hole, a scikit-rf Network with real port impedance ``z0``.

        For a leg of a pair: the odd-mode two-port, with ``z0`` half the differential impedance.
        """
        from stubsi.network import abcd_network

        return abcd_network(lambda hz: np.moveaxis(self.abcd_si(hz), 0, -1), frequency, z0)


def hole_model(board: Board, hole: str, *, model: str = "solved", drilled: Sequence[DepthDrill] = ()) -> HoleModel:
    """Model one hole of a board.

    Parameters
    ----------
    board : Board
    hole : str
        Its name.
    model : {"solved", "uniform"}
        As ``rank``.
    drilled : sequence of DepthDrill
        Depth drills into it, one a side at most; none unless said.

    Raises
    ------
    StubsiError
        No hole of that name among the signal nets; an unknown ``model``; a depth drill where there is no stub, or
        that would leave more than there is.
    UnknownValueError
        Its return vias, or another value it needs, are not known: then it is no single two-port.
    """
    if model not in ("solved", "uniform"):
        raise StubsiError(f"model = {model!r}: must be 'solved' or 'uniform'.")
    holes = [h for net in board.signal_nets for h in net.holes]
    place = next((i for i, h in enumerate(holes) if h.name == hole), None)
    if place is None:
        raise StubsiError(f"hole '{hole}': no hole of that name in a signal net of board {board.name}.")
    found, span, around = holes[place], board.span(holes[place]), surroundings(board)[place]
    if model == "solved" and around.returns is None:
        raise UnknownValueError(f"return vias of hole {hole} are unknown: give the reference holes, with positions.")
    shapes = stub_shapes(board.stackup, found.padstack, span, found.press_fit)
    solve = solved_models if model == "solved" else uniform_models
    stubs = {case.shape.side: _stub(hole, case, solve) for case in _cases(hole, shapes, around, drilled)}
    through = _through(board, found.padstack, span, around, model)
    return HoleModel(name=hole, above=stubs.get("top"), below=stubs.get("bottom"), through=through)


def _cases(hole: str, shapes: Sequence[StubShape], around: Around, drilled: Sequence[DepthDrill]) -> list[Case]:
    """The stubs of a hole, cut short where it is drilled."""
    drills = {drill.side: drill for drill in drilled}
    if len(drills) < len(drilled) or not set(drills) <= {shape.side for shape in shapes}:
        raise StubsiError(f"hole {hole} drilled: needs one depth drill a side at most, and only where there is a stub.")
    cases = []
    for shape in shapes:
        drill = drills.get(shape.side)
        if drill is None:
            cases.append(Case(shape, shape.stub_length_si, around))
            continue
        if drill.residual_stub_si >= shape.stub_length_si or drill.residual_stub_si < shape.least_length_si:
            raise StubsiError(
                f"hole {hole} residual_stub = {show(drill.residual_stub_si, 'length')}: must be below the stub, "
                f"{shape.stub_length}" + (f", and not below what stays: {shape.kept_by}." if shape.kept_by else ".")
            )
        bore = bore_of(drill.drill, shape.padstack, drill.fill_dk)
        cases.append(Case(shape, drill.residual_stub_si, around, bore))
    return cases


def _stub(hole: str, case: Case, solve: Callable[[list[Case]], Models]) -> HoleStub:
    models, shape = solve([case]), case.shape
    if models.unknown_loss[0]:
        raise UnknownValueError(f"hole {hole}: {models.unknown_loss[0]}")
    length = shape.stub_length
    if case.length_si < shape.stub_length_si:
        length = Distance(length=InSI(case.length_si), between=shape.between.ending_at(EndKind.PLATING_END))
    return HoleStub(side=shape.side, stub_length=length, provenance=models.provenance[0], models=models)


def _through(board: Board, padstack: Any, span: Any, around: Any, model: str) -> Callable[[Any], Any]:
    if span.upper_in_use == span.lower_in_use:
        return _nothing
    if model == "uniform":
        return uniform_through(board.stackup, padstack, span)
    barrel = through_of(board.stackup, padstack, span, around.pitch)
    return _nothing if barrel is None else solved_through(barrel, around)


def _nothing(frequency: Any) -> Any:
    return np.broadcast_to(np.eye(2, dtype=complex), (len(frequency), 2, 2))


def _shunt(stub: HoleStub, frequency: Any) -> Any:
    voltage, current = stub.input_si(frequency)
    one, none = np.ones_like(voltage), np.zeros_like(voltage)
    return np.stack([one, none, current / voltage, one], axis=-1).reshape(-1, 2, 2)


def _hertz(frequency: Any) -> Any:
    return np.atleast_1d(to_si(frequency, "frequency", "frequency", rule="not negative"))
