"""A process that is killed while it writes leaves the old file or the new one, whole, and nothing in between."""

from __future__ import annotations

import random
import subprocess
import sys
import time

import pytest

SIZE = 3_000_000
"""Characters of a text, so that writing takes long enough to be met."""
ALONE = """
import sys
from stubsi.files.written_file import write_file
number = 0
while True:
    write_file(sys.argv[1] + "/board.toml", str(number) * {size}, replace=True)
    number = (number + 1) % 10
"""
TOGETHER = """
import sys
from pathlib import Path
from stubsi.handoff.folder import write_files
number = 0
while True:
    texts = {{name: str(number) * ({size} // 3) for name in ("a.csv", "b.csv", "c.xml")}}
    write_files(Path(sys.argv[1]), texts, replace=True)
    number = (number + 1) % 10
"""


def stamp(path):
    """Number of the file of a name, which changes when another one takes the name; 0: there is none."""
    return path.stat().st_ino if path.exists() else 0


@pytest.mark.slow
@pytest.mark.parametrize(("code", "names"), [(ALONE, ["board.toml"]), (TOGETHER, ["a.csv", "b.csv", "c.xml"])])
def test_a_killed_process_leaves_no_file_half_written(code, names, tmp_path):
    """Killed twelve times, at random after its first file is there."""
    rng, seen = random.Random(4), set()
    for _ in range(12):
        before = [stamp(tmp_path / name) for name in names]
        child = subprocess.Popen([sys.executable, "-c", code.format(size=SIZE), str(tmp_path)])
        deadline = time.monotonic() + 60
        while [stamp(tmp_path / name) for name in names] == before and time.monotonic() < deadline:
            time.sleep(0.005)
        time.sleep(rng.uniform(0.0, 0.2))
        child.kill()
        child.wait()
        for name in filter(lambda each: (tmp_path / each).exists(), names):
            text = (tmp_path / name).read_text(encoding="utf-8")
            assert len(text) in {SIZE, SIZE // 3}
            assert len(set(text)) == 1
            seen.add(text[0])
    assert len(seen) > 1
