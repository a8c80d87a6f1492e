"""Depth-drill specifications in IPC-2581: what other readers find in them, and what is read of those of others.

The schemas of IPC-2581 belong to its consortium and are no part of the project. The slow check that validates against
them takes their folder: ``pytest -m slow tests/test_backdrill_file.py --schemas FOLDER``. Element and attribute names
are from these schemas, revisions B1 and C.
"""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stubsi import FileError, read_backdrill_specs, still_valid
from stubsi.checks import one_line
from stubsi.files.backdrill import BackdrillReader
from stubsi.handoff.backdrill_file import REVISIONS, as_ipc2581, fitted, unfitted
from tests.test_hand_off import placed_net, planned, worked

SHARED = Path(__file__).parents[1] / "shared" / "sluice_gate_depth_drill.xml"
SPACE = "{http://webstds.ipc.org/2581}"
HOSTILE = "a:b <c>&\"d' ä\ufffe--"


def read(text, tmp_path):
    path = tmp_path / "specs.xml"
    path.write_text(text, encoding="utf-8")
    return read_backdrill_specs(path)


@pytest.mark.parametrize("revision", REVISIONS)
def test_each_group_has_its_specification(revision, tmp_path):
    """As the fabricator asks: from where, what not to cut, the largest stub, the depth with its tolerance.

    Ends as in the drill schedule: L4 lies 0.60 mm from the bottom, 0.2 mm left, the tip 0.15 mm ahead: 0.55 mm.
    """
    found = worked()
    specs = read(as_ipc2581(found, revision), tmp_path)
    assert len(specs) == 3
    start, keep, stub, depth, primary = specs[0].entries
    assert (start.kind, start.text, keep.kind, keep.text) == ("START_LAYER", "L6", "MUST_NOT_CUT_LAYER", "L4")
    assert (stub.kind, *stub[3:]) == ("MAX_STUB_LENGTH", *map(pytest.approx, (0.3e-3, 0, 0.2e-3)))
    assert depth.kind == "OTHER"
    assert depth.comment == "depth of the tip below the outer copper surface of the drilled side"
    assert depth[3:] == tuple(map(pytest.approx, (0.55e-3, 0.1e-3, 0.1e-3)))
    assert (primary.comment, primary.length_si) == ("diameter of the primary drill", pytest.approx(0.3e-3))
    assert [entry.text for entry in specs[2].entries[:2]] == ["L1", "L4"]


def test_another_reader_finds_every_hole():
    """ElementTree of the standard library."""
    root = ElementTree.fromstring(as_ipc2581(worked()))
    holes = {
        (feature.get("layerRef"), each.get("net")): each.find(f"{SPACE}Hole").attrib
        for feature in root.iter(f"{SPACE}LayerFeature")
        for each in feature.iter(f"{SPACE}Set")
    }
    assert {key: (float(hole["x"]), float(hole["y"]), float(hole["diameter"])) for key, hole in holes.items()} == {
        ("DEPTH_DRILL_1", "B"): (3.3, 0.0, 0.5),
        ("DEPTH_DRILL_2", "A"): (1.0, -2.5, 0.5),
        ("DEPTH_DRILL_3", "C"): (3.1344, 7.0, 0.5),
    }
    assert {hole["platingStatus"] for hole in holes.values()} == {"NONPLATED"}
    assert root.find(f".//{SPACE}FileRevision").get("fileRevisionId") == worked().digest


def test_the_file_carries_its_digests():
    found = worked()
    text = as_ipc2581(found)
    assert still_valid(text, found, found.board, found.rules)
    assert not still_valid(text.replace('value="0.550"', 'value="0.560"'), found, found.board, found.rules)
    assert "Estimates: confirm with the fabricator" in text


def test_a_specification_of_another_hand_is_read():
    """All four entries, a layer as text or as reference, mils and millimetres; the hole and its layer refer to it."""
    (spec,) = read_backdrill_specs(SHARED)
    assert spec.name == "TO_SIG_3"
    start, keep, stub, depth = spec.entries
    assert [start.text, keep.text] == ["BOTTOM", "SIG_3"]
    assert stub[3:] == tuple(map(pytest.approx, (11 * 25.4e-6, 0, 6 * 25.4e-6)))
    assert (depth.comment, *depth[3:]) == (
        "depth of the tip from START_LAYER", *map(pytest.approx, (0.344e-3, 0.076e-3, 0.076e-3)),
    )  # fmt: skip
    reader = BackdrillReader(SHARED)
    reader.read()
    assert [(hole.name, hole.plating, hole.specs) for hole in reader.holes] == [
        ("H1", "VIA", ("TO_SIG_3",)), ("B1", "NONPLATED", ("TO_SIG_3",)),
    ]  # fmt: skip


def test_what_an_entry_may_be(tmp_path):
    """Tolerance in percent of the value; an entry without a property; a unit that is no length; another Spec beside."""
    text = SHARED.read_text(encoding="utf-8")
    changed = text.replace('value="11" unit="MILS"', 'value="0.2" unit="MM" tolPercent="true"')
    more = (
        '<Backdrill type="OTHER" comment="plug it"/>'
        '<Dielectric type="LOSS_TANGENT"><Property value="1"/></Dielectric></Spec>'
        '<Spec name="M"><General type="MATERIAL"><Property text="x"/></General></Spec>'
    )
    changed = changed.replace("</Spec>", more)
    changed = changed.replace('value="0.344" unit="MM"', 'value="5" unit="PERCENT"')
    (spec,) = read(changed, tmp_path)
    assert spec.entries[2][3:] == tuple(map(pytest.approx, (0.2e-3, 0, 0.012e-3)))
    assert spec.entries[3][3:] == (None, None, None)
    assert (spec.entries[4].comment, spec.entries[4].text) == ("plug it", "")
    assert len(spec.entries) == 5


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('type="OTHER"', 'type="DEEPEST"', r"Backdrill type = 'DEEPEST': must be START_LAYER"),
        (' unit="MILS"', "", "MAX_STUB_LENGTH: needs a value with its unit"),
        ('value="11"', 'value="1,1"', "must be a plain finite number"),
        (' text="SIG_3"', "", "MUST_NOT_CUT_LAYER: needs the name of a layer"),
        ("<IPC-2581", "<!DOCTYPE a><IPC-2581", "declares a DOCTYPE"),
        ('revision="C"', 'revision="Z"', "revision = 'Z': known are A, B, B1, C"),
        ("MILLIMETER", "CUBIT", "units = 'CUBIT'"),
        ("</CadHeader>", '<Spec name="TO_SIG_3"/></CadHeader>', "appears twice"),
    ],
)
def test_what_is_wrong_in_a_file_is_named(old, new, says, tmp_path):
    text = SHARED.read_text(encoding="utf-8")
    assert old in text
    with pytest.raises(FileError, match=says):
        read(text.replace(old, new), tmp_path)


@given(st.text().filter(lambda name: name.strip() and one_line(name) == name), st.sampled_from(REVISIONS))
def test_a_name_of_any_kind_fits_and_reads_back(name, revision):
    """The patterns of qualifiedNameType in the two schemas, and no blank at an end, which XML readers may drop."""
    pattern = {"B1": r"[a-zA-Z0-9_\-.+><]*", "C": r"[^:]+"}[revision]
    assert re.fullmatch(pattern, fitted(name, revision))
    assert unfitted(fitted(name, revision)) == name
    assert fitted(name, revision).strip() == fitted(name, revision)


@settings(max_examples=20)
@given(
    st.text(max_size=12).filter(lambda name: name.strip() and one_line(name) == name),
    st.sampled_from(["x--", "--> <a/>", "]]>", "<!--", "-", "\ud800\ufffe", "a\nb"]),
    st.sampled_from(REVISIONS),
)
def test_no_name_or_source_breaks_the_file(name, source, revision):
    found = planned(placed_net(name, ("L1", "L3"), 0.4), source=source)
    text = as_ipc2581(found, revision)
    (hole,) = ElementTree.fromstring(text).iter(f"{SPACE}Hole")
    assert unfitted(hole.get("name")) == f"{name}.1"
    text.encode()
    assert still_valid(text, found, found.board, found.rules)


@pytest.mark.slow
@pytest.mark.parametrize("revision", REVISIONS)
def test_generated_files_validate_against_their_schema(revision, pytestconfig, tmp_path):
    """With xmlschema, a general library. Names that need escaping too, no group at all, and the file in ``shared/``."""
    folder = pytestconfig.getoption("schemas")
    if folder is None:
        pytest.skip("needs the schemas of IPC-2581: give their folder as --schemas FOLDER")
    xmlschema = pytest.importorskip("xmlschema")
    schema = xmlschema.XMLSchema10(Path(folder) / f"IPC-2581_Rev{revision}.xsd")
    hostile = planned(placed_net(HOSTILE, ("L1", "L3"), 0.4), placed_net("B", ("L1", "L4"), 0.4, "3 mm"))
    nothing = planned(placed_net("A", ("L1", "L6"), 0.4))
    assert (len(hostile.groups), len(nothing.groups)) == (2, 0)
    for found in (worked(), hostile, nothing):
        path = tmp_path / "specs.xml"
        path.write_text(as_ipc2581(found, revision), encoding="utf-8")
        schema.validate(str(path))
        broken = path.read_text(encoding="utf-8").replace('platingStatus="NONPLATED"', 'platingStatus="MAYBE"')
        assert (broken == path.read_text(encoding="utf-8")) is (not found.groups)
    if revision == "C":
        schema.validate(str(SHARED))
    with pytest.raises(xmlschema.XMLSchemaValidationError):
        schema.validate(as_ipc2581(worked(), revision).replace('"NONPLATED"', '"MAYBE"'))


def test_the_references_of_one_hole_are_bounded(tmp_path):
    """A file of a few megabytes with all its references in one hole would take hours otherwise."""
    path = tmp_path / "many.xml"
    path.write_text(
        '<IPC-2581 revision="C"><Ecad><CadHeader units="MILLIMETER"/><LayerFeature layerRef="D"><Set>\n'
        '<Hole name="H" diameter="1" platingStatus="VIA" x="0" y="0">\n'
        + '<SpecRef id="S"/>\n' * 101
        + "</Hole></Set></LayerFeature></Ecad></IPC-2581>",
        encoding="utf-8",
    )
    with pytest.raises(FileError, match=r"line 103: a hole or a layer refers to more than 100 specifications"):
        BackdrillReader(path).read()
