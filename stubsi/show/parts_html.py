"""Owns the HTML of the parts of a plan: rules, group, hole drilled, refused stub, effect, proof, change, proposal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.show.tables import Column, as_html, pairs_html
from stubsi.units import show, shown_number

if TYPE_CHECKING:
    from collections.abc import Iterable

    from stubsi.drilling.consequences import NetChange
    from stubsi.drilling.digest import Match
    from stubsi.drilling.drill_group import Certificate, Group, Hit, Refused
    from stubsi.drilling.effects import Effect
    from stubsi.drilling.proposal import Proposal
    from stubsi.drilling.rules import FabricatorRules
    from stubsi.drilling.window import PlatingLeft

_RULE_COLUMNS: tuple[Column[tuple[str, str, str]], ...] = (
    Column("rule", lambda row: row[0]),
    Column("value", lambda row: row[1]),
    Column("source", lambda row: row[2]),
)


def part_html(title: str, rows: Iterable[tuple[str, str]]) -> str:
    """One object: its names and values in two columns below a title.

    Parameters
    ----------
    title : str
    rows : iterable of (str, str)
        Name and value of each field.

    Returns
    -------
    str
    """
    return pairs_html(rows, head=[title])


def rules_html(rules: FabricatorRules) -> str:
    """Rules of the fabricator, each with its source.

    Parameters
    ----------
    rules : FabricatorRules

    Returns
    -------
    str
    """
    return as_html(_RULE_COLUMNS, rules.rows(), head=["Rules of the fabricator"])


def group_html(group: Group) -> str:
    """Drill group: what is drilled, how deep, and what is left.

    Parameters
    ----------
    group : Group

    Returns
    -------
    str
    """
    depths = dict.fromkeys(show(depth, "length") for depth in group.depth_si)
    rows = (
        ("side", group.side), ("must not cut", group.layer), ("depth", " to ".join(depths)),
        ("residual stub", _left(group.left)), ("primary drill", show(group.primary_si, "length")),
        ("depth drill", show(group.drill_si, "length")), ("holes", str(len(group.hits))),
        ("nets", ", ".join(group.nets)),
    )  # fmt: skip
    return part_html(f"Drill group {group.number}", rows)


def hit_html(hit: Hit) -> str:
    """Hole that is drilled from one side, and why.

    Parameters
    ----------
    hit : Hit

    Returns
    -------
    str
    """
    rows = (("net", hit.net), ("side", hit.side), ("last layer in use", hit.window.layer), ("why", hit.why))
    return part_html(f"Hole {hit.hole.name}, drilled", rows)


def refused_html(refused: Refused) -> str:
    """Stub that cannot be drilled, and why.

    Parameters
    ----------
    refused : Refused

    Returns
    -------
    str
    """
    rows = (("net", refused.net), ("side", refused.side), ("why", refused.reason))
    return part_html(f"Hole {refused.hole.name}, refused", rows)


def effect_html(effect: Effect) -> str:
    """What the depth drill does to a padstack.

    Parameters
    ----------
    effect : Effect

    Returns
    -------
    str
    """
    drawn = [] if effect.drawn is None else [("drawn", show(effect.drawn, "length"))]
    rows = [
        ("drilled from", effect.side), ("layers", ", ".join(effect.layers)), ("effect", str(effect.kind)),
        *drawn, ("needed", show(effect.needed, "length")),
    ]  # fmt: skip
    return part_html(f"Padstack {effect.padstack.name}", rows)


def certificate_html(certificate: Certificate) -> str:
    """Stubs that need a group of their own: no end that serves them serves another entry of the proof.

    Parameters
    ----------
    certificate : Certificate

    Returns
    -------
    str
    """
    rows = [(hole, f"{net}, from the {side}") for net, hole, side in certificate.stubs]
    return part_html(f"Stubs that need a group of their own; ends that serve them: {len(certificate.ends)}", rows)


def net_change_html(change: NetChange) -> str:
    """Net before drilling, after nominal and after worst-case drilling.

    Parameters
    ----------
    change : NetChange

    Returns
    -------
    str
    """
    rows = [
        ("first notch / Nyquist", _three(change.margin)),
        ("1 dB frequency, GHz", _three([shown_number(one_db, "frequency") for one_db in change.one_db_si])),
        ("loss at Nyquist, dB", _three(change.loss)),
        ("verdict", ", ".join(change.verdict)),
        ("hits", str(change.hits)),
    ]
    if change.why:
        rows.append(("why", change.why))
    return part_html(f"Net {change.net}: before, nominal, worst", rows)


def match_html(match: Match) -> str:
    """Whether a plan still holds, and the parts that have changed.

    Parameters
    ----------
    match : Match

    Returns
    -------
    str
    """
    return part_html("The plan holds" if match else "Changed since the plan", [("", name) for name in match.changed])


def proposal_html(proposal: Proposal) -> str:
    """Moves proposed together, and what they save.

    Parameters
    ----------
    proposal : Proposal

    Returns
    -------
    str
    """
    rows = [(move.net, f"from {move.from_layer} to {move.to_layer}") for move in proposal.moves]
    return part_html(f"Proposal: {proposal.outcome}", rows)


def _left(left: PlatingLeft) -> str:
    return f"{show(left.least_si, 'length')} to {show(left.most_si, 'length')}"


def _three(figures: Iterable[float | None]) -> str:
    """Figure before drilling, after nominal and after worst-case drilling."""
    return ", ".join("-" if figure is None else f"{figure:.2f}" for figure in figures)
