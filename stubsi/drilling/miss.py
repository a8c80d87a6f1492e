"""Owns what is done to nets that miss their criterion whatever is drilled, and by how much a drilled stub misses."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, NamedTuple, TypeAlias

from stubsi.drilling.budget_end import IN_WORDS
from stubsi.units import show

if TYPE_CHECKING:
    from stubsi.drilling.budget_end import BudgetAt

MissedNets: TypeAlias = Literal["best effort", "leave", "stub by stub"]
"""What is done to nets that miss their criterion whatever is drilled.

"best effort": they are drilled as deep as the rules allow, where that helps, with groups that other nets need; the legs
of a pair together. "leave": they are not drilled. "stub by stub": every stub that can keep its budget is drilled, with
groups of its own if it needs them, whatever becomes of the other stubs of its net.
"""
MISSED_NETS: tuple[MissedNets, ...] = ("best effort", "leave", "stub by stub")


class Miss(NamedTuple):
    """By how much a stub that is drilled as deep as rules and groups allow still misses its budget.

    Parameters
    ----------
    over_si : float or None
        Length [m] by which it is longer than permitted. None: its net has a limit for the sum of
        the losses of several stubs.
    notch_si, needed_si : float or None
        Its first notch [Hz], and that of the longest permitted stub; None where there is none.
    budget_at : {"worst", "nominal"}
        The depth at which both are found.
    """

    over_si: float | None
    notch_si: float | None
    needed_si: float | None
    budget_at: BudgetAt = "worst"

    @property
    def short_si(self) -> float | None:
        """How far its first notch lies below that of the longest permitted stub [Hz]; None where one is unknown."""
        return None if self.notch_si is None or self.needed_si is None else self.needed_si - self.notch_si

    def __str__(self) -> str:
        if self.over_si is None:
            return "its net misses the limit for the sum of its losses"
        text = f"misses its budget by {self.over_si * 1e6:.4g} um {IN_WORDS[self.budget_at]}"
        if self.notch_si is None or self.short_si is None:
            return text
        return f"{text}: first notch {show(self.notch_si, 'frequency')}, {show(self.short_si, 'frequency')} short"

    def __repr__(self) -> str:
        return f"<Miss: {self}>"
