"""Owns which stubs must be drilled: each alone, coupled, refused; and which nets stay as they are, and why."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

import numpy as np

from stubsi.drilling.drill_group import Refused
from stubsi.drilling.grouping import Coupled, Drillable, Task, free
from stubsi.drilling.obstacles import BUDGET, PLATED, ROUNDING, Reason
from stubsi.drilling.set_cover import possible
from stubsi.drilling.window import Window, window
from stubsi.margin.verdict import Verdict

if TYPE_CHECKING:
    from stubsi.board.net import Net
    from stubsi.drilling.limits import Limits
    from stubsi.drilling.rules import FabricatorRules
    from stubsi.drilling.set_cover import Joint


class Sorting:
    """Sorts the stubs of a board: to be drilled alone, chosen for together, refused; and nets that stay as they are."""

    def __init__(self, limits: Limits, rules: FabricatorRules) -> None:
        self.board, self.rules, self.limits = limits.board, rules, limits
        self.refused: list[Refused] = []
        self.alone: dict[str, str] = {}
        self.undecided: dict[str, str] = {}
        self.single: list[Drillable] = []
        self.coupled: list[Coupled] = []
        self._distinct: dict[tuple[int, float], Window] = {}

    def task(self) -> Task:
        """Sort every net, in order of their names."""
        stubs_of: dict[int, list[int]] = defaultdict(list)
        for stub, number in enumerate(self.limits.table.net.tolist()):
            stubs_of[number].append(stub)
        nets = sorted(enumerate(self.board.signal_nets), key=lambda pair: pair[1].name)
        each, together = [], []
        for number, net in nets:
            stubs = stubs_of[number]
            if net.waiver:
                self.alone[net.name] = f"waived: {net.waiver}"
            elif not stubs:
                self.alone[net.name] = "no stub"
            else:
                (together if self._summed(net, stubs) else each).append((net, stubs))
        self._sort_each(each)
        self._sort_together(together)
        task = self._task()
        while self._refuse_unreachable(task):
            task = self._task()
        return task

    def _task(self) -> Task:
        return Task(self.board.stackup, self.rules, tuple(self.single), tuple(self.coupled))

    def _summed(self, net: Net, stubs: list[int]) -> bool:
        """Whether the criterion is a sum over more than one stub."""
        return self.board.criterion_of(net).measure == "loss" and any(len(leg) > 1 for leg in self._legs(stubs))

    def _legs(self, stubs: list[int]) -> list[list[int]]:
        leg = self.limits.table.leg
        legs = [[stub for stub in stubs if leg[stub] == which] for which in (0, 1)]
        return [own for own in legs if own]

    def _drillable(self, row: int, longest: float) -> Drillable:
        """A row of the stub table with its window; alike ones share one."""
        shape, table = self.limits.use(row).case.shape, self.limits.table
        key = (id(shape), longest)
        if key not in self._distinct:
            self._distinct[key] = window(shape, longest, self.rules)
        return Drillable(
            row=row, limits=self.limits, net=self.limits.net(row).name, hole=table.holes[table.hole[row]],
            window=self._distinct[key],
        )  # fmt: skip

    def _sort_each(self, nets: list[tuple[Net, list[int]]]) -> None:
        """Nets whose criterion looks at each stub on its own."""
        stubs = [stub for _, own in nets for stub in own]
        longest = dict(zip(stubs, self.limits.longest(stubs).tolist() if stubs else (), strict=True))
        for net, own in nets:
            unknown = [stub for stub in own if np.isnan(longest[stub])]
            if unknown:
                self.undecided[net.name] = self.limits.missing(unknown[0])
                continue
            drilled = [s for s in own if self.limits.use(s).case.length_si > longest[s] + ROUNDING]
            if not drilled:
                self.alone[net.name] = self._meets(net, own)
            stubs = [self._drillable(row, longest[row]) for row in drilled]
            self._take([stub for stub in stubs if not self._refuse(stub, stub.window.reasons)])

    def _take(self, stubs: list[Drillable]) -> None:
        """Stubs that must be drilled; the two of one hole go together where their plated length couples them."""
        while stubs:
            stub, *stubs = stubs
            if stubs and stub.hole is stubs[0].hole and not free(stub.window, stubs[0].window):
                other, *stubs = stubs
                self.coupled.append(Coupled((stub, other), np.inf))
            else:
                self.single.append(stub)

    def _refuse(self, stub: Drillable, reasons: tuple[Reason, ...]) -> bool:
        if reasons:
            self.refused.append(Refused(stub.net, stub.hole, stub.window.side, stub.window, reasons))
        return bool(reasons)

    def _sort_together(self, nets: list[tuple[Net, list[int]]]) -> None:
        """Nets whose stubs share a limit, leg by leg."""
        stubs = [stub for _, own in nets for stub in own]
        lengths = [self.limits.use(stub).case.length_si for stub in stubs]
        loss = dict(zip(stubs, self.limits.losses(stubs, lengths).tolist() if stubs else (), strict=True))
        for net, own in nets:
            limit = self.board.criterion_of(net).limit
            sums = [sum(loss[stub] for stub in leg) for leg in self._legs(own)]
            unknown = [stub for stub in own if np.isnan(loss[stub])]
            if unknown:
                self.undecided[net.name] = self.limits.missing(unknown[0])
            elif max(sums) <= limit:
                self.alone[net.name] = self._meets(net, own)
            else:
                for leg, total in zip(self._legs(own), sums, strict=True):
                    if total > limit:
                        stubs = tuple(self._drillable(row, np.inf) for row in leg)
                        self.coupled.append(Coupled(stubs, limit))

    def _meets(self, net: Net, stubs: list[int]) -> str:
        """That a net meets its criterion; whether that is proven, and if not for want of what."""
        missing = [text for text in map(self.limits.not_solved, stubs) if text]
        proven = self.limits.ranking.verdicts[self.limits.table.net[stubs[0]]] == Verdict.PASS
        doubt = "" if proven else ", within the uncertainty of the model" + "".join(f": {text}" for text in missing[:1])
        return f"meets its criterion{doubt}: {self.board.criterion_of(net)}"

    def _refuse_unreachable(self, task: Task) -> bool:
        """Refuse stubs coupled so that no choice of groups will do; whether there were any."""
        kept = []
        for couple, joint in zip(task.coupled, task.joints, strict=True):
            if possible(joint):
                kept.append(couple)
            elif np.isinf(couple.limit):
                self._drill_longer(couple)
            else:
                self._refuse_all(couple, _out_of_reach(joint))
        changed = len(kept) < len(self.coupled)
        self.coupled = kept
        return changed

    def _refuse_all(self, couple: Coupled, reason: Reason) -> None:
        for stub in couple.stubs:
            self._refuse(stub, stub.window.reasons or (reason,))

    def _drill_longer(self, couple: Coupled) -> None:
        """Of the two stubs of a hole that cannot both be drilled, drill the longer and refuse the other."""
        shorter, longer = sorted(couple.stubs, key=lambda stub: stub.window.shape.stub_length_si)
        self.single.append(longer)
        text = f"with the {longer.window.side} drilled as well, too little plated barrel would remain"
        self._refuse(shorter, (Reason(PLATED, text),))


def _out_of_reach(joint: Joint) -> Reason:
    """Why no choice of groups brings the sum of a net's losses within its limit."""
    allowed = f"{joint.limit:.3g} dB"
    if possible(joint._replace(excluded=())):
        return Reason(PLATED, f"stubs so short that they lose {allowed} leave too little plated barrel in a hole")
    least = sum(min((add for _, add in stub), default=np.inf) for stub in joint.options)
    told = "a notch stays at or below Nyquist" if np.isinf(least) else f"least sum of its stubs' losses {least:.3g} dB"
    return Reason(BUDGET, f"{told}; {allowed} permitted")
