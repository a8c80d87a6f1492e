"""Owns the re-routes: which nets hold a drill group open, where they could move, and what the best moves save."""

from __future__ import annotations

import itertools
from collections import Counter, defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from stubsi.drilling.grouping import Coupled, Drillable, Place, Task, assign
from stubsi.drilling.limits import Limits
from stubsi.drilling.needs import Sorting
from stubsi.drilling.set_cover import possible
from stubsi.errors import BoardError
from stubsi.margin.ranking import rank

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from stubsi.board.board import Board
    from stubsi.board.net import Net
    from stubsi.drilling.drill_group import Group
    from stubsi.drilling.plan import Plan

MOST_PAIRS = 2000
"""Pairs of moves tried at most, nets that hold a group with the fewest others first."""

TIME_LIMIT = 60.0
"""For the solver, per count [s]."""


class Move(NamedTuple):
    """A net moved from one routing layer to another in all its holes, and what follows for it.

    ``single``, ``coupled``: stubs that must then be drilled, alone or chosen for together; none: it needs no drilling.
    """

    net: str
    from_layer: str
    to_layer: str
    single: tuple[Drillable, ...]
    coupled: tuple[Coupled, ...]

    @property
    def stubs(self) -> int:
        """How many stubs may have to be drilled."""
        return len(self.single) + sum(len(couple.stubs) for couple in self.coupled)

    def __str__(self) -> str:
        return f"{self.net} from {self.from_layer} to {self.to_layer}"


class Option(NamedTuple):
    """What a move does for the group it leaves: "needs no drilling", or the groups it joins."""

    move: Move
    outcome: str

    def __str__(self) -> str:
        return f"{self.move}: {self.outcome}"


class Holding(NamedTuple):
    """A group, the nets no other open group can serve, and for each of them the moves that would free the group.

    ``stuck``: those of the nets without such a move, and why.
    """

    group: Group
    nets: tuple[str, ...]
    options: tuple[Option, ...]
    stuck: dict[str, str]


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
            lines += [f"    {option}" for option in holding.options]
            lines += [f"    {net}: {why}" for net, why in holding.stuck.items()]
        for name, proposal in (("best single move", self.single), ("best pair of moves", self.pair)):
            lines.append(f"{name}: {proposal or 'none saves a group'}")
        return "\n".join(lines)

    def _repr_html_(self) -> str:
        from stubsi.show.html import reroutes_html

        return reroutes_html(self)


def reroutes(plan: Plan) -> Reroutes:
    """Find which layers the nets that hold groups open could move to, and the moves of drilled nets that save most.

    Nets move among the routing layers they may use. A move replaces a layer in all holes of a net; the net is judged
    anew, return vias included. One after which a stub of the net cannot be drilled, or its need is undecided, is not
    proposed.

    Parameters
    ----------
    plan : Plan
    """
    held = {group.number: _holders(plan, group) for group in plan.groups}
    moves = _judged(plan, list(_moves(plan)))
    by_net: dict[str, list[Move]] = defaultdict(list)
    for move in moves:
        by_net[move.net].append(move)
    holdings = tuple(_holding(plan, group, held[group.number], by_net) for group in plan.groups)
    counting = _Counting(plan)
    single = _best(counting, [(move,) for move in moves])
    beside = {net: len(nets) for nets in sorted(held.values(), key=len, reverse=True) for net in nets}
    few = sorted(moves, key=lambda move: beside.get(move.net, len(moves)))
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


def _unserved(plan: Plan, single: Sequence[Drillable], coupled: Sequence[Coupled], groups: Sequence[Group]) -> set[str]:
    """Nets of these stubs that these groups cannot serve."""
    task = _offered(plan, single, coupled, groups)
    joints = zip(task.coupled, task.joints, strict=True)
    return {stub.net for stub in single if not task.demand(stub)} | {
        couple.stubs[0].net for couple, joint in joints if not possible(joint)
    }


def _offered(plan: Plan, single: Sequence[Drillable], coupled: Sequence[Coupled], groups: Sequence[Group]) -> Task:
    """Task of serving these stubs with these groups."""
    offered = tuple(Place(group.side, group.drill_si, group.end_si, "") for group in groups)
    return Task(plan.board.stackup, plan.rules, tuple(single), tuple(coupled), offered)


def _holders(plan: Plan, group: Group) -> tuple[str, ...]:
    """Nets of a group that the other open groups could not serve."""
    nets, others = set(group.nets), [other for other in plan.groups if other is not group]
    single = [stub for stub in plan.task.single if stub.net in nets]
    coupled = [couple for couple in plan.task.coupled if couple.stubs[0].net in nets]
    return tuple(sorted(_unserved(plan, single, coupled, others)))


def _moves(plan: Plan) -> Iterator[tuple[Net, str, str]]:
    """Every (net, layer it leaves, layer it goes to) of the nets that are drilled."""
    left: dict[str, dict[str, None]] = defaultdict(dict)
    for hit in plan.hits:
        left[hit.net][hit.window.layer] = None
    for net in plan.board.signal_nets:
        for old, new in itertools.product(left.get(net.name, ()), net.layers):
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
    sorted_out = Sorting(limits, plan.rules)
    task = sorted_out.task()

    left_out = {refused.net for refused in sorted_out.refused} | set(sorted_out.undecided)
    for name in versions:
        if name not in left_out:
            single = tuple(stub for stub in task.single if stub.net == name)
            coupled = tuple(couple for couple in task.coupled if couple.stubs[0].net == name)
            yield Move(name, *trial[name][1:], single, coupled)


def _reaches(board: Board, net: Net) -> bool:
    """Whether every hole of a net reaches the layers it connects."""
    try:
        replace(board, nets=(net,))
    except BoardError:
        return False
    return True


def _holding(plan: Plan, group: Group, nets: tuple[str, ...], by_net: dict[str, list[Move]]) -> Holding:
    """What holds a group, and the moves of its holders which let go of it."""
    others = [other for other in plan.groups if other is not group]
    options = []
    for move in (move for net in nets for move in by_net[net]):
        if not move.stubs:
            options.append(Option(move, "needs no drilling"))
        elif not _unserved(plan, move.single, move.coupled, others):
            options.append(Option(move, f"joins group {_joined(plan, move, others)}"))
    freed = {option.move.net for option in options}
    layers = {net.name: net.layers for net in plan.board.signal_nets}
    stuck = {
        net: "no layer it may use frees the group" if len(layers[net]) > 1 else "no other layer it may use"
        for net in nets
        if net not in freed
    }
    return Holding(group, nets, tuple(options), stuck)


def _joined(plan: Plan, move: Move, groups: Sequence[Group]) -> str:
    """Numbers of the open groups that would serve a move."""
    task = _offered(plan, move.single, move.coupled, groups)
    numbers = {(group.side, group.drill_si, group.end_si): group.number for group in groups}
    served = assign(task, plan.costs, TIME_LIMIT).group.values()
    return ", ".join(map(str, sorted({numbers[task.places[place][:3]] for place in served})))


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
    return min(found, key=lambda p: (-p.saved, sum(move.stubs for move in p.moves)), default=None)


class _Counting:
    """Counts the groups of a plan with some of its nets moved; stubs of equal windows stand for each other."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.distinct = {id(stub.window): stub for stub in plan.task.single}
        self.count = Counter(id(stub.window) for stub in plan.task.single)
        self.of_net: dict[str, Counter[int]] = defaultdict(Counter)
        for stub in plan.task.single:
            self.of_net[stub.net][id(stub.window)] += 1

    def vanished(self, moves: tuple[Move, ...]) -> list[int]:
        """Windows that no net needs any more once the moves are made."""
        gone = sum((self.of_net[move.net] for move in moves), Counter())
        return sorted(key for key, count in gone.items() if self.count[key] == count)

    def kept(self, moves: tuple[Move, ...]) -> list[Coupled]:
        """Coupled stubs of the nets that are not moved."""
        nets = {move.net for move in moves}
        return [couple for couple in self.plan.task.coupled if couple.stubs[0].net not in nets]

    def signature(self, moves: tuple[Move, ...]) -> tuple:
        """Alike for moves that change the same windows."""
        windows = (stub.window for move in moves for stub in move.single)
        new = {(w.side, w.drill_si, w.shallowest_si, w.deepest_si, w.layer) for w in windows}
        coupled = tuple(id(couple) for move in moves for couple in move.coupled)
        return tuple(self.vanished(moves)), tuple(sorted(new)), coupled, tuple(map(id, self.kept(moves)))

    def saved(self, moves: tuple[Move, ...]) -> int:
        """Groups saved by the moves."""
        gone, task = set(self.vanished(moves)), self.plan.task
        single = [stub for key, stub in self.distinct.items() if key not in gone]
        single += [stub for move in moves for stub in move.single]
        coupled = [*self.kept(moves), *(couple for move in moves for couple in move.coupled)]
        changed = replace(task, single=tuple(single), coupled=tuple(coupled))
        return len(self.plan.groups) - len(assign(changed, self.plan.costs, TIME_LIMIT).cover.groups)
