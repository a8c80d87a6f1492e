"""Owns moves of nets to other routing layers: which ones can be built and drilled, and what must be drilled then."""

from __future__ import annotations

import itertools
from collections import Counter, defaultdict
from typing import TYPE_CHECKING, NamedTuple, TypeAlias, TypeVar

from stubsi.board.changed_board import net_on_layer
from stubsi.drilling.needs import needs_of
from stubsi.drilling.neighbours import neighbours_of
from stubsi.errors import BoardError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from stubsi.board.board import Board
    from stubsi.board.net import Net
    from stubsi.drilling.drill_task import CoupledStubs, Drillable
    from stubsi.drilling.plan import Plan

Stubs = TypeVar("Stubs", "Drillable", "CoupledStubs")

LayerChange: TypeAlias = "tuple[Net, str, str]"
"""A net, the layer it leaves, and the layer it goes to."""


class Move(NamedTuple):
    """A net moved from one routing layer to another in all its holes, and the stubs that must then be drilled.

    If there are no such stubs, the net needs no drilling after the move.

    Parameters
    ----------
    net : str
        Name of the net.
    from_layer, to_layer : str
        The layer it leaves and the layer it goes to.
    single : tuple of Drillable
        Stubs that must be drilled, each independent of the others.
    coupled : tuple of CoupledStubs
        Stubs whose groups are chosen together.
    """

    net: str
    from_layer: str
    to_layer: str
    single: tuple[Drillable, ...]
    coupled: tuple[CoupledStubs, ...]

    @property
    def stubs(self) -> int:
        """Number of stubs that may have to be drilled after the move."""
        return len(self.single) + sum(len(couple.stubs) for couple in self.coupled)

    def __str__(self) -> str:
        return f"{self.net} from {self.from_layer} to {self.to_layer}"

    def __repr__(self) -> str:
        return f"<Move {self}>"


def moved(board: Board, moves: Sequence[Move]) -> Board:
    """A copy of a board with nets moved to other layers.

    Parameters
    ----------
    board : Board
        The board.
    moves : Sequence[Move]
        Several moves of one net are made one after the other.

    Returns
    -------
    Board
        The changed board.

    Raises
    ------
    BoardError
        A hole does not reach the new layer.
    """
    moves_of: dict[str, list[Move]] = defaultdict(list)
    for move in moves:
        moves_of[move.net].append(move)
    nets = []
    for net in board.nets:
        for move in moves_of.get(net.name, ()):
            net = net_on_layer(net, move.from_layer, move.to_layer)  # noqa: PLW2901
        nets.append(net)
    return board.replaced(nets=tuple(nets))


def moves_of_nets(plan: Plan) -> list[Move]:
    """Every move of a net that is drilled or refused to another layer it may use, if it can then be built and drilled.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    list[Move]
        The moves.
    """
    # The first change of every net is tried on a first trial board, the second on a second one, and so on.
    changes_so_far: Counter[str] = Counter()
    trials: dict[int, dict[str, LayerChange]] = defaultdict(dict)
    for change in _layer_changes(plan):
        name = change[0].name
        trials[changes_so_far[name]][name] = change
        changes_so_far[name] += 1
    return [move for trial in trials.values() for move in _judged(plan, trial)]


def _layer_changes(plan: Plan) -> Iterator[LayerChange]:
    """Every other layer that a drilled or refused net may use in place of a layer in use where such a stub starts."""
    layers_left: dict[str, dict[str, None]] = defaultdict(dict)
    starts = [(hit.net, hit.window.layer) for hit in plan.hits]
    for name, layer in [*starts, *((refused.net, refused.window.layer) for refused in plan.refused)]:
        layers_left[name][layer] = None
    for net in plan.board.signal_nets:
        for old, new in itertools.product(layers_left.get(net.name, ()), net.layers):
            if old in net.layers and new != old and not any(new in hole.connects for hole in net.holes):
                yield net, old, new


def _judged(plan: Plan, trial: Mapping[str, LayerChange]) -> Iterator[Move]:
    """Judge one change of each net, all on one trial board. Moves that cannot be built or drilled are left out."""
    tried = _trial_board(plan.board, {name: net_on_layer(*change) for name, change in trial.items()})
    on_board = neighbours_of(plan.board, plan.rules)
    needs = needs_of(plan.limits.on(tried), plan.rules, on_board)
    left_out = {refused.net for refused in needs.refused} | set(needs.undecided)
    single, coupled = _by_net(needs.task.single), _by_net(needs.task.coupled)
    for net in tried.signal_nets:
        if net.name not in left_out:
            _, old, new = trial[net.name]
            yield Move(net.name, old, new, tuple(single[net.name]), tuple(coupled[net.name]))


def _by_net(stubs: Iterable[Stubs]) -> Mapping[str, list[Stubs]]:
    by_net: dict[str, list[Stubs]] = defaultdict(list)
    for each in stubs:
        by_net[each.net].append(each)
    return by_net


def _trial_board(board: Board, versions: Mapping[str, Net]) -> Board:
    """A board of the changed nets and the reference nets. A net whose holes do not reach its layers is left out."""
    reference = tuple(net for net in board.nets if net.reference)
    try:
        return board.replaced(nets=(*versions.values(), *reference))
    except BoardError:
        reaching = tuple(net for net in versions.values() if _reaches(board, net))
        return board.replaced(nets=(*reaching, *reference))


def _reaches(board: Board, net: Net) -> bool:
    """Whether every hole of a net reaches the layers it connects."""
    try:
        board.replaced(nets=(net,))
    except BoardError:
        return False
    return True
