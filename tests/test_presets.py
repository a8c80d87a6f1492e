"""The table of presets: all that has a name is in it, with the value that the library uses and a source."""

from __future__ import annotations

import pytest

from stubsi import RULES_OF_THUMB, BoardError, Criterion, Signal, ThicknessClass, presets
from stubsi.board.line_rates import LINE_RATES


def values(kind):
    table = presets(kind)
    return dict(zip(table["name"], table["value"], strict=True))


def test_every_line_rate_is_what_a_signal_of_that_name_has():
    table = values("line rate")
    assert sum(len(names.split(", ")) for names in table) == sum(len(rate.names) for rate in LINE_RATES)
    for names, value in table.items():
        for name in names.split(", "):
            signal = Signal(name)
            assert value.startswith(f"{signal.symbol_rate.magnitude:g} GBd {signal.modulation}, ")
            assert value.endswith(f" {signal.nyquist.magnitude:g} GHz")


def test_every_rule_of_thumb_is_there():
    assert set(values("rule of thumb")) == set(RULES_OF_THUMB)
    assert values("rule of thumb")["TI 15 mil"] == "stub length at most 0.381 mm"  # 15 x 0.0254 mm


def test_thickness_classes_as_published():
    """IPC-4101 class B: 4 mil +/-0.7 mil, 31 to 40 mil +/-4 mil; as the source of the class lists them."""
    value = values("thickness class")["IPC-4101 B"]
    assert value.startswith("0.1016 mm +/-0.01778 mm; ")
    assert value.endswith("0.7874 mm to 1.016 mm +/-0.1016 mm")


def test_every_preset_has_a_source_and_says_where_it_was_not_looked_up():
    table = presets()
    assert (table["source"].str.len() > 5).all()
    assert set(table["kind"]) == {"line rate", "rule of thumb", "thickness class", "usual range"}
    assert "from memory" in table.set_index("name")["source"]["Simonovich 2017"]
    assert ThicknessClass(name="IPC-4101 L").source in set(table["source"])
    assert RULES_OF_THUMB["Bogatin 2015"].source in set(table["source"])
    assert isinstance(RULES_OF_THUMB["Bogatin 2015"], Criterion)


def test_an_unknown_kind_is_refused_with_the_kinds():
    with pytest.raises(BoardError, match="kind = 'laminate': must be one of line rate, rule of thumb"):
        presets("laminate")
