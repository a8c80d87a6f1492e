"""Owns the command: margin table, plan and hand-off of a board file, and with --check an exit status for scripts.

``python -m stubsi BOARD`` prints the margin table of a board file: TOML, IPC-2581 or IPC-D-356A, told apart by what it
holds. Above it stands what was found in an exchange file, left out and assumed. ``--rules FILE`` prints the drilling
plan as well, under the rules and costs of a rules file; ``shared/demo_rules.toml`` is one. ``--out FOLDER`` writes the
files that the plan is handed off in; it needs ``--rules``. With ``--check`` the exit status is for scripts::

    0    every net is proven to meet its criterion, or is waived
    1    with --check only: at least one net is not
    2    a file cannot be read or written, or the command was written wrongly
    3    the table could not be written, or the library has a defect; please report the latter

A reader that stops early, as in ``python -m stubsi BOARD | head``, ends the command quietly with status 141.
"""

from __future__ import annotations

import argparse
import os
import shutil
import sys
import traceback
import warnings
from enum import IntEnum
from typing import TYPE_CHECKING, NamedTuple

from stubsi.checks import one_line
from stubsi.errors import FileError, StubsiError

if TYPE_CHECKING:
    from stubsi.board.board import Board
    from stubsi.board.criterion import Criterion
    from stubsi.drilling.costs import Costs
    from stubsi.drilling.rules import FabricatorRules


class Status(IntEnum):
    """Exit status of the command.

    ``OK``: the table is printed. ``FALLS_SHORT``: with ``--check``, a net is neither proven to meet its criterion nor
    waived. ``REFUSED``: the call is wrong, or a file cannot be read or written. ``CRASHED``: an error inside the
    library, or the output cannot be written. ``BROKEN_PIPE``: whoever read the output has stopped reading; the number
    is that of a command which the signal SIGPIPE ends.
    """

    OK = 0
    FALLS_SHORT = 1
    REFUSED = 2
    CRASHED = 3
    BROKEN_PIPE = 141


def main(arguments: list[str] | None = None) -> Status:
    """Print the margin table of a board file; with rules the plan as well, with a folder write the hand-off into it.

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
    parser = argparse.ArgumentParser(
        prog="python -m stubsi", description="Print the margin table of a board file, and plan its depth drilling."
    )
    parser.add_argument("board", metavar="BOARD", help="board file: TOML, IPC-2581 or IPC-D-356A")
    parser.add_argument("--rules", metavar="FILE", help="rules file (TOML): print the drilling plan as well")
    parser.add_argument("--out", metavar="FOLDER", help="write the hand-off of the plan into this folder")
    parser.add_argument(
        "--check",
        action="store_true",
        help="exit status 1 if any net is neither proven to meet its criterion nor waived",
    )
    chosen = parser.parse_args(arguments)
    if chosen.out is not None and chosen.rules is None:
        parser.error("--out needs --rules, because a hand-off is made of a plan")
    try:
        with warnings.catch_warnings():
            warnings.showwarning = _show_warning
            text, falls_short = _answer(chosen.board, chosen.rules, chosen.out)
    except StubsiError as error:
        print(f"error: {one_line(str(error))}", file=sys.stderr)
        return Status.REFUSED
    except Exception:
        traceback.print_exc()
        print("error: this is a defect of stubsi, not a verdict on the board.", file=sys.stderr)
        return Status.CRASHED
    written = _write(text)
    return Status.FALLS_SHORT if written == Status.OK and chosen.check and falls_short else written


def _show_warning(message: Warning | str, *_: object, **__: object) -> None:
    """Print a warning as one line, without the place in Python code that a user of the command knows nothing of."""
    print(f"warning: {one_line(str(message))}", file=sys.stderr)


def _answer(board_file: str, rules_file: str | None, out: str | None) -> tuple[str, bool]:
    """Margin table of a board at the width of the terminal; with rules also the plan, with a folder its hand-off.

    With it: whether any net is neither proven to meet its criterion nor waived.
    """
    from stubsi.files.board_file import read_with_summary
    from stubsi.margin.ranking import rank

    rules = _rules(rules_file) if rules_file is not None else None
    board, summary = read_with_summary(board_file, criteria=rules.criteria if rules is not None else None)
    ranking = rank(board)
    columns = shutil.get_terminal_size((110, 24)).columns
    texts = [
        *(["\n".join(map(one_line, summary.splitlines()))] if summary else []),
        ranking.to_text(min(140, max(80, columns))),
        *_tolerances_not_used(board_file, rules_file),
    ]
    if rules is not None:
        texts += _planned(board_file, board, rules, out)
    return "\n\n".join(texts), bool(ranking.falls_short)


class _Rules(NamedTuple):
    """What a rules file says to the command: its name, rules, costs and criteria."""

    file: str
    rules: FabricatorRules
    costs: Costs | None
    criteria: dict[str, Criterion]


def _rules(path: str) -> _Rules:
    """Rules, costs and criteria of a file."""
    from stubsi.files.rules_file import contents
    from stubsi.files.toml_text import parsed_file

    name, table = parsed_file(path)
    held = contents(table, name)
    if held.rules is None:
        raise FileError(f"{name}: [rules] is missing; it holds the fabricator's rules.")
    return _Rules(name, held.rules, held.costs, held.criteria)


def _tolerances_not_used(*files: str | None) -> list[str]:
    """Line that names the files whose tolerances this command does not use; none if none holds any."""
    from stubsi.files.board_file import TOML, kind_of
    from stubsi.files.opened_file import file_path
    from stubsi.files.toml_text import parsed_file

    read = [parsed_file(file) for file in files if file is not None and kind_of(file_path(file)) == TOML]
    names = [one_line(name) for name, table in read if table.get("tolerance")]
    if not names:
        return []
    return [f"{', '.join(names)}: the tolerances are not used by this command; read_tolerances hands them to corners."]


def _not_used(board: Board, given: _Rules) -> list[str]:
    """Line that names the criteria of a rules file that judge no net; none if all do."""
    used = {board.criterion_of(net) for net in board.signal_nets}
    names = [name for name, criterion in given.criteria.items() if criterion not in used]
    if not names:
        return []
    return [f"{given.file}: no net is judged by {', '.join(map(one_line, names))}; a board file names its criteria."]


def _planned(board_file: str, board: Board, given: _Rules, out: str | None) -> list[str]:
    """Text of the plan; with a folder, the files written into it."""
    from stubsi.drilling.planning import plan

    planned = plan(board, given.rules, costs=given.costs)
    texts = [*_not_used(board, given), planned.to_text()]
    if out is None:
        return texts
    from stubsi.files.board_file import copper_file
    from stubsi.files.copper_search import copper_near_drills
    from stubsi.handoff.hand_off import write_hand_off

    source = copper_file(board_file)
    copper = None if source is None else copper_near_drills(planned, source)
    files = write_hand_off(planned, out, copper=copper)
    texts += [] if copper is None else [one_line(copper.summary())]
    return [*texts, "\n".join(f"written: {one_line(str(file))}" for file in files)]


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
