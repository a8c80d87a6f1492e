"""Figures of single cavities, cells and whole holes that tests ask for and the library does not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.constants import mu_0

from stubsi.errors import ValidityError
from stubsi.physics.barrel import level_spans
from stubsi.physics.bracketed_root import STEPS, TOLERANCE
from stubsi.physics.capacitance import electrostatics_of
from stubsi.physics.cavity import cavity_columns, outer_field, return_conductors, series_inductance, wavenumber
from stubsi.physics.notch import minimum_of_s21
from stubsi.physics.reactance import followed
from stubsi.physics.return_path import ReturnPaths, check_pair, check_single
from stubsi.physics.sections import layout
from stubsi.physics.solved_barrel import SolvedBarrel
from tests.closed_forms import cell_capacitance, common_clearance


def single_series_impedance(
    frequency,
    eps,
    barrel_radius,
    clearance_radius,
    return_path,
    share=1.0,
):
    """Series impedance per cavity height [ohm/m] of one barrel: ``cavity.series_inductance`` from frequency and path.

    ``eps`` is the relative permittivity eps' - j eps''; ValidityError where the return path reaches into the clearance.
    """
    check_single(barrel_radius, clearance_radius, return_path)
    k = wavenumber(frequency, eps)
    outer = outer_field(k[None], return_conductors(barrel_radius, ReturnPaths.of([return_path])))
    return _series_impedance(frequency, cavity_columns(k[None], barrel_radius, clearance_radius, outer), share)[0]


def odd_series_impedance(
    frequency,
    eps,
    barrel_radius,
    clearance_radius,
    *,
    pitch,
    return_path,
    share=1.0,
):
    """Series impedance per cavity height of one barrel of a pair in the odd mode.

    The single barrel's formula (``cavity.series_inductance``) with the outer field of two barrels and the posts, all
    with multipoles and odd images: it radiates between the planes.

    Parameters
    ----------
    frequency : array_like
        Frequency [Hz], from 0 to 1e13; complex (Im f > 0) for a decaying oscillation.
    eps : array_like
        Relative permittivity eps' - j eps'' [-].
    barrel_radius, clearance_radius : array_like
        Radius of the barrels and of the (equivalent) clearance around each [m].
    pitch : float
        Distance between the barrels' centres [m].
    return_path : Posts
        Return posts, mirrored at x = 0; ``Posts()`` for none.

    Returns
    -------
    complex ndarray
        Z' [ohm/m], broadcast over the four arrays.

    Raises
    ------
    ValidityError
        Posts in a clearance, that touch each other or the midplane, or that lack their mirror image.
    """
    check_pair(float(np.max(barrel_radius)), pitch, return_path, clearance_radius)
    k = wavenumber(frequency, eps)[None]
    outer = outer_field(k, return_conductors(barrel_radius, ReturnPaths.of([return_path], [pitch])))
    return _series_impedance(frequency, cavity_columns(k, barrel_radius, clearance_radius, outer), share)[0]


def _series_impedance(frequency, columns, share):
    return 1j * mu_0 * np.asarray(frequency) * series_inductance(columns, share)


def two_port(through, frequency, *, above=None, below=None):
    """Chain matrix of whole holes: the barrel between entry and exit, what is left of it hung in shunt at either end.

    Parameters
    ----------
    through : Chain
        Lengths of barrel between entry and exit (``Barrel`` with ``end=None``, levels from the entry on).
    frequency : array_like
        [Hz] > 0; shape (n_freq,), or (n_hole, n_freq).
    above, below : Chain, optional
        Stubs at the entry and at the exit, one per hole; levels ordered from their electrical start to their end.

    Returns
    -------
    complex ndarray, shape (n_hole, n_freq, 2, 2)
        [[A, B], [C, D]] in SI units, entry to exit.
    """
    matrix = through.abcd(frequency)
    if above is not None:
        matrix = _shunt(above.input_admittance(frequency)) @ matrix
    return matrix if below is None else matrix @ _shunt(below.input_admittance(frequency))


def _shunt(admittance):
    one, none = np.ones_like(admittance), np.zeros_like(admittance)
    return np.stack([one, none, admittance, one], axis=-1).reshape(*admittance.shape, 2, 2)


def s21_minimum(chain, z0=50.0):
    """First minimum of S21 of stubs in shunt on a line, 3 dB deep and 1 dB below what follows; else the deepest.

    Parameters
    ----------
    chain : Chain
        The stubs.
    z0 : float
        Impedance of the line [ohm].

    Returns
    -------
    frequency, magnitude
        [Hz] and |S21| [-], each (n_stub,); NaN for a stub without length. A radiating stub has its minimum below the
        frequency where Im Z_in = 0, if there is one.
    """
    return minimum_of_s21(chain, z0, followed(chain))[:2]


def resonance(chain):
    """Complex resonance of the stubs closed at their start: Z_in = 0.

    Returns
    -------
    complex ndarray, shape (n_stub,)
        [Hz]: oscillation in the real part, Im f > 0 its decay; Q = Re f/(2 Im f).
    """
    last = s21_minimum(chain)[0].astype(complex)
    now = last * (1 + 0.02j)

    def impedance(f):
        voltage, current = chain.voltage_current(f[:, None])
        return (voltage / current)[:, 0]

    z_last, z_now = impedance(last), impedance(now)
    for _ in range(STEPS):
        step = np.where(z_now == z_last, 0, z_now * (now - last) / np.where(z_now == z_last, 1, z_now - z_last))
        if np.all(np.abs(step) <= TOLERANCE * np.abs(now)):
            break
        last, z_last = now, z_now
        now = now - step
        z_now = impedance(now)
    return now


def solve_with_closed_cells(barrel):
    """Static part of a bare barrel: its cells from the closed form, its end alone from the electrostatic solve.

    Raises
    ------
    ValidityError
        A pad along the way, a start inside a cavity, a drilled end.
    """
    cut, end = layout(barrel), _end_only(barrel)
    field = electrostatics_of(end, layout(end))
    rest = field.capacitance
    materials = tuple(dict.fromkeys((*field.materials, *(level.material for level in barrel.levels))))
    rest = np.pad(rest, [(0, 0), (0, len(materials) - rest.shape[1])])
    capacitance = np.vstack([half_cells(barrel, cut, materials), rest])
    return SolvedBarrel(
        barrel=barrel,
        layout=cut,
        materials=materials,
        capacitance=capacitance,
        end_inductance=field.end_inductance,
    )


def _end_only(barrel):
    """Barrel that starts at the mid-thickness of its last plane."""
    last = max(i for i, level in enumerate(barrel.levels) if level.kind == "plane")
    plane = replace(barrel.levels[last], thickness=barrel.levels[last].thickness / 2)
    return replace(barrel, levels=(plane, *barrel.levels[last + 1 :]))


def half_cells(barrel, cut, materials):
    """Capacitance of the sections of a bare barrel that starts at a plane, by material, from the closed form.

    Laminate and the resin in the clearances act in parallel on the radial field.

    Returns
    -------
    ndarray, shape (n_section, n_material)
        [F], each cavity's shared equally by height among its two halves.

    Raises
    ------
    ValidityError
        A pad along the way, a start inside a cavity, a drilled end.
    """
    rows = np.zeros((len(cut.sections), len(materials)))
    for n in range(0, len(cut.sections) - 1, 2):
        rows[n : n + 2] = _two_halves(barrel, cut.sections[n], cut.sections[n + 1], materials)
    return rows


def _two_halves(barrel, upper, lower, materials):
    parts = (*upper.in_plane, *upper.in_cavity, *lower.in_cavity, *lower.in_plane)
    if any(part.radius != barrel.barrel_radius for part in parts) or not (upper.in_plane and lower.in_plane):
        raise ValidityError("closed cells are for bare barrels between two planes: solve this one")
    height = sum(h for _, h in upper.filling)
    thickness = sum(part.height for part in (*upper.in_plane, *lower.in_plane))
    in_planes = {
        span.mid: span.level.material
        for span in level_spans(barrel.levels, goes_on=barrel.end is None)
        if span.is_plane
    }
    resin = [(in_planes[upper.top], part.height) for part in upper.in_plane]
    resin += [(in_planes[lower.bottom], part.height) for part in lower.in_plane]
    filling = (*upper.filling, *resin)
    heights = np.array([sum(h for m, h in filling if m == material) for material in materials])
    dk = np.array([m.dk_in_plane for m in materials])
    dk_r = heights @ dk / (height + thickness)
    dk_z = (height + thickness) / (heights @ (1 / np.array([m.dk_z for m in materials])))
    b = common_clearance(upper.clearance_radius, lower.clearance_radius, height)
    total = cell_capacitance(barrel.barrel_radius, b, height, thickness, dk_in_plane=dk_r, dk_z=dk_z)
    by_material = total * heights * dk / (heights @ dk)
    reach = np.array([s.bottom - s.top for s in (upper, lower)]) / (height + thickness)
    return reach[:, None] * by_material
