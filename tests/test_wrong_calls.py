"""Arguments of a wrong kind to every public function, constructor and method: a result, or an error of the library.

``test_wrong_types`` says which values the parts of a board take. Here the rule is wider: whatever is given, in whatever
place, Python's own errors (AttributeError, TypeError, "truth value of an array") never come out.
"""

from __future__ import annotations

import contextlib
import inspect
import random
import tempfile
import warnings
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from unittest import mock

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest

import stubsi
from stubsi import (
    Board,
    Budget,
    Check,
    Criterion,
    ExchangeBoard,
    HoleModel,
    HoleStub,
    LayerMatrix,
    Plan,
    Proposal,
    Ranking,
    Stub,
    StubsiError,
    Window,
)
from stubsi.value import Value
from tests import drilling_boards as db
from tests import margin_boards as mb
from tests.other_registry import UREG
from tests.public import PUBLIC
from tests.test_wrong_types import PARTS, VALUES


class Unequal:
    """An object that can be compared with nothing, has no hash, and does not print."""

    __hash__ = None

    def __eq__(self, other):
        raise RuntimeError("no comparison")

    def __repr__(self):
        raise RuntimeError("no text")


def nested(depth):
    inside = []
    for _ in range(depth):
        inside = [inside]
    return inside


MORE_VALUES = {
    **VALUES,
    "NaN": float("nan"),
    "infinite": float("inf"),
    "NUL": "a\0b",
    "set": {1},
    "function": lambda: None,
    "table": pd.DataFrame({"a": [1]}),
    "mass": UREG.Quantity(5, "kg"),
    "lengths": UREG.Quantity(np.array([1.0, 2.0]), "mm"),
    "negative": -3,
    "list of None": [None],
    "list of NaN": [float("nan")],
    "dict of None": {"A": None},
    "dict with a long name": {"x" * 100_000: "source"},
    "column": pd.Series([1.0, 2.0]),
    "column of texts": pd.Series(["a", "b"]),
    "missing value": pd.NA,
    "no time": pd.NaT,
    "date": np.datetime64("2020-01-01"),
    "decimal": Decimal("1.5"),
    "fraction": Fraction(1, 3),
    "numpy true": np.True_,
    "numpy text": np.str_("x"),
    "rows": np.ones((2, 2)),
    "empty array": np.array([]),
    "array of objects": np.array([None, object()], dtype=object),
    "array of truths": np.array([True, False]),
    "masked": np.ma.masked_array([1.0, 2.0], [0, 1]),
    "length that is NaN": UREG.Quantity(float("nan"), "mm"),
    "complex length": UREG.Quantity(1j, "mm"),
    "temperature": UREG.Quantity(20, "degC"),
    "plain quantity": UREG.Quantity(3, ""),
    "path": Path("x"),
    "unequal": Unequal(),
    "class of the library": Board,
    "exception": ValueError("x"),
    "bytearray": bytearray(b"a"),
    "memory": memoryview(b"a"),
    "deep list": nested(5000),
    "surrogate": "\ud800",
    "long text": "x" * 100_000,
    "comma": "1,6 mm",
    "length": "1 mm",
    "frequency": "1 GHz",
    "no length": "0 mm",
    "negative length": "-1 mm",
    "huge length": "1e400 mm",
    "length of NaN": "nan mm",
}
FRESH = {"generator": lambda: (number for number in (1, 2)), "iterator": lambda: iter(["a"])}
"""Values that can be used once: how each is made."""

HOUSE = Criterion.notch_ratio(2, source="house")
TOLERANCES = stubsi.Tolerances(dk=stubsi.Tolerance.plus_minus("5 %", source="test"))
BOARD = mb.board(mb.net("A", ("TOP", "S1")), mb.net("B", ("TOP", "S2"), place=2), places=4)
RANKING = stubsi.rank(BOARD, model="uniform")
CORNERS = stubsi.corners(BOARD, TOLERANCES, model="uniform")
RULES = db.rules()
DRILL_BOARD = Board(stackup=db.stackup((0.25,) * 5), nets=(db.net("A", ("L1", "L3"), 0.5),))
DRILLED = stubsi.plan(DRILL_BOARD, RULES, model="uniform", dk_eff=4)
HOLE_PLAN = stubsi.plan(BOARD, RULES, model="uniform")
PLACED = DRILL_BOARD.nets[0].replaced(holes=[DRILL_BOARD.nets[0].holes[0].replaced(x="1 mm", y="2 mm")])
MATRIX = stubsi.layer_matrix(BOARD.stackup, ["25 Gb/s"], padstack=mb.VIA, z0="50 ohm", return_vias=mb.RETURNS)
HANDED_OFF = stubsi.plan(DRILL_BOARD.replaced(nets=[PLACED]), RULES, model="uniform", dk_eff=4)
GATE = stubsi.plan(
    stubsi.read_ipc2581("shared/sluice_gate.xml", signals={"FLOW_*": "16 GT/s"}, z0="85 ohm", plating="20 um").board,
    RULES,
    model="uniform",
)
ROWS = [{"signal": "10 Gb/s", "stub length": "1 mm"}]
STUB = Stub(stub_length="1 mm", dk_eff=4, z_stub="30 ohm")
HOLE_MODEL = stubsi.hole_model(BOARD, "A.0")
LINE = {
    "dk_eff": 4, "z_stub": "30 ohm", "drill": None, "antipad": None, "df": 0.01, "at": "1 GHz", "delay": None,
    "end_pad": None, "end_capacitance": None,
}  # fmt: skip
TWO_PLANES = {"TOP": "signal", "G1": "plane", "S1": "signal", "G2": "plane", "BOT": "signal"}
GEOMETRY = {
    "stackup": mb.stackup(gap=0.3, roles=TWO_PLANES), "padstack": mb.VIA, "layer": "S1", "side": "bottom",
    "return_vias": mb.RETURNS, "pitch": None, "depth_drill": None,
}  # fmt: skip
SIGNAL = {"signal": "25 Gb/s", "criterion": HOUSE, "z0": "50 ohm"}
SWEEP = {"frequency": ["1 GHz"], "z0": "50 ohm"}

SCRATCH = tempfile.TemporaryDirectory()
"""Where what is written goes; it is removed when the tests end."""


def write_hand_off(plan, folder, replace):
    """Into the scratch folder, wherever a wrong text would lead."""
    with contextlib.chdir(SCRATCH.name):
        return stubsi.write_hand_off(plan, folder, replace=replace)


def write_report(**arguments):
    """With an empty page: what the page shows does not depend on where it is written."""
    with mock.patch("stubsi.report.board_report._report", return_value=""):
        return stubsi.write_report(**arguments)


def _in_a_folder(call):
    """A call that writes: whatever path it takes, the file lies in a folder that is removed."""

    def called(**arguments):
        with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
            call(**arguments)

    return called


CALLS = {
    "check_stub of a line": (stubsi.check_stub, {"stub_length": "1 mm", **SIGNAL, **LINE}),
    "check_stubs": (stubsi.check_stubs, {"table": ROWS, "separator": None, **SIGNAL, **LINE}),
    "stub_budgets": (stubsi.stub_budgets, {"table": ROWS, "separator": None, **SIGNAL, **LINE}),
    "check_stub of a geometry": (stubsi.check_stub, {"stub_length": "0.5 mm", **SIGNAL, **GEOMETRY}),
    "stub_budget of a line": (stubsi.stub_budget, {**SIGNAL, **LINE}),
    "stub_budget of a geometry": (stubsi.stub_budget, {**SIGNAL, **GEOMETRY}),
    "dk_eff_from_notch": (stubsi.dk_eff_from_notch, {"stub_length": "1 mm", "notch": "20 GHz"}),
    "notch_frequency": (stubsi.notch_frequency, {"stub_length": "1 mm", "dk_eff": 4, "order": 1}),
    "hole_model": (stubsi.hole_model, {"board": BOARD, "hole": "A.0", "model": "solved", "drilled": ()}),
    "layer_matrix": (
        stubsi.layer_matrix,
        {
            "stackup": BOARD.stackup, "signals": ["25 Gb/s"], "padstack": mb.VIA, "z0": "50 ohm", "entry": "TOP",
            "criterion": HOUSE, "return_vias": mb.RETURNS, "pitch": None,
        },
    ),
    "plan": (
        stubsi.plan,
        {
            "board": DRILL_BOARD, "rules": RULES, "costs": None, "model": "uniform", "dk_eff": 4, "delay": None,
            "missed_nets": "leave", "budget_at": "nominal", "time_limit": 1.0, "goal": "largest margin",
            "most_groups": 2,
        },
    ),
    "difference": (stubsi.difference, {"before": BOARD, "after": BOARD}),
    "rank": (stubsi.rank, {"board": BOARD, "model": "uniform", "dk_eff": 4, "delay": None, "tolerances": None}),
    "corners": (
        stubsi.corners,
        {
            "board": BOARD, "tolerances": TOLERANCES, "model": "uniform", "dk_eff": 4, "delay": None, "executor": None,
            "progress": None,
        },
    ),
    "drilled_dominance": (
        stubsi.drilled_dominance,
        {
            "plan": DRILLED, "tolerances": TOLERANCES, "wanted": 0.9, "seed": 1, "executor": None, "progress": None,
        },
    ),
    "drilled_yield": (
        stubsi.drilled_yield,
        {"plan": DRILLED, "tolerances": TOLERANCES, "seed": 1, "executor": None, "progress": None},
    ),
    "largest_yield": (
        stubsi.largest_yield,
        {
            "plan": DRILLED, "tolerances": TOLERANCES, "most_groups": 1, "seed": 1, "executor": None, "progress": None,
        },
    ),
    "yield_trade": (
        stubsi.yield_trade,
        {"plan": DRILLED, "tolerances": TOLERANCES, "seed": 1, "executor": None, "progress": None},
    ),
    "narrowed_rules": (stubsi.narrowed_rules, {"rules": RULES, "board": DRILL_BOARD, "tolerances": TOLERANCES}),
    "residual_stub": (
        stubsi.residual_stub,
        {"stub_length": "10 mil", "depth": stubsi.Tolerance.plus_minus("3 mil", source="test"), "dk_eff": 4,
         "dk": stubsi.Tolerance.plus_minus("5 %", source="test")},
    ),
    "production_yield": (
        stubsi.production_yield,
        {
            "board": BOARD, "tolerances": TOLERANCES, "seed": 1, "samples": 8192, "model": "uniform", "executor": None,
            "progress": None,
        },
    ),
    "dominance": (
        stubsi.dominance,
        {
            "board": BOARD, "tolerances": TOLERANCES, "wanted": 0.9, "seed": 1, "model": "uniform", "executor": None,
            "progress": None,
        },
    ),
    "Tolerance": (
        stubsi.Tolerance,
        {"plus": "1 mil", "minus": "2 mil", "distribution": "normal", "sigma": 3, "source": "test"},
    ),
    "Tolerance.plus_minus": (
        stubsi.Tolerance.plus_minus, {"amount": "5 %", "source": "test", "distribution": "uniform", "sigma": None},
    ),
    "ThicknessClass": (
        stubsi.ThicknessClass, {"name": "IPC-4101 B", "distribution": "uniform", "sigma": None},
    ),
    "Tolerances": (
        stubsi.Tolerances,
        {name: getattr(TOLERANCES, name) for name in inspect.signature(stubsi.Tolerances).parameters},
    ),
    "Tolerances.factors": (TOLERANCES.factors, {"board": BOARD}),
    "undrilled_changes": (
        stubsi.undrilled_changes,
        {"board": BOARD, "net": "A", "weights": {"antipad": 1.0}, "model": "uniform", "dk_eff": 4, "delay": None},
    ),
    "plot_group_trade": (stubsi.plot_group_trade, {"trade": DRILLED.group_trade(), "ax": None}),
    "plot_loss": (stubsi.plot_loss, {"stubs": {"A": STUB}, **SWEEP, "signal": "25 Gb/s", "ax": None}),
    "plot_margins": (stubsi.plot_margins, {"ranking": RANKING, "ax": None}),
    "plot_section": (stubsi.plot_section, {"plan": DRILLED, "ax": None}),
    "write_report": (
        _in_a_folder(write_report),
        {"what": RANKING, "path": "r.html", "tolerances": CORNERS, "replace": True},
    ),
    "plot_net_loss": (stubsi.plot_net_loss, {"plan": DRILLED, "net": "A", "ax": None}),
    "plot_margin_changes": (stubsi.plot_margin_changes, {"consequences": DRILLED.consequences(), "ax": None}),
    "plot_board_map": (stubsi.plot_board_map, {"what": RANKING, "ax": None}),
    "plot_budgets": (
        stubsi.plot_budgets,
        {"dk_eff": [4.0], "slowest": "1 GBd", "fastest": "2 GBd", "criterion": HOUSE, "ax": None},
    ),
    "plot_tolerance_bands": (stubsi.plot_tolerance_bands, {"found": CORNERS, "ax": None}),
    "plot_net_tolerance": (stubsi.plot_net_tolerance, {"found": CORNERS, "net": "A", "ax": None}),
    "plot_return_distance": (
        stubsi.plot_return_distance, {"board": BOARD, "hole": "A.0", "distances": ["1 mm"], "ax": None},
    ),
    "read_backdrill_specs": (stubsi.read_backdrill_specs, {"path": "shared/sluice_gate_depth_drill.xml"}),
    "presets": (stubsi.presets, {"kind": "line rate"}),
    "read_board": (stubsi.read_board, {"path": "shared/demo_board.toml"}),
    "read_ipc2581": (
        stubsi.read_ipc2581,
        {
            "path": "shared/sluice_gate.xml", "signals": {"LEVEL": "1 Gb/s"}, "z0": {"LEVEL": "50 ohm"},
            "reference": ["P3V3"], "dk": {"CORE_1": 4.0}, "roles": {"SIG_3": "mixed"}, "pads": {"0.8 mm": "1.2 mm"},
            "antipads": {"0.25 mm": "0.8 mm"}, "connects": None, "plating": "25 um", "press_fit": None,
            "progress": None, "step": None,
        },
    ),
    "read_ipc356": (
        stubsi.read_ipc356,
        {
            "path": "shared/sluice_gate.ipc", "stackup": stubsi.read_ipc2581("shared/sluice_gate.xml").board.stackup,
            "signals": {"LEVEL": "1 Gb/s"}, "connects": {"LEVEL": ["TOP", "SIG_4"]}, "z0": {"LEVEL": "50 ohm"},
            "reference": ["GND"], "pads": {"0.8 mm": "1.2 mm", "0.25 mm": "0.45 mm"},
            "antipads": {"0.25 mm": "0.8 mm"}, "plating": "25 um",
        },
    ),
    "write_hand_off": (write_hand_off, {"plan": HANDED_OFF, "folder": "folder", "replace": True}),
    "copper_near_drills": (stubsi.copper_near_drills, {"plan": GATE, "path": "shared/sluice_gate.xml"}),
    "read_hand_off": (stubsi.read_hand_off, {"folder": "shared", "plan": HANDED_OFF, "copper": None}),
    "hand_off_check": (stubsi.hand_off_check, {"plan": HANDED_OFF}),
    "coupons": (stubsi.coupons, {"plan": HANDED_OFF}),
    "still_valid": (
        stubsi.still_valid,
        {"export": DRILLED.to_csv(), "plan": DRILLED, "board": DRILL_BOARD, "rules": RULES},
    ),
    "write_board": (
        _in_a_folder(stubsi.write_board),
        {"board": BOARD, "path": "board.toml", "tolerances": TOLERANCES, "replace": True},
    ),
    "read_rules": (stubsi.read_rules, {"path": "shared/demo_rules.toml"}),
    "read_costs": (stubsi.read_costs, {"path": "shared/demo_rules.toml"}),
    "read_criteria": (stubsi.read_criteria, {"path": "shared/demo_rules.toml"}),
    "read_tolerances": (stubsi.read_tolerances, {"path": "shared/demo_tolerances.toml"}),
    "write_rules": (
        _in_a_folder(stubsi.write_rules),
        {"path": "r.toml", "rules": RULES, "costs": None, "criteria": {"house": HOUSE},
         "tolerances": TOLERANCES, "replace": True},
    ),
    "Board": (Board, {"stackup": BOARD.stackup, "nets": BOARD.nets, "name": "x", "criterion": HOUSE,
                      "signal_criteria": {}}),
    "Stub": (Stub, {"stub_length": "1 mm", **LINE, "conductivity": None, "at": None}),
    "Costs": (stubsi.Costs, {"side": 1, "set_up": 1, "group": 1, "hole": 1, "source": "test"}),
    "DepthTolerance": (
        stubsi.DepthTolerance,
        {
            "plus": "50 um", "minus": "50 um", "thickness_plus": 0.05, "thickness_minus": 0.05,
            "reference": "face", "sensed": (), "source": "test",
        },
    ),
    "GuaranteedResidual": (
        stubsi.GuaranteedResidual, {"least": "50 um", "most": "150 um", "nominal": "100 um", "source": "test"},
    ),
    "GuaranteedResidual.plus_minus": (
        stubsi.GuaranteedResidual.plus_minus, {"nominal": "100 um", "tolerance": "50 um", "source": "test"},
    ),
    "FabricatorRules": (
        stubsi.FabricatorRules,
        {name: getattr(RULES, name) for name in inspect.signature(stubsi.FabricatorRules).parameters},
    ),
    "Distance": (stubsi.Distance, {"length": "1 mm", "between": BOARD.stackup.stub_length("S1", "bottom").between}),
    "Criterion.notch_ratio": (Criterion.notch_ratio, {"at_least": 5, "source": "test"}),
    "Criterion.one_db_ratio": (Criterion.one_db_ratio, {"at_least": 1.5, "source": "test"}),
    "Criterion.loss": (Criterion.loss, {"at_most": 5, "source": "test"}),
    "Criterion.return_loss": (Criterion.return_loss, {"at_least": 5, "source": "test"}),
    "Criterion.stub_length": (Criterion.stub_length, {"at_most": "1 mm", "source": "test"}),
    "Criterion.stub_length_at_1_gbaud": (Criterion.stub_length_at_1_gbaud, {"at_most": "1 mm", "source": "test"}),
    "Board.net": (BOARD.net, {"name": "A"}),
    "Board.criterion_of": (BOARD.criterion_of, {"net": BOARD.nets[0]}),
    "Board.with_criterion": (BOARD.with_criterion, {"criterion": HOUSE, "net": "A", "signal": None}),
    "Board.with_antipad": (
        BOARD.with_antipad, {"antipad": "0.9 mm", "padstack": None, "hole": "A.0", "net": None, "layer": "G1"},
    ),
    "Board.with_drill": (
        BOARD.with_drill, {"drill": "0.28 mm", "finished": "0.2 mm", "padstack": None, "hole": None, "net": "A"},
    ),
    "Board.with_dk": (BOARD.with_dk, {"dk": 3.5, "dk_in_plane": 3.6, "material": None, "between": ("TOP", "G1")}),
    "Board.with_layer": (BOARD.with_layer, {"net": "A", "from_layer": "S1", "to_layer": "S2"}),
    "Board.with_waiver": (BOARD.with_waiver, {"net": "A", "waiver": "test"}),
    "Board.with_return_via": (
        BOARD.with_return_via, {"net": "GND", "padstack": "post", "x": "3 mm", "y": "3 mm", "name": "X"},
    ),
    "Board.span": (BOARD.span, {"hole": BOARD.nets[0].holes[0]}),
    "Stackup.index": (BOARD.stackup.index, {"layer": "S1"}),
    "Stackup.depth": (BOARD.stackup.depth, {"layer": "S1", "face": "upper", "side": "top"}),
    "Stackup.distance": (
        BOARD.stackup.distance, {"layer": "TOP", "face": "upper", "to_layer": "S1", "to_face": "upper"},
    ),
    "Stackup.stub_length": (BOARD.stackup.stub_length, {"layer": "S1", "side": "bottom", "end_layer": None}),
    "Padstack.antipad_at": (mb.VIA.antipad_at, {"layer": "G1", "role": "plane"}),
    "Padstack.pad_at": (mb.VIA.pad_at, {"layer": "G1", "in_use": True, "outer": False}),
    "Ranking.to_text": (RANKING.to_text, {"width": 100}),
    "Ranking[]": (RANKING.__getitem__, {"name": "A"}),
    "Ranking in": (RANKING.__contains__, {"item": "A"}),
    "Consequences[]": (DRILLED.consequences().__getitem__, {"name": "A"}),
    "Consequences in": (DRILLED.consequences().__contains__, {"net": "A"}),
    "Proposal.applied": (Proposal((), 0).applied, {"board": DRILL_BOARD}),
    "Ranking.under": (RANKING.under, {"criterion": HOUSE}),
    "LayerMatrix.sides_text": (MATRIX.sides_text, {"layer": "S1"}),
    "LayerMatrix.cell": (MATRIX.cell, {"layer": "S1", "signal": "25 Gb/s"}),
    "Plan.group_trade": (DRILLED.group_trade, {"time_limit": 1.0}),
    "Plan.shallower_changes": (DRILLED.shallower_changes, {"net": "A", "weights": {"antipad": 1.0}}),
    "Plan.explain": (DRILLED.explain, {"hole": "A.1"}),
    "Plan.hole_model": (HOLE_PLAN.hole_model, {"hole": "A.0", "state": "worst"}),
    "Plan.group_of": (DRILLED.group_of, {"hole": "A.1", "side": "bottom"}),
    "Plan.matches": (DRILLED.matches, {"board": DRILL_BOARD, "rules": RULES}),
    "Plan.inputs_changed": (DRILLED.inputs_changed, {"after": DRILLED}),
    "HoleModel.one_db_frequency": (HOLE_MODEL.one_db_frequency, {"z0": "50 ohm"}),
    "HoleModel.network": (HOLE_MODEL.network, SWEEP),
    **{
        f"{type(stub).__name__}.{name}": (getattr(stub, name), arguments)
        for stub in (STUB, HOLE_MODEL.below)
        for name, arguments in {
            "loss": SWEEP, "network": SWEEP, "notch_frequency": {"order": 1}, "one_db_frequency": {"z0": "50 ohm"},
            "input_admittance": {"frequency": ["1 GHz"]},
        }.items()
    },
}  # fmt: skip
"""Every public call with arguments that are good."""

FOR_NUMBERS = {
    "ThicknessClass.tolerance", "Tolerance.limits", "Tolerance.quantile", "Tolerance.value", "Tolerances.of_layer",
    "Tolerances.notch_range", "Tolerances.of_padstack", "Tolerances.ranked",
    "Board.per_kind", "Board.remembered", "Criterion.longest_si", "FabricatorRules.deepest", "FabricatorRules.drill_si",
    "FabricatorRules.source_of", "FabricatorRules.tip_height", "Stackup.face_si", "Stackup.laminate",
    "FabricatorRules.bore", *(f"{name}.{method}" for name in ("DepthTolerance", "GuaranteedResidual")
      for method in ("aimed", "deepest", "left", "sensed_layer", "shallowest", "shrunk")),
    "Stub.input_si", "Stub.notch_si", "HoleStub.input_si", "HoleModel.abcd_si", "Window.holds", "Window.left",
}  # fmt: skip
"""Methods between modules of the library: they take SI floats and numbers, as their docstrings say."""


@pytest.fixture(autouse=True)
def _in_memory():
    mpl.use("Agg")


@pytest.mark.parametrize("step", [4, pytest.param(1, marks=pytest.mark.slow)])
@pytest.mark.parametrize("name", CALLS)
def test_a_wrong_kind_of_argument_ends_in_an_error_of_the_library(name, step):
    """Every fourth kind, another four for each argument, and every kind in the slow suite."""
    call, good = CALLS[name]
    call(**good)
    for start, argument in enumerate(good):
        for kind in (*MORE_VALUES, *FRESH)[start % step :: step]:
            _try(name, {argument: kind})


@pytest.mark.slow
def test_two_wrong_arguments_end_in_an_error_of_the_library():
    """Two at a time, 12,000 calls: the check of one must not trip over the other."""
    rng = random.Random(11)
    kinds = (*MORE_VALUES, *FRESH)
    calls = [name for name, (_, good) in CALLS.items() if len(good) > 1]
    for _ in range(12_000):
        name = rng.choice(calls)
        _try(name, {argument: rng.choice(kinds) for argument in rng.sample(list(CALLS[name][1]), 2)})


def _try(name, wrong):
    call, good = CALLS[name]
    values = {argument: FRESH[kind]() if kind in FRESH else MORE_VALUES[kind] for argument, kind in wrong.items()}
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", stubsi.PlausibilityWarning)
            call(**{**good, **values})
    except StubsiError as error:
        if not 0 < len(str(error)) < 2000:
            pytest.fail(f"{name}({wrong}): an error text of {len(str(error))} characters")
    except Exception as error:
        pytest.fail(f"{name}({wrong}): {type(error).__name__}: {error}")


@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.__name__)
def test_a_copy_with_a_change_is_what_the_constructor_makes(part):
    """``replaced`` refuses what the constructor refuses, and gives an equal object where it takes it."""
    good, arguments = PARTS[part]
    for argument in arguments:
        for kind, value in {**VALUES, "length": "0.4 mm", "rate": "20 Gb/s", "PAM4": "PAM4", "number": 2.5}.items():
            made = _made(lambda value=value, argument=argument: part(**{**good, argument: value}))
            copied = _made(lambda value=value, argument=argument: part(**good).replaced(**{argument: value}))
            assert made == copied, f"{argument} = {kind}"


def _made(make):
    try:
        return make()
    except StubsiError:
        return "refused"


MADE_BY_THE_LIBRARY = {Budget, Check, ExchangeBoard, HoleModel, HoleStub, LayerMatrix, Plan, Proposal, Ranking, Window}
"""Results: only their methods are called by users."""


def _public_calls():
    """Names of every public function and constructor, and of every public method that takes an argument."""
    for name in PUBLIC:
        public = getattr(stubsi, name)
        if inspect.isfunction(public):
            yield name
        elif inspect.isclass(public) and (public in MADE_BY_THE_LIBRARY or issubclass(public, Value)):
            if public not in MADE_BY_THE_LIBRARY:
                yield name
            for method, function in inspect.getmembers(
                public, lambda each: inspect.isfunction(each) or inspect.ismethod(each)
            ):
                if not method.startswith("_") and _arguments(public, method, function):
                    yield f"{name}.{method}"


def _arguments(public, method, function):
    """Whether a method takes an argument; self does not count."""
    has_self = inspect.isfunction(inspect.getattr_static(public, method))
    return len(inspect.signature(function).parameters) > has_self


def test_every_public_call_is_tried():
    calls = {name.split(" of a ")[0] for name in CALLS if not name.endswith(("[]", " in"))}
    inherited = {name for name in _public_calls() if name.endswith(".replaced")}
    assert set(_public_calls()) - inherited == calls | {part.__name__ for part in PARTS} | FOR_NUMBERS
