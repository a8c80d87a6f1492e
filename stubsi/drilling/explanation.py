"""Owns the explanation of a hole: for each of its stubs, why it is drilled, refused or left undrilled."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stubsi.drilling.drill_group import stub_in_words
from stubsi.errors import BoardError
from stubsi.unit_errors import as_shown
from stubsi.units import show

if TYPE_CHECKING:
    from collections.abc import Iterator

    from stubsi.board.board import Board
    from stubsi.board.net import Net
    from stubsi.drilling.drill_group import Group, Hit
    from stubsi.drilling.plan import Plan


def explanation_of(plan: Plan, hole: str) -> str:
    """Why a hole is drilled, refused or left undrilled: one line for each of its stubs.

    Parameters
    ----------
    plan : Plan
        The plan.
    hole : str
        Name of the hole.

    Returns
    -------
    str
        One line for each stub.

    Raises
    ------
    BoardError
        There is no such hole.
    """
    net = net_of_hole(plan.board, hole)
    if net.reference:
        return f"{hole}, not drilled: hole of the reference net {net.name}, no stub of a signal"
    lines = "\n".join(f"{hole} from the {side}, {text}" for side, text in _stubs(plan, net, hole))
    return lines or f"{hole}, not drilled: no stub"


def net_of_hole(board: Board, hole: str) -> Net:
    """Net that a hole of a board belongs to.

    Parameters
    ----------
    board : Board
        The board.
    hole : str
        Name of the hole.

    Returns
    -------
    Net
        Its net.

    Raises
    ------
    BoardError
        There is no such hole.
    """
    for net in board.nets if isinstance(hole, str) else ():
        if any(each.name == hole for each in net.holes):
            return net
        if net.name == hole:
            holes = ", ".join(each.name for each in net.holes)
            raise BoardError(f"hole {as_shown(hole)}: is a net; its holes are {holes}.")
    raise BoardError(f"hole {as_shown(hole)}: no such hole on the board.")


def _stubs(plan: Plan, net: Net, hole: str) -> Iterator[tuple[str, str]]:
    """For every stub of a hole: its side, and in words what is done to it and why."""
    refused = {each.side: each for each in plan.refused if each.hole.name == hole}
    table = plan.limits.table
    number = next(i for i, each in enumerate(table.holes) if each.name == hole)
    for row in np.flatnonzero(table.hole == number).tolist():
        shape = table.cases[table.case[row]].shape
        side, group = shape.side, plan.group_of(hole, shape.side)
        if group:
            hit = next(hit for hit in group.hits if hit.hole.name == hole)
            yield side, _why_drilled(group, hit) + _why_in_vain(plan, hit)
        elif side in refused:
            yield side, f"refused: {refused[side].reason}"
        else:
            yield side, f"not drilled: {_left_undrilled(plan, net, hole, side)}; {stub_in_words(shape)}"


def _why_drilled(group: Group, hit: Hit) -> str:
    """How and why a stub is drilled."""
    ends = (show(end, "length") for end in (group.end_si, hit.window.shallowest_si, hit.window.deepest_si))
    depth_text = "end of the plating {} deep, between {} and {}".format(*ends)
    other_layer = group.layer != hit.window.layer and bool(group.holders)
    layer_nets = f" (layer in use of {', '.join(group.holders)})" * other_layer
    both_sides = ", chosen together with the other side so that enough of the barrel stays plated" * (
        hit.coupled and not hit.losses
    )
    return f"group {group.number}, must not cut {group.layer}{layer_nets}: {hit.why}; {depth_text}{both_sides}"


def _why_in_vain(plan: Plan, hit: Hit) -> str:
    """That another stub of its net misses its budget; empty where none does."""
    if any(refused.net == hit.net for refused in plan.refused):
        return "; in vain, because another stub of its net is refused"
    others = any(other.net == hit.net and other is not hit for other in plan.missed)
    return "; in vain, because another stub of its net misses its budget" if others and not hit.miss else ""


def _left_undrilled(plan: Plan, net: Net, hole: str, side: str) -> str:
    """Why a stub that is not refused stays undrilled."""
    if net.name in plan.undrilled:
        return str(plan.undrilled[net.name])
    if (net.name, hole, side) in plan.left_out:
        return "left as it is, because another stub of its net cannot keep its budget"
    if net.name in plan.undecided:
        return f"undecided: {plan.undecided[net.name]}"
    for couple in plan.task.coupled:
        stubs = {(stub.hole.name, stub.window.side) for stub in couple.stubs}
        if (hole, side) in stubs:
            other_hit = next(hit for hit in plan.hits if (hit.hole.name, hit.side) in stubs)
            return f"drilling others of its net is enough: {other_hit.losses}"
    return f"short enough as it is: {plan.board.criterion_of(net)}"
