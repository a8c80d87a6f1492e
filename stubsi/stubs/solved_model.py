"""Owns the solved model of the stubs of a board: each from its geometry, or a uniform line where that is impossible."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.errors import UnknownValueError, ValidityError
from stubsi.memory import Memory
from stubsi.physics.chain import Chain, check_stub
from stubsi.physics.loss_curve import FROM, least_power, one_db_estimate, one_db_frequency
from stubsi.physics.notch import first_notch
from stubsi.physics.power_curve import chain_inputs, not_reflected_curve, power_curve
from stubsi.physics.reactance import HIGHEST_RATIO, notch, quasi_static
from stubsi.physics.solved_barrel import SolvedBarrel, solve
from stubsi.physics.sweep import AbcdSweep, InputSweep
from stubsi.physics.uniform_line import decibels
from stubsi.provenance import Provenance
from stubsi.stubs.as_barrel import barrel_of
from stubsi.stubs.hole_return_paths import RETURN_VIAS, ReturnNote, return_paths, too_near
from stubsi.stubs.model_error import Regime, in_words, least_notch, notch_error, regime
from stubsi.stubs.models import FirstNotches, Models
from stubsi.stubs.near_faces import BEFORE_THE_FACE, BEYOND_THE_FACE, just_before, just_beyond
from stubsi.stubs.uniform_model import uniform_models
from stubsi.stubs.unknown_antipad import ANTIPAD_OPEN, ANTIPAD_UNKNOWN, with_antipads
from stubsi.stubs.unknown_dk import DK_OPEN, DK_UNKNOWN, with_dks, without_dk
from stubsi.units import show

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from stubsi.physics.barrel import Barrel
    from stubsi.physics.power_curve import Inputs
    from stubsi.physics.return_path import Posts
    from stubsi.stubs.cases import Case
    from stubsi.stubs.surroundings import Around

SOLVED = "solved geometry"
CAVITY_BELOW, BLURRED_BELOW = 0.8, 0.97
"""First notch over the frequency at which the stub's reactance vanishes [-]. Below the first value the notch is a
resonance with the return vias, if there are any; below the second it is blurred."""


NO_NOTCH_BELOW = "no notch below {}, and the model holds no further: measure it or solve its field"
"""What leaves a verdict open that a notch higher up would decide."""


NEARLY = "a dip at {} is nearly a notch"
"""Why the worst value of a notch lies below what the error of the model gives."""


class NotchNote(StrEnum):
    """Why a first notch is no sharp notch of the stub itself. Each is also the text that is shown."""

    CAVITY = "the first notch is a resonance with the return vias, below the stub's own"
    BLURRED = "blurred notch, at the minimum of S21: part of the power leaves between the planes"


class _Variant(NamedTuple):
    """A solved stub with one return path. ``pitch`` [m] of the pair it is a leg of; None: it is single."""

    solved: SolvedBarrel
    path: Posts
    pitch: float | None

    @property
    def pitch_or_nan(self) -> float:
        return np.nan if self.pitch is None else self.pitch


class _SolvedCase(NamedTuple):
    """A case solved from its geometry: one variant, or one for each return path scanned."""

    variants: tuple[_Variant, ...]
    provenance: Provenance
    regime: Regime


class _Refused(NamedTuple):
    """Why a case cannot be solved from its geometry."""

    reason: str


class _Notch(NamedTuple):
    """First notch on a 50 ohm line: ``low``, ``high`` and ``nearly`` as in ``FirstNotches``.

    ``zero``: frequency at which the reactance first vanishes; ``jump``: narrow resonance [Hz]. A stub whose feed takes
    away all of its inductance has no notch.
    """

    low: float
    high: float
    nearly: float
    zero: float
    jump: float


REMEMBERED = 10_000
"""How many solved cases, and how many of their first notches, are remembered."""
_solved_cases: Memory[Case, _SolvedCase | _Refused] = Memory(REMEMBERED)
_first_notches: Memory[_Variant, _Notch] = Memory(REMEMBERED)
_one_db: Memory[tuple[_Variant, float], tuple[float, float]] = Memory(REMEMBERED)


def _find_first_notches(variants: Sequence[_Variant]) -> list[_Notch]:
    chain = _chain(variants)
    found, highest = first_notch(chain), chain.highest_frequency()
    is_notch = found.is_notch & (found.frequency <= highest)
    low = np.where(is_notch, found.frequency, np.fmin(highest, found.searched))
    columns = (low, np.where(is_notch, low, np.inf), np.fmin(found.nearly, low), found.zero, found.jump)
    return [_Notch(*row) for row in zip(*(column.tolist() for column in columns), strict=True)]


def _find_one_db(variants_and_lines: Sequence[tuple[_Variant, float]]) -> list[tuple[float, float]]:
    variants, lines = zip(*variants_and_lines, strict=True)
    stack, z0 = SolvedStack(variants), np.array(lines)
    estimate, impedance = quasi_static(stack.chain)
    highest = np.fmin(stack.chain.highest_frequency(), HIGHEST_RATIO * estimate)
    found = one_db_frequency(
        power_curve(chain_inputs(stack.chain), z0), one_db_estimate(estimate, impedance, z0), highest, stack.jump
    )
    found[np.isnan(found)] = np.inf  # no electrical length, no loss
    return list(zip(np.minimum(found, highest).tolist(), found.tolist(), strict=True))


@dataclass(frozen=True, eq=False)
class SolvedStack:
    """Solved stubs with their return paths as a stack of stubs."""

    variants: tuple[_Variant, ...]

    @cached_property
    def chain(self) -> Chain:
        """All of them as one set of arrays."""
        return _chain(self.variants)

    @cached_property
    def _first(self) -> list[_Notch]:
        return _first_notches.all(self.variants, _find_first_notches)

    def first_notch(self, index: NDArray[np.intp]) -> FirstNotches:
        """First notch of the stubs of these numbers."""
        return FirstNotches(*self._first_notch[:, index])

    @cached_property
    def _first_notch(self) -> NDArray[np.float64]:
        return np.array([notch[:3] for notch in self._first]).reshape(-1, 3).T

    @cached_property
    def _sweep(self) -> InputSweep:
        """Voltage and current at the input of a single stub over frequency [Hz]."""
        return InputSweep(self.chain)

    @cached_property
    def jump(self) -> NDArray[np.float64]:
        """Frequency of a narrow resonance [Hz], NaN where there is none."""
        return np.array([notch.jump for notch in self._first])

    def __getstate__(self) -> dict[str, tuple[_Variant, ...]]:
        """The variants only: the chain is made again when it is needed."""
        return {"variants": self.variants}

    def notch(self, order: int, index: NDArray[np.intp]) -> NDArray[np.float64]:
        """Notch of the stubs of these numbers [Hz]; of the first order only where there is one."""
        if order == 1:
            return self.first_notch(index).high
        return np.asarray(notch(self.chain.only(index), order), dtype=np.float64)

    def nearest_notch(self, index: NDArray[np.intp], frequency: NDArray[np.float64]) -> None:
        """None: there is no closed form, so the orders are tried one by one."""

    def notch_note(self, index: int) -> NotchNote | None:
        """Why the first notch of a stub is no sharp notch of its own; None if it is one."""
        notch = self._first[index]
        if np.isinf(notch.high) or notch.low > BLURRED_BELOW * notch.zero:
            return None
        has_return_vias = bool(self.variants[index].path.positions)
        return NotchNote.CAVITY if notch.low < CAVITY_BELOW * notch.zero and has_return_vias else NotchNote.BLURRED

    def highest(self) -> float:
        """Highest frequency [Hz] at which the model is valid for all of the stubs."""
        return float(self.chain.highest_frequency().min())

    def input(
        self, index: NDArray[np.intp], frequency: NDArray[np.float64]
    ) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
        """Voltage and current at the input of the stubs of these numbers, each at its frequency [Hz]."""
        if len(self.variants) == 1:
            return self._sweep(frequency)
        order = np.argsort(index, kind="stable")
        place = np.empty(len(index), dtype=np.intp)
        place[order] = np.arange(len(index)) - np.searchsorted(index[order], index[order])
        f = np.full((len(self.variants), place.max(initial=0) + 1), 1e9)
        f[index, place] = frequency
        voltage, current = self.chain.voltage_current(f)
        return voltage[index, place], current[index, place]

    def inputs(self, index: NDArray[np.intp]) -> Inputs:
        """Voltage and current into the stubs of these numbers, as ``power_curve`` takes them."""
        return chain_inputs(_chain([self.variants[number] for number in index.tolist()]))

    def one_db(
        self, index: NDArray[np.intp], z0: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """1 dB frequency [Hz] of the stubs of these numbers in lines of these impedances [ohm], twice.

        Where the model is no longer valid before 1 dB is reached: the highest valid frequency, and infinity.
        """
        wanted = [(self.variants[number], line) for number, line in zip(index.tolist(), z0.tolist(), strict=True)]
        low, high = np.array(_one_db.all(wanted, _find_one_db)).reshape(-1, 2).T
        return low, high

    def in_band(
        self, index: NDArray[np.intp], frequency: NDArray[np.float64], z0: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Least return loss and greatest loss [dB] of the stubs of these numbers, each from 0 up to its frequency."""
        part = SolvedStack(tuple(self.variants[number] for number in index.tolist()))
        inputs, jump = chain_inputs(part.chain), self.jump[index]
        rises_below = FROM * one_db_estimate(*quasi_static(part.chain), z0)
        left, not_reflected = (
            least_power(curve(inputs, z0), rises_below, frequency, jump) for curve in (power_curve, not_reflected_curve)
        )
        return decibels(np.sqrt(1 - not_reflected)), decibels(np.sqrt(left))


def _chain(variants: Sequence[_Variant]) -> Chain:
    return Chain.of([(v.solved, v.path) for v in variants], [v.pitch_or_nan for v in variants])


def solved_models(cases: Sequence[Case], *, look_beyond: bool = True, look_back: bool = True) -> Models:
    """Model each case from its geometry. Where that is not possible it is a uniform line, and its provenance says why.

    Parameters
    ----------
    cases : sequence of Case
        Cases that were solved before are remembered, and not solved again.
    look_beyond, look_back : bool
        Whether a stub that ends just before a face of copper is also solved as if it ended just beyond it, and one that
        ends beyond a face as if it ended just before. There the notch may change abruptly. So its worst value counts.

    Returns
    -------
    Models

    Notes
    -----
    If the return vias are unknown, the figures of a case are a range: over 1, 2, 3, 4, 6 and 8 equal vias at several
    distances, and no via.
    """
    variants: list[_Variant] = []
    owner: list[int] = []
    provenance: dict[int, Provenance] = {}
    refused: dict[int, str] = {}
    regimes: dict[int, Regime] = {}
    solved_cases = _solved_cases.all(cases, lambda new: [_solved_or_refused(case) for case in new])
    for number, solved in enumerate(solved_cases):
        if isinstance(solved, _Refused):
            refused[number] = solved.reason
            continue
        variants += solved.variants
        owner += [number] * len(solved.variants)
        provenance[number], regimes[number] = solved.provenance, solved.regime
    owners, stack = np.array(owner, dtype=np.intp), SolvedStack(tuple(variants))
    nearly = np.full(len(cases), np.inf)
    np.fmin.at(nearly, owners, stack.first_notch(np.arange(len(owners))).nearly)
    for number, lowest in _lowest(stack, owners):
        provenance[number] = _of_notch(provenance[number], regimes[number], stack, lowest, float(nearly[number]))
    if look_beyond:
        provenance |= _with_what_is_beyond(cases, provenance)
    models = _joined(cases, stack, owners, provenance, refused)
    return _with_what_is_before(models, cases) if look_back else models


def _with_what_is_before(models: Models, cases: Sequence[Case]) -> Models:
    """Models of which some have a shorter stub: the case that ends just before the face that it ends just beyond."""
    solved = (number for number, each in enumerate(models.provenance) if each.tier == SOLVED)
    before = {number: case for number in solved if (case := just_before(cases[number])) is not None}
    if not before:
        return models
    shorter = solved_models(list(before.values()), look_beyond=False)
    shorter_of, provenance = np.full(len(models.provenance), -1), list(models.provenance)
    for place, number in enumerate(before):
        if shorter.provenance[place].tier == SOLVED:
            shorter_of[number] = place
            if shorter.least_notch[place] < models.least_notch[number]:
                here = provenance[number]
                provenance[number] = replace(here, assumptions=(*here.assumptions, BEFORE_THE_FACE))
    return replace(models, provenance=tuple(provenance), shorter=shorter, shorter_of=shorter_of)


def _with_what_is_beyond(cases: Sequence[Case], provenance: dict[int, Provenance]) -> dict[int, Provenance]:
    """Provenance of the cases that end just before a face of copper, with the least notch of those just beyond it."""
    beyond = {number: case for number in provenance if (case := just_beyond(cases[number])) is not None}
    if not beyond:
        return {}
    models = solved_models(list(beyond.values()), look_beyond=False, look_back=False)
    found = {}
    for number, there, least in zip(beyond, models.provenance, models.least_notch.tolist(), strict=True):
        here = provenance[number]
        if there.tier == SOLVED and not least >= (here.nearly_notch or np.inf):
            found[number] = replace(here, nearly_notch=least, assumptions=(*here.assumptions, BEYOND_THE_FACE))
    return found


def _of_notch(provenance: Provenance, of: Regime, stack: SolvedStack, lowest: int, nearly: float) -> Provenance:
    """Provenance of a case with what its notch adds. Of the model's error and that against hardware the larger counts.

    ``lowest``: the variant with the lowest first notch; ``nearly`` [Hz]: the lowest dip that is a notch or nearly one.
    """
    first = stack.first_notch(np.array([lowest]))
    notch, has_notch = float(first.low[0]), bool(np.isfinite(first.high[0]))
    if np.isinf(notch):
        return provenance
    error, note = notch_error(of, notch), stack.notch_note(lowest)
    notes = [str(of), *([note] if note else [])]
    nearly_notch = None
    if nearly < notch:
        notes.append(NEARLY.format(show(nearly, "frequency")))
        nearly_notch = min(least_notch(of, nearly), provenance.low * nearly)
    return replace(
        provenance,
        model_error=f"{'nearest covered case, ' if of.nearest_rule else ''}{in_words(error)}",
        assumptions=(*provenance.assumptions, *notes),
        low=min(provenance.low, least_notch(of, notch) / notch),
        high=max(provenance.high, 1 + error),
        nearly_notch=nearly_notch,
        open_inputs=provenance.open_inputs
        if has_notch
        else (*provenance.open_inputs, NO_NOTCH_BELOW.format(show(notch, "frequency"))),
    )


def _lowest(stack: SolvedStack, owner: NDArray[np.intp]) -> Iterable[tuple[int, int]]:
    """Number of every case, and number of its variant with the lowest first notch."""
    if not len(owner):
        return ()
    order = np.lexsort((stack.first_notch(np.arange(len(owner))).low, owner))
    case, first = np.unique(owner[order], return_index=True)
    return zip(case.tolist(), order[first].tolist(), strict=True)


def _joined(
    cases: Sequence[Case],
    stack: SolvedStack,
    owner: NDArray[np.intp],
    provenance: dict[int, Provenance],
    refused: dict[int, str],
) -> Models:
    """The solved cases, and uniform lines for those that were refused, in the order of ``cases``."""
    unsolved = sorted(refused)
    fallback = uniform_models([cases[number] for number in unsolved])
    for number, uniform in zip(unsolved, fallback.provenance, strict=True):
        provenance[number] = replace(uniform, not_solved=refused[number])
    unknown: list[str | None] = [None] * len(cases)
    unknown_loss: list[str | None] = [None] * len(cases)
    for number, notch_missing, loss_missing in zip(unsolved, fallback.unknown, fallback.unknown_loss, strict=True):
        unknown[number], unknown_loss[number] = notch_missing, loss_missing
    return Models(
        variants=(*((stack,) if stack.variants else ()), *fallback.variants),
        owner=(
            *((owner,) if stack.variants else ()),
            *(np.array(unsolved, dtype=np.intp)[places] for places in fallback.owner),
        ),
        provenance=tuple(provenance[number] for number in range(len(cases))),
        unknown=tuple(unknown),
        unknown_loss=tuple(unknown_loss),
    )


def _solved_or_refused(case: Case) -> _SolvedCase | _Refused:
    """The case solved from its geometry, or why that is not possible."""
    try:
        return _solved_case(case)
    except (UnknownValueError, ValidityError) as error:
        return _Refused(str(error))


def _solved_case(case: Case) -> _SolvedCase:
    pitch = case.around.pitch
    if case.around.odd and pitch is None:
        raise UnknownValueError(f"pitch of the pair at padstack {case.shape.padstack.name} is unknown: give x and y.")
    try:
        return _of_shape(case)
    except UnknownValueError:
        antipads = with_antipads(case.shape)
        dks = without_dk(case.shape)
        if not antipads and not dks:
            raise
    shapes = [shape for known in with_dks(case.shape) for shape in (with_antipads(known) if antipads else (known,))]
    possible = [solved for shape in shapes if (solved := _of_shape_or_none(case._replace(shape=shape))) is not None]
    assumed = (*((ANTIPAD_UNKNOWN,) if antipads else ()), *((DK_UNKNOWN,) if dks else ()))
    if not possible:
        raise ValidityError(f"{'; '.join(assumed)}: none of the values tried gives a hole that can be solved.")
    is_open = [ANTIPAD_OPEN.format(case.shape.padstack.name)] if antipads else []
    return _range(possible, assumed, (*is_open, *(DK_OPEN.format(name) for name in dks)))


def _of_shape_or_none(case: Case) -> _SolvedCase | None:
    """The case solved; None where a value that was tried is impossible, as an antipad that reaches a return via is."""
    try:
        return _of_shape(case)
    except ValidityError:
        return None


def _range(solved: Sequence[_SolvedCase], assumed: tuple[str, ...], is_open: tuple[str, ...]) -> _SolvedCase:
    """One case whose figures are a range over several. Its provenance, of the first, says what is unknown."""
    first = solved[0]
    known = replace(
        first.provenance,
        assumptions=(*assumed, *first.provenance.assumptions),
        open_inputs=(*is_open, *first.provenance.open_inputs),
    )
    of = first.regime._replace(nearest_rule=True, k_b=max(each.regime.k_b for each in solved))
    return _SolvedCase(tuple(variant for each in solved for variant in each.variants), known, of)


def _of_shape(case: Case) -> _SolvedCase:
    """A case of which all is known but, perhaps, its return vias and its feed."""
    pitch = case.around.pitch
    solvable = barrel_of(case.shape, case.length_si, bore=case.bore, pitch=pitch)
    solved = [solve(barrel) for barrel in solvable.barrels]
    paths, notes = return_paths(case.around, solved[0])
    variants = tuple(_Variant(fed, path, pitch) for fed in solved for path in paths)
    for variant in variants:
        check_stub(variant.solved, variant.path, variant.pitch_or_nan)
    notes = (*notes, *too_near(solved[0], paths, pitch))
    nearest_rule = solvable.nearest_rule or ReturnNote.AT_THE_ANTIPAD in notes
    return _SolvedCase(
        variants=variants,
        provenance=Provenance(
            tier=SOLVED, assumptions=(*solvable.assumptions, *notes), model_error=in_words(np.inf),
            open_inputs=(*solvable.open_inputs, *([RETURN_VIAS] if ReturnNote.UNKNOWN in notes else [])),
        ),
        regime=regime(
            solved[0], return_vias=any(path.positions for path in paths), too_near=ReturnNote.TOO_NEAR in notes,
            feed=case.shape.feed.kind, pair=case.around.odd, nearest_rule=nearest_rule,
        ),
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class SolvedThrough:
    """A solved length of barrel between entry and exit.

    Parameters
    ----------
    chain : Chain
        Of one barrel.
    """

    chain: Chain

    def __call__(self, frequency: NDArray[np.float64]) -> NDArray[np.complex128]:
        """Chain matrix over frequency [Hz], shape (n, 2, 2)."""
        check_frequency(frequency, float(self.chain.highest_frequency()[0]))
        return self._sweep(frequency)

    @cached_property
    def _sweep(self) -> AbcdSweep:
        return AbcdSweep(self.chain)

    def __getstate__(self) -> dict[str, Chain]:
        """The chain only: the sweep is made again when it is needed."""
        return {"chain": self.chain}


def solved_through(barrel: Barrel, around: Around) -> SolvedThrough:
    """Solve a length of barrel between entry and exit.

    Parameters
    ----------
    barrel : Barrel
        With ``end=None``.
    around : Around
        What stands around its hole; its return vias are known.

    Returns
    -------
    SolvedThrough
    """
    solved = solve(barrel)
    (path,), _ = return_paths(around, solved)
    return SolvedThrough(_chain([_Variant(solved, path, around.pitch)]))


def check_frequency(frequency: NDArray[np.float64], highest: float) -> None:
    """Refuse frequencies above the highest at which the solved model is valid.

    Parameters
    ----------
    frequency : ndarray
        [Hz].
    highest : float
        [Hz].

    Raises
    ------
    ValidityError
    """
    if np.max(frequency, initial=0.0) > highest:
        raise ValidityError(
            f"frequency = {show(np.max(frequency), 'frequency')}: above {show(highest, 'frequency')} the gap between "
            f"barrel and antipad is half a wave long, and the solved hole no longer holds."
        )
