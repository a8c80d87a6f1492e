"""The command: the margin table of a board file on standard output, and an exit status for scripts."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import warnings
from pathlib import Path

import pytest

from stubsi.__main__ import Status, main
from stubsi.errors import PlausibilityWarning
from stubsi.files.toml import read_board
from stubsi.margin.ranking import rank
from tests.board_text import FULL, MINIMAL, changed

PASSES = changed(changed(MINIMAL, 'thickness = "1.5 mm"', 'thickness = "1.5 mm", dk = 4'), "10 Gb/s", "1 Gb/s")
FALLS_SHORT = changed(PASSES, "1 Gb/s", "56 Gb/s")
UNDECIDED = MINIMAL
WAIVED = changed(FALLS_SHORT, 'z0     = "50 ohm"', 'z0 = "50 ohm"\nwaiver = "not fitted"')
MARGINAL = changed(PASSES, "1 Gb/s", "8 Gb/s")


@pytest.fixture(autouse=True)
def terminal(monkeypatch):
    monkeypatch.setenv("COLUMNS", "100")


@pytest.fixture
def write(tmp_path):
    def written(text, name="board.toml"):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return str(path)

    return written


def test_it_prints_the_table_of_the_board(write, capsys):
    path = write(FULL)
    assert main([path]) == 0
    said = capsys.readouterr()
    assert said.out == rank(read_board(path)).to_text(100) + "\n"
    assert said.err == ""


def test_a_value_that_is_most_likely_a_slip_is_warned_about_in_one_line(write, capsys):
    with warnings.catch_warnings():
        warnings.simplefilter("always", PlausibilityWarning)
        assert main([write(changed(PASSES, "1 Gb/s", "25 b/s"))]) == 0
    said = capsys.readouterr().err.splitlines()
    assert said
    assert all(line.startswith("warning: rate 25 b/s, symbol rate in GBd = 2.5e-08: is outside") for line in said)


@pytest.mark.parametrize(("columns", "width"), [("40", 80), ("80", 80), ("132", 132), ("500", 140)])
def test_the_table_follows_the_terminal_from_80_to_140_columns(write, capsys, monkeypatch, columns, width):
    monkeypatch.setenv("COLUMNS", columns)
    path = write(FULL)
    main([path])
    assert capsys.readouterr().out == rank(read_board(path)).to_text(width) + "\n"


@pytest.mark.parametrize(
    ("text", "verdict", "status"),
    [
        (PASSES, "pass", 0),
        (WAIVED, "waived", 0),
        (FALLS_SHORT, "drill", 1),
        (MARGINAL, "marginal", 1),
        (UNDECIDED, "undecided", 1),
    ],
    ids=["pass", "waived", "drill", "marginal", "undecided"],
)
def test_check_says_whether_every_net_is_proven_or_waived(write, capsys, text, verdict, status):
    path = write(text)
    assert rank(read_board(path))["CLK"].verdict == verdict
    assert main([path, "--check"]) == status
    with_check = capsys.readouterr().out
    assert main([path]) == 0
    assert capsys.readouterr().out == with_check


UNREADABLE = {
    "not TOML": (b"[stackup\n", "board.toml"),
    "empty": (b"", "board.toml"),
    "not UTF-8": (b"\xff\xfe[\x00s\x00", "board.toml"),
    "unknown key": (changed(MINIMAL, "drill =", "dril ="), "dril"),
    "not a rate": (changed(MINIMAL, "10 Gb/s", "10 GHz"), "10 GHz"),
    "unknown layer": (changed(MINIMAL, 'connects = ["TOP"]', 'connects = ["MID"]'), "MID"),
}


@pytest.mark.parametrize(("text", "says"), UNREADABLE.values(), ids=UNREADABLE)
@pytest.mark.parametrize("options", [[], ["--check"]], ids=["", "--check"])
def test_a_file_that_cannot_be_read_ends_in_one_clear_line(write, capsys, text, says, options):
    assert main([write(text), *options]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("error: ")
    assert said.err.count("\n") == 1
    assert says in said.err
    assert "board.toml" in said.err


def test_a_missing_file_and_a_folder_are_named(tmp_path, capsys):
    for path in (tmp_path / "none.toml", tmp_path):
        assert main([str(path)]) == 2
        said = capsys.readouterr()
        assert said.err.startswith("error: ")
        assert path.name in said.err


@pytest.mark.parametrize("arguments", [[], ["a", "b"], ["--fix", "a"]], ids=repr)
def test_a_wrong_call_is_told_the_usage(arguments, capsys):
    with pytest.raises(SystemExit) as stop:
        main(arguments)
    assert stop.value.code == 2
    assert "python -m stubsi" in capsys.readouterr().err


def test_it_runs_as_a_module(write):
    path = write(FALLS_SHORT)
    run = subprocess.run(
        [sys.executable, "-m", "stubsi", path, "--check"],
        cwd=Path(path).parent, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert run.returncode == 1
    assert "CLK" in run.stdout
    assert "at least 5 wanted" in run.stdout
    assert run.stderr == ""


# --- what can go wrong behind the call --------------------------------------------------------------------------------


def run(path, *options, stdout=subprocess.PIPE, **environment):
    """The command in a process of its own: exit status, output and errors, as bytes."""
    process = subprocess.Popen(
        [sys.executable, "-m", "stubsi", path, *options],
        stdout=stdout, stderr=subprocess.PIPE, env={**os.environ, **environment},
    )  # fmt: skip
    out, err = process.communicate()
    return process.returncode, out, err


def test_a_reader_that_stops_reading_ends_it_quietly(write):
    """Status 141, as a shell tells it of a command that SIGPIPE (13) ends: 128 + 13 (POSIX)."""
    read_end, write_end = os.pipe()
    os.close(read_end)
    status, _, err = run(write(FALLS_SHORT), "--check", stdout=write_end)
    os.close(write_end)
    assert (status, err) == (141, b"")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_an_output_that_cannot_be_written_is_neither_a_pass_nor_a_verdict(write, capsys, monkeypatch):
    with Path("/dev/full").open("w", encoding="utf-8") as full:
        monkeypatch.setattr(sys, "stdout", full)
        assert main([write(PASSES), "--check"]) == Status.CRASHED
    err = capsys.readouterr().err
    assert err.startswith("error: the table cannot be written: ")
    assert err.count("\n") == 1


@pytest.fixture
def written_in(monkeypatch):
    """What the command writes to an output of an encoding: exit status and bytes."""

    def run_in(encoding, *arguments):
        output = io.TextIOWrapper(io.BytesIO(), encoding=encoding)
        monkeypatch.setattr(sys, "stdout", output)
        return main([*arguments]), output.buffer.getvalue()

    return run_in


@pytest.mark.parametrize(
    ("encoding", "shown"), [("ascii", b"CLK\\u03a9\\u2192"), ("cp1252", b"CLK\\u03a9\\u2192")], ids=str
)
def test_characters_the_output_cannot_encode_are_escaped(write, written_in, capsys, encoding, shown):
    path = write(changed(FALLS_SHORT, '"CLK"', '"CLK\u03a9\u2192"'))
    status, out = written_in(encoding, path, "--check")
    assert (status, capsys.readouterr().err) == (Status.FALLS_SHORT, "")
    assert shown in out


@pytest.mark.slow
def test_they_are_escaped_in_a_process_of_its_own(write):
    path = write(changed(FALLS_SHORT, '"CLK"', '"CLK\u03a9\u2192"'))
    status, out, err = run(path, "--check", PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    assert (status, err) == (Status.FALLS_SHORT, b"")
    assert b"CLK\\u03a9\\u2192" in out


def test_characters_the_output_can_encode_stay(write, written_in):
    path = write(changed(FALLS_SHORT, '"CLK"', '"CLK\u03a9\u2192"'))
    assert "CLK\u03a9\u2192".encode() in written_in("utf-8", path)[1]


@pytest.mark.parametrize("options", [[], ["--check"]], ids=["", "--check"])
def test_a_defect_has_a_status_of_its_own(write, capsys, monkeypatch, options):
    """Whatever is wrong in the library, it must not look like a net that falls short (1)."""
    monkeypatch.setattr("stubsi.margin.ranking.Ranking.to_text", lambda *_: 1 / 0)
    assert main([write(PASSES), *options]) == 3
    said = capsys.readouterr()
    assert said.out == ""
    assert "ZeroDivisionError" in said.err
    assert said.err.endswith("error: this is a defect of stubsi, not a verdict on the board.\n")


def test_the_help_says_when_the_exit_status_is_1(capsys):
    with pytest.raises(SystemExit):
        main(["--help"])
    words = " ".join(capsys.readouterr().out.split())
    assert "exit status 1 if any net is neither proven to meet its criterion nor waived" in words
