"""Owns the reasons why a net stays undrilled: it is waived, has no stub, meets its criterion, or cannot be judged."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, NamedTuple

from stubsi.checks import one_line

if TYPE_CHECKING:
    from stubsi.board.criterion import Criterion


class WhyUndrilled(StrEnum):
    """Why a net needs no drilling. Each is also the beginning of the text that is shown.

    ``MEETS``: the net meets its criterion even with the largest error that the model may have. ``MEETS_UNPROVEN``: the
    computed figures meet the criterion, but the error of the model may be larger than what is left to the limit.
    """

    WAIVED = "waived"
    NO_STUB = "no stub"
    MEETS = "meets its criterion"
    MEETS_UNPROVEN = "meets its criterion, within the uncertainty of the model"


@dataclass(frozen=True, kw_only=True, repr=False)
class Undrilled:
    """Why a net needs no drilling.

    Parameters
    ----------
    why : WhyUndrilled
        The reason.
    waiver : str
        The user's reason for a waiver, for ``WAIVED``.
    criterion : Criterion or None
        The criterion that is met, for ``MEETS`` and ``MEETS_UNPROVEN``.
    missing : str
        Unknown input that is needed for the proof, for ``MEETS_UNPROVEN``; empty where there is none.
    """

    why: WhyUndrilled
    waiver: str = ""
    criterion: Criterion | None = None
    missing: str = ""

    @property
    def taken_on_trust(self) -> bool:
        """Whether the net is left undrilled although it is not proven that it meets its criterion."""
        return self.why is WhyUndrilled.MEETS_UNPROVEN

    def __str__(self) -> str:
        details = (one_line(self.waiver), self.missing, "" if self.criterion is None else str(self.criterion))
        return ": ".join((str(self.why), *(text for text in details if text)))

    def __repr__(self) -> str:
        return f"<Undrilled: {self.why}>"


class Undecided(NamedTuple):
    """Why a net cannot be judged.

    Parameters
    ----------
    missing : str
        The unknown input.
    """

    missing: str

    def __str__(self) -> str:
        return self.missing
