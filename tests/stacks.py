"""Uniform stacks of planes for the tests of the solved stub, lengths in mm."""

from __future__ import annotations

from stubsi.physics.barrel import Barrel, End, Level, Material
from stubsi.physics.chain import Chain
from stubsi.physics.return_path import Ring
from stubsi.physics.solved_barrel import solve

MM = 1e-3
RING = Ring(radius=1.0 * MM)


def material(dk=3.8, df=0.0, frequency=None, dk_z=None):
    return Material(dk_in_plane=dk, dk_z=dk if dk_z is None else dk_z, df=df, frequency=frequency)


def plane(thickness=0.03, clearance=0.4, pad=None, of=None):
    return Level(
        kind="plane",
        thickness=thickness * MM,
        material=of or material(),
        clearance_radius=clearance * MM,
        pad_radius=None if pad is None else pad * MM,
    )


def fill(height=0.2, of=None):
    return Level(kind="dielectric", thickness=height * MM, material=of or material())


def signal(thickness=0.03, pad=None, of=None):
    return Level(
        kind="signal",
        thickness=thickness * MM,
        material=of or material(),
        pad_radius=None if pad is None else pad * MM,
    )


def stack(cavities=4, a=0.15, b=0.4, t=0.03, h=0.2, outer=0.1, of=None, plane_pad=None, end_pad=0.25, **barrel):
    """Stub from the mid-thickness of a plane through equal cavities to a pad (or a bare end) outside."""
    of = of or material()
    cell = [fill(h, of), plane(t, b, plane_pad, of)]
    levels = (plane(t / 2, b, None, of), *cell * cavities, fill(outer, of))
    end = End() if end_pad is None else End(pad_radius=end_pad * MM, pad_thickness=t * MM)
    return Barrel(barrel_radius=a * MM, levels=levels, end=end, **barrel)


def through(cavities=4, a=0.15, b=0.4, t=0.03, h=0.2, of=None, **barrel):
    """Length of barrel between the mid-thicknesses of two planes."""
    of = of or material()
    inner = [fill(h, of), plane(t, b, None, of)]
    levels = (plane(t / 2, b, None, of), *inner * (cavities - 1), fill(h, of), plane(t / 2, b, None, of))
    return Barrel(barrel_radius=a * MM, levels=levels, end=None, **barrel)


def chain(*barrels, path=RING):
    return Chain.of((solve(barrel), path) for barrel in barrels)
