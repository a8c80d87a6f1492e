"""Work handed to executors: the same bits however it is split, in few tasks, and nothing left behind.

The tests with loky and dask.distributed need the extra "executors"; without it they are skipped, and say so.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor

import numpy as np
import pytest
from scipy.stats import qmc

from stubsi import BoardError, Tolerances, corners, production_yield
from stubsi.tolerance.response import pairs_of
from stubsi.tolerance.tally import Plan, counted, ranges_of
from stubsi.tolerance.tasks import MOST_TASKS, results_of, unless_interrupted
from tests.test_production_yield import sampled
from tests.test_tolerance_corners import board, plus_minus

__all__ = ["board"]

TOLERANCES = Tolerances(dk={"core": plus_minus("5 %")}, drill=plus_minus("0.05 mm"))


class Here(Executor):
    """Does each task at once and notes what is asked of it; it has no ``map`` and must not be shut down."""

    def __init__(self):
        self.tasks = 0

    def submit(self, work, /, *arguments, **keywords):
        self.tasks += 1
        future = Future()
        try:
            future.set_result(work(*arguments, **keywords))
        except Exception as error:
            future.set_exception(error)
        return future

    def map(self, *arguments, **keywords):
        raise AssertionError("map is not to be used")

    def shutdown(self, *arguments, **keywords):
        raise AssertionError("shut down")


def same(one, other):
    """All figures of two yields are equal, bit for bit."""
    assert one == other
    assert one.nets == other.nets
    assert (one.probability, one.least, one.most, one.sampling_error) == (
        other.probability, other.least, other.most, other.sampling_error,
    )  # fmt: skip


def fresh(board):
    """The same board without what was remembered with it."""
    return board.replaced(name="")


@pytest.fixture(scope="module")
def here(board):
    """The yield without an executor."""
    return production_yield(fresh(board), TOLERANCES, model="uniform")


def test_an_executor_gives_the_same_bits_in_tens_of_tasks(board, here):
    executor, told = Here(), []
    found = production_yield(
        fresh(board), TOLERANCES, model="uniform", executor=executor, progress=lambda *counts: told.append(counts)
    )
    same(found, here)
    assert executor.tasks <= 2 * MOST_TASKS
    assert told[-1][0] == told[-1][1]
    assert [done for done, _ in told] == sorted(done for done, _ in told)


def test_an_executor_finds_the_same_corners(board):
    tolerances = Tolerances(dk={"core": plus_minus("5 %")}, antipad=plus_minus("0.1 mm"))
    executor, told = Here(), []
    found = corners(board.replaced(name="again"), tolerances, model="uniform", executor=executor,
                    progress=lambda *counts: told.append(counts))  # fmt: skip
    here = corners(board, tolerances, model="uniform")
    assert found.nets == here.nets
    assert found.solved == here.solved == told[-1][0] + 1
    assert executor.tasks == found.solved - 1


def test_an_error_in_a_task_reaches_the_caller_and_cancels_the_rest():
    with ThreadPoolExecutor(1) as pool:
        futures = []
        submit = pool.submit
        pool.submit = lambda *arguments: futures.append(submit(*arguments)) or futures[-1]
        with pytest.raises(ZeroDivisionError):
            for _ in results_of(pool, failing, range(50)):
                pass
        assert sum(future.cancelled() for future in futures) > 20


def test_a_process_that_was_interrupted_begins_no_other_task_of_that_run():
    begun = []

    def work(task):
        begun.append(task)
        if task == 1:
            raise KeyboardInterrupt

    unless_interrupted("this run", work, 0)
    for task in (1, 2):
        with pytest.raises(KeyboardInterrupt):
            unless_interrupted("this run", work, task)
    unless_interrupted("another run", work, 3)
    assert begun == [0, 1, 3]


def failing(number):
    time.sleep(0.01)
    return 1 / number


def test_what_takes_no_work_is_refused(board):
    for wrong in (2, ProcessPoolExecutor, "processes"):
        with pytest.raises(BoardError, match="must be an executor as in concurrent"):
            production_yield(board, TOLERANCES, executor=wrong)


@pytest.mark.slow
def test_the_process_pool_gives_the_same_bits(board):
    with ProcessPoolExecutor(2) as pool:
        pooled = production_yield(fresh(board), TOLERANCES, samples=100_000, executor=pool)
        assert pool.submit(abs, -1).result() == 1
    same(pooled, production_yield(fresh(board), TOLERANCES, samples=100_000))


@pytest.mark.slow
def test_loky_gives_the_same_bits(board, here):
    loky = pytest.importorskip("loky", reason="loky is not installed: pip install 'stubsi[executors]'")
    pool = loky.get_reusable_executor(max_workers=2)
    try:
        same(production_yield(fresh(board), TOLERANCES, model="uniform", executor=pool), here)
        assert pool.submit(abs, -1).result() == 1
    finally:
        pool.shutdown()


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")  # those of the cluster while it starts and stops
def test_a_dask_cluster_gives_the_same_bits(board, here):
    distributed = pytest.importorskip(
        "distributed", reason="dask.distributed is not installed: pip install 'stubsi[executors]'"
    )
    with (
        distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster,
        distributed.Client(cluster) as client,
    ):
        pool = client.get_executor(pure=False)
        same(production_yield(fresh(board), TOLERANCES, model="uniform", executor=pool), here)
        assert pool.submit(abs, -1).result() == 1


INTERRUPTED = """
import sys
from concurrent.futures import ProcessPoolExecutor
from stubsi import production_yield
from tests.test_executors import TOLERANCES
from tests.test_tolerance_corners import board

if __name__ == "__main__":
    with ProcessPoolExecutor(2) as pool:
        production_yield(
            board.__wrapped__() if hasattr(board, "__wrapped__") else board._get_wrapped_function()(),
            TOLERANCES, model="uniform", samples=3 * 10**8, executor=pool,
            progress=lambda done, of: print(done, of, flush=True),
        )
"""


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="sends a signal to a process group")
def test_an_interrupt_leaves_no_process_behind(tmp_path):
    """Ctrl-C as a terminal sends it, to the whole group, while samples are counted; each task takes seconds.

    The tasks that the pool holds ready do not begin, so it ends at once. They took it a minute on a busy machine.
    """
    script = tmp_path / "interrupted.py"
    script.write_text(INTERRUPTED)
    run = subprocess.Popen(
        [sys.executable, str(script)], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
        start_new_session=True, env=os.environ | {"PYTHONPATH": os.getcwd()},
    )  # fmt: skip
    for line in run.stdout:
        done, of = map(int, line.split())
        if of - done < MOST_TASKS:  # the boards are solved, and one task is counted
            break
    else:
        pytest.fail("it ended by itself")
    begin = time.monotonic()
    os.killpg(run.pid, signal.SIGINT)
    run.stdout.close()
    assert run.wait(60) != 0
    print(f"{time.monotonic() - begin:.1f} s")
    deadline = time.monotonic() + 10
    while time.monotonic() < deadline:
        try:
            os.killpg(run.pid, 0)
        except ProcessLookupError:
            return
        time.sleep(0.1)
    os.killpg(run.pid, signal.SIGKILL)
    pytest.fail("a process was left behind")


def many(nets, parts, factors):
    """Nets with some parts, every one with a surface of its own."""
    study = sampled([parts] * nets, np.linspace(0.01, 0.02, factors), shared=(("uniform", None),) * factors)
    count = nets * parts
    spread = np.random.default_rng(1).normal(0, 1e-3, (len(study.surfaces.coefficients), count))
    surfaces = study.surfaces._replace(
        coefficients=study.surfaces.coefficients + spread, error=np.full(count, 1e-3)
    )  # fmt: skip
    return study._replace(surfaces=surfaces, parts=study.parts._replace(column=np.arange(count)))


def ours(study, samples):
    plan = Plan.of(samples)
    study = study._replace(per_block=plan.per_block)
    ranges = ranges_of(study)
    total = counted((study, ranges, range(plan.blocks)))
    return total.shares()[0][0], ranges.quantiles(total.histogram, (0.01, 0.5, 0.99))


def plain(study, samples):
    """The same draws, formula and quantiles in plain numpy, with as much memory as 1e6 values take."""
    factors, parts = len(study.shared), len(study.parts.column) // study.parts.nets
    first, second = pairs_of(factors)
    with_one = np.column_stack(
        [2 * qmc.Sobol(factors, rng=np.random.default_rng(1)).random(samples) - 1, np.ones(samples)]
    )
    terms, coefficients = with_one[:, first] * with_one[:, second], study.surfaces.coefficients
    met, quantiles, board = [], [], np.ones(samples, dtype=bool)
    step = max(1, (1 << 20) // samples // parts) * parts
    for begin in range(0, coefficients.shape[1], step):
        figure = (terms @ coefficients[:, begin : begin + step]).reshape(samples, -1, parts).min(axis=2)
        meets = figure >= 0
        met.append(meets.mean(axis=0))
        board &= meets.all(axis=1)
        quantiles.append(np.quantile(figure, (0.01, 0.5, 0.99), axis=0))
    return np.append(np.concatenate(met), board.mean()), np.concatenate(quantiles, axis=1)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("nets", "parts", "factors", "samples"), [(1, 1, 3, 1 << 20), (2000, 4, 6, 1 << 14)],
    ids=["1e6 of one net", "1e4 of 2,000 nets"],
)  # fmt: skip
def test_counting_is_no_slower_than_plain_numpy(nets, parts, factors, samples):
    """Processor time of both in one run, least of three: at most 1.5 times that of numpy. And the answers agree."""
    study = many(nets, parts, factors)
    spent = {}
    for name, count in (("ours", ours), ("numpy", plain)) * 3:
        begin = time.process_time()
        found = count(study, samples)
        spent.setdefault(name, []).append((time.process_time() - begin, found))
    one, other = (min(spent[name], key=lambda each: each[0]) for name in ("ours", "numpy"))
    np.testing.assert_allclose(one[1][0], other[1][0], atol=0.02)
    np.testing.assert_allclose(one[1][1], other[1][1], atol=5e-3)
    print(f"{one[0]:.3g} s and {other[0]:.3g} s of the processor: {one[0] / other[0]:.2f}")
    assert one[0] < 1.5 * other[0]


MEMORY = """
import resource
from stubsi.tolerance.tally import Plan, counted, ranges_of
from tests.test_executors import many, ours

ours(many(2000, 4, 6), 10_000)
few = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
ours(many(2000, 4, 6), 60_000)
ours(many(1, 1, 3), 1_000_000)
print(few, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


@pytest.mark.slow
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads peak memory in kB as Linux gives it")
def test_memory_is_bounded_whatever_the_samples():
    """Below 1 GiB, and six times the samples of a 2,000-net board take hardly more."""
    run = subprocess.run([sys.executable, "-c", MEMORY], capture_output=True, text=True, check=True)
    few, many_samples = map(int, run.stdout.split())
    print(f"{few / 1024:.0f} MB and {many_samples / 1024:.0f} MB")
    assert many_samples < 1024**2
    assert many_samples < 1.2 * few


@pytest.mark.slow
def test_counting_grows_in_proportion_to_the_samples():
    """Eight times a million samples of one net take eight times the processor time, within a fifth; least of three."""
    study, spent = many(1, 1, 3), {}
    for samples in (1 << 20, 1 << 23) * 3:
        begin = time.process_time()
        ours(study, samples)
        spent.setdefault(samples, []).append(time.process_time() - begin)
    few, more = (min(times) for times in spent.values())
    print(f"{more / few:.2f}")
    assert 8 / 1.2 < more / few < 8 * 1.2


@pytest.mark.slow
def test_two_workers_are_nearly_twice_as_fast():
    """Speed-up at least 1.7, where two cores are free; otherwise skipped, and said."""
    if len(os.sched_getaffinity(0)) < 2 or os.getloadavg()[0] > 0.5:
        pytest.skip("two cores are not free")
    study = many(500, 4, 6)._replace(per_block=4096)
    ranges = ranges_of(study)
    tasks = [(study, ranges, range(number, number + 1)) for number in range(32)]
    with ProcessPoolExecutor(2) as pool:
        list(results_of(pool, counted, tasks[:2]))
        begin = time.perf_counter()
        for _ in results_of(pool, counted, tasks):
            pass
        both = time.perf_counter() - begin
    with ProcessPoolExecutor(1) as pool:
        list(results_of(pool, counted, tasks[:1]))
        begin = time.perf_counter()
        for _ in results_of(pool, counted, tasks):
            pass
        alone = time.perf_counter() - begin
    print(f"{alone / both:.2f}")
    assert alone / both > 1.7
