"""Owns the loss of holes that have a stub at both ends: the two stubs together, with the barrel between them.

Two stubs that are short against the wave act as one capacitance. So their reflections add up as voltages, and the loss
of the hole is up to twice the sum of the losses of its stubs.
"""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.errors import UnknownValueError, ValidityError
from stubsi.physics.chain import Chain, check_stub
from stubsi.physics.loss_curve import FROM, least_power, one_db_frequency
from stubsi.physics.solved_barrel import solve
from stubsi.physics.two_stubs import TwoStubs, at_one_place
from stubsi.physics.uniform_line import decibels
from stubsi.stubs.as_barrel import through_of
from stubsi.stubs.model_error import layer_change_error
from stubsi.stubs.solved_stack import SolvedStack

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from stubsi.physics.return_path import Posts
    from stubsi.physics.solved_barrel import SolvedBarrel
    from stubsi.physics.two_stubs import Through
    from stubsi.stubs.cases import Case
    from stubsi.stubs.models import Electrical, Models

    Floats = NDArray[np.float64]
    Numbers = NDArray[np.intp]

TOGETHER = 0.7
"""1 dB frequency of two equal stubs at one place over that of one of them [-], about. It only says where to look."""


class HoleUses(NamedTuple):
    """Holes with two stubs in their lines, each array of shape (n,).

    ``above``, ``below``: numbers of the cases of the stubs; ``nyquist`` [Hz]; ``z0`` [ohm].
    """

    above: Numbers
    below: Numbers
    nyquist: Floats
    z0: Floats


class HoleLosses(NamedTuple):
    """Figures of holes with two stubs, lowest and highest over what is not known: each of shape (2, ...).

    ``one_db`` [Hz], (2, n): infinite where the hole has no lower one than its stubs. ``loss`` and ``return_loss`` [dB],
    (2, 3, n): greatest and least one from 0 up to a frequency higher, equal to, and lower than Nyquist, as the bounds
    of the model say. ``nyquist_loss`` and ``nyquist_return_loss`` [dB], (2, n): at Nyquist. NaN where unknown.
    """

    one_db: Floats
    loss: Floats
    return_loss: Floats
    nyquist_loss: Floats
    nyquist_return_loss: Floats


class _Together(NamedTuple):
    """Variants of holes whose upper stubs have one model, and whose lower stubs have one.

    ``use``: number of the hole among the uses; ``upper``, ``lower``: numbers of its stubs in ``above`` and ``below``.
    """

    above: Electrical
    below: Electrical
    use: Numbers
    upper: Numbers
    lower: Numbers


def hole_losses(models: Models, cases: Sequence[Case], uses: HoleUses) -> HoleLosses:
    """Losses of whole holes.

    Parameters
    ----------
    models : Models
        Of the cases.
    cases : sequence of Case
    uses : HoleUses

    Returns
    -------
    HoleLosses

    Notes
    -----
    The barrel between the stubs is solved if both stubs are, and all of it is known. Otherwise the stubs count as if
    they were at one place. For a barrel that is short against the wave and of higher impedance than the line, that
    makes the loss larger, because its inductance takes back some of what the capacitance of the stubs does. The
    mismatch of a longer barrel, or of one of low impedance, is then left out. The pads in use and the exits into the
    traces are not in the hole: the higher frequency allows for them as ``model_error.layer_change_error`` says.
    """
    count = len(uses.nyquist)
    stubs = np.array([uses.above, uses.below])
    upper = uses.nyquist / models.least_below[stubs].min(axis=0)
    lower = uses.nyquist / models.notch_bounds[1, stubs].max(axis=0)
    upper *= 1 + layer_change_error(uses.nyquist)
    frequency = np.array([upper, uses.nyquist, lower])
    low, high = np.full((2, 9, count), np.nan)
    for part in _variants(models, uses):
        figures = _figures(part, cases, uses, frequency)
        for row, values in enumerate(figures):
            np.fmin.at(low[row], part.use, values)
            np.fmax.at(high[row], part.use, values)
    both = np.array([low, high])
    return HoleLosses(both[:, 0], both[:, 1:4], both[:, 4:7], both[:, 7], both[:, 8])


def _variants(models: Models, uses: HoleUses) -> Iterator[_Together]:
    """Variants of every hole, by the models of its two stubs.

    Both stubs see the same return vias, so where they have the same number of variants each belongs to its like.
    """
    found: dict[tuple[int, int], list[tuple[int, int, int]]] = defaultdict(list)
    for use, pair in enumerate(zip(uses.above.tolist(), uses.below.tolist(), strict=True)):
        above, below = (_variants_of(models, case) for case in pair)
        alike = len(above) == len(below)
        chosen = zip(above, below, strict=True) if alike else ((one, other) for one in above for other in below)
        for (stack_a, variant_a), (stack_b, variant_b) in chosen:
            found[stack_a, stack_b].append((use, variant_a, variant_b))
    for (stack_a, stack_b), rows in found.items():
        yield _Together(models.variants[stack_a], models.variants[stack_b], *np.array(rows, dtype=np.intp).T)


def _variants_of(models: Models, case: int) -> list[tuple[int, int]]:
    """Number of the model and number in it of every variant of a case."""
    return [
        (number, variant)
        for number, owner in enumerate(models.owner)
        for variant in range(*np.searchsorted(owner, [case, case + 1]).tolist())
    ]


def _figures(part: _Together, cases: Sequence[Case], uses: HoleUses, frequency: Floats) -> Floats:
    """The nine rows of figures of some variants, in the order of ``HoleLosses``."""
    z0 = uses.z0[part.use]
    own = np.fmin(part.above.one_db(part.upper, z0)[0], part.below.one_db(part.lower, z0)[0])
    holes = TwoStubs(part.above.inputs(part.upper), part.below.inputs(part.lower), _through(part, cases, uses), z0)
    known = np.where(np.isfinite(own), own, np.nan)
    found = one_db_frequency(holes.power(), TOGETHER * known, known)
    one_db = np.where(np.isnan(found), np.inf, found)
    rises_below = FROM * TOGETHER * own
    bands = [_in_band(holes, rises_below, f[part.use]) for f in frequency]
    s = holes.s(np.arange(len(z0)), frequency[1][part.use][:, None])
    reflected = np.fmax(np.abs(s.s11), np.abs(s.s22))
    at_nyquist = [decibels(s.s21)[:, 0], decibels(reflected)[:, 0]]
    return np.array([one_db, *(band[0] for band in bands), *(band[1] for band in bands), *at_nyquist])


def _in_band(holes: TwoStubs, rises_below: Floats, frequency: Floats) -> tuple[Floats, Floats]:
    """Greatest loss and least return loss [dB] from 0 up to a frequency [Hz]."""
    left = least_power(holes.power(), rises_below, frequency)
    not_reflected = least_power(holes.not_reflected(), rises_below, frequency)
    return decibels(np.sqrt(left)), decibels(np.sqrt(1 - not_reflected))


def _through(part: _Together, cases: Sequence[Case], uses: HoleUses) -> Through:
    """Chain matrices of the barrels between the stubs; none where they cannot be solved."""
    if not isinstance(part.above, SolvedStack) or not isinstance(part.below, SolvedStack):
        return at_one_place
    barrels = [_barrel_between(cases[uses.above[use]]) for use in part.use.tolist()]
    variants = [part.above.variants[number] for number in part.upper.tolist()]
    place = np.full(len(barrels), -1)
    stubs: list[tuple[SolvedBarrel, Posts]] = []
    pitches: list[float] = []
    for row, (barrel, variant) in enumerate(zip(barrels, variants, strict=True)):
        if barrel is not None and _is_defined(barrel, variant.path, variant.pitch_or_nan):
            place[row] = len(stubs)
            stubs.append((barrel, variant.path))
            pitches.append(variant.pitch_or_nan)
    if not stubs:
        return at_one_place
    chain = Chain.of(stubs, pitches)

    def through(rows: Numbers, frequency: Floats) -> NDArray[np.complex128]:
        matrices = np.array(at_one_place(rows, frequency))
        solved = np.flatnonzero(place[rows] >= 0)
        if solved.size:
            matrices[solved] = chain.only(place[rows[solved]]).abcd(frequency[solved])
        return matrices

    return through


def _barrel_between(case: Case) -> SolvedBarrel | None:
    """The barrel between the outermost layers in use, solved; None where no plane lies there, or a value is unknown."""
    shape = case.shape
    try:
        barrel = through_of(shape.stackup, shape.padstack, shape.span, case.around.pitch)
        return None if barrel is None else solve(barrel)
    except (UnknownValueError, ValidityError):
        return None


def _is_defined(barrel: SolvedBarrel, path: Posts, pitch: float) -> bool:
    """Whether the barrel can be solved with this return path."""
    try:
        check_stub(barrel, path, pitch)
    except ValidityError:
        return False
    return True
