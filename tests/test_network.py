"""Two-ports: the library's complex S against scikit-rf's own line and open, and what a Network is made of."""

from __future__ import annotations

import io

import numpy as np
import pytest
import skrf
from hypothesis import given
from scipy.constants import c
from skrf.media import Coaxial, DefinedAEpTandZ0, DefinedGammaZ0, DistributedCircuit
from skrf.tlineFunctions import skin_depth

from stubsi import Stub, UnitError
from stubsi.network import abcd_network, grid
from tests.other_registry import Q
from tests.strategies import stubs

PORTS = (25.0, 42.5, 50.0, 75.0)
EQUAL = {"rtol": 0, "atol": 1e-12}

CASES = {
    "lossless": {},
    "tan delta": {"df": 0.02},
    "dispersive": {"df": 0.02, "at": "1 GHz"},
    "skin effect": {"drill": "0.25 mm"},
    "poor conductor": {"drill": "0.25 mm", "conductivity": "1 MS/m"},
    "end capacitance": {"end_capacitance": "20 fF"},
    "all at once": {"df": 0.02, "at": "10 GHz", "drill": "0.25 mm", "end_capacitance": "50 fF"},
    "low impedance": {"z_stub": "12 ohm", "df": 0.005},
    "high impedance": {"z_stub": "110 ohm", "df": 0.005},
}
LENGTHS = ("5 mm", "0.2 mm", "62 mil")


def oracle(stub, hz, z0):
    """The same two-port of scikit-rf parts: a medium of RLGC, its line and open, hung in shunt on a trunk."""
    frequency = skrf.Frequency.from_f(hz, unit="Hz")
    omega = 2 * np.pi * frequency.f
    eps = np.full(hz.shape, stub.dk_eff * (1 - 1j * stub.df))
    if stub.at is not None:
        medium = DefinedAEpTandZ0(frequency=frequency, ep_r=stub.dk_eff, tanD=stub.df, f_ep=stub.at.m_as("Hz"),
                                  z0=np.full(hz.shape, 50.0), model="djordjevicsvensson")  # fmt: skip
        eps = medium.ep_r_f
    z_stub = stub.z_stub.m_as("ohm")
    capacitance = eps / np.sqrt(stub.dk_eff) / (z_stub * c)
    resistance = np.zeros(hz.shape)
    if stub.drill is not None:
        sigma = 5.8e7 if stub.conductivity is None else stub.conductivity.m_as("S/m")
        surface = np.where(hz > 0, 1 / sigma / skin_depth(np.maximum(hz, 1.0), 1 / sigma, 1.0), 0.0)
        resistance = surface / (np.pi * stub.drill.m_as("m"))
    line = DistributedCircuit(frequency=frequency, C=capacitance.real, L=np.sqrt(stub.dk_eff) / c * z_stub,
                              R=resistance, G=-omega * capacitance.imag)  # fmt: skip
    end = line.open()
    if stub.end_capacitance is not None:
        end = line.shunt_capacitor(stub.end_capacitance.m_as("F")) ** end
    trunk = DefinedGammaZ0(frequency=frequency, z0=z0, gamma=2j * np.pi * frequency.f / c)
    return trunk.shunt(line.line(stub.stub_length.m_as("m"), "m") ** end)


@pytest.mark.parametrize("z0", PORTS)
@pytest.mark.parametrize("length", LENGTHS)
@pytest.mark.parametrize("case", CASES)
def test_same_as_scikit_rf(case, length, z0):
    stub = Stub(**{"stub_length": length, "dk_eff": 4.0, "z_stub": "30 ohm", **CASES[case]})
    notch = stub.notch_frequency().m_as("Hz")
    hz = np.sort(
        np.concatenate([[0.0, 1e6], notch * np.array([0.3, 0.5, 0.999999, 1.0, 1.5, 2.0]), [77e9, 110e9, 3 * notch]])
    )
    hz = np.unique(hz)
    ours = stub.network(Q(hz, "Hz"), z0=Q(z0, "ohm"))
    np.testing.assert_allclose(ours.s, oracle(stub, ours.f, z0).s, **EQUAL)


@pytest.mark.parametrize("z0", PORTS)
def test_same_as_scikit_rfs_delayed_open(z0):
    """trunk.shunt(stub.delay_open(L, 'm')) at DC, around the notch, and beyond."""
    stub = Stub(stub_length="62 mil", dk_eff=3.7, z_stub="42 ohm")
    hz = np.array([0.0, 1e9, 12e9, stub.notch_frequency().m_as("Hz"), 40e9])
    frequency = skrf.Frequency.from_f(hz, unit="Hz")
    medium = DefinedGammaZ0(frequency=frequency, z0=42.0, gamma=2j * np.pi * hz * np.sqrt(3.7) / c)
    trunk = DefinedGammaZ0(frequency=frequency, z0=z0, gamma=2j * np.pi * hz / c)
    theirs = trunk.shunt(medium.delay_open(62 * 25.4e-6, "m"))
    np.testing.assert_allclose(stub.network(frequency, z0=Q(z0, "ohm")).s, theirs.s, **EQUAL)


@pytest.mark.parametrize("z0", PORTS)
def test_stub_of_no_length_is_a_thru(z0):
    none = Stub(stub_length="0 mm", dk_eff=3.7, z_stub="42 ohm", end_pad="0.5 mm", df=0.01, at="1 GHz")
    hz = np.array([0.0, 1e9, 40e9])
    frequency = skrf.Frequency.from_f(hz, unit="Hz")
    medium = DefinedGammaZ0(frequency=frequency, z0=42.0, gamma=2j * np.pi * hz * np.sqrt(3.7) / c)
    trunk = DefinedGammaZ0(frequency=frequency, z0=z0, gamma=2j * np.pi * hz / c)
    ours = none.network(frequency, z0=Q(z0, "ohm")).s
    np.testing.assert_allclose(ours, trunk.shunt(medium.delay_open(0, "m")).s, **EQUAL)
    np.testing.assert_allclose(ours, trunk.thru().s, **EQUAL)


def test_coaxial_impedance_same_as_scikit_rf():
    """Perfect conductors, lossless: the impedance from drill and antipad is that of scikit-rf's coaxial line."""
    frequency = skrf.Frequency(1, 40, 5, unit="GHz")
    medium = Coaxial(frequency=frequency, Dint=0.25e-3, Dout=0.75e-3, epsilon_r=4.0, tan_delta=0.0, sigma=np.inf)
    ours = Stub(stub_length="1 mm", dk_eff=4.0, drill="0.25 mm", antipad="0.75 mm").z_stub_or_coax_si
    np.testing.assert_allclose(medium.z0.real, ours, rtol=1e-6)


@given(stubs)
def test_networks_are_passive_and_reciprocal(stub):
    network = stub.network(skrf.Frequency(0, 110, 23, unit="GHz"), z0="50 ohm")
    assert network.is_passive(tol=1e-12)
    assert network.is_reciprocal(tol=1e-15)
    assert network.is_symmetric()
    if not stub.df:
        assert network.is_lossless(tol=1e-9)


def test_what_a_network_carries():
    network = Stub(stub_length="5 mm", dk_eff=4, z_stub="30 ohm").network(["1 GHz", "7494.811 MHz"], z0="75 ohm")
    assert network.nports == 2
    assert network.frequency.unit == "GHz"
    np.testing.assert_allclose(network.f, [1e9, 7.494811e9])
    np.testing.assert_allclose(network.z0, 75)


def test_port_impedance_is_fifty_unless_said():
    network = Stub(stub_length="5 mm", dk_eff=4, z_stub="30 ohm").network("1 GHz")
    np.testing.assert_allclose(network.z0, 50)
    assert network.s_db[0, 1, 0] == pytest.approx(-0.13435531, abs=5e-9)


def test_ports_agree_after_renormalisation():
    """S in 75 ohm is S in 50 ohm seen from 75 ohm ports, by scikit-rf's own conversion."""
    stub = Stub(stub_length="5 mm", dk_eff=4, z_stub="30 ohm", df=0.02)
    seen = stub.network(["1 GHz", "5 GHz"], z0="50 ohm").copy()
    seen.renormalize(75)
    np.testing.assert_allclose(seen.s, stub.network(["1 GHz", "5 GHz"], z0="75 ohm").s, atol=1e-12)


def test_two_stubs_cascade():
    stub = Stub(stub_length="5 mm", dk_eff=4, z_stub="30 ohm")
    one = stub.network(["1 GHz", "5 GHz"])
    both = one**one
    y = stub.input_admittance(["1 GHz", "5 GHz"])
    np.testing.assert_allclose(both.s[:, 1, 0], 2 / (2 + 50 * 2 * y), rtol=1e-12)


def test_touchstone_round_trip():
    network = Stub(stub_length="5 mm", dk_eff=4, z_stub="30 ohm", df=0.02).network(["1 GHz", "5 GHz"], z0="42.5 ohm")
    text = io.StringIO(network.write_touchstone(filename="stub.s2p", return_string=True, form="ri"))
    text.name = "stub.s2p"
    back = skrf.Network(text)
    np.testing.assert_allclose(back.s, network.s, rtol=1e-15)
    np.testing.assert_allclose(back.z0, 42.5)


def test_a_chain_matrix_of_a_series_element():
    """ABCD of a 50 ohm resistor between 50 ohm ports: S21 = 2/3, S11 = 1/3."""

    def resistor(hz):
        one = np.ones_like(hz, dtype=complex)
        return np.array([[one, 50 * one], [0 * one, one]])

    network = abcd_network(resistor, ["1 GHz", "2 GHz"], "50 ohm")
    np.testing.assert_allclose(network.s[1], [[1 / 3, 2 / 3], [2 / 3, 1 / 3]], rtol=1e-15)
    np.testing.assert_allclose(network.s, skrf.network.a2s(network.a, 50), atol=1e-12)


def test_a_chain_matrix_seen_from_both_ends():
    """A series 20 ohm before a shunt 0.01 S differs by end; S from scikit-rf's own conversion."""
    chain = np.array([[1 + 20 * 0.01, 20], [0.01, 1]], dtype=complex)
    network = abcd_network(lambda hz: np.repeat(chain[..., np.newaxis], hz.size, axis=-1), ["1 GHz", "2 GHz"], "75 ohm")
    np.testing.assert_allclose(network.s, skrf.network.a2s(np.array([chain, chain]), 75.0), atol=1e-12)
    assert network.s[0, 0, 0] != network.s[0, 1, 1]


@pytest.mark.parametrize(
    "frequency",
    [["2 GHz", "1 GHz"], ["1 GHz", "1 GHz"], [], [["1 GHz", "2 GHz"]], 5, [1, 2], "5", "-1 GHz", "5 Gb/s", None,
     skrf.Frequency(-1, 1, 3, unit="GHz")],
    ids=repr,
)  # fmt: skip
def test_refused_grids(frequency):
    with pytest.raises(UnitError, match="frequency"):
        Stub(stub_length="5 mm", dk_eff=4, z_stub="30 ohm").network(frequency)


@pytest.mark.parametrize("z0", [50, "50", "0 ohm", "-50 ohm", ["50 ohm", "60 ohm"], Q([50.0, 60.0], "ohm"),
                                Q(50 + 1j, "ohm"), "50 mm", None], ids=repr)  # fmt: skip
def test_refused_port_impedances(z0):
    with pytest.raises(UnitError, match="z0"):
        Stub(stub_length="5 mm", dk_eff=4, z_stub="30 ohm").network("1 GHz", z0=z0)


@pytest.mark.parametrize(
    "frequency", ["5 GHz", ["1 GHz", "2 GHz"], Q([1.0, 2.0], "GHz"), skrf.Frequency(0, 10, 11, unit="GHz")], ids=repr
)
def test_grids_people_have(frequency):
    assert np.all(np.diff(grid(frequency)) > 0)


def test_the_users_frequency_is_not_changed():
    theirs = skrf.Frequency(0, 10, 11, unit="MHz")
    network = Stub(stub_length="5 mm", dk_eff=4, z_stub="30 ohm").network(theirs)
    network.frequency.unit = "kHz"
    assert theirs.unit == "MHz"
