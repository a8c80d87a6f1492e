"""Owns the yield: how probable it is that the nets of a board as built meet their criteria."""

from __future__ import annotations

from dataclasses import dataclass, field
from inspect import signature
from typing import TYPE_CHECKING

import numpy as np

from stubsi.board.board import Board
from stubsi.checks import checked
from stubsi.errors import BoardError
from stubsi.margin.verdict import bound
from stubsi.stubs.model_choice import ModelChoice
from stubsi.tolerance.built_figures import BuiltFigures
from stubsi.tolerance.net_results import NetResults
from stubsi.tolerance.response import BEYOND, quasi_random, refuse_per_hole, response_of, within
from stubsi.tolerance.tolerances import Tolerances
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from stubsi.board.criterion import Criterion
    from stubsi.stubs.model_choice import ModelName
    from stubsi.tolerance.built_figures import Floats
    from stubsi.tolerance.response import Response
    from stubsi.units import Dimensioned

BLOCKS = 16
"""Independent scramblings of the sequence; how much they differ is the sampling error."""
PER_BLOCK = 512
"""Samples of each of them."""
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
        Share of the samples that meet it; NaN where the figure is not known.
    least, most : float
        The same share if the response surface is off by 1.25 times the largest error seen, to the worse and to the
        better side.
    sampling_error : float
        Standard error of the share, from independent scramblings.
    quantiles : three of float
        The judged figure that 1 %, 50 % and 99 % of the boards stay below, in the unit of the limit.
    surface_error : float
        Largest error of the response surface seen on this board, as a fraction of the figure.
    """

    net: str
    criterion: Criterion
    probability: float
    least: float
    most: float
    sampling_error: float
    quantiles: tuple[float, float, float]
    surface_error: float

    def __repr__(self) -> str:
        return f"<NetYield {self.net[:60]}: {self.probability:.4g} ({self.least:.4g} to {self.most:.4g})>"


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
    nets : tuple of NetYield
        In the order of the board.
    probability, least, most, sampling_error : float
        As in ``NetYield``, for all nets together that are not waived. It is counted on the same boards, and is not the
        product of the nets. NaN where the figure of such a net is not known.
    screened : float
        Share of the samples that were screened out because the board was too thick or too thin.
    solved : int
        How many boards were solved.
    """

    board: Board
    tolerances: Tolerances
    model: ModelChoice
    seed: int
    nets: tuple[NetYield, ...] = field(compare=False)
    probability: float = field(compare=False)
    least: float = field(compare=False)
    most: float = field(compare=False)
    sampling_error: float = field(compare=False)
    screened: float = field(compare=False)
    solved: int = field(compare=False)

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
        return pd.DataFrame(columns)

    def __str__(self) -> str:
        table = self.to_frame().to_string(index=False, float_format=lambda value: f"{value:.4g}")
        return f"{table}\n{self!r}\n{self.tolerances}\nFabrication only: how far off the model may be comes on top."

    def __repr__(self) -> str:
        return (
            f"<ProductionYield of {len(self)} nets: {self.probability:.4g} ({self.least:.4g} to {self.most:.4g}), "
            f"sampling error {self.sampling_error:.1g}>"
        )


def production_yield(
    board: Board,
    tolerances: Tolerances,
    *,
    seed: int = 0,
    model: ModelName = "solved",
    dk_eff: float | None = None,
    delay: Dimensioned | None = None,
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
    model, dk_eff, delay
        As in ``rank``.
    progress : callable, optional
        Is told after each board how many are solved, of how many.

    Returns
    -------
    ProductionYield
        Every net, in the order of the board.

    Raises
    ------
    StubsiError
        An argument is of the wrong type, a tolerance does not fit the board, a board cannot be built, or a tolerance
        differs from hole to hole (``drill``), which is not covered.

    Notes
    -----
    8,192 samples in 16 scrambled Sobol sequences. A quadratic of all factors stands in for the solver: it is fitted to
    the logarithm of the judged figure on boards that are solved, and its error is measured on 12 other solved boards.
    A figure that is zero or infinite on some of them and not on others is not known.
    Where a figure jumps, as a notch that turns into a resonance does, this error is large, and ``least`` and ``most``
    lie far apart: then the probability says little. The figures are the worse ends of what is computed; how far off
    the model may be is not in them.
    """
    checked(board, "board", Board)
    checked(tolerances, "tolerances", Tolerances)
    if isinstance(seed, bool) or not isinstance(seed, int) or not 0 <= seed < 2**63:
        raise BoardError(f"seed = {as_shown(seed)}: must be a whole number that is not negative.")
    if progress is not None and not _takes_two(progress):
        raise BoardError(f"progress = {as_shown(progress)}: must be a function of two numbers, or None.")
    choice = ModelChoice.of(model, dk_eff, delay)
    figures = BuiltFigures(board, tolerances, choice)
    refuse_per_hole(figures)
    if not figures.factors:
        raise BoardError("tolerances: none is given, so there is nothing to draw; rank() judges the board as drawn.")
    response = response_of(
        figures, lambda count: quasi_random(figures, (seed, BLOCKS), count), progress or (lambda done, of: None)
    )
    return _counted(figures, response, seed)


def _takes_two(progress: object) -> bool:
    """Whether something is a function that can be called with two arguments; a class is none."""
    if not callable(progress) or isinstance(progress, type):
        return False
    try:
        signature(progress).bind(1, 2)
    except (TypeError, ValueError):
        return False
    return True


def _counted(figures: BuiltFigures, response: Response, seed: int) -> ProductionYield:
    nets = figures.board.signal_nets
    criteria = figures.nominal_ranking.criterion_of_net
    judged_nets = [number for number, net in enumerate(nets) if not net.waiver]
    error_of = BEYOND * response.error
    shares, together, values = [], [], []
    for block in range(BLOCKS):
        t = quasi_random(figures, (seed, block), PER_BLOCK)
        t = t[within(figures, t)]
        if not len(t):
            continue
        figure = response.figure(t)
        met = _met(figure, error_of, criteria)
        shares.append(met.mean(axis=1))
        together.append(met[:, :, judged_nets].all(axis=2).mean(axis=1))
        values.append(figure)
    if not values:
        raise BoardError("tolerances: no sample keeps the bound on the thickness of the board.")
    kept = sum(map(len, values))
    unknown = np.isnan(error_of)
    share, error = _mean_and_error(np.array(shares))
    share[:, unknown] = error[:, unknown] = np.nan
    all_share, all_error = _mean_and_error(np.array(together))
    if unknown[judged_nets].any():
        all_share, all_error = np.full(3, np.nan), np.full(3, np.nan)
    quantiles = np.quantile(np.concatenate(values), QUANTILES, axis=0)
    rows = tuple(
        NetYield(
            net=net.name, criterion=criteria[number], probability=float(share[0, number]),
            least=float(share[1, number]), most=float(share[2, number]), sampling_error=float(error[0, number]),
            quantiles=(float(quantiles[0, number]), float(quantiles[1, number]), float(quantiles[2, number])),
            surface_error=float(error_of[number] / BEYOND),
        )
        for number, net in enumerate(nets)
    )  # fmt: skip
    return ProductionYield(
        board=figures.board, tolerances=figures.tolerances, model=figures.model, seed=seed, nets=rows,
        probability=float(all_share[0]), least=float(all_share[1]), most=float(all_share[2]),
        sampling_error=float(all_error[0]), screened=1 - kept / (BLOCKS * PER_BLOCK), solved=response.solved + 1,
    )  # fmt: skip


def _met(figure: Floats, error: Floats, criteria: Sequence[Criterion]) -> NDArray[np.bool_]:
    """Whether each net meets its criterion at each sample: as computed, and with the surface off to either side.

    Shape (3, samples, nets); False where the figure is not known.
    """
    limit = np.array([bound(criterion) for criterion in criteria])
    least = np.array([criterion.least for criterion in criteria], dtype=bool)
    worse = np.where(least, -1.0, 1.0) * np.nan_to_num(error)
    ends = np.stack([figure, figure * np.maximum(1 + worse, 0), figure * np.maximum(1 - worse, 0)])
    return np.where(least, ends >= limit, ends <= limit)


def _mean_and_error(of_blocks: Floats) -> tuple[Floats, Floats]:
    """Mean over independent blocks, and its standard error."""
    spread = of_blocks.std(axis=0, ddof=1) if len(of_blocks) > 1 else np.full(of_blocks.shape[1:], np.nan)
    return of_blocks.mean(axis=0), np.asarray(spread / np.sqrt(len(of_blocks)), dtype=np.float64)
