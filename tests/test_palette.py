"""The palette: verdicts can be told apart by every eye, in grey, and without any colour.

An eye without one kind of cones: the matrices of Machado, Oliveira and Fernandes, 2009, severity 1, for linear RGB
(from memory; each of their rows must sum to 1, so that grey stays grey). The distance is that of CIE 1976, in CIELAB.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from stubsi import Verdict
from stubsi.show.palette import CURVES, DIELECTRIC, GROUP_MARKERS, GROUPS, LOOKS, STRONG

EYES = {
    "every cone": np.eye(3),
    "no red cones": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "no green cones": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.01182, 0.04294, 0.968881]],
    "no blue cones": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.3039]],
}
TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.072175], [0.0193339, 0.119192, 0.9503041]]
)
"""From linear sRGB, white D65. Source: IEC 61966-2-1, digits from memory."""


def linear(colour):
    parts = np.array([int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)])
    return np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)


def lab(rgb):
    """CIELAB of linear RGB (CIE 15)."""
    xyz = TO_XYZ @ np.clip(rgb, 0, 1) / TO_XYZ.sum(axis=1)
    x, y, z = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz * (29 / 6) ** 2 / 3 + 4 / 29)
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


def verdict_colours():
    return {look.colour: verdict for verdict, look in LOOKS.items()}


def test_the_reference_colours_have_their_published_lightness():
    """White 100, black 0, and the grey of 18 % reflectance near 50 (CIE 15)."""
    assert lab(np.ones(3)) == pytest.approx([100, 0, 0], abs=1e-3)
    assert lab(np.zeros(3)) == pytest.approx([0, 0, 0], abs=1e-9)
    assert lab(np.full(3, 0.18))[0] == pytest.approx(49.5, abs=0.05)
    for eye in EYES.values():
        assert np.sum(eye, axis=1) == pytest.approx([1, 1, 1], abs=1e-5)


@pytest.mark.parametrize("eye", EYES)
def test_verdicts_are_told_apart_by_every_eye(eye):
    """A distance of 2.3 is just noticeable (Mahy et al. 1994, from memory); marks of a few points need much more."""
    seen = [lab(EYES[eye] @ linear(colour)) for colour in [*verdict_colours(), "#ffffff"]]
    assert min(np.linalg.norm(one - other) for one, other in itertools.combinations(seen, 2)) > 14


@pytest.mark.parametrize("eye", EYES)
def test_curves_and_groups_are_told_apart_by_every_eye(eye):
    seen = [lab(EYES[eye] @ linear(colour)) for colour in [*STRONG, "#ffffff"]]
    assert min(np.linalg.norm(one - other) for one, other in itertools.combinations(seen, 2)) > 14


def test_verdicts_are_told_apart_in_grey():
    lightness = sorted(lab(linear(colour))[0] for colour in [*verdict_colours(), "#ffffff"])
    assert np.diff(lightness).min() > 8


def test_what_must_be_drilled_stands_out_and_what_passes_recedes():
    """On paper and on the dielectric of a section: the contrast to the ground falls from drill to pass."""
    contrast = {verdict: 100 - lab(linear(look.colour))[0] for verdict, look in LOOKS.items()}
    failing = [Verdict.DRILL, Verdict.CANNOT_HELP, Verdict.FALLS_SHORT]
    assert min(contrast[verdict] for verdict in failing) > max(
        contrast[verdict] for verdict in contrast if verdict not in failing
    )
    assert min(contrast, key=contrast.get) == Verdict.PASS
    assert lab(linear(DIELECTRIC))[0] > 90


def test_no_traffic_lights():
    """No verdict is red, green or bright yellow: hue alone never says stop or go."""
    for colour in verdict_colours():
        _, a, b = lab(linear(colour))
        assert abs(a) < 45
        assert a > -20
        assert b < 60


def test_every_verdict_has_a_look_and_its_own_marker():
    assert set(LOOKS) == set(Verdict)
    markers = {look.colour: look.marker for look in LOOKS.values()}
    assert len(set(markers.values())) == len(markers)


def test_no_two_of_the_first_curves_or_groups_look_the_same():
    for looks in (CURVES, GROUPS):
        assert len(set(looks)) == len(looks)
        assert all(one[0] != other[0] and one[1] != other[1] for one, other in itertools.pairwise(looks))
    assert len(GROUPS) >= 40


def test_a_hole_that_is_drilled_is_never_taken_for_one_that_is_not():
    """On one map stand drill groups and the verdicts of the nets that are not drilled."""
    assert {look.marker for look in LOOKS.values()}.isdisjoint(GROUP_MARKERS)
