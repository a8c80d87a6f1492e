"""Owns the rules file: the fabricator's rules, costs, criteria and tolerances in TOML, read and written."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from stubsi.board.criterion import RULES_OF_THUMB, Criterion
from stubsi.checks import checked, checked_name, pairs
from stubsi.drilling.costs import Costs
from stubsi.drilling.depth_tolerance import DepthTolerance
from stubsi.drilling.guaranteed_residual import GuaranteedResidual
from stubsi.drilling.rules import FabricatorRules
from stubsi.errors import BoardError, FileError
from stubsi.files import parts
from stubsi.files.board_writer import criterion_pairs
from stubsi.files.schema import LENGTH, NUMBER, TABLE, TABLES, TEXT, Schema, errors_at
from stubsi.files.tolerance_tables import refuse_none, tolerance_lines, tolerances_of_tables
from stubsi.files.toml_text import parsed_file, parsed_text
from stubsi.files.toml_value import comment, inline, key, lines, quoted, with_unit
from stubsi.files.written_file import write_file
from stubsi.tolerance.tolerances import Tolerances
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    import os
    from collections.abc import Mapping
    from pathlib import Path

    from stubsi.files.toml_text import Table

GUARANTEE, TOLERANCE = "guaranteed_residual", "depth_tolerance"
LENGTHS = ("tip_distance", "least_depth", "least_plated", "copper_clearance", "edge_tolerance", "hole_clearance")
"""Rules that are lengths and may be unknown."""
FILE = Schema(may={"rules": TABLE, "costs": TABLE, "criteria": TABLE, "tolerance": TABLES})
RULES = Schema(
    must={"oversize": LENGTH, "sides": TABLE, "datum": TEXT, "depth_to": TEXT, "source": TEXT},
    may={
        **dict.fromkeys(("tip_angle", "fill_dk"), NUMBER),
        **dict.fromkeys((*LENGTHS, "mask_thickness"), LENGTH),
        **dict.fromkeys(("sources", GUARANTEE, TOLERANCE), TABLE),
    },
)
TOLERANCES = {
    GUARANTEE: (Schema(must={"least": LENGTH, "most": LENGTH, "source": TEXT}, may={"nominal": LENGTH}),
                GuaranteedResidual),
    TOLERANCE: (
        Schema(
            must={
                "plus": LENGTH, "minus": LENGTH, "thickness_plus": NUMBER, "thickness_minus": NUMBER,
                "reference": TEXT, "source": TEXT,
            },
            may={"sensed": TABLE},
        ),
        DepthTolerance,
    ),
}  # fmt: skip
"""The two kinds of tolerance, of which a file states one: their keys, and what they make."""
COSTS = Schema(must={**dict.fromkeys(("side", "set_up", "group", "hole"), NUMBER), "source": TEXT})

_NAME = "the file to be written"


class RulesFile(NamedTuple):
    """What a rules file holds. ``rules``, ``costs`` and ``tolerances`` are None where it does not state them."""

    rules: FabricatorRules | None
    costs: Costs | None
    criteria: dict[str, Criterion]
    tolerances: Tolerances | None = None


def read_rules(path: str | os.PathLike[str]) -> FabricatorRules:
    """Read the fabricator's rules from a TOML file.

    Parameters
    ----------
    path : path
        A text file in UTF-8 with a table ``[rules]``. It may hold ``[costs]``, ``[criteria]`` and ``[[tolerance]]``,
        too.

    Returns
    -------
    FabricatorRules
        A rule that is left out of the file is unknown.

    Raises
    ------
    FileError
        The file is not a readable text file or not TOML, has no ``[rules]``, or one of its tables holds a key or a
        value that is wrong. The error text names file, table and key, and says what to write.

    Examples
    --------
    >>> print(read_rules("shared/demo_rules.toml").sides)
    (('bottom', 'any'),)
    """
    name, table = parsed_file(path)
    rules = contents(table, name).rules
    if rules is None:
        raise FileError(f"{name}: [rules] is missing; it holds the fabricator's rules.")
    return rules


def read_costs(path: str | os.PathLike[str]) -> Costs:
    """Read the costs of a plan from a TOML file.

    Parameters
    ----------
    path : path
        As in ``read_rules``, with a table ``[costs]``.

    Returns
    -------
    Costs
        All in one currency.

    Raises
    ------
    FileError
        As in ``read_rules``; the file has no ``[costs]``.
    """
    name, table = parsed_file(path)
    costs = contents(table, name).costs
    if costs is None:
        raise FileError(f"{name}: [costs] is missing; it holds the costs per side, set-up, group and hole.")
    return costs


def read_criteria(path: str | os.PathLike[str]) -> dict[str, Criterion]:
    """Read criteria from a TOML file, by name.

    Parameters
    ----------
    path : path
        As in ``read_rules``, with tables ``[criteria.NAME]``, each with one limit and its source.

    Returns
    -------
    dict of str to Criterion
        In the order of the file.

    Raises
    ------
    FileError
        As in ``read_rules``; the file has no ``[criteria]``.
    """
    name, table = parsed_file(path)
    criteria = contents(table, name).criteria
    if not criteria:
        raise FileError(f"{name}: [criteria] is missing; each table [criteria.NAME] in it holds one criterion.")
    return criteria


def write_rules(
    path: str | os.PathLike[str],
    *,
    rules: FabricatorRules | None = None,
    costs: Costs | None = None,
    criteria: Mapping[str, Criterion] | None = None,
    tolerances: Tolerances | None = None,
    replace: bool = False,
) -> Path:
    """Write rules, costs, criteria and tolerances to a TOML file. What is read back is equal to what was written.

    Parameters
    ----------
    path : path
        The file. Its folder must exist.
    rules : FabricatorRules, optional
        The fabricator's rules.
    costs : Costs, optional
        What the user pays for a plan.
    criteria : mapping of name to Criterion, optional
        Under names that are not those of published rules.
    tolerances : Tolerances, optional
        Of the board. What counts as exact is listed in a comment.
    replace : bool
        Whether a file of that name may be replaced.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    FileError
        The file exists and may not be replaced, or cannot be written, or a value cannot stand in a file. Nothing is
        changed then.
    BoardError
        Nothing is given to write, or an argument is of another type.
    """
    named = {
        checked_name(name, "criteria name"): checked(criterion, f"criterion {as_shown(name)}", Criterion)
        for name, criterion in pairs({} if criteria is None else criteria, "criteria")
    }
    given = RulesFile(
        None if rules is None else checked(rules, "rules", FabricatorRules),
        None if costs is None else checked(costs, "costs", Costs),
        named,
        None if tolerances is None else checked(tolerances, "tolerances", Tolerances),
    )
    if given == RulesFile(None, None, {}):
        raise BoardError("rules: nothing is given to write; give rules, costs, criteria or tolerances.")
    refuse_none(tolerances)
    published = [name for name in named if name in RULES_OF_THUMB]
    if published:
        raise BoardError(f"criteria {as_shown(published[0])}: is the name of a published rule; choose another.")
    made = comment("Rules file, written by stubsi. A rule that is left out is unknown.")
    if rules is not None:
        made += ["", "[rules]", *_rules(rules)]
    if costs is not None:
        amounts = {name: repr(getattr(costs, name)) for name in ("side", "set_up", "group", "hole")}
        made += ["", "[costs]", *lines({**amounts, "source": quoted(costs.source)})]
    for name, criterion in named.items():
        made += ["", f"[criteria.{key(name)}]", *lines(criterion_pairs(criterion))]
    if tolerances is not None:
        made += tolerance_lines(tolerances)
    text = "\n".join([*made, ""])
    if contents(parsed_text(text, _NAME), _NAME) != given:
        raise FileError("rules: hold a number of more than 14 digits, which would not read back.")
    return write_file(path, text, replace=replace)


def contents(table: Table, file: str) -> RulesFile:
    """Everything that a parsed rules file holds, checked.

    Parameters
    ----------
    table : dict
        The parsed file.
    file : str
        Its name, for error texts.

    Returns
    -------
    RulesFile

    Raises
    ------
    FileError
        As in ``read_rules``.
    """
    FILE.check(table, f"{file}: top level")
    return RulesFile(
        _read_rules(table["rules"], f"{file}: [rules]") if "rules" in table else None,
        _read_costs(table["costs"], f"{file}: [costs]") if "costs" in table else None,
        parts.criteria(table, file),
        tolerances_of_tables(table.get("tolerance", ()), file),
    )


def _read_rules(table: Table, place: str) -> FabricatorRules:
    """Make the rules of the table [rules], which holds one of the two kinds of depth tolerance."""
    RULES.check(table, place)
    stated = [kind for kind in TOLERANCES if kind in table]
    if len(stated) != 1:
        raise FileError(
            f"{place}: must hold exactly one of [rules.{GUARANTEE}] and [rules.{TOLERANCE}]; it holds "
            f"{' and '.join(stated) or 'none'}."
        )
    (kind,) = stated
    schema, make = TOLERANCES[kind]
    at = f"{place.removesuffix(']')}.{kind}]"
    schema.check(table[kind], at)
    with errors_at(at):
        tolerance = make(**table[kind])
    with errors_at(place):
        return FabricatorRules(**{name: value for name, value in table.items() if name != kind}, tolerance=tolerance)


def _read_costs(table: Table, place: str) -> Costs:
    COSTS.check(table, place)
    with errors_at(place):
        return Costs(**table)


def _rules(rules: FabricatorRules) -> list[str]:
    """The table [rules] as lines, what is unknown left out."""
    made = {"source": quoted(rules.source), "oversize": with_unit(rules.oversize_si, "length")}
    if rules.tip_angle is not None:
        made["tip_angle"] = repr(rules.tip_angle)
    for name in (*LENGTHS, "mask_thickness"):
        si = rules.__dict__[f"{name}_si"]
        if si is not None:
            made[name] = with_unit(si, "length")
    if rules.fill_dk != 1:
        made["fill_dk"] = repr(rules.fill_dk)
    made["datum"], made["depth_to"] = quoted(rules.datum), quoted(rules.depth_to)
    made["sides"] = _texts(rules.sides)
    if rules.sources:
        made["sources"] = _texts(rules.sources)
    tolerance = rules.tolerance
    if isinstance(tolerance, GuaranteedResidual):
        return [*lines(made), "", f"[rules.{GUARANTEE}]", *lines(_guarantee(tolerance))]
    return [*lines(made), "", f"[rules.{TOLERANCE}]", *lines(_tolerance(tolerance))]


def _texts(items: Mapping[str, str] | tuple[tuple[str, str], ...]) -> str:
    return inline({name: quoted(text) for name, text in dict(items).items()})


def _guarantee(tolerance: GuaranteedResidual) -> dict[str, str]:
    made = {name: with_unit(tolerance.__dict__[f"{name}_si"], "length") for name in ("least", "nominal", "most")}
    return {**made, "source": quoted(tolerance.source)}


def _tolerance(tolerance: DepthTolerance) -> dict[str, str]:
    made = {name: with_unit(tolerance.__dict__[f"{name}_si"], "length") for name in ("plus", "minus")}
    made |= {name: repr(getattr(tolerance, name)) for name in ("thickness_plus", "thickness_minus")}
    made["reference"] = quoted(tolerance.reference)
    if tolerance.sensed:
        made["sensed"] = _texts(tolerance.sensed)
    return {**made, "source": quoted(tolerance.source)}
