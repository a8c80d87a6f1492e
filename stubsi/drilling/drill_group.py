"""Owns the parts of a plan as values: the hit, the drill group, the refused stub, the entry of the certificate."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.drilling.window import Left, Window, lead_si
from stubsi.units import show

if TYPE_CHECKING:
    from collections.abc import Iterable

    from stubsi.board.net import Hole
    from stubsi.drilling.obstacles import Reason
    from stubsi.drilling.rules import FabricatorRules
    from stubsi.stubs.drawn import StubShape


class Losses(NamedTuple):
    """Summed losses at Nyquist [dB] of stubs of one net: as drawn, at most once drilled as planned, and permitted.

    Infinite where a first notch lies at or below Nyquist.
    """

    drawn: float
    planned: float
    permitted: float

    def __str__(self) -> str:
        drawn = f"{self.drawn:.3g} dB" if np.isfinite(self.drawn) else "a notch at or below Nyquist"
        sums = f"at most {self.planned:.3g} dB as planned, {drawn} as drawn"
        return f"losses of the net's stubs together {sums}, {self.permitted:.3g} dB permitted"


class Hit(NamedTuple):
    """One hole drilled from one side: its window, and the plating left beyond its layer in use.

    ``coupled``: its group was chosen together with those of other stubs. ``losses``: theirs, where they share a limit.
    """

    net: str
    hole: Hole
    side: str
    window: Window
    left: Left
    coupled: bool
    losses: Losses | None

    @property
    def why(self) -> str:
        """Why it is drilled, and why this deep."""
        limit = str(self.losses) if self.losses else f"longest permitted {show(self.window.longest_si, 'length')}"
        left = f"{show(self.left.least_si, 'length')} to {show(self.left.most_si, 'length')} left"
        return f"{beyond(self.window.shape)}, {limit}; {left}"


def beyond(shape: StubShape) -> str:
    """A stub as drawn in words."""
    return f"stub {show(shape.stub_length_si, 'length')} beyond {shape.layer}"


class Refused(NamedTuple):
    """A stub that must be drilled and cannot."""

    net: str
    hole: Hole
    side: str
    window: Window
    reasons: tuple[Reason, ...]

    @property
    def reason(self) -> str:
        """Why it cannot be drilled."""
        return "; ".join(map(str, self.reasons))


def told(refused: Iterable[Refused]) -> list[tuple[str, str]]:
    """Refusals in words, holes of one net refused for the same reason in one line: (net, what is refused and why)."""
    holes: dict[tuple[str, str, str], list[str]] = defaultdict(list)
    for each in refused:
        holes[each.net, each.side, each.reason].append(each.hole.name)
    return [(net, f"{', '.join(names)} from the {side}: {reason}") for (net, side, reason), names in holes.items()]


@dataclass(frozen=True, kw_only=True)
class Group:
    """A drill group: one side, one depth-drill diameter, one must-not-cut layer, one depth.

    ``end_si``: end of the plating aimed at [m] below the datum. ``face_si``: near face of the must-not-cut layer [m].
    ``left``: plating left beyond that layer. ``hits``: its holes, by name.
    """

    number: int
    rules: FabricatorRules
    side: str
    drill_si: float
    primary_si: float
    layer: str
    end_si: float
    face_si: float
    left: Left
    hits: tuple[Hit, ...]

    @property
    def depth_si(self) -> tuple[float, float]:
        """Depth aimed at [m] below the datum, to tip or shoulder as the rules say; a range where the tip is unknown."""
        leads = [lead_si(self.primary_si, case) for case in self.rules.cases()]
        return self.end_si + min(leads), self.end_si + max(leads)

    @property
    def nets(self) -> tuple[str, ...]:
        """Names of the nets it serves."""
        return tuple(sorted({hit.net for hit in self.hits}))

    @property
    def holders(self) -> tuple[str, ...]:
        """Nets that hold the drill at this must-not-cut layer: it is their own layer in use."""
        return tuple(sorted({hit.net for hit in self.hits if hit.window.layer == self.layer}))


class Certificate(NamedTuple):
    """Proof that fewer groups cannot do: for each entry, stubs (net, hole, side) and the only ends that serve them.

    No end serves two entries, so each entry needs a group of its own. ``ends``: (side, drill [m], end [m]).
    """

    stubs: tuple[tuple[str, str, str], ...]
    ends: frozenset[tuple[str, float, float]]
