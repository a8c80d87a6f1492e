"""Owns the solved model of the stubs of a board: each from its geometry, or a uniform line where that is impossible."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.errors import UnknownValueError, ValidityError
from stubsi.memory import Memory
from stubsi.physics.chain import check_stub
from stubsi.physics.solved_barrel import solve
from stubsi.provenance import HARDWARE_ERROR, Provenance
from stubsi.stubs.as_barrel import barrel_of
from stubsi.stubs.far_copper import FEW_NEAR, UNKNOWN_FAR, with_copper_far_off, with_unknown_far_off
from stubsi.stubs.hole_return_paths import RETURN_VIAS, ReturnNote, return_paths, ring_of, room
from stubsi.stubs.model_error import Regime, in_words, least_notch, notch_error, regime
from stubsi.stubs.models import Models, Shorter
from stubsi.stubs.other_lengths import BEYOND_THE_FACE, SHORTER, just_beyond, shorter_among_vias, shorter_lengths
from stubsi.stubs.solved_stack import SolvedStack, Variant
from stubsi.stubs.uniform_model import uniform_models
from stubsi.stubs.unknown_antipad import ANTIPAD_OPEN, ANTIPAD_UNKNOWN, with_antipads
from stubsi.stubs.unknown_df import has_unknown_df
from stubsi.stubs.unknown_dk import DK_OPEN, DK_UNKNOWN, with_dks, without_dk
from stubsi.units import show

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from numpy.typing import NDArray

    from stubsi.stubs.cases import Case

SOLVED = "solved geometry"
NO_NOTCH_BELOW = "no notch below {}, and the model holds no further: measure it or solve its field"
"""What leaves a verdict open that a notch higher up would decide."""


NEARLY = "a dip at {} is nearly a notch"
"""Why the worst value of a notch lies below what the error of the model gives."""


REMEMBERED = 10_000
"""How many solved cases are remembered."""


class _SolvedCase(NamedTuple):
    """A case solved from its geometry: one variant, or one for each return path scanned."""

    variants: tuple[Variant, ...]
    provenance: Provenance
    regime: Regime


class _Refused(NamedTuple):
    """Why a case cannot be solved from its geometry."""

    reason: str


class _Solved(NamedTuple):
    """The variants of all solved cases: ``owner``, ``below`` and ``model_below`` are as in ``Models``."""

    stack: SolvedStack
    owner: NDArray[np.intp]
    below: NDArray[np.float64]
    model_below: NDArray[np.float64]


_solved_cases: Memory[Case, _SolvedCase | _Refused] = Memory(REMEMBERED)


def solved_models(cases: Sequence[Case], *, look_beyond: bool = True, look_back: bool = True) -> Models:
    """Model each case from its geometry. Where that is not possible it is a uniform line, and its provenance says why.

    Parameters
    ----------
    cases : sequence of Case
        Cases that were solved before are remembered, and not solved again.
    look_beyond, look_back : bool
        Whether a stub that ends just before a face of copper is also solved as if it ended just beyond it, where the
        notch may change abruptly; and whether the shorter stubs are that it must not be judged better than.

    Returns
    -------
    Models

    Notes
    -----
    If the return vias are unknown, the figures of a case are a range: over 1, 2, 3, 4, 6 and 8 equal vias at several
    distances, and no via.
    """
    if look_back:
        _solve_together(cases, look_beyond=look_beyond)
    variants: list[Variant] = []
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
    low, nearly = np.full((2, len(cases)), np.inf)
    found = stack.first_notch(np.arange(len(owners)))
    regime_of_variant = [_regime_of(regimes[number], variant) for number, variant in zip(owner, variants, strict=True)]
    np.fmin.at(low, owners, found.low)
    np.fmin.at(nearly, owners, found.nearly)
    model_below = np.array(list(map(_model_below, regime_of_variant, found.low.tolist())), dtype=float)
    below = np.minimum(model_below, 1 - HARDWARE_ERROR)
    for number, lowest in _lowest(stack, owners):
        provenance[number] = _of_notch(
            provenance[number], regime_of_variant[lowest], stack, lowest, float(nearly[number])
        )
    provenance |= _with_least_of(with_copper_far_off, FEW_NEAR, cases, provenance, low)
    provenance |= _with_least_of(with_unknown_far_off, UNKNOWN_FAR, cases, provenance, low)
    if look_beyond:
        provenance |= _with_least_of(just_beyond, BEYOND_THE_FACE, cases, provenance, low)
    if look_back:
        provenance |= _with_least_of(shorter_among_vias, SHORTER, cases, provenance, low)
    models = _joined(cases, _Solved(stack, owners, below, model_below), provenance, refused)
    return _with_shorter(models, cases, low.tolist(), nearly.tolist()) if look_back else models


def _solve_together(cases: Sequence[Case], *, look_beyond: bool) -> None:
    """Solve cases with all others whose notches count for them in one search, which costs less than one for each.

    Nothing is returned: what is solved is remembered. Which shorter stubs count only where a dip is nearly a notch is
    not known before, so these are solved later.
    """
    counted = list(cases)
    if look_beyond:
        counted += (other for case in cases for other in just_beyond(case))
    counted += (
        case._replace(length_si=length) for case in cases for length in shorter_lengths(case, low=np.inf, nearly=np.inf)
    )
    counted += [
        other for case in counted for far_off in (with_copper_far_off, with_unknown_far_off) for other in far_off(case)
    ]
    counted += (other for case in cases for other in shorter_among_vias(case))
    solved = _solved_cases.all(list(dict.fromkeys(counted)), lambda new: [_solved_or_refused(case) for case in new])
    variants = (variant for case in solved if isinstance(case, _SolvedCase) for variant in case.variants)
    SolvedStack(tuple(dict.fromkeys(variants))).solve_notches()


def _regime_of(of: Regime, variant: Variant) -> Regime:
    """Regime of one variant of a case: where the return vias are scanned, one of the variants has open planes."""
    return of._replace(return_vias=bool(variant.path.positions))


def _model_below(of: Regime, notch: float) -> float:
    """Multiple of the first notch [Hz] of a variant below which full wave is not expected to find it."""
    return 1 - HARDWARE_ERROR if np.isinf(notch) else least_notch(of, notch) / notch


def _with_shorter(models: Models, cases: Sequence[Case], low: list[float], nearly: list[float]) -> Models:
    """Models that hold those of the shorter stubs as well which each case must not be judged better than."""
    solved = (number for number, each in enumerate(models.provenance) if each.tier == SOLVED)
    pairs = [
        (number, cases[number]._replace(length_si=length))
        for number in solved
        for length in shorter_lengths(cases[number], low=low[number], nearly=nearly[number])
    ]
    if not pairs:
        return models
    place = {case: number for number, case in enumerate(dict.fromkeys(case for _, case in pairs))}
    shorter = solved_models(list(place), look_beyond=False, look_back=False)
    longer_of = [(number, place[case]) for number, case in pairs if shorter.provenance[place[case]].tier == SOLVED]
    longer, of = np.array(longer_of, dtype=np.intp).reshape(-1, 2).T
    provenance = list(models.provenance)
    best, least_best = (each.first_notch[1] * each.notch_bounds[1] for each in (models, shorter))
    worse = (shorter.least_notch[of] < models.least_notch[longer]) | (least_best[of] < best[longer])
    for number in np.unique(longer[worse]).tolist():
        here = provenance[number]
        provenance[number] = replace(here, assumptions=(*here.assumptions, SHORTER))
    return replace(models, provenance=tuple(provenance), shorter=Shorter(shorter, longer, of))


def _with_least_of(
    others: Callable[[Case], list[Case]],
    note: str,
    cases: Sequence[Case],
    provenance: dict[int, Provenance],
    low: NDArray[np.float64],
) -> dict[int, Provenance]:
    """Provenance of the cases whose notch other cases may lower, with the least notch of those.

    ``others``: gives the other cases of a case; ``note``: what is then said where that is lower than its own, of which
    ``low`` [Hz] is the first notch as computed.
    """
    pairs = [(number, case) for number in provenance for case in others(cases[number])]
    if not pairs:
        return {}
    place = {case: number for number, case in enumerate(dict.fromkeys(case for _, case in pairs))}
    models = solved_models(list(place), look_beyond=False, look_back=False)
    solved = [each.tier == SOLVED for each in models.provenance]
    both = np.stack([models.least_notch, models.by_model_error.least_notch], axis=1)
    least = np.where(np.array(solved)[:, np.newaxis], both, np.inf)
    lowest = np.full((len(cases), 2), np.inf)
    np.fmin.at(lowest, [number for number, _ in pairs], least[[place[case] for _, case in pairs]])
    found = {}
    for number, (as_built, by_model) in enumerate(lowest.tolist()):
        if np.isfinite(by_model) and by_model < ((here := provenance[number]).model_nearly or np.inf):
            found[number] = replace(here, model_nearly=by_model)
        if np.isfinite(as_built) and as_built < ((here := provenance[number]).nearly_notch or np.inf):
            said = (*here.assumptions, note) if as_built < here.low * low[number] else here.assumptions
            found[number] = replace(found.get(number, here), nearly_notch=as_built, assumptions=said)
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
    nearly_notch = model_nearly = None
    if nearly < notch:
        notes.append(NEARLY.format(show(nearly, "frequency")))
        model_nearly = least_notch(of, nearly)
        nearly_notch = min(model_nearly, provenance.low * nearly)
    return replace(
        provenance,
        model_error=f"{'nearest covered case, ' if of.nearest_rule else ''}{in_words(error)}",
        assumptions=(*provenance.assumptions, *notes),
        low=min(provenance.low, least_notch(of, notch) / notch),
        high=max(provenance.high, 1 + error),
        model_low=least_notch(of, notch) / notch,
        model_high=1 + error,
        nearly_notch=nearly_notch,
        model_nearly=model_nearly,
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
    cases: Sequence[Case], solved: _Solved, provenance: dict[int, Provenance], refused: dict[int, str]
) -> Models:
    """The solved cases, and uniform lines for those that were refused, in the order of ``cases``."""
    unsolved = sorted(refused)
    fallback = uniform_models([cases[number] for number in unsolved])
    for number, uniform in zip(unsolved, fallback.provenance, strict=True):
        provenance[number] = replace(uniform, not_solved=refused[number])
    some = bool(solved.stack.variants)
    unknown: list[str | None] = [None] * len(cases)
    unknown_loss: list[str | None] = [None] * len(cases)
    for number, notch_missing, loss_missing in zip(unsolved, fallback.unknown, fallback.unknown_loss, strict=True):
        unknown[number], unknown_loss[number] = notch_missing, loss_missing
    return Models(
        variants=(*((solved.stack,) if some else ()), *fallback.variants),
        owner=(
            *((solved.owner,) if some else ()),
            *(np.array(unsolved, dtype=np.intp)[places] for places in fallback.owner),
        ),
        below=(*((solved.below,) if some else ()), *fallback.below),
        model_below=(*((solved.model_below,) if some else ()), *fallback.model_below),
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
    """The case solved; where an antipad or a Dk is unknown, over a range of it, which the provenance names."""
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
    return _SolvedCase(tuple(variant for each in solved for variant in each.variants), known, _hardest(solved))


def _hardest(solved: Sequence[_SolvedCase]) -> Regime:
    """Regime of a case of which several values are tried: of each part the one with the largest error."""
    regimes = [each.regime for each in solved]
    return regimes[0]._replace(
        nearest_rule=True,
        k_b=max(of.k_b for of in regimes),
        k_end=max(of.k_end for of in regimes),
        k_ring=max(of.k_ring for of in regimes),
        room=min(of.room for of in regimes),
        uneven=any(of.uneven for of in regimes),
        thick=any(of.thick for of in regimes),
    )


def _of_shape(case: Case) -> _SolvedCase:
    """A case of which all is known but, perhaps, its return vias and its feed."""
    pitch = case.around.pitch
    solvable = barrel_of(case.shape, case.length_si, bore=case.bore, pitch=pitch)
    solved = [solve(barrel) for barrel in solvable.barrels]
    paths, notes = return_paths(case.around, solved[0])
    variants = tuple(Variant(fed, path, pitch) for fed in solved for path in paths)
    for variant in variants:
        check_stub(variant.solved, variant.path, variant.pitch_or_nan)
    apart = room(solved[0], paths, pitch)
    notes = (*notes, *([ReturnNote.TOO_NEAR] if apart < 1 else []))
    nearest_rule = solvable.nearest_rule or ReturnNote.AT_THE_ANTIPAD in notes
    return _SolvedCase(
        variants=variants,
        provenance=Provenance(
            tier=SOLVED, assumptions=(*solvable.assumptions, *notes), model_error=in_words(np.inf),
            open_inputs=(*solvable.open_inputs, *([RETURN_VIAS] if ReturnNote.UNKNOWN in notes else [])),
            unknown_df=has_unknown_df(case.shape.stackup),
        ),
        regime=regime(
            solved[0], return_vias=any(path.positions for path in paths), room=apart, ring=ring_of(paths, pitch),
            feed=case.shape.feed.kind, pair=case.around.odd, nearest_rule=nearest_rule,
        ),
    )  # fmt: skip
