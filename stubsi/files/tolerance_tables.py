"""Owns tolerances as tables of a file: ``[[tolerance]]``, one for each value of a board that has one."""

from __future__ import annotations

from dataclasses import fields
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from stubsi.errors import BoardError, FileError
from stubsi.files.schema import NUMBER as SIGMA
from stubsi.files.schema import TEXT, KeyType, Schema, as_written, errors_at, hint
from stubsi.files.toml_value import comment, lines, quoted, with_unit
from stubsi.tolerance.owners import ALL, of_padstacks
from stubsi.tolerance.thickness_class import ThicknessClass
from stubsi.tolerance.tolerance import Tolerance
from stubsi.tolerance.tolerances import Tolerances

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stubsi.board.board import Board
    from stubsi.files.toml_text import Table
    from stubsi.tolerance.tolerance import Limit

_EXACT = Tolerances()
QUANTITIES = tuple(item.name for item in fields(Tolerances))
"""What can have a tolerance, as the fields of ``Tolerances`` name it."""
BY_MATERIAL = tuple(name for name in QUANTITIES if getattr(_EXACT, name) == ())
"""Those that can differ from material to material."""
BY_PADSTACK = ("drill", "antipad", "registration")
"""Those that can differ from padstack to padstack."""


def _is_limit(value: object) -> bool:
    return (isinstance(value, str) and bool(value.strip())) or SIGMA.holds(value)


LIMIT = KeyType(
    _is_limit, 'must be a length or a percentage in quotes, {key} = "0.1 mm" or "10 %", or a plain number for a Dk'
)
LIMITS = Schema(
    must={"quantity": TEXT, "plus": LIMIT, "minus": LIMIT, "source": TEXT},
    may={"material": TEXT, "padstack": TEXT, "distribution": TEXT, "sigma": SIGMA},
)
CLASS = Schema(must={"quantity": TEXT, "class": TEXT}, may={"material": TEXT, "distribution": TEXT, "sigma": SIGMA})


def tolerances_of_tables(tables: Sequence[Table], file: str) -> Tolerances | None:
    """Make the tolerances of a parsed file.

    Parameters
    ----------
    tables : sequence of dict
        The tables ``[[tolerance]]``.
    file : str
        Name of the file, for error texts.

    Returns
    -------
    Tolerances or None
        None where the file holds no such table.

    Raises
    ------
    FileError
        A key or a value is wrong, or two tables give the same tolerance. The error text names the table by its number.
    """
    if not tables:
        return None
    given: dict[str, dict[str, Tolerance | ThicknessClass]] = {}
    for number, table in enumerate(tables, 1):
        place = f"{file}: [[tolerance]] number {number}"
        quantity, material, tolerance = _one(table, place)
        of_quantity = given.setdefault(quantity, {})
        if material in of_quantity:
            of = f" of {material}" if material else ""
            raise FileError(f"{place}: {quantity}{of} has a tolerance already; give each once.")
        of_quantity[material] = tolerance
        with errors_at(place):  # a unit that does not apply to the quantity
            _made({quantity: of_quantity})
    return _made(given)


def _made(given: dict[str, dict[str, Tolerance | ThicknessClass]]) -> Tolerances:
    fields_of: dict[str, Any] = {
        name: by_owner if name in BY_MATERIAL or by_owner.keys() != {ALL} else by_owner[ALL]
        for name, by_owner in given.items()
    }
    return Tolerances(**fields_of)


def _one(table: Table, place: str) -> tuple[str, str, Tolerance | ThicknessClass]:
    """Quantity, material or padstack, and tolerance of one table; ``ALL`` where it names neither."""
    (CLASS if "class" in table else LIMITS).check(table, place)
    quantity, material = table["quantity"], table.get("material", ALL)
    if quantity not in QUANTITIES:
        raise FileError(
            f"{place} quantity = {as_written(quantity)}: has no tolerance here; {hint(quantity, QUANTITIES)}."
        )
    if material and quantity not in BY_MATERIAL:
        raise FileError(f"{place} material = {as_written(material)}: {quantity} is not of one material; leave it out.")
    if "padstack" in table:
        if quantity not in BY_PADSTACK:
            raise FileError(
                f"{place} padstack = {as_written(table['padstack'])}: {quantity} is not of one padstack; leave it out."
            )
        material = table["padstack"]
    if "class" in table and quantity != "dielectric_thickness":
        raise FileError(f'{place} class = {as_written(table["class"])}: is for quantity = "dielectric_thickness" only.')
    how = {key: table[key] for key in ("distribution", "sigma") if key in table}
    with errors_at(place):
        if "class" in table:
            return quantity, material, ThicknessClass(name=table["class"], **how)
        limits = {key: table[key] for key in ("plus", "minus", "source")}
        return quantity, material, Tolerance(**limits, **how)


def check_fit(tables: Sequence[Table], file: str, board: Board) -> None:
    """Check that the tolerances of a file fit a board: their materials are there, and their classes list them.

    Parameters
    ----------
    tables : sequence of dict
        The tables ``[[tolerance]]``.
    file : str
        Name of the file, for error texts.
    board : Board

    Raises
    ------
    FileError
        As in ``tolerances_of_tables``, or they do not fit.
    """
    tolerances = tolerances_of_tables(tables, file)
    if tolerances is not None:
        with errors_at(f"{file}: [[tolerance]]"):
            tolerances.factors(board)


def refuse_none(tolerances: Tolerances | None) -> None:
    """Refuse tolerances that hold none, which no table could stand for.

    Parameters
    ----------
    tolerances : Tolerances or None
        None: they are not to be written.

    Raises
    ------
    BoardError
        There are tolerances to write, and none is given.
    """
    if tolerances == _EXACT:
        raise BoardError("tolerances: none is given, so there is nothing to write; leave them out.")


def tolerance_lines(tolerances: Tolerances) -> list[str]:
    """Tolerances as lines of a file, with what counts as exact in a comment.

    Parameters
    ----------
    tolerances : Tolerances

    Returns
    -------
    list of str
        Each table after a blank line.
    """
    made = ["", *comment(f"Exact, for want of a tolerance: {', '.join(tolerances.exact) or 'nothing'}.")]
    for quantity in QUANTITIES:
        given = getattr(tolerances, quantity)
        by_owner = given if quantity in BY_MATERIAL else of_padstacks(given)
        kind = "padstack" if quantity in BY_PADSTACK else "material"
        for owner, tolerance in by_owner:
            whose = {kind: quoted(owner)} if owner != ALL else {}
            pairs = {"quantity": quoted(quantity), **whose, **_pairs(tolerance)}
            made += ["", "[[tolerance]]", *lines(pairs)]
    return made


def _pairs(tolerance: Tolerance | ThicknessClass) -> dict[str, str]:
    """A tolerance as keys with their values, in the order in which they are written."""
    made = {"distribution": quoted(tolerance.distribution)}
    if tolerance.sigma is not None:
        made["sigma"] = repr(tolerance.sigma)
    if isinstance(tolerance, ThicknessClass):
        return {"class": quoted(tolerance.name), **made}
    limits = {"plus": _limit(tolerance.plus), "minus": _limit(tolerance.minus)}
    return {**limits, **made, "source": quoted(tolerance.source)}


def _limit(limit: Limit) -> str:
    if limit.unit == "length":
        return with_unit(limit.size, "length")
    return quoted(f"{format(Decimal(repr(limit.size)) * 100, 'f')} %") if limit.unit == "percent" else repr(limit.size)
