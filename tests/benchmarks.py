"""What the library costs, as ratios of two things timed in one run: no absolute time is judged.

``python -m tests.benchmarks`` prints the table, in some minutes; `tests/test_speed.py` holds the limits.
"""

from __future__ import annotations

import json
import math
import os
import resource
import subprocess
import sys
import time
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import skrf

import stubsi
from tests import margin_boards as mb

if TYPE_CHECKING:
    from collections.abc import Callable

ROOT = Path(__file__).parents[1]
DEMO = ROOT / "shared" / "demo_board.toml"
C = 299_792_458.0
RATES = [f"{gbaud} GBd" for gbaud in (10.3125, 25.78125, 26.5625, 32, 53.125, 56)]


class Figure(NamedTuple):
    """What is compared with what, the limit of the ratio (or of the memory), and the function that measures it."""

    what: str
    limit: float
    measure: Callable[[], float]
    unit: str = "x"


def least_time(work, repeat=5):
    """Least CPU time [s] of some runs."""
    took = []
    for _ in range(repeat):
        start = time.process_time()
        work()
        took.append(time.process_time() - start)
    return min(took)


def in_a_fresh_process(call):
    """What a function of this module returns when a new Python calls it: nothing is remembered there yet."""
    code = f"import json; from tests import benchmarks; print(json.dumps(benchmarks.{call}()))"
    run = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    return json.loads(run.stdout)


# --- import -----------------------------------------------------------------------------------------------------------


def import_time(module, repeat=7):
    """Least CPU time [s] of importing a module in a fresh Python which may keep its byte code."""
    code = f"import time; start = time.process_time(); import {module}; print(time.process_time() - start)"
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}

    def once():
        command = [sys.executable, "-c", code]
        return float(subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, check=True).stdout)

    return min(once() for _ in range(repeat))


def import_over_numpy():
    return import_time("stubsi") / import_time("numpy")


def first_check_over_numpy():
    """The import loads next to nothing: this is what the first call has to make up for."""
    first_check = "stubsi; stubsi.check_stub('1 mm', '25 GBd', dk_eff=4.0)"
    return import_time(first_check) / import_time("numpy")


# --- one stub ---------------------------------------------------------------------------------------------------------

SIGNAL = "25.78125 GBd"


def bare_check(length, dk_eff=4.0, nyquist=12.890625e9, least=5.0, z0=50.0, z_stub=50.0):
    """The closed form of a stub on a line: notch, margin, loss and return loss at Nyquist (any textbook)."""
    notch = C / (4 * length * math.sqrt(dk_eff))
    margin = notch / nyquist
    half = z0 / (2 * z_stub) * math.tan(math.pi / 2 / margin)
    loss = 10 * math.log10(1 + half * half)
    return_loss = 10 * math.log10(1 + 1 / (half * half))
    return margin >= least, notch, margin, loss, return_loss


@cache
def check_times(count=300):
    """Times [s] per check of the closed form, of one stub again and again, and of stubs never seen before."""
    micrometres = iter(range(100_000, 10_000_000))

    def bare():
        for number in range(count):
            bare_check(1e-3 + 1e-6 * number)

    def repeated():
        for _ in range(count):
            stubsi.check_stub("1.234 mm", SIGNAL, dk_eff=4.0)

    def varied():
        for _ in range(count):
            stubsi.check_stub(f"{next(micrometres) / 1e5} mm", SIGNAL, dk_eff=4.0)

    return tuple(least_time(work) / count for work in (bare, repeated, varied))


def repeated_check_over_bare():
    bare, repeated, _ = check_times()
    return repeated / bare


def varied_check_over_bare():
    bare, _, varied = check_times()
    return varied / bare


def varied_check_over_repeated():
    _, repeated, varied = check_times()
    return varied / repeated


# --- a large board ----------------------------------------------------------------------------------------------------


def large_board(holes, per_net=4):
    """Nets of four through holes over three exit layers and six rates, and no return via."""
    padstack, stackup = mb.VIA, mb.stackup(roles=mb.ROLES | {"G3": "mixed"}, df=0.01, at="1 GHz")
    connects = [("TOP", layer) for layer in ("S1", "S2", "G3")]
    criterion = stubsi.Criterion.notch_ratio(5)
    nets = [
        stubsi.Net(
            name=f"N{number}", signal=RATES[number % len(RATES)], z0="50 ohm", criterion=criterion,
            holes=tuple(
                stubsi.Hole(name=f"N{number}.{i}", padstack=padstack, connects=connects[(number + i) % 3])
                for i in range(per_net)
            ),
        )
        for number in range(holes // per_net)
    ]  # fmt: skip
    return stubsi.Board(stackup=stackup, nets=tuple(nets))


def ranked(board):
    """Rank with the uniform line, down to the order of the nets and their verdicts."""
    ranking = stubsi.rank(board, model="uniform")
    return ranking.order, ranking.verdicts


def bare_ranking(length, nyquist, dk=3.8, df=0.01, z_stub=58.6, z0=50.0):
    """The same formulas in numpy for every hole: first notch, its margin, loss and return loss of a lossy open line."""
    notch = C / (4 * length * np.sqrt(dk))
    shunt = np.tanh(2j * np.pi * nyquist * np.sqrt(dk * (1 - 1j * df)) / C * length) * z0 / (2 * z_stub)
    loss = 20 * np.log10(np.abs(1 + shunt))
    return_loss = 20 * np.log10(np.abs(1 + 1 / shunt))
    return np.argsort(notch / nyquist), loss, return_loss


def ranking_over_bare(holes=100_000):
    boards = iter([large_board(holes) for _ in range(2)])
    rng = np.random.default_rng(1)
    length, nyquist = rng.uniform(0.2e-3, 2e-3, holes), rng.uniform(5e9, 28e9, holes)
    return least_time(lambda: ranked(next(boards)), 2) / least_time(lambda: bare_ranking(length, nyquist))


def peak_of_a_million():
    """Peak memory [GiB] of this process once a million holes are ranked."""
    ranked(large_board(1_000_000))
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20


def memory_of_a_million():
    return in_a_fresh_process("peak_of_a_million")


# --- the demo board, solved -------------------------------------------------------------------------------------------


def demo_rules():
    """Those of the README."""
    said = "invented for the demo"
    return stubsi.FabricatorRules(
        oversize="0.2 mm", tip_angle=150, tip_distance=None, least_depth="0.2 mm", least_plated="0.5 mm",
        copper_clearance="0.15 mm", edge_tolerance="0.05 mm", sides={"bottom": "any"}, datum="copper", depth_to="tip",
        tolerance=stubsi.GuaranteedResidual.plus_minus("8 mil", "3 mil", source=said), source=said,
    )  # fmt: skip


def one_net_moved(board):
    """OPT_TX3 on L16 instead of L9, and nothing else."""
    net = board.net("OPT_TX3")
    holes = tuple(
        replace(hole, connects=tuple({"L9": "L16"}.get(layer, layer) for layer in hole.connects)) for hole in net.holes
    )
    others = [other if other.name != net.name else replace(net, holes=holes) for other in board.nets]
    return replace(board, nets=tuple(others))


def demo_plan_times():
    """CPU times [s] of ranking the demo board, planning it, and planning it again after one moved net."""
    board, rules = stubsi.read_board(DEMO), demo_rules()
    moved = one_net_moved(board)
    return [
        least_time(work, 1)
        for work in (
            lambda: list(stubsi.rank(board)), lambda: stubsi.plan(board, rules), lambda: stubsi.plan(moved, rules),
        )
    ]  # fmt: skip


@cache
def least_demo_plan_times(repeat=2):
    """Each the least of some fresh processes."""
    return np.min([in_a_fresh_process("demo_plan_times") for _ in range(repeat)], axis=0)


def plan_over_ranking():
    ranking, plan, _ = least_demo_plan_times()
    return plan / ranking


def plan_again_over_plan():
    _, plan, again = least_demo_plan_times()
    return again / plan


def network_over_bare(points=2001):
    hz, scattering = np.linspace(1e8, 60e9, points), np.zeros((points, 2, 2), dtype=complex)
    frequency = skrf.Frequency.from_f(hz, unit="Hz")
    model = stubsi.hole_model(stubsi.read_board(DEMO), "U1.A8")
    solved = least_time(lambda: model.network(frequency), 9)
    return solved / least_time(lambda: skrf.Network(f=hz, f_unit="Hz", s=scattering, z0=50), 9)


FIGURES = [
    Figure("import stubsi / import numpy", 2, import_over_numpy),
    Figure("import stubsi and check a first stub / import numpy", 10, first_check_over_numpy),
    Figure("check of one stub again / its closed form in Python", 100, repeated_check_over_bare),
    Figure("check of a new stub / its closed form in Python", 100, varied_check_over_bare),
    Figure("check of a new stub / of one stub again", 1.25, varied_check_over_repeated),
    Figure("100,000 holes ranked / the formulas in numpy", 20, ranking_over_bare),
    Figure("memory of 1,000,000 holes ranked", 1.5, memory_of_a_million, "GiB"),
    Figure("demo planned / ranked, both solved", 4, plan_over_ranking),
    Figure("demo planned again with one net moved / planned", 0.12, plan_again_over_plan),
    Figure("solved network of 2001 points / a bare one", 100, network_over_bare),
]


def main():
    """Print every figure beside its limit."""
    print(f"{'':56}{'measured':>10}{'at most':>10}")
    for figure in FIGURES:
        measured = figure.measure()
        verdict = "" if measured <= figure.limit else "  too slow" if figure.unit == "x" else "  too much"
        print(f"{figure.what:56}{measured:10.3g}{figure.limit:10g} {figure.unit}{verdict}", flush=True)


if __name__ == "__main__":
    os.environ["OPENBLAS_NUM_THREADS"] = "1"  # for the processes started here
    main()
