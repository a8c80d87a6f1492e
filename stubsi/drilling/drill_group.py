"""Owns the parts of a plan: the hit (a hole drilled from one side), the drill group, refused stub and certificate."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.board.names import how_many
from stubsi.drilling.window import PlatingLeft, Window, lead_si
from stubsi.units import show

if TYPE_CHECKING:
    from collections.abc import Iterable

    from stubsi.board.net import Hole
    from stubsi.drilling.miss import Miss
    from stubsi.drilling.obstacles import Refusal
    from stubsi.drilling.rules import FabricatorRules
    from stubsi.stubs.drawn import StubShape


class SummedLosses(NamedTuple):
    """Losses at Nyquist of stubs of one net, summed; infinite where a first notch lies at or below Nyquist.

    Parameters
    ----------
    drawn : float
        Sum with all stubs as drawn [dB].
    planned : float
        Greatest sum after drilling as planned [dB].
    permitted : float
        Limit of the sum [dB].
    doubled : bool
        Whether stubs that share a hole count twice. Two stubs at one place lose up to twice the sum of their losses.
    """

    drawn: float
    planned: float
    permitted: float
    doubled: bool = False

    def __str__(self) -> str:
        drawn = f"{self.drawn:.3g} dB" if np.isfinite(self.drawn) else "a notch at or below Nyquist"
        sums = f"at most {self.planned:.3g} dB as planned, {drawn} as drawn"
        doubled = ", those of two stubs of one hole counted twice" if self.doubled else ""
        return f"losses of the net's stubs together {sums}{doubled}, {self.permitted:.3g} dB permitted"


class Hit(NamedTuple):
    """One hole drilled from one side.

    Parameters
    ----------
    net : str
        Name of the net.
    hole : Hole
        The hole.
    side : str
        Side it is drilled from.
    window : Window
        The ends that the drill may aim at.
    left : PlatingLeft
        Plating that is left beyond the layer in use [m].
    coupled : bool
        Whether its group was chosen together with the groups of other stubs.
    losses : SummedLosses or None
        The summed losses of these stubs, where there is a limit for the sum.
    miss : Miss or None
        By how much the stub misses its budget although it is drilled; None where it keeps it.
    """

    net: str
    hole: Hole
    side: str
    window: Window
    left: PlatingLeft
    coupled: bool
    losses: SummedLosses | None
    miss: Miss | None = None

    @property
    def why(self) -> str:
        """Why it is drilled, and why this deep."""
        limit = str(self.losses or self.miss or "")
        if np.isfinite(self.window.longest_si) and not self.losses:
            permitted = f"longest permitted {show(self.window.longest_si, 'length')}"
            limit = f"{permitted}, {self.miss}" if self.miss else permitted
        left = f"{show(self.left.least_si, 'length')} to {show(self.left.most_si, 'length')} left"
        return f"{stub_in_words(self.window.shape)}, {limit}; {left}"

    def __repr__(self) -> str:
        return f"<Hit {self.hole.name} of {self.net} from the {self.side}, beyond {self.window.layer}>"

    def _repr_html_(self) -> str:
        from stubsi.show.parts_html import hit_html

        return hit_html(self)


def stub_in_words(shape: StubShape) -> str:
    """Length of a stub as drawn, and the layer where it starts.

    Parameters
    ----------
    shape : StubShape
        The stub as drawn.

    Returns
    -------
    str
        Text like "stub 0.6 mm beyond L4".
    """
    return f"stub {show(shape.stub_length_si, 'length')} beyond {shape.layer}"


class Refused(NamedTuple):
    """A stub that must be drilled and cannot be.

    Parameters
    ----------
    net : str
        Name of the net.
    hole : Hole
        The hole.
    side : str
        Side it would have to be drilled from.
    window : Window
        Every limit on the end of the plating.
    reasons : tuple of Refusal
        Why it cannot be drilled.
    """

    net: str
    hole: Hole
    side: str
    window: Window
    reasons: tuple[Refusal, ...]

    @property
    def reason(self) -> str:
        """Why it cannot be drilled, in words."""
        return "; ".join(map(str, self.reasons))

    def __repr__(self) -> str:
        kinds = ", ".join(dict.fromkeys(str(refusal.kind) for refusal in self.reasons))
        return f"<Refused {self.hole.name} of {self.net} from the {self.side}: {kinds}>"

    def _repr_html_(self) -> str:
        from stubsi.show.parts_html import refused_html

        return refused_html(self)


def refusals_by_net(refused: Iterable[Refused]) -> list[tuple[str, str]]:
    """Each net with its refused holes in words. Holes of a net that are refused for one reason share an entry.

    Parameters
    ----------
    refused : Iterable[Refused]
        Refused stubs.

    Returns
    -------
    list[tuple[str, str]]
        Pairs of net and text.
    """
    holes: dict[tuple[str, str, str], list[str]] = defaultdict(list)
    for each in refused:
        holes[each.net, each.side, each.reason].append(each.hole.name)
    return [(net, f"{', '.join(names)} from the {side}: {reason}") for (net, side, reason), names in holes.items()]


def misses_by_net(hits: Iterable[Hit]) -> list[tuple[str, str]]:
    """Each net with its holes that are drilled and miss their budget, in words. Holes that miss alike share an entry.

    Parameters
    ----------
    hits : Iterable[Hit]
        Holes that are drilled.

    Returns
    -------
    list[tuple[str, str]]
        Pairs of net and text.
    """
    holes: dict[tuple[str, str, str], list[str]] = defaultdict(list)
    for hit in hits:
        if hit.miss:
            holes[hit.net, hit.side, str(hit.miss)].append(hit.hole.name)
    return [(net, f"{', '.join(names)} from the {side}: {miss}") for (net, side, miss), names in sorted(holes.items())]


@dataclass(frozen=True, kw_only=True, repr=False)
class Group:
    """A drill group: one side, one depth-drill diameter, one must-not-cut layer, one depth.

    Parameters
    ----------
    number : int
        Its number in the plan, from 1.
    rules : FabricatorRules
        Rules of the fabricator.
    side : str
        Side it is drilled from.
    drill_si, primary_si : float
        Diameters of the depth drill and of the primary drill [m].
    layer : str
        The must-not-cut layer.
    end_si : float
        End of the plating that is aimed at [m], below the datum.
    face_si : float
        Near face of the must-not-cut layer [m], below the datum.
    left : PlatingLeft
        Plating left beyond the must-not-cut layer [m].
    hits : tuple of Hit
        Its holes, by net and name.
    """

    number: int
    rules: FabricatorRules
    side: str
    drill_si: float
    primary_si: float
    layer: str
    end_si: float
    face_si: float
    left: PlatingLeft
    hits: tuple[Hit, ...]

    @property
    def depth_si(self) -> tuple[float, float]:
        """Least and greatest depth that is aimed at [m], to tip or shoulder as the rules state.

        The two differ where the angle of the tip is unknown.
        """
        leads = [lead_si(self.primary_si, case) for case in self.rules.cases()]
        return self.end_si + min(leads), self.end_si + max(leads)

    @property
    def nets(self) -> tuple[str, ...]:
        """Names of the nets it serves."""
        return tuple(sorted({hit.net for hit in self.hits}))

    @property
    def holders(self) -> tuple[str, ...]:
        """Nets for which the drill must stop at this must-not-cut layer, because it is their own layer in use."""
        return tuple(sorted({hit.net for hit in self.hits if hit.window.layer == self.layer}))

    def __repr__(self) -> str:
        holes = how_many(len(self.hits), "hole")
        return f"<Group {self.number}: {holes} from the {self.side}, must not cut {self.layer}>"

    def _repr_html_(self) -> str:
        from stubsi.show.parts_html import group_html

        return group_html(self)


class Certificate(NamedTuple):
    """One entry of the proof that fewer groups are not enough: some stubs, and the only ends that can serve them.

    No end serves two entries. So each entry needs a group of its own.

    Parameters
    ----------
    stubs : tuple of (str, str, str)
        Net, hole and side of each stub.
    ends : frozenset of (str, float, float)
        Side, diameter of the depth drill [m] and end of the plating [m].
    """

    stubs: tuple[tuple[str, str, str], ...]
    ends: frozenset[tuple[str, float, float]]

    def __repr__(self) -> str:
        return f"<Certificate: {how_many(len(self.stubs), 'stub')}, {how_many(len(self.ends), 'end')}>"

    def _repr_html_(self) -> str:
        from stubsi.show.parts_html import certificate_html

        return certificate_html(self)
