"""Owns what the single changes that are tried for a net share: amount, rise of the first notch, table, text, HTML."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, ClassVar, Generic, TypeVar

from stubsi.margin.change_kinds import UNITS, ChangeKind, rise_in_words, rise_per_unit

if TYPE_CHECKING:
    import pandas as pd

    from stubsi.board.board import Board


@dataclass(frozen=True, kw_only=True, repr=False)
class SingleChange:
    """One change of a board for one net, and the first notch of the undrilled net with it.

    Parameters
    ----------
    kind : ChangeKind
        What is changed.
    text : str
        The change in words.
    amount : float
        How much is changed, in the unit of its kind: copper layers, [mm], padstacks, or return vias per hole. Of nearer
        return vias it is the longest way that one moves.
    first_notch_si : tuple of float or None
        First notch of the undrilled net before and after the change [Hz].
    board : Board
        The changed board.
    """

    kind: ChangeKind
    text: str
    amount: float
    first_notch_si: tuple[float | None, float | None]
    board: Board = field(compare=False)

    @property
    def unit(self) -> str:
        """Unit of the amount."""
        return UNITS[self.kind]

    @property
    def ghz_per_unit(self) -> float | None:
        """How far the first notch rises for each unit of change [GHz]; None where a notch is unknown."""
        return rise_per_unit(self.first_notch_si, self.amount)

    @property
    def rise(self) -> str:
        """First notch before and after the change, and its rise for each unit, in words."""
        return rise_in_words(self.first_notch_si, self.amount, self.kind)

    @property
    def outcome(self) -> tuple[object, ...]:
        """What becomes of the net with it, as cells of the table."""
        raise NotImplementedError


Change = TypeVar("Change", bound=SingleChange)


@dataclass(frozen=True, kw_only=True, repr=False)
class SingleChanges(Generic[Change]):
    """The single changes that were tried for one net.

    Parameters
    ----------
    net : str
        Name of the net.
    changes : tuple
        The changes that help, the first choice first.
    not_enough : tuple
        Changes of the other kinds, which do not help.
    not_tried : tuple of str
        Kinds that could not be tried, each with the reason.
    """

    net: str
    changes: tuple[Change, ...]
    not_enough: tuple[Change, ...]
    not_tried: tuple[str, ...]

    OUTCOME: ClassVar[tuple[str, ...]] = ()

    def to_frame(self) -> pd.DataFrame:
        """Table as a pandas DataFrame: a change in each row, the first choice first.

        Returns
        -------
        pandas.DataFrame
            Plain numbers, with units in the column names.
        """
        import pandas as pd

        columns = ("change", "amount", "unit", *self.OUTCOME, "first notch before [GHz]", "first notch [GHz]",
                   "rise per unit [GHz]")  # fmt: skip
        rows = [
            (each.text, each.amount, each.unit, *each.outcome, *map(_ghz, each.first_notch_si), each.ghz_per_unit)
            for each in (*self.changes, *self.not_enough)
        ]
        return pd.DataFrame(rows, columns=list(columns))

    def _head(self) -> str:
        """First line of the text: the net as it is."""
        raise NotImplementedError

    def _repr_html_(self) -> str:
        from stubsi.show.change_table import changes_html

        return changes_html(self, self._head())


def _ghz(hertz: float | None) -> float | None:
    return None if hertz is None else 1e-9 * hertz
