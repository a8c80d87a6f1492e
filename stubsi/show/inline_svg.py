"""Owns plots as SVG within an HTML page."""

from __future__ import annotations

import html
import io
import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

    from matplotlib.axes import Axes

    Draw = Callable[[], Axes]

LEAST_WIDTH = 640.0
"""Width of a picture below which its letters cannot be read [px]; in a narrower window it scrolls."""


def inline_svg(ax: Axes, name: str) -> str:
    """The figure of a plot as SVG without prolog, with texts as texts and a name.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    name : str
        What is shown, for those who do not see it; no two pictures of a page have the same.

    Returns
    -------
    str
        The same figure gives the same text.
    """
    from matplotlib import rc_context

    figure = ax.get_figure(root=True)
    assert figure is not None, "axes that were just drawn on have a figure"
    text = io.StringIO()
    with rc_context({"svg.fonttype": "none", "svg.hashsalt": name}):
        figure.savefig(text, format="svg", metadata={"Date": None})
    drawn = text.getvalue()
    drawn = drawn[drawn.index("<svg") :]
    drawn = re.sub(r"<metadata>.*?</metadata>", "", drawn, flags=re.DOTALL)
    drawn = re.sub(r'(<svg [^>]*?)width="[^"]*" ?', r"\1", drawn, count=1)
    drawn = re.sub(r'(<svg [^>]*?)height="[^"]*" ?', r"\1", drawn, count=1)
    wide = 96.0 * figure.get_figwidth()  # as large as drawn, and little larger or smaller than that
    size = f"min-width:{min(wide, LEAST_WIDTH):.0f}px;max-width:{1.25 * wide:.0f}px"
    return drawn.replace("<svg ", f'<svg role="img" aria-label="{html.escape(name)}" style="{size}" ', 1)
