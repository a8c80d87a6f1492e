"""What the whole package keeps: who may import what, docstrings that agree with signatures, a clean linter."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
import subprocess
import sys
from enum import Enum
from pathlib import Path

import pytest
from importlinter.cli import lint_imports
from numpydoc.validate import validate

import stubsi
from tests.public import PUBLIC, PUBLIC_FUNCTIONS

ROOT = Path(__file__).parents[1]
MODULES = sorted(info.name for info in pkgutil.walk_packages(stubsi.__path__, "stubsi.") if "__main__" not in info.name)


def test_import_contracts(capsys):
    code = lint_imports(config_filename=str(ROOT / "pyproject.toml"), no_cache=True)
    said = capsys.readouterr().out
    assert code == 0, said
    assert "0 broken" in said


@pytest.mark.parametrize("command", [["check"], ["format", "--check"]], ids=["lint", "format"])
def test_ruff(command):
    run = subprocess.run(
        [sys.executable, "-m", "ruff", *command, "--no-cache", "stubsi", "tests"],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stdout + run.stderr


def own_objects(module_name):
    """Public functions, classes and methods defined in a module, each with its dotted name."""
    module = importlib.import_module(module_name)
    for name, thing in vars(module).items():
        if name.startswith("_") or getattr(thing, "__module__", None) != module_name:
            continue
        if inspect.isfunction(thing):
            yield f"{module_name}.{name}", thing
        elif inspect.isclass(thing):
            yield f"{module_name}.{name}", thing
            for method_name, method in vars(thing).items():
                function = getattr(method, "__func__", method)
                if inspect.isfunction(function) and not method_name.startswith("_"):
                    yield f"{module_name}.{name}.{method_name}", function


def documented(docstring):
    """Names in the Parameters section of a numpy docstring, in order; None where there is no such section."""
    section = re.search(
        r"^Parameters\n-+\n(.*?)(?=^\w[^\n]*\n-{3,}\n|\Z)", inspect.cleandoc(docstring), re.DOTALL | re.MULTILINE
    )
    if section is None:
        return None
    heads = re.findall(r"^\**(\w[\w, ]*?)(?: : .*)?$", section[1], re.MULTILINE)
    return [name.strip() for head in heads for name in head.split(",")]


def taken(thing):
    """Names a function or class takes, in order."""
    return [name for name in inspect.signature(thing).parameters if name not in {"self", "cls"}]


def test_the_check_of_docstrings_sees_what_it_should():
    text = "Do.\n\nParameters\n----------\na, b : int\n    Both.\nc\n\nReturns\n-------\nint\n    Sum.\n"
    assert documented(text) == ["a", "b", "c"]
    assert documented("Do nothing.") is None
    assert sum(1 for module in MODULES for _ in own_objects(module)) > 100


def test_docstring_parameters_are_the_signature():
    own = dict(pair for module_name in MODULES for pair in own_objects(module_name))
    assert [name for name, thing in own.items() if not thing.__doc__] == [], "no docstring"
    named = {name: names for name, thing in own.items() if (names := documented(thing.__doc__)) is not None}
    given = {name: (names, taken(own[name])) for name, names in named.items()}
    assert {name: pair for name, pair in given.items() if pair[0] != pair[1]} == {}


def test_public_functions_document_their_parameters():
    functions = {name: getattr(stubsi, name) for name in PUBLIC_FUNCTIONS}
    given = {name: (documented(thing.__doc__), taken(thing)) for name, thing in functions.items() if taken(thing)}
    assert len(given) > 40
    assert {name: pair for name, pair in given.items() if pair[0] != pair[1]} == {}


def public_names():
    """Every name that ``stubsi`` exports, and every public method and property of its classes, dotted."""
    for name in PUBLIC:
        thing = getattr(stubsi, name)
        if inspect.isclass(thing):
            methods = [key for key, value in vars(thing).items() if callable(value) or isinstance(value, OF_A_CLASS)]
            yield from (f"stubsi.{name}.{method}" for method in methods if not method.startswith("_"))
        if inspect.isfunction(thing) or (inspect.isclass(thing) and not issubclass(thing, Enum)):
            yield f"stubsi.{name}"  # an enumeration takes nothing of its own: its members say what they are


OF_A_CLASS = (property, classmethod, staticmethod)
SECTIONS = {
    "GL06": "no section of an unknown name", "GL07": "sections in their order", "GL08": "a docstring",
    "GL10": "directives with two colons", "SS01": "a summary", "SS03": "a summary that ends with a period",
    "PR01": "every parameter documented", "PR02": "none that is not there", "PR03": "in the order of the signature",
    "PR07": "each with a description", "RT01": "Returns", "RT03": "with a description", "YD01": "Yields",
}  # fmt: skip
"""What numpydoc is asked to check; its other rules are of taste, or the linter's."""


def test_public_docstrings_have_their_sections():
    names = [*public_names()]
    assert len(names) > 300
    assert [
        f"{name}: {code} {text}" for name in names for code, text in validate(name)["errors"] if code in SECTIONS
    ] == []


def test_public_functions_say_what_they_raise():
    said = {name: inspect.getdoc(getattr(stubsi, name)) for name in PUBLIC_FUNCTIONS}
    assert [name for name, text in said.items() if not re.search(r"^Raises\n-+\n\w", text, re.MULTILINE)] == []


def test_a_module_says_first_what_it_owns():
    modules = {name: importlib.import_module(name) for name in MODULES}
    first = {name: module.__doc__.splitlines()[0] for name, module in modules.items()}
    owners = [name for name, module in modules.items() if not hasattr(module, "__path__")]
    assert [name for name in owners if " owns " not in f" {first[name][0].lower()}{first[name][1:]} "] == []
    assert [name for name, line in first.items() if line.endswith(" ")] == []


def test_plotting_is_loaded_only_where_it_is_used():
    run = subprocess.run(
        [sys.executable, "-c", "import sys, stubsi; print([m for m in ('matplotlib', 'pandas') if m in sys.modules])"],
        cwd=ROOT, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert run.stdout.strip() == "[]"
