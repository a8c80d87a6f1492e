"""Owns the board as built and drilled: what the drills of a plan leave in it, and the figures of its nets."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

import numpy as np

from stubsi.board.criterion import Measure
from stubsi.drilling.depth_tolerance import DepthTolerance
from stubsi.drilling.drilled_hole import drilled_case
from stubsi.drilling.effects import widened
from stubsi.drilling.side_view import side_view
from stubsi.drilling.window import inner_cone
from stubsi.errors import BoardError
from stubsi.margin.figures import net_figures
from stubsi.margin.verdict import measured
from stubsi.stubs.cases import NO_CASE, stub_table
from stubsi.tolerance.built_board import built_board
from stubsi.tolerance.built_figures import judged_as_built
from stubsi.tolerance.tolerance import quantile

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from stubsi.board.board import Board
    from stubsi.board.stackup import Stackup
    from stubsi.drilling.drill_group import Hit
    from stubsi.drilling.plan import Plan
    from stubsi.stubs.cases import StubTable
    from stubsi.stubs.models import Models
    from stubsi.tolerance.tolerances import Factor, Tolerances

    Floats: TypeAlias = NDArray[np.float64]

ROUNDING = 1e-12
"""Lengths [m] that differ by no more than this count as equal."""
SHORTEST = 2e-5
"""A shorter piece of plating [m] is reckoned as one of this length: its notch lies beyond any that matters."""
RULES_THICKNESS = "thickness drilled through"
"""The factor that stands for the thickness tolerance of the rules, where the tolerances state none."""


class Residual(NamedTuple):
    """Plating that is left of one drilled stub [m]: a constant, a part for each factor of the board, and the depth.

    Parameters
    ----------
    constant : float
        At the middle of all limits, with the drill as deep as it is aimed at.
    slopes : ndarray
        Change from the middle to the upper limit of every factor of the board.
    shallower, deeper : float
        How much more, and how much less, is left because of the depth of the drill.
    cone : float
        With less than this the tip of the drill cuts the layer in use.
    """

    constant: float
    slopes: Floats
    shallower: float
    deeper: float
    cone: float

    def at(self, t: Floats, d: Floats | float) -> Floats:
        """Plating [m] at some points of the factors; d: -1 is the deepest drill, +1 the shallowest one."""
        half, middle = (self.shallower + self.deeper) / 2, (self.shallower - self.deeper) / 2
        return np.asarray(self.constant + t @ self.slopes + middle + np.asarray(d) * half)

    @property
    def limits(self) -> tuple[float, float]:
        """Least and most plating [m] at the limits of all tolerances."""
        reach = float(np.abs(self.slopes).sum())
        return self.constant - reach - self.deeper, self.constant + reach + self.shallower

    @property
    def may_cut(self) -> bool:
        """Whether the layer in use may be cut within the limits of all tolerances."""
        return self.limits[0] < self.cone - ROUNDING


class DrilledBoards:
    """Boards of a plan as built and drilled.

    Parameters
    ----------
    plan : Plan
    tolerances : Tolerances
    """

    def __init__(self, plan: Plan, tolerances: Tolerances) -> None:
        self.plan, self.tolerances = plan, tolerances
        self.board = widened(plan)
        factors = tolerances.factors(self.board)
        self.shared: tuple[Factor, ...] = tuple([factor for factor in factors if not factor.per_hole])
        self.own: tuple[Factor, ...] = tuple([factor for factor in factors if factor.per_hole])
        depth = plan.rules.tolerance
        thick = tolerances.dielectric_thickness or tolerances.board_thickness is not None
        self.from_rules = (
            isinstance(depth, DepthTolerance) and not thick and depth.thickness_plus + depth.thickness_minus > 0
        )
        """Whether the thickness tolerance of the rules is one more factor of the board."""
        self.table = stub_table(self.board, with_surroundings=not plan.model.uniform)
        self.rows = np.flatnonzero(self.table.case != NO_CASE)
        """Rows of the stubs in the table of stubs."""
        hits = {(hit.hole.name, hit.side): hit for hit in plan.hits}
        self.hit_of: dict[int, Hit] = {
            row: hits[key]
            for row in self.rows.tolist()
            if (key := (self.table.holes[self.table.hole[row]].name, self._side(row))) in hits
        }
        """The hit of each row that is drilled."""
        middle = np.zeros(self.count)
        self._stackups = [self._stackup(t) for t in (middle, *np.eye(self.count)[: len(self.shared)])]
        self._made: dict[tuple[object, ...], Residual] = {}
        self.residual_of = self._residuals()

    def _side(self, row: int) -> str:
        return self.table.cases[int(self.table.case[row])].shape.side

    @property
    def count(self) -> int:
        """How many factors there are beside the depth of the drill."""
        return self.count_shared + len(self.own)

    @property
    def count_shared(self) -> int:
        """How many of them all the board shares; they come first."""
        return len(self.shared) + self.from_rules

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the factors."""
        shared, own = ([factor.name for factor in factors] for factors in (self.shared, self.own))
        return (*shared, *(RULES_THICKNESS,) * self.from_rules, *own)

    def quantiles(self, unit: Floats) -> Floats:
        """Coordinates of the factors for probabilities; shape (points, factors). The thickness of rules is uniform."""
        laws = [(factor.tolerance.distribution, factor.tolerance.sigma) for factor in (*self.shared, *self.own)]
        laws[len(self.shared) : len(self.shared)] = [("uniform", None)] * self.from_rules
        columns = [quantile(*law, unit[:, number]) for number, law in enumerate(laws)]
        return np.column_stack(columns) if columns else np.empty((len(unit), 0))

    @property
    def nominal_t(self) -> Floats:
        """Coordinates of the values as drawn."""
        nominal = [factor.tolerance.nominal_t for factor in self.shared]
        if self.from_rules:
            depth = self.plan.rules.tolerance
            assert isinstance(depth, DepthTolerance)
            nominal.append(
                (depth.thickness_minus - depth.thickness_plus) / (depth.thickness_minus + depth.thickness_plus)
            )
        nominal += [factor.tolerance.nominal_t for factor in self.own]
        return np.array(nominal, dtype=np.float64)

    def at(self, t: Floats, d: float) -> tuple[Floats, Floats]:
        """Figures of a board: every hole deviates alike, its drill by the coordinate d.

        Parameters
        ----------
        t : ndarray
            Coordinates of the factors of the board.
        d : float

        Returns
        -------
        notch : ndarray
            First notch [Hz] of the stub of each of ``rows``.
        judged : ndarray
            The figure that the criterion of each net looks at.

        Raises
        ------
        BoardError
            Such a board cannot be built, or has other stubs than the one that was drawn.
        """
        built, table, models = self._drilled(t, d)
        figures = net_figures(built, table, models, np.where(self.by_notch[table.net], NO_CASE, table.case))
        criteria = [built.criterion_of(net) for net in built.signal_nets]
        low = {criterion: measured(criterion, figures).low for criterion in set(criteria)}
        high = {criterion: measured(criterion, figures).high for criterion in set(criteria)}
        judged = [(low if each.least else high)[each][net] for net, each in enumerate(criteria)]
        notch = np.asarray(models.first_notch[0][table.case[self.rows]])
        lowest = np.full(len(criteria), np.inf)
        with np.errstate(invalid="ignore"):  # NaN: of a stub about which something is unknown
            np.minimum.at(lowest, table.net[self.rows], notch)
        return notch, np.where(self.by_notch, lowest / built.nyquist_si, judged)

    def with_model_error(self, t: Floats, d: float) -> tuple[Floats, Floats]:
        """Worst and best judged figure of every net on a board, with the model as far off as it declares.

        Parameters
        ----------
        t : ndarray
        d : float
            As for ``at``.

        Returns
        -------
        worst, best : ndarray
        """
        built, table, models = self._drilled(t, d)
        _, judged = judged_as_built(built, self.tolerances, self.plan.model, table, models)
        return judged.worst, judged.best

    def _drilled(self, t: Floats, d: float) -> tuple[Board, StubTable, Models]:
        """A board as built, its stubs as drilled, and their models."""
        built = built_board(self.board, self.tolerances, self._by_factor(t))
        table = stub_table(built, with_surroundings=not self.plan.model.uniform)
        if not np.array_equal(table.hole, self.table.hole):
            raise BoardError("tolerances: a stub vanishes within them; make them narrower.")
        cases, chosen = list(table.cases), table.case.copy()
        for row, residual in self.residual_of.items():
            left = max(float(residual.at(t, d)), SHORTEST)
            drilled = drilled_case(self.plan, table.cases[int(table.case[row])], left)
            assert drilled is not None  # some plating is left
            chosen[row] = len(cases)
            cases.append(drilled)
        distinct = dict.fromkeys(cases[number] for number in chosen[chosen != NO_CASE].tolist())
        number_of = {case: number for number, case in enumerate(distinct)}
        numbers = np.array([number_of.get(case, NO_CASE) for case in cases] + [NO_CASE])[chosen]
        models = self.plan.model.models(tuple(distinct))
        return built, replace(table, cases=tuple(distinct), case=numbers, least=numbers), models

    @cached_property
    def by_notch(self) -> NDArray[np.bool_]:
        """Which nets are judged by their notch, so that each of their holes counts for itself."""
        criteria = [self.board.criterion_of(net) for net in self.board.signal_nets]
        return np.array([criterion.measure is Measure.NOTCH_RATIO for criterion in criteria], dtype=bool)

    def _by_factor(self, t: Floats) -> dict[tuple[str, str], float]:
        of_own = t[self.count_shared :]
        pairs = (*zip(self.shared, t, strict=False), *zip(self.own, of_own, strict=True))
        return {(each.quantity, each.material): float(value) for each, value in pairs}

    def _residuals(self) -> dict[int, Residual]:
        found = {}
        for row, hit in self.hit_of.items():
            group = self.plan.group_of(hit.hole.name, hit.side)
            assert group is not None  # it is a hit of the plan
            found[row] = self.residual_at(row, group.end_si)
        return found

    def residual_at(self, row: int, end: float) -> Residual:
        """Plating that a drill leaves of a stub.

        Parameters
        ----------
        row : int
            Of a stub that the plan drills.
        end : float
            Where its drill aims [m].

        Returns
        -------
        Residual
        """
        hit = self.hit_of[row]
        key = (hit.window, end)
        if key not in self._made:
            self._made[key] = self._residual(hit, end, self._stackups)
        return self._made[key]

    def _stackup(self, t: Floats) -> Stackup:
        """The stackup as built; the padstacks do not matter here."""
        thick: Mapping[tuple[str, str], float] = {
            key: value for key, value in self._by_factor(t).items() if key[0].endswith("thickness")
        }
        return built_board(self.board, self.tolerances, thick).stackup

    def _residual(self, hit: Hit, end: float, stackups: list[Stackup]) -> Residual:
        """The residual stub of a hit, linear in the factors: from boards with one factor moved at a time."""
        window, depth = hit.window, self.plan.rules.tolerance
        left = [self._left(hit, end, stackup) for stackup in stackups]
        slopes = [each - left[0] for each in left[1:]]
        constant = left[0]
        if self.from_rules and isinstance(depth, DepthTolerance):
            measured_end = end + max(window.leads_si)
            changing = window.face_si - (measured_end if depth.reference == "measured thickness" else window.sensed_si)
            constant += (depth.thickness_plus - depth.thickness_minus) / 2 * changing
            slopes.append((depth.thickness_plus + depth.thickness_minus) / 2 * changing)
        shallower, deeper = depth.depth_limits_si
        cone = max(inner_cone(window.shape, case) for case in self.plan.rules.cases())
        slopes += [0.0] * len(self.own)
        return Residual(constant, np.array(slopes, dtype=np.float64), shallower, deeper, cone)

    def _left(self, hit: Hit, end: float, built: Stackup) -> float:
        """Plating [m] before the layer in use of a stackup as built, with the drill as deep as it is aimed at."""
        window, depth = hit.window, self.plan.rules.tolerance
        if not isinstance(depth, DepthTolerance):  # guaranteed, whatever the thickness
            return window.face_si - end
        view = side_view(built, self.plan.rules, hit.side)
        face = view.near_face(window.layer)
        if depth.reference == "measured thickness":
            lead, scale = max(window.leads_si), built.edges_si[-1] / self.board.stackup.edges_si[-1]
            return face - ((end + lead) * scale - lead)
        return face - view.sensed - (end - window.sensed_si)
