"""Axisymmetric full-wave fields of a stub by finite elements: written apart from the models that they judge.

The unknown is u = r H_phi, on a graded grid of bilinear rectangles. In u the equation of a TM wave is

    d/dr (1/(eps_z r) du/dr) + d/dz (1/(eps_r r) du/dz) + k0^2 u / r = 0

and a metal wall needs no condition. Air below the board, and planes without end, run out into perfectly matched layers.
Against the tables in ``shared/fullwave``, which have another mesh, other elements and another author, it is within
0.02 % on long stubs, 0.3 % on short ones. It reads high, and less so on a finer grid.
"""

from __future__ import annotations

from itertools import accumulate, pairwise

import numpy as np
from scipy.constants import c, epsilon_0, mu_0
from scipy.sparse import csr_matrix
from scipy.sparse.linalg import splu

FINE, GROWTH = 0.02, 1.35
"""First step at every edge over the smallest gap, and greatest ratio of neighbouring steps [-]."""
COAX = 1.5
"""Length of the coaxial line above the stub, over its gap [-]."""
NEPERS = 4.0
"""Attenuation of a wave on its way into a matched layer."""


class StubField:
    """Field of a stub with a coaxial line above its start and air below it.

    ``barrel`` is solved from the middle of its first plane, all conductors perfect; ``ring`` [m] is the radius of a
    solid return ring, None: planes without end. ``near`` [Hz] is about where the field is wanted.
    """

    def __init__(self, barrel, ring, near, fine=FINE, growth=GROWTH):
        self.barrel, self.ring, self.wave = barrel, ring, c / near
        self.a, self.b = barrel.barrel_radius, barrel.levels[0].clearance_radius
        self.dk = barrel.levels[0].material.dk_in_plane
        self.coax = COAX * (self.b - self.a)
        self._grid(fine, growth)
        self._assemble(*self._filled())

    def _grid(self, fine, growth):
        levels, end = (*self.barrel.levels, *self.barrel.bored), self.barrel.end
        self.edges = [round(z, 13) for z in accumulate((level.thickness for level in levels), initial=0.0)]
        pad = end.pad_thickness if end.pad_radius else 0.0
        self.face, self.bottom = self.edges[-1], self.edges[-1] + pad
        radii = {self.a, end.bore_radius, end.pad_radius}
        radii |= {r for level in levels for r in (level.clearance_radius, level.pad_radius)}
        radii = {r for r in radii if r}
        gaps = [level.thickness for level in levels if level.kind == "dielectric"]
        gaps += [level.clearance_radius - (level.pad_radius or self.a) for level in levels if level.clearance_radius]
        step = fine * min([self.b - self.a, *gaps])
        far = self.wave / 14 / np.sqrt(max(level.material.dk_z for level in levels))
        inner = max(radii)
        self.r_layer = max((self.ring or 0.0) + 0.6e-3, inner + 1e-3, inner + 0.35 * self.wave)
        self.z_layer = self.bottom + max(1e-3, 0.5 * self.wave)
        r_breaks = sorted(
            {0.0, *radii, *([self.ring] if self.ring else []), self.r_layer, self.r_layer + 0.6 * self.wave}
        )
        z_breaks = sorted({-self.coax, *self.edges, self.bottom, self.z_layer, self.z_layer + 0.6 * self.wave})
        r_steps = [step if r in radii else far for r in r_breaks]
        if self.ring:
            r_steps[r_breaks.index(self.ring)] = min(far, (self.ring - inner) / 4)
        z_steps = [4 * step if z <= 0 else step if z <= self.bottom else far for z in z_breaks]
        self.r, self.z = graded(r_breaks, r_steps, growth, far), graded(z_breaks, z_steps, growth, far)

    def _filled(self):
        """Permittivity for the radial and the axial field in every cell, and which cells are metal."""
        barrel, end = self.barrel, self.barrel.end
        r, z = np.meshgrid((self.r[1:] + self.r[:-1]) / 2, (self.z[1:] + self.z[:-1]) / 2, indexing="ij")
        radial, axial = np.ones(r.shape), np.ones(r.shape)
        radial[z < 0] = axial[z < 0] = self.dk
        plated = self.edges[len(barrel.levels)]
        metal = ((z < 0) & (r > self.b)) | ((r < self.a) & (z < plated))
        last_plane = 0.0
        for level, (top, bottom) in zip((*barrel.levels, *barrel.bored), pairwise(self.edges), strict=True):
            here = (z > top) & (z < bottom)
            radial[here], axial[here] = level.material.dk_in_plane, level.material.dk_z
            if top >= plated:
                radial[here & (r < end.bore_radius)] = axial[here & (r < end.bore_radius)] = end.bore_dk
            if level.is_plane:
                hole = max(level.clearance_radius, end.bore_radius or 0.0) if top >= plated else level.clearance_radius
                metal |= here & (r > hole)
                last_plane = bottom
            if level.pad_radius and top < plated:
                metal |= here & (r < level.pad_radius)
        if end.pad_radius:
            metal |= (z > self.face) & (z < self.bottom) & (r < end.pad_radius)
        if self.ring:
            metal |= (r > self.ring) & (z < last_plane)
        return radial, axial, metal

    def _assemble(self, radial, axial, metal):
        i, j = np.nonzero(~metal)
        wide, high, columns = self.r[i + 1] - self.r[i], self.z[j + 1] - self.z[j], len(self.z)
        nodes = np.array([i * columns + j, (i + 1) * columns + j, i * columns + j + 1, (i + 1) * columns + j + 1])
        stiff, mass = np.zeros((2, 4, 4, len(i)), dtype=complex)
        r_depth, z_depth = self.r[-1] - self.r_layer, self.z[-1] - self.z_layer
        loss = 3 * NEPERS / (2 * np.pi / self.wave)
        for x in (-(3**-0.5), 3**-0.5):
            for y in (-(3**-0.5), 3**-0.5):
                r, z = self.r[i] + wide * (1 + x) / 2, self.z[j] + high * (1 + y) / 2
                r_in, z_in = (
                    np.clip((r - self.r_layer) / r_depth, 0, None),
                    np.clip((z - self.z_layer) / z_depth, 0, None),
                )
                r_stretch, z_stretch = 1 - 1j * loss / r_depth * r_in**2, 1 - 1j * loss / z_depth * z_in**2
                radius = r - 1j * loss * r_in**3 / 3
                value = np.array([(1 - x) * (1 - y), (1 + x) * (1 - y), (1 - x) * (1 + y), (1 + x) * (1 + y)]) / 4
                by_r = np.array([y - 1, 1 - y, -1 - y, 1 + y])[:, None] / (2 * wide)
                by_z = np.array([x - 1, -1 - x, 1 - x, 1 + x])[:, None] / (2 * high)
                weight = wide * high / 4 / radius
                stiff += weight / axial[i, j] * z_stretch / r_stretch * by_r[:, None] * by_r
                stiff += weight / radial[i, j] * r_stretch / z_stretch * by_z[:, None] * by_z
                mass += weight * r_stretch * z_stretch * np.multiply.outer(value, value)[..., None]
        places = np.broadcast_to(nodes[:, None], stiff.shape).ravel(), np.broadcast_to(nodes, stiff.shape).ravel()
        size = len(self.r) * columns
        self.stiff, self.mass = (csr_matrix((each.ravel(), places), shape=(size, size)) for each in (stiff, mass))
        used = np.zeros(size, dtype=bool)
        used[nodes.ravel()] = True
        port = np.zeros((len(self.r), columns), dtype=bool)
        port[(self.r > self.a - 1e-12) & (self.r < self.b + 1e-12), 0] = True
        self.port = port.ravel() & used
        axis = np.arange(size) < columns
        self.free = used & ~axis & ~self.port

    def impedance(self, frequency):
        """Input impedance at the middle of the first plane [ohm]."""
        k0 = 2 * np.pi * frequency / c
        system = self.stiff - k0**2 * self.mass
        u = self.port.astype(complex)
        u[self.free] = splu(system[self.free][:, self.free].tocsc()).solve(-(system @ u)[self.free])
        voltage = (system @ u)[self.port].sum() / (2j * np.pi * frequency * epsilon_0)
        z, angle = voltage / (2 * np.pi), k0 * np.sqrt(self.dk) * self.coax
        line = np.sqrt(mu_0 / epsilon_0 / self.dk) / (2 * np.pi) * np.log(self.b / self.a)
        return line * (z * np.cos(angle) - 1j * line * np.sin(angle)) / (line * np.cos(angle) - 1j * z * np.sin(angle))

    def notch(self, guess, within=0.3):
        """Upward zero of the reactance nearest to a guess [Hz]."""
        f = guess * np.linspace(1 - within, 1 + within / 2, 7)
        x = np.array([self.impedance(each).imag for each in f])
        rises = np.flatnonzero((x[:-1] < 0) & (x[1:] >= 0) & (np.diff(x) < 400))
        place = min(rises, key=lambda at: abs(f[at : at + 2].mean() - guess))
        low, high = [f[place], x[place]], [f[place + 1], x[place + 1]]
        for _ in range(4):
            middle = low[0] - low[1] * (high[0] - low[0]) / (high[1] - low[1])
            reactance = self.impedance(middle).imag
            low, high = ([middle, reactance], high) if reactance < 0 else (low, [middle, reactance])
        return middle


def graded(breaks, steps, growth, largest):
    """Nodes through all breaks, the steps at each of them as given and growing away from it."""
    nodes = [breaks[0]]
    for (start, stop), ends in zip(pairwise(breaks), pairwise(steps), strict=True):
        length = stop - start
        sides, step = ([0.0], [0.0]), [min(end, length / 2) for end in ends]
        while sides[0][-1] + sides[1][-1] + sum(step) < length:
            side = int(step[1] < step[0])
            sides[side].append(sides[side][-1] + step[side])
            step[side] = min(step[side] * growth, largest)
        nodes += [start + x for x in sorted({*sides[0][1:], *(length - x for x in sides[1][1:])})]
        nodes.append(stop)
    return np.array(nodes)
