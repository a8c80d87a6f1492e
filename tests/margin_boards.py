"""Small boards for the tests of ranking and budgets: seven copper layers in round numbers, every hole between vias."""

from __future__ import annotations

from stubsi import Board, CopperLayer, DielectricLayer, Hole, Net, Padstack, ReturnVias, Stackup

ROLES = {
    "TOP": "signal", "G1": "plane", "S1": "signal", "G2": "plane", "S2": "signal", "G3": "plane", "BOT": "signal",
}  # fmt: skip
COPPER, GAP = 0.03, 0.2
"""Thickness [mm] of every copper and every dielectric layer."""
AWAY = ((1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0))
"""Return vias around a hole [mm]."""
APART, IN_A_ROW = 20.0, 100
"""Distance [mm] between the holes of a board, and how many stand in a row, so that no board is too large."""
USED = [layer for layer, role in ROLES.items() if role != "plane"]
"""Layers that a net can use."""

VIA = Padstack(name="via", drill="0.3 mm", pad="0.5 mm", antipad="0.8 mm", non_functional_pads="removed")
POST = Padstack(name="post", drill="0.25 mm")
RETURNS = ReturnVias(positions=[(f"{x} mm", f"{y} mm") for x, y in AWAY], drill="0.25 mm")


def stackup(dk=3.8, gap=GAP, roles=ROLES, **more):
    """The stackup; ``dk=None``: unknown. ``more`` goes to every dielectric."""
    layers = []
    for name, role in roles.items():
        layers.append(CopperLayer(name=name, thickness=f"{COPPER} mm", role=role))
        layers.append(DielectricLayer(thickness=f"{gap} mm", dk=dk, **more))
    return Stackup(layers=tuple(layers[:-1]))


def at(place):
    """Position [mm] of a place."""
    row, column = divmod(place, IN_A_ROW)
    return column * APART, row * APART


def hole(name, connects, at=(0.0, 0.0), padstack=VIA, **more):
    return Hole(name=name, padstack=padstack, connects=connects, x=f"{at[0]} mm", y=f"{at[1]} mm", **more)


def net(name, *connects, place=0, signal="25 Gb/s", z0="50 ohm", padstack=VIA, press_fit=None, feed="", **more):
    """A net with a hole for each of these layers in use, standing at ``place``, ``place`` + 1 ..."""
    holes = tuple(
        hole(f"{name}.{i}", used, at(place + i), padstack, press_fit=press_fit, feed=feed)
        for i, used in enumerate(connects)
    )
    return Net(name=name, signal=signal, z0=z0, holes=holes, **more)


def pair(name, p, n, place=0, pitch=0.9, signal="25 Gb/s", z0="100 ohm", padstack=VIA, **more):
    """A pair whose legs use these layers."""
    x, y = at(place)
    holes = (
        hole(f"{name}.P", p, (x + pitch / 2, y), padstack, leg="P"),
        hole(f"{name}.N", n, (x - pitch / 2, y), padstack, leg="N"),
    )
    return Net(name=name, signal=signal, z0=z0, holes=holes, **more)


def ground(places, away=AWAY):
    """Return vias around each place."""
    holes = tuple(
        hole(f"GND.{place}.{i}", (), (at(place)[0] + x, at(place)[1] + y), POST)
        for place in range(places)
        for i, (x, y) in enumerate(away)
    )
    return Net(name="GND", holes=holes, reference=True)


def board(*nets, dk=3.8, places=None, layers=None, **more):
    """A board with return vias around as many places as it has holes; ``places=0``: nobody knows where they are."""
    count = sum(len(each.holes) for each in nets) if places is None else places
    known = (ground(count),) if count else ()
    return Board(stackup=layers or stackup(dk), nets=(*nets, *known), **more)
