"""Owns one net of a ranking as a row of a table: its figures, its verdict and the reason of it."""

from __future__ import annotations

from dataclasses import FrozenInstanceError
from typing import TYPE_CHECKING, NamedTuple, NoReturn

from stubsi.board.names import shortened
from stubsi.units import quantity, show, shown_number

if TYPE_CHECKING:
    from stubsi.margin.reason import Reason
    from stubsi.margin.verdict import Verdict
    from stubsi.provenance import Provenance
    from stubsi.unit_names import Kind
    from stubsi.units import Quantity


class NetMargin(NamedTuple):
    """One net of a ranking.

    The fields with ``_si`` hold SI units. The properties of the same names without ``_si`` are the same figures as
    quantities. A figure is None where there is no stub, and where it is unknown.

    Parameters
    ----------
    net, signal : str
        Names.
    nyquist_si : float
        Nyquist frequency [Hz]; ``nyquist`` is a quantity in GHz.
    hole, side, leg : str
        Where the stub with the lowest first notch is; empty without stub.
    stub_length_si : float or None
        Its length [m]; ``stub_length`` is a quantity in mm.
    first_notch_si, first_notch_to_si : float or None
        Ends of the range of the first notch [Hz], equal where all is known. Where none is found as far up as the model
        holds: the frequency below which there is none, and infinity. ``first_notch`` and ``first_notch_to`` are
        quantities in GHz.
    margin : float or None
        First notch over Nyquist [-].
    one_db_si, one_db_to_si : float or None
        Ends of the range of the 1 dB frequency [Hz], the lowest over the stubs; equal where all is known.
        None: unknown or without stub. ``one_db`` and ``one_db_to`` are quantities in GHz.
    loss : float or None
        Loss at Nyquist [dB]: the losses of the holes of the worse leg, summed without interaction between holes. Two
        stubs of one hole count together, with the barrel between them, where that is more than their sum.
    return_loss : float or None
        Return loss at Nyquist [dB] of the stub with the lowest first notch.
    model, model_error : str
        How that stub was modelled, and how far off that may be.
    verdict : Verdict
        What is decided about the net.
    why : Reason
        Reason of the verdict as data; ``reason`` as text.
    criterion : str
        What the net must meet.
    provenance : Provenance or None
        All about the model of that stub: what it assumes, what is unknown, and whether its first notch is its own or a
        resonance with the return vias; ``assumptions`` as text. None without stub.
    """

    net: str
    signal: str
    nyquist_si: float
    hole: str
    side: str
    leg: str
    stub_length_si: float | None
    first_notch_si: float | None
    first_notch_to_si: float | None
    margin: float | None
    one_db_si: float | None
    one_db_to_si: float | None
    loss: float | None
    return_loss: float | None
    model: str
    model_error: str
    verdict: Verdict
    why: Reason
    criterion: str
    provenance: Provenance | None

    @property
    def assumptions(self) -> str:
        """What the model of the stub assumes, in one line; empty without stub."""
        return "" if self.provenance is None else "; ".join(self.provenance.assumptions)

    @property
    def nyquist(self) -> Quantity:
        """Nyquist frequency, a quantity in GHz."""
        return quantity(self.nyquist_si, "frequency")

    @property
    def stub_length(self) -> Quantity | None:
        """Length of the stub with the lowest first notch, a quantity in mm; None without stub."""
        return None if self.stub_length_si is None else quantity(self.stub_length_si, "length")

    @property
    def first_notch(self) -> Quantity | None:
        """Lower end of the range of the first notch, a quantity in GHz; None where there is none or it is unknown."""
        return None if self.first_notch_si is None else quantity(self.first_notch_si, "frequency")

    @property
    def first_notch_to(self) -> Quantity | None:
        """Upper end of the range of the first notch, a quantity in GHz; None where there is none or it is unknown."""
        return None if self.first_notch_to_si is None else quantity(self.first_notch_to_si, "frequency")

    @property
    def one_db(self) -> Quantity | None:
        """Lower end of the range of the 1 dB frequency, a quantity in GHz; None where it is unknown or not there."""
        return None if self.one_db_si is None else quantity(self.one_db_si, "frequency")

    @property
    def one_db_to(self) -> Quantity | None:
        """Upper end of the range of the 1 dB frequency, a quantity in GHz; None where it is unknown or not there."""
        return None if self.one_db_to_si is None else quantity(self.one_db_to_si, "frequency")

    @property
    def reason(self) -> str:
        """Reason of the verdict, in one line."""
        return str(self.why)

    def __setattr__(self, name: str, value: object) -> NoReturn:
        raise FrozenInstanceError(f"cannot assign to '{name}': a NetMargin is not changed once it is made.")

    def __repr__(self) -> str:
        notch = "" if self.first_notch_si is None else f", first notch {show(self.first_notch_si, 'frequency')}"
        ratio = "" if self.margin is None else f", {self.margin:.3g} x Nyquist"
        return f"<NetMargin {shortened(self.net)}: {self.verdict}{notch}{ratio}>"

    def _repr_html_(self) -> str:
        from stubsi.show.margin_table import row_html

        return row_html(self)


COLUMNS = {
    "net": "net",
    "verdict": "verdict",
    "reason": "reason",
    "margin": "first notch / Nyquist",
    "first_notch": "first notch [GHz]",
    "first_notch_to": "first notch, up to [GHz]",
    "one_db": "1 dB frequency [GHz]",
    "one_db_to": "1 dB frequency, up to [GHz]",
    "loss": "loss at Nyquist, holes summed without interaction [dB]",
    "return_loss": "return loss at Nyquist [dB]",
    "stub_length": "stub length [mm]",
    "signal": "signal",
    "nyquist": "Nyquist [GHz]",
    "hole": "governing hole",
    "side": "side",
    "leg": "leg",
    "criterion": "criterion",
    "model": "model",
    "model_error": "model error",
    "assumptions": "assumptions of the model",
}
"""Column names of the table, with units, by field or property of NetMargin: what is decided first, then its grounds."""

_KINDS: dict[str, Kind] = {
    "nyquist": "frequency",
    "first_notch": "frequency",
    "first_notch_to": "frequency",
    "one_db": "frequency",
    "one_db_to": "frequency",
    "stub_length": "length",
}
"""Kind of each column that holds a figure with a dimension."""


def table_number(row: NetMargin, name: str) -> float | None:
    """Figure with a dimension as the table holds it: a plain number in the unit that the title of its column states.

    Parameters
    ----------
    row : NetMargin
    name : {"nyquist", "first_notch", "first_notch_to", "one_db", "one_db_to", "stub_length"}

    Returns
    -------
    float or None
    """
    return shown_number(getattr(row, f"{name}_si"), _KINDS[name])


def table_value(row: NetMargin, name: str) -> str | float | None:
    """Value of any column of the table: text or a plain number.

    Parameters
    ----------
    row : NetMargin
    name : str
        A key of ``COLUMNS``.

    Returns
    -------
    str, float or None
    """
    if name in _KINDS:
        return table_number(row, name)
    value: str | float | None = getattr(row, name)
    return value
