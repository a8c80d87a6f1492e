"""The manual in the docstrings: its tables recomputed, its board file read, its map complete."""

from __future__ import annotations

import csv
import re
import textwrap
from pathlib import Path

import numpy as np
import pytest

import stubsi
from stubsi import RULES_OF_THUMB, drilling, files, margin, notch_frequency, physics, read_board, stub_budget, stubs
from stubsi.board import criterion
from stubsi.margin.verdict import Verdict
from stubsi.stubs.model_error import Regime, notch_error
from tests.fullwave import main
from tests.public import PUBLIC, PUBLIC_FUNCTIONS

ROOT = Path(__file__).parent.parent


def after(page, words):
    """The indented block after the line that ends with some words."""
    block = page.split(f"{words}::\n\n")[1]
    return textwrap.dedent(re.match(r"(?:    .*\n|\n)+", block)[0])


@pytest.mark.parametrize("name", PUBLIC_FUNCTIONS)
def test_the_map_shows_every_public_function(name):
    assert re.search(rf"(?:^    |, ){name}\b", stubsi.__doc__, re.MULTILINE)


def test_the_map_names_nothing_that_is_not_there():
    for name in re.findall(r"^    (\w+(?:\.\w+)?) {2,}", stubsi.__doc__.split("**Pages")[0], re.MULTILINE):
        owner, _, method = name.partition(".")
        assert not method or hasattr(getattr(stubsi, owner), method)
        assert owner in PUBLIC


def test_every_page_named_is_there():
    pages = re.findall(r'help\("?stubsi\.([\w.]+)"?\)', stubsi.__doc__ + (ROOT / "README.md").read_text("utf-8"))
    assert len(pages) > 8
    for page in pages:
        first, _, last = page.partition(".")
        thing = getattr(stubsi, first)
        assert getattr(thing, last, thing).__doc__ or page == "board.line_rates"


def test_what_can_be_asked_of_a_plan_is_there():
    page = after(drilling.__doc__, "**What can be asked of a plan**")
    asked = re.findall(r"plan\.(\w+)(\()?", page)
    assert len(asked) > 14
    for name, call in asked:
        is_there = hasattr(stubsi.Plan, name) or name in stubsi.Plan.__dataclass_fields__
        assert callable(getattr(stubsi.Plan, name)) if call else is_there


def test_the_modules_of_the_physics_are_listed():
    """Each of them is there, and few are left out: the list is a way in, and not an inventory."""
    folder = Path(physics.__file__).parent
    listed = set(re.findall(r"\w+", " ".join(re.findall(r"^    (\w+(?:, \w+)*) {2,}", physics.__doc__, re.MULTILINE))))
    listed |= set(re.findall(r"``(\w+)``", physics.__doc__))
    there = {path.stem for path in folder.glob("*.py")} - {"__init__"}
    assert listed <= there
    assert len(there - listed) < 4


def test_every_verdict_is_explained():
    explained = re.findall(r"^(\w[\w ]*?) {2,}\w", after(margin.__doc__, "says why"), re.MULTILINE)
    assert {*explained} == {*Verdict} - {Verdict.FALLS_SHORT}


PRINTED = [
    ("notch on Nyquist", 116.4, 3.87),
    ("DesignCon 2020", 23.3, 3.87),
    ("Simonovich 2017", 16.6, 3.87),
    ("Simonovich 2017", 13.2, 6.17),
    ("TI 15 mil", 15, 3.87),
    ("Bogatin 2015", 11.6, 3.87),
]


def test_every_published_rule_is_printed():
    assert {rule for rule, _, _ in PRINTED} == set(RULES_OF_THUMB)
    lengths = [mil for _, mil, _ in PRINTED]
    assert max(lengths) / min(lengths) == pytest.approx(10, rel=0.01)  # "They differ by a factor of ten"


@pytest.mark.parametrize(("rule", "mil", "dk"), PRINTED, ids=[f"{rule} {dk}" for rule, _, dk in PRINTED])
def test_rules_of_thumb_as_the_manual_prints_them(rule, mil, dk):
    rows = after(criterion.__doc__, "that of one backplane")
    assert re.search(rf"^{rule} .*\n?.*\b{mil} mil", rows, re.MULTILINE)
    budget = stub_budget("25.78125 GBd", criterion=rule, dk_eff=dk)
    assert budget.stub_length.m_as("thou") == pytest.approx(mil, abs=0.05)


@pytest.mark.parametrize("name", ["cases", "mixed", "pairs"])
def test_accuracy_as_the_manual_prints_it(name, capsys):
    main(ROOT / "shared" / "fullwave" / f"{name}.csv")
    last = capsys.readouterr().out.splitlines()[-1]
    assert re.search(rf"{name}\.csv .* {re.escape(last)}$", stubs.__doc__, re.MULTILINE)


def test_error_of_the_usual_estimate_as_the_manual_prints_it():
    with (ROOT / "shared" / "fullwave" / "cases.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    lengths, dk = [f"{row['L_mm']} mm" for row in rows], [float(row["eps_r"]) for row in rows]
    ratio = notch_frequency(lengths, dk).m_as("GHz") / [float(row["f0_GHz"]) for row in rows]
    low, median, high = (100 * (value - 1) for value in (ratio.min(), np.median(ratio), ratio.max()))
    said = f"{low:.0f} % to {high:.0f} % too high, {median:.0f} % at the median, over the {len(rows)}"
    assert said in " ".join(stubs.__doc__.split())


@pytest.mark.parametrize(("row", "return_vias"), [("ring of return vias", True), ("open planes", False)])
def test_declared_errors_as_the_manual_prints_them(row, return_vias):
    said = re.search(rf"^ +{row} +(.*)$", stubs.__doc__, re.MULTILINE)[1].split()
    declared = [notch_error(Regime(cavities=n, k_b=0.0, return_vias=return_vias), 1e9) for n in range(1, 7)]
    assert said == [f"{100 * error:.2f}" for error in declared]


def test_the_smallest_board_file_is_one(tmp_path):
    path = tmp_path / "board.toml"
    path.write_text(after(files.__doc__, "The smallest board file"), encoding="utf-8")
    board = read_board(path)
    assert [net.name for net in board.signal_nets] == ["CLK"]
