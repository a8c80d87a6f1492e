"""Arguments of a wrong type: every constructor of a board part refuses them with a clear error of the library."""

from __future__ import annotations

import numpy as np
import pytest

from stubsi import (
    Antipad,
    CopperLayer,
    Criterion,
    DepthDrill,
    DielectricLayer,
    Hole,
    Net,
    Padstack,
    PressFit,
    ReturnVias,
    Signal,
    Stackup,
    StubsiError,
)

VIA = Padstack(name="via", drill="0.3 mm", pad="0.5 mm", antipad="0.8 mm")
HOLE = Hole(name="A1", padstack=VIA, connects=("TOP",), x="1 mm", y="2 mm")
TOP, BOTTOM = CopperLayer(name="TOP", thickness="35 um"), CopperLayer(name="BOT", thickness="35 um")

VALUES = {
    "None": None,
    "zero": 0,
    "number": 5.0,
    "huge integer": 10**5000,
    "true": True,
    "complex": 1j,
    "text": "wrong",
    "blank": "",
    "Arabic digits": "\u0663 mm",
    "bytes": b"5 mm",
    "list": [],
    "list of numbers": [1, 2],
    "list of texts": ["wrong", "worse"],
    "list of lists": [[["wrong"]]],
    "dict": {"wrong": 5},
    "array": np.array([1.0, 2.0]),
    "array of one": np.array(5.0),
    "array of texts": np.array(["wrong", "worse"]),
    "object": object(),
    "type": int,
}

NAMES = {"text", "Arabic digits"}
"""Values that are good as a name, material or source: a text that is not blank."""
LISTS = {"list", "list of texts", "array of texts"}
"""Values that are good as a list of names; no name at all is a list, too."""

PARTS = {
    Signal: ({"rate": "10 Gb/s"}, {"rate": set(), "modulation": {"None"}}),
    Criterion: (
        {"measure": "loss", "limit": 1.0, "source": "test"},
        {"measure": set(), "limit": {"number", "array of one"}, "source": NAMES},
    ),
    Antipad: ({"width": "0.8 mm"}, {"width": set(), "shared": {"true"}}),
    Padstack: (
        {"name": "via", "drill": "0.3 mm"},
        {
            "name": NAMES,
            "drill": set(),
            "finished": {"None"},
            "pad": {"None"},
            "pads": {"list"},
            "antipad": {"None"},
            "antipads": {"list"},
            "non_functional_pads": set(),
            "span": {"None", "list of texts", "array of texts"},
        },
    ),
    PressFit: (
        {"side": "top", "contact_from": "0.2 mm", "contact_to": "0.6 mm"},
        {"side": set(), "contact_from": set(), "contact_to": set(), "pin_length": {"None"}},
    ),
    Hole: (
        {"name": "A1", "padstack": VIA, "x": "1 mm", "y": "2 mm"},
        {
            "name": NAMES,
            "padstack": set(),
            "connects": LISTS,
            "x": set(),
            "y": set(),
            "leg": {"blank"},
            "press_fit": {"None"},
        },
    ),
    ReturnVias: ({"positions": [("1 mm", "0 mm")], "drill": "0.3 mm"}, {"positions": {"list"}, "drill": set()}),
    DepthDrill: (
        {"side": "top", "residual_stub": "0.2 mm", "drill": "0.5 mm"},
        {"side": set(), "residual_stub": set(), "drill": set(), "fill_dk": {"number", "array of one"}},
    ),
    Net: (
        {"name": "CLK", "holes": [HOLE], "signal": "10 Gb/s", "z0": "50 ohm"},
        {
            "name": NAMES,
            "holes": set(),
            "signal": set(),
            "z0": set(),
            "layers": LISTS,
            "criterion": {"None"},
            "waiver": NAMES | {"blank"},
            "reference": set(),
        },
    ),
    CopperLayer: ({"name": "TOP", "thickness": "35 um"}, {"name": NAMES, "thickness": set(), "role": set()}),
    DielectricLayer: (
        {"thickness": "1 mm"},
        {
            "thickness": set(),
            "dk": {"None", "number", "array of one"},
            "df": {"None", "zero"},
            "dk_in_plane": {"None", "number", "array of one"},
            "at": {"None"},
            "material": NAMES | {"blank"},
            "source": NAMES | {"blank"},
        },
    ),
    Stackup: (
        {"layers": (TOP, DielectricLayer(thickness="1 mm"), BOTTOM)},
        {"layers": set(), "source": NAMES | {"blank"}},
    ),
}
"""Each constructor with arguments that are good, and for each argument the values above that are good as well."""

ARGUMENTS = [(part, argument) for part, (_, arguments) in PARTS.items() for argument in arguments]
NAMED_AS = {"positions": "position", "limit": "loss", "fill_dk": "fill_dk", "pads": "pad", "antipads": "antipad"}
"""What an error may call an argument, where it is not its own name."""


@pytest.mark.parametrize(
    ("part", "argument"), ARGUMENTS, ids=[f"{part.__name__} {argument}" for part, argument in ARGUMENTS]
)
def test_a_wrong_type_is_refused_by_name(part, argument):
    complaints = {value: wrong_with(part, argument, value) for value in VALUES}
    assert {value: complaint for value, complaint in complaints.items() if complaint} == {}


def wrong_with(part, argument, value):
    """What is wrong with how a value is taken, or refused; blank where nothing is."""
    good, arguments = PARTS[part]
    is_good = value in arguments[argument]
    try:
        made = part(**{**good, argument: VALUES[value]})
    except StubsiError as error:
        message = str(error)
        is_clear = NAMED_AS.get(argument, argument) in message and len(message) < 1200 and message.endswith(".")
        return "" if is_clear and not is_good else f"refused: {message[:1300]}"
    except Exception as error:  # whatever is not an error of the library is told with its value
        return repr(error)
    return "" if is_good and isinstance(made, part) else "taken"


@pytest.mark.parametrize(
    ("positions", "message"),
    [
        ([("0.5 mm",)], r"return via position = \('0.5 mm',\): must be x and y, like \('0.5 mm', '0 mm'\)"),
        ([("1 mm", "2 mm", "3 mm")], "must be x and y"),
        ([()], r"return via position = \(\): must be x and y"),
        (["1 mm"], r"return via position = '1 mm': must be a list of x and y"),
        (("1 mm", "2 mm"), r"return via position = '1 mm': must be a list of x and y"),
        ("x", r"return via positions = 'x': must be a list of x and y"),
        (5, "return via positions = 5: must be a list of x and y"),
        ({"x": "1 mm"}, "must be a list of x and y"),
        ([("1 mm", 2)], "return via position y = 2: has no unit"),
        ([("1 GHz", "2 mm")], "return via position x = '1 GHz': .*a length is wanted"),
        ([(["1 mm"], "2 mm")], "return via position x = .*one value is wanted, not a list"),
    ],
    ids=repr,
)
def test_positions_that_are_no_pairs_of_lengths(positions, message):
    with pytest.raises(StubsiError, match=message):
        ReturnVias(positions=positions, drill="0.3 mm")


def test_return_vias_are_one_value_in_every_unit():
    inch = ReturnVias(positions=[("1 in", "0 mm")], drill="10 mil")
    metric = ReturnVias(positions=np.array([["25.4 mm", "0 um"]]), drill="0.254 mm")
    assert inch == metric == eval(repr(inch))
    assert hash(inch) == hash(metric)
    assert inch.positions_si == ((0.0254, 0.0),)
    assert inch.positions[0][0].m_as("in") == pytest.approx(1.0, rel=1e-14)
