"""Owns the search for the drill groups with the largest yield: what each leaves of each stub, and which to open."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.drilling.opened_plan import coupled_groups
from stubsi.errors import BoardError
from stubsi.tolerance.drilled_board import ROUNDING, DrilledBoards
from stubsi.tolerance.drilled_study import BLOCKS, DrilledStudy, met_at

if TYPE_CHECKING:
    from collections.abc import Callable
    from concurrent.futures import Executor

    from numpy.typing import NDArray

    from stubsi.drilling.drill_task import Drillable
    from stubsi.drilling.plan import Plan
    from stubsi.tolerance.drilled_board import Residual
    from stubsi.tolerance.drilled_study import Drawn
    from stubsi.tolerance.tolerances import Tolerances

    Flags = NDArray[np.bool_]

MOST_SETS = 20_000
"""So many sets of groups are looked at at most; then the search says how far from the largest yield it may be."""


class Found(NamedTuple):
    """The groups with the largest yield that was found.

    Parameters
    ----------
    group_of : dict of Drillable to int
        Number of the candidate group of each single stub.
    share : float
        Share of the samples on which all nets meet their criteria that drilling can mend.
    gap : float
        By how much more of the samples another choice might meet them; 0 where none does.
    """

    group_of: dict[Drillable, int]
    share: float
    gap: float


class YieldSearch:
    """Finds the groups with the largest yield, for any number of them, on one set of samples.

    Parameters
    ----------
    plan : Plan
    tolerances : Tolerances
    seed : int
    executor : Executor or None
    progress : callable

    Notes
    -----
    One study serves all groups: on the boards that are solved for it, each stub is left anything between the least and
    the most that any of its candidate groups may leave.
    """

    def __init__(
        self,
        plan: Plan,
        tolerances: Tolerances,
        seed: int,
        executor: Executor | None,
        progress: Callable[[int, int], object],
    ) -> None:
        self.task = plan.task
        self.fixed = frozenset(coupled_groups(plan).values())
        boards = DrilledBoards(plan, tolerances)
        row_of = {(hit.hole.name, hit.side): row for row, hit in boards.hit_of.items()}
        self.row_of = {stub: row_of[stub.hole.name, stub.window.side] for stub in self.task.single}
        self.residuals = {
            stub: {n: boards.residual_at(row, self.task.candidates[n].end_si) for n in sorted(self.task.servers(stub))}
            for stub, row in self.row_of.items()
        }
        for stub, row in self.row_of.items():
            boards.residual_of[row] = _covering(list(self.residuals[stub].values()))
        self.study = DrilledStudy(boards, seed, executor, progress)
        self.rest, self.met = self._met()
        self.looked_at = 0

    def _met(self) -> tuple[Flags, dict[Drillable, dict[int, Flags]]]:
        """Samples on which all that the choice does not touch is met; and those on which each stub is, by group."""
        study, boards = self.study, self.study.boards
        criteria = [boards.board.criterion_of(net) for net in boards.board.signal_nets]
        counted = study.counting
        stub_of = {int(np.searchsorted(boards.rows, row)): stub for stub, row in self.row_of.items()}
        rest: list[Flags] = []
        met: dict[Drillable, dict[int, list[Flags]]] = {
            stub: {number: [] for number in residuals} for stub, residuals in self.residuals.items()
        }
        for block in range(BLOCKS):
            drawn = study.drawn(block)
            others = np.ones(len(drawn.t), dtype=bool)
            for net, column in study.judged_columns():
                if not counted[net]:
                    continue
                stub = stub_of.get(study.depth_of.get(column, column))
                if stub is None:
                    others &= met_at(study.figure(column, drawn, study.residual[column]), 0.0, criteria[net])[0]
                    continue
                for number, residual in self.residuals[stub].items():
                    meets = met_at(study.figure(column, drawn, residual), 0.0, criteria[net])[0]
                    met[stub][number].append(meets & ~_cut(study, column, drawn, residual))
            for column, left in enumerate(study.residual[: len(boards.rows)]):
                if left is not None and column not in stub_of and counted[study.stub_net[column]]:
                    others &= ~_cut(study, column, drawn, left)
            rest.append(others)
        joined = {
            stub: {number: np.concatenate(each) for number, each in of.items() if each} for stub, of in met.items()
        }
        return np.concatenate(rest), {stub: of for stub, of in joined.items() if of}

    def best(self, most_groups: int) -> Found:
        """The groups with the largest yield among at most so many.

        Parameters
        ----------
        most_groups : int

        Returns
        -------
        Found

        Raises
        ------
        BoardError
            So few groups cannot serve all stubs.

        Notes
        -----
        Branch and bound over the sets of groups. Each stub is served by the one of the open groups with which it meets
        its limit on the most samples. No set of groups has a larger yield than all that may still be opened together,
        if a group that leaves less of a stub serves it no worse on any board.
        """
        self.looked_at = 0
        room = most_groups - len(self.fixed)
        servers = [frozenset(residuals) for residuals in self.residuals.values()]
        candidates = sorted(set().union(*servers) - self.fixed) if servers else []
        best: tuple[float, frozenset[int]] | None = None
        bound_left = 0.0

        def open_more(opened: frozenset[int], more: list[int]) -> None:
            nonlocal best, bound_left
            every = opened.union(more)
            bound = self._share(every)
            if bound is None or (best is not None and bound <= best[0]):
                return
            if best is not None and self.looked_at >= MOST_SETS:
                bound_left = max(bound_left, bound)
                return
            if len(every - self.fixed) <= room:
                best = (bound, every)
                return
            if len(opened - self.fixed) == room:
                share = self._share(opened)
                if share is not None and (best is None or share > best[0]):
                    best = (share, opened)
                return
            first, others = more[-1], more[:-1]
            open_more(opened | {first}, others)
            open_more(opened, others)

        open_more(self.fixed, candidates)
        if best is None:
            raise BoardError(f"most_groups = {most_groups}: the stubs that must be drilled need more.")
        share, opened = best
        group_of = {stub: self._choice(stub, opened) for stub in self.residuals}
        return Found(group_of, share, max(bound_left - share, 0.0))

    def _choice(self, stub: Drillable, opened: frozenset[int]) -> int:
        """The open group that serves a stub best; of equal ones the deepest."""
        met = self.met.get(stub)
        return max(opened & self.residuals[stub].keys(), key=lambda number: (met[number].sum() if met else 0, number))

    def _share(self, opened: frozenset[int]) -> float | None:
        """Share of the samples on which all is met with some groups open; None where a stub has none."""
        self.looked_at += 1
        met = self.rest.copy()
        for stub, residuals in self.residuals.items():
            if opened.isdisjoint(residuals):
                return None
            if stub in self.met:
                met &= self.met[stub][self._choice(stub, opened)]
        return float(met.mean())


def _cut(study: DrilledStudy, column: int, drawn: Drawn, residual: Residual) -> Flags:
    left = residual.at(drawn.t, drawn.d[study.depth_of.get(column, column)])
    return np.asarray(left < residual.cone - ROUNDING)


def _covering(residuals: list[Residual]) -> Residual:
    """What leaves anything between the least and the most that some others may leave."""
    least = min(each.constant - each.deeper for each in residuals)
    most = max(each.constant + each.shallower for each in residuals)
    half = (most - least) / 2
    return residuals[0]._replace(constant=least + half, shallower=half, deeper=half)
