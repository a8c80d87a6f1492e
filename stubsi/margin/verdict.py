"""Owns the verdict: a criterion set against figures."""

from __future__ import annotations

import math
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np

from stubsi.board.criterion import Measure
from stubsi.board.names import three_digits
from stubsi.margin.spread import Spread

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from stubsi.board.criterion import Criterion
    from stubsi.margin.figures import Figures, Measurable


class Verdict(StrEnum):
    """What is decided about a net or a stub. Each is also the text that tables show.

    ``PASS``: it meets its criterion with the model as far off as it may be. ``MARGINAL``: within the model's
    uncertainty of the limit. ``DRILL``: it falls short, and depth drilling can mend it. ``CANNOT_HELP``: it falls
    short, and part of the stub must or will stay. ``UNDECIDED``: an unknown decides. ``WAIVED``: excused by the user.
    ``FALLS_SHORT``: it misses its criterion; whether drilling can mend it is not examined.
    """

    PASS = "pass"
    MARGINAL = "marginal"
    DRILL = "drill"
    CANNOT_HELP = "drilling cannot help"
    UNDECIDED = "undecided"
    WAIVED = "waived"
    FALLS_SHORT = "falls short"


SHORTER_FALLS_SHORT = "but a shorter stub falls short, and plating makes no stub better"
"""Why a figure that meets its limit is judged to fall short."""


def measured(criterion: Criterion, figures: Measurable) -> Spread:
    """The figure that a criterion looks at.

    Parameters
    ----------
    criterion : Criterion
    figures : Measurable

    Returns
    -------
    Spread
        One entry per net or stub. Without a stub the figure is the best possible one.

    Notes
    -----
    Once the first notch has come down to Nyquist, a loss counts as infinite and a return loss as none. A longer stub
    may have a notch that is less deep, but it lies inside the band of the signal all the same.
    """
    if criterion.measure is Measure.NOTCH_RATIO:
        return _over_nyquist(figures, figures.notch)
    if criterion.measure is Measure.ONE_DB_RATIO:
        return _over_nyquist(figures, figures.one_db)
    if criterion.measure is Measure.LOSS:
        return counted_loss(figures)
    if criterion.measure is Measure.RETURN_LOSS:
        return _counted(figures, figures.return_loss, 0.0)
    length = figures.longest
    if criterion.measure is Measure.STUB_LENGTH_TIMES_RATE:
        length = length * 2 * figures.nyquist
    return Spread(length, length, length, length)


def counted_loss(figures: Measurable) -> Spread:
    """Loss that counts for a criterion.

    Parameters
    ----------
    figures : Measurable

    Returns
    -------
    Spread
        Greatest loss from 0 to Nyquist [dB]; infinite once the first notch has come down to Nyquist.
    """
    return _counted(figures, figures.loss, np.inf)


def past(ratio: NDArray[np.float64] | float) -> NDArray[np.bool_]:
    """Whether a first notch lies so low that no loss counts.

    Parameters
    ----------
    ratio : ndarray
        First notch over Nyquist.
    """
    return np.less_equal(ratio, 1)


def _counted(figures: Measurable, loss: Spread, at_worst: float) -> Spread:
    ratios = _over_nyquist(figures, figures.notch)
    return Spread(*(np.where(past(at), at_worst, values) for at, values in zip(ratios, loss, strict=True)))


def _over_nyquist(figures: Measurable, frequency: Spread) -> Spread:
    return Spread(*(np.where(figures.longest > 0, end / figures.nyquist, np.inf) for end in frequency))


_VERDICTS = np.array(list(Verdict), dtype=object)
_PASS, _MARGINAL, _DRILL, _UNDECIDED = (
    list(Verdict).index(verdict) for verdict in (Verdict.PASS, Verdict.MARGINAL, Verdict.DRILL, Verdict.UNDECIDED)
)


def standing(criterion: Criterion, value: Spread, unknown: NDArray[np.bool_]) -> NDArray[np.object_]:
    """Verdict of every net whose stubs could all be drilled.

    Parameters
    ----------
    criterion : Criterion
    value : Spread
        The figure that the criterion looks at, of every net.
    unknown : ndarray of bool
        Whether something about the net is not known.

    Returns
    -------
    ndarray of Verdict
        ``DRILL``: not even the best value meets the limit, whatever else is unknown. ``PASS``: the worst value meets
        it. ``UNDECIDED``: a value is unknown, or the computed range straddles the limit. ``MARGINAL``: only the
        uncertainty of the model does. Where a shorter stub counts as well, the best value may be the worse one.
    """
    worst, low, high, best = (meets(criterion, figure) for figure in value)
    undecided = unknown & (best | np.isnan(value.best))
    choices = [_UNDECIDED, _DRILL, _PASS, _MARGINAL, _UNDECIDED]
    verdicts: NDArray[np.object_] = _VERDICTS[
        np.select([undecided, ~best, worst, low, high], choices, default=_MARGINAL)
    ]
    return verdicts


def unknown_of(criterion: Criterion, figures: Figures) -> NDArray[np.intp]:
    """Case whose unknown keeps a net from being judged by a criterion.

    Parameters
    ----------
    criterion : Criterion
    figures : Figures

    Returns
    -------
    ndarray of int
        Case number of every net, -1 where there is none.
    """
    if criterion.measure is Measure.NOTCH_RATIO:
        return figures.unknown
    if criterion.on_loss:
        return np.where(figures.unknown >= 0, figures.unknown, figures.unknown_loss)
    return np.full(len(figures.nyquist), -1, dtype=np.intp)


def bound(criterion: Criterion) -> float:
    """Limit of a criterion, relaxed by a factor of 1e-9, so that a stub as long as its budget meets the criterion.

    Parameters
    ----------
    criterion : Criterion
    """
    return criterion.limit * (1 - 1e-9 if criterion.least else 1 + 1e-9)


def meets(criterion: Criterion, value: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether each value is within the limit.

    Parameters
    ----------
    criterion : Criterion
    value : ndarray
        In the unit of the criterion's limit.
    """
    return value >= bound(criterion) if criterion.least else value <= bound(criterion)


def over_limit(criterion: Criterion, figure: float) -> float:
    """Margin over limit: the figure over the limit, or the limit over the figure where less is better; 1 is just met.

    Parameters
    ----------
    criterion : Criterion
    figure : float
        In the unit of the criterion's limit.

    Returns
    -------
    float
        Infinite where less is better and the figure is 0.
    """
    if criterion.least:
        return float(figure) / criterion.limit
    return criterion.limit / float(figure) if figure else np.inf


def against_limit(criterion: Criterion, low: float) -> str:
    """The figure that a criterion looks at beside its limit, for a narrow column: '3.1 < 5 x'.

    Parameters
    ----------
    criterion : Criterion
    low : float
        Worse end of the computed range of the figure.

    Returns
    -------
    str
        Empty where the figure is unknown; "notch" in place of a loss where a notch lies inside the band.
    """
    if np.isnan(low):
        return ""
    factor, unit = _NARROW[criterion.measure]
    met = bool(meets(criterion, np.array(low)))
    relation = (">=" if met else "<") if criterion.least else ("<=" if met else ">")
    shown = "notch" if np.isinf(low) else three_digits(low * factor)
    return f"{shown} {relation} {three_digits(criterion.limit * factor)} {unit}"


_NARROW = {
    Measure.NOTCH_RATIO: (1.0, "x"),
    Measure.ONE_DB_RATIO: (1.0, "x, 1 dB"),
    Measure.LOSS: (1.0, "dB"),
    Measure.RETURN_LOSS: (1.0, "dB"),
    Measure.STUB_LENGTH: (1e3, "mm"),
    Measure.STUB_LENGTH_TIMES_RATE: (1e-6, "mm GBd"),
}
"""Factor to the unit that is shown, and that unit, by what a criterion looks at."""
_UNITS = {
    Measure.NOTCH_RATIO: " x Nyquist",
    Measure.ONE_DB_RATIO: " x Nyquist for 1 dB",
    Measure.LOSS: " dB loss up to Nyquist",
    Measure.RETURN_LOSS: " dB return loss up to Nyquist",
}


def wording(criterion: Criterion, low: float, high: float, best: float, ratio: float) -> str:
    """The figure that a criterion looks at, and its limit, in words: '3.1 x Nyquist, at least 5 wanted'.

    It also says why a figure falls short that meets its limit as computed: a shorter stub does.

    Parameters
    ----------
    criterion : Criterion
    low, high : float
        Computed range of the figure.
    best : float
        Its best value, which is that of a shorter stub where that is worse.
    ratio : float
        Lowest first notch over Nyquist.

    Returns
    -------
    str
        Empty where the figure is unknown.
    """
    if criterion.measure in (Measure.LOSS, Measure.RETURN_LOSS) and past(ratio):
        return f"first notch {ratio:.3g} x Nyquist, at or below Nyquist"
    if not math.isfinite(low):
        return ""
    shown = range_in_words(criterion, low, high)
    if criterion.measure in _UNITS:
        limit = f"{criterion.limit:g}"
    elif criterion.measure is Measure.STUB_LENGTH:
        limit = f"{criterion.limit * 1e3:.4g} mm"
    else:
        limit = f"{criterion.limit * 1e3 / 1e9:.4g}"
    text = f"{shown}, {'at least' if criterion.least else 'at most'} {limit} wanted"
    of_a_shorter = meets(criterion, np.array(low)) and not meets(criterion, np.array(best))
    return f"{text}; {SHORTER_FALLS_SHORT}" if of_a_shorter else text


def range_in_words(criterion: Criterion, low: float, high: float) -> str:
    """Range of the figure that a criterion looks at, with its unit: '3.1-4.2 x Nyquist'.

    Parameters
    ----------
    criterion : Criterion
    low, high : float
        In the unit of the limit.

    Returns
    -------
    str
    """
    if criterion.measure in _UNITS:
        return _range(low, high, three_digits) + _UNITS[criterion.measure]
    if criterion.measure is Measure.STUB_LENGTH:
        return _range(low * 1e3, high * 1e3, "{:.4g}".format) + " mm"
    return _range(low * 1e3 / 1e9, high * 1e3 / 1e9, "{:.4g}".format) + " mm x GBd"


def _range(low: float, high: float, shown: Callable[[float], str]) -> str:
    """Range of a figure, each end as ``shown`` writes it: '3.1', '3.1-4.2' or 'more than 3.1'."""
    if low == high:
        return shown(low)
    ends = sorted((low, high))
    if math.isinf(ends[-1]):
        return f"more than {shown(ends[0])}"
    return "-".join(dict.fromkeys(shown(end) for end in ends))
