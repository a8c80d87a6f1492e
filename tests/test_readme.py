"""The README: short, its commands, its examples run as they stand, and what it names is there."""

from __future__ import annotations

import doctest
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language):
    return re.findall(rf"^```{language}\n(.*?)^```", README, re.DOTALL | re.MULTILINE)


def test_it_is_read_in_a_few_minutes():
    assert len(README.splitlines()) <= 130


def test_the_job_comes_first_and_two_commands_follow():
    assert re.match(r"# stubsi\n\n\w", README)
    install, tests = blocks("sh")[0].splitlines()
    assert ".venv/bin/pip install" in install
    assert install.endswith("-m stubsi shared/demo_board.toml")
    assert tests == ".venv/bin/python -m pytest"
    assert README.index("**Caution.**") < README.index("```sh")
    assert len(blocks("sh")) == 1


def test_a_table_is_answered_first_in_five_lines():
    first = doctest.DocTestParser().get_examples(blocks("python")[0])
    assert "".join(example.source for example in first).count("\n") == 5  # three of them are the table itself
    assert first[-1].source.startswith("stubsi.check_stubs(nets")


def test_examples_print_what_the_readme_says(monkeypatch):
    monkeypatch.chdir(ROOT)
    example = doctest.DocTestParser().get_doctest("\n".join(blocks("python")), {}, "README.md", "README.md", 0)
    said = []
    runner = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE)
    result = runner.run(example, out=said.append)
    assert result.attempted > 10
    assert result.failed == 0, "".join(said)


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


def test_the_guide_names_modules_that_are_there():
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    packages = "|".join(path.parent.name for path in (ROOT / "stubsi").glob("*/__init__.py"))
    named = set(re.findall(rf"`({packages})[./](\w+)(?:\.py)?`", guide))
    assert len(named) > 40
    assert [f"{owner}.{name}" for owner, name in named if not (ROOT / "stubsi" / owner / f"{name}.py").exists()] == []
