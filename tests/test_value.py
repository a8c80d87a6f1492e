"""Value objects: dimensioned fields as quantity and SI float, equality, copies with changes, pickles."""

from __future__ import annotations

import dataclasses
import pickle
from dataclasses import dataclass, field

import numpy as np
import pint
import pytest
from hypothesis import given

from stubsi import BoardError, Padstack, UnitError
from stubsi.checks import one_of, sequence
from stubsi.value import Converted, Dimension, InSI, OptionalDimension, Value
from tests.strategies import physical


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class Slot(Value):
    """A value object with one of each kind of field."""

    name: str
    width: Dimension = Dimension("length")
    width_si: float = field(init=False)
    depth: OptionalDimension = OptionalDimension("length", rule="any")
    depth_si: float | None = field(init=False)


def test_a_dimensioned_field_is_a_quantity_and_a_float():
    slot = Slot(name="a", width="10 mil")
    assert slot.width_si == 2.54e-4
    assert slot.width.m_as("mm") == pytest.approx(0.254, rel=1e-15)
    assert slot.depth is None
    assert slot.depth_si is None


@given(physical(1e-6, 1e-2))
def test_a_float_in_si_is_what_the_quantity_would_give(metres):
    assert Slot(name="a", width=InSI(metres)) == Slot(name="a", width=pint.Quantity(metres, "m"))


def test_a_field_that_must_be_given_says_so():
    with pytest.raises(UnitError, match="Slot width is missing: give it as text like '62 mil'"):
        Slot(name="a", width=None)


def test_equal_whatever_unit_it_came_in():
    assert Slot(name="a", width="1 in") == Slot(name="a", width="25.4 mm")
    assert hash(Slot(name="a", width="1 in")) == hash(Slot(name="a", width="25.4 mm"))
    assert Slot(name="a", width="1 in") != Slot(name="a", width="25.41 mm")
    assert Slot(name="a", width="1 in") != Slot(name="a", width="1 in", depth="0 mm")
    assert Slot(name="a", width="1 in") != 0.0254


@given(physical(1e-6, 1e-2), physical(1e-6, 1e-2))
def test_a_copy_with_changes_is_the_object_made_anew(width, depth):
    slot = Slot(name="a", width=InSI(width), depth="1 mm")
    assert slot.replaced(depth=InSI(depth)) == Slot(name="a", width=InSI(width), depth=InSI(depth))
    assert slot.replaced(name="b", depth=None) == dataclasses.replace(slot, name="b", depth=None)
    assert slot.replaced() == slot


def test_a_copy_is_checked_as_a_new_object_is():
    via = Padstack(name="via", drill="0.3 mm", pad="0.5 mm", antipad="0.8 mm")
    with pytest.raises(ValueError, match=r"drill = 0\.6 mm: must be smaller than antipad"):
        via.replaced(drill="0.6 mm", pad=None, antipad="0.5 mm")
    with pytest.raises(UnitError, match=r"Padstack drill = '0\.3': has no unit"):
        via.replaced(drill="0.3")
    for name in ("drill_si", "drlil"):
        with pytest.raises(TypeError, match=f"Padstack has no field '{name}' that can be given"):
            via.replaced(**{name: "0.3 mm"})


def test_nothing_remembered_is_pickled():
    slot = Slot(name="a", width="1 in")
    hash(slot)
    restored = pickle.loads(pickle.dumps(slot))
    assert restored == slot
    assert "_hash" not in vars(restored)


def doubled(value, what):
    if not isinstance(value, int):
        raise UnitError(f"{what} = {value!r}: must be an integer.")
    return 2 * value


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class TwoPart(Value):
    """A value object with converted fields: one that must be given, one that need not."""

    name: str = "a"
    count: Converted[int, int] = Converted(doubled)
    spare: Converted[int, int] = Converted(doubled, default=0)


def test_a_converted_field_keeps_what_its_function_makes():
    part = TwoPart(count=3)
    assert (part.count, part.spare) == (6, 0)
    assert part.replaced(spare=2).spare == 4
    assert part.replaced(spare=2).count == 6
    assert part == TwoPart(count=3, spare=0) != TwoPart(count=4)
    assert repr(part) == "TwoPart(name='a', count=6, spare=0)"


def test_an_error_of_a_converted_field_names_object_and_field():
    with pytest.raises(UnitError, match="two part b count = 'x': must be an integer"):
        TwoPart(name="b", count="x")
    with pytest.raises(UnitError, match="two part count = 'x'"):
        TwoPart(name=5, count="x")
    with pytest.raises(TypeError, match="count"):
        TwoPart()


@pytest.mark.parametrize(
    ("value", "of", "wanted"),
    [("L1", str, "a list of names"), (5, str, "a list of names"), ({"L1": 1}, str, "a list of names"),
     (np.array(5.0), str, "a list of names"), (None, Slot, "a list of Slots"), (None, object, "a list")],
    ids=repr,
)  # fmt: skip
def test_what_is_no_list_is_refused(value, of, wanted):
    with pytest.raises(BoardError, match=rf"things = .*: must be {wanted}\."):
        sequence(value, "things", of)


def test_lists_of_every_kind_become_tuples():
    for value in (["L1", "L2"], ("L1", "L2"), np.array(["L1", "L2"]), (name for name in ("L1", "L2"))):
        assert sequence(value, "layers") == ("L1", "L2")


@pytest.mark.parametrize("value", ["", " ", "left", "TOP", None, 1, ["top"], np.array(["top", "bottom"])], ids=repr)
def test_one_of_some_texts(value):
    with pytest.raises(BoardError, match=r"side = .*: must be 'top' or 'bottom'\."):
        one_of(value, "side", ("top", "bottom"))
    one_of("top", "side", ("top", "bottom"))


def test_it_cannot_be_changed():
    slot = Slot(name="a", width="1 in")
    with pytest.raises(dataclasses.FrozenInstanceError):
        slot.width_si = 1.0


def test_a_long_value_prints_its_beginning():
    """A short one prints as Python code that makes it again."""
    short, long = Slot(name="a", width="1 mm"), Slot(name="a" * 1000, width="1 mm")
    assert repr(short) == "Slot(name='a', width='1 mm', depth=None)"
    assert eval(repr(short)) == short
    assert repr(long).startswith("<Slot name='aaa")
    assert repr(long).endswith("a…>")
    assert len(repr(long)) == 199


def test_a_notebook_shows_the_fields_of_a_value():
    page = Slot(name="<b>", width="1 mm")._repr_html_()
    for cell in ("Slot", "name", "&lt;b&gt;", "width", "1 mm", "depth"):
        assert f">{cell}<" in page
    assert "None" not in page
