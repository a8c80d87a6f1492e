"""Owns what all plots share: the axes they draw in, labels as they are written, legends, axes of ratios.

Plots need the extra ``plot`` (matplotlib). Where no axes are given a plot makes a figure. Where pyplot is interactive,
as in a notebook, the figure is shown. In a script it is closed in pyplot at once, so that a thousand plots leave no
figure open; ``plot_margins(ranking).figure.savefig("margins.png")`` still works. A script that shows its plots in a
window makes the axes with ``pyplot.subplots`` and gives them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from stubsi.checks import checked, one_line
from stubsi.errors import StubsiError

if TYPE_CHECKING:
    from collections.abc import Sequence

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


def draw_legend(ax: Axes, **options: Any) -> None:
    """Draw a legend with its labels as they are: a $ in a source or a label is no formula.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    **options
        As ``Axes.legend`` takes them.
    """
    for text in ax.legend(**options).get_texts():
        text.set_parse_math(False)


BESIDE = {"fontsize": "small", "loc": "upper left", "bbox_to_anchor": (1.01, 1.0)}
"""Where a legend stands that must not hide what is drawn: right of the axes."""


def draw_title(ax: Axes, title: str) -> None:
    """Draw a title that says what is shown, as it is written.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    title : str
    """
    ax.set_title(one_line(title), fontsize="medium", loc="left", wrap=True, parse_math=False)


def draw_rows(ax: Axes, names: Sequence[str]) -> None:
    """Give every row of a plot its name, the first on top, in letters that leave the rows apart.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    names : sequence of str
    """
    count = max(len(names), 1)
    height = 0.9 * 72.0 / ax.figure.dpi * ax.get_window_extent().height
    size = min(8.0, max(0.75 * height / count, 1.0))
    ax.set_yticks(range(len(names)), [shown(name) for name in names], fontsize=size, parse_math=False)
    ax.set_ylim(count - 0.5, -0.5)


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


def three_digits(value: float) -> str:
    """Number with three significant digits, written out without an exponent.

    Parameters
    ----------
    value : float

    Returns
    -------
    str
    """
    return f"{float(f'{value:.3g}'):.0f}" if value >= 1000 else f"{value:.3g}"
