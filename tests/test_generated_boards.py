"""Boards of a generator: generate, read and rank equals the same board built directly, for every revision and unit.

The schemas of IPC-2581 belong to its consortium and are no part of the project. The slow check that validates against
them takes their folder: ``pytest -m slow tests/test_generated_boards.py --schemas FOLDER``.
"""

from __future__ import annotations

import subprocess
import sys
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
    """Net by net, and in the same order but for nets of equal margins, which the last digit of a length may swap."""
    ranked, theirs = rank(found, **model), rank(board, **model)
    assert {row.net for row in ranked} == {row.net for row in theirs}
    for row, in_its_place in zip(ranked, theirs, strict=True):
        other = theirs[row.net]
        assert (row.verdict, row.hole) == (other.verdict, other.hole)
        assert (row.first_notch is None) is (other.first_notch is None)
        assert (row.margin or 0) == pytest.approx(in_its_place.margin or 0, rel=1e-9)  # 0: no notch below the sweep
        if row.first_notch is not None:
            assert row.first_notch.m_as("GHz") == pytest.approx(other.first_notch.m_as("GHz"), rel=1e-9)


@pytest.mark.parametrize(("revision", "unit"), [("A", "INCH"), ("B", "MILLIMETER"), ("B1", "MICRON"), ("C", "INCH")])
def test_a_generated_file_is_the_board_that_was_generated(revision, unit, tmp_path):
    made = GeneratedBoard(layers=6, nets=4, pairs=2)
    found, board = read(made, tmp_path, revision, unit).board, made.board(revision)
    compare(found, board)
    compare_ranks(found, board, dk_eff=5.0)


@pytest.mark.parametrize("where", ["span", "hole"])
def test_holes_or_their_spans_may_stand_in_placed_padstacks(where, tmp_path):
    """Revision A: PadStack/LayerHole with Span beside a drill layer without one, or in place of it."""
    made = GeneratedBoard(layers=6, nets=3, pairs=1, in_padstacks=where)
    compare(read(made, tmp_path, "A").board, made.board("A"))


@pytest.mark.parametrize("revision", ["A", "C"])
def test_the_tolerances_of_a_file_are_for_the_tolerance_study(revision, tmp_path):
    made = GeneratedBoard(layers=6, nets=2, pairs=0)
    found, wanted = read(made, tmp_path, revision).tolerances, made.tolerances(revision)
    for one, other in zip(found.factors(made.board(revision)), wanted.factors(made.board(revision)), strict=True):
        assert one[:2] == other[:2]
        assert one.tolerance.limits(1.0) == pytest.approx(other.tolerance.limits(1.0), rel=1e-12)
        assert one.tolerance.source == other.tolerance.source


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
    more = [GeneratedBoard(4, 2, 0, in_padstacks=where) for where in ("span", "hole") if revision == "A"]
    for made in (GeneratedBoard(4, 2, 0), GeneratedBoard(8, 5, 3, 3), *more):
        path = made.write(tmp_path, revision, "MICRON")
        schema.validate(str(path))
        broken = path.read_text(encoding="utf-8").replace('platingStatus="VIA"', 'platingStatus="MAYBE"', 1)
        with pytest.raises(xmlschema.XMLSchemaValidationError):
            schema.validate(broken)


MEASURE = """
import resource, sys, time
from stubsi import read_ipc2581
from tests.generated_boards import GeneratedBoard
made = GeneratedBoard(layers=4, nets=int(sys.argv[1]), pairs=0)
import shapely, scipy.spatial, tempfile, pathlib
with tempfile.TemporaryDirectory() as folder:
    path = made.write(pathlib.Path(folder))
    read_ipc2581(GeneratedBoard(layers=4, nets=50, pairs=0).write(pathlib.Path(folder)), **made.given_for("C"))
    del made.__dict__["signal_holes"], made.__dict__["lines"]
    before, start = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, time.process_time()
    board = read_ipc2581(path, **made.given_for("C")).board
    used = time.process_time() - start
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    print(len(board.signal_holes.kind), used, 1024 * most / path.stat().st_size, path.stat().st_size)
"""


def measured(nets):
    """Holes, time to read them, greatest memory that reading adds in sizes of the file, and this size [bytes]."""
    done = subprocess.run([sys.executable, "-c", MEASURE, str(nets)], check=True, capture_output=True, text=True)
    return [float(each) for each in done.stdout.split()]


@pytest.mark.slow
def test_a_hundred_thousand_holes_take_time_and_memory_in_proportion(capsys):
    """Ten times as many holes take not more than 13 times the time, and memory stays below three times the size of the
    file. Measured: 10.4 times, and 2.3 sizes of 182 MB; of a file of 218 MB with 120,000 holes 2.4 sizes. The memory of
    a small file says little: it fits into what the process has held before.
    """
    few, many = measured(5_000), measured(50_000)
    with capsys.disabled():
        print(
            f"\n{many[0]:.0f} holes against {few[0]:.0f}: time {many[1] / few[1]:.2f}; memory {many[2]:.2f} of the "
            f"size of the file ({many[3] / 1e6:.0f} MB), against {few[2]:.2f} ({few[3] / 1e6:.0f} MB); {many[1]:.0f} s"
        )
    assert (few[0], many[0]) == (10_000, 100_000)
    assert many[1] / few[1] < 1.3 * 10
    assert many[2] < 3
