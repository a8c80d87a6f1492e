"""Boards as TOML: what is written reads back as the same board, and no file is lost."""

from __future__ import annotations

import itertools
import os
import sys
import tomllib
from pathlib import Path

import pint
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from stubsi import (
    Board,
    Criterion,
    DielectricLayer,
    FileError,
    Hole,
    Net,
    Signal,
    StubsiError,
    rank,
    read_board,
    read_ipc356,
    read_ipc2581,
    write_board,
)
from stubsi.files.toml_value import quoted, with_unit
from stubsi.units import one_si
from stubsi.value import InSI
from tests import margin_boards as mb
from tests import random_boards
from tests.board_text import FULL, MINIMAL

SHARED = Path(__file__).parents[1] / "shared"
BOARD = mb.board(mb.net("A", ("TOP", "S1")), places=2)
COUNT = itertools.count()


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("written")


def back(board, folder):
    return read_board(write_board(board, folder / f"{next(COUNT)}.toml"))


def floats(value):
    """All floats inside a value object, in hexadecimal, with the names of their fields: equal only bit for bit."""
    if isinstance(value, float):
        return [value.hex()]
    if isinstance(value, tuple):
        return [each for item in value for each in floats(item)]
    kept = getattr(value, "_key", None)
    return floats(kept()) if kept else []


@pytest.mark.parametrize("text", [MINIMAL, FULL], ids=["least", "full"])
def test_a_board_file_reads_back(text, folder):
    (folder / "in.toml").write_text(text, encoding="utf-8")
    board = read_board(folder / "in.toml")
    assert back(board, folder) == board


def test_the_demo_board_reads_back_and_ranks_alike(folder):
    board = read_board(SHARED / "demo_board.toml")
    again = back(board, folder)
    assert again == board
    assert floats(again) == floats(board)
    assert rank(again, model="uniform").to_csv() == rank(board, model="uniform").to_csv()


def test_boards_of_exchange_files_read_back_with_their_summary(folder):
    export = read_ipc2581(SHARED / "sluice_gate.xml", signals={"FLOW_*": "16 GT/s"}, z0="85 ohm", plating="20 um")
    netlist = read_ipc356(
        SHARED / "sluice_gate.ipc", stackup=export.board.stackup, signals={"LEVEL": "1 Gb/s"}, z0="50 ohm",
        connects={"LEVEL": ["TOP", "SIG_4"]}, reference=["GND", "P3V3"], pads={"0.25 mm": None, "0.8 mm": None},
    )  # fmt: skip
    for read in (export, netlist):
        path = write_board(read, folder / f"{read.file}.toml")
        assert floats(read_board(path)) == floats(read.board)
        assert read_board(path) == read.board
        text = path.read_text(encoding="utf-8")
        assert all(f"# {line}\n" in text.replace("# Read from ", "# ") for line in str(read).splitlines())


@given(board=random_boards.boards())
@settings(max_examples=20, suppress_health_check=[HealthCheck.too_slow])
def test_any_board_reads_back_bit_for_bit(board, folder):
    again = back(board, folder)
    assert again == board
    assert floats(again) == floats(board)


@pytest.mark.slow
@given(board=random_boards.boards())
@settings(max_examples=2000, suppress_health_check=[HealthCheck.too_slow])
def test_any_board_reads_back_bit_for_bit_many(board, folder):
    again = back(board, folder)
    assert again == board
    assert floats(again) == floats(board)


@given(si=st.floats(-1e5, 1e5))
@example(si=-0.0)
@example(si=5e-324)
@example(si=1e-12)
@example(si=99999.999999999)
def test_a_length_reads_back_bit_for_bit(si):
    kept = float(f"{si:.14g}")
    text = tomllib.loads(f"x = {with_unit(kept, 'long length')}")["x"]
    assert one_si(text, "long length", "x", rule="any").hex() == kept.hex()
    assert len(text) < 40


@given(text=st.text(st.characters(exclude_categories=["Cs"])))
def test_a_text_reads_back_and_stays_on_one_line(text):
    """tomllib, which is not ours, reads what is in quotes."""
    assert tomllib.loads(f"x = {quoted(text)}") == {"x": text}
    assert quoted(text).isprintable()


@pytest.mark.parametrize(
    "rate",
    [pint.Quantity(25.78125, "Gbit/s"), pint.Quantity(1e10, "bit/s"), pint.Quantity(1 / 3, "GBd"), "115.2 kb/s"],
    ids=str,
)
def test_a_rate_in_any_form_reads_back(rate, folder):
    signal = Signal(rate)
    board = mb.board(mb.net("A", ("TOP", "S1")).replaced(signal=signal))
    assert back(board, folder).nets[0].signal == signal


def test_order_of_nets_and_holes_of_reference_nets_are_kept(folder):
    post = Hole(name="X", padstack=mb.VIA, x="50 mm", y="50 mm")
    first = Net(name="EARTH", holes=[post], reference=True)
    board = Board(stackup=BOARD.stackup, nets=(first, *BOARD.nets))
    assert [net.name for net in back(board, folder).nets] == [net.name for net in board.nets]
    assert back(board, folder) == board


def test_what_no_file_can_hold_is_refused(folder):
    layers = BOARD.stackup.layers
    laminate = DielectricLayer(thickness="1 mm", material="\ud800")
    board = BOARD.replaced(stackup=BOARD.stackup.replaced(layers=(layers[0], laminate, *layers[2:])))
    with pytest.raises(FileError, match="surrogate"):
        write_board(board, folder / "surrogate.toml")
    assert not (folder / "surrogate.toml").exists()


def test_a_limit_on_length_keeps_the_digits_that_a_text_can_give():
    for measure in ("stub length", "stub length x symbol rate"):
        limit = Criterion(measure=measure, limit=1 / 3, source="test").limit
        assert limit == pytest.approx(1 / 3, rel=1e-13)
    assert Criterion.stub_length_at_1_gbaud("0.3 in", source="test").limit == InSI(0.00762) * 1e9


def test_a_file_is_replaced_only_if_the_caller_says_so(tmp_path):
    path = tmp_path / "board.toml"
    path.write_text("mine", encoding="utf-8")
    with pytest.raises(FileError, match=r"board\.toml: exists already; .* replace=True"):
        write_board(BOARD, path)
    assert path.read_text(encoding="utf-8") == "mine"
    assert write_board(BOARD, path, replace=True) == path
    assert read_board(path) == BOARD
    assert os.listdir(tmp_path) == ["board.toml"]


@pytest.mark.parametrize("replace", [True, False])
def test_a_disk_that_is_full_changes_nothing(tmp_path, monkeypatch, replace):
    path = tmp_path / "board.toml"
    if replace:
        path.write_text("mine", encoding="utf-8")

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("stubsi.files.written_file.os.fsync", full)
    with pytest.raises(FileError, match="cannot be written: No space left"):
        write_board(BOARD, path, replace=replace)
    assert os.listdir(tmp_path) == (["board.toml"] if replace else [])
    assert not replace or path.read_text(encoding="utf-8") == "mine"


def test_a_file_that_comes_meanwhile_is_not_lost(tmp_path, monkeypatch):
    path = tmp_path / "board.toml"
    fsync = os.fsync

    def another_comes(number):
        path.write_text("theirs", encoding="utf-8")
        fsync(number)

    monkeypatch.setattr("stubsi.files.written_file.os.fsync", another_comes)
    with pytest.raises(FileError, match="exists already"):
        write_board(BOARD, path)
    assert path.read_text(encoding="utf-8") == "theirs"


def test_a_file_system_without_links_is_written_to(tmp_path, monkeypatch):
    def none(*_):
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr("stubsi.files.written_file.os.link", none)
    path = write_board(BOARD, tmp_path / "board.toml")
    assert read_board(path) == BOARD
    assert os.listdir(tmp_path) == ["board.toml"]


@pytest.mark.skipif(sys.platform == "win32", reason="links and modes of POSIX")
def test_a_link_stays_and_the_mode_of_the_file_too(tmp_path):
    target, link = tmp_path / "target.toml", tmp_path / "link.toml"
    target.write_text("old", encoding="utf-8")
    target.chmod(0o640)
    link.symlink_to(target)
    write_board(BOARD, link, replace=True)
    assert link.is_symlink()
    assert read_board(target) == BOARD
    assert target.stat().st_mode & 0o777 == 0o640


@pytest.mark.parametrize("path", ["", ".", "no folder/board.toml", "a\0b", "x" * 300, None])
def test_a_path_that_cannot_be_written_is_an_error_of_the_library(path, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(StubsiError):
        write_board(BOARD, path)
    assert os.listdir(tmp_path) == []
