"""Owns a program of variables that are 0 or 1: its columns and rows, and the call of the solver."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, OptimizeResult, milp
from scipy.sparse import coo_array, csc_array

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from stubsi.drilling.costs import Costs
    from stubsi.drilling.joint_choice import Coordinates

    FloatArray: TypeAlias = NDArray[np.float64]


class ZeroOneProgram:
    """Rows and columns of the program. Each column is a variable that is 0 or 1: a group, set-up or side, or more.

    Parameters
    ----------
    coordinates : sequence of (side, set-up, depth)
        Coordinates of every group.
    """

    def __init__(self, coordinates: Sequence[Coordinates]) -> None:
        """Make the columns of groups, set-ups and sides. A group needs its set-up, and a set-up needs its side."""
        self.entries: list[tuple[int, int]] = []
        self.values: list[float] = []
        self.lower: list[float] = []
        self.upper: list[float] = []
        set_ups = sorted({place[:2] for place in coordinates})
        sides = sorted({side for side, _ in set_ups})
        self.groups, self.set_ups, self.sides = len(coordinates), len(set_ups), len(sides)
        self.width = self.groups + self.set_ups + self.sides
        for group, place in enumerate(coordinates):
            self.add([(self.groups + set_ups.index(place[:2]), 1.0), (group, -1.0)], 0, np.inf)
        for i, (side, _) in enumerate(set_ups):
            self.add([(self.groups + self.set_ups + sides.index(side), 1.0), (self.groups + i, -1.0)], 0, np.inf)

    def add(self, terms: Sequence[tuple[int, float]], lower: float, upper: float) -> None:
        """Add a row: the sum of these columns times their factors lies between two limits.

        Parameters
        ----------
        terms : sequence of (int, float)
            Columns with their factors.
        lower, upper : float
            The limits.
        """
        row = len(self.lower)
        self.entries += [(row, column) for column, _ in terms]
        self.values += [value for _, value in terms]
        self.lower.append(lower)
        self.upper.append(upper)

    def group_count(self) -> FloatArray:
        """1 for each column that is a group, 0 for the others.

        Returns
        -------
        ndarray
        """
        return np.repeat([1.0, 0.0], [self.groups, self.width - self.groups])

    def costs(self, costs: Costs, hits: FloatArray) -> FloatArray:
        """Cost of each column.

        Parameters
        ----------
        costs : Costs
            What is paid.
        hits : ndarray
            Number of hits of each column.

        Returns
        -------
        ndarray
        """
        counts = (self.groups, self.set_ups, self.sides)
        fixed = np.repeat([costs.group, costs.set_up, costs.side, 0.0], [*counts, self.width - sum(counts)])
        return np.asarray(fixed + costs.hole * hits)

    def limit(self, goal: FloatArray, most: float) -> None:
        """Add a row that keeps a sum over the columns at a value, up to rounding.

        Parameters
        ----------
        goal : ndarray
            Factor of each column.
        most : float
            The value.
        """
        self.add([(i, value) for i, value in enumerate(goal.tolist()) if value], -np.inf, most + 1e-6)

    def constraint(self) -> LinearConstraint:
        """All rows.

        Returns
        -------
        LinearConstraint
        """
        matrix = sparse_matrix(self.entries, np.array(self.values), (len(self.lower), self.width))
        return LinearConstraint(matrix, lb=np.array(self.lower), ub=np.array(self.upper))


def sparse_matrix(entries: Sequence[tuple[int, int]], values: FloatArray, shape: tuple[int, int]) -> csc_array:
    """A sparse matrix.

    Parameters
    ----------
    entries : sequence of (row, column)
        Places of its entries.
    values : ndarray
        One value for each.
    shape : tuple of int
        Numbers of rows and columns.

    Returns
    -------
    csc_array
    """
    row, column = np.array(entries, dtype=np.int64).reshape(-1, 2).T
    return coo_array((values, (row, column)), shape=shape).tocsc()


def solved(goal: FloatArray, program: ZeroOneProgram, time_limit: float) -> OptimizeResult:
    """The solver's answer for one goal.

    Parameters
    ----------
    goal : ndarray
        What is made least: the sum of the columns times these factors.
    program : ZeroOneProgram
        The rows.
    time_limit : float
        For the solver [s].

    Returns
    -------
    OptimizeResult
    """
    return milp(
        goal, constraints=program.constraint(), bounds=Bounds(0, 1), integrality=[1] * program.width,
        options={"time_limit": time_limit, "mip_rel_gap": 0.0},
    )  # fmt: skip


def gap_of(answer: OptimizeResult) -> float:
    """Relative gap of an answer.

    Parameters
    ----------
    answer : OptimizeResult
        Of the solver.

    Returns
    -------
    float
        0 where it is proven to be the least, infinite where nothing is known.
    """
    if answer.mip_gap is None:
        return 0.0 if answer.status == 0 else np.inf
    return float(answer.mip_gap)


def group_columns(x: FloatArray, groups: int) -> tuple[int, ...]:
    """Numbers of the groups that an answer opens.

    Parameters
    ----------
    x : ndarray
        The answer.
    groups : int
        Number of groups.

    Returns
    -------
    tuple of int
    """
    return tuple(np.flatnonzero(x[:groups] > 0.5).tolist())
