"""Owns the making of a plan: from a board, rules and costs to the drill groups with their proof."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.board.board import Board
from stubsi.checks import checked, one_of
from stubsi.drilling.best_effort import best_effort
from stubsi.drilling.budget_end import BUDGET_AT
from stubsi.drilling.costs import FEWEST_GROUPS, Costs
from stubsi.drilling.drill_group import Refused
from stubsi.drilling.goal import checked_goal
from stubsi.drilling.grouping import certificate_of, group_stubs, groups_of
from stubsi.drilling.kept_nets import limits_with_clearances
from stubsi.drilling.largest_margin import MarginSearch
from stubsi.drilling.limits import Limits
from stubsi.drilling.miss import MISSED_NETS
from stubsi.drilling.needs import needs_of
from stubsi.drilling.obstacles import beside_other_side
from stubsi.drilling.plan import Plan
from stubsi.drilling.rules import FabricatorRules
from stubsi.drilling.side_view import check_layers
from stubsi.margin.ranking import rank
from stubsi.stubs.model_choice import ModelChoice
from stubsi.units import one_number

if TYPE_CHECKING:
    from stubsi.drilling.budget_end import BudgetAt
    from stubsi.drilling.goal import Goal, GoalName
    from stubsi.drilling.grouping import Grouping
    from stubsi.drilling.miss import MissedNets
    from stubsi.drilling.needs import Needs
    from stubsi.stubs.model_choice import ModelName
    from stubsi.units import Dimensioned


def plan(
    board: Board,
    rules: FabricatorRules,
    *,
    costs: Costs | None = None,
    model: ModelName = "solved",
    dk_eff: float | None = None,
    delay: Dimensioned | None = None,
    goal: GoalName = "least cost",
    most_groups: int | None = None,
    missed_nets: MissedNets = "best effort",
    budget_at: BudgetAt = "worst",
    time_limit: float = 60.0,
) -> Plan:
    """Plan the depth drilling of a board: the fewest drill groups that bring every net to its criterion.

    Parameters
    ----------
    board : Board
        The board.
    rules : FabricatorRules
        Rules of the fabricator.
    costs : Costs, optional
        What is paid for sides, set-ups, groups and holes. Without costs each group costs 1 and all else nothing.
    model, dk_eff, delay
        Electrical model of the stubs, as in ``rank``.
    goal : {"least cost", "fewest groups", "largest margin"}
        "least cost": the cheapest plan; without costs the one with the fewest groups, then with the fewest hits.
        "fewest groups": the one with the fewest groups, whatever they cost; of those the cheapest. "largest margin":
        the one whose smallest worst-case margin over limit is the largest with at most ``most_groups`` groups; every
        drilled stub has at least the margin that is found so, or the best that it can have.
    most_groups : int, optional
        Greatest number of drill groups, for the largest margin and only for it.
    missed_nets : {"best effort", "leave", "stub by stub"}
        What is done to nets that miss their criterion whatever is drilled. "best effort": they are drilled as deep as
        the rules allow, where that helps and makes no figure of a stub worse, but only with groups that other nets
        need; the legs of a pair together. "leave": they are not drilled. "stub by stub": every stub that can keep its
        budget is drilled, whatever becomes of the others.
    budget_at : {"worst", "nominal"}
        At which depth a drilled stub must keep its budget: at the tolerance that leaves the longest stub, or at the
        nominal depth. What must not be cut is kept at worst tolerance in any case. The plan states which was taken.
    time_limit : float
        Time limit of each run of the solver [s]. The solver runs, up to five times, only where stubs must be decided
        together: limits for the sum of losses, or holes drilled from both sides.

    Returns
    -------
    Plan
        The plan, with its proof.

    Raises
    ------
    BoardError
        The rules name a layer that the board does not have.
    UnitError, StubsiError
        So few groups cannot serve all stubs.
        An argument is of the wrong type, a value is out of range, the model or the goal is unknown, or the solver
        finds no plan within ``time_limit``.

    Notes
    -----
    A stub is drilled if it is longer than its criterion permits. If a net has a loss criterion and several stubs, as
    many of them are drilled as the limit for the sum needs. A hole with two stubs counts as a whole: a net that meets
    its criterion so stays undrilled, and in another one each of the two stubs gets half of what the criterion allows on
    loss, because together they lose up to twice the sum. A net with a stub that cannot be brought to its budget
    misses its criterion whatever is drilled; ``missed_nets`` says what is done to it. Waived nets stay as they are. The
    computed figures decide. Where an input is unknown, the figures have a range, and its unfavourable end decides. The
    error of the model does not count here: nets that depend on it are marginal in ``Plan.consequences``.

    The drills need wider clearances in every hole of their padstacks. Nets with stubs that stay undrilled are judged
    again with these, and those that then fall short are planned too. This is done once. Where the board has no room for
    the clearances, ``Plan.no_room`` says why.
    """
    checked(board, "board", Board)
    checked(rules, "rules", FabricatorRules)
    costs = FEWEST_GROUPS if costs is None else checked(costs, "costs", Costs)
    wanted = checked_goal(goal, most_groups)
    one_of(missed_nets, "missed_nets", MISSED_NETS)
    one_of(budget_at, "budget_at", BUDGET_AT)
    check_layers(board.stackup, rules)
    seconds, model_choice = one_number(time_limit, "time_limit"), ModelChoice.of(model, dk_eff, delay)
    ranking = rank(board, model=model, dk_eff=dk_eff, delay=delay)
    limits = Limits(ranking, model_choice, rules, budget_at=budget_at)
    made = _made(limits, costs, wanted, missed_nets, seconds)
    again = limits_with_clearances(made)
    return made if again is None else _made(again, costs, wanted, missed_nets, seconds)


def _made(limits: Limits, costs: Costs, wanted: Goal, missed_nets: MissedNets, seconds: float) -> Plan:
    """The plan under some limits."""
    rules = limits.rules
    needs = needs_of(limits, rules)
    task = needs.task if missed_nets == "stub by stub" else needs.task_of_other_nets()
    reached = None if wanted.most_groups is None else MarginSearch(task, costs, seconds).reached(wanted.most_groups)
    grouping = group_stubs(task, costs, seconds, wanted) if reached is None else reached.grouping
    certificate = certificate_of(task if reached is None else reached.task, grouping)
    if missed_nets == "best effort":
        grouping = grouping.with_best_effort(best_effort(needs, task, grouping.cover.groups, limits))
    refused, left_out = (needs.refused, ()) if missed_nets == "stub by stub" else _not_drilled(needs, grouping)
    return Plan(
        board=limits.board, rules=rules, costs=costs, model=limits.model, missed_nets=missed_nets, goal=wanted,
        groups=groups_of(task, grouping), refused=refused, left_out=left_out, undrilled=needs.undrilled,
        undecided=needs.undecided, certificate=certificate, cost_gap=grouping.cover.gap,
        margin_gap=None if reached is None else reached.gap, task=task, limits=limits,
    )  # fmt: skip


def _not_drilled(needs: Needs, grouping: Grouping) -> tuple[tuple[Refused, ...], tuple[tuple[str, str, str], ...]]:
    """Stubs that are refused, and those that are left out because of them, as (net, hole, side).

    Where the refused stub of a hole is drilled after all, because a group happens to be open for it, the other stub of
    that hole is the one that cannot be drilled beside it.
    """
    drilled = {(stub.hole.name, stub.window.side) for stub in grouping.group_of}
    refused = [each for each in needs.refused if (each.hole.name, each.side) not in drilled]
    told = {each.net for each in refused} | {stub.net for stub in grouping.misses}
    left_out: list[tuple[str, str, str]] = []
    for stub in needs.drillable_in_vain:
        hole, side = stub.hole.name, stub.window.side
        other_side = "top" if side == "bottom" else "bottom"
        if (hole, side) in drilled:
            continue
        if stub.net not in told and (hole, other_side) in drilled:
            refused.append(Refused(stub.net, stub.hole, side, stub.window, (beside_other_side(other_side),)))
        else:
            left_out.append((stub.net, hole, side))
    return tuple(sorted(refused, key=lambda each: (each.net, each.hole.name, each.side))), tuple(sorted(left_out))
