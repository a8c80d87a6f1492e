"""Board files of any kind are told apart by what they hold; what an exchange file lacks stands in one that names it."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from stubsi import BoardError, Criterion, FileError, StubsiError, read_ipc356, read_ipc2581
from stubsi.__main__ import main
from stubsi.files.board_file import kind_of, read_any_board
from stubsi.files.toml import read_board
from tests.board_text import FULL, MINIMAL, changed

SHARED = Path(__file__).parents[1] / "shared"
FACTS = """
exchange = "board.xml"
z0 = "85 ohm"
plating = "20 um"

[signals]
"FLOW_*" = "16 GT/s"

[antipads]
"0.25 mm" = "0.8 mm"
"""
STACKUP = """
[stackup]
source = "drawing"
layer = [
    {copper = "TOP", thickness = "45 um", role = "signal"},
    {dielectric = "core", thickness = "0.5 mm", dk = 4},
    {copper = "GND", thickness = "30 um", role = "plane"},
    {dielectric = "core", thickness = "1 mm", dk = 4},
    {copper = "BOTTOM", thickness = "45 um", role = "signal"},
]
"""
NETLIST_FACTS = f"""
exchange = "board.ipc"
z0 = "50 ohm"
reference = ["GND", "P3V3"]
signals = {{LEVEL = "1 Gb/s"}}
connects = {{LEVEL = ["TOP"]}}
pads = {{"0.25 mm" = "none", "0.8 mm" = "1.2 mm"}}
antipads = {{"0.25 mm" = {{GND = {{slot = "0.75 mm"}}}}}}
{STACKUP}
"""


@pytest.fixture
def folder(tmp_path):
    shutil.copy(SHARED / "sluice_gate.xml", tmp_path / "board.xml")
    shutil.copy(SHARED / "sluice_gate.ipc", tmp_path / "board.ipc")
    return tmp_path


def facts(folder, text):
    path = folder / "facts.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize("name", ["any", "any.toml", "any.xml"])
def test_the_kind_follows_from_what_the_file_holds(folder, name):
    """A suffix says nothing: exporters write .xml, .cvg, .ipc, .356, .net (common practice, no source)."""
    for source, kind in (("board.xml", "IPC-2581"), ("board.ipc", "IPC-D-356A")):
        shutil.copy(folder / source, folder / name)
        assert kind_of(folder / name) == kind
    (folder / name).write_text(FULL, encoding="utf-8")
    assert kind_of(folder / name) == "TOML"
    assert read_any_board(folder / name) == read_board(folder / name)


@pytest.mark.parametrize(
    ("head", "kind"),
    [
        (b"\xef\xbb\xbf<?xml", "IPC-2581"), (b"\n\n  <IPC-2581", "IPC-2581"), (b"C  comment\n", "IPC-D-356A"),
        (b"P  JOB  a=b\r\n", "IPC-D-356A"), (b"C\nP  UNITS CUST 0\n", "IPC-D-356A"), (b"317GND", "IPC-D-356A"),
        (b"C = 1", "TOML"), (b"P.a = 1", "TOML"), (b"317 = 1", "TOML"), (b"# C  comment", "TOML"), (b"", "TOML"),
    ],
    ids=repr,
)  # fmt: skip
def test_the_first_line_decides(tmp_path, head, kind):
    (tmp_path / "file").write_bytes(head)
    assert kind_of(tmp_path / "file") == kind


def test_facts_beside_an_ipc_2581_file_are_the_arguments_of_its_reader(folder):
    export = read_ipc2581(
        folder / "board.xml",
        signals={"FLOW_*": "16 GT/s"},
        z0="85 ohm",
        plating="20 um",
        antipads={"0.25 mm": "0.8 mm"},
    )
    assert read_any_board(facts(folder, FACTS)) == export.board


def test_facts_beside_a_netlist_hold_its_stackup(folder):
    from stubsi import Antipad

    plain = facts(folder, STACKUP + '[[padstack]]\nname = "via"\ndrill = "0.3 mm"\npad = "none"\n')
    netlist = read_ipc356(
        folder / "board.ipc", stackup=read_board(plain).stackup, signals={"LEVEL": "1 Gb/s"}, z0="50 ohm",
        reference=["GND", "P3V3"], connects={"LEVEL": ["TOP"]}, pads={"0.25 mm": None, "0.8 mm": "1.2 mm"},
        antipads={"0.25 mm": {"GND": Antipad(width="0.75 mm", shared=True)}},
    )  # fmt: skip
    assert read_any_board(facts(folder, NETLIST_FACTS)) == netlist.board


@pytest.mark.parametrize("name", ["board.xml", "board.ipc"])
def test_an_exchange_file_alone_says_how_to_give_the_rest(folder, name, capsys):
    assert main([str(folder / name)]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert f"exchange = '{name}'" in said
    assert "[signals]" in said


WRONG = {
    "no such file": (FACTS, '"board.xml"', '"none.xml"', r"none\.xml: no such file"),
    "not an exchange file": (FACTS, '"board.xml"', '"facts.toml"', "is no IPC-2581 or IPC-D-356A file"),
    "unknown key": (FACTS, "plating", "platting", "did you mean 'plating'"),
    "unknown net": (FACTS, "FLOW_*", "FLAW_*", "matches no net"),
    "bare number": (FACTS, '"20 um"', "20", "plating = 20: must be a length"),
    "stackup of an export": (FACTS, "[signals]", STACKUP + "[signals]", r"\[stackup\] is for netlists"),
    "Dk of a netlist": (NETLIST_FACTS, "z0", "dk = {core = 4}\nz0", "dk is for IPC-2581 files"),
    "no stackup": (NETLIST_FACTS, STACKUP, "", "has no stackup; give it in facts.toml"),
    "no signal": (FACTS, FACTS[FACTS.index("[signals]") :], "", "no net has a signal"),
    "wrong clearance": (FACTS, '= "0.8 mm"', "= 0.8", "antipads"),
}


@pytest.mark.parametrize(("text", "old", "new", "says"), WRONG.values(), ids=WRONG)
def test_wrong_facts_are_refused(folder, text, old, new, says):
    with pytest.raises(FileError, match=says):
        read_any_board(facts(folder, changed(text, old, new)))


def test_the_command_takes_facts(folder, capsys):
    assert main([str(facts(folder, FACTS))]) == 0
    assert "FLOW_P" in capsys.readouterr().out


RULES = (SHARED / "demo_rules.toml").read_text(encoding="utf-8")
SHORT = changed(changed(MINIMAL, '"1.5 mm"', '"1.5 mm", dk = 4'), "10 Gb/s", "56 Gb/s")
PLACED = changed(SHORT, 'connects = ["TOP"]', 'connects = ["TOP"], at = ["1 mm", "2 mm"]')


@pytest.fixture
def files(tmp_path):
    (tmp_path / "board.toml").write_text(PLACED, encoding="utf-8")
    (tmp_path / "rules.toml").write_text(changed(RULES, 'least_plated     = "0.5 mm"', ""), encoding="utf-8")
    return str(tmp_path / "board.toml"), str(tmp_path / "rules.toml")


def test_with_rules_it_prints_the_plan_as_well(files, capsys):
    from stubsi import plan, rank, read_costs, read_rules

    board, rules = files
    assert main([board, "--rules", rules, "--check"]) == 1
    out = capsys.readouterr().out
    planned = plan(read_board(board), read_rules(rules), costs=read_costs(rules))
    assert out.endswith("\n\n" + planned.to_text() + "\n")
    assert "rules.toml: no net is judged by house; a board file names its criteria" in out
    assert rank(read_board(board))["CLK"].verdict == "drill"


def test_with_a_folder_it_writes_the_hand_off(files, tmp_path, capsys):
    board, rules = files
    out = tmp_path / "out"
    assert main([board, "--rules", rules, "--out", str(out)]) == 0
    written = sorted(path.name for path in out.iterdir())
    said = capsys.readouterr().out
    assert "drill_schedule.csv" in written
    assert all(f"written: {out / name}\n" in said for name in written)
    assert main([board, "--rules", rules, "--out", str(out)]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert "already" in said.err


def test_a_folder_without_rules_is_a_wrong_call(files, tmp_path, capsys):
    with pytest.raises(SystemExit) as stop:
        main([files[0], "--out", str(tmp_path / "out")])
    assert stop.value.code == 2
    assert "--out needs --rules" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [("oversize", "oversise", "oversise"), ("[rules]", "[rule]", "rule"), ("tip_angle", "= ", "not valid TOML")],
)
def test_rules_that_cannot_be_read_end_in_one_clear_line(files, old, new, says, capsys):
    path = Path(files[1])
    path.write_text(changed(path.read_text(encoding="utf-8"), f"\n{old}", f"\n{new}"), encoding="utf-8")
    assert main([*files[:1], "--rules", files[1]]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert says in said.err


# --- criteria, pairs and feeds ----------------------------------------------------------------------------------------

OWN = """
[criteria.strict]
notch_ratio = 9
source = "house"
"""
HOUSE = {"strict": Criterion.notch_ratio(9, source="house")}


def named(text, criterion="strict"):
    return f'criterion = "{criterion}"\n' + text


def test_a_board_file_may_name_criteria_of_the_rules_file(files, tmp_path, capsys):
    _, rules = files
    path = tmp_path / "named.toml"
    path.write_text(named(PLACED, "house"), encoding="utf-8")
    with pytest.raises(FileError, match="criterion"):
        read_board(path)
    assert main([str(path), "--rules", rules]) == 0
    out = capsys.readouterr().out
    assert "no net is judged by" not in out
    from stubsi import read_criteria

    assert read_board(path, criteria=read_criteria(rules)).criterion == read_criteria(rules)["house"]


def test_one_name_for_two_criteria_is_refused(tmp_path):
    path = tmp_path / "board.toml"
    path.write_text(named(MINIMAL) + OWN, encoding="utf-8")
    assert read_board(path, criteria=HOUSE).criterion == HOUSE["strict"]
    with pytest.raises(FileError, match=r"\[criteria\] 'strict': differs from the criterion given under this name"):
        read_board(path, criteria={"strict": Criterion.notch_ratio(8, source="house")})


def test_a_published_rule_keeps_its_name(tmp_path):
    """Given under the name of a published rule, another criterion is refused, and the rule itself is not."""
    path = tmp_path / "board.toml"
    path.write_text(named(MINIMAL, "Bogatin 2015"), encoding="utf-8")
    with pytest.raises(BoardError, match="criteria 'Bogatin 2015': is the name of a published rule"):
        read_board(path, criteria={"Bogatin 2015": HOUSE["strict"]})
    plain = read_board(path)
    assert read_board(path, criteria={"Bogatin 2015": plain.criterion}) == plain


def test_a_criterion_for_a_net_without_signal_is_refused(folder):
    text = FACTS + '[criterion]\nLEVEL = "TI 15 mil"\n'
    with pytest.raises(FileError, match="criterion: 'LEVEL' matches no net with a signal of the file"):
        read_any_board(facts(folder, text))


@pytest.mark.parametrize("text", ['criterion = "strict"\n', '[criterion]\n"FLOW_*" = "strict"\n'])
def test_the_file_of_facts_names_criteria(folder, text):
    top, table = (text, "") if text.startswith("criterion") else ("", text)
    board = read_any_board(facts(folder, top + FACTS + table + OWN))
    assert {board.criterion_of(net).limit for net in board.signal_nets} == {9}
    given = read_any_board(facts(folder, top + FACTS + table), criteria=HOUSE)
    assert given == board
    with pytest.raises(FileError, match=r"facts\.toml: .*criterion.*'strict'"):
        read_any_board(facts(folder, top + FACTS + table))


def test_the_readers_take_criteria_and_feeds_by_net_or_hole(folder):
    given = {"z0": "85 ohm", "plating": "20 um", "signals": {"FLOW_*": "16 GT/s"}, "antipads": {"0.25 mm": "0.8 mm"}}
    plain = read_ipc2581(folder / "board.xml", **given).board
    name = plain.signal_nets[0].holes[0].name
    board = read_ipc2581(folder / "board.xml", **given, feed={"*": "tee", name: "through"},
                         criterion={"FLOW_*": HOUSE["strict"]}).board  # fmt: skip
    feeds = {hole.name: hole.feed for net in board.signal_nets for hole in net.holes}
    assert feeds.pop(name) == "through"
    assert set(feeds.values()) == {"tee"}
    assert {net.criterion for net in board.signal_nets} == {HOUSE["strict"]}
    with pytest.raises(BoardError, match="feed: 'NOWHERE' matches no net"):
        read_ipc2581(folder / "board.xml", **given, feed={"NOWHERE": "tee"})
    with pytest.raises(BoardError, match="criterion of 'FLOW"):
        read_ipc2581(folder / "board.xml", **given, criterion={"FLOW_*": "no such rule"})


def netlist(folder, **given):
    stackup = read_ipc2581(folder / "board.xml", z0="85 ohm", plating="20 um", signals={"FLOW_*": "16 GT/s"},
                           antipads={"0.25 mm": "0.8 mm"}).board.stackup  # fmt: skip
    every = {"z0": "85 ohm", "reference": ["GND"], "signals": {"FLOW_*": "16 GT/s"}, "antipads": {},
             "pads": {"0.25 mm": None}, "connects": {"FLOW_*": ["TOP"]}}  # fmt: skip
    return read_ipc356(folder / "board.ipc", stackup=stackup, **{**every, **given}).board


def test_a_netlist_gets_its_pairs_by_pattern(folder):
    single = netlist(folder)
    halves = sorted(net.name for net in single.signal_nets)
    assert {name[:-1] for name in halves} == {"FLOW_"}
    assert not any(net.is_pair for net in single.signal_nets)
    (pair,) = netlist(folder, pairs={"FLOW_P": "FLOW_N"}).signal_nets
    assert pair.is_pair
    assert {hole.leg for hole in pair.holes} == {"P", "N"}
    assert netlist(folder, pairs={"*_P": "*_N"}).signal_nets == (pair,)
    (turned,) = netlist(folder, pairs={"FLOW_N": "FLOW_P"}).signal_nets
    assert turned.name == "FLOW_N/FLOW_P"


WRONG_PAIRS = {
    "a half that is nowhere": ({"FLOW_P": "FLOW_X"}, "needs 'FLOW_X', which is no net of the file"),
    "no match": ({"LEFT_*": "RIGHT_*"}, "'LEFT_*' matches no net"),
    "other wildcards": ({"FLOW_*": "FLOW_?"}, "must hold the same"),
    "itself": ({"FLOW_P": "FLOW_P"}, "both halves"),
    "both ways": ({"FLOW_P": "FLOW_N", "FLOW_N": "FLOW_P"}, "as half P and as half N"),
    "two pairs": ({"FLOW_P": "FLOW_N", "LEVEL": "FLOW_N"}, "'FLOW_N' is paired with 'FLOW_P' and with 'LEVEL'"),
    "no text": ({"FLOW_P": 3}, "pairs of 'FLOW_P'"),
}


@pytest.mark.parametrize("wrong", WRONG_PAIRS)
def test_wrong_pairs_are_refused(folder, wrong):
    given, said = WRONG_PAIRS[wrong]
    with pytest.raises(StubsiError, match=re.escape(said)):
        netlist(folder, pairs=given)
