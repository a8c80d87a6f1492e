"""Owns the board file: a TOML text is read to a Board. Nothing that is missing is guessed, and no key is ignored."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

from stubsi.board.board import Board
from stubsi.board.criterion import DEFAULT, RULES_OF_THUMB, Criterion
from stubsi.board.net import Hole, Net
from stubsi.board.signal import Signal
from stubsi.board.stackup import Stackup
from stubsi.checks import checked, pairs
from stubsi.errors import BoardError, FileError
from stubsi.files import parts, schema
from stubsi.files.schema import Schema, errors_at, look_up, with_places
from stubsi.files.tolerance_tables import check_fit
from stubsi.files.toml_text import parsed_file
from stubsi.plausibility import warn
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    import os
    from collections.abc import Callable, Iterator, Mapping

    from stubsi.board.padstack import Padstack
    from stubsi.files.toml_text import Table

Part = TypeVar("Part")

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
        "tolerance": schema.TABLES,
    },
)
STACKUP = Schema(must={"layer": schema.TABLES}, may={"source": schema.TEXT})
NET = Schema(
    must={"name": schema.TEXT, "signal": schema.RATE, "z0": schema.IMPEDANCE, "holes": schema.INLINE_TABLES},
    may={"layers": schema.NAMES, "criterion": schema.TEXT, "waiver": schema.TEXT},
)
HOLE = Schema(
    must={"name": schema.TEXT, "padstack": schema.TEXT, "connects": schema.NAMES},
    may={
        "at": schema.POSITION,
        "leg": schema.TEXT,
        "press_fit": schema.TEXT,
        "feed": schema.TEXT,
        "traces": schema.TEXT,
    },
)
REFERENCE_NET = Schema(
    must={"name": schema.TEXT, "reference": schema.TRUE, "holes": schema.INLINE_TABLES}, may={"layers": schema.NAMES}
)
REFERENCE_HOLE = Schema(must={"name": schema.TEXT, "padstack": schema.TEXT}, may={**HOLE.may, "connects": schema.NAMES})
REFERENCE = Schema(must={"name": schema.TEXT, "padstack": schema.TEXT, "at": schema.POSITIONS})


def read_board(path: str | os.PathLike[str], *, criteria: Mapping[str, Criterion] | None = None) -> Board:
    """Read a board from a TOML file.

    Parameters
    ----------
    path : path
        A text file in UTF-8. Lengths, rates, frequencies and impedances are written as text with their unit. Tables
        ``[[tolerance]]`` are checked here; ``read_tolerances`` gives them.
    criteria : mapping of name to Criterion, optional
        Criteria that the file may name beside its own, for example those of ``read_criteria``.

    Returns
    -------
    Board
        The board, checked as a whole.

    Raises
    ------
    FileError
        The file is not a readable text file or not TOML, a key is unknown or missing, a value has the wrong type, or
        two values contradict each other. The error text names file, table and key, and says what to write.
    BoardError
        ``criteria`` is no mapping of names to criteria.

    Examples
    --------
    >>> board = read_board("shared/demo_board.toml")
    >>> board.net("DQ0").signal
    Signal(rate='DDR4-3200', modulation='NRZ')
    """
    name, table = parsed_file(path)
    return board_of_table(table, name, criteria)


def known_criteria(table: Table, file: str, given: Mapping[str, Criterion] | None) -> dict[str, Criterion]:
    """Criteria that a file may name: the published rules, those given, and its own.

    Parameters
    ----------
    table : dict
        The parsed file.
    file : str
        Name of the file, for error texts.
    given : mapping of name to Criterion, optional

    Returns
    -------
    dict of str to Criterion

    Raises
    ------
    FileError
        A criterion of the file is wrong, or differs from the one given under the same name.
    BoardError
        ``given`` is no mapping of names to criteria, or gives the name of a published rule to another criterion.
    """
    known = dict(RULES_OF_THUMB)
    for name, criterion in pairs({} if given is None else given, "criteria"):
        checked(name, "criteria name")
        checked(criterion, f"criterion {as_shown(name)}", Criterion)
        if known.setdefault(name, criterion) != criterion:
            raise BoardError(
                f"criteria {as_shown(name)}: is the name of a published rule that says otherwise; rename it."
            )
    for name, criterion in parts.criteria(table, file).items():
        if known.setdefault(name, criterion) != criterion:
            raise FileError(
                f"{file}: [criteria] '{name}': differs from the criterion given under this name; rename one of them."
            )
    return known


def board_of_table(table: Table, name: str, criteria: Mapping[str, Criterion] | None = None) -> Board:
    """Make the board of a parsed file.

    Parameters
    ----------
    table : dict
        The parsed file.
    name : str
        Name of the file, for error texts.
    criteria : mapping of name to Criterion, optional
        As in ``read_board``.

    Returns
    -------
    Board

    Raises
    ------
    FileError
        As in ``read_board``.
    """
    BOARD.check(table, f"{name}: top level")
    board = _Reader(table, name, criteria).board()
    check_fit(table.get("tolerance", ()), name, board)
    _warn_of_idle_criteria(table, name)
    return board


def _warn_of_idle_criteria(table: Table, file: str) -> None:
    """Warn of every criterion of a file that nothing in it names: no net is judged by it."""
    named = {table.get("criterion"), *table.get("signal_criteria", {}).values()}
    named |= {net.get("criterion") for net in table.get("net", ())}
    for name in table.get("criteria", {}):
        if name not in named:
            warn(
                f"{file}: [criteria] '{name}': no net is judged by it; name it as the criterion of the board, of a "
                f"signal or of a net, or take it out."
            )


def stackup_of_table(table: Table, file: str) -> Stackup:
    """Make the stackup of a parsed file.

    Parameters
    ----------
    table : dict
        The table ``[stackup]``.
    file : str
        Name of the file, for error texts.

    Returns
    -------
    Stackup

    Raises
    ------
    FileError
        As in ``read_board``.
    """
    place = f"{file}: [stackup]"
    STACKUP.check(table, place)
    source = table.get("source", "")
    layers = [
        parts.layer(layer, f"{file}: [[stackup.layer]] number {number}", source)
        for number, layer in enumerate(table["layer"], 1)
    ]
    with errors_at(place):
        return Stackup(layers=tuple(layers), source=source)


class _Reader:
    """Builds the Board of one file: holds the tables, the file's name, and the parts that other parts name."""

    def __init__(self, table: Table, file: str, criteria: Mapping[str, Criterion] | None) -> None:
        self.table, self.file = table, file
        self.criteria = known_criteria(table, file, criteria)
        self.stackup = stackup_of_table(table["stackup"], file)
        self.padstacks = self._by_name("padstack", parts.padstack)
        self.press_fits = self._by_name("press_fit", parts.press_fit)

    def board(self) -> Board:
        nets = [self._net(table, place) for place, table in self._tables("net")]
        nets += [self._reference(table, place) for place, table in self._tables("reference")]
        criterion = self._criterion(self.table, f"{self.file}: top level") or DEFAULT
        signal_criteria = tuple(self._signal_criteria().items())
        name = self.table.get("name", "")
        self._check_padstacks(self._unused_padstacks(nets))
        with errors_at(f"{self.file}: [[net]], [[reference]]"):
            try:
                return Board(
                    stackup=self.stackup,
                    nets=tuple(nets),
                    name=name,
                    criterion=criterion,
                    signal_criteria=signal_criteria,
                )
            except BoardError:
                self._refuse_wrong_part(nets)
                raise

    def _unused_padstacks(self, nets: list[Net]) -> dict[str, Padstack]:
        """Padstacks that no hole uses. A board of the nets does not check them."""
        used = {hole.padstack.name for net in nets for hole in net.holes}
        return {name: padstack for name, padstack in self.padstacks.items() if name not in used}

    def _check_padstacks(self, padstacks: dict[str, Padstack]) -> None:
        """Check each padstack by a board with this padstack only, so that an error names its place in the file."""
        for name, padstack in padstacks.items():
            only_net = Net(name=name, holes=(Hole(name=name, padstack=padstack),), reference=True)
            with errors_at(f"{self.file}: [[padstack]] '{name}'"):
                Board(stackup=self.stackup, nets=(only_net,))

    def _refuse_wrong_part(self, nets: list[Net]) -> None:
        """Find the padstack or net that is wrong by itself, and raise its error with its place in the file.

        This is called after the whole board was refused. It raises nothing if only the parts together are wrong.
        """
        self._check_padstacks(self.padstacks)
        for net in nets:
            with errors_at(f"{self.file}: [[{'reference' if net.reference else 'net'}]] '{net.name}'"):
                Board(stackup=self.stackup, nets=(net,))

    def _tables(self, key: str) -> Iterator[tuple[str, Table]]:
        return with_places(self.table.get(key, []), f"{self.file}: [[{key}]]")

    def _by_name(self, key: str, build: Callable[[Table, str], Part]) -> dict[str, Part]:
        """Parts of one kind by their names, of which none may appear twice."""
        parts_by_name: dict[str, Part] = {}
        for place, table in self._tables(key):
            part = build(table, place)
            if table["name"] in parts_by_name:
                raise FileError(f"{place}: name appears twice; each must be unique.")
            parts_by_name[table["name"]] = part
        return parts_by_name

    def _criterion(self, table: Table, place: str) -> Criterion | None:
        if "criterion" not in table:
            return None
        return look_up(table["criterion"], self.criteria, f"{place} criterion", "criterion")

    def _signal_criteria(self) -> dict[Signal, Criterion]:
        """Criteria of the signals that the table [signal_criteria] names."""
        criterion_of: dict[Signal, Criterion] = {}
        for text, name in self.table.get("signal_criteria", {}).items():
            place = f"{self.file}: [signal_criteria] '{text}'"
            if not isinstance(name, str):
                raise FileError(f"{place} = {schema.as_written(name)}: must be the name of a criterion, in quotes.")
            with errors_at(place):
                signal = Signal(text)
            if signal in criterion_of:
                raise FileError(f"{place}: this signal stands in the table already under another spelling.")
            criterion_of[signal] = look_up(name, self.criteria, place, "criterion")
        return criterion_of

    def _net(self, table: Table, place: str) -> Net:
        """Make a net of its table; with the key ``reference`` a reference net whose holes are listed."""
        reference = "reference" in table
        (REFERENCE_NET if reference else NET).check(table, place)
        hole_keys = REFERENCE_HOLE if reference else HOLE
        holes = [
            self._hole(hole, hole_place, hole_keys) for hole_place, hole in with_places(table["holes"], f"{place} hole")
        ]
        with errors_at(place):
            return Net(
                name=table["name"],
                reference=reference,
                signal=table.get("signal"),
                z0=table.get("z0"),
                holes=tuple(holes),
                layers=tuple(table.get("layers", ())),
                criterion=self._criterion(table, place),
                waiver=table.get("waiver", ""),
            )

    def _hole(self, table: Table, place: str, keys: Schema) -> Hole:
        """Make a hole of its table, with the padstack and the press fit that it names."""
        keys.check(table, place)
        x, y = table.get("at", (None, None))
        press_fit = None
        if "press_fit" in table:
            press_fit = look_up(table["press_fit"], self.press_fits, f"{place} press_fit", "[[press_fit]]")
        padstack = look_up(table["padstack"], self.padstacks, f"{place} padstack", "[[padstack]]")
        with errors_at(place):
            return Hole(
                name=table["name"],
                padstack=padstack,
                connects=tuple(table.get("connects", ())),
                x=x,
                y=y,
                leg=table.get("leg", ""),
                press_fit=press_fit,
                feed=table.get("feed", ""),
                traces=table.get("traces", ""),
            )

    def _reference(self, table: Table, place: str) -> Net:
        """Make a reference net of a table [[reference]]: one padstack at many places."""
        REFERENCE.check(table, place)
        name = table["name"]
        padstack = look_up(table["padstack"], self.padstacks, f"{place} padstack", "[[padstack]]")
        with errors_at(f"{place} at"):
            holes = [
                Hole(name=f"{name}.{number}", padstack=padstack, x=x, y=y)
                for number, (x, y) in enumerate(table["at"], 1)
            ]
            return Net(name=name, holes=tuple(holes), reference=True)
