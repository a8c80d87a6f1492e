"""Boards with one of everything, drawn at random: names of any characters, sizes of any digits and units."""

from __future__ import annotations

from hypothesis import strategies as st

from stubsi import (
    RULES_OF_THUMB,
    Board,
    CopperLayer,
    Criterion,
    DielectricLayer,
    Hole,
    Net,
    Padstack,
    PressFit,
    Stackup,
)
from stubsi.board.padstack import Antipad
from stubsi.board.signal import Signal
from stubsi.checks import one_line
from tests.strategies import dfs, dks, physical

names = st.text(min_size=1, max_size=12).filter(lambda text: text.strip() and one_line(text) == text)
texts = st.text(st.characters(codec="utf-8"), min_size=1, max_size=30).filter(str.strip)
"""Texts of any characters, line breaks and control characters too."""
PER_UNIT = {"mm": 1.0, "mil": 0.0254, "in": 25.4, "um": 1e-3, "m": 1e3, "nm": 1e-6}


@st.composite
def lengths(draw, low, high):
    """A length from low to high [mm], as text in any unit, with all digits."""
    unit = draw(st.sampled_from(list(PER_UNIT)))
    return f"{draw(physical(low, high)) / PER_UNIT[unit]!r} {unit}"


criteria = st.one_of(
    st.sampled_from(list(RULES_OF_THUMB.values())),
    st.builds(Criterion.notch_ratio, physical(0.1, 20), source=texts),
    st.builds(Criterion.one_db_ratio, physical(0.1, 20), source=texts),
    st.builds(Criterion.loss, physical(0.01, 20), source=texts),
    st.builds(Criterion.return_loss, physical(1, 40), source=texts),
    st.builds(Criterion.stub_length, lengths(0.1, 10), source=texts),
    st.builds(Criterion.stub_length_at_1_gbaud, lengths(0.1, 100), source=texts),
    st.builds(Criterion, measure=st.just("stub length"), limit=physical(1e-4, 1), source=texts),
    st.builds(Criterion, measure=st.just("stub length x symbol rate"), limit=physical(1e3, 1e9), source=texts),
)
KINDS = ("NRZ", "PAM3", "PAM4")
signals = st.one_of(
    st.sampled_from(["PCIe 5.0", "10GBASE-KR", "112 Gb/s PAM4", "2.5 GBd", "40 Gb/s PAM3"]).map(Signal),
    st.builds(
        lambda rate, kind: Signal(f"{rate!r} Gb/s", kind), physical(0.001, 300), st.sampled_from(["NRZ", "PAM3"])
    ),
)


@st.composite
def stackups(draw):
    """Three copper layers or more: a signal layer on top and at the bottom, planes and mixed layers between."""
    layer_names = draw(st.lists(names, min_size=3, max_size=6, unique=True))
    source = draw(st.just("") | texts)
    layers = []
    for number, name in enumerate(layer_names):
        inner = 0 < number < len(layer_names) - 1
        role = draw(st.sampled_from(["signal", "plane", "mixed"])) if inner else "signal"
        layers.append(CopperLayer(name=name, thickness=draw(lengths(0.01, 0.1)), role=role))
        if number < len(layer_names) - 1:
            layers.append(
                DielectricLayer(
                    thickness=draw(lengths(0.05, 1)), dk=draw(st.none() | dks), df=draw(st.none() | dfs),
                    dk_in_plane=draw(st.none() | dks), at=draw(st.none() | st.sampled_from(["10 GHz", "1e6 Hz"])),
                    material=draw(st.just("") | texts), source=draw(st.sampled_from(["", source]) | texts),
                )
            )  # fmt: skip
    return Stackup(layers=tuple(layers), source=source)


@st.composite
def padstacks(draw, name, stackup):
    layers = st.sampled_from(stackup.names)
    antipads = st.builds(Antipad, width=lengths(0.9, 1.2), shared=st.booleans())
    return Padstack(
        name=name, drill=draw(lengths(0.2, 0.4)), finished=draw(st.none() | lengths(0.1, 0.19)),
        pad=draw(st.none() | lengths(0.41, 0.7)), antipad=draw(st.none() | antipads),
        pads=draw(st.dictionaries(layers, st.none() | lengths(0.41, 0.7))),
        antipads=draw(st.dictionaries(layers, antipads)),
        non_functional_pads=draw(st.sampled_from(["kept", "removed"])),
        span=draw(st.none() | st.just((stackup.names[0], stackup.names[-1]))),
    )  # fmt: skip


@st.composite
def boards(draw):
    """Boards of signal nets, pairs and reference nets in any order. Their holes stand far from each other."""
    stackup = draw(stackups())
    stacks = [draw(padstacks(name, stackup)) for name in draw(st.lists(names, min_size=1, max_size=3, unique=True))]
    fits = st.builds(
        PressFit, side=st.sampled_from(["top", "bottom"]), contact_from=st.just("0 mm") | lengths(1e-3, 0.01),
        contact_to=lengths(0.02, 0.07), pin_length=st.none() | lengths(0.2, 3),
    )  # fmt: skip
    usable = [layer.name for layer in stackup.copper if layer.role != "plane"]
    nets = []
    for number, name in enumerate(draw(st.lists(names, min_size=1, max_size=4, unique=True))):
        kind = draw(st.sampled_from(["single", "pair", "reference", "plain reference"]))
        reference = "reference" in kind
        plain = kind == "plain reference"
        holes = []
        for place in range(draw(st.integers(1, 3)) + (kind == "pair")):
            x, y = f"{5 * place + draw(physical(0, 0.1))!r} mm", f"{5 * number + draw(physical(-0.1, 0.1))!r} mm"
            placed = plain or draw(st.booleans())
            connects = draw(st.lists(st.sampled_from(usable), min_size=1, max_size=2, unique=True))
            holes.append(
                Hole(
                    name=f"{name}.{place + 1}" if plain or draw(st.booleans()) else f"{number}{name}#{place}",
                    padstack=stacks[0] if plain else draw(st.sampled_from(stacks)),
                    connects=() if reference else connects, x=x if placed else None, y=y if placed else None,
                    leg="PN"[min(place, 1)] if kind == "pair" else "",
                    press_fit=None if plain else draw(st.none() | fits),
                    feed="" if plain else draw(st.sampled_from(["", "through", "tee"])),
                    traces="" if plain else draw(st.sampled_from(["", "same", "opposite"])),
                )
            )  # fmt: skip
        layers = () if plain else draw(st.lists(st.sampled_from(usable), max_size=2, unique=True))
        if reference:
            nets.append(Net(name=name, holes=holes, reference=True, layers=layers))
            continue
        nets.append(
            Net(
                name=name, holes=holes, signal=draw(signals), z0=f"{draw(physical(20, 120))!r} ohm", layers=layers,
                criterion=draw(st.none() | criteria), waiver=draw(st.just("") | texts),
            )
        )  # fmt: skip
    return Board(
        stackup=stackup, nets=nets, name=draw(st.just("") | names), criterion=draw(criteria),
        signal_criteria=draw(st.dictionaries(signals, criteria, max_size=2)),
    )  # fmt: skip
