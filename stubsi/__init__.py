"""Which plated holes need depth drilling: stub notch, margin to Nyquist, stub-length budget.

Estimates, to be confirmed by the fabricator, by measurement or by field solution.

Owns the public names. Each is loaded when it is first used, so ``import stubsi`` costs almost nothing. A new public
name is one line in each of three places below: the imports that type checkers and editors read, ``_HOME`` (where it
is loaded from) and ``__all__``. A test says which one is missing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from stubsi.board.board import Board
    from stubsi.board.board_difference import BoardDifference, FieldChange
    from stubsi.board.criterion import RULES_OF_THUMB, Criterion, Measure
    from stubsi.board.distance import Distance
    from stubsi.board.layers import CopperLayer, DielectricLayer
    from stubsi.board.net import DepthDrill, Hole, Net, ReturnVias
    from stubsi.board.padstack import Antipad, Padstack, PressFit
    from stubsi.board.signal import Signal
    from stubsi.board.stackup import Stackup
    from stubsi.drilling.consequences import Consequences, NetChange
    from stubsi.drilling.costs import Costs
    from stubsi.drilling.depth_tolerance import DepthTolerance
    from stubsi.drilling.difference import difference
    from stubsi.drilling.digest import Match
    from stubsi.drilling.drill_group import Certificate, Group, Hit, Refused, SummedLosses
    from stubsi.drilling.effects import Effect, EffectKind, Effects
    from stubsi.drilling.goal import Goal
    from stubsi.drilling.group_trade import GroupTrade, TradeRow
    from stubsi.drilling.guaranteed_residual import GuaranteedResidual
    from stubsi.drilling.miss import Miss
    from stubsi.drilling.near_holes import NearHole, NearHoles
    from stubsi.drilling.net_moves import Move
    from stubsi.drilling.obstacles import Obstacle, Refusal
    from stubsi.drilling.plan import Plan
    from stubsi.drilling.plan_difference import PlanChange, PlanDifference, PlanPart
    from stubsi.drilling.planning import plan
    from stubsi.drilling.proposal import Proposal, WhyNoMove
    from stubsi.drilling.questions import InputKind, Judged, Question, Questions
    from stubsi.drilling.refused_nets import RefusedNet
    from stubsi.drilling.reroute import HeldGroup, Option, Reroutes
    from stubsi.drilling.rules import FabricatorRules
    from stubsi.drilling.undrilled import Undecided, Undrilled, WhyUndrilled
    from stubsi.drilling.window import PlatingLeft, Window
    from stubsi.errors import (
        BoardError,
        FileError,
        PlausibilityWarning,
        StubsiError,
        UnitError,
        UnknownNameError,
        UnknownValueError,
        ValidityError,
    )
    from stubsi.files.backdrill import BackdrillEntry, BackdrillSpec, read_backdrill_specs
    from stubsi.files.board_writer import write_board
    from stubsi.files.exchange import ExchangeBoard, read_ipc2581
    from stubsi.files.near_copper import CopperKind, CopperNearDrills, NearCopper, copper_near_drills
    from stubsi.files.netlist import read_ipc356
    from stubsi.files.rules_file import read_costs, read_criteria, read_rules, write_rules
    from stubsi.files.stub_table import check_stubs, stub_budgets
    from stubsi.files.toml import read_board
    from stubsi.handoff.acceptance import Coupon, Expected, coupons
    from stubsi.handoff.completeness import HandOffCheck, HandOffStatement, hand_off_check
    from stubsi.handoff.hand_off import write_hand_off
    from stubsi.handoff.read_back import FileDifference, HandOffDifference, read_hand_off
    from stubsi.margin.budget import Budget, Check, check_stub, stub_budget
    from stubsi.margin.layer_matrix import LayerMatrix, layer_matrix
    from stubsi.margin.net_margin import NetMargin
    from stubsi.margin.ranking import Ranking, rank
    from stubsi.margin.ranking_difference import NetDifference, RankingDifference
    from stubsi.margin.reason import Reason
    from stubsi.margin.stub_arguments import StubArguments
    from stubsi.margin.undrilled_change import ChangeKind, UndrilledChange, UndrilledChanges, undrilled_changes
    from stubsi.margin.verdict import Verdict
    from stubsi.provenance import Provenance
    from stubsi.show.plots import plot_group_trade, plot_loss, plot_margins
    from stubsi.show.schedule import still_valid
    from stubsi.show.section import plot_section
    from stubsi.stubs.hole_model import HoleModel, hole_model
    from stubsi.stubs.hole_stub import HoleStub
    from stubsi.stubs.notch_formula import dk_eff_from_notch, notch_frequency
    from stubsi.stubs.uniform_stub import Stub
    from stubsi.tolerance.corners import Basis, Corners, NetCorners, Standing, corners
    from stubsi.tolerance.production_yield import NetYield, ProductionYield, production_yield
    from stubsi.tolerance.thickness_class import ThicknessClass
    from stubsi.tolerance.tolerance import Tolerance
    from stubsi.tolerance.tolerances import Factor, Tolerances

    __version__: str

_HOME = {
    "Antipad": "board.padstack",
    "BackdrillEntry": "files.backdrill",
    "BackdrillSpec": "files.backdrill",
    "Board": "board.board",
    "BoardDifference": "board.board_difference",
    "BoardError": "errors",
    "Budget": "margin.budget",
    "Certificate": "drilling.drill_group",
    "Check": "margin.budget",
    "Consequences": "drilling.consequences",
    "CopperLayer": "board.layers",
    "CopperKind": "files.near_copper",
    "CopperNearDrills": "files.near_copper",
    "NearCopper": "files.near_copper",
    "copper_near_drills": "files.near_copper",
    "Costs": "drilling.costs",
    "Criterion": "board.criterion",
    "DepthDrill": "board.net",
    "DepthTolerance": "drilling.depth_tolerance",
    "DielectricLayer": "board.layers",
    "Distance": "board.distance",
    "Effect": "drilling.effects",
    "EffectKind": "drilling.effects",
    "Effects": "drilling.effects",
    "ExchangeBoard": "files.exchange",
    "FabricatorRules": "drilling.rules",
    "FieldChange": "board.board_difference",
    "FileError": "errors",
    "Goal": "drilling.goal",
    "Group": "drilling.drill_group",
    "GroupTrade": "drilling.group_trade",
    "GuaranteedResidual": "drilling.guaranteed_residual",
    "Hit": "drilling.drill_group",
    "HeldGroup": "drilling.reroute",
    "Hole": "board.net",
    "HoleModel": "stubs.hole_model",
    "HoleStub": "stubs.hole_stub",
    "InputKind": "drilling.questions",
    "Judged": "drilling.questions",
    "LayerMatrix": "margin.layer_matrix",
    "Match": "drilling.digest",
    "Measure": "board.criterion",
    "Miss": "drilling.miss",
    "Move": "drilling.net_moves",
    "NearHole": "drilling.near_holes",
    "NearHoles": "drilling.near_holes",
    "Net": "board.net",
    "NetChange": "drilling.consequences",
    "NetDifference": "margin.ranking_difference",
    "NetMargin": "margin.net_margin",
    "Obstacle": "drilling.obstacles",
    "Option": "drilling.reroute",
    "Padstack": "board.padstack",
    "Plan": "drilling.plan",
    "PlanChange": "drilling.plan_difference",
    "PlanDifference": "drilling.plan_difference",
    "PlanPart": "drilling.plan_difference",
    "PlatingLeft": "drilling.window",
    "PlausibilityWarning": "errors",
    "PressFit": "board.padstack",
    "Proposal": "drilling.proposal",
    "Provenance": "provenance",
    "Question": "drilling.questions",
    "Questions": "drilling.questions",
    "RULES_OF_THUMB": "board.criterion",
    "Ranking": "margin.ranking",
    "RankingDifference": "margin.ranking_difference",
    "Reason": "margin.reason",
    "Refusal": "drilling.obstacles",
    "Refused": "drilling.drill_group",
    "RefusedNet": "drilling.refused_nets",
    "Reroutes": "drilling.reroute",
    "ReturnVias": "board.net",
    "Signal": "board.signal",
    "Stackup": "board.stackup",
    "Stub": "stubs.uniform_stub",
    "Basis": "tolerance.corners",
    "Corners": "tolerance.corners",
    "NetCorners": "tolerance.corners",
    "Standing": "tolerance.corners",
    "corners": "tolerance.corners",
    "ThicknessClass": "tolerance.thickness_class",
    "Tolerance": "tolerance.tolerance",
    "Tolerances": "tolerance.tolerances",
    "Factor": "tolerance.tolerances",
    "NetYield": "tolerance.production_yield",
    "ProductionYield": "tolerance.production_yield",
    "production_yield": "tolerance.production_yield",
    "StubArguments": "margin.stub_arguments",
    "StubsiError": "errors",
    "WhyNoMove": "drilling.proposal",
    "SummedLosses": "drilling.drill_group",
    "TradeRow": "drilling.group_trade",
    "Undecided": "drilling.undrilled",
    "Undrilled": "drilling.undrilled",
    "UnitError": "errors",
    "UnknownNameError": "errors",
    "UnknownValueError": "errors",
    "ValidityError": "errors",
    "Verdict": "margin.verdict",
    "WhyUndrilled": "drilling.undrilled",
    "Window": "drilling.window",
    "check_stub": "margin.budget",
    "check_stubs": "files.stub_table",
    "dk_eff_from_notch": "stubs.notch_formula",
    "difference": "drilling.difference",
    "hole_model": "stubs.hole_model",
    "layer_matrix": "margin.layer_matrix",
    "notch_frequency": "stubs.notch_formula",
    "plan": "drilling.planning",
    "plot_group_trade": "show.plots",
    "plot_loss": "show.plots",
    "plot_margins": "show.plots",
    "plot_section": "show.section",
    "rank": "margin.ranking",
    "read_backdrill_specs": "files.backdrill",
    "read_board": "files.toml",
    "read_costs": "files.rules_file",
    "read_criteria": "files.rules_file",
    "read_rules": "files.rules_file",
    "write_rules": "files.rules_file",
    "read_ipc356": "files.netlist",
    "read_ipc2581": "files.exchange",
    "still_valid": "show.schedule",
    "stub_budget": "margin.budget",
    "stub_budgets": "files.stub_table",
    "write_hand_off": "handoff.hand_off",
    "write_board": "files.board_writer",
    "ChangeKind": "margin.undrilled_change",
    "UndrilledChange": "margin.undrilled_change",
    "UndrilledChanges": "margin.undrilled_change",
    "undrilled_changes": "margin.undrilled_change",
    "Coupon": "handoff.acceptance",
    "Expected": "handoff.acceptance",
    "coupons": "handoff.acceptance",
    "HandOffCheck": "handoff.completeness",
    "HandOffStatement": "handoff.completeness",
    "hand_off_check": "handoff.completeness",
    "FileDifference": "handoff.read_back",
    "HandOffDifference": "handoff.read_back",
    "read_hand_off": "handoff.read_back",
}
"""Module of every public name."""

__all__ = [
    "RULES_OF_THUMB",
    "Antipad",
    "BackdrillEntry",
    "BackdrillSpec",
    "Basis",
    "Board",
    "BoardDifference",
    "BoardError",
    "Budget",
    "Certificate",
    "ChangeKind",
    "Check",
    "Consequences",
    "CopperKind",
    "CopperLayer",
    "CopperNearDrills",
    "Corners",
    "Costs",
    "Coupon",
    "Criterion",
    "DepthDrill",
    "DepthTolerance",
    "DielectricLayer",
    "Distance",
    "Effect",
    "EffectKind",
    "Effects",
    "ExchangeBoard",
    "Expected",
    "FabricatorRules",
    "Factor",
    "FieldChange",
    "FileDifference",
    "FileError",
    "Goal",
    "Group",
    "GroupTrade",
    "GuaranteedResidual",
    "HandOffCheck",
    "HandOffDifference",
    "HandOffStatement",
    "HeldGroup",
    "Hit",
    "Hole",
    "HoleModel",
    "HoleStub",
    "InputKind",
    "Judged",
    "LayerMatrix",
    "Match",
    "Measure",
    "Miss",
    "Move",
    "NearCopper",
    "NearHole",
    "NearHoles",
    "Net",
    "NetChange",
    "NetCorners",
    "NetDifference",
    "NetMargin",
    "NetYield",
    "Obstacle",
    "Option",
    "Padstack",
    "Plan",
    "PlanChange",
    "PlanDifference",
    "PlanPart",
    "PlatingLeft",
    "PlausibilityWarning",
    "PressFit",
    "ProductionYield",
    "Proposal",
    "Provenance",
    "Question",
    "Questions",
    "Ranking",
    "RankingDifference",
    "Reason",
    "Refusal",
    "Refused",
    "RefusedNet",
    "Reroutes",
    "ReturnVias",
    "Signal",
    "Stackup",
    "Standing",
    "Stub",
    "StubArguments",
    "StubsiError",
    "SummedLosses",
    "ThicknessClass",
    "Tolerance",
    "Tolerances",
    "TradeRow",
    "Undecided",
    "Undrilled",
    "UndrilledChange",
    "UndrilledChanges",
    "UnitError",
    "UnknownNameError",
    "UnknownValueError",
    "ValidityError",
    "Verdict",
    "WhyNoMove",
    "WhyUndrilled",
    "Window",
    "check_stub",
    "check_stubs",
    "copper_near_drills",
    "corners",
    "coupons",
    "difference",
    "dk_eff_from_notch",
    "hand_off_check",
    "hole_model",
    "layer_matrix",
    "notch_frequency",
    "plan",
    "plot_group_trade",
    "plot_loss",
    "plot_margins",
    "plot_section",
    "production_yield",
    "rank",
    "read_backdrill_specs",
    "read_board",
    "read_costs",
    "read_criteria",
    "read_hand_off",
    "read_ipc356",
    "read_ipc2581",
    "read_rules",
    "still_valid",
    "stub_budget",
    "stub_budgets",
    "undrilled_changes",
    "write_board",
    "write_hand_off",
    "write_rules",
]


def __getattr__(name: str) -> object:
    """Load a public name, a module or the version when it is first asked for."""
    from importlib import import_module
    from importlib.util import find_spec

    if name in _HOME:
        value: object = getattr(import_module(f"stubsi.{_HOME[name]}"), name)
    elif not name.startswith("_") and find_spec(f"stubsi.{name}"):
        value = import_module(f"stubsi.{name}")
    elif name == "__version__":
        value = _version()
    else:
        raise AttributeError(f"module 'stubsi' has no attribute '{name}'")
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    from pkgutil import iter_modules

    modules = (module.name for module in iter_modules(__path__))
    return sorted({*__all__, *(name for name in modules if not name.startswith("_")), "__version__"})


def _version() -> str:
    """Version of the installed distribution; "unknown" where the package runs without having been installed."""
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("stubsi")
    except PackageNotFoundError:
        return "unknown"
