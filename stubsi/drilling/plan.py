"""Owns the drilling plan and all that can be asked of it: consequences, findings, changes, trades, schedules."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from stubsi.board.board import Board
from stubsi.checks import checked
from stubsi.drilling.consequences import Consequences, consequences_of, net_margins
from stubsi.drilling.decisions import Decisions
from stubsi.drilling.digest import Match, compare, digest, parts_of
from stubsi.drilling.drilled_hole import drilled_hole
from stubsi.drilling.effects import Effects, effects_of
from stubsi.drilling.explanation import explanation_of
from stubsi.drilling.group_trade import GroupTrade, group_trade_of
from stubsi.drilling.near_holes import NearHoles, near_holes_of
from stubsi.drilling.plan_summary import summary_of
from stubsi.drilling.questions import Questions, questions_of
from stubsi.drilling.reroute import Reroutes, reroutes_of
from stubsi.drilling.rules import FabricatorRules
from stubsi.drilling.shallower_change import ShallowerChanges, shallower_changes_of
from stubsi.read_only import ReadOnlyMapping
from stubsi.units import one_number

if TYPE_CHECKING:
    from collections.abc import Mapping

    from stubsi.drilling.drilled_hole import State
    from stubsi.stubs.hole_model import HoleModel


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class Plan(Decisions):
    """What to drill, from where and how deep. Make one with ``plan``.

    Two plans are equal if they were made from equal inputs and decide the same.

    Parameters
    ----------
    board : Board
        The board.
    rules : FabricatorRules
        Rules of the fabricator.
    costs : Costs
        What the user pays.
    model : ModelChoice
        Electrical model of the stubs.
    missed_nets : {"best effort", "leave", "stub by stub"}
        What is done to nets that miss their criterion whatever is drilled.
    goal : Goal
        What the plan was made for.
    groups : tuple of Group
        The drill groups, in order of side, drill and depth.
    refused : tuple of Refused
        Stubs that must be drilled and are not, because they cannot be drilled, or not deep enough to help.
    left_out : tuple of (str, str, str)
        Net, hole and side of the stubs that could keep their budget and are not drilled, because another stub of their
        net cannot.
    undrilled : mapping of net name to Undrilled
        Nets that stay undrilled, and why.
    undecided : mapping of net name to Undecided
        Nets that cannot be judged, and for each the unknown input.
    certificate : tuple of Certificate
        The proof: at least as many groups are needed as it has entries. Where the goal is the largest margin, they are
        needed for this margin.
    cost_gap : float
        How far the cost may lie above the least possible cost, as a fraction; 0 if it is proven to be the least. Where
        the goal is another one, the same for the number of groups.
    margin_gap : float or None
        How far the smallest margin may lie below the largest possible one, as a fraction; 0 if it is proven to be the
        largest. None where the goal is another one.
    task : DrillTask
        What had to be drilled.
    limits : Limits
        What the criteria allow the stubs of the board.
    """

    def consequences(self) -> Consequences:
        """Rank the board before drilling, after nominal drilling and after worst-case drilling.

        Returns
        -------
        Consequences
            Every net before and after drilling.
        """
        return self._consequences

    @cached_property
    def _consequences(self) -> Consequences:
        return consequences_of(self)

    def hole_model(self, hole: str, state: State) -> HoleModel:
        """One hole as drawn or after drilling, as in ``stubsi.hole_model``: its stubs with their figures, its two-port.

        Parameters
        ----------
        hole : str
            Name of a hole of a signal net.
        state : {"drawn", "nominal", "worst"}
            Before drilling, after nominal drilling, or at the tolerance that leaves the longest stubs.

        Returns
        -------
        HoleModel
            After drilling: cut where the plan cuts it, with the clearances that the drills need, as in
            ``consequences``. A hole that is not drilled is the same in every state, up to the clearances.

        Raises
        ------
        UnknownNameError
            No hole of that name among the signal nets.
        BoardError
            An unknown state.
        UnknownValueError
            A value that the model needs is not known. The hole then has no single two-port.
        """
        return drilled_hole(self, hole, state)

    def effects(self) -> Effects:
        """What the wider drill does to the padstacks of the board: clearances, pads, mask openings.

        Returns
        -------
        Effects
            Every effect, by padstack and side.

        Notes
        -----
        A drill passes every copper layer between the drilled face and its must-not-cut layer. Copper of other nets on
        signal layers is not known to the board and is not checked.
        """
        return effects_of(self)

    def near_holes(self) -> NearHoles:
        """Holes that the depth drills come nearer to than the rule permits, or perhaps do.

        Returns
        -------
        NearHoles
            Names and distances, the nearest first.

        Notes
        -----
        A stub whose drill would touch the barrel of another hole is refused.
        """
        return near_holes_of(self)

    def questions(self) -> Questions:
        """What to ask the fabricator and the designer: every unknown input, with the verdicts that it can change.

        Returns
        -------
        Questions
            The question that can change the most verdicts first.
        """
        return questions_of(self)

    def reroutes(self) -> Reroutes:
        """Which nets hold a drill group open, where they could move, and what the best moves save.

        Returns
        -------
        Reroutes
            What holds every group open, and the best moves.
        """
        return reroutes_of(self)

    def shallower_changes(self, net: str, *, weights: Mapping[str, float] | None = None) -> ShallowerChanges:
        """Find the smallest single change of each kind after which a net is drilled less deep, or not at all.

        Parameters
        ----------
        net : str
            Name of a signal net.
        weights : mapping of kind to float, optional
            What a unit of each kind costs, as in ``undrilled_changes``: the cheapest change comes first, and a kind
            without weight is not tried. Without weights the order is that of the kinds.

        Returns
        -------
        ShallowerChanges
            Each change comes with a board of its own; the plan and its board stay as they are.

        Raises
        ------
        BoardError
            No such signal net, or an unknown kind.
        UnitError, StubsiError
            A weight is no number or negative.

        Notes
        -----
        A group of the plan is shallower if its end lies before the deepest one that the net needs of the plan now; a
        group that is not in the plan, if its drill passes fewer copper layers than the net needs now. Where the net
        misses its criterion now, every group with which it meets it counts. The computed figures decide as in the plan,
        with the clearances as drawn; nets of ``judged_wider`` with the wider ones, which their changed boards then
        have. The other nets stay as the plan drills them. The changes themselves are those of ``undrilled_changes``.

        Examples
        --------
        >>> import stubsi
        >>> board, rules = stubsi.read_board("shared/demo_board.toml"), stubsi.read_rules("shared/demo_rules.toml")
        >>> one_net = board.replaced(nets=[board.net("BP_TX2")])
        >>> found = stubsi.plan(one_net, rules, model="uniform")
        >>> print(found.shallower_changes("BP_TX2", weights={"exit layer": 1}).to_frame()[["change", "outcome"]])
                            change                                   outcome
        0  L14 in place of L12  a shallower group of its own serves it
        1  L16 in place of L12                      it needs no drilling
        """
        return shallower_changes_of(self, net, weights)

    def group_trade(self, *, time_limit: float = 60.0) -> GroupTrade:
        """What each number of drill groups costs and which margin it leaves, for the same board, rules and costs.

        Parameters
        ----------
        time_limit : float
            Time limit of each run of the solver [s].

        Returns
        -------
        GroupTrade
            A row for each number of groups, the fewest first.

        Notes
        -----
        Each row is the plan of goal "largest margin" with so many groups: its cost, and its margins as in
        ``margins_over_limit`` and ``consequences``. Nets that miss their criterion whatever is drilled have no part in
        the margins. Which plan has the largest margin is found and proven stub by stub, before the groups are known:
        with the clearances as drawn.
        """
        return group_trade_of(self, one_number(time_limit, "time_limit"))

    def margins_over_limit(self) -> ReadOnlyMapping[str, float]:
        """Worst-case margin over limit of each net that is drilled: that of ``consequences``, of the whole net.

        Returns
        -------
        mapping of net name to float
            The figure that the criterion judges over its limit, or the limit over the figure where less is better [-]:
            1 is just met, and 100 stands for all that is larger and for no stub. At the tolerance that leaves the
            longest stubs; at nominal depth where ``budget_at`` is "nominal".

        Notes
        -----
        Stubs that the net keeps undrilled count as well, and the clearances are those that the drills need. Nets that
        miss their criterion whatever is drilled are left out.
        """
        return ReadOnlyMapping(self._margins)

    @cached_property
    def _margins(self) -> dict[str, float]:
        return net_margins(self)

    @cached_property
    def _parts(self) -> dict[str, str]:
        return self._parts_with(self.board, self.rules)

    def _parts_with(self, board: Board, rules: FabricatorRules) -> dict[str, str]:
        return parts_of(
            board, rules, self.costs, self.model, self.missed_nets, goal=self.goal, budget_at=self.budget_at
        )

    @property
    def digest(self) -> str:
        """Digest of everything from which the plan was computed."""
        return digest(self._parts)

    def matches(self, board: Board, rules: FabricatorRules) -> Match:
        """Whether the plan still holds for a board and rules.

        Parameters
        ----------
        board : Board
            The board.
        rules : FabricatorRules
            Rules of the fabricator.

        Returns
        -------
        Match
            True if nothing has changed; false, with the names of what has changed, otherwise.

        Raises
        ------
        StubsiError
            An argument is of the wrong type.
        """
        checked(board, "board", Board)
        checked(rules, "rules", FabricatorRules)
        return compare(self._parts, self._parts_with(board, rules))

    def inputs_changed(self, after: Plan) -> tuple[str, ...]:
        """What differs between the inputs of this plan and of another one. For users: ``difference``.

        Parameters
        ----------
        after : Plan
            The other plan.

        Returns
        -------
        tuple of str
            Names of the parts that differ, like "net CLK" or "rule oversize".
        """
        return compare(self._parts, checked(after, "after", Plan)._parts).changed

    def explain(self, hole: str) -> str:
        """Why a hole is drilled, refused or left undrilled: a line for each of its stubs.

        Parameters
        ----------
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
        return explanation_of(self, hole)

    def to_text(self) -> str:
        """Drill schedule as plain text.

        Returns
        -------
        str
            The schedule.
        """
        from stubsi.show.schedule import schedule_text

        return schedule_text(self)

    def to_csv(self) -> str:
        """Drill schedule as CSV, after comment lines that begin with #.

        Returns
        -------
        str
            The schedule, with apostrophes as in ``Ranking.to_csv``.
        """
        from stubsi.show.schedule import schedule_csv

        return schedule_csv(self)

    def to_markdown(self) -> str:
        """Drill schedule as Markdown.

        Returns
        -------
        str
            The schedule.
        """
        from stubsi.show.schedule import schedule_markdown

        return schedule_markdown(self)

    def holes_csv(self) -> str:
        """List of the drilled holes as CSV, after comment lines that begin with #.

        Returns
        -------
        str
            The list, with apostrophes as in ``Ranking.to_csv``.
        """
        from stubsi.show.schedule import holes_csv

        return holes_csv(self)

    def __str__(self) -> str:
        return self.to_text()

    def _repr_html_(self) -> str:
        from stubsi.show.schedule import schedule_html

        return schedule_html(self)

    def summary(self) -> str:
        """Counts and what is proven, in two lines.

        Returns
        -------
        str
            Two lines.
        """
        return summary_of(self)
