"""Which plated holes need depth drilling: stub notch, margin to Nyquist, stub-length budget.

Estimates, to be confirmed by the fabricator, by measurement or by field solution.
"""

from stubsi.board.board import Board
from stubsi.board.criterion import RULES, Criterion
from stubsi.board.net import Hole, Net
from stubsi.board.padstack import Antipad, Padstack, PressFit
from stubsi.board.signal import Signal
from stubsi.board.stackup import CopperLayer, DielectricLayer, Stackup
from stubsi.errors import BoardError, FileError, StubsiError, UnitError, UnknownValueError, ValidityError
from stubsi.stub import Stub, dk_eff_from_notch, notch_frequency

__all__ = [
    "RULES",
    "Antipad",
    "Board",
    "BoardError",
    "CopperLayer",
    "Criterion",
    "DielectricLayer",
    "FileError",
    "Hole",
    "Net",
    "Padstack",
    "PressFit",
    "Signal",
    "Stackup",
    "Stub",
    "StubsiError",
    "UnitError",
    "UnknownValueError",
    "ValidityError",
    "dk_eff_from_notch",
    "notch_frequency",
]
