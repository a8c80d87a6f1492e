"""Owns what findings about the surroundings of depth drills share: when something is too near, and their collection."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Generic, Protocol, TypeVar

from stubsi.board.names import how_many

if TYPE_CHECKING:
    from collections.abc import Iterator

ROUNDING = 1e-9
"""Distances [m] that differ by no more than this count as equal."""


class Finding(Protocol):
    """What a drill comes near to."""

    @property
    def too_near(self) -> bool | None:
        """Whether it is nearer than needed; None where that is not known."""


Found_co = TypeVar("Found_co", bound=Finding, covariant=True)


def is_too_near(distance_si: float, needed_si: float | None) -> bool | None:
    """Whether a distance from the edge of a depth drill is too small.

    Parameters
    ----------
    distance_si : float
        [m]; negative: they overlap.
    needed_si : float or None
        [m]; None where a rule is unknown.

    Returns
    -------
    bool or None
        None where it is not known. What overlaps is too near whatever the rule.
    """
    if distance_si < -ROUNDING:
        return True
    return None if needed_si is None else distance_si < needed_si - ROUNDING


@dataclass(frozen=True, repr=False)
class Findings(Generic[Found_co]):
    """Everything that a depth drill of a plan comes too near to, or perhaps does. Iterate it.

    Parameters
    ----------
    near : tuple
        The nearest first.
    unplaced : tuple of str
        Names of the drilled holes whose position is not known: they are not checked.
    """

    near: tuple[Found_co, ...]
    unplaced: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.near)

    def __iter__(self) -> Iterator[Found_co]:
        return iter(self.near)

    @property
    def too_near(self) -> tuple[Found_co, ...]:
        """Those that are nearer than needed."""
        return tuple(each for each in self.near if each.too_near)

    @property
    def not_judged(self) -> tuple[Found_co, ...]:
        """Those that cannot be judged, because a rule is unknown."""
        return tuple(each for each in self.near if each.too_near is None)

    def _in_words(self, what: str) -> list[str]:
        """How many are too near, not judged or not checked. ``what`` counts those that are too near."""
        parts = [f"{what} too near"]
        if self.not_judged:
            parts.append(f"{len(self.not_judged)} not judged, because a rule is unknown")
        if self.unplaced:
            parts.append(f"{how_many(len(self.unplaced), 'drilled hole')} not checked, because the position is unknown")
        return parts
