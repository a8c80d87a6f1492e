"""The public names: what ``stubsi`` offers, in one place, loaded when it is first used."""

from __future__ import annotations

import ast
import importlib.metadata
import inspect
import pydoc
import subprocess
import sys
from pathlib import Path

import pytest

import stubsi
from stubsi import show
from tests.public import PUBLIC

HEAVY = ("numpy", "scipy", "pint", "pandas", "skrf", "matplotlib")


def loaded_by(statement):
    """Which of the heavy packages a fresh interpreter has loaded after a statement."""
    run = subprocess.run(
        [sys.executable, "-c", f"import sys; {statement}; print(*[m for m in {HEAVY} if m in sys.modules])"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return set(run.stdout.split())


def listed_for_type_checkers():
    """Name, alias and module of every line of ``__init__.pyi`` that imports, as its grammar has them."""
    tree = ast.parse(Path(stubsi.__file__).with_suffix(".pyi").read_text(encoding="utf-8"))
    imports = [node for node in tree.body if isinstance(node, ast.ImportFrom)]
    return [(alias.name, alias.asname, node.module) for node in imports for alias in node.names]


def test_type_checkers_see_what_is_loaded():
    listed = listed_for_type_checkers()
    assert {name: module for name, _, module in listed} == stubsi._MODULE_OF
    assert [alias for _, alias, _ in listed] == [name for name, _, _ in listed]  # what type checkers call public
    assert len({name for name, _, _ in listed}) == len(listed) > 150


def test_every_public_name_is_defined_where_it_is_loaded_from():
    things = {name: getattr(stubsi, name) for name in PUBLIC}
    own = {name: thing for name, thing in things.items() if inspect.isclass(thing) or inspect.isfunction(thing)}
    assert {name: stubsi._MODULE_OF[name] for name in own} == {name: own[name].__module__ for name in own}
    assert [name for name, thing in own.items() if thing.__name__ != name] == []
    assert set(things) <= set(dir(stubsi))


def test_help_is_a_map_and_not_a_book():
    """It prints the map and the pages to read on, and not the help of every class behind it."""
    page = pydoc.plain(pydoc.render_doc(stubsi)).splitlines()
    assert "CLASSES" not in page
    assert len(page) < 220
    assert "**The map.**" in "\n".join(page[:12])


def test_results_are_public():
    """What a public function gives back can be named by whoever annotates his own code."""
    for name in ("Verdict", "Ranking", "NetMargin", "Check", "Budget", "LayerMatrix", "HoleModel", "Plan", "Group"):
        assert name in PUBLIC


@pytest.mark.slow  # what the fast tests import in a fresh Python stands below
@pytest.mark.parametrize(
    "statement",
    [
        "import stubsi; stubsi.show.section.plot_section",
        "from stubsi import plot_margins, plot_loss, Verdict",
        "import stubsi; stubsi.plot_section",
        "import stubsi; stubsi.errors.StubsiError",
        "from stubsi import show; show.margin_table",
    ],
)
def test_what_is_written_after_a_plain_import_works(statement):
    loaded_by(statement)


@pytest.mark.parametrize("package", [stubsi, show])
def test_packages_and_modules_are_reached(package):
    folder = Path(package.__file__).parent
    there = {p.stem for p in folder.glob("*.py")} | {p.parent.name for p in folder.glob("*/__init__.py")}
    for name in (name for name in there if not name.startswith("_")):
        assert getattr(package, name).__name__ == f"{package.__name__}.{name}"
        assert name in dir(package)


@pytest.mark.parametrize("module", [stubsi, show])
def test_an_unknown_name_is_an_attribute_error(module):
    with pytest.raises(AttributeError, match=f"module '{module.__name__}' has no attribute 'nonsense'"):
        _ = module.nonsense


def test_the_version_is_that_of_the_distribution(monkeypatch):
    assert stubsi.__version__ == importlib.metadata.version("stubsi")
    monkeypatch.delitem(vars(stubsi), "__version__")

    def missing(name):
        raise importlib.metadata.PackageNotFoundError(name)

    monkeypatch.setattr(importlib.metadata, "version", missing)
    assert stubsi.__version__ == "unknown"
    monkeypatch.undo()
    vars(stubsi).pop("__version__", None)


def test_import_alone_loads_nothing_heavy():
    assert loaded_by("import stubsi") == set()


def test_ranking_loads_no_plots_no_frames_no_networks():
    assert loaded_by("from stubsi import rank, read_board, plan, plot_margins, hole_model") <= {
        "numpy",
        "scipy",
        "pint",
    }


def test_dir_shows_public_names_and_modules_only():
    names = dir(stubsi)
    assert [name for name in names if name.startswith("_")] == ["__version__"]
    assert not {"TYPE_CHECKING", "annotations"} & set(names)
    assert {"UnknownNameError", "rank", "board", "errors"} <= set(names)


WRONG = {
    "model of rank": 'stubsi.rank(board, model="foo")',
    "model of hole_model": 'stubsi.hole_model(board, "U1", model="foo")',
    "model of plan": 'stubsi.plan(board, rules, costs, model="foo")',
    "measure": 'stubsi.Criterion(measure="nope", limit=1, source="me")',
    "a padstack without its drill": 'stubsi.Padstack(name="v")',
    "a thickness without a unit": 'stubsi.CopperLayer(name="L1", thickness=35)',
}
RIGHT = 'stubsi.rank(board, model="uniform"); stubsi.Criterion(measure="loss", limit=1, source="me")'


@pytest.mark.slow
def test_a_type_checker_refuses_what_the_library_would(tmp_path):
    """Every line but the last is refused: an unknown name, a missing field, a bare number."""
    pytest.importorskip("mypy")
    lines = [
        "import stubsi",
        "board: stubsi.Board",
        "rules: stubsi.FabricatorRules",
        "costs: stubsi.Costs",
        *WRONG.values(),
        RIGHT,
    ]
    (tmp_path / "wrong.py").write_text("\n".join(lines), encoding="utf-8")
    run = subprocess.run(
        [sys.executable, "-m", "mypy", "--follow-imports=silent", str(tmp_path / "wrong.py")],
        cwd=Path(stubsi.__file__).parents[1], capture_output=True, text=True, check=False,
    )  # fmt: skip
    refused = {line.split(":")[1] for line in run.stdout.splitlines() if ": error:" in line}
    assert refused == {str(number) for number in range(5, 5 + len(WRONG))}, run.stdout
