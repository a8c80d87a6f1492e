"""Hand-off files: what a fabricator's program reads in them is the plan, and writing them loses nothing.

The drill files are read here by a reader of its own, which knows XNC alone: header from M48 to %, one tool with its
diameter, drill mode, places with a decimal point, M30 (XNC and IPC-NC-349, from memory).
"""

from __future__ import annotations

import os
import re

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from stubsi import Board, FileError, Hole, Net, UnknownValueError, plan, still_valid, write_hand_off
from stubsi.checks import one_line
from stubsi.handoff.drill_file import as_xnc, escaped, unescaped
from tests import drilling_boards as db
from tests.readers import pandas_rows

SIDES = {"bottom": "any", "top": "any"}


def placed_net(name, connects, at_most, x="1 mm", y="2 mm", drill=db.VIA):
    hole = Hole(name=f"{name}.1", padstack=drill, connects=connects, x=x, y=y)
    return Net(name=name, signal="10 Gb/s", z0="50 ohm", holes=(hole,), criterion=db.longest(at_most))


def planned(*nets, **changed):
    board = Board(stackup=db.stackup((0.25,) * 5), nets=nets)
    return plan(board, db.rules(**changed), model="uniform", dk_eff=4)


def worked():
    """Three groups: L4 and L3 from the bottom, L4 from the top."""
    return planned(
        placed_net("A", ("L1", "L3"), 0.4, "1 mm", "-2.5 mm"),
        placed_net("B", ("L1", "L4"), 0.4, "3.3 mm", "0 mm"),
        placed_net("C", ("L4", "L6"), 0.4, "0.1234 in", "7 mm"),
    )


def machine(text):
    """What a drilling machine does: tool diameter and places [mm]. Comments are nothing to it."""
    lines = [line for line in text.split("\n") if not line.startswith(";")]
    assert text.isascii()
    assert lines.pop() == ""
    assert lines[:2] == ["M48", "METRIC"]
    tool = re.fullmatch(r"T01C(\d+\.\d+)", lines[2])
    assert lines[3:6] == ["%", "G05", "T01"]
    assert lines[-1] == "M30"
    places = [re.fullmatch(r"X(-?\d+\.\d+)Y(-?\d+\.\d+)", line) for line in lines[6:-1]]
    return float(tool[1]), [(float(place[1]), float(place[2])) for place in places]


def test_drill_files_drill_what_the_plan_says(tmp_path):
    found = worked()
    paths = write_hand_off(found, tmp_path / "out")
    assert [path.name for path in paths] == [
        "drill_schedule.csv", "drilled_holes.csv", "depth_drilling.xml", "group_01_bottom.xnc", "group_02_bottom.xnc",
        "group_03_top.xnc", "acceptance_plan.csv",
    ]  # fmt: skip
    assert sorted(os.listdir(tmp_path / "out")) == sorted(path.name for path in paths)
    texts = [path.read_text(encoding="utf-8") for path in paths]
    assert [machine(text) for text in texts[3:-1]] == [
        (0.5, [(3.3, 0.0)]),
        (0.5, [(1.0, -2.5)]),
        (0.5, [(3.1344, 7.0)]),  # 0.1234 in = 3.13436 mm
    ]
    for text in texts:
        assert f"Plan digest: {found.digest}" in text
        assert still_valid(text, found, found.board, found.rules)
        assert not still_valid(text.replace("0.5", "0.6"), found, found.board, found.rules)


def test_attributes_say_what_a_drill_file_cannot():
    """Layers L4 from the bottom: 5 and 6 of 6 are removed. From the top to L4: 1 to 3. Ends as in the drill schedule:
    near face of L4 0.60 mm from the bottom, 0.2 mm left, and the tip of 90 degrees 0.15 mm ahead of the end."""
    first, _, third = (as_xnc(worked(), group).split("\n") for group in worked().groups)
    for line in (
        "; #@! TF.FileFunction,NonPlated,5,6,Blind,Drill", "; #@! TFDrillGroup,1", "; #@! TFDrilledSide,bottom",
        "; #@! TFStartLayer,L6", "; #@! TFMustNotCutLayer,L4", "; #@! TFDepthDatum,copper", "; #@! TFDepthTo,tip",
        "; #@! TFDepth,0.550,0.550", "; #@! TFDepthTolerance,-0.100,0.100", "; #@! TFResidualStub,0.100,0.300",
        "; #@! TFPrimaryDrill,0.300", "; #@! TA.AperFunction,BackDrill", "; #@! TO.N,B", "; #@! TOHole,B.1",
    ):  # fmt: skip
        assert line in first
    assert "; #@! TF.FileFunction,NonPlated,1,3,Blind,Drill" in third
    assert "; #@! TFStartLayer,L1" in third
    assert any(line.startswith("; Estimates: confirm with the fabricator") for line in third)


def test_a_hole_without_a_position_is_named():
    found = planned(db.net("A", ("L1", "L3"), 0.4))
    with pytest.raises(UnknownValueError, match=r"group 1: the position of A\.1 is unknown.*give x and y"):
        as_xnc(found, found.groups[0])


def test_an_unknown_tip_leaves_a_range_of_depth():
    """Drill 0.3 mm: its tip is 0 (flat) to 0.15 mm (90 degrees) ahead of the end, which lies 0.30 mm deep."""
    found = planned(
        placed_net("A", ("L1", "L4"), 0.5), tip_angle=None,
        tolerance=db.GuaranteedResidual(least="0.2 mm", most="0.4 mm", source=db.SAYS),
    )  # fmt: skip
    assert "; #@! TFDepth,0.300,0.450" in as_xnc(found, found.groups[0]).split("\n")


def test_nothing_is_replaced_unless_it_is_asked_for(tmp_path):
    found = worked()
    write_hand_off(found, tmp_path)
    (tmp_path / "drilled_holes.csv").write_text("edited", encoding="utf-8")
    (tmp_path / "notes.txt").write_text("mine", encoding="utf-8")
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    with pytest.raises(FileError, match=r"drill_schedule\.csv.* and 4 more there already; .*replace=True"):
        write_hand_off(found, tmp_path)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_a_replaced_hand_off_leaves_no_drill_file_of_the_earlier_one(tmp_path):
    """Else a fabricator would drill a group that the plan no longer has."""
    write_hand_off(worked(), tmp_path)
    (tmp_path / "notes.txt").write_text("mine", encoding="utf-8")
    (tmp_path / "group_1.xnc").write_text("mine too", encoding="utf-8")
    fewer = planned(placed_net("A", ("L1", "L3"), 0.4))
    with pytest.raises(FileError, match="there already"):
        write_hand_off(fewer, tmp_path)
    write_hand_off(fewer, tmp_path, replace=True)
    assert sorted(os.listdir(tmp_path)) == [
        "acceptance_plan.csv", "depth_drilling.xml", "drill_schedule.csv", "drilled_holes.csv", "group_01_bottom.xnc",
        "group_1.xnc", "notes.txt",
    ]  # fmt: skip
    assert (tmp_path / "notes.txt").read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("fails", ["fsync", "replace"])
def test_a_full_disk_leaves_the_old_files(tmp_path, monkeypatch, fails):
    """Whether the disk is full while the third file is written, or a file cannot take its place."""
    write_hand_off(worked(), tmp_path)
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    calls = []
    done = os.fsync

    def full(*_):
        calls.append(1)
        if fails == "replace" or len(calls) == 3:
            raise OSError(28, "No space left on device")
        return done(*_)

    if fails == "fsync":
        monkeypatch.setattr(os, "fsync", full)
    else:
        monkeypatch.setattr("pathlib.Path.replace", full)
    with pytest.raises(FileError, match="cannot be written: No space left on device"):
        write_hand_off(planned(placed_net("A", ("L1", "L3"), 0.4)), tmp_path, replace=True)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_a_file_that_comes_in_between_is_not_replaced(tmp_path, monkeypatch):
    done = os.fsync

    def other_program(descriptor):
        (tmp_path / "drill_schedule.csv").write_text("theirs", encoding="utf-8")
        return done(descriptor)

    monkeypatch.setattr(os, "fsync", other_program)
    with pytest.raises(FileError, match="File exists"):
        write_hand_off(worked(), tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["drill_schedule.csv"]
    assert (tmp_path / "drill_schedule.csv").read_text(encoding="utf-8") == "theirs"


@pytest.mark.parametrize("links", [True, False], ids=["links", "no links"])
def test_file_systems_without_links_are_written_too(tmp_path, monkeypatch, links):
    def refused(*_):
        raise PermissionError(1, "Operation not permitted")

    if not links:
        monkeypatch.setattr(os, "link", refused)
    assert all(path.is_file() for path in write_hand_off(worked(), tmp_path))
    assert len(os.listdir(tmp_path)) == 7


@pytest.mark.parametrize("folder", ["", " ", None, 3, b"x", "a\0b"], ids=repr)
def test_a_folder_that_is_none(folder):
    with pytest.raises(FileError, match="must be the path of a folder"):
        write_hand_off(worked(), folder)


def test_a_folder_that_cannot_be_made(tmp_path):
    (tmp_path / "file").write_text("x", encoding="utf-8")
    for folder in (tmp_path / "file", tmp_path / "no" / "such", tmp_path / ("x" * 400)):
        with pytest.raises(FileError, match="cannot be written"):
            write_hand_off(worked(), folder)
    assert os.listdir(tmp_path) == ["file"]


NAMES = ["T02C9.9", "M30", "%", "a,b*c\\d", "; #@! TO.N,x", "=1+1", "\u00e4\u00f6", "\U0001f600", "G00X1Y1", "#@! TF"]
names = st.lists(st.sampled_from(NAMES) | st.text(max_size=6), min_size=1, max_size=3).map("".join)
names = names.filter(lambda name: name.strip() and one_line(name) == name)
SOURCES = ["\nM30\n", "\r\nT01C5.0", "; #@! TF.FileFunction,Plated", "\u2028X0Y0", "\ud800", "\x85G00", "\f%"]
sources = st.lists(st.sampled_from(SOURCES) | st.text(max_size=6), min_size=1, max_size=3).map("".join)


@settings(max_examples=30)
@given(name=names, source=sources.filter(str.strip))
@example(name="; #@! TO.N,x", source="\nT01C9.9\n%\nM30\n; #@! TFDrillGroup,7")
def test_no_name_or_source_reaches_the_machine(name, source):
    """A name or a source must not become a command: the machine drills the one place with the one tool."""
    found = planned(placed_net(name, ("L1", "L3"), 0.4), source=source)
    text = as_xnc(found, found.groups[0])
    assert machine(text) == (0.5, [(1.0, 2.0)])
    lines = text.splitlines()
    assert lines == text.split("\n")[:-1]
    assert [line for line in lines if "#@!" in line] == [line for line in lines if line.startswith("; #@! T")]
    said = dict(line.removeprefix("; #@! ").split(",", 1) for line in lines if line.startswith("; #@! "))
    assert (unescaped(said["TO.N"]), unescaped(said["TOHole"])) == (name, f"{name}.1")
    assert said["TFDrillGroup"] == "1"
    assert still_valid(text, found, found.board, found.rules)


@given(st.text())
def test_an_escaped_text_reads_back(text):
    assert unescaped(escaped(text)) == text
    assert re.fullmatch(r"[ -~]*", escaped(text))
    assert not set(escaped(text)) & set(",*%;") - {";"}


def test_the_list_of_holes_in_the_folder_is_that_of_the_plan(tmp_path):
    """A net whose name a spreadsheet would take for a formula stands behind an apostrophe."""
    found = planned(placed_net("=1+1", ("L1", "L3"), 0.4))
    write_hand_off(found, tmp_path)
    text = (tmp_path / "drilled_holes.csv").read_text(encoding="utf-8")
    assert text == found.holes_csv()
    assert pandas_rows(text)[1][:2] == ["'=1+1.1", "'=1+1"]
