"""Owns the yield after drilling: worst case and probability of every net of a plan, and of a layer in use being cut."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from stubsi.board.names import how_many
from stubsi.checks import checked
from stubsi.drilling.plan import Plan
from stubsi.margin.verdict import Verdict
from stubsi.tolerance.corners import Standing
from stubsi.tolerance.drilled_board import DrilledBoards
from stubsi.tolerance.drilled_study import DrilledStudy, met_at
from stubsi.tolerance.net_results import NetResults
from stubsi.tolerance.production_yield import check_number
from stubsi.tolerance.tasks import check_executor, check_progress
from stubsi.tolerance.tolerances import Tolerances

if TYPE_CHECKING:
    from collections.abc import Callable
    from concurrent.futures import Executor

    import pandas as pd

    from stubsi.board.criterion import Criterion
    from stubsi.tolerance.corners import Basis
    from stubsi.tolerance.drilled_study import Corners


@dataclass(frozen=True, kw_only=True)
class NetDrilledYield:
    """One net after drilling, over all tolerances.

    Parameters
    ----------
    net : str
        Its name.
    criterion : Criterion
        What it must meet.
    hits : int
        How often its holes are drilled.
    residual_si : three of float or None
        Least, aimed at and greatest residual stub [m] over its drilled holes; None where none is drilled.
    judged : three of float
        The figure that its criterion limits: worst, as drawn, best; in the unit of the limit. NaN where unknown.
    standing : Standing
        Whether it meets its criterion at the worst and at the best corner, by the computed figures.
    verdict : Verdict
        The same with the error that the model declares on top: "pass" if it meets its criterion at the worst corner all
        the same and no layer in use may be cut, "falls short" if it does so as drawn, with the drill as deep as it
        is aimed at, "marginal" between, "undecided" where it is not known, or "waived".
    probability : float
        Share of the boards on which it meets its criterion and none of its layers in use is cut; NaN where unknown.
    least, most : float
        The same share with the surfaces off by 1.25 times the largest error seen, to either side; 0 and 1 if unknown.
    sampling_error : float
        Standard error of the share.
    may_cut : bool
        Whether a drill may cut a layer in use of it: within the limits of the tolerances, or on a board that was drawn.
    cut_probability : float
        Share of the boards on which one does.
    surface_error : float
        Largest error of its surfaces seen on this board, as a fraction of the figure.
    """

    net: str
    criterion: Criterion
    hits: int
    residual_si: tuple[float, float, float] | None
    judged: tuple[float, float, float]
    standing: Standing
    verdict: Verdict
    probability: float
    least: float
    most: float
    sampling_error: float
    may_cut: bool
    cut_probability: float
    surface_error: float

    def __repr__(self) -> str:
        cut = ", may cut the layer in use" if self.may_cut else ""
        return f"<NetDrilledYield {self.net[:60]}: {self.probability:.4g} ({self.least:.4g} to {self.most:.4g}){cut}>"


@dataclass(frozen=True, kw_only=True, repr=False)
class DrilledYield(NetResults[NetDrilledYield]):
    """The yield of a plan. Iterate it, ask it for a net by name, print it, or take ``to_frame()`` or ``to_csv()``.

    Parameters
    ----------
    plan : Plan
        The plan.
    tolerances : Tolerances
        What varies beside the depth of the drill.
    seed : int
        Seed of the samples.
    nets : tuple of NetDrilledYield
        In the order of the board.
    probability, least, most, sampling_error : float
        As in ``NetDrilledYield``, for all nets together that are not waived; counted on the same boards.
    mendable : three of float
        Probability, least and most for the nets that the plan does not give up: those without a stub that is refused or
        misses its budget whatever is drilled.
    basis : Basis
        How the worst cases were found.
    solved : int
        How many boards were solved.
    """

    plan: Plan
    tolerances: Tolerances
    seed: int
    nets: tuple[NetDrilledYield, ...] = field(compare=False)
    probability: float = field(compare=False)
    least: float = field(compare=False)
    most: float = field(compare=False)
    sampling_error: float = field(compare=False)
    mendable: tuple[float, float, float] = field(compare=False)
    basis: Basis = field(compare=False)
    solved: int = field(compare=False)

    @property
    def may_cut(self) -> tuple[str, ...]:
        """Nets of which a drill may cut a layer in use."""
        return tuple(net.net for net in self.nets if net.may_cut)

    def to_frame(self) -> pd.DataFrame:
        """Table as a pandas DataFrame.

        Returns
        -------
        pandas.DataFrame
            A net in each row, in the order of the board; plain numbers, units in the column names.
        """
        import pandas as pd

        columns: dict[str, list[object]] = {"net": [net.net for net in self.nets]}
        columns["hits"] = [net.hits for net in self.nets]
        for number, name in enumerate(("least", "aimed at", "most")):
            columns[f"residual stub, {name} [mm]"] = [
                None if net.residual_si is None else 1e3 * net.residual_si[number] for net in self.nets
            ]
        for number, name in enumerate(("worst", "nominal", "best")):
            columns[f"judged figure, {name}"] = [net.judged[number] for net in self.nets]
        columns["standing"] = [str(net.standing) for net in self.nets]
        columns["verdict"] = [str(net.verdict) for net in self.nets]
        for name in ("probability", "least", "most", "sampling_error", "may_cut", "cut_probability", "surface_error"):
            columns[name.replace("_", " ")] = [getattr(net, name) for net in self.nets]
        return pd.DataFrame(columns)

    def to_csv(self) -> str:
        """Table as CSV, after comment lines that begin with #.

        Returns
        -------
        str
            With apostrophes as in ``Ranking.to_csv``.
        """
        from stubsi.show.drilled_tables import drilled_csv

        return drilled_csv(self)

    def __str__(self) -> str:
        from stubsi.show.drilled_tables import drilled_text

        return drilled_text(self)

    def _repr_html_(self) -> str:
        from stubsi.show.drilled_tables import drilled_html

        return drilled_html(self)

    def __repr__(self) -> str:
        cut = f", {len(self.may_cut)} may be cut" if self.may_cut else ""
        share = f"{self.probability:.4g} ({self.least:.4g} to {self.most:.4g})"
        return f"<DrilledYield of {how_many(len(self), 'net')}: {share}{cut}>"


def drilled_yield(
    plan: Plan,
    tolerances: Tolerances,
    *,
    seed: int = 0,
    executor: Executor | None = None,
    progress: Callable[[int, int], object] | None = None,
) -> DrilledYield:
    r"""Worst case and yield of a board after drilling by a plan, and how probable it is that a layer in use is cut.

    Parameters
    ----------
    plan : Plan
        The plan; its rules give the depth tolerance, its model the figures.
    tolerances : Tolerances
        What else varies. ``Tolerances()``: nothing but the depth.
    seed : int
        Seed of the samples, not negative. The same seed gives the same result.
    executor, progress
        As in ``production_yield``, for the boards that are solved.

    Returns
    -------
    DrilledYield
        Every net, in the order of the board.

    Raises
    ------
    StubsiError
        An argument is of the wrong type, a tolerance does not fit the board, or a board cannot be built.

    See Also
    --------
    production_yield : The same before drilling.
    narrowed_rules : Rules for a plan whose windows hold for all boards within the tolerances.
    yield_trade : What each number of drill groups is worth.

    Notes
    -----
    The depth of every hole deviates for itself, uniformly over the limits of the rules, which state no distribution;
    uniform claims the least. A guaranteed residual stub holds whatever the thickness of the board. With a depth
    tolerance the residual stub follows the board as built: with F the near face of the layer in use, e the end that is
    aimed at, s the thickness of the panel over the drawn one and S the near face of the sensed layer (all below the
    datum), it is :math:`F - e` where depth is counted from the face, :math:`F - (e + l) s + l` where it is scaled with
    the measured thickness (l: how far the tip or shoulder leads), and :math:`F - S - (e - S_{drawn})` where a layer is
    sensed, each less the deviation of the depth. Where the tolerances give no thickness, that of the rules is one
    factor of the whole board, uniform over its limits. A bound on the thickness of the board screens nothing here.

    A layer in use is cut where less plating is left than the cone of the tip is high between the wall of the drilled
    hole and that of the finished one. Such a board does not count as one that meets its criteria.

    The diameter of the primary drill (``drill``) deviates for each hole as well; on the boards that are solved all
    holes deviate alike. Quadratics of the factors and of the logarithm of the residual stub stand in for the solver: of
    the first notch of every stub, and of the judged figure of every net with another criterion, whose holes deviate
    alike. Their error is measured on 12 other boards. Worst and best cases are solved: with up to three factors at
    every corner, with more where these surfaces point to; the drill is the deepest or the shallowest. How far off the
    model may be is in the verdicts only, as far as it declares it.

    The demo board of 53 nets, its low-loss cores of class IPC-4101 B, all else exact, with the plan of its own rules:
    23 nets meet their criterion on more than 99 % of the boards before drilling, and 34 to 36 after it: the surfaces
    leave two open, which stay undrilled (BP_TX0 96 to 100 %, PCIE5_RX1 75 to 100 %; before drilling samples near the
    limit are solved, and they narrow such ranges). Three optical lanes meet it on 25 to 85 %, 14 nets on no board.
    """
    checked(plan, "plan", Plan)
    checked(tolerances, "tolerances", Tolerances)
    check_number(seed, "seed", 0, 2**63 - 1)
    check_executor(executor)
    check_progress(progress)
    study = DrilledStudy(DrilledBoards(plan, tolerances), seed, executor, progress or (lambda done, of: None))
    return _result(plan, tolerances, study)


def _result(plan: Plan, tolerances: Tolerances, study: DrilledStudy) -> DrilledYield:
    """The rows of all nets, and the yield of the board, from the study of the drilled boards."""
    board, boards = study.boards.board, study.boards
    criteria = [board.criterion_of(net) for net in board.signal_nets]
    corners = study.ends(criteria)
    counted = study.counted(criteria)
    rows: dict[int, list[int]] = {}
    for row in boards.residual_of:
        rows.setdefault(int(boards.table.net[row]), []).append(row)
    nets = []
    for number, net in enumerate(board.signal_nets):
        judged = float(corners.worst[number]), float(study.nominal[1][number]), float(corners.best[number])
        share = counted.share[:, number].tolist()
        drilled = [boards.residual_of[row] for row in rows.get(number, ())]
        left = np.array([(*each.limits, float(each.at(boards.nominal_t, study.aimed()))) for each in drilled])
        ends = (float(left[:, 0].min()), float(left[:, 2].max()), float(left[:, 1].max())) if drilled else None
        may_cut = any(each.may_cut for each in drilled) or bool(counted.cut[number] > 0)
        nets.append(
            NetDrilledYield(
                net=net.name, criterion=criteria[number], hits=len(drilled), residual_si=ends, judged=judged,
                standing=_standing(criteria[number], judged),
                verdict=Verdict.WAIVED if net.waiver else _verdict(criteria[number], corners, number, may_cut),
                probability=share[0], least=share[1], most=share[2],
                sampling_error=float(counted.error[number]), may_cut=may_cut,
                cut_probability=float(counted.cut[number]), surface_error=float(counted.surface_error[number]),
            )
        )  # fmt: skip
    together, mendable = counted.share[:, -2].tolist(), counted.share[:, -1].tolist()
    return DrilledYield(
        plan=plan, tolerances=tolerances, seed=study.seed, nets=tuple(nets), probability=together[0],
        least=together[1], most=together[2], sampling_error=float(counted.error[-2]),
        mendable=(mendable[0], mendable[1], mendable[2]), basis=corners.basis, solved=study.solved,
    )  # fmt: skip


def _verdict(criterion: Criterion, corners: Corners, number: int, may_cut: bool) -> Verdict:
    ends = np.array([corners.worst_off[number], corners.best_off[number]])
    if np.isnan(ends).any():
        return Verdict.UNDECIDED
    worst, best = met_at(ends, 0.0, criterion)[0].tolist()
    return Verdict.PASS if worst and not may_cut else Verdict.MARGINAL if best else Verdict.FALLS_SHORT


def _standing(criterion: Criterion, judged: tuple[float, float, float]) -> Standing:
    if np.isnan(judged).any():
        return Standing.UNKNOWN
    worst, best = (bool(met_at(np.array([end]), 0.0, criterion)[0, 0]) for end in (judged[0], judged[2]))
    return Standing.ALWAYS if worst else Standing.SOMETIMES if best else Standing.NEVER
