"""Owns the layer matrix as text and HTML: a row per exit layer, its stub and side, and the verdict for every signal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.margin.layer_matrix import cell_text, longest_mm
from stubsi.margin.verdict import Verdict
from stubsi.show.notebook import framed
from stubsi.show.tables import Column, as_html, as_text

if TYPE_CHECKING:
    from collections.abc import Mapping

    from stubsi.margin.layer_matrix import LayerMatrix
    from stubsi.margin.net_margin import NetMargin

    Row = tuple[str, Mapping[str, NetMargin]]


def matrix_text(matrix: LayerMatrix) -> str:
    """Layer matrix as plain text.

    Parameters
    ----------
    matrix : LayerMatrix

    Returns
    -------
    str
    """
    return as_text(_columns(matrix), _rows(matrix), head=[_headline(matrix)], foot=_notes(matrix))


def matrix_html(matrix: LayerMatrix) -> str:
    """Layer matrix as HTML for a notebook.

    Parameters
    ----------
    matrix : LayerMatrix

    Returns
    -------
    str
    """
    return framed(as_html(_columns(matrix), _rows(matrix), head=[_headline(matrix)], foot=_notes(matrix)))


def _headline(matrix: LayerMatrix) -> str:
    return f"Entry at {matrix.entry}, undrilled. Criterion: {matrix.criterion}"


def _notes(matrix: LayerMatrix) -> list[str]:
    """What leaves cells undecided, and why some stand on a weaker model than wanted, each once."""
    cells = [cell for row in matrix.cells.values() for cell in row.values()]
    missing = dict.fromkeys(cell.why.missing for cell in cells if cell.verdict == Verdict.UNDECIDED)
    weaker = dict.fromkeys(cell.provenance.not_solved for cell in cells if cell.provenance)
    return [
        *(f"Undecided: {text}" for text in missing),
        *(f"Not solved from the geometry, but a uniform line: {text}" for text in weaker if text is not None),
    ]


def _rows(matrix: LayerMatrix) -> list[Row]:
    return list(matrix.cells.items())


def _columns(matrix: LayerMatrix) -> list[Column[Row]]:
    signals = dict.fromkeys(signal for cells in matrix.cells.values() for signal in cells)
    return [
        Column("exit layer", lambda row: row[0]),
        Column("stub", lambda row: f"{longest_mm(row[1]):.3f}", unit="mm", align="right"),
        Column("side", lambda row: matrix.sides_text(row[0])),
        *(_signal_column(signal) for signal in signals),
    ]


def _signal_column(signal: str) -> Column[Row]:
    return Column(signal, lambda row: cell_text(row[1][signal]), align="right")
