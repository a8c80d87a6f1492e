"""Owns the capacitance of a barrel: one electrostatic solve of its whole length, divided among its sections."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.constants import mu_0

from stubsi.physics.barrel import AIR, Barrel, LevelSpan, Material, level_spans, snap
from stubsi.physics.electrostatics import Grid, graded_lines, solve_field

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from stubsi.physics.arrays import FloatArray, IndexArray
    from stubsi.physics.sections import Layout

FINE_Z, FINE_GAP = 0.3, 0.02
"""First step of the coarser grid along z at an edge: at most these shares [-] of the distance to the next edge, and of
the gap between barrel or pad and plane."""
FINE_R = 0.06
"""First step of the coarser grid along r at an edge, as share of the gap [-]."""
GROWTH = 0.6
"""Growth of the grid step with the distance from an edge [-]."""
CONVERGENCE = 1.6
"""Order at which the error falls with the step: between 4/3, for a conductor's right-angled edge, and 2 elsewhere."""
CAVITY_REACH = 3.0
"""Between two planes the field is followed to this many cavity heights beyond the clearance [-]."""
AIR_REACH = 12.0
"""In the air the field is followed to this many times the sum of clearance radius and outer laminate [-]."""
AT_THE_AXIS = 4.0
"""Integral of (r/r_m)^4 dr/r from 0 to 2 r_m [-]."""
BORE_REACH = 3.0
"""Levels below a drilled end count down to this many clearance radii below it [-]."""


@dataclass(frozen=True, kw_only=True)
class _Conductor:
    """Rectangle of the half plane (z, r) at one potential: ranges of z and r [m], ``voltage`` 0 or 1 [V]."""

    z: tuple[float, float]
    r: tuple[float, float]
    voltage: float


class Electrostatics(NamedTuple):
    """What the electrostatics of a barrel give its chain.

    ``materials`` that the field passes. ``capacitance`` (n_section + 1, n_material) [F], the end last, at the
    materials' own dk: where a permittivity differs from its dk by a factor, its column is multiplied by that factor,
    right to first order. ``end_inductance`` [H] in front of the end's capacitance.
    """

    materials: tuple[Material, ...]
    capacitance: FloatArray
    end_inductance: float


def electrostatics_of(barrel: Barrel, cut: Layout) -> Electrostatics:
    r"""Capacitance of every section and of the end, by material, and the inductance in front of the end.

    Parameters
    ----------
    barrel : Barrel
        The barrel.
    cut : Layout
        Its sections.

    Returns
    -------
    Electrostatics

    Notes
    -----
    The current that flows towards the end and goes over into displacement current has a magnetic energy below the last
    plane. With psi(r, z) the flux of D that crosses the plane z outside of the radius r, and Q the charge of the end,
    it is that of the inductance

    .. math:: L_e = \frac{\mu_0}{2\pi}\iint \left(\frac{\psi}{Q}\right)^2\frac{dr\,dz}{r}

    over all that lies outside of metal below the middle of the last plane (derived). A drilled end has none: the
    sections of its tip count the whole barrel.

    Solved on two grids, the second with every step halved, and extrapolated to a step of zero. Error of a section 0.2 %
    at most, of a whole stub 0.1 %, against grids five times as fine.
    """
    half_plane = _meridian(barrel)
    fillings = (m for section in cut.sections for m, _ in section.filling)
    materials = tuple(dict.fromkeys((*(m for _, _, m in half_plane.dielectrics), *fillings)))
    z, r = _lines(half_plane, cut)
    (coarse, coarse_height), (fine, fine_height) = (
        _solve(half_plane, cut, materials, (z[::every], r[::every])) for every in (2, 1)
    )
    capacitance = fine + (fine - coarse) / (2**CONVERGENCE - 1)
    height = fine_height + (fine_height - coarse_height) / (2**CONVERGENCE - 1)
    return Electrostatics(materials, capacitance, mu_0 / (2 * np.pi) * height)


def _solve(
    half_plane: _Meridian, cut: Layout, materials: tuple[Material, ...], lines: tuple[FloatArray, FloatArray]
) -> tuple[FloatArray, float]:
    """Capacitance by section and material, and inductance of the end over mu0/(2 pi) [m], on one grid of ``lines``."""
    z, r = lines
    which = np.zeros((len(z) - 1, len(r) - 1), dtype=np.intp)
    number = {material: place for place, material in enumerate(materials)}
    for top, outer, material in half_plane.dielectrics:
        which[np.searchsorted(z, top) :, : np.searchsorted(r, outer)] = number[material]
    voltage, metal = np.full((len(z), len(r)), np.nan), np.zeros(which.shape, dtype=bool)
    for c in half_plane.conductors:
        (top, bottom), (inner, outer) = np.searchsorted(z, c.z), np.searchsorted(r, c.r)
        voltage[top : bottom + 1, inner : outer + 1] = c.voltage
        metal[top:bottom, inner:outer] = True
    dk = np.array([[m.dk_in_plane, m.dk_z] for m in materials])[which]
    field = solve_field(Grid(z=z, r=r, eps_r=dk[..., 0], eps_z=dk[..., 1], voltage=voltage))
    capacitance = _share(field.energy, z, which, cut, len(materials))
    if cut.is_drilled or not half_plane.below:
        return capacitance, 0.0
    below = z[:-1] >= cut.start_of_end
    share = np.where(metal, 0.0, field.flux / capacitance[-1].sum())[below]
    return capacitance, float(np.diff(z)[below] @ share**2 @ _over_radius(r))


def _over_radius(r: FloatArray) -> FloatArray:
    """Integral of 1/r over every step of the lines along r [-]; at the axis that of a flux that rises with r^2."""
    from_axis = r[:-1] == 0
    return np.where(from_axis, AT_THE_AXIS, np.log(r[1:] / np.where(from_axis, 1.0, r[:-1])))


def _share(energy: FloatArray, z: FloatArray, which: IndexArray, cut: Layout, n_material: int) -> FloatArray:
    """Sum cell energies over sections (rows, the end last) and materials (columns)."""
    starts = [s.top for s in cut.sections] + [cut.start_of_end]
    row = np.searchsorted(starts, (z[1:] + z[:-1]) / 2) - 1
    index = (row[:, None] * n_material + which).ravel()
    return np.asarray(np.bincount(index, energy.ravel(), len(starts) * n_material).reshape(-1, n_material), dtype=float)


@dataclass(frozen=True, kw_only=True)
class _Meridian:
    """What fills the half plane (z, r) that is modelled, in metres.

    ``dielectrics``: (top, outer radius, material); where two overlap, the later one counts. ``depth`` and ``reach``:
    how far the half plane extends along z and r. ``below``: whether it extends below the barrel, down the axis.
    """

    conductors: tuple[_Conductor, ...]
    dielectrics: tuple[tuple[float, float, Material], ...]
    depth: float
    reach: float
    below: bool


def _meridian(barrel: Barrel) -> _Meridian:
    """Half plane around a barrel: down into the air, or down to where the field below a bore has vanished."""
    along = level_spans(barrel.levels, goes_on=barrel.end is None)
    length, end = along[-1].bottom, barrel.end
    below = _levels_below(barrel, length)
    spans = (*along, *below)
    widest = max(span.level.clearance for span in spans if span.is_plane)
    dielectrics = [(span.top, np.inf, span.level.material) for span in spans]
    depth, reach = spans[-1].bottom, widest + CAVITY_REACH * _tallest_gap(spans)
    bore_radius = snap(end.bore_radius) if end is not None and end.bore_radius else 0.0
    if end is not None and bore_radius:
        dielectrics.append((length, bore_radius, Material(dk_in_plane=end.bore_dk, dk_z=end.bore_dk)))
    if end is not None and len(below) == len(barrel.bored):
        air = AIR_REACH * (widest + depth - max(span.bottom for span in spans if span.is_plane))
        dielectrics.append((depth, np.inf, AIR))
        depth, reach = depth + air, max(reach, air)
    return _Meridian(
        conductors=tuple(_conductors(barrel, along, below, reach)),
        dielectrics=tuple(dielectrics),
        depth=depth,
        reach=reach,
        below=end is not None,
    )


def _levels_below(barrel: Barrel, length: float) -> tuple[LevelSpan, ...]:
    """Levels below a drilled end, as far down as its field reaches, but at least to a first plane if none is above.

    ``length`` [m]: of the barrel, below which they lie.
    """
    levels = level_spans(barrel.bored)
    planes_along = [level for level in barrel.levels if level.is_plane]
    planes_below = [span for span in levels if span.is_plane]
    widest = max(level.clearance for level in (*planes_along, *(span.level for span in planes_below)))
    to_first = 0.0 if planes_along or not planes_below else planes_below[0].top
    last = max(BORE_REACH * widest, float(np.nextafter(to_first, np.inf)))
    return tuple(
        LevelSpan(
            level=span.level, top=snap(span.top + length), bottom=snap(span.bottom + length), mid=span.mid + length
        )
        for span in levels
        if span.top < last
    )


def _tallest_gap(spans: Sequence[LevelSpan]) -> float:
    """Greatest distance [m] between two planes, or from a plane to the first or last level."""
    edges = [spans[0].top, *(z for span in spans if span.is_plane for z in (span.top, span.bottom)), spans[-1].bottom]
    return max(after - before for before, after in zip(edges[::2], edges[1::2], strict=True))


def _conductors(
    barrel: Barrel, along: Sequence[LevelSpan], below: Sequence[LevelSpan], reach: float
) -> Iterator[_Conductor]:
    """Barrel, pads and end pad at 1 V, planes at 0 V; the barrel first."""
    length, end = along[-1].bottom, barrel.end
    yield _Conductor(z=(0.0, length), r=(0.0, snap(barrel.barrel_radius)), voltage=1.0)
    for span in along:
        if span.level.pad_radius:
            yield _Conductor(z=(span.top, span.bottom), r=(0.0, snap(span.level.pad_radius)), voltage=1.0)
    if end is not None and end.pad_radius:
        yield _Conductor(z=(length, snap(length + end.pad_thickness)), r=(0.0, snap(end.pad_radius)), voltage=1.0)
    for span in (*along, *below):
        if span.is_plane:
            bore = end.bore_radius if end is not None and span.top >= length and end.bore_radius else 0.0
            inner = max(span.level.clearance, bore) if span.level.clearance else 0.0
            yield _Conductor(z=(span.top, span.bottom), r=(snap(inner), reach), voltage=0.0)


def _lines(half_plane: _Meridian, cut: Layout) -> tuple[FloatArray, FloatArray]:
    """Lines of the finer grid along z and r: closer together at the edges of planes and pads and at the barrel's end.

    Every second one is a line of the coarser grid.
    """
    barrel, *others = half_plane.conductors
    gaps = _gaps(half_plane.conductors)
    edges = [(z, gap) for c, gap in zip(others, gaps[1:], strict=True) for z in c.z]
    radii = [(c.r[1] if c.voltage else c.r[0], gap) for c, gap in zip(others, gaps[1:], strict=True)]
    if half_plane.below:
        edges.append((barrel.z[1], gaps[0]))
        radii.append((barrel.r[1], gaps[0]))
    stops = {0.0, half_plane.depth, cut.start_of_end, *(s.top for s in cut.sections)}
    z = _graded(stops | {top for top, _, _ in half_plane.dielectrics}, _z_steps(edges))
    bores = {outer for _, outer, _ in half_plane.dielectrics if outer < half_plane.reach}
    axis = {0.0} if half_plane.below else set()
    r = _graded(axis | bores | {barrel.r[1], half_plane.reach}, _least(radii, FINE_R))
    return z, r


def _gaps(conductors: Sequence[_Conductor]) -> FloatArray:
    """Distance [m] from each conductor to the nearest one at the other potential."""
    z, r = np.array([c.z for c in conductors]), np.array([c.r for c in conductors])
    live = np.array([c.voltage > 0 for c in conductors])
    along = np.maximum(0.0, z[:, None, 0] - z[:, 1])
    across = np.maximum(0.0, r[:, None, 0] - r[:, 1])
    distance = np.hypot(np.maximum(along, along.T), np.maximum(across, across.T))
    return np.asarray(np.where(live[:, None] != live, distance, np.inf).min(axis=1))


def _z_steps(edges: list[tuple[float, float]]) -> dict[float, float]:
    """Step at each edge [m]: by its gap and by the distance to the next edge."""
    steps = _least(edges, FINE_GAP)
    where = sorted(steps)
    near = np.minimum(np.diff(where, prepend=-np.inf), np.diff(where, append=np.inf))
    return {z: min(steps[z], FINE_Z * distance) for z, distance in zip(where, near, strict=True)}


def _least(edges: list[tuple[float, float]], share: float) -> dict[float, float]:
    """Share of the smallest gap among the edges at each coordinate [m]."""
    steps: dict[float, float] = {}
    for where, gap in edges:
        steps[where] = min(share * gap, steps.get(where, np.inf))
    return steps


def _graded(stops: set[float], steps: dict[float, float]) -> FloatArray:
    """Lines of the finer grid through all stops, with these first steps of the coarser grid at some of them [m]."""
    where = sorted(stops | set(steps))
    return graded_lines(where, [steps.get(x, np.inf) for x in where], GROWTH, refine=2)
