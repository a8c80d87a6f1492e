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


@pytest.mark.parametrize("module_name", MODULES)
def test_docstring_parameters_are_the_signature(module_name):
    for name, thing in own_objects(module_name):
        assert thing.__doc__, f"{name} has no docstring"
        names = documented(thing.__doc__)
        assert names is None or names == taken(thing), name


@pytest.mark.parametrize("name", PUBLIC)
def test_public_functions_document_their_parameters(name):
    thing = getattr(stubsi, name)
    if inspect.isfunction(thing) and taken(thing):
        assert documented(thing.__doc__) == taken(thing)


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


@pytest.mark.parametrize("name", [*public_names()])
def test_public_docstrings_have_their_sections(name):
    assert [f"{code} {text}" for code, text in validate(name)["errors"] if code in SECTIONS] == []


@pytest.mark.parametrize("name", PUBLIC_FUNCTIONS)
def test_public_functions_say_what_they_raise(name):
    assert re.search(r"^Raises\n-+\n\w", inspect.getdoc(getattr(stubsi, name)), re.MULTILINE)


@pytest.mark.parametrize("name", MODULES)
def test_a_module_says_first_what_it_owns(name):
    first = importlib.import_module(name).__doc__.splitlines()[0]
    is_package = hasattr(importlib.import_module(name), "__path__")
    assert is_package or " owns " in f" {first[0].lower()}{first[1:]} "
    assert not first.endswith(" ")


def test_plotting_is_loaded_only_where_it_is_used():
    run = subprocess.run(
        [sys.executable, "-c", "import sys, stubsi; print([m for m in ('matplotlib', 'pandas') if m in sys.modules])"],
        cwd=ROOT, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert run.stdout.strip() == "[]"
