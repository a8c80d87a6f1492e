"""Owns why a net has its verdict, as data: what falls short, where to drill, what is missing, what stays."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from stubsi.board.names import shortened
from stubsi.checks import one_line
from stubsi.margin.verdict import Verdict, range_in_words, wording

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stubsi.board.criterion import Criterion

MOST_HOLES = 3
"""How many holes a text names at most. It gives the number of the others."""

SAME_LENGTH = 1e-6
"""Lengths of stubs that differ by no more than this [m] count as equal."""


class MeasuredFigure(NamedTuple):
    """The figure that a criterion looks at: ends of its computed range, best value, lowest first notch over Nyquist.

    The ends are NaN where the figure is unknown.
    """

    criterion: Criterion
    low: float
    high: float
    best: float
    notch_ratio: float

    def __str__(self) -> str:
        return wording(self.criterion, self.low, self.high, self.best, self.notch_ratio)


class BuiltFigure(NamedTuple):
    """The figure that a criterion looks at, over all tolerances and the error that the model declares.

    Parameters
    ----------
    criterion : Criterion
    worst, best : float
        In the unit of the limit; NaN where unknown.
    as_drawn : Verdict
        The verdict without the tolerances.
    """

    criterion: Criterion
    worst: float
    best: float
    as_drawn: Verdict

    def in_words(self, verdict: Verdict) -> str:
        """The range, and the verdict as drawn where it is another one than this."""
        if not (math.isfinite(self.worst) or math.isfinite(self.best)):
            return ""
        shown = range_in_words(self.criterion, self.worst, self.best)
        other = f" ({self.as_drawn} without the tolerances)" if self.as_drawn != verdict else ""
        return f"{shown} over the tolerances and the error of the model{other}"


class DrillSide(NamedTuple):
    """Holes to drill from one side, and the layer that the drill must not cut. No hole is named if there is but one."""

    side: str
    must_not_cut: str
    holes: tuple[str, ...]

    def __str__(self) -> str:
        named, more = ", ".join(self.holes[:MOST_HOLES]), len(self.holes) - MOST_HOLES
        holes = f"{named} and {more} more" if more > 0 else named
        return f"from the {self.side}, must not cut {self.must_not_cut}" + (f": {holes}" if holes else "")


class KeptStub(NamedTuple):
    """A hole whose stub cannot be drilled away, and why."""

    hole: str
    kept_by: str

    def __str__(self) -> str:
        return f"{self.hole}: {self.kept_by}"


class LegDifference(NamedTuple):
    """Longest stub [m] of each leg of a pair whose legs do not have the same stubs."""

    p_si: float
    n_si: float

    def __str__(self) -> str:
        return f"legs differ (mode conversion): P {self.p_si * 1e3:.4g} mm, N {self.n_si * 1e3:.4g} mm"


class Reason(NamedTuple):
    """Why a net has its verdict. ``str`` of it is one line of text.

    Parameters
    ----------
    verdict : Verdict
        The verdict that the net has without its waiver.
    figure : MeasuredFigure or None
        What was compared with what; None for a net without stub.
    drills : tuple of DrillSide
        Where to drill, for a net that drilling can mend.
    kept : tuple of KeptStub
        What stays, for a net that drilling cannot mend.
    missing : str or None
        The input that leaves the verdict open, for an undecided net; why a marginal net is not solved.
    legs : LegDifference or None
        For a pair of unequal legs.
    waiver : str
        Why the net is excused; empty if it is not.
    nearly : float or None
        For a marginal net: dip that is nearly a notch, over Nyquist [-], where it decides; None where the model's
        uncertainty does.
    scope : str
        Why the source of the criterion does not cover the signal; blank if it does.
    two_stubs : str
        Hole whose two stubs count together, with the barrel between them; blank where the sum of the stubs counts.
    built : BuiltFigure or None
        The figure over tolerances; None where none were given.
    """

    verdict: Verdict
    figure: MeasuredFigure | None
    drills: tuple[DrillSide, ...] = ()
    kept: tuple[KeptStub, ...] = ()
    missing: str | None = None
    legs: LegDifference | None = None
    waiver: str = ""
    nearly: float | None = None
    scope: str = ""
    two_stubs: str = ""
    built: BuiltFigure | None = None

    def __repr__(self) -> str:
        return f"<Reason {self.verdict}: {shortened(str(self), 150)}>"

    def __str__(self) -> str:
        text = self._in_words()
        return f"{one_line(self.waiver)} (otherwise {self.verdict}: {text})" if self.waiver else text

    def _in_words(self) -> str:
        """The parts of the reason, what was compared first, joined by semicolons."""
        if self.figure is None:
            return "no stub"
        together = f"both stubs of {self.two_stubs} with the barrel between them" if self.two_stubs else ""
        parts: list[object] = [
            self.figure,
            self.built.in_words(self.verdict) if self.built else "",
            together,
            self.missing or "",
            self.scope,
            *self.drills,
            *self.kept,
            self.legs or "",
        ]
        if self.verdict == Verdict.MARGINAL and not self.built:
            parts.insert(1, self._why_marginal())
        return "; ".join(filter(None, map(str, parts)))

    def _why_marginal(self) -> str:
        if self.nearly is None:
            return "within the model's uncertainty of the limit"
        return f"a dip that is nearly a notch may lie at {self.nearly:.3g} x Nyquist"


def leg_difference(p_si: Sequence[float], n_si: Sequence[float]) -> LegDifference | None:
    """Longest stubs of the two legs of a pair, where their stubs differ by more than a micrometre.

    Parameters
    ----------
    p_si, n_si : sequence of float
        Lengths of the stubs of each leg [m].

    Returns
    -------
    LegDifference or None
        None where the legs have the same stubs.
    """
    p, n = sorted(p_si), sorted(n_si)
    if len(p) == len(n) and all(abs(one - other) <= SAME_LENGTH for one, other in zip(p, n, strict=True)):
        return None
    return LegDifference(max(p, default=0.0), max(n, default=0.0))
