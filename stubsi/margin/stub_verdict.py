"""Owns the figures of one stub as plain numbers, and their comparison with a criterion.

The rules are those that ``verdict`` has for whole tables. A test checks that both give the same.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from stubsi.board.criterion import Measure
from stubsi.margin.verdict import Verdict, bound, wording

if TYPE_CHECKING:
    from collections.abc import Iterable

    import numpy as np
    from numpy.typing import NDArray

    from stubsi.board.criterion import Criterion
    from stubsi.margin.figures import Measurable
    from stubsi.margin.spread import Spread


class Ends(NamedTuple):
    """The four values of a figure, from worst to best.

    ``worst`` and ``best``: with the model as far off as it may be. ``low`` and ``high``: the range as computed, equal
    where all is known. All four are NaN where the figure is unknown.
    """

    worst: float
    low: float
    high: float
    best: float


UNKNOWN = Ends(math.nan, math.nan, math.nan, math.nan)


class StubFigures(NamedTuple):
    """Figures of one stub.

    ``length`` [m]; ``nyquist`` [Hz]; ``notch``: its first notch [Hz]; ``one_db``: its 1 dB frequency [Hz]; ``loss`` and
    ``return_loss``: greatest and least one from 0 to Nyquist [dB]; ``nyquist_loss`` and ``nyquist_return_loss``: at
    Nyquist itself, at the worse end of what is known [dB]. None: unknown.
    """

    length: float
    nyquist: float
    notch: Ends | None
    one_db: Ends | None
    loss: Ends | None
    return_loss: Ends | None
    nyquist_loss: float | None
    nyquist_return_loss: float | None

    @property
    def notch_ratio(self) -> Ends:
        """First notch over Nyquist; infinite for a stub of no length."""
        return self._over_nyquist(self.notch)

    @property
    def one_db_ratio(self) -> Ends:
        """1 dB frequency over Nyquist; infinite for a stub of no length."""
        return self._over_nyquist(self.one_db)

    def _over_nyquist(self, frequency: Ends | None) -> Ends:
        if self.length <= 0:
            return Ends(math.inf, math.inf, math.inf, math.inf)
        if frequency is None:
            return UNKNOWN
        worst, low, high, best = frequency
        nyquist = self.nyquist
        return Ends(worst / nyquist, low / nyquist, high / nyquist, best / nyquist)


def rows_of(figures: Measurable) -> list[StubFigures]:
    """Figures of each stub of a table.

    Parameters
    ----------
    figures : Measurable
        One entry per stub.

    Returns
    -------
    list of StubFigures
    """
    columns = (figures.longest.tolist(), figures.nyquist.tolist())
    spreads = map(_ends_of, (figures.notch, figures.one_db, figures.loss, figures.return_loss))
    at_nyquist = map(_known, (figures.nyquist_loss, figures.nyquist_return_loss))
    return [StubFigures(*row) for row in zip(*columns, *spreads, *at_nyquist, strict=True)]


def _known(values: NDArray[np.float64]) -> list[float | None]:
    return [None if math.isnan(value) else value for value in values.tolist()]


def _ends_of(spread: Spread) -> Iterable[Ends | None]:
    rows = zip(*(values.tolist() for values in spread), strict=True)
    return [None if math.isnan(row[1]) else Ends(*row) for row in rows]


def measured_ends(criterion: Criterion, figures: StubFigures) -> Ends:
    """The figure that a criterion looks at.

    Parameters
    ----------
    criterion : Criterion
    figures : StubFigures

    Returns
    -------
    Ends
        NaN where unknown.

    Notes
    -----
    Once the first notch has come down to Nyquist, a loss counts as infinite and a return loss as none. A longer stub
    may have a notch that is less deep, but it lies inside the band of the signal all the same.
    """
    if criterion.measure is Measure.NOTCH_RATIO:
        return figures.notch_ratio
    if criterion.measure is Measure.ONE_DB_RATIO:
        return figures.one_db_ratio
    if criterion.on_loss:
        at_worst = math.inf if criterion.measure is Measure.LOSS else 0.0
        values = (figures.loss if criterion.measure is Measure.LOSS else figures.return_loss) or UNKNOWN
        ratios = figures.notch_ratio
        return Ends(*(at_worst if ratio <= 1 else value for ratio, value in zip(ratios, values, strict=True)))
    length = figures.length
    if criterion.measure is Measure.STUB_LENGTH_TIMES_RATE:
        length = length * 2 * figures.nyquist
    return Ends(length, length, length, length)


def verdict_of(criterion: Criterion, ends: Ends) -> Verdict:
    """Verdict on a stub whose figure is known.

    Parameters
    ----------
    criterion : Criterion
    ends : Ends
        The figure it looks at.

    Returns
    -------
    Verdict
        Falls short: not even the best value meets the limit. Pass: the worst value does. Undecided: the computed range
        straddles it. Marginal: only the model's uncertainty decides.
    """
    limit = bound(criterion)
    if criterion.least:
        worst, low, high, best = (value >= limit for value in ends)
    else:
        worst, low, high, best = (value <= limit for value in ends)
    if not best:
        return Verdict.FALLS_SHORT
    if worst:
        return Verdict.PASS
    return Verdict.UNDECIDED if high and not low else Verdict.MARGINAL


def excess_of(criterion: Criterion, ends: Ends) -> float:
    """How far a figure is on the good side of its limit.

    Parameters
    ----------
    criterion : Criterion
    ends : Ends
        The figure it looks at.

    Returns
    -------
    float
        Relative; negative where the figure, as computed, falls short.
    """
    if criterion.least:
        return ends.low / criterion.limit - 1
    return criterion.limit / ends.low - 1 if ends.low else math.inf


def overshoot(criterion: Criterion, value: float) -> float:
    """By how much a figure misses its criterion.

    Parameters
    ----------
    criterion : Criterion
    value : float
        One end of the figure it looks at.

    Returns
    -------
    float
        Above 0 the criterion is not met; NaN where the figure is unknown. It grows roughly in proportion to the length
        of the stub, so that the secant method finds its root.
    """
    limit = bound(criterion)
    if criterion.measure in (Measure.NOTCH_RATIO, Measure.ONE_DB_RATIO):
        excess = limit / value - 1 if value else math.inf
    elif criterion.measure is Measure.LOSS:
        excess = math.nan if math.isnan(value) else math.sqrt(max(value, 0.0) / limit) - 1
    else:
        excess = 10 ** ((limit - value) / 20) - 1
    met = value >= limit if criterion.least else value <= limit
    return min(excess, 0.0) if met else excess


def reason_of_stub(criterion: Criterion, figures: StubFigures) -> str:
    """The figure that a criterion looks at and its limit, in words.

    Parameters
    ----------
    criterion : Criterion
    figures : StubFigures

    Returns
    -------
    str
        For example "3.1 x Nyquist, at least 5 wanted"; empty where the figure is unknown.
    """
    ends = measured_ends(criterion, figures)
    return wording(criterion, ends.low, ends.high, ends.best, figures.notch_ratio.low)
