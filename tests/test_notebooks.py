"""The notebooks: each runs from top to bottom in a fresh kernel without a warning, and is stored without results."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import nbformat
import pytest
from ipykernel.kernelspec import get_kernel_dict
from jupyter_client.kernelspec import KernelSpec, KernelSpecManager
from jupyter_client.manager import AsyncKernelManager
from nbclient import NotebookClient
from nbclient.exceptions import CellExecutionError

FOLDER = Path(__file__).parents[1] / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
WARNINGS_ARE_ERRORS = """import warnings

warnings.simplefilter("error")
warnings.filterwarnings("ignore", module="ipykernel")"""
LONGEST = 60
"""Seconds after which a cell is taken to hang."""
FAST = "which_nets_deserve_depth_drilling"
"""The notebook that every run of the tests executes; the others take longer, and are executed with the slow tests."""


class ThisInterpreter(KernelSpecManager):
    """The kernel of the running interpreter, whatever kernels are installed."""

    def get_kernel_spec(self, kernel_name):
        return KernelSpec(**get_kernel_dict())


@pytest.fixture(autouse=True)
def own_folders(monkeypatch, tmp_path):
    """Profile and connection files of the kernel, away from those of the user."""
    monkeypatch.setenv("IPYTHONDIR", str(tmp_path / "ipython"))
    monkeypatch.setenv("JUPYTER_RUNTIME_DIR", str(tmp_path / "runtime"))
    monkeypatch.setenv("JUPYTER_PLATFORM_DIRS", "1")


def run(notebook):
    """Execute a notebook in its folder, warnings as errors; its cells hold their outputs then."""
    notebook.cells.insert(0, nbformat.v4.new_code_cell(WARNINGS_ARE_ERRORS))
    manager = AsyncKernelManager(kernel_spec_manager=ThisInterpreter())
    client = NotebookClient(notebook, km=manager, timeout=LONGEST, resources={"metadata": {"path": str(FOLDER)}})
    return client.execute(cleanup_kc=True)


def read(path):
    return nbformat.read(path, as_version=4)


def code_cells(notebook):
    return [cell for cell in notebook.cells if cell.cell_type == "code"]


def made(*sources):
    return nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(source) for source in sources])


def test_there_is_a_notebook_for_every_question():
    assert {path.stem for path in NOTEBOOKS} == {
        FAST,
        "budget_before_routing",
        "from_board_file_to_drilling_plan",
        "simple_formula_against_full_wave",
        "tolerance_and_yield",
    }


@pytest.mark.parametrize(
    "path",
    [pytest.param(path, id=path.stem, marks=() if path.stem == FAST else pytest.mark.slow) for path in NOTEBOOKS],
)
def test_runs_in_a_fresh_kernel(path):
    notebook = run(read(path))
    assert [cell.execution_count for cell in code_cells(notebook)] == list(range(1, len(code_cells(notebook)) + 1))
    streams = [output for cell in code_cells(notebook) for output in cell.outputs if output.output_type == "stream"]
    assert {output.name for output in streams} == {"stdout"}


@pytest.mark.parametrize(
    ("source", "error"),
    [
        pytest.param("import warnings\nwarnings.warn('odd')", "UserWarning", id="warning"),
        pytest.param("assert 1 == 2", "AssertionError", id="assertion", marks=pytest.mark.slow),
    ],
)
def test_a_warning_or_a_wrong_number_fails(source, error):
    with pytest.raises(CellExecutionError, match=error):
        run(made(source))


def test_the_kernel_is_that_of_the_running_interpreter_in_the_folder_of_the_notebooks():
    notebook = run(made("import os, sys\nprint(sys.prefix, os.getcwd(), sep='\\n')"))
    assert notebook.cells[-1].outputs[0].text.splitlines() == [sys.prefix, str(FOLDER)]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_is_stored_without_results(path):
    notebook = read(path)
    nbformat.validate(notebook)
    assert all(cell.outputs == [] and cell.execution_count is None for cell in code_cells(notebook))
    assert all(cell.metadata == {} for cell in notebook.cells)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_cells_are_named_for_what_they_do(path):
    """A name made by a machine changes with every copy; one made by hand keeps the differences readable."""
    names = [cell.id for cell in read(path).cells]
    assert len(set(names)) == len(names)
    assert all(re.fullmatch(r"[a-z]+(-[a-z]+)*", name) for name in names)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_cautions_and_checks_a_number(path):
    """It states its question first, and its decision before the numbers that it stands on."""
    notebook = read(path)
    assert re.match(r"# .*\?\n\n|# From .* what .*\n\n", notebook.cells[0].source)
    assert [cell.id for cell in notebook.cells[-4:]] == ["decision-text", "decision", "asserts-text", "asserts"]
    assert "Confirm them with the fabricator, by measurement or by field solution" in " ".join(
        notebook.cells[0].source.split()
    )
    assert any(re.search(r"^assert .*\d", cell.source, re.MULTILINE) for cell in code_cells(notebook))
