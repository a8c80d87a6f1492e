"""Roles of layers and clearances of planes as the copper of a file says them, where its attributes do not."""

from __future__ import annotations

import math

import pytest

from stubsi import FileError, rank, read_ipc2581
from tests.exchange_files import Exchange, square
from tests.generated_boards import ANTIPAD, GeneratedBoard

GIVEN = {"signals": {"DATA": "10 Gb/s"}, "z0": "50 ohm", "pads": {"0.3 mm": "0.5 mm"}}
PLANES = ("GND_2", "GND_5")


def without_roles(text):
    for function in ("PLANE", "SIGNAL", "MIXED"):
        text = text.replace(f'layerFunction="{function}"', 'layerFunction="CONDUCTOR"')
    return text


def ring(x, y, radius, sides=32):
    """Corners of a polygon whose sides touch a circle."""
    turns = [2 * math.pi * (i + 0.5) / sides for i in range(sides)]
    reach = radius / math.cos(math.pi / sides)
    return [(x + reach * math.cos(turn), y + reach * math.sin(turn)) for turn in turns]


def file(*cutouts, net="GND", half=20.0):
    """A hole at (5, 5) that a line leaves on TOP and SIG_4, and planes of GND with cut-outs."""
    exchange = Exchange().hole("DATA", 5, 5).pads("DATA", 5, 5).net("GND", "GROUND").hole("GND", 7, 5)
    for layer in PLANES:
        exchange.area(layer, net, square(0, 0, half), *(cutouts or [ring(5, 5, 0.45)]))
    for layer in ("TOP", "SIG_3", "SIG_4", "BOTTOM"):
        exchange.line(layer, "DATA" if layer in {"TOP", "SIG_4"} else "OTHER", [(5, 5), (9, 9)])
    return exchange


def read(text, tmp_path, **given):
    (tmp_path / "board.xml").write_text(text, encoding="utf-8")
    return read_ipc2581(tmp_path / "board.xml", **{**GIVEN, **given})


def antipads(found):
    """Widths [mm] of the clearances of the first hole, by plane."""
    padstack = found.board.net("DATA").holes[0].padstack
    planes = [layer for layer in found.board.stackup.copper if layer.role != "signal"]
    sizes = {layer.name: padstack.antipad_at(layer.name, layer.role) for layer in planes}
    return {layer: round(each.width.m_as("mm"), 6) for layer, each in sizes.items() if each is not None}


def test_roles_and_clearances_are_read_from_the_copper(tmp_path):
    found = read(without_roles(file().text()), tmp_path)
    roles = {layer.name: layer.role for layer in found.board.stackup.copper}
    assert roles == {name: "mixed" if name in PLANES else "signal" for name in found.board.stackup.names}
    assert antipads(found) == dict.fromkeys(PLANES, 0.9)
    assert dict(found.assumed)["clearances in planes are not stated, and are read from the copper"] == 2
    assert found.board.net("GND").holes[0].connects == PLANES  # its own areas lie around it
    assert {what for what, _ in found.assumed if what.startswith("roles of copper layers")} == {
        f"roles of copper layers are not stated and read from their copper: {role}" for role in ("mixed", "signal")
    }


def test_the_clearances_of_planes_by_attribute_are_measured_too(tmp_path):
    assert antipads(read(file().text(), tmp_path)) == dict.fromkeys(PLANES, 0.9)
    given = read(file().text(), tmp_path, antipads={"0.3 mm": "0.7 mm"})
    assert antipads(given) == dict.fromkeys(PLANES, 0.7)


def test_one_clearance_in_all_planes_is_that_of_the_padstack(tmp_path):
    """So that figures which know one clearance only do not call it unknown, as where a Dk is missing."""
    padstack = read(file().text(), tmp_path).board.net("DATA").holes[0].padstack
    assert padstack.antipad.width.m_as("mm") == pytest.approx(0.9)
    no_dk = file().text().replace('<Property value="3.9"/>', "")
    row = rank(read(no_dk, tmp_path, signals={"DATA": "20 Gb/s"}).board)["DATA"]
    assert "Dk of dielectric" in row.reason
    assert "antipad" not in row.reason
    other = file().area("GND_5", "P1V8", square(5, 5, 0.9), square(5, 5, 0.4))
    assert antipads(read(other.text(), tmp_path)) == {"GND_2": 0.9, "GND_5": 0.8}
    assert read(other.text(), tmp_path).board.net("DATA").holes[0].padstack.antipad is None


CUTOUTS = {
    "a long one: the widest circle that fits": ([[(4.6, 3), (5.4, 3), (5.4, 7), (4.6, 7)]], 0.8),
    "one beside the centre": ([ring(5.1, 5, 0.45)], 0.7),
    "two that overlap": ([square(4.8, 5, 0.5), square(5.2, 5, 0.5)], 1.0),
    "none at this hole": ([square(9, 9, 0.5)], None),
}


@pytest.mark.parametrize("cutouts", CUTOUTS)
def test_a_clearance_is_the_widest_circle_without_copper_of_other_nets(cutouts, tmp_path):
    shapes, width = CUTOUTS[cutouts]
    found = antipads(read(file(*shapes).text(), tmp_path))
    assert found == ({} if width is None else pytest.approx(dict.fromkeys(PLANES, width), abs=1e-6))


@pytest.mark.parametrize("turn", [1, -1], ids=["one way", "the other way"])
def test_a_clearance_may_be_part_of_the_outline(turn, tmp_path):
    """The outline goes along a slit without width into the area, around the hole, and back."""
    corners = square(0, 0, 20)
    around = ring(5, 5, 0.45)[20:] + ring(5, 5, 0.45)[:20]
    exchange = file()
    exchange.features = [each for each in exchange.features if "Contour" not in each]
    for layer in PLANES:
        exchange.area(layer, "GND", [*corners, corners[0], *[*around, around[0]][::turn]])
    found = read(without_roles(exchange.text()), tmp_path)
    assert antipads(found) == dict.fromkeys(PLANES, 0.9)
    assert found.board.net("DATA").holes[0].connects == ("TOP", "SIG_4")
    own = exchange.text().replace('"GND_2"><Set net="GND"', '"GND_2"><Set net="DATA"')
    assert own != exchange.text()
    assert read(own, tmp_path).board.net("DATA").holes[0].connects == ("TOP", "SIG_4")


def test_a_hole_beside_the_area_has_no_plane_around_it(tmp_path):
    """The planes end 2 mm before the hole, so no clearance of a plane is read, and a mixed layer is no plane there."""
    found = read(without_roles(file(half=3.0).text()), tmp_path)
    assert antipads(found) == {}
    given = read(without_roles(file(half=3.0).text()), tmp_path, antipads={"0.3 mm": "0.7 mm"})
    assert antipads(given) == {}


def test_a_plane_that_is_drawn_as_clearances(tmp_path):
    """On a layer of negative polarity all is copper but what is drawn."""
    exchange = file()
    exchange.features = [each for each in exchange.features if "Contour" not in each]
    for layer in PLANES:
        exchange.put(layer, "", '<Pad><Location x="5" y="5"/><Circle diameter="0.9"/></Pad>')
    text = without_roles(exchange.text())
    for layer in PLANES:
        head = f'<Layer name="{layer}" layerFunction="CONDUCTOR" side="INTERNAL" polarity='
        assert head in text
        text = text.replace(f'{head}"POSITIVE"', f'{head}"NEGATIVE"')
    found = read(text, tmp_path)
    assert [layer.role for layer in found.board.stackup.copper if layer.name in PLANES] == ["plane", "plane"]
    assert antipads(found) == pytest.approx(dict.fromkeys(PLANES, 0.9), abs=0.005)  # chords of 10 degrees


def test_a_layer_of_which_nothing_is_drawn_is_asked_for(tmp_path):
    exchange = file()
    exchange.features = [each for each in exchange.features if 'layerRef="SIG_3"' not in each or "Pad" in each]
    with pytest.raises(FileError, match=r"role of layers SIG_3 \(CONDUCTOR\): give roles="):
        read(without_roles(exchange.text()), tmp_path)


@pytest.mark.parametrize("slow", [False, pytest.param(True, marks=pytest.mark.slow)])
def test_a_generated_board_without_attributes_ranks_like_that_with_them(slow, tmp_path):
    """Revision A without roles and clearances: both are read from the copper, and each notch is the same."""
    made = GeneratedBoard(layers=6, nets=3, pairs=0)
    path, given = made.write(tmp_path, "A"), made.given_for("A")
    stated = read_ipc2581(path, **given).board
    path.write_text(without_roles(path.read_text(encoding="utf-8")), encoding="utf-8")
    del given["antipads"]
    found = read_ipc2581(path, **given).board
    assert {layer.role for layer in found.stackup.copper} == {"signal", "mixed"}
    for net in found.signal_nets:
        for hole in net.holes:
            widths = {layer: each.width.m_as("mm") for layer, each in hole.padstack.antipads}
            assert widths == pytest.approx(dict.fromkeys(widths, ANTIPAD), abs=1e-3)
            assert widths
    if slow:
        for one, other in zip(rank(found), rank(stated), strict=True):
            assert (one.net, one.verdict) == (other.net, other.verdict)
            assert one.first_notch.m == pytest.approx(other.first_notch.m, rel=1e-6)
