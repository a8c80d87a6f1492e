"""Owns the command: the margin table of a board file, and with --check an exit status for scripts."""

from __future__ import annotations

import argparse
import shutil
import sys

from stubsi.errors import StubsiError
from stubsi.files.toml import read_board
from stubsi.margin.ranking import rank


def main(arguments: list[str] | None = None) -> int:
    """Print the margin table of a board file.

    Returns
    -------
    int
        0; with ``--check`` 1 if a net is neither proven to meet its criterion nor waived; 2 if the file cannot be read.
    """
    parser = argparse.ArgumentParser(prog="python -m stubsi", description="Print the margin table of a board file.")
    parser.add_argument("board", metavar="BOARD", help="board file (TOML)")
    parser.add_argument("--check", action="store_true", help="exit status 1 if any net falls short")
    chosen = parser.parse_args(arguments)
    try:
        ranking = rank(read_board(chosen.board))
    except StubsiError as error:
        print(f"error: {error}", file=sys.stderr)
        return 2
    print(ranking.to_text(min(140, max(80, shutil.get_terminal_size((110, 24)).columns))))
    return int(chosen.check and bool(ranking.falls_short))


if __name__ == "__main__":
    sys.exit(main())
