"""Geometry that nothing built can have: an error at every door that can know it, which names the argument and the fix.

Every rule here is geometry (two things cannot be in one place) or a size beyond anything built; the bounds are stated
in ``size_limits``, common practice, no source.
"""

from __future__ import annotations

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from stubsi import (
    Antipad,
    Board,
    CopperLayer,
    DepthDrill,
    DielectricLayer,
    Hole,
    Net,
    Padstack,
    PressFit,
    ReturnVias,
    StubsiError,
    check_stub,
    hole_model,
    layer_matrix,
    rank,
    read_board,
    stub_budget,
)
from tests import drilling_boards
from tests import margin_boards as mb


def vias(*positions, drill="0.25 mm"):
    return ReturnVias(positions=[(f"{x} mm", f"{y} mm") for x, y in positions], drill=drill)


def on_board(stackup, padstack, layer, return_vias=None, pitch=None):
    """The same hole or pair on a board, and return vias as the holes of a reference net."""
    nets = [mb.pair("A", (layer,), (layer,), pitch=pitch) if pitch else mb.net("A", (layer,))]
    holes = [Hole(name=h.name, padstack=padstack, connects=h.connects, leg=h.leg, x=h.x, y=h.y) for h in nets[0].holes]
    nets = [Net(name="A", signal="25 Gb/s", z0="50 ohm", holes=holes)]
    if return_vias is not None:
        post = Padstack(name="return", drill=return_vias.drill)
        posts = [Hole(name=f"G{i}", padstack=post, x=x, y=y) for i, (x, y) in enumerate(return_vias.positions)]
        nets.append(Net(name="GND", holes=posts, reference=True))
    return Board(stackup=stackup, nets=nets)


def from_file(tmp_path, stackup, padstack, layer, return_vias=None, pitch=None):
    """The same as the text of a board file."""
    lines = ["[stackup]", "layer = ["]
    for each in stackup.layers:
        thickness = f'thickness = "{each.thickness_si} m"'
        if isinstance(each, CopperLayer):
            lines.append(f'  {{copper = "{each.name}", {thickness}, role = "{each.role}"}},')
        else:
            lines.append(f'  {{dielectric = "d", {thickness}, dk = {each.dk}}},')
    clearance = f'"{padstack.antipad.width_si} m"'
    clearance = f"{{slot = {clearance}}}" if padstack.antipad.shared else clearance
    pad = f'"{padstack.pad_si} m"' if padstack.pad_si else '"none"'
    pads = ", ".join(f'{name} = "{size} m"' for name, size in padstack.pads_si)
    lines += [
        "]", "[[padstack]]", 'name = "via"', f'drill = "{padstack.drill_si} m"', f"pad = {pad}", f"pads = {{{pads}}}",
        f"antipad = {clearance}", f'non_functional_pads = "{padstack.non_functional_pads}"',
    ]  # fmt: skip
    if padstack.span:
        lines.append(f"span = {list(padstack.span)}")
    legs = [("", 0.0)] if pitch is None else [('leg = "P", ', pitch / 2), ('leg = "N", ', -pitch / 2)]
    holes = ", ".join(
        f'{{name = "A{x}", {leg}padstack = "via", connects = ["{layer}"], at = ["{x} mm", "0 mm"]}}' for leg, x in legs
    )
    lines += ["[[net]]", 'name = "A"', 'signal = "25 Gb/s"', 'z0 = "50 ohm"', f"holes = [{holes}]"]
    if return_vias is not None:
        at = ", ".join(f'["{x} m", "{y} m"]' for x, y in return_vias.positions_si)
        lines[lines.index("[[net]]") : 0] = []
        lines += [
            "[[padstack]]", 'name = "post"', f'drill = "{return_vias.drill_si} m"', 'pad = "none"',
            "[[reference]]", 'name = "GND"', 'padstack = "post"', f"at = [{at}]",
        ]  # fmt: skip
    path = tmp_path / "card.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    return read_board(path)


def given_as_arguments(pitch=None, **more):
    return more if pitch is None else {**more, "pitch": f"{pitch} mm"}


DOORS = {
    "board": lambda _, **hole: on_board(**hole),
    "file": from_file,
    "check_stub": lambda _, **hole: check_stub("0.1 mm", "25 Gb/s", **given_as_arguments(**hole)),
    "stub_budget": lambda _, **hole: stub_budget("25 Gb/s", **given_as_arguments(**hole)),
    "layer_matrix": lambda _, layer, stackup, **hole: layer_matrix(
        stackup, ["25 Gb/s"], entry=layer, z0="50 ohm", **given_as_arguments(**hole)
    ),
}

BARE = Padstack(name="via", drill="0.3 mm", antipad="0.8 mm")
SLOT = Padstack(name="via", drill="0.3 mm", antipad=Antipad(width="1 mm", shared=True))
WIDE = Padstack(name="via", drill="0.3 mm", antipad="3 mm")
PLANE_PAD = Padstack(name="via", drill="0.3 mm", pad="0.5 mm", pads={"G2": "0.9 mm"}, antipad="0.8 mm")
BLIND = Padstack(name="via", drill="0.3 mm", antipad="0.8 mm", span=("TOP", "S1"))

IMPOSSIBLE = {
    "pitch below the drill": ({"pitch": 0.25}, "0.25 mm apart: must be at least 0.3 mm, or their drills run into"),
    "pads of a pair overlap": (
        {"pitch": 0.45, "padstack": mb.VIA}, "0.45 mm apart: must be at least 0.5 mm, or their copper overlaps on",
    ),
    "return via on the barrel": (
        {"return_vias": vias((0.2, 0.0))}, "0.2 mm apart: must be at least 0.275 mm, or their drills run into each",
    ),
    "return via in the very centre": ({"return_vias": vias((0.0, 0.0))}, "0 mm apart: must be at least 0.275 mm"),
    "return via in a pad": (
        {"return_vias": vias((0.3, 0.0)), "padstack": mb.VIA}, "0.3 mm apart: must be at least 0.375 mm, or their",
    ),
    "return via in a clearance": (
        {"return_vias": vias((1.0, 0.0), (0.0, 0.39))}, "0.39 mm from hole .*: lies inside its antipad, 0.8 mm wide",
    ),
    "antipad wider than the way to the return via": (
        {"return_vias": mb.RETURNS, "padstack": WIDE}, "1 mm from hole .*: lies inside its antipad, 3 mm wide on G1",
    ),
    "return via in a slot, between the barrels": (
        {"return_vias": vias((0.0, 0.3)), "padstack": SLOT, "pitch": 1.0}, "lies inside its antipad, 1 mm wide on G1",
    ),
    "return via on the barrel of a pair": (
        {"return_vias": vias((0.6, 0.0), (-0.6, 0.0)), "pitch": 1.0}, "0.1 mm apart: must be at least 0.275 mm",
    ),
    "pad wider than the antipad": ({"padstack": PLANE_PAD}, "pad on G2 = 0.9 mm: must be smaller than the antipad"),
    "plane in use": ({"layer": "G1"}, "'G1': is a plane, which no signal net uses; give another layer, or"),
    "layer beyond the hole": ({"padstack": BLIND, "layer": "S2"}, "'S2'.*|entry = 'S2': the hole goes from TOP to S1"),
}  # fmt: skip


@pytest.mark.parametrize("door", DOORS)
@pytest.mark.parametrize("name", IMPOSSIBLE)
def test_impossible_holes_are_refused_at_every_door(name, door, tmp_path):
    changed, why = IMPOSSIBLE[name]
    hole = {"stackup": mb.stackup(), "padstack": BARE, "layer": "S1", **changed}
    with pytest.raises(StubsiError, match=why) as caught:
        DOORS[door](tmp_path, **hole)
    assert str(caught.value).endswith(".")
    if door not in ("board", "file") and {"pitch", "return_vias"} & set(changed):
        assert str(caught.value).startswith("return_vias: " if "return_vias" in changed else "pitch = ")


@pytest.mark.parametrize("door", ["check_stub", "stub_budget", "layer_matrix"])
def test_a_pair_of_barrels_far_apart_is_no_pair(door, tmp_path):
    """On a board the legs may have holes far apart: one leg may change layers where the other does not."""
    with pytest.raises(StubsiError, match="pitch = 60 mm: must be at most 50 mm, because two barrels so far apart"):
        DOORS[door](tmp_path, stackup=mb.stackup(), padstack=BARE, layer="S1", pitch=60.0)


WIDEST = "must be at most 25 mm, because no hole of a board that is drilled and plated is wider; check its unit"
FIT = {"side": "top", "contact_from": "0.1 mm", "contact_to": "0.8 mm"}

PARTS = {
    "primary drill": (lambda: Padstack(name="via", drill="50 mm"), f"padstack via drill = 50 mm: {WIDEST}"),
    "return-via drill": (lambda: vias((60, 0), drill="50 mm"), f"return via drill = 50 mm: {WIDEST}"),
    "depth drill": (
        lambda: DepthDrill(side="bottom", residual_stub="0.1 mm", drill="50 mm"),
        f"depth drill drill = 50 mm: {WIDEST}",
    ),
    "oversize": (lambda: drilling_boards.rules(oversize="50 mm"), f"rules oversize = 50 mm: {WIDEST}"),
    "mask": (
        lambda: drilling_boards.rules(datum="mask", mask_thickness="5 mm"),
        "rules mask_thickness = 5 mm: must be at most 0.5 mm, because no solder mask is thicker; check its unit",
    ),
    "pin above its contact zone": (
        lambda: PressFit(**FIT, pin_length="0.7 mm"),
        "press fit pin_length = 0.7 mm: must not be smaller than contact_to = 0.8 mm, because the pin touches",
    ),
    "return vias in each other": (
        lambda: vias((1, 0), (0, 1), (1.1, 0)),
        "return via positions number 1 and 3 are 0.1 mm apart: must be at least their drill = 0.25 mm",
    ),
    "a return via twice": (lambda: vias((1, 0), (1, 0)), "return via positions number 1 and 2 are 0 mm apart"),
}  # fmt: skip


@pytest.mark.parametrize("name", PARTS)
def test_impossible_parts_are_refused_where_they_are_made(name):
    make, why = PARTS[name]
    with pytest.raises(StubsiError, match=why):
        make()


@pytest.mark.parametrize("door", ["check_stub", "stub_budget"])
@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({"depth_drill": "50 mm"}, f"depth_drill = 50 mm: {WIDEST}"),
        (
            {"depth_drill": "2 mm"},
            "depth_drill = 2 mm: must be at most 1.75 mm, or it cuts a return via, 1 mm from",
        ),
        (
            {"depth_drill": "1.4 mm", "pitch": 0.8, "return_vias": vias((1.5, 0.0), (-1.5, 0.0))},
            "depth_drill = 1.4 mm: must be at most 1.3 mm, or it cuts the other barrel of the pair, 0.8 mm from",
        ),
    ],
)
def test_a_depth_drill_that_cuts_another_barrel_is_refused(door, changed, why, tmp_path):
    hole = {"stackup": mb.stackup(), "padstack": BARE, "layer": "S1", "return_vias": mb.RETURNS, **changed}
    with pytest.raises(StubsiError, match=why):
        DOORS[door](tmp_path, **hole)


def test_a_depth_drill_into_a_hole_of_a_board_obeys_the_same_rule():
    drill = DepthDrill(side="bottom", residual_stub="0.1 mm", drill="2 mm")
    with pytest.raises(StubsiError, match=r"hole A\.0 depth drill = 2 mm: must be at most 1.75 mm, or it cuts"):
        hole_model(mb.board(mb.net("A", ("TOP", "S1"))), "A.0", drilled=[drill])


def test_holes_farther_apart_than_a_board_is_large():
    nets = [
        mb.net("A", ("S1",)),
        Net(name="B", signal="25 Gb/s", z0="50 ohm", holes=[mb.hole("B.0", ("S1",), (0, 4e3))]),
    ]
    with pytest.raises(StubsiError, match=r"distance in y between holes A\.0 and B.0 = 4000 mm: must be at most 3000"):
        mb.board(*nets, places=0)


def test_a_pad_in_use_that_touches_the_plane_of_a_mixed_layer_is_refused():
    """The trace leaves on a mixed layer, inside its antipad; a pad without use there is removed."""
    roles = dict(mb.ROLES, S1="mixed")
    padstack = Padstack(
        name="v", drill="0.3 mm", pad="0.6 mm", antipad="0.8 mm", antipads={"S1": "0.5 mm"},
        non_functional_pads="removed",
    )  # fmt: skip
    with pytest.raises(StubsiError, match=r"hole A\.0 connects 'S1': its pad there is 0\.6 mm wide, which must be sma"):
        mb.board(mb.net("A", ("TOP", "S1"), padstack=padstack), layers=mb.stackup(roles=roles))
    assert mb.board(mb.net("A", ("TOP", "S2"), padstack=padstack), layers=mb.stackup(roles=roles))


@pytest.mark.parametrize("door", ["check_stub", "stub_budget", "layer_matrix"])
def test_a_slot_of_a_stub_without_pitch_is_refused(door, tmp_path):
    with pytest.raises(StubsiError, match="pitch: missing; the antipad of padstack via is a slot that the two holes"):
        DOORS[door](tmp_path, stackup=mb.stackup(), padstack=SLOT, layer="S1")


def test_a_routing_layer_is_no_plane():
    with pytest.raises(StubsiError, match="net A layers 'G2': is a plane, which no signal net uses"):
        mb.board(mb.net("A", ("S1",), layers=("S1", "G2")))


def test_pads_of_two_nets_overlap_only_where_both_reach():
    """0.4 mm apart with pads of 0.5 mm: on S2 both have one in use; a blind hole that ends above is clear of it."""

    def beside(padstack, layer):
        other = Hole(name="B.0", padstack=padstack, connects=(layer,), x="0.4 mm", y="0 mm")
        return mb.board(mb.net("A", ("S2",)), Net(name="B", signal="1 Gb/s", z0="50 ohm", holes=[other]), places=0)

    bare = {"drill": "0.05 mm", "antipad": "0.3 mm", "pads": {"S1": "0.5 mm"}}
    with pytest.raises(StubsiError, match=r"holes A.0 and B.0 are 0.4 mm apart.* at least 0.5 mm.*overlaps on S2"):
        beside(Padstack(name="other", drill="0.05 mm", pads={"S2": "0.5 mm"}, antipad="0.3 mm"), "S2")
    blind = Padstack(name="blind", **bare, span=("G1", "S1"), non_functional_pads="removed")
    assert beside(blind, "S1").net("B")


def test_pads_of_one_net_may_overlap():
    holes = [mb.hole(f"A.{x}", ("S1",), (x, 0.0)) for x in (0.0, 0.4)]
    assert mb.board(Net(name="A", signal="25 Gb/s", z0="50 ohm", holes=holes), places=0).nets


def test_reference_nets_may_be_parts_of_one_net():
    """Their pads may overlap, because a file names a reference net for each padstack."""
    post = Padstack(name="post pad", drill="0.25 mm", pad="0.5 mm")
    grounds = [Net(name=f"G{x}", holes=[mb.hole(f"G{x}.0", (), (x, 1.0), post)], reference=True) for x in (0.0, 0.4)]
    assert Board(stackup=mb.stackup(), nets=[mb.net("A", ("S1",)), *grounds]).return_vias


def test_a_return_via_inside_one_of_several_clearances_is_no_contradiction():
    """The void below the pad of the uppermost plane may be wider: the via meets the planes below it."""
    void = Padstack(name="void", drill="0.3 mm", antipad="0.8 mm", antipads={"G1": "2.4 mm"})
    assert on_board(mb.stackup(), void, "S1", mb.RETURNS).nets
    assert check_stub("0.1 mm", "25 Gb/s", stackup=mb.stackup(), padstack=void, layer="S1", return_vias=mb.RETURNS)


def isolated(name="isolated", **more):
    return Padstack(name=name, drill="0.25 mm", antipad="0.7 mm", **more)


def test_a_reference_hole_that_meets_no_plane_is_no_return_via():
    """The via in the middle of four is kept off every plane: the notch is that without it. If none meets a plane, the
    return vias are unknown."""

    def ranked(*places_and_padstacks):
        holes = [mb.hole(f"G{i}", (), at, padstack) for i, (at, padstack) in enumerate(places_and_padstacks)]
        ground = Net(name="GND", holes=holes, reference=True)
        return rank(Board(stackup=mb.stackup(), nets=[mb.net("A", ("TOP", "S1")), ground]))["A"]

    far = [((x, y), mb.POST) for x, y in ((1.5, 0.0), (-1.5, 0.0))]
    assert ranked(*far, ((0.8, 0.0), isolated())).first_notch == ranked(*far).first_notch
    assert ranked(*far, ((0.8, 0.0), mb.POST)).first_notch != ranked(*far).first_notch
    unknown = ranked(((0.8, 0.0), isolated()))
    assert unknown.first_notch < unknown.first_notch_to


def test_a_reference_hole_meets_the_planes_it_names_and_those_without_antipad():
    """Isolated from some planes is usual: from a supply plane, for example."""

    def notch(padstack, connects=()):
        ground = Net(name="GND", holes=[Hole(name="G", padstack=padstack, connects=connects, x="1 mm", y="0 mm")],
                     reference=True)  # fmt: skip
        return rank(Board(stackup=mb.stackup(), nets=[mb.net("A", ("TOP", "S1")), ground]))["A"].first_notch

    some = Padstack(name="some", drill="0.25 mm", antipads={"G2": "0.7 mm"})
    assert notch(some) == notch(mb.POST) == notch(isolated(), connects=("G1", "G3"))


SIZES = st.floats(0.1, 1.4)


@settings(max_examples=10)
@given(drill=SIZES, antipad=SIZES, pad=SIZES, via=SIZES, at=SIZES, pitch=st.none() | SIZES, shared=st.booleans())
@example(drill=0.5, antipad=1.0, pad=0.5, via=0.875, at=0.875, pitch=None, shared=False)  # moved to the clearance
def test_what_is_not_refused_is_solved(drill, antipad, pad, via, at, pitch, shared):
    """No geometry of a stub with planes, known laminate and known return vias falls back to a weaker model: it is
    impossible, and an error, or it is solved."""
    try:
        padstack = Padstack(name="via", drill=f"{drill} mm", pad=f"{pad} mm",
                            antipad=Antipad(width=f"{antipad} mm", shared=shared and pitch is not None),
                            non_functional_pads="removed")  # fmt: skip
        known = vias((at, 0.0), (-at, 0.0), drill=f"{via} mm")
        check = check_stub("0.9 mm", "25 Gb/s", stackup=mb.stackup(), padstack=padstack, layer="S1", return_vias=known,
                           pitch=None if pitch is None else f"{pitch} mm")  # fmt: skip
    except StubsiError:
        return
    assert check.provenance.not_solved is None, check.provenance.not_solved


def test_a_dielectric_whose_model_does_not_exist_is_refused():
    with pytest.raises(StubsiError, match="dielectric layer at = 1e-08 GHz: must lie between 1 kHz and 1 THz"):
        DielectricLayer(thickness="1 mm", dk=4, df=0.02, at="10 Hz")
    with pytest.raises(StubsiError, match=r"dielectric layer df = 0.9: so high a loss tangent"):
        DielectricLayer(thickness="1 mm", dk=4, df=0.9, at="1 GHz")
