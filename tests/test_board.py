"""Holes, nets and boards: what is given is kept, what contradicts itself or the stackup is refused by name."""

from __future__ import annotations

import dataclasses
import itertools
import pickle

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stubsi import (
    Antipad,
    Board,
    BoardError,
    CopperLayer,
    Criterion,
    DielectricLayer,
    Hole,
    Net,
    Padstack,
    PressFit,
    Signal,
    Stackup,
    StubsiError,
    UnitError,
)
from stubsi.board.hole_kinds import Span
from stubsi.board.overlaps import first_overlap, near_pairs

ROLES = {"L1": "signal", "L2": "plane", "L3": "signal", "L4": "mixed", "L5": "plane", "L6": "signal"}


def stackup():
    layers = []
    for name, role in ROLES.items():
        layers += [CopperLayer(name=name, thickness="35 um", role=role), DielectricLayer(thickness="0.2 mm", dk=4)]
    return Stackup(layers=tuple(layers[:-1]))


def padstack(**given):
    return Padstack(**{"name": "V1", "drill": "0.3 mm", "pad": "0.6 mm", "antipad": "1 mm", **given})


def hole(name="U1.A1", **given):
    return Hole(**{"name": name, "padstack": padstack(), "connects": ("L1", "L3"), **given})


def net(name="TX0", **given):
    return Net(**{"name": name, "holes": (hole(),), "signal": "PCIe 5.0", "z0": "50 ohm", **given})


def pair(**given):
    return net(**{"holes": (hole("P1", leg="P"), hole("N1", leg="N")), "z0": "85 ohm", **given})


def ground(**given):
    return Net(**{"name": "GND", "holes": (hole("G1", connects=()),), "reference": True, **given})


def board(*nets, **given):
    return Board(**{"stackup": stackup(), "nets": nets or (net(),), "name": "demo", **given})


def span_of(**given):
    only = hole(**given)
    return board(net(holes=(only,))).span(only)


def test_a_through_hole_used_at_one_end_leaves_one_stub():
    assert span_of() == Span(first=0, upper_in_use=0, lower_in_use=2, last=5)


def test_a_hole_between_inner_layers_leaves_two():
    assert span_of(connects=("L3", "L4")) == Span(first=0, upper_in_use=2, lower_in_use=3, last=5)


def test_a_hole_used_at_both_ends_leaves_none():
    span = span_of(connects=("L6", "L1"))
    assert (span.first, span.last) == (span.upper_in_use, span.lower_in_use)


def test_blind_and_buried_spans():
    assert span_of(padstack=padstack(span=("L1", "L3")), connects=("L1", "L3")) == Span(0, 0, 2, 2)
    assert span_of(padstack=padstack(span=("L2", "L5")), connects=("L3",)) == Span(1, 2, 2, 4)


def test_a_press_fit_pin_counts_as_a_layer_in_use():
    fit = PressFit(side="top", contact_from="0.1 mm", contact_to="0.5 mm")
    assert span_of(connects=("L3",), press_fit=fit) == Span(0, 0, 2, 5)
    from_below = PressFit(side="bottom", contact_from="0.1 mm", contact_to="0.5 mm")
    assert span_of(connects=("L3",), press_fit=from_below) == Span(0, 2, 5, 5)


def test_holes_of_one_padstack_keep_their_own_spans():
    fit = PressFit(side="top", contact_from="0.1 mm", contact_to="0.5 mm")
    shared = padstack()
    plain = Hole(name="H1", padstack=shared, connects=("L3",))
    fitted = Hole(name="H2", padstack=shared, connects=("L3",), press_fit=fit)
    other = Hole(name="H3", padstack=shared, connects=("L4",))
    whole = board(net(holes=(plain, fitted, other)))
    assert [whole.span(h).upper_in_use for h in (plain, fitted, other)] == [2, 0, 3]


def test_a_pair_is_one_net():
    assert pair().is_pair
    assert not net().is_pair
    assert pair().z_stub_line_si == pytest.approx(42.5)
    assert net().z_stub_line_si == pytest.approx(50)


def test_a_net_takes_a_signal_in_any_form():
    for signal in ("PCIe 5.0", "32 Gb/s", Signal("PCIe 5.0")):
        assert net(signal=signal).signal == Signal("PCIe 5.0")


def test_reference_nets_are_not_ranked():
    whole = board(net(), ground())
    assert [n.name for n in whole.signal_nets] == ["TX0"]
    assert [h.name for h in whole.return_vias] == ["G1"]
    assert [h.name for _, h in whole.holes()] == ["U1.A1"]


def test_a_reference_hole_runs_through_the_whole_board():
    whole = board(net(), ground())
    assert whole.span(whole.return_vias[0]) == Span(first=0, upper_in_use=0, lower_in_use=5, last=5)


def test_without_reference_nets_return_vias_are_unknown_not_absent():
    assert board().return_vias is None


def test_the_nearest_criterion_goes_first():
    own, by_signal, general = (Criterion.loss(limit) for limit in (1, 2, 3))
    nets = (net("A", criterion=own), net("B", holes=(hole("B1"),)), net("C", holes=(hole("C1"),), signal="10GBASE-KR"))
    whole = board(*nets, criterion=general, signal_criteria={"32 Gb/s": by_signal})
    assert [whole.criterion_of(n) for n in nets] == [own, by_signal, general]


BAD_HOLES = {
    "no name": ({"name": ""}, r"hole name = '': must be a text that is not blank"),
    "no padstack": ({"padstack": None}, "hole U1.A1 padstack = None: must be a Padstack"),
    "padstack by name": ({"padstack": "V1"}, "hole U1.A1 padstack = 'V1': must be a Padstack"),
    "layer as text": ({"connects": "L1"}, "hole U1.A1 connects = 'L1': must be a list of names"),
    "layers of none": ({"connects": None}, "hole U1.A1 connects = None: must be a list of names"),
    "layer by number": ({"connects": (1,)}, "hole U1.A1 connects = 1: must be a text"),
    "layer twice": ({"connects": ("L1", "L1")}, "hole U1.A1 connects = L1, L1: names a layer twice"),
    "leg": ({"leg": "X"}, "hole U1.A1 leg = 'X': must be 'P' or 'N', or left out"),
    "small leg": ({"leg": "p"}, "leg = 'p': must be 'P' or 'N'"),
    "half a place": ({"x": "1 mm"}, "hole U1.A1: gives x or y alone; give both or neither"),
    "press fit": ({"press_fit": "yes"}, "hole U1.A1 press_fit = 'yes': must be a PressFit"),
}


@pytest.mark.parametrize("name", BAD_HOLES)
def test_refused_holes(name):
    given, why = BAD_HOLES[name]
    with pytest.raises(BoardError, match=why):
        hole(**given)


@pytest.mark.parametrize("bad", [1, "1", "nan mm", "1,5 mm", "5 GHz"], ids=repr)
def test_refused_places(bad):
    with pytest.raises(UnitError, match="Hole x = "):
        hole(x=bad, y="0 mm")


def test_places_may_be_negative():
    assert hole(x="-1 mm", y="0 mm").xy_si == (-1e-3, 0.0)
    assert hole().xy_si is None


BAD_NETS = {
    "no name": ({"name": " "}, "net name = ' ': must be a text that is not blank"),
    "no holes": ({"holes": ()}, "net TX0: has no holes"),
    "holes by name": ({"holes": ("U1.A1",)}, "net TX0 holes = 'U1.A1': must be a Hole"),
    "one hole, no list": ({"holes": hole()}, "net TX0 holes = .*: must be a list of Holes"),
    "no signal": ({"signal": None}, "net TX0: signal is missing"),
    "no z0": ({"z0": None}, "net TX0: z0 is missing"),
    "layers as text": ({"layers": "L3"}, "net TX0 layers = 'L3': must be a list of names"),
    "criterion": ({"criterion": 5}, "net TX0 criterion = 5: must be a Criterion"),
    "waiver": ({"waiver": True}, "net TX0 waiver = True: must be a text"),
    "blank waiver": ({"waiver": " "}, "net TX0 waiver = ' ': must be a text that is not blank"),
    "unused hole": ({"holes": (hole(connects=()),)}, "net TX0: hole U1.A1 connects no layer"),
    "one leg": ({"holes": (hole(leg="P"),)}, "net TX0: holes must all name their leg"),
    "a hole without leg": ({"holes": (hole(leg="P"), hole("B"), hole("C", leg="N"))}, "must all name their leg"),
    "reference with signal": (
        {"reference": True},
        "net TX0: is reference: signal, z0, criterion and waiver do not apply",
    ),
    "reference as text": ({"reference": "no"}, "net TX0 reference = 'no': must be True or False"),
}


@pytest.mark.parametrize("name", BAD_NETS)
def test_refused_nets(name):
    given, why = BAD_NETS[name]
    with pytest.raises(BoardError, match=why):
        net(**given)


@pytest.mark.parametrize("bad", [50, "50", "0 ohm", "-50 ohm", "nan ohm", "5 mm", "50 + 1 ohm"], ids=repr)
def test_refused_z0(bad):
    with pytest.raises(UnitError, match="Net z0 = "):
        net(z0=bad)


@pytest.mark.parametrize("given", [{"waiver": "slow"}, {"criterion": Criterion.loss(1)}, {"z0": "50 ohm"}], ids=str)
def test_a_reference_net_carries_nothing(given):
    with pytest.raises(BoardError, match="net GND: is reference"):
        ground(**given)


def one(**given):
    return net(holes=(hole(**given),))


def fit(**given):
    return PressFit(**{"side": "top", "contact_from": "0.1 mm", "contact_to": "0.5 mm", **given})


def blind(*span):
    return padstack(span=span)


BAD_BOARDS = {
    "net twice": ([net(), net(holes=(hole("B"),))], "net 'TX0' appears 2 times; each name must be unique"),
    "hole twice": ([net(), net("TX1")], "hole 'U1.A1' appears 2 times; each name must be unique"),
    "hole twice in a net": ([net(holes=(hole(), hole()))], "hole 'U1.A1' appears 2 times"),
    "unknown layer": (
        [one(connects=("L1", "L9"))],
        "hole U1.A1 connects: layer 'L9': no such copper layer; known are L1, L2, L3, L4, L5, L6",
    ),
    "unknown routing layer": ([net(layers=("L9",))], "net TX0 layers: layer 'L9': no such copper layer"),
    "layer outside the span": (
        [one(padstack=blind("L1", "L2"))],
        r"hole U1.A1 connects 'L3': lies outside the hole's span L1 to L2 \(padstack V1\)",
    ),
    "span upside down": ([one(padstack=blind("L3", "L1"))], "span = L3, L1: must go from an upper to a lower layer"),
    "span of nothing": ([one(padstack=blind("L1", "L1"), connects=("L1",))], "must go from an upper to a lower layer"),
    "unknown span": ([one(padstack=blind("L1", "L9"))], "padstack V1 span: layer 'L9': no such copper layer"),
    "pad on an unknown layer": ([one(padstack=padstack(pads={"L9": "0.5 mm"}))], "padstack V1: layer 'L9'"),
    "antipad on an unknown layer": ([one(padstack=padstack(antipads={"L9": "1 mm"}))], "padstack V1: layer 'L9'"),
    "pad outside the span": (
        [one(padstack=padstack(pads={"L6": "0.5 mm"}, span=("L1", "L3")))],
        "padstack V1: layer 'L6' lies outside its span",
    ),
    "pad wider than its clearance": (
        [one(padstack=padstack(pads={"L2": "1.1 mm"}))],
        "padstack V1 pad on L2 = 1.1 mm: must be smaller than the antipad there, 1 mm",
    ),
    "contact beyond the board": (
        [one(press_fit=fit(contact_to="2 mm"))],
        "hole U1.A1 press fit contact_to = 2 mm: lies beyond the board, which is 1.21 mm thick",
    ),
    "two padstacks of one name": (
        [one(), net("TX1", holes=(hole("B", padstack=padstack(antipad="1.1 mm")),))],
        "padstack 'V1' of hole B differs from the padstack of the same name of hole U1.A1; give each padstack a name",
    ),
    "pin at no face": (
        [one(press_fit=fit(side="bottom"), padstack=blind("L1", "L3"))],
        "hole U1.A1 press fit side = 'bottom': the hole does not reach that face",
    ),
}


@pytest.mark.parametrize("name", BAD_BOARDS)
def test_refused_boards(name):
    nets, why = BAD_BOARDS[name]
    with pytest.raises(BoardError, match=why):
        board(*nets)


BAD_PARTS = {
    "stackup": ({"stackup": None}, "board stackup = None: must be a Stackup"),
    "criterion": ({"criterion": 5}, "board criterion = 5: must be a Criterion"),
    "one net, no list": ({"nets": net()}, "board nets = .*: must be a list of Nets"),
    "signal criterion": ({"signal_criteria": {"PCIe 5.0": 5}}, "criterion of PCIe 5.0 = 5: must be a Criterion"),
    "signal twice": (
        {"signal_criteria": {"PCIe 5.0": Criterion.loss(1), "32 Gb/s": Criterion.loss(2)}},
        "signal criterion '32 GBd NRZ' appears 2 times",
    ),
    "signal criteria": ({"signal_criteria": None}, "board signal_criteria = None: must be"),
    "name": ({"name": 5}, "board name = 5: must be a text"),
    "nets by name": ({"nets": ["TX0"]}, "board nets = 'TX0': must be a Net"),
    "nets as text": ({"nets": "TX0"}, "board nets = 'TX0': must be a list of Nets"),
}


@pytest.mark.parametrize("name", BAD_PARTS)
def test_refused_parts(name):
    given, why = BAD_PARTS[name]
    with pytest.raises(BoardError, match=why):
        board(**given)


@pytest.mark.parametrize("wrong", [0, True, "", "L1", b"L1", [1], {"L1": 1}, [["L1"]], object(), int], ids=str)
@pytest.mark.parametrize("argument", ["stackup", "nets", "criterion", "signal_criteria", "name"])
def test_arguments_of_the_wrong_kind_are_refused(argument, wrong):
    if argument == "name" and isinstance(wrong, str):
        return
    with pytest.raises(StubsiError):
        board(**{argument: wrong})


def test_a_removed_pad_may_be_wider_than_the_antipads():
    stack = padstack(pad="1.1 mm", non_functional_pads="removed")
    assert board(one(padstack=stack)).nets[0].holes[0].padstack == stack


def test_an_antipad_on_a_mixed_layer_counts_there():
    with pytest.raises(BoardError, match=r"pad on L4 = 0.6 mm: must be smaller|pad = 0.6 mm: must be smaller"):
        board(one(padstack=padstack(antipads={"L4": "0.5 mm"})))


def test_unknown_net():
    with pytest.raises(BoardError, match="net 'XX': no such net on board demo; names there are, for example, TX0"):
        board().net("XX")
    with pytest.raises(KeyError, match="net 5: must be the name of a net on board demo"):
        board().net(5)
    assert board().net("TX0").name == "TX0"


def test_a_name_is_looked_up_not_searched_for():
    """One comparison finds it among 2,000 nets."""
    nets = [net(f"N{i}", holes=(hole(f"H{i}"),)) for i in range(2000)]
    whole = board(*nets)
    asked = Counting("N1999")
    assert whole.net(asked).name == "N1999"
    assert asked.comparisons <= 2


class Counting(str):
    """A name that counts how often it is compared with others."""

    __slots__ = ("comparisons",)

    def __eq__(self, other):
        self.comparisons = getattr(self, "comparisons", 0) + 1
        return str.__eq__(self, other)

    __hash__ = str.__hash__


def test_equal_padstacks_may_be_given_twice():
    """Two parsers of one file make two equal padstacks: one kind of hole."""
    whole = board(net(), net("TX1", holes=(hole("B", padstack=padstack()),)))
    assert len(whole.kinds) == 1


def test_a_hole_of_another_board_has_no_span():
    with pytest.raises(BoardError, match="hole X: is not a hole of board demo"):
        board().span(hole("X", connects=("L6",)))


def test_holes_as_arrays():
    slotted = padstack(name="slotted", antipad=Antipad(width="1 mm", shared=True))
    whole = full()
    columns = whole.signal_holes
    assert [h.name for h in columns.holes] == ["P1", "N1", "U1.A1"]
    assert columns.net.tolist() == [0, 0, 1]
    assert columns.leg.tolist() == [1, 2, 0]
    assert columns.place[:2].tolist() == [0, 1e-3]
    assert np.isnan(columns.place[2])
    assert [whole.kinds[kind].padstack for kind in columns.kind] == [slotted, slotted, padstack()]
    assert [h.name for h in whole.reference_holes.holes] == ["G1"]
    with pytest.raises(ValueError, match="read-only"):
        columns.net[0] = 1


def test_a_copy_with_another_criterion_shares_everything_else():
    whole = full()
    other = whole.with_criterion(Criterion.loss(3))
    assert other == dataclasses.replace(whole, criterion=Criterion.loss(3))
    assert other != whole
    assert other.signal_holes is whole.signal_holes
    with pytest.raises(BoardError, match="criterion"):
        whole.with_criterion("loss")


# --- drills that run into each other ----------------------------------------------------------------------------------


def drilled(*holes):
    """A board of a reference net with a hole of a drill at x [mm] each, over the layers of a span."""
    made = []
    for number, (drill, x, span) in enumerate(holes):
        stack = Padstack(name=f"D{drill}{span}", drill=f"{drill} mm", span=span)
        made.append(Hole(name=f"H{number}", padstack=stack, x=f"{x} mm", y="0 mm"))
    return board(net("GND", signal=None, z0=None, holes=made, reference=True))


@pytest.mark.parametrize(
    ("holes", "pair"),
    [
        ([(0.3, 0, None), (0.3, 0.29, None)], "H0 and H1 are 0.29 mm apart: must be at least 0.3 mm"),
        ([(0.3, 0, None), (6, 3.1, None)], "H0 and H1 are 3.1 mm apart: must be at least 3.15 mm"),
        ([(6, 0, None), (0.3, 9, None), (0.2, 3.05, None)], "H0 and H2 are 3.05 mm apart: must be at least 3.1 mm"),
        ([(6, 0, None), (6, 5.9, None)], "H0 and H1 are 5.9 mm apart: must be at least 6 mm"),
        ([(0.3, 5, None)] * 3, "H0 and H1 are 0 mm apart: must be at least 0.3 mm"),
        ([(0.3, 0, ("L1", "L3")), (0.3, 0, ("L2", "L5"))], "H0 and H1 are 0 mm apart"),
    ],
    ids=str,
)
def test_drills_that_run_into_each_other_are_refused(holes, pair):
    with pytest.raises(BoardError, match=pair):
        drilled(*holes)


@pytest.mark.parametrize(
    "holes",
    [
        [(0.3, 0, None), (0.3, 0.3, None)],
        [(0.3, 0, None), (6, 3.15, None), (0.3, 6.3, None)],
        [(0.3, 0, ("L1", "L3")), (0.3, 0, ("L3", "L5")), (0.3, 0, ("L5", "L6"))],
        [(0.3, 0, ("L1", "L3")), (6, 1, ("L3", "L6"))],
    ],
    ids=str,
)
def test_drills_that_touch_or_share_no_layer_are_taken(holes):
    assert drilled(*holes).return_vias is not None


@given(st.lists(st.tuples(st.sampled_from([0.2, 0.3, 0.5, 1.0, 6.0]), st.integers(0, 40), st.integers(0, 40)),
                min_size=2, max_size=8))  # fmt: skip
def test_the_search_for_overlaps_finds_what_a_look_at_every_pair_finds(holes):
    drill, x, y = np.array(holes, dtype=float).T
    place, layer = x + 1j * y, np.arange(len(x)) % 2
    found = first_overlap(place, drill, layer, layer + 2)
    expected = [
        (i, j)
        for i, j in itertools.combinations(range(len(x)), 2)
        if abs(place[i] - place[j]) < (drill[i] + drill[j]) / 2
        and max(layer[i], layer[j]) < min(layer[i], layer[j]) + 2
    ]
    assert (found is None) == (not expected)
    assert found is None or found in expected


def full():
    slot = Antipad(width="1 mm", shared=True)
    slotted = padstack(name="slotted", antipad=slot)
    holes = (hole("P1", leg="P", padstack=slotted, x="0 mm", y="0 mm", press_fit=fit()),
             hole("N1", leg="N", padstack=slotted, x="1 mm", y="0 mm", press_fit=fit()))  # fmt: skip
    nets = (pair(holes=holes, layers=("L3",), waiver="measured"), ground(), net("SLOW", signal="3200 MT/s"))
    return board(*nets, signal_criteria={"3200 MT/s": Criterion.loss(1)})


def test_a_board_is_a_value():
    whole = full()
    for twin in (pickle.loads(pickle.dumps(whole)), dataclasses.replace(whole), full()):
        assert twin == whole
        assert hash(twin) == hash(whole)
        assert twin.criterion_of(twin.net("SLOW")) == Criterion.loss(1)
        assert twin.span(twin.net("TX0").holes[0]) == Span(0, 0, 2, 5)
    fewer = dataclasses.replace(whole, nets=whole.nets[:1])
    assert fewer != whole
    with pytest.raises(dataclasses.FrozenInstanceError):
        whole.name = "other"


def test_a_board_prints_in_one_short_line():
    assert repr(full()) == "<Board demo: 6 copper layers, 3 nets, 4 holes>"
    assert repr(board(name="")) == "<Board without a name: 6 copper layers, 1 nets, 1 holes>"
    assert len(repr(board(name="x" * 1000))) < 200


def test_nets_holes_and_stackups_print_short():
    """Print says which one it is. The figures are in its fields, and in the table that a notebook shows."""
    whole = full()
    assert repr(whole.net("SLOW")) == "<Net SLOW: 1 hole, 3200 MT/s NRZ>"
    assert repr(whole.net("TX0").holes[0]) == "<Hole P1: slotted, leg P, connects L1, L3>"
    many = whole.net("SLOW").replaced(name="x" * 1000, holes=[hole(f"H{i}") for i in range(1000)])
    layers = tuple(f"layer {i}" for i in range(100))
    for thing in (whole.stackup, many, hole("x" * 1000, connects=layers), *whole.nets):
        assert len(repr(thing)) < 200
    assert len(many._repr_html_()) < 3000  # 1000 of them are the name


def test_a_notebook_shows_all_of_a_net():
    text = "".join(net._repr_html_() for net in full().nets)
    text += "".join(each._repr_html_() for net in full().nets for each in net.holes)
    for part in (
        "measured",
        "shared=True",
        "SLOW",
        "3200 MT/s",
        "contact_to=&#x27;0.5 mm",
        '<td style="text-align:left">N',
        "L3",
    ):
        assert part in text


def test_one_wide_hole_does_not_widen_the_search_around_the_narrow_ones():
    """A grid of 40 x 40 holes a millimetre apart and a mounting hole: only its own neighbours are looked at."""
    x, y = np.meshgrid(np.arange(40), np.arange(40))
    narrow = (x + 1j * y).ravel() * 1e-3
    place, drill = np.append(narrow, 0.1 + 0.1j), np.append(np.full(1600, 0.3e-3), 6e-3)
    looked_at = sum(len(one) for one, _ in near_pairs(place, drill))
    assert looked_at < 200
