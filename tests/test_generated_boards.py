"""Boards of a generator: generate, read and rank equals the same board built directly, for every revision and unit.

The schemas of IPC-2581 belong to its consortium and are no part of the project. The slow check that validates against
them takes their folder: ``pytest -m slow tests/test_generated_boards.py --schemas FOLDER``.
"""

from __future__ import annotations

import time
import tracemalloc
from pathlib import Path

import pytest

from stubsi import rank, read_ipc2581
from tests.generated_boards import PER_MM, REVISIONS, GeneratedBoard


def read(made, folder, revision="C", unit="MILLIMETER"):
    return read_ipc2581(made.write(folder, revision, unit), **made.given_for(revision))


def compare(found, board):
    assert {net.name for net in found.nets} == {net.name for net in board.nets}
    assert found.stackup.names == board.stackup.names
    assert found.stackup.edges_si == pytest.approx(board.stackup.edges_si, rel=1e-11)
    for one, other in zip(found.stackup.layers, board.stackup.layers, strict=True):
        for key in ("role", "dk", "df", "material"):
            assert getattr(one, key, None) == getattr(other, key, None)
    for net in board.nets:
        ours = found.net(net.name)
        assert (ours.signal, ours.z0_si, ours.reference) == (net.signal, net.z0_si, net.reference)
        for one, other in zip(ours.holes, net.holes, strict=True):
            assert (one.name, one.connects, one.leg) == (other.name, other.connects, other.leg)
            assert one.xy_si == pytest.approx(other.xy_si, abs=1e-12)
            _compare_padstacks(one.padstack, other.padstack, board, reference=net.reference)


def _compare_padstacks(one, other, board, *, reference):
    assert one.drill_si == pytest.approx(other.drill_si, rel=1e-11)
    assert one.span == other.span
    for layer in () if reference else board.stackup.copper:
        ours, theirs = (each.pad_at(layer.name, in_use=True, outer=False) for each in (one, other))
        assert ours == pytest.approx(theirs, rel=1e-11)
        ours, theirs = (each.antipad_at(layer.name, "plane") for each in (one, other))
        assert ours.width_si == pytest.approx(theirs.width_si, rel=1e-11)
        assert ours.shared == theirs.shared


def compare_ranks(found, board, **model):
    for one, other in zip(rank(found, **model), rank(board, **model), strict=True):
        assert (one.net, one.verdict, one.hole) == (other.net, other.verdict, other.hole)
        assert (one.first_notch is None) is (other.first_notch is None)
        if one.first_notch is not None:
            assert one.first_notch.m_as("GHz") == pytest.approx(other.first_notch.m_as("GHz"), rel=1e-9)


@pytest.mark.parametrize(("revision", "unit"), [("A", "INCH"), ("B", "MILLIMETER"), ("B1", "MICRON"), ("C", "INCH")])
def test_a_generated_file_is_the_board_that_was_generated(revision, unit, tmp_path):
    made = GeneratedBoard(layers=6, nets=4, pairs=2)
    found, board = read(made, tmp_path, revision, unit).board, made.board(revision)
    compare(found, board)
    compare_ranks(found, board, dk_eff=5.0)


@pytest.mark.slow
@pytest.mark.parametrize("unit", PER_MM)
@pytest.mark.parametrize("revision", REVISIONS)
@pytest.mark.parametrize("made", [GeneratedBoard(4, 3, 0), GeneratedBoard(12, 20, 8, 3)])
def test_generated_files_of_every_size_are_their_boards(made, revision, unit, tmp_path):
    found, board = read(made, tmp_path, revision, unit).board, made.board(revision)
    compare(found, board)
    compare_ranks(found, board, dk_eff=5.0)
    if made.layers == 4 and unit == "INCH":
        compare_ranks(found, board)


@pytest.mark.slow
@pytest.mark.parametrize("revision", REVISIONS)
def test_generated_files_validate_against_their_schema(revision, pytestconfig, tmp_path):
    """With xmlschema, a general library."""
    folder = pytestconfig.getoption("schemas")
    if folder is None:
        pytest.skip("needs the schemas of IPC-2581: give their folder as --schemas FOLDER")
    xmlschema = pytest.importorskip("xmlschema")
    schema = xmlschema.XMLSchema10(Path(folder) / f"IPC-2581_Rev{revision}.xsd")
    for made in (GeneratedBoard(4, 2, 0), GeneratedBoard(8, 5, 3, 3)):
        path = made.write(tmp_path, revision, "MICRON")
        schema.validate(str(path))
        broken = path.read_text(encoding="utf-8").replace('platingStatus="VIA"', 'platingStatus="MAYBE"', 1)
        with pytest.raises(xmlschema.XMLSchemaValidationError):
            schema.validate(broken)


def measured(made, folder):
    """Time to read a board, and the most memory that Python held on to, each as a figure of its own run."""
    path, best = made.write(folder), float("inf")
    for _ in range(2):
        start = time.perf_counter()
        board = read_ipc2581(path, **made.given).board
        best = min(best, time.perf_counter() - start)
    assert len(board.signal_holes.kind) == len(made.signal_holes)
    del board
    tracemalloc.start()
    try:
        read_ipc2581(path, **made.given)
        return best, tracemalloc.get_traced_memory()[1], path.stat().st_size
    finally:
        tracemalloc.stop()


@pytest.mark.slow
def test_a_hundred_thousand_holes_take_time_and_memory_in_proportion(tmp_path, capsys):
    """Ten times as many holes: not more than 13 times the time and 11 times the memory, which stays below that of the
    text itself.
    """
    few, many = (measured(GeneratedBoard(layers=6, nets=nets, pairs=nets // 10), tmp_path) for nets in (4_200, 42_000))
    with capsys.disabled():
        print(
            f"\n100,800 holes against 10,080: time {many[0] / few[0]:.2f}, memory {many[1] / few[1]:.2f}; memory "
            f"{many[1] / many[2]:.2f} of the size of the file, {many[2] / 1e6:.0f} MB, {many[0]:.1f} s"
        )
    assert many[0] / few[0] < 1.3 * 10
    assert many[1] / few[1] < 1.1 * 10
