"""Owns the single changes of a board, each the smallest of its kind, with which a net passes undrilled."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING

from stubsi.board.board import Board
from stubsi.board.names import how_many
from stubsi.checks import checked, pairs
from stubsi.errors import BoardError, StubsiError
from stubsi.margin.ranking import rank
from stubsi.margin.trial_changes import (
    exit_layers,
    more_return_vias,
    nearer_return_vias,
    with_wider_antipads,
    without_pads,
)
from stubsi.margin.verdict import Verdict
from stubsi.unit_errors import as_shown
from stubsi.units import one_number, show

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    import pandas as pd

    from stubsi.margin.net_margin import NetMargin
    from stubsi.stubs.model_choice import ModelName
    from stubsi.units import Dimensioned

STEP, MOST_STEPS = 10e-6, 100
"""Antipads are widened in steps of this [m], and by so many steps at most."""
MOST_VIAS = 4
"""Most return vias that are added around each hole."""


class ChangeKind(StrEnum):
    """What is changed. Each is also the text that is shown, and they stand in the order in which they are offered."""

    LAYER = "exit layer"
    ANTIPAD = "antipad"
    PADS = "non-functional pads"
    RETURN_VIAS = "return vias"
    NEARER_VIAS = "nearer return vias"


UNITS = {
    ChangeKind.LAYER: "copper layer",
    ChangeKind.ANTIPAD: "mm",
    ChangeKind.PADS: "padstack",
    ChangeKind.RETURN_VIAS: "return via per hole",
    ChangeKind.NEARER_VIAS: "mm",
}
"""In what the amount of a change is counted."""
NOTHING_TO_CHANGE = {
    ChangeKind.LAYER: "the net may use no other layer",
    ChangeKind.PADS: "none are kept",
    ChangeKind.RETURN_VIAS: "there is no room for one around every hole",
    ChangeKind.NEARER_VIAS: "no hole has a return via of its own that can move nearer",
}
"""Why a kind has nothing to try."""


@dataclass(frozen=True, kw_only=True, repr=False)
class UndrilledChange:
    """The smallest change of one kind with which a net passes, or the best one that was tried where none does.

    Parameters
    ----------
    kind : ChangeKind
        What is changed.
    text : str
        The change in words.
    amount : float
        How much is changed, in the unit of its kind: copper layers, [mm], padstacks, or return vias per hole. Of nearer
        return vias it is the longest way that one moves.
    passes : bool
        Whether the net passes with it.
    first_notch_si : tuple of float or None
        First notch before and after [Hz].
    verdict : Verdict
        Verdict on the net after the change.
    board : Board
        The changed board.
    """

    kind: ChangeKind
    text: str
    amount: float
    passes: bool
    first_notch_si: tuple[float | None, float | None]
    verdict: Verdict
    board: Board = field(compare=False)

    @property
    def unit(self) -> str:
        """Unit of the amount."""
        return UNITS[self.kind]

    @property
    def ghz_per_unit(self) -> float | None:
        """How far the first notch rises for each unit of change [GHz]; None where a notch is unknown."""
        before, after = self.first_notch_si
        return None if before is None or after is None else 1e-9 * (after - before) / self.amount

    def __str__(self) -> str:
        notch = " to ".join("none" if each is None else show(each, "frequency") for each in self.first_notch_si)
        gain = "" if self.ghz_per_unit is None else f", {round(self.ghz_per_unit, 3):+.3g} GHz per {self.unit}"
        return f"{self.text}: {self.verdict}; first notch {notch}{gain}"

    def __repr__(self) -> str:
        return f"<UndrilledChange {self.text}: {self.verdict}>"


@dataclass(frozen=True, kw_only=True, repr=False)
class UndrilledChanges:
    """What lets one net pass undrilled, and what does not. Make it with ``undrilled_changes``.

    Parameters
    ----------
    net : str
        Name of the net.
    before : NetMargin
        The net as drawn.
    changes : tuple of UndrilledChange
        The smallest change of each kind that lets the net pass, the first choice first.
    not_enough : tuple of UndrilledChange
        The best change of each other kind: the net does not pass with it.
    not_tried : tuple of str
        Kinds that could not be tried, each with the reason.
    """

    net: str
    before: NetMargin
    changes: tuple[UndrilledChange, ...]
    not_enough: tuple[UndrilledChange, ...]
    not_tried: tuple[str, ...]

    def to_frame(self) -> pd.DataFrame:
        """Table as a pandas DataFrame: a change in each row, the first choice first.

        Returns
        -------
        pandas.DataFrame
            Plain numbers, with units in the column names.
        """
        import pandas as pd

        columns = ("change", "amount", "unit", "passes", "verdict", "first notch before [GHz]", "first notch [GHz]",
                   "rise per unit [GHz]")  # fmt: skip
        rows = [
            (each.text, each.amount, each.unit, each.passes, str(each.verdict), *map(_ghz, each.first_notch_si),
             each.ghz_per_unit)
            for each in (*self.changes, *self.not_enough)
        ]  # fmt: skip
        return pd.DataFrame(rows, columns=list(columns))

    def __str__(self) -> str:
        if not self.changes and not self.not_enough and not self.not_tried:
            return f"{self.net}: {self.before.verdict} as drawn; nothing needs to change."
        lines = [f"{self.net}: {self.before.verdict} as drawn; {self.before.reason}"]
        lines += [f"  passes with {each}" for each in self.changes]
        lines += [f"  does not pass with {each}" for each in self.not_enough]
        lines += [f"  not tried: {each}" for each in self.not_tried]
        return "\n".join(lines)

    def __repr__(self) -> str:
        return f"<UndrilledChanges of {self.net}: {how_many(len(self.changes), 'change')} with which it passes>"


def undrilled_changes(
    board: Board,
    net: str,
    *,
    weights: Mapping[str, float] | None = None,
    model: ModelName = "solved",
    dk_eff: float | None = None,
    delay: Dimensioned | None = None,
) -> UndrilledChanges:
    """Find the smallest single change of each kind that lets a net pass without depth drilling.

    Parameters
    ----------
    board : Board
        The board. It is not changed: every change comes with a board of its own.
    net : str
        Name of a signal net.
    weights : mapping of kind to float, optional
        What a unit of each kind costs: a copper layer of "exit layer", a millimetre of "antipad", a padstack of
        "non-functional pads", a via per hole of "return vias", a millimetre of "nearer return vias". The cheapest
        change comes first, and a kind without weight is not tried. Without weights the order is that of the kinds here.
    model, dk_eff, delay
        Electrical model of the stubs, as in ``rank``.

    Returns
    -------
    UndrilledChanges
        Nothing to change where the net passes as drawn.

    Raises
    ------
    BoardError
        No such signal net, or an unknown kind.
    UnitError, StubsiError
        A weight is no number or negative; the model is unknown.

    Notes
    -----
    A change of layer is the smaller the fewer copper layers it skips. Antipads of all planes that the net's holes pass
    are widened together, by up to 1 mm in steps of 0.01 mm; if the net does not pass with the widest that the board
    permits, no narrower one is tried. Up to four return vias are added around each hole, as near as its antipad
    permits. Or the nearest return via of each hole moves straight towards it, in steps of 0.05 mm, until its pad meets
    the antipad; those that are as near as that stay. Copper that the board does not hold (traces, planes of other nets,
    parts) is not seen: the layout must have room for the change.
    """
    checked(board, "board", Board)
    known = {each.name for each in board.signal_nets}
    if checked(net, "net") not in known:
        board.net(net)
        raise BoardError(f"net = {as_shown(net)}: is a reference net and carries no signal.")
    wanted = _weights(weights)

    def margin(changed: Board) -> NetMargin:
        alone = changed.replaced(nets=tuple(each for each in changed.nets if each.name == net or each.reference))
        return rank(alone, model=model, dk_eff=dk_eff, delay=delay)[net]

    before = margin(board)
    if before.verdict in {Verdict.PASS, Verdict.WAIVED}:
        return UndrilledChanges(net=net, before=before, changes=(), not_enough=(), not_tried=())
    search = _Search(board, net, before, margin)
    found: list[UndrilledChange] = []
    not_tried: list[str] = []
    for kind in wanted:
        change, why = search.smallest(kind)
        found += [change] if change else []
        not_tried += [] if change else [f"{kind}: {why}"]
    found.sort(key=lambda each: wanted[each.kind] * each.amount if weights is not None else 0.0)
    return UndrilledChanges(
        net=net, before=before, changes=tuple(each for each in found if each.passes),
        not_enough=tuple(each for each in found if not each.passes), not_tried=tuple(not_tried),
    )  # fmt: skip


def _weights(given: Mapping[str, float] | None) -> dict[ChangeKind, float]:
    """Weight of every kind that is tried, in the order of the kinds."""
    if given is None:
        return dict.fromkeys(ChangeKind, 1.0)
    weights = {}
    for key, weight in pairs(given, "weights"):
        if key not in list(ChangeKind):
            raise BoardError(f"weights: {as_shown(key)} is none of {', '.join(map(repr, map(str, ChangeKind)))}.")
        weights[ChangeKind(key)] = one_number(weight, f"weight of {as_shown(key)}", rule="not negative")
    return {kind: weights[kind] for kind in ChangeKind if kind in weights}


def _ghz(hertz: float | None) -> float | None:
    return None if hertz is None else 1e-9 * hertz


class _Search:
    """Finds the smallest change of each kind for one net."""

    def __init__(self, board: Board, net: str, before: NetMargin, margin: Callable[[Board], NetMargin]) -> None:
        self.board, self.net, self.before, self.margin = board, net, before, margin

    def smallest(self, kind: ChangeKind) -> tuple[UndrilledChange | None, str]:
        """The smallest change that passes, or else the best one; None, with the reason, where none is possible."""
        try:
            if kind is ChangeKind.ANTIPAD:
                return self._antipad(), ""
            tried = self._first_that_passes(kind, self._candidates(kind))
        except StubsiError as error:
            return None, str(error)
        return tried, "" if tried else NOTHING_TO_CHANGE[kind]

    def _candidates(self, kind: ChangeKind) -> Iterable[tuple[float, str, Board]]:
        """Changes of a kind from the smallest up: amount, text, changed board."""
        if kind is ChangeKind.LAYER:
            return exit_layers(self.board, self.net)
        if kind is ChangeKind.PADS:
            return without_pads(self.board, self.net)
        if kind is ChangeKind.NEARER_VIAS:
            return nearer_return_vias(self.board, self.net)
        return more_return_vias(self.board, self.net, MOST_VIAS)

    def _first_that_passes(
        self, kind: ChangeKind, candidates: Iterable[tuple[float, str, Board]]
    ) -> UndrilledChange | None:
        best: UndrilledChange | None = None
        for amount, text, changed in candidates:
            change = self._change(kind, amount, text, changed)
            if change.passes:
                return change
            if best is None or _notch(change) > _notch(best):
                best = change
        return best

    def _antipad(self) -> UndrilledChange:
        """The least wider antipads with which the net passes; the widest that the board permits where none do."""
        widest = self._widest()
        best = self._wider(widest)
        if not best.passes:
            return best
        return next(change for steps in range(1, widest + 1) if (change := self._wider(steps)).passes)

    def _widest(self) -> int:
        """By how many steps the antipads can be widened before the board refuses it."""
        fits, refused = 0, MOST_STEPS + 1
        while refused - fits > 1:
            middle = (fits + refused) // 2
            try:
                with_wider_antipads(self.board, self.net, middle * STEP)
                fits = middle
            except BoardError:
                if middle == 1:
                    raise
                refused = middle
        return fits

    def _wider(self, steps: int) -> UndrilledChange:
        text, changed = with_wider_antipads(self.board, self.net, steps * STEP)
        return self._change(ChangeKind.ANTIPAD, 1e3 * steps * STEP, text, changed)

    def _change(self, kind: ChangeKind, amount: float, text: str, changed: Board) -> UndrilledChange:
        after = self.margin(changed)
        return UndrilledChange(
            kind=kind, text=text, amount=amount, passes=after.verdict == Verdict.PASS,
            first_notch_si=(self.before.first_notch_si, after.first_notch_si), verdict=after.verdict, board=changed,
        )  # fmt: skip


def _notch(change: UndrilledChange) -> float:
    notch = change.first_notch_si[1]
    return -math.inf if notch is None else notch
