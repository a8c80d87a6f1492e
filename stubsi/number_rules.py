"""Owns what a number may be: its sign, whether it is finite, and the size that a value of its kind can have."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np

from stubsi.errors import UnitError
from stubsi.unit_errors import as_shown
from stubsi.unit_names import LARGEST_AND_SMALLEST, LARGEST_NUMBER, SI

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.unit_names import Kind

    FloatArray: TypeAlias = NDArray[np.float64]

Rule: TypeAlias = Literal[
    "positive",
    "not negative",
    "any",
    "at least 1 (vacuum)",
    "below 1 and not negative (a ratio, not a percentage)",
]
"""The condition that a number must meet. In addition it must always be finite."""

DK_RULE: Rule = "at least 1 (vacuum)"
"""Condition on a relative permittivity."""
DF_RULE: Rule = "below 1 and not negative (a ratio, not a percentage)"
"""Condition on a loss tangent."""

_RULES: dict[Rule, tuple[float, bool, float]] = {
    "positive": (0.0, False, math.inf),
    "not negative": (0.0, True, math.inf),
    "any": (-math.inf, False, math.inf),
    DK_RULE: (1.0, True, math.inf),
    DF_RULE: (0.0, True, 1.0),
}
"""For each rule: the lower limit, whether that limit itself is allowed, and the limit that numbers must lie below."""


def in_range(si: float | FloatArray, kind: Kind | None, name: str, rule: Rule, shown: object) -> float | FloatArray:
    """Check that numbers are finite, obey a rule and have a size that is possible for their kind.

    Parameters
    ----------
    si : float or ndarray
        The numbers, in the SI unit of their kind.
    kind : str or None
        A key of ``UNITS``; None: plain numbers.
    name : str
        Name of the argument, for the error text.
    rule : str
        Condition on the numbers.
    shown : object
        The value as the user gave it, for the error text.

    Returns
    -------
    float or ndarray
        ``si`` as it is.

    Raises
    ------
    UnitError
        A number is not finite, breaks the rule, or is far too large or too small.
    """
    lowest, allowed, below = _RULES[rule]
    largest, smallest = LARGEST_AND_SMALLEST[kind] if kind else (LARGEST_NUMBER, 0.0)
    smallest = 0.0 if rule == "any" else smallest  # a difference of two values can be as small as their rounding
    if isinstance(si, float):
        obeys = lowest < si < below or (allowed and si == lowest)
        sensible = si == 0 or smallest <= abs(si) <= largest
    else:
        size = np.abs(si)
        obeys = bool(np.all(((lowest < si) & (si < below)) | (allowed & (si == lowest))))
        sensible = bool(np.all((si == 0) | ((smallest <= size) & (size <= largest))))
    if obeys and sensible:
        return si
    unit = f" {SI[kind]}" if kind else ""
    if not obeys:
        want = "finite" if rule == "any" else f"finite and {rule}"
        if np.isinf(si).any():
            want += f"; its size must be at most {largest:g}{unit}"
        raise UnitError(f"{name} = {as_shown(shown)}: must be {want}.")
    least = f" and, unless it is zero, at least {smallest:g}{unit}" if smallest else ""
    raise UnitError(f"{name} = {as_shown(shown)}: its size must be at most {largest:g}{unit}{least}.")
