"""Owns the nets with stubs that a plan does not drill, judged again with the clearances that its drills need.

A depth drill is wider than the barrel, so planes keep further away from it, in every hole of its padstack. In a hole
that stays undrilled that can lower the first notch a little.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING

from stubsi.board.criterion import Measure
from stubsi.drilling.effects import widened
from stubsi.margin.verdict import meets

if TYPE_CHECKING:
    from stubsi.board.board import Board
    from stubsi.drilling.decisions import Decisions
    from stubsi.drilling.limits import Limits


def limits_with_clearances(plan: Decisions) -> Limits | None:
    """Limits under which the nets of a plan that fall short with the clearances of its drills are planned again.

    Parameters
    ----------
    plan : Decisions
        The plan.

    Returns
    -------
    Limits or None
        None where no such net falls short, where the board has no room for the clearances, or where the plan was made
        so already: it is done once.
    """
    if plan.limits.widened is not None:
        return None
    board = widened(plan)
    some = _nets_with_kept_stubs(plan, board)
    if not some:
        return None
    alone = board.replaced(nets=tuple(net for net in board.nets if net.name in some or net.reference))
    short = _falling_short(plan, plan.limits.on(alone))
    return replace(plan.limits, widened=plan.limits.on(board), judged_wider=short) if short else None


def _nets_with_kept_stubs(plan: Decisions, board: Board) -> frozenset[str]:
    """Nets with a clearance that is widened, and with a stub that is judged and not drilled."""
    drilled = {(hit.hole.name, hit.side) for hit in plan.hits}
    given_up = {each.net for each in plan.refused} | {hit.net for hit in plan.missed} | set(plan.undecided)
    changed = {new.name for old, new in zip(plan.board.nets, board.nets, strict=True) if new is not old} - given_up
    table = plan.limits.table
    found = set()
    for row, hole in enumerate(table.hole.tolist()):
        net = plan.limits.net(row)
        kept = (table.holes[hole].name, table.cases[table.case[row]].shape.side) not in drilled
        if kept and net.name in changed and not net.waiver:
            found.add(net.name)
    return frozenset(found)


def _falling_short(plan: Decisions, limits: Limits) -> frozenset[str]:
    """Those of some nets that miss their criterion with the stubs that are kept. ``limits``: of a board of these."""
    left_of = {(hit.hole.name, hit.side): hit.left.at(plan.budget_at) for hit in plan.hits}
    drilled_nets, table = {hit.net for hit in plan.hits}, limits.table
    short = set()
    of_sums: dict[tuple[str, int], list[tuple[int, float]]] = defaultdict(list)
    for row, hole in enumerate(table.hole.tolist()):
        net, shape, drawn = limits.net(row), table.cases[table.case[row]].shape, float(table.length_si[row])
        left = left_of.get((table.holes[hole].name, shape.side))
        if net.name not in drilled_nets:
            falls_short = not limits.meets_as_drawn(row)
        elif limits.board.criterion_of(net).measure is Measure.LOSS:  # its limit is that of all stubs of a leg
            length = drawn if left is None else min(drawn, max(left, shape.least_length_si))
            of_sums[net.name, int(table.leg[row])].append((row, length))
            falls_short = False
        else:  # a stub beside drilled ones is judged by itself
            falls_short = left is None and bool(drawn > limits.longest([row])[0])
        if falls_short:
            short.add(net.name)
    for (name, _), stubs in of_sums.items():
        total = limits.losses([row for row, _ in stubs], [length for _, length in stubs]).sum()
        if not meets(limits.board.criterion_of(limits.board.net(name)), total):
            short.add(name)
    return frozenset(short)
