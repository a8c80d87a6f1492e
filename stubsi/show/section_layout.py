"""Owns the layout of a section: rows of drill groups, letters as large as they can be, names moved apart."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.show.axes import LETTER, room

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes

    from stubsi.drilling.drill_group import Group
    from stubsi.drilling.plan import Plan

FEW, IN_A_ROW = 5, 10
"""Up to so many drill groups, a new figure gives each of them ample room; a row of it has at most so many."""
NARROW, CLOSE = 40.0, 3.0
"""In columns narrower than this, and of layers closer than this, lines are thinner [pt]."""
LEAST_BOARD, SHARE = 64.0, 0.45
"""Least height of the board in a row of groups [pt]; in low axes its share of that row [-]."""
LARGEST, READABLE, SMALLEST = 7.0, 4.0, 2.5
"""Sizes of the letters [points]. Where level labels would be less than readable, they stand upright."""
LINE_PITCH = 1.35
"""Distance of two lines of text over the size of their letters [-]."""


def figure_size(count: int) -> tuple[float, float]:
    """Size of a new figure: rows of groups, each group as wide as its label.

    Parameters
    ----------
    count : int
        Drill groups.

    Returns
    -------
    (float, float)
        Width and height [in].
    """
    rows = math.ceil(count / IN_A_ROW)
    columns = math.ceil(count / rows)
    width = max(5.0, 2.3 * count) if count <= FEW else min(1.6 * columns, 1.16 * columns + 1.1)
    return max(width, 5.0), 5.2 if rows == 1 else 0.5 + 2.4 * rows


class Frame(NamedTuple):
    """Room of the picture.

    Parameters
    ----------
    top, bottom : float
        Ends of a row on the axis of depth, with the labels outside of the board [mm].
    thickness : float
        Of the board [mm].
    per_point : float
        Depth over height [mm/pt].
    rows, columns : int
        Rows of groups, and groups in a row.
    labels : list of list of str
        Lines of the label of each group.
    letters : float
        Their size [pt].
    upright : bool
        Whether the labels stand upright.
    scale : float
        Width of lines, as a share of that where there is room.
    """

    top: float
    bottom: float
    thickness: float
    per_point: float
    rows: int
    columns: int
    labels: list[list[str]]
    letters: float
    upright: bool
    scale: float

    @property
    def step(self) -> float:
        """From one row to the next [mm of depth]."""
        return self.bottom - self.top + 4.0 * self.per_point


class _Letters(NamedTuple):
    """How the labels are written: in so many rows of groups, in letters of this size [pt], with so much room [pt]."""

    size: float
    rows: int
    room: float


def frame_of(ax: Axes, plan: Plan) -> Frame:
    """As many rows as give the largest letters, and room above or below the board for labels of that size.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
        What is drawn in.
    plan : Plan
        Whose groups are drawn.

    Returns
    -------
    Frame
    """
    inside, count, thickness = room(ax), max(1, len(plan.groups)), 1e3 * plan.board.stackup.edges_si[-1]
    wide, high = 0.96 * inside.width, 0.96 * inside.height
    labels = [_label(group) for group in plan.groups]
    level = max((_level(labels, count, rows, wide, high) for rows in range(1, count + 1)), key=_size_then_few_rows)
    short = [[_short_label(group)] for group in plan.groups]
    standing = _upright(short, count, wide, high)
    upright = level.size < min(READABLE, standing.size)
    if upright:
        labels, level = short, standing
    sides = {group.side for group in plan.groups}
    above, below = (level.room if side in sides else level.size for side in ("top", "bottom"))
    board = max(high / level.rows - above - below, 0.25 * high / level.rows)
    scale = min(1.0, wide * level.rows / count / NARROW, board / len(plan.board.stackup.copper) / CLOSE)
    per_point = thickness / board
    return Frame(
        -above * per_point, thickness + below * per_point, thickness, per_point, level.rows,
        math.ceil(count / level.rows), labels, level.size, upright, scale,
    )  # fmt: skip


def _size_then_few_rows(letters: _Letters) -> tuple[float, int]:
    return round(letters.size, 2), -letters.rows


def _level(labels: list[list[str]], count: int, rows: int, wide: float, high: float) -> _Letters:
    """Level labels in so many rows of groups: as large as the width of a column and the height of a row allow."""
    lines = (len(labels[0]) + 1 if labels else 1) * LINE_PITCH
    column = wide / math.ceil(count / rows)
    size = min(column / _longest(labels), (high / rows - min(LEAST_BOARD, SHARE * high / rows)) / lines, LARGEST)
    return _Letters(size, rows, lines * size)


def _upright(labels: list[list[str]], count: int, wide: float, high: float) -> _Letters:
    """Upright labels in one row of groups."""
    letters = max(wide / count / (LINE_PITCH + 0.3), SMALLEST)
    size = min(letters, LARGEST, 0.4 * high / _longest(labels))
    return _Letters(size, 1, (_longest(labels) + 1.0) * size)


def _longest(labels: list[list[str]]) -> float:
    """Length of the longest line of all labels over the size of its letters."""
    return LETTER * max((len(line) for label in labels for line in label), default=1)


def _parts(group: Group) -> tuple[str, str, str]:
    """What the labels of a group are made of: its holes, its drills, its residual stub."""
    least, most = (1e3 * limit for limit in (group.left.least_si, group.left.most_si))
    holes = f"{len(group.hits)} {'hole' if len(group.hits) == 1 else 'holes'}"
    return holes, f"{1e3 * group.primary_si:g}/{1e3 * group.drill_si:g} mm", f"{least:.3f}-{most:.3f} mm left"


def _label(group: Group) -> list[str]:
    """Lines of the label of a group where there is room."""
    holes, drills, left = _parts(group)
    return [f"group {group.number}: {holes}", f"drills {drills}", f"must not cut {group.layer}", left]


def _short_label(group: Group) -> str:
    """What matters most of it on one line, for labels that stand upright."""
    return f"{group.number}: {group.layer}, {_parts(group)[2]}"


def apart(places: Sequence[float], step: float) -> list[float]:
    """Rising places moved as little as possible (least squares), so that neighbours are at least a step apart.

    Parameters
    ----------
    places : sequence of float
        Rising.
    step : float
        Least distance of neighbours.

    Returns
    -------
    list of float

    Notes
    -----
    With the steps taken off, the places must not fall: this is isotonic regression (Barlow et al., 1972; from memory).
    """
    from scipy.optimize import isotonic_regression

    steps = step * np.arange(len(places))
    moved = isotonic_regression(np.asarray(places) - steps).x + steps
    return [float(place) for place in moved]
