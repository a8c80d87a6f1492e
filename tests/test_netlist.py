"""Boards from IPC-D-356A netlists: the same board as from the file that holds its copper, and what is refused."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from stubsi import FileError, StubsiError, rank, read_ipc356, read_ipc2581

SHARED = Path(__file__).parents[1] / "shared"
NETLIST = (SHARED / "sluice_gate.ipc").read_text(encoding="ascii")
SIGNALS = {"signals": {"LEVEL": "1 Gb/s", "ALARM": "1 Mb/s"}, "z0": "50 ohm"}
PADS = {"pads": {"0.25 mm": "0.45 mm", "0.8 mm": "1.2 mm"}, "antipads": {"0.25 mm": "0.75 mm", "0.8 mm": "1.7 mm"}}
USED = {"LEVEL": ["TOP", "SIG_4"], "ALARM": ["TOP", "SIG_3"]}


@pytest.fixture(scope="module")
def export():
    return read_ipc2581(SHARED / "sluice_gate.xml", **SIGNALS, **PADS)


def read(export, text, tmp_path, **more):
    path = tmp_path / "board.ipc"
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    given = {**SIGNALS, **PADS, "connects": USED, "reference": ["GND", "P3V3"], **more}
    return read_ipc356(path, stackup=export.board.stackup, **given)


def test_the_netlist_makes_the_board_that_the_export_makes(export, tmp_path):
    """Holes, layers and positions of the same board in two files: the rankings agree in every figure."""
    netlist = read(export, NETLIST, tmp_path)
    assert netlist.standard == "IPC-D-356A"
    assert netlist.nets_without_signal == ("FLOW_N", "FLOW_P")  # NNAME00001 is resolved
    assert dict(netlist.ignored) == {"non-plated holes": 1, "surface pads": 1}
    for net in export.board.nets:
        ours = netlist.board.net(net.name)
        assert [hole.name for hole in ours.holes] == [hole.name for hole in net.holes]
        assert [hole.connects for hole in ours.holes] == [hole.connects for hole in net.holes]
        for one, other in zip(ours.holes, net.holes, strict=True):
            assert one.xy_si == pytest.approx(other.xy_si, abs=1e-12)
            assert one.padstack.drill_si == pytest.approx(other.padstack.drill_si, abs=1e-12)
    for one, other in zip(rank(netlist.board), rank(export.board), strict=True):
        assert (one.net, one.verdict, one.hole) == (other.net, other.verdict, other.hole)
        assert f"{one.first_notch:.9g}" == f"{other.first_notch:.9g}"


def test_inches_and_millimetres_are_the_same_board(export, tmp_path):
    """UNITS CUST 0 counts in 0.0001 in, so the holes move by less than half of that."""

    def inches(digits, size):
        return f"{round(int(digits) / 2.54):+0{size}d}"

    lines = []
    for line in NETLIST.replace("CUST 1", "CUST 0").splitlines():
        if line.startswith("317"):
            drill, x, y = line[33:37], line[42:49], line[50:57]
            line = f"{line[:33]}{inches(drill, 5)[1:]}{line[37:42]}{inches(x, 7)}Y{inches(y, 7)}"  # noqa: PLW2901
        lines.append(line)
    plates = {"pads": {"0.24892 mm": "0.45 mm", "0.80010 mm": "1.2 mm"}, "antipads": {}}
    board = read(export, "\n".join(lines), tmp_path, **plates).board
    for net in export.board.nets:
        for one, other in zip(board.net(net.name).holes, net.holes, strict=True):
            assert one.xy_si == pytest.approx(other.xy_si, abs=1.28e-6)


def test_a_hole_has_layers_of_its_own(export, tmp_path):
    board = read(export, NETLIST, tmp_path, connects={**USED, "LEVEL.2": ["SIG_4"]}).board
    assert [hole.connects for hole in board.net("LEVEL").holes] == [("TOP", "SIG_4"), ("SIG_4",)]


def test_layers_in_use_are_asked_for(export, tmp_path):
    with pytest.raises(FileError, match=r"board\.ipc: .*layers in use of holes ALARM\.1 \(line 12\).*connects="):
        read(export, NETLIST, tmp_path, connects={"LEVEL": ["TOP", "SIG_4"]})


def test_a_blind_hole_has_no_known_end(export, tmp_path):
    blind = NETLIST.replace("D0250PA00X+030000Y+030000", "D0250PA01X+030000Y+030000")
    with pytest.raises(FileError, match=r"line 12: hole of net ALARM .* does not say where it ends"):
        read(export, blind, tmp_path)
    assert read(export, blind, tmp_path, signals={"LEVEL": "1 Gb/s"}, connects={"LEVEL": ["TOP"]}).board


WRONG = {
    "no unit": (NETLIST.replace("P  UNITS CUST 1\n", ""), "line 5: no line 'P  UNITS CUST 0'"),
    "an unknown unit": (NETLIST.replace("CUST 1", "CUST 9"), "line 3: UNITS CUST '9'"),
    "two units": (NETLIST.replace("P  UNITS CUST 1", "P  UNITS CUST 1\nP  UNITS CUST 0"), "line 4: UNITS CUST '0'"),
    "cut off": (NETLIST[: len(NETLIST) // 2], "line "),
    "no end": (NETLIST.replace("999\n", ""), "line 22: the file ends without a line 999"),
    "columns shifted": (NETLIST.replace("317FLOW_P  ", "317FLOW_P ", 1), "line 6: columns 33 to 57"),
    "no diameter": (NETLIST.replace("D0250", "D0000", 1), "line 6: diameter 0"),
    "no plating": (NETLIST.replace("D0250P", "D0250 ", 1), "line 6: column 38"),
    "a long name that is nowhere": (NETLIST.replace("P  NNAME00001", "P  NNAME00002"), "line 8: NNAME00001: no line"),
    "a long name for two": (
        NETLIST.replace("C\n", "P  NNAME00001  LEVEL\n", 1),
        "line 5: NNAME00001 stands for two names",
    ),
    "another text": ("once upon a time\n999\n", "line 1: begins with 'onc'"),
    "no text": (bytes(range(128, 256)), "line 1: holds characters that are no ASCII"),
    "a line without end": ("C" * 100_000, "line 1: must be one line of at most 200"),
    "empty": ("", "line 0: the file ends without a line 999"),
}


@pytest.mark.parametrize("wrong", WRONG)
def test_a_wrong_netlist_is_refused_with_its_line(wrong, export, tmp_path):
    text, said = WRONG[wrong]
    with pytest.raises(FileError, match=rf"board\.ipc: {said}"):
        read(export, text, tmp_path)


READ_ALIKE = {
    "comments and titles in any encoding": NETLIST.replace("C", "C  Entw\u00e4sserung\t\u2013 B\u00fcro", 1).replace(
        "P  UNITS", "P  TITLE  Schleuse \u00fcber der Elbe\nP  UNITS", 1
    ),
    "a byte order mark": "\ufeff" + NETLIST,
    "lines that end as on other systems": NETLIST.replace("\n", "\r\n"),
    "units by their other name": NETLIST.replace("UNITS CUST 1", "UNITS SI"),
    "long names behind their use": "".join(
        [line for line in NETLIST.splitlines(keepends=True) if "P  NNAME" not in line][:-1]
        + [line for line in NETLIST.splitlines(keepends=True) if "P  NNAME" in line]
        + ["999\n"]
    ),
    "continued records and records of traces": NETLIST.replace(
        "999\n", "027" + " " * 30 + "X+001000Y+001000\n017\n378LEVEL         L01 X0010\n389BOARD\n999\n"
    ),
    "something behind the end": NETLIST + "\x1a\x00 anything",
    "blanks in place of zeros": NETLIST.replace("X+0", "X+ ").replace("D0", "D "),
}


@pytest.mark.parametrize("changed", READ_ALIKE)
def test_a_legal_netlist_of_another_program_is_the_same_board(changed, export, tmp_path):
    assert READ_ALIKE[changed] != NETLIST
    assert read(export, READ_ALIKE[changed], tmp_path).board == read(export, NETLIST, tmp_path).board


def test_a_record_of_a_blind_or_buried_hole_is_no_through_hole(export, tmp_path):
    """Record 307. A reference net goes without it; a signal net is refused, because its end is not known."""
    lines = NETLIST.splitlines(keepends=True)
    place = next(number for number, line in enumerate(lines) if line.startswith("317GND"))
    lines[place] = "307" + lines[place][3:]
    found = read(export, "".join(lines), tmp_path)
    assert len(found.board.net("GND").holes) == len(export.board.net("GND").holes) - 1
    assert any(what.startswith("blind or buried holes of reference nets") for what, _ in found.ignored)
    place = next(number for number, line in enumerate(lines) if line.startswith("317ALARM"))
    lines[place] = "307" + lines[place][3:]
    with pytest.raises(FileError, match=r"line \d+: hole of net ALARM .* does not say where it ends"):
        read(export, "".join(lines), tmp_path)
    given = read(export, "".join(lines), tmp_path, spans={"0.25 mm": ["TOP", "SIG_3"]})
    assert given.board.net("ALARM").holes[0].padstack.span == ("TOP", "SIG_3")


def test_changed_netlists_are_read_or_refused(export, tmp_path):
    rng, refused = random.Random(7), 0
    for _ in range(200):
        data = bytearray(NETLIST.encode())
        for _ in range(rng.randint(1, 6)):
            any_byte = rng.random() < 0.2
            data[rng.randrange(len(data))] = rng.randrange(256) if any_byte else rng.choice(b"0123456789 -+PUXYDA\n")
        try:
            read(export, bytes(data), tmp_path)
        except StubsiError as error:
            refused += 1
            if not 0 < len(str(error)) < 3000:
                pytest.fail(f"an error text of {len(str(error))} characters")
    assert 20 < refused < 200
