"""The script for all Pythons: it names an interpreter that does not start, and fails where nothing was run."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest

SCRIPT = Path(__file__).parents[1] / ".ci" / "versions"

pytestmark = pytest.mark.skipif(
    os.name != "posix" or shutil.which("bash") is None or not SCRIPT.exists(), reason="needs bash and .ci/versions"
)


def test_an_interpreter_that_does_not_start_is_named(tmp_path):
    """Version managers put such a file in the path: it is there, and ends with an error."""
    shim = tmp_path / "python9.9"
    shim.write_text("#!/bin/sh\nexit 127\n")
    shim.chmod(0o755)
    run = subprocess.run(
        ["bash", str(SCRIPT), str(shim), "no-such-python"], capture_output=True, text=True, check=False, timeout=60
    )
    assert run.returncode != 0
    assert f"skipped: {shim} does not start" in run.stdout
    assert "skipped: no-such-python does not start" in run.stdout
    assert "nothing was run" in run.stdout
