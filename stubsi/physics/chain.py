"""Owns the chain of sections: many solved barrels as arrays, their line constants, input admittance and two-port."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from stubsi.physics.cavity import highest_frequency, outer_field, series_impedance, wavenumber
from stubsi.physics.dielectric import permittivity
from stubsi.physics.packing import pack
from stubsi.physics.pair import end_coupling
from stubsi.physics.return_path import ReturnPaths, check_pair, check_single
from stubsi.physics.uniform_line import surface_resistance

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from numpy.typing import ArrayLike, NDArray
    from scipy.sparse import csr_array

    from stubsi.physics.cavity import OuterField
    from stubsi.physics.return_path import ReturnPath
    from stubsi.physics.solved_barrel import SolvedBarrel

    FloatArray = NDArray[np.floating]
    ComplexArray = NDArray[np.complexfloating]

Rows = TypeVar("Rows", "ReturnPaths", "OuterField")

AT_ONCE = 2_000_000
"""Section values held at once: sweeps are cut into pieces of this size."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Chain:
    """Solved barrels with their return paths as one set of arrays, first axis the barrel.

    Sections are numbered from the end of the plating up, shorter barrels padded with sections of no length.
    A *profile* is a distinct filling of a cavity, a *column* a distinct (profile, conductor radius, clearance).
    """

    stubs: tuple[tuple[SolvedBarrel, ReturnPath], ...]
    pitch: tuple[float, ...]
    paths: ReturnPaths
    section_count: int
    material_barrel: NDArray[np.intp]
    material: FloatArray
    capacitance: csr_array
    profile_barrel: NDArray[np.intp]
    filling: csr_array
    column_profile: NDArray[np.intp]
    column: FloatArray
    height: csr_array
    static_inductance: FloatArray
    skin: FloatArray
    outer_inductance: FloatArray
    barrel_radius: FloatArray
    conductivity: FloatArray

    @classmethod
    def of(cls, stubs: Iterable[tuple[SolvedBarrel, ReturnPath]], pitch: Sequence[float] | None = None) -> Chain:
        """Put solved barrels and their return paths together.

        Parameters
        ----------
        stubs
            (solved barrel, return path) of each stub, stub-and-return-path of every hole and end in one list.
        pitch
            Pitch [m] of each stub that is one of a pair in its odd mode (its return path then as seen from midway
            between the barrels); NaN for a single barrel, None: all single.

        Raises
        ------
        ValidityError
            Return path inside a clearance, or not defined for the pair.
        """
        stubs = list(stubs)
        solved = tuple(s for s, _ in stubs)
        pitches = [np.nan] * len(stubs) if pitch is None else list(pitch)
        for (s, path), spacing in zip(stubs, pitches, strict=True):
            _check(s, path, spacing)
        paths = ReturnPaths.of([path for _, path in stubs], pitches)
        odd = [_with_odd_end(s, spacing) for s, spacing in zip(solved, pitches, strict=True)]
        return cls(stubs=tuple(stubs), pitch=tuple(pitches), paths=paths, **pack(odd))

    def only(self, rows: Iterable[int]) -> Chain:
        """Chain of some of the stubs."""
        rows = list(rows)
        return Chain.of([self.stubs[i] for i in rows], [self.pitch[i] for i in rows])

    def highest_frequency(self) -> FloatArray:
        """Frequency up to which every stub holds [Hz], shape (n_stub,): until the gap of a clearance is half a wave."""
        dk = 1 / self.filling.sum(axis=1)
        highest = np.full(len(self.stubs), np.inf)
        limit = highest_frequency(self.column[:, 1] - self.column[:, 0], dk[self.column_profile])
        np.minimum.at(highest, self.profile_barrel[self.column_profile], limit)
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
        return self._sweep(frequency, lambda f: np.divide(*self.voltage_current(f)[::-1]))

    def abcd(self, frequency: ArrayLike) -> ComplexArray:
        """Chain matrix from electrical start to the other end of the levels, shape (n_stub, n_freq, 2, 2); SI units.

        For lengths of barrel between an entry and an exit (``Barrel`` with ``end=None``).
        """
        return self._sweep(frequency, self._abcd)

    def voltage_current(self, frequency: ComplexArray) -> tuple[ComplexArray, ComplexArray]:
        """Voltage and current at the start, to a common factor, for ``frequency`` (n_stub, n_freq) [Hz]."""
        *_, last = self.states(frequency, *self.section_constants(frequency))
        return last

    def states(
        self, frequency: ComplexArray, z: ComplexArray, y: ComplexArray
    ) -> Iterator[tuple[ComplexArray, ComplexArray]]:
        """(V, I) from the plating's end up to the start, section by section, each to a common factor."""
        current = y[0] * np.ones_like(frequency)
        voltage = 1 + 2j * np.pi * frequency * self.outer_inductance[:, None] * current
        yield voltage, current
        for series, shunt in zip(z, y[1:], strict=True):
            c, s, _ = _line(series, shunt)
            voltage, current = c * voltage + series * s * current, shunt * s * voltage + c * current
            size = np.abs(voltage) + 50 * np.abs(current)
            voltage, current = voltage / size, current / size
            yield voltage, current

    def section_constants(self, frequency: ComplexArray) -> tuple[ComplexArray, ComplexArray]:
        """Series impedance and shunt admittance of every section, from the end up.

        Returns
        -------
        z, y
            Shapes (n_section, n_stub, n_freq) [ohm] and (n_section + 1, n_stub, n_freq) [S], y[0] that of the end.
        """
        f = np.asarray(frequency)
        df, at = self.material[:, 0, None], self.material[:, 1, None]
        relative = permittivity(f[self.material_barrel], 1.0, df, at)
        shape = (self.section_count, *f.shape)
        y = 2j * np.pi * f * (self.capacitance @ relative).reshape(shape[0] + 1, *f.shape)
        series_mean = 1 / (self.filling @ (1 / relative))
        per_height = self._cavity(f, series_mean)
        z = (self.height @ per_height).reshape(shape)
        resistance = (1 + 1j) * surface_resistance(f, self.conductivity[:, None])
        return z + 2j * np.pi * f * self.static_inductance[..., None] + self.skin[..., None] * resistance, y

    def _cavity(self, f: ComplexArray, eps: ComplexArray) -> ComplexArray:
        """Series impedance per height of every column [ohm/m]."""
        f = f[self.profile_barrel]
        k = wavenumber(f, eps)
        a = self.barrel_radius[self.profile_barrel, None]
        outer = outer_field(k, a, _rows(self.paths, self.profile_barrel))
        return series_impedance(
            f[self.column_profile],
            k[self.column_profile],
            self.column[:, 0, None],
            self.column[:, 1, None],
            _rows(outer, self.column_profile),
        )

    def _abcd(self, f: ComplexArray) -> ComplexArray:
        z, y = self.section_constants(f)
        total = np.broadcast_to(np.eye(2, dtype=complex), (*f.shape, 2, 2))
        for series, shunt in zip(z, y[1:], strict=True):
            c, s, g = _line(series, shunt)
            c, s = c * np.exp(g), s * np.exp(g)
            total = np.stack([c, series * s, shunt * s, c], axis=-1).reshape(*f.shape, 2, 2) @ total
        return total

    def _sweep(self, frequency: ArrayLike, evaluate: Callable[[ComplexArray], ComplexArray]) -> ComplexArray:
        f = np.asarray(frequency)
        f = np.broadcast_to(f, (len(self.stubs), f.shape[-1] if f.ndim else 1))
        step = max(1, AT_ONCE // (f.shape[0] * (self.section_count + 1)))
        return np.concatenate([evaluate(f[:, i : i + step]) for i in range(0, f.shape[1], step)], axis=1)


def _with_odd_end(solved: SolvedBarrel, pitch: float) -> SolvedBarrel:
    """The barrel with what its end adds by facing the other end of its pair; as it is where it is single or drilled."""
    end, levels = solved.barrel.end, solved.barrel.levels
    last = max((i for i, level in enumerate(levels) if level.kind == "plane"), default=None)
    if np.isnan(pitch) or end is None or end.bore_radius is not None or last in (None, len(levels) - 1):
        return solved
    below = levels[last + 1 :]
    height = sum(level.thickness for level in below)
    dk = sum(level.thickness * level.material.dk_z for level in below) / height
    pad = end.pad_radius or solved.barrel.barrel_radius
    added = end_coupling(pitch, pad, levels[last].clearance_radius, height, dk)
    capacitance = solved.capacitance.copy()
    capacitance[-1] *= 1 + added / capacitance[-1].sum()
    return replace(solved, capacitance=capacitance)


def _line(z: ComplexArray, y: ComplexArray) -> tuple[ComplexArray, ComplexArray, ComplexArray]:
    """e^-g cosh(g), e^-g sinh(g)/g and g of a distributed line, g^2 = z y, Re g >= 0: finite however lossy."""
    g = np.sqrt(z * y)
    fall = np.expm1(-2 * g)
    still = g == 0
    return 1 + fall / 2, np.where(still, 1.0, -fall / np.where(still, 1.0, 2 * g)), g


def _rows(arrays: Rows, rows: NDArray[np.intp]) -> Rows:
    """Record of arrays with the given rows of each."""
    return type(arrays)(**{name: value[rows] for name, value in vars(arrays).items()})


def _check(solved: SolvedBarrel, path: ReturnPath, pitch: float) -> None:
    if np.isfinite(pitch):
        check_pair(solved.barrel.barrel_radius, pitch, path)
        return
    for section in solved.layout.sections:
        check_single(solved.barrel.barrel_radius, section.clearance_radius, path)
