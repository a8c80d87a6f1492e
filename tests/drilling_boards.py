"""Small boards and rules for the drilling tests: stackups in round numbers, and hypothesis strategies over them."""

from __future__ import annotations

import math

from hypothesis import strategies as st

from stubsi import Board, CopperLayer, Criterion, DielectricLayer, Hole, Net, Padstack, PressFit, Stackup
from stubsi.drilling.depth_tolerance import DepthTolerance, GuaranteedResidual
from stubsi.drilling.rules import FabricatorRules

SAYS = "made up for the test"
STEPS = 20
"""Random lengths come in multiples of 20 um: limits met exactly are tried."""


def mm(value):
    return f"{value:.6f} mm"


def stackup(gaps, copper=0.05):
    """Copper layers L1, L2 ... with these dielectric gaps [mm] between them."""
    layers = [CopperLayer(name="L1", thickness=mm(copper))]
    for number, gap in enumerate(gaps, 2):
        layers += [DielectricLayer(thickness=mm(gap), dk=4.0), CopperLayer(name=f"L{number}", thickness=mm(copper))]
    return Stackup(layers=tuple(layers))


VIA = Padstack(name="via", drill="0.3 mm", finished="0.25 mm", pad="0.5 mm", antipad="0.8 mm")


def net(name, connects, at_most, *, padstack=VIA, press_fit=None, **more):
    """A net of one hole whose stubs may be so long [mm]."""
    hole = Hole(name=f"{name}.1", padstack=padstack, connects=connects, press_fit=press_fit)
    limit = Criterion.stub_length(mm(at_most), source=SAYS)
    return Net(name=name, signal="10 Gb/s", z0="50 ohm", holes=(hole,), criterion=limit, **more)


def rules(**changed):
    """Rules with nothing in the way but what is changed."""
    plain = {
        "oversize": "0.2 mm", "tip_angle": 90, "tip_distance": None, "least_depth": "0 mm", "least_plated": "0 mm",
        "copper_clearance": "0.15 mm", "edge_tolerance": "0.05 mm", "sides": {"bottom": "any", "top": "any"},
        "datum": "copper", "depth_to": "tip", "source": SAYS,
        "tolerance": GuaranteedResidual(least="0.1 mm", most="0.3 mm", source=SAYS),
    }  # fmt: skip
    return FabricatorRules(**{**plain, **changed})


def depth_tolerance(plus=0.05, minus=0.05, thicker=0.0, thinner=0.0, reference="face", sensed=()):
    return DepthTolerance(
        plus=mm(plus), minus=mm(minus), thickness_plus=thicker, thickness_minus=thinner, reference=reference,
        sensed=dict(sensed), source=SAYS,
    )  # fmt: skip


def tenths(low, high):
    """Lengths [mm] in steps of 20 um."""
    return st.integers(round(low * 1000 / STEPS), round(high * 1000 / STEPS)).map(lambda n: n * STEPS / 1000)


@st.composite
def random_nets(draw, count):
    names = [f"L{i}" for i in range(1, count + 1)]
    nets = []
    for number in range(draw(st.integers(1, 7))):
        first, last = sorted(draw(st.lists(st.integers(0, count - 1), min_size=2, max_size=2, unique=True)))
        span = draw(st.sampled_from([None, None, None, (names[first], names[last])]))
        low, high = (first, last) if span else (0, count - 1)
        connects = draw(st.lists(st.sampled_from(names[low : high + 1]), min_size=1, max_size=2, unique=True))
        drill = draw(st.sampled_from([0.3, 0.3, 0.4]))
        padstack = Padstack(name=f"p{drill}{span}", drill=mm(drill), finished=mm(drill - 0.05), span=span)
        fit = None
        if span is None and draw(st.integers(0, 4)) == 0:
            side = draw(st.sampled_from(["top", "bottom"]))
            fit = PressFit(side=side, contact_from="0.1 mm", contact_to=mm(draw(tenths(0.2, 0.44))))
        at_most = draw(tenths(0.1, 1.2))
        nets.append(net(f"n{number}", tuple(connects), at_most, padstack=padstack, press_fit=fit))
    return tuple(nets)


@st.composite
def boards(draw, most_layers=6):
    """Through and blind holes on four to six layers, some press-fit, each with its own longest permitted stub."""
    gaps = draw(st.lists(tenths(0.1, 0.5), min_size=3, max_size=most_layers - 1))
    return Board(stackup=stackup(gaps), nets=draw(random_nets(len(gaps) + 1)))


RESIDUALS = st.tuples(tenths(-0.06, 0.2), tenths(0.02, 0.3)).map(
    lambda ends: GuaranteedResidual(least=mm(ends[0]), most=mm(ends[0] + ends[1] + 0.06), source=SAYS)
)
FACE_TOLERANCES = st.builds(
    depth_tolerance,
    plus=tenths(0, 0.1),
    minus=tenths(0, 0.1),
    thicker=st.sampled_from([0.0, 0.05, 0.1]),
    thinner=st.sampled_from([0.0, 0.05, 0.1]),
    reference=st.sampled_from(["face", "measured thickness"]),
)
SOUND_RESIDUALS = st.tuples(tenths(0.1, 0.16), tenths(0.02, 0.2)).map(
    lambda ends: GuaranteedResidual(least=mm(ends[0]), most=mm(sum(ends)), source=SAYS)
)
"""Guarantees that leave the layer in use alone under all but sharp tips."""
SIDES = st.sampled_from([{"bottom": "any"}, {"bottom": "any", "top": "any"}, {"bottom": "L2", "top": "L3"}])


def random_rules(tolerances):
    """Rules over their physical ranges; none unknown."""
    return st.builds(
        rules,
        tolerance=tolerances,
        tip_angle=st.sampled_from([90, 118, 130, 180]),
        tip_distance=tenths(0, 0.1).map(mm),
        least_depth=tenths(0, 0.3).map(mm),
        least_plated=tenths(0, 0.8).map(mm),
        sides=SIDES,
        datum=st.sampled_from(["copper", "laminate"]),
        depth_to=st.sampled_from(["tip", "shoulder"]),
    )


C = 299_792_458.0


def loss_by_hand(length, drill):
    """Loss at 14 GHz [dB] of an open stub [m] of a coaxial line at Dk 4 on a 50 ohm line: shunt at a T (textbook)."""
    z_stub = C * 4e-7 * math.pi / (2 * math.pi * 2) * math.log(0.8e-3 / drill)
    y = 50 / z_stub * math.tan(2 * math.pi * 14e9 * 2 / C * length)
    return 10 * math.log10(1 + (y / 2) ** 2)


PER_HOLE = tenths(0.2, 1.2).map(lambda length: Criterion.stub_length(mm(length), source=SAYS))
SUMMED = st.floats(0.03, 1.0).map(lambda loss: Criterion.loss(loss, source=SAYS))


@st.composite
def nets_on(draw, count):
    """Nets under a limit per stub; or for the sum of losses, then of two holes or more, each with a stub or more."""
    names, nets = [f"L{i}" for i in range(1, count + 1)], []
    for number in range(draw(st.integers(1, 5))):
        summed, holes = draw(st.booleans()), []
        for i in range(draw(st.integers(1, 2)) + summed):
            drill, blind = draw(st.sampled_from([0.3, 0.3, 0.4])), draw(st.integers(0, 5)) == 0
            last = draw(st.integers(2, count - 1)) if blind else count
            padstack = Padstack(
                name=f"p{drill}.{last}", drill=mm(drill), finished=mm(drill - 0.05), antipad="0.8 mm",
                span=("L1", f"L{last}") if blind else None,
            )  # fmt: skip
            layers = st.sampled_from(names[: last - summed])
            connects = draw(st.lists(layers, min_size=1, max_size=2, unique=True))
            holes.append(Hole(name=f"n{number}.{i}", padstack=padstack, connects=tuple(connects)))
        limit = draw(SUMMED if summed else PER_HOLE)
        nets.append(Net(name=f"n{number}", signal="28 Gb/s", z0="50 ohm", holes=tuple(holes), criterion=limit))
    return tuple(nets)


@st.composite
def coupled_boards(draw):
    """Through and blind holes on four or five layers, each net under a limit per stub or for the sum of its losses."""
    gaps = draw(st.lists(tenths(0.2, 0.6), min_size=3, max_size=4))
    return Board(stackup=stackup(gaps), nets=draw(nets_on(len(gaps) + 1)))
