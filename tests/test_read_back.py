"""A hand-off read back: nothing differs as it was written, and every edit is found with its file, line and values."""

from __future__ import annotations

import re

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from stubsi import FileError, StubsiError, plan, read_hand_off, write_hand_off
from stubsi.handoff.read_drill_file import drill_places
from stubsi.handoff.read_list import list_differences
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


WRONG = {
    "no unit": ("M48\nT1C0.5\n", "line 2: no line METRIC or INCH"),
    "no tool": ("METRIC\nT1\nX1.0Y1.0\n", "line 3: a hole stands before a tool"),
    "a command": ("METRIC\nM99\n", "line 2: 'M99': is no line of such a drill file"),
    "no number": ("METRIC\nT1C0.5\nT1\nXnanY1.0\n", "line 4: 'XnanY1.0'"),
    "a huge number": ("METRIC\nT1C0.5\nT1\nX1e99Y1.0\n", "line 4"),
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
    "a quote": ('group,depth\n1,"2\n', "is no CSV"),
}


@pytest.mark.parametrize("wrong", WRONG_LISTS)
def test_a_wrong_list_is_refused_with_its_line(wrong):
    text, said = WRONG_LISTS[wrong]
    with pytest.raises(FileError, match=re.escape(said)):
        list_differences("a.csv", "group,depth\n1,2\n", text)


def test_what_cannot_be_read_is_refused(folder, planned, tmp_path):
    with pytest.raises(FileError, match="no such folder"):
        read_hand_off(tmp_path / "nowhere", planned)
    (folder / "drill_schedule.csv").write_bytes(b"a\n\xff\xfe")
    with pytest.raises(FileError, match=r"drill_schedule\.csv: line 2: is no text in UTF-8"):
        read_hand_off(folder, planned)


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
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
