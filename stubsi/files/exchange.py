"""Owns the board that is read from an IPC-2581 file, with a summary of what was found, left out and assumed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.board.names import how_many
from stubsi.files.by_name import given_or_empty
from stubsi.files.exchange_board import BoardMaker
from stubsi.files.exchange_overlay import Overlay
from stubsi.files.exchange_reader import ExchangeReader
from stubsi.files.exchange_tolerances import tolerances_of
from stubsi.tolerance.tasks import check_progress
from stubsi.units import show
from stubsi.value import Value, value_object

if TYPE_CHECKING:
    import os
    from collections.abc import Callable, Iterable, Mapping

    from stubsi.board.board import Board
    from stubsi.board.criterion import Criterion
    from stubsi.board.layers import Role
    from stubsi.board.net import StubFeedName
    from stubsi.board.padstack import Antipad, PressFit
    from stubsi.board.signal import Signal
    from stubsi.board.stackup import Stackup
    from stubsi.files.exchange_records import FileRecord
    from stubsi.tolerance.tolerances import Tolerances
    from stubsi.units import Dimensioned, Quantity

MOST_LISTED = 10
"""Most names that the summary lists."""


@value_object
class ExchangeBoard(Value):
    """A board that was read from an exchange file. It prints a summary.

    Parameters
    ----------
    board : Board
        The nets that got a signal, and the reference nets.
    file, standard : str
        Name of the file, and the standard that it is written in, like "IPC-2581 revision C".
    found, ignored, assumed : tuple of (str, int)
        What was read, what has no part in the board, and what was taken for something else or stays unknown; each
        with its count.
    nets_without_signal : tuple of str
        Nets that got no signal and are no reference nets. They are not on the board.
    nets_without_holes : tuple of str
        Nets that got a signal and have no plated hole, so they have no stub.
    tolerances : Tolerances or None
        What the file states of board, layers, Dk and holes, for a tolerance study; None where it states none. Nothing
        is said of distributions there, so they are uniform.
    """

    board: Board
    file: str
    standard: str
    found: tuple[tuple[str, int], ...]
    ignored: tuple[tuple[str, int], ...]
    assumed: tuple[tuple[str, int], ...]
    nets_without_signal: tuple[str, ...]
    nets_without_holes: tuple[str, ...]
    tolerances: Tolerances | None = None

    def __repr__(self) -> str:
        return f"<ExchangeBoard {self.file[:60]}: {self.board!r}>"[:199]

    def __str__(self) -> str:
        lines = [f"{self.file}, {self.standard}"]
        for title in ("found", "ignored", "assumed"):
            counts = getattr(self, title)
            lines += [f"{title}: {what} ({count})" for what, count in counts]
        for title, names in (
            ("nets without a signal, not on the board", self.nets_without_signal),
            ("nets without a plated hole", self.nets_without_holes),
        ):
            if names:
                more = f" and {len(names) - MOST_LISTED} more" if len(names) > MOST_LISTED else ""
                lines.append(f"{title}: {', '.join(names[:MOST_LISTED])}{more}")
        return "\n".join(lines)


def read_ipc2581(
    path: str | os.PathLike[str],
    *,
    signals: Mapping[str, Signal | str | Quantity] | None = None,
    z0: Dimensioned | Mapping[str, Dimensioned] | None = None,
    reference: Iterable[str] = (),
    dk: Mapping[str, float] | None = None,
    roles: Mapping[str, Role] | None = None,
    pads: Mapping[str, Dimensioned | None] | None = None,
    antipads: Mapping[str, Dimensioned | Antipad | Mapping[str, Dimensioned | Antipad]] | None = None,
    connects: Mapping[str, Iterable[str]] | None = None,
    plating: Dimensioned | None = None,
    pairs: Mapping[str, str] | None = None,
    feed: Mapping[str, StubFeedName] | None = None,
    criterion: Criterion | str | Mapping[str, Criterion | str] | None = None,
    press_fit: Mapping[str, PressFit] | None = None,
    spans: Mapping[str, Iterable[str]] | None = None,
    step: str | None = None,
    progress: Callable[[int, int], object] | None = None,
) -> ExchangeBoard:
    """Read a board from an IPC-2581 file, revision A, B, B1 or C.

    The stackup, the plated holes, and the layers where copper of a hole's own net meets it are read from the file. A
    pad alone is no connection. What the file does not say is given here. Nothing is guessed: what stays unknown is
    None on the board, or ends in one error that lists all that is missing. In names of nets, ``*`` stands for any
    characters and ``?`` for one; a text between slashes is a regular expression for the whole name: ``/DQ[0-7]/``.

    Parameters
    ----------
    path : path
        The file.
    signals : mapping of net to Signal or rate, optional
        Which nets carry what: ``{"PCIE_TX*": "32 GT/s"}``. Only these nets are on the board. Both halves of a pair
        get the signal of one of them.
    z0 : impedance or mapping of net to impedance, optional
        Of the line of each net; of a pair, the differential one.
    reference : list of str
        Nets whose holes are return vias, beside those of class GROUND or POWER in the file.
    dk : mapping of layer or material to float, optional
        Dk [-] of dielectric layers. It comes before that of the file.
    roles : mapping of layer to {"signal", "plane", "mixed"}, optional
        Roles of copper layers. They come before those of the file. Where the file says only CONDUCTOR, they are read
        from the copper: without areas "signal", otherwise "mixed".
    pads : mapping of padstack or hole diameter to length or None, optional
        Pads of holes, on every layer. They come before those of the file.
    antipads : mapping of padstack or hole diameter to length, Antipad, or mapping of layer to these, optional
        Clearances in planes. They come before those of the file, which states them or draws them: the widest circle
        around the hole that is free of areas of other nets.
    connects : mapping of net or hole to list of layers, optional
        Layers in use of the holes that no copper of their net touches. Holes are named after their net: ``NET.1``. To
        a hole that is named so, layers may be added to those that the file shows.
    plating : length, optional
        Thickness of the plating, if the diameters of the file are those after plating. If it is not given, they count
        as diameters of the primary drill.
    pairs : mapping of net to net, optional
        Half P of each pair, and its half N, where the file states no pairs: ``{"PCIE_TX*_P": "PCIE_TX*_N"}``. What
        ``*`` and ``?`` stand for in the first name is put in their place in the second.
    feed : mapping of net or hole to {"through", "tee"}, optional
        From where the signal of the stubs comes, where that is not what follows from the layers in use.
    criterion : Criterion, name in ``RULES_OF_THUMB``, or mapping of net to these, optional
        What the nets must meet. A mapping holds for the nets it names, and the others keep that of a new board.
    press_fit : mapping of component to PressFit, optional
        What press-fit pins need of their holes, which no file says: ``{"J*": PressFit(...)}``.
    spans : mapping of drill layer, padstack or hole diameter to two layers, optional
        First and last copper layer of holes whose span the file does not say.
    step : str, optional
        Which step of the file is the board, where several hold plated holes, like board and coupon of a panel.
    progress : callable, optional
        Called with the bytes that were read and those of the whole file, at every megabyte and at the end.

    Returns
    -------
    ExchangeBoard
        The board, and a summary of what was found, left out and assumed.

    Raises
    ------
    FileError
        The file cannot be read, is no IPC-2581 file, holds no stackup or several boards, contradicts itself, or does
        not say all that the board needs. The error text names file and line.
    BoardError, UnitError
        What was given matches nothing in the file, is given in two ways, or is not of the right kind.

    Notes
    -----
    Elements and attributes as in the schemas of IPC-2581 A to C, published by IPC. A pad that is not round counts as a
    circle of the same area.
    """
    check_progress(progress)
    record = ExchangeReader(path).records(progress)
    overlay = Overlay(
        record,
        signals=given_or_empty(signals),
        z0=z0,
        reference=reference,
        dk=given_or_empty(dk),
        roles=given_or_empty(roles),
        pads=given_or_empty(pads),
        antipads=given_or_empty(antipads),
        connects=given_or_empty(connects),
        plating=plating,
        feed=given_or_empty(feed),
        criterion=criterion,
        press_fit=given_or_empty(press_fit),
        spans=given_or_empty(spans),
        step=step,
    )
    return board_of(record, overlay, None, given_or_empty(pairs), standard=f"IPC-2581 revision {record.revision}")


def board_of(
    record: FileRecord, overlay: Overlay, stackup: Stackup | None, pairs: object, *, standard: str
) -> ExchangeBoard:
    """Make the board of a file, with its summary.

    Parameters
    ----------
    record : FileRecord
        What the file says.
    overlay : Overlay
        What the user gives beside it.
    stackup : Stackup or None
        Layers of the board; None: those of the file.
    pairs : mapping
        Pairs that the user gives, as in ``read_ipc2581``.
    standard : str
        The standard that the file is written in.

    Returns
    -------
    ExchangeBoard
    """
    maker = BoardMaker(record, overlay, stackup, pairs=pairs)
    board = maker.board()
    if maker.holes and overlay.plating is None:
        record.assume("files say nothing of plating: diameters of holes count as those of the primary drill")
    drilled = {hole.name.rpartition(".")[0] for net in board.signal_nets for hole in net.holes}
    holes = [hole for net in sorted(drilled) for hole in maker.holes[net]]
    tolerances = None if stackup is not None else tolerances_of(record, maker.step, holes)
    return ExchangeBoard(
        board=board,
        file=record.name,
        standard=standard,
        found=_found(board, maker),
        ignored=tuple(record.ignored.items()),
        assumed=tuple(record.assumed.items()),
        nets_without_signal=tuple(maker.unmatched),
        nets_without_holes=tuple(maker.nets.without_holes),
        tolerances=tolerances,
    )


def _found(board: Board, maker: BoardMaker) -> tuple[tuple[str, int], ...]:
    copper, thickness = len(board.stackup.copper), show(board.stackup.edges_si[-1], "length")
    holes = sum(len(holes) for holes in maker.holes.values())
    references = sum(net.reference for net in board.nets)
    return (
        (f"copper layers, {thickness} from outer face to outer face", copper),
        ("nets", len(maker.nets.names)),
        (f"plated holes of {how_many(len(maker.holes), 'net')}", holes),
        ("signal nets on the board", len(board.nets) - references),
        ("reference nets on the board", references),
    )
