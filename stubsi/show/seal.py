"""Owns the two digests that every export carries: that of its plan, and that of its own text."""

from __future__ import annotations

import re

from stubsi.drilling.digest import digest

SEAL = re.compile(r"(?m)^(?:[#*;] |<!-- )?Plan digest: ([0-9a-f]{16}),\s+digest\s+of\s+this\s+text:\s+([0-9a-f]{16})")
"""The line with both digests. In every format it begins a line, so that no name or source can stand in its place."""


def seal_line(plan_digest: str) -> str:
    """Line for both digests; that of the text stays open until ``sealed`` fills it in.

    Parameters
    ----------
    plan_digest : str
        Digest of the plan.

    Returns
    -------
    str
    """
    return f"Plan digest: {plan_digest}, digest of this text: {'0' * 16}"


def sealed(text: str) -> str:
    """Text with its own digest filled in.

    Parameters
    ----------
    text : str
        Text with the line that ``seal_line`` makes.

    Returns
    -------
    str
    """
    return SEAL.sub(lambda match: match[0][: -len(match[2])] + _digest_without_itself(text, match), text, count=1)


def plan_digest_of(text: str) -> str | None:
    """Digest of the plan that a text was made of; None where it carries none.

    Parameters
    ----------
    text : str
        Text of an export.

    Returns
    -------
    str or None
    """
    match = SEAL.search(text)
    return match and match[1]


def is_unchanged(text: str) -> bool:
    """Whether a text is as it was exported. Line ends and blanks at them do not count as changes.

    Parameters
    ----------
    text : str
        Text of an export.

    Returns
    -------
    bool
        False too where the text carries no digest.
    """
    match = SEAL.search(text)
    return match is not None and match[2] == _digest_without_itself(text, match)


def _digest_without_itself(text: str, match: re.Match[str]) -> str:
    """Digest of a text from which its own digest (group 2 of ``match``) is removed."""
    lines = (text[: match.start(2)] + text[match.end(2) :]).splitlines()
    return digest({"text": "\n".join(line.rstrip() for line in lines)})
