"""Owns the tables of what tolerances do after drilling, as text and HTML."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.show.tables import Column, as_html, as_text

if TYPE_CHECKING:
    from stubsi.tolerance.residual_stub import ResidualStub

Residual = tuple[str, float, float]
"""What a row of a residual stub is, its length [m] and its first notch [Hz]."""

_RESIDUAL: tuple[Column[Residual], ...] = (
    Column("residual stub", lambda row: row[0]),
    Column("length", lambda row: f"{1e3 * row[1]:.4g}", unit="mm", align="right"),
    Column("first notch", lambda row: "-" if row[1] <= 0 else f"{row[2] / 1e9:.1f}", unit="GHz", align="right"),
)


def residual_text(stub: ResidualStub) -> str:
    """Residual stub as plain text.

    Parameters
    ----------
    stub : ResidualStub

    Returns
    -------
    str
    """
    return as_text(_RESIDUAL, _residual_rows(stub), foot=[stub.in_words()])


def residual_html(stub: ResidualStub) -> str:
    """Residual stub as HTML for a notebook.

    Parameters
    ----------
    stub : ResidualStub

    Returns
    -------
    str
    """
    return as_html(_RESIDUAL, _residual_rows(stub), foot=[stub.in_words()])


def _residual_rows(stub: ResidualStub) -> list[Residual]:
    return list(zip(("longest", "aimed at", "shortest"), stub.length_si[::-1], stub.notch_si, strict=True))
