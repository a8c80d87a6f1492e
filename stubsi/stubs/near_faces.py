"""Owns the ends of a stub near a face of copper: the same stub as if it ended just beyond the face, or just before.

There the notch of the model may change abruptly. So what the stub would be on the other side of the face counts as
well.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from stubsi.stubs.cases import Case

BEYOND_THE_FACE = "its end lies just before a face of copper; what it would be just beyond counts as well"
BEFORE_THE_FACE = "its end lies just beyond a face of copper; what it would be just before counts as well"
NEAR_A_FACE, ABRUPT = 1.02, 1e-8
"""A stub that would be longer by less than this factor [-] if it ended at the next face of copper ends just before it.
Ends nearer to each other than the second value [m] are the same."""
JUST_BEYOND = 2.0
"""A stub that ends in the board and is longer by less than this factor [-] than one that ends just before the last face
of copper ends just beyond it. In the model, and only there, the notch may rise at that face, by up to 13 % in random
geometry; a stub so much longer has made up for it. The shorter stub is again compared with one that ends just before
the face before. These lengths are the same for every length of a stub, so they are solved once."""


def just_beyond(case: Case) -> Case | None:
    """The case as if it ended just beyond the next face of copper, if that is near.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Case or None
        None if it is not near.
    """
    faces = case.shape.face_lengths_si
    place = int(np.searchsorted(faces, case.length_si + ABRUPT, side="left"))
    if place + 1 >= len(faces) or faces[place] > NEAR_A_FACE * case.length_si:
        return None
    return case._replace(length_si=float(faces[place]) + ABRUPT)


def just_before(case: Case) -> Case | None:
    """The case as if it ended just before the last copper, if it ends in the board just beyond the face of that.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Case or None
        None if it does not.
    """
    faces = case.shape.copper_lengths_si
    if case.length_si + ABRUPT >= case.shape.stub_length_si:
        return None
    place = int(np.searchsorted(faces, case.length_si - ABRUPT, side="left")) - 1
    if place < 0 or case.length_si >= JUST_BEYOND * faces[place]:
        return None
    return case._replace(length_si=float(faces[place]) - ABRUPT)
