"""Owns the palette: colour, marker and line of everything that is drawn, with the same meaning in every picture.

What must be drilled is dark and stands out, what passes is pale and recedes. The verdicts differ in lightness, so that
they can be told apart in grey, and each has a marker of its own. Tests say how far apart the colours are for an eye
without red, green or blue cones.
"""

from __future__ import annotations

from typing import NamedTuple

from stubsi.margin.verdict import Verdict

BLACK, DARK_BLUE, VIOLET, GREY, OCHRE, PALE_BLUE = "#1b1b1b", "#0b3f86", "#9c5bb0", "#8a8a8a", "#c9a03a", "#a9cbe6"
"""The six colours, from dark to pale."""


Marker = str | tuple[int, int, int]
"""Marker as matplotlib takes it."""


class Look(NamedTuple):
    """How something is drawn.

    Parameters
    ----------
    colour : str
    marker : str or tuple of int
    """

    colour: str
    marker: Marker


LOOKS = {
    Verdict.DRILL: Look(DARK_BLUE, "v"),
    Verdict.FALLS_SHORT: Look(BLACK, "X"),
    Verdict.CANNOT_HELP: Look(BLACK, "X"),
    Verdict.UNDECIDED: Look(VIOLET, "P"),
    Verdict.MARGINAL: Look(OCHRE, "D"),
    Verdict.PASS: Look(PALE_BLUE, "o"),
    Verdict.WAIVED: Look(GREY, "s"),
}
"""Colour and marker of every verdict. A net that falls short after drilling is drawn as one that drilling cannot help:
no ranking has both."""

STRONG = (DARK_BLUE, OCHRE, VIOLET, BLACK, GREY)
"""Colours of curves and drill groups in turn. The pale blue is left to what passes."""
STYLES = ("-", "-.", ":", "--")
CURVES = tuple((STYLES[n % len(STYLES)], STRONG[n % len(STRONG)]) for n in range(len(STYLES) * len(STRONG)))
"""Line style and colour of each curve in turn. Both change every time, so that equal curves on top of each other can be
told apart."""

MARKERS = ("v", "s", "D", "^", "P", "o", "X", "<", "h")
"""Marker of each curve in turn."""

GROUP_MARKERS: tuple[Marker, ...] = ("p", "<", "*", "h", "^", (4, 1, 0), "d", ">", (6, 1, 0))
"""Marker of each drill group in turn. A verdict has none of them, so that a hole that is drilled is never taken for one
that is not. A triple is a star: its number of points, 1, and an angle."""
GROUPS = tuple(Look(STRONG[n % 5], GROUP_MARKERS[n % 9]) for n in range(45))
"""Colour and marker of each drill group in turn; no two of the first 45 are equal."""

COPPER, DIELECTRIC, AIR = "#b87333", "#ebe9e1", "white"
"""Materials in a section of the board."""
