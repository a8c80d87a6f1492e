"""Owns the figures and verdicts of many stubs without a board, as columns: the same as a check of each of them."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.board.criterion import Measure
from stubsi.margin.figures import Measurable, stub_figures
from stubsi.margin.single_stub import SolvedSingleStub, UniformSingleStub
from stubsi.margin.spread import Spread
from stubsi.margin.verdict import Verdict, measured, standing, wording
from stubsi.physics.uniform_line import UniformLine
from stubsi.stubs.models import Models
from stubsi.stubs.uniform_model import UniformStack

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from stubsi.board.criterion import Criterion
    from stubsi.margin.single_stub import SingleStub
    from stubsi.provenance import Provenance

    Floats = NDArray[np.float64]
    Numbers = NDArray[np.intp]

NO_IMPEDANCE = "the stub's impedance is unknown: give z_stub, or drill and antipad"
"""What is missing for a loss of a uniform line."""


class StubColumns(NamedTuple):
    """Figures and verdicts of stubs, one entry each; ``figures`` is NaN without a stub."""

    figures: Measurable
    verdict: NDArray[np.object_]
    reason: list[str]
    provenance: list[Provenance]


class ManyStubs(NamedTuple):
    """Stubs to be checked.

    Parameters
    ----------
    described : sequence of SingleStub
        The different stubs.
    which : ndarray of int, shape (n,)
        Number of each stub among them.
    length, nyquist : ndarray, shape (n,)
        [m] and [Hz].
    criteria : sequence of Criterion
        The different criteria.
    judged_by : ndarray of int, shape (n,)
        Number of the criterion of each stub.
    """

    described: Sequence[SingleStub]
    which: Numbers
    length: Floats
    nyquist: Floats
    criteria: Sequence[Criterion]
    judged_by: Numbers

    @property
    def z0(self) -> Floats:
        """Impedance of the line of each stub [ohm]; NaN where unknown."""
        return np.array([np.nan if stub.z0 is None else stub.z0 for stub in self.described], dtype=float)[self.which]


def stub_columns(stubs: ManyStubs) -> StubColumns:
    """Check many stubs.

    Parameters
    ----------
    stubs : ManyStubs

    Returns
    -------
    StubColumns

    Raises
    ------
    StubsiError
        A stub is longer than its hole.
    """
    count = len(stubs.which)
    ends = [Spread(*np.full((4, count), np.nan)) for _ in range(4)]
    figures = Measurable(
        nyquist=stubs.nyquist, longest=stubs.length, notch=ends[0], one_db=ends[1], loss=ends[2], return_loss=ends[3],
        nyquist_loss=np.full(count, np.nan), nyquist_return_loss=np.full(count, np.nan),
    )  # fmt: skip
    exists = stubs.length > 0
    provenance = [
        stub.provenance(0.0) if isinstance(stub, UniformSingleStub) or not exists[stubs.which == number].all() else None
        for number, stub in enumerate(stubs.described)
    ]
    of_rows = [provenance[number] for number in stubs.which.tolist()]
    is_uniform = np.array([isinstance(stub, UniformSingleStub) for stub in stubs.described], dtype=bool)[stubs.which]
    uniform = np.flatnonzero(exists & is_uniform)
    if uniform.size:
        _fill(figures, uniform, stubs, _uniform_models(stubs, uniform, provenance), np.arange(len(uniform)))
    for number in np.unique(stubs.which[exists & ~is_uniform]).tolist():
        rows, stub = np.flatnonzero(exists & (stubs.which == number)), stubs.described[number]
        assert isinstance(stub, SolvedSingleStub)
        lengths, case = np.unique(stubs.length[rows], return_inverse=True)
        models = stub.models(lengths)
        _fill(figures, rows, stubs, models, case)
        for row, of_case in zip(rows.tolist(), case.tolist(), strict=True):
            of_rows[row] = models.provenance[of_case]
    known = [each for each in of_rows if each is not None]  # every row has one by now
    verdict, reason = _judged(stubs, figures, known)
    return StubColumns(figures, verdict, reason, known)


def _uniform_models(stubs: ManyStubs, rows: Numbers, provenance: Sequence[Provenance | None]) -> Models:
    """All uniform stubs as one set of arrays, each a case of its own."""
    which = stubs.which[rows]
    lines = [stub.line.fields() if isinstance(stub, UniformSingleStub) else None for stub in stubs.described]
    names = next(line for line in lines if line is not None)
    fields = {
        name: np.array([np.nan if line is None else line[name] for line in lines], dtype=float)[which] for name in names
    }
    known = np.isfinite(fields["z_stub"])
    found = tuple([each for number in which.tolist() if (each := provenance[number])])
    return Models(
        variants=(UniformStack(UniformLine(stub_length=stubs.length[rows], **fields)),), owner=(np.arange(len(rows)),),
        below=(np.array([each.low for each in found]),), model_below=(np.array([each.low_of_model for each in found]),),
        provenance=found,
        unknown=(None,) * len(rows),
        unknown_loss=tuple([None if each else NO_IMPEDANCE for each in known.tolist()]),
    )  # fmt: skip


def _fill(figures: Measurable, rows: Numbers, stubs: ManyStubs, models: Models, case: Numbers) -> None:
    """Write the figures of some rows into those of all."""
    wanted = (Measure.ONE_DB_RATIO, Measure.LOSS)
    found = stub_figures(models, case, stubs.length[rows], stubs.nyquist[rows], stubs.z0[rows], wanted=wanted)
    for name in ("notch", "one_db", "loss", "return_loss"):
        for of_all, of_rows in zip(getattr(figures, name), getattr(found, name), strict=True):
            of_all[rows] = of_rows
    figures.nyquist_loss[rows], figures.nyquist_return_loss[rows] = found.nyquist_loss, found.nyquist_return_loss


def _judged(
    stubs: ManyStubs, figures: Measurable, provenance: Sequence[Provenance]
) -> tuple[NDArray[np.object_], list[str]]:
    """Verdict of each stub, and the figure that it rests on, in words."""
    verdict = np.full(len(stubs.which), Verdict.PASS, dtype=object)
    reason = ["no stub"] * len(verdict)
    with np.errstate(invalid="ignore"):
        ratio = figures.notch.low / figures.nyquist
    for number, criterion in enumerate(stubs.criteria):
        rows = np.flatnonzero((stubs.judged_by == number) & (stubs.length > 0))
        value = Spread(*(end[rows] for end in measured(criterion, figures)))
        found = standing(criterion, value, np.isnan(value.best))
        found[found == Verdict.DRILL] = Verdict.FALLS_SHORT
        verdict[rows] = found
        _, *shown = (end.tolist() for end in value)
        texts = zip(*shown, ratio[rows].tolist(), strict=True)
        for row, text in zip(rows.tolist(), (wording(criterion, *ends) for ends in texts), strict=True):
            reason[row] = text or _missing(stubs.described[stubs.which[row]])
    for row in np.flatnonzero(verdict == Verdict.UNDECIDED).tolist():
        reason[row] = "; ".join((reason[row], *provenance[row].open_inputs))
    return verdict, reason


def _missing(stub: SingleStub) -> str:
    return "z0 is missing" if stub.z0 is None else NO_IMPEDANCE
