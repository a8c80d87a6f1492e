"""Padstacks: diameters that fit into each other, pads and clearances by layer, press-fit contact zones."""

from __future__ import annotations

import dataclasses
import pickle

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stubsi import Antipad, BoardError, Padstack, PressFit, UnitError
from tests.other_registry import Q
from tests.strategies import physical


def padstack(**given):
    return Padstack(**{"name": "V1", "drill": "0.3 mm", **given})


def full():
    return padstack(
        finished="0.25 mm",
        pad="0.6 mm",
        pads={"L3": "0.5 mm", "L2": None},
        antipad="1 mm",
        antipads={"L4": Antipad(width="0.9 mm", shared=True)},
        span=("L1", "L6"),
    )


def test_what_is_given_is_kept():
    stack = full()
    assert stack.drill.m_as("mm") == pytest.approx(0.3)
    assert stack.finished.m_as("mm") == pytest.approx(0.25)
    assert stack.pad_at("L1", in_use=False, outer=True) == pytest.approx(0.6e-3)
    assert stack.pad_at("L3", in_use=False, outer=False) == pytest.approx(0.5e-3)
    assert stack.pad_at("L2", in_use=False, outer=False) is None
    assert stack.antipad_at("L4", "plane") == Antipad(width="0.9 mm", shared=True)
    assert stack.antipad_at("L5", "plane") == Antipad(width="1 mm")


def test_a_mixed_layer_is_a_plane_only_where_an_antipad_says_so():
    assert full().antipad_at("L5", "mixed") is None
    assert full().antipad_at("L4", "mixed").shared


def test_unknown_antipad_stays_unknown():
    assert padstack().antipad_at("L2", "plane") is None


def test_removed_pads_stay_on_outer_layers_and_layers_in_use():
    stack = padstack(pad="0.6 mm", non_functional_pads="removed")
    assert stack.pad_at("L2", in_use=False, outer=False) is None
    assert stack.pad_at("L2", in_use=True, outer=False) == pytest.approx(0.6e-3)
    assert stack.pad_at("L1", in_use=False, outer=True) == pytest.approx(0.6e-3)


@given(physical(0.1, 1.0), physical(0.0, 0.5), physical(0.001, 1.0))
def test_diameters_that_fit_are_taken(drill, ring, gap):
    pad, antipad = drill + ring, drill + ring + gap
    stack = padstack(drill=f"{drill} mm", pad=f"{pad} mm", antipad=f"{antipad} mm", finished=f"{drill * 0.8} mm")
    assert stack.finished_si < stack.drill_si <= stack.pad_si < stack.antipad.width_si


@given(physical(0.1, 1.0), st.floats(0.3, 1.0))
def test_a_drill_not_below_its_antipad_is_refused(drill, ratio):
    with pytest.raises(BoardError, match=r"padstack V1 drill = .*: must be smaller than antipad = "):
        padstack(drill=f"{drill} mm", antipad=f"{drill * ratio} mm")


MISFITS = {
    "finished as large as the drill": (
        {"finished": "0.3 mm"},
        "finished = 0.3 mm: must be smaller than drill = 0.3 mm",
    ),
    "finished in another unit": ({"finished": "12 mil"}, "finished = 0.3048 mm: must be smaller than drill = 0.3 mm"),
    "pad below drill": ({"pad": "0.2 mm"}, "pad = 0.2 mm: must not be smaller than drill = 0.3 mm"),
    "one pad below drill": ({"pads": {"L2": "0.2 mm"}}, "pad = 0.2 mm: must not be smaller than drill"),
    "antipad as large as the drill": ({"antipad": "0.3 mm"}, "drill = 0.3 mm: must be smaller than antipad = 0.3 mm"),
    "one antipad too small": (
        {"antipads": {"L2": "0.3 mm"}},
        "drill = 0.3 mm: must be smaller than antipad L2 = 0.3 mm",
    ),
    "pad as large as the antipad": (
        {"pad": "0.8 mm", "antipad": "0.8 mm"},
        "pad = 0.8 mm: must be smaller than antipad",
    ),
    "pad and antipad of one layer": (
        {"pads": {"L2": "0.9 mm"}, "antipads": {"L2": "0.8 mm"}},
        "pad = 0.9 mm: must be smaller than antipad L2 = 0.8 mm",
    ),
    "span of one": ({"span": ("L1",)}, r"span = \('L1',\): must be two layer names, first and last"),
    "span of three": ({"span": ("L1", "L2", "L3")}, "must be two layer names"),
    "span as text": ({"span": "L1"}, "span = 'L1': must be a list of names"),
    "span of two letters": ({"span": "AB"}, "span = 'AB': must be a list of names"),
    "span as number": ({"span": 5}, "span = 5: must be a list of names"),
    "pads as text": ({"pads": "L2"}, "pads = 'L2': must be"),
    "pads as a list": ({"pads": ["L2"]}, "pads = 'L2': must be"),
    "pads of none": ({"pads": None}, "pads = None: must be"),
    "pad of a number": ({"pads": {2: "0.5 mm"}}, "pads layer = 2: must be a text"),
    "pads name a layer twice": ({"pads": [("L2", "0.5 mm"), ("L2", "0.6 mm")]}, "pads: names a layer twice"),
    "antipads name a layer twice": ({"antipads": [("L2", "1 mm"), ("L2", "2 mm")]}, "antipads: names a layer twice"),
    "antipad as mapping": ({"antipad": {"slot": "1 mm"}}, r"give a length, or Antipad\(width=..., shared=True\)"),
    "unused pads": ({"non_functional_pads": "no"}, "non_functional_pads = 'no': must be 'kept' or 'removed'"),
}


@pytest.mark.parametrize("name", MISFITS)
def test_refused_padstacks(name):
    given, why = MISFITS[name]
    with pytest.raises(BoardError, match=f"padstack V1 {why}" if not why.startswith(("must", "give")) else why):
        padstack(**given)


@pytest.mark.parametrize("name", ["", " ", None, 5], ids=repr)
def test_refused_name(name):
    with pytest.raises(BoardError, match="padstack name = "):
        padstack(name=name)


@pytest.mark.parametrize(
    "bad", [0.3, "0.3", "", "0 mm", "-1 mm", "nan mm", "0,3 mm", "5 GHz", Q(12, "mil"), True, ["1 mm"]], ids=repr
)
@pytest.mark.parametrize("field", ["drill", "finished", "pad", "antipad", "pads", "antipads"])
def test_refused_diameters(field, bad):
    with pytest.raises(UnitError, match=r"(Padstack|padstack V1) \w+"):
        padstack(**{field: {"L2": bad} if field.endswith("s") else bad})


@pytest.mark.parametrize("shared", ["no", "yes", 1, 0, None], ids=repr)
def test_a_slot_is_shared_or_not(shared):
    with pytest.raises(BoardError, match=r"antipad shared = .*: must be True or False"):
        Antipad(width="1 mm", shared=shared)


def test_a_padstack_is_a_value():
    stack = full()
    short = stack.replaced(pads=(), antipads=())
    assert eval(repr(short)) == short
    assert repr(stack).startswith("<Padstack name=")
    assert len(repr(stack)) < 200
    for twin in (pickle.loads(pickle.dumps(stack)), dataclasses.replace(stack), full()):
        assert twin == stack
        assert hash(twin) == hash(stack)
        assert twin.pad_at("L3", in_use=True, outer=False) == stack.pad_at("L3", in_use=True, outer=False)
    bigger = dataclasses.replace(stack, drill="0.35 mm")
    assert bigger != stack
    assert bigger.pads == stack.pads


def test_equal_in_every_unit():
    mil = padstack(drill="12 mil", antipad="62 mil", pads={"L2": "20 mil"})
    mm = padstack(drill="0.3048 mm", antipad="1.5748 mm", pads={"L2": Q(508, "um")})
    assert mil == mm
    assert hash(mil) == hash(mm)


def test_order_of_pads_does_not_matter():
    one = padstack(pads={"L2": "0.5 mm", "L3": "0.6 mm"})
    assert one == padstack(pads={"L3": "0.6 mm", "L2": "0.5 mm"})


def fit(**given):
    return PressFit(**{"side": "top", "contact_from": "0.3 mm", "contact_to": "1 mm", **given})


def test_a_pin_may_end_inside_or_beyond_the_board():
    assert fit().pin_length is None
    assert fit(pin_length="3 mm").pin_length.m_as("mm") == pytest.approx(3)
    assert fit(contact_from="0 mm").contact_from.m_as("mm") == 0


@pytest.mark.parametrize("side", ["left", "", None, "Top"], ids=repr)
def test_refused_side(side):
    with pytest.raises(BoardError, match=r"press fit side = .*: must be 'top' or 'bottom'"):
        fit(side=side)


@pytest.mark.parametrize("end", ["0.3 mm", "0.2 mm"])
def test_the_contact_zone_has_a_length(end):
    with pytest.raises(BoardError, match=r"contact_to = .*: must lie deeper than contact_from = 0.3 mm"):
        fit(contact_to=end)


@pytest.mark.parametrize("field", ["contact_from", "contact_to", "pin_length"])
@pytest.mark.parametrize("bad", [1, "1", "-1 mm", "nan mm", "1,5 mm", "5 GHz"], ids=repr)
def test_refused_depths(field, bad):
    with pytest.raises(UnitError, match=f"PressFit {field}"):
        fit(**{field: bad})
