"""Boards from IPC-2581 files: stackup, holes, the layers where copper meets a hole, and what the user gives beside."""

from __future__ import annotations

import math
import pickle
import re

import numpy as np
import pytest

from stubsi import (
    Antipad,
    Board,
    BoardError,
    DielectricLayer,
    FileError,
    Hole,
    Net,
    Padstack,
    Signal,
    StubsiError,
    UnitError,
    notch_frequency,
    rank,
    read_ipc2581,
)
from stubsi.files import exchange_touch
from tests.exchange_files import SIX, Exchange, square

GIVEN = {"signals": {"DATA": "10 Gb/s"}, "z0": "50 ohm", "pads": {"0.3 mm": "0.5 mm"}}


def signal_file():
    """A hole of net DATA at (5, 5) with a pad on every layer, and a ground via."""
    exchange = Exchange().hole("DATA", 5, 5).pads("DATA", 5, 5).net("GND", "GROUND").net("DATA", "SIGNAL")
    return exchange.hole("GND", 6, 5)


def in_use(exchange, tmp_path, **more):
    given = {**GIVEN, "connects": {"DATA": ["TOP"]}, **more}
    return read_ipc2581(exchange.write(tmp_path), **given).board.net("DATA").holes[0].connects


# Stackup. The figures of the first two tests are those of two public files, an 8-layer board in inches and a 2-layer
# board in microns, as their own thicknesses and sums give them.

MIL = 0.0254
EIGHT = [
    ("MASK_T", "SOLDERMASK", 1.0), ("L1", "SIGNAL", 1.4), ("D1", "DIELPREG", 3), ("L2", "PLANE", 1.4),
    ("D2", "DIELCORE", 5), ("L3", "SIGNAL", 1.4), ("D3", "DIELPREG", 14), ("L4", "PLANE", 1.4), ("D4", "DIELCORE", 8),
    ("L5", "PLANE", 1.4), ("D5", "DIELPREG", 14), ("L6", "SIGNAL", 1.4), ("D6", "DIELCORE", 5), ("L7", "PLANE", 1.4),
    ("D7", "DIELPREG", 3), ("L8", "SIGNAL", 1.4), ("MASK_B", "SOLDERMASK", 1.0),
]  # fmt: skip


def eight(**changes):
    layers = tuple((name, function, mils * MIL) for name, function, mils in EIGHT)
    return Exchange(layers=layers, unit="INCH", revision="B", dk={"*": 4.2}, drills={}, **changes)


def test_the_stackup_of_an_eight_layer_board_in_inches(tmp_path):
    """Metal 0.0632 in although mask is listed; L3 to L8 leaves 51.0 mil, 28.23 GHz as a quarter wave at Dk 4.2."""
    read = read_ipc2581(eight().write(tmp_path))
    stackup = read.board.stackup
    assert stackup.thickness.m_as("inch") == pytest.approx(0.0632, abs=5e-5 * 1e-3)
    assert stackup.names == tuple(f"L{n}" for n in range(1, 9))
    assert [layer.role for layer in stackup.copper] == [
        "signal", "plane", "signal", "plane", "plane", "signal", "plane", "signal",
    ]  # fmt: skip
    stub = stackup.stub_length("L3", "bottom")
    assert stub.length.m_as("thou") == pytest.approx(51.0, abs=1e-9)
    assert notch_frequency(stub.length, 4.2).m_as("GHz") == pytest.approx(28.23, abs=0.005)
    inner = stackup.distance("L3", "lower", "L8", "upper").length
    assert inner.m_as("thou") == pytest.approx(49.6, abs=1e-9)
    assert notch_frequency(inner, 4.2).m_as("GHz") == pytest.approx(29.03, abs=0.005)
    assert stackup.stub_length("L6", "bottom").length.m_as("thou") == pytest.approx(10.8, abs=1e-9)
    assert dict(read.ignored) == {"layers outside the outer copper, like solder mask": 2}
    assert {(layer.dk, layer.df) for layer in stackup.layers if isinstance(layer, DielectricLayer)} == {(4.2, 0.01)}


TWO = (("TOP", "CONDUCTOR", 0.035), ("D1", "DIELCORE", 1.5), ("BOTTOM", "CONDUCTOR", 0.035))


def test_a_prefixed_file_in_microns_listed_from_the_bottom(tmp_path):
    """1.57 mm and Dk 3.66; the sequence decides, not the order in the file."""
    exchange = Exchange(layers=TWO, unit="MICRON", prefix="ipc", dk={"*": 3.66})
    text = exchange.text()
    rows = [line for line in text.splitlines() if "StackupLayer" in line]
    first, last = (f"<ipc:StackupLayer{rows[i].partition('<ipc:StackupLayer')[2]}" for i in (0, 2))
    last = last.partition("</ipc:StackupGroup>")[0]
    swapped = text.replace(first, "\0").replace(last, first).replace("\0", last)
    assert swapped != text
    (tmp_path / "two.xml").write_text(swapped)
    stackup = read_ipc2581(tmp_path / "two.xml").board.stackup
    assert stackup.names == ("TOP", "BOTTOM")
    assert stackup.thickness.m_as("mm") == pytest.approx(1.57, rel=1e-12)
    assert stackup.layers[1].dk == 3.66


def test_without_a_stackup_there_is_no_board(tmp_path):
    """An export for assembly has drill layers and no thickness: it must not become a board of two layers."""
    exchange = Exchange(layers=(), drills={"DRILL_1-18": ("TOP", "BOTTOM")})
    with pytest.raises(FileError, match="holds no stackup"):
        read_ipc2581(exchange.write(tmp_path))


def test_dk_through_a_specification_that_hangs_on_the_layer_or_the_group(tmp_path):
    spec = '<Spec name="F"><Dielectric type="DIELECTRIC_CONSTANT"><Property value="3.3"/></Dielectric></Spec>'
    plain = Exchange(layers=TWO, dk={}).text().replace("</CadHeader>", f"{spec}</CadHeader>")
    layer = '<Layer name="D1" layerFunction="DIELCORE" side="INTERNAL" polarity="POSITIVE"'
    hung = {
        "layer": plain.replace(f"{layer}/>", f'{layer}><SpecRef id="F"/></Layer>'),
        "group": plain.replace("</StackupGroup>", '<SpecRef id="F"/></StackupGroup>'),
        "stackup": plain.replace("</StackupGroup>", '</StackupGroup><SpecRef id="F"/>'),
        "nowhere": plain,
        "a name that is not there": plain.replace("</StackupGroup>", '<SpecRef id="G"/></StackupGroup>'),
    }
    for where, text in hung.items():
        (tmp_path / "f.xml").write_text(text)
        read = read_ipc2581(tmp_path / "f.xml")
        unknown = where not in {"layer", "group", "stackup"}
        assert read.board.stackup.layers[1].dk == (None if unknown else 3.3), where
        assert any("no Dk" in what for what, _ in read.assumed) == unknown
    given = read_ipc2581(tmp_path / "f.xml", dk={"D1": 3.5})
    assert given.board.stackup.layers[1].dk == 3.5


# Connections


def test_pads_alone_are_no_connection(tmp_path):
    with pytest.raises(FileError, match=r"layers in use of holes DATA\.1 .*connects"):
        read_ipc2581(signal_file().write(tmp_path), **GIVEN)


SHAPES = {
    "a line that ends in the hole": (lambda e: e.line("SIG_3", "DATA", [(5, 5), (9, 5)]), True),
    "a line that crosses the hole": (lambda e: e.line("SIG_3", "DATA", [(1, 5.1), (9, 5.1)]), True),
    "the last piece of a line": (lambda e: e.line("SIG_3", "DATA", [(9, 9), (8, 5), (5, 5)]), True),
    "a line that ends at the pad": (lambda e: e.line("SIG_3", "DATA", [(5.29, 5), (9, 5)]), True),
    "a line whose width just reaches the pad": (lambda e: e.line("SIG_3", "DATA", [(5.299, 0), (5.299, 9)]), True),
    "a line that just misses the pad": (lambda e: e.line("SIG_3", "DATA", [(5.301, 0), (5.301, 9)]), False),
    "a line of another net": (lambda e: e.line("SIG_3", "OTHER", [(5, 5), (9, 5)]), False),
    "a teardrop": (lambda e: e.area("SIG_3", "DATA", square(5, 5, 0.4), geometryUsage="TEARDROP"), False),
    "an area that is a pad": (lambda e: e.area("SIG_3", "DATA", square(5, 5, 0.4), padUsage="VIA"), False),
    "an area around the hole": (lambda e: e.area("SIG_3", "DATA", square(5, 5, 3)), True),
    "an area with a cut-out around the hole": (
        lambda e: e.area("SIG_3", "DATA", square(5, 5, 3), square(5, 5, 0.5)), False,
    ),
    "an area with a cut-out elsewhere": (
        lambda e: e.area("SIG_3", "DATA", square(5, 5, 3), square(6.5, 5, 0.5)), True,
    ),
    "an area drawn as clearance": (
        lambda e: e.area("SIG_3", "DATA", square(5, 5, 3), polarity="NEGATIVE"), False,
    ),
    "an area whose outline crosses itself": (
        lambda e: e.area("SIG_3", "DATA", [(4, 4), (6, 6), (6, 4), (4, 6)]), True,
    ),
}  # fmt: skip


@pytest.mark.parametrize("few_pairs", [20_000, 0], ids=["all pairs", "tree"])
@pytest.mark.parametrize("shape", SHAPES)
def test_what_connects_a_hole_on_an_inner_layer(shape, few_pairs, tmp_path, monkeypatch):
    """The same for few shapes, of which every distance is computed, and for many, which a tree sorts."""
    monkeypatch.setattr(exchange_touch, "FEW_PAIRS", few_pairs)
    draw, connects = SHAPES[shape]
    exchange = signal_file().line("TOP", "DATA", [(5, 5), (0, 5)])
    draw(exchange)
    assert in_use(exchange, tmp_path) == (("TOP", "SIG_3") if connects else ("TOP",))


def quarter_circle(exchange, *, clockwise):
    """A quarter circle of radius 3 mm from (2, 5) about (2, 2) or, the other way, three quarters of it."""
    x, y, to_x, to_y, cx, cy, width = exchange.mm(2, 5, 5, 2, 2, 2, 0.1)
    return (
        f'<Features><Arc startX="{x}" startY="{y}" endX="{to_x}" endY="{to_y}" centerX="{cx}" centerY="{cy}" '
        f'clockwise="{clockwise}"><LineDesc lineEnd="ROUND" lineWidth="{width}"/></Arc></Features>'
    )


@pytest.mark.parametrize(("clockwise", "connects"), [("true", True), ("false", False)])
def test_an_arc_connects_on_its_way_and_not_on_the_other(clockwise, connects, tmp_path):
    at = 2 + 3 / math.sqrt(2)
    exchange = Exchange().hole("DATA", at, at).pads("DATA", at, at)
    exchange.put("SIG_4", "DATA", quarter_circle(exchange, clockwise=clockwise))
    assert in_use(exchange, tmp_path) == (("SIG_4",) if connects else ("TOP",))  # TOP is what the user gave


def test_a_pin_in_the_hole_connects_on_the_side_of_its_component(tmp_path):
    exchange = signal_file().component("J1", "THMT", "BOTTOM").line("SIG_3", "DATA", [(5, 5), (9, 5)])
    exchange.pads("DATA", 5, 5, pin="J1")
    assert in_use(exchange, tmp_path) == ("SIG_3", "BOTTOM")


@pytest.mark.parametrize("mount", ["THMT", "PRESSFIT", "OTHER", "SOCKETED", "SMT"])
def test_a_pin_at_the_hole_connects_on_the_layer_of_its_component_however_it_is_mounted(mount, tmp_path):
    """In the hole or on its pad: the net leaves there on the side of the component."""
    exchange = signal_file().component("J1", mount, "BOTTOM").line("SIG_3", "DATA", [(5, 5), (9, 5)])
    exchange.pad("BOTTOM", "DATA", 5, 5, pin="J1")
    assert in_use(exchange, tmp_path) == ("SIG_3", "BOTTOM")


TURNS = {
    "as drawn": ("", (3, 4), True),
    "as drawn, elsewhere": ("", (3, 5), False),
    "a quarter turn to the left": ('<Xform rotation="90"/>', (6, 3), True),
    "a half turn": ('<Xform rotation="180"/>', (7, 6), True),
    "seen from below": ('<Xform mirror="true"/>', (7, 4), True),
    "shifted": ('<Xform xOffset="1"/>', (2, 4), True),
}


@pytest.mark.parametrize("turn", TURNS)
def test_a_pin_of_a_package_connects_the_hole_that_it_sits_in(turn, tmp_path):
    """The second pin lies at (2, 1) in its package; the hole lies at (5, 5)."""
    xform, at, sits = TURNS[turn]
    exchange = signal_file().line("SIG_3", "DATA", [(5, 5), (9, 5)]).package("CON", [(0, 0), (2, 1)])
    exchange.component("J1", "THMT", "BOTTOM", "CON", at, xform).component("U1", "SMT", "TOP", "CON", (3, 4))
    assert in_use(exchange, tmp_path) == (("SIG_3", "BOTTOM") if sits else ("SIG_3",))


@pytest.mark.parametrize(("x", "connects"), [(5, True), (5.3, True), (5.8, False)])
def test_a_hole_in_the_pad_of_a_surface_mounted_pin_is_connected(x, connects, tmp_path):
    exchange = signal_file().component("U1", "SMT").line("SIG_3", "DATA", [(5, 5), (9, 5)])
    exchange.pad("TOP", "DATA", x, 5, pin="U1", size=0.5)
    assert in_use(exchange, tmp_path) == (("TOP", "SIG_3") if connects else ("SIG_3",))


@pytest.mark.parametrize("pin", ['<PinRef pin="1"/>', ""], ids=["a pin without its component", "no pin"])
def test_the_component_of_a_pad_may_stand_in_its_set(pin, tmp_path):
    """Set componentRef: revisions B to C."""
    exchange = signal_file().component("U1", "SMT").line("SIG_3", "DATA", [(5, 5), (9, 5)])
    pad = f'<Pad><Location x="5.2" y="5"/><Circle diameter="0.5"/>{pin}</Pad>'
    assert in_use(exchange.put("TOP", "DATA", pad, componentRef="U1"), tmp_path) == ("TOP", "SIG_3")


def test_shapes_and_widths_from_dictionaries_with_units_of_their_own(tmp_path):
    """The board is in millimetres, the dictionaries are in inches: 0.6 mm to the line, its width 1 mm."""
    exchange = signal_file()
    exchange.head = (
        '<DictionaryLineDesc units="INCH"><EntryLineDesc id="W"><LineDesc lineEnd="ROUND" lineWidth="0.0393701"/>'
        '</EntryLineDesc></DictionaryLineDesc><DictionaryUser units="INCH"><EntryUser id="BAR"><Contour><Polygon>'
        '<PolyBegin x="-0.1" y="-0.01"/><PolyStepSegment x="0.1" y="-0.01"/><PolyStepSegment x="0.1" y="0.01"/>'
        '<PolyStepSegment x="-0.1" y="0.01"/></Polygon></Contour></EntryUser></DictionaryUser>'
    )
    line = '<Features><Line startX="0" startY="5.6" endX="9" endY="5.6"><LineDescRef id="W"/></Line></Features>'
    bar = '<Features><Xform rotation="{}"/><Location x="5" y="7"/><UserPrimitiveRef id="BAR"/></Features>'
    exchange.put("SIG_3", "DATA", line)
    assert in_use(exchange, tmp_path) == ("SIG_3",)
    exchange.put("SIG_4", "DATA", bar.format(0))  # 2.54 mm to either side in x, 0.254 mm in y
    assert in_use(exchange, tmp_path) == ("SIG_3",)
    exchange.put("SIG_4", "DATA", bar.format(90))
    assert in_use(exchange, tmp_path) == ("SIG_3", "SIG_4")


# Holes and nets


def test_holes_that_have_no_part_are_counted(tmp_path):
    exchange = signal_file().line("TOP", "DATA", [(5, 5), (0, 5)])
    exchange.hole("", 20, 20, 3.2, status="NONPLATED").hole("", 25, 20, 3.2, status="PLATED").hole("SPARE", 30, 20)
    exchange.hole("DATA", 5, 5)
    read = read_ipc2581(exchange.write(tmp_path), **GIVEN)
    ignored = dict(read.ignored)
    assert ignored["non-plated holes"] == 1
    assert ignored["plated holes without a net"] == 1
    assert ignored["holes that the file lists again"] == 1
    assert read.nets_without_signal == ("SPARE",)
    assert "nets without a signal, not on the board: SPARE" in str(read)
    assert [net.name for net in read.board.nets] == ["DATA", "GND"]
    assert read.board.net("GND").reference
    assert len(repr(read)) < 200
    assert pickle.loads(pickle.dumps(read)) == read


def test_a_blind_hole_keeps_its_span_and_pads_stay_within_it(tmp_path):
    exchange = Exchange(drills={"DRILL": ("TOP", "BOTTOM"), "BLIND": ("SIG_3", "TOP")})
    exchange.hole("DATA", 5, 5, 0.2, layer="BLIND").pads("DATA", 5, 5, layers=["TOP", "GND_2", "SIG_3"])
    exchange.line("TOP", "DATA", [(5, 5), (0, 5)]).line("SIG_3", "DATA", [(5, 5), (9, 5)])
    exchange.line("SIG_4", "DATA", [(5, 5), (9, 5)])
    (hole,) = read_ipc2581(exchange.write(tmp_path), signals={"DATA": "10 Gb/s"}, z0="50 ohm").board.net("DATA").holes
    assert hole.padstack.span == ("TOP", "SIG_3")
    assert hole.connects == ("TOP", "SIG_3")
    assert [layer for layer, _ in hole.padstack.pads] == ["GND_2", "SIG_3", "TOP"]


def test_a_pair_takes_both_halves_when_one_is_named(tmp_path):
    exchange = Exchange().net("LANE_N", pair="LANE_P")
    for net, y in (("LANE_P", 5), ("LANE_N", 6)):
        exchange.hole(net, 5, y).pads(net, 5, y).line("TOP", net, [(5, y), (0, y)])
    board = read_ipc2581(exchange.write(tmp_path), signals={"*_P": "32 GT/s PAM4"}, z0={"LANE*": "85 ohm"}).board
    pair = board.net("LANE_P/LANE_N")
    assert pair.is_pair
    assert [(hole.name, hole.leg) for hole in pair.holes] == [("LANE_P.1", "P"), ("LANE_N.1", "N")]
    assert pair.z0.m_as("ohm") == 85


def test_antipads_and_pads_from_the_padstack_of_the_file(tmp_path):
    exchange = Exchange().hole("DATA", 5, 5, geometry="V").line("TOP", "DATA", [(5, 5), (0, 5)])
    pads = "".join(
        f'<PadstackPadDef layerRef="{name}" padUse="{use}"><Location x="0" y="0"/><Circle diameter="{size}"/>'
        f"</PadstackPadDef>"
        for name, _, _ in SIX
        if not name.startswith(("PRE", "CORE"))
        for use, size in (("REGULAR", 0.5), ("ANTIPAD", 0.9))
    )
    exchange.step_head = f'<PadStackDef name="V">{pads}</PadStackDef>'
    given = {"signals": {"DATA": "10 Gb/s"}, "z0": "50 ohm"}
    padstack = read_ipc2581(exchange.write(tmp_path), **given).board.net("DATA").holes[0].padstack
    assert padstack.name == "V"
    assert padstack.pad_at("SIG_3", in_use=True, outer=False) == pytest.approx(0.5e-3)
    assert padstack.antipad_at("GND_2", "plane") == Antipad(width="0.9 mm")
    other = read_ipc2581(tmp_path / "board.xml", antipads={"V": "1 mm"}, **given)
    assert other.board.net("DATA").holes[0].padstack.antipad == Antipad(width="1 mm")


def test_all_that_is_missing_is_in_one_error(tmp_path):
    exchange = Exchange(layers=TWO).hole("DATA", 5, 5)
    with pytest.raises(FileError) as refused:
        read_ipc2581(exchange.write(tmp_path), signals={"DATA": "10 Gb/s"})
    for said in ("TOP (CONDUCTOR)", "roles=", "DATA.1", "connects=", "0.3 mm", "pads=", "z0="):
        assert said in str(refused.value)
    board = read_ipc2581(
        tmp_path / "board.xml", signals={"DATA": "10 Gb/s"}, z0="50 ohm", roles={"*": "signal"},
        pads={"0.3 mm": None}, connects={"DATA": ["BOTTOM", "TOP"]},
    ).board  # fmt: skip
    assert board.net("DATA").holes[0].connects == ("TOP", "BOTTOM")
    assert board.return_vias is None


WRONG = {
    "no net": {"signals": {"DATUM": "10 Gb/s"}},
    "no layer": {"dk": {"FR4": 4.0}},
    "no reference": {"reference": ["VSS*"]},
    "no drill": {"antipads": {"0.7 mm": "1 mm"}},
    "a reference with a signal": {"signals": {"*": "10 Gb/s"}},
    "two values": {"signals": {"DA*": "10 Gb/s", "*TA": "12 Gb/s"}},
    "a bare number": {"plating": 25},
    "a role": {"roles": {"TOP": "power"}},
    "a frequency": {"signals": {"DATA": "10 GHz"}},
    "a Dk below 1": {"dk": {"CORE_1": 0.9}},
    "other layers than the file draws": {"connects": {"DATA.1": ["BOTTOM"]}},
}


@pytest.mark.parametrize("wrong", WRONG)
def test_what_is_given_and_matches_nothing_is_refused(wrong, tmp_path):
    path = signal_file().line("TOP", "DATA", [(5, 5), (0, 5)]).write(tmp_path)
    read_ipc2581(path, **GIVEN)
    with pytest.raises((BoardError, UnitError), match=r"(?i)DATUM|FR4|VSS|0\.7 mm|GND|DATA|plating|TOP|CORE_1"):
        read_ipc2581(path, **{**GIVEN, **WRONG[wrong]})


# The same board built directly


def wired(unit):
    """Nets that change layers at holes of two drills, with ground vias near, and the same board built directly."""
    exchange = Exchange(unit=unit, dk={"*": 3.7}).net("GND", "GROUND")
    layers = ("TOP", "SIG_3", "SIG_4", "BOTTOM")
    rng = np.random.default_rng(5)
    padstacks = {
        drill: Padstack(
            name=f"{drill:g} mm", drill=f"{drill} mm",
            pads={name: f"{drill + 0.2:g} mm" for name, function, _ in SIX if not function.startswith("DIEL")},
            antipad=f"{drill + 0.5:g} mm",
        )
        for drill in (0.25, 0.3)
    }  # fmt: skip
    post = Padstack(name="0.3 mm return via", drill="0.3 mm")
    nets, posts = [], []
    for number in range(12):
        name, y = f"N{number:02}", 3 * number
        exchange.hole("GND", 1, y).hole("GND", 3, y)
        posts += [(1, y), (3, y)]
        holes, at = [], sorted(rng.choice(4, 2, replace=False))
        for place, drill in enumerate((0.25, 0.3), 1):
            x = 2 + 8 * (place - 1)
            exchange.hole(name, x, y, drill).pads(name, x, y, drill + 0.2)
            connects = tuple(layers[i] for i in (at if place == 1 else at[:1]))
            for layer in connects:
                exchange.line(layer, name, [(x, y), (x + 4, y + 1)])
            hole = Hole(name=f"{name}.{place}", padstack=padstacks[drill], connects=connects, x=f"{x} mm", y=f"{y} mm")
            holes.append(hole)
        nets.append(Net(name=name, signal="16 GT/s", z0="50 ohm", holes=tuple(holes)))
    ground = [Hole(name=f"GND.{i}", padstack=post, x=f"{x} mm", y=f"{y} mm") for i, (x, y) in enumerate(posts, 1)]
    nets.append(Net(name="GND", holes=tuple(ground), reference=True))
    return exchange, nets


@pytest.mark.parametrize(
    ("unit", "model"),
    [
        ("INCH", "uniform"),
        *(pytest.param(unit, "solved", marks=pytest.mark.slow) for unit in ("INCH", "MILLIMETER", "MICRON")),
    ],
)
def test_a_board_read_ranks_like_the_same_board_built_directly(unit, model, tmp_path):
    exchange, nets = wired(unit)
    read = read_ipc2581(
        exchange.write(tmp_path), signals={"N*": Signal("16 GT/s")}, z0="50 ohm",
        antipads={"0.25 mm": "0.75 mm", "0.3 mm": "0.8 mm"},
    )  # fmt: skip
    built = Board(stackup=read.board.stackup, nets=tuple(nets))
    assert [net.name for net in read.board.nets] == [net.name for net in nets]
    ours, theirs = rank(read.board, model=model), rank(built, model=model)
    assert [net.net for net in ours] == [net.net for net in theirs]
    for one, other in zip(ours, theirs, strict=True):
        assert one.verdict == other.verdict
        assert one.hole == other.hole
        assert one.first_notch.m == pytest.approx(other.first_notch.m, rel=1e-9)


def test_every_error_is_one_of_the_library(tmp_path):
    with pytest.raises(FileError, match="no such file"):
        read_ipc2581(tmp_path / "none.xml")
    (tmp_path / "empty.xml").write_text("")
    with pytest.raises(FileError, match=r"empty\.xml: line 1: is no well-formed XML"):
        read_ipc2581(tmp_path / "empty.xml")
    with pytest.raises(StubsiError, match="must be the path"):
        read_ipc2581(3)


# Tolerances and placed padstacks


def toleranced(tmp_path, thickness, **spread):
    """Tolerances of a file whose PREPREG_1 and PREPREG_2 are of one material, the first of them with this tolerance."""
    more = "".join(f' {key}="{value}"' for key, value in spread.items())
    text = signal_file().line("TOP", "DATA", [(5, 5), (9, 5)]).text()
    text = text.replace('layerOrGroupRef="PREPREG_1"', f'layerOrGroupRef="PREPREG_1"{more}')
    text = text.replace('"PREPREG_2" thickness', f'"PREPREG_2" {thickness} thickness')
    text = re.sub(r'(<Spec name="S[15]">)', r'\1<General type="MATERIAL"><Property text="FOIL"/></General>', text)
    (tmp_path / "board.xml").write_text(text, encoding="utf-8")
    return read_ipc2581(tmp_path / "board.xml", **GIVEN)


def test_the_widest_tolerance_of_a_material_counts_and_zero_is_none(tmp_path):
    read = toleranced(tmp_path, 'tolPlus="0.01" tolMinus="0.03"', tolPlus="0.02", tolMinus="-0.02")
    ((material, tolerance),) = read.tolerances.dielectric_thickness
    assert material == "FOIL"
    assert tolerance.limits(0.2e-3) == pytest.approx((0.17e-3, 0.22e-3), rel=1e-12)
    assert any("differ, and the widest counts" in what for what, _ in read.assumed)
    assert toleranced(tmp_path, "", tolPlus="0", tolMinus="0").tolerances is None
    percent = toleranced(tmp_path, "", tolPlus="8", tolMinus="10", tolPercent="true").tolerances
    assert percent.dielectric_thickness[0][1].limits(1.0) == pytest.approx((0.9, 1.08))


def test_a_tolerance_as_large_as_its_layer_is_left_out(tmp_path):
    """Where 10 stands for 10 % and is written as 10 mm: it is no tolerance of 0.2 mm."""
    read = toleranced(tmp_path, "", tolPlus="10", tolMinus="10")
    assert read.tolerances is None
    assert dict(read.assumed)["tolerances of layers are as large as the layer, and are left out"] == 1


def test_tolerances_in_percent_and_as_lengths_of_one_material_are_left_out(tmp_path):
    read = toleranced(tmp_path, 'tolPlus="0.01" tolMinus="0.01"', tolPlus="5", tolMinus="5", tolPercent="true")
    assert read.tolerances is None
    assert any("are left out" in what for what, _ in read.assumed)


@pytest.mark.parametrize(("plus", "percent"), [("-1", "false"), ("nan", "false"), ("1,5", "false"), ("100", "true")])
def test_a_tolerance_that_is_none_is_refused(plus, percent, tmp_path):
    with pytest.raises(FileError, match=r"line \d+: StackupLayer tolPlus"):
        toleranced(tmp_path, "", tolPlus=plus, tolMinus="0", tolPercent=percent)


def test_a_placed_padstack_that_contradicts_the_drill_layer_is_refused(tmp_path):
    """A blind hole in a padstack, where the drill layer has a through hole: two drills in one place."""
    exchange = signal_file().line("TOP", "DATA", [(5, 5), (9, 5)])
    exchange.step_head = (
        '<PadStack net="DATA"><LayerHole name="H" diameter="0.3" platingStatus="VIA" plusTol="0" minusTol="0" x="5" '
        'y="5"><Span fromLayer="TOP" toLayer="SIG_3"/></LayerHole></PadStack>' + exchange.step_head
    )
    with pytest.raises(FileError, match=r"holes DATA.1 and DATA.2 are 0 mm apart"):
        read_ipc2581(exchange.write(tmp_path), **GIVEN)
    exchange.step_head = exchange.step_head.replace("SIG_3", "BOTTOM", 1)
    assert len(read_ipc2581(exchange.write(tmp_path), **GIVEN).board.net("DATA").holes) == 1


def test_a_placed_padstack_without_span_is_asked_for_it(tmp_path):
    exchange = Exchange(revision="A").net("DATA", "SIGNAL")
    exchange.step_head += (
        '<PadStack net="DATA"><LayerHole diameter="0.3" platingStatus="VIA" x="5" y="5"><Span/></LayerHole></PadStack>'
    )
    with pytest.raises(FileError, match=r"line \d+: hole of net DATA: has no Span"):
        read_ipc2581(exchange.write(tmp_path), **GIVEN)


def test_nets_are_named_by_regular_expressions_between_slashes(tmp_path):
    """Brackets are plain characters in a name or pattern, and the expression must match the whole name."""
    exchange = Exchange().net("GND", "GROUND").hole("GND", 40, 5)
    for number, net in enumerate(("DQ0", "DQ7", "DQ8", "DQ70", "DQ[0-7]")):
        exchange.hole(net, 5 + 5 * number, 5).pads(net, 5 + 5 * number, 5)
    path, given = exchange.write(tmp_path), {**GIVEN, "connects": {"DQ*": ["TOP"]}}
    read = read_ipc2581(path, **{**given, "signals": {"/DQ[0-7]/": "10 Gb/s"}})
    assert [net.name for net in read.board.signal_nets] == ["DQ0", "DQ7"]
    read = read_ipc2581(path, **{**given, "signals": {"DQ[0-7]": "10 Gb/s"}})
    assert [net.name for net in read.board.signal_nets] == ["DQ[0-7]"]
    with pytest.raises(BoardError, match="is no regular expression"):
        read_ipc2581(path, **{**given, "signals": {"/DQ[0/": "10 Gb/s"}})
    with pytest.raises(BoardError, match="matches no net"):
        read_ipc2581(path, **{**given, "signals": {"/DQ/": "10 Gb/s"}})
