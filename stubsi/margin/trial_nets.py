"""Owns the ranking of nets that are on no board yet: each from an entry layer to an exit layer through one padstack."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from stubsi.board.board import Board
from stubsi.board.hole_kinds import refuse_plane
from stubsi.board.net import Net
from stubsi.margin.ranking import rank
from stubsi.margin.trial_board import trial_board, trial_holes, trial_places, trial_vias
from stubsi.stubs.nearest_vias import REACH
from stubsi.value import InSI

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stubsi.board.criterion import Criterion
    from stubsi.board.net import ReturnVias
    from stubsi.board.padstack import Padstack
    from stubsi.board.signal import Signal
    from stubsi.board.stackup import Stackup
    from stubsi.margin.ranking import Ranking


class TrialHole(NamedTuple):
    """The hole of trial nets, with what stands around it. ``pitch_si``: of a pair [m]; None for a single hole."""

    stackup: Stackup
    padstack: Padstack
    return_vias: ReturnVias | None
    pitch_si: float | None

    def refuse_impossible(self, entry: str, exit_layer: str) -> None:
        """Refuse layers that no net can use, and a hole that no board can have.

        Parameters
        ----------
        entry, exit_layer : str
            Layers in use.

        Raises
        ------
        BoardError, UnknownNameError
            A layer is none of the stackup, or is a plane; the hole or its return vias are impossible.
        """
        for layer, what in ((entry, "entry"), (exit_layer, "exit")):
            refuse_plane(self.stackup, layer, what)
        trial_board(self.stackup, self.padstack, entry, self.pitch_si, self.return_vias)


class TrialNet(NamedTuple):
    """A net that goes through the hole from one layer to another. ``z0`` [ohm]; ``feed`` as ``Hole`` takes it."""

    entry: str
    exit_layer: str
    signal: Signal
    z0: float
    criterion: Criterion
    feed: str


def ranked_trials(hole: TrialHole, trials: Sequence[TrialNet]) -> Ranking:
    """Rank trial nets. The name of each is its number among them, as text.

    Parameters
    ----------
    hole : TrialHole
    trials : sequence of TrialNet

    Returns
    -------
    Ranking
    """
    pitch = hole.pitch_si
    places = trial_places(len(trials), pitch or 0.0)
    nets = []
    for number, (trial, at) in enumerate(zip(trials, places, strict=True)):
        layers = tuple(dict.fromkeys((trial.entry, trial.exit_layer)))
        holes = trial_holes(hole.padstack, f"trial {number}", layers, pitch, at)
        nets.append(
            Net(
                name=str(number), signal=trial.signal, z0=InSI(trial.z0), criterion=trial.criterion,
                holes=[each.replaced(feed=trial.feed) for each in holes],
            )
        )  # fmt: skip
    vias = trial_vias(hole.return_vias, f"return via beside {hole.padstack.name}", places, REACH + (pitch or 0.0) / 2)
    return rank(Board(stackup=hole.stackup, nets=[*nets, *vias]))
