"""Owns what to ask the fabricator for: what each narrower tolerance would bring, and where a verdict turns."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, NamedTuple, Protocol

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stubsi.tolerance.draws import Floats
    from stubsi.tolerance.tolerances import Factor

LEAST_LIFT = 1e-3
"""A narrower tolerance that lifts a yield by less changes nothing that can be told from the sampling error."""


class Turn(StrEnum):
    """Whether a verdict turns while one tolerance gets narrower. Each is also the text that is shown.

    ``MET``: the yield is enough as it is. ``AT``: it is enough from a narrower tolerance on. ``NEVER``: not even if the
    value were exact. ``UNKNOWN``: the yield is not known.
    """

    MET = "enough already"
    AT = "enough from here on"
    NEVER = "not even if exact"
    UNKNOWN = "unknown"


class Ask(NamedTuple):
    """What a narrower tolerance would bring: a row of the table of what to ask the fabricator for.

    Parameters
    ----------
    net : str
        The net; empty for the whole board.
    tolerance : str
        Name of the tolerance.
    limits : str
        Its limits now.
    now, halved, exact : float
        Yield with the tolerance as it is, half as wide, and zero.
    turn : Turn
        Whether the yield becomes as large as is wanted.
    turns_at : str
        Limits from which on it does; empty where there are none.
    part : float
        The same as part of the limits now; NaN where there is none.
    """

    net: str
    tolerance: str
    limits: str
    now: float
    halved: float
    exact: float
    turn: Turn
    turns_at: str
    part: float

    @property
    def lift(self) -> float:
        """By how much the yield rises if the tolerance is half as wide."""
        return self.halved - self.now

    @property
    def changes(self) -> bool:
        """Whether a narrower tolerance changes anything that can be told from the sampling error."""
        return max(self.lift, self.exact - self.now) >= LEAST_LIFT

    def __str__(self) -> str:
        whose = self.net or "board"
        if not self.changes:
            return f"{whose}: a narrower {self.tolerance} changes nothing"
        wanted = {
            Turn.MET: "as much as is wanted already", Turn.AT: f"as much as is wanted from {self.turns_at} on",
            Turn.NEVER: "less than is wanted even if it is exact", Turn.UNKNOWN: "unknown",
        }[self.turn]  # fmt: skip
        lift = f"halving the tolerance of {self.tolerance} lifts the yield from {self.now:.2%} to {self.halved:.2%}"
        return f"{whose}: {lift}; {wanted}"


class NarrowedYields(Protocol):
    """Yields of the nets, and of the board last, with one tolerance narrowed, on the same samples."""

    def at(self, factor: int, part: float) -> Floats:
        """Yields with the limits of one factor narrowed to a part of what they are, from 0 (exact) to 1."""

    def turning_part(self, factor: int, net: int, wanted: float) -> float:
        """Largest part of the limits of one factor at which a net has the yield that is wanted."""


def asks_of(yields: NarrowedYields, factors: Sequence[Factor], nets: Sequence[str], wanted: float) -> tuple[Ask, ...]:
    """Rows for the board and for every net whose yield is neither 0 nor 1, or becomes another if a value is exact.

    Parameters
    ----------
    yields : NarrowedYields
    factors : sequence of Factor
    nets : sequence of str
        Their names.
    wanted : float
        Yield that is wanted.

    Returns
    -------
    tuple of Ask
        The board first.
    """
    now = yields.at(0, 1.0)
    halved = [yields.at(number, 0.5) for number in range(len(factors))]
    exact = [yields.at(number, 0.0) for number in range(len(factors))]
    moving = np.any([(now > 0) & (now < 1), *(each != now for each in exact)], axis=0)
    rows = []
    for net in [len(nets), *np.flatnonzero(moving[:-1]).tolist()]:
        for number, factor in enumerate(factors):
            ends = now[net], halved[number][net], exact[number][net]
            turn = _turn(ends, wanted)
            part = yields.turning_part(number, net, wanted) if turn is Turn.AT else np.nan
            rows.append(
                Ask(
                    net=nets[net] if net < len(nets) else "", tolerance=factor.name, limits=_limits(factor, 1.0),
                    now=float(ends[0]), halved=float(ends[1]), exact=float(ends[2]), turn=turn,
                    turns_at=_limits(factor, part) if turn is Turn.AT else "", part=part,
                )
            )  # fmt: skip
    return tuple(rows)


def _turn(ends: Sequence[float], wanted: float) -> Turn:
    now, _, exact = ends
    if np.isnan(now):
        return Turn.UNKNOWN
    return Turn.MET if now >= wanted else Turn.AT if exact >= wanted else Turn.NEVER


def _limits(factor: Factor, part: float) -> str:
    """Limits of a tolerance, narrowed to a part: '+/-0.1 mm' or '+0.1 mm / -0.05 mm'."""
    plus, minus = (
        each._replace(size=float(f"{each.size * part:.3g}")) for each in (factor.tolerance.plus, factor.tolerance.minus)
    )
    return f"+/-{plus}" if plus == minus else f"+{plus} / -{minus}"
