"""Owns the layer matrix: the stub left when a net enters at one layer and leaves at another, and whether it passes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from stubsi.board.board import Board
from stubsi.board.criterion import DEFAULT, Criterion, as_criterion
from stubsi.board.names import by_name, how_many, shortened
from stubsi.board.net import Net, ReturnVias
from stubsi.board.padstack import Padstack
from stubsi.board.signal import Signal, as_signal
from stubsi.board.stackup import Stackup
from stubsi.checks import checked, is_list
from stubsi.errors import StubsiError
from stubsi.margin.ranking import counted, rank
from stubsi.margin.trial_board import trial_board, trial_holes, trial_places, trial_vias
from stubsi.read_only import ReadOnlyMapping
from stubsi.stubs.nearest_vias import REACH
from stubsi.unit_errors import as_shown
from stubsi.units import one_si

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd

    from stubsi.board.padstack import Side
    from stubsi.margin.net_margin import NetMargin
    from stubsi.units import Dimensioned


@dataclass(frozen=True, kw_only=True, repr=False)
class LayerMatrix:
    """Margins of a net by the layer it leaves at and the signal it carries, undrilled.

    Parameters
    ----------
    entry : str
        Layer the net enters at.
    criterion : Criterion
        What the nets must meet.
    cells : mapping of mapping of NetMargin
        ``cells[layer][signal]`` is the margin of a net that leaves at that layer with that signal, named in full:
        "25 Gb/s NRZ". ``cell`` takes it as it was given. Its ``side`` is that of the stub with the lowest notch.
    sides : mapping of tuple of {"top", "bottom"}
        Sides of the board to which a net that leaves at that layer has a stub: one, both, or none. Entry at an inner
        layer can leave stubs on both sides.
    """

    entry: str
    criterion: Criterion
    cells: ReadOnlyMapping[str, ReadOnlyMapping[str, NetMargin]]
    sides: ReadOnlyMapping[str, tuple[Side, ...]]

    def cell(self, layer: str, signal: Signal | Dimensioned) -> NetMargin:
        """Margin of a net that leaves at a layer with a signal.

        Parameters
        ----------
        layer : str
            Name of an exit layer.
        signal : Signal, preset name or rate
            One of the signals of this matrix, in any of the ways ``layer_matrix`` takes it: "25 Gb/s" or "25 Gb/s NRZ".

        Returns
        -------
        NetMargin
            As in ``cells``.

        Raises
        ------
        UnknownNameError
            There is no such exit layer, or no such signal in this matrix.
        StubsiError
            The signal cannot be read.
        """
        row = by_name(self.cells, layer, "exit layer", "in this layer matrix")
        named = signal if isinstance(signal, str) and signal in row else str(as_signal(signal))
        return by_name(row, named, "signal", "in this layer matrix")

    def sides_text(self, layer: str) -> str:
        """Sides of the board to which a net that leaves at a layer has a stub, in words.

        Parameters
        ----------
        layer : str
            Name of an exit layer.

        Returns
        -------
        str
            "top", "bottom", "top and bottom", or "none".

        Raises
        ------
        UnknownNameError
            There is no such exit layer.
        """
        return " and ".join(by_name(self.sides, layer, "exit layer", "in this layer matrix")) or "none"

    def to_frame(self) -> pd.DataFrame:
        """Table as a pandas DataFrame.

        Returns
        -------
        pandas.DataFrame
            A row per exit layer: its longest stub [mm], the sides of the board to which it leaves a stub, and for every
            signal the verdict and first notch / Nyquist.
        """
        import pandas as pd

        rows = {
            layer: {"stub [mm]": longest_mm(cells), "side": self.sides_text(layer)} | _texts(cells)
            for layer, cells in self.cells.items()
        }
        frame = pd.DataFrame.from_dict(rows, orient="index")
        frame.index.name = "exit layer"
        return frame

    def __str__(self) -> str:
        from stubsi.show.matrix_table import matrix_text

        return matrix_text(self)

    def __repr__(self) -> str:
        verdicts = (cell.verdict for row in self.cells.values() for cell in row.values())
        layers = how_many(len(self.cells), "exit layer")
        return f"<LayerMatrix of {layers} from {shortened(self.entry)}{counted(verdicts)}>"

    def _repr_html_(self) -> str:
        from stubsi.show.matrix_table import matrix_html

        return matrix_html(self)


def layer_matrix(
    stackup: Stackup,
    signals: Sequence[Signal | Dimensioned],
    *,
    padstack: Padstack,
    z0: Dimensioned,
    entry: str | None = None,
    criterion: Criterion | str = DEFAULT,
    return_vias: ReturnVias | None = None,
    pitch: Dimensioned | None = None,
) -> LayerMatrix:
    """Stub left for every exit layer, and whether each signal passes with it undrilled: what a router needs first.

    Parameters
    ----------
    stackup : Stackup
        Layers of the board.
    signals : sequence of Signal, str or quantity
        What the nets may carry; a column each.
    padstack : Padstack
        Hole the nets change layers in.
    z0 : impedance
        Of the line; of a pair: differential.
    entry : str, optional
        Layer the net enters at; the uppermost of the hole that a net can use unless given.
    criterion : Criterion or name in ``RULES_OF_THUMB``
        What the nets must meet.
    return_vias : ReturnVias, optional
        Unknown ones leave some verdicts undecided.
    pitch : length, optional
        Pitch of the pair, if the net is one.

    Returns
    -------
    LayerMatrix
        A row for every layer of the hole that a net can use, from the top: all but the planes.

    Raises
    ------
    StubsiError, UnitError
        An entry layer outside the hole; arguments of the wrong kind; values out of range; a geometry that no board can
        have.

    Examples
    --------
    >>> from stubsi import CopperLayer, DielectricLayer, Padstack, Stackup
    >>> copper = [CopperLayer(name=name, thickness="35 um") for name in ("TOP", "IN", "BOT")]
    >>> gap = DielectricLayer(thickness="0.7 mm", dk=4)
    >>> stackup = Stackup(layers=(copper[0], gap, copper[1], gap, copper[2]))
    >>> via = Padstack(name="via", drill="0.3 mm")
    >>> layer_matrix(stackup, ["PCIe 5.0"], padstack=via, z0="50 ohm")
    <LayerMatrix of 3 exit layers from TOP: 2 marginal, 1 pass>
    """
    checked(stackup, "stackup", Stackup)
    checked(padstack, "padstack", Padstack)
    if return_vias is not None:
        checked(return_vias, "return_vias", ReturnVias)
    names = stackup.names
    first, last = padstack.span or (names[0], names[-1])
    reached = names[stackup.index(first) : stackup.index(last) + 1]
    exit_layers = [layer for layer in reached if stackup.copper[stackup.index(layer)].role != "plane"]
    entry = next(iter(exit_layers), first) if entry is None else checked(entry, "entry")
    if entry not in reached:
        raise StubsiError(f"entry = {as_shown(entry)}: the hole goes from {first} to {last}.")
    criterion = as_criterion(criterion)
    given_signals = _signals(signals)
    pitch_si = None if pitch is None else one_si(pitch, "length", "pitch")
    trial_board(stackup, padstack, entry, pitch_si, return_vias)
    trials = [
        (layer, f"{layer} {number}", signal) for layer in exit_layers for number, signal in enumerate(given_signals)
    ]
    places = trial_places(len(trials), pitch_si or 0.0)
    nets = []
    for (layer, name, signal), at in zip(trials, places, strict=True):
        holes = trial_holes(padstack, name, tuple(dict.fromkeys((entry, layer))), pitch_si, at)
        nets.append(Net(name=name, signal=signal, z0=z0, holes=holes))
    vias = trial_vias(return_vias, f"return via beside {padstack.name}", places, REACH + (pitch_si or 0.0) / 2)
    ranking = rank(Board(stackup=stackup, nets=nets + vias, criterion=criterion))
    cells = {
        layer: ReadOnlyMapping({str(s): ranking[f"{layer} {n}"] for n, s in enumerate(given_signals)})
        for layer in exit_layers
    }
    sides = {layer: _stub_sides(stackup, (entry, layer), first, last) for layer in exit_layers}
    return LayerMatrix(entry=entry, criterion=criterion, cells=ReadOnlyMapping(cells), sides=ReadOnlyMapping(sides))


def _stub_sides(stackup: Stackup, in_use: tuple[str, str], first: str, last: str) -> tuple[Side, ...]:
    """Sides to which a barrel from the first to the last layer goes on beyond the layers in use."""
    upper, lower = sorted(in_use, key=stackup.index)
    ends: tuple[tuple[Side, str, str], ...] = (("top", upper, first), ("bottom", lower, last))
    return tuple(side for side, layer, end in ends if layer != end)


def _signals(signals: Sequence[Signal | Dimensioned]) -> list[Signal]:
    if not is_list(signals):
        raise StubsiError(f"signals = {as_shown(signals)}: must be a list of signals, like ['PCIe 5.0'].")
    listed = [as_signal(signal) for signal in signals]
    if not listed:
        raise StubsiError("signals is an empty list: give at least one signal, like ['PCIe 5.0'].")
    return listed


def longest_mm(cells: Mapping[str, NetMargin]) -> float:
    """Longest stub [mm] of the margins of one exit layer; 0 without stub."""
    return 1e3 * max((cell.stub_length_si or 0.0 for cell in cells.values()), default=0.0)


def cell_text(cell: NetMargin) -> str:
    """Verdict, and first notch over Nyquist where there is one: 'drill (3.12)'."""
    return cell.verdict if cell.margin is None else f"{cell.verdict} ({cell.margin:.2f})"


def _texts(cells: Mapping[str, NetMargin]) -> dict[str, str]:
    return {signal: cell_text(cell) for signal, cell in cells.items()}
