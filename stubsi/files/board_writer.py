"""Owns the writing of a board file: any board as TOML, which reads back as an equal board."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.board.board import Board
from stubsi.board.criterion import RULES_OF_THUMB, Measure
from stubsi.board.layers import CopperLayer
from stubsi.board.signal import Signal
from stubsi.checks import checked
from stubsi.errors import FileError, UnitError
from stubsi.files.exchange import ExchangeBoard
from stubsi.files.tolerance_tables import refuse_none, tolerance_lines, tolerances_of_tables
from stubsi.files.toml import board_of_table
from stubsi.files.toml_text import parsed_text
from stubsi.files.toml_value import comment, inline, key, lines, listed, names, quoted, with_unit
from stubsi.files.written_file import write_file
from stubsi.tolerance.tolerances import Tolerances

if TYPE_CHECKING:
    import os
    from pathlib import Path

    from stubsi.board.criterion import Criterion
    from stubsi.board.layers import DielectricLayer
    from stubsi.board.net import Hole, Net
    from stubsi.board.padstack import Antipad, Padstack, PressFit
    from stubsi.board.stackup import Stackup

_NAME = "the file to be written"
_HEAD = "Board file, written by stubsi. What is left out is unknown."


def write_board(
    board: Board | ExchangeBoard,
    path: str | os.PathLike[str],
    *,
    tolerances: Tolerances | None = None,
    replace: bool = False,
) -> Path:
    """Write a board to a TOML file that ``read_board`` reads back as an equal board.

    Comments of a file that the board was read from are not kept; neither are padstacks that no hole uses.

    Parameters
    ----------
    board : Board or ExchangeBoard
        The board. What ``read_ipc2581`` or ``read_ipc356`` gave is written with its summary as comment.
    path : path
        The file. Its folder must exist.
    tolerances : Tolerances, optional
        Written beside the board; ``read_tolerances`` reads them back. A board itself holds none.
    replace : bool
        Whether a file of that name may be replaced.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    FileError
        The file exists and may not be replaced, or cannot be written, or a value of the board cannot stand in a file.
        Nothing is changed then.
    BoardError
        An argument is of another type, or the tolerances do not fit the board.

    Notes
    -----
    The text is read back and compared before it takes its place. Every length is written in millimetres with all its
    digits. A file takes the name in one step, so that it is never half written.

    Examples
    --------
    >>> import tempfile
    >>> from stubsi import read_board
    >>> board = read_board("shared/demo_board.toml")
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     read_board(write_board(board, folder + "/copy.toml")) == board
    True
    """
    origin = ""
    if isinstance(board, ExchangeBoard):
        board, origin = board.board, f"Read from {board}"
    checked(board, "board", Board)
    made = [*comment(f"{_HEAD}\n{origin}".strip()), "", *_Writer(board).lines()]
    if tolerances is not None:
        checked(tolerances, "tolerances", Tolerances).factors(board)
        refuse_none(tolerances)
        made += tolerance_lines(tolerances)
    text = "\n".join([*made, ""])
    table = parsed_text(text, _NAME)
    if tolerances_of_tables(table.get("tolerance", ()), _NAME) != tolerances:
        raise FileError("tolerances: hold a number of more than 14 digits, which would not read back.")
    if board_of_table(table, _NAME) != board:
        raise FileError("board: holds a number of more than 14 digits or a blank text, which would not read back.")
    return write_file(path, text, replace=replace)


class _Writer:
    """Makes the lines of one board: holds the names that parts without a name get."""

    def __init__(self, board: Board) -> None:
        self.board = board
        self.criteria = _named_criteria(board)
        holes = [hole for net in board.nets for hole in net.holes]
        self.padstacks = {hole.padstack.name: hole.padstack for hole in holes}
        fits = dict.fromkeys(hole.press_fit for hole in holes if hole.press_fit is not None)
        self.press_fits = {fit: f"press fit {number}" for number, fit in enumerate(fits, 1)}

    def lines(self) -> list[str]:
        board = self.board
        top = {"name": quoted(board.name)} if board.name else {}
        made = lines({**top, "criterion": quoted(self.criteria[board.criterion])})
        if board.signal_criteria:
            of_signal = {_rate(signal): quoted(self.criteria[each]) for signal, each in board.signal_criteria}
            made += ["", "[signal_criteria]", *lines(of_signal)]
        for criterion, name in self.criteria.items():
            if name not in RULES_OF_THUMB:
                made += ["", f"[criteria.{key(name)}]", *lines(criterion_pairs(criterion))]
        made += ["", "[stackup]", *_stackup(board.stackup)]
        for padstack in self.padstacks.values():
            made += ["", "[[padstack]]", *lines(_padstack(padstack))]
        for fit, name in self.press_fits.items():
            made += ["", "[[press_fit]]", *lines({"name": quoted(name), **_press_fit(fit)})]
        last = len(board.nets)  # [[reference]] comes after [[net]] in the order of the board
        while last and _is_plain_reference(board.nets[last - 1]):
            last -= 1
        for net in board.nets[:last]:
            made += ["", "[[net]]", *lines(self._net(net)), "holes = [", *map(self._hole, net.holes), "]"]
        for net in board.nets[last:]:
            places = [f"    {_place(hole)}," for hole in net.holes]
            pairs = {"name": quoted(net.name), "padstack": quoted(net.holes[0].padstack.name)}
            made += ["", "[[reference]]", *lines(pairs), "at = [", *places, "]"]
        return made

    def _net(self, net: Net) -> dict[str, str]:
        pairs = {"name": quoted(net.name)}
        if net.reference:
            pairs["reference"] = "true"
        if net.signal is not None:
            pairs["signal"] = quoted(_rate(net.signal))
        if net.z0_si is not None:
            pairs["z0"] = with_unit(net.z0_si, "impedance")
        if net.layers:
            pairs["layers"] = names(net.layers)
        if net.criterion is not None:
            pairs["criterion"] = quoted(self.criteria[net.criterion])
        if net.waiver:
            pairs["waiver"] = quoted(net.waiver)
        return pairs

    def _hole(self, hole: Hole) -> str:
        pairs = {"name": quoted(hole.name), "padstack": quoted(hole.padstack.name)}
        if hole.connects:
            pairs["connects"] = names(hole.connects)
        if hole.xy_si is not None:
            pairs["at"] = _place(hole)
        for name, text in (("leg", hole.leg), ("feed", hole.feed), ("traces", hole.traces)):
            if text:
                pairs[name] = quoted(text)
        if hole.press_fit is not None:
            pairs["press_fit"] = quoted(self.press_fits[hole.press_fit])
        return f"    {inline(pairs)},"


def criterion_pairs(criterion: Criterion) -> dict[str, str]:
    """Keys and values of a criterion in a file.

    Parameters
    ----------
    criterion : Criterion

    Returns
    -------
    dict
        Values as TOML text, by key.
    """
    limit = criterion.limit
    if criterion.measure is Measure.STUB_LENGTH:
        name, value = "stub_length", with_unit(limit, "long length")
    elif criterion.measure is Measure.STUB_LENGTH_TIMES_RATE:
        name, value = "stub_length_at_1_gbaud", with_unit(float(f"{limit / 1e9:.14g}"), "long length")
    else:
        name, value = _PLAIN_LIMITS[criterion.measure], repr(limit)
    return {name: value, "source": quoted(criterion.source)}


_PLAIN_LIMITS = {
    Measure.NOTCH_RATIO: "notch_ratio",
    Measure.ONE_DB_RATIO: "one_db_ratio",
    Measure.LOSS: "loss",
    Measure.RETURN_LOSS: "return_loss",
}


def _named_criteria(board: Board) -> dict[Criterion, str]:
    """Names of all criteria of a board: published rules have theirs, the others are numbered."""
    used = [board.criterion, *(criterion for _, criterion in board.signal_criteria)]
    used += [net.criterion for net in board.nets if net.criterion is not None]
    named = {criterion: name for name, criterion in RULES_OF_THUMB.items()}
    own = [criterion for criterion in dict.fromkeys(used) if criterion not in named]
    return {**named, **{criterion: f"criterion {number}" for number, criterion in enumerate(own, 1)}}


def _rate(signal: Signal) -> str:
    """A signal as text: in the words of the user where they read back as the same signal."""
    try:
        if Signal(str(signal)) == signal:
            return str(signal)
    except UnitError:
        pass
    return f"{signal.symbol_rate_si!r} Bd {signal.modulation}"


def _stackup(stackup: Stackup) -> list[str]:
    made = lines({"source": quoted(stackup.source)}) if stackup.source else []
    made.append("layer = [")
    for layer in stackup.layers:
        pairs = _copper(layer) if isinstance(layer, CopperLayer) else _dielectric(layer, stackup.source)
        made.append(f"    {inline(pairs)},")
    return [*made, "]"]


def _copper(layer: CopperLayer) -> dict[str, str]:
    return {
        "copper": quoted(layer.name),
        "thickness": with_unit(layer.thickness_si, "length"),
        "role": quoted(layer.role),
    }


def _dielectric(layer: DielectricLayer, source: str) -> dict[str, str]:
    pairs = {"dielectric": quoted(layer.material), "thickness": with_unit(layer.thickness_si, "length")}
    for name, number in (("dk", layer.dk), ("dk_in_plane", layer.dk_in_plane), ("df", layer.df)):
        if number is not None:
            pairs[name] = repr(number)
    if layer.at_si is not None:
        pairs["at"] = with_unit(layer.at_si, "frequency")
    if layer.source != source:
        pairs["source"] = quoted(layer.source)
    return pairs


def _padstack(padstack: Padstack) -> dict[str, str]:
    pairs = {"name": quoted(padstack.name), "drill": with_unit(padstack.drill_si, "length")}
    if padstack.finished_si is not None:
        pairs["finished"] = with_unit(padstack.finished_si, "length")
    pairs["pad"] = _pad(padstack.pad_si)
    if padstack.pads_si:
        pairs["pads"] = inline({layer: _pad(pad) for layer, pad in padstack.pads_si})
    if padstack.antipad is not None:
        pairs["antipad"] = _antipad(padstack.antipad)
    if padstack.antipads:
        pairs["antipads"] = inline({layer: _antipad(antipad) for layer, antipad in padstack.antipads})
    pairs["non_functional_pads"] = quoted(padstack.non_functional_pads)
    if padstack.span is not None:
        pairs["span"] = names(padstack.span)
    return pairs


def _pad(width: float | None) -> str:
    return quoted("none") if width is None else with_unit(width, "length")


def _antipad(antipad: Antipad) -> str:
    width = with_unit(antipad.width_si, "length")
    return inline({"slot": width}) if antipad.shared else width


def _press_fit(fit: PressFit) -> dict[str, str]:
    pairs = {
        "side": quoted(fit.side),
        "contact_from": with_unit(fit.contact_from_si, "length"),
        "contact_to": with_unit(fit.contact_to_si, "length"),
    }
    if fit.pin_length_si is not None:
        pairs["pin_length"] = with_unit(fit.pin_length_si, "length")
    return pairs


def _place(hole: Hole) -> str:
    """Position of a hole that has one."""
    return listed(with_unit(value, "long length") for value in hole.xy_si or ())


def _is_plain_reference(net: Net) -> bool:
    """Whether a reference net says no more than [[reference]] can: one padstack, and the positions of its holes."""
    plain = [
        hole.name == f"{net.name}.{number}"
        and hole.xy_si is not None
        and hole.padstack.name == net.holes[0].padstack.name
        and not (hole.connects or hole.press_fit or hole.feed or hole.traces)
        for number, hole in enumerate(net.holes, 1)
    ]
    return net.reference and not net.layers and all(plain)
