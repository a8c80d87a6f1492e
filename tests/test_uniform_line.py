"""The open line in shunt: published values, conservation, scaling, limits, and the notch as a zero of its reactance."""

from __future__ import annotations

import numpy as np
import pytest
import skrf
from hypothesis import example, given
from hypothesis import strategies as st
from scipy.constants import c, epsilon_0, mu_0
from scipy.optimize import brentq

from stubsi.physics.dielectric import debye_logarithm
from stubsi.physics.skin_effect import barrel_resistance, surface_resistance
from stubsi.physics.uniform_line import (
    UniformLine,
    coax_impedance,
    decibels,
    disk_end_capacitance,
    quarter_wave,
    quarter_wave_length,
    shunt_s,
)
from tests.closed_forms import coax_capacitance, coax_inductance, skin_depth
from tests.strategies import (
    dks,
    end_capacitances,
    frequencies,
    lines,
    loaded_lines,
    lossless_lines,
    orders,
    physical,
    port_impedances,
    stub_impedances,
    stub_lengths,
)

LOSSLESS = {"stub_length": 5e-3, "dk": 4.0, "z_stub": 30.0}


def s_of(line, frequency, z0):
    return shunt_s(*line.input(frequency), z0)


def admittance(line, frequency):
    voltage, current = line.input(frequency)
    return current / voltage


# --- printed values ---------------------------------------------------------------------------------------------------


def test_quarter_wave_constants():
    """c/4 = 74.94811 GHz mm = 2.950713 GHz in, exact from c."""
    assert quarter_wave(1e-3, 1.0) / 1e9 == pytest.approx(74.94811, abs=5e-6)
    assert quarter_wave(25.4e-3, 1.0) / 1e9 == pytest.approx(2.950713, abs=5e-7)


@pytest.mark.parametrize(
    ("mm", "dk", "order", "ghz"),
    [(5, 4, 1, 7.494811), (5, 4, 3, 22.484434), (25.4, 4, 1, 1.475357), (25.4, 4.3, 1, 1.422960),
     (25.4, 3.8696481, 1, 1.500000)],
    ids=["5 mm", "5 mm third", "1 in", "1 in of 4.3", "1 in of Bogatin's Dk"],
)  # fmt: skip
def test_quarter_wave_values(mm, dk, order, ghz):
    assert quarter_wave(mm * 1e-3, dk, order) / 1e9 == pytest.approx(ghz, abs=5e-7)


@pytest.mark.parametrize(
    ("ghz", "db"),
    [(1, -0.13435531), (3.747405725, -2.29027334), (5, -4.90003999), (7, -18.13640094)],
    ids=["1 GHz", "half the notch", "5 GHz", "7 GHz"],
)
def test_shunt_open_stub_values(ghz, db):
    """5 mm, Dk 4, 30 ohm in 50 ohm: IL = 10 log10(1 + (Z0 tan(th) / 2 Zs)^2); textbook, values derived."""
    assert -decibels(s_of(UniformLine(**LOSSLESS), ghz * 1e9, 50.0)[1]) == pytest.approx(db, abs=5e-9)


@pytest.mark.parametrize(
    ("ratio", "relative"), [(1.0, 0.704833), (0.6, 0.5577), (0.5, 0.5)], ids=["Zs = Z0", "30/50", "half"]
)
def test_minus_three_decibel_point(ratio, relative):
    """f / f0 = (2 / pi) atan(2 Zs / Z0), derived; exactly one half for Zs = Z0 / 2."""
    line = UniformLine(stub_length=5e-3, dk=4.0, z_stub=50.0 * ratio)
    half_power = brentq(lambda f: abs(s_of(line, f, 50.0)[1]) ** 2 - 0.5, 1e8, line.notch() * 0.999, xtol=1)
    assert half_power / line.notch() == pytest.approx(relative, abs=5e-5 if ratio == 0.6 else 5e-7)


def test_loss_at_half_the_notch_of_equal_impedances():
    """10 log10(1.25) = 0.969100 dB, derived."""
    line = UniformLine(stub_length=5e-3, dk=4.0, z_stub=50.0)
    assert decibels(s_of(line, line.notch() / 2, 50.0)[1]) == pytest.approx(0.969100, abs=5e-7)


# Loss at Nyquist [dB] in 50 ohm when the notch is at k x Nyquist, by stub impedance 25, 30, 40, 50, 60 ohm (derived)
LOSS_TABLE = {
    1.25: (10.200, 8.795, 6.721, 5.274, 4.223),
    1.5: (6.021, 4.890, 3.368, 2.430, 1.821),
    2: (3.010, 2.290, 1.432, 0.969, 0.695),
    3: (1.249, 0.904, 0.532, 0.348, 0.244),
    5: (0.436, 0.307, 0.176, 0.113, 0.079),
    7: (0.221, 0.154, 0.088, 0.056, 0.039),
    10: (0.108, 0.075, 0.042, 0.027, 0.019),
}


@pytest.mark.parametrize("k", LOSS_TABLE)
def test_loss_at_nyquist_table(k):
    line = UniformLine(stub_length=5e-3, dk=4.0, z_stub=np.array([25.0, 30, 40, 50, 60]))
    loss = decibels(s_of(line, quarter_wave(5e-3, 4.0) / k, 50.0)[1])
    np.testing.assert_allclose(loss, LOSS_TABLE[k], atol=5.1e-4)


@pytest.mark.parametrize(
    ("z_stub", "df", "db"),
    [(50, 0.02, -30.33), (50, 0.01, -36.21), (50, 0.005, -42.17), (50, 0.002, -50.08),
     (30, 0.02, -34.66), (30, 0.01, -40.60), (30, 0.005, -46.58), (30, 0.002, -54.51)],
)  # fmt: skip
def test_depth_of_a_lossy_notch(z_stub, df, db):
    """S21(f0) = 1 / (1 + Z0 / (2 Zs tanh(aL))), aL = (pi/4) tan(delta), 50 ohm line; derived."""
    line = UniformLine(stub_length=5e-3, dk=4.0, z_stub=float(z_stub), df=df)
    depth = -decibels(s_of(line, quarter_wave(5e-3, 4.0), 50.0)[1])
    assert depth == pytest.approx(db, abs=5.1e-3)


def test_coaxial_barrel_values():
    """Dk 4, D/d = 3: 32.93557 ohm, 0.2025555 pF/mm, 0.2197225 nH/mm; textbook formula from memory, values derived."""
    assert coax_impedance(0.25e-3, 0.75e-3, 4.0) == pytest.approx(32.93557, abs=5e-6)
    assert coax_capacitance(0.25e-3, 0.75e-3, 4.0) * 1e9 == pytest.approx(0.2025555, abs=5e-8)
    assert coax_inductance(0.25e-3, 0.75e-3) * 1e6 == pytest.approx(0.2197225, abs=5e-8)
    per_inch = coax_capacitance(1.0, np.e, 1.0) * 25.4e-3 * 1e12
    assert per_inch == pytest.approx(1.413066, abs=5e-7)  # 2 pi e0 = 1.413066 pF/in


def test_press_fit_via_capacitance():
    """L. Ritchey, Right the First Time, pp. 99-102 (digest): 26 mil drill, 0.6 pF per 100 mil; antipad 66.7 mil."""
    per_100_mil = coax_capacitance(26.0, 66.7, 4.0) * 2.54e-3
    assert per_100_mil * 1e12 == pytest.approx(0.6, abs=0.005)
    assert coax_impedance(26.0, 66.7, 4.0) == pytest.approx(28.2, abs=0.05)


def test_disk_end_values():
    """Half an isolated disk, 4 e0 Dk a: a = 0.125 mm, Dk 4 gives 17.71 fF, as long as 0.0874 mm of D/d = 3 line."""
    load = disk_end_capacitance(0.25e-3, 4.0)
    assert load * 1e15 == pytest.approx(17.71, abs=5e-3)
    assert load / coax_capacitance(0.25e-3, 0.75e-3, 4.0) * 1e3 == pytest.approx(0.0874, abs=5e-5)


# Shift of the notch [%] by a flat end of 0.25 mm and of 0.5 mm diameter, Zs 32.94 ohm, Dk 4 (derived)
END_SHIFT = {0.127: (-37.7, -51.5), 0.25: (-24.9, -38.0), 0.5: (-14.7, -24.9), 1: (-8.0, -14.7), 2: (-4.2, -8.0),
             5: (-1.7, -3.4)}  # fmt: skip


@pytest.mark.parametrize("mm", END_SHIFT)
def test_shift_by_an_end_pad(mm):
    load = disk_end_capacitance(np.array([0.25e-3, 0.5e-3]), 4.0)
    z_stub = coax_impedance(0.25e-3, 0.75e-3, 4.0)
    shift = UniformLine(stub_length=mm * 1e-3, dk=4.0, z_stub=z_stub, end_capacitance=load).notch() / quarter_wave(
        mm * 1e-3, 4
    )
    np.testing.assert_allclose(100 * (shift - 1), END_SHIFT[mm], atol=0.051)


def test_skin_effect_values():
    """Copper 5.8e7 S/m: textbook, values derived."""
    assert skin_depth(1e9, 5.8e7) * 1e6 == pytest.approx(2.0898, abs=5e-5)
    assert skin_depth(10e9, 5.8e7) * 1e6 == pytest.approx(0.66085, abs=5e-6)
    assert surface_resistance(10e9, 5.8e7) * 1e3 == pytest.approx(26.0895, abs=5e-5)
    assert barrel_resistance(10e9, 0.25e-3, 5.8e7) == pytest.approx(33.22, abs=5e-3)


@pytest.mark.parametrize(
    ("relative", "error"), [(0.1, -0.8), (0.3, -7.5), (0.5, -21.5), (0.7, -44)], ids=["0.1", "0.3", "0.5", "0.7"]
)
def test_a_lumped_capacitance_is_low(relative, error):
    """B_C / B_stub - 1 in percent, C = Td / Zs, against the line itself; derived."""
    line = UniformLine(**LOSSLESS)
    f = relative * line.notch()
    lumped = 2 * np.pi * f * (5e-3 * 2 / c) / 30.0
    assert 100 * (lumped / admittance(line, f).imag - 1) == pytest.approx(error, abs=0.5 if relative == 0.7 else 0.05)


# --- conservation, reciprocity, limits --------------------------------------------------------------------------------


@given(lines, frequencies, port_impedances)
def test_passive(line, frequency, z0):
    s11, s21 = s_of(line, frequency, z0)
    assert abs(s11) ** 2 + abs(s21) ** 2 <= 1 + 1e-12
    assert admittance(line, frequency).real >= -1e-12 * abs(admittance(line, frequency))


@given(loaded_lines, frequencies, port_impedances)
def test_lossless_conserves_energy(line, frequency, z0):
    s11, s21 = s_of(line, frequency, z0)
    assert abs(s11) ** 2 + abs(s21) ** 2 == pytest.approx(1, rel=1e-9)
    assert abs(admittance(line, frequency).real) <= 1e-12 * abs(admittance(line, frequency))


@given(lossless_lines, dks, frequencies)
def test_loss_tangent_and_skin_effect_only_take(line, dk, frequency):
    lossy = UniformLine(stub_length=line.stub_length, dk=dk, z_stub=line.z_stub, df=0.01)
    skin = UniformLine(
        stub_length=line.stub_length, dk=dk, z_stub=line.z_stub, barrel_diameter=0.3e-3, conductivity=5.8e7
    )
    for each in (lossy, skin):
        assert admittance(each, frequency).real > 0


@given(lines, port_impedances)
def test_a_stub_is_nothing_at_dc(line, z0):
    s11, s21 = s_of(line, 0.0, z0)
    assert abs(s21 - 1) == 0
    assert abs(s11) == 0


@given(lines, frequencies, port_impedances)
def test_a_stub_of_no_length_is_nothing(line, frequency, z0):
    none = UniformLine(
        stub_length=0.0, dk=line.dk, z_stub=line.z_stub, df=line.df, end_capacitance=line.end_capacitance
    )
    assert s_of(none, frequency, z0) == (0, 1)
    assert np.isnan(none.notch())
    assert decibels(s_of(none, frequency, z0)[1]) == 0


@given(loaded_lines)
def test_a_short_stub_at_low_frequency_is_its_capacitance(line):
    f = line.notch() * 1e-4
    total = np.sqrt(line.dk) / c / line.z_stub * line.stub_length + line.end_capacitance
    assert admittance(line, f).imag == pytest.approx(2 * np.pi * f * total, rel=1e-6)


@given(stub_lengths, dks, stub_impedances, port_impedances)
def test_lossless_notch_is_a_short(length, dk, z_stub, z0):
    line = UniformLine(stub_length=length, dk=dk, z_stub=z_stub)
    assert abs(s_of(line, line.notch(), z0)[1]) < 1e-9


@given(lossless_lines, frequencies, port_impedances)
def test_series_of_the_input_repeats_every_two_notches(line, frequency, z0):
    period = 2 * line.notch()
    np.testing.assert_allclose(s_of(line, frequency + period, z0), s_of(line, frequency, z0), atol=1e-9)


@given(lines, frequencies, physical(0.1, 10))
def test_impedances_scale_together(line, frequency, k):
    """S is unchanged when line, load and port impedances scale alike; skin effect scales with the resistance."""
    scaled = UniformLine(stub_length=line.stub_length, dk=line.dk, z_stub=line.z_stub * k, df=line.df, at=line.at,
                  end_capacitance=line.end_capacitance / k, barrel_diameter=line.barrel_diameter / k,
                  conductivity=line.conductivity)  # fmt: skip
    np.testing.assert_allclose(s_of(scaled, frequency, 50 * k), s_of(line, frequency, 50), rtol=1e-9, atol=1e-12)


# --- the notch --------------------------------------------------------------------------------------------------------


@given(stub_lengths, dks, stub_impedances, end_capacitances, physical(0.1, 10), orders)
def test_scaling(length, dk, z_stub, load, k, order):
    """f(k L, k C) = f(L, C) / k."""
    one = UniformLine(stub_length=length, dk=dk, z_stub=z_stub, end_capacitance=load).notch(order)
    other = UniformLine(stub_length=k * length, dk=dk, z_stub=z_stub, end_capacitance=k * load).notch(order)
    assert other == pytest.approx(one / k, rel=1e-12)


@given(stub_lengths, dks, orders)
def test_notch_of_a_bare_line_is_the_quarter_wave(length, dk, order):
    assert UniformLine(stub_length=length, dk=dk, z_stub=50.0).notch(order) == pytest.approx(
        float(quarter_wave(length, dk, order)), rel=1e-14
    )
    assert quarter_wave_length(quarter_wave(length, dk), dk) == pytest.approx(length, rel=1e-14)


def counted(monkeypatch, line, order=1):
    """Notch of a line and how often its permittivity was evaluated on the way."""
    calls = []

    def evaluated(frequency):
        calls.append(frequency)
        return debye_logarithm(frequency)

    monkeypatch.setattr("stubsi.physics.uniform_line.debye_logarithm", evaluated)
    return line.notch(order), len(calls)


@pytest.mark.parametrize("df", [0.0, 0.02], ids=["lossless", "constant loss"])
def test_the_closed_form_needs_no_search(monkeypatch, df):
    """n c/(4 L sqrt(dk)) is exact without end load and dispersion, to the last digit; nothing is evaluated."""
    line = UniformLine(stub_length=np.linspace(1e-4, 9e-3, 200), dk=3.7, z_stub=30.0, df=df)
    notch, calls = counted(monkeypatch, line, 3)
    assert calls == 0
    np.testing.assert_array_equal(notch, quarter_wave(line.stub_length, 3.7, 3))


@given(line=lines, order=orders)
@example(line=UniformLine(stub_length=10e-6, dk=2.0, z_stub=120.0, end_capacitance=200e-15), order=1)
@example(line=UniformLine(stub_length=12e-3, dk=10.0, z_stub=120.0, df=0.03, at=1e8, end_capacitance=200e-15), order=11)
def test_loaded_and_dispersive_lines_take_a_few_newton_steps(line, order):
    with pytest.MonkeyPatch.context() as monkeypatch:
        assert counted(monkeypatch, line, order)[1] <= 6


def test_one_notch_for_every_field_and_order():
    """Shape of all fields and of the order together, also where the closed form decides."""
    line = UniformLine(stub_length=np.array([[1e-3], [0.0]]), dk=4.0, z_stub=30.0, df=np.array([0.0, 0.01, 0.02]))
    assert line.notch().shape == (2, 3)
    assert np.isnan(line.notch()[1]).all()
    assert UniformLine(stub_length=1e-3, dk=4.0, z_stub=np.nan).notch() == quarter_wave(1e-3, 4.0)


def unloaded_reactance(line):
    """Input reactance [ohm] of the line without its losses but with its dispersion, as a function of frequency."""

    def at(frequency):
        dispersed = UniformLine(stub_length=line.stub_length, dk=np.real(line.permittivity(frequency)),
                         z_stub=line.z_stub * np.sqrt(line.dk / np.real(line.permittivity(frequency))),
                         end_capacitance=line.end_capacitance)  # fmt: skip
        voltage, current = dispersed.input(frequency)
        return (voltage / current).imag

    return at


@given(lines, orders)
@example(UniformLine(stub_length=10e-6, dk=4.0, z_stub=30.0, df=0.02, at=1e9), 1)
@example(UniformLine(stub_length=12e-3, dk=10.0, z_stub=120.0, df=0.03, at=1e9, end_capacitance=200e-15), 11)
def test_notch_is_where_the_reactance_changes_sign(line, order):
    """Also with dispersion and end load, for every odd order."""
    notch = line.notch(order)
    reactance = unloaded_reactance(line)
    assert reactance(notch * (1 - 1e-9)) < 0 < reactance(notch * (1 + 1e-9))


@given(lines)
def test_no_notch_is_missed(line):
    """Between DC and the third notch the reactance passes zero exactly twice, at the first and at the third."""
    reactance = unloaded_reactance(line)
    last = float(line.notch(5)) * 0.999
    values = reactance(np.linspace(last / 2000, last, 2000))
    rising = np.sum((values[:-1] < 0) & (values[1:] > 0))
    assert rising == 2


@given(lossless_lines, end_capacitances, orders)
def test_an_end_load_lowers_the_notch(line, load, order):
    loaded = UniformLine(stub_length=line.stub_length, dk=line.dk, z_stub=line.z_stub, end_capacitance=load).notch(
        order
    )
    bare = line.notch(order)
    assert loaded < bare
    assert loaded > quarter_wave(line.stub_length, line.dk, max(order - 1, 0))  # at most one order down


@given(loaded_lines, physical(1.001, 3), orders)
def test_longer_or_slower_never_raises_the_notch(line, factor, order):
    longer = UniformLine(stub_length=line.stub_length * factor, dk=line.dk, z_stub=line.z_stub,
                  end_capacitance=line.end_capacitance)  # fmt: skip
    more_dk = UniformLine(stub_length=line.stub_length, dk=line.dk * factor, z_stub=line.z_stub / np.sqrt(factor),
                   end_capacitance=line.end_capacitance)  # fmt: skip
    assert longer.notch(order) < line.notch(order)
    assert more_dk.notch(order) < line.notch(order)


@given(loaded_lines)
def test_orders_rise(line):
    notches = line.notch(np.array([1, 3, 5, 7]))
    assert np.all(np.diff(notches) > 0)
    if line.end_capacitance:
        assert notches[1] > 3 * notches[0]  # a load pulls the low orders down most
    else:
        np.testing.assert_allclose(notches / notches[0], [1, 3, 5, 7], rtol=1e-13)


@given(lines)
def test_dispersion_raises_a_notch_above_its_reference(line):
    if not np.isfinite(line.at) or line.df == 0:
        return
    still = UniformLine(
        stub_length=line.stub_length, dk=line.dk, z_stub=line.z_stub, end_capacitance=line.end_capacitance
    )
    assert (line.notch() > still.notch()) == (still.notch() > line.at)


@given(stub_lengths, dks, stub_impedances, physical(1e-4, 0.03))
def test_loss_moves_the_deepest_point_by_less_than_its_square(length, dk, z_stub, df):
    line = UniformLine(stub_length=length, dk=dk, z_stub=z_stub, df=df)
    near = line.notch() * np.linspace(1 - df**2, 1 + df**2, 401)
    deepest = near[np.argmin(abs(s_of(line, near, 50.0)[1]))]
    assert abs(deepest / line.notch() - 1) < 0.99 * df**2


def test_arrays_of_stubs_are_solved_at_once():
    length = np.array([[1e-3], [0.0], [3e-3]])
    line = UniformLine(stub_length=length, dk=np.array([3.0, 4.0]), z_stub=40.0, end_capacitance=10e-15)
    notches = line.notch()
    assert notches.shape == (3, 2)
    assert np.all(np.isnan(notches[1]))
    for i in (0, 2):
        for j, dk in enumerate((3.0, 4.0)):
            single = UniformLine(stub_length=length[i, 0], dk=dk, z_stub=40.0, end_capacitance=10e-15).notch()
            assert notches[i, j] == pytest.approx(float(single), rel=1e-14)


# --- closed forms against one another ---------------------------------------------------------------------------------


@given(physical(0.1, 1.0), physical(1.2, 10), dks)
def test_coaxial_forms_agree(d, ratio, dk):
    z, cap, ind = coax_impedance(d, d * ratio, dk), coax_capacitance(d, d * ratio, dk), coax_inductance(d, d * ratio)
    assert np.sqrt(ind / cap) == pytest.approx(z, rel=1e-9)
    assert 1 / np.sqrt(ind * cap) == pytest.approx(c / np.sqrt(dk), rel=1e-9)


@given(frequencies, physical(1e5, 1e8))
def test_skin_forms_agree(f, sigma):
    assert surface_resistance(f, sigma) == pytest.approx(1 / (sigma * skin_depth(f, sigma)), rel=1e-12)
    assert skin_depth(4 * f, sigma) == pytest.approx(skin_depth(f, sigma) / 2, rel=1e-12)


def test_wave_constants():
    assert 1 / np.sqrt(mu_0 * epsilon_0) == pytest.approx(c, rel=1e-9)


@given(physical(0.01, 500), physical(0.01, 500), st.floats(0, 1))
def test_shunt_s_stays_finite_at_a_short(z0, z, phase):
    s11, s21 = shunt_s(0.0, np.exp(2j * np.pi * phase) * z, z0)
    assert s21 == 0
    assert s11 == pytest.approx(-1)


@given(lines, frequencies, port_impedances)
def test_a_length_between_two_ports_against_scikit_rf(line, frequency, z0):
    """The chain matrix of a line, and det = 1 for what is reciprocal; scikit-rf makes it from gamma and impedance."""
    series, shunt = line.per_length(frequency)
    at = skrf.Frequency.from_f([frequency], unit="Hz")
    media = skrf.media.DefinedGammaZ0(at, gamma=np.sqrt(series * shunt), z0=np.sqrt(series / shunt), z0_port=z0)
    (a, b), (c_, d) = line.abcd(frequency)
    (wanted_a, wanted_b), (wanted_c, wanted_d) = media.line(line.stub_length, "m").a[0]
    assert abs(a * d - b * c_ - 1) < 1e-9 * max(1, abs(a) ** 2)
    size = max(abs(wanted_a), abs(wanted_b) / z0, abs(wanted_c) * z0, 1)
    found, wanted = [a, b / z0, c_ * z0, d], [wanted_a, wanted_b / z0, wanted_c * z0, wanted_d]
    assert found == pytest.approx(wanted, rel=1e-7, abs=1e-7 * size)
