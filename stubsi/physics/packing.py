"""Owns how solved barrels become the arrays of a chain: sections from the end up, sums as sparse matrices."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

import numpy as np
from scipy.constants import mu_0
from scipy.sparse import coo_array

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterable, Sequence

    from scipy.sparse import csr_array

    from stubsi.physics.barrel import Material
    from stubsi.physics.sections import Section
    from stubsi.physics.solved_barrel import SolvedBarrel

    Entry = tuple[int, int, float]


def pack(solved: Sequence[SolvedBarrel]) -> dict[str, object]:
    """Fields of ``Chain`` that follow from its barrels; a section of barrel i is row (number from the end) * n + i."""
    n, depth = len(solved), max((len(s.layout.sections) for s in solved), default=0)
    numbered = [(i, k, section) for i, s in enumerate(solved) for k, section in enumerate(s.layout.sections[::-1])]
    materials = _number((i, m) for i, s in enumerate(solved) for m in s.materials)
    mixtures = {section.filling: _mixture(section.filling) for _, _, section in numbered}
    profiles = _number((i, mixtures[section.filling]) for i, _, section in numbered)
    keys = [
        (k * n + i, (profiles[i, mixtures[section.filling]], part.radius, section.clearance_radius), part.height)
        for i, k, section in numbered
        for part in section.in_cavity
    ]
    columns = _number(key for _, key, _ in keys)
    heights = [(row, columns[key], height) for row, key, height in keys]
    fillings = [(p, materials[i, m], share / m.dk_z) for (i, mixture), p in profiles.items() for m, share in mixture]
    capacitances = [
        (((len(s.layout.sections) - row) * n + i), materials[i, s.materials[column]], value)
        for i, s in enumerate(solved)
        for (row, column), value in np.ndenumerate(s.capacitance)
    ]
    return {
        "section_count": depth,
        "material_barrel": np.array([i for i, _ in materials], dtype=int),
        "material": np.array([(m.df, m.frequency or np.nan) for _, m in materials], dtype=float).reshape(-1, 2),
        "capacitance": _sparse(capacitances, ((depth + 1) * n, len(materials))),
        "profile_barrel": np.array([i for i, _ in profiles], dtype=int),
        "filling": _sparse(fillings, (len(profiles), len(materials))),
        "column_profile": np.array([p for p, *_ in columns], dtype=int),
        "column": np.array([radii for _, *radii in columns], dtype=float).reshape(-1, 2),
        "height": _sparse(heights, (depth * n, len(columns))),
        **_static(solved, numbered, depth),
    }


def _static(
    solved: Sequence[SolvedBarrel], numbered: list[tuple[int, int, Section]], depth: int
) -> dict[str, np.ndarray]:
    inductance, skin = np.zeros((depth, len(solved))), np.zeros((depth, len(solved)))
    for i, k, section in numbered:
        inductance[k, i] = sum(p.height * np.log(section.clearance_radius / p.radius) for p in section.in_plane)
        skin[k, i] = sum(p.height / (2 * np.pi * p.radius) for p in (*section.in_cavity, *section.in_plane))
    return {
        "static_inductance": mu_0 / (2 * np.pi) * inductance,
        "skin": skin,
        "outer_inductance": mu_0 / (2 * np.pi) * np.array([s.layout.outer for s in solved]),
        "barrel_radius": np.array([s.barrel.barrel_radius for s in solved]),
        "conductivity": np.array([s.barrel.conductivity or np.inf for s in solved]),
    }


def _number(keys: Iterable[Hashable]) -> dict:
    """Distinct keys, numbered in order."""
    return {key: number for number, key in enumerate(dict.fromkeys(keys))}


def _mixture(filling: Iterable[tuple[Material, float]]) -> tuple[tuple[Material, float], ...]:
    """Share of each material in the height of a cavity: equal for cavities of one wavenumber, whatever their order."""
    height: dict[Material, float] = defaultdict(float)
    for material, thickness in filling:
        height[material] += thickness
    total = sum(height.values())
    shares = ((material, round(part / total, 12)) for material, part in height.items())
    return tuple(sorted(shares, key=repr))


def _sparse(entries: list[Entry], shape: tuple[int, int]) -> csr_array:
    row, column, value = zip(*entries, strict=True) if entries else ((), (), ())
    place = np.array(row, dtype=int), np.array(column, dtype=int)
    return coo_array((np.array(value, dtype=float), place), shape=shape).tocsr()
