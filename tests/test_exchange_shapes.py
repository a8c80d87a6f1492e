"""Which layers a hole is used on, for all the ways in which a legal file may draw a pad, line, area or clearance.

Elements, their order and their attributes are those of the schemas of IPC-2581, revisions A to C.
"""

from __future__ import annotations

import pytest

from stubsi import BoardError, FileError, read_ipc2581
from tests.exchange_files import Exchange, square

GIVEN = {"signals": {"DATA": "10 Gb/s"}, "z0": "50 ohm", "pads": {"0.3 mm": "0.5 mm"}}
WIDTH = '<LineDesc lineEnd="ROUND" lineWidth="0.1"/>'


def file(**changes):
    """A hole of net DATA at (5, 5) with a pad on every layer and a line on TOP, and a ground via."""
    exchange = Exchange(**changes).hole("DATA", 5, 5).pads("DATA", 5, 5).net("GND", "GROUND").hole("GND", 6, 5)
    return exchange.line("TOP", "DATA", [(5, 5), (0, 5)])


def in_use(exchange, tmp_path, **given):
    path = tmp_path / "board.xml"
    path.write_text(exchange if isinstance(exchange, str) else exchange.text(), encoding="utf-8")
    return read_ipc2581(path, **{**GIVEN, **given}).board.net("DATA").holes[0].connects


def contour(points, inside="", *cutouts):
    (x, y), *steps = points
    steps = "".join(f'<PolyStepSegment x="{x}" y="{y}"/>' for x, y in steps)
    cut = "".join(Exchange().polygon(cutout, "Cutout") for cutout in cutouts)
    return f'<Contour><Polygon><PolyBegin x="{x}" y="{y}"/>{steps}{inside}</Polygon>{cut}</Contour>'


def fill(kind):
    return f'{WIDTH}<FillDesc fillProperty="{kind}"/>'


AT = '<Location x="5" y="5"/>'
LEAVES = contour([(5, 5), (9, 5), (9, 6)])
USER = '<DictionaryUser units="MILLIMETER"><EntryUser id="U"><UserSpecial>{}</UserSpecial></EntryUser></DictionaryUser>'
LINE = '<Line startX="0" startY="0" endX="4" endY="0">{}</Line>'
LATER = (
    '<DictionaryLineDesc units="MILLIMETER"><EntryLineDesc id="W"><LineDesc lineEnd="ROUND" lineWidth="0.1"/>'
    "</EntryLineDesc></DictionaryLineDesc>"
)
BAR = '<Pad><Xform rotation="{}"/>{}<Oval width="3" height="0.6"/></Pad>'
DRAWN = {
    "a pad that is drawn as an area": (f"<Pad>{AT}{contour(square(0, 0, 0.3))}</Pad>", False),
    "a pad that is drawn by lines": (f"<Pad>{AT}<UserSpecial>{LINE.format(WIDTH)}</UserSpecial></Pad>", False),
    "an area around the hole": (f"<Features>{contour(square(5, 5, 3))}</Features>", True),
    "the outline of an area around the hole": (
        f"<Features>{contour(square(5, 5, 3), fill('HOLLOW'))}</Features>", False,
    ),
    "the outline of an area, which crosses the hole": (
        f"<Features>{contour(square(7, 5, 2), fill('HOLLOW'))}</Features>", True,
    ),
    "an area that is hatched": (f"<Features>{contour(square(5, 5, 3), fill('HATCH'))}</Features>", True),
    "an outline that crosses the hole": (
        f"<Features><Outline>{Exchange().polygon(square(7, 5, 2))}{WIDTH}</Outline></Features>", True,
    ),
    "an outline that ends where it begins": (
        f"<Features><Outline>{Exchange().polygon([(5, 9), (9, 9), (5, 1)])}{WIDTH}</Outline></Features>", True,
    ),
    "an outline around the hole": (
        f"<Features><Outline>{Exchange().polygon(square(5, 5, 2))}{WIDTH}</Outline></Features>", False,
    ),
    "a rectangle of copper": ('<Features><Location x="6" y="5"/><RectCenter width="4" height="2"/></Features>', True),
    "a disc of copper": ('<Features><Location x="7" y="5"/><Circle diameter="5"/></Features>', True),
    "a ring of copper around the hole": (
        f'<Features><Location x="5" y="6"/><Circle diameter="5">{fill("HOLLOW")}</Circle></Features>', False,
    ),
    "a ring of copper that crosses the hole": (
        f'<Features><Location x="7.5" y="5"/><Circle diameter="5">{fill("HOLLOW")}</Circle></Features>', True,
    ),
    "a disc about the hole, which is a pad": (f'<Features>{AT}<Circle diameter="0.8"/></Features>', False),
    "a thermal pad": (
        f'<Pad>{AT}<Thermal shape="ROUND" outerDiameter="0.9" innerDiameter="0.6" spokeStartAngle="0"/></Pad>', True,
    ),
    "lines and arcs in one shape": (
        f'<Features>{AT}<UserSpecial><Arc startX="4" startY="0" endX="4" endY="1" centerX="4" centerY="0.5" '
        f'clockwise="false">{WIDTH}</Arc>{LINE.format(WIDTH)}</UserSpecial></Features>', True,
    ),
    "a wide line behind a circle in one shape": (
        '<Features><Location x="9" y="5.7"/><UserSpecial><Circle diameter="0.1"/><Line startX="-9" startY="0" endX="0" '
        'endY="0"><LineDesc lineEnd="ROUND" lineWidth="1"/></Line></UserSpecial></Features>', True,
    ),
    "a corner of an area": (f"<Features>{LEAVES}</Features>", True),
    "an area with two cut-outs that overlap over the hole": (
        f"<Features>{contour(square(5, 5, 3), '', square(4.7, 5, 0.8), square(5.3, 5, 0.8))}</Features>", False,
    ),
    "a long pad, and a line at its end": (BAR.format(0, AT), (6.3, 5), True),
    "the same pad across the line": (BAR.format(90, AT), (6.3, 5), False),
    "a pad beside the centre, and a line at its end": (BAR.format(0, '<Location x="6" y="5"/>'), (7.4, 5), True),
    "a pad that does not reach the hole": (BAR.format(0, '<Location x="7" y="5"/>'), (8.4, 5), False),
}  # fmt: skip


@pytest.mark.parametrize("drawn", DRAWN)
def test_what_is_drawn_connects_or_does_not(drawn, tmp_path):
    inside, *line, connects = DRAWN[drawn]
    exchange = file().put("SIG_3", "DATA", inside)
    for place in line:
        exchange.line("SIG_3", "DATA", [place, (9, 5)])
    assert in_use(exchange, tmp_path) == (("TOP", "SIG_3") if connects else ("TOP",))


def test_a_clearance_takes_away_what_was_drawn_before_it_and_nothing_else(tmp_path):
    """The order of the file counts: a line that is drawn over a clearance is copper."""
    exchange = file().area("SIG_3", "DATA", square(5, 5, 3)).area("SIG_3", "", square(5, 5, 0.6), polarity="NEGATIVE")
    assert in_use(exchange, tmp_path) == ("TOP",)
    exchange.line("SIG_3", "DATA", [(5, 5), (9, 5)])
    assert in_use(exchange, tmp_path) == ("TOP", "SIG_3")
    elsewhere = file().area("SIG_3", "DATA", square(5, 5, 3)).area("SIG_3", "", square(7, 5, 0.6), polarity="NEGATIVE")
    assert in_use(elsewhere, tmp_path) == ("TOP", "SIG_3")
    void = file().put("SIG_3", "DATA", f"<Features>{contour(square(5, 5, 3))}</Features>")
    void.put("SIG_3", "DATA", f"<Features>{contour(square(5, 5, 0.6), fill('VOID'))}</Features>")
    assert in_use(void, tmp_path) == ("TOP",)
    cut = file().line("SIG_3", "DATA", [(5, 5), (9, 5)]).area("SIG_3", "", square(5, 5, 0.6), polarity="NEGATIVE")
    assert in_use(cut, tmp_path) == ("TOP",)


def test_a_dictionary_may_name_what_follows_in_it(tmp_path):
    """In revisions A to B1 the widths of lines stand behind the shapes that are drawn with them."""
    exchange = file(revision="B")
    exchange.head = USER.format(LINE.format('<LineDescRef id="W"/>')) + LATER
    exchange.put("SIG_3", "DATA", f'<Features>{AT}<UserPrimitiveRef id="U"/></Features>')
    assert in_use(exchange, tmp_path) == ("TOP", "SIG_3")
    exchange.head = USER.format(LINE.format('<LineDescRef id="X"/>')) + LATER
    with pytest.raises(FileError, match=r"line 2: LineDescRef id = 'X': the file has no such EntryLineDesc"):
        in_use(exchange, tmp_path)
    exchange.head = USER.format('<UserPrimitiveRef id="U"/>')
    with pytest.raises(FileError, match="shape 'U': refers to itself"):
        in_use(exchange, tmp_path)


def test_a_small_file_cannot_draw_without_end(tmp_path):
    """Shapes of shapes, ten of each in the next: 12 levels would be 1e12 lines."""
    entries = [f'<EntryUser id="S0"><UserSpecial>{LINE.format(WIDTH)}</UserSpecial></EntryUser>']
    for level in range(12):
        inside = f'<UserPrimitiveRef id="S{level}"/>' * 10
        entries.append(f'<EntryUser id="S{level + 1}"><UserSpecial>{inside}</UserSpecial></EntryUser>')
    exchange = file()
    exchange.head = f'<DictionaryUser units="MILLIMETER">{"".join(entries)}</DictionaryUser>'
    exchange.put("SIG_3", "DATA", f'<Features>{AT}<UserPrimitiveRef id="S12"/></Features>')
    with pytest.raises(FileError, match=r"shape 'S\d' draws more than 1000000 points"):
        in_use(exchange, tmp_path)


def test_a_width_may_stand_in_the_set_for_all_of_its_lines(tmp_path):
    """A line that reaches the pad only with its width of 1 mm."""
    line = '<Features><Line startX="0" startY="5.7" endX="9" endY="5.7"/></Features>'
    exchange = file().put("SIG_3", "DATA", f'<LineDesc lineEnd="ROUND" lineWidth="1"/>{line}')
    assert in_use(exchange, tmp_path) == ("TOP", "SIG_3")


def test_a_placed_pad_may_stand_before_its_component(tmp_path):
    """Revisions A and B: PadStack comes before Component in a Step."""
    exchange = file(revision="B")
    exchange.step_head = (
        f'<PadStack net="DATA"><LayerPad layerRef="BOTTOM">{AT}<Circle diameter="0.5"/>'
        f'<PinRef componentRef="U1" pin="1"/></LayerPad></PadStack>{exchange.step_head}'
    )
    assert in_use(exchange.component("U1", "SMT"), tmp_path) == ("TOP", "BOTTOM")


def test_areas_of_planes_may_be_called_so_in_their_set(tmp_path):
    exchange = file().area("SIG_3", "DATA", square(5, 5, 3), padUsage="PLANE")
    assert in_use(exchange, tmp_path) == ("TOP", "SIG_3")


# Blind and buried holes


def stacked(x, layers=(("TOP", "SIG_3"), ("SIG_3", "SIG_4"))):
    exchange = Exchange(drills=dict(zip("AB", layers, strict=True))).net("GND", "GROUND").hole("GND", 9, 9, layer="A")
    exchange.hole("DATA", 5, 5, layer="A").pads("DATA", 5, 5).hole("DATA", x, 5, layer="B").pads("DATA", x, 5)
    return exchange.line("TOP", "DATA", [(5, 5), (0, 5)]).line("SIG_4", "DATA", [(x, 5), (9, 5)])


@pytest.mark.parametrize("x", [5, 5.45], ids=["in one place", "side by side"])
def test_a_hole_that_stands_on_another_is_connected_to_it(x, tmp_path):
    """Their pads overlap on the one layer that both reach."""
    path = stacked(x).write(tmp_path)
    holes = read_ipc2581(path, **GIVEN).board.net("DATA").holes
    assert [hole.connects for hole in holes] == [("TOP", "SIG_3"), ("SIG_3", "SIG_4")]


def test_holes_that_share_several_layers_are_not_joined_on_all_of_them(tmp_path):
    """Where nothing says on which layer the net goes over, it would be a guess that hides a stub."""
    path = stacked(5.45, (("TOP", "SIG_4"), ("SIG_3", "SIG_4"))).write(tmp_path)
    read = read_ipc2581(path, **GIVEN)
    assert [hole.connects for hole in read.board.net("DATA").holes] == [("TOP",), ("SIG_4",)]
    assert any(what.startswith("holes of one net touch each other on several layers") for what, _ in read.assumed)


def test_a_plane_with_a_trace_is_mixed_and_keeps_its_clearances(tmp_path):
    """A signal net is led on a layer that the file calls PLANE; the plane goes on around the other hole."""
    exchange = file().hole("DATA", 15, 5).pads("DATA", 15, 5).line("TOP", "DATA", [(15, 5), (9, 5)])
    exchange.line("GND_2", "DATA", [(5, 5), (0, 5)])
    read = read_ipc2581(exchange.write(tmp_path), **GIVEN, antipads={"0.3 mm": "0.8 mm"})
    first, second = read.board.net("DATA").holes
    assert first.connects == ("TOP", "GND_2")
    assert second.padstack.antipad_at("GND_2", "mixed").width.m_as("mm") == pytest.approx(0.8)
    assert first.padstack.antipad_at("GND_2", "mixed") is None
    assert dict(read.assumed)["planes carry traces of signal nets and count as mixed"] == 1


def test_pads_smaller_than_their_hole_are_drilled_away(tmp_path):
    exchange = Exchange().hole("DATA", 5, 5).pads("DATA", 5, 5, size=0.25).net("GND", "GROUND").hole("GND", 6, 5)
    path = exchange.line("TOP", "DATA", [(5, 5), (0, 5)]).write(tmp_path)
    read = read_ipc2581(path, signals={"DATA": "10 Gb/s"}, z0="50 ohm")
    assert read.board.net("DATA").holes[0].padstack.pads == ()
    assert dict(read.assumed)["pads are smaller than their hole, and count as drilled away"] == 6


def test_the_user_may_add_layers_that_the_file_does_not_show(tmp_path):
    exchange = file()
    assert in_use(exchange, tmp_path, connects={"DATA.1": ["TOP", "SIG_4"]}) == ("TOP", "SIG_4")


# Holes whose net or span stands elsewhere


def test_a_hole_without_a_net_is_of_the_net_of_its_pads(tmp_path):
    """Where pads of two nets lie about it, it is counted and left out."""
    text = file().text()
    unnamed = text.replace('<Set net="DATA"><Hole', "<Set><Hole")
    assert unnamed != text
    assert in_use(unnamed, tmp_path) == ("TOP",)
    exchange = file().pad("SIG_3", "GND", 5, 5)
    path = tmp_path / "two.xml"
    path.write_text(exchange.text().replace('<Set net="DATA"><Hole', "<Set><Hole"), encoding="utf-8")
    found = read_ipc2581(path, signals={"DATA": "10 Gb/s"}, z0="50 ohm")
    assert (found.nets_without_holes, dict(found.ignored)) == (("DATA",), {"plated holes without a net": 1})


def test_a_span_may_end_at_the_mask_or_be_given(tmp_path):
    span = '<Span fromLayer="TOP" toLayer="BOTTOM"/>'
    masks = "".join(
        f'<Layer name="MASK_{side}" layerFunction="SOLDERMASK" side="{side}" polarity="POSITIVE"/>'
        for side in ("TOP", "BOTTOM")
    )
    text = file().text()
    masked = text.replace(span, '<Span fromLayer="MASK_TOP" toLayer="MASK_BOTTOM"/>')
    assert in_use(masked.replace("<Stackup ", f"{masks}<Stackup "), tmp_path) == ("TOP",)
    with pytest.raises(FileError, match=r"drill layer DRILL: has no Span.*or give spans"):
        in_use(text.replace(span, ""), tmp_path)
    for key in ("DRILL", "0.3 mm"):
        assert in_use(text.replace(span, ""), tmp_path, spans={key: ["TOP", "BOTTOM"]}) == ("TOP",)
    with pytest.raises(BoardError, match=r"spans: '0\.4 mm' is neither"):
        in_use(text, tmp_path, spans={"0.4 mm": ["TOP", "BOTTOM"]})


def test_a_hole_that_stands_on_two_drill_layers_of_one_span_is_one_hole(tmp_path):
    exchange = file()
    exchange.drills["AGAIN"] = ("BOTTOM", "TOP")
    assert in_use(exchange.hole("DATA", 5, 5, layer="AGAIN"), tmp_path) == ("TOP",)


@pytest.mark.parametrize("function", ["DIELBONDPLY", "DIELCOVERLAY", "GLUE", "CAPACITIVE"])
def test_every_dielectric_function_of_the_schemas_is_a_dielectric(function, tmp_path):
    assert in_use(file().text().replace('"DIELCORE"', f'"{function}"'), tmp_path) == ("TOP",)


def test_groups_of_a_stackup_may_number_their_layers_anew(tmp_path):
    """Two groups from 1 on, in the order of the file, with TOP and BOTTOM outside."""
    head, found, rest = file().text().partition('<StackupLayer layerOrGroupRef="SIG_4"')
    for number in range(7, 12):
        rest = rest.replace(f'sequence="{number}"', f'sequence="{number - 6}"', 1)
    text = f'{head}</StackupGroup><StackupGroup name="two">{found}{rest}'
    assert in_use(text, tmp_path) == ("TOP",)
    assert read_ipc2581(tmp_path / "board.xml").board.stackup == read_ipc2581(file().write(tmp_path)).board.stackup
