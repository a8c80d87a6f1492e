"""Owns what is usual: for each kind of value the bounds outside of which it is most likely a slip, and the warning.

A value outside its bounds is possible, so it is used as it is. What no board can have is refused instead; see
``number_rules`` and ``board.size_limits``.
"""

from __future__ import annotations

import sys
import warnings
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from stubsi.errors import PlausibilityWarning
from stubsi.units import one_si, show

if TYPE_CHECKING:
    from types import CodeType

    from stubsi.number_rules import Rule
    from stubsi.unit_names import Kind
    from stubsi.units import Dimensioned


class Usual(NamedTuple):
    """Bounds of a usual value.

    Parameters
    ----------
    lowest, highest : float
        In the SI unit of the kind. The bounds themselves are usual. So is zero, where zero is allowed.
    kind : str or None
        A key of ``unit_names.UNITS``; None: a plain number.
    what : str
        What lies between the bounds, in words.
    source : str
        Where the bounds are from.
    """

    lowest: float
    highest: float
    kind: Kind | None
    what: str
    source: str

    def holds(self, value: float | None) -> bool:
        """Whether a value is usual, or unknown.

        Parameters
        ----------
        value : float or None
            In the SI unit of the kind.

        Returns
        -------
        bool
        """
        return value is None or value == 0 or self.lowest <= value <= self.highest

    def shown(self, value: float) -> str:
        """A value with its unit.

        Parameters
        ----------
        value : float

        Returns
        -------
        str
        """
        return f"{value:g}" if self.kind is None else show(value, self.kind)


PRACTICE = "common practice, no source"

DK = Usual(
    1.0, 13.0, None, "laminates of boards lie",
    "air to the densest ceramic-filled laminates (data sheets of 10.2 to 12.9), from memory",
)  # fmt: skip
DK_EFF = Usual(
    1.0, 30.0, None, "effective permittivities of stubs lie",
    "half more than 20.1, the largest that a full-wave reference of the project needs (shared/fullwave/cases.csv)",
)  # fmt: skip
DF = Usual(
    1e-5, 0.1, None, "loss tangents of laminates lie",
    "fused silica to three times that of FR-4 (0.02 to 0.03): common practice, no source",
)  # fmt: skip
DELAY = Usual(
    3.3e-9, 19e-9, "delay per length", "delays of stubs lie", "the speed of light, and an effective permittivity of 30"
)
LINE_IMPEDANCE = Usual(10.0, 300.0, "impedance", "lines on boards lie", PRACTICE)
STUB_IMPEDANCE = Usual(10.0, 150.0, "impedance", "plated holes lie", PRACTICE)
COPPER_THICKNESS = Usual(
    1e-6, 0.7e-3, "length", "copper layers lie", "thin film to 20 oz/ft2 of copper: common practice, no source"
)
DIELECTRIC_THICKNESS = Usual(5e-6, 10e-3, "length", "dielectric layers lie", PRACTICE)
DRILL = Usual(
    20e-6, 6.7e-3, "length", "drills for boards lie", "laser vias to the largest drill bit: common practice, no source"
)
PAD = Usual(50e-6, 15e-3, "length", "pads and clearances lie", PRACTICE)
BOARD_THICKNESS = Usual(50e-6, 15e-3, "length", "boards lie", "flex to thick backplanes: " + PRACTICE)
PIN = Usual(1e-6, 15e-3, "length", "depths of press-fit pins lie", "no deeper than a thick board: " + PRACTICE)
OVERSIZE = Usual(20e-6, 1e-3, "length", "depth drills over primary drills lie", "0.1 to 0.3 mm is usual: " + PRACTICE)
DRILLING_DEPTH = Usual(
    1e-6, 5e-3, "length", "rules about a depth or a plated length lie", "0.2 to 1 mm is usual: " + PRACTICE
)
DRILLING_CLEARANCE = Usual(
    1e-6, 1e-3, "length", "distances and tolerances of depth drilling lie", "0.05 to 0.3 mm is usual: " + PRACTICE
)
STUB_LENGTH = Usual(1e-6, 15e-3, "long length", "stubs lie", "a board is rarely thicker: common practice, no source")
SYMBOL_RATE_IN_GBD = Usual(
    3e-7, 500.0, None, "lines on boards lie",
    "300 Bd of a slow serial port to 224 GBd of the fastest lanes planned: common practice, no source",
)  # fmt: skip
FREQUENCY_RATIO = Usual(0.5, 20.0, None, "limits of this kind lie", PRACTICE)
LOSS = Usual(0.01, 30.0, None, "limits of this kind lie", PRACTICE)
RETURN_LOSS = Usual(1.0, 60.0, None, "limits of this kind lie", PRACTICE)
STUB_LENGTH_LIMIT = Usual(10e-6, 15e-3, "long length", "limits of this kind lie", PRACTICE)
STUB_LENGTH_AT_1_GBD = Usual(
    0.1e-3,
    1.0,
    "long length",
    "stub lengths allowed at 1 GBd lie",
    "the published rules say 7.62 and 76.2 mm; " + PRACTICE,
)

PACKAGE = str(Path(__file__).parent)


def usual_si(value: Dimensioned, usual: Usual, name: str, *, rule: Rule = "positive") -> float:
    """Convert one value with a unit to SI units, and warn if it is most likely a slip.

    Parameters
    ----------
    value : str or pint.Quantity
    usual : Usual
        Bounds of values of its kind.
    name : str
        Name of the argument, for the text.
    rule : str
        Condition on the number, one of ``units.Rule``.

    Returns
    -------
    float

    Raises
    ------
    UnitError
        As ``units.one_si``.

    Warns
    -----
    PlausibilityWarning
        The value is outside its bounds.
    """
    assert usual.kind is not None
    si = one_si(value, usual.kind, name, rule=rule)
    warn_if_unusual(si, usual, name)
    return si


def warn_if_unusual(value: float | None, usual: Usual, name: str, *, check: str = "it and its unit") -> None:
    """Warn about a value that is most likely a slip.

    Parameters
    ----------
    value : float or None
        In SI units; None: unknown.
    usual : Usual
        Its bounds.
    name : str
        Name of the argument, for the text.
    check : str
        What to check, for the text.

    Warns
    -----
    PlausibilityWarning
        The value is outside its bounds. The warning points at the caller's own code.
    """
    if value is None or usual.holds(value):
        return
    warn(
        f"{name} = {usual.shown(value)}: is outside {usual.shown(usual.lowest)} to {usual.shown(usual.highest)}, where "
        f"{usual.what}; check {check}."
    )


def warn(text: str) -> None:
    """Warn about something that is most likely a slip.

    Parameters
    ----------
    text : str

    Warns
    -----
    PlausibilityWarning
        The warning points at the caller's own code.
    """
    warnings.warn(text, PlausibilityWarning, stacklevel=_levels_to_the_caller())


def _levels_to_the_caller() -> int:
    """How many frames lie between the warning and the first one outside this package."""
    levels = 1
    frame = sys._getframe(1)
    while frame.f_back is not None and _is_ours(frame.f_code):
        frame, levels = frame.f_back, levels + 1
    return levels


def _is_ours(code: CodeType) -> bool:
    """Whether code is of this package; the constructors that dataclasses write are part of it."""
    return code.co_filename.startswith(PACKAGE) or (code.co_filename, code.co_name) == ("<string>", "__init__")
