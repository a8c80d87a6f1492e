"""Damaged files of every kind: a board that can be written and read back, or an error of the library. Never a crash.

Good files are damaged at random: bytes, pieces, words and lines are changed, moved, doubled or taken away. The slow
test takes the number of files of each kind: ``pytest -m slow tests/test_damaged_files.py -k many --damaged 12000``.
"""

from __future__ import annotations

import contextlib
import random
import re
import signal
from functools import cache
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import stubsi
from stubsi import FileError, StubsiError, read_board, read_ipc356, read_ipc2581, read_rules, write_board, write_rules
from stubsi.files.board_file import read_any_board
from stubsi.files.near_copper import CopperKind, CopperNearDrills, NearCopper
from stubsi.files.rules_file import contents
from stubsi.files.toml_text import parsed_file
from stubsi.handoff import read_back
from stubsi.handoff.copper_list import copper_csv
from stubsi.handoff.hand_off import COPPER, texts_of
from stubsi.handoff.read_back import _plain
from tests import drilling_boards as made
from tests import margin_boards as mb
from tests.board_text import FULL
from tests.test_board_file import FACTS
from tests.test_netlist import PADS, SIGNALS, USED

SHARED = Path(__file__).parents[1] / "shared"
STACKUP = read_ipc2581(SHARED / "sluice_gate.xml").board.stackup
TABLE = 'net,signal,stub length,z0,note\nCLK,DDR4-3200,60 mil,40 ohm,"a, b"\nTX0,25.78125 Gb/s,24 mil,85 ohm,\n'


def board(path):
    return _again(read_board(path), path)


def facts(path):
    (path.parent / "board.xml").write_bytes((SHARED / "sluice_gate.xml").read_bytes())
    return _again(read_any_board(path), path)


def export(path):
    return _again(read_ipc2581(path, signals={"FLOW_*": "16 GT/s"}, z0="85 ohm").board, path)


def netlist(path):
    given = {**SIGNALS, **PADS, "connects": USED, "reference": ["GND", "P3V3"]}
    return _again(read_ipc356(path, stackup=STACKUP, **given).board, path)


def _again(read, path):
    assert read_board(write_board(read, path.with_name("again.toml"), replace=True)) == read


def rules(path):
    held = _contents(path)
    if any(held):
        again = write_rules(path.with_name("again.toml"), **held._asdict(), replace=True)
        assert _contents(again) == held


def _contents(path):
    name, table = parsed_file(path)
    return contents(table, name)


def tolerances(path):
    held = stubsi.read_tolerances(path)
    again = write_rules(path.with_name("again.toml"), tolerances=held, replace=True)
    assert stubsi.read_tolerances(again) == held


def table(path):
    answer = stubsi.check_stubs(path, dk_eff=6.17)
    assert answer["verdict"].notna().all()


@cache
def planned():
    nets = [mb.net("A", ("TOP", "S1"), signal="25 GBd"), mb.net("B", ("TOP", "S2"), place=1, signal="56 GBd")]
    return stubsi.plan(mb.board(*nets, layers=mb.stackup(gap=0.4)), made.rules(tip_angle=150), dk_eff=5.0)


@cache
def copper():
    """A line, an area and a pad near the first drills of the plan."""
    hits = zip(planned().hits, CopperKind, strict=False)
    near = [
        NearCopper(
            hole=hit.hole.name, net=hit.net, side=hit.side, layer="S2", copper_net="GND", kind=kind,
            at_si=(1e-3, 2e-3), distance_si=1e-4, needed_si=2e-4, drill_si=5e-4, away=(1.0, 0.0),
        )
        for hit, kind in hits
    ]  # fmt: skip
    return CopperNearDrills(near=tuple(near), unplaced=(), not_checked=())


@cache
def texts():
    return {**texts_of(planned()), COPPER: copper_csv(planned(), copper())}


@cache
def hand_off():
    """Names of the files of a hand-off by kind. There is a drill file of each group, and the first is taken."""
    return {
        "schedule": "drill_schedule.csv", "holes": "drilled_holes.csv", "specs": "depth_drilling.xml",
        "acceptance": "acceptance_plan.csv", "copper": COPPER,
        "drill file": next(name for name in texts() if name.endswith(".xnc")),
    }  # fmt: skip


def of_hand_off(kind):
    def read(path):
        """Whatever was changed must be said, in a folder where all other files are as they were written."""
        name, folder = hand_off()[kind], path.parent / f"hand-off with another {kind}"
        if not folder.exists():
            stubsi.write_hand_off(planned(), folder, copper=copper())
        data = path.read_bytes()
        (folder / name).write_bytes(data)
        with pytest.MonkeyPatch.context() as patch:  # the plan is the same in all of them
            patch.setattr(read_back, "texts_of", lambda _: dict(texts()))
            found = stubsi.read_hand_off(folder, planned(), copper=copper())
        assert bool(found) is (_plain(data.decode("utf-8-sig")) != _plain(texts()[name]))

    return read


GOOD = {
    "board": (board, FULL),
    "rules": (rules, (SHARED / "demo_rules.toml").read_text(encoding="utf-8")),
    "tolerances": (tolerances, (SHARED / "demo_tolerances.toml").read_text(encoding="utf-8")),
    "facts": (facts, FACTS),
    "export": (export, (SHARED / "sluice_gate.xml").read_text(encoding="utf-8")),
    "netlist": (netlist, (SHARED / "sluice_gate.ipc").read_text(encoding="ascii")),
    "table": (table, TABLE),
    **{kind: (of_hand_off(kind), texts()[hand_off()[kind]]) for kind in hand_off()},
}
WORDS = [
    b"nan", b"-1", b"0", b"1e400", b"1,6", b'""', b"[", b"]", b"{", b"}", b"=", b"#", b"\n", b"\r", b"\0", b"\xff",
    b"<", b">", b"&#0;", b",", b";", b'"', b"'", b"true", b"9" * 400, b"mm", b"ohm", b"\\u0000", b"none", b"L1", b"[]",
    b"{}", b"*", b"?", b"999", b"317", b"a.b.c", b"\xef\xbb\xbf", b"1979-05-27", b"\xe2\x80\xae",
]  # fmt: skip


EDIT = st.tuples(
    st.integers(0, 10**6), st.sampled_from([0, 1, 5, 40, 300]), st.booleans(),
    st.none() | st.sampled_from(WORDS) | st.binary(max_size=3),
)  # fmt: skip
"""Where, how many bytes, whether a whole word in their place, and what stands there then; None: the piece twice."""
EDITS = st.lists(EDIT, min_size=1, max_size=4)


def damaged(text, edits):
    data = text.encode()
    for place, length, whole_word, piece in edits:
        start = place % (len(data) + 1)
        end = min(len(data), start + length)
        if whole_word and (word := re.compile(rb"[-+\w.]+").search(data, start)):
            start, end = word.span()
        data = data[:start] + (data[start:end] * 2 if piece is None else piece) + data[end:]
    return data


def tried(kind, data, folder):
    read, _ = GOOD[kind]
    path = folder / "damaged"
    path.write_bytes(data)
    said = "nothing"
    with no_hang():
        try:
            read(path)
        except StubsiError as error:
            said = str(error)
    assert 0 < len(said) < 2000


@contextlib.contextmanager
def no_hang(seconds=60):
    """An error where one file takes longer than anybody would wait."""

    def stop(*_):
        raise TimeoutError(f"one file took longer than {seconds} s")

    before = signal.signal(signal.SIGALRM, stop)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("damaged")


@pytest.mark.parametrize("kind", GOOD)
def test_a_damaged_file_is_a_board_or_an_error_of_the_library(kind, folder):
    _examples(kind, 10 if kind in hand_off() else 40)(folder)


@pytest.mark.slow
@pytest.mark.parametrize("kind", GOOD)
def test_a_damaged_file_is_a_board_or_an_error_of_the_library_many(kind, folder, pytestconfig, capsys):
    """Edits like those of ``EDITS``, from a generator that is faster than hypothesis."""
    count, rng = pytestconfig.getoption("damaged"), random.Random(kind)
    for _ in range(count):
        edits = [
            (rng.randrange(10**6), rng.choice([0, 1, 5, 40, 300]), rng.random() < 0.5,
             rng.choice([None, rng.choice(WORDS), rng.choice(WORDS), rng.randbytes(rng.randrange(4))]))
            for _ in range(rng.randint(1, 4))
        ]  # fmt: skip
        try:
            tried(kind, damaged(GOOD[kind][1], edits), folder)
        except Exception:
            pytest.fail(f"{kind}: edits = {edits}")
    with capsys.disabled():
        print(f"\n{count} damaged files of kind {kind}: no crash, no hang, nothing taken that cannot be read back")


def _examples(kind, count):
    @given(edits=EDITS)
    @settings(max_examples=count, suppress_health_check=[HealthCheck.too_slow])
    def examples(folder, edits):
        tried(kind, damaged(GOOD[kind][1], edits), folder)

    return examples


QUANTITY = re.compile(r'^[^#\n]*?"(?P<number>[-\d.]+) (?P<unit>mm|um|mil|ohm|GHz)"', re.MULTILINE)
WRONG = [
    '"{number},5 {unit}"', '"{number}"', "{number}", '"nan {unit}"', '"inf {unit}"', '"{number} furlong"',
    '"{number} V"', '"{number} {unit} {unit}"', '"1e300 {unit}"', "true", '["{number} {unit}"]', '"0x1 {unit}"',
]  # fmt: skip


@pytest.mark.parametrize("kind", ["board", "rules", "facts"])
@pytest.mark.parametrize("wrong", WRONG)
def test_a_quantity_that_is_none_is_never_taken(kind, wrong, folder):
    """Each quantity of the file in turn."""
    read, text = GOOD[kind]
    places = list(QUANTITY.finditer(text))
    assert len(places) >= 2
    for place in places:
        start = place.start("number") - 1
        bad = wrong.format(**place.groupdict())
        (folder / "wrong").write_text(text[:start] + bad + text[place.end() :], encoding="utf-8")
        with pytest.raises(FileError):
            read(folder / "wrong")


def test_the_good_files_are_good(folder):
    for kind, (read, text) in GOOD.items():
        path = folder / kind
        path.write_text(text, encoding="utf-8")
        read(path)
    assert read_rules(folder / "rules")


NUMBERS = re.compile(r' (?:thickness|sequence|diameter|x|y|lineWidth|width|height|value)="(?P<number>[^"]*)"')


@pytest.mark.parametrize("wrong", ["nan", "inf", "1,5", "", " ", "1e999", "1 mm", "0x1", "1_0", "١"])
def test_a_number_of_an_export_that_is_none_is_never_taken(wrong, folder):
    read, text = GOOD["export"]
    places = [
        place.span("number") for place in NUMBERS.finditer(text[: text.index("<Datum") if "<Datum" in text else None])
    ]
    for start, end in places[:: len(places) // 20]:
        (folder / "wrong").write_text(text[:start] + wrong + text[end:], encoding="utf-8")
        with pytest.raises(FileError, match=r"line \d+"):
            read(folder / "wrong")


def test_a_digit_of_a_netlist_that_is_none_is_never_taken(folder):
    """Diameter, plating, access, x and y: every column of the first hole in turn."""
    read, text = GOOD["netlist"]
    start = text.index("317")
    for column in (*range(33, 41), *range(41, 49), *range(49, 57)):
        place = start + column
        if text[place] != " ":
            (folder / "wrong").write_text(text[:place] + "?" + text[place + 1 :], encoding="ascii")
            with pytest.raises(FileError, match=r"line \d+"):
                read(folder / "wrong")
