"""Owns the command: the margin table of a board file, and with --check an exit status for scripts."""

from __future__ import annotations

import argparse
import os
import shutil
import sys
import traceback
from enum import IntEnum

from stubsi.checks import one_line
from stubsi.errors import StubsiError


class Status(IntEnum):
    """Exit status of the command.

    ``OK``: the table is printed. ``FALLS_SHORT``: with ``--check``, a net is neither proven to meet its criterion nor
    waived. ``REFUSED``: the call is wrong, or the file cannot be read as a board. ``CRASHED``: an error inside the
    library, or the output cannot be written. ``BROKEN_PIPE``: whoever read the output has stopped reading; the number
    is that of a command which the signal SIGPIPE ends.
    """

    OK = 0
    FALLS_SHORT = 1
    REFUSED = 2
    CRASHED = 3
    BROKEN_PIPE = 141


def main(arguments: list[str] | None = None) -> Status:
    """Print the margin table of a board file.

    Parameters
    ----------
    arguments : list of str, optional
        Arguments of the command; ``sys.argv[1:]`` unless given.

    Returns
    -------
    Status

    Raises
    ------
    SystemExit
        With status 2 for a wrong call, with status 0 after the help is printed.
    """
    parser = argparse.ArgumentParser(prog="python -m stubsi", description="Print the margin table of a board file.")
    parser.add_argument("board", metavar="BOARD", help="board file (TOML)")
    parser.add_argument(
        "--check",
        action="store_true",
        help="exit status 1 if any net is neither proven to meet its criterion nor waived",
    )
    chosen = parser.parse_args(arguments)
    try:
        table, falls_short = _table(chosen.board)
    except StubsiError as error:
        print(f"error: {one_line(str(error))}", file=sys.stderr)
        return Status.REFUSED
    except Exception:
        traceback.print_exc()
        print("error: this is a defect of stubsi, not a verdict on the board.", file=sys.stderr)
        return Status.CRASHED
    written = _write(table)
    return Status.FALLS_SHORT if written == Status.OK and chosen.check and falls_short else written


def _table(path: str) -> tuple[str, bool]:
    """Margin table of a board file at the width of the terminal.

    With it: whether any net is neither proven to meet its criterion nor waived.
    """
    from stubsi.files.toml import read_board
    from stubsi.margin.ranking import rank

    ranking = rank(read_board(path))
    columns = shutil.get_terminal_size((110, 24)).columns
    return ranking.to_text(min(140, max(80, columns))), bool(ranking.falls_short)


def _write(text: str) -> Status:
    """Print a text; characters that the output cannot encode are written as escapes."""
    encoding = getattr(sys.stdout, "encoding", None) or "utf-8"
    try:
        print(text.encode(encoding, "backslashreplace").decode(encoding), flush=True)
    except BrokenPipeError:
        _discard_output()
        return Status.BROKEN_PIPE
    except OSError as error:
        _discard_output()
        print(f"error: the table cannot be written: {error}", file=sys.stderr)
        return Status.CRASHED
    return Status.OK


def _discard_output() -> None:
    """Send the rest of the output to the null device. Otherwise the interpreter fails on it again when it ends."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)


if __name__ == "__main__":
    sys.exit(main())
