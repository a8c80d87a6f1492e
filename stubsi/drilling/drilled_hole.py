"""Owns the stubs and holes of a plan after drilling: what the drill leaves of a stub, and the model of such a hole."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, TypeAlias

from stubsi.checks import checked, one_of
from stubsi.drilling.effects import widened
from stubsi.drilling.stub_use import cut
from stubsi.stubs.hole_model import hole_with_stubs

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stubsi.drilling.decisions import Decisions
    from stubsi.drilling.window import PlatingLeft
    from stubsi.stubs.cases import Case
    from stubsi.stubs.hole_model import HoleModel

State: TypeAlias = Literal["drawn", "nominal", "worst"]
"""A hole as drawn, after nominal drilling, or after drilling at worst tolerance."""
STATES: tuple[State, ...] = ("drawn", "nominal", "worst")


def plating_left(left: PlatingLeft, state: State) -> float:
    """Plating that a drill leaves of a stub.

    Parameters
    ----------
    left : PlatingLeft
        What it leaves over all tolerances.
    state : {"nominal", "worst"}
        After nominal drilling, or at the tolerance that leaves most.

    Returns
    -------
    float
        Length [m]; 0 where it reaches the layer in use.
    """
    return max(0.0, left.nominal_si if state == "nominal" else left.most_si)


def drilled_case(plan: Decisions, case: Case, length: float) -> Case | None:
    """A stub after the depth drill of a plan.

    Parameters
    ----------
    plan : Decisions
        Its rules give the bore: its width and its filling.
    case : Case
        The stub as drawn.
    length : float
        Plating that the drill leaves [m]. Where more than that must stay, all of that stays.

    Returns
    -------
    Case or None
        None where nothing is left.
    """
    left = max(length, case.shape.least_length_si)
    return cut(case, left, plan.rules.bore(case.shape.padstack.drill_si)) if left > 0 else None


def drilled_hole(plan: Decisions, hole: str, state: State) -> HoleModel:
    """Model of a hole of a plan as drawn, or after drilling.

    Parameters
    ----------
    plan : Decisions
        The plan.
    hole : str
        Name of a hole of a signal net.
    state : {"drawn", "nominal", "worst"}
        Before drilling, after nominal drilling, or at the tolerance that leaves the longest stubs.

    Returns
    -------
    HoleModel
        With the clearances that the drills need, if it is drilled.

    Raises
    ------
    StubsiError
        There is no such hole or state, or the model needs an unknown value.
    """
    one_of(state, "state", STATES)
    board = plan.board if state == "drawn" else widened(plan)
    left_of = {hit.side: hit.left for hit in plan.hits if hit.hole.name == checked(hole, "hole")}

    def after(stubs: Sequence[Case]) -> list[Case]:
        if state == "drawn":
            return list(stubs)
        drilled = [
            drilled_case(plan, case, plating_left(left_of[case.shape.side], state))
            if case.shape.side in left_of
            else case
            for case in stubs
        ]
        return [case for case in drilled if case is not None]

    return hole_with_stubs(board, hole, plan.model, after)
