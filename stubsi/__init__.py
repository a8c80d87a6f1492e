"""Which plated holes need depth drilling: stub notch, margin to Nyquist, stub-length budget.

Estimates, to be confirmed by the fabricator, by measurement or by field solution.
"""

from stubsi.board.board import Board
from stubsi.board.criterion import RULES, Criterion
from stubsi.board.net import DepthDrill, Hole, Net, ReturnVias
from stubsi.board.padstack import Antipad, Padstack, PressFit
from stubsi.board.signal import Signal
from stubsi.board.stackup import CopperLayer, DielectricLayer, Stackup
from stubsi.drilling.clearance import effects
from stubsi.drilling.consequences import consequences
from stubsi.drilling.plan import plan
from stubsi.drilling.questions import questions
from stubsi.drilling.reroute import reroutes
from stubsi.drilling.rules import Costs, Rules
from stubsi.drilling.schedule import still_valid
from stubsi.drilling.tolerance import DepthTolerance, GuaranteedResidual
from stubsi.errors import (
    BoardError,
    FileError,
    PlausibilityWarning,
    StubsiError,
    UnitError,
    UnknownValueError,
    ValidityError,
)
from stubsi.files.toml import read_board
from stubsi.margin.budget import check_stub, stub_budget
from stubsi.margin.hole import hole_model
from stubsi.margin.matrix import layer_matrix
from stubsi.margin.rank import rank
from stubsi.stub import Stub, dk_eff_from_notch, notch_frequency

__all__ = [
    "RULES",
    "Antipad",
    "Board",
    "BoardError",
    "CopperLayer",
    "Costs",
    "Criterion",
    "DepthDrill",
    "DepthTolerance",
    "DielectricLayer",
    "FileError",
    "GuaranteedResidual",
    "Hole",
    "Net",
    "Padstack",
    "PlausibilityWarning",
    "PressFit",
    "ReturnVias",
    "Rules",
    "Signal",
    "Stackup",
    "Stub",
    "StubsiError",
    "UnitError",
    "UnknownValueError",
    "ValidityError",
    "check_stub",
    "consequences",
    "dk_eff_from_notch",
    "effects",
    "hole_model",
    "layer_matrix",
    "notch_frequency",
    "plan",
    "questions",
    "rank",
    "read_board",
    "reroutes",
    "still_valid",
    "stub_budget",
]
