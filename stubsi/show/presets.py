"""Owns the table of presets: the values that the library knows by name, each with its source."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi import plausibility
from stubsi.board.criterion import RULES_OF_THUMB
from stubsi.board.line_rates import LINE_RATES
from stubsi.checks import one_of
from stubsi.tolerance.thickness_class import ROWS, Row, ThicknessClass
from stubsi.units import show

if TYPE_CHECKING:
    from collections.abc import Iterator

    import pandas as pd

KINDS = ("line rate", "rule of thumb", "thickness class", "usual range")


def presets(kind: str | None = None) -> pd.DataFrame:
    """Every value that the library knows by name, with its source.

    Parameters
    ----------
    kind : {"line rate", "rule of thumb", "thickness class", "usual range"}, optional
        Only presets of this kind; all of them unless given. A line rate is the ``signal`` of a net, a rule of thumb the
        ``criterion``, a thickness class the name of a ``ThicknessClass``. A value outside its usual range is taken as
        it is, with a warning.

    Returns
    -------
    pandas.DataFrame
        Columns "kind", "name", "value" and "source". A source ends with "from memory" where the value was not looked
        up, and says "common practice, no source" for facts of the trade.

    Raises
    ------
    BoardError
        There is no such kind.

    Examples
    --------
    >>> print(presets("rule of thumb")[["name", "value"]].to_string(index=False, justify="left"))
                name                                            value
      DesignCon 2020                first notch / Nyquist at least 5
        Bogatin 2015 stub length at most 7.62 mm / (symbol rate in GBd)
    notch on Nyquist stub length at most 76.2 mm / (symbol rate in GBd)
     Simonovich 2017                first notch / Nyquist at least 7
           TI 15 mil                    stub length at most 0.381 mm
    """
    import pandas as pd

    if kind is not None:
        one_of(kind, "kind", KINDS)
    rows = [row for row in _rows() if kind in (None, row[0])]
    return pd.DataFrame(rows, columns=["kind", "name", "value", "source"])


def _rows() -> Iterator[tuple[str, str, str, str]]:
    for rate in LINE_RATES:
        value = f"{rate.gbaud:g} GBd {rate.modulation}, Nyquist {rate.gbaud / 2:g} GHz"
        yield "line rate", ", ".join(rate.names), value, rate.source
    for name, criterion in RULES_OF_THUMB.items():
        yield "rule of thumb", name, str(criterion).removesuffix(f" ({criterion.source})"), criterion.source
    for name, limits in ROWS.items():
        yield "thickness class", name, "; ".join(map(_limits, limits)), ThicknessClass(name=name).source
    for name, usual in vars(plausibility).items():
        if isinstance(usual, plausibility.Usual):
            value = f"{usual.shown(usual.lowest)} to {usual.shown(usual.highest)}"
            yield "usual range", name.replace("_", " ").lower(), value, usual.source


def _limits(row: Row) -> str:
    """A row of a thickness class: '0.1016 mm +/-0.01778 mm'."""
    ends = [show(end, "length") for end in (row.least, row.greatest)]
    return f"{' to '.join(dict.fromkeys(ends))} +/-{show(row.amount, 'length')}"
