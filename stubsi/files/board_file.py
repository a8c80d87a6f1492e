"""Owns the reading of a board file of any kind: TOML, IPC-2581 or IPC-D-356A, told apart by what it holds.

What an exchange file cannot say is given in a TOML file that names it: ``exchange = "board.xml"``, and the arguments of
``read_ipc2581`` as further keys.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from stubsi.errors import FileError, StubsiError
from stubsi.files import parts, schema
from stubsi.files.exchange import read_ipc2581
from stubsi.files.netlist import read_ipc356
from stubsi.files.opened_file import file_path, opened
from stubsi.files.schema import KeyType, Schema, errors_at, look_up
from stubsi.files.tolerance_tables import check_fit
from stubsi.files.toml import board_of_table, known_criteria, stackup_of_table
from stubsi.files.toml_text import parsed_file

if TYPE_CHECKING:
    import os
    from collections.abc import Mapping
    from pathlib import Path

    from stubsi.board.board import Board
    from stubsi.board.criterion import Criterion
    from stubsi.files.exchange import ExchangeBoard
    from stubsi.files.toml_text import Table

IPC_2581, NETLIST, TOML = "IPC-2581", "IPC-D-356A", "TOML"
_HEAD_LENGTH = 4096
_NETLIST_LINE = re.compile(rb"(?:[CP](?:[ \t]+(?![=.\s])|[ \t]*$)|[0-9]{3}(?![\w\-]*[ \t]*[=.]))", re.MULTILINE)
"""How the first line of a netlist begins: C or P and a blank, or three digits. In TOML an equals sign would follow."""

_Z0 = KeyType(
    lambda value: isinstance(value, (str, dict)), 'must be an impedance, {key} = "50 ohm", or a table [{key}] by net'
)
_CRITERION = KeyType(
    lambda value: isinstance(value, (str, dict)),
    'must be the name of a criterion, {key} = "NAME", or a table [{key}] by net',
)
FACTS = Schema(
    must={"exchange": schema.TEXT},
    may={
        "step": schema.TEXT,
        "z0": _Z0,
        "criterion": _CRITERION,
        "criteria": schema.TABLE,
        "tolerance": schema.TABLES,
        "reference": schema.NAMES,
        "plating": schema.LENGTH,
        **dict.fromkeys(
            (
                "signals",
                "dk",
                "roles",
                "pads",
                "antipads",
                "connects",
                "pairs",
                "feed",
                "press_fit",
                "spans",
                "stackup",
            ),
            schema.TABLE,
        ),
    },
)
HOW = (
    'write a TOML file with the line exchange = {file!r}, with z0 = "50 ohm" and a table [signals] like '
    '"PCIE_TX*" = "32 GT/s", and with what else is missing under the names of the arguments of {reader}; give that '
    "file in place of this one"
)


def read_any_board(path: str | os.PathLike[str], *, criteria: Mapping[str, Criterion] | None = None) -> Board:
    """Read a board from a file of any kind.

    Parameters
    ----------
    path : path
        A board file in TOML, an IPC-2581 file, an IPC-D-356A netlist, or a TOML file with what such a file lacks.
    criteria : mapping of name to Criterion, optional
        As in ``read_board``.

    Returns
    -------
    Board

    Raises
    ------
    FileError
        The file cannot be read, or does not say all that the board needs. The error text says how to give it.
    """
    return read_with_summary(path, criteria=criteria)[0]


def read_with_summary(
    path: str | os.PathLike[str], *, criteria: Mapping[str, Criterion] | None = None
) -> tuple[Board, str]:
    """Read a board from a file of any kind, with what was found in it, left out and assumed.

    Parameters
    ----------
    path : path
    criteria : mapping of name to Criterion, optional
        As for ``read_any_board``.

    Returns
    -------
    board : Board
    summary : str
        Empty for a board in TOML, of which nothing is left out or assumed.

    Raises
    ------
    FileError
        As ``read_any_board``.
    """
    file = file_path(path)
    kind = kind_of(file)
    if kind != TOML:
        export = _exchange_board(file, kind, {})
        return export.board, str(export)
    name, table = parsed_file(file)
    if "exchange" not in table:
        return board_of_table(table, name, criteria), ""
    FACTS.check(table, f"{name}: top level")
    source = file.parent / table["exchange"]
    source_kind = kind_of(source)
    if source_kind == TOML:
        raise FileError(
            f"{name}: exchange = {schema.as_written(table['exchange'])}: is no IPC-2581 or IPC-D-356A file."
        )
    export = _exchange_board(source, source_kind, _arguments(table, name, criteria or {}), name)
    check_fit(table.get("tolerance", ()), name, export.board)
    return export.board, str(export)


def copper_file(path: str | os.PathLike[str]) -> Path | None:
    """The IPC-2581 file behind a board file, which holds the copper of the board.

    Parameters
    ----------
    path : path
        A file that ``read_any_board`` reads.

    Returns
    -------
    Path or None
        None: there is no such file.

    Raises
    ------
    FileError
        A file cannot be read.
    """
    file = file_path(path)
    if kind_of(file) == TOML:
        _, table = parsed_file(file)
        if not isinstance(table.get("exchange"), str):
            return None
        file = file.parent / table["exchange"]
    return file if kind_of(file) == IPC_2581 else None


def kind_of(path: Path) -> str:
    """Kind of a board file by its first line.

    Parameters
    ----------
    path : Path

    Returns
    -------
    str
        "IPC-2581" for XML, "IPC-D-356A" for a netlist, otherwise "TOML".

    Raises
    ------
    FileError
        The file cannot be read.
    """
    with opened(path) as file:
        head = file.read(_HEAD_LENGTH).removeprefix(b"\xef\xbb\xbf").lstrip()
    if head.startswith((b"<", b"\xff\xfe<", b"\xfe\xff\0<")):
        return IPC_2581
    return NETLIST if _NETLIST_LINE.match(head) else TOML


def _exchange_board(path: Path, kind: str, arguments: dict[str, Any], facts: str = "") -> ExchangeBoard:
    """Board of an exchange file. ``facts`` is the name of the file that gave the arguments."""
    reader = "read_ipc2581" if kind == IPC_2581 else "read_ipc356"
    how = f"; give it in {facts}" if facts else f"; {HOW.format(file=path.name, reader=reader)}"
    if kind == NETLIST and "stackup" not in arguments:
        raise FileError(f"{path.name}: is a netlist and has no stackup{how}, the stackup as in a board file.")
    if kind == IPC_2581 and "stackup" in arguments:
        raise FileError(f"{facts}: [stackup] is for netlists; an IPC-2581 file holds its own.")
    if kind == NETLIST and (wrong := {"dk", "roles"} & set(arguments)):
        raise FileError(f"{facts}: {wrong.pop()} is for IPC-2581 files; give it in [stackup] for a netlist.")
    if kind == NETLIST and (wrong := {"press_fit", "step"} & set(arguments)):
        raise FileError(f"{facts}: {wrong.pop()} is for IPC-2581 files; a netlist has neither components nor steps.")
    with errors_at(facts or path.name):
        try:
            export = read_ipc2581(path, **arguments) if kind == IPC_2581 else read_ipc356(path, **arguments)
        except StubsiError as error:
            if facts or ": give " not in str(error):
                raise
            raise FileError(f"{str(error).removesuffix('.')}{how}.") from None
    if not export.board.signal_nets:
        raise FileError(f"{path.name}: no net has a signal, because such a file does not say it{how}.")
    return export


def _arguments(table: Table, name: str, criteria: Mapping[str, Criterion]) -> dict[str, Any]:
    """Arguments of the reader as the keys of the file give them."""
    arguments = {key: value for key, value in table.items() if key not in {"exchange", "criteria", "tolerance"}}
    known = known_criteria(table, name, criteria)
    if isinstance(table.get("criterion"), str):
        arguments["criterion"] = look_up(table["criterion"], known, f"{name}: top level criterion", "criterion")
    elif "criterion" in table:
        arguments["criterion"] = {
            net: look_up(_text(value, f"{name}: [criterion] {net}"), known, f"{name}: [criterion] {net}", "criterion")
            for net, value in table["criterion"].items()
        }
    if "pads" in table:
        arguments["pads"] = {key: None if value == "none" else value for key, value in table["pads"].items()}
    if "antipads" in table:
        arguments["antipads"] = {
            key: _clearance(value, f"{name}: [antipads] {key}") for key, value in table["antipads"].items()
        }
    if "press_fit" in table:
        arguments["press_fit"] = {
            key: parts.press_fit(_table(value, f"{name}: [press_fit] {key}"), f"{name}: [press_fit.{key}]")
            for key, value in table["press_fit"].items()
        }
    if "stackup" in table:
        arguments["stackup"] = stackup_of_table(table["stackup"], name)
    return arguments


def _text(value: object, place: str) -> str:
    if not isinstance(value, str):
        raise FileError(f"{place} = {schema.as_written(value)}: must be the name of a criterion, in quotes.")
    return value


def _table(value: object, place: str) -> Table:
    if not isinstance(value, dict):
        raise FileError(
            f'{place} = {schema.as_written(value)}: must be a table like {{side = "top", contact_from = ...}}.'
        )
    return {"name": "of a component", **value}


def _clearance(value: object, place: str) -> Any:
    """A clearance, or a table of them by layer."""
    if isinstance(value, dict) and "slot" not in value:
        return {layer: _clearance(each, f"{place} {layer}") for layer, each in value.items()}
    return parts.clearance(value, place) if isinstance(value, (str, dict)) else value
