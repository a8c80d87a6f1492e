"""Which plated holes need depth drilling: stub notch, margin to Nyquist, stub-length budget.

All results are estimates, to be confirmed by the fabricator, by measurement or by field solution, under local codes and
licensed practice.

**The map.** What you have, what you want to know, and what to call. ``help(stubsi.rank)`` tells more of each.

A table of nets (a DataFrame, a list of mappings or a CSV file)::

    check_stubs          which stubs pass: verdict and reason beside every row
    stub_budgets         the longest stub that every row may keep

One stub in a script::

    check_stub           does this stub pass? true only if that is proven
    stub_budget          how long may a stub be?
    notch_frequency      the simple formula: from length and Dk_eff to the notch
    dk_eff_from_notch    the way back: from a measured notch to the Dk_eff to calculate with
    presets              what is known by name, each with its source: line rates, rules of thumb, thickness classes

A stackup, before anything is routed::

    layer_matrix         for every exit layer: the stub left, its side, and whether it passes undrilled

A board::

    read_board           a board file in TOML; help(stubsi.files) shows the smallest one
    read_ipc2581         an IPC-2581 file: stackup, holes and layers in use are found in it
    read_ipc356          an IPC-D-356A netlist, with a stackup beside it
    write_board          any board, as a board file
    rank                 the margin table: every net with margin, verdict and reason, the worst first
    hole_model           one hole with its stubs as a two-port, S-parameters included
    undrilled_changes    the smallest change with which a net passes without drilling
    Board.with_layer     what if: another layer; also with_antipad, with_drill, with_dk, with_return_via and others
    difference           what differs between two boards, two rankings or two plans

The drilling::

    read_rules           the fabricator's rules from a file; FabricatorRules makes them in Python
    read_costs           what a side, a set-up, a group and a hole cost
    read_criteria        criteria by name
    write_rules          rules, costs, criteria and tolerances as a file
    plan                 the fewest drill groups, with depths, must-not-cut layers, residual stubs, and the proof
    Plan.consequences    every net before and after drilling; help(stubsi.Plan) lists what else a plan can tell
    Plan.shallower_changes  the smallest change with which a net is drilled less deep
    Plan.reroutes        the nets that hold a drill group open, and where they could move
    copper_near_drills   copper of an IPC-2581 file that is too near to a depth drill

What goes to the fabricator, and what comes back::

    write_hand_off       schedule, list of holes, drill files, IPC-2581 specifications, acceptance plan
    hand_off_check       what a fabricator would ask back for
    read_hand_off        what the files, as they are now, say other than the plan
    read_backdrill_specs the depth-drill specifications of an IPC-2581 file
    coupons              what to measure on the panel, and the limits it passes between
    still_valid          whether an exported text is unchanged and still fits the board

How sure it is when boards are built::

    read_tolerances      the tolerances of a board from a file
    residual_stub        what a depth tolerance does to a residual stub, and whether a layer may be cut
    corners              worst and best case of every net over all tolerances
    production_yield     how probable it is that the boards built meet their criteria
    dominance            which tolerance causes the spread, and which to ask the fabricator to narrow
    drilled_yield        the same after drilling by a plan, and how probable it is that a layer in use is cut
    yield_trade          what each number of drill groups is worth in yield
    largest_yield        the plan with the largest yield at a given number of drill groups
    narrowed_rules       the rules with windows that hold for all boards within the tolerances

Pictures (they need matplotlib, the extra ``plot``)::

    plot_margins         the nets of a ranking on a margin axis
    plot_margin_changes  the same before and after drilling
    plot_loss            insertion loss of stubs and holes over frequency
    plot_net_loss        that of one net before and after drilling
    plot_section         the board in section with its drilled holes
    plot_board_map       the holes at their places, by verdict or by drill group
    plot_group_trade     what one drill group more or fewer is worth
    plot_budgets         stub budgets over the data rate, with the rules of thumb
    plot_tolerance_bands the margins of all nets over their tolerances
    plot_net_tolerance   which tolerance dominates the band of a net
    plot_return_distance the notch of a hole over the distance of its return vias
    write_report         everything about a board in one HTML file: decision, nets, pictures, plan, sources

**Pages to read**::

    help(stubsi.margin)                 columns and verdicts of the margin table
    help("stubsi.board.criterion")      criteria, published rules of thumb and their sources
    help(stubsi.stubs)                  the model of a stub, what it covers, and how far off it may be
    help(stubsi.files)                  board files, tables of stubs, IPC-2581 files and netlists
    help(stubsi.board)                  what if: a board with one thing changed
    help(stubsi.drilling)               rules and plan
    help(stubsi.handoff)                the files of a plan
    help(stubsi.Tolerances)             tolerances
    help(stubsi.show)                   forms of output

**Units.** Lengths, rates, frequencies and impedances are text with a unit, "24 mil" or "25.78125 Gb/s", or pint
quantities. A bare number is refused, and so is a decimal comma. Give the text itself: ``Quantity("1,6", "mm")`` reaches
this library as 16 mm, because pint reads the comma first. Results are pint quantities in mm, GHz and ohm:
``budget.stub_length.to("thou")`` is the length in mil. The name of a field with ``_si`` behind it is the plain number
in SI units.

**Words**

depth drilling, back-drilling
    Taking away the unused part of a plated hole by a second, wider drill from one side of the board.
stub
    The part of the barrel beyond the outermost layer that the net uses in the hole. It is open at its end.
residual stub
    What a depth drill leaves of it.
notch, first notch
    The frequency where a stub shorts its net: its length is a quarter of a wave there. The first is the lowest.
Nyquist
    Half the symbol rate of a signal. 112 Gb/s PAM4 has 56 GBd, and its Nyquist frequency is 28 GHz.
margin
    First notch over Nyquist. Below 1 the notch lies in the band of the signal.
1 dB frequency
    The lowest frequency at which a stub takes 1 dB from its net.
criterion
    The limit that a net must meet: 5 x Nyquist for the first notch, unless you name another one.
budget
    The longest stub that still meets the criterion.
must-not-cut layer
    The layer in use that the depth drill stops short of (IPC-6012 calls it the target layer).
drill group
    Holes drilled from one side with one drill to one depth. A set-up is a side with a drill diameter; a hit is one
    hole.
antipad
    The clearance of a plane around a barrel.
return via
    A hole of a reference net, such as ground, through which the current of a signal hole returns.
feed
    From where the signal comes to a stub: along the barrel (through), or on the layer where the stub starts (tee).
Dk, Dk_eff
    Relative permittivity of a laminate; and that of a plain line with the same notch as the real stub. Pads and planes
    load the barrel, so Dk_eff is usually the larger one. Take it from a measured notch, or have the stub solved.
provenance
    Which model made a figure, on which assumptions, and how far off it may be.

This module owns the public names. Each is loaded when it is first used, so ``import stubsi`` costs almost nothing.
``__init__.pyi`` beside it has one line for each of them. There is no ``__all__``: with it, ``help(stubsi)`` would print
the help of every class after the map, 23,000 lines.
"""

from __future__ import annotations


def _public_names() -> dict[str, str]:
    """Every public name with the module that it is loaded from, as ``__init__.pyi`` lists them."""
    from pkgutil import get_data
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
    from stubsi.drilling.shallower_change import DrilledHow, ShallowerChange, ShallowerChanges
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
    from stubsi.files.copper_search import copper_near_drills
    from stubsi.files.exchange import ExchangeBoard, read_ipc2581
    from stubsi.files.near_copper import CopperKind, CopperNearDrills, NearCopper
    from stubsi.files.netlist import read_ipc356
    from stubsi.files.rules_file import read_costs, read_criteria, read_rules, write_rules
    from stubsi.files.stub_table import check_stubs, stub_budgets
    from stubsi.files.tolerance_file import read_tolerances
    from stubsi.files.toml import read_board
    from stubsi.handoff.acceptance import Coupon, Expected, coupons
    from stubsi.handoff.completeness import HandOffCheck, HandOffStatement, hand_off_check
    from stubsi.handoff.hand_off import write_hand_off
    from stubsi.handoff.read_back import FileDifference, HandOffDifference, read_hand_off
    from stubsi.margin.budget import Budget, Check, check_stub, stub_budget
    from stubsi.margin.change_kinds import ChangeKind
    from stubsi.margin.layer_matrix import LayerMatrix, layer_matrix
    from stubsi.margin.net_margin import NetMargin
    from stubsi.margin.ranking import Ranking, rank
    from stubsi.margin.ranking_difference import NetDifference, RankingDifference
    from stubsi.margin.reason import Reason
    from stubsi.margin.stub_arguments import StubArguments
    from stubsi.margin.undrilled_change import UndrilledChange, UndrilledChanges, undrilled_changes
    from stubsi.margin.verdict import Verdict
    from stubsi.provenance import Provenance
    from stubsi.show.board_map import plot_board_map
    from stubsi.show.budget_plot import plot_budgets
    from stubsi.show.change_plot import plot_margin_changes
    from stubsi.show.distance_plot import plot_return_distance
    from stubsi.show.loss_plot import plot_loss, plot_net_loss
    from stubsi.show.margin_plot import plot_margins
    from stubsi.show.report import write_report
    from stubsi.show.schedule import still_valid
    from stubsi.show.section import plot_section
    from stubsi.show.tolerance_plot import plot_net_tolerance, plot_tolerance_bands
    from stubsi.show.trade_plot import plot_group_trade
    from stubsi.stubs.hole_model import HoleModel, hole_model
    from stubsi.stubs.hole_stub import HoleStub
    from stubsi.stubs.notch_formula import dk_eff_from_notch, notch_frequency
    from stubsi.stubs.uniform_stub import Stub
    from stubsi.tolerance.corners import Basis, Corners, NetCorners, Standing, corners
    from stubsi.tolerance.dominance import Ask, Dominance, NetDominance, Turn, dominance
    from stubsi.tolerance.drilled_yield import DrilledYield, NetDrilledYield, drilled_yield
    from stubsi.tolerance.largest_yield import largest_yield
    from stubsi.tolerance.narrowed_rules import narrowed_rules
    from stubsi.tolerance.parts import UnknownYield, WhyUnknown
    from stubsi.tolerance.production_yield import NetYield, ProductionYield, production_yield
    from stubsi.tolerance.residual_stub import ResidualStub, residual_stub
    from stubsi.tolerance.thickness_class import ThicknessClass
    from stubsi.tolerance.tolerance import Tolerance
    from stubsi.tolerance.tolerances import Factor, Tolerances
    from stubsi.tolerance.yield_trade import YieldRow, YieldTrade, yield_trade

    listed = get_data(__name__, "__init__.pyi") or b""
    lines = [line.split() for line in listed.decode().splitlines() if line.startswith("from stubsi.")]
    return {line[3]: line[1] for line in lines}  # from stubsi.margin.ranking import rank as rank


_MODULE_OF = _public_names()
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
    "copper_near_drills": "files.copper_search",
    "Costs": "drilling.costs",
    "Criterion": "board.criterion",
    "DepthDrill": "board.net",
    "DepthTolerance": "drilling.depth_tolerance",
    "DrilledHow": "drilling.shallower_change",
    "ShallowerChange": "drilling.shallower_change",
    "ShallowerChanges": "drilling.shallower_change",
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
    "DrilledYield": "tolerance.drilled_yield",
    "NetDrilledYield": "tolerance.drilled_yield",
    "drilled_yield": "tolerance.drilled_yield",
    "narrowed_rules": "tolerance.narrowed_rules",
    "largest_yield": "tolerance.largest_yield",
    "YieldRow": "tolerance.yield_trade",
    "YieldTrade": "tolerance.yield_trade",
    "yield_trade": "tolerance.yield_trade",
    "ResidualStub": "tolerance.residual_stub",
    "residual_stub": "tolerance.residual_stub",
    "ThicknessClass": "tolerance.thickness_class",
    "Tolerance": "tolerance.tolerance",
    "Tolerances": "tolerance.tolerances",
    "Factor": "tolerance.tolerances",
    "Ask": "tolerance.dominance",
    "Dominance": "tolerance.dominance",
    "NetDominance": "tolerance.dominance",
    "Turn": "tolerance.dominance",
    "dominance": "tolerance.dominance",
    "NetYield": "tolerance.production_yield",
    "UnknownYield": "tolerance.parts",
    "WhyUnknown": "tolerance.parts",
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
    "plot_board_map": "show.board_map",
    "plot_budgets": "show.budget_plot",
    "plot_group_trade": "show.trade_plot",
    "plot_loss": "show.loss_plot",
    "plot_margin_changes": "show.change_plot",
    "plot_margins": "show.margin_plot",
    "plot_net_loss": "show.loss_plot",
    "plot_net_tolerance": "show.tolerance_plot",
    "plot_return_distance": "show.distance_plot",
    "plot_section": "show.section",
    "plot_tolerance_bands": "show.tolerance_plot",
    "rank": "margin.ranking",
    "read_backdrill_specs": "files.backdrill",
    "read_board": "files.toml",
    "read_costs": "files.rules_file",
    "read_criteria": "files.rules_file",
    "read_rules": "files.rules_file",
    "write_report": "show.report",
    "write_rules": "files.rules_file",
    "read_ipc356": "files.netlist",
    "read_ipc2581": "files.exchange",
    "read_tolerances": "files.tolerance_file",
    "still_valid": "show.schedule",
    "stub_budget": "margin.budget",
    "stub_budgets": "files.stub_table",
    "write_hand_off": "handoff.hand_off",
    "write_board": "files.board_writer",
    "ChangeKind": "margin.change_kinds",
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
    "Ask",
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
    "Dominance",
    "DrilledHow",
    "DrilledYield",
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
    "NetDominance",
    "NetDrilledYield",
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
    "ResidualStub",
    "ReturnVias",
    "ShallowerChange",
    "ShallowerChanges",
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
    "Turn",
    "Undecided",
    "Undrilled",
    "UndrilledChange",
    "UndrilledChanges",
    "UnitError",
    "UnknownNameError",
    "UnknownValueError",
    "UnknownYield",
    "ValidityError",
    "Verdict",
    "WhyNoMove",
    "WhyUndrilled",
    "WhyUnknown",
    "Window",
    "YieldRow",
    "YieldTrade",
    "check_stub",
    "check_stubs",
    "copper_near_drills",
    "corners",
    "coupons",
    "difference",
    "dk_eff_from_notch",
    "dominance",
    "drilled_yield",
    "hand_off_check",
    "hole_model",
    "largest_yield",
    "layer_matrix",
    "narrowed_rules",
    "notch_frequency",
    "plan",
    "plot_board_map",
    "plot_budgets",
    "plot_group_trade",
    "plot_loss",
    "plot_margin_changes",
    "plot_margins",
    "plot_net_loss",
    "plot_net_tolerance",
    "plot_return_distance",
    "plot_section",
    "plot_tolerance_bands",
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
    "read_tolerances",
    "residual_stub",
    "still_valid",
    "stub_budget",
    "stub_budgets",
    "undrilled_changes",
    "write_board",
    "write_hand_off",
    "write_report",
    "write_rules",
    "yield_trade",
]


def __getattr__(name: str) -> object:
    """Load a public name, a module or the version when it is first asked for."""
    from importlib import import_module
    from importlib.util import find_spec

    if name in _MODULE_OF:
        value: object = getattr(import_module(_MODULE_OF[name]), name)
    elif not name.startswith("_") and find_spec(f"stubsi.{name}"):
        value = import_module(f"stubsi.{name}")
    elif name == "__version__":
        value = _version()
    else:
        raise AttributeError(f"module 'stubsi' has no attribute '{name}'")
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    """Public names, modules and the version: what an editor offers."""
    from pkgutil import iter_modules

    modules = (module.name for module in iter_modules(__path__))
    return sorted({*_MODULE_OF, *(name for name in modules if not name.startswith("_")), "__version__"})


def _version() -> str:
    """Version of the installed distribution; "unknown" where the package runs without having been installed."""
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("stubsi")
    except PackageNotFoundError:
        return "unknown"
