"""Owns the study of a board under tolerances: the boards that are solved for the surfaces, and what they show."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.errors import BoardError
from stubsi.margin.ranking import rank
from stubsi.tolerance.built_board import half_width, thickness_si
from stubsi.tolerance.draws import board_wide
from stubsi.tolerance.parts import UnknownYield, WhyUnknown, columns_and_parts
from stubsi.tolerance.response import boards_to_solve, fitted
from stubsi.tolerance.tally import Sampled, Thickness
from stubsi.tolerance.tasks import batches, results_of

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from numpy.typing import NDArray

    from stubsi.board.board import Board
    from stubsi.margin.ranking import Ranking
    from stubsi.stubs.model_choice import ModelChoice
    from stubsi.tolerance.draws import Floats
    from stubsi.tolerance.parts import BuiltColumns, Parts
    from stubsi.tolerance.response import Surfaces
    from stubsi.tolerance.tasks import Progress
    from stubsi.tolerance.tolerances import Factor, Tolerances

APART = 1 << 32
"""Seed of the boards that are solved, apart from those of the blocks of samples."""


class Asked(NamedTuple):
    """What a study is about: a board, its tolerances, the model of its stubs and the seed of the draws."""

    board: Board
    tolerances: Tolerances
    model: ModelChoice
    seed: int


class Study(NamedTuple):
    """A board with surfaces for all that decides about its nets.

    Parameters
    ----------
    ranking : Ranking
        Of the board as drawn.
    tolerances : Tolerances
    factors : tuple of Factor
        Those that all the board shares first, then those that every hole has for itself.
    shared : int
        How many of them all the board shares.
    columns : BuiltColumns
        The figures that can be solved.
    solved_at : ndarray, shape (boards, factors)
        Coordinates of the boards that were solved and are not screened out.
    parts : Parts
    unknown : dict of net number to UnknownYield
    surfaces : Surfaces
    thickness : Thickness or None
    error : ndarray
        Largest error of the judged figure of each net on these boards, each left out of the fit, as a fraction; NaN
        where unknown.
    met_parts : ndarray of bool, shape (parts, boards)
        Whether each part met its limit on these boards.
    met, predicted : ndarray of bool, shape (nets, boards)
        Whether each net met its criterion on the boards that were solved and are not screened out; and what the surface
        said about each when it was fitted to the others.
    solved : int
        How many boards were solved, beside the one that was drawn.
    """

    ranking: Ranking
    tolerances: Tolerances
    factors: tuple[Factor, ...]
    shared: int
    columns: BuiltColumns
    solved_at: Floats
    parts: Parts
    unknown: dict[int, UnknownYield]
    surfaces: Surfaces
    thickness: Thickness | None
    error: Floats
    met_parts: NDArray[np.bool_]
    met: NDArray[np.bool_]
    predicted: NDArray[np.bool_]
    solved: int

    def sampled(self, seed: int, per_block: int) -> Sampled:
        """What is needed to draw samples from the surfaces."""
        laws = [(factor.tolerance.distribution, factor.tolerance.sigma) for factor in self.factors]
        nets = self.ranking.board.signal_nets
        known = np.array([number not in self.unknown for number in range(len(nets))], dtype=bool)
        counts = np.array([not net.waiver for net in nets], dtype=bool)
        return Sampled(
            self.surfaces, self.parts, tuple(laws[: self.shared]), tuple(laws[self.shared :]), self.thickness, known,
            counts, seed, per_block,
        )  # fmt: skip


def study_of(asked: Asked, executor: Executor | None, progress: Progress) -> Study:
    """Solve some boards and fit surfaces to them; it is kept with the board, so that it is done once.

    Parameters
    ----------
    asked : Asked
    executor : Executor or None
    progress : callable
        Is told how many boards are solved, of how many.

    Returns
    -------
    Study

    Raises
    ------
    BoardError
        Nothing has a tolerance, or a board cannot be built.
    """
    key = ("study of tolerances", *asked[1:])
    return asked.board.remembered(key, lambda: _study(asked, executor, progress))


def _study(asked: Asked, executor: Executor | None, progress: Progress) -> Study:
    """Solve some boards as built, fit the surfaces to them, and measure the errors of these."""
    board, tolerances, model, seed = asked
    factors = tuple(sorted(tolerances.factors(board), key=lambda factor: factor.per_hole))
    if not factors:
        raise BoardError("tolerances: none is given, so there is nothing to draw; rank() judges the board as drawn.")
    shared = sum(not factor.per_hole for factor in factors)
    ranking = rank(board, **model.arguments())
    columns, parts, unknown = columns_and_parts(ranking, tolerances, factors)
    laws = [(factor.tolerance.distribution, factor.tolerance.sigma) for factor in factors]
    t = board_wide(laws, (seed, APART), boards_to_solve(len(factors)))
    figures = _solved(columns, t, executor, progress)
    surfaces, left_out = fitted(t, figures, shared, np.array([half_width(board, factor) for factor in factors]))
    thickness = _thickness(board, tolerances, factors[:shared])
    inside = np.ones(len(t), dtype=bool) if thickness is None else thickness.keeps(t[:, :shared])
    with np.errstate(divide="ignore", invalid="ignore"):
        true, predicted = ((each[inside][:, parts.column] * parts.sign).T for each in (np.log(figures), left_out))
        off = np.abs(parts.figure(true) - parts.figure(predicted))
    error = np.expm1(np.where(np.isfinite(off), off, 0.0).max(axis=1, initial=0.0))
    for net, why in _without_surface(parts, surfaces, len(t)).items():
        unknown.setdefault(net, why)
    error[list(unknown)] = np.nan
    return Study(
        ranking, tolerances, factors, shared, columns, t[inside], parts, unknown, surfaces, thickness, error,
        true >= parts.limit[:, None], parts.met(true), parts.met(predicted), len(t),
    )  # fmt: skip


def _solved(columns: BuiltColumns, t: Floats, executor: Executor | None, progress: Progress) -> Floats:
    """Figures of the boards of some points; shape (points, columns)."""
    figures = np.empty((len(t), len(columns.stubs) + len(columns.nets)))
    split = [range(number, number + 1) for number in range(len(t))] if executor is None else batches(len(t))
    tasks = [(columns, t[numbers.start : numbers.stop]) for numbers in split]
    done = 0
    for number, found in results_of(executor, _figures_at, tasks):
        figures[split[number].start : split[number].stop] = found
        done += len(found)
        progress(done, len(t))
    return figures


def _figures_at(task: tuple[BuiltColumns, Floats]) -> Floats:
    columns, t = task
    return np.array([columns.at(point) for point in t])


def _thickness(board: Board, tolerances: Tolerances, factors: tuple[Factor, ...]) -> Thickness | None:
    """The bound on the thickness of the board, and the thickness as a linear function of the factors."""
    bound = tolerances.board_thickness
    if not tolerances.bounded or bound is None:
        return None

    def built(number: int) -> float:
        at = {(each.quantity, each.material): float(place == number) for place, each in enumerate(factors)}
        return thickness_si(board.stackup, tolerances, at)

    middle = built(-1)
    slopes = np.array([built(number) - middle for number in range(len(factors))])
    return Thickness(middle, slopes, *bound.limits(board.stackup.edges_si[-1]))


def _without_surface(parts: Parts, surfaces: Surfaces, boards: int) -> dict[int, UnknownYield]:
    """Nets with a part that has no surface."""
    last = np.append(parts.start[1:], len(parts.column))
    found = {}
    for part in np.flatnonzero(np.isnan(surfaces.error[parts.column])).tolist():
        net = int(np.searchsorted(last, part, side="right"))
        of = int(surfaces.fitted[parts.column[part]])
        found[net] = UnknownYield(WhyUnknown.MIXED, f"it has one on {of} of {boards}")
    return found
