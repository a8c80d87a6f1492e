"""Owns the samples that are solved near a limit, and the border between met and missed that they show.

A notch jumps where another dip becomes deep enough to count. A quadratic that is fitted across the jump is far off on
both sides, although the border between "met" and "missed" is a smooth one. So that border is fitted itself.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.optimize import minimize

from stubsi.tolerance.draws import of_holes
from stubsi.tolerance.response import Surfaces, pairs_of, stretched
from stubsi.tolerance.tasks import batches, results_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from concurrent.futures import Executor

    from numpy.typing import NDArray

    from stubsi.tolerance.draws import Floats
    from stubsi.tolerance.parts import BuiltColumns, Parts
    from stubsi.tolerance.study import Study
    from stubsi.tolerance.tally import Sampled

    Flags = NDArray[np.bool_]

WIDE = 0.03
"""A share that is known to less than this is looked at more closely."""
ROUNDS, PER_ROUND = 3, 48
"""How often samples near the limit are solved, and how many of each net."""
FEWEST = 4
"""A border is fitted where at least so many boards lie on either side of it."""
FOLDS = 10
"""Parts in which boards are left out of a fit to measure its error."""
RIDGE = 0.02
"""Weight of the squares of the coefficients, without which a border between boards that a plane parts is endless."""
FIRST_BLOCK = 1 << 34
"""Number of the first block of the samples that are solved, apart from those that are counted."""
MOST_BLOCKS = 64
"""Blocks that are searched for samples near the limit at most."""


class Seen(NamedTuple):
    """Samples of a net that were solved: coordinates of each of its parts, and whether each meets its limit.

    Parameters
    ----------
    t : ndarray, shape (samples, factors of the board)
    own : list of ndarray, shape (parts, samples)
        Of each factor that every hole has for itself.
    met : ndarray, shape (parts, samples)
        1: it does, 0: it does not, NaN: it was not solved because that was clear.
    """

    t: Floats
    own: list[Floats]
    met: Floats


class NearLimit:
    """The samples near the limits of some nets.

    Parameters
    ----------
    study : Study
    sampled : Sampled
        Of all nets. Its surfaces are replaced, part by part, by borders between what is met and what is missed.
    executor : Executor or None
    progress : callable
        Is told how many boards are solved, in part.
    """

    def __init__(
        self, study: Study, sampled: Sampled, executor: Executor | None, progress: Callable[[int], object]
    ) -> None:
        self.study, self.executor, self.progress = study, executor, progress
        self.sampled = sampled
        self.solved = 0
        self.seen: dict[int, list[Seen]] = {}

    def refine(self, net: int) -> None:
        """Solve samples near the limit of a net, and fit the borders that they show.

        Parameters
        ----------
        net : int
        """
        self.seen[net] = []
        for number in range(ROUNDS):
            t, own, unsure = self._candidates(net, number)
            if not len(t):
                return
            met = self._solved(net, t, own, unsure)
            self.seen[net].append(Seen(t, own, met))
            self._fit(net)

    def in_band(self, net: int) -> tuple[int, int]:
        """How many of the solved samples that are still not sure meet their criterion, and of how many.

        Parameters
        ----------
        net : int

        Returns
        -------
        tuple of int
        """
        one = _of_net(self.sampled, net)
        met = of = 0
        for seen in self.seen[net]:
            values, slack = _values(one, seen.t, seen.own), one.slack(one.parts)
            unsure = _unsure(one.parts, values, slack)
            known = np.where(unsure, seen.met, values >= one.parts.limit[:, None])
            counts = (one.parts.met(values, slack) != one.parts.met(values, -slack))[0] & ~np.isnan(known).any(axis=0)
            of += int(counts.sum())
            met += int((known[:, counts] == 1).all(axis=0).sum())
        return met, of

    def _candidates(self, net: int, number: int) -> tuple[Floats, list[Floats], Flags]:
        """Samples of which it is not sure whether a net meets its criterion, and which of its parts are not."""
        one = _of_net(self.sampled, net)
        slack = one.slack(one.parts)
        found: list[tuple[Floats, list[Floats], Flags]] = []
        count = 0
        for block in range(MOST_BLOCKS):
            t = one.points(FIRST_BLOCK + number * MOST_BLOCKS + block)
            own = _own(one, FIRST_BLOCK + number * MOST_BLOCKS + block, len(t))
            values = _values(one, t, own)
            open_ = (one.parts.met(values, slack) != one.parts.met(values, -slack))[0]
            places = np.flatnonzero(open_)[: PER_ROUND - count]
            found.append((t[places], [each[:, places] for each in own], _unsure(one.parts, values, slack)[:, places]))
            count += len(places)
            if count == PER_ROUND:
                break
        every_t, every_own, every_unsure = zip(*found, strict=True)
        own = [np.concatenate(each, axis=1) for each in zip(*every_own, strict=True)]
        return np.concatenate(every_t), own, np.concatenate(every_unsure, axis=1)

    def _solved(self, net: int, t: Floats, own: list[Floats], unsure: Flags) -> Floats:
        """Whether each part of a net meets its limit at each sample; NaN where that is not asked."""
        parts = _of_net(self.study.sampled(0, 1), net).parts  # with the columns that are solved
        wanted: dict[tuple[float, ...], set[int]] = {}
        place: list[tuple[int, int, tuple[float, ...]]] = []
        for part, sample in np.argwhere(unsure).tolist():
            point = (*t[sample].tolist(), *(float(each[part, sample]) for each in own))
            wanted.setdefault(point, set()).add(int(parts.column[part]))
            place.append((part, sample, point))
        tasks = [(point, tuple(sorted(columns))) for point, columns in wanted.items()]
        figures = self._figures(tasks)
        met = np.full(unsure.shape, np.nan)
        with np.errstate(divide="ignore", invalid="ignore"):
            for part, sample, point in place:
                value = parts.sign[part] * np.log(figures[point, int(parts.column[part])])
                met[part, sample] = value >= parts.limit[part]
        return met

    def _figures(
        self, wanted: list[tuple[tuple[float, ...], tuple[int, ...]]]
    ) -> dict[tuple[tuple[float, ...], int], float]:
        split = [range(number, number + 1) for number in range(len(wanted))]
        if self.executor is not None:
            split = batches(len(wanted))
        tasks = [(self.study.columns, wanted[numbers.start : numbers.stop]) for numbers in split]
        found: dict[tuple[tuple[float, ...], int], float] = {}
        for number, figures in results_of(self.executor, _figures_of, tasks):
            for (point, columns), values in zip(tasks[number][1], figures, strict=True):
                found |= {(point, column): value for column, value in zip(columns, values, strict=True)}
            self.solved += len(figures)
            self.progress(self.solved)
        return found

    def _fit(self, net: int) -> None:
        """Replace the surfaces of the parts of a net by borders, where boards on both sides show one."""
        study = self.study
        parts = study.parts
        first = int(parts.start[net])
        last = int(parts.start[net + 1]) if net + 1 < parts.nets else len(parts.column)
        for part in range(first, last):
            t, met = study.solved_at, study.met_parts[part]
            for seen in self.seen[net]:
                solved = ~np.isnan(seen.met[part - first])
                own = [each[part - first, solved] for each in seen.own]
                t = np.concatenate([t, np.column_stack([seen.t[solved], *own])])
                met = np.concatenate([met, seen.met[part - first, solved] == 1])
            if min(met.sum(), (~met).sum()) >= FEWEST:
                self.sampled = _with_border(self.sampled, part, *border(stretched(t, self.sampled.surfaces.width), met))


def border(u: Floats, met: Flags) -> tuple[Floats, float]:
    """Border between boards that meet a limit and boards that do not: where a linear function of the factors is zero.

    Parameters
    ----------
    u : ndarray, shape (boards, factors)
    met : ndarray of bool

    Returns
    -------
    coefficients : ndarray, shape (factors + 1,)
        The constant is last.
    error : float
        Largest distance from the border of a board on the wrong side of it, each left out of the fit; at least that of
        the nearest board on the right side.

    Notes
    -----
    Logistic regression, by maximum likelihood with a slight ridge.
    """
    coefficients = _logistic(u, met)
    off = np.empty(len(met))
    for fold in range(FOLDS):
        left_out = np.arange(len(met)) % FOLDS == fold
        own = _logistic(u[~left_out], met[~left_out])
        off[left_out] = u[left_out] @ own[:-1] + own[-1]
    wrong = (off >= 0) != met
    return coefficients, max(float(np.abs(off[wrong]).max(initial=0.0)), float(np.abs(off).min()))


def _logistic(u: Floats, met: Flags) -> Floats:
    terms, sign = np.column_stack([u, np.ones(len(u))]), np.where(met, 1.0, -1.0)

    def loss(weights: Floats) -> tuple[float, Floats]:
        z = sign * (terms @ weights)
        slope = -terms.T @ (sign * np.exp(-np.logaddexp(0, z)))
        return float(np.logaddexp(0, -z).sum() + RIDGE / 2 * weights @ weights), slope + RIDGE * weights

    return np.asarray(minimize(loss, np.zeros(terms.shape[1]), jac=True, method="L-BFGS-B").x)


def _with_border(sampled: Sampled, part: int, coefficients: Floats, error: float) -> Sampled:
    """The same with a border in place of the surface of a part: its limit is zero."""
    surfaces, parts = sampled.surfaces, sampled.parts
    first, second = pairs_of(len(surfaces.width))
    column = np.zeros((len(first), 1))
    column[(first < 0) & (second >= 0), 0] = coefficients[:-1]
    column[(first < 0) & (second < 0), 0] = coefficients[-1]
    number = surfaces.coefficients.shape[1]
    columns, signs, limits = parts.column.copy(), parts.sign.copy(), parts.limit.copy()
    columns[part], signs[part], limits[part] = number, 1.0, 0.0
    return sampled._replace(
        surfaces=Surfaces(
            surfaces.width, surfaces.of_board, np.concatenate([surfaces.coefficients, column], axis=1),
            np.append(surfaces.error, error), np.append(surfaces.fitted, 0),
        ),
        parts=parts._replace(column=columns, sign=signs, limit=limits),
    )  # fmt: skip


def _of_net(sampled: Sampled, net: int) -> Sampled:
    one = slice(net, net + 1)
    return sampled._replace(
        parts=sampled.parts.of_nets(net, net + 1), known=sampled.known[one], counts=sampled.counts[one]
    )


def _own(one: Sampled, block: int, points: int) -> list[Floats]:
    """Coordinates of what every hole has for itself, for each part of a net; shape (parts, points)."""
    holes, which = np.unique(one.parts.hole, return_inverse=True)
    return [of_holes(law, (one.seed, block), number, holes, points)[which] for number, law in enumerate(one.own)]


def _values(one: Sampled, t: Floats, own: Sequence[Floats]) -> Floats:
    return np.asarray(one.surfaces.at(one.parts.column, t, own) * one.parts.sign[:, None])


def _unsure(parts: Parts, values: Floats, slack: Floats) -> Flags:
    """Parts that the error of their surface leaves open."""
    return np.asarray(np.abs(values - parts.limit[:, None]) <= slack[:, None])


def _figures_of(task: tuple[BuiltColumns, list[tuple[tuple[float, ...], tuple[int, ...]]]]) -> list[list[float]]:
    columns, wanted = task
    return [columns.only(np.array(numbers)).at(np.array(point)).tolist() for point, numbers in wanted]
