"""Owns the plan with the largest yield at a given number of drill groups."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.checks import checked
from stubsi.drilling.goal import Goal
from stubsi.drilling.opened_plan import opened_plan
from stubsi.drilling.plan import Plan
from stubsi.tolerance.drilled_yield import drilled_yield
from stubsi.tolerance.production_yield import check_number
from stubsi.tolerance.tasks import check_executor, check_progress
from stubsi.tolerance.tolerances import Tolerances
from stubsi.tolerance.yield_search import YieldSearch
from stubsi.tolerance.yield_trade import YieldRow

if TYPE_CHECKING:
    from collections.abc import Callable
    from concurrent.futures import Executor

MOST_GROUPS = 10_000


def largest_yield(
    plan: Plan,
    tolerances: Tolerances,
    *,
    most_groups: int,
    seed: int = 0,
    executor: Executor | None = None,
    progress: Callable[[int, int], object] | None = None,
) -> YieldRow:
    r"""The plan with the largest yield among those with at most so many drill groups.

    Parameters
    ----------
    plan : Plan
        Gives the board, the rules and the stubs that must be drilled. Make it with ``narrowed_rules``, so that its
        windows hold for all boards within the tolerances.
    tolerances : Tolerances
        What varies beside the depth of the drill.
    most_groups : int
        The greatest number of drill groups.
    seed, executor, progress
        As in ``drilled_yield``. Progress is told of the boards that are solved for the search, and then of those that
        are solved for the plan that it finds.

    Returns
    -------
    YieldRow
        The plan, its yield and its ``gap``: how much larger the yield of another plan might be, on the samples of the
        search. 0: none is.

    Raises
    ------
    StubsiError
        As in ``drilled_yield``; so few groups cannot serve all stubs.

    See Also
    --------
    yield_trade : The plan with the fewest groups, and the one with the widest margin for each number of groups.

    Notes
    -----
    The yield is that of the nets that drilling can mend (``DrilledYield.mendable``). All plans that put the stubs of
    ``plan`` into at most so many of its candidate groups are compared on the same 8,192 samples, by branch and bound.
    These groups are the deepest ends that the windows of single stubs allow, one for each window; between two of them
    no end serves a stub better than the deeper one. With more than 20,000 sets of groups to look at, the search stops,
    and ``gap`` is what it leaves open. Stubs whose groups are coupled keep those of ``plan``. The samples follow the
    surfaces that ``drilled_yield`` tells of, which then counts the yield of the plan that is found anew.
    """
    checked(plan, "plan", Plan)
    checked(tolerances, "tolerances", Tolerances)
    check_number(most_groups, "most_groups", 1, MOST_GROUPS)
    check_number(seed, "seed", 0, 2**63 - 1)
    check_executor(executor)
    check_progress(progress)
    told = progress or (lambda done, of: None)
    found = YieldSearch(plan, tolerances, seed, executor, told).best(most_groups)
    made = opened_plan(plan, found.group_of, Goal("largest yield", most_groups))
    margin = min(made.margins_over_limit().values(), default=float("inf"))
    drilled = drilled_yield(made, tolerances, seed=seed, executor=executor, progress=progress)
    return YieldRow(made, margin, drilled, found.gap)
