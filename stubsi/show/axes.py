"""Owns what all plots share: the axes they draw in, titles and labels, legends, rows of nets, axes of ratios.

Plots need the extra ``plot`` (matplotlib). Where no axes are given a plot makes a figure. Where pyplot is interactive,
as in a notebook, the figure is shown. In a script it is closed in pyplot at once, so that a thousand plots leave no
figure open; ``plot_margins(ranking).figure.savefig("margins.png")`` still works. A script that shows its plots in a
window makes the axes with ``pyplot.subplots(layout="constrained")`` and gives them; that layout leaves room for the
legend, which stands beside the axes, or below them where they are narrow.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, NamedTuple

from stubsi.board.names import how_many
from stubsi.checks import checked, one_line
from stubsi.errors import StubsiError
from stubsi.show.tables import cut

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.artist import Artist
    from matplotlib.axes import Axes


def axes_for(ax: Axes | None, *, width: float, height: float) -> Axes:
    """Axes to draw in.

    Parameters
    ----------
    ax : matplotlib.axes.Axes or None
        The axes that the user gave, or None.
    width, height : float
        Size [in] of the new figure that is made where none are given.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    StubsiError
        matplotlib is missing; ``ax`` is no axes.
    """
    try:
        import matplotlib.pyplot as plt
        from matplotlib.axes import Axes
    except ImportError as error:
        raise StubsiError("matplotlib: missing; plots need the extra 'plot': pip install 'stubsi[plot]'.") from error
    if ax is None:
        figure, ax = plt.subplots(figsize=(width, height), layout="constrained")
        if not plt.isinteractive():
            plt.close(figure)
        return ax
    return checked(ax, "ax", Axes)


def check_axes(ax: Axes | None) -> None:
    """Refuse what is no axes, before anything is solved for the plot.

    Parameters
    ----------
    ax : matplotlib.axes.Axes or None

    Raises
    ------
    StubsiError
        matplotlib is missing; ``ax`` is no axes.
    """
    if ax is not None:
        axes_for(ax, width=0.0, height=0.0)


def shown(label: str) -> str:
    """Label on one line.

    Parameters
    ----------
    label : str

    Returns
    -------
    str
        A blank stands before an underscore, because matplotlib leaves such labels out.
    """
    return f" {one_line(label)}" if label.startswith("_") else one_line(label)


class Room(NamedTuple):
    """Room inside of axes, before the layout is made.

    Parameters
    ----------
    width, height : float
        Of the axes [pt].
    """

    width: float
    height: float


def room(ax: Axes) -> Room:
    """Room that axes will have: all of the figure but for ticks and titles if they stand alone in a constrained layout.

    Parameters
    ----------
    ax : matplotlib.axes.Axes

    Returns
    -------
    Room
    """
    figure = ax.get_figure(root=True)
    inside = ax.get_window_extent()
    points = 72.0 / ax.figure.dpi
    given = Room(inside.width * points, inside.height * points)
    if figure is None or figure.get_layout_engine() is None or len(figure.axes) > 1:
        return given
    wide, high = (72.0 * inches for inches in figure.get_size_inches())
    return Room(max(0.3 * wide, wide - 75.0), max(0.3 * high, high - 60.0))


def draw_labels(ax: Axes, title: str, *, x: str = "", y: str = "") -> None:
    """Draw the title that says what is shown, as it is written, and the axes with their units.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    title : str
    x, y : str
        What the axes show, with the unit; blank: nothing is written there.
    """
    ax.set_title(one_line(title), fontsize="medium", loc="left", wrap=True, parse_math=False)
    ax.set_xlabel(x)
    ax.set_ylabel(y)


NARROW = 330.0
"""Axes narrower than this have their legend below them [pt]."""
LONG_LEGEND = 16
"""A legend of more lines than these stands below the axes, in columns."""
LETTER = 0.6
"""Width of a letter over its size, on average [-]; that of the font that matplotlib brings."""


def draw_legend(ax: Axes, handles: Sequence[Artist] | None = None, *, inside: str = "") -> None:
    """Draw a legend where it hides nothing: beside wide axes, below narrow ones or where it is long.

    The texts are drawn as they are: a $ in a source or a label is no formula.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    handles : sequence of matplotlib.artist.Artist, optional
        What it names, by label; all that has a label unless given.
    inside : str, optional
        Corner inside of wide axes where nothing is drawn, as ``Axes.legend`` names it.
    """
    known = ax.get_legend_handles_labels()[0] if handles is None else list(handles)
    texts = [str(handle.get_label()) for handle in known]
    lines = sum(1 + text.count("\n") for text in texts)
    place: dict[str, Any]
    if room(ax).width < NARROW or lines > LONG_LEGEND:
        place = _below(ax, texts, lines)
    elif inside:
        place = {"fontsize": "small", "loc": inside}
    else:
        place = {"fontsize": "small", "loc": "upper left", "bbox_to_anchor": (1.01, 1.0)}
    for text in ax.legend(known, texts, **place).get_texts():
        text.set_parse_math(False)


def _below(ax: Axes, texts: list[str], lines: int) -> dict[str, Any]:
    """How a legend stands below the axes and their label: as many columns as fit, letters that leave the plot room."""
    from matplotlib.transforms import ScaledTranslation

    inside, size = room(ax), 8.0
    while True:
        columns = _columns(texts, inside.width / size)
        if size <= 5.0 or 1.3 * size * lines / columns < 0.35 * inside.height:
            break
        size -= 1.0
    down = (20.0 + 13.0 * (1 + ax.get_xlabel().count("\n")) * bool(ax.get_xlabel())) / 72.0
    figure = ax.get_figure(root=True)
    assert figure is not None, "axes that were just drawn on have a figure"
    return {
        "fontsize": size, "ncols": columns, "loc": "upper left", "bbox_to_anchor": (0.0, 0.0), "borderaxespad": 0.0,
        "bbox_transform": ax.transAxes + ScaledTranslation(0.0, -down, figure.dpi_scale_trans),
        "handlelength": 1.6, "handletextpad": 0.5, "columnspacing": 1.0, "labelspacing": 0.25,
    }  # fmt: skip


def _columns(texts: list[str], letters: float) -> int:
    """Most columns of a legend that is at most so many letters wide."""
    widths = [1.1 * LETTER * max(map(len, text.split("\n"))) + 3.1 for text in texts]
    for columns in range(len(texts), 1, -1):
        rows = math.ceil(len(texts) / columns)
        if sum(max(widths[n : n + rows]) for n in range(0, len(texts), rows)) + 1.0 <= letters:
            return columns
    return 1


ROW = 7.0
"""Least height of a row whose name can be read [pt]."""


def rows_that_fit(ax: Axes, most: int) -> int:
    """How many rows with a name can be read.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    most : int
        Not more than these.

    Returns
    -------
    int
        One at least.
    """
    return max(1, min(most, int(_height_of_rows(ax) / ROW)))


def _height_of_rows(ax: Axes) -> float:
    """Height that rows will share [pt]; half of the room of narrow axes is for the legend and titles of two lines."""
    return room(ax).height * (0.5 if room(ax).width < NARROW else 1.0)


MOST_LETTERS = 28
"""Letters of a name beside a row at most, so that the rows have room; a longer one loses its middle,
unless two of them differ only there."""


def draw_rows(ax: Axes, names: Sequence[str]) -> None:
    """Give every row of a plot its name, the first on top, in letters that leave the rows apart.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    names : sequence of str
    """
    count = max(len(names), 1)
    size = min(8.0, max(0.8 * _height_of_rows(ax) / count, 1.0))
    short = [cut(name, MOST_LETTERS) for name in names]
    labels = short if len(set(short)) == len(set(names)) else names
    ax.set_yticks(range(len(names)), [shown(label) for label in labels], fontsize=size, parse_math=False)
    ax.set_ylim(count - 0.5, -0.5)


NOTE = 6.5
"""Size of the letters of a note in a row [pt]."""


def draw_note(ax: Axes, row: int, ends: tuple[float, float], text: str) -> None:
    """Write a note in a row beside what is drawn there: right of it, or left of it where the axes end.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
        With the limits that they keep.
    row : int
    ends : (float, float)
        Left and right end of what is drawn in the row.
    text : str
    """
    to_axes = ax.transData + ax.transAxes.inverted()
    left_of_edge = (1.0 - to_axes.transform((ends[1], row))[0]) * room(ax).width
    right = left_of_edge > LETTER * NOTE * len(text) + 6.0
    ax.annotate(
        text, (ends[1] if right else ends[0], row), (4 if right else -4, 0), textcoords="offset points",
        ha="left" if right else "right", va="center", fontsize=NOTE, parse_math=False,
    )  # fmt: skip


def draw_beyond(ax: Axes, row: int, text: str) -> None:
    """Write at the right edge of a row what lies beyond it, with an arrow.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    row : int
    text : str
    """
    ax.text(
        0.99, row, f"{text} \N{RIGHTWARDS ARROW}".lstrip(), transform=ax.get_yaxis_transform(), ha="right",
        va="center", fontsize=NOTE, parse_math=False,
    )  # fmt: skip


def not_drawn(count: int) -> str:
    """Line below the name of an axis that says how many nets are left out; blank where none is.

    Parameters
    ----------
    count : int

    Returns
    -------
    str
    """
    if count <= 0:
        return ""
    return f"\n{how_many(count, 'net')} with more margin {'is' if count == 1 else 'are'} not drawn"


def set_log_axis(ax: Axes, ends: tuple[float, float]) -> None:
    """Make the x axis logarithmic between two ends, labelled with plain numbers.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    ends : (float, float)
    """
    from matplotlib.ticker import LogLocator, NullFormatter, StrMethodFormatter

    ax.set_xscale("log")
    ax.set_xlim(ends)
    ax.xaxis.set_major_locator(LogLocator(subs=(1, 2, 5)))
    ax.xaxis.set_major_formatter(StrMethodFormatter("{x:g}"))
    ax.xaxis.set_minor_formatter(NullFormatter())
