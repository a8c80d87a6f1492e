"""Owns how work is handed to the executor of a user: in batches of our own, by ``submit`` and ``as_completed`` only."""

from __future__ import annotations

from concurrent.futures import as_completed
from inspect import signature
from itertools import pairwise
from typing import TYPE_CHECKING, TypeAlias, TypeVar
from uuid import uuid4

from stubsi.errors import BoardError
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from concurrent.futures import Executor, Future

    Progress: TypeAlias = Callable[[int, int], object]

Task = TypeVar("Task")
Result = TypeVar("Result")

MOST_TASKS = 32
"""Into so many tasks work is split at most. A cluster takes some 35 ms for each of them."""


def check_executor(executor: object) -> None:
    """Check that something can take work as an executor does.

    Parameters
    ----------
    executor : object

    Raises
    ------
    BoardError
        It is neither None nor has a method ``submit``.
    """
    if executor is not None and (isinstance(executor, type) or not callable(getattr(executor, "submit", None))):
        raise BoardError(
            f"executor = {as_shown(executor)}: must be an executor as in concurrent.futures, or None; for example "
            "ProcessPoolExecutor()."
        )


def check_progress(progress: object) -> None:
    """Check that something can be told two numbers.

    Parameters
    ----------
    progress : object

    Raises
    ------
    BoardError
        It is neither None nor a function of two arguments.
    """
    if progress is None or _takes_two(progress):
        return
    raise BoardError(f"progress = {as_shown(progress)}: must be a function of two numbers, or None.")


def _takes_two(progress: object) -> bool:
    """Whether something is a function that can be called with two arguments; a class is none."""
    if not callable(progress) or isinstance(progress, type):
        return False
    try:
        signature(progress).bind(1, 2)
    except (TypeError, ValueError):
        return False
    return True


def batches(count: int) -> list[range]:
    """Numbers from 0 on in at most ``MOST_TASKS`` ranges of about equal length. Depends on the count alone."""
    tasks = min(count, MOST_TASKS)
    edges = [count * number // tasks for number in range(tasks + 1)] if tasks else []
    return [range(*pair) for pair in pairwise(edges)]


def results_of(
    executor: Executor | None, work: Callable[[Task], Result], tasks: Sequence[Task]
) -> Iterator[tuple[int, Result]]:
    """Do some tasks, here or in an executor, which is never shut down.

    Parameters
    ----------
    executor : Executor or None
        None: one after the other, here.
    work : callable
        A function of a module, so that it can be sent.
    tasks : sequence

    Yields
    ------
    (int, object)
        Number of a task and its result, as they come. No result is kept here. If the caller stops or is interrupted,
        what has not begun is cancelled. A pool of processes holds some more tasks ready, which cannot be cancelled; a
        process that was interrupted itself, as Ctrl-C does it, does not begin them.
    """
    if executor is None:
        for number, task in enumerate(tasks):
            yield number, work(task)
        return
    numbers: dict[Future[Result], int] = {}
    run = uuid4().hex
    try:
        for number, task in enumerate(tasks):
            numbers[executor.submit(unless_interrupted, run, work, task)] = number
        for future in as_completed(list(numbers)):
            yield numbers.pop(future), future.result()
    finally:
        for future in numbers:
            future.cancel()


_interrupted: set[str] = set()
"""Runs during which this process was interrupted."""


def unless_interrupted(run: str, work: Callable[[Task], Result], task: Task) -> Result:
    """Do a task, unless an earlier one of its run was interrupted in this process.

    Parameters
    ----------
    run : str
        Name of the run that it belongs to.
    work : callable
    task : object

    Returns
    -------
    object

    Raises
    ------
    KeyboardInterrupt
        This task was interrupted, or an earlier one.
    """
    if run in _interrupted:
        raise KeyboardInterrupt
    try:
        return work(task)
    except KeyboardInterrupt:
        _interrupted.add(run)
        raise
