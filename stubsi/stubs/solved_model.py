"""Owns the second tier on a board: each case solved from its geometry; what cannot be goes to the uniform line."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.errors import UnknownValueError, ValidityError
from stubsi.memory import Memory
from stubsi.physics.chain import Chain, check_stub
from stubsi.physics.notch import first_notch
from stubsi.physics.reactance import notch
from stubsi.physics.return_path import Posts, check_single, unknown_return_paths
from stubsi.physics.solved_barrel import SolvedBarrel, solve
from stubsi.physics.sweep import AbcdSweep, InputSweep
from stubsi.provenance import HARDWARE_ERROR, Provenance
from stubsi.stubs.as_barrel import Solvable, barrel_of
from stubsi.stubs.models import Models
from stubsi.stubs.uniform_model import uniform_models
from stubsi.units import show

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from stubsi.physics.barrel import Barrel
    from stubsi.stubs.cases import Case
    from stubsi.stubs.surroundings import Around

SOLVED = "solved geometry"
SOLVED_ERROR = "0.2 % median, 2.5 % at most against full wave"
"""Error of the notch. Source: project full-wave reference, 62 geometries."""
NEAREST_ERROR = "nearest covered case: up to 5 % against full wave"
"""Where no rule covers a stub exactly: the residual of the trace-fed reference, 4 %, and a margin."""
FAR_ERROR = "far from any covered case: down to half"
"""Error for stubs of which only half is modelled; no reference data exist."""
OWN, SHARP = 0.8, 0.97
"""Shares of the frequency at which its reactance vanishes below which a notch is not the stub's own, or is blurred."""
SCAN_REACH = 2e-3
"""Unknown return vias are scanned from just outside the clearance to this much [m] further."""


class ReturnNote(StrEnum):
    """What had to be assumed about the return vias of a hole. Each is also its wording."""

    UNKNOWN = "return vias unknown: 1-8 vias within 2 mm of the clearance, or none"
    OPEN_PLANES = "no return via as deep as the hole within 10 mm: open planes"
    MIRRORED = "return vias mirrored on the other leg"
    AT_THE_ANTIPAD = "return vias inside the antipad taken at its edge"
    TOO_NEAR = "a return via is nearer to the antipad than the planes are apart"


class NotchNote(StrEnum):
    """What has to be said of a first notch that is no sharp notch of the stub itself. Each is also its wording."""

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


class _Notch(NamedTuple):
    """First notch in 50 ohm [Hz], and where the reactance first vanishes. Infinite: no electrical length."""

    frequency: float
    zero: float


REMEMBERED = 20_000
"""How many solved cases, and how many of their first notches, are remembered."""
_solved_cases: Memory[Case, _SolvedCase | str] = Memory(REMEMBERED)
_first_notches: Memory[_Variant, _Notch] = Memory(REMEMBERED)


def _find_first_notches(variants: Sequence[_Variant]) -> list[_Notch]:
    frequency, zero = first_notch(_chain(variants))
    return [_Notch(*row) for row in zip(np.nan_to_num(frequency, nan=np.inf).tolist(), zero.tolist(), strict=True)]


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

    @cached_property
    def _first_frequency(self) -> NDArray[np.float64]:
        return np.array([notch.frequency for notch in self._first])

    @cached_property
    def _sweep(self) -> InputSweep:
        """Voltage and current at the input of a single stub over frequency [Hz]."""
        return InputSweep(self.chain)

    def __getstate__(self) -> dict[str, tuple[_Variant, ...]]:
        """Without what was remembered of the chain."""
        return {"variants": self.variants}

    def notch(self, order: int, index: NDArray[np.intp]) -> NDArray[np.float64]:
        """Notch of the stubs of these numbers [Hz]."""
        return self._first_frequency[index] if order == 1 else notch(self.chain.only(index), order)

    def nearest_notch(self, index: NDArray[np.intp], frequency: NDArray[np.float64]) -> None:
        """No closed form: the orders are tried one by one."""

    def notch_note(self, index: int) -> NotchNote | None:
        """What has to be said of the first notch of a stub; None of a sharp one."""
        frequency, zero = self._first[index]
        if np.isinf(frequency) or frequency > SHARP * zero:
            return None
        has_return_vias = bool(self.variants[index].path.positions)
        return NotchNote.CAVITY if frequency < OWN * zero and has_return_vias else NotchNote.BLURRED

    def highest(self) -> float:
        """Frequency up to which all of them hold [Hz]."""
        return float(self.chain.highest_frequency().min())

    def input(self, index: NDArray[np.intp], frequency: NDArray[np.float64]) -> tuple[NDArray, NDArray]:
        """Voltage and current at the input of the stubs of these numbers, each at its frequency [Hz]."""
        if len(self.variants) == 1:
            return self._sweep(frequency)
        order = np.argsort(index, kind="stable")
        place = np.empty(len(index), dtype=np.intp)
        place[order] = np.arange(len(index)) - np.searchsorted(index[order], index[order])
        f = np.full((len(self.variants), place.max() + 1), 1e9)
        f[index, place] = frequency
        voltage, current = self.chain.voltage_current(f)
        return voltage[index, place], current[index, place]


def _chain(variants: Sequence[_Variant]) -> Chain:
    return Chain.of([(v.solved, v.path) for v in variants], [v.pitch_or_nan for v in variants])


def solved_models(cases: Sequence[Case]) -> Models:
    """Model each case from its geometry; as a uniform line, saying why, where that is not known.

    Parameters
    ----------
    cases : sequence of Case
        Those solved before are remembered.

    Returns
    -------
    Models

    Notes
    -----
    Unknown return vias make a case a range: 1, 2, 3, 4, 6 and 8 equal vias at several distances, and none.
    """
    variants: list[_Variant] = []
    owner: list[int] = []
    provenance: dict[int, Provenance] = {}
    refused: dict[int, str] = {}
    solved_cases = _solved_cases.all(cases, lambda new: [_solved_or_refused(case) for case in new])
    for number, solved in enumerate(solved_cases):
        if isinstance(solved, str):
            refused[number] = solved
            continue
        variants += solved.variants
        owner += [number] * len(solved.variants)
        provenance[number] = solved.provenance
    owners, stack = np.array(owner, dtype=np.intp), SolvedStack(tuple(variants))
    for number, lowest in _lowest(stack, owners):
        note = stack.notch_note(lowest)
        if note:
            provenance[number] = replace(provenance[number], assumptions=(*provenance[number].assumptions, note))
    return _joined(cases, stack, owners, provenance, refused)


def _lowest(stack: SolvedStack, owner: NDArray[np.intp]) -> Iterable[tuple[int, int]]:
    """Every case with its variant of the lowest first notch."""
    if not len(owner):
        return ()
    order = np.lexsort((stack.notch(1, np.arange(len(owner))), owner))
    case, first = np.unique(owner[order], return_index=True)
    return zip(case.tolist(), order[first].tolist(), strict=True)


def _joined(
    cases: Sequence[Case],
    stack: SolvedStack,
    owner: NDArray[np.intp],
    provenance: dict[int, Provenance],
    refused: dict[int, str],
) -> Models:
    rest = sorted(refused)
    fallback = uniform_models([cases[number] for number in rest])
    for number, uniform in zip(rest, fallback.provenance, strict=True):
        provenance[number] = replace(uniform, not_solved=refused[number])
    unknown: list[str | None] = [None] * len(cases)
    unknown_loss: list[str | None] = [None] * len(cases)
    for number, notch_missing, loss_missing in zip(rest, fallback.unknown, fallback.unknown_loss, strict=True):
        unknown[number], unknown_loss[number] = notch_missing, loss_missing
    return Models(
        variants=(*((stack,) if stack.variants else ()), *fallback.variants),
        owner=(
            *((owner,) if stack.variants else ()),
            *(np.array(rest, dtype=np.intp)[own] for own in fallback.owner),
        ),
        provenance=tuple(provenance[number] for number in range(len(cases))),
        unknown=tuple(unknown),
        unknown_loss=tuple(unknown_loss),
    )


def _solved_or_refused(case: Case) -> _SolvedCase | str:
    """The case solved from its geometry, or why it cannot be."""
    try:
        return _solved_case(case)
    except (UnknownValueError, ValidityError) as error:
        return str(error)


def _solved_case(case: Case) -> _SolvedCase:
    pitch = case.around.pitch
    if case.around.odd and pitch is None:
        raise UnknownValueError(f"pitch of the pair at padstack {case.shape.padstack.name} is unknown: give x and y.")
    solvable = barrel_of(case.shape, case.length_si, bore=case.bore, pitch=pitch)
    solved = solve(solvable.barrel)
    paths, notes = return_paths(case.around, solved)
    variants = tuple(_Variant(solved, path, pitch) for path in paths)
    for variant in variants:
        check_stub(solved, variant.path, variant.pitch_or_nan)
    return _SolvedCase(variants, _provenance(solvable, (*notes, *_too_near(solved, paths, pitch))))


def _seen(path: Posts, pitch: float | None) -> Posts:
    """Return vias as seen from the barrel; of a pair those on its side."""
    if pitch is None:
        return path
    return Posts(positions=tuple((x - pitch / 2, y) for x, y in path.positions if x > 0), radius=path.radius)


def _too_near(solved: SolvedBarrel, paths: Sequence[Posts], pitch: float | None) -> tuple[ReturnNote, ...]:
    """A return via nearer to the clearance than the planes are apart lies outside what was validated: R - b < h."""
    try:
        if len(paths) == 1 and solved.layout.sections:
            heights = [sum(thickness for _, thickness in section.filling) for section in solved.layout.sections]
            clearances = [section.clearance_radius for section in solved.layout.sections]
            check_single(solved.barrel.barrel_radius, clearances, _seen(paths[0], pitch), heights)
    except ValidityError:
        return (ReturnNote.TOO_NEAR,)
    return ()


def _provenance(solvable: Solvable, returns: tuple[ReturnNote, ...]) -> Provenance:
    """Tier and errors; of a short stub the drawn length is the worst case, as the electrical start is a share of it."""
    lower = solvable.start_share if solvable.start_share > HARDWARE_ERROR else 0.0
    short = (f"short stub: up to {100 * lower:.0f} % lower if all of its drawn length counts",) if lower else ()
    return Provenance(
        tier=SOLVED,
        assumptions=(*solvable.assumptions, *returns, *short),
        model_error=_model_error(solvable, returns),
        low=1 - max(lower, HARDWARE_ERROR),
    )


def _model_error(solvable: Solvable, returns: tuple[ReturnNote, ...]) -> str:
    if solvable.start_share >= 0.5:
        return FAR_ERROR
    return NEAREST_ERROR if solvable.nearest_rule or ReturnNote.TOO_NEAR in returns else SOLVED_ERROR


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
        """Without what was remembered of a sweep."""
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
    """Refuse frequencies above the highest at which a solved barrel holds.

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


def return_paths(around: Around, solved: SolvedBarrel) -> tuple[list[Posts], tuple[ReturnNote, ...]]:
    """Return paths to solve a hole with: the one its reference holes make, or those scanned when they are unknown.

    Parameters
    ----------
    around : Around
        What stands around the hole.
    solved : SolvedBarrel

    Returns
    -------
    paths : list of Posts
    notes : tuple of ReturnNote
        What had to be assumed about them.
    """
    if around.returns is None:
        return _scanned(around, solved), (ReturnNote.UNKNOWN,)
    if not around.returns:
        return [Posts()], (ReturnNote.OPEN_PLANES,)
    if around.odd:
        mirrored = tuple((-x, y) for x, y in around.returns)
        return [_apart(around.returns + mirrored, around.radius)], (ReturnNote.MIRRORED,)
    places = np.array(around.returns) @ (1, 1j)
    grow = np.maximum(1.0, (_widest(solved) + around.radius) / np.maximum(np.abs(places), 1e-9))
    outside = tuple((via.real, via.imag) for via in (places * grow).tolist())
    notes = (ReturnNote.AT_THE_ANTIPAD,) if (grow > 1).any() else ()
    return [_apart(outside, around.radius)], notes


def _apart(positions: tuple[tuple[float, float], ...], radius: float) -> Posts:
    """Return vias of one radius; no larger than keeps them apart, where the nearest is wider than others."""
    places = np.array(positions) @ (1, 1j)
    gaps = np.abs(places[:, None] - places)[np.triu_indices(len(places), 1)]
    return Posts(positions=positions, radius=min(radius, 0.499 * float(gaps.min(initial=np.inf))))


def _widest(solved: SolvedBarrel) -> float:
    """Widest clearance radius along the barrel and beyond its end [m]."""
    levels = (*solved.barrel.levels, *(solved.barrel.end.bored if solved.barrel.end else ()))
    return max(level.clearance_radius for level in levels if level.kind == "plane")


def _scanned(around: Around, solved: SolvedBarrel) -> list[Posts]:
    radius = solved.barrel.barrel_radius
    nearest = _widest(solved) + 1.1 * radius
    if not around.odd:
        return unknown_return_paths(nearest, nearest + SCAN_REACH, radius)
    half = around.pitch / 2
    distances = np.linspace(nearest, nearest + SCAN_REACH, 4).tolist()
    inline = [((half + d, 0.0), (-half - d, 0.0)) for d in distances]
    beside = [((half, d), (half, -d), (-half, d), (-half, -d)) for d in distances]
    return [Posts(), *(Posts(positions=p, radius=radius) for p in (*inline, *beside))]
