"""Compares the solved stub with a table of full-wave reference cases: python -m tests.fullwave FILE.csv."""

from __future__ import annotations

import csv
import json
import sys
from pathlib import Path

from stubsi.physics.cell import fringe_shift
from stubsi.physics.chain import Chain
from stubsi.physics.geometry import Barrel, End, Level, Material, Posts, Ring
from stubsi.physics.hole import solve
from stubsi.physics.notch import notch, resonance, s21_minimum
from stubsi.physics.pair import equivalent_clearance

MM = 1e-3


def case_barrel(row):
    eps = Material(dk_in_plane=float(row["eps_r"]), dk_z=float(row["eps_r"]), df=float(row.get("tand") or 0))
    t, a = float(row["plane_t_mm"]) * MM, float(row["barrel_OD_mm"]) / 2 * MM
    b = float(row["antipad_dia_mm"]) / 2 * MM
    pad = radius(row, "plane_pad_dia_mm")
    middle = radius(row, "gap_pad_dia_mm")

    def plane(thickness, pad_radius):
        return Level(kind="plane", thickness=thickness, material=eps, clearance_radius=b, pad_radius=pad_radius)

    def fill(height):
        return Level(kind="dielectric", thickness=height, material=eps)

    levels = [plane(t / 2, None)]
    for gap in map(float, row["gaps_mm"].split()):
        if middle:
            half = fill((gap * MM - t) / 2)
            levels += [half, Level(kind="signal", thickness=t, material=eps, pad_radius=middle), half]
        else:
            levels.append(fill(gap * MM))
        levels.append(plane(t, pad))
    levels.append(fill(float(row["h_bottom_mm"]) * MM))
    end_pad = radius(row, "end_pad_dia_mm")
    end = End(pad_radius=end_pad, pad_thickness=t if end_pad else 0.0)
    return Barrel(barrel_radius=a, levels=tuple(levels), end=end)


def radius(row, column):
    return float(row[column]) / 2 * MM if row.get(column) else None


def case_return_path(row):
    return Posts() if row["rim"] == "open" else Ring(radius=float(row["R_rim_mm"]) * MM)


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


def read(path):
    with Path(path).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


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
