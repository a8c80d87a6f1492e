"""Owns the verdict: a criterion set against figures, and the reason in words."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np

from stubsi.margin.figures import Spread

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.board.criterion import Criterion
    from stubsi.margin.figures import Figures, Measurable


class Verdict(StrEnum):
    """What is decided about a net or a stub. Each is also the text that tables show.

    ``PASS``: it meets its criterion with the model as far off as it may be. ``MARGINAL``: within the model's
    uncertainty of the limit. ``DRILL``: it falls short, and depth drilling can mend it. ``CANNOT_HELP``: it falls
    short, and part of the stub must or will stay. ``UNDECIDED``: an unknown decides. ``WAIVED``: excused by the user.
    ``FALLS_SHORT``: it misses its criterion; whether drilling can mend it is not looked at.
    """

    PASS = "pass"
    MARGINAL = "marginal"
    DRILL = "drill"
    CANNOT_HELP = "drilling cannot help"
    UNDECIDED = "undecided"
    WAIVED = "waived"
    FALLS_SHORT = "falls short"


def measured(criterion: Criterion, figures: Measurable) -> Spread:
    """The figure a criterion looks at, per net or stub; infinitely good without stub.

    Once the first notch has come down to Nyquist, a return loss counts as none and a loss as infinite: as the stub
    grows on its loss at Nyquist falls again, but its path has lost the signal's band.
    """
    if criterion.measure == "notch ratio":
        return _ratio(figures)
    if criterion.measure == "loss":
        return counted_loss(figures)
    if criterion.measure == "return loss":
        return _counted(figures, figures.return_loss, 0.0)
    length = figures.longest
    if criterion.measure == "stub length x symbol rate":
        length = length * 2 * figures.nyquist
    return Spread(length, length, length, length)


def counted_loss(figures: Measurable) -> Spread:
    """Loss at Nyquist [dB]; infinite once the first notch has come down to Nyquist."""
    return _counted(figures, figures.loss, np.inf)


def past(ratio: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether a first notch, over Nyquist, lies so low that no loss at Nyquist counts."""
    return ratio <= 1


def _ratio(figures: Measurable) -> Spread:
    return Spread(*(np.where(figures.longest > 0, notch / figures.nyquist, np.inf) for notch in figures.notch))


def _counted(figures: Measurable, loss: Spread, at_worst: float) -> Spread:
    return Spread(*(np.where(past(at), at_worst, own) for at, own in zip(_ratio(figures), loss, strict=True)))


def standing(criterion: Criterion, value: Spread, unknown: NDArray[np.bool_]) -> NDArray[np.str_]:
    """Verdict of every net whose stubs could all be drilled: pass, marginal, undecided or drill.

    Pass: the worst value meets the limit. Undecided: a value is unknown, or the computed range straddles the limit.
    Marginal: only the uncertainty does. Drill: not even the best value meets it, whatever else is unknown.
    """
    worst, low, high, best = (meets(criterion, figure) for figure in value)
    undecided = unknown & (best | np.isnan(value.best))
    return np.select(
        [undecided, worst, low, high, best],
        [Verdict.UNDECIDED, Verdict.PASS, Verdict.MARGINAL, Verdict.UNDECIDED, Verdict.MARGINAL],
        default=Verdict.DRILL,
    )


def unknown_of(criterion: Criterion, figures: Figures) -> NDArray[np.intp]:
    """Case whose unknown keeps a net from being judged by this criterion, -1 if none."""
    if criterion.measure == "notch ratio":
        return figures.unknown
    if criterion.on_loss:
        return np.where(figures.unknown >= 0, figures.unknown, figures.unknown_loss)
    return np.full(len(figures.nyquist), -1, dtype=np.intp)


def bound(criterion: Criterion) -> float:
    """The limit itself is within the limit, to 1e-9, so that a budget meets its own criterion."""
    return criterion.limit * (1 - 1e-9 if criterion.least else 1 + 1e-9)


def meets(criterion: Criterion, value: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether a value is within the limit."""
    return value >= bound(criterion) if criterion.least else value <= bound(criterion)


def wording(criterion: Criterion, low: float, high: float, ratio: float) -> str:
    """The figure a criterion looks at and its limit in words: '3.1 x Nyquist, at least 5 wanted'; empty where unknown.

    ``low``, ``high``: its computed range. ``ratio``: lowest first notch over Nyquist.
    """
    if criterion.on_loss and past(ratio):
        return f"first notch {ratio:.3g} x Nyquist, at or below Nyquist"
    if not np.isfinite(low):
        return ""
    unit = {"notch ratio": " x Nyquist", "loss": " dB loss", "return loss": " dB return loss"}
    if criterion.measure in unit:
        ends = [f"{end:.3g}" for end in sorted({low, high})]
        shown, limit = "-".join(dict.fromkeys(ends)) + unit[criterion.measure], f"{criterion.limit:g}"
    elif criterion.measure == "stub length":
        shown, limit = f"{low * 1e3:.4g} mm", f"{criterion.limit * 1e3:.4g} mm"
    else:
        shown, limit = f"{low * 1e3 / 1e9:.4g} mm x GBd", f"{criterion.limit * 1e3 / 1e9:.4g}"
    return f"{shown}, {'at least' if criterion.least else 'at most'} {limit} wanted"
