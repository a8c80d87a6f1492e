"""Owns the arrays of solved barrels: those of one barrel, and those of many with the barrel as first axis."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from scipy.constants import mu_0

from stubsi.physics.cavity import axial_decay, axial_share
from stubsi.physics.dielectric import debye_terms

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterable, Sequence
    from typing import TypeVar

    from stubsi.physics.arrays import ComplexArray, FloatArray, IndexArray
    from stubsi.physics.barrel import Barrel, Material
    from stubsi.physics.sections import Layout, Section
    from stubsi.physics.solved_barrel import SolvedBarrel

    Key = TypeVar("Key", bound=Hashable)
    Mixture = tuple[float, tuple[tuple[Material, float], ...]]
    """Height of a cavity [m], and the share of each material in it."""


@dataclass(frozen=True, kw_only=True, eq=False)
class BarrelArrays:
    """A solved barrel as arrays. Sections are numbered from the end of the plating up.

    A *profile* is a distinct filling and height of a cavity. A *column* is a distinct conductor in a cavity: (profile,
    radius of the conductor, radius of the clearance).

    Parameters
    ----------
    material : ndarray, shape (n_material, 2)
        Loss tangent [-] and the frequency where it holds [Hz], NaN for constant.
    capacitance : ndarray, shape (n_section + 1, n_material)
        [F], the end first.
    filling : ndarray, shape (n_profile, n_material)
        Share of each material in the height, over its dk [-].
    height : ndarray, shape (n_profile,)
        Height of the cavity [m].
    column_profile : ndarray of int, shape (n_column,)
        Profile of each column.
    column : ndarray, shape (n_column, 2)
        Radius of the conductor and of the clearance [m].
    part_column : ndarray of int, shape (n_section, n_part)
        Column of each piece of conductor that faces the cavity of a section.
    part_height : ndarray, shape (n_section, n_part)
        Its height [m]; 0 where a section has fewer pieces.
    part_share : ndarray, shape (n_section, n_part)
        eta of ``cavity.axial_share`` [-]; NaN in a drilled tip.
    static_inductance : ndarray, shape (n_section,)
        Of the conductor inside the planes' clearances, and what a feed adds [H].
    skin : ndarray, shape (n_section,)
        Height of all conductor over its circumference, and of the plane over that of its clearance [-].
    end_inductance : float
        In front of the end [H].
    cut_gap : float
        Gap of the clearance of the first plane, where the plating ends before or in it [m]; else 0.
    barrel_radius, conductivity, largest_dk : float
        Of the barrel [m], of plating and planes [S/m] (infinite: perfect), and of its materials [-].
    """

    material: FloatArray
    capacitance: FloatArray
    filling: FloatArray
    height: FloatArray
    column_profile: IndexArray
    column: FloatArray
    part_column: IndexArray
    part_height: FloatArray
    part_share: FloatArray
    static_inductance: FloatArray
    skin: FloatArray
    end_inductance: float
    cut_gap: float
    barrel_radius: float
    conductivity: float
    largest_dk: float


def barrel_arrays(solved: SolvedBarrel) -> BarrelArrays:
    """Arrays of one solved barrel.

    Parameters
    ----------
    solved : SolvedBarrel

    Returns
    -------
    BarrelArrays
    """
    sections = solved.layout.sections[::-1]
    materials = _number(solved.materials)
    mixtures = [_mixture(section.filling) for section in sections]
    profiles = _number(mixtures)
    parts = [_parts(section) for section in sections]
    columns = _number(
        (profiles[mixture], radius, section.clearance_radius)
        for mixture, section, its_parts in zip(mixtures, sections, parts, strict=True)
        for radius in its_parts
    )
    filling, shape = np.zeros((len(profiles), len(materials))), (len(sections), max(map(len, parts), default=0))
    for (_, shares), profile in profiles.items():
        for material, share in shares:
            filling[profile, materials[material]] = share / material.dk_z
    part_column, part_height, part_share = np.zeros(shape, dtype=np.intp), np.zeros(shape), np.ones(shape)
    for row, (mixture, section, its_parts) in enumerate(zip(mixtures, sections, parts, strict=True)):
        for place, (radius, height) in enumerate(its_parts.items()):
            part_column[row, place] = columns[profiles[mixture], radius, section.clearance_radius]
            part_height[row, place] = height
            part_share[row, place] = _axial_share(solved.layout, section, radius)
    return BarrelArrays(
        material=np.array([(m.df, m.frequency or np.nan) for m in materials], dtype=float).reshape(-1, 2),
        capacitance=solved.capacitance[::-1],
        filling=filling,
        height=np.array([height for height, _ in profiles], dtype=float),
        column_profile=np.array([profile for profile, *_ in columns], dtype=np.intp),
        column=np.array([radii for _, *radii in columns], dtype=float).reshape(-1, 2),
        part_column=part_column,
        part_height=part_height,
        part_share=part_share,
        static_inductance=mu_0 / (2 * np.pi) * np.array([_inductance(section) for section in sections], dtype=float),
        skin=np.array([_skin(section) for section in sections], dtype=float),
        end_inductance=solved.end_inductance,
        cut_gap=0.0 if columns else _cut_gap(solved.barrel),
        barrel_radius=solved.barrel.barrel_radius,
        conductivity=solved.barrel.conductivity or np.inf,
        largest_dk=max(m.dk_z for m in materials),
    )


def _cut_gap(barrel: Barrel) -> float:
    """Gap between a barrel and the clearance of the first plane along its hole [m]; 0 without a plane."""
    planes = (level.clearance_radius for level in (*barrel.levels, *barrel.bored) if level.clearance_radius is not None)
    return next(planes, barrel.barrel_radius) - barrel.barrel_radius


def _parts(section: Section) -> dict[float, float]:
    """Height [m] of the conductor of each radius [m] that faces the cavity of a section."""
    parts: dict[float, float] = defaultdict(float)
    for part in section.in_cavity:
        parts[part.radius] += part.height
    return parts


def _axial_share(cut: Layout, section: Section, radius: float) -> float:
    """Share of the full axial field in the clearance of a section [-]; NaN in a drilled tip."""
    if section.in_tip:
        return np.nan
    if cut.is_drilled:
        return 1.0
    decay = axial_decay(radius, section.clearance_radius)
    return float(axial_share(decay, section.top, section.bottom, cut.start_of_end))


def _number(keys: Iterable[Key]) -> dict[Key, int]:
    """Distinct keys, numbered in order."""
    return {key: number for number, key in enumerate(dict.fromkeys(keys))}


def _mixture(filling: Iterable[tuple[Material, float]]) -> Mixture:
    """Height of a cavity and share of each material in it: equal for cavities of one wave, whatever the order."""
    height: dict[Material, float] = defaultdict(float)
    for material, thickness in filling:
        height[material] += thickness
    total = sum(height.values())
    shares = ((material, round(part / total, 12)) for material, part in height.items())
    return round(total, 12), tuple(sorted(shares, key=repr))


def _inductance(section: Section) -> float:
    """Static inductance of what lies inside the plane's clearance, and of the feed, over mu0/(2 pi) [m]."""
    return section.added + float(
        sum(part.height * np.log(section.clearance_radius / part.radius) for part in section.in_plane)
    )


def _skin(section: Section) -> float:
    """Height of conductor and rim over their circumference [-]: times the surface resistance it is the resistance."""
    rim = section.rim / (2 * np.pi * section.clearance_radius)
    return rim + float(sum(part.height / (2 * np.pi * part.radius) for part in (*section.in_cavity, *section.in_plane)))


@dataclass(frozen=True, kw_only=True, eq=False)
class BarrelStack:
    """Many solved barrels as one set of arrays, with the barrel as first axis. Missing sections and columns are zero.

    Parameters
    ----------
    section_count, profile_count, column_count : ndarray of int, shape (n_barrel,)
        How many sections, profiles and columns each barrel has.
    material, capacitance, part_column, part_height, part_share, static_inductance, skin : ndarray
        As in ``BarrelArrays``, with the barrel as first axis.
    filling, height, column_profile, column : ndarray
        As in ``BarrelArrays``, the rows of all barrels one after the other. ``column_profile`` counts from the first
        profile of its own barrel.
    end_inductance, cut_gap, barrel_radius, conductivity, largest_dk : ndarray, shape (n_barrel,)
        As in ``BarrelArrays``.
    """

    section_count: IndexArray
    profile_count: IndexArray
    column_count: IndexArray
    material: FloatArray
    capacitance: FloatArray
    part_column: IndexArray
    part_height: FloatArray
    part_share: FloatArray
    static_inductance: FloatArray
    skin: FloatArray
    filling: FloatArray
    height: FloatArray
    column_profile: IndexArray
    column: FloatArray
    end_inductance: FloatArray
    cut_gap: FloatArray
    barrel_radius: FloatArray
    conductivity: FloatArray
    largest_dk: FloatArray

    @classmethod
    def of(cls, barrels: Sequence[BarrelArrays], end_factor: Sequence[float]) -> BarrelStack:
        """Stack barrels.

        Parameters
        ----------
        barrels : sequence of BarrelArrays
        end_factor : sequence of float
            What the capacitance of each barrel's end is multiplied by [-].
        """
        widths = [b.filling.shape[1] for b in barrels]
        stack = cls(
            section_count=np.array([len(b.skin) for b in barrels], dtype=np.intp),
            material=_padded([b.material for b in barrels], (1,), empty=(0.0, np.nan)),
            capacitance=_padded([b.capacitance for b in barrels], (1, 1)),
            profile_count=np.array([len(b.filling) for b in barrels], dtype=np.intp),
            filling=_joined([_widened(b.filling, max(widths)) for b in barrels], max(widths, default=0)),
            height=_joined([b.height for b in barrels]),
            column_count=np.array([len(b.column) for b in barrels], dtype=np.intp),
            column_profile=_joined([b.column_profile for b in barrels]).astype(np.intp),
            column=_joined([b.column for b in barrels], 2),
            part_column=_padded([b.part_column for b in barrels], (1, 1)).astype(np.intp),
            part_height=_padded([b.part_height for b in barrels], (1, 1)),
            part_share=_padded([b.part_share for b in barrels], (1, 1), empty=1.0),
            static_inductance=_padded([b.static_inductance for b in barrels], (1,)),
            skin=_padded([b.skin for b in barrels], (1,)),
            end_inductance=np.array([b.end_inductance for b in barrels]),
            cut_gap=np.array([b.cut_gap for b in barrels]),
            barrel_radius=np.array([b.barrel_radius for b in barrels]),
            conductivity=np.array([b.conductivity for b in barrels]),
            largest_dk=np.array([b.largest_dk for b in barrels]),
        )  # fmt: skip
        stack.capacitance[:, 0] *= np.asarray(end_factor, dtype=float)[:, None]
        return stack

    def only(self, rows: IndexArray) -> BarrelStack:
        """Stack of some of the barrels.

        Parameters
        ----------
        rows : ndarray of int
            Their numbers, in any order.
        """
        sections = int(self.section_count[rows].max(initial=0))
        profiles, columns = _members(self.profile_count, rows), _members(self.column_count, rows)
        return BarrelStack(
            section_count=self.section_count[rows],
            material=self.material[rows],
            capacitance=self.capacitance[rows, : sections + 1],
            profile_count=self.profile_count[rows],
            filling=self.filling[profiles],
            height=self.height[profiles],
            column_count=self.column_count[rows],
            column_profile=self.column_profile[columns],
            column=self.column[columns],
            part_column=self.part_column[rows, :sections],
            part_height=self.part_height[rows, :sections],
            part_share=self.part_share[rows, :sections],
            static_inductance=self.static_inductance[rows, :sections],
            skin=self.skin[rows, :sections],
            end_inductance=self.end_inductance[rows],
            cut_gap=self.cut_gap[rows],
            barrel_radius=self.barrel_radius[rows],
            conductivity=self.conductivity[rows],
            largest_dk=self.largest_dk[rows],
        )

    @cached_property
    def profile_barrel(self) -> IndexArray:
        """Barrel of each profile."""
        return np.repeat(np.arange(len(self.profile_count)), self.profile_count)

    @cached_property
    def profile_of_column(self) -> IndexArray:
        """Profile of each column, counted over all barrels."""
        first: IndexArray = np.repeat(_starts(self.profile_count), self.column_count)
        return self.column_profile + first

    @cached_property
    def part_place(self) -> IndexArray:
        """Column, counted over all barrels, of each entry of ``part_column``; any if unused."""
        place: IndexArray = _starts(self.column_count)[:, None, None] + self.part_column
        return np.minimum(place, np.intp(max(0, len(self.column) - 1)))

    @cached_property
    def laminate(self) -> tuple[ComplexArray, FloatArray]:
        """Terms of the permittivity of each material relative to its dk, as ``debye_terms`` gives them."""
        return debye_terms(1.0, self.material[..., 0], self.material[..., 1])


def _starts(counts: IndexArray) -> IndexArray:
    """Place of the first member of each barrel, where the members of all barrels stand one after the other."""
    return np.asarray(np.cumsum(counts) - counts)


def _members(counts: IndexArray, rows: IndexArray) -> IndexArray:
    """Places of the members of some barrels, where those of all barrels stand one after the other."""
    chosen = counts[rows]
    within = np.arange(chosen.sum()) - np.repeat(_starts(chosen), chosen)
    return np.asarray(np.repeat(_starts(counts)[rows], chosen) + within)


def _padded(
    arrays: Sequence[FloatArray | IndexArray], grown: tuple[int, ...], empty: float | tuple[float, ...] = 0.0
) -> FloatArray:
    """Arrays stacked along a new first axis; the axes counted in ``grown`` are filled up with ``empty`` to one size."""
    shapes = np.array([array.shape[: len(grown)] for array in arrays]).reshape(-1, len(grown))
    rest = np.shape(empty)
    result = np.empty((len(arrays), *shapes.max(axis=0, initial=0).tolist(), *rest))
    result[...] = empty
    for row, array, shape in zip(result, arrays, shapes.tolist(), strict=True):
        row[tuple(slice(n) for n in shape)] = array
    return result


def _widened(array: FloatArray, width: int) -> FloatArray:
    """Array with columns of zeros added on the right."""
    result = np.zeros((len(array), width))
    result[:, : array.shape[1]] = array
    return result


def _joined(arrays: Sequence[FloatArray | IndexArray], width: int | None = None) -> FloatArray:
    """Arrays one after the other; rows of ``width`` where there are none."""
    return np.concatenate([*arrays, np.zeros((0,) if width is None else (0, width))])
