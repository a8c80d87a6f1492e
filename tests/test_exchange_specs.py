"""What the specifications of an IPC-2581 file say: Dk at its frequency, impedances of lines, depth drills."""

from __future__ import annotations

import pytest

from stubsi import BoardError, FileError, PressFit, read_ipc2581
from stubsi.files.board_file import read_any_board
from tests.exchange_files import Exchange

GIVEN = {"signals": {"DATA": "10 Gb/s"}, "z0": "50 ohm", "pads": {"0.3 mm": "0.5 mm"}}
REFERS = '><SpecRef id="BD"/>'
DK = '<Property value="3.9"/>'


def file(revision="C"):
    exchange = Exchange(revision=revision).net("GND", "GROUND").hole("GND", 6, 5).net("DATA", "SIGNAL")
    return exchange.hole("DATA", 5, 5).pads("DATA", 5, 5).line("TOP", "DATA", [(5, 5), (0, 5)])


def read(text, tmp_path, **given):
    (tmp_path / "board.xml").write_text(text, encoding="utf-8")
    return read_ipc2581(tmp_path / "board.xml", **{**GIVEN, **given})


def laminate(found):
    return found.board.stackup.layers[1]


def test_a_dk_may_say_at_which_frequency_it_holds(tmp_path):
    """refValue and refUnit of Property; the loss tangent must hold there as well, or the frequency is left out."""
    at = '<Property value="{}" refValue="1E10" refUnit="Hz"/>'
    text = file().text().replace(DK, at.format("3.9"))
    assert laminate(read(text, tmp_path)).at is None
    both = text.replace('<Property value="0.01"/>', at.format("0.01"))
    assert laminate(read(both, tmp_path)).at.m_as("GHz") == pytest.approx(10, rel=1e-12)


def test_of_several_frequencies_none_is_chosen(tmp_path):
    several = "".join(f'<Property value="{dk}" refValue="{at}" refUnit="Hz"/>' for dk, at in ((3.9, 1e9), (3.8, 1e10)))
    found = read(file().text().replace(DK, several), tmp_path)
    assert laminate(found).dk is None
    assert any(what.startswith("materials have a Dk for each of several frequencies") for what, _ in found.assumed)
    given = {"PREPREG_*": 3.85, "CORE_*": 3.85}
    assert laminate(read(file().text().replace(DK, several), tmp_path, dk=given)).dk == 3.85
    with pytest.raises(FileError, match=r"3\.9 and then 3\.8; keep one of them"):
        read(file().text().replace(DK, several.replace(' refValue="1000000000.0" refUnit="Hz"', "")), tmp_path)


@pytest.mark.parametrize(("written", "dk"), [('text="3.9"', 3.9), ('text="low"', None), ("", None)])
def test_a_property_may_hold_its_number_as_text_or_none(written, dk, tmp_path):
    found = read(file().text().replace(DK, f"<Property {written}/>"), tmp_path)
    assert laminate(found).dk == dk
    assert dict(found.ignored).get("properties of materials without a number", 0) == (0 if dk else 5)


# Impedances

OF_C = '<Spec name="Z"><Impedance value="{ohm}"><{how} structure="STRIPLINE"/></Impedance></Spec>'
OF_B = (
    '<Spec name="Z"><Impedance type="IMPEDANCE" transmission="{how}" structure="STRIPLINE">'
    '<Property value="{ohm}" unit="OHMS"/></Impedance><Impedance type="LINEWIDTH" transmission="{how}" '
    'structure="STRIPLINE"><Property value="0.1" unit="MM"/></Impedance></Spec>'
)


@pytest.mark.parametrize(
    ("spec", "how", "where"),
    [(OF_C, "SingleEnded", "net"), (OF_C, "SingleEnded", "set"), (OF_B, "SINGLE_ENDED", "set")],
)
def test_the_impedance_of_a_line_is_that_of_its_specification(spec, how, where, tmp_path):
    """Through the SpecRef of the net (revision C) or of the set of its line."""
    text = file("C" if spec is OF_C else "B").text()
    text = text.replace("</CadHeader>", f"{spec.format(ohm=48, how=how)}</CadHeader>")
    before, after = '<LogicalNet name="DATA" netClass="SIGNAL"><PinRef pin="1"/>', ""
    if where == "set":
        before, after = '<Set net="DATA">', "<Features>"
    assert before + after in text
    text = text.replace(before + after, f'{before}<SpecRef id="Z"/>{after}')
    found = read(text, tmp_path, z0=None)
    assert found.board.net("DATA").z0.m_as("ohm") == 48
    assert dict(found.assumed)["impedances of lines are not given, and are those that the file specifies"] == 1
    assert read(text, tmp_path).board.net("DATA").z0.m_as("ohm") == 50  # what the user gives comes first
    coupled = text.replace("SingleEnded", "EdgeCoupled").replace("SINGLE_ENDED", "EDGE_COUPLED")
    with pytest.raises(FileError, match="impedance of nets DATA"):  # differential, and the net is no pair
        read(coupled, tmp_path, z0=None)


# Depth drills

BACKDRILL = '<Spec name="BD"><Backdrill type="MUST_NOT_CUT_LAYER"><Property text="SIG_4"/></Backdrill></Spec>'


@pytest.mark.parametrize("where", ["layer", "hole"])
@pytest.mark.parametrize("status", ["PLATED", "NONPLATED"])
def test_depth_drills_of_the_file_are_no_plated_holes(where, status, tmp_path):
    exchange = file()
    exchange.drills["DEPTH"] = ("BOTTOM", "SIG_4")
    text = exchange.hole("DATA", 5, 5, 0.5, layer="DEPTH", status=status).text()
    text = text.replace("</CadHeader>", f"{BACKDRILL}</CadHeader>")
    head, _, rest = text.partition('<Layer name="DEPTH"' if where == "layer" else 'diameter="0.5" platingStatus')
    element = text[len(head) : len(text) - len(rest)]
    rest = rest.replace(">", REFERS, 1) if where == "layer" else rest.replace("/>", f"{REFERS}</Hole>", 1)
    text = head + element + rest
    found = read(text, tmp_path)
    (hole,) = found.board.net("DATA").holes
    assert hole.padstack.drill.m_as("mm") == pytest.approx(0.3)
    told = "depth drills in holes" if status == "PLATED" else "non-plated holes"
    assert any(what.startswith(told) for what, _ in found.ignored)


def test_a_plated_hole_that_is_to_be_drilled_stays_a_hole(tmp_path):
    text = file().text().replace("</CadHeader>", f"{BACKDRILL}</CadHeader>")
    hole = '<Hole name="H" diameter="0.3"'
    head, _, rest = text.rpartition(hole)
    text = head + hole + rest.replace("/>", f"{REFERS}</Hole>", 1)
    assert len(read(text, tmp_path).board.net("DATA").holes) == 1


# Press-fit pins

FIT = PressFit(side="bottom", contact_from="0.3 mm", contact_to="1.1 mm")


def test_what_a_press_fit_pin_needs_is_given_by_its_component(tmp_path):
    """Revision C says PRESSFIT and no contact zone, so the summary asks for it."""
    exchange = file().component("J1", "PRESSFIT", "BOTTOM").pads("DATA", 5, 5, pin="J1")
    without = read(exchange.text(), tmp_path)
    assert without.board.net("DATA").holes[0].connects == ("TOP", "BOTTOM")
    assert dict(without.assumed)["holes hold a press-fit pin whose contact zone is not known; give press_fit"] == 1
    given = read(exchange.text(), tmp_path, press_fit={"J*": FIT})
    assert given.board.net("DATA").holes[0].press_fit == FIT
    with pytest.raises(BoardError, match=r"press_fit: 'K1' matches no component"):
        read(exchange.text(), tmp_path, press_fit={"K1": FIT})
    (tmp_path / "facts.toml").write_text(
        'exchange = "board.xml"\nz0 = "50 ohm"\nsignals = {DATA = "10 Gb/s"}\npads = {"0.3 mm" = "0.5 mm"}\n'
        '[press_fit]\nJ1 = {side = "bottom", contact_from = "0.3 mm", contact_to = "1.1 mm"}\n'
    )
    assert read_any_board(tmp_path / "facts.toml").net("DATA").holes[0].press_fit == FIT
