"""Owns the verdict: a criterion set against figures, and the reason in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stubsi.margin.figures import Spread

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.board.criterion import Criterion
    from stubsi.margin.figures import Figures

PASS, MARGINAL, DRILL, CANNOT_HELP, UNDECIDED = (
    "pass",
    "marginal",
    "drill",
    "drilling cannot help",
    "undecided",
)
"""Verdicts. Marginal: within the model's uncertainty of the limit. Undecided: an unknown decides."""


def measured(criterion: Criterion, figures: Figures) -> Spread:
    """The figure a criterion looks at, per net; infinitely good where a net has no stub."""
    if criterion.measure == "notch ratio":
        return Spread(*(np.where(figures.stubs > 0, notch / figures.nyquist, np.inf) for notch in figures.notch))
    if criterion.measure == "loss":
        return figures.loss
    if criterion.measure == "return loss":
        return figures.return_loss
    length = figures.longest
    if criterion.measure == "stub length x symbol rate":
        length = length * 2 * figures.nyquist
    return Spread(length, length, length, length)


def standing(criterion: Criterion, value: Spread, unknown: NDArray[np.bool_]) -> NDArray[np.str_]:
    """PASS, MARGINAL, UNDECIDED, or DRILL for what falls short, per net.

    PASS: the worst value meets the limit. UNDECIDED: a value is unknown, or the computed range straddles the limit.
    MARGINAL: only the uncertainty does. DRILL: not even the best value meets it, whatever else is unknown.
    """
    worst, low, high, best = (_meets(criterion, figure) for figure in value)
    undecided = unknown & (best | np.isnan(value.best))
    return np.select(
        [undecided, worst, low, high, best], [UNDECIDED, PASS, MARGINAL, UNDECIDED, MARGINAL], default=DRILL
    )


def unknown_of(criterion: Criterion, figures: Figures) -> NDArray[np.intp]:
    """Case whose unknown keeps a net from being judged by this criterion, -1 if none."""
    if criterion.measure == "notch ratio":
        return figures.unknown
    if criterion.measure in ("loss", "return loss"):
        return np.where(figures.unknown >= 0, figures.unknown, figures.unknown_loss)
    return np.full(len(figures.nyquist), -1, dtype=np.intp)


def _meets(criterion: Criterion, value: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether a value is within the limit; the limit itself is (to 1e-9, so that a budget meets its own criterion)."""
    if criterion.least:
        return value >= criterion.limit * (1 - 1e-9)
    return value <= criterion.limit * (1 + 1e-9)


def wording(criterion: Criterion, low: float, high: float) -> str:
    """A figure and its limit in words: '3.1 x Nyquist, at least 5 wanted'."""
    unit = {"notch ratio": " x Nyquist", "loss": " dB loss", "return loss": " dB return loss"}
    if criterion.measure in unit:
        ends = [f"{end:.3g}" for end in sorted({low, high})]
        value, limit = "-".join(dict.fromkeys(ends)) + unit[criterion.measure], f"{criterion.limit:g}"
    elif criterion.measure == "stub length":
        value, limit = f"{low * 1e3:.4g} mm", f"{criterion.limit * 1e3:.4g} mm"
    else:
        value, limit = f"{low * 1e3 / 1e9:.4g} mm x GBd", f"{criterion.limit * 1e3 / 1e9:.4g}"
    return f"{value}, {'at least' if criterion.least else 'at most'} {limit} wanted"
