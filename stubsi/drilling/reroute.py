"""Owns the re-routes: which nets hold a drill group open, where they could move, and what the best moves save."""

from __future__ import annotations

import itertools
from collections import Counter, defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from stubsi.drilling.assign import assign
from stubsi.drilling.limits import Limits
from stubsi.drilling.sorting import Sorting
from stubsi.errors import BoardError
from stubsi.margin.rank import rank

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from stubsi.board.board import Board
    from stubsi.board.net import Net
    from stubsi.drilling.group import Group
    from stubsi.drilling.plan import Plan
    from stubsi.drilling.window import Window

MOST_PAIRS = 2000
"""Pairs of moves tried at most, those of the groups held by the fewest nets first."""

TIME_LIMIT = 60.0
"""For the solver, per count [s]."""


class Move(NamedTuple):
    """A net moved from one routing layer to another in all its holes, and what follows for it.

    ``windows``: of the stubs it must then have drilled; none: it needs no drilling.
    """

    net: str
    from_layer: str
    to_layer: str
    windows: tuple[Window, ...]

    def __str__(self) -> str:
        return f"{self.net} from {self.from_layer} to {self.to_layer}"


class Option(NamedTuple):
    """What a move does for the group it leaves: "needs no drilling", or the groups it joins."""

    move: Move
    outcome: str


class Holding(NamedTuple):
    """A group, the nets no other open group can serve, and for each of them the moves that would free the group."""

    group: Group
    nets: tuple[str, ...]
    options: tuple[Option, ...]


class Proposal(NamedTuple):
    """Moves proposed together and the number of groups they save; never applied by the library itself."""

    moves: tuple[Move, ...]
    saved: int

    def applied(self, board: Board) -> Board:
        """The board with these moves made."""
        return moved(board, self.moves)

    def __str__(self) -> str:
        return f"{' and '.join(map(str, self.moves))}: {self.saved} fewer drill groups"


class Reroutes(NamedTuple):
    """What holds every group open, the best single move and the best pair (None where nothing is saved)."""

    holdings: tuple[Holding, ...]
    single: Proposal | None
    pair: Proposal | None

    def __str__(self) -> str:
        lines = []
        for holding in self.holdings:
            lines.append(f"group {holding.group.number} is held open by {', '.join(holding.nets)}")
            lines += [f"    {option.move}: {option.outcome}" for option in holding.options]
        for name, proposal in (("best single move", self.single), ("best pair of moves", self.pair)):
            lines.append(f"{name}: {proposal or 'none saves a group'}")
        return "\n".join(lines)


def reroutes(plan: Plan) -> Reroutes:
    """Find which layers the nets that hold groups open could move to, among the routing layers they may use.

    A move replaces a layer in all holes of a net; the net is judged anew, return vias included. Nets whose moved stubs
    could not be drilled, or that a loss criterion couples, are not proposed.

    Parameters
    ----------
    plan : Plan
    """
    held = {group.number: _holders(plan, group) for group in plan.groups}
    moves = _judged(plan, list(_moves(plan, {net for nets in held.values() for net in nets})))
    by_net: dict[str, list[Move]] = defaultdict(list)
    for move in moves:
        by_net[move.net].append(move)
    holdings = tuple(
        Holding(group, held[group.number], tuple(_options(plan, group, held[group.number], by_net)))
        for group in plan.groups
    )
    counting = _Counting(plan)
    single = _best(counting, [(move,) for move in moves])
    few = sorted(moves, key=lambda move: min(len(nets) for nets in held.values() if move.net in nets))
    pairs = (pair for pair in itertools.combinations(few, 2) if pair[0].net != pair[1].net)
    least = single.saved + 1 if single else 1
    return Reroutes(holdings, single, _best(counting, itertools.islice(pairs, MOST_PAIRS), least))


def moved(board: Board, moves: Sequence[Move]) -> Board:
    """The board with nets moved to other layers; BoardError where a hole does not reach the new layer."""
    by_net = {move.net: [m for m in moves if m.net == move.net] for move in moves}
    nets = []
    for net in board.nets:
        for move in by_net.get(net.name, ()):
            net = _on_layer(net, move.from_layer, move.to_layer)  # noqa: PLW2901
        nets.append(net)
    return replace(board, nets=tuple(nets))


def _on_layer(net: Net, old: str, new: str) -> Net:
    """The net with one layer in place of another in all its holes."""
    holes = []
    for hole in net.holes:
        connects = tuple(dict.fromkeys(new if layer == old else layer for layer in hole.connects))
        holes.append(replace(hole, connects=connects) if connects != hole.connects else hole)
    return replace(net, holes=tuple(holes))


def _holders(plan: Plan, group: Group) -> tuple[str, ...]:
    """Nets of a group with a stub that no other open group could serve."""
    others = [g for g in plan.groups if g is not group and (g.side, g.drill_si) == (group.side, group.drill_si)]
    return tuple(sorted({hit.net for hit in group.hits if not any(hit.window.holds(o.end_si) for o in others)}))


def _moves(plan: Plan, nets: set[str]) -> Iterator[tuple[Net, str, str]]:
    """Every (net, layer it leaves, layer it goes to) to be judged."""
    left: dict[str, dict[str, None]] = defaultdict(dict)
    coupled = {hit.net for hit in plan.hits if hit.coupled}
    for hit in plan.hits:
        left[hit.net][hit.window.layer] = None
    for net in plan.board.signal_nets:
        if net.name in nets - coupled:
            for old, new in itertools.product(left[net.name], net.layers):
                if old in net.layers and new != old and not any(new in hole.connects for hole in net.holes):
                    yield net, old, new


def _judged(plan: Plan, wanted: list[tuple[Net, str, str]]) -> list[Move]:
    """Judge the moves on trial boards, each with one version of every net; only those that can be built and drilled."""
    turns: dict[str, int] = Counter()
    trials: dict[int, dict[str, tuple[Net, str, str]]] = defaultdict(dict)
    for net, old, new in wanted:
        trials[turns[net.name]][net.name] = (net, old, new)
        turns[net.name] += 1
    return [move for trial in trials.values() for move in _trial(plan, trial)]


def _trial(plan: Plan, trial: dict[str, tuple[Net, str, str]]) -> Iterator[Move]:
    board = plan.board
    versions = {name: _on_layer(*move) for name, move in trial.items() if _reaches(board, _on_layer(*move))}
    tried = replace(board, nets=(*versions.values(), *(net for net in board.nets if net.reference)))
    limits = Limits(rank(tried, **plan.model.arguments()), plan.model, plan.rules)
    sorted_out = Sorting(limits)
    task = sorted_out.task()

    left_out = {refused.net for refused in sorted_out.refused} | set(sorted_out.undecided)
    left_out |= {limits.net(stub).name for couple in task.coupled for stub in couple.stubs}
    for name in versions:
        if name not in left_out:
            windows = tuple(task.windows[stub] for stub in task.single if limits.net(stub).name == name)
            yield Move(name, *trial[name][1:], windows)


def _reaches(board: Board, net: Net) -> bool:
    """Whether every hole of a net reaches the layers it connects."""
    try:
        replace(board, nets=(net,))
    except BoardError:
        return False
    return True


def _options(plan: Plan, group: Group, nets: Sequence[str], by_net: dict[str, list[Move]]) -> Iterator[Option]:
    """Moves of the nets that hold a group which let go of it."""
    others = [other for other in plan.groups if other is not group]
    for move in (move for net in nets for move in by_net[net]):
        joined = [_joined(window, others) for window in move.windows]
        if not joined:
            yield Option(move, "needs no drilling")
        elif all(joined):
            yield Option(move, "joins group " + ", ".join(sorted({str(number) for number in joined})))


def _joined(window: Window, groups: Sequence[Group]) -> int | None:
    """Number of the deepest open group that would serve a window."""
    serving = [
        g for g in groups
        if (g.side, g.drill_si) == (window.side, round(window.drill_si, 9)) and window.holds(g.end_si)
    ]  # fmt: skip
    return max(serving, key=lambda g: g.end_si).number if serving else None


def _best(counting: _Counting, candidates: Iterable[tuple[Move, ...]], least: int = 1) -> Proposal | None:
    """Moves that save the most groups, at least so many; of equals the first with the fewest stubs left to drill."""
    saved: dict[tuple, int] = {}
    found = []
    for moves in candidates:
        signature = counting.signature(moves)
        if signature not in saved:
            saved[signature] = counting.saved(moves)
        if saved[signature] >= least:
            found.append(Proposal(moves, saved[signature]))
    return min(found, key=lambda p: (-p.saved, sum(len(move.windows) for move in p.moves)), default=None)


class _Counting:
    """Counts the groups of a plan with some of its nets moved."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.window = {id(hit.window): hit.window for hit in plan.hits if not hit.coupled}
        self.count = Counter(id(hit.window) for hit in plan.hits if not hit.coupled)
        self.of_net: dict[str, Counter[int]] = defaultdict(Counter)
        for hit in plan.hits:
            self.of_net[hit.net][id(hit.window)] += 1

    def vanished(self, moves: tuple[Move, ...]) -> list[int]:
        """Windows that no net needs any more once the moves are made."""
        gone = sum((self.of_net[move.net] for move in moves), Counter())
        return sorted(key for key, count in gone.items() if self.count[key] == count)

    def signature(self, moves: tuple[Move, ...]) -> tuple:
        """Alike for moves that change the same windows."""
        new = {(w.side, w.drill_si, w.shallowest_si, w.deepest_si, w.layer) for m in moves for w in m.windows}
        return tuple(self.vanished(moves)), tuple(sorted(new))

    def saved(self, moves: tuple[Move, ...]) -> int:
        """Groups saved by the moves."""
        gone = set(self.vanished(moves))
        kept = [window for key, window in self.window.items() if key not in gone]
        task = self.plan.task.with_single([*kept, *(window for move in moves for window in move.windows)])
        return len(self.plan.groups) - len(assign(task, self.plan.costs, TIME_LIMIT).cover.groups)
