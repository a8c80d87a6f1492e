"""The chain: coaxial limit, scikit-rf as oracle, reciprocity, conservation, loss, padding, range of frequency."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import skrf
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.constants import c as light_speed

from stubsi.errors import ValidityError
from stubsi.physics.barrel import End
from stubsi.physics.chain import Chain
from stubsi.physics.dielectric import permittivity
from stubsi.physics.reactance import notch
from stubsi.physics.return_path import OPEN, Ring, equal_posts
from stubsi.physics.solved_barrel import solve
from stubsi.physics.uniform_line import coax_impedance
from tests.chain_figures import two_port
from tests.stacks import MM, RING, chain, material, stack, through

F = np.linspace(1e9, 60e9, 60)
FOUR = equal_posts(4, 0.8 * MM, 0.125 * MM)
PATHS = {"ring": RING, "open": OPEN, "four posts": FOUR}
every_path = pytest.mark.parametrize("path", PATHS.values(), ids=PATHS.keys())
LOSSY = material(df=0.02, frequency=1e9)


def media(dk=3.8):
    z0 = coax_impedance(0.3, 0.8, dk)
    gamma = 2j * np.pi * F * np.sqrt(dk) / light_speed
    return skrf.media.DefinedGammaZ0(skrf.Frequency.from_f(F, unit="Hz"), gamma=gamma, z0=z0)


def test_ring_at_the_clearance_is_a_coaxial_line():
    """Thick planes, low cavities, ring at the clearance: scikit-rf's line of ln(b/a) and the laminate's dk."""
    length = through(10, t=0.18, h=0.02)
    matrix = chain(length, path=Ring(radius=0.4 * MM)).abcd(F)[0]
    line = media().line(sum(v.thickness for v in length.levels), "m")
    assert matrix == pytest.approx(line.a, rel=0.004, abs=0.15)
    assert matrix[:, 0, 0] == pytest.approx(line.a[:, 0, 0], abs=0.01)


def test_two_port_with_stubs_is_the_cascade_of_its_parts():
    """Against scikit-rf, which joins the networks itself."""
    parts = {"above": chain(stack(2)), "through": chain(through(3)), "below": chain(stack(4, plane_pad=0.25))}
    whole = two_port(parts["through"], F, above=parts["above"], below=parts["below"])[0]
    fifty = skrf.media.DefinedGammaZ0(skrf.Frequency.from_f(F, unit="Hz"), z0=50)

    def hung(admittance):
        return fifty.shunt(skrf.Network(frequency=fifty.frequency, y=admittance.reshape(-1, 1, 1), z0=50))

    middle = skrf.Network(frequency=fifty.frequency, a=parts["through"].abcd(F)[0], z0=50)
    joined = hung(parts["above"].input_admittance(F)) ** middle ** hung(parts["below"].input_admittance(F))
    assert skrf.network.a2s(whole, 50) == pytest.approx(joined.s, abs=1e-9)


@every_path
@pytest.mark.parametrize("of", [material(), LOSSY], ids=["lossless", "lossy"])
def test_reciprocal(path, of):
    matrix = two_port(
        chain(through(3, of=of), path=path),
        F,
        above=chain(stack(1, of=of), path=path),
        below=chain(stack(of=of), path=path),
    )
    assert np.linalg.det(matrix) == pytest.approx(1.0, abs=1e-9)


def test_halves_of_a_symmetric_length_look_alike():
    """A = D of a length that is its own mirror image."""
    matrix = chain(through(4)).abcd(F)
    assert matrix[..., 0, 0] == pytest.approx(matrix[..., 1, 1], rel=1e-7, abs=1e-9)


def test_energy_is_conserved_without_loss_inside_a_ring():
    """Unitary S: what does not pass comes back."""
    s = skrf.network.a2s(two_port(chain(through(3)), F, above=chain(stack(1)), below=chain(stack(4)))[0], 50)
    assert s @ s.conj().transpose(0, 2, 1) == pytest.approx(np.broadcast_to(np.eye(2), s.shape), abs=1e-9)
    admittance = chain(stack(4)).input_admittance(F)
    assert np.all(np.abs(admittance.real) < 1e-9 * np.abs(admittance))


@pytest.mark.parametrize("path", [OPEN, FOUR], ids=["open", "four posts"])
def test_planes_carry_power_away(path):
    assert np.all(chain(stack(4), path=path).input_admittance(F).real > 0)


@pytest.mark.parametrize("lossy", [stack(of=LOSSY), stack(conductivity=5.8e7)], ids=["laminate", "copper"])
def test_loss_takes_power(lossy):
    assert np.all(chain(lossy).input_admittance(F).real > 0)


def test_copper_loss_is_that_of_barrel_planes_and_rims():
    """Far below the notch the charging current tapers linearly: P = R |I|^2/3, R the skin resistance of the length.

    H = I/(2 pi r) on all copper: R = R_s/(2 pi) [(h + t)/a + 2 ln(R/b) + t/b] for each plane and cavity. The current
    that charges the end does not taper, which is 3 % here.
    """
    frequency, sigma, cavities = 0.2e9, 5.8e7, 8
    barrel = stack(cavities, outer=0.001, end_pad=None, conductivity=sigma)
    y = chain(barrel).input_admittance([frequency])[0, 0]
    surface = np.sqrt(np.pi * frequency * 4e-7 * np.pi / sigma) / (2 * np.pi)
    of_barrel, of_planes = 0.23 / 0.15, 2 * np.log(1.0 / 0.4) + 0.03 / 0.4
    resistance = cavities * surface * (of_barrel + of_planes)
    assert y.real == pytest.approx(resistance * y.imag**2 / 3, rel=0.03)
    z, _ = chain(through(cavities, conductivity=sigma)).section_constants(np.array([[frequency]]))
    assert z.real.sum() == pytest.approx(resistance, rel=1e-3)


def test_better_copper_tends_to_a_perfect_conductor():
    """Its loss and its inductance go with the skin depth; at no depth they are those without copper."""
    figures = [notch(chain(stack(conductivity=sigma)))[0] for sigma in (5.8e7, 5.8e9, 5.8e11, 5.8e13)]
    perfect = notch(chain(stack()))[0]
    ratios = 1 - np.array(figures) / perfect
    assert np.all(ratios > 0)
    assert ratios[:-1] / ratios[1:] == pytest.approx(10.0, rel=0.02)
    infinite = chain(stack(conductivity=np.inf)).input_admittance(F)
    assert np.array_equal(infinite, chain(stack()).input_admittance(F))


@pytest.mark.parametrize("height", [0.1, 0.2], ids=["100 um", "200 um"])
def test_copper_lowers_the_notch_by_the_skin_depth(height):
    """Each h + t adds delta/2a to the flux inside the copper, each cavity delta ln(R/b), each rim its own.

    Half of the relative growth of the inductance, in a stub that is short against the wave between its return vias.
    """
    bare, copper = stack(8, h=height), stack(8, h=height, conductivity=5.8e7)
    before, after = (notch(chain(barrel))[0] for barrel in (bare, copper))
    delta = 1 / np.sqrt(np.pi * before * 4e-7 * np.pi * 5.8e7) / MM
    inductance = height * np.log(1.0 / 0.15) + 0.03 * np.log(0.4 / 0.15)
    growth = delta * ((height + 0.03) / (2 * 0.15) + np.log(1.0 / 0.4) + 0.03 / (2 * 0.4))
    assert 1 - after / before == pytest.approx(growth / inductance / 2, rel=0.12)


def test_dispersive_laminate_follows_its_permittivity():
    """Low frequency: Y = jw sum C_m eps(f)/dk; capacitance of the air does not change."""
    solved = solve(stack(of=LOSSY))
    frequency = 50e6
    y = chain(stack(of=LOSSY)).input_admittance([frequency])[0, 0]
    laminate, air = solved.capacitance.sum(axis=0)
    eps = permittivity(frequency, 3.8, 0.02, 1e9) / 3.8
    assert y == pytest.approx(2j * np.pi * frequency * (laminate * eps + air), rel=1e-4)


@every_path
@pytest.mark.parametrize("of", [material(), LOSSY], ids=["lossless", "lossy"])
def test_finite_from_a_kilohertz_to_ten_terahertz(path, of):
    f = np.geomspace(1e3, 1e13, 400)
    sweep = chain(stack(8, of=of, plane_pad=0.25, conductivity=5.8e7), path=path)
    assert np.isfinite(sweep.input_admittance(f)).all()
    assert np.isfinite(chain(through(3, of=of), path=path).abcd(f)).all()


def test_stubs_solved_together_are_those_solved_alone():
    """Shorter ones are padded, return paths and laminates differ: nothing of one reaches another."""
    stubs = [(stack(n, of=of), path) for n, of, path in ((2, material(), RING), (7, LOSSY, OPEN), (0, LOSSY, FOUR))]
    together = Chain.of((solve(b), p) for b, p in stubs).input_admittance(F)
    alone = np.concatenate([chain(b, path=p).input_admittance(F) for b, p in stubs])
    assert together == pytest.approx(alone, rel=1e-9)


@pytest.mark.parametrize("rows", [[2], [0, 2], [3, 1], [1, 1, 0]], ids=str)
def test_some_of_the_stubs_are_those_stubs(rows):
    """In any order, twice, and where none of them has a cavity."""
    paths = (RING, OPEN, FOUR, OPEN)
    whole = Chain.of((solve(stack(n)), path) for n, path in zip((2, 7, 0, 0), paths, strict=True))
    part = whole.only(rows)
    assert len(part) == len(rows)
    assert part.input_admittance(F) == pytest.approx(whole.input_admittance(F)[rows], rel=1e-12)
    assert part.highest_frequency().tolist() == whole.highest_frequency()[rows].tolist()


def test_long_sweeps_are_cut_unseen(monkeypatch):
    whole = chain(stack(), stack(2)).input_admittance(F)
    monkeypatch.setattr("stubsi.physics.chain.AT_ONCE", 100)
    assert chain(stack(), stack(2)).input_admittance(F) == pytest.approx(whole)


def test_frequencies_of_their_own():
    f = np.array([[5e9, 6e9], [7e9, 8e9]])
    both = chain(stack(), stack(2)).input_admittance(f)
    assert both[1] == pytest.approx(chain(stack(2)).input_admittance(f[1])[0])


@settings(max_examples=10)
@given(scale=st.floats(0.2, 5.0))
def test_all_lengths_times_s_are_all_frequencies_over_s(scale):
    large = stack(4, a=0.15 * scale, b=0.4 * scale, t=0.03 * scale, h=0.2 * scale, outer=0.1 * scale)
    large = replace(large, end=End(pad_radius=0.25 * scale * MM, pad_thickness=0.03 * scale * MM))
    got = chain(large, path=Ring(radius=scale * MM)).input_admittance(F / scale)
    assert got == pytest.approx(chain(stack(4)).input_admittance(F), rel=1e-4, abs=1e-6)


def test_return_path_inside_a_clearance_is_refused():
    with pytest.raises(ValidityError, match="clearance_radius"):
        chain(stack(), path=Ring(radius=0.3 * MM))
