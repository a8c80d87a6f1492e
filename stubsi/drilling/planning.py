"""Owns the call that makes a plan: its arguments, checked, and what is done with them."""

from __future__ import annotations

from dataclasses import fields
from typing import TYPE_CHECKING

from stubsi.board.board import Board
from stubsi.checks import checked, one_of
from stubsi.drilling.budget_end import BUDGET_AT
from stubsi.drilling.costs import FEWEST_GROUPS, Costs
from stubsi.drilling.deciding import Deciding
from stubsi.drilling.goal import checked_goal
from stubsi.drilling.limits import Limits
from stubsi.drilling.miss import MISSED_NETS
from stubsi.drilling.plan import Plan
from stubsi.drilling.rules import FabricatorRules
from stubsi.drilling.side_view import check_layers
from stubsi.margin.ranking import rank
from stubsi.stubs.model_choice import ModelChoice
from stubsi.units import one_number

if TYPE_CHECKING:
    from stubsi.drilling.budget_end import BudgetAt
    from stubsi.drilling.goal import GoalName
    from stubsi.drilling.miss import MissedNets
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
        the one whose smallest worst-case margin over limit is the largest with at most ``most_groups`` groups, of the
        drilled stubs, each by itself with the clearances as drawn; every one of them has at least the margin that is
        found so, or the best that it can have.
    most_groups : int, optional
        Greatest number of drill groups, for the largest margin and only for it.
    missed_nets : {"best effort", "leave", "stub by stub"}
        What is done to nets that miss their criterion whatever is drilled. "best effort": they are drilled as deep as
        the rules allow, where that helps and makes no figure of a stub worse, but only with groups that other nets
        need; the legs of a pair together. "leave": they are not drilled. "stub by stub": every stub that can keep its
        budget is drilled, whatever becomes of the others.
    budget_at : {"worst", "nominal"}
        At which depth a drilled stub must keep its budget: at the tolerance that leaves the longest stub, or at the
        nominal depth. What must not be cut is kept at worst tolerance in any case. The plan states which was taken. An
        unknown input or rule has no nominal value: the unfavourable end of its range decides either way.
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

    Examples
    --------
    >>> from stubsi import read_board, read_rules
    >>> board, rules = read_board("shared/demo_board.toml"), read_rules("shared/demo_rules.toml")
    >>> plan(board, rules, model="uniform")  # a first look; with solved stubs it takes some twenty seconds
    <Plan: 7 drill groups, 86 hits, 26 stubs refused, 0 nets undecided>
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
    made = Deciding(limits, costs, missed_nets, seconds).final(wanted)
    return Plan(**{each.name: getattr(made, each.name) for each in fields(made)})
