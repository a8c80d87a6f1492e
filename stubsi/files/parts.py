"""Owns the parts of a board file that refer to no other part: layers, padstacks, press fits and criteria.

For each part it holds the allowed keys and a function that builds it. That function takes the parsed table and its
place in the file. Its errors are FileErrors that name the place
and the key.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from stubsi.board.criterion import RULES_OF_THUMB, Criterion
from stubsi.board.layers import CopperLayer, DielectricLayer
from stubsi.board.padstack import Antipad, Padstack, PressFit
from stubsi.errors import FileError
from stubsi.files.schema import (
    CLEARANCE,
    FREQUENCY,
    LENGTH,
    NAMES,
    NUMBER,
    TABLE,
    TEXT,
    TEXT_OR_BLANK,
    KeyType,
    Schema,
    as_written,
    errors_at,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from stubsi.files.toml_text import Table

COPPER = Schema(must={"copper": TEXT, "thickness": LENGTH, "role": TEXT})
DIELECTRIC = Schema(
    must={"dielectric": TEXT_OR_BLANK, "thickness": LENGTH},
    may={"dk": NUMBER, "df": NUMBER, "dk_in_plane": NUMBER, "at": FREQUENCY, "source": TEXT_OR_BLANK},
)
PADSTACK = Schema(
    must={"name": TEXT, "drill": LENGTH, "pad": LENGTH},
    may={
        "finished": LENGTH,
        "pads": TABLE,
        "antipad": CLEARANCE,
        "antipads": TABLE,
        "non_functional_pads": TEXT,
        "span": NAMES,
    },
)
SLOT = Schema(must={"slot": LENGTH})
PRESS_FIT = Schema(
    must={"name": TEXT, "side": TEXT, "contact_from": LENGTH, "contact_to": LENGTH},
    may={"pin_length": LENGTH},
)
LIMITS: dict[str, tuple[KeyType, Callable[..., Criterion]]] = {
    "notch_ratio": (NUMBER, Criterion.notch_ratio),
    "one_db_ratio": (NUMBER, Criterion.one_db_ratio),
    "loss": (NUMBER, Criterion.loss),
    "return_loss": (NUMBER, Criterion.return_loss),
    "stub_length": (LENGTH, Criterion.stub_length),
    "stub_length_at_1_gbaud": (LENGTH, Criterion.stub_length_at_1_gbaud),
}
"""What a criterion of the file can limit: the type of the limit's value, and the function that makes the criterion."""
CRITERION = Schema(must={"source": TEXT}, may={name: kind for name, (kind, _) in LIMITS.items()})


def layer(table: Table, place: str, source: str) -> CopperLayer | DielectricLayer:
    """Build one layer: ``copper = name`` or ``dielectric = material``.

    Parameters
    ----------
    table : dict
        The parsed table.
    place : str
        Where it stands in the file.
    source : str
        Source of a dielectric that states none.

    Returns
    -------
    CopperLayer or DielectricLayer
    """
    if ("copper" in table) == ("dielectric" in table):
        raise FileError(f'{place}: must be either copper = "L1" or dielectric = "material".')
    if "copper" in table:
        COPPER.check(table, place)
        with errors_at(place):
            return CopperLayer(name=table["copper"], thickness=table["thickness"], role=table["role"])
    DIELECTRIC.check(table, place)
    values = {"source": source, "material": table["dielectric"], **table}
    del values["dielectric"]
    with errors_at(place):
        return DielectricLayer(**values)


def padstack(table: Table, place: str) -> Padstack:
    """Build a padstack; a pad is a length or ``"none"``, an antipad a length or ``{slot = length}``.

    Parameters
    ----------
    table : dict
        The parsed table.
    place : str
        Where it stands in the file.

    Returns
    -------
    Padstack
    """
    PADSTACK.check(table, place)
    values = dict(table)
    values["pad"] = _pad(table["pad"])
    values["pads"] = {on_layer: _pad(value) for on_layer, value in _per_layer(table, "pads", LENGTH, place)}
    values["antipads"] = {
        on_layer: clearance(value, f"{place} antipads {on_layer}")
        for on_layer, value in _per_layer(table, "antipads", CLEARANCE, place)
    }
    if "antipad" in table:
        values["antipad"] = clearance(table["antipad"], f"{place} antipad")
    with errors_at(place):
        return Padstack(**values)


def press_fit(table: Table, place: str) -> PressFit:
    """Build what a press-fit pin needs of its hole.

    Parameters
    ----------
    table : dict
        The parsed table.
    place : str
        Where it stands in the file.

    Returns
    -------
    PressFit
    """
    PRESS_FIT.check(table, place)
    with errors_at(place):
        return PressFit(**{key: value for key, value in table.items() if key != "name"})


def criterion(table: Table, place: str) -> Criterion:
    """Build a criterion from its one limit and its source.

    Parameters
    ----------
    table : dict
        The parsed table.
    place : str
        Where it stands in the file.

    Returns
    -------
    Criterion
    """
    CRITERION.check(table, place)
    limits = [name for name in LIMITS if name in table]
    if len(limits) != 1:
        raise FileError(
            f"{place}: must hold exactly one limit of {', '.join(LIMITS)}; it holds {' and '.join(limits) or 'none'}."
        )
    _, make = LIMITS[limits[0]]
    with errors_at(place):
        return make(table[limits[0]], source=table["source"])


def criteria(table: Table, file: str) -> dict[str, Criterion]:
    """Build the criteria of a file, by name.

    Parameters
    ----------
    table : dict
        The whole parsed file; its table ``criteria`` may be missing.
    file : str
        Name of the file.

    Returns
    -------
    dict of str to Criterion
    """
    built = {}
    for name, limits in table.get("criteria", {}).items():
        place = f"{file}: [criteria] '{name}'"
        if not isinstance(limits, dict):
            raise FileError(f"{place} = {as_written(limits)}: must be a table with a limit and its source.")
        if name in RULES_OF_THUMB:
            raise FileError(f"{place}: is the name of a published rule; choose another.")
        built[name] = criterion(limits, place)
    return built


def _per_layer(table: Table, key: str, kind: KeyType, place: str) -> list[tuple[str, Any]]:
    entries = list(table.get(key, {}).items())
    for on_layer, value in entries:
        if not kind.holds(value):
            raise FileError(f"{place} {key} {on_layer} = {as_written(value)}: {kind.wanted.format(key=on_layer)}.")
    return entries


def _pad(value: str) -> str | None:
    return None if value == "none" else value


def clearance(value: str | Table, place: str) -> Antipad:
    """Build a clearance: a length, or ``{slot = length}`` for one slot that a pair shares.

    Parameters
    ----------
    value : str or dict
        The parsed value.
    place : str
        Where it stands in the file.

    Returns
    -------
    Antipad
    """
    if isinstance(value, str):
        with errors_at(place):
            return Antipad(width=value)
    SLOT.check(value, place)
    with errors_at(place):
        return Antipad(width=value["slot"], shared=True)
