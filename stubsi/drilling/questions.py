"""Owns the questions about unknown inputs: each with the number of verdicts it can change, the largest number first."""

from __future__ import annotations

from collections import Counter, defaultdict
from enum import StrEnum
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.board.names import how_many
from stubsi.drilling.effects import effects_of
from stubsi.drilling.near_holes import near_holes_of
from stubsi.drilling.needs import needs_of
from stubsi.drilling.obstacles import Obstacle
from stubsi.drilling.rules import UNKNOWN_RANGE
from stubsi.drilling.window import window
from stubsi.margin.verdict import Verdict
from stubsi.stubs.hole_return_paths import RETURN_VIAS
from stubsi.value import InSI

if TYPE_CHECKING:
    from collections.abc import Iterator

    import pandas as pd

    from stubsi.board.padstack import Padstack
    from stubsi.drilling.plan import Plan
    from stubsi.drilling.rules import FabricatorRules
    from stubsi.drilling.window import Window


class InputKind(StrEnum):
    """What kind of input is unknown. Each is also the text that is shown.

    ``RULE``: a rule that decides where a hole can be drilled. ``CLEARANCE_RULE``: one by which clearances are judged.
    ``MODEL``: an input of the electrical models; the model says which. ``RETURN_VIAS``: they decide without a message.
    """

    RULE = "rule"
    CLEARANCE_RULE = "rule for clearances"
    FINISHED = "finished diameter"
    MODEL = "input of the model"
    RETURN_VIAS = "return vias"


class Judged(StrEnum):
    """What a verdict is about. Each is also the text that is shown, in the plural."""

    STUBS = "stubs"
    NETS = "nets"
    CLEARANCES = "clearances"


class Question(NamedTuple):
    """An unknown input, and the number of verdicts that it can change.

    Parameters
    ----------
    kind : InputKind
        What kind of input it is.
    subject : str
        Field name of the rule, name of the padstack, or what the model says is missing; empty for ``RETURN_VIAS``.
    flips : int
        Number of verdicts that it can change.
    about : Judged
        What these verdicts are about.
    """

    kind: InputKind
    subject: str
    flips: int
    about: Judged

    @property
    def unknown(self) -> str:
        """The input in words."""
        match self.kind:
            case InputKind.RULE:
                return _with_range(self.subject)
            case InputKind.CLEARANCE_RULE:
                return self.subject.replace("_", " ")
            case InputKind.FINISHED:
                return f"finished diameter of padstack {self.subject}"
            case InputKind.RETURN_VIAS:
                return "return vias: give the reference holes"
            case InputKind.MODEL:
                return self.subject

    @property
    def verdicts(self) -> str:
        """Number of verdicts that it can change and what they are about, in words."""
        return how_many(self.flips, self.about.removesuffix("s"))

    def __str__(self) -> str:
        return f"can change the verdict of {self.verdicts}: {self.unknown}"


class Questions(tuple[Question, ...]):
    """What to ask about a plan. The question that can change the most verdicts is first.

    Parameters
    ----------
    iterable : iterable of Question
        The questions.
    """

    __slots__ = ()

    def to_frame(self) -> pd.DataFrame:
        """Table as a pandas DataFrame: a question in each row.

        Returns
        -------
        pandas.DataFrame
            Plain numbers, with units in the column names.
        """
        import pandas as pd

        rows = [(question.unknown, question.flips, str(question.about)) for question in self]
        return pd.DataFrame(rows, columns=["unknown input", "verdicts that can change", "of"])

    def __str__(self) -> str:
        return "\n".join(map(str, self)) or "Nothing to ask: no unknown input can change a verdict."

    def _repr_html_(self) -> str:
        from stubsi.show.html import questions_html

        return questions_html(self)

    def __repr__(self) -> str:
        return f"<Questions: {len(self)}>"


def questions_of(plan: Plan) -> Questions:
    """What to ask about a plan: unknown rules, unknown diameters and unknown inputs of the models.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    Questions
        The question that can change the most verdicts first.

    Notes
    -----
    A rule can change the verdict of a stub if, for some values of the other unknown rules, one end of its
    ``UNKNOWN_RANGE`` lets the stub be drilled and the other end does not.
    """
    asked = [*_about_rules(plan), *_about_finished_diameters(plan), *_clearances(plan)]
    missing = Counter((InputKind.MODEL, undecided.missing) for undecided in plan.undecided.values())
    missing.update(_open_verdicts(plan))
    asked += [Question(*unknown, count, Judged.NETS) for unknown, count in missing.items()]
    return Questions(sorted(asked, key=lambda question: (-question.flips, question.unknown)))


def _about_rules(plan: Plan) -> list[Question]:
    """Unknown rules of the fabricator."""
    names = plan.rules.unknown
    if not names:
        return []
    refused = [_refused_under(plan, case) for case in plan.rules.cases()]
    counts = np.zeros(len(names), dtype=int)
    for stub in set().union(*refused):
        corners = np.array([stub in corner for corner in refused]).reshape((2,) * len(names))
        for axis in range(len(names)):
            counts[axis] += bool(np.any(corners.take(0, axis) != corners.take(1, axis)))
    return [
        Question(InputKind.RULE, name, count, Judged.STUBS) for name, count in zip(names, counts.tolist(), strict=True)
    ]


def _with_range(rule: str) -> str:
    """Name of an unknown rule, and the range in which its value is assumed to lie."""
    low, high = UNKNOWN_RANGE[rule]
    return f"{rule.replace('_', ' ')} (taken as {low} to {high})"


def _refused_under(plan: Plan, rules: FabricatorRules) -> set[tuple[str, str, str]]:
    """Stubs (net, hole, side) that would be refused under these rules."""
    return {(refused.net, refused.hole.name, refused.side) for refused in needs_of(plan.limits, rules).refused}


def _about_finished_diameters(plan: Plan) -> list[Question]:
    """Unknown finished diameters. They decide how far the cone of the tip reaches beyond the end of the plating."""
    counts: Counter[Padstack] = Counter()
    for drawn, count in _windows_with_counts(plan):
        padstack = drawn.shape.padstack
        if padstack.finished_si is None:
            thin_plated = padstack.replaced(finished=InSI(padstack.drill_si * (1 - 1e-9)))
            other = window(drawn.shape.replaced(padstack=thin_plated), drawn.longest_si, plan.rules, drawn.budget_at)
            blocked = any(refusal.kind is Obstacle.NEIGHBOUR for refusal in drawn.reasons)
            counts[padstack] += count * (not blocked and bool(drawn.reasons) != bool(other.reasons))
    return [Question(InputKind.FINISHED, each.name, count, Judged.STUBS) for each, count in counts.items()]


def _windows_with_counts(plan: Plan) -> Iterator[tuple[Window, int]]:
    """Each different window of the stubs that are drilled or refused, and how many stubs have it."""
    windows = [hit.window for hit in plan.hits if not hit.miss] + [refused.window for refused in plan.refused]
    windows += [window(hit.window.shape, hit.window.longest_si, plan.rules, plan.budget_at) for hit in plan.missed]
    yield from Counter(windows).items()


def _open_verdicts(plan: Plan) -> list[tuple[InputKind, str]]:
    """For each net whose verdict is not certain: the unknown inputs that would make it certain, each once.

    The plan uses the computed figures of these nets. Nets that it leaves undecided are not among them.
    """
    limits, verdicts = plan.limits, plan.limits.ranking.verdicts
    missing_of: dict[int, dict[tuple[InputKind, str], None]] = defaultdict(dict)
    for row, number in enumerate(limits.table.net.tolist()):
        net = limits.net(row)
        is_open = verdicts[number] in (Verdict.MARGINAL, Verdict.UNDECIDED) and net.name not in plan.undecided
        if not is_open or net.waiver:
            continue
        missing = limits.not_solved(row)
        if missing:
            missing_of[number][InputKind.MODEL, missing] = None
        elif verdicts[number] == Verdict.UNDECIDED:
            for wanted in limits.open_inputs(row):
                key = (InputKind.RETURN_VIAS, "") if wanted == RETURN_VIAS else (InputKind.MODEL, wanted)
                missing_of[number][key] = None
    return [unknown for missing in missing_of.values() for unknown in missing]


def _clearances(plan: Plan) -> list[Question]:
    """Unknown rules that are needed to judge clearances."""
    unjudged = sum(len(effect.layers) for effect in effects_of(plan) if effect.short is None)
    between_holes = len(near_holes_of(plan).not_judged)
    counts = {
        "copper_clearance": unjudged, "edge_tolerance": unjudged + between_holes, "hole_clearance": between_holes,
    }  # fmt: skip
    return [
        Question(InputKind.CLEARANCE_RULE, name, count, Judged.CLEARANCES)
        for name, count in counts.items()
        if count and getattr(plan.rules, f"{name}_si") is None
    ]
