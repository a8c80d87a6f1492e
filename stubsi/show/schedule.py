"""Owns the hand-off: drill schedule and per-hole list as text, CSV and Markdown, each with the digest of its plan."""

from __future__ import annotations

import csv
import io
import re
import textwrap
from typing import TYPE_CHECKING

from stubsi.drilling.digest import digest, parts_of
from stubsi.drilling.drill_group import told
from stubsi.errors import StubsiError

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from stubsi.board.board import Board
    from stubsi.drilling.drill_group import Group
    from stubsi.drilling.plan import Plan
    from stubsi.drilling.rules import FabricatorRules

SCHEDULE = (
    "group",
    "side",
    "start layer",
    "must-not-cut layer",
    "depth [mm]",
    "shallower by at most [mm]",
    "deeper by at most [mm]",
    "residual stub, least [mm]",
    "residual stub, most [mm]",
    "primary drill [mm]",
    "depth drill [mm]",
    "holes",
    "nets",
)
"""Columns of the drill schedule."""

HOLES = (
    "hole",
    "net",
    "x [mm]",
    "y [mm]",
    "side",
    "group",
    "must-not-cut layer",
    "depth [mm]",
    "primary drill [mm]",
    "depth drill [mm]",
    "last layer in use",
    "longest permitted stub [mm]",
    "stub, least [mm]",
    "stub, nominal [mm]",
    "stub, most [mm]",
)
"""Columns of the per-hole list."""

_DIGEST = re.compile(r"Plan digest: ([0-9a-f]{16}),\s+digest\s+of\s+this\s+text:\s+([0-9a-f]{16})")


def schedule_rows(plan: Plan) -> list[tuple[str, ...]]:
    """One row per drill group, lengths [mm] to the micron."""
    return [_group_row(plan, group) for group in plan.groups]


def _group_row(plan: Plan, group: Group) -> tuple[str, ...]:
    names = plan.board.stackup.names
    lengths = (*plan.rules.tolerance.depth_limits_si, group.left.least_si, group.left.most_si)
    return (
        str(group.number), group.side, names[0 if group.side == "top" else -1], group.layer, _depth(group),
        *map(_mm, (*lengths, group.primary_si, group.drill_si)), str(len(group.hits)), ", ".join(group.nets),
    )  # fmt: skip


def _depth(group: Group) -> str:
    """Depth aimed at [mm]; a range where the tip is unknown."""
    return "-".join(dict.fromkeys(map(_mm, group.depth_si)))


def hole_rows(plan: Plan) -> list[tuple[str, ...]]:
    """One row per hit, by group; position and lengths [mm]."""
    return [
        (
            hit.hole.name, hit.net, *(_mm(at) for at in (hit.hole.x_si, hit.hole.y_si)), hit.side,
            str(group.number), group.layer, _depth(group), _mm(group.primary_si), _mm(group.drill_si),
            hit.window.layer, _mm(hit.window.longest_si), *map(_mm, hit.left),
        )
        for group in plan.groups
        for hit in group.hits
    ]  # fmt: skip


def preamble(plan: Plan) -> list[str]:
    """Lines above every export: datum, tolerance, rules, criteria, model, counts, proof, digests, caution."""
    from stubsi.show.tables import CAUTION

    rules = plan.rules
    return [
        f"Depth is that of the {rules.depth_to} below the outer {rules.datum} surface of the drilled side "
        f"({rules.source_of('datum')}).",
        f"Tolerance: {rules.tolerance}.",
        "Shallower, deeper: tolerance of the depth. Residual stub: plating left beyond the must-not-cut layer, its "
        "copper excluded (IPC-6012), all tolerances inside.",
        f"Rules: {rules.in_one_line()}.",
        *(["Unknown rules: " + ", ".join(n.replace("_", " ") for n in rules.unknown)] if rules.unknown else []),
        *(f"Criterion: {criterion}" for criterion in plan.limits.ranking.criteria),
        f"Model of the stubs: {plan.model}.",
        *plan.summary().splitlines(),
        f"Plan digest: {plan.digest}, digest of this text: {'0' * 16}",
        CAUTION,
    ]


def remarks(plan: Plan) -> list[str]:
    """What is refused, drilled in vain, undecided or taken on trust, a line each."""
    lines = [f"refused: {net}: {what}" for net, what in told(plan.refused)]
    if plan.in_vain:
        text = f"drilled although another stub of the net is refused: {', '.join(plan.in_vain)}"
        lines.append(f"{text}; waive a net to leave it out")
    lines += [f"undecided: {net}: {why}" for net, why in plan.undecided.items()]
    return lines + [f"not drilled: {net}: {why}" for net, why in plan.alone.items() if "uncertainty" in why]


def schedule_text(plan: Plan, width: int = 120) -> str:
    """Drill schedule as plain text: a block of lines per group, then the remarks."""
    lines = [wrapped for line in preamble(plan) for wrapped in _wrapped(line, width)]
    short = [
        (*row[:4], row[4], f"-{row[5]}/+{row[6]}", f"{row[7]} to {row[8]}", *row[9:12]) for row in schedule_rows(plan)
    ]
    head = ("group", "side", "start", "must not cut", "depth mm", "tolerance mm", "residual mm", "primary mm",
            "drill mm", "holes")  # fmt: skip
    lines += ["", *_aligned([head, *short])]
    for group in plan.groups:
        lines += _wrapped(f"group {group.number}, nets: {', '.join(group.nets)}", width)
    for remark in remarks(plan):
        lines += _wrapped(remark, width)
    return _sealed("\n".join(lines))


def schedule_csv(plan: Plan) -> str:
    """Drill schedule as CSV behind comment lines."""
    return _csv(plan, SCHEDULE, schedule_rows(plan))


def holes_csv(plan: Plan) -> str:
    """Per-hole list as CSV behind comment lines."""
    return _csv(plan, HOLES, hole_rows(plan))


def schedule_markdown(plan: Plan) -> str:
    """Drill schedule as a Markdown table between its preamble and the remarks."""
    rows = [SCHEDULE, ("---",) * len(SCHEDULE), *schedule_rows(plan)]
    table = "\n".join("| " + " | ".join(cell.replace("|", "\\|") for cell in row) + " |" for row in rows)
    above, below = ("\n".join(f"* {line}" for line in lines) for lines in (preamble(plan), remarks(plan)))
    return _sealed(f"{above}\n\n{table}\n" + (f"\n{below}\n" if below else ""))


def still_valid(export: str, plan: Plan, board: Board, rules: FabricatorRules) -> bool:
    """Whether an exported text is unchanged, and was made from this board and these rules, costs and model as ``plan``.

    False too where the text carries no digest. Line ends and blanks at them do not count as changes.

    Parameters
    ----------
    export : str
        Schedule or per-hole list as it was handed off.
    plan : Plan
    board : Board
    rules : FabricatorRules

    Raises
    ------
    StubsiError
        Not a text.
    """
    if not isinstance(export, str):
        raise StubsiError(f"export: must be the text of an export, not {type(export).__name__}.")
    found = _DIGEST.search(export)
    now = digest(parts_of(board, rules, plan.costs, plan.model))
    return found is not None and found[1] == now and found[2] == _own_digest(export, found)


def _sealed(text: str) -> str:
    """The text with the digest of itself in its place."""
    place = _DIGEST.search(text)
    return text[: place.start(2)] + _own_digest(text, place) + text[place.end(2) :]


def _own_digest(text: str, place: re.Match[str]) -> str:
    """Digest of a text without the one it carries."""
    lines = (text[: place.start(2)] + text[place.end(2) :]).splitlines()
    return digest({"text": "\n".join(line.rstrip() for line in lines)})


def _csv(plan: Plan, columns: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    text = io.StringIO()
    text.writelines(f"# {line}\n" for line in (*preamble(plan), *remarks(plan)))
    writer = csv.writer(text, lineterminator="\n")
    writer.writerows([columns, *rows])
    return _sealed(text.getvalue())


def _aligned(rows: Sequence[Sequence[str]]) -> list[str]:
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]


def _wrapped(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width, subsequent_indent="    ", break_on_hyphens=False)


def _mm(length: float | None) -> str:
    """Millimetres to the micron; empty where unknown or without limit."""
    if length is None or length in (float("inf"), float("-inf")):
        return ""
    return f"{round(length * 1e3, 3) + 0.0:.3f}"
