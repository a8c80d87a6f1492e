"""Owns at which end of the depth tolerance a drilled stub must keep its budget."""

from __future__ import annotations

from typing import Literal, TypeAlias

BudgetAt: TypeAlias = Literal["worst", "nominal"]
"""At which depth a drilled stub must be short enough.

"worst": at the tolerance that leaves the longest stub. "nominal": at the nominal depth; at worst tolerance it may then
be too long. What must not be cut is kept at worst tolerance in any case. An input that is unknown has no nominal value:
it counts at the unfavourable end of its range either way, so that no net passes on a guess.
"""
BUDGET_AT: tuple[BudgetAt, ...] = ("worst", "nominal")
IN_WORDS: dict[BudgetAt, str] = {"worst": "at worst tolerance", "nominal": "at nominal depth"}
"""Each of them for the inside of a sentence."""
SENTENCES: dict[BudgetAt, str] = {
    "worst": "Drilled stubs keep their budget at worst tolerance, the unfavourable end of the depth.",
    "nominal": "Drilled stubs keep their budget at nominal depth only, as the user chose; at worst tolerance a net may "
    "fall short. Unknown inputs count at their unfavourable end all the same.",
}
"""Each of them as a schedule states it."""
