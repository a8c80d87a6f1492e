"""Compares the solved stub with a table of full-wave reference cases: python -m tests.fullwave FILE.csv."""

from __future__ import annotations

import csv
import json
import sys
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np

from stubsi.physics.barrel import Barrel, End, Level, Material
from stubsi.physics.chain import Chain
from stubsi.physics.feed import THROUGH, tee
from stubsi.physics.loss_curve import TANGENT_AT_1_DB, one_db_estimate, one_db_frequency
from stubsi.physics.pair import equivalent_clearance, fringe_shift
from stubsi.physics.power_curve import chain_inputs, power_curve
from stubsi.physics.reactance import notch, quasi_static
from stubsi.physics.return_path import Posts, Ring
from stubsi.physics.solved_barrel import solve
from tests.chain_figures import resonance, s21_minimum, solve_with_closed_cells

MM = 1e-3
NOTHING = 1e-12
"""A level of less than this thickness [m] is what rounding leaves of one that the drill has cut exactly at its face."""
GHZ = 1e9
RADIATES = 0.995
"""A minimum of S21 below this share of f0 is the notch of a stub that radiates."""


def case_barrel(row):
    eps = Material(dk_in_plane=float(row["eps_r"]), dk_z=float(row["eps_r"]), df=float(row.get("tand") or 0))
    t, a = float(row["plane_t_mm"]) * MM, float(row["barrel_OD_mm"]) / 2 * MM
    b = float(row["antipad_dia_mm"]) / 2 * MM
    pad = half(number(row, "plane_pad_dia_mm"))
    middle = half(number(row, "gap_pad_dia_mm"))

    def plane(thickness, pad_radius):
        return Level(kind="plane", thickness=thickness, material=eps, clearance_radius=b, pad_radius=pad_radius)

    def fill(height):
        return Level(kind="dielectric", thickness=height, material=eps)

    levels = [plane(t / 2, None)]
    for gap in map(float, row["gaps_mm"].split()):
        if middle:
            side = fill((gap * MM - t) / 2)
            levels += [side, Level(kind="signal", thickness=t, material=eps, pad_radius=middle), side]
        else:
            levels.append(fill(gap * MM))
        levels.append(plane(t, pad))
    levels.append(fill(float(row["h_bottom_mm"]) * MM))
    end_pad = half(number(row, "end_pad_dia_mm"))
    end = End(pad_radius=end_pad, pad_thickness=t if end_pad else 0.0)
    return Barrel(barrel_radius=a, levels=tuple(levels), end=end)


def drilled_barrel(row):
    """The barrel of a case without pads, cut at its plated length, with the bore and the levels that it passes."""
    whole = case_barrel(row)
    length, along, bored = float(row["plated_length_mm"]) * MM, [], []
    for level in whole.levels:
        kept = min(level.thickness, max(0.0, length))
        length -= level.thickness
        along += [replace(level, thickness=kept)] if kept > NOTHING else []
        bored += [replace(level, thickness=level.thickness - kept)] if level.thickness - kept > NOTHING else []
    end = End(bore_radius=half(float(row["bore_dia_mm"])), bored=tuple(bored))
    return replace(whole, levels=tuple(along), end=end)


def fed_barrel(row):
    """Stub that a strip feeds, from the strip on; thin planes, one more than cavities."""
    eps = Material(dk_in_plane=float(row["dk"]), dk_z=float(row["dk"]))
    b, h2 = scaled(number(row, "clearance_radius_mm")), scaled(number(row, "h2_mm"))
    plane = Level(kind="plane", thickness=0.0, material=eps, clearance_radius=b)
    cavity = Level(kind="dielectric", thickness=float(row["cavity_mm"]) * MM, material=eps)
    last = Level(kind="dielectric", thickness=float(row["h_bottom_mm"]) * MM, material=eps)
    first = Level(kind="dielectric", thickness=h2, material=eps)
    radius = scaled(number(row, "barrel_radius_mm"))
    feed = THROUGH
    if row["kind"].startswith("T "):
        feed = tee(
            barrel_radius=radius,
            clearance_radius=b,
            pad_radius=scaled(number(row, "used_pad_radius_mm")),
            above=scaled(number(row, "h1_mm")),
            below=h2,
            goes_on=False,
        )
    levels = (first, plane, *[cavity, plane] * int(row["cavities"]), last)
    return Barrel(
        barrel_radius=radius, levels=levels, end=End(pad_radius=scaled(number(row, "end_pad_radius_mm"))), feed=feed
    )


def fed_return_path(row):
    v = float(row["via_xy_mm"]) * MM
    return Posts(positions=((v, v), (-v, v), (-v, -v), (v, -v)), radius=float(row["via_radius_mm"]) * MM)


def case_return_path(row):
    rim = number(row, "R_rim_mm")
    return Posts() if rim is None or row.get("rim") == "open" else Ring(radius=rim * MM)


def mixed_barrel(geometry):
    levels = [
        Level(
            kind=layer["kind"],
            thickness=layer["thickness_mm"] * MM,
            material=Material(dk_in_plane=layer["dk_in_plane"], dk_z=layer["dk_z"], df=layer.get("df") or 0.0),
            clearance_radius=scaled(layer.get("clearance_radius_mm")),
            pad_radius=scaled(layer.get("pad_radius_mm")),
        )
        for layer in geometry["layers"]
    ]
    first = levels[0]
    levels[0] = Level(
        kind="plane",
        thickness=first.thickness / 2,
        material=first.material,
        clearance_radius=first.clearance_radius,
        pad_radius=first.pad_radius,
    )
    end = End(
        pad_radius=scaled(geometry.get("end_pad_radius_mm")),
        pad_thickness=(geometry.get("end_pad_thickness_mm") or 0.0) * MM,
    )
    return Barrel(barrel_radius=geometry["barrel_radius_mm"] * MM, levels=tuple(levels), end=end)


def scaled(value):
    return None if value is None else value * MM


def mixed_return_path(geometry):
    if geometry["return_path"] == "open":
        return Posts()
    return Ring(radius=geometry["return_radius_mm"] * MM)


def pair_barrel(row):
    eps = Material(dk_in_plane=float(row["eps_r"]), dk_z=float(row["eps_r"]))
    gap, b = float(row["gap_mm"]) * MM, float(row["clearance_half_width_mm"]) * MM
    if row["clearance"] == "oval":
        b = float(equivalent_clearance(float(row["pitch_mm"]) * MM, b, fringe_shift(gap, 0.0)))
    plane = Level(kind="plane", thickness=0.0, material=eps, clearance_radius=b)
    cavity = Level(kind="dielectric", thickness=gap, material=eps)
    last = Level(kind="dielectric", thickness=float(row["end_dielectric_mm"]) * MM, material=eps)
    levels = (plane, *[cavity, plane] * int(row["n_planes_with_hole"]), last)
    end = End(pad_radius=scaled(number(row, "end_pad_radius_mm")))
    return Barrel(barrel_radius=float(row["barrel_radius_mm"]) * MM, levels=levels, end=end)


def pair_return_path(row):
    points = (point.split() for point in (row.get("return_via_xy_mm") or "").split(";") if point.strip())
    positions = tuple((float(x) * MM, float(y) * MM) for x, y in points)
    return Posts(positions=positions, radius=(number(row, "return_via_radius_mm") or 0.0) * MM)


def number(row, column):
    return float(row[column]) if row.get(column) else None


def half(diameter):
    return None if diameter is None else diameter / 2 * MM


def read(path):
    """Rows of a table; of the table of feeds those that give a notch."""
    with Path(path).open(newline="", encoding="utf-8") as file:
        return [row for row in csv.DictReader(file) if row.get("notch_GHz") != ""]


def stubs_of(rows, *, closed_cells=False):
    """Solved barrel and return path of all rows of a table, whichever kind it is."""
    if "pitch_mm" in rows[0]:
        return [(solve(pair_barrel(row)), pair_return_path(row)) for row in rows]
    if "geometry" in rows[0]:
        drawn = [json.loads(row["geometry"]) for row in rows]
        return [(solve(mixed_barrel(g)), mixed_return_path(g)) for g in drawn]
    if "L_feed_pH" in rows[0]:
        return [(solve(fed_barrel(row)), fed_return_path(row)) for row in rows]
    if "bore_dia_mm" in rows[0]:
        return [(solve(drilled_barrel(row)), case_return_path(row)) for row in rows]
    solver = solve_with_closed_cells if closed_cells else solve
    return [(solver(case_barrel(row)), case_return_path(row)) for row in rows]


def chain_of(rows, *, closed_cells=False):
    """Chain of all rows of a table."""
    pitch = [float(row["pitch_mm"]) * MM for row in rows] if "pitch_mm" in rows[0] else None
    return Chain.of(stubs_of(rows, closed_cells=closed_cells), pitch=pitch)


def reference(rows, *columns):
    """Values of the first of the columns that the table has; NaN where blank."""
    column = next((c for c in columns if c in rows[0]), None)
    return np.array([np.nan if column is None or not row.get(column) else float(row[column]) for row in rows])


def compare(rows, *, closed_cells=False):
    """Reference and solved figures by quantity, each a pair of arrays.

    f0, f3, notch50, one_db [GHz], depth [dB], z0 [ohm].
    """
    chain = chain_of(rows, closed_cells=closed_cells)
    f0 = reference(rows, "f0_GHz", "f0_3d_GHz", "notch_GHz")
    lowest, size = s21_minimum(chain, 50.0)
    found = lowest
    if "L_feed_pH" not in rows[0]:
        found = resonance(chain).real if "pitch_mm" in rows[0] else notch(chain)
    half_way = np.where(np.isnan(f0), 1.0, f0)[:, None] / 2 * GHZ
    return {
        "f0": (f0, found / GHZ),
        "f3": (reference(rows, "f3_GHz"), notch(chain, 3) / GHZ),
        "notch50": (reference(rows, "f_notch50_GHz"), lowest / GHZ),
        "depth": (reference(rows, "notch50_dB"), 20 * np.log10(np.maximum(size, 1e-15))),
        "one_db": one_db(rows, chain, f0),
        "z0": (reference(rows, "Z0_half_ohm", "Z0_ohm"), -(1 / chain.input_admittance(half_way)[:, 0]).imag),
    }


@cache
def compared(path):
    """Rows of a table, and its figures by quantity as ``compare`` gives them: solved once for all who ask."""
    rows = read(path)
    return rows, compare(rows)


def one_db(rows, chain, f0):
    """1 dB frequency [GHz] of the stubs in the one line in which a table gives it.

    A lossless stub of reactance -Z at f0/2 has a loss of 1 dB there in a line of 1.0177 Z. Only lossless rows closed by
    a ring carry it; the loss of the others also depends on a resistance, which no table gives.
    """
    z0 = reference(rows, "Z0_half_ohm", "Z0_ohm")
    carries = np.array([is_closed(row) and not float(row.get("tand") or 0) for row in rows]) & np.isfinite(z0)
    line_impedance = np.where(carries, TANGENT_AT_1_DB * z0, 50.0)
    estimate = one_db_estimate(*quasi_static(chain), line_impedance)
    found = one_db_frequency(power_curve(chain_inputs(chain), line_impedance), estimate, chain.highest_frequency())
    return np.where(carries, f0 / 2, np.nan), found / GHZ


def is_closed(row):
    """Whether a ring closes the cavities in, so that nothing radiates between the planes."""
    if "geometry" in row:
        return json.loads(row["geometry"])["return_path"] == "ring"
    return row.get("rim") == "ring"


def errors(pair):
    """Error of the solved figure [%], where there is a reference."""
    wanted, found = pair
    return (100 * (found / wanted - 1))[~np.isnan(wanted)]


def first_notch(figures):
    """Reference and solved first notch [GHz]: of a stub that radiates between open planes the minimum of S21.

    Only for open rows does a table give the minimum of S21 beside an f0 that it differs from.
    """
    wanted, found = figures["f0"]
    lowest, solved = figures["notch50"]
    radiates = lowest < RADIATES * wanted
    return np.where(radiates, lowest, wanted), np.where(radiates, solved, found)


def line(name, figures, index):
    wanted, found = (side[index] for side in figures["f0"])
    text = f"{name:8} f0 {wanted:9.4f} GHz, solved {found:9.4f}, {100 * (found / wanted - 1):+6.2f} %"
    for label, unit in (("f3", "GHz"), ("z0", "ohm"), ("one_db", "GHz"), ("notch50", "GHz"), ("depth", "dB")):
        wanted, found = (side[index] for side in figures[label])
        if not np.isnan(wanted):
            text += f"; {label} {wanted:.4g} {unit}, solved {found:.4g}"
    return text


def main(path):
    rows, figures = compared(path)
    for index, row in enumerate(rows):
        print(line(row.get("name") or row.get("case"), figures, index))
    error = np.abs(errors(figures["one_db"]))
    if error.size:
        print(f"1 dB frequency: median {np.median(error):.2f} %, max {error.max():.1f} %, {error.size} cases")
    error = np.abs(errors(first_notch(figures)))
    print(f"median {np.median(error):.2f} %, max {error.max():.1f} %, {error.size} cases")


if __name__ == "__main__":
    main(sys.argv[1])
