"""Owns the map of a board: its holes at their places, by drill group or by verdict."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from stubsi.board.names import how_many
from stubsi.checks import checked
from stubsi.drilling.plan import Plan
from stubsi.errors import StubsiError
from stubsi.margin.ranking import Ranking
from stubsi.margin.verdict import Verdict
from stubsi.show.axes import LONG_LEGEND, axes_for, draw_labels, draw_legend, room
from stubsi.show.palette import BLACK, GREY, GROUPS, LOOKS
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.lines import Line2D

    from stubsi.board.board import Board
    from stubsi.board.net import Hole
    from stubsi.show.palette import Marker


class _Kind(NamedTuple):
    """Holes that are drawn alike: their label, its short form in the legend, and their look."""

    label: str
    short: str
    colour: str
    marker: Marker
    size: float
    filled: bool = True


def plot_board_map(what: Plan | Ranking, ax: Axes | None = None) -> Axes:
    """Plot the holes of a board at their places [mm], seen from the top.

    Of a ranking, every signal hole has the colour and the mark of its net's verdict. Of a plan, the holes that are
    drilled have the colour and the mark of their drill group, an open mark where the stub misses its budget all the
    same; a hole drilled from both sides has both marks. The legend names number, side and must-not-cut layer of a
    group. The holes that are not drilled have the look of their net's verdict and are smaller. Holes of reference nets
    are dots. Holes whose position is not known are left out, and the title says how many they are.

    Parameters
    ----------
    what : Plan or Ranking
        Whose board is drawn.
    ax : matplotlib.axes.Axes, optional
        Where to draw; of a new figure unless given.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    StubsiError
        matplotlib is missing; neither plan nor ranking; no hole whose position is known; no axes.
    """
    if not isinstance(what, Plan | Ranking):
        raise StubsiError(f"what = {as_shown(what)}: must be a Plan or a Ranking.")
    board: Board = what.board
    ranking = what.limits.ranking if isinstance(what, Plan) else checked(what, "what", Ranking)
    every = [hole for net in board.nets for hole in net.holes]
    if not any(hole.xy_si for hole in every):
        raise StubsiError("what: no hole of this board has a position; there is no map to draw.")
    kinds = _kinds(board, ranking, what if isinstance(what, Plan) else None)
    width, height = _size(every, len(kinds))
    ax = axes_for(ax, width=width, height=height)
    shrink = min(1.0, math.sqrt(CROWD * room(ax).width * room(ax).height / len(every)) / 6.0)
    for number, (kind, holes) in enumerate(kinds.items()):
        places = [hole.xy_si for hole in holes if hole.xy_si]
        if places:
            xs, ys = ([1e3 * value for value in values] for values in zip(*places, strict=True))
            ax.plot(
                xs, ys, linestyle="", marker=kind.marker, markersize=shrink * kind.size, color=kind.colour,
                label=kind.label, markerfacecolor=kind.colour if kind.filled else "white", markeredgewidth=0.8,
                zorder=2 + number / 100,
            )  # fmt: skip
    ax.set_aspect("equal", adjustable="datalim")
    ax.margins(0.06)
    without = sum(hole.xy_si is None for hole in every)
    shows = f"Drill groups on the board, plan {what.digest}" if isinstance(what, Plan) else "Verdicts on the board"
    more = f"; {how_many(without, 'hole')} without a position {'is' if without == 1 else 'are'} left out"
    draw_labels(ax, shows + (more if without else ""), x="x [mm]", y="y [mm]")
    draw_legend(ax, _named(kinds))
    return ax


CROWD = 0.25
"""Share of the picture that the marks of all holes may cover at most, as if each were a square."""


def _named(kinds: dict[_Kind, list[Hole]]) -> list[Line2D]:
    """Entries of the legend: each look once, and once what an open mark means."""
    from matplotlib.lines import Line2D
    from matplotlib.markers import MarkerStyle

    def entry(label: str, colour: str, marker: Marker, face: str) -> Line2D:
        return Line2D(
            [], [], linestyle="", marker=MarkerStyle(marker), color=colour, markerfacecolor=face, markersize=5,
            label=label,
        )  # fmt: skip

    drawn = [kind for kind, holes in kinds.items() if holes]
    named = {kind.short: entry(kind.short, kind.colour, kind.marker, kind.colour) for kind in drawn}
    missed = [entry("open: misses budget", BLACK, "^", "white")] if any(not kind.filled for kind in drawn) else []
    return [*named.values(), *missed]


def _size(holes: list[Hole], kinds: int) -> tuple[float, float]:
    """Size of the figure [in]: as wide as text needs, as high as the outline of the holes and a long legend ask for."""
    xs, ys = zip(*(hole.xy_si for hole in holes if hole.xy_si), strict=True)
    wide, high = max(xs) - min(xs) or 1e-3, max(ys) - min(ys) or 1e-3
    legend = 0.2 * kinds / LEGEND_COLUMNS if kinds > LONG_LEGEND else 0.0
    return 8.0, min(max((7.0 if legend else 5.5) * high / wide, 3.2), 8.0) + 0.6 + legend


LEGEND_COLUMNS = 4
"""Columns of a legend below the map, about."""


def _kinds(board: Board, ranking: Ranking, plan: Plan | None) -> dict[_Kind, list[Hole]]:
    """Holes by how they are drawn: what recedes first, so that what stands out lies on top."""
    verdicts = {row.net: row.verdict for row in ranking}
    drilled = {hit.hole.name for hit in plan.hits} if plan else set()
    kinds: dict[_Kind, list[Hole]] = {
        _Kind("reference net", "reference net", GREY, ".", 2.0): [
            hole for net in board.nets if net.reference for hole in net.holes
        ]
    }
    beside, short = ("not drilled; net: ", "not drilled: ") if plan else ("", "")
    for verdict in reversed(Verdict):
        holes = [hole for net, hole in board.holes() if verdicts[net.name] is verdict and hole.name not in drilled]
        if holes:
            look = LOOKS[verdict]
            size = 4.0 if plan or verdict is Verdict.PASS else 6.0
            kinds[_Kind(f"{beside}{verdict}", f"{short}{verdict}", look.colour, look.marker, size)] = holes
    for group in plan.groups if plan else ():
        look = GROUPS[(group.number - 1) % len(GROUPS)]
        label = f"group {group.number}: {group.side}, {group.layer}"
        for missed in (False, True):
            holes = [hit.hole for hit in group.hits if (hit.miss is not None) is missed]
            if holes:
                name = f"{label}, misses its budget" if missed else label
                entry = f"{group.number}: {group.side}, {group.layer}"
                kinds[_Kind(name, entry, look.colour, look.marker, 6.0, not missed)] = holes
    return kinds
