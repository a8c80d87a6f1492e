"""Owns the difference of two rankings: which nets changed their verdict or a figure, and by what."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from stubsi.board.names import by_name, how_many, shortened
from stubsi.units import quantity, shown_number

if TYPE_CHECKING:
    from collections.abc import Iterator

    import pandas as pd

    from stubsi.margin.net_margin import NetMargin
    from stubsi.margin.ranking import Ranking
    from stubsi.units import Quantity

EQUAL = 1e-6
"""Relative difference of two figures up to which they count as equal; the order of a ranking also takes six digits."""

FIGURES = (
    "stub_length_si", "first_notch_si", "first_notch_to_si", "margin", "one_db_si", "one_db_to_si", "loss",
    "return_loss", "nyquist_si",
)  # fmt: skip
"""Figures of a net that are compared, as fields of NetMargin."""


class NetDifference(NamedTuple):
    """One net in two rankings.

    Parameters
    ----------
    net : str
        Name of the net.
    before, after : NetMargin or None
        Its rows; None where the ranking does not have the net.
    """

    net: str
    before: NetMargin | None
    after: NetMargin | None

    @property
    def verdict_changed(self) -> bool:
        """Whether the net has another verdict, or is in one of the rankings only."""
        return self.before is None or self.after is None or self.before.verdict != self.after.verdict

    @property
    def margin_change(self) -> float | None:
        """Change of first notch over Nyquist [-]; None where a ranking has no such figure."""
        return self.change("margin")

    @property
    def first_notch_change(self) -> Quantity | None:
        """Change of the first notch, a quantity in GHz; None where a ranking has no such figure."""
        change = self.change("first_notch_si")
        return None if change is None else quantity(change, "frequency")

    @property
    def one_db_change(self) -> Quantity | None:
        """Change of the 1 dB frequency, a quantity in GHz; None where a ranking has no such figure."""
        change = self.change("one_db_si")
        return None if change is None else quantity(change, "frequency")

    def change(self, figure: str) -> float | None:
        """Change of any figure. Methods for users are the properties above.

        Parameters
        ----------
        figure : str
            One of ``FIGURES``.

        Returns
        -------
        float or None
            In SI units: the figure after less the figure before. None where a ranking has no such figure.
        """
        before, after = (None if row is None else getattr(row, figure) for row in (self.before, self.after))
        return None if before is None or after is None else float(after - before)

    @property
    def differs(self) -> bool:
        """Whether a verdict, a criterion or a figure differs in its first six digits."""
        if self.verdict_changed:
            return True
        assert self.before is not None, "the verdict of a net that is missing counts as changed"
        assert self.after is not None, "the verdict of a net that is missing counts as changed"
        return self.before.criterion != self.after.criterion or any(
            not _equal(getattr(self.before, figure), getattr(self.after, figure)) for figure in FIGURES
        )

    def __repr__(self) -> str:
        verdicts = " -> ".join("absent" if row is None else str(row.verdict) for row in (self.before, self.after))
        return f"<NetDifference {shortened(self.net)}: {verdicts}>"

    def _repr_html_(self) -> str:
        from stubsi.show.difference_table import ranking_difference_html

        return ranking_difference_html([self], [])


def _equal(before: float | None, after: float | None) -> bool:
    if before is None or after is None:
        return before is after
    return before == after or math.isclose(before, after, rel_tol=EQUAL)


@dataclass(frozen=True, kw_only=True, repr=False)
class RankingDifference:
    """What differs between two rankings. It is true where something does; ask it for a net by name, or iterate it.

    Parameters
    ----------
    before, after : Ranking
        The two rankings.
    nets : tuple of NetDifference
        Every net that differs: first those with another verdict, then the one that lost most margin.
    """

    before: Ranking
    after: Ranking
    nets: tuple[NetDifference, ...]

    def __len__(self) -> int:
        return len(self.nets)

    def __iter__(self) -> Iterator[NetDifference]:
        return iter(self.nets)

    def __getitem__(self, name: str) -> NetDifference:
        return by_name({net.net: net for net in self.nets}, name, "net", "among those that differ")

    @property
    def verdicts(self) -> tuple[NetDifference, ...]:
        """The nets whose verdict differs."""
        return tuple(net for net in self.nets if net.verdict_changed)

    def to_frame(self) -> pd.DataFrame:
        """Table as a pandas DataFrame: a net in each row; plain numbers, units in the column names.

        Returns
        -------
        pandas.DataFrame
            None where a ranking does not have the net or the figure.
        """
        import pandas as pd

        columns: dict[str, list[object]] = {"net": [net.net for net in self.nets]}
        for moment, rows in (
            ("before", [net.before for net in self.nets]),
            ("after", [net.after for net in self.nets]),
        ):
            columns[f"verdict, {moment}"] = [None if row is None else str(row.verdict) for row in rows]
            columns[f"first notch / Nyquist, {moment}"] = [None if row is None else row.margin for row in rows]
            columns[f"first notch, {moment} [GHz]"] = [
                None if row is None else shown_number(row.first_notch_si, "frequency") for row in rows
            ]
            columns[f"1 dB frequency, {moment} [GHz]"] = [
                None if row is None else shown_number(row.one_db_si, "frequency") for row in rows
            ]
        columns["change of first notch / Nyquist"] = [net.margin_change for net in self.nets]
        for title, figure in (("first notch", "first_notch_si"), ("1 dB frequency", "one_db_si")):
            columns[f"change of {title} [GHz]"] = [shown_number(net.change(figure), "frequency") for net in self.nets]
        columns["change of loss at Nyquist [dB]"] = [net.change("loss") for net in self.nets]
        return pd.DataFrame(columns)

    def summary(self) -> str:
        """How many nets differ, in one line.

        Returns
        -------
        str
            One line.
        """
        if not self.nets:
            return "Rankings: no difference."
        verdicts = how_many(len(self.verdicts), "net")
        return f"Rankings: {how_many(len(self.nets), 'net')} of {len(self.after)} differ, {verdicts} in verdict."

    def __str__(self) -> str:
        from stubsi.show.difference_table import ranking_difference_text

        return ranking_difference_text(self.nets, [self.summary()])

    def _repr_html_(self) -> str:
        from stubsi.show.difference_table import ranking_difference_html

        return ranking_difference_html(self.nets, [self.summary()])

    def __repr__(self) -> str:
        return f"<RankingDifference: {how_many(len(self.nets), 'net')}, {len(self.verdicts)} in verdict>"


def ranking_difference(before: Ranking, after: Ranking) -> RankingDifference:
    """Which nets differ between two rankings.

    Parameters
    ----------
    before, after : Ranking
        The two rankings.

    Returns
    -------
    RankingDifference
        Nets are compared by name.
    """
    old, new = ({row.net: row for row in ranking} for ranking in (before, after))
    every = (NetDifference(name, old.get(name), new.get(name)) for name in dict.fromkeys((*old, *new)))
    nets = sorted((net for net in every if net.differs), key=_worst_first)
    return RankingDifference(before=before, after=after, nets=tuple(nets))


def _worst_first(net: NetDifference) -> tuple[bool, float]:
    return not net.verdict_changed, math.inf if net.margin_change is None else net.margin_change
