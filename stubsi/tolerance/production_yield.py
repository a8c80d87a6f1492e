"""Owns the yield: how probable it is that the nets of a board as built meet their criteria."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from stubsi.board.board import Board
from stubsi.board.names import how_many
from stubsi.checks import checked
from stubsi.errors import BoardError
from stubsi.provenance import BY_TOLERANCES
from stubsi.stubs.model_choice import ModelChoice
from stubsi.tolerance.near_limit import NearLimit
from stubsi.tolerance.net_results import NetResults
from stubsi.tolerance.study import Asked, study_of
from stubsi.tolerance.tally import Plan, counted, ranges_of
from stubsi.tolerance.tasks import batches, check_executor, check_progress, results_of
from stubsi.tolerance.tolerances import Tolerances
from stubsi.tolerance.yield_shares import narrowed, shares_of
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    from collections.abc import Callable
    from concurrent.futures import Executor

    import pandas as pd

    from stubsi.board.criterion import Criterion
    from stubsi.stubs.model_choice import ModelName
    from stubsi.tolerance.parts import UnknownYield
    from stubsi.tolerance.study import Study
    from stubsi.tolerance.tally import Ranges, Sampled, Tally
    from stubsi.tolerance.yield_shares import Shares
    from stubsi.units import Dimensioned

SAMPLES = 8192
MOST_SAMPLES = 10**12
QUANTILES = (0.01, 0.5, 0.99)


@dataclass(frozen=True, kw_only=True)
class NetYield:
    """Share of the boards built on which one net meets its criterion.

    Parameters
    ----------
    net : str
        Its name.
    criterion : Criterion
        What it must meet.
    probability : float
        Share of the samples that meet it; NaN where it is not known.
    least, most : float
        Between which the share lies, by what is known about the response surface: see ``production_yield``. 0 and 1
        where nothing is known.
    sampling_error : float
        Standard error of the share, from independent scramblings.
    quantiles : three of float
        The judged figure that 1 %, 50 % and 99 % of the boards stay below, in the unit of the limit. A loss is infinite
        where the first notch has come down to Nyquist.
    surface_error : float
        Largest error of the response surface seen on the boards solved, each left out of the fit, as a fraction of the
        judged figure.
    unknown : UnknownYield or None
        Why the share is not known.
    """

    net: str
    criterion: Criterion
    probability: float
    least: float
    most: float
    sampling_error: float
    quantiles: tuple[float, float, float]
    surface_error: float
    unknown: UnknownYield | None = None

    def __repr__(self) -> str:
        why = f", {self.unknown.why}" if self.unknown else ""
        return f"<NetYield {self.net[:60]}: {self.probability:.4g} ({self.least:.4g} to {self.most:.4g}){why}>"


@dataclass(frozen=True, kw_only=True, repr=False)
class ProductionYield(NetResults[NetYield]):
    """The yield of a board. Iterate it, ask it for a net by name, print it, or take ``to_frame()``.

    Parameters
    ----------
    board : Board
        The board as drawn.
    tolerances : Tolerances
        What varies.
    model : ModelChoice
        Electrical model of the stubs.
    seed : int
        Seed of the samples.
    samples : int
        How many samples were drawn.
    nets : tuple of NetYield
        In the order of the board.
    probability, least, most, sampling_error : float
        As in ``NetYield``, for all nets together that are not waived. It is counted on the same boards, and is not the
        product of the nets. NaN where a net that decides is not known; ``unknown_nets`` says why.
    screened : float
        Share of the samples that were screened out because the board was too thick or too thin.
    solved : int
        How many boards were solved.
    """

    board: Board
    tolerances: Tolerances
    model: ModelChoice
    seed: int
    samples: int
    nets: tuple[NetYield, ...] = field(compare=False)
    probability: float = field(compare=False)
    least: float = field(compare=False)
    most: float = field(compare=False)
    sampling_error: float = field(compare=False)
    screened: float = field(compare=False)
    solved: int = field(compare=False)

    @property
    def unknown_nets(self) -> tuple[NetYield, ...]:
        """The nets whose share is not known, each with its reason; waived ones too."""
        return tuple([net for net in self.nets if net.unknown])

    def to_frame(self) -> pd.DataFrame:
        """Table as a pandas DataFrame.

        Returns
        -------
        pandas.DataFrame
            A net in each row, in the order of the board; plain numbers.
        """
        import pandas as pd

        names = ("net", "probability", "least", "most", "sampling_error", "surface_error")
        columns = {name.replace("_", " "): [getattr(net, name) for net in self.nets] for name in names}
        for number, share in enumerate(QUANTILES):
            columns[f"judged figure, {share:.0%}"] = [net.quantiles[number] for net in self.nets]
        columns["unknown"] = [str(net.unknown or "") for net in self.nets]
        return pd.DataFrame(columns)

    def to_csv(self) -> str:
        """Table as CSV.

        Returns
        -------
        str
            Comment lines (#) with what it rests on, then the table, in the order of the board.
        """
        from stubsi.show.tolerance_table import yield_csv

        return yield_csv(self)

    def __str__(self) -> str:
        table = (
            self.to_frame().drop(columns="unknown").to_string(index=False, float_format=lambda value: f"{value:.4g}")
        )
        unknown = "".join(f"\n{net.net}: {net.unknown}" for net in self.unknown_nets)
        return f"{table}\n{self!r}{unknown}\n{self.tolerances}\n{BY_TOLERANCES}"

    def _repr_html_(self) -> str:
        from stubsi.show.tolerance_table import yield_html

        return yield_html(self)

    def __repr__(self) -> str:
        because = f", {len(self.unknown_nets)} unknown" if self.unknown_nets else ""
        return (
            f"<ProductionYield of {how_many(len(self), 'net')}: {self.probability:.4g} "
            f"({self.least:.4g} to {self.most:.4g}), sampling error {self.sampling_error:.1g}{because}>"
        )


def production_yield(
    board: Board,
    tolerances: Tolerances,
    *,
    seed: int = 0,
    samples: int = SAMPLES,
    model: ModelName = "solved",
    dk_eff: float | None = None,
    delay: Dimensioned | None = None,
    executor: Executor | None = None,
    progress: Callable[[int, int], object] | None = None,
) -> ProductionYield:
    """Share of the boards built on which each net, and the whole board, meets its criterion.

    Parameters
    ----------
    board : Board
        The board as drawn.
    tolerances : Tolerances
        What varies, and how it is distributed.
    seed : int
        Seed of the samples, not negative. The same seed gives the same result.
    samples : int
        How many samples are drawn at least. They are drawn in whole blocks.
    model, dk_eff, delay
        As in ``rank``.
    executor : concurrent.futures.Executor, optional
        Takes the work, in at most 32 tasks for the boards and 32 for the samples. It is not shut down. The result is
        the same, bit for bit, as without it.
    progress : callable, optional
        Is told how much is done, of how much: boards that are solved, then groups of blocks of samples.

    Returns
    -------
    ProductionYield
        Every net, in the order of the board.

    Raises
    ------
    StubsiError
        An argument is of the wrong type, a tolerance does not fit the board, or a board cannot be built.

    Notes
    -----
    A quadratic of all factors stands in for the solver. It is fitted to the logarithm of the first notch of every stub,
    and of the judged figure of every net with another criterion, on boards that are solved: 69 with six factors. A loss
    is fitted where the first notch lies above Nyquist; whether it does is a surface of its own.

    Its error is the largest one on these boards, each left out of its own fit. ``least`` and ``most`` are the shares
    with the surface off by 1.25 times this error, to either side. Where a figure jumps, as a notch does that turns into
    the next resonance, this error is large. Then the boards that were solved say more: how many of them meet the
    criterion, with 95 % confidence (Clopper and Pearson), and ``probability`` is corrected by what they show. Where the
    share of a net is still known to more than 3 points only, up to 144 samples of that net are solved in three rounds,
    only where its verdict is open. A border between met and missed, linear in the factors, is fitted to them (logistic
    regression). It counts as off by 1.25 times the largest error seen, each sample left out of its fit; of the samples
    that this leaves open, as many meet the criterion as of those that were solved, with 95 % confidence.

    The factors of the board come from scrambled Sobol sequences, at least 16 of them, of 512 to 16,384 samples each.
    What every hole has for itself (``drill``) comes from counter-based random numbers, for each hole, and the holes of
    a net deviate independently; on the boards that are solved all holes, return vias included, deviate alike. A net
    that is judged by something other than its notch gets one value for all its holes. The boards that were solved then
    count for each stub, and bound the net whatever the dependence of its stubs.

    Quantiles come from histograms of 1,024 bins, so that memory does not grow with the samples. The figures are the
    worse ends of what is computed; how far off the model may be is not in them.

    Examples
    --------
    >>> from stubsi import Tolerance, read_ipc2581
    >>> found = read_ipc2581("shared/sluice_gate.xml", signals={"FLOW_*": "32 GT/s"}, z0="85 ohm", plating="20 um")
    >>> thick = Tolerances(board_thickness=Tolerance.plus_minus("10 %", source="a fabricator's capability page"))
    >>> production_yield(found.board, thick, model="uniform")["FLOW_P/FLOW_N"]
    <NetYield FLOW_P/FLOW_N: 0 (0 to 0)>
    """
    checked(board, "board", Board)
    checked(tolerances, "tolerances", Tolerances)
    check_number(seed, "seed", 0, 2**63 - 1)
    check_number(samples, "samples", 1, MOST_SAMPLES)
    check_executor(executor)
    check_progress(progress)
    choice = ModelChoice.of(model, dk_eff, delay)
    plan = Plan.of(samples)
    split, told = batches(plan.blocks), progress or (lambda done, of: None)
    study = study_of(Asked(board, tolerances, choice, seed), executor, lambda done, of: told(done, of + len(split)))
    sampled = study.sampled(seed, plan.per_block)
    ranges = ranges_of(sampled)
    begun, of = study.solved, study.solved + len(split)
    total = _counted(sampled, ranges, split, executor, lambda done: told(begun + done, of))
    if not total.kept:
        raise BoardError("tolerances: no sample keeps the bound on the thickness of the board.")
    shares = shares_of(study, total)
    wide = [net for net in shares.wide.tolist() if net not in study.unknown]
    if wide:
        near = NearLimit(study, sampled, executor, lambda done: told(of + done, of + done + len(split)))
        for net in wide:
            near.refine(net)
        begun = of + near.solved
        again = _counted(near.sampled, ranges, split, executor, lambda done: told(begun + done, begun + len(split)))
        shares = narrowed(shares, near, again)
    return _result(study, total, ranges, shares, (seed, plan.samples))


def _counted(
    sampled: Sampled, ranges: Ranges, split: list[range], executor: Executor | None, told: Callable[[int], object]
) -> Tally:
    """Count all blocks, here or in an executor."""
    total: Tally | None = None
    tasks = [(sampled, ranges, blocks) for blocks in split]
    for done, (_, tally) in enumerate(results_of(executor, counted, tasks), start=1):
        total = tally if total is None else total.plus(tally)
        told(done)
    assert total is not None  # there is at least one block
    return total


def check_number(value: object, what: str, least: int, most: int) -> None:
    """Check that something is a whole number between two others, and raise a BoardError where it is not."""
    if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
        rule = "that is not negative" if least == 0 else f"from {least} to {most:,}"
        raise BoardError(f"{what} = {as_shown(value)}: must be a whole number {rule}.")


def _result(
    study: Study, total: Tally, ranges: Ranges, shares: Shares, seed_and_samples: tuple[int, int]
) -> ProductionYield:
    """The rows of all nets, and the yield of the board, from the counts over all samples."""
    board, criteria, model = study.ranking.board, study.ranking.criterion_of_net, study.ranking.model
    seed, samples = seed_and_samples
    share, error = shares
    quantiles = ranges.quantiles(total.histogram, QUANTILES)
    with np.errstate(over="ignore"):
        rising = np.exp(quantiles) * study.parts.scale
        falling = np.exp(-quantiles[::-1]) * study.parts.scale
    rows = []
    for number, net in enumerate(board.signal_nets):
        unknown = study.unknown.get(number)
        low, middle, high = (rising if criteria[number].least else falling)[:, number].tolist()
        ends = (np.nan, 0.0, 1.0) if unknown else share[:, number].tolist()
        rows.append(
            NetYield(
                net=net.name, criterion=criteria[number], probability=ends[0], least=ends[1], most=ends[2],
                sampling_error=np.nan if unknown else float(error[number]),
                quantiles=(np.nan, np.nan, np.nan) if unknown else (low, middle, high),
                surface_error=float(study.error[number]), unknown=unknown,
            )
        )  # fmt: skip
    together = share[:, -1].tolist()
    undecided = together[1] < together[2] and any(row.unknown and not board.net(row.net).waiver for row in rows)
    return ProductionYield(
        board=board, tolerances=study.tolerances, model=model, seed=seed, samples=samples, nets=tuple(rows),
        probability=np.nan if undecided else together[0], least=together[1], most=together[2],
        sampling_error=np.nan if undecided else float(error[-1]), screened=1 - total.kept / samples,
        solved=study.solved + 1,
    )  # fmt: skip
