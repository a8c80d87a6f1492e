"""Every property test of the fast suite once more, on ten times the examples."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


@pytest.mark.slow
def test_every_property_holds_on_many_examples():
    """Where a test says itself how many it takes, it has a slow one of its own beside it, or each takes long."""
    run = subprocess.run(
        [sys.executable, "-m", "pytest", "--hypothesis-profile=thorough", "-m", "hypothesis and not slow", "tests"],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stdout
