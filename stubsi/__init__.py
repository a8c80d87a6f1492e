"""Which plated holes need depth drilling: stub notch, margin to Nyquist, stub-length budget.

Estimates, to be confirmed by the fabricator, by measurement or by field solution.
"""

from stubsi.board.board import Board
from stubsi.board.criterion import RULES_OF_THUMB, Criterion
from stubsi.board.net import DepthDrill, Hole, Net, ReturnVias
from stubsi.board.padstack import Antipad, Padstack, PressFit
from stubsi.board.signal import Signal
from stubsi.board.stackup import CopperLayer, DielectricLayer, Stackup
from stubsi.drilling.consequences import consequences
from stubsi.drilling.depth_tolerance import DepthTolerance, GuaranteedResidual
from stubsi.drilling.effects import effects
from stubsi.drilling.plan import plan
from stubsi.drilling.questions import questions
from stubsi.drilling.reroute import reroutes
from stubsi.drilling.rules import Costs, FabricatorRules
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
from stubsi.margin.layer_matrix import layer_matrix
from stubsi.margin.ranking import rank
from stubsi.show.schedule import still_valid
from stubsi.stubs.hole_model import hole_model
from stubsi.stubs.uniform_stub import Stub, dk_eff_from_notch, notch_frequency

__all__ = [
    "RULES_OF_THUMB",
    "Antipad",
    "Board",
    "BoardError",
    "CopperLayer",
    "Costs",
    "Criterion",
    "DepthDrill",
    "DepthTolerance",
    "DielectricLayer",
    "FabricatorRules",
    "FileError",
    "GuaranteedResidual",
    "Hole",
    "Net",
    "Padstack",
    "PlausibilityWarning",
    "PressFit",
    "ReturnVias",
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
