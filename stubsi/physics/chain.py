"""Owns the chain of sections: many solved barrels as arrays, their line constants, input admittance and two-port."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

import numpy as np
from scipy.constants import mu_0

from stubsi.physics.cavity import (
    between_planes,
    cavity_columns,
    highest_frequency,
    outer_field,
    return_conductors,
    series_inductance,
    wavenumber,
)
from stubsi.physics.dielectric import debye_logarithm
from stubsi.physics.packing import BarrelStack
from stubsi.physics.pair import end_coupling
from stubsi.physics.return_path import ReturnPaths, check_pair, check_single
from stubsi.physics.skin_effect import surface_resistance
from stubsi.physics.uniform_line import MOST_NEPERS

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from numpy.typing import ArrayLike

    from stubsi.physics.arrays import ComplexArray, FloatArray, FrequencyArray
    from stubsi.physics.cavity import ReturnConductors
    from stubsi.physics.return_path import ReturnPath
    from stubsi.physics.solved_barrel import SolvedBarrel


MU = mu_0 / (2 * np.pi)
"""Inductance per height of a conductor in a coaxial return e times as wide [H/m]."""
CHECKED = 10_000
"""How many barrels and return paths are remembered that passed their check."""
AT_ONCE = 500_000
"""Values of sections (sections x stubs x frequencies) in one array: longer lists of frequencies are cut into pieces."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Chain:
    """Solved barrels with their return paths as one set of arrays, first axis the stub.

    Sections are numbered from the end of the plating up; a shorter barrel has sections of no length at its start.

    Parameters
    ----------
    barrels : BarrelStack
        The barrels.
    paths : ReturnPaths
        Their return paths.
    """

    barrels: BarrelStack
    paths: ReturnPaths

    @classmethod
    def of(cls, stubs: Iterable[tuple[SolvedBarrel, ReturnPath]], pitch: Sequence[float] | None = None) -> Chain:
        """Put solved barrels and their return paths together.

        Parameters
        ----------
        stubs
            (solved barrel, return path) of each stub.
        pitch
            Pitch [m] of each stub that is one of a pair in its odd mode (its return path then as seen from midway
            between the barrels); NaN for a single barrel, None: all single.

        Raises
        ------
        ValidityError
            Return path inside a clearance, or not defined for the pair.
        """
        stubs = list(stubs)
        pitches = [np.nan] * len(stubs) if pitch is None else list(pitch)
        for (solved, path), spacing in zip(stubs, pitches, strict=True):
            check_stub(solved, path, spacing)
        end_factor = [_odd_end_factor(solved, spacing) for (solved, _), spacing in zip(stubs, pitches, strict=True)]
        return cls(
            barrels=BarrelStack.of([solved.arrays for solved, _ in stubs], end_factor),
            paths=ReturnPaths.of([path for _, path in stubs], pitches),
        )

    def __len__(self) -> int:
        """Number of stubs."""
        return len(self.paths.ring)

    def only(self, rows: ArrayLike) -> Chain:
        """Chain of some of the stubs.

        Parameters
        ----------
        rows : array_like of int
            Their numbers, in any order.
        """
        numbers = np.asarray(rows, dtype=np.intp)
        return Chain(barrels=self.barrels.only(numbers), paths=self.paths.only(numbers))

    @cached_property
    def conductors(self) -> ReturnConductors:
        """What the waves of every profile scatter off."""
        of_profile = self.barrels.profile_barrel
        return return_conductors(self.barrels.barrel_radius[of_profile], self.paths.only(of_profile))

    def highest_frequency(self) -> FloatArray:
        """Frequency up to which every stub holds [Hz], shape (n_stub,): until the gap of a clearance is half a wave.

        For a stub that ends before the first plane it is the gap of that plane: its feed reaches as far.
        """
        barrels = self.barrels
        dk = 1 / barrels.filling.sum(axis=1)
        with np.errstate(divide="ignore"):
            highest = highest_frequency(barrels.cut_gap, barrels.largest_dk)
        gap = barrels.column[:, 1] - barrels.column[:, 0]
        limit = highest_frequency(gap, dk[barrels.profile_of_column])
        np.minimum.at(highest, barrels.profile_barrel[barrels.profile_of_column], limit)
        return highest

    def input_admittance(self, frequency: ArrayLike) -> ComplexArray:
        """Admittance at the electrical start, the plating's end open.

        Parameters
        ----------
        frequency : array_like
            [Hz] > 0, to 1e13; shape (n_freq,) for all stubs alike, or (n_stub, n_freq). May be complex.

        Returns
        -------
        complex ndarray, shape (n_stub, n_freq)
            [S].
        """
        voltage, current = self.voltage_current(self._for_every_stub(frequency))
        return current / voltage

    def abcd(self, frequency: ArrayLike) -> ComplexArray:
        """Chain matrix from electrical start to the other end of the levels; SI units.

        For lengths of barrel between an entry and an exit (``Barrel`` with ``end=None``).

        Parameters
        ----------
        frequency : array_like
            As for ``input_admittance``.

        Returns
        -------
        complex ndarray, shape (n_stub, n_freq, 2, 2)
        """
        pieces = [self._abcd(part) for part in self._pieces(self._for_every_stub(frequency))]
        return np.concatenate(pieces, axis=1)

    def voltage_current(self, frequency: FrequencyArray) -> tuple[ComplexArray, ComplexArray]:
        """Voltage and current at the start, to a common factor.

        Parameters
        ----------
        frequency : ndarray, shape (n_stub, n_freq)
            [Hz]; may be complex.
        """
        pieces = []
        for part in self._pieces(frequency):
            voltage, current = self.states(part, *self.section_constants(part))
            pieces.append((voltage[-1], current[-1]))
        voltages, currents = zip(*pieces, strict=True)
        return np.concatenate(voltages, axis=1), np.concatenate(currents, axis=1)

    def voltage_current_for_one_volt(self, frequency: FrequencyArray) -> tuple[ComplexArray, ComplexArray]:
        """Voltage [V] and current [A] at the start for 1 V at the open end: smooth over frequency.

        Parameters
        ----------
        frequency : ndarray, shape (n_stub, n_freq)
            [Hz]. Where a stub attenuates by more than ``MOST_NEPERS``, both are for less than 1 V.
        """
        z, y = self.section_constants(frequency)
        *two_ports, growth = _two_ports(z, y[1:])
        voltage, current = _along(two_ports, self._voltage_before_end(frequency, y[0]), y[0])
        factor = np.exp(np.minimum(growth.real, MOST_NEPERS) + 1j * growth.imag)
        return voltage[-1] * factor, current[-1] * factor

    def states(self, frequency: FrequencyArray, z: ComplexArray, y: ComplexArray) -> tuple[ComplexArray, ComplexArray]:
        """Voltage and current at the end of the plating and at the start of every section, from the end up.

        Parameters
        ----------
        frequency : ndarray, shape (n_stub, n_freq)
            [Hz].
        z, y : complex ndarray
            Of ``section_constants`` there.

        Returns
        -------
        voltage, current
            Each (n_section + 1, n_stub, n_freq), voltage and current of a place to a common factor.
        """
        return _along(_two_ports(z, y[1:])[:3], self._voltage_before_end(frequency, y[0]), y[0])

    def _voltage_before_end(self, frequency: FrequencyArray, admittance: ComplexArray) -> ComplexArray:
        """Voltage in front of the end's inductance for 1 V across the end [V]."""
        return 1 + 2j * np.pi * frequency * self.barrels.end_inductance[:, None] * admittance

    def section_constants(self, frequency: FrequencyArray) -> tuple[ComplexArray, ComplexArray]:
        """Series impedance and shunt admittance of every section, from the end up.

        Parameters
        ----------
        frequency : ndarray, shape (n_stub, n_freq)
            [Hz]; may be complex.

        Returns
        -------
        z, y
            Shapes (n_section, n_stub, n_freq) [ohm] and (n_section + 1, n_stub, n_freq) [S], y[0] that of the end.

        Notes
        -----
        The copper of the barrel, of the planes and of their rims is counted, that of pads' faces, return vias and a
        return ring is not. The piece between a strip and the next plane counts both planes as if the strip were one.
        """
        f, barrels = frequency, self.barrels
        constant, strength = barrels.laminate
        relative = constant[..., None] + strength[..., None] * debye_logarithm(f)[:, None]
        jw = 2j * np.pi * f[:, None]
        y = jw * (barrels.capacitance @ relative)
        series_mean = 1 / (barrels.filling[:, None] @ (1 / relative)[barrels.profile_barrel])[:, 0]
        inductance = MU * self._cavities(f, series_mean) + barrels.static_inductance[..., None]
        resistance = (1 + 1j) * surface_resistance(f, barrels.conductivity[:, None])
        z = jw * inductance + barrels.skin[..., None] * resistance[:, None]
        return z.swapaxes(0, 1), y.swapaxes(0, 1)

    def _cavities(self, f: FrequencyArray, eps: ComplexArray) -> ComplexArray:
        """Series inductance of the cavities of every section over mu0/(2 pi) [m], shape (n_stub, n_section, n_freq).

        ``eps`` is the permittivity of every profile.
        """
        barrels = self.barrels
        if not len(barrels.column):
            return np.zeros((*barrels.skin.shape, f.shape[1]), dtype=complex)
        owner, profile = barrels.profile_barrel, barrels.profile_of_column
        f = f[owner]
        k = wavenumber(f, eps)
        wave, copper = between_planes(k, f, barrels.height[:, None], barrels.conductivity[owner, None])
        field = outer_field(wave, self.conductors, copper).at(profile)
        conductor, clearance = barrels.column[:, 0, None], barrels.column[:, 1, None]
        columns = cavity_columns(k[profile], conductor, clearance, field)
        total = np.zeros((*barrels.skin.shape, f.shape[1]), dtype=complex)
        for part in range(barrels.part_column.shape[2]):
            inductance = series_inductance(
                columns.at(barrels.part_place[..., part]), barrels.part_share[..., part, None]
            )
            total += barrels.part_height[..., part, None] * inductance
        return total

    def _abcd(self, f: FrequencyArray) -> ComplexArray:
        z, y = self.section_constants(f)
        *two_ports, growth = _two_ports(z, y[1:])
        ends = np.eye(2)[:, :, None, None] * np.exp(growth)
        voltage, current = _along([part[:, None] for part in two_ports], *ends)
        return np.moveaxis(np.array([voltage[-1], current[-1]]), (0, 1), (-2, -1))

    def _for_every_stub(self, frequency: ArrayLike) -> FrequencyArray:
        """Frequencies (n_freq,) or (n_stub, n_freq) as (n_stub, n_freq)."""
        f = np.atleast_1d(np.asarray(frequency))
        return np.broadcast_to(f, (len(self), f.shape[-1]))

    def _pieces(self, frequency: FrequencyArray) -> Iterator[FrequencyArray]:
        """Frequencies of every stub in pieces that keep the arrays of all sections small."""
        step = max(1, AT_ONCE // (max(1, len(self)) * (self.barrels.skin.shape[1] + 1)))
        for first in range(0, max(1, frequency.shape[1]), step):
            yield frequency[:, first : first + step]


def check_stub(solved: SolvedBarrel, path: ReturnPath, pitch: float = np.nan) -> None:
    """Refuse a stub the chain is not defined for.

    Parameters
    ----------
    solved : SolvedBarrel
        Its barrel.
    path : Ring or Posts
        Its return path.
    pitch : float
        Pitch [m] if it is one of a pair in its odd mode; NaN: a single barrel.

    Raises
    ------
    ValidityError
        Return path inside a clearance, or not defined for the pair.
    """
    if np.isfinite(pitch):
        _check_pair(solved.barrel.barrel_radius, pitch, path)
    elif solved.layout.sections:
        clearance = [section.clearance_radius for section in solved.layout.sections]
        _check_single(solved.barrel.barrel_radius, (min(clearance), max(clearance)), path)


@lru_cache(maxsize=CHECKED)
def _check_pair(barrel_radius: float, pitch: float, path: ReturnPath) -> None:
    check_pair(barrel_radius, pitch, path)


@lru_cache(maxsize=CHECKED)
def _check_single(barrel_radius: float, clearance_radii: tuple[float, float], path: ReturnPath) -> None:
    check_single(barrel_radius, clearance_radii, path)


def _odd_end_factor(solved: SolvedBarrel, pitch: float) -> float:
    """Factor [-] on the capacitance of an end that faces the other end of its pair; 1 if single or drilled."""
    end, levels = solved.barrel.end, solved.barrel.levels
    last = max((i for i, level in enumerate(levels) if level.kind == "plane"), default=None)
    if np.isnan(pitch) or end is None or end.bore_radius is not None or last in (None, len(levels) - 1):
        return 1.0
    below = levels[last + 1 :]
    height = sum(level.thickness for level in below)
    dk = sum(level.thickness * level.material.dk_z for level in below) / height
    pad = end.pad_radius or solved.barrel.barrel_radius
    added = end_coupling(pitch, pad, levels[last].clearance, height, dk)
    return float(1 + added / solved.capacitance[-1].sum())


def _two_ports(z: ComplexArray, y: ComplexArray) -> tuple[ComplexArray, ComplexArray, ComplexArray, ComplexArray]:
    """Sections as distributed lines: A = D, B and C of each over e^g, and the sum of all g.

    g^2 = z y with Re g >= 0: without their growth e^g all are finite however lossy a section is.
    """
    g = np.sqrt(z * y)
    fall = np.expm1(-2 * g)
    still = g == 0
    sinh_over = np.where(still, 1.0, -fall / np.where(still, 1.0, 2 * g))
    return 1 + fall / 2, z * sinh_over, y * sinh_over, g.sum(axis=0)


def _along(
    two_ports: Sequence[ComplexArray], voltage: ComplexArray, current: ComplexArray
) -> tuple[ComplexArray, ComplexArray]:
    """Voltage and current at the end (first row) and before each section, from those at the end."""
    shape = (len(two_ports[0]) + 1, *np.broadcast_shapes(voltage.shape, two_ports[0].shape[1:]))
    voltages, currents = np.empty(shape, dtype=complex), np.empty(shape, dtype=complex)
    voltages[0], currents[0] = voltage, current
    for section, (a, b, c) in enumerate(zip(*two_ports, strict=True)):
        np.add(a * voltages[section], b * currents[section], out=voltages[section + 1])
        np.add(c * voltages[section], a * currents[section], out=currents[section + 1])
    return voltages, currents
