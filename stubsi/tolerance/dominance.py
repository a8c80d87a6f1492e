"""Owns what dominates: how much of the spread each tolerance causes, and what a narrower one would bring."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from stubsi.board.board import Board
from stubsi.checks import checked
from stubsi.errors import BoardError
from stubsi.stubs.model_choice import ModelChoice
from stubsi.tolerance.asks import Ask, asks_of
from stubsi.tolerance.effects import variance_shares
from stubsi.tolerance.net_results import NetResults
from stubsi.tolerance.production_yield import check_number
from stubsi.tolerance.scaled import ScaledYields
from stubsi.tolerance.study import Asked, study_of
from stubsi.tolerance.tasks import check_executor, check_progress
from stubsi.tolerance.tolerances import Tolerances
from stubsi.unit_errors import as_shown
from stubsi.units import one_number

if TYPE_CHECKING:
    from collections.abc import Callable
    from concurrent.futures import Executor

    import pandas as pd

    from stubsi.drilling.plan import Plan
    from stubsi.stubs.model_choice import ModelName
    from stubsi.units import Dimensioned


@dataclass(frozen=True, kw_only=True)
class NetDominance:
    """How much of the spread of one net each tolerance causes.

    Parameters
    ----------
    net : str
        Its name; empty for the whole board.
    first, total : mapping of tolerance name to float
        Share of the variance of the judged figure that the tolerance causes alone, and with all that it does together
        with others; of the board, of its smallest margin over limit, without nets that have an infinite loss on every
        board. 0 where nothing varies, NaN where the figure is unknown or infinite on some boards.
    error : float
        Largest standard error of these shares, from independent scramblings.
    """

    net: str
    first: dict[str, float]
    total: dict[str, float]
    error: float

    @property
    def largest(self) -> str:
        """The tolerance with the largest total effect; empty where there is none."""
        known = {name: share for name, share in self.total.items() if share > 0}
        return max(known, key=lambda name: known[name]) if known else ""

    def __repr__(self) -> str:
        share = f": {self.largest[:60]} {self.total[self.largest]:.2g}" if self.largest else ""
        return f"<NetDominance {self.net[:60] or 'board'}{share}>"


@dataclass(frozen=True, kw_only=True, repr=False)
class Dominance(NetResults[NetDominance]):
    """What dominates the spread of a board, and what to ask the fabricator for. Iterate it over the nets, or print it.

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
    wanted : float
        Yield that is wanted of each net and of the board.
    plan : Plan, optional
        The plan, where it is the board after drilling.
    nets : tuple of NetDominance
        In the order of the board.
    of_board : NetDominance
        The whole board, without nets that are waived.
    asks : tuple of Ask
        The board first, then the nets whose yield is neither 0 nor 1, each tolerance in a row.
    bound_left_out : bool
        Whether the shares leave out that boards which are too thick or too thin are screened out. With it the factors
        would depend on each other, and no shares of the variance be defined. The yields of ``asks`` keep the bound.
    """

    board: Board
    tolerances: Tolerances
    model: ModelChoice
    seed: int
    wanted: float
    plan: Plan | None = None
    nets: tuple[NetDominance, ...] = field(compare=False)
    of_board: NetDominance = field(compare=False)
    asks: tuple[Ask, ...] = field(compare=False)
    bound_left_out: bool = field(compare=False)

    def asks_of(self, net: str = "") -> tuple[Ask, ...]:
        """Rows about one net, or about the board where none is named.

        Parameters
        ----------
        net : str
            Name of a net.

        Returns
        -------
        tuple of Ask
            Empty where the yield of the net is 0 or 1 and no tolerance can turn that.
        """
        if net:
            _ = self[net]
        return tuple([ask for ask in self.asks if ask.net == net])

    def to_frame(self) -> pd.DataFrame:
        """What to ask for as a pandas DataFrame, a row for each tolerance of the board and of a net.

        Returns
        -------
        pandas.DataFrame
            Plain numbers; the yields are fractions.
        """
        import pandas as pd

        rows = [(*ask[:6], str(ask.turn), *ask[7:]) for ask in self.asks]
        return pd.DataFrame(rows, columns=list(Ask._fields))

    def effects_frame(self) -> pd.DataFrame:
        """Shares of the variance as a pandas DataFrame: the board, then a net in each row.

        Returns
        -------
        pandas.DataFrame
            Columns "first: NAME" and "total: NAME" for each tolerance.
        """
        import pandas as pd

        rows = []
        for each in (self.of_board, *self.nets):
            first = {f"first: {name}": share for name, share in each.first.items()}
            total = {f"total: {name}": share for name, share in each.total.items()}
            rows.append({"net": each.net or "board", **first, **total, "error": each.error})
        return pd.DataFrame(rows)

    def to_csv(self) -> str:
        """What to ask for as CSV.

        Returns
        -------
        str
            Comment lines (#) with what it rests on, then the table.
        """
        from stubsi.show.dominance_table import dominance_csv

        return dominance_csv(self)

    def __str__(self) -> str:
        from stubsi.show.dominance_table import dominance_text

        return dominance_text(self)

    def _repr_html_(self) -> str:
        from stubsi.show.dominance_table import dominance_html

        return dominance_html(self)

    def __repr__(self) -> str:
        largest = f", {self.of_board.largest[:60]} dominates" if self.of_board.largest else ""
        return f"<Dominance over {len(self)} nets{largest}>"


def dominance(
    board: Board,
    tolerances: Tolerances,
    *,
    wanted: float = 0.99,
    seed: int = 0,
    model: ModelName = "solved",
    dk_eff: float | None = None,
    delay: Dimensioned | None = None,
    executor: Executor | None = None,
    progress: Callable[[int, int], object] | None = None,
) -> Dominance:
    r"""What dominates the spread of every net and of the board, and what a narrower tolerance would bring.

    Parameters
    ----------
    board : Board
        The board as drawn.
    tolerances : Tolerances
        What varies, and how it is distributed.
    wanted : float
        Yield that is wanted of each net and of the board, above 0 and at most 1.
    seed : int
        Seed of the samples, not negative. The same seed gives the same result.
    model, dk_eff, delay
        As in ``rank``.
    executor, progress
        As in ``production_yield``, for the boards that are solved. After ``production_yield`` with the same board,
        tolerances, model and seed none is solved again.

    Returns
    -------
    Dominance
        Every net, in the order of the board, and the rows of what to ask for.

    Raises
    ------
    StubsiError
        An argument is of the wrong type, a tolerance does not fit the board, or a board cannot be built.

    Notes
    -----
    With V the variance of the judged figure y and :math:`t_i` the factors, all independent,

    .. math:: S_i = \operatorname{Var}(E[y | t_i]) / V, \quad T_i = 1 - \operatorname{Var}(E[y | t_{j \ne i}]) / V

    are the first-order and the total effect. What every hole has for itself is one group of factors. They are estimated
    by ``scipy.stats.sobol_indices`` (Saltelli et al., 2010) on the surfaces of ``production_yield``, whose errors count
    here too. A figure without any spread has no such shares, and 0 is given. Where boards are screened out by their
    thickness the factors are not independent; then the shares leave this out, and ``bound_left_out`` says so.

    For the rows of what to ask for, one tolerance at a time is narrowed, both limits by the same part, while all others
    stay. All rows are counted on the same samples (common random numbers), so a difference is much surer than a yield.
    The distribution keeps its form. The yields are those of the surfaces, without the correction of
    ``production_yield`` by the boards that were solved. A row turns where the yield first is as large as is wanted, to
    1/1024 of the limits.
    """
    checked(board, "board", Board)
    checked(tolerances, "tolerances", Tolerances)
    check_number(seed, "seed", 0, 2**63 - 1)
    check_executor(executor)
    check_progress(progress)
    least = checked_wanted(wanted)
    choice = ModelChoice.of(model, dk_eff, delay)
    study = study_of(Asked(board, tolerances, choice, seed), executor, progress or (lambda done, of: None))
    first, total, error = variance_shares(study, seed)
    names = [factor.name for factor in study.factors]

    def of_net(number: int, name: str) -> NetDominance:
        return NetDominance(
            net=name, first=dict(zip(names, first[:, number].tolist(), strict=True)),
            total=dict(zip(names, total[:, number].tolist(), strict=True)), error=float(error[number]),
        )  # fmt: skip

    nets = tuple(of_net(number, net.name) for number, net in enumerate(board.signal_nets))
    asks = asks_of(ScaledYields(study, seed), study.factors, [net.name for net in board.signal_nets], least)
    return Dominance(
        board=board, tolerances=tolerances, model=choice, seed=seed, wanted=least, nets=nets,
        of_board=of_net(len(nets), ""), asks=asks, bound_left_out=study.thickness is not None,
    )  # fmt: skip


def checked_wanted(wanted: float) -> float:
    """Check that a yield that is wanted is a share above zero.

    Parameters
    ----------
    wanted : float

    Returns
    -------
    float

    Raises
    ------
    BoardError, UnitError
        It is none.
    """
    least = one_number(wanted, "wanted", rule="positive")
    if least > 1:
        raise BoardError(f"wanted = {as_shown(wanted)}: must be at most 1; it is a share of the boards.")
    return least
