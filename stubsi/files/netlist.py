"""Owns the reading of an IPC-D-356A netlist: nets, plated holes and positions, which make a board with a stackup."""

from __future__ import annotations

import re
from typing import IO, TYPE_CHECKING, NoReturn

from stubsi.board.stackup import Stackup
from stubsi.checks import checked, one_line
from stubsi.errors import FileError
from stubsi.files.by_name import given_or_empty
from stubsi.files.exchange import ExchangeBoard, board_of
from stubsi.files.exchange_overlay import Overlay
from stubsi.files.exchange_records import BLIND, FileRecord, HoleRecord, LayerRecord, StepRecord
from stubsi.files.opened_file import file_path, opened
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    import os
    from collections.abc import Iterable, Iterator, Mapping
    from pathlib import Path

    from stubsi.board.criterion import Criterion
    from stubsi.board.net import StubFeedName
    from stubsi.board.padstack import Antipad
    from stubsi.board.signal import Signal
    from stubsi.units import Dimensioned, Quantity

LONGEST_LINE = 200
"""Most characters of a line. The standard has 80."""
STEP = {"0": 0.0254e-4, "1": 1e-6, "2": 0.0254e-4}
"""Metres per digit of sizes and places, by the number after UNITS CUST: 0.0001 in or 0.001 mm (from memory)."""
NO_NET = {"", "N/C"}
"""Names that stand for no net."""
THROUGH_HOLE = "317"
BLIND_HOLE = "307"
"""A hole that is blind or buried (from memory)."""
LEFT_OUT = {"327": "surface pads", "367": "non-plated holes"}
"""Kinds of records that have no part in a board."""

_HOLE = re.compile(r"D(?=.{4}[PU ])( *\d+)([PU ])A(\d\d)X(?=.{7}Y)([+\- ] *\d+)Y([+\- ] *\d{1,6})")
"""Numbers may have blanks in place of zeros before them."""
_PLACE = 7
"""Characters of a coordinate."""
_LONG_NAME = re.compile(r"P\s+(NNAME\S*)\s+(\S.*)")
_UNITS = re.compile(r"P\s+UNITS\s+(?:CUST\s*(\S*)|SI\b)")
"""SI stands for CUST 1, with turns in radians (from memory)."""
_PASSED_OVER = re.compile(rb"C|P(?!\s+(?:UNITS|NNAME))")
"""How lines begin that are passed over, whatever they hold: comments, and parameters that a board does not need."""


def read_ipc356(
    path: str | os.PathLike[str],
    *,
    stackup: Stackup,
    signals: Mapping[str, Signal | str | Quantity] | None = None,
    z0: Dimensioned | Mapping[str, Dimensioned] | None = None,
    reference: Iterable[str] = (),
    pads: Mapping[str, Dimensioned | None] | None = None,
    antipads: Mapping[str, Dimensioned | Antipad | Mapping[str, Dimensioned | Antipad]] | None = None,
    plating: Dimensioned | None = None,
    pairs: Mapping[str, str] | None = None,
    feed: Mapping[str, StubFeedName] | None = None,
    criterion: Criterion | str | Mapping[str, Criterion | str] | None = None,
    connects: Mapping[str, Iterable[str]] | None = None,
    spans: Mapping[str, Iterable[str]] | None = None,
) -> ExchangeBoard:
    """Read a board from an IPC-D-356A netlist, which says nets, plated holes, diameters and positions.

    The netlist has neither layers nor copper: the stackup and the layers in use are given here. Holes are named after
    their net, in the order of the file: ``NET.1``, ``NET.2``.

    Parameters
    ----------
    path : path
        The file.
    stackup : Stackup
        Layers of the board.
    signals, z0, reference, pads, antipads, plating, pairs, feed, criterion : optional
        As in ``read_ipc2581``. A netlist has no classes of nets and no pairs: ``reference`` names all reference nets,
        and ``pairs`` all pairs.
    connects : mapping of hole or net to list of layers, optional
        Layers in use: ``{"DQ0.1": ["TOP", "L3"], "CLK*": ["TOP", "L5"]}``.
    spans : mapping of hole diameter to two layers, optional
        First and last copper layer of blind and buried holes, whose ends a netlist does not say.

    Returns
    -------
    ExchangeBoard
        The board, and a summary of what was found, left out and assumed.

    Raises
    ------
    FileError
        The file cannot be read, is no netlist of 80 columns, or does not say all that the board needs, like the end of
        a blind hole. The error text names file and line.
    BoardError, UnitError
        What was given matches nothing in the file, is given in two ways, or is not of the right kind.

    Notes
    -----
    Columns as in IPC-D-356A (from memory): 1 to 3 kind of record, 4 to 17 net, 33 to 57 hole, access and position.
    """
    checked(stackup, "stackup", Stackup)
    record = _records(file_path(path), stackup)
    overlay = Overlay(
        record,
        signals=given_or_empty(signals),
        z0=z0,
        reference=reference,
        dk={},
        roles={},
        pads=given_or_empty(pads),
        antipads=given_or_empty(antipads),
        connects=given_or_empty(connects),
        plating=plating,
        feed=given_or_empty(feed),
        criterion=criterion,
        press_fit={},
        spans=given_or_empty(spans),
        step=None,
    )
    return board_of(record, overlay, stackup, given_or_empty(pairs), standard="IPC-D-356A")


class _Netlist:
    """Reads the lines of one netlist to records."""

    def __init__(self, file: str, stackup: Stackup) -> None:
        self.record, self.step = FileRecord(file), StepRecord("", "", 1)
        self.record.steps.append(self.step)
        names = stackup.names
        through = LayerRecord("through holes", "DRILL", "ALL", "", 1, spans=[(names[0], names[-1])])
        self.record.layers["through holes"] = through
        self.number = 0
        self._metres: float | None = None
        self._long_names: dict[str, str] = {}

    def refuse(self, why: str) -> NoReturn:
        raise FileError(f"{self.record.name}: line {self.number}: {why}.")

    def line(self, text: str) -> bool:
        """Read one line. False: it ends the file."""
        self.number += 1
        code = text[:3]
        if code == "999":
            return False
        if text.startswith("P"):
            self._parameter(text)
        elif code in {THROUGH_HOLE, BLIND_HOLE}:
            self._hole(text)
        elif code.isdigit():
            self.record.ignore(LEFT_OUT.get(code, f"records of kind {code}"))
        elif code.strip() and not text.startswith("C"):
            self.refuse(f"begins with {as_shown(code)}: must begin with C, P or a number of three digits")
        return True

    def _parameter(self, text: str) -> None:
        """Read a line P: the units, or a long name that stands for a short one. All others are passed over."""
        if units := _UNITS.match(text):
            unit = "1" if units[1] is None else units[1]
            if unit not in STEP or self._metres not in {None, STEP[unit]}:
                self.refuse(f"UNITS CUST {as_shown(unit)}: must be 0 (inch) or 1 (metric), and the same throughout")
            self._metres = STEP[unit]
        elif (name := _LONG_NAME.match(text)) and self._long_names.setdefault(name[1], name[2].strip()) != (
            name[2].strip()
        ):
            self.refuse(f"{name[1]} stands for two names")

    def _hole(self, text: str) -> None:
        """Read a line of a hole: its net, diameter, plating, layer and position, each in its columns."""
        net, found = text[3:17].strip(), _HOLE.match(text, 32)
        if found is None or len(found[5]) != _PLACE:
            self.refuse(
                f"columns 33 to 57 = {as_shown(text[32:57])}: must hold diameter, plating, access and position like "
                f"D0098PA00X+012000Y+034000"
            )
        if self._metres is None:
            self.refuse("no line 'P  UNITS CUST 0' or 'P  UNITS CUST 1' stands before the first hole")
        if found[2] == "U":
            self.record.ignore("non-plated holes")
            return
        if found[2] != "P":
            self.refuse("column 38 must be P for a plated hole or U for a non-plated one")
        diameter, x, y = (int(found[i].replace(" ", "")) * self._metres for i in (1, 4, 5))
        if diameter == 0:
            self.refuse("diameter 0: must be positive")
        if net in NO_NET:
            self.record.ignore("plated holes without a net")
            return
        layer = self._layer(found[3], blind=text.startswith(BLIND_HOLE))
        self.step.holes.append(HoleRecord(net, layer, x, y, diameter, "", self.number))

    def with_long_names(self) -> FileRecord:
        """The file as it was read, with long names in place of those that stand for them."""
        for place, hole in enumerate(self.step.holes):
            if hole.net.startswith("NNAME"):
                if hole.net not in self._long_names:
                    self.number = hole.line
                    self.refuse(f"{hole.net}: no line says which name it stands for")
                self.step.holes[place] = hole._replace(net=self._long_names[hole.net])
        return self.record

    def _layer(self, access: str, *, blind: bool) -> str:
        """Name of the drill layer. A hole that is accessed from one layer only is blind, and its end is not said."""
        if access == "00" and not blind:
            return "through holes"
        name = "holes that are blind or buried" if blind else f"holes accessed from layer {int(access)} only"
        self.record.layers.setdefault(name, LayerRecord(name, BLIND, "", "", self.number))
        return name


def _records(path: Path, stackup: Stackup) -> FileRecord:
    """What a netlist says, line by line, as records; an error names the line that cannot be read."""
    netlist = _Netlist(path.name, stackup)
    with opened(path) as file:
        for raw in _lines(file):
            line = raw.removeprefix(b"\xef\xbb\xbf") if netlist.number == 0 else raw
            if _PASSED_OVER.match(line) and len(line.rstrip(b"\r\n")) <= LONGEST_LINE:
                netlist.number += 1
                continue
            try:
                text = line.decode("ascii").rstrip("\r\n")
            except UnicodeDecodeError:
                netlist.number += 1
                netlist.refuse("holds characters that are no ASCII text")
            if len(text) > LONGEST_LINE or one_line(text) != text:
                netlist.number += 1
                netlist.refuse(f"must be one line of at most {LONGEST_LINE} characters, without control characters")
            if not netlist.line(text):
                return netlist.with_long_names()
    return netlist.refuse("the file ends without a line 999, so it is cut off")


def _lines(file: IO[bytes]) -> Iterator[bytes]:
    """Lines of a file, each read only as far as a line may be long."""
    while line := file.readline(LONGEST_LINE + 3):
        yield line
