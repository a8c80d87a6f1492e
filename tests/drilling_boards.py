"""Small boards and rules for the drilling tests: stackups in round numbers, and hypothesis strategies over them.

Values drawn again and again are built once: all of them are frozen.
"""

from __future__ import annotations

import itertools
import math
from functools import cache

from hypothesis import example
from hypothesis import strategies as st

from stubsi import Board, CopperLayer, Criterion, DielectricLayer, Hole, Net, Padstack, PressFit, Stackup
from stubsi.drilling.depth_tolerance import DepthTolerance
from stubsi.drilling.guaranteed_residual import GuaranteedResidual
from stubsi.drilling.rules import FabricatorRules

SAYS = "made up for the test"
STEPS = 20
"""Random lengths come in multiples of 20 um: limits met exactly are tried."""


def mm(value):
    return f"{value:.6f} mm"


@cache
def copper_layer(number, thickness):
    return CopperLayer(name=f"L{number}", thickness=mm(thickness))


@cache
def dielectric_layer(thickness):
    return DielectricLayer(thickness=mm(thickness), dk=4.0)


def stackup(gaps, copper=0.05):
    """Copper layers L1, L2 ... with these dielectric gaps [mm] between them."""
    layers = [copper_layer(1, copper)]
    for number, gap in enumerate(gaps, 2):
        layers += [dielectric_layer(gap), copper_layer(number, copper)]
    return Stackup(layers=tuple(layers))


VIA = Padstack(name="via", drill="0.3 mm", finished="0.25 mm", pad="0.5 mm", antipad="0.8 mm")


@cache
def padstack(drill, span=None, antipad=None):
    """A padstack by its drill [mm], named after what is given."""
    return Padstack(
        name=f"p{drill}{span}{antipad}", drill=mm(drill), finished=mm(drill - 0.05), span=span, antipad=antipad
    )


@cache
def press_fit(side, contact_to):
    """A pin from this side, in contact from 0.1 mm to so deep [mm]."""
    return PressFit(side=side, contact_from="0.1 mm", contact_to=mm(contact_to))


@cache
def longest(at_most):
    """The criterion that a stub is at most so long [mm]."""
    return Criterion.stub_length(mm(at_most), source=SAYS)


def net(name, connects, at_most, *, padstack=VIA, press_fit=None, **more):
    """A net of one hole whose stubs may be so long [mm]."""
    hole = Hole(name=f"{name}.1", padstack=padstack, connects=connects, press_fit=press_fit)
    return Net(name=name, signal="10 Gb/s", z0="50 ohm", holes=(hole,), criterion=longest(at_most), **more)


def rules(**changed):
    """Rules with nothing in the way but what is changed."""
    plain = {
        "oversize": "0.2 mm", "tip_angle": 90, "tip_distance": None, "least_depth": "0 mm", "least_plated": "0 mm",
        "copper_clearance": "0.15 mm", "edge_tolerance": "0.05 mm", "hole_clearance": "0 mm",
        "sides": {"bottom": "any", "top": "any"},
        "datum": "copper", "depth_to": "tip", "source": SAYS,
        "tolerance": GuaranteedResidual(least="0.1 mm", most="0.3 mm", source=SAYS),
    }  # fmt: skip
    return FabricatorRules(**{**plain, **changed})


def depth_tolerance(plus=0.05, minus=0.05, thicker=0.0, thinner=0.0, reference="face", sensed=()):
    return DepthTolerance(
        plus=mm(plus), minus=mm(minus), thickness_plus=thicker, thickness_minus=thinner, reference=reference,
        sensed=dict(sensed), source=SAYS,
    )  # fmt: skip


@cache
def tenths(low, high):
    """Lengths [mm] in steps of 20 um."""
    return st.integers(round(low * 1000 / STEPS), round(high * 1000 / STEPS)).map(lambda n: n * STEPS / 1000)


@cache
def some_layers(first, last):
    """One or two of the layers from the first to the last."""
    names = [f"L{number}" for number in range(first, last + 1)]
    return st.lists(st.sampled_from(names), min_size=1, max_size=2, unique=True).map(tuple)


@cache
def spans(count):
    """First and last layer of a blind or buried hole."""
    layer = st.integers(1, count)
    return st.lists(layer, min_size=2, max_size=2, unique=True).map(sorted).map(tuple)


DRILLS = st.sampled_from([0.3, 0.3, 0.4])
PINS = st.builds(press_fit, st.sampled_from(["top", "bottom"]), tenths(0.2, 0.44))
ONE_IN_FOUR, ONE_IN_FIVE, ONE_IN_SIX = (st.sampled_from([False] * n + [True]) for n in (3, 4, 5))
UP_TO_TWO, UP_TO_FIVE, UP_TO_SEVEN = (st.integers(1, most) for most in (2, 5, 7))


@st.composite
def random_nets(draw, count):
    nets = []
    for number in range(draw(UP_TO_SEVEN)):
        blind = draw(ONE_IN_FOUR)
        first, last = draw(spans(count)) if blind else (1, count)
        connects, drill = draw(some_layers(first, last)), draw(DRILLS)
        fit = None if blind or not draw(ONE_IN_FIVE) else draw(PINS)
        span = (f"L{first}", f"L{last}") if blind else None
        at_most = draw(tenths(0.1, 1.2))
        nets.append(net(f"n{number}", connects, at_most, padstack=padstack(drill, span), press_fit=fit))
    return tuple(nets)


@cache
def some_gaps(low, high, most):
    """Three dielectrics [mm] at least."""
    return st.lists(tenths(low, high), min_size=3, max_size=most)


@st.composite
def boards(draw, most_layers=6):
    """Through and blind holes on four to six layers, some press-fit, each with its own longest permitted stub."""
    gaps = draw(some_gaps(0.1, 0.5, most_layers - 1))
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


def loss_by_hand(*lengths, drill):
    """Loss at 14 GHz [dB] of open stubs [m] of coaxial lines at Dk 4, all at one place of a 50 ohm line (textbook)."""
    z_stub = C * 4e-7 * math.pi / (2 * math.pi * 2) * math.log(0.8e-3 / drill)
    y = sum(50 / z_stub * math.tan(2 * math.pi * 14e9 * 2 / C * length) for length in lengths)
    return 10 * math.log10(1 + (y / 2) ** 2)


PER_HOLE = tenths(0.2, 1.2).map(longest)
SUMMED = st.floats(0.03, 1.0).map(lambda loss: Criterion.loss(loss, source=SAYS))


@st.composite
def nets_on(draw, count):
    """Nets under a limit per stub; or for the sum of losses, then of two holes or more, each with a stub or more."""
    nets = []
    for number in range(draw(UP_TO_FIVE)):
        summed, holes = draw(st.booleans()), []
        for i in range(draw(UP_TO_TWO) + summed):
            drill, blind = draw(DRILLS), draw(ONE_IN_SIX)
            last = draw(st.integers(2, count - 1)) if blind else count
            via = padstack(drill, ("L1", f"L{last}") if blind else None, "0.8 mm")
            holes.append(Hole(name=f"n{number}.{i}", padstack=via, connects=draw(some_layers(1, last - summed))))
        limit = draw(SUMMED if summed else PER_HOLE)
        nets.append(Net(name=f"n{number}", signal="28 Gb/s", z0="50 ohm", holes=tuple(holes), criterion=limit))
    return tuple(nets)


@st.composite
def coupled_boards(draw):
    """Through and blind holes on four or five layers, each net under a limit per stub or for the sum of its losses."""
    gaps = draw(some_gaps(0.2, 0.6, 4))
    return Board(stackup=stackup(gaps), nets=draw(nets_on(len(gaps) + 1)))


def six_layers(*nets):
    """Near faces from the bottom: L5 0.30, L4 0.60, L3 0.90, L2 1.20, L1 1.50 mm."""
    return Board(stackup=stackup((0.25,) * 5), nets=nets)


CORNER_BOARD = six_layers(
    net("both sides", ("L3", "L4"), 0.5),
    net("exactly met", ("L1", "L3"), 0.3),
    net("wider drill", ("L1", "L3"), 0.5, padstack=padstack(0.4)),
    net("blind", ("L1", "L2"), 0.1, padstack=padstack(0.3, ("L1", "L4"))),
    net("buried", ("L3",), 0.2, padstack=padstack(0.3, ("L2", "L5"))),
    net("pin away from the drill", ("L1",), 0.8, press_fit=press_fit("top", 0.3)),
    net("pin in the way", ("L1", "L2"), 0.5, press_fit=press_fit("bottom", 0.44)),
)
"""One of everything that has once been handled wrongly, or could be."""


def summed_net(name, limit, *connects):
    """A net judged by the sum of its losses [dB]."""
    holes = tuple(
        Hole(name=f"{name}.{i}", padstack=padstack(0.3, None, "0.8 mm"), connects=layers)
        for i, layers in enumerate(connects)
    )
    limit = Criterion.loss(limit, source=SAYS)
    return Net(name=name, signal="28 Gb/s", z0="50 ohm", holes=holes, criterion=limit)


COUPLED_BOARD = six_layers(
    summed_net("sides of one hole", 0.4, ("L3", "L4")),
    summed_net("two holes", 0.3, ("L1", "L2"), ("L1", "L4")),
    net("alone", ("L1", "L3"), 0.4),
)
CORNER_RULES = [
    rules(tip_distance="0 mm"),
    rules(tip_distance="0.02 mm", least_plated="0.6 mm", datum="laminate", depth_to="shoulder", tip_angle=130),
    rules(tip_distance="0 mm", tip_angle=180, sides={"bottom": "L2", "top": "L3"}),
]
"""Rules with a guaranteed residual stub."""
FACE_RULES = [
    rules(tip_distance="0 mm", tip_angle=180, tolerance=depth_tolerance(0, 0)),
    rules(tip_distance="0.04 mm", least_plated="0.4 mm", tolerance=depth_tolerance(0.04, 0.06, 0.1, 0.05)),
    rules(tip_distance="0 mm", tip_angle=118, tolerance=depth_tolerance(0.02, 0.02, 0.1, 0.1, "measured thickness")),
]


def with_examples(boards, many_rules, *more):
    """Pin these boards under these rules, each with ``more`` arguments, as examples of a property test."""

    def pinned(test):
        for board, its_rules in itertools.product(boards, many_rules):
            test = example(board, its_rules, *more)(test)
        return test

    return pinned
