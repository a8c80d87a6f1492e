"""Owns the other lengths of a stub that count as well: just beyond the next face of copper, and shorter ones.

At a face of copper the notch of the model may change abruptly, and a dip may become too flat to count. Plating never
makes a stub better, so it is judged no better than a shorter one.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from stubsi.physics.return_path import equal_posts
from stubsi.stubs.stub_feed import FeedKind

if TYPE_CHECKING:
    from stubsi.stubs.cases import Case

BEYOND_THE_FACE = "its end lies just before a face of copper; what it would be just beyond counts as well"
SHORTER = "a shorter stub is worse in the model, so it counts as well: plating makes no stub better"
NEAR_A_FACE, ABRUPT = 1.02, 1e-8
"""A stub that would be longer by less than this factor [-] if it ended at the next face of copper ends just before it.
Ends nearer to each other than the second value [m] are the same."""
JUST_BEYOND = 2.0
"""A stub that ends in the board and is longer by less than this factor [-] than one that ends just before the last face
of copper ends just beyond it. In the model, and only there, the notch may rise at that face, by up to 13 % in random
geometry; a stub so much longer has made up for it. The shorter stub is again compared with one that ends just before
the face before. These lengths are the same for every length of a stub, so they are solved once."""
STEP, SHORTEST = 1.05, 1e-6
"""Lengths that a tee is compared with: powers of the first value [-] times the second [m], from half its length on. A
dip of a tee may become too flat to count although the loss stays. The next one would then be taken for its notch."""
LOST, COARSER = 0.7, 2
"""A stub whose signal comes along the barrel is compared with every second of these lengths, and only if the lowest dip
that is nearly a notch lies below this share of its first notch [-]. Else no notch of a shorter stub has been lost."""
STANDING_IN, AWAY = 6, 0.67e-3
"""Where the return vias are unknown, so many of them at the second value [m] from the clearance stand in for all that
are scanned: only the least notch of the shorter stubs counts then. In random geometry it rose with length by up to 38 %
without them, and by 2 % with them."""


def just_beyond(case: Case) -> list[Case]:
    """The case as if it ended just beyond the next face of copper, if that is near.

    Parameters
    ----------
    case : Case

    Returns
    -------
    list of Case
        None or one.
    """
    faces = case.shape.face_lengths_si
    place = int(np.searchsorted(faces, case.length_si - ABRUPT / 2, side="left"))
    if place + 1 >= len(faces) or faces[place] > NEAR_A_FACE * case.length_si:
        return []
    return [case._replace(length_si=float(faces[place]) + ABRUPT)]


def shorter_lengths(case: Case, *, low: float, nearly: float) -> list[float]:
    """Lengths of the stubs that the case must not be judged better than, because it holds all of their plating.

    Parameters
    ----------
    case : Case
    low, nearly : float
        Its first notch, and its lowest dip that is a notch or nearly one [Hz].

    Returns
    -------
    list of float
        [m]. Those that end just before a face of copper near the end of a stub that ends in the board. For a stub
        among known return vias whose signal may come on the layer where it starts, or that has a dip far below its
        notch, also those on a fixed scale of lengths from half of its own on.
    """
    found = _before_faces(case)
    if case.around.returns is None:
        return found
    if case.shape.feed.kind is not FeedKind.THROUGH:
        return found + _on_the_scale(case)
    return found + _on_the_scale(case)[::COARSER] if nearly < LOST * low else found


def shorter_among_vias(case: Case) -> list[Case]:
    """Shorter stubs among some return vias, for a stub of a single hole whose return vias are unknown.

    Parameters
    ----------
    case : Case

    Returns
    -------
    list of Case
        On the fixed scale of lengths, if the signal may come on the layer where it starts.
    """
    around, padstack = case.around, case.shape.padstack
    if around.returns is not None or around.odd or case.shape.feed.kind is FeedKind.THROUGH:
        return []
    antipads = [padstack.antipad, *(antipad for _, antipad in padstack.antipads)]
    widest = max((antipad.width_si for antipad in antipads if antipad is not None), default=padstack.drill_si)
    vias = equal_posts(STANDING_IN, (widest + padstack.drill_si) / 2 + AWAY, padstack.drill_si / 2)
    among = around._replace(returns=vias.positions, radius=vias.radius)
    return [case._replace(length_si=length, around=among) for length in _on_the_scale(case)]


def _before_faces(case: Case) -> list[float]:
    """Lengths just before the faces of copper, each while the stub ends just beyond it."""
    faces, length, found = case.shape.copper_lengths_si, case.length_si, list[float]()
    if length + ABRUPT >= case.shape.stub_length_si:
        return found
    for face in faces[: int(np.searchsorted(faces, length - ABRUPT, side="left"))].tolist()[::-1]:
        if length >= JUST_BEYOND * face:
            break
        length = face - ABRUPT
        found.append(length)
    return found


def _on_the_scale(case: Case) -> list[float]:
    """Lengths on the fixed scale, from half the length on."""
    if case.shape.ends_in_pin:
        return []
    last = (case.length_si - ABRUPT) / SHORTEST
    first = last / JUST_BEYOND
    powers = range(max(0, math.ceil(math.log(first, STEP))), math.floor(math.log(last, STEP)) + 1) if first > 0 else ()
    return [SHORTEST * STEP**power for power in powers]
