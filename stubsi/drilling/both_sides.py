"""Owns how the two drills into one hole limit each other: enough of the barrel between them must stay plated."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stubsi.drilling.obstacles import ROUNDING

if TYPE_CHECKING:
    from stubsi.drilling.window import Window

SPLITS = 8
"""Number of steps in which depth on one side of a hole is traded for depth on the other side."""


def plated_enough(one: Window, other: Window, one_left: float, other_left: float) -> bool:
    """Whether enough of a barrel stays plated when it is drilled from both sides.

    Parameters
    ----------
    one, other : Window
        Windows of the two sides of a hole.
    one_left, other_left : float
        Least plating [m] that each side leaves beyond its layer in use.

    Returns
    -------
    bool
        True if it is enough at worst tolerance.
    """
    return one_left >= to_be_left(one, other, other_left) - ROUNDING


def to_be_left(one: Window, other: Window, other_left: float) -> float:
    """Plating [m] that one side must leave beyond its layer in use, where the other side leaves ``other_left`` [m].

    Parameters
    ----------
    one : Window
        Window of one side of a hole.
    other : Window
        Window of the other side.
    other_left : float
        Least plating [m] that the other side leaves beyond its layer in use.

    Returns
    -------
    float
        Plating [m].
    """
    between = one.rules.tolerance.shrunk(one.rest_si - other.barrel_si)
    return one.rules.least_plated_at_worst_si - between - other_left


def independent(one: Window, other: Window) -> bool:
    """Whether enough of the barrel stays plated when both sides are drilled as deep as their windows permit.

    Parameters
    ----------
    one : Window
        Window of one side of a hole.
    other : Window
        Window of the other side.

    Returns
    -------
    bool
        True if neither limits the other.
    """
    return plated_enough(one, other, one.left(one.deepest_si).least_si, other.left(other.deepest_si).least_si)


def split_ends(one: Window, other: Window) -> tuple[list[float], list[float]]:
    """Extra ends to try on both sides of a hole, in steps that trade depth on one side for depth on the other.

    They are for holes where both sides drilled fully would leave too little plated barrel.

    Parameters
    ----------
    one : Window
        Window of one side of a hole.
    other : Window
        Window of the other side.

    Returns
    -------
    tuple of two lists
        Ends [m] of the one and of the other window.
    """
    beside_full_depth = _deepest_beside(one, other, other.deepest_si)
    one_ends = np.linspace(min(beside_full_depth, one.deepest_si), one.deepest_si, SPLITS + 1).tolist()
    other_ends = [_deepest_beside(other, one, end) for end in one_ends]
    return _within(one, one_ends), _within(other, other_ends)


def _within(window: Window, ends: list[float]) -> list[float]:
    return [end - ROUNDING for end in ends if window.holds(end - ROUNDING)]


def _deepest_beside(one: Window, other: Window, other_end: float) -> float:
    """Deepest end [m] of one side that leaves enough plated barrel when the other is drilled to ``other_end`` [m]."""
    plating, deepest = to_be_left(one, other, other.left(other_end).least_si), one.rules.tolerance.deepest
    return min(float(deepest(one.face_si, plating, one.sensed_si, lead)) for lead in one.leads_si)
