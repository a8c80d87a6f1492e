"""Owns Chebyshev polynomials on an interval: their nodes, coefficients and values, and whether they have converged."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, TypeVar

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.physics.arrays import BoolArray, ComplexArray, FloatArray

Number = TypeVar("Number", np.float64, np.complex128)

NODES = 24
"""Places at which a function is evaluated to become a polynomial on an interval."""
TAIL = 3
"""Last coefficients of a polynomial that must have died out."""


@cache
def node_places() -> FloatArray:
    """Chebyshev nodes of the interval from -1 to 1, shape (NODES,)."""
    return np.asarray(np.cos(np.pi * (np.arange(NODES) + 0.5) / NODES))


@cache
def _to_coefficients() -> FloatArray:
    """Matrix from values at the nodes (rows) to Chebyshev coefficients (columns)."""
    matrix = 2 / NODES * polynomial_values(node_places()).T
    matrix[:, 0] /= 2
    return np.asarray(matrix)


def polynomial_values(place: NDArray[Number]) -> NDArray[Number]:
    """Values of the first ``NODES`` Chebyshev polynomials.

    Parameters
    ----------
    place : ndarray, shape (n,)
        Places, from -1 to 1; complex near that interval.

    Returns
    -------
    ndarray, shape (NODES, n)

    Notes
    -----
    T_{m+n} = 2 T_m T_n - T_{m-n} (Abramowitz and Stegun 22.7.24, from memory) doubles their number at each step.
    """
    values = np.empty((NODES, len(place)), dtype=place.dtype)
    values[0], values[1] = 1, place
    highest = 1
    while highest < NODES - 1:
        new = min(highest, NODES - 1 - highest)
        np.multiply(2 * values[highest], values[1 : new + 1], out=values[highest + 1 : highest + new + 1])
        values[highest + 1 : highest + new + 1] -= values[highest - new : highest][::-1]
        highest += new
    return values


def coefficients(values: ComplexArray) -> ComplexArray:
    """Chebyshev coefficients of functions that are known at the nodes.

    Parameters
    ----------
    values : complex ndarray, shape (..., NODES)
        Values at ``node_places()``.

    Returns
    -------
    complex ndarray, shape (..., NODES)
    """
    return np.asarray(values @ _to_coefficients())


def died_out(
    values: ComplexArray, terms: ComplexArray, tolerance: float, offset: FloatArray | float = 0.0
) -> BoolArray:
    """Whether the last coefficients are so small that the polynomial stands for the function.

    Parameters
    ----------
    values, terms : complex ndarray, shape (..., NODES)
        Values at the nodes, and the coefficients of them.
    tolerance : float
        Largest size of the last coefficients [-], relative to the largest value.
    offset : array_like, shape (...)
        Greatest imaginary part of the places asked for later [-], the interval from -1 to 1.

    Returns
    -------
    ndarray of bool, shape (...)

    Notes
    -----
    At an imaginary offset s the polynomial T_n is at most about R^n, R = s + sqrt(1 + s^2): the ellipse through it.
    """
    ellipse = np.asarray(offset + np.hypot(1, offset))[..., None]
    last = np.abs(terms[..., -TAIL:]) * ellipse ** np.arange(NODES - TAIL, NODES)
    return np.asarray(last.max(axis=-1) <= tolerance * np.abs(values).max(axis=-1), dtype=bool)
