"""Rules files: rules, costs and criteria in TOML, read, written and read back."""

from __future__ import annotations

import itertools
import os
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stubsi import (
    RULES_OF_THUMB,
    BoardError,
    Costs,
    Criterion,
    DepthTolerance,
    FabricatorRules,
    FileError,
    GuaranteedResidual,
    read_costs,
    read_criteria,
    read_rules,
    write_rules,
)
from tests.board_text import changed
from tests.random_boards import criteria, lengths, names, texts
from tests.strategies import dks, physical
from tests.test_board_writer import floats

DEMO = Path(__file__).parents[1] / "shared" / "demo_rules.toml"
TEXT = DEMO.read_text(encoding="utf-8")
COUNT = itertools.count()

guarantees = st.builds(
    GuaranteedResidual, least=lengths(-0.1, 0.05), nominal=st.none() | lengths(0.06, 0.1), most=lengths(0.2, 0.3),
    source=texts,
)  # fmt: skip
tolerances = st.builds(
    DepthTolerance, plus=st.just("0 mm") | lengths(0.01, 0.2), minus=lengths(0.01, 0.2), source=texts,
    thickness_plus=physical(0, 0.2), thickness_minus=physical(0, 0.2),
    reference=st.sampled_from(["face", "measured thickness"]),
)  # fmt: skip
sensing = st.builds(
    DepthTolerance, plus=lengths(0.01, 0.2), minus=lengths(0.01, 0.2), thickness_plus=physical(0, 0.2),
    thickness_minus=physical(0, 0.2), reference=st.just("sensed layer"), source=texts,
    sensed=st.fixed_dictionaries({"bottom": names}),
)  # fmt: skip
unknown_or = st.none() | st.just("0 mm") | lengths(0.01, 0.5)


@st.composite
def rules(draw):
    datum = draw(st.sampled_from(["copper", "laminate", "mask"]))
    return FabricatorRules(
        oversize=draw(lengths(0.1, 0.4)), tip_angle=draw(st.none() | physical(30, 180)), tip_distance=draw(unknown_or),
        least_depth=draw(unknown_or), least_plated=draw(unknown_or), copper_clearance=draw(unknown_or),
        edge_tolerance=draw(unknown_or), hole_clearance=draw(unknown_or),
        sides=draw(st.fixed_dictionaries({"bottom": names})),
        tolerance=draw(guarantees | tolerances | sensing), datum=datum,
        mask_thickness=draw(lengths(0.01, 0.1)) if datum == "mask" else None,
        depth_to=draw(st.sampled_from(["tip", "shoulder"])), source=draw(texts), fill_dk=draw(st.just(1.0) | dks),
        sources=draw(st.dictionaries(st.sampled_from(["tip_angle", "sides", "tolerance", "oversize"]), texts)),
    )  # fmt: skip


costs = st.builds(
    Costs, side=physical(0, 1e4), set_up=physical(0, 1e4), group=physical(0, 1e4), hole=physical(0, 1), source=texts
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("rules")


@given(rules=rules(), costs=costs, criteria=st.dictionaries(names.filter(lambda n: n not in RULES_OF_THUMB), criteria))
@settings(max_examples=25)
def test_what_is_written_reads_back_bit_for_bit(rules, costs, criteria, folder):
    path = write_rules(folder / f"{next(COUNT)}.toml", rules=rules, costs=costs, criteria=criteria)
    assert read_rules(path) == rules
    assert floats(read_rules(path)) == floats(rules)
    assert read_costs(path) == costs
    assert not criteria or read_criteria(path) == criteria


def test_the_demo_rules_are_those_of_the_readme():
    invented = "invented for the demo"
    assert read_rules(DEMO) == FabricatorRules(
        oversize="0.2 mm", tip_angle=150, tip_distance=None, least_depth="0.2 mm", least_plated="0.5 mm",
        copper_clearance="0.15 mm", edge_tolerance="0.05 mm", hole_clearance="0.2 mm", sides={"bottom": "any"},
        datum="copper", depth_to="tip",
        tolerance=GuaranteedResidual.plus_minus("8 mil", "3 mil", source=invented), source=invented,
    )  # fmt: skip
    assert read_costs(DEMO) == Costs(side=100, set_up=20, group=5, hole=0.01, source=invented)
    assert read_criteria(DEMO) == {"house": Criterion.notch_ratio(4, source=invented)}


def test_each_part_may_stand_alone(tmp_path):
    path = write_rules(tmp_path / "rules.toml", costs=read_costs(DEMO))
    assert read_costs(path) == read_costs(DEMO)
    for read, part in ((read_rules, "rules"), (read_criteria, "criteria")):
        with pytest.raises(FileError, match=rf"rules\.toml: \[{part}\] is missing"):
            read(path)


WRONG = {
    "no unit": ('oversize         = "0.2 mm"', "oversize = 0.2", r"\[rules\] oversize = 0.2: must be a length"),
    "unknown rule": ("tip_angle", "tip_angel", r"\[rules\]: unknown key 'tip_angel'; did you mean 'tip_angle'"),
    "unknown table": ("[costs]", "[cost]", "unknown key 'cost'; did you mean 'costs'"),
    "both tolerances": ("[costs]", "[rules.depth_tolerance]\n[costs]", "must hold exactly one of"),
    "no tolerance": (
        "\n[rules.guaranteed_residual]",
        "\n[criteria.other]",
        "must hold exactly one of .*; it holds none",
    ),
    "order": ('"11 mil"', '"1 mil"', r"\[rules.guaranteed_residual\]: .* must be in this order"),
    "comma": ('"5 mil"', '"5,0 mil"', r"\[rules.guaranteed_residual\]: .*comma"),
    "side": ("{bottom", "{botom", r"\[rules\]: rules sides"),
    "negative cost": ("= 20", "= -20", r"\[costs\]: cost per set_up = -20"),
    "no source": ('hole   = 0.01\nsource = "invented for the demo"', "hole = 0.01", r"\[costs\]: source is missing"),
    "two limits": (
        "notch_ratio = 4",
        "notch_ratio = 4\nloss = 1",
        "must hold exactly one limit",
    ),
    "published": ("[criteria.house]", '[criteria."TI 15 mil"]', "is the name of a published rule"),
}


@pytest.mark.parametrize(("old", "new", "says"), WRONG.values(), ids=WRONG)
@pytest.mark.parametrize("read", [read_rules, read_costs, read_criteria])
def test_a_wrong_file_is_refused_whole_with_the_place(old, new, says, read, tmp_path):
    path = tmp_path / "rules.toml"
    path.write_text(changed(TEXT, old, new), encoding="utf-8")
    with pytest.raises(FileError, match=rf"rules\.toml: .*{says}"):
        read(path)


def test_nothing_is_replaced_unless_the_caller_says_so(tmp_path):
    path = write_rules(tmp_path / "rules.toml", rules=read_rules(DEMO))
    with pytest.raises(FileError, match="exists already"):
        write_rules(path, costs=read_costs(DEMO))
    assert read_rules(path) == read_rules(DEMO)
    write_rules(path, costs=read_costs(DEMO), replace=True)
    assert read_costs(path) == read_costs(DEMO)


def test_nothing_to_write_and_names_of_published_rules_are_refused(tmp_path):
    with pytest.raises(BoardError, match="nothing is given"):
        write_rules(tmp_path / "rules.toml")
    with pytest.raises(BoardError, match="published rule"):
        write_rules(tmp_path / "rules.toml", criteria={"TI 15 mil": read_criteria(DEMO)["house"]})
    assert os.listdir(tmp_path) == []
