"""Owns the board file: human-writable TOML, units in the text, to a Board. Nothing written in it is guessed or lost."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stubsi.board.board import Board
from stubsi.board.criterion import DEFAULT, RULES_OF_THUMB
from stubsi.board.net import Hole, Net
from stubsi.board.signal import Signal
from stubsi.board.stackup import Stackup
from stubsi.errors import FileError
from stubsi.files import parts, schema
from stubsi.files.schema import Schema, located, look_up, named

if TYPE_CHECKING:
    import os
    from collections.abc import Callable, Mapping

    from stubsi.board.criterion import Criterion

Table = dict[str, Any]

BOARD = Schema(
    must={"stackup": schema.TABLE},
    may={
        "name": schema.TEXT,
        "criterion": schema.TEXT,
        "criteria": schema.TABLE,
        "signal_criteria": schema.TABLE,
        "padstack": schema.TABLES,
        "press_fit": schema.TABLES,
        "net": schema.TABLES,
        "reference": schema.TABLES,
    },
)
STACKUP = Schema(must={"layer": schema.TABLES}, may={"source": schema.TEXT})
NET = Schema(
    must={"name": schema.TEXT, "signal": schema.RATE, "z0": schema.IMPEDANCE, "holes": schema.INLINE_TABLES},
    may={"layers": schema.NAMES, "criterion": schema.TEXT, "waiver": schema.TEXT},
)
HOLE = Schema(
    must={"name": schema.TEXT, "padstack": schema.TEXT, "connects": schema.NAMES},
    may={"at": schema.PLACE, "leg": schema.TEXT, "press_fit": schema.TEXT},
)
REFERENCE = Schema(must={"name": schema.TEXT, "padstack": schema.TEXT, "at": schema.PLACES})


def read_board(path: str | os.PathLike[str]) -> Board:
    """Read a board from a TOML file.

    Parameters
    ----------
    path : path
        UTF-8 text. Lengths, rates, frequencies and impedances stand in it as text with their unit.

    Raises
    ------
    FileError
        Not a readable text file, not TOML (with the line), a key that is unknown, missing or of the wrong type, or a
        value that contradicts another. The text names file, table and key, and says what to write.
    """
    name = Path(path).name
    table = _parsed(_text(Path(path)), name)
    BOARD.check(table, f"{name}: top level")
    return _Reader(table, name).board()


def _text(path: Path) -> str:
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        raise FileError(f"{path}: no such file.") from None
    except IsADirectoryError:
        raise FileError(f"{path}: is a directory; give the board file in it.") from None
    except OSError as error:
        raise FileError(f"{path}: cannot be read: {error.strerror}.") from None
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise FileError(f"{path.name}: is UTF-16 text; save it as UTF-8.")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise FileError(f"{path.name}: line {line} is not UTF-8 text; save the file as UTF-8.") from None
    if "\0" in text:
        raise FileError(f"{path.name}: is a binary file, not a board file in TOML.")
    return text


def _parsed(text: str, where: str) -> Table:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise FileError(f"{where}: not valid TOML: {error}.") from None


class _Reader:
    """One file on its way to a Board: the tables, the file's name, and what others refer to by name."""

    def __init__(self, table: Table, where: str) -> None:
        self.table, self.file = table, where
        self.criteria = {**RULES_OF_THUMB, **self._criteria()}
        self.stackup = self._stackup()
        self.padstacks = self._named("padstack", parts.padstack)
        self.press_fits = self._named("press_fit", parts.press_fit)

    def board(self) -> Board:
        nets = [self._net(table, where) for where, table in self._tables("net")]
        nets += [self._reference(table, where) for where, table in self._tables("reference")]
        self._check_alone(nets)
        with located(f"{self.file}: [[net]], [[reference]]"):
            return Board(
                stackup=self.stackup,
                nets=tuple(nets),
                name=self.table.get("name", ""),
                criterion=self._criterion(self.table, f"{self.file}: top level") or DEFAULT,
                signal_criteria=self._signal_criteria(),
            )

    def _check_alone(self, nets: list[Net]) -> None:
        """Let the board judge each padstack and net by itself, so that what it refuses has its place in the file."""
        for name, padstack in self.padstacks.items():
            bare = Net(name=name, holes=(Hole(name=name, padstack=padstack),), reference=True)
            with located(f"{self.file}: [[padstack]] '{name}'"):
                Board(stackup=self.stackup, nets=(bare,))
        for net in nets:
            with located(f"{self.file}: [[{'reference' if net.reference else 'net'}]] '{net.name}'"):
                Board(stackup=self.stackup, nets=(net,))

    def _tables(self, key: str) -> Any:
        return named(self.table.get(key, []), f"{self.file}: [[{key}]]")

    def _named(self, key: str, build: Callable[[Table, str], Any]) -> dict[str, Any]:
        built: dict[str, Any] = {}
        for where, table in self._tables(key):
            value = build(table, where)
            if table["name"] in built:
                raise FileError(f"{where}: name appears twice; each must be unique.")
            built[table["name"]] = value
        return built

    def _stackup(self) -> Stackup:
        table, where = self.table["stackup"], f"{self.file}: [stackup]"
        STACKUP.check(table, where)
        source = table.get("source", "")
        layers = [
            parts.layer(layer, f"{self.file}: [[stackup.layer]] number {number}", source)
            for number, layer in enumerate(table["layer"], 1)
        ]
        with located(where):
            return Stackup(layers=tuple(layers), source=source)

    def _criteria(self) -> dict[str, Criterion]:
        built = {}
        for name, table in self.table.get("criteria", {}).items():
            where = f"{self.file}: [criteria] '{name}'"
            if not isinstance(table, dict):
                raise FileError(f"{where} = {schema.written(table)}: must be a table with a limit and its source.")
            if name in RULES_OF_THUMB:
                raise FileError(f"{where}: is the name of a published rule; choose another.")
            built[name] = parts.criterion(table, where)
        return built

    def _criterion(self, table: Mapping[str, Any], where: str) -> Criterion | None:
        if "criterion" not in table:
            return None
        return look_up(table["criterion"], self.criteria, f"{where} criterion", "criterion")

    def _signal_criteria(self) -> dict[Signal, Criterion]:
        built: dict[Signal, Criterion] = {}
        for text, name in self.table.get("signal_criteria", {}).items():
            where = f"{self.file}: [signal_criteria] '{text}'"
            if not isinstance(name, str):
                raise FileError(f"{where} = {schema.written(name)}: must be the name of a criterion, in quotes.")
            with located(where):
                signal = Signal(text)
            if signal in built:
                raise FileError(f"{where}: this signal stands in the table already under another spelling.")
            built[signal] = look_up(name, self.criteria, where, "criterion")
        return built

    def _net(self, table: Table, where: str) -> Net:
        NET.check(table, where)
        holes = [self._hole(hole, place) for place, hole in named(table["holes"], f"{where} hole")]
        with located(where):
            return Net(
                name=table["name"],
                signal=table["signal"],
                z0=table["z0"],
                holes=tuple(holes),
                layers=tuple(table.get("layers", ())),
                criterion=self._criterion(table, where),
                waiver=table.get("waiver", ""),
            )

    def _hole(self, table: Table, where: str) -> Hole:
        HOLE.check(table, where)
        x, y = table.get("at", (None, None))
        press_fit = None
        if "press_fit" in table:
            press_fit = look_up(table["press_fit"], self.press_fits, f"{where} press_fit", "[[press_fit]]")
        padstack = look_up(table["padstack"], self.padstacks, f"{where} padstack", "[[padstack]]")
        with located(where):
            return Hole(
                name=table["name"],
                padstack=padstack,
                connects=tuple(table["connects"]),
                x=x,
                y=y,
                leg=table.get("leg", ""),
                press_fit=press_fit,
            )

    def _reference(self, table: Table, where: str) -> Net:
        REFERENCE.check(table, where)
        name = table["name"]
        padstack = look_up(table["padstack"], self.padstacks, f"{where} padstack", "[[padstack]]")
        with located(f"{where} at"):
            holes = [
                Hole(name=f"{name}.{number}", padstack=padstack, x=x, y=y)
                for number, (x, y) in enumerate(table["at"], 1)
            ]
            return Net(name=name, holes=tuple(holes), reference=True)
