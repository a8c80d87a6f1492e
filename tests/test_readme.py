"""The README: its commands, its examples run as they stand, its tables recomputed, its board file read."""

from __future__ import annotations

import csv
import doctest
import re
from pathlib import Path

import numpy as np
import pytest

from stubsi import RULES_OF_THUMB, notch_frequency, read_board, stub_budget
from stubsi.margin.verdict import Verdict
from tests.fullwave import main

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language):
    return re.findall(rf"^```{language}\n(.*?)^```", README, re.DOTALL | re.MULTILINE)


def test_the_job_comes_first_and_two_commands_follow():
    assert re.match(r"# stubsi\n\n\w", README)
    install, tests = blocks("sh")[0].splitlines()
    assert ".venv/bin/pip install" in install
    assert install.endswith("-m stubsi shared/demo_board.toml")
    assert tests == ".venv/bin/python -m pytest"
    assert README.index("**Caution.**") < README.index("```sh")
    assert len(blocks("sh")) == 1


def test_every_verdict_is_explained():
    rows = re.search(r"^\| verdict \|.*?\n\n", README, re.DOTALL | re.MULTILINE)[0].splitlines()[2:]
    explained = {row.split("|")[1].strip() for row in rows if row}
    assert explained == {*Verdict} - {Verdict.FALLS_SHORT}


def test_examples_print_what_the_readme_says(monkeypatch):
    monkeypatch.chdir(ROOT)
    example = doctest.DocTestParser().get_doctest("\n".join(blocks("python")), {}, "README.md", "README.md", 0)
    said = []
    runner = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE)
    result = runner.run(example, out=said.append)
    assert result.attempted > 20
    assert result.failed == 0, "".join(said)


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
def test_rules_of_thumb_as_the_readme_prints_them(rule, mil, dk):
    row = next(line for line in README.splitlines() if line.startswith(f"| `{rule}`"))
    assert f"{mil} mil" in row
    budget = stub_budget("25.78125 GBd", criterion=rule, dk_eff=dk)
    assert budget.stub_length.m_as("thou") == pytest.approx(mil, abs=0.05)


@pytest.mark.parametrize("name", ["cases", "mixed", "pairs"])
def test_accuracy_as_the_readme_prints_it(name, capsys):
    main(ROOT / "shared" / "fullwave" / f"{name}.csv")
    last = capsys.readouterr().out.splitlines()[-1]
    assert re.search(rf"{name}\.csv .* {re.escape(last)}$", README, re.MULTILINE)


def test_error_of_the_usual_estimate_as_the_readme_prints_it():
    with (ROOT / "shared" / "fullwave" / "cases.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    lengths, dk = [f"{row['L_mm']} mm" for row in rows], [float(row["eps_r"]) for row in rows]
    ratio = notch_frequency(lengths, dk).m_as("GHz") / [float(row["f0_GHz"]) for row in rows]
    low, median, high = (100 * (value - 1) for value in (ratio.min(), np.median(ratio), ratio.max()))
    said = f"{low:.0f} % to {high:.0f} % too high, {median:.0f} % at the median, over the {len(rows)}"
    assert said in README.replace("\n", " ")


def test_the_smallest_board_file_is_one(tmp_path):
    path = tmp_path / "board.toml"
    path.write_text(blocks("toml")[0], encoding="utf-8")
    board = read_board(path)
    assert [net.name for net in board.signal_nets] == ["CLK"]


@pytest.mark.parametrize("document", ["README.md", "DEVELOPERS.md"])
def test_every_file_named_is_there(document):
    text = (ROOT / document).read_text(encoding="utf-8")
    named = re.findall(r"`((?:shared|notebooks|tests|\.ci)/[^` ]*|[A-Z]+\.md)`", text)
    assert len(named) > 3
    assert [name for name in named if not (ROOT / name).exists()] == []


def test_the_guide_names_every_package():
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    owners = set(re.findall(r"^\| `(\w+)/` \|", guide, re.MULTILINE))
    assert owners == {path.parent.name for path in (ROOT / "stubsi").glob("*/__init__.py")}
