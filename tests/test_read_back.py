"""A hand-off read back: nothing differs as it was written, and every edit is found with its file, line and values."""

from __future__ import annotations

import csv
import re

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from stubsi import FileError, StubsiError, plan, read_hand_off, write_hand_off
from stubsi.handoff.read_drill_file import drill_places
from stubsi.handoff.read_list import list_differences
from stubsi.handoff.read_places import ReadPlace, Resolution, place_differences
from tests import drilling_boards as made
from tests import margin_boards as mb


@pytest.fixture(scope="module")
def planned():
    nets = [mb.net("A", ("TOP", "S1"), signal="25 GBd"), mb.net("B", ("TOP", "S2"), place=1, signal="56 GBd"),
            mb.net("C", ("TOP", "S1"), place=2, signal="56 GBd")]  # fmt: skip
    return plan(mb.board(*nets, layers=mb.stackup(gap=0.4)), made.rules(tip_angle=150), dk_eff=5.0)


@pytest.fixture
def folder(planned, tmp_path):
    write_hand_off(planned, tmp_path / "out")
    return tmp_path / "out"


def edit(path, old, new, count=1):
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, count), encoding="utf-8")


def differing(folder, planned):
    """Differences other than that the text was edited."""
    return [each for each in read_hand_off(folder, planned).differences if each.what != "text"]


def test_what_was_written_says_what_the_plan_says(folder, planned):
    found = read_hand_off(folder, planned)
    assert not found
    assert str(found) == "The files say what the plan says."
    for path in folder.iterdir():  # blanks at line ends and other line ends are no change
        path.write_text(path.read_text(encoding="utf-8").replace("\n", " \r\n"), encoding="utf-8", newline="")
    assert not read_hand_off(folder, planned)


def test_an_edit_is_found_with_its_line_and_both_values(folder, planned):
    """Another depth in the schedule, another diameter and place in a drill file."""
    group = planned.groups[0]
    depth = f"{1e3 * group.depth_si[0]:.3f}"
    edit(folder / "drill_schedule.csv", f",{depth},", ",0.123,")
    (found,) = differing(folder, planned)
    assert (found.file, found.planned, found.read) == ("drill_schedule.csv", depth, "0.123")
    assert "depth" in found.what
    text = (folder / "drill_schedule.csv").read_text(encoding="utf-8").splitlines()
    assert ",0.123," in text[found.line - 1]
    assert str(found).startswith(f"drill_schedule.csv, line {found.line}: group {group.number}, depth")


def test_edits_of_a_drill_file_are_found(folder, planned):
    group = planned.groups[0]
    path = folder / f"group_{group.number:02d}_{group.side}.xnc"
    edit(path, "T01C0.5000", "T01C0.6000")
    found = differing(folder, planned)
    assert {(each.what, each.planned, each.read) for each in found} == {
        (f"depth drill of {hit.hole.name}", "0.5000 mm", "0.6000 mm") for hit in group.hits
    }
    edit(path, "T01C0.6000", "T01C0.5000")
    line = next(line for line in path.read_text(encoding="utf-8").splitlines() if line.startswith("X"))
    edit(path, line, "X77.0000Y3.0000")
    (moved,) = differing(folder, planned)
    assert moved.what.startswith("position of ")
    assert moved.read == "(77.0000, 3.0000) mm"
    edit(path, "M30", "X1.0000Y1.0000\nM30")
    assert {each.what.split()[0] for each in differing(folder, planned)} == {"position", "hole"}


def test_missing_and_extra_files_holes_and_columns_are_found(folder, planned):
    (folder / "drill_schedule.csv").unlink()
    (folder / "group_77_top.xnc").write_text("M48\n", encoding="utf-8")
    holes = folder / "drilled_holes.csv"
    lines = holes.read_text(encoding="utf-8").splitlines()
    holes.write_text("\n".join([*lines[:-1], lines[-1].replace(lines[-1].split(",")[0], "NEW")]), encoding="utf-8")
    found = {(each.file, each.what.split()[0], each.planned, each.read) for each in differing(folder, planned)}
    assert found == {
        ("drill_schedule.csv", "file", "there", ""), ("group_77_top.xnc", "file", "", "there"),
        ("drilled_holes.csv", "hole", "there", ""), ("drilled_holes.csv", "hole", "", "there"),
    }  # fmt: skip


def test_another_plan_and_its_specifications_are_told(folder, planned):
    other = plan(planned.board, planned.rules.replaced(oversize="0.25 mm"), dk_eff=5.0)
    found = read_hand_off(folder, other).differences
    assert {"digest of the plan"} < {each.what for each in found}
    assert any(each.what.startswith("depth drill of") and each.planned == "0.5500 mm" for each in found)
    edit(folder / "depth_drilling.xml", planned.groups[0].layer, "ELSEWHERE", count=-1)
    assert any(each.file == "depth_drilling.xml" and "ELSEWHERE" in each.read
               for each in read_hand_off(folder, planned).differences)  # fmt: skip


def test_a_drill_file_in_inches_says_the_same():
    text = "M48\nINCH,TZ\nT1C0.0197\n%\nT1\nX1.0Y-2.0\nM30\n"
    (place,) = drill_places("a.xnc", text)
    assert (place.x_si, place.y_si, place.drill_si) == pytest.approx((0.0254, -0.0508, 0.50038e-3))


def in_inches(text, names):
    """A drill file as a program would write it in inches: four digits, and holes without their names."""
    lines = []
    for line in text.splitlines():
        changed = line.replace("METRIC", "INCH")
        if line.startswith(("X", "T01C")):
            changed = re.sub(r"-?[0-9]+\.[0-9]+", lambda number: f"{float(number[0]) / 25.4:.4f}", line)
        if names or not line.startswith(("; #@! TO", "; #@! TA")):
            lines.append(changed)
    return "\n".join(lines)


@pytest.mark.parametrize("names", [True, False], ids=["named", "unnamed"])
def test_a_drill_file_in_inches_is_the_plan_to_its_digits(names, folder, planned):
    """0.0001 in is 2.54 um, so places and diameters move by up to 1.27 um, which is no difference of the hole."""
    for group in planned.groups:
        path = folder / f"group_{group.number:02d}_{group.side}.xnc"
        path.write_text(in_inches(path.read_text(encoding="utf-8"), names), encoding="utf-8")
    assert differing(folder, planned) == []
    line = next(line for line in path.read_text(encoding="utf-8").splitlines() if line.startswith("X"))
    x, y = re.findall(r"-?[0-9.]+", line)
    edit(path, line, f"X{float(x) + 0.0002:.4f}Y{y}")  # two steps of the last digit
    found = [each.what for each in differing(folder, planned)]
    assert found
    assert all(what.startswith(("position of", "hole ")) for what in found)


def test_of_two_holes_near_each_other_each_place_is_one():
    """Two places of the plan a step apart, and two of the file: the second one may not be taken twice."""
    own = [ReadPlace(None, x, 0.0, 5e-4, name, "") for x, name in ((0.0, "A"), (2e-6, "B"))]
    file = [ReadPlace(line, x, 0.0, 5e-4, "", "") for line, x in ((1, 2.54e-6), (2, 0.0))]
    assert place_differences(own, file, Resolution(place_si=3e-6)) == []
    (lost,) = place_differences(own, file[:1], Resolution(place_si=3e-6))
    assert lost[1] == "hole B"


WRONG = {
    "two units": ("METRIC\nINCH\n", "line 2: the unit changes"),
    "no unit": ("M48\nT1C0.5\n", "line 2: no line METRIC or INCH"),
    "no tool": ("METRIC\nT1\nX1.0Y1.0\n", "line 3: a hole stands before a tool"),
    "a command": ("METRIC\nM99\n", "line 2: 'M99': is no line of such a drill file"),
    "no number": ("METRIC\nT1C0.5\nT1\nXnanY1.0\n", "line 4: 'XnanY1.0'"),
    "a huge number": ("METRIC\nT1C0.5\nT1\nX1e99Y1.0\n", "line 4"),
    "a tool twice": ("METRIC\nT1C0.5\nT1C0.6\n", "line 3: tool 1 has another diameter"),
    "an attribute twice": ("; #@! TFDepth,1\n; #@! TFDepth,2\n", "line 2: attribute 'TFDepth' stands in line 1"),
    "an escape": ("; #@! TOHole,\\UFFFFFFFF\n", "line 1: .* escape"),
}


@pytest.mark.parametrize("wrong", WRONG)
def test_a_wrong_drill_file_is_refused_with_its_line(wrong):
    text, said = WRONG[wrong]
    with pytest.raises(FileError, match=rf"a\.xnc: {said}"):
        drill_places("a.xnc", text)


WRONG_LISTS = {
    "no table": ("# nothing\n", "holds no table"),
    "a short row": ("group,depth\n1\n", "line 2: has 1 cells, and the header has 2"),
    "no key": ("depth\n1\n", "line 2: has neither"),
    "a row twice": ("group,depth\n1,2\n1,3\n", "line 3: group 1 stands in line 2 already"),
    "a column twice": ("group,depth,depth\n1,2,3\n", "line 1: the column 'depth' stands there twice"),
    "a quote": ('group,depth\n1,"2\n', "is no CSV"),
}


@pytest.mark.parametrize("wrong", WRONG_LISTS)
def test_a_wrong_list_is_refused_with_its_line(wrong):
    text, said = WRONG_LISTS[wrong]
    with pytest.raises(FileError, match=re.escape(said)):
        list_differences("a.csv", "group,depth\n1,2\n", text)


SPECS = "depth_drilling.xml"
EDITS_OF_SPECS = {
    "moved": (r'x="0.0000" y', 'x="77.0000" y', "position of A.0", "(0.0000, 0.0000) mm", "(77.0000, 0.0000) mm"),
    "wider": (r'(?<="A.0" )diameter="0.5000"', 'diameter="0.9000"', "depth drill of A.0", "0.5000 mm", "0.9000 mm"),
    "renamed": (r'name="A.0"', 'name="ELSE"', "name of A.0", "A.0", "ELSE"),
    "another net": (r'<Set net="A">', '<Set net="ELSE">', "net of A.0", "A", "ELSE"),
    "gone": (r'(?s)<Set net="A">.*?</Set>', "", "hole A.0", "(0.0000, 0.0000) mm", ""),
}  # fmt: skip


@pytest.mark.parametrize("edited", EDITS_OF_SPECS)
def test_edited_holes_of_the_specifications_are_found(folder, planned, edited):
    """Position, diameter, name, net and absence of a hole, with the line where the hole stands."""
    old, new, what, own, other = EDITS_OF_SPECS[edited]
    path = folder / SPECS
    text, count = re.subn(old, new, path.read_text(encoding="utf-8"), count=1)
    assert count
    path.write_text(text, encoding="utf-8")
    (found,) = differing(folder, planned)
    assert (found.file, found.what, found.planned, found.read) == (SPECS, f"{what} on DEPTH_DRILL_1", own, other)
    assert found.line is None if not other else "<Hole" in text.splitlines()[found.line - 1]


def test_an_edited_specification_is_found_with_its_line(folder, planned):
    path = folder / SPECS
    edit(path, 'value="1.560"', 'value="1.660"')
    (found,) = differing(folder, planned)
    assert "<Spec name=" in path.read_text(encoding="utf-8").splitlines()[found.line - 1]
    assert "1.56 mm" in found.planned
    assert "1.66 mm" in found.read


@pytest.mark.parametrize(("key", "new"), [("TFDepth", "9.999"), ("TFMustNotCutLayer", "G2"), ("TFDrilledSide", "top")])
def test_what_a_drill_file_says_of_its_group_is_compared(folder, planned, key, new):
    """Depth, layer and side stand in attributes, because a drill file itself cannot say them."""
    group = planned.groups[0]
    path = folder / f"group_{group.number:02d}_{group.side}.xnc"
    line = next(line for line in path.read_text(encoding="utf-8").splitlines() if line.startswith(f"; #@! {key},"))
    edit(path, line, f"; #@! {key},{new}")
    (found,) = differing(folder, planned)
    assert (found.what, found.planned, found.read) == (f"attribute {key}", line.partition(",")[2], new)
    assert path.read_text(encoding="utf-8").splitlines()[found.line - 1].endswith(new)


def test_a_renamed_hole_of_a_drill_file_is_found(folder, planned):
    group = planned.groups[0]
    edit(folder / f"group_{group.number:02d}_{group.side}.xnc", "TOHole,A.0", "TOHole,ELSE")
    (found,) = differing(folder, planned)
    assert (found.what, found.planned, found.read) == ("name of A.0", "A.0", "ELSE")


def test_names_are_compared_as_text_and_lengths_as_numbers():
    header = "hole,side,net,depth [mm]\n"
    assert not list_differences("a.csv", f"{header}h,top,1.0,0.344\n", f"{header}h,top,1.0,0.3440\n")
    for other in ("h,top,1.0000,0.344", "h,top,1.0,0.345", "h,top,1.0,0.3_44"):
        assert len(list_differences("a.csv", f"{header}h,top,1.0,0.344\n", f"{header}{other}\n")) == 1


def test_what_cannot_be_read_is_refused(folder, planned, tmp_path):
    with pytest.raises(FileError, match="no such folder"):
        read_hand_off(tmp_path / "nowhere", planned)
    (folder / "drill_schedule.csv").write_bytes(b"a\n\xff\xfe")
    with pytest.raises(FileError, match=r"drill_schedule\.csv: line 2: is no text in UTF-8"):
        read_hand_off(folder, planned)


@settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_any_damage_is_told_or_refused(planned, folder, data):
    """Any one byte of any file changed in what a machine or a person reads: never silently accepted."""
    write_hand_off(planned, folder, replace=True)
    path = data.draw(st.sampled_from(sorted(folder.iterdir())))
    raw = bytearray(path.read_bytes())
    place = data.draw(st.integers(0, len(raw) - 1))
    new = data.draw(st.sampled_from(b"0123456789XYTC,.;#"))
    blank = raw[place : place + 1].isspace()
    if raw[place] == new or blank:
        return
    raw[place] = new
    path.write_bytes(bytes(raw))
    try:
        assert read_hand_off(folder, planned)
    except StubsiError as error:
        assert path.name in str(error)  # noqa: PT017 # it is also right not to refuse it


def test_reading_leaves_the_settings_of_the_process_alone(folder, planned):
    before = csv.field_size_limit()
    read_hand_off(folder, planned)
    assert csv.field_size_limit() == before
    (folder / "drill_schedule.csv").write_text('"', encoding="utf-8")
    with pytest.raises(FileError):
        read_hand_off(folder, planned)
    assert csv.field_size_limit() == before
