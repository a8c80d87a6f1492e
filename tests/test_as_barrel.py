"""From a stub as drawn to the barrel that is solved: each built again by hand from the drawing, lengths in mm."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest
import skrf
from scipy.constants import c, epsilon_0, mu_0
from scipy.optimize import brentq

from stubsi import (
    Antipad,
    CopperLayer,
    Criterion,
    DielectricLayer,
    Padstack,
    PressFit,
    Stackup,
    UnknownValueError,
    check_stub,
    hole_model,
    rank,
)
from stubsi.board.hole_kinds import Span
from stubsi.physics.barrel import Barrel, End, Level, Material
from stubsi.physics.chain import Chain
from stubsi.physics.feed import THROUGH, Feed, tee
from stubsi.physics.notch import first_notch
from stubsi.physics.pair import equivalent_clearance
from stubsi.physics.return_path import Posts
from stubsi.physics.solved_barrel import solve
from stubsi.physics.uniform_line import decibels, shunt_s
from stubsi.stubs.barrel_layers import BarrelLayers, filling_of
from tests import margin_boards as mb

MM = 1e-3
FR4 = Material(dk_in_plane=3.8, dk_z=3.8)
AIR = Material(dk_in_plane=1.0, dk_z=1.0)
POSTS = Posts(positions=tuple((x * MM, y * MM) for x, y in mb.AWAY), radius=0.125 * MM)
END = End(pad_radius=0.25 * MM, pad_thickness=0.03 * MM)
COPPER = 5.8e7
"""Conductivity [S/m], textbook value, from memory."""


def fill(height, of=FR4):
    return Level(kind="dielectric", thickness=height * MM, material=of)


def plane(thickness=0.03, clearance=0.4, pad=None, of=FR4):
    radius = None if pad is None else pad * MM
    return Level(
        kind="plane", thickness=thickness * MM, material=of, clearance_radius=clearance * MM, pad_radius=radius
    )


def signal(pad=None, thickness=0.03, of=FR4):
    radius = None if pad is None else pad * MM
    return Level(kind="signal", thickness=thickness * MM, material=of, pad_radius=radius)


def beside(clearance):
    """The net's other trace runs beyond G1, 0.46 mm from S1, and may leave to the same side: 1.4 b exp(-2.1 s/b)."""
    return Feed(inductance=1.4 * clearance * np.exp(-2.1 * 0.46 / clearance) * MM)


def chain(levels, *, end=END, path=POSTS, pitch=None, feed=None):
    barrel = Barrel(
        barrel_radius=0.15 * MM, levels=tuple(levels), end=end, conductivity=COPPER, feed=feed or beside(0.4)
    )
    return Chain.of([(solve(barrel), path)], None if pitch is None else [pitch * MM])


def expect(row, levels, z0=50.0, **more):
    """The row of a ranking shows the figures of the stub built by hand."""
    by_hand = chain(levels, **more)
    assert row.model == "solved geometry"
    assert row.first_notch.m_as("GHz") == pytest.approx(first_notch(by_hand).frequency[0] / 1e9, rel=1e-6)
    voltage, current = by_hand.voltage_current(np.array([[row.nyquist.m_as("GHz") * 1e9]]))
    back, through = (float(decibels(s)[0, 0]) for s in shunt_s(voltage, current, z0))
    assert row.loss == pytest.approx(through, rel=1e-6)
    assert row.return_loss == pytest.approx(back, rel=1e-6)


def ranked(*connects, layers=None, padstack=mb.VIA, **more):
    return rank(mb.board(mb.net("A", *connects, padstack=padstack, **more), layers=layers))["A"]


MICROSTRIP = tee(
    barrel_radius=0.15 * MM,
    clearance_radius=0.4 * MM,
    pad_radius=0.25 * MM,
    above=None,
    below=0.215 * MM,
    goes_on=False,
)
KEPT = dataclasses.replace(mb.VIA, name="kept", non_functional_pads="kept")


# --- where a stub starts ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("padstack", "pad"), [(mb.VIA, None), (KEPT, 0.25)], ids=["pads removed", "pads kept"])
def test_from_an_inner_layer_it_starts_at_the_strip(padstack, pad):
    """The signal comes from TOP along the barrel and leaves on S1, 0.2 mm above G2."""
    levels = [fill(0.2), plane(pad=pad), fill(0.2), signal(pad), fill(0.2), plane(pad=pad), fill(0.2)]
    expect(ranked(("TOP", "S1"), padstack=padstack), levels)


@pytest.mark.parametrize(("padstack", "pad"), [(mb.VIA, None), (KEPT, 0.25)], ids=["pads removed", "pads kept"])
def test_from_an_outer_layer_with_both_traces_it_has_the_feed_of_a_microstrip(padstack, pad):
    levels = [
        fill(0.2), plane(pad=pad), fill(0.2), signal(pad), fill(0.2), plane(pad=pad), fill(0.2), signal(pad), fill(0.2),
        plane(pad=pad), fill(0.2),
    ]  # fmt: skip
    expect(ranked(("TOP",), padstack=padstack), levels, feed=MICROSTRIP)


def test_upwards_it_is_the_same_from_below():
    """S2 lies as far from BOT as S1 from TOP."""
    levels = [fill(0.2), plane(), fill(0.2), signal(), fill(0.2), plane(), fill(0.2)]
    expect(ranked(("S2", "BOT")), levels)
    expect(
        ranked(("BOT",)),
        [fill(0.2), plane(), *[fill(0.2), signal(), fill(0.2), plane()] * 2, fill(0.2)],
        feed=MICROSTRIP,
    )


def test_without_a_plane_along_it_it_starts_in_the_plane_before_it():
    """Below S2 of a board whose G3 is no plane: from mid G2, through the layer in use with its pad."""
    layers = mb.stackup(roles=mb.ROLES | {"G3": "signal"})
    levels = [plane(0.015), fill(0.2), signal(0.25), fill(0.2), signal(), fill(0.2)]
    row = ranked(("TOP", "S2"), layers=layers)
    expect(row, levels)
    assert row.model_error.startswith("nearest covered case")


# --- layers -----------------------------------------------------------------------------------------------------------


def test_a_mixed_layer_is_a_plane_where_the_padstack_states_an_antipad_on_it():
    layers = mb.stackup(roles=mb.ROLES | {"S2": "mixed"})
    stated = dataclasses.replace(mb.VIA, name="stated", antipads={"S2": "0.9 mm", "G3": "1.0 mm"})
    levels = [fill(0.2), plane(), fill(0.2), plane(clearance=0.45), fill(0.2), plane(clearance=0.5), fill(0.2)]
    expect(ranked(("TOP", "S1"), layers=layers, padstack=stated), levels)
    plain = [fill(0.2), plane(), fill(0.2), signal(), fill(0.2), plane(), fill(0.2)]
    expect(ranked(("TOP", "S1"), layers=layers), plain)


def test_pads_of_their_own_size():
    pads = dataclasses.replace(KEPT, name="pads", pads={"S2": "0.6 mm", "G3": None, "BOT": "0.7 mm"})
    levels = [fill(0.2), plane(pad=0.25), fill(0.2), signal(0.3), fill(0.2), plane(), fill(0.2)]
    expect(ranked(("TOP", "S1"), padstack=pads), levels, end=End(pad_radius=0.35 * MM, pad_thickness=0.03 * MM))


def test_no_pad_at_the_end():
    bare = Padstack(name="bare", drill="0.3 mm", antipad="0.8 mm")
    levels = [fill(0.2), plane(), fill(0.2), signal(), fill(0.2), plane(), fill(0.2)]
    expect(ranked(("TOP", "S1"), padstack=bare), levels, end=End())


def test_in_plane_permittivity_loss_and_the_frequency_they_hold_at():
    layers = mb.stackup(dk=3.8, dk_in_plane=4.2, df=0.01, at="10 GHz")
    of = Material(dk_in_plane=4.2, dk_z=3.8, df=0.01, frequency=10e9)
    levels = [fill(0.2, of), plane(of=of), fill(0.2, of), signal(of=of), fill(0.2, of), plane(of=of), fill(0.2, of)]
    expect(ranked(("TOP", "S1"), layers=layers), levels)


def test_copper_levels_are_filled_with_the_mean_of_the_laminates_beside_them():
    layers = list(mb.stackup().layers)
    other = dataclasses.replace(layers[9], dk=3.0)
    assert layers[10].name == "G3"
    layers[9] = other
    a, b, between = FR4, Material(dk_in_plane=3.0, dk_z=3.0), Material(dk_in_plane=3.4, dk_z=3.4)
    levels = [fill(0.2), plane(), fill(0.2), signal(of=between), fill(0.2, b), plane(of=between), fill(0.2, a)]
    expect(ranked(("TOP", "S1"), layers=Stackup(layers=tuple(layers))), levels)


# --- where it ends ----------------------------------------------------------------------------------------------------


def test_below_a_blind_end_lies_laminate_and_the_next_plane_without_a_hole():
    blind = dataclasses.replace(mb.VIA, name="blind", span=("TOP", "S2"))
    end = End(bore_radius=0.15 * 1.001 * MM, bore_dk=3.8, bored=(fill(0.2), plane(clearance=0.0)))
    row = ranked(("TOP", "S1"), padstack=blind)
    expect(row, [fill(0.2), plane(), fill(0.2), signal()], end=end)
    assert row.model_error.startswith("nearest covered case")


@pytest.mark.parametrize(
    ("given", "bore"), [({"depth_drill": "0.55 mm"}, 0.275), ({}, 0.25)], ids=["drill given", "0.2 mm wider assumed"]
)
def test_a_drilled_end(given, bore):
    """0.3 mm left below S1: 0.07 mm into the cavity below G2; the bore goes on through everything below."""
    bored = (fill(0.13), signal(), fill(0.2), plane(), fill(0.2))
    by_hand = chain([fill(0.2), plane(), fill(0.07)], end=End(bore_radius=bore * MM, bored=bored), feed=THROUGH)
    check = check_stub(
        "0.3 mm", "25 Gb/s", stackup=mb.stackup(), padstack=mb.VIA, layer="S1", return_vias=mb.RETURNS, z0="50 ohm",
        criterion=Criterion.loss(1), feed="through", **given,
    )  # fmt: skip
    loss = decibels(shunt_s(*by_hand.voltage_current(np.array([[12.5e9]])), 50.0)[1])[0, 0]
    assert check.loss == pytest.approx(loss, rel=1e-6)
    assert ("wider than the drill" in check.model) == (not given)


def test_a_pin_beyond_the_board_goes_on_in_air():
    """Entered on top, pin of 2.0 mm in a board of 1.41 mm: the end pad, then 0.59 mm of rod."""
    fit = PressFit(side="top", contact_from="0.1 mm", contact_to="0.5 mm", pin_length="2.0 mm")
    levels = [
        fill(0.2),
        plane(),
        fill(0.2),
        signal(),
        fill(0.2),
        plane(),
        fill(0.2),
        signal(0.25, of=AIR),
        fill(0.59, AIR),
    ]
    expect(ranked(("S1",), press_fit=fit), levels, end=End())


# --- return path and pairs --------------------------------------------------------------------------------------------


def test_a_pair_in_its_odd_mode():
    """Half of the differential impedance; return vias on this leg's side, mirrored on the other's."""
    away = ((1.4, 0.0), (-1.4, 0.0), (0.5, 0.9), (-0.5, 0.9))
    pair = mb.pair("A", ("TOP", "S1"), ("TOP", "S1"), z0="90 ohm")
    row = rank(mb.board(pair, mb.ground(1, away), places=0))["A"]
    path = Posts(positions=tuple((x * MM, y * MM) for x, y in away), radius=0.125 * MM)
    levels = [fill(0.2), plane(), fill(0.2), signal(), fill(0.2), plane(), fill(0.2)]
    expect(row, levels, path=path, pitch=0.9, z0=45.0)


def test_a_slot_acts_as_a_round_clearance_of_its_own_for_each_plane():
    """From plane to plane 0.43 mm, from G3 to the face of the board 0.2 mm and its copper."""
    slot = dataclasses.replace(mb.VIA, name="slot", antipad=Antipad(width="0.8 mm", shared=True))
    away = ((1.4, 0.0), (-1.4, 0.0))
    row = rank(
        mb.board(mb.pair("A", ("TOP", "S1"), ("TOP", "S1"), padstack=slot), mb.ground(1, away), places=0)
    )["A"]  # fmt: skip

    def shift(height, thickness=0.03):
        """Schwarz-Christoffel: d = (h/2 pi) {x ln x + (2+x) ln(2+x) - 2 (1+x) ln(1+x)}, x = t/h."""
        x = thickness / height
        return height / 2 / np.pi * (x * np.log(x) + (2 + x) * np.log(2 + x) - 2 * (1 + x) * np.log(1 + x)) * MM

    inner = float(equivalent_clearance(0.9 * MM, 0.4 * MM, shift(0.43))) / MM
    outer = float(equivalent_clearance(0.9 * MM, 0.4 * MM, (shift(0.43) + shift(0.23)) / 2)) / MM
    levels = [fill(0.2), plane(clearance=inner), fill(0.2), signal(), fill(0.2), plane(clearance=outer), fill(0.2)]
    path = Posts(positions=tuple((x * MM, y * MM) for x, y in away), radius=0.125 * MM)
    expect(row, levels, path=path, pitch=0.9, feed=beside(outer))


# --- what is missing --------------------------------------------------------------------------------------------------


def test_what_a_solved_stub_misses_is_said():
    no_plane = mb.stackup(roles=dict.fromkeys(mb.ROLES, "signal"))
    (said,) = rank(mb.board(mb.net("A", ("TOP", "S1")), layers=no_plane)).models.provenance
    assert said.tier != "solved geometry"
    assert re.search("not solved: .*no plane with an antipad along the hole", str(said))


def test_what_is_scanned_for_a_solved_stub_is_said():
    layers = mb.stackup(dk=None, material="prepreg A")
    (said,) = rank(mb.board(mb.net("A", ("TOP", "S1")), layers=layers)).models.provenance
    assert said.tier == "solved geometry"
    assert "unknown Dk taken as 1 to 13" in said.assumptions
    assert [text for text in said.open_inputs if text.startswith("Dk of")] == [
        f"Dk of dielectric {number} (prepreg A) is unknown: give it in the stackup" for number in (3, 4, 5, 6)
    ], "the stub begins below S1, so the two dielectrics above it do not matter"
    with pytest.raises(UnknownValueError, match=r"hole A\.0: Dk of dielectric 1 \(prepreg A\) is unknown"):
        hole_model(mb.board(mb.net("A", ("TOP", "S1")), layers=layers), "A.0")


# --- the first tier on a board, scikit-rf as oracle -------------------------------------------------------------------


def test_uniform_line_of_the_laminate():
    """Coax of drill and antipad in the laminate's Dk, copper barrel, half an isolated disk as end pad."""
    row = rank(mb.board(mb.net("A", ("TOP", "S1"), z0="45 ohm")), model="uniform")["A"]
    length, dk, d, big = 0.92 * MM, 3.8, 0.3 * MM, 0.8 * MM
    load = 4 * epsilon_0 * dk * 0.25 * MM
    z_stub = np.sqrt(mu_0 / epsilon_0 / dk) * np.log(big / d) / 2 / np.pi
    expected = brentq(
        lambda f: 2 * np.pi * f * length * np.sqrt(dk) / c + np.arctan(2 * np.pi * f * load * z_stub) - np.pi / 2,
        1e9, 100e9, xtol=1.0,
    )  # fmt: skip
    assert row.first_notch.m_as("GHz") == pytest.approx(expected / 1e9, rel=1e-9)

    frequency = skrf.Frequency(row.nyquist.m_as("GHz"), row.nyquist.m_as("GHz"), 1, unit="GHz")
    omega = 2 * np.pi * frequency.f
    series = np.sqrt(omega * mu_0 / 2 / COPPER) / (np.pi * d) + 1j * omega * mu_0 * np.log(big / d) / 2 / np.pi
    shunt = 1j * omega * 2 * np.pi * epsilon_0 * dk / np.log(big / d)
    media = skrf.media.DefinedGammaZ0(frequency, gamma=np.sqrt(series * shunt), z0=np.sqrt(series / shunt), z0_port=45)
    open_line = media.line(length, "m") ** media.capacitor(load) ** media.short()
    shown = decibels(media.shunt(open_line).s[0, 1, 0])
    assert row.loss == pytest.approx(shown, rel=1e-6)


# --- whole holes ------------------------------------------------------------------------------------------------------


def test_a_whole_hole_is_stub_barrel_stub():
    """From S1 to S2: 0.2 mm, G2, 0.2 mm of barrel between the two traces, which leave to opposite sides."""
    hole = mb.hole("A.0", ("S1", "S2"), traces="opposite")
    board = mb.board(dataclasses.replace(mb.net("A", ("S1", "S2")), holes=(hole,)))
    frequency = np.array([5e9, 20e9, 60e9])
    levels = [fill(0.2), plane(), fill(0.2)]
    opposite = Feed(inductance=-beside(0.4).inductance)
    below = chain(levels, feed=opposite)
    above = chain(levels, feed=opposite)
    through = chain([fill(0.2), plane(), fill(0.2)], end=None, feed=THROUGH).abcd(frequency)[0]
    shunts = [np.array([[[1, 0], [y, 1]] for y in stub.input_admittance(frequency)[0]]) for stub in (above, below)]
    abcd = shunts[0] @ through @ shunts[1]
    expected = skrf.network.a2s(abcd, 50.0)
    model = hole_model(board, "A.0")
    np.testing.assert_allclose(model.network([f"{f} Hz" for f in frequency]).s, expected, atol=1e-6)
    assert [stub.side for stub in model.stubs] == ["top", "bottom"]
    row = rank(board)["A"]
    assert model.below.notch_frequency().m_as("GHz") == pytest.approx(row.first_notch.m_as("GHz"), rel=1e-6)


def test_a_whole_hole_is_reciprocal_and_passive():
    model = hole_model(mb.board(mb.net("A", ("S1", "S2")), layers=mb.stackup(df=0.02, at="1 GHz")), "A.0")
    s = model.network([f"{f} GHz" for f in (0, 1, 10, 30, 60, 90)]).s
    np.testing.assert_allclose(s[:, 0, 1], s[:, 1, 0], atol=1e-12)
    assert np.all(np.linalg.norm(s[1:], ord=2, axis=(1, 2)) < 1)


@pytest.mark.parametrize("model", ["solved", "uniform"])
def test_without_stubs_and_between_the_same_layer_nothing_is_there(model):
    through = hole_model(mb.board(mb.net("A", ("TOP", "BOT"))), "A.0", model=model)
    assert through.stubs == ()
    low = through.network(["0.001 GHz"]).s[0]
    np.testing.assert_allclose(low, [[0, 1], [1, 0]], atol=1e-3)


def test_a_hole_of_unknown_return_vias_is_no_single_two_port():
    with pytest.raises(UnknownValueError, match=r"return vias of hole A\.0 are unknown"):
        hole_model(mb.board(mb.net("A", ("TOP", "S1")), places=0), "A.0")


def test_resin_between_two_laminates_is_the_mean_of_both():
    """Common practice, no source: the resin that flows into a copper layer comes from both sides."""
    above, below = (
        DielectricLayer(thickness="0.1 mm", dk=dk, df=df, at="1 GHz") for dk, df in ((3.0, 0.01), (4.0, 0.03))
    )
    top, inner, bottom = (CopperLayer(name=name, thickness="30 um") for name in ("T", "I", "B"))
    stackup = Stackup(layers=(top, above, inner, below, bottom))
    resin = filling_of(stackup, inner)
    assert (resin.dk_z, resin.df) == (pytest.approx(3.5), pytest.approx(0.02))
    assert filling_of(stackup, top).df == 0.01


def test_a_stackup_read_again_has_the_same_levels():
    """What is remembered of a stackup holds for every equal one, whichever of them a layer is taken from."""
    one, other = mb.stackup(), mb.stackup()
    span = Span(0, 0, 2, len(one.names) - 1)
    first = BarrelLayers.of(one, mb.VIA, span, "bottom", None)
    again = BarrelLayers.of(other, mb.VIA, span, "bottom", None)
    pads = [again.pad_radius(layer) for layer in other.copper]
    assert [pad is not None for pad in pads] == [name in ("TOP", "S1", "BOT") for name in one.names]
    assert [again.level(layer) for layer in other.layers] == [first.level(layer) for layer in one.layers]
