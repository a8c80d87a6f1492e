"""Owns the reading of tolerances from a file of any kind that may hold them: a board file or a rules file."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.errors import FileError
from stubsi.files.board_file import FACTS
from stubsi.files.rules_file import contents
from stubsi.files.tolerance_tables import tolerances_of_tables
from stubsi.files.toml import BOARD
from stubsi.files.toml_text import parsed_file

if TYPE_CHECKING:
    import os

    from stubsi.files.toml_text import Table
    from stubsi.tolerance.tolerances import Tolerances


def read_tolerances(path: str | os.PathLike[str]) -> Tolerances:
    """Read the tolerances of a board from a TOML file. What has no table there counts as exact.

    Parameters
    ----------
    path : path
        A rules file, a board file, or the TOML file beside an exchange file, with tables ``[[tolerance]]``.
        ``write_rules`` and ``write_board`` write them.

    Returns
    -------
    Tolerances
        Print it to see what has a tolerance, from whom, and what counts as exact.

    Raises
    ------
    FileError
        The file is not a readable text file or not TOML, has no ``[[tolerance]]``, or one of them holds a key or a
        value that is wrong. The error text names file, number of the table and key, and says what to write.

    Notes
    -----
    Each table holds one tolerance. ``quantity`` is a field of ``Tolerances``. Either ``class`` names a published class
    of laminate thickness, or ``plus``, ``minus`` and ``source`` stand there. No class is taken unless the file names
    it. A table without ``material`` stands for every material that no other table of its quantity names.
    ``drill``, ``antipad`` and ``registration`` may have a ``padstack`` in the same way.
    ``distribution`` is uniform unless the file says otherwise; the two normal ones need ``sigma``::

        [[tolerance]]
        quantity = "dielectric_thickness"
        material = "low-loss core"
        class    = "IPC-4101 B"

        [[tolerance]]
        quantity     = "dk"
        plus         = "5 %"            # or a plain number, 0.05
        minus        = "5 %"
        distribution = "censored normal"
        sigma        = 3
        source       = "laminate data sheet, drawing 12"

        [[tolerance]]
        quantity = "registration"
        plus     = "0.1 mm"
        minus    = "0 mm"
        source   = "fabricator's capability page"

    In a board file the tables are checked against the stackup when the board is read.

    Examples
    --------
    >>> tolerances = read_tolerances("shared/demo_tolerances.toml")
    >>> print(", ".join(tolerances.exact))
    copper thickness, drill, antipad, registration, dielectric thickness of other materials
    """
    name, table = parsed_file(path)
    tolerances = _held(table, name)
    if tolerances is None:
        raise FileError(f"{name}: [[tolerance]] is missing; each such table holds one tolerance of the board.")
    return tolerances


def _held(table: Table, name: str) -> Tolerances | None:
    """Tolerances of a file of any of the three kinds. Of a board file the other parts are not looked at."""
    if "stackup" not in table and "exchange" not in table:
        return contents(table, name).tolerances
    kind = FACTS if "exchange" in table else BOARD
    kind.check(table, f"{name}: top level")
    return tolerances_of_tables(table.get("tolerance", ()), name)
