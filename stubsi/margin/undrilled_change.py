"""Owns the single changes of a board, each the smallest of its kind, with which a net passes undrilled."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from stubsi.board.board import Board
from stubsi.board.names import how_many
from stubsi.checks import checked
from stubsi.errors import StubsiError
from stubsi.margin.change_kinds import (
    NOTHING_TO_CHANGE,
    ChangeKind,
    Trial,
    check_signal_net,
    trials,
    wanted_kinds,
    widest_antipads,
)
from stubsi.margin.ranking import rank
from stubsi.margin.single_change import SingleChange, SingleChanges
from stubsi.margin.verdict import Verdict

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from stubsi.margin.net_margin import NetMargin
    from stubsi.stubs.model_choice import ModelName
    from stubsi.units import Dimensioned


@dataclass(frozen=True, kw_only=True, repr=False)
class UndrilledChange(SingleChange):
    """The smallest change of one kind with which a net passes, or the best one that was tried where none does.

    Parameters
    ----------
    kind, text, amount, first_notch_si, board
        As in ``SingleChange``.
    passes : bool
        Whether the net passes with it.
    verdict : Verdict
        Verdict on the net after the change.
    """

    passes: bool
    verdict: Verdict

    @property
    def outcome(self) -> tuple[object, ...]:
        """Whether the net passes with it, and the verdict on it."""
        return self.passes, str(self.verdict)

    def __str__(self) -> str:
        return f"{self.text}: {self.verdict}; {self.rise}"

    def __repr__(self) -> str:
        return f"<UndrilledChange {self.text}: {self.verdict}>"


@dataclass(frozen=True, kw_only=True, repr=False)
class UndrilledChanges(SingleChanges[UndrilledChange]):
    """What lets one net pass undrilled, and what does not. Make it with ``undrilled_changes``.

    Parameters
    ----------
    net : str
        Name of the net.
    changes : tuple of UndrilledChange
        The smallest change of each kind that lets the net pass, the first choice first.
    not_enough : tuple of UndrilledChange
        The best change of each other kind: the net does not pass with it.
    not_tried : tuple of str
        Kinds that could not be tried, each with the reason.
    before : NetMargin
        The net as drawn.
    """

    before: NetMargin

    OUTCOME = ("passes", "verdict")

    def _head(self) -> str:
        if not self.changes and not self.not_enough and not self.not_tried:
            return f"{self.net}: {self.before.verdict} as drawn; nothing needs to change."
        return f"{self.net}: {self.before.verdict} as drawn; {self.before.reason}"

    def __str__(self) -> str:
        lines = [self._head()]
        lines += [f"  passes with {each}" for each in self.changes]
        lines += [f"  does not pass with {each}" for each in self.not_enough]
        lines += [f"  not tried: {each}" for each in self.not_tried]
        return "\n".join(lines)

    def _repr_html_(self) -> str:
        from stubsi.show.changes_table import undrilled_html

        return undrilled_html(self)

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

    Examples
    --------
    >>> from stubsi import read_ipc2581
    >>> found = read_ipc2581("shared/sluice_gate.xml", signals={"FLOW_*": "32 GT/s"}, z0="85 ohm", plating="20 um")
    >>> tried = undrilled_changes(found.board, "FLOW_P/FLOW_N", weights={"exit layer": 1}, model="uniform")
    >>> print(tried.not_enough[0])
    SIG_4 in place of TOP: marginal; first notch 33.89 GHz to 54.23 GHz, +6.78 GHz per copper layer
    """
    check_signal_net(checked(board, "board", Board), net)
    wanted = wanted_kinds(weights)

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


class _Search:
    """Finds the smallest change of each kind for one net."""

    def __init__(self, board: Board, net: str, before: NetMargin, margin: Callable[[Board], NetMargin]) -> None:
        self.board, self.net, self.before, self.margin = board, net, before, margin

    def smallest(self, kind: ChangeKind) -> tuple[UndrilledChange | None, str]:
        """The smallest change that passes, or else the best one; None, with the reason, where none is possible."""
        try:
            tried = self._first_that_passes(kind)
        except StubsiError as error:
            return None, str(error)
        return tried, "" if tried else NOTHING_TO_CHANGE[kind]

    def _first_that_passes(self, kind: ChangeKind) -> UndrilledChange | None:
        """The smallest change of a kind with which the net passes; else the one with the highest first notch."""
        if kind is ChangeKind.ANTIPAD:  # where the widest ones are not enough, no narrower ones are tried
            widest = self._change(widest_antipads(self.board, self.net))
            if not widest.passes:
                return widest
        best: UndrilledChange | None = None
        for trial in trials(kind, self.board, self.net):
            change = self._change(trial)
            if change.passes:
                return change
            if best is None or _notch(change) > _notch(best):
                best = change
        return best

    def _change(self, trial: Trial) -> UndrilledChange:
        after = self.margin(trial.board)
        return UndrilledChange(
            kind=trial.kind, text=trial.text, amount=trial.amount, passes=after.verdict == Verdict.PASS,
            first_notch_si=(self.before.first_notch_si, after.first_notch_si), verdict=after.verdict,
            board=trial.board,
        )  # fmt: skip


def _notch(change: UndrilledChange) -> float:
    notch = change.first_notch_si[1]
    return -math.inf if notch is None else notch
