"""Accuracy against the project's full-wave references (tables in shared/fullwave) and trace-fed runs."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from stubsi.physics.barrel import Barrel, End
from stubsi.physics.feed import THROUGH, Feed, neighbour_inductance, tee
from stubsi.physics.reactance import notch
from stubsi.physics.return_path import Ring, equal_posts
from stubsi.stubs.model_error import least_notch, notch_error, regime
from stubsi.stubs.stub_feed import FeedKind
from tests.chain_figures import s21_minimum
from tests.fullwave import GHZ, compare, compared, errors, first_notch, main, stubs_of
from tests.stacks import MM, chain, fill, plane

TABLES = Path(__file__).parent.parent / "shared" / "fullwave"


@pytest.fixture(scope="module")
def cases():
    return compared(TABLES / "cases.csv")[0]


@pytest.fixture(scope="module")
def solved():
    return compared(TABLES / "cases.csv")[1]


def spread(pair):
    error = np.abs(errors(pair))
    assert error.size
    return np.median(error), error.max()


def test_first_notch(solved):
    assert np.all(np.less_equal(spread(first_notch(solved)), (0.15, 1.2)))


@pytest.mark.parametrize(
    ("table", "median", "most"), [("mixed", 0.15, 1.2), ("edges", 0.5, 2.5), ("drilled", 0.5, 2.6)]
)
def test_first_notch_of_the_other_tables(table, median, most):
    assert np.all(np.less_equal(spread(first_notch(compared(TABLES / f"{table}.csv")[1])), (median, most)))


def test_third_order(solved):
    assert np.all(np.less_equal(spread(solved["f3"]), (1.5, 5.0)))


@pytest.mark.parametrize(("table", "most", "count"), [("cases", 1.0, 30), ("mixed", 1.0, 10), ("edges", 2.0, 8)])
def test_1_db_frequency(table, most, count):
    """In the line in which full wave has 1 dB at half the notch; 4.5 % is the most that is claimed."""
    error = np.abs(errors(compared(TABLES / f"{table}.csv")[1]["one_db"]))
    assert error.size >= count
    assert np.median(error) <= 0.25
    assert error.max() <= most


def test_impedance(solved):
    assert np.all(np.less_equal(spread(solved["z0"]), (0.3, 2.0)))


def test_notch_of_radiating_stubs(cases, solved):
    """Minimum of S21 in 50 ohm of the unbounded planes: within 1.5 % and 0.3 dB."""
    is_open = np.array([row["rim"] == "open" for row in cases])
    wanted, found = (side[is_open] for side in solved["notch50"])
    assert found == pytest.approx(wanted, rel=0.015)
    wanted, found = (side[is_open] for side in solved["depth"])
    assert found == pytest.approx(wanted, abs=0.3)


def test_depth_of_a_lossy_stub(cases, solved):
    """Closed in by a ring and lossy: the laminate sets the depth, within 0.5 dB."""
    lossy = np.array([float(row["tand"]) > 0 and bool(row["notch50_dB"]) for row in cases])
    wanted, found = (side[lossy] for side in solved["depth"])
    assert found == pytest.approx(wanted, abs=0.5)


def test_closed_cells_with_a_solved_end(cases):
    bare = [row for row in cases if not row["plane_pad_dia_mm"] and not row["gap_pad_dia_mm"]]
    assert spread(compare(bare, closed_cells=True)["f0"])[0] <= 0.5


def test_stackups_as_drawn():
    _, solved = compared(TABLES / "mixed.csv")
    assert np.all(np.less_equal(spread(solved["z0"]), (0.5, 2.0)))


def test_pairs_in_their_odd_mode():
    """Real part of the complex resonance: within 0.8 % with return vias, 2 % without."""
    rows, found = compared(TABLES / "pairs.csv")
    error = np.abs(errors(found["f0"]))
    without = np.array([row["return_vias"] == "none" for row in rows])
    assert error[~without].max() <= 0.8
    assert error[without].max() <= 2.0


@pytest.mark.parametrize("table", ["cases", "mixed", "pairs"])
def test_comparison_ends_with_its_summary(table, capsys):
    main(TABLES / f"{table}.csv")
    rows, figures = compared(TABLES / f"{table}.csv")
    *lines, last = capsys.readouterr().out.splitlines()
    assert len(lines) == len(rows) + (table != "pairs")
    error = np.abs(errors(figures["f0"]))
    assert last == f"median {np.median(error):.2f} %, max {error.max():.1f} %, {len(rows)} cases"


def test_comparison_takes_tables_without_optional_columns(cases):
    """Blank or absent: no pads, no loss, planes without end."""
    pads = ("end_pad_dia_mm", "plane_pad_dia_mm", "gap_pad_dia_mm")
    needed = ("barrel_OD_mm", "antipad_dia_mm", "gaps_mm", "plane_t_mm", "h_bottom_mm", "R_rim_mm", "eps_r", "f0_GHz")
    bare = [{key: row[key] for key in needed} for row in cases if not any(row[pad] for pad in pads)]
    assert spread(compare(bare)["f0"])[1] <= 3.0


def trace_fed(start, vias, feed=THROUGH):
    """Six cavities of 0.25 mm between thin planes, outer 0.15 mm, end pad, return vias (radius .125) at 0.8 mm."""
    levels = (*start, plane(0.0), *[fill(0.25), plane(0.0)] * 6, fill(0.15))
    barrel = Barrel(barrel_radius=0.15 * MM, levels=levels, end=End(pad_radius=0.25 * MM), feed=feed)
    return chain(barrel, path=equal_posts(vias, 0.8 * MM, 0.125 * MM))


CLOSED, STRIP = (), (fill(0.15),)
"""Closed at its first plane; from a strip 0.15 mm above it."""
MICROSTRIP = tee(
    barrel_radius=0.15 * MM, clearance_radius=0.4 * MM, pad_radius=0.25 * MM, above=None, below=0.15 * MM, goes_on=False
)
NEIGHBOUR = neighbour_inductance(0.4 * MM, 0.3 * MM)


@pytest.mark.parametrize(
    ("feed", "time_domain", "tolerance"),
    [(MICROSTRIP, 17.31, 0.02), (Feed(inductance=-NEIGHBOUR), 15.97, 0.02)],
    ids=["microstrip in and out", "microstrip in, stripline out to the opposite side"],
)
def test_stub_hung_on_a_trace(feed, time_domain, tolerance):
    """Project time-domain runs, raised by 17.41/16.69, the ratio of finite elements to that mesh for one stub."""
    (found,) = notch(trace_fed(STRIP, 4, feed))
    assert found == pytest.approx(time_domain * 17.41 / 16.69 * 1e9, rel=tolerance)


def test_stub_closed_at_its_top_plane():
    """Three-dimensional finite elements, four vias at 0.8 mm: 17.41 GHz (project full-wave reference)."""
    assert notch(trace_fed(CLOSED, 4))[0] == pytest.approx(17.41e9, rel=0.01)


@pytest.mark.parametrize(("vias", "depth"), [(1, 10.8), (2, 19.1)])
def test_depth_with_few_return_vias(vias, depth):
    """Project time-domain runs: the planes carry the power off; within 3 dB."""
    assert -20 * np.log10(s21_minimum(trace_fed(CLOSED, vias))[1][0]) == pytest.approx(depth, abs=3.0)


@pytest.mark.parametrize("vias", [4, 8])
def test_depth_with_many_return_vias(vias):
    assert -20 * np.log10(s21_minimum(trace_fed(CLOSED, vias))[1][0]) > 30.0


@pytest.mark.parametrize("table", ["cases", "mixed", "pairs", "edges", "drilled", "feed"])
def test_no_declared_error_is_exceeded(table):
    """The error of the first notch of every row, against what its regime declares; and that is no blanket claim."""
    rows, figures = compared(TABLES / f"{table}.csv")
    wanted, found = first_notch(figures)
    declared = []
    for (solved, path), row, true, computed in zip(stubs_of(rows), rows, wanted, found, strict=True):
        feed = {"T": FeedKind.TEE, "t": FeedKind.THROUGH}.get(row.get("kind", "")[:1]) if table == "feed" else None
        ring = isinstance(path, Ring) or bool(path.positions)
        of = regime(solved, return_vias=ring, feed=feed, pair=table == "pairs")
        if np.isfinite(true):
            assert abs(computed / true - 1) <= notch_error(of, computed * GHZ)
            assert least_notch(of, computed * GHZ) <= true * GHZ
            declared.append(notch_error(of, computed * GHZ))
    assert np.median(declared) < 0.06
